"""`listen` on the command line: what is typed, what is shown, how it ends."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import click
import pytest
from tests.command_line import call
from tests.made_heard import adapter, fault, view
from tests.made_heard import listen_document as document
from tests.made_visits import visit

from shearbolt.cli.cmd_listen import option_typed, seconds_typed, stopping
from shearbolt.cli.layout import width_of
from shearbolt.cli.live_show import LiveShow
from shearbolt.cli.look import Look
from shearbolt.cli.outcome import DONE, NOTHING, PARTLY, exit_status
from shearbolt.cli.render_live import live_lines, new_lines, render_listen


@pytest.mark.parametrize("width", [40, 80, 100])
def test_the_page_of_the_moment_fits_and_tells_all(width: int) -> None:
    lines = live_lines(view(), Look(width=width))
    assert max(map(width_of, lines)) <= width
    text = " ".join(" ".join(lines).split())
    for words in (
        "Forage harvester",
        "1 active fault",
        "Engine oil pressure: too low, worst level; red stop lamp on; engine; SPN 100 FMI 1",
        "Coolant; red stop lamp on; engine; SPN 110 FMI 0 (was active before)",
        "1,500 rpm",
        "88 °C (old)",
        "engine (address 0)",
        "address 3 (silent)",
        "250 kbit/s (found by listening)",
        "34 % busy",
        "3 error frames",
        "Address 42 fell silent",
        "answers again",
        "Ctrl-C ends it",
    ):
        assert words in text, words


def test_a_machine_that_is_not_known_yet_and_silence_are_said() -> None:
    unknown = live_lines(view(machine=None, machine_name=None, faults=[]), Look())
    assert unknown[0] == "A machine that the book does not know yet"
    assert "No active fault heard" in unknown
    nothing = live_lines(
        view(
            machine=None, machine_name=None, frames=0, faults=[], controllers=[], readings=[],
            health=[], events=[],
            adapters=[adapter(state="gone", load=None, bitrate=None, listen_only="off",
                              words=["Look at its plug."])],
        ),
        Look(),
    )  # fmt: skip
    assert nothing[0] == "Nothing heard yet"
    assert "  can0; NOT listen-only; 3 error frames; GONE" in nothing
    assert "  - Look at its plug." in nothing


def test_long_lists_are_cut_short() -> None:
    many = [fault(spn=1000 + i) for i in range(12)]
    text = "\n".join(live_lines(view(faults=many), Look()))
    assert "12 active faults" in text
    assert "4 more" in text


def test_without_a_terminal_only_what_is_new_is_said() -> None:
    told: set[str] = set()
    first = new_lines(view(), Look(), told)
    assert any("This is Forage harvester." in line for line in first)
    assert any("Active fault: Engine oil pressure" in line for line in first)
    assert new_lines(view(frames=99), Look(), told) == []
    again = new_lines(view(faults=[fault(), fault(spn=1, words="New")]), Look(), told)
    assert len(again) == 1
    assert again[0].startswith("Active fault: New")


def test_what_came_of_it_is_told_at_the_end() -> None:
    text = "\n".join(render_listen(document(), Look()))
    assert "Listening ended." in text
    assert "Forage harvester" in text
    assert "Address 42 fell silent" in text
    assert "More: shearbolt faults --visit v5t8" in text
    none = render_listen(
        document(visits=[], words=["The disk is full"], stopped_by="disk",
                 refused=[{"file": "a.log", "reason": "the disk is full"}]),
        Look(),
    )  # fmt: skip
    assert "The disk is full." in none
    assert none[-1] == "Nothing was filed."
    assert any("a.log: The disk is full." in line for line in none)
    before = render_listen(document(left_over=[visit()]), Look())
    assert before[0] == "Filed from a session that had been broken off"


def test_exit_status() -> None:
    assert exit_status(document()) == DONE
    assert exit_status(document(visits=[])) == NOTHING
    assert exit_status(document(visits=[], left_over=[visit()])) == PARTLY
    assert exit_status(document(stopped_by="disk")) == PARTLY
    assert exit_status(document(refused=[{"file": "a", "reason": "b"}])) == PARTLY


def test_options_are_typed_as_what_they_are() -> None:
    assert option_typed("rx_queue_size=500") == ("rx_queue_size", 500)
    assert option_typed("port=1.5") == ("port", 1.5)
    assert option_typed("fd=True") == ("fd", True)
    assert option_typed("serial=0017a") == ("serial", "0017a")
    for wrong in ("fd", "=1", "a b=1"):
        with pytest.raises(click.BadParameter):
            option_typed(wrong)


@pytest.mark.parametrize(
    ("typed", "seconds"), [("90", 90), ("1.5 s", 1.5), ("5min", 300), ("2H", 7200)]
)
def test_lengths_of_time(typed: str, seconds: float) -> None:
    assert seconds_typed(typed) == seconds


@pytest.mark.parametrize("typed", ["", "0", "-3", "soon", "5 days"])
def test_what_is_no_length_of_time(typed: str) -> None:
    with pytest.raises(click.BadParameter):
        seconds_typed(typed)


@pytest.mark.skipif(os.name == "nt", reason="this system has no such signals")
def test_ctrl_c_ends_it_and_a_second_one_breaks_off() -> None:
    before = signal.getsignal(signal.SIGINT)
    with stopping() as stop:
        assert not stop.is_set()
        signal.raise_signal(signal.SIGINT)
        assert stop.is_set()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGTERM)
    assert signal.getsignal(signal.SIGINT) is before


def test_a_terminal_is_drawn_on_and_left_tidy(monkeypatch: pytest.MonkeyPatch) -> None:
    import io

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    screen = Terminal()
    monkeypatch.setattr("sys.stdout", screen)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("LINES", "12")
    monkeypatch.setenv("COLUMNS", "80")
    with LiveShow(Look(emphasis=True), json=False, quiet=False) as show:
        show(view())
        show(view(machine_name="Another"))
        assert show.ended(document())["stopped_by"] == "asked"
    drawn = screen.getvalue()
    assert "Forage harvester" in drawn
    assert "Another" in drawn
    assert "..." in drawn, "a page longer than the screen is cut, not scrolled"
    assert drawn.endswith("\x1b[2K") or "\x1b[?25h" in drawn


def test_the_command_listens_and_answers_with_one_document(tmp_path: Path) -> None:
    told = call(
        tmp_path,
        "listen",
        "--interface",
        "virtual",
        "--channel",
        "nobody",
        "--for",
        "0.5",
        "--json",
    )
    made = told.done(NOTHING)
    assert made["visits"] == []
    assert made["stopped_by"] == "time"
    assert "Listening on nobody." in told.err
    quiet = call(
        tmp_path,
        "listen",
        "--interface",
        "virtual",
        "--channel",
        "nobody",
        "--for",
        "0.3",
        "--quiet",
    )
    assert quiet.status == NOTHING
    assert "Nothing was filed." in quiet.out


def test_what_cannot_be_listened_to_is_one_sentence(tmp_path: Path) -> None:
    unknown = call(tmp_path, "listen", "--interface", "nonsense", "--channel", "a", "--json")
    assert unknown.status == 2
    assert "'nonsense' is no interface" in unknown.sentence

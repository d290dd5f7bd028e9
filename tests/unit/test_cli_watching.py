"""The progress bar is there for eyes alone, and gone before anything else is printed."""

from __future__ import annotations

import io
import subprocess
import sys

import pytest

from shearbolt.cli.watching import Watching


class Terminal(io.StringIO):
    """A standard error that somebody looks at."""

    def isatty(self) -> bool:
        return True


def reports(*, wanted: bool = True) -> None:
    with Watching(wanted=wanted, color=False) as progress:
        progress(0, 0, "[bold]opening\x1b[2J a.log")
        progress(500, 1000, "reading a.log")
        progress(1000, 1000, "reading a.log")


def test_a_terminal_sees_the_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    reports()
    assert "reading a.log" in terminal.getvalue()
    assert "\x1b[2J" not in terminal.getvalue()


def test_nobody_watching_and_nobody_asking_see_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    for stream, wanted in ((io.StringIO(), True), (Terminal(), False)):
        monkeypatch.setattr(sys, "stderr", stream)
        reports(wanted=wanted)
        assert stream.getvalue() == ""


def test_the_bar_is_taken_away_when_the_work_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)

    def fail() -> None:
        with Watching(wanted=True, color=False) as progress:
            progress(1, 2, "reading")
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    before = terminal.getvalue()
    print("after", file=terminal)
    assert terminal.getvalue() == before + "after\n"


def test_the_drawing_library_is_imported_only_to_draw() -> None:
    script = (
        "import sys\nfrom shearbolt.cli.watching import Watching\n"
        "with Watching(wanted=True, color=True) as told: told(1, 2, 'x')\n"
        "sys.exit('rich' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, capture_output=True)

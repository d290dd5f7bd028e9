"""What asking and recording unattended print, and how the commands end."""

from __future__ import annotations

from typing import Any, cast

import pytest
from tests.made_live import ASK, CLAIM, WATCH

from shearbolt.act import Ended, Stand, claim_frame, request_frame, road_requests, tool_name
from shearbolt.act.tool import flow_control_frame, road_request_frame
from shearbolt.app.asking_words import ended_words, frame_words
from shearbolt.app.documents import AskAsked, AskDocument, WatchAsked
from shearbolt.cli import main, printing
from shearbolt.cli.look import PLAIN
from shearbolt.cli.outcome import exit_status
from shearbolt.cli.render_ask import frame_line, render_ask, render_watch
from shearbolt.model.frames import EXTENDED, PlainFrame

STAND = Stand(None, False, (), "unknown", None)


def changed(**changes: Any) -> AskDocument:
    return cast(AskDocument, {**ASK, **changes})


@pytest.mark.parametrize(
    ("frame", "words"),
    [
        (claim_frame(tool_name(1)), "claims address 249"),
        (request_frame(65260, 255), "asks all for group 65260: vehicle identification"),
        (request_frame(65227, 3), "asks address 3 for group 65227: DM2"),
        (
            PlainFrame(0, 0x1CEC03F9, bytes((17, 16, 1, 255, 255, 236, 254, 0)), EXTENDED),
            "tells address 3 to send 16 packets from number 1",
        ),
        (
            PlainFrame(0, 0x1CEC03F9, bytes((19, 18, 0, 3, 255, 236, 254, 0)), EXTENDED),
            "tells address 3 that its answer has arrived",
        ),
        (road_request_frame(b"\x09\x02", False), "reads 09 02"),
        (road_request_frame(b"\x03", True), "reads 03"),
        (flow_control_frame(0x7E8, False), "flow control"),
    ],
)
def test_every_frame_of_ours_is_said_in_words(frame: PlainFrame, words: str) -> None:
    assert words in frame_words(frame)


@pytest.mark.parametrize("why", list(Ended))
def test_every_end_is_said_in_sentences(why: Ended) -> None:
    for words in ended_words(why, STAND, "can0", 250_000, "address 250 speaks"):
        assert words[0].isupper()
        assert words.endswith((".", "?"))
        assert "None" not in words


def test_the_frames_sent_who_answered_and_the_visit_are_shown() -> None:
    text = "\n".join(render_ask(ASK, PLAIN))
    assert "it stands still by its own readings" in text
    assert "vehicle identification" in text
    assert "0 answered" in text
    assert "nobody" in text
    assert "7E8 refused" in text
    assert "Everything on the list was asked." in text


def test_without_the_word_the_plan_is_shown() -> None:
    text = "\n".join(render_ask(changed(sent=[], ended="not_confirmed", requests=[]), PLAIN))
    assert "Nothing was sent" in text
    assert "18EEFFF9" in text
    assert frame_line(CLAIM).startswith("18EEFFF9  63 00 E0 FF 00 81 00 80  claims")


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({}, 0),
        ({"ended": "moving"}, 1),
        ({"ended": "not_confirmed"}, 1),
        ({"ended": "nothing_heard", "visits": []}, 3),
        ({"refused": [{"file": "x", "reason": "y."}]}, 1),
    ],
)
def test_the_exit_status_says_how_far_it_came(changes: dict[str, Any], status: int) -> None:
    assert exit_status(changed(**changes)) == status


def test_what_was_recorded_is_shown() -> None:
    text = "\n".join(render_watch(WATCH, PLAIN))
    assert "1,234,567" in text
    assert "silence" in text
    assert "1 recording to carry away" in text
    assert "Deleted to make room" in text
    empty = "\n".join(render_watch({**WATCH, "visits": [], "deleted": []}, PLAIN))
    assert "Nothing was recorded." in empty


class App:
    """Stands in for the use cases, and keeps what it was asked."""

    def __init__(self) -> None:
        self.told: list[Any] = []

    def ask(self, book: object, asked: AskAsked, **more: Any) -> AskDocument:
        self.told.append(asked)
        more["show"](CLAIM, CLAIM["words"])
        more["show"](None, "The machine stands still.")
        assert more["stop"]() is False
        return ASK

    def watch(self, asked: WatchAsked, **more: Any) -> Any:
        self.told.append(asked)
        more["show"]("A visit begins.")
        more["wait"](0.0)
        return WATCH


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch) -> App:
    one = App()
    monkeypatch.setattr(printing, "use_cases", lambda: one)
    return one


Capture = pytest.CaptureFixture[str]


def test_ask_hands_on_what_was_said(app: App, capsys: Capture) -> None:
    words = ["ask", "--interface", "slcan", "--channel", "/dev/ttyACM0", "--bitrate", "500000"]
    more = ["--option", "ttyBaudrate=115200", "--machine", "m3k2", "--hours", "5910", "--road"]
    assert main([*words, *more, "--yes-machine-stands"]) == 0
    assert app.told == [
        AskAsked(
            "slcan", "/dev/ttyACM0", 500_000, (("ttyBaudrate", 115200),), "m3k2", 5910.0, True, True
        )
    ]
    said = capsys.readouterr().err
    assert "18EEFFF9 63 00 E0 FF 00 81 00 80 claims" in said
    assert "The machine stands still." in said


def test_ask_is_off_by_default(app: App) -> None:
    assert main(["ask", "--interface", "socketcan", "--channel", "can0", "--quiet"]) == 0
    assert app.told[0].stands is False
    assert main(["ask", "--yes-machine-stands"]) == 2


def test_watch_hands_on_what_was_said(app: App, capsys: Capture) -> None:
    words = ["watch", "--folder", "out", "--interface", "socketcan", "--channel", "can0"]
    more = ["--channel", "can1", "--silence", "2min", "--longest", "1h", "--reserve", "1000"]
    assert main([*words, *more, "--once"]) == 0
    assert app.told == [
        WatchAsked(
            "out", "socketcan", ("can0", "can1"), None, (), 120.0, 3600.0, 1_000_000_000, True
        )
    ]
    assert "A visit begins." in capsys.readouterr().err


def test_every_request_for_road_vehicles_has_words() -> None:
    assert all(one.what for one in road_requests())

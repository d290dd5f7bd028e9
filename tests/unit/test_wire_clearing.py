"""Clears of fault memory: SAE J1939-73, reference sheet 2.7 and 2.11 rows 16 to 18."""

from __future__ import annotations

import pytest

from shearbolt.model.fault import Cleared
from shearbolt.wire.clearing import ClearListener, ClearOne, read_dm22
from shearbolt.wire.identifier import read_identifier
from shearbolt.wire.request import read_request

ACK = bytes.fromhex("00FFFFFFF9D3FE00")
BUSY = bytes.fromhex("03FFFFFFF9D3FE00")
ASK_ONE = bytes.fromhex("01FFFFFFFF640001")
REFUSE_ONE = bytes.fromhex("0302FFFFFF640001")


def test_row_16_dm22() -> None:
    assert read_dm22(ASK_ONE) == ClearOne("ask", False, None, 100, 1)
    assert read_dm22(REFUSE_ONE) == ClearOne("refused", False, "unknown fault", 100, 1)


@pytest.mark.parametrize(
    ("control", "step", "active"),
    [
        (1, "ask", False),
        (2, "done", False),
        (3, "refused", False),
        (17, "ask", True),
        (18, "done", True),
        (19, "refused", True),
    ],
)
def test_dm22_control_bytes(control: int, step: str, active: bool) -> None:
    # Reference sheet 2.7.
    read = read_dm22(bytes([control, 0]) + ASK_ONE[2:])
    assert read is not None
    assert (read.step, read.active) == (step, active)


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (0, "no particular reason"),
        (1, "access denied"),
        (2, "unknown fault"),
        (3, "no longer previously active"),
        (4, "no longer active"),
        (9, "reason 9"),
    ],
)
def test_dm22_reasons(reason: int, words: str) -> None:
    read = read_dm22(bytes([19, reason]) + ASK_ONE[2:])
    assert read is not None
    assert read.reason == words


@pytest.mark.parametrize("data", [b"", ASK_ONE[:7], b"\x04" + ASK_ONE[1:]])
def test_no_dm22(data: bytes) -> None:
    assert read_dm22(data) is None


def ask(listener: ClearListener, destination: int = 0) -> tuple[Cleared, ...]:
    return listener.request(0, "can0", 0xF9, destination, 65235)


def test_row_17_dm11_cleared() -> None:
    question, answer = read_identifier(0x18EA00F9), read_identifier(0x18E8FF00)
    pgn = read_request(bytes.fromhex("D3FE00"))
    assert pgn == 65235
    listener = ClearListener()
    assert listener.request(0, "can0", question.source, question.destination, pgn) == ()
    events = listener.acknowledgement(90, "can0", answer.source, answer.destination, ACK)
    assert events == (Cleared(0, "can0", 0xF9, 0, "dm11", "done"),)
    assert listener.finish() == ()


def test_row_18_dm11_busy() -> None:
    listener = ClearListener()
    ask(listener)
    (event,) = listener.acknowledgement(90, "can0", 0, 255, BUSY)
    assert event.result == "busy"


@pytest.mark.parametrize(
    ("control", "result"), [(0, "done"), (1, "refused"), (2, "refused"), (3, "busy")]
)
@pytest.mark.parametrize(("pgn", "what"), [(65228, "dm3"), (65235, "dm11")])
def test_dm3_and_dm11_answers(control: int, result: str, pgn: int, what: str) -> None:
    # Reference sheet 2.7.
    listener = ClearListener()
    listener.request(5, "can0", 0xF9, 0, pgn)
    answer = bytes([control]) + ACK[1:5] + pgn.to_bytes(3, "little")
    (event,) = listener.acknowledgement(9, "can0", 0, 255, answer)
    assert (event.what, event.result, event.at_us) == (what, result, 5)


def test_answer_of_an_older_edition() -> None:
    # Reference sheet 1.2: byte 5 FF.
    listener = ClearListener()
    ask(listener)
    (event,) = listener.acknowledgement(90, "can0", 0, 255, ACK[:4] + b"\xff" + ACK[5:])
    assert (event.asker, event.result) == (0xF9, "done")


def test_no_answer_in_time() -> None:
    # Reference sheet 1.2: give up after 1.25 s.
    listener = ClearListener()
    ask(listener)
    assert listener.request(1_250_000, "can0", 3, 255, 65260) == ()
    (event,) = listener.request(1_250_001, "can0", 3, 255, 65260)
    assert (event.controller, event.result) == (0, "no_answer")
    assert listener.finish() == ()


def test_no_answer_until_the_end() -> None:
    listener = ClearListener()
    ask(listener)
    (event,) = listener.finish()
    assert event.result == "no_answer"


def test_the_question_again_starts_anew() -> None:
    listener = ClearListener()
    ask(listener)
    (first,) = listener.request(500, "can0", 0xF9, 0, 65235)
    assert (first.at_us, first.result) == (0, "no_answer")
    (second,) = listener.acknowledgement(600, "can0", 0, 255, ACK)
    assert (second.at_us, second.result) == (500, "done")


def test_a_question_to_all() -> None:
    # Reference sheet 2.7: no refusal may come; silence proves nothing.
    listener = ClearListener()
    ask(listener, 255)
    events = [
        *listener.acknowledgement(10, "can0", 0, 255, ACK),
        *listener.acknowledgement(20, "can0", 3, 255, ACK),
        *listener.finish(),
    ]
    assert [(one.controller, one.result) for one in events] == [(0, "done"), (3, "done")]
    ask(listener, 255)
    (silent,) = listener.finish()
    assert (silent.controller, silent.result) == (None, "no_answer")


def test_answers_that_belong_to_nobody_here() -> None:
    listener = ClearListener()
    ask(listener)
    other_asker = ACK[:4] + b"\xfa" + ACK[5:]
    (unheard,) = listener.acknowledgement(10, "can0", 0, 255, other_asker)
    assert (unheard.asker, unheard.detail) == (0xFA, "the question was not heard")
    assert listener.acknowledgement(20, "can0", 0, 255, ACK[:5] + bytes.fromhex("ECFE00")) == ()
    assert listener.acknowledgement(25, "can0", 0, 255, b"\x07" + ACK[1:]) == ()
    assert listener.acknowledgement(30, "can0", 0, 255, ACK[:4]) == ()
    (other_bus,) = listener.acknowledgement(40, "can1", 0, 255, ACK)
    assert other_bus.detail == "the question was not heard"
    assert [one.result for one in listener.finish()] == ["no_answer"]


def test_dm22_question_and_answer() -> None:
    listener = ClearListener()
    assert listener.clear_one(5, "can0", 0xF9, 0, ASK_ONE) == ()
    (event,) = listener.clear_one(9, "can0", 0, 0xF9, REFUSE_ONE)
    assert event == Cleared(5, "can0", 0xF9, 0, "dm22", "refused", 100, 1, "unknown fault")
    assert listener.finish() == ()


def test_dm22_answer_about_another_fault_or_kind() -> None:
    listener = ClearListener()
    listener.clear_one(5, "can0", 0xF9, 0, ASK_ONE)
    (other,) = listener.clear_one(9, "can0", 0, 0xF9, b"\x12" + ASK_ONE[1:])
    assert (other.result, other.detail) == ("done", "the question was not heard")
    assert listener.clear_one(9, "can0", 0, 0xF9, b"") == ()
    assert [one.result for one in listener.finish()] == ["no_answer"]

"""The last step before the bus: whatever comes in, nothing but the listed frames goes out."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import event, example, given
from hypothesis import strategies as st
from tests.asked_machine import SECOND, TOOL, ext, le3

import shearbolt.dictionary
from shearbolt.act import Asker, Gate, RoadAsker, askable, askable_groups, road_requests, tool_name
from shearbolt.act.askable import NEVER, is_reading
from shearbolt.act.tool import claim_frame, flow_control_frame, request_frame, road_request_frame
from shearbolt.errors import DictionaryError, NotAllowed
from shearbolt.model.frames import ERROR, EXTENDED, FD, REMOTE, PlainFrame

NAME = tool_name(7)
GROUPS = frozenset(one.pgn for one in askable_groups())
CLAIM = claim_frame(NAME)


def gate(*, road: bool = False) -> Gate:
    return Gate(NAME, GROUPS, road=road)


def lawful(frame: PlainFrame, asked: set[tuple[int, int]]) -> bool:
    """Say by the bits alone whether a frame is of the listed kinds (written anew for the tests)."""
    ident, data = frame.ident, frame.data
    if frame.flags == EXTENDED and ident == 0x18EEFFF9:
        return int.from_bytes(data, "little") == NAME.value and len(data) == 8
    if frame.flags == EXTENDED and ident & 0x1FFF00FF == 0x18EA00F9:
        return len(data) == 3 and int.from_bytes(data, "little") in GROUPS
    if frame.flags == EXTENDED and ident & 0x1FFF00FF == 0x1CEC00F9:
        who, pgn = ident >> 8 & 0xFF, int.from_bytes(data[5:8], "little")
        return len(data) == 8 and data[0] in (17, 19) and bool({(who, pgn), (255, pgn)} & asked)
    if (frame.flags, ident) in ((0, 0x7DF), (EXTENDED, 0x18DB33F1)):
        return len(data) == 8 and data[1] in (1, 2, 3, 7, 9, 10) and data[0] <= 3
    if (frame.flags == 0 and 0x7E0 <= ident <= 0x7E7) or (
        frame.flags == EXTENDED and ident & 0x1FFF00FF == 0x18DA00F1
    ):
        return data[:3] == b"\x30\x00\x00" and len(data) == 8
    return False


# -- any frame at all -------------------------------------------------------------------------

frames = st.builds(
    PlainFrame,
    time_us=st.just(0),
    ident=st.one_of(
        st.integers(0, 0x1FFFFFFF),
        st.sampled_from(
            [0x18EEFFF9, 0x18EA00F9, 0x18EAFFF9, 0x1CEC00F9, 0x1CEC03F9, 0x18DB33F1, 0x18DA00F1,
             0x7DF, 0x7E0, 0x18EEFFFE, 0x18EA00FA, 0x0CEA00F9, 0x1CEB00F9, 0x18ECFFF9]
        ),
    ),
    data=st.one_of(
        st.binary(max_size=8),
        st.sampled_from([CLAIM.data, *(le3(one) for one in sorted(GROUPS | NEVER))]),
        st.builds(
            lambda step, count, first, pgn: bytes((step, count, first, 255, 255)) + le3(pgn),
            st.sampled_from([16, 17, 19, 32, 255]),
            st.integers(0, 255),
            st.integers(0, 255),
            st.sampled_from(sorted(GROUPS | NEVER)),
        ),
        st.builds(
            lambda size, service, rest: (bytes((size, service)) + rest).ljust(8, b"\x55"),
            st.integers(0, 8), st.integers(0, 15), st.binary(max_size=6),
        ),
        st.just(b"\x30\x00\x00\x55\x55\x55\x55\x55"),
    ),
    flags=st.sampled_from([0, EXTENDED, EXTENDED, EXTENDED, FD, REMOTE | EXTENDED, ERROR]),
)  # fmt: skip
steps = st.lists(st.tuples(st.integers(-2 * SECOND, 2 * SECOND), frames), max_size=40)


@given(steps, st.booleans())
def test_whatever_is_offered_only_listed_frames_go_through(
    some: list[tuple[int, PlainFrame]], road: bool
) -> None:
    one, now_us = gate(road=road), 0
    asked: set[tuple[int, int]] = set()
    requests: list[int] = []
    one.let_through(now_us, road_request_frame(b"\x03", False) if road else CLAIM)
    for later_us, frame in some:
        now_us += later_us
        try:
            one.let_through(now_us, frame)
        except NotAllowed:
            continue
        assert lawful(frame, asked)
        if frame.ident & 0x1FFF00FF == 0x18EA00F9 or frame.ident in (0x7DF, 0x18DB33F1):
            assert all(now_us - before >= SECOND for before in requests[-1:])
            requests.append(now_us)
            asked.add((frame.ident >> 8 & 0xFF, int.from_bytes(frame.data, "little")))


# -- any bus at all ---------------------------------------------------------------------------

calm = [
    ext(0x18FEF117, b"\xff\x00\x00" + b"\xff" * 5),
    ext(0x0CF00400, b"\xff\xff\xff\x00\x00\xff\xff\xff"),
    ext(0x18E8FF03, b"\x01\xff\xff\xff\xf9" + le3(65227)),
    ext(0x18E8FF03, b"\x03\xff\xff\xff\xf9" + le3(65227)),
    ext(0x18FECB00, b"\x04\xff\x64\x00\x01\x03\xff\xff"),
    *(
        ext(0x1CECF900, bytes((16, 18, 0, 3, most)) + le3(pgn))
        for pgn in (65260, 65259, 64920, 65235)
        for most in (0, 1, 255)
    ),
    *(ext(0x1CEBF900, bytes((number,)) + b"ABCDEFG") for number in (0, 1, 2, 3, 255)),
    ext(0x1CECFF00, bytes((32, 18, 0, 3, 255)) + le3(65260)),
    ext(0x18EAFF03, le3(60928)),
]
road_calm = [
    PlainFrame(0, 0x1A0, bytes(8), 0),
    PlainFrame(0, 0x7E8, b"\x10\x14\x49\x02\x01ABC", 0),
    PlainFrame(0, 0x7E8, b"\x21ABCDEFG", 0),
    PlainFrame(0, 0x7E8, b"\x03\x41\x0d\x00\x55\x55\x55\x55", 0),
    PlainFrame(0, 0x7E8, b"\x06\x41\x00\xff\xff\xff\xff\x55", 0),
    PlainFrame(0, 0x7E9, b"\x03\x7f\x09\x78\x55\x55\x55\x55", 0),
]


def buses(usual: list[PlainFrame]) -> st.SearchStrategy[list[tuple[int, list[PlainFrame]]]]:
    """Draw what a bus says, piece by piece: mostly lawful traffic, now and then anything."""
    one = st.integers(0, 60).flatmap(lambda n: frames if n == 0 else st.sampled_from(usual))
    time_us = st.sampled_from([1000, 250_000, SECOND, 1_300_000])
    return st.lists(st.tuples(time_us, st.lists(one, max_size=3)), min_size=5, max_size=40)


pieces = st.booleans().flatmap(
    lambda road: st.tuples(buses(road_calm if road else calm), st.just(road))
)


@given(pieces, st.sampled_from([True, True, False]))
def test_no_bus_makes_an_asker_send_anything_else(
    drawn: tuple[list[tuple[int, list[PlainFrame]]], bool], word: bool
) -> None:
    some, road = drawn
    asker = RoadAsker(NAME, word=word) if road else Asker(NAME, word=word)
    one, now_us = gate(road=road), 0
    asked: set[tuple[int, int]] = set()
    last_us: int | None = None
    over = False
    base = road_calm[0] if road else calm[0]
    quiet: list[tuple[int, list[PlainFrame]]] = [(100_000, [])] * 62
    for later_us, said in quiet + some:
        now_us += later_us
        for frame in asker.step(now_us, [base, *said]):
            # The asker itself keeps to the rules; the gate has nothing to hold back.
            one.let_through(now_us, frame)
            assert word
            assert not over
            assert lawful(frame, asked)
            if frame.ident & 0x1FFF00FF == 0x18EA00F9 or frame.ident in (0x7DF, 0x18DB33F1):
                assert last_us is None or now_us - last_us >= SECOND
                last_us = now_us
                asked.add((frame.ident >> 8 & 0xFF, int.from_bytes(frame.data, "little")))
        over = asker.ended is not None
    event(f"road {road}, word {word}: {min(len(asker.requests), 10)} requests")


# -- one by one -------------------------------------------------------------------------------


@pytest.mark.parametrize("pgn", sorted(NEVER | {54016, 65226, 65280, 1}))
def test_groups_off_the_list_are_held_back(pgn: int) -> None:
    one = gate()
    one.let_through(0, CLAIM)
    with pytest.raises(NotAllowed, match="not on the list"):
        one.let_through(SECOND, request_frame(pgn, 255))


def test_a_request_waits_for_the_claim_and_its_250_ms() -> None:
    one = gate()
    asks = request_frame(65253, 0)
    assert one.objection(0, asks) == "our address was not claimed yet"
    one.let_through(0, CLAIM)
    assert one.objection(249_999, asks) is not None
    assert one.objection(250_000, asks) is None


def test_one_request_a_second_and_no_burst_when_the_clock_runs_back() -> None:
    one = gate()
    one.let_through(0, CLAIM)
    one.let_through(SECOND, request_frame(65253, 0))
    for at in (SECOND, 2 * SECOND - 1, 300_000):
        assert one.objection(at, request_frame(65260, 0)) is not None
    assert one.objection(2 * SECOND, request_frame(65260, 0)) is None


def test_transport_answers_only_where_the_group_was_asked() -> None:
    one = gate()
    one.let_through(0, CLAIM)
    clear = ext(0x1CEC03F9, bytes((17, 3, 1, 255, 255)) + le3(65260))
    assert one.objection(SECOND, clear) is not None
    one.let_through(SECOND, request_frame(65260, 0))
    assert one.objection(SECOND, clear) is not None
    one.let_through(2 * SECOND, request_frame(65260, 3))
    assert one.objection(2 * SECOND, clear) is None
    for step in (16, 32, 255):
        bad = ext(0x1CEC03F9, bytes((step, 3, 1, 255, 255)) + le3(65260))
        assert one.objection(2 * SECOND, bad) is not None


def test_another_name_and_other_addresses_are_held_back() -> None:
    one = gate()
    assert one.objection(0, claim_frame(tool_name(8))) is not None
    assert one.objection(0, ext(0x18EEFFFA, CLAIM.data)) is not None
    assert one.objection(0, ext(0x18EEFFFE, CLAIM.data)) is not None


def test_a_closed_gate_stays_closed() -> None:
    one = gate()
    one.close("the person stopped it")
    with pytest.raises(NotAllowed, match="the person stopped it"):
        one.let_through(0, CLAIM)


@pytest.mark.parametrize(
    "payload", [b"\x04", b"\x08\x01", b"\x01", b"\x03\x00", b"\x02\x02\x01", b"\x10\x03", b"\x14"]
)
def test_road_services_that_do_more_than_read_are_held_back(payload: bytes) -> None:
    assert not is_reading(payload)
    with pytest.raises(NotAllowed):
        gate(road=True).let_through(0, road_request_frame(payload, False))


def test_flow_control_belongs_to_a_request() -> None:
    one = gate(road=True)
    assert one.objection(0, flow_control_frame(0x7E8, False)) is not None
    one.let_through(0, road_request_frame(b"\x09\x02", False))
    assert one.objection(SECOND, flow_control_frame(0x7E8, False)) is None
    assert one.objection(SECOND, flow_control_frame(0x18DAF110, True)) is None
    assert one.objection(20 * SECOND, flow_control_frame(0x7E8, False)) is not None


def test_the_two_kinds_of_bus_are_not_mixed() -> None:
    assert gate(road=True).objection(0, CLAIM) is not None
    assert gate().objection(0, road_request_frame(b"\x03", True)) is not None


# -- the lists --------------------------------------------------------------------------------


def test_the_list_is_the_one_that_was_promised() -> None:
    numbers = {
        65253, 65260, 65259, 65242, 64965, 65227, 65229, 65230, 65231, 65236, 49664, 49408, 64949,
        64950, 64951, 64952, 64898, 64896, 40448, 64920,
    }  # fmt: skip
    assert numbers == GROUPS
    assert {one.payload[0] for one in road_requests()} <= {1, 2, 3, 7, 9, 10}


@pytest.mark.parametrize("name", ["requests", "road_requests"])
def test_every_row_has_a_source(name: str) -> None:
    path = Path(shearbolt.dictionary.__file__).parent / "data" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        assert all(row["source"] for row in csv.DictReader(lines))


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("requests", {"pgn": "65235", "what": "x", "then": "none", "source": "x"}),
        ("requests", {"pgn": "65281", "what": "x", "then": "none", "source": "x"}),
        ("requests", {"pgn": "65253", "what": "x", "then": "often", "source": "x"}),
        ("requests", {"pgn": "hours", "what": "x", "then": "none", "source": "x"}),
        (
            "road_requests",
            {"service": "04", "identifier": "", "what": "x", "when": "always", "source": "x"},
        ),
    ],
)
def test_a_row_that_would_change_something_is_refused(
    name: str, row: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(askable, "table", lambda _: (row,))
    read = {"requests": askable.askable_groups, "road_requests": askable.road_requests}[name]
    with pytest.raises(DictionaryError):
        read.__wrapped__()


@given(st.integers(0, (1 << 21) - 1))
@example(0)
def test_our_name_gives_way_to_everybody(identity: int) -> None:
    name = tool_name(identity)
    assert (name.function, name.device_class, name.industry_group) == (129, 0, 0)
    assert name.self_configurable
    assert name.identity_number == identity
    assert claim_frame(name).ident == 0x18EEFF00 | TOOL


@pytest.mark.parametrize("identity", [-1, 1 << 21])
def test_an_identity_number_has_21_bits(identity: int) -> None:
    with pytest.raises(ValueError, match="21 bits"):
        tool_name(identity)

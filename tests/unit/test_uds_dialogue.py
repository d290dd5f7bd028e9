"""Who answers whom: pairing of requests and answers, silence, clears, state between blocks."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from tests.road_traffic import converse, message, of_kind, services, udsoncan

from shearbolt.model.message import Broken, IsoTpBroken
from shearbolt.model.road import (
    AnyRoadEvent,
    ClearHeard,
    CodesListed,
    NegativeAnswer,
    PidReading,
    RoadNotRead,
    UdsCodes,
    Unanswered,
    VehicleInfo,
)
from shearbolt.wire.tester_dialogue import DialogueListener

SECOND_US = 1_000_000


def test_nobody_answers() -> None:
    assert converse("7DF 01 03") == [Unanswered(0, 0, 0x7DF, False, b"\x03", False)]


def test_a_clear_that_nobody_answers() -> None:
    silent, cleared = converse("7E0 01 04")
    assert isinstance(silent, Unanswered)
    assert isinstance(cleared, ClearHeard)
    assert (cleared.result, cleared.address, cleared.asked_us) == ("no_answer", 0x7E8, 0)


def test_a_clear_of_all_that_nobody_answers_names_nobody() -> None:
    cleared = of_kind(converse("18DB33F1 04 14 FF FF FF"), ClearHeard)
    assert [(one.result, one.address, one.group) for one in cleared] == [
        ("no_answer", None, 0xFFFFFF)
    ]


def test_a_unit_that_says_pending_and_then_nothing() -> None:
    events = converse("7DF 01 04; 7E9 01 44; 7E8 03 7F 04 78")
    results = {(one.ident, one.result, one.waited) for one in of_kind(events, ClearHeard)}
    assert results == {(0x7E9, "done", False), (0x7E8, "no_answer", True)}
    assert [one.pending for one in of_kind(events, Unanswered)] == [True]


def test_busy_is_not_refused() -> None:
    (cleared,) = of_kind(converse("7E0 04 14 FF FF FF; 7E8 03 7F 14 21"), ClearHeard)
    assert (cleared.result, cleared.nrc) == ("busy", 0x21)


def test_clear_refused_after_pending() -> None:
    events = converse("7E0 04 14 FF FF FF; 7E8 03 7F 14 78; 7E8 03 7F 14 22")
    (cleared,) = of_kind(events, ClearHeard)
    assert (cleared.result, cleared.waited) == ("refused", True)
    assert [one.final for one in of_kind(events, NegativeAnswer)] == [False, True]


def test_an_answer_without_its_request_is_read_all_the_same() -> None:
    (listed,) = converse("7E8 04 43 01 01 43")
    assert isinstance(listed, CodesListed)
    (cleared,) = converse("7E8 01 44")
    assert isinstance(cleared, ClearHeard)
    assert (cleared.result, cleared.asked_ident, cleared.asked_us) == ("done", None, None)


def test_the_answer_of_another_unit_is_not_the_one_asked_for() -> None:
    events = converse("7E0 02 01 05; 7E9 03 41 05 7B")
    assert [one.ident for one in of_kind(events, PidReading)] == [0x7E9]
    assert [one.ident for one in of_kind(events, Unanswered)] == [0x7E0]


def test_asked_again_after_silence() -> None:
    events = converse("7E0 02 01 05; 7E0 02 01 05; 7E8 03 41 05 7B")
    assert [type(one) for one in events] == [Unanswered, PidReading]


def test_a_request_is_given_up_after_five_seconds() -> None:
    """P2* 5000 ms (ISO 14229-2; reference sheet 4.2)."""
    dialogue = DialogueListener()
    assert dialogue.feed(message("03", 0x7DF, 0)) == ()
    assert dialogue.feed(message("3E 00", 0x7E1, 5 * SECOND_US)) == ()
    told = dialogue.feed(message("7E 00", 0x7E9, 5 * SECOND_US + 1))
    assert [type(one).__name__ for one in told] == ["Unanswered", "KeepAlive"]
    assert dialogue.finish() == ()


def test_pending_gives_five_seconds_more() -> None:
    dialogue = DialogueListener()
    dialogue.feed(message("14 FF FF FF", 0x7E0, 0))
    dialogue.feed(message("7F 14 78", 0x7E8, 4 * SECOND_US))
    (done,) = dialogue.feed(message("54", 0x7E8, 8 * SECOND_US))
    assert isinstance(done, ClearHeard)
    assert (done.result, done.asked_us, done.waited) == ("done", 0, True)


def test_a_broken_answer_is_no_silence() -> None:
    dialogue = DialogueListener()
    dialogue.feed(message("09 02", 0x7DF, 0))
    assert dialogue.feed(IsoTpBroken(10, 0, 0x7E8, False, Broken.WRONG_ORDER)) == ()
    assert dialogue.finish() == ()


def test_channels_are_apart() -> None:
    dialogue = DialogueListener()
    dialogue.feed(message("03", 0x7E0, 0))
    answer = message("43 00", 0x7E8, 10)
    elsewhere = type(answer)(10, 10, 1, 0x7E8, False, answer.payload)
    assert len(dialogue.feed(elsewhere)) == 1
    assert [type(one) for one in dialogue.finish()] == [Unanswered]


def test_a_quiet_session_request_wants_no_answer() -> None:
    assert converse("7E0 02 10 83") == []


def test_an_answer_of_no_service() -> None:
    (lost,) = converse("7E8 02 01 02")
    assert isinstance(lost, RoadNotRead)


def test_identifiers_of_a_request_lead_the_answer() -> None:
    """The same bytes mean one reading of three bytes, or nothing certain."""
    single = converse("7E0 02 01 C7; 7E8 05 41 C7 01 0D 32")
    assert [one.raw for one in of_kind(single, PidReading)] == [b"\x01\x0d\x32"]


def test_a_truck_on_29_bit() -> None:
    events = converse(
        "18DA00F1 03 22 F1 90; 18DAF100 10 14 62 F1 90 41 42 31; 18DA00F1 30 00 00;"
        "18DAF100 21 43 44 32 33 45 34 46; 18DAF100 22 47 35 36 37 38 39 30"
    )
    (info,) = of_kind(events, VehicleInfo)
    assert (info.vin, info.address) == ("AB1CD23E4FG567890", 0x00)


@given(
    st.lists(
        st.tuples(st.integers(1, 0xFFFFFF), st.integers(0, 255)),
        min_size=1,
        max_size=12,
        unique_by=lambda x: x[0],
    ),
    st.integers(1, 255),
)
def test_a_dialogue_made_by_udsoncan(held: list[tuple[int, int]], mask: int) -> None:
    request = services.ReadDTCInformation.make_request(
        services.ReadDTCInformation.Subfunction.reportDTCByStatusMask, status_mask=mask
    )
    body = b"\x02\xff"
    for number, status in held:
        body += number.to_bytes(3, "big") + bytes((status,))
    response = udsoncan.Response(
        services.ReadDTCInformation, udsoncan.Response.Code.PositiveResponse, body
    )
    dialogue = DialogueListener()
    assert dialogue.feed(message(request.get_payload(), 0x7E0, 0)) == ()
    (codes,) = dialogue.feed(message(response.get_payload(), 0x7E8, 10))
    assert isinstance(codes, UdsCodes)
    assert codes.mask == mask
    assert [int.from_bytes(one.raw, "big") for one in codes.faults] == [n for n, _ in held]
    assert dialogue.finish() == ()


@given(st.integers(0, 0xFFFFFF))
def test_clears_made_by_udsoncan(group: int) -> None:
    request = services.ClearDiagnosticInformation.make_request(group)
    response = udsoncan.Response(
        services.ClearDiagnosticInformation, udsoncan.Response.Code.PositiveResponse
    )
    dialogue = DialogueListener()
    dialogue.feed(message(request.get_payload(), 0x7E0, 0))
    (done,) = dialogue.feed(message(response.get_payload(), 0x7E8, 10))
    assert isinstance(done, ClearHeard)
    assert (done.group, done.result) == (group, "done")


traffic = st.lists(
    st.tuples(
        st.sampled_from([0x7DF, 0x7E0, 0x7E1, 0x7E8, 0x7E9, 0x18DA00F1, 0x18DAF100]),
        st.one_of(
            st.binary(max_size=12),
            st.sampled_from(
                [bytes.fromhex(one) for one in ("04", "44", "7F0478", "7F0422", "14FFFFFF", "54")]
            ),
        ),
        st.integers(0, 7 * SECOND_US),
    ),
    max_size=30,
)


@given(traffic)
def test_any_traffic(rows: list[tuple[int, bytes, int]]) -> None:
    """Nothing raises; every clear that was asked for has an end; nothing is left open."""
    dialogue = DialogueListener()
    events: list[AnyRoadEvent] = []
    now = clears = 0
    for ident, payload, gap in rows:
        now += gap
        if payload[:1] in (b"\x04", b"\x14") and ident in (0x7DF, 0x7E0, 0x7E1, 0x18DA00F1):
            clears += 1
        events += dialogue.feed(message(payload, ident, now))
    events += dialogue.finish()
    assert dialogue.finish() == ()
    ended = {(one.asked_ident, one.asked_us) for one in of_kind(events, ClearHeard)}
    asked = {
        (ident, at)
        for ident, payload, at in _at_times(rows)
        if payload[:1] in (b"\x04", b"\x14") and ident in (0x7DF, 0x7E0, 0x7E1, 0x18DA00F1)
    }
    assert asked <= ended


def _at_times(rows: list[tuple[int, bytes, int]]) -> list[tuple[int, bytes, int]]:
    now, timed = 0, []
    for ident, payload, gap in rows:
        now += gap
        timed.append((ident, payload, now))
    return timed

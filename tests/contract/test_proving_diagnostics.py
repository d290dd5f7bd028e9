"""What the proving ground packs of SAE J1939-73, against the worked examples and our own reader.

The examples are those of the reference sheet, section 2.11, beside the standard's clause.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.played_outings import outing_of

from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.fault import FaultSeen, Lamps
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import VisitContent
from shearbolt.proving.bus import Played, play
from shearbolt.proving.controllers import VEHICLE_IDENTIFICATION
from shearbolt.proving.diagnostic_packing import (
    CONTINUOUS,
    DM5,
    DM6,
    DM11,
    DM12,
    DM19,
    DM20,
    DM21,
    DM22,
    DM24,
    DM25,
    DM26,
    DM28,
    DM29,
    NO_FRAME,
    NON_CONTINUOUS,
    Monitoring,
    dm5,
    dm13,
    dm19,
    dm20,
    dm21,
    dm22,
    dm22_code,
    dm24,
    dm25_frame,
    dm26,
    dm29,
    frame_bytes,
)
from shearbolt.proving.ledger import truth_of
from shearbolt.proving.machines import SERVICE_TOOL, SERVICE_TOOL_ADDRESS
from shearbolt.proving.memory import Kept, Store
from shearbolt.proving.outing import Ask, Outing, Tool
from shearbolt.proving.packing import (
    ACKNOWLEDGEMENT,
    DM2,
    DM4,
    acknowledgement,
    dtc_bytes,
    identifier,
    request,
)
from shearbolt.proving.trace import Day
from shearbolt.wire.broadcast_control import read_dm13
from shearbolt.wire.calibration import read_dm19
from shearbolt.wire.clearing import read_dm22
from shearbolt.wire.freeze_frame import read_dm24, read_dm25
from shearbolt.wire.readiness import read_dm5, read_dm20, read_dm21, read_dm26

MONITORS = (*CONTINUOUS, *NON_CONTINUOUS)


def sent(digits: str) -> bytes:
    return bytes.fromhex(digits)


def test_readiness_as_in_the_example() -> None:
    # SAE J1939-73 DM5 (2.11, 19)
    supported = frozenset(
        {"fuel", "components", "sensor_heater", "egr_vvt", "boost_control", "dpf", "nox_catalyst"}
    )
    left = frozenset({"egr_vvt", "dpf"})
    assert dm5(2, 1, 20, Monitoring(supported, left)) == sent("02011406C00E8004")


@given(
    st.frozensets(st.sampled_from(MONITORS)),
    st.frozensets(st.sampled_from(MONITORS)),
    st.integers(0, 250),
    st.integers(0, 250),
)
def test_readiness_is_read_back(
    supported: frozenset[str], incomplete: frozenset[str], active: int, previous: int
) -> None:
    incomplete &= supported
    monitoring = Monitoring(supported, incomplete)
    read = read_dm5(dm5(active, previous, 20, monitoring))
    assert read is not None
    assert (read.active, read.previously_active, read.obd_type) == (active, previous, 20)
    assert {one.name for one in read.monitors if one.supported} == supported
    assert {one.name for one in read.monitors if not one.complete} == incomplete
    cycle = read_dm26(dm26(active * 10, previous, monitoring))
    assert cycle is not None
    assert (cycle.since_start_s, cycle.warm_ups_since_clear) == (active * 10, previous)
    assert {one.name for one in cycle.monitors if one.supported} == supported


def test_ratios_distances_and_counts_as_in_the_examples() -> None:
    # SAE J1939-73 DM20, DM21, DM29 (2.11, 15, 22, 21)
    assert dm20(120, 95, {5322: (14, 20)}) == sent("78005F00CA14F80E001400")
    assert dm21(12, 500, 60, 600) == sent("0C00F4013C005802")
    assert dm29(1, 2, 3, 0, 1) == sent("0102030001FFFFFF")
    ratio = read_dm20(dm20(120, 95, {5322: (14, 20), 4792: (3, 20)}))
    assert ratio is not None
    assert [(one.spn, one.value) for one in ratio.ratios] == [(4792, 0.15), (5322, 0.7)]
    distances = read_dm21(dm21(1.9, 70_000.0, 2.0, 3.0))
    assert distances is not None
    assert (distances.mil_km, distances.since_clear_km) == (1, 0xFAFF)


def test_supported_and_frames_as_in_the_examples() -> None:
    # SAE J1939-73 DM24 (2.11, 13): the first three; DM25 in its order
    assert dm24((92, 190, 110), ()) == sent("5C001C01BE001C026E001C01")
    frame = dm25_frame(dtc_bytes(3251, 16, 1), (92, 190, 110, 3251),
                       {92: 85.0, 190: 1800.0, 110: 85.0, 3251: 18.5})  # fmt: skip
    assert frame == sent("0AB30C10015540387DB900")
    supported = read_dm24(dm24((92, 190, 110, 3251), (183, 92)))
    assert [(one.spn, one.in_freeze_frame, one.length) for one in supported] == [
        (92, True, 1),
        (190, True, 2),
        (110, True, 1),
        (3251, True, 2),
        (183, False, 0),
    ]
    (read,) = read_dm25(frame, supported)
    assert read.fits
    assert dict(read.values)[3251] == sent("B900")
    assert read_dm25(NO_FRAME, supported) == ()
    assert frame_bytes(175) == 2


def test_calibrations_are_read_back() -> None:
    few = (("L6108-DS7781-302", 0x9C417E05), ("SHORT", 7))
    read = read_dm19(dm19(few))
    assert [(one.identification, one.verification_number) for one in read] == list(few)


def test_clearing_as_in_the_examples() -> None:
    # SAE J1939-73 DM22 (2.11, 16), DM11 (17, 18)
    assert dm22(1, None, 100, 1) == sent("01FFFFFFFF640001")
    assert dm22(3, 2, 100, 1) == sent("0302FFFFFF640001")
    assert dm22_code(dm22(1, None, 522_000, 31)) == (522_000, 31)
    read = read_dm22(dm22(19, 4, 522_000, 31))
    assert read is not None
    assert (read.spn, read.fmi, read.step, read.active) == (522_000, 31, "refused", True)
    assert request(0, 0xF9, 0, DM11).ident == 0x18EA00F9
    assert request(0, 0xF9, 0, DM11).data == sent("D3FE00")
    assert acknowledgement(0, 0, 0xF9, DM11, 0).data == sent("00FFFFFFF9D3FE00")
    assert acknowledgement(0, 0, 0xF9, DM11, 3).data == sent("03FFFFFFF9D3FE00")
    assert identifier(6, ACKNOWLEDGEMENT, 0) == 0x18E8FF00


def test_stop_and_hold_are_read_back() -> None:
    stop = read_dm13(dm13(stop=True))
    assert stop is not None
    assert stop.stops
    assert not stop.holds
    hold = read_dm13(dm13(stop=True, hold=True))
    assert hold is not None
    assert hold.stops
    assert hold.holds
    start = read_dm13(dm13(stop=False))
    assert start is not None
    assert not start.stops


# A whole outing, asked for everything, read by our own decode

EVERYTHING = (
    DM2, DM4, DM5, DM6, DM12, DM19, DM20, DM21, DM24, DM25, DM26, DM28, DM29,
    VEHICLE_IDENTIFICATION,
)  # fmt: skip
WARM = Day(ambient_c=20.0, coolant_c=84.0, oil_c=88.0, transmission_c=66.0)
OLD = Store(
    (
        Kept(102, 18, 5, "real_condition", "", pending=True, remembered=False),
        Kept(105, 16, 3, "real_condition", "", frame={190: 1500.0, 110: 90.0, 92: 77.0}),
        Kept(91, 13, 1, "calibration", "", stale=True),
    )
)


def asked(machine: str, *causes: str) -> Outing:
    outing = outing_of(machine, ("mow", 130), ("idle", 20), ("key_off", 12), day=WARM,
                       causes=causes)  # fmt: skip
    asks = tuple(
        Ask(125.0 + 1.1 * number, SERVICE_TOOL_ADDRESS, pgn, 0)
        for number, pgn in enumerate(EVERYTHING)
    )
    return replace(
        outing,
        asks=asks,
        tool=Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, 124.0),
        stores={(machine, "engine"): OLD},
    )


@pytest.fixture(scope="module")
def leaking() -> Played:
    return play(asked("new_tractor", "real_condition.boost_leak", "wiring.open.174"), 4)


def read(played: Played) -> VisitContent:
    return decode_recording([played.frames], Dictionary.ours(), TimeBase.ABSOLUTE)


def seen_of(content: VisitContent, address: int) -> dict[tuple[int | None, int | None], FaultSeen]:
    return {(one.key.spn, one.key.fmi): one for one in content.faults if one.key.address == address}


def test_our_decode_reads_what_is_true(leaking: Played) -> None:
    truth = truth_of(leaking.cycle.outing, leaking)
    content = read(leaking)
    assert content.transport.broken == ()
    told = [one for one in truth.faults if one.told_in]
    assert {(one.spn, one.fmi) for one in told} >= {(102, 18), (174, 3), (105, 16), (91, 13)}
    for true in told:
        assert true.address is not None
        seen = seen_of(content, true.address)[true.spn, true.fmi]
        # Which answer lists them is the same on both sides; freeze frames are told elsewhere.
        lists = {one for one in true.told_in if one not in ("dm4", "dm25")}
        assert lists <= set(seen.sources), (true.spn, true.fmi, seen.sources)
        assert len(seen.spells) == len(true.spells)
        for spell, truly in zip(seen.spells, true.spells, strict=True):
            assert spell.start_us == truly.first_listed_us
            assert spell.end_us == truly.last_listed_us
            assert spell.count_start == truly.count
    listed = {(one.key.address, one.key.spn, one.key.fmi) for one in content.faults}
    assert listed == {(one.address, one.spn, one.fmi) for one in told}


def test_confirmed_boost_code_is_everywhere(leaking: Played) -> None:
    seen = seen_of(read(leaking), 0)[102, 18]
    assert {"dm1", "dm12"} <= set(seen.sources)
    assert seen.lamps.mil == "on"
    assert seen.freeze_frames
    expanded = {one.source: one for one in seen.freeze_frames}
    assert set(expanded) == {"dm4", "dm25"}
    for frame in expanded.values():
        values = {one.spn: one.value for one in frame.values}
        assert values[190] is not None
        assert 1500.0 < values[190] < 2200.0
        assert values[92] is not None
        assert values[92] > 55.0


def test_answers_come_whole(leaking: Played) -> None:
    content = read(leaking)
    assert ("can0", 0, "XCH02NEWTRAC22117") in content.vins
    # VIN, DM4, DM19, DM24 and DM25 are longer than a frame and were asked of one.
    assert dict(content.transport.complete)["rts"] >= 5


def test_a_clear_on_the_bus_is_read_as_one() -> None:
    outing = asked("new_tractor", "wiring.open.174")
    clear = Ask(2.0, SERVICE_TOOL_ADDRESS, DM11, 0)
    later = Ask(60.0, SERVICE_TOOL_ADDRESS, DM11, 0)
    one = Ask(3.0, SERVICE_TOOL_ADDRESS, DM22, 0)
    played = play(replace(outing, asks=(clear, one, later)), 4)
    content = read(played)
    done = [(one.what, one.result, one.controller) for one in content.clears]
    assert done == [("dm11", "done", 0), ("dm11", "busy", 0)]
    # What stands is found again after its set delay, with its count from 0.
    (spells,) = (seen.spells for key, seen in seen_of(content, 0).items() if key == (174, 3))
    assert spells[0].count_start == 1
    assert (spells[0].start_us - content.first_us) / 1e6 > 3.5


def sampled(played: Played, ident: int) -> Iterator[bytes]:
    for row in np.flatnonzero(played.frames.ident == ident):
        yield played.frames.data(int(row))


def test_a_bad_reading_is_sent_in_the_manner_of_its_controller(leaking: Played) -> None:
    fuel = [data[1] for data in sampled(leaking, 0x18FEEE00)]
    assert fuel[:2] == [0x00, 0x00], "as read: the cold end of the scale"
    assert set(fuel[4:90]) == {0xFE}, "then marked as an error"
    silent = play(replace(asked("big_tractor", "wiring.open.110"), asks=(), tool=None), 4)
    coolant = [data[0] for data in sampled(silent, 0x18FEEE00)]
    assert coolant[0] == 0x00
    assert set(coolant[4:60]) == {125}, "another controller takes a round default, 85 degC"


def test_lamps_of_what_is_read(leaking: Played) -> None:
    seen = seen_of(read(leaking), 0)[174, 3]
    assert seen.lamps_sure == Lamps("off", "off", "on", "off")

"""What a sender tells of its fault memory: lists, counts, lamps, freeze frames, old code forms."""

from __future__ import annotations

import pytest
from tests import bus_traffic as t
from tests.bus_traffic import Bus, dtc, fault, us

from shearbolt.model.fault import CountSeen, FaultState, Lamps
from shearbolt.model.visit import VisitContent

HOT = dtc(110, 0, 3)
OIL = dtc(100, 1, 1)
NO_LAMP = b"\x00\xff"
# Reference sheet 2.11 (SAE J1939-73), examples 6, 8 and 9.
METHOD_1 = bytes.fromhex("0097038A")
METHOD_2_OR_3 = bytes.fromhex("1500038A")
"""By method 2 SPN 168, by method 3 SPN 21; both are in the public list (computed)."""
METHOD_3 = bytes.fromhex("B804038A")
METHOD_1_TOO = bytes.fromhex("00416581")


def listed(**lists: bytes) -> VisitContent:
    """Let one controller answer each list with these codes."""
    bus = Bus()
    bus.alive(0, 10, 0)
    groups = {
        "dm2": t.DM2, "dm6": t.DM6, "dm12": t.DM12, "dm23": t.DM23, "dm27": t.DM27, "dm28": t.DM28,
    }  # fmt: skip
    for i, (name, codes) in enumerate(lists.items()):
        bus.tell(i + 1.0, groups[name], 0, NO_LAMP + codes)
    return bus.content()


# -- lists ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("names", "state"),
    [
        (("dm2",), "previously_active"),
        (("dm6",), "pending"),
        (("dm12",), "active"),
        (("dm23",), "previously_active"),
        (("dm27",), "pending"),
        (("dm28",), "permanent"),
        (("dm2", "dm23"), "previously_active"),
        (("dm2", "dm28"), "permanent"),
        (("dm6", "dm12"), "active"),
        (("dm27", "dm2"), "previously_active"),
    ],
)
def test_each_list_says_how_its_codes_stand(names: tuple[str, ...], state: FaultState) -> None:
    found = fault(listed(**dict.fromkeys(names, HOT)), 110, 0)
    assert found.sources == tuple(sorted(names))
    assert found.state == state
    assert found.spells == ()


def test_a_list_of_several_codes_comes_in_packets() -> None:
    content = listed(dm2=HOT + OIL + dtc(190, 8, 126))
    assert [(one.key.spn, one.key.fmi) for one in content.faults] == [(110, 0), (100, 1), (190, 8)]


@pytest.mark.parametrize("empty", ["00000000FFFF", "FFFFFFFFFFFF", "000000000000", "00000000"])
def test_no_fault_makes_none(empty: str) -> None:
    """Reference sheet 2.5: the forms of 'no fault'."""
    assert listed(dm2=bytes.fromhex(empty)).faults == ()


def test_an_unknown_end_is_settled_by_a_later_list() -> None:
    bus = Bus()
    bus.alive(0, 12, 3)
    bus.dm1(1.5, 3, HOT)
    assert fault(bus.content(), 110).state == "unknown"
    bus.tell(9.0, t.DM2, 3, NO_LAMP + HOT)
    found = fault(bus.content(), 110)
    assert (found.state, found.sources) == ("previously_active", ("dm1", "dm2"))
    assert (found.first_us, found.last_us) == (us(1.5), us(9.0))


def test_a_permanent_fault_that_healed_is_permanent_still() -> None:
    bus = Bus()
    bus.alive(0, 20, 3)
    bus.dm1_each(0.5, 5, 3, HOT)
    bus.dm1_each(5.5, 20, 3)
    bus.tell(9.0, t.DM28, 3, NO_LAMP + HOT)
    assert fault(bus.content(), 110).state == "permanent"


def test_two_senders_of_one_code_are_two_faults() -> None:
    bus = Bus()
    bus.dm1(1, 0, HOT)
    bus.dm1(1.1, 3, HOT)
    assert sorted(one.key.address or 0 for one in bus.content().faults) == [0, 3]


# -- counts ---------------------------------------------------------------------------------------


def counts(content: VisitContent, spn: int = 110) -> list[int | None]:
    return [one.count for one in fault(content, spn).counts]


@pytest.mark.parametrize(("sent", "told"), [(0, 0), (1, 1), (126, 126), (127, None)])
def test_counts_as_sent(sent: int, told: int | None) -> None:
    assert counts(listed(dm2=dtc(110, 0, sent))) == [told]


def test_counts_stand_in_time_order_with_their_times() -> None:
    bus = Bus()
    bus.alive(0, 30, 0)
    bus.tell(1.0, t.DM2, 0, NO_LAMP + dtc(110, 0, 2))
    bus.dm1_each(5.5, 10, 0, dtc(110, 0, 3))
    bus.dm1_each(10.5, 12, 0)
    bus.dm1_each(12.5, 14, 0, dtc(110, 0, 4))
    bus.dm1_each(14.5, 30, 0)
    bus.tell(20.0, t.DM2, 0, NO_LAMP + dtc(110, 0, 4))
    bus.tell(25.0, t.DM2, 0, NO_LAMP + dtc(110, 0, 4))
    assert fault(bus.content(), 110).counts == (
        CountSeen(us(1.0), us(1.0), 2),
        CountSeen(us(5.5), us(9.5), 3),
        CountSeen(us(12.5), us(25.0), 4),
    )


def test_a_count_that_changes_within_a_spell_does_not_split_it() -> None:
    bus = Bus()
    bus.alive(0, 10, 0)
    bus.dm1_each(0.5, 5, 0, dtc(110, 0, 3))
    bus.dm1_each(5.5, 9.9, 0, dtc(110, 0, 4))
    (spell,) = fault(bus.content(), 110).spells
    assert (spell.count_start, spell.count_end) == (3, 4)


# -- lamps ----------------------------------------------------------------------------------------


def test_lamps_are_those_lit_in_every_report_and_sure_only_alone() -> None:
    bus = Bus()
    bus.alive(0, 6, 0)
    bus.dm1(0.5, 0, HOT, lamps=0b00_01_00_01)
    bus.dm1(1.5, 0, HOT, OIL, lamps=0b00_01_01_00)
    bus.dm1(2.5, 0, HOT, OIL, lamps=0b00_01_01_00)
    content = bus.content()
    hot, oil = fault(content, 110), fault(content, 100)
    assert hot.lamps == Lamps("off", "on", "off", "off")
    assert hot.lamps_sure == Lamps("off", "on", "off", "on")
    # Never listed alone: which of the two lit which lamp is not known.
    assert oil.lamps == Lamps("off", "on", "on", "off")
    assert oil.lamps_sure == Lamps()


def test_dm31_says_which_lamp_is_whose() -> None:
    bus = Bus()
    bus.dm1(0.5, 0, HOT, OIL, lamps=0b00_01_01_00)
    bus.tell(1.0, t.DM31, 0, HOT + b"\x10\xff" + OIL + b"\x04\xf3")
    content = bus.content()
    assert fault(content, 110).lamps_sure == Lamps("off", "on", "off", "off")
    # Flash bits of the amber lamp: 00, slow.
    assert fault(content, 100).lamps_sure == Lamps("off", "off", "slow", "off")
    assert fault(content, 100).sources == ("dm1", "dm31")


def test_flash_bits_are_read_for_lit_lamps_alone() -> None:
    """Reference sheet 2.11, example 2; older senders put 00 into the flash byte."""
    bus = Bus()
    bus.dm1(0.5, 0, HOT, lamps=0x50, flash=0x1F)
    assert fault(bus.content(), 110).lamps == Lamps("slow", "fast", "off", "off")
    old = Bus()
    old.dm1(0.5, 0, HOT, lamps=0x04, flash=0x00)
    assert fault(old.content(), 110).lamps == Lamps("off", "off", "slow", "off")


def test_a_lamp_that_is_not_available_in_one_report_is_not_lit_in_all() -> None:
    bus = Bus()
    bus.dm1(0.5, 0, HOT, lamps=0b11_01_00_00)
    bus.dm1(1.5, 0, HOT, lamps=0b01_01_00_00)
    assert fault(bus.content(), 110).lamps == Lamps(None, "on", "off", "off")


def test_a_lamp_without_a_code_is_kept() -> None:
    bus = Bus()
    bus.alive(0, 20, 0)
    bus.dm1_each(0.5, 5, 0)
    bus.dm1_each(5.5, 9, 0, lamps=0x04)
    bus.dm1_each(9.5, 11, 0)
    bus.dm1_each(11.5, 14, 0, lamps=0x04)
    bus.dm1(14.5, 0, HOT, lamps=0x04)
    bus.dm1_each(15.5, 17, 0, lamps=0x04)
    content = bus.content()
    amber = Lamps("off", "off", "on", "off")
    assert [(one.lamps, one.start_us, one.end_us) for one in content.lamp_without_code] == [
        (amber, us(5.5), us(8.5)),
        (amber, us(11.5), us(13.5)),
        (amber, us(15.5), us(16.5)),
    ]
    assert [one.key.spn for one in content.faults] == [110]


# -- old conversion methods -----------------------------------------------------------------------


def test_the_method_of_a_sender_is_what_fits_all_its_codes() -> None:
    bus = Bus()
    bus.dm1(0.5, 0, METHOD_1, METHOD_1_TOO)
    bus.dm1(0.5, 3, METHOD_3, bytes.fromhex("7F020982"))
    content = bus.content()
    by_address = {
        address: sorted(one.key.spn or 0 for one in content.faults if one.key.address == address)
        for address in (0, 3)
    }
    assert by_address == {0: [523, 1208], 3: [639, 1208]}
    assert {one.method for one in content.faults if one.key.address == 0} == {1}
    assert {one.method for one in content.faults if one.key.address == 3} == {3}
    assert all(one.candidates == () for one in content.faults)


def test_codes_of_every_list_settle_the_method() -> None:
    bus = Bus()
    bus.dm1(0.5, 0, METHOD_2_OR_3)
    (alone,) = bus.content().faults
    assert (alone.method, alone.candidates) == (0, (168, 21))
    bus.tell(1.5, t.DM2, 0, NO_LAMP + METHOD_3)
    assert {one.key.spn for one in bus.content().faults} == {21, 1208}
    assert {one.method for one in bus.content().faults} == {3}


def test_current_codes_beside_old_ones_stay_what_they_are() -> None:
    content = listed(dm2=HOT + METHOD_1 + METHOD_1_TOO)
    assert {one.key.spn: one.method for one in content.faults} == {110: 4, 1208: 1, 523: 1}


# -- freeze frames --------------------------------------------------------------------------------

# Reference sheet 2.11, examples 12, 13 and 14.
DM4_FRAME = bytes.fromhex("0C6E00000101" + "3C40385599000C")
DM24_LIST = bytes.fromhex("5C001C01" + "BE001C02" + "6E001C01" + "B30C1802")
DM25_FRAME = bytes.fromhex("0AB30C1001" + "5540387DB900")


def frozen(content: VisitContent, spn: int) -> dict[int, float | None]:
    (frame,) = fault(content, spn).freeze_frames
    return {one.spn: one.value for one in frame.values}


def test_dm4_is_kept_with_its_code() -> None:
    bus = Bus()
    bus.dm1(0.5, 0, dtc(110, 0, 1))
    bus.tell(1.0, t.DM4, 0, DM4_FRAME)
    bus.tell(2.0, t.DM4, 0, DM4_FRAME)
    content = bus.content()
    assert frozen(content, 110) == {899: 1, 102: 120, 190: 1800, 92: 85, 110: 113, 84: 12}
    (frame,) = fault(content, 110).freeze_frames
    assert (frame.source, frame.at_us) == ("dm4", us(1.0))


def test_a_code_told_by_its_freeze_frame_alone_is_a_fault() -> None:
    bus = Bus()
    bus.tell(1.0, t.DM4, 0, DM4_FRAME)
    found = fault(bus.content(), 110)
    assert (found.sources, found.state) == (("dm4",), "unknown")
    assert len(found.freeze_frames) == 1


@pytest.mark.parametrize("first", ["dm24", "dm25"])
def test_dm25_is_read_by_its_dm24_whichever_comes_first(first: str) -> None:
    bus = Bus()
    at_24, at_25 = (1.0, 3.0) if first == "dm24" else (3.0, 1.0)
    bus.tell(at_24, t.DM24, 0, DM24_LIST)
    bus.tell(at_25, t.DM25, 0, DM25_FRAME)
    content = bus.content()
    assert frozen(content, 3251) == {92: 85, 190: 1800, 110: 85, 3251: 18.5}
    assert fault(content, 3251).sources == ("dm25",)


def test_dm25_without_its_dm24_gives_the_code_and_no_values() -> None:
    bus = Bus()
    bus.tell(1.0, t.DM25, 0, DM25_FRAME)
    # Another address's DM24 says nothing of this one.
    bus.tell(2.0, t.DM24, 3, DM24_LIST)
    found = fault(bus.content(), 3251)
    assert found.freeze_frames == ()
    assert found.sources == ("dm25",)


# -- clears ---------------------------------------------------------------------------------------


def test_clears_and_what_became_of_them() -> None:
    """Reference sheet 2.11, examples 16 to 18."""
    bus = Bus()
    bus.alive(0, 10, 0, 3)
    bus.ask(1.0, t.DM3, 0)
    bus.answer(1.1, 0, t.DM3)
    bus.ask(2.0, t.DM11, 0)
    bus.answer(2.1, 0, t.DM11, 3)
    bus.ask(3.0, t.DM11, 3)
    bus.answer(3.1, 3, t.DM11, 1)
    bus.ask(4.0, t.DM3, 23)
    bus.say(6.0, t.DM22, t.TOOL, bytes.fromhex("01FFFFFFFF640001"), to=0)
    bus.say(6.1, t.DM22, 0, bytes.fromhex("0302FFFFFF640001"), to=t.TOOL)
    told = [
        (one.at_us, one.what, one.controller, one.result, one.spn, one.fmi)
        for one in bus.content().clears
    ]
    assert told == [
        (us(1.0), "dm3", 0, "done", None, None),
        (us(2.0), "dm11", 0, "busy", None, None),
        (us(3.0), "dm11", 3, "refused", None, None),
        (us(4.0), "dm3", 23, "no_answer", None, None),
        (us(6.0), "dm22", 0, "refused", 100, 1),
    ]

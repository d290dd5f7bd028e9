"""Fault codes, groups, functions and addresses in plain words."""

from __future__ import annotations

import pytest

from shearbolt.dictionary.faults import fault_text, known_spn, spn_name
from shearbolt.dictionary.groups import acronym, group, group_is_known, is_proprietary
from shearbolt.dictionary.names import (
    address_text,
    device_class_text,
    function_text,
    industry_group_text,
)
from shearbolt.dictionary.signals import row_of_spn, rows_of_group
from shearbolt.model.controller import Name


@pytest.mark.parametrize(
    ("spn", "fmi", "words"),
    [
        (100, 4, "Engine oil pressure: voltage too low or shorted to minus"),
        (110, 0, "Engine coolant temperature: too high, worst level"),
        (3251, 16, "Particulate filter pressure drop: too high, middle level"),
        (639, 9, "Network 1 (J1939): message comes too slowly or not at all"),
        (
            2003,
            9,
            "Controller at address 3 (transmission 1): message comes too slowly or not at all",
        ),
        (524020, 31, "a code of the maker's own (SPN 524020): condition exists"),
        (520192, 0, "a code of the maker's own (SPN 520192): too high, worst level"),
        (519999, 2, "a code not in our tables (SPN 519999): jumping, intermittent or implausible"),
        (656, 5, "Injector, cylinder 6: current too low or open circuit"),
    ],
)
def test_fault_text(spn: int, fmi: int, words: str) -> None:
    assert fault_text(spn, fmi) == words


def test_makers_numbers_have_no_public_name() -> None:
    assert spn_name(520192) is None
    assert not known_spn(524287)
    assert not known_spn(0)
    assert known_spn(1208)
    # SAE J1939-73 examples of reference sheet 2.11: the wrong readings are unknown numbers.
    assert not known_spn(309248)
    assert not known_spn(38656)
    assert not known_spn(376864)


def test_every_number_has_words() -> None:
    for spn in (0, 1, 99999, 520191, 524287):
        for fmi in range(32):
            assert ": " in fault_text(spn, fmi)


def test_groups() -> None:
    assert acronym(61444) == "EEC1"
    assert acronym(65226) == "DM1"
    assert acronym(65300) == "PROPB"
    assert acronym(61184) == "PROPA"
    assert acronym(1) == ""
    assert group_is_known(65253)
    assert group_is_known(65073)
    assert not group_is_known(65281)
    assert not group_is_known(61184)
    assert not group_is_known(12)
    assert is_proprietary(130900)
    hours = group(65253)
    assert hours is not None
    assert hours.on_request == "yes"
    clear = group(65235)
    assert clear is not None
    assert clear.direction == "command"


# Reference sheet 2.1: DM36 to DM52 run down from 64868 to 64852.
def test_the_harmonised_messages_run_downwards() -> None:
    for number in range(36, 53):
        assert acronym(64868 - (number - 36)) == f"DM{number}"


def test_rows() -> None:
    assert [row.spn for row in rows_of_group(65271)] == [114, 115, 167, 168, 158]
    assert rows_of_group(99) == ()
    assert [row.pgn for row in row_of_spn(110)] == [65262]
    assert row_of_spn(520192) == ()


def test_functions() -> None:
    # The NAME of reference sheet 3.6: engine of a harvester.
    name = Name.from_bytes(bytes.fromhex("CD81419A00000EA0"))
    assert function_text(name) == "engine"
    assert device_class_text(name.industry_group, name.device_class) == "harvester"
    assert industry_group_text(name.industry_group) == "agriculture and forestry"
    second = Name(name.value | 1 << 35)
    assert function_text(second) == "engine 2"
    rate = Name(2 << 60 | 128 << 40)
    assert function_text(rate) == "rate control"
    road = Name(1 << 60 | 128 << 40)
    assert function_text(road) == "function 128"
    assert function_text(Name(2 << 40)) == "function 2"
    assert device_class_text(2, 127) == "not available"
    assert device_class_text(2, 99) == "device class 99"
    assert industry_group_text(7) == "industry group 7"


def test_addresses() -> None:
    assert address_text(0) == "address 0 (engine 1)"
    assert address_text(240) == "address 240"
    assert address_text(240, 2) == "address 240 (tractor controller)"
    assert address_text(228, 3) == "address 228 (loader control)"
    assert address_text(150, 2) == "address 150"
    assert address_text(3, 2) == "address 3 (transmission 1)"

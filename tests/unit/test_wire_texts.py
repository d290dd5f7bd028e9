"""Identification texts: SAE J1939-71, reference sheet 3.4 and 1.5."""

from __future__ import annotations

import pytest

from shearbolt.wire.texts import (
    Component,
    UnitIdentification,
    plain_text,
    read_component,
    read_drivers,
    read_fields,
    read_software,
    read_unit_identification,
    read_vehicle_identification,
)


def test_vehicle_identification_of_the_sheet() -> None:
    # Reference sheet 1.5: strip at '*'.
    payload = bytes.fromhex("41423143443233453446473536373839302A")
    assert read_vehicle_identification(payload) == ("AB1CD23E4FG567890", ())


def test_vehicle_identification_with_trailers() -> None:
    assert read_vehicle_identification(b"AB1*TR1**TR2*") == ("AB1", ("TR1", "TR2"))


@pytest.mark.parametrize("payload", [b"", b"*", b"\xff" * 8, bytes(8), b"   *", b"\xff\xff*"])
def test_vehicle_identification_not_available(payload: bytes) -> None:
    assert read_vehicle_identification(payload) == (None, ())


def test_component() -> None:
    # Reference sheet 3.4: make * model * serial * unit *; empty fields keep their '*'.
    assert read_component(b"ACME*M1* 12345 **") == Component("ACME", "M1", "12345", None)
    read = read_component(b"ACME**12345*U7*")
    assert read == Component("ACME", None, "12345", "U7")
    assert read.fields == ("ACME", "", "12345", "U7")


def test_component_short_long_or_empty() -> None:
    assert read_component(b"ACME*M1") == Component("ACME", "M1", None, None)
    assert read_component(b"A*B*C*D*E*") == Component("A", "B", "C", "D")
    assert read_component(b"****") is None
    assert read_component(b"\xff" * 12) is None


def test_software() -> None:
    # Reference sheet 3.4: byte 1 number of fields, then fields each ended by '*'.
    assert read_software(b"\x02V1.04*CAL 7*") == ("V1.04", "CAL 7")
    assert read_software(b"\x03A**C*\xff\xff") == ("A", "", "C")
    assert read_software(b"V1.04*") == ("V1.04",)
    assert read_software(b"\x01") == ()
    assert read_software(b"") == ()


def test_unit_identification() -> None:
    early = read_unit_identification(b"P1*S2*cab*ECM*")
    assert early == UnitIdentification("P1", "S2", "cab", "ECM", None)
    later = read_unit_identification(b"P1*S2*cab*ECM*maker*")
    assert later is not None
    assert later.maker == "maker"
    assert read_unit_identification(b"") is None


def test_drivers() -> None:
    assert read_drivers(b"17*\xff*") == ("17", None)


def test_trimming() -> None:
    # Reference sheet 3.4: trim spaces, FF and 00; an all-FF field is not available.
    assert plain_text(b" \x00AB C\xff\xff ") == "AB C"
    assert plain_text(b"\xff\x00 ") is None
    assert read_fields(b"\xffA\x00*\xff\xff*B*\xff\xff\xff") == ("A", None, "B")


def test_bytes_that_are_no_characters() -> None:
    assert plain_text(b"A\x07\x80B") == "A\ufffd\ufffdB"

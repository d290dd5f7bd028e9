"""Identification texts of SAE J1939-71: fields of characters, each ended by '*'.

| group | fields |
| 65260 vehicle identification | number, then perhaps those of trailers |
| 65259 component identification | make, model, serial number, unit number |
| 65242 software identification | byte 1 number of fields, then the fields |
| 64965 control unit identification | part, serial number, location, type, (maker's name) |
| 65131 driver identification | driver 1, driver 2 |

Empty fields keep their '*'. Spaces, 00 and FF around a field are trimmed, and a field of nothing
else is not available.
"""

from __future__ import annotations

from dataclasses import dataclass

VEHICLE_IDENTIFICATION = 65260
COMPONENT_IDENTIFICATION = 65259
SOFTWARE_IDENTIFICATION = 65242
UNIT_IDENTIFICATION = 64965
DRIVER_IDENTIFICATION = 65131

_TRIMMED = " \t\r\n\x00\xff"


@dataclass(frozen=True, slots=True)
class Component:
    """Component identification; None where a field is empty or missing."""

    make: str | None
    model: str | None
    serial: str | None
    unit: str | None

    @property
    def fields(self) -> tuple[str, ...]:
        """All four, '' for none."""
        return tuple(one or "" for one in (self.make, self.model, self.serial, self.unit))


@dataclass(frozen=True, slots=True)
class UnitIdentification:
    """Control unit identification; None where a field is empty or missing."""

    part: str | None
    serial: str | None
    location: str | None
    kind: str | None
    maker: str | None
    """Only in later editions."""


def plain_text(data: bytes) -> str | None:
    """Read characters as ASCII, trimmed; None when nothing is left.

    A byte that is no printable ASCII character becomes U+FFFD, so nothing is taken for a letter
    that was not sent as one.
    """
    trimmed = data.decode("latin-1").strip(_TRIMMED)
    if not trimmed:
        return None
    return "".join(one if " " <= one <= "~" else "\ufffd" for one in trimmed)


def read_fields(payload: bytes) -> tuple[str | None, ...]:
    """Split at '*' and trim; None for an empty field.

    What stands after the last '*' is a field only where it holds characters.
    """
    *ended, rest = payload.split(b"*")
    fields = [plain_text(one) for one in ended]
    last = plain_text(rest)
    return (*fields, last) if last is not None else tuple(fields)


def read_vehicle_identification(payload: bytes) -> tuple[str | None, tuple[str, ...]]:
    """Read group 65260: the vehicle's number, None when not available, and those of trailers."""
    fields = read_fields(payload)
    return (fields[0] if fields else None), tuple(one for one in fields[1:] if one is not None)


def read_component(payload: bytes) -> Component | None:
    """Read group 65259; None when no field holds anything. Further fields are left out."""
    fields = (*read_fields(payload), None, None, None, None)[:4]
    return Component(*fields) if any(fields) else None


def read_software(payload: bytes) -> tuple[str, ...]:
    """Read group 65242: its fields, '' for an empty one.

    The number of fields in byte 1 is not relied on: what is there is given. Where byte 1 is a
    printable character, the sender left the number out (common practice, no source).
    """
    text = payload if payload[:1] >= b" " and payload[:1] <= b"~" else payload[1:]
    return tuple(one or "" for one in read_fields(text))


def read_unit_identification(payload: bytes) -> UnitIdentification | None:
    """Read group 64965; None when no field holds anything. Further fields are left out."""
    fields = (*read_fields(payload), None, None, None, None, None)[:5]
    return UnitIdentification(*fields) if any(fields) else None


def read_drivers(payload: bytes) -> tuple[str | None, ...]:
    """Read group 65131: one field a driver, None for an empty one."""
    return read_fields(payload)

"""Packing of identifiers, NAMEs, requests, answers and diagnostic messages, byte by byte.

Sources: SAE J1939-21 (identifier, request, acknowledgement), SAE J1939-81 (NAME), SAE J1939-73
(lamps, codes, freeze frames). Written for the proving ground alone, so that nothing of what reads
frames is used to make them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.model.controller import Name
from shearbolt.model.fault import COUNT_NONE, Lamp, Lamps

TO_ALL = 255
REQUEST = 59904
ACKNOWLEDGEMENT = 59392
ADDRESS_CLAIM = 60928
DM1 = 65226
DM2 = 65227
DM4 = 65229

_STATUS = {"off": 0b00, "on": 0b01, "slow": 0b01, "fast": 0b01, None: 0b11}
_FLASH = {"off": 0b11, "on": 0b11, "slow": 0b00, "fast": 0b01, None: 0b11}


@dataclass(frozen=True, slots=True)
class Event:
    """One frame that is sent once, in answer to something or on a change."""

    time_us: int
    """When its sender wants to send it, from the recording's own zero."""
    ident: int
    data: bytes
    tag: int = -1
    """Number by which its instant on the bus can be found again; -1: nobody asks."""
    extended: bool = True
    channel: str = "can0"


def identifier(priority: int, pgn: int, source: int, destination: int = TO_ALL) -> int:
    """Make a 29-bit identifier (SAE J1939-21 5.2).

    A group whose format byte is below 240 carries the destination, any other none.
    """
    specific = (pgn >> 8 & 0xFF) < 240
    group = (pgn & 0x3FF00) | destination if specific else pgn
    return priority << 26 | group << 8 | source


def make_name(
    identity: int,
    manufacturer: int,
    function: int,
    *,
    industry_group: int = 2,
    device_class: int = 0,
    device_class_instance: int = 0,
    function_instance: int = 0,
    ecu_instance: int = 0,
    self_configurable: bool = False,
) -> Name:
    """Make the 64-bit NAME of a controller (SAE J1939-81 4.1).

    Raises ValueError when a field is wider than its place.
    """
    fields = (
        (identity, 21),
        (manufacturer, 11),
        (ecu_instance, 3),
        (function_instance, 5),
        (function, 8),
        (0, 1),
        (device_class, 7),
        (device_class_instance, 4),
        (industry_group, 3),
        (int(self_configurable), 1),
    )
    value = shift = 0
    for field, bits in fields:
        if not 0 <= field < 1 << bits:
            raise ValueError(f"{field} does not fit {bits} bits of a NAME")
        value |= field << shift
        shift += bits
    return Name(value)


def claim(at_us: int, address: int, name: Name, channel: str = "can0") -> Event:
    """Make an address claim (SAE J1939-81)."""
    ident = identifier(6, ADDRESS_CLAIM, address)
    return Event(at_us, ident, name.value.to_bytes(8, "little"), channel=channel)


def request(at_us: int, asker: int, asked: int, pgn: int, channel: str = "can0") -> Event:
    """Make a request for one group (SAE J1939-21 5.4.2)."""
    return Event(
        at_us, identifier(6, REQUEST, asker, asked), pgn.to_bytes(3, "little"), channel=channel
    )


def acknowledgement(
    at_us: int, source: int, asker: int, pgn: int, control: int, channel: str = "can0"
) -> Event:
    """Make an acknowledgement: control 0 done, 1 refused, 2 denied, 3 busy (SAE J1939-21 5.4.4)."""
    data = bytes((control, 0xFF, 0xFF, 0xFF, asker)) + pgn.to_bytes(3, "little")
    return Event(at_us, identifier(6, ACKNOWLEDGEMENT, source), data, channel=channel)


def dtc_bytes(spn: int, fmi: int, count: int | None, method: int = 4) -> bytes:
    """Pack one trouble code into four bytes (SAE J1939-73 5.7.1), by conversion method 1 to 4.

    `count` None is 'not available'. Raises ValueError for an unknown method.
    """
    occurrences = COUNT_NONE if count is None else min(count, COUNT_NONE - 1)
    if method in (3, 4):
        first, second, top = spn & 0xFF, spn >> 8 & 0xFF, spn >> 16
    elif method in (1, 2):
        first, second, top = spn >> 11, spn >> 3 & 0xFF, spn & 7
        if method == 2:
            first, second = second, first
    else:
        raise ValueError(f"no conversion method {method}")
    old = 0 if method == 4 else 0x80
    return bytes((first, second, top << 5 | fmi, old | occurrences))


def lamp_bytes(lamps: Lamps, *, old_flash: bool = False) -> bytes:
    """Pack the four lamps into status and flash byte (SAE J1939-73 5.7.1).

    `old_flash`: an older sender, which leaves the flash byte at zero.
    """
    order: tuple[Lamp | None, ...] = (
        lamps.mil,
        lamps.red_stop,
        lamps.amber_warning,
        lamps.protect,
    )
    status = flash = 0
    for lamp in order:
        status = status << 2 | _STATUS[lamp]
        flash = flash << 2 | _FLASH[lamp]
    return bytes((status, 0 if old_flash else flash))


def diagnostic_payload(lamps: Lamps, codes: Sequence[bytes], *, old_flash: bool = False) -> bytes:
    """Pack lamps and codes as DM1, DM2 and their kin carry them (SAE J1939-73 5.7.1).

    Without a code four zero bytes stand for it; anything shorter than 8 bytes is padded with FF.
    """
    body = b"".join(codes) or bytes(4)
    return (lamp_bytes(lamps, old_flash=old_flash) + body).ljust(8, b"\xff")


def freeze_frame(
    dtc: bytes,
    *,
    torque_mode: int,
    boost_kpa: float,
    engine_rpm: float,
    load_pct: float,
    coolant_c: float,
    speed_km_h: float,
) -> bytes:
    """Pack one freeze frame of DM4, length byte first (SAE J1939-73 5.7.4)."""
    body = (
        dtc
        + bytes((0xF0 | torque_mode, round(boost_kpa / 2)))
        + round(engine_rpm / 0.125).to_bytes(2, "little")
        + bytes((round(load_pct), round(coolant_c) + 40))
        + round(speed_km_h * 256).to_bytes(2, "little")
    )
    return bytes((len(body),)) + body


def stars(*fields: str) -> bytes:
    """Join text fields, each ended by `*` (SAE J1939-71: vehicle, component, software)."""
    return "".join(f"{one}*" for one in fields).encode("ascii")


def software_payload(*fields: str) -> bytes:
    """Pack software identification: the number of fields, then the fields (PGN 65242)."""
    return bytes((len(fields),)) + stars(*fields)

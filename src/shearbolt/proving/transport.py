"""Sending of what does not fit one frame: SAE J1939-21 transport and ISO 15765-2."""

from __future__ import annotations

from collections.abc import Iterator

from shearbolt.proving.packing import TO_ALL, Event, identifier

CONNECTION = 60416
"""TP.CM (SAE J1939-21 5.10.3)."""
DATA = 60160
"""TP.DT."""
LONGEST = 1785
HOLD_AGAIN_US = 500_000
"""A hold (CTS of no packets) must be renewed so often (Th)."""
_PACKET = 7


def cut(payload: bytes) -> list[bytes]:
    """Cut a payload into numbered data packets, the last padded with FF.

    Raises ValueError for one of another size than 9 to 1785 bytes.
    """
    if not 9 <= len(payload) <= LONGEST:
        raise ValueError(f"transport carries 9 to {LONGEST} bytes, not {len(payload)}")
    starts = range(0, len(payload), _PACKET)
    return [
        bytes((number,)) + payload[at : at + _PACKET].ljust(_PACKET, b"\xff")
        for number, at in enumerate(starts, start=1)
    ]


def broadcast(
    at_us: int,
    source: int,
    pgn: int,
    payload: bytes,
    *,
    gap_us: int = 50_000,
    tag: int = -1,
    channel: str = "can0",
) -> list[Event]:
    """Send 9 to 1785 bytes to all: announcement, then packets `gap_us` apart (SAE J1939-21 5.10.2).

    The tag goes to all of them. Raises ValueError for a payload of another size.
    """
    packets = cut(payload)
    head = (
        bytes((32,))
        + len(payload).to_bytes(2, "little")
        + bytes((len(packets), 0xFF))
        + pgn.to_bytes(3, "little")
    )
    connection = identifier(7, CONNECTION, source, TO_ALL)
    data = identifier(7, DATA, source, TO_ALL)
    events = [Event(at_us, connection, head, tag, channel=channel)]
    for number, packet in enumerate(packets, start=1):
        events.append(Event(at_us + number * gap_us, data, packet, tag, channel=channel))
    return events


def to_one(
    at_us: int,
    source: int,
    destination: int,
    pgn: int,
    payload: bytes,
    *,
    window: int = 16,
    step_us: int = 4_000,
    hold_us: int = 0,
    tag: int = -1,
    channel: str = "can0",
) -> list[Event]:
    """Send 9 to 1785 bytes to one, with both sides' frames (SAE J1939-21 5.10.2).

    `window` is how many packets the receiver lets pass at a time, `step_us` the time from each
    frame to the next. With `hold_us` the receiver holds the transfer so long before each window but
    the first, and renews that every half second. The tag goes to the request to send. Raises
    ValueError for a payload of another size.
    """
    packets = cut(payload)
    size, group = len(payload).to_bytes(2, "little"), pgn.to_bytes(3, "little")
    there = identifier(7, CONNECTION, source, destination)
    back = identifier(7, CONNECTION, destination, source)
    data = identifier(7, DATA, source, destination)

    def conversation() -> Iterator[tuple[int, bytes, int]]:
        yield there, bytes((16,)) + size + bytes((len(packets), 0xFF)) + group, step_us
        for first in range(0, len(packets), window):
            few = packets[first : first + window]
            if first and hold_us:
                left = hold_us
                while left > 0:
                    pause = min(left, HOLD_AGAIN_US)
                    yield back, bytes((17, 0, 0xFF, 0xFF, 0xFF)) + group, pause
                    left -= pause
            yield back, bytes((17, len(few), first + 1, 0xFF, 0xFF)) + group, step_us
            for packet in few:
                yield data, packet, step_us
        yield back, bytes((19,)) + size + bytes((len(packets), 0xFF)) + group, step_us

    events: list[Event] = []
    for ident, body, wait_us in conversation():
        events.append(Event(at_us, ident, body, -1 if events else tag, channel=channel))
        at_us += wait_us
    return events


def iso_tp(
    at_us: int,
    ident: int,
    control_ident: int,
    payload: bytes,
    *,
    padding: int = 0xAA,
    extended: bool = False,
    step_us: int = 2_000,
    channel: str = "can0",
) -> list[Event]:
    """Send up to 4095 bytes by ISO 15765-2, with the receiver's flow control on `control_ident`.

    Frames are padded to 8 bytes, as emission services ask (ISO 15765-4). Raises ValueError for a
    payload of another size.
    """
    if not 1 <= len(payload) <= 4095:
        raise ValueError(f"ISO-TP carries 1 to 4095 bytes here, not {len(payload)}")
    if len(payload) <= _PACKET:
        rows = [(ident, bytes((len(payload),)) + payload)]
    else:
        rows = [
            (ident, (0x1000 | len(payload)).to_bytes(2, "big") + payload[:6]),
            (control_ident, bytes((0x30, 0, 0))),
        ]
        for number, at in enumerate(range(6, len(payload), _PACKET), start=1):
            rows.append((ident, bytes((0x20 | number & 0xF,)) + payload[at : at + _PACKET]))
    fill = bytes((padding,))
    return [
        Event(at_us + turn * step_us, one, body.ljust(8, fill), extended=extended, channel=channel)
        for turn, (one, body) in enumerate(rows)
    ]

"""Answers of the SAE J1979 / ISO 15031-5 services 01 to 0A on CAN, read into events.

One answer in, its events out; nothing is kept. Numbers are big-endian. What does not follow the
standard comes back as RoadNotRead beside whatever could be read.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias, TypedDict

from shearbolt.dictionary.obd_codes import structure_of
from shearbolt.dictionary.pids import counter_names
from shearbolt.model.message import IsoTpMessage
from shearbolt.model.road import (
    AnyRoadEvent,
    CodesListed,
    FreezeCode,
    FreezeValue,
    MonitorResult,
    MonitorResults,
    OtherAnswer,
    PidReading,
    PidsSupported,
    ReadinessListed,
    RoadNotRead,
    VehicleInfo,
)
from shearbolt.wire.obd_pids import (
    READINESS_PIDS,
    SUPPORT_PIDS,
    pid_length,
    pid_name,
    read_monitors,
    read_support,
    read_values,
)

Events: TypeAlias = tuple[AnyRoadEvent, ...]

SERVICES = range(0x01, 0x0B)
"""The services of SAE J1979."""
CLEAR = 0x04
CODE_LISTS = frozenset({0x03, 0x07, 0x0A})
"""Confirmed, pending and permanent codes."""
_TEST_RESULT_BYTES = 9
_VIN_LENGTH = 17
_CALIBRATION_ID_LENGTH = 16


class Head(TypedDict):
    """Where an event was heard, as the first arguments of every event."""

    time_us: int
    channel: int
    ident: int
    extended: bool


def head_of(message: IsoTpMessage) -> Head:
    """Give what every event takes over from its message."""
    return Head(
        time_us=message.time_us,
        channel=message.channel,
        ident=message.ident,
        extended=message.extended,
    )


def code_of(raw: bytes) -> str:
    """Write two code bytes as SAE J2012 does: 01 43 is P0143, C1 00 is U0100.

    Raises ValueError when there are not two.
    """
    if len(raw) != 2:
        raise ValueError(f"a code has 2 bytes, not {len(raw)}")
    return f"{'PCBU'[raw[0] >> 6]}{raw[0] >> 4 & 3}{raw[0] & 0xF:X}{raw[1]:02X}"


def bytes_of(code: str) -> bytes:
    """Give the two bytes of a code such as P0143; the reverse of `code_of`.

    Raises ValueError when the text is no such code.
    """
    letter, digits = structure_of(code)
    return ("PCBU".index(letter) << 14 | int(digits, 16)).to_bytes(2, "big")


def read_obd_answer(message: IsoTpMessage, request: bytes | None = None) -> Events:
    """Read one positive answer, 41 to 4A (44, the clear, is told by the dialogue).

    `request` are the bytes it answers, where they were heard: they settle how far the data of an
    identifier of unknown length go. Never raises.
    """
    payload = message.payload
    service = payload[0] - 0x40
    if request is not None and request[:1] != bytes((service,)):
        request = None
    if service == 0x01:
        return tuple(_current(message, request))
    if service == 0x02:
        return tuple(_frozen(message, request))
    if service in CODE_LISTS:
        return _codes(message, service)
    if service == 0x06:
        return _tests(message)
    if service == 0x09:
        return _information(message)
    if service == CLEAR:
        return ()
    return (OtherAnswer(**head_of(message), service=service, payload=payload),)


def read_pid(message: IsoTpMessage, pid: int, data: bytes) -> AnyRoadEvent:
    """Read the data bytes of one identifier as current data."""
    head = head_of(message)
    if pid in SUPPORT_PIDS and len(data) >= 4:
        return PidsSupported(**head, service=0x01, base=pid, pids=read_support(pid, data))
    if pid in READINESS_PIDS and len(data) >= 4:
        compression, monitors = read_monitors(data[:4])
        since_clear = pid == 0x01
        return ReadinessListed(
            **head,
            pid=pid,
            mil=bool(data[0] & 0x80) if since_clear else None,
            count=data[0] & 0x7F if since_clear else None,
            compression_ignition=compression,
            monitors=monitors,
            raw=data,
        )
    if pid in SUPPORT_PIDS or pid in READINESS_PIDS:
        return _not_read(message, f"identifier {pid:02X} with {len(data)} of 4 bytes", data)
    return PidReading(**head, pid=pid, name=pid_name(pid), values=read_values(pid, data), raw=data)


def _current(message: IsoTpMessage, request: bytes | None) -> Iterator[AnyRoadEvent]:
    asked = request[1:] if request else b""
    for pid, _, data, rest in _split(message.payload[1:], 1, asked):
        if rest:
            yield _not_read(message, rest, data)
        else:
            yield read_pid(message, pid, data)


def _frozen(message: IsoTpMessage, request: bytes | None) -> Iterator[AnyRoadEvent]:
    head = head_of(message)
    asked = request[1::2] if request else b""
    for pid, frame, data, rest in _split(message.payload[1:], 2, asked):
        if rest:
            yield _not_read(message, rest, data)
        elif pid in SUPPORT_PIDS:
            yield PidsSupported(**head, service=0x02, base=pid, pids=read_support(pid, data))
        elif pid == 0x02:
            code = code_of(data[:2]) if any(data[:2]) else None
            yield FreezeCode(**head, frame=frame, code=code)
        else:
            values = read_values(pid, data)
            yield FreezeValue(
                **head, frame=frame, pid=pid, name=pid_name(pid), values=values, raw=data
            )


def _split(body: bytes, lead: int, asked: bytes) -> Iterator[tuple[int, int, bytes, str]]:
    """Cut an answer into (identifier, frame number, data, '').

    `lead` is 1 (identifier) or 2 (identifier and frame number), `asked` the identifiers of the
    request. Where the rest cannot be cut, it comes as one item with the reason as last field.
    """
    if not body:
        yield 0, 0, b"", "an answer without data"
    at = 0
    while at < len(body):
        start, pid, rest = at, body[at], body[at + lead :]
        frame = body[at + 1] if lead == 2 and at + 1 < len(body) else 0
        length = pid_length(pid)
        if asked and pid not in asked:
            yield pid, frame, body[at:], f"identifier {pid:02X} was not asked for"
            return
        if asked == bytes((pid,)) or (length is None and _is_last(pid, start, asked)):
            data, at = rest, len(body)
        elif length is None:
            yield pid, frame, body[at:], f"identifier {pid:02X}, of unknown length, and more"
            return
        else:
            data, at = rest[:length], at + lead + length
        if len(data) < (length or 1):
            words = f"identifier {pid:02X} with {len(data)} of {length or 1} bytes"
            yield pid, frame, body[start:], words
            return
        yield pid, frame, data, ""


def _is_last(pid: int, start: int, asked: bytes) -> bool:
    """Tell whether all that follows an identifier of unknown length must be its data."""
    return asked[-1] == pid if asked else start == 0


def _codes(message: IsoTpMessage, service: int) -> Events:
    payload = message.payload
    if len(payload) < 2:
        return (_not_read(message, "a list of codes without its count", payload),)
    announced, body = payload[1], payload[2:]
    pairs = [body[at : at + 2] for at in range(0, len(body) - 1, 2)]
    # 00 00 is no code: units fill up with it, and some do so behind the announced ones.
    codes = tuple(code_of(pair) for pair in pairs if any(pair))
    listed = CodesListed(**head_of(message), service=service, codes=codes, announced=announced)
    if len(codes) == announced and not (len(body) % 2 and body[-1]):
        return (listed,)
    words = f"{announced} codes announced, {len(codes)} sent in {len(body)} bytes"
    return (listed, _not_read(message, words, payload))


def _tests(message: IsoTpMessage) -> Events:
    body = message.payload[1:]
    supported = _support_lists(message, 0x06, body)
    if supported:
        return supported
    size = _TEST_RESULT_BYTES
    rows = [body[at : at + size] for at in range(0, len(body) - size + 1, size)]
    events: list[AnyRoadEvent] = []
    if rows:
        results = tuple(_test(row) for row in rows)
        events.append(MonitorResults(**head_of(message), results=results))
    rest = body[len(rows) * size :]
    if rest or not body:
        words = f"test results of {size} bytes each, {len(rest)} over"
        events.append(_not_read(message, words, rest))
    return tuple(events)


def _test(row: bytes) -> MonitorResult:
    signed = row[2] >= 0x80
    value, low, high = (int.from_bytes(row[at : at + 2], "big", signed=signed) for at in (3, 5, 7))
    return MonitorResult(row[0], row[1], row[2], value, low, high)


def _support_lists(message: IsoTpMessage, service: int, body: bytes) -> Events:
    """Read an answer that holds nothing but bitmaps, each behind its identifier; else nothing."""
    if not body or len(body) % 5 or any(base not in SUPPORT_PIDS for base in body[::5]):
        return ()
    return tuple(
        PidsSupported(
            **head_of(message),
            service=service,
            base=body[at],
            pids=read_support(body[at], body[at + 1 : at + 5]),
        )
        for at in range(0, len(body), 5)
    )


def _information(message: IsoTpMessage) -> Events:
    payload = message.payload
    body = payload[1:]
    supported = _support_lists(message, 0x09, body)
    if supported:
        return supported
    if len(body) < 2:
        return (_not_read(message, "vehicle information without data", payload),)
    kind, items, data = body[0], body[1], body[2:]
    if kind in SUPPORT_PIDS and len(data) == 4:  # some units put a count before the bitmap
        return _support_lists(message, 0x09, bytes((kind,)) + data)
    head = head_of(message)
    if kind == 0x02:
        vin = text_of(data)
        if len(vin) == _VIN_LENGTH:
            return (VehicleInfo(**head, vin=vin),)
        return (_not_read(message, f"a VIN of {len(vin)} characters", payload),)
    if kind == 0x04:
        return _counted(message, items, data, _CALIBRATION_ID_LENGTH)
    if kind == 0x06:
        return _counted(message, items, data, 4)
    if kind == 0x08 or kind == 0x0B:
        return _counted(message, items, data, 2)
    if kind == 0x0A and text_of(data):
        return (VehicleInfo(**head, ecu_name=text_of(data)),)
    if kind == 0x0D and text_of(data):
        return (VehicleInfo(**head, serial=text_of(data)),)
    return (OtherAnswer(**head, service=0x09, payload=payload),)


def _counted(message: IsoTpMessage, items: int, data: bytes, size: int) -> Events:
    """Read items of equal size; tell when their number is not the one announced."""
    head, kind = head_of(message), message.payload[1]
    parts = [data[at : at + size] for at in range(0, len(data) - size + 1, size)][:items]
    events: list[AnyRoadEvent] = []
    if parts and kind == 0x04:
        ids = tuple(text_of(part) for part in parts)
        events.append(VehicleInfo(**head, calibration_ids=ids))
    elif parts and kind == 0x06:
        checks = tuple(part.hex().upper() for part in parts)
        events.append(VehicleInfo(**head, calibration_checks=checks))
    elif parts:
        names = counter_names(kind)
        counts = [int.from_bytes(part, "big") for part in parts]
        if len(counts) > len(names):
            return (OtherAnswer(**head, service=0x09, payload=message.payload),)
        events.append(VehicleInfo(**head, counters=tuple(zip(names, counts, strict=False))))
    if len(data) != items * size:
        words = f"{items} items of {size} bytes announced, {len(data)} bytes sent"
        events.append(_not_read(message, words, message.payload))
    return tuple(events)


def text_of(data: bytes) -> str:
    """Read text as units send it: filled up with 00, blanks or FF; '' when it is no ASCII text."""
    kept = data.replace(b"\x00", b"").rstrip(b"\xff")
    if not all(0x20 <= byte < 0x7F for byte in kept):
        return ""
    return kept.decode("ascii").strip()


def _not_read(message: IsoTpMessage, reason: str, payload: bytes) -> RoadNotRead:
    return RoadNotRead(**head_of(message), reason=reason, payload=payload)

"""Answers of ISO 14229-1 services 10, 19, 22 and of any negative response, read into events.

One answer in, its events out. The format of codes is told by a unit only in some reports, so it
comes in as an argument: `tester_dialogue` remembers it for each unit.

Three bytes of a code: formats 00, 01 and 04 are two bytes as in SAE J2012 and a failure type;
format 02 is SPN and FMI in the order of SAE J1939-73 (SPN low, SPN middle, then the upper three
bits of the SPN over the five of the FMI), from memory; the others stay bytes. A unit that never
told its format is read as SAE J2012 (common practice), and the event says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import TypeAlias

from shearbolt.dictionary.uds_words import code_formats, data_identifiers, refusal_words
from shearbolt.model.message import IsoTpMessage
from shearbolt.model.road import (
    AnyRoadEvent,
    DataRead,
    DtcStatus,
    NegativeAnswer,
    OtherAnswer,
    RoadNotRead,
    SessionStarted,
    UdsCodes,
    UdsCount,
    UdsFault,
    UdsRecord,
    VehicleInfo,
)
from shearbolt.wire.obd import code_of, head_of, read_pid, text_of

Events: TypeAlias = tuple[AnyRoadEvent, ...]

NEGATIVE = 0x7F
"""First byte of a negative response."""
PENDING = 0x78
"""Negative response code: the answer is still to come."""
BUSY = 0x21
"""Negative response code: busy, ask again."""
SESSION, CLEAR, READ_CODES, READ_DATA, TESTER_PRESENT = 0x10, 0x14, 0x19, 0x22, 0x3E
WITH_SUBFUNCTION = frozenset(
    {0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C, 0x31, 0x3E, 0x83, 0x85, 0x86, 0x87}
)
"""Services whose second byte is a sub-function; its bit 7 asks for no positive answer."""

_VIN_DID, _SERIAL_DID = 0xF190, 0xF18C
_VIN_LENGTH = 17
_OBD_DIDS = range(0xF400, 0xF500)
"""Identifiers that carry the parameters of SAE J1979 (ISO 27145-2, from memory)."""
_COUNTS = frozenset({0x01, 0x07, 0x11, 0x12})
_LISTS = frozenset({0x02, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x13, 0x15})
_LISTS_BY_MASK = frozenset({0x02, 0x0F, 0x13})
_SNAPSHOT, _EXTENDED = 0x04, 0x06
_WWH_BY_MASK, _WWH_PERMANENT = 0x42, 0x55
_SESSIONS = {
    1: "default session",
    2: "programming session",
    3: "extended session",
    4: "safety system session",
}


def read_uds_answer(
    message: IsoTpMessage, request: bytes | None = None, code_format: int | None = None
) -> Events:
    """Read one positive answer of ISO 14229.

    `request` are the bytes it answers, where they were heard; `code_format` what this unit told
    of its codes. Clears and tester-present answers are told by the dialogue. Never raises.
    """
    payload = message.payload
    service = payload[0] - 0x40
    if request is not None and request[:1] != bytes((service,)):
        request = None
    if service == SESSION:
        return _session(message)
    if service == READ_CODES:
        return _codes(message, request, code_format)
    if service == READ_DATA:
        return tuple(_data(message, request))
    if service in (CLEAR, TESTER_PRESENT):
        return ()
    return (OtherAnswer(**head_of(message), service=service, payload=payload),)


def read_negative(message: IsoTpMessage) -> NegativeAnswer | RoadNotRead:
    """Read a negative response: 7F, the service asked for, the reason."""
    payload = message.payload
    if len(payload) != 3:
        return _not_read(message, f"a negative response of {len(payload)} bytes, not 3")
    nrc = payload[2]
    return NegativeAnswer(
        **head_of(message),
        service=payload[1],
        nrc=nrc,
        words=refusal_words(nrc),
        final=nrc != PENDING,
    )


def read_code(
    raw: bytes, status: int | None, code_format: int | None, severity: int | None = None
) -> UdsFault:
    """Read the three bytes of a code in the format given (None: not told, SAE J2012).

    Raises ValueError when there are not three.
    """
    if len(raw) != 3:
        raise ValueError(f"a code has 3 bytes, not {len(raw)}")
    bits = None if status is None else DtcStatus(status)
    known = code_formats().get(0 if code_format is None else code_format)
    if known is not None and known.kind == "p_code":
        return UdsFault(raw, bits, code_of(raw[:2]), raw[2], severity=severity)
    if known is not None and known.kind == "spn_fmi":
        spn = raw[0] | raw[1] << 8 | raw[2] >> 5 << 16
        return UdsFault(raw, bits, None, None, spn, raw[2] & 0x1F, severity)
    return UdsFault(raw, bits, None, None, severity=severity)


def reread(codes: UdsCodes, code_format: int) -> UdsCodes:
    """Read a list again in a format that its unit told only afterwards."""
    faults = tuple(
        read_code(
            one.raw, None if one.status is None else one.status.byte, code_format, one.severity
        )
        for one in codes.faults
    )
    return replace(codes, code_format=code_format, faults=faults)


def _session(message: IsoTpMessage) -> Events:
    payload = message.payload
    if len(payload) < 6:
        return (_not_read(message, f"a session answer of {len(payload)} bytes, not 6"),)
    session = payload[1] & 0x7F
    started = SessionStarted(
        **head_of(message),
        session=session,
        words=_SESSIONS.get(session, f"session {session:02X}"),
        p2_ms=int.from_bytes(payload[2:4], "big"),
        p2_star_ms=10 * int.from_bytes(payload[4:6], "big"),
    )
    return (started,)


def _codes(message: IsoTpMessage, request: bytes | None, code_format: int | None) -> Events:
    payload = message.payload
    report = payload[1] if len(payload) > 1 else None
    if report in _COUNTS:
        return _count(message, report)
    if report in _LISTS:
        mask = _byte(request, 2) if report in _LISTS_BY_MASK else None
        return _list(message, 2, mask, code_format)
    if report in (_SNAPSHOT, _EXTENDED):
        return _record(message, code_format)
    if report == _WWH_BY_MASK:
        return _with_severity(message, _byte(request, 3), start=6)
    if report == _WWH_PERMANENT:
        return _wwh_permanent(message)
    if report is None:
        return (_not_read(message, f"a report of codes of {len(payload)} bytes"),)
    return (OtherAnswer(**head_of(message), service=READ_CODES, payload=payload),)


def _count(message: IsoTpMessage, report: int) -> Events:
    payload = message.payload
    if len(payload) != 6:
        return (_not_read(message, f"a number of codes in {len(payload)} bytes, not 6"),)
    counted = UdsCount(
        **head_of(message),
        report=report,
        available=payload[2],
        code_format=payload[3],
        count=int.from_bytes(payload[4:6], "big"),
    )
    return (counted,)


def _list(
    message: IsoTpMessage, at: int, mask: int | None, code_format: int | None, start: int = 3
) -> Events:
    """Read codes of three bytes with a status each, from byte `start`; availability at `at`."""
    payload = message.payload
    if len(payload) <= at:
        return (_not_read(message, "a list of codes without its status availability"),)
    body = payload[start:]
    faults = tuple(
        read_code(body[i : i + 3], body[i + 3], code_format)
        for i in range(0, len(body) - 3, 4)
        if any(body[i : i + 3])
    )
    return _listed(message, payload[at], mask, code_format, faults, len(body) % 4)


def _with_severity(message: IsoTpMessage, mask: int | None, start: int) -> Events:
    """Read codes of ISO 27145: severity, three bytes of code and status each, from byte `start`.

    Before them lie the functional group, the status availability and, last, the code format.
    """
    payload = message.payload
    if len(payload) < start:
        return (_not_read(message, f"a list of codes of {len(payload)} bytes"),)
    body, code_format = payload[start:], payload[start - 1]
    faults = tuple(
        read_code(body[i + 1 : i + 4], body[i + 4], code_format, body[i])
        for i in range(0, len(body) - 4, 5)
        if any(body[i + 1 : i + 4])
    )
    return _listed(message, payload[3], mask, code_format, faults, len(body) % 5)


def _wwh_permanent(message: IsoTpMessage) -> Events:
    """Read 19 55: sources disagree whether a severity precedes each code; the length settles it."""
    size = len(message.payload) - 5
    if size < 0 or (size and (size % 4 == 0) == (size % 5 == 0)):
        words = f"permanent codes in {size} bytes, which fit no form or two"
        return (_not_read(message, words),)
    if size % 5 == 0:
        return _with_severity(message, None, start=5)
    return _list(message, 3, None, message.payload[4], start=5)


def _listed(
    message: IsoTpMessage,
    available: int,
    mask: int | None,
    code_format: int | None,
    faults: tuple[UdsFault, ...],
    over: int,
) -> Events:
    codes = UdsCodes(
        **head_of(message),
        report=message.payload[1],
        mask=mask,
        available=available,
        code_format=code_format,
        faults=faults,
    )
    rest = message.payload[len(message.payload) - over :]
    if not any(rest):  # units fill up with zeros, by whole codes and by less
        return (codes,)
    return (codes, _not_read(message, f"{over} bytes over after the last code", rest))


def _record(message: IsoTpMessage, code_format: int | None) -> Events:
    payload = message.payload
    if len(payload) < 6:
        return (_not_read(message, f"a record of a code in {len(payload)} bytes"),)
    snapshot = payload[1] == _SNAPSHOT
    start = 8 if snapshot else 7
    held = UdsRecord(
        **head_of(message),
        report=payload[1],
        fault=read_code(payload[2:5], payload[5], code_format),
        record=_byte(payload, 6),
        identifiers=_byte(payload, 7) if snapshot else None,
        data=payload[start:],
    )
    return (held,)


def _data(message: IsoTpMessage, request: bytes | None) -> Iterator[AnyRoadEvent]:
    body = message.payload[1:]
    if len(body) < 2:
        yield _not_read(message, "an answer without its data identifier")
        return
    asked = [request[at : at + 2] for at in range(1, len(request) - 1, 2)] if request else []
    parts = _cut(body, asked)
    if parts is None:
        yield _not_read(message, "several identifiers whose data cannot be told apart")
        return
    for did, data in parts:
        yield from _identifier(message, did, data)


def _cut(body: bytes, asked: list[bytes]) -> list[tuple[int, bytes]] | None:
    """Cut an answer at the identifiers asked for; None where that can be done in two ways."""
    if len(asked) < 2:
        return [(int.from_bytes(body[:2], "big"), body[2:])]
    found = [[at for at in range(len(body) - 1) if body[at : at + 2] == did] for did in asked]
    # A unit leaves out what it has not got, and data may look like an identifier: the cut is
    # sure enough only where every one is there exactly once, or all but the first are absent.
    starts = [places[0] for places in found if len(places) == 1]
    if len(starts) != len(asked) and (len(starts) != 1 or sum(map(len, found)) != 1):
        return None
    if starts[0] != 0 or any(b < a + 2 for a, b in pairwise(starts)):
        return None
    ends = [*starts[1:], len(body)]
    return [
        (int.from_bytes(body[a : a + 2], "big"), body[a + 2 : b])
        for a, b in zip(starts, ends, strict=True)
    ]


def _identifier(message: IsoTpMessage, did: int, data: bytes) -> Iterator[AnyRoadEvent]:
    known = data_identifiers().get(did)
    text = text_of(data) if known is not None and known.is_text else ""
    yield DataRead(
        **head_of(message),
        did=did,
        name=known.name if known else "",
        data=data,
        text=text or None,
    )
    if did == _VIN_DID and len(text) == _VIN_LENGTH:
        yield VehicleInfo(**head_of(message), vin=text)
    elif did == _SERIAL_DID and text:
        yield VehicleInfo(**head_of(message), serial=text)
    elif did in _OBD_DIDS:
        yield read_pid(message, did & 0xFF, data)


def _byte(data: bytes | None, at: int) -> int | None:
    """Give one byte, None where there is none."""
    return data[at] if data is not None and len(data) > at else None


def _not_read(message: IsoTpMessage, reason: str, payload: bytes | None = None) -> RoadNotRead:
    return RoadNotRead(
        **head_of(message), reason=reason, payload=message.payload if payload is None else payload
    )

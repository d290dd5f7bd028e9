"""One line of candump text, read with care: every usual form, or the reason why it is none.

Forms as printed by `candump` and written by `candump -L` (can-utils), with the options for
times (-t a, d, z, A), direction (-x), ASCII column (-a), binary (-b) and swapped bytes (-S).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from functools import cache

from shearbolt.model.frames import BITRATE_SWITCH, ERROR, ERROR_STATE, EXTENDED, FD, REMOTE, SENT
from shearbolt.model.instants import from_iso

LONGEST_LINE = 1 << 16
"""Longer lines are no candump text."""
FD_SIZES = (*range(9), 12, 16, 20, 24, 32, 48, 64)
"""Data lengths that a CAN FD frame can have (ISO 11898-1)."""

_ERROR_BIT = 0x20000000
_TIME = re.compile(r"\s*\(([^()]*)\)\s*")
_NUMBER = re.compile(r"(-?)(\d{1,12})(?:\.(\d{1,9}))?")
_DATE = re.compile(r"(\d{4}-\d\d-\d\d)[ T](\d\d:\d\d:\d\d)(?:\.(\d{1,9}))?")
_NAME = re.compile(r"\s*([!-~]{1,64})\s+")
_LOG = re.compile(r"([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})#(\S*)(?:\s+([RT]))?\s*")
_XL = re.compile(r"[0-9A-Fa-f]{3,8}#[0-9A-Fa-f]{2}:")
_CONSOLE = re.compile(
    r"(?:([RT])X\s+([B-])\s+([E-])\s+)?([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})\s+"
    r"(?:\[\s*(\d{1,2})\]|\{([9A-F])\})(.*)",
    re.DOTALL,
)
_BYTES = re.compile(r"((?:[0-9A-Fa-f]{2})*)(?:_[9A-Fa-f])?")
_REMOTE = re.compile(r"R(\d?)(?:_[9A-Fa-f])?")
_EXPLAINS_ERROR = re.compile(rb"\t[a-z][a-z0-9-]*(?:\{.*\})?\s*")
_DROPPED = re.compile(r"DROPCOUNT: dropped (\d{1,9}) CAN frames? ")


class TimeForm(Enum):
    """How a line gives its time."""

    NUMBER = "number"
    """Seconds."""
    DATE = "date"
    """Date and time of day, without a zone."""
    NONE = "none"
    """Not at all."""


@dataclass(frozen=True, slots=True)
class LineFrame:
    """One frame as its line gives it."""

    time_us: int
    """Microseconds, from 1970 where the line has a date; 0 where it has no time."""
    form: TimeForm
    channel: bytes
    ident: int
    flags: int
    length: int
    data: bytes


@dataclass(frozen=True, slots=True)
class NoFrame:
    """A line without a frame."""

    reason: str
    """What was wrong; empty for a line that needs none (blank, a comment)."""
    count: int = 1
    """How many frames or lines that is."""


NOTHING = NoFrame("")
NOT_CANDUMP = NoFrame("not a line of candump text")
BAD_TIME = NoFrame("time damaged or out of range")
BAD_DATA = NoFrame("data damaged: not whole bytes of hexadecimal digits")
BAD_LENGTH = NoFrame("data shorter or longer than the length beside it")
TOO_LONG = NoFrame("more data bytes than such a frame can have")
BAD_IDENT = NoFrame("identifier too large for its width")
CAN_XL = NoFrame("CAN XL frame, which is not read")
LINE_TOO_LONG = NoFrame("line far too long for candump text")


def explains_error(line: bytes) -> bool:
    """Tell whether a line has the form in which `candump -e` explains the error frame above it."""
    return bool(_EXPLAINS_ERROR.fullmatch(line))


def read_line(line: bytes) -> LineFrame | NoFrame:
    """Read one line, without its line feed."""
    if len(line) > LONGEST_LINE:
        return LINE_TOO_LONG
    text = line.decode("latin-1").rstrip("\r\n \t")
    if not text.strip() or text.lstrip()[0] in "#;":
        return NOTHING
    dropped = _DROPPED.match(text)
    if dropped:
        return NoFrame("frames that the recorder itself lost", int(dropped[1]))
    at, time_us, form = 0, 0, TimeForm.NONE
    bracket = _TIME.match(text)
    if bracket:
        told = _time(bracket[1].strip())
        if told is None:
            # Only a line that is candump text for the rest has a damaged time.
            rest = _frame(text, bracket.end(), 0, TimeForm.NONE)
            return BAD_TIME if isinstance(rest, LineFrame) else NOT_CANDUMP
        at, (time_us, form) = bracket.end(), told
    return _frame(text, at, time_us, form)


def _time(text: str) -> tuple[int, TimeForm] | None:
    number = _NUMBER.fullmatch(text)
    if number:
        size = int(number[2]) * 1_000_000 + int((number[3] or "")[:6].ljust(6, "0"))
        return (-size if number[1] else size), TimeForm.NUMBER
    date = _DATE.fullmatch(text)
    if date:
        try:
            seconds = from_iso(f"{date[1]}T{date[2]}")
        except ValueError:
            return None
        return seconds + int((date[3] or "")[:6].ljust(6, "0")), TimeForm.DATE
    return None


def _frame(text: str, at: int, time_us: int, form: TimeForm) -> LineFrame | NoFrame:
    name = _NAME.match(text, at)
    if not name:
        return NOT_CANDUMP
    channel = name[1].encode("latin-1")
    log = _LOG.fullmatch(text, name.end())
    console = None if log else _CONSOLE.fullmatch(text, name.end())
    if log:
        told = _log_body(log[2])
        digits, sent = log[1], log[3] == "T"
    elif console:
        told = _console_body(console)
        digits, sent = console[4], console[1] == "T"
    else:
        return CAN_XL if _XL.match(text, name.end()) else NOT_CANDUMP
    if isinstance(told, NoFrame):
        return told
    flags, length, data = told
    ident = int(digits, 16)
    if len(digits) == 3:
        if ident > 0x7FF:
            return BAD_IDENT
    elif ident & _ERROR_BIT and ident < 2 * _ERROR_BIT:
        flags |= ERROR
        ident &= ~_ERROR_BIT
    elif ident >= _ERROR_BIT:
        return BAD_IDENT
    else:
        flags |= EXTENDED
    if flags & ERROR and len(digits) == 3:
        return BAD_IDENT
    return LineFrame(time_us, form, channel, ident, flags | SENT * sent, length, data)


def _log_body(body: str) -> tuple[int, int, bytes] | NoFrame:
    """Read what stands behind the first # of the log form: flags, length, data."""
    remote = _REMOTE.fullmatch(body)
    if remote:
        length = int(remote[1] or 0)
        return (REMOTE, length, b"") if length <= 8 else TOO_LONG
    if body.startswith("#"):
        if not re.fullmatch(r"#[0-9A-Fa-f](?:[0-9A-Fa-f]{2})*", body):
            return BAD_DATA
        data = bytes.fromhex(body[2:])
        return (_fd_flags(int(body[1], 16)), len(data), data) if len(data) in FD_SIZES else TOO_LONG
    plain = _BYTES.fullmatch(body.replace(".", ""))
    if not plain:
        return BAD_DATA
    data = bytes.fromhex(plain[1])
    return (0, len(data), data) if len(data) <= 8 else TOO_LONG


def _fd_flags(nibble: int) -> int:
    return FD | BITRATE_SWITCH * (nibble & 1) | ERROR_STATE * (nibble >> 1 & 1)


def _console_body(match: re.Match[str]) -> tuple[int, int, bytes] | NoFrame:
    """Read what stands behind the identifier of the console form: flags, length, data."""
    length = 8 if match[6] else int(match[5])
    flags = 0
    if not match[6] and len(match[5]) == 2:
        # Two digits in the brackets: CAN FD; one: classic.
        flags = _fd_flags((match[2] == "B") | (match[3] == "E") << 1)
        if length not in FD_SIZES:
            return TOO_LONG
    elif length > 8:
        return TOO_LONG
    rest = match[7].strip()
    if rest.startswith("remote request"):
        return flags | REMOTE, length, b""
    if rest.endswith("ERRORFRAME"):
        flags |= ERROR
        rest = rest[: -len("ERRORFRAME")].rstrip()
    data = _console_data(rest, length)
    return data if isinstance(data, NoFrame) else (flags, length, data)


@cache
def _printed(length: int) -> tuple[tuple[re.Pattern[str], str, int], ...]:
    """Return the patterns of `length` printed bytes: pattern, separator, base of the digits.

    Plain, swapped (-S) and binary (-b), each with or without the ASCII column beside (-a).
    """
    forms = ((" ", "[0-9A-Fa-f]{2}", 16), ("`", "[0-9A-Fa-f]{2}", 16), (" ", "[01]{8}", 2))
    found = []
    for separator, byte, base in forms:
        many = f"{byte}(?:{separator}{byte}){{{length - 1}}}" if length else ""
        quote = "'" if separator == " " else "`"
        pattern = f"({many})(?:\\s*{quote}.{{{length}}}{quote})?"
        found.append((re.compile(pattern, re.DOTALL), separator, base))
    return tuple(found)


def _console_data(rest: str, length: int) -> bytes | NoFrame:
    for pattern, separator, base in _printed(length):
        match = pattern.fullmatch(rest)
        if match:
            parts = match[1].split(separator) if length else []
            data = bytes(int(part, base) for part in parts)
            return data[::-1] if separator == "`" else data
    if re.fullmatch(r"(?:[0-9A-Fa-f]{2}[ `])*[0-9A-Fa-f]{0,2}", rest):
        return BAD_LENGTH
    return BAD_DATA

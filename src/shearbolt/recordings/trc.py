"""Recordings of kind .trc: versions 1.0 to 1.3, 2.0 and 2.1, one record a line.

Columns by letter, as the header line $COLUMNS of version 2 names them: N number, O offset in
milliseconds, T type, B bus, I identifier, d direction, R reserved, l length, L data length code,
D data. The older versions have fixed columns. Checked against python-can's reader and writer.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal, InvalidOperation

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
)
from shearbolt.model.instants import SECOND_US, Instant
from shearbolt.recordings.dates import LOCAL_TIME, header_date
from shearbolt.recordings.gather import FD_LENGTHS, UNNAMED_CHANNEL, check_identifier
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.source import HEAD_BYTES
from shearbolt.recordings.text import LATEST_US, decoded
from shearbolt.recordings.textual import TextRecording

_FIXED = {
    "1.0": "NOILD",
    "1.1": "NOTILD",
    "1.2": "NOBTILD",
    "1.3": "NOBTIRLD",
    "2.0": "NOTIdlD",
    "2.1": "NOTBIdRLD",
}
_PATTERN = {
    "N": r"\d+\)?",
    "O": r"(?P<O>-?\d{1,13}(?:\.\d+)?)",
    "T": r"(?P<T>[A-Z][A-Za-z]{1,4})",
    "B": r"(?P<B>\d{1,3}|-)",
    "I": r"(?P<I>[0-9A-Fa-f]{1,8}|-)",
    "d": r"(?P<d>Rx|Tx|-)",
    "R": r"(?:-|\d+)",
    "l": r"(?P<l>\d{1,2}|-)",
    "L": r"(?P<L>\d{1,2}|-)",
}
_DAY_ZERO_US = -25569 * 86400 * SECOND_US
"""1899-12-30, the day from which $STARTTIME counts, as an instant."""
_START_WORDS = re.compile(r";\s*Start time:\s*(.+)", re.IGNORECASE)
_RECORD = re.compile(r"\s*\d+\)?\s+-?\d+(?:\.\d+)?\s+\S+\s+\S+").match

# Type of a record: flags, or None for what is no frame on the bus.
_TYPES: dict[str, int | None] = {
    "": 0,
    "DT": 0,
    "Rx": 0,
    "Tx": SENT,
    "RR": REMOTE,
    "FD": FD,
    "FB": FD | BITRATE_SWITCH,
    "FE": FD | BITRATE_SWITCH | ERROR_STATE,
    "BI": FD | ERROR_STATE,
    "ER": ERROR,
    "Error": ERROR,
    "Warng": None,
    "ST": None,
    "EC": None,
    "EV": None,
}
_PLAIN_TYPES = {"DT": 0, "Rx": 0, "Tx": SENT}
_WAYS = {"Rx": 0, "Tx": SENT}
_SIZES = {str(size): size for size in range(1, 9)}
_MOST_SEEN = 1 << 16
"""Identifiers remembered for fast reading."""
_BUS_STATE = "FFFFFFFF"
"""Identifier of bus state lines in the versions without types."""


def looks_like(head: bytes) -> bool:
    """Tell whether the first bytes of a file are of this kind."""
    lines = [line for line in decoded(head).splitlines()[:200] if line.strip()]
    if any(line.startswith((";$FILEVERSION", ";$STARTTIME", ";$COLUMNS")) for line in lines[:20]):
        return True
    records = [line for line in lines if not line.startswith(";")]
    return bool(records) and _best_columns(records, tuple(_FIXED.values())) is not None


def _matcher(columns: str) -> Callable[[str], re.Match[str] | None]:
    """Make the pattern of a line with these columns; what a version lacks reads as ''."""
    pattern = r"\s*" + r"\s+".join(_PATTERN[one] for one in columns if one != "D")
    present = set(columns)
    lacking = "".join(f"(?P<{one}>)" for one in "OTBIdlL" if one not in present)
    return re.compile(pattern + lacking + r"(?P<D>(?:\s.*)?)$").match


def _best_columns(records: list[str], candidates: tuple[str, ...]) -> str | None:
    """Choose the columns that most lines fit; None when fewer than half fit any.

    Earlier candidates win a draw. In a version without types a type word fits no identifier.
    """
    best, most = None, 0
    for columns in candidates:
        match = _matcher(columns)
        fits = 0
        for line in records:
            found = match(line)
            if found is not None and found["T"] in _TYPES and _data_fit(found["D"]):
                fits += 1
        if fits > most:
            best, most = columns, fits
    return best if most * 2 >= len(records) else None


def _data_fit(text: str) -> bool:
    """Tell whether text reads as data bytes, or as what stands in their place."""
    try:
        return len(bytes.fromhex(text)) <= 64
    except ValueError:
        return text.strip() == "RTR"


class TrcRecording(TextRecording):
    """A .trc recording."""

    format = "trc"

    def __init__(self, source: ByteSource) -> None:
        """Read the header; raises RecordingError when the file cannot be opened."""
        super().__init__(source)
        self._started: Instant | None = None
        version = columns = ""
        records: list[str] = []
        for line in decoded(source.head(HEAD_BYTES)).splitlines():
            text = line.strip()
            if not text.startswith(";"):
                if text:
                    records.append(line)
                if len(records) >= 100:
                    break
                continue
            key, _, value = text.partition("=")
            if key == ";$FILEVERSION":
                version = value.strip()
            elif key == ";$STARTTIME":
                self._started = _day_count(value)
            elif key == ";$COLUMNS":
                columns = value.replace(",", "").replace(" ", "")
            elif self._started is None and (found := _START_WORDS.match(text)):
                self._started = header_date(found[1])
        known = all(one in _PATTERN or one == "D" for one in columns) and len(set(columns)) == len(
            columns
        )
        named = (columns,) if columns and known else ()
        if version in _FIXED:
            named = (*named, _FIXED[version])
        # A damaged header must not lose the frames: the lines themselves say which columns fit.
        fitting = _best_columns(records, (*named, *_FIXED.values()))
        columns = fitting or (named[0] if named else _FIXED["1.1"])
        self._match = _matcher(columns)
        self._columns = columns
        self._places = tuple(columns.find(one) for one in "OTBIdlL")
        self._seen: dict[str, tuple[int, int]] = {}
        self._numbers: dict[str, int] = {}

    def begin(self) -> None:
        """Forget what an earlier pass left behind."""
        self._seen = {}
        self._numbers = {}

    @property
    def started_us(self) -> Instant | None:
        """Start by the header, its local date read as UTC."""
        return self._started

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read."""
        told = super().doubts()
        return told if self._started is None else (LOCAL_TIME, *told)

    def _usual(self, line: str) -> bool:
        """Read a classic data frame of an identifier and bus seen before.

        False, with nothing done, when the line is any other; careful reading is for those.
        """
        parts = line.split(None, len(self._columns) - 1)
        if len(parts) != len(self._columns) or self._columns[-1] != "D":
            return False
        offset, kind, bus, ident, way, length, code = self._places
        try:
            flags = _PLAIN_TYPES[parts[kind]] if kind >= 0 else 0
            if way >= 0:
                flags |= _WAYS[parts[way]]
            value, flag = self._seen[parts[ident]]
            size = _SIZES[parts[length if length >= 0 else code]]
            data = bytes.fromhex(parts[-1])
            at_us = round(float(parts[offset]) * 1e3)
            number = self._numbers[parts[bus] if bus >= 0 else ""]
        except (ValueError, KeyError, OverflowError):
            return False
        if len(data) != size or not -LATEST_US < at_us < LATEST_US:
            return False
        self.gather.rows.append((at_us, value, flags | flag, number, data, size))
        return True

    def read_lines(self, first: int, lines: list[str]) -> None:
        """Read a run of lines."""
        match, index, fromhex = self._match, self.channels.index, bytes.fromhex
        rows = self.gather.rows
        for number, line in enumerate(lines, first):
            if self._usual(line):
                continue
            found = match(line)
            if found is None:
                if line.strip() and not line.startswith(";"):
                    self.unread.add("line that does not have the file's columns", line=number)
                continue
            offset, kind, bus, ident, way, length, code, text = found.group(
                "O", "T", "B", "I", "d", "l", "L", "D"
            )
            try:
                flags = _TYPES[kind]
                if flags is None:
                    self.other_lines += 1
                    continue
                at_us = round(float(offset) * 1e3)
                channel = index(bus.lstrip("0") or "0") if bus not in ("", "-") else None
                if channel is None:
                    channel = index(UNNAMED_CHANNEL)
                if way == "Tx":
                    flags |= SENT
                if flags & ERROR:
                    data = fromhex(text)[:64]
                    rows.append((at_us, 0, flags, channel, data[:8], min(len(data), 8)))
                    continue
                if not kind and ident.upper() == _BUS_STATE:
                    self.other_lines += 1
                    continue
                value = int(ident, 16)
                extended = len(ident) > 4
                if wrong := check_identifier(value, extended):
                    raise ValueError(wrong)
                if extended:
                    flags |= EXTENDED
                size = int(length or code)
                if not length and size > 8:
                    size = (FD_LENGTHS[size] if flags & FD else 8) if size < 16 else size
                if flags & REMOTE or text.strip() == "RTR":
                    rows.append((at_us, value, flags | REMOTE, channel, b"", min(size, 8)))
                    continue
                data = fromhex(text)
                if len(data) != size or (size > 8 and not flags & FD) or size not in FD_LENGTHS:
                    raise ValueError("frame whose data are not as long as its length")
                rows.append((at_us, value, flags, channel, data, size))
                if len(self._seen) < _MOST_SEEN:
                    self._seen[ident] = value, EXTENDED if extended else 0
                self._numbers[bus] = channel
            except KeyError:
                self.unread.add(f"record of the unknown type {kind!r}", line=number)
            except ValueError as trouble:
                self.unread.add(_reason(trouble), line=number)


def _reason(trouble: ValueError) -> str:
    """Say what was wrong in our own words, also where Python's number readers complained."""
    text = str(trouble)
    if text.startswith("non-hexadecimal"):
        return "frame whose data cannot be read"
    if "invalid literal" in text:
        return "frame whose identifier or length is no number"
    return text


def _day_count(text: str) -> Instant | None:
    """Read $STARTTIME: days since 1899-12-30 with their fraction; None when it is no number."""
    try:
        days = Decimal(text.strip())
        if not 0 < days < 1_000_000:
            return None
        return _DAY_ZERO_US + int((days * 86400 * SECOND_US).to_integral_value())
    except (InvalidOperation, ValueError):
        return None

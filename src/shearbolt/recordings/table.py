"""Any table of time, identifier and data: spreadsheet exports, analysers, home-made logs."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Callable
from itertools import pairwise

from shearbolt.model.frames import ERROR, EXTENDED, FD, REMOTE, SENT
from shearbolt.model.reading import TimeBase
from shearbolt.recordings.columns import TIME_UNITS_US, TableColumns
from shearbolt.recordings.gather import FD_LENGTHS, UNNAMED_CHANNEL
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.source import HEAD_BYTES
from shearbolt.recordings.table_cells import (
    ABSOLUTE_FROM_US,
    NO_IDENT,
    NO_TIME,
    WRONG_LENGTH,
    TimeForm,
    has_short_bytes,
    is_decimal_data,
    is_yes,
    plain_number,
    read_byte_cells,
    read_data,
    read_ident,
    time_kind,
)
from shearbolt.recordings.table_layout import find_layout, split_row
from shearbolt.recordings.text import decoded
from shearbolt.recordings.textual import TextRecording

# Transmission repetition of groups that are sent at a fixed rate, s (SAE J1939-71).
_PERIOD_S = {61445: 0.1, 65265: 0.1, 65266: 0.1, 65263: 0.5, 65270: 0.5, 65262: 1.0, 65271: 1.0}
_UNIT_WORDS = {"s": "seconds", "ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds"}
_OTHER_KINDS = ("status", "event", "marker", "trigger", "info", "comment", "overload")
_DEFAULT_PRIORITY = 6


class TableRecording(TextRecording):
    """A table of frames."""

    format = "table"

    def __init__(self, source: ByteSource, columns: TableColumns | None, foreign: str) -> None:
        """Find the columns; raises ForeignRecording with `foreign`, or ColumnsNeeded."""
        super().__init__(source)
        raw = source.head(HEAD_BYTES)
        text = decoded(raw)
        if len(raw) == HEAD_BYTES:
            # The last line is cut: it is no witness.
            text = text[: text.rfind("\n") + 1] or text
        self._layout = layout = find_layout(source.name, text, columns, foreign)
        self._known: list[str] = []
        data = [cell for one in layout.data for cell in layout.cells(one)]
        self._decimal_data = is_decimal_data(data)
        self._short_data = has_short_bytes(data)
        self._decimal_ident = self._ident_base() == "dec"
        self._form = self._time_form()
        if self._form.kind == "date" or layout.date is not None:
            self._known.append("dates without a zone were read as UTC")
        if layout.passed_over:
            self._known.append(f"{layout.passed_over} lines above the column names were left aside")
        if layout.ident is None and layout.priority is None:
            self._known.append(
                f"the table has no priorities; each was taken as {_DEFAULT_PRIORITY}"
            )

    @property
    def time_base(self) -> TimeBase:
        """Absolute for dates and for numbers that count from 1970."""
        return self._form.base

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read."""
        return (*self._known, *super().doubts())

    def _ident_base(self) -> str:
        """Settle whether identifiers are hexadecimal or decimal."""
        layout = self._layout
        if layout.ident is None:
            return "dec"
        if layout.ident_base:
            return layout.ident_base
        cells = layout.cells(layout.ident)
        if any(not cell.isdecimal() for cell in cells) or not cells:
            return "hex"
        if any(len(cell) > 8 for cell in cells) or len({len(cell) for cell in cells}) > 3:
            # Nine digits are more than 29 bits, and hexadecimal ones keep their width.
            return "dec"
        self._known.append(
            "identifiers have digits only and were read as hexadecimal; if they are decimal, say "
            "base=dec with --columns"
        )
        return "hex"

    def _time_form(self) -> TimeForm:
        """Settle how times are written and what they count from."""
        layout = self._layout
        if layout.date is not None:
            return TimeForm("date", base=TimeBase.ABSOLUTE)
        cells = layout.cells(layout.time)
        kind = time_kind(cells) or "plain"
        if kind == "date":
            return TimeForm("date", base=TimeBase.ABSOLUTE)
        if kind == "clock":
            self._known.append("times of day without a date: they count from midnight")
        if kind != "plain":
            return TimeForm(kind)
        numbers = [abs(one) for one in map(plain_number, cells) if one is not None]
        largest = max(numbers, default=0.0)
        unit = layout.time_unit or self._unit_of(largest)
        scale = TIME_UNITS_US[unit]
        absolute = largest * scale >= ABSOLUTE_FROM_US
        return TimeForm("plain", scale, TimeBase.ABSOLUTE if absolute else TimeBase.RELATIVE)

    def _unit_of(self, largest: float) -> str:
        """Tell the unit of bare numbers: by their size since 1970, else by the rate of frames."""
        for unit, scale in (("s", 1e6), ("ms", 1e3), ("us", 1.0), ("ns", 1e-3)):
            if ABSOLUTE_FROM_US <= largest * scale < 50 * ABSOLUTE_FROM_US:
                return unit
        unit, why = self._unit_by_rate()
        self._known.append(
            f"times carry no unit and were read as {_UNIT_WORDS[unit]}, {why}; if that is wrong, "
            "say unit=s, ms, us or ns with --columns"
        )
        return unit

    def _unit_by_rate(self) -> tuple[str, str]:
        """Tell the unit by groups of known rate, else by a rate that a bus can have."""
        layout, times = self._layout, defaultdict[int, list[float]](list)
        every: list[float] = []
        for row in layout.rows:
            at = plain_number(row[layout.time]) if layout.time < len(row) else None
            if at is None:
                continue
            every.append(at)
            try:
                ident, flag = self._identifier(list(row))
            except (ValueError, IndexError):
                continue
            if flag & EXTENDED:
                times[ident].append(at)
        ratios = []
        for ident, found in times.items():
            period = _PERIOD_S.get(ident >> 8 & 0x3FFFF)
            steps = [b - a for a, b in pairwise(found) if b > a]
            if period and len(steps) >= 2:
                ratios.append(math.log10(statistics.median(steps) / period))
        powers = {"s": 0, "ms": 3, "us": 6, "ns": 9}
        if ratios:
            middle = statistics.median(ratios)
            unit = min(powers, key=lambda one: abs(powers[one] - middle))
            if abs(powers[unit] - middle) < 1.0:
                return unit, "at which groups of known rate keep that rate"
        span = every[-1] - every[0] if len(every) > 1 else 0.0
        if len(every) >= 20 and span > 0:
            rate = len(every) / span
            for unit, power in powers.items():
                if 20 <= rate * 10**power < 20_000:
                    return unit, "at which the bus has a rate that a bus can have"
        return "s", "the most usual unit"

    def _identifier(self, row: list[str]) -> tuple[int, int]:
        """Read a row's identifier, or put it together from its parts (SAE J1939-21 5.2)."""
        layout = self._layout
        if layout.ident is not None:
            return read_ident(row[layout.ident], self._decimal_ident)
        assert layout.pgn is not None
        assert layout.source is not None
        group, source = _part(row[layout.pgn], 0x3FFFF), _part(row[layout.source], 0xFF)
        priority = _DEFAULT_PRIORITY
        if layout.priority is not None:
            priority = _part(row[layout.priority], 7)
        if group >> 8 & 0xFF < 240 and layout.destination is not None:
            group = group & 0x3FF00 | _part(row[layout.destination], 0xFF)
        return priority << 26 | group << 8 | source, EXTENDED

    def read_lines(self, first: int, lines: list[str]) -> None:
        """Read a run of rows."""
        layout = self._layout
        read = self._row_reader()
        delimiter, begin = layout.delimiter, layout.first_line
        for number, line in enumerate(lines, first):
            if number < begin or not line.strip():
                continue
            try:
                read(split_row(line, delimiter) if '"' in line else line.split(delimiter))
            except IndexError:
                self.unread.add("row with fewer columns than it must have", line=number)
            except ValueError as trouble:
                self.unread.add(str(trouble), line=number)

    def begin(self) -> None:
        """Begin a pass: times of day count on within one."""
        self._read_time = self._form.reader()
        self._idents: dict[str, tuple[int, int]] = {}

    def _row_reader(self) -> Callable[[list[str]], None]:
        """Make the function that reads one row into `gather`."""
        layout, rows = self._layout, self.gather.rows
        read_time, idents = self._read_time, self._idents
        at_time, at_ident, at_channel = layout.time, layout.ident, layout.channel
        channel_of = self.channels.index
        data_of = self._data_of

        def read(row: list[str]) -> None:
            if layout.errors is not None and _marked(row, layout.errors):
                raise ValueError("row marked as damaged by the program that wrote the table")
            cell = row[at_time] if layout.date is None else f"{row[layout.date]} {row[at_time]}"
            flags, other = self._marks(row)
            if other:
                self.other_lines += 1
                return
            if not cell.strip():
                raise ValueError(NO_TIME)
            time_us = read_time(cell)
            if at_ident is None:
                ident, flag = self._identifier(row)
            else:
                text = row[at_ident]
                known = idents.get(text)
                if known is None:
                    if flags & ERROR and not text.strip():
                        known = (0, 0)
                    else:
                        known = read_ident(text, self._decimal_ident)
                        if len(idents) < 1 << 16:
                            idents[text] = known
                ident, flag = known
            if layout.extended is not None and layout.extended < len(row):
                flag = EXTENDED if is_yes(row[layout.extended]) or ident > 0x7FF else 0
            name = row[at_channel].strip() if at_channel is not None else UNNAMED_CHANNEL
            channel = channel_of(name or UNNAMED_CHANNEL)
            data, size, more = data_of(row, flags)
            rows.append((time_us, ident, flags | flag | more, channel, data, size))

        return read

    def _marks(self, row: list[str]) -> tuple[int, bool]:
        """Read type and direction: flags, and whether the row is no frame at all."""
        layout, flags = self._layout, 0
        if layout.kind is not None:
            kind = row[layout.kind].strip().lower()
            if kind and kind != "data":
                if kind.startswith(_OTHER_KINDS):
                    return 0, True
                if "err" in kind:
                    flags |= ERROR
                elif kind in ("r", "rtr") or "remote" in kind:
                    flags |= REMOTE
                elif "fd" in kind:
                    flags |= FD
                elif kind in ("tx", "sent"):
                    flags |= SENT
        if layout.direction is not None and layout.direction < len(row):
            way = row[layout.direction].strip().lower()
            if way.startswith(("t", "s", "out")):
                flags |= SENT
        remote = layout.remote
        if remote is not None and remote < len(row) and is_yes(row[remote]):
            flags |= REMOTE
        return flags, False

    def _data_of(self, row: list[str], flags: int) -> tuple[bytes, int, int]:
        """Read a row's data: bytes, length, and FD where the length says so."""
        layout = self._layout
        told: int | None = None
        if layout.length is not None:
            cell = row[layout.length].strip()
            if not cell.isdecimal() or len(cell) > 3:
                raise ValueError("row without its data length")
            told = int(cell)
        if flags & REMOTE:
            return b"", min(told or 0, 8), 0
        if len(layout.data) == 1:
            cell = row[layout.data[0]]
            if layout.open_end and len(row) > len(layout.names):
                cell = " ".join(row[layout.data[0] :])
            data = read_data(cell, self._decimal_data, self._short_data)
        else:
            cells = [row[one] for one in layout.data if one < len(row)]
            data = read_byte_cells(cells[:told] if told is not None else cells, self._decimal_data)
        size = len(data)
        if flags & ERROR:
            return data[:8], min(size, 8), 0
        if told is not None and told != size:
            code = FD_LENGTHS[told] if told < 16 else -1
            if size != (code if size > 8 else min(told, 8)) or (told < 9):
                raise ValueError(WRONG_LENGTH)
        if size <= 8:
            return data, size, 0
        if layout.ident is None:
            raise ValueError(
                "payload of more than 8 bytes that the table stores already put together: no "
                "frame of the bus"
            )
        if size not in FD_LENGTHS:
            raise ValueError("more data than a frame can have")
        return data, size, FD


def _part(cell: str, most: int) -> int:
    """Read one part of an identifier: decimal, or hexadecimal with 0x or letters."""
    text = cell.strip()
    if text[:2].lower() == "0x":
        base, text = 16, text[2:]
    else:
        base = 10 if text.isdecimal() else 16
    if not text.isalnum() or not text.isascii() or len(text) > 8:
        # A spreadsheet may have turned whole numbers into '6.0'.
        whole, _, rest = text.partition(".")
        if not whole.isdecimal() or rest.strip("0") or len(whole) > 8:
            raise ValueError(NO_IDENT)
        text, base = whole, 10
    try:
        value = int(text, base)
    except ValueError:
        raise ValueError(NO_IDENT) from None
    if value > most:
        raise ValueError(NO_IDENT)
    return value


def _marked(row: list[str], column: int) -> bool:
    """Tell whether the column of errors says something."""
    return column < len(row) and row[column].strip().lower() not in (
        "",
        "0",
        "-",
        "none",
        "no",
        "ok",
    )

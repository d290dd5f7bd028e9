"""Raw MDF 4 records as columns, and whether a record can be what it says."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import ERROR
from shearbolt.recordings.gather import FD_LENGTHS
from shearbolt.recordings.mdf4_frames import KINDS
from shearbolt.recordings.mdf4_layout import VARIABLE, Field, Group

Rows = npt.NDArray[np.uint8]
"""Records without their identifier, one a row."""
Sound = npt.NDArray[np.bool_]
LOST_BYTES = "record whose data bytes are lost"
_FLOATS = (4, 5)
_SIGNED = (2, 3)
_TEXTS = (6, 7)
_LATEST_S = 1e9
_NO_TIME_S = 1e-9
"""Nearer to the start than any clock can tell: the high bytes of such a time are zero."""
_LONGEST_STEP_BACK = 8
_FD_LENGTH = np.array(FD_LENGTHS, np.int64)


class RawRun:
    """Some records of one group, asked field by field."""

    def __init__(
        self, group: Group, rows: Rows, byte: int | None = None, data: Rows | None = None
    ) -> None:
        """`data`: the data bytes of every record, 64 wide, where they are kept elsewhere."""
        self.group = group
        self.rows = rows
        self.byte = byte
        self._data = data

    @property
    def name(self) -> str:
        """Kind of record, a key of KINDS."""
        return self.group.name

    @property
    def size(self) -> int:
        """Number of records."""
        return len(self.rows)

    def has(self, field: str) -> bool:
        """Tell whether the group has a field."""
        return field in self.group.fields

    def times(self) -> npt.NDArray[np.float64]:
        """Return the times in seconds from the start of the file."""
        return times_of(self.group, self.rows)

    def number(self, field: str, rows: int) -> npt.NDArray[Any]:
        """Read a field of whole numbers; zeros where the group does not have it."""
        found = self.group.fields.get(field)
        if found is None:
            return np.zeros(rows, np.int64)
        return whole_numbers(self.rows[:rows], found).astype(np.int64)

    def is_sent(self, rows: int) -> npt.NDArray[np.bool_]:
        """Read the direction, written as a number or as a word."""
        found = self.group.fields.get("Dir")
        if found is None:
            return np.zeros(rows, np.bool_)
        if found.data_type in _TEXTS:
            word = np.frombuffer(b"tx", np.uint8)
            text = self.rows[:rows, found.byte : found.byte + 2] | 0x20
            return np.asarray(np.all(text == word, axis=1), np.bool_)
        return np.asarray(whole_numbers(self.rows[:rows], found) != 0, np.bool_)

    def bytes(self, rows: int) -> Rows:
        """Read the data bytes, one row a frame."""
        if self._data is not None:
            return self._data[:rows]
        found = self.group.fields["DataBytes"]
        return self.rows[:rows, found.byte : found.byte + found.bits // 8]


def whole_numbers(rows: Rows, field: Field) -> npt.NDArray[Any]:
    """Read a field of up to 64 bits as whole numbers (int64 where signed, else uint64)."""
    if field.data_type in _FLOATS:
        with np.errstate(invalid="ignore"):
            return np.asarray(np.nan_to_num(_floats(rows, field)).astype(np.int64))
    count = min(field.end - field.byte, 8)
    part = rows[:, field.byte : field.byte + count]
    if field.data_type % 2:
        part = part[:, ::-1]
    wide = np.zeros((len(rows), 8), np.uint8)
    wide[:, :count] = part
    value = wide.view("<u8")[:, 0] >> np.uint64(field.bit)
    if field.bits >= 64:
        return np.asarray(value.astype(np.int64) if field.data_type in _SIGNED else value)
    value = value & np.uint64((1 << field.bits) - 1)
    if field.data_type in _SIGNED and field.bits:
        shift = np.int64(64 - field.bits)
        return np.asarray((value.astype(np.int64) << shift) >> shift)
    return np.asarray(value)


def _floats(rows: Rows, field: Field) -> npt.NDArray[np.float64]:
    """Read a field of floating point numbers of 4 or 8 bytes."""
    order = ">" if field.data_type % 2 else "<"
    count = 4 if field.bits == 32 else 8
    part = rows[:, field.byte : field.byte + count]
    if part.shape[1] < count:
        return np.full(len(rows), np.nan)
    raw = np.ascontiguousarray(part).view(f"{order}f{count}")[:, 0]
    return np.asarray(raw, np.float64)


def times_of(group: Group, rows: Rows) -> npt.NDArray[np.float64]:
    """Return the times of records in seconds from the start of the file."""
    field = group.time
    if field is None:
        return np.zeros(len(rows))
    if field.data_type in _FLOATS:
        raw = _floats(rows, field)
    else:
        raw = whole_numbers(rows, field).astype(np.float64)
    if field.factor == 1.0 and field.offset == 0.0:
        return raw
    return np.asarray(field.offset + field.factor * raw, np.float64)


def holed(group: Group, rows: Rows, latest_s: float) -> Sound:
    """Tell which records were overwritten with zeros, at least their times.

    `latest_s` is the latest time before, -inf where there is none. A record of zeros at the very
    beginning may be a frame.
    """
    times = np.abs(np.nan_to_num(times_of(group, rows)))
    first = abs(latest_s) if np.isfinite(latest_s) else 0.0
    before = np.maximum.accumulate(np.concatenate(([first], times)))[:-1]
    return np.asarray((times < _NO_TIME_S) & (before >= _NO_TIME_S), np.bool_)


def stepped_back(group: Group, rows: Rows, latest_s: float) -> Sound:
    """Tell which records lie before those around them because bytes of their times are zero:
    the low ones, or the high ones of a record right before one of zeros.

    A clock that was set back is left alone: there more than a few records follow.
    """
    times = times_of(group, rows)
    before = np.maximum.accumulate(np.concatenate(([latest_s], np.nan_to_num(times))))[:-1]
    low = group.time.byte if group.time else 0
    blank = (rows[:, low] == 0) & (rows[:, min(low + 1, rows.shape[1] - 1)] == 0)
    blank[:-1] |= ~rows[1:].any(axis=1)
    out = np.zeros(len(rows), np.bool_)
    for one in np.flatnonzero(blank & (times < before)).tolist():
        behind = times[one + 1 : one + 1 + _LONGEST_STEP_BACK]
        out[one] = bool(np.any(behind >= before[one]))
    return out


def plausible(group: Group, rows: Rows) -> Sound:
    """Tell which records hold fields that agree with one another.

    Data length and length code must fit, flags be 0 or 1, the identifier be in its range.
    """
    run = RawRun(group, rows)
    count = len(rows)
    times = run.times()
    with np.errstate(invalid="ignore"):
        sound = np.isfinite(times) & (np.abs(times) < _LATEST_S)
    for name in ("IDE", "EDL", "BRS", "ESI"):
        sound &= run.number(name, count).astype(np.uint64) <= 1
    channel = run.number("BusChannel", count)
    sound &= (channel >= 0) & (channel < 256)
    if KINDS[group.name] != ERROR and run.has("ID"):
        raw = run.number("ID", count).astype(np.uint64)
        sound &= (raw & np.uint64(0xFFFFFFFF_60000000)) == 0
        if run.has("IDE"):
            extended = run.number("IDE", count) != 0
            sound &= extended | ((raw & np.uint64(0x1FFFFFFF)) <= 0x7FF)
    code = run.number("DLC", count)
    sound &= (code >= 0) & (code <= 64)
    if run.has("DLC") and run.has("DataLength") and not KINDS[group.name]:
        length = run.number("DataLength", count)
        of_code = _FD_LENGTH[np.clip(code, 0, 15)]
        # Some writers put the number of bytes where the code belongs.
        sound &= (length == code) | (length == of_code) | ((length == 8) & (code >= 8))
        sound &= np.isin(length, _FD_LENGTH)
        held = group.fields["DataBytes"]
        if held.stored != VARIABLE:
            sound &= length <= held.bits // 8
        if run.has("EDL"):
            sound &= (length <= 8) | (run.number("EDL", count) != 0)
    return np.asarray(sound, np.bool_)


def keeps_data_elsewhere(group: Group) -> bool:
    """Tell whether its records have only the place of their data bytes."""
    found = group.fields.get("DataBytes")
    return found is not None and found.stored == VARIABLE


def with_data(run: RawRun, get: Callable[[int], bytes | None]) -> tuple[RawRun, Sound]:
    """Fetch the data bytes of records that have only their places; tell which records have them.

    Data of another length than the record says are not its own.
    """
    rows = run.rows
    offsets = whole_numbers(rows, run.group.fields["DataBytes"])
    sizes = run.number("DataLength", len(rows)).tolist() if run.has("DataLength") else None
    data = np.zeros((len(rows), 64), np.uint8)
    kept = np.ones(len(rows), np.bool_)
    for i, place in enumerate(offsets.tolist()):
        found = get(int(place))
        if found is None or len(found) > 64 or (sizes is not None and len(found) != sizes[i]):
            kept[i] = False
        else:
            data[i, : len(found)] = np.frombuffer(found, np.uint8)
    return RawRun(run.group, rows[kept], run.byte, data[kept]), kept

"""Reading a stream that has one kind of record, record by record length (sorted MDF 4 data)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from shearbolt.model.frames import U64
from shearbolt.recordings.gather import Unread
from shearbolt.recordings.mdf4_data import Piece
from shearbolt.recordings.mdf4_fields import (
    Rows,
    Sound,
    holed,
    plausible,
    stepped_back,
    times_of,
)
from shearbolt.recordings.mdf4_layout import Group

CUT_RECORD = "record that is cut short"
ZEROS = "record overwritten with zeros; a frame next to it may be wrong"
IMPLAUSIBLE = "record whose fields cannot be right"
_TRIED_RECORDS = 64
_SAMPLE_BYTES = 1 << 14


class Checks:
    """Leaves out the records of a group that damage hit, and counts them."""

    def __init__(self, group: Group, unread: Unread, *, strict: bool) -> None:
        """`strict`: also what merely contradicts itself, not only what became zeros."""
        self._group = group
        self._unread = unread
        self._strict = strict
        self._latest_s = -math.inf

    def sound(self, rows: Rows, places: Even) -> Sound:
        """Tell which records to keep."""
        if not len(rows):
            return np.ones(0, np.bool_)
        zeros = holed(self._group, rows, self._latest_s)
        if self._strict:
            zeros |= stepped_back(self._group, rows, self._latest_s)
        wrong = np.zeros(len(rows), np.bool_)
        if self._strict:
            wrong = ~plausible(self._group, rows) & ~zeros
        self._count(ZEROS, zeros, places)
        self._count(IMPLAUSIBLE, wrong, places)
        sound = np.asarray(~(zeros | wrong), np.bool_)
        good = times_of(self._group, rows[sound])
        self._latest_s = float(np.max(good, initial=self._latest_s))
        return sound

    def _count(self, reason: str, bad: Sound, places: Even) -> None:
        found = np.flatnonzero(bad)
        if len(found):
            self._unread.add(reason, count=len(found), byte=places.of(int(found[0])))


class Even:
    """Records one after another."""

    def __init__(self, at: int, stride: int) -> None:
        """`stride` 0: all are in one packed block."""
        self._at = at
        self._stride = stride

    def of(self, index: int) -> int:
        """Return the byte of a record, or that of its packed block."""
        return self._at + index * self._stride

    def from_row(self, index: int) -> Even:
        """Return the places of the records from `index` on."""
        return Even(self.of(index), self._stride)


def fits(group: Group, id_size: int, data: bytes, skip: int) -> bool:
    """Tell whether bytes, but for the first `skip`, are records of a group: all are plausible,
    and their times never run back."""
    stride = id_size + group.size
    count = min((len(data) - skip) // stride, _TRIED_RECORDS)
    if count < 1 or not group.name:
        return False
    whole = np.frombuffer(data, np.uint8, count * stride, skip).reshape(count, stride)
    if id_size and not np.all(_identifiers(whole, id_size) == group.record_id):
        return False
    rows = whole[:, id_size:]
    times = times_of(group, rows)
    return bool(np.all(plausible(group, rows)) and np.all(np.diff(times) >= 0) and rows.any())


def share_plausible(group: Group, id_size: int, data: bytes) -> float:
    """Return the share of plausible records at the beginning of a block, zeros not counted."""
    stride = id_size + group.size
    count = min(len(data) // stride, 4 * _TRIED_RECORDS)
    if not count or not group.name:
        return 0.0
    rows = np.frombuffer(data, np.uint8, count * stride).reshape(count, stride)[:, id_size:]
    some = rows[rows.any(axis=1)]
    return float(np.mean(plausible(group, some))) if len(some) else 0.0


def phases(group: Group, id_size: int, data: bytes) -> list[int]:
    """Find where the first whole record may begin: at 0 alone if that fits, else all that fit."""
    if fits(group, id_size, data, 0):
        return [0]
    return [one for one in range(id_size + group.size) if fits(group, id_size, data, one)]


def _identifiers(rows: Rows, id_size: int) -> U64:
    """Read the identifiers of records."""
    wide = np.zeros((len(rows), 8), np.uint8)
    wide[:, :id_size] = rows[:, :id_size]
    return np.asarray(wide.view("<u8")[:, 0], np.uint64)


def sorted_runs(
    group: Group, id_size: int, pieces: Iterable[Piece], unread: Unread, limit: int | None
) -> Iterator[tuple[Rows, Even]]:
    """Cut a stream into records; at most `limit` where the file counts them itself.

    Where bytes are missing the next whole record is found by its place in the stream, or by what
    fits.
    """
    stride = id_size + group.size
    rest, expected, done = b"", 0, 0
    last = 0
    for piece in pieces:
        data, at = piece.data, piece.at
        follows = piece.follows or piece.offset == expected
        if piece.offset is None and rest:
            # A stray block: it follows where a record that was begun goes on in it.
            follows = follows or fits(group, id_size, rest + data, 0)
        if follows:
            data = rest + data
            at -= 0 if piece.packed else len(rest)
        else:
            if rest:
                unread.add(CUT_RECORD, byte=last)
            skip = len(data)
            if piece.offset is not None:
                skip = -piece.offset % stride
            elif len(found := phases(group, id_size, data[:_SAMPLE_BYTES])) == 1:
                skip = found[0]
            else:
                unread.add("data block whose records cannot be told apart", byte=piece.at)
            if piece.offset is not None:
                done = (piece.offset + skip) // stride
            data = data[skip:]
            at += 0 if piece.packed else skip
        expected = (piece.offset if piece.offset is not None else expected) + len(piece.data)
        count = len(data) // stride
        if limit is not None:
            count = min(count, max(limit - done, 0))
        whole = np.frombuffer(data, np.uint8, count * stride).reshape(count, stride)
        rest = data[count * stride :]
        done += count
        last = at if piece.packed else at + count * stride
        if limit is not None and done >= limit:
            rest = b""
        if count:
            yield whole[:, id_size:], Even(at, 0 if piece.packed else stride)
    if rest:
        unread.add(CUT_RECORD, byte=last)
    if limit is not None and done < limit:
        unread.add("records missing from the file", count=limit - done, byte=last or None)

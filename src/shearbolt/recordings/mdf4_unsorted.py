"""Reading a stream of several kinds of record, each behind its identifier (unsorted MDF 4 data)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import I64, Frames
from shearbolt.recordings.gather import Unread, joined, reordered
from shearbolt.recordings.mdf4_data import Piece
from shearbolt.recordings.mdf4_fields import (
    LOST_BYTES,
    RawRun,
    Rows,
    holed,
    keeps_data_elsewhere,
    plausible,
    times_of,
    with_data,
)
from shearbolt.recordings.mdf4_frames import FrameMaker
from shearbolt.recordings.mdf4_layout import DataGroup, Group
from shearbolt.recordings.mdf4_sorted import CUT_RECORD
from shearbolt.recordings.mdf4_variable import VariableRecords

LOST_STRETCH = "stretch of damaged records; a frame next to it may be wrong"
_WINDOW_BYTES = 1 << 18
_LONGEST_DATA = 4096
_TRIED_RECORDS = 6
_NO_END = 1 << 62


@dataclass(slots=True)
class _Parsed:
    """What stands in a window."""

    places: dict[int, list[int]]
    """Where the records of each identifier begin, behind the identifier."""
    end: int
    """Where parsing stopped."""
    sound: bool
    """It stopped because the window is used up, not because of damage."""


@dataclass(slots=True)
class _Taken:
    """Records of one group in a window."""

    group: Group
    rows: Rows
    places: I64
    """Where they begin in the window, behind the identifier."""
    at: int
    """Byte of the file where the window begins, or that of its packed block."""


class UnsortedReader:
    """Reads one data group's stream."""

    def __init__(self, group: DataGroup, make: FrameMaker | None, unread: Unread) -> None:
        """Without `make` the stream is only looked through for damage, up to the first."""
        self._id_size = group.id_size
        self._groups = {one.record_id: one for one in group.groups}
        self._make = make
        self._unread = unread
        self._latest_s = dict.fromkeys(self._groups, -math.inf)
        self._variable = {one.at: VariableRecords() for one in group.groups if one.variable}
        self._waiting: list[_Taken] = []

    def frames(self, pieces: Iterable[Piece]) -> Iterator[Frames]:
        """Give the frames in the order of the stream."""
        rest, at, expected, lost = b"", 0, 0, False
        for piece in pieces:
            follows = piece.follows or piece.offset == expected
            if piece.offset is None and not follows and not lost:
                # A stray block: it follows where the records go on in it without a gap.
                follows = self._next_sound(rest + piece.data[:_WINDOW_BYTES], 0, at_end=True) == 0
                for variable in self._variable.values():
                    variable.doubt()
            if not follows:
                if rest:
                    self._unread.add(CUT_RECORD, byte=at)
                rest, lost = b"", True
                yield from self._lose()
            expected = (piece.offset if piece.offset is not None else expected) + len(piece.data)
            for start in range(0, len(piece.data), _WINDOW_BYTES):
                data = rest + piece.data[start : start + _WINDOW_BYTES]
                at = piece.at if piece.packed else piece.at + start - len(rest)
                used, lost, out = self._window(data, at, piece.packed, lost)
                rest = data[used:]
                at += 0 if piece.packed else used
                yield from out
        if rest and not lost:
            self._unread.add(CUT_RECORD, byte=at)
        elif rest:
            yield from self._last(rest, at)
        yield from self._give([])

    def begins(self, sample: bytes) -> bool:
        """Tell whether sound records begin near the start of a sample, within one record."""
        found = self._next_sound(sample[: self._longest() * 2 * _TRIED_RECORDS], 0, at_end=True)
        return found is not None and found < self._longest()

    def _last(self, data: bytes, at: int) -> list[Frames]:
        """Read what is left at the end, where the place of the next record was lost."""
        found = self._next_sound(data, 0, at_end=True)
        if found is None:
            return []
        parsed = self._parse(data, found)
        return self._taken(data, parsed, parsed.end, at)

    def _window(
        self, data: bytes, at: int, packed: bool, lost: bool
    ) -> tuple[int, bool, list[Frames]]:
        """Read a window; return the bytes used, whether the place of the next record is lost, and
        the frames."""
        out: list[Frames] = []
        position = 0
        while True:
            if lost:
                found = self._next_sound(data, position, at_end=False)
                if found is None:
                    # What is left may be completed by the next window.
                    return max(position, len(data) - self._longest() * _TRIED_RECORDS), True, out
                position, lost = found, False
            parsed = self._parse(data, position)
            bad = self._first_bad(data, parsed, strict=self._make is not None)
            stop = parsed.end if bad is None else bad
            out += self._taken(data, parsed, stop, at)
            if bad is None and parsed.sound:
                return parsed.end, False, out
            self._unread.add(LOST_STRETCH, byte=at if packed else at + stop)
            out += self._lose()
            if self._make is None:
                return len(data), True, out
            position, lost = stop + 1, True

    def _longest(self) -> int:
        """Bytes that one record may have."""
        return self._id_size + 4 + max([64, *(one.size for one in self._groups.values())])

    def _parse(self, data: bytes, start: int, most: int = _NO_END) -> _Parsed:
        """Go from record to record."""
        places: dict[int, list[int]] = {one: [] for one in self._groups}
        sizes = {one: -1 if it.variable else it.size for one, it in self._groups.items()}
        width, end, at = self._id_size, len(data), start
        while at + width <= end and most:
            record_id = data[at] if width == 1 else int.from_bytes(data[at : at + width], "little")
            size = sizes.get(record_id)
            if size is None:
                return _Parsed(places, at, sound=False)
            body = at + width
            if size < 0:
                if body + 4 > end:
                    break
                size = 4 + int.from_bytes(data[body : body + 4], "little")
                if size > _LONGEST_DATA:
                    return _Parsed(places, at, sound=False)
            if body + size > end:
                break
            places[record_id].append(body)
            at = body + size
            most -= 1
        return _Parsed(places, at, sound=True)

    def _first_bad(self, data: bytes, parsed: _Parsed, *, strict: bool) -> int | None:
        """Return where the first record begins that cannot be right; None when all can."""
        first: list[int] = []
        for record_id, places in parsed.places.items():
            group = self._groups[record_id]
            if not group.name or not places:
                continue
            rows = _rows(data, group, np.array(places, np.int64))
            bad = holed(group, rows, self._latest_s[record_id])
            if strict:
                bad |= ~plausible(group, rows)
            first += [places[one] - self._id_size for one in np.flatnonzero(bad)[:1].tolist()]
        return min(first, default=None)

    def _next_sound(self, data: bytes, start: int, *, at_end: bool) -> int | None:
        """Find where several records in a row are plausible; None when there is no such place.

        `at_end`: nothing follows the data, so that fewer are enough where they end with it.
        """
        for at in range(start, len(data) - self._id_size):
            if int.from_bytes(data[at : at + self._id_size], "little") not in self._groups:
                continue
            parsed = self._parse(data, at, _TRIED_RECORDS)
            count = sum(len(one) for one in parsed.places.values())
            frames = sum(len(one) for key, one in parsed.places.items() if self._groups[key].name)
            enough = count == _TRIED_RECORDS or (at_end and count and parsed.end == len(data))
            if (
                parsed.sound
                and enough
                and frames
                and self._first_bad(data, parsed, strict=True) is None
            ):
                return at
        return None

    def _taken(self, data: bytes, parsed: _Parsed, stop: int, at: int) -> list[Frames]:
        """Take the records before `stop`; give the frames whose data bytes are there."""
        taken = []
        for record_id, found in parsed.places.items():
            group = self._groups[record_id]
            places = [one for one in found if one < stop]
            if group.variable:
                for one in places:
                    end = one + 4 + int.from_bytes(data[one : one + 4], "little")
                    self._variable[group.at].add(one - self._id_size, end, data[one + 4 : end])
            elif group.name and places:
                rows = _rows(data, group, np.array(places, np.int64))
                latest_s = self._latest_s[record_id]
                self._latest_s[record_id] = float(np.max(times_of(group, rows), initial=latest_s))
                taken.append(_Taken(group, rows, np.array(places, np.int64), at))
        if self._make is None:
            for variable in self._variable.values():
                variable.next_window()
            return []
        for one_taken in taken:
            self._settle(one_taken)
        if not self._variable:
            return self._made(taken)
        # Data bytes may stand in the next window: frames wait for it.
        return self._give(taken)

    def _settle(self, taken: _Taken) -> None:
        """Tell the variable records of a group which frames stand next to them."""
        source = self._source(taken.group)
        if source is not None:
            offsets = RawRun(taken.group, taken.rows).number("DataBytes", len(taken.rows))
            source.settle(
                (place - self._id_size, place + taken.group.size, offset)
                for place, offset in zip(taken.places.tolist(), offsets.tolist(), strict=True)
            )

    def _source(self, group: Group) -> VariableRecords | None:
        """Return where a group's data bytes are; None when they are in its records."""
        if not keeps_data_elsewhere(group):
            return None
        link = group.fields["DataBytes"].data_link
        if link in self._variable or len(self._variable) != 1:
            return self._variable.get(link)
        return next(iter(self._variable.values()))

    def _give(self, taken: list[_Taken]) -> list[Frames]:
        """Give the frames that waited, and let others wait."""
        out = self._made(self._waiting)
        self._waiting = taken
        for variable in self._variable.values():
            variable.next_window()
        return out

    def _lose(self) -> list[Frames]:
        """Some of the stream is lost here: give what waited."""
        out = self._give([]) if self._make is not None else []
        for variable in self._variable.values():
            variable.lose()
        return out

    def _made(self, taken: list[_Taken]) -> list[Frames]:
        """Make frames of the records of a window, in their order."""
        if self._make is None:
            return []
        parts, places = [], []
        for one in taken:
            run, kept = RawRun(one.group, one.rows, one.at), np.ones(len(one.rows), np.bool_)
            if keeps_data_elsewhere(one.group):
                source = self._source(one.group)
                run, kept = with_data(run, source.get if source else _nothing)
                if lost := int(np.count_nonzero(~kept)):
                    self._unread.add(LOST_BYTES, count=lost, byte=one.at)
            frames = self._make.frames(run)
            if len(frames) == int(np.count_nonzero(kept)) and len(frames):
                parts.append(frames)
                places.append(one.places[kept])
            elif len(frames):
                # Some could not be right: the order among the groups is that of time then.
                parts.append(frames)
                places.append(np.full(len(frames), one.places[-1]))
        if not parts:
            return []
        whole = joined(parts, self._make.channels.names)
        return [reordered(whole, np.argsort(np.concatenate(places), kind="stable"))]


def _nothing(place: int) -> bytes | None:
    """Find no data at any place."""
    del place
    return None


def _rows(data: bytes, group: Group, places: I64) -> Rows:
    """Gather the records of one group."""
    whole = np.frombuffer(data, np.uint8)
    return np.asarray(whole[places[:, None] + np.arange(group.size)], np.uint8)

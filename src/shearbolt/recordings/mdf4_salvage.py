"""All frames that a damaged or unfinished MDF 4 file still holds, and whether a file is damaged.

Reads the blocks itself where the library would give up: each data block stands for itself, and so
does each record in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import BinaryIO

from shearbolt.model.frames import Frames
from shearbolt.recordings.gather import Unread
from shearbolt.recordings.mdf4_blocks import Blocks
from shearbolt.recordings.mdf4_data import DataReader, Piece, Segment
from shearbolt.recordings.mdf4_fields import LOST_BYTES, RawRun, keeps_data_elsewhere, with_data
from shearbolt.recordings.mdf4_frames import FrameMaker
from shearbolt.recordings.mdf4_layout import DataGroup, Group, data_groups, groups_by_channels
from shearbolt.recordings.mdf4_sorted import Checks, fits, phases, share_plausible, sorted_runs
from shearbolt.recordings.mdf4_unsorted import UnsortedReader
from shearbolt.recordings.mdf4_usual import is_frames, layout_of
from shearbolt.recordings.mdf4_variable import VariableBlocks

_RUN_ROWS = 1 << 16
_SAMPLE_BYTES = 1 << 14


class Salvage:
    """The groups of frames of one file."""

    def __init__(self, file: BinaryIO, size: int, unread: Unread, *, search: bool) -> None:
        """`search`: the file is damaged, look everywhere; else only follow its links."""
        self._blocks = Blocks(file, size)
        self._unread = unread
        self._unfinished = self._blocks.bytes_at(0, 8) == b"UnFinMF "
        self._reader = DataReader(self._blocks, unread, unfinished=self._unfinished, search=search)
        self._groups = data_groups(self._blocks, unread, search=search)
        self._segments = [self._listed(one) for one in self._groups]
        self.usual = False
        """The records' description is lost; they were told by what stands in them."""
        if search:
            self._attach_strays()
            self._take_usual()
        self._stored = sum(one.stored for it in self._segments for one in it) or 1
        self._done = 0

    @property
    def readable(self) -> bool:
        """Tell whether a group of frames was found."""
        return any(one.frames for one in self._groups)

    def _listed(self, group: DataGroup) -> list[Segment]:
        """List the data blocks of a group."""
        expected = None if self._unfinished else group.expected_bytes
        found, whole = self._reader.segments(group.data_link, expected)
        if len(found) == 1 and found[0].nameless and not self._holds(group, found[0]):
            # It may have been the head of a list.
            found, whole = [], False
            self._reader.reached.discard(group.data_link)
        stated = sum(one.size for one in found)
        group.broken |= not whole or (expected is not None and stated < expected)
        return found

    def _holds(self, group: DataGroup, segment: Segment) -> bool:
        """Tell whether a block without header begins with records of a group, some damaged."""
        sample = self._sample(segment)
        only = _only(group)
        if only is None:
            return _fits(group, sample)
        return share_plausible(only, group.id_size, sample) >= 0.5

    def _sample(self, segment: Segment) -> bytes:
        """Return the first bytes of a block, without complaint: it is read again later."""
        quiet = DataReader(self._blocks, Unread(), unfinished=self._unfinished, search=True)
        piece = next(quiet.pieces([segment]), None)
        return piece.data[:_SAMPLE_BYTES] if piece else b""

    def _attach_strays(self) -> None:
        """Give data blocks that no list names to the one broken group whose records they fit."""
        broken = [i for i, one in enumerate(self._groups) if one.broken and one.frames]
        if not broken:
            return
        taken = [(one.at, one.data_at + one.stored) for it in self._segments for one in it]
        for at in self._blocks.found(b"DT", b"DZ"):
            if at in self._reader.reached or self._reader.kind_of(at) != b"DT":
                continue
            if any(first <= at < last for first, last in taken):
                continue
            segment = self._reader.segment(at)
            if segment is None:
                continue
            sample = self._sample(segment)
            fitting = [i for i in broken if _fits(self._groups[i], sample)]
            if len(fitting) == 1:
                self._segments[fitting[0]].append(segment)
                taken.append((segment.at, segment.data_at + segment.stored))
            else:
                self._unread.add("data block that belongs to no known record", byte=at)

    def _take_usual(self) -> None:
        """Take data whose description is lost: by what is left of it, or where its records are in
        a usual layout."""
        left = groups_by_channels(self._blocks, self._groups)
        for group, segments in zip(self._groups, self._segments, strict=True):
            if group.groups or not segments or group.id_size:
                continue
            sample = self._sample(segments[0])
            fitting = [
                one
                for one in left
                if fits(one, 0, sample, 0)
                and (one.name != "CAN_DataFrame" or is_frames(one, sample))
            ]
            found = layout_of(sample)
            if len(fitting) == 1:
                group.groups = (fitting[0],)
                left.remove(fitting[0])
            elif found is not None:
                group.groups = (found,)
                self.usual = True
        if self._groups:
            return
        for at in self._blocks.found(b"DT", b"DZ"):
            segment = self._reader.segment(at) if self._reader.kind_of(at) == b"DT" else None
            if segment is None:
                continue
            found = layout_of(self._sample(segment))
            if found is not None:
                self._groups.append(DataGroup(0, 0, 0, (found,), broken=True))
                self._segments.append([replace(segment, offset=0)])
                self.usual = True
            else:
                self._unread.add("data block that belongs to no known record", byte=at)

    def damaged(self) -> bool:
        """Tell whether something is wrong that the library would not notice, or trip over.

        False as well where the file has forms that only the library knows.
        """
        for group, segments in zip(self._groups, self._segments, strict=True):
            if self._reader.foreign:
                return False
            for _ in self._looked_through(group, segments):
                if self._reader.foreign or self._unread.list():
                    break
            if self._unread.list():
                break
        return bool(self._unread.list()) and not self._reader.foreign

    def _looked_through(self, group: DataGroup, segments: list[Segment]) -> Iterator[None]:
        """Read a group without making frames."""
        pieces = self._reader.pieces(segments)
        only = _only(group)
        if not group.frames:
            return
        if only is None:
            for _ in UnsortedReader(group, None, self._unread).frames(pieces):
                yield
            return
        checks = Checks(only, self._unread, strict=False)
        for rows, places in sorted_runs(
            only, group.id_size, pieces, self._unread, self._limit(only)
        ):
            checks.sound(rows, places)
            yield
        if keeps_data_elsewhere(only):
            kept, _ = self._reader.segments(only.fields["DataBytes"].data_link, None)
            for _ in self._reader.pieces(kept):
                yield

    def _limit(self, group: Group) -> int | None:
        """Return how many records the file counts; None where nobody counted."""
        return None if self._unfinished or not group.cycles else group.cycles

    def runs(self, make: FrameMaker, progress: Callable[[float], None]) -> list[Iterator[Frames]]:
        """Give the frames of each data group in runs; `progress` is told the share done."""
        return [
            self._frames(group, segments, make, progress)
            for group, segments in zip(self._groups, self._segments, strict=True)
            if group.frames
        ]

    def _frames(
        self,
        group: DataGroup,
        segments: list[Segment],
        make: FrameMaker,
        progress: Callable[[float], None],
    ) -> Iterator[Frames]:
        """Read one data group."""
        pieces = self._counted(segments, progress)
        only = _only(group)
        if only is None:
            found = UnsortedReader(group, make, self._unread).frames(pieces)
        else:
            found = self._sorted(only, group.id_size, pieces, make)
        for frames in found:
            if len(frames):
                yield frames

    def _counted(
        self, segments: list[Segment], progress: Callable[[float], None]
    ) -> Iterator[Piece]:
        """Give the pieces of blocks, telling how far they are."""
        for one in segments:
            yield from self._reader.pieces([one])
            self._done += one.stored
            progress(self._done / self._stored)

    def _sorted(
        self, group: Group, id_size: int, pieces: Iterable[Piece], make: FrameMaker
    ) -> Iterator[Frames]:
        """Read a stream with one kind of record."""
        source = None
        if keeps_data_elsewhere(group):
            kept, _ = self._reader.segments(group.fields["DataBytes"].data_link, None)
            source = VariableBlocks(self._reader, kept)
        checks = Checks(group, self._unread, strict=True)
        for rows, places in sorted_runs(group, id_size, pieces, self._unread, self._limit(group)):
            for start in range(0, len(rows), _RUN_ROWS):
                some, where = rows[start : start + _RUN_ROWS], places.from_row(start)
                run = RawRun(group, some[checks.sound(some, where)], where.of(0))
                if source is not None:
                    run, had = with_data(run, source.get)
                    if lost := len(had) - run.size:
                        self._unread.add(LOST_BYTES, count=lost, byte=where.of(0))
                if run.size:
                    yield make.frames(run)


def _only(group: DataGroup) -> Group | None:
    """Return the one kind of record of a stream; None where there are several."""
    if len(group.groups) == 1 and not group.groups[0].variable:
        return group.groups[0]
    return None


def _fits(group: DataGroup, sample: bytes) -> bool:
    """Tell whether bytes of a stray block can be records of a data group."""
    only = _only(group)
    if only is not None:
        return bool(phases(only, group.id_size, sample))
    return UnsortedReader(group, None, Unread()).begins(sample)

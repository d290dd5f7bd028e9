"""Data bytes that MDF 4 keeps apart from their frames: records have only the place of them."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, deque
from collections.abc import Iterable

from shearbolt.recordings.mdf4_data import DataReader, Segment

_LONGEST_BYTES = 64
_KEPT_WINDOWS = 3
_LEARNT_FROM = 2
_LEAST_PAIRS = 2


class VariableBlocks:
    """Data bytes in SD blocks: 4 bytes length, then the data, found by their place."""

    def __init__(self, reader: DataReader, segments: list[Segment]) -> None:
        """Blocks whose place in the stream is lost cannot be used."""
        self._reader = reader
        self._segments = [one for one in segments if one.offset is not None]
        self._starts = [one.offset or 0 for one in self._segments]
        self._held: tuple[int, int, bytes] = (-1, 0, b"")

    def get(self, place: int) -> bytes | None:
        """Return the data at a place of the stream; None where they are lost."""
        head = self._bytes(place, 4)
        size = int.from_bytes(head, "little")
        if len(head) < 4 or size > _LONGEST_BYTES:
            return None
        out = self._bytes(place + 4, size)
        return out if len(out) == size else None

    def _bytes(self, place: int, count: int) -> bytes:
        """Return bytes of the stream, over the border of two blocks where need be."""
        out = b""
        while len(out) < count:
            start, data = self._piece(place + len(out))
            more = data[max(place + len(out) - start, 0) :][: count - len(out)]
            if not more:
                break
            out += more
        return out

    def _piece(self, place: int) -> tuple[int, bytes]:
        """Return the piece with a place of the stream, and its start; the last one is held."""
        index = bisect_right(self._starts, place) - 1
        held, start, data = self._held
        if held == index and start <= place < start + len(data):
            return start, data
        for piece in self._reader.pieces(self._segments[index : index + 1] if index >= 0 else []):
            start = piece.offset or 0
            if start <= place < start + len(piece.data):
                self._held = (index, start, piece.data)
                return start, piece.data
        return place, b""


class VariableRecords:
    """Data bytes in records of their own, in the same stream as the frames.

    A frame names the place of its data among all of them. Behind damage nobody knows how much was
    lost; then the place is found again by the neighbour, if the recorder always wrote a frame's
    data directly before (or directly behind) it.
    """

    def __init__(self) -> None:
        """The stream begins sound."""
        # Data stand in the window of their frame, or in the one before or behind it.
        self._windows: deque[dict[int, bytes]] = deque(({},), maxlen=_KEPT_WINDOWS)
        self._starts: dict[int, int] = {}
        self._ends: dict[int, int] = {}
        self._running = 0
        self._base: int | None = 0
        self._sure = True
        self._manner: Counter[int] = Counter()

    def add(self, start: int, end: int, data: bytes) -> None:
        """Keep the data of a record that begins and ends there in the window."""
        self._windows[-1][self._running] = data
        self._starts[start] = self._ends[end] = self._running
        self._running += 4 + len(data)

    def get(self, place: int) -> bytes | None:
        """Return data by their place; None where they are lost."""
        if self._base is None:
            return None
        own = place - self._base
        return next((one[own] for one in self._windows if own in one), None)

    def settle(self, frames: Iterable[tuple[int, int, int]]) -> None:
        """Learn from the frames of a window (start, end, place of the data) where their data
        stand, or find the place anew by what was learnt."""
        pairs = [
            (place, self._ends.get(start), self._starts.get(end)) for start, end, place in frames
        ]
        if self._base is not None:
            seen: Counter[int] = Counter()
            for place, *own in pairs:
                seen.update(i for i, one in enumerate(own, 1) if one == place - self._base)
            self._manner.update(seen)
            if self._sure or not pairs:
                return
            # Nothing was lost if the data are still where the frames say.
            best = max((len(pairs) - sum(one[i] is None for one in pairs), i) for i in (1, 2))
            self._sure = seen[1] == best[0] or seen[2] == best[0]
            if self._sure:
                return
            self._base = None
        if len(self._manner) != 1 or self._manner.total() < _LEARNT_FROM:
            return
        (index,) = self._manner
        bases = {one[0] - found for one in pairs if (found := one[index]) is not None}
        paired = sum(one[index] is not None for one in pairs)
        if len(bases) == 1 and paired >= _LEAST_PAIRS:
            self._base = bases.pop()
            self._sure = True

    def next_window(self) -> None:
        """Begin a window; let go of the data of old ones."""
        self._windows.append({})
        self._starts, self._ends = {}, {}

    def doubt(self) -> None:
        """Something may be lost here: the next frames must show that nothing is."""
        self._sure = False

    def lose(self) -> None:
        """Some of the stream is lost here."""
        self._windows.clear()
        self._windows.append({})
        self._running = 0
        self._starts, self._ends = {}, {}
        self._base = None

"""Frames and long messages of a visit as Parquet, laid out for reading one group at a time.

A visit's folder holds parts of about half a million frames each. Within a part the rows are ordered
by channel, parameter group and source, then as recorded, so that a group lies together and
row-group statistics leave out the rest (frames without data of a group come last); `row` counts
frames over the whole visit and brings back their order. Readings are decoded from the frames when
they are asked for, so that a corrected or added row of the signal table works on old visits too.

frames-NNNN.parquet    row UInt32, group UInt32 (NOT_A_GROUP where it is none), time_us Int64,
                       channel UInt8, flags UInt8, ident UInt32, length UInt8, word UInt64
long-NNNN.parquet      row UInt32, group UInt32, data Binary: frames longer than 8 bytes (CAN FD)
messages-NNNN.parquet  time_us, end_us Int64, channel UInt8, source UInt8, destination UInt8,
                       pgn UInt32, payload Binary, carried String: reassembled long messages
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from shearbolt.book.durable import sync_file
from shearbolt.book.evidence import hash_file
from shearbolt.book.records import Part
from shearbolt.book.state_file import STATE, state_frame
from shearbolt.errors import BookDamaged, BookError
from shearbolt.kernels import Groups, best
from shearbolt.model.frames import (
    ERROR,
    EXTENDED,
    NO_LONG_DATA,
    REMOTE,
    U8,
    U32,
    Frames,
    LongData,
    no_frames,
)
from shearbolt.model.message import Carried, Message
from shearbolt.model.state import StateTable

PART_FRAMES = 1 << 19
"""Frames of one part, about."""
PART_MESSAGES = 1 << 16
"""Messages of one part, about."""
ROW_GROUP = 1 << 17
"""Rows that share statistics in a part."""
NOT_A_GROUP = 0xFFFF_FFFF
"""`group` of frames that carry no parameter group: 11 bits, errors."""

_PDU2 = 240
"""PDU format from which the lower byte is a group extension, not a destination (J1939-21)."""


def groups_of(ident: U32, flags: U8) -> U32:
    """Return the parameter group number of each frame, NOT_A_GROUP where it has none."""
    pgn = ident >> np.uint32(8) & np.uint32(0x3FFFF)
    pdu1 = (ident >> np.uint32(16) & np.uint32(0xFF)) < _PDU2
    pgn = np.where(pdu1, pgn & np.uint32(0x3FF00), pgn)
    plain = (flags & (EXTENDED | ERROR)) == EXTENDED
    return np.where(plain, pgn, np.uint32(NOT_A_GROUP)).astype(np.uint32)


def _layout(part: Frames, first_row: int, grouped: Groups | None) -> pl.DataFrame:
    """Return the rows of a part as its table: by channel, group, source, then as recorded."""
    sorted_ = best().group(part) if grouped is None else grouped
    order = sorted_.order
    rest = order[:0]
    if len(order) < len(part):
        # Frames that carry no data of a group come last, as recorded.
        others = np.ones(len(part), np.bool_)
        others[order] = False
        rest = np.flatnonzero(others)
        order = np.concatenate((order, rest))
    frames_of_group = np.diff(sorted_.start)
    group = np.repeat(sorted_.pgn, frames_of_group)
    channel = np.repeat(sorted_.channel, frames_of_group)
    time_us, word = sorted_.time_us, sorted_.word
    if len(rest):
        ident, flags = part.ident[rest], part.flags[rest]
        group = np.concatenate((group, groups_of(ident, flags)))
        channel = np.concatenate((channel, part.channel[rest]))
        time_us = np.concatenate((time_us, part.time_us[rest]))
        word = np.concatenate((word, part.word[rest]))
    return pl.DataFrame(
        {
            "row": (order + first_row).astype(np.uint32),
            "group": group.astype(np.uint32, copy=False),
            "time_us": time_us,
            "channel": channel,
            "flags": part.flags.take(order),
            "ident": part.ident.take(order),
            "length": part.length.take(order),
            "word": word,
        }
    )


def _join(blocks: Sequence[Frames]) -> Frames:
    if len(blocks) == 1:
        return blocks[0]
    starts = np.cumsum([0, *[len(b) for b in blocks]])
    longs = [(int(at), b.long_data) for at, b in zip(starts, blocks, strict=False)]
    sizes = np.concatenate([np.diff(one.start) for _, one in longs])
    return Frames(
        np.concatenate([b.time_us for b in blocks]),
        np.concatenate([b.ident for b in blocks]),
        np.concatenate([b.flags for b in blocks]),
        np.concatenate([b.channel for b in blocks]),
        np.concatenate([b.length for b in blocks]),
        np.concatenate([b.word for b in blocks]),
        max((b.channels for b in blocks), key=len),
        LongData(
            np.concatenate([one.row + at for at, one in longs]),
            np.concatenate([np.zeros(1, np.int64), np.cumsum(sizes, dtype=np.int64)]),
            np.concatenate([one.blob for _, one in longs]),
        ),
    )


def _write(frame: pl.DataFrame, path: Path) -> Part:
    try:
        frame.write_parquet(
            path,
            compression="zstd",
            compression_level=1,
            statistics=True,
            row_group_size=ROW_GROUP,
        )
    except pl.exceptions.PolarsError as trouble:
        # Polars tells a full disk by the system's number only: 28, or 112 on Windows.
        if any(f"(os error {number})" in str(trouble) for number in (28, 112)):
            raise BookError(f"{path}: the disk is full; nothing was changed.") from trouble
        raise BookError(f"{path}: signals could not be written ({trouble}).") from trouble
    sync_file(path)
    # Parquet has checksums, but readers do not look at them.
    return Part(path.name, len(frame), path.stat().st_size, hash_file(path))


class SignalsWriter:
    """Takes a visit's frames block by block and messages, and leaves synced parts in a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._blocks: list[Frames] = []
        self._grouped: Groups | None = None
        self._held = 0
        self._rows = 0
        self._frame_parts = 0
        self._messages: list[Message] = []
        self._message_parts = 0
        self._parts: list[Part] = []

    @property
    def rows(self) -> int:
        """Frames taken so far."""
        return self._rows + self._held

    @property
    def parts(self) -> tuple[Part, ...]:
        """The files written so far."""
        return tuple(self._parts)

    def frames(self, block: Frames, grouped: Groups | None = None) -> None:
        """Append frames in the recording's order; channels only ever grow from block to block.

        `grouped`: what the kernel's `group` gave for the block, where it was asked already.
        """
        if not len(block):
            return
        # It holds for a part of this block alone.
        self._grouped = None if self._blocks else grouped
        self._blocks.append(block)
        self._held += len(block)
        if self._held >= PART_FRAMES:
            self._flush()

    def messages(self, messages: Iterable[Message]) -> None:
        """Append reassembled messages."""
        self._messages += messages
        if len(self._messages) >= PART_MESSAGES:
            self._flush_messages()

    def state(self, table: StateTable) -> None:
        """Write the visit's second-by-second state."""
        if len(table):
            self._parts.append(_write(state_frame(table), self._folder / STATE))

    def _flush_messages(self) -> None:
        rows, self._messages = self._messages, []
        table = pl.DataFrame(
            {
                "time_us": pl.Series([m.time_us for m in rows], dtype=pl.Int64),
                "end_us": pl.Series([m.end_us for m in rows], dtype=pl.Int64),
                "channel": pl.Series([m.channel for m in rows], dtype=pl.UInt8),
                "source": pl.Series([m.source for m in rows], dtype=pl.UInt8),
                "destination": pl.Series([m.destination for m in rows], dtype=pl.UInt8),
                "pgn": pl.Series([m.pgn for m in rows], dtype=pl.UInt32),
                "payload": pl.Series([m.payload for m in rows], dtype=pl.Binary),
                "carried": pl.Series([m.carried.value for m in rows], dtype=pl.String),
            }
        )
        path = self._folder / f"messages-{self._message_parts:04d}.parquet"
        self._parts.append(_write(table, path))
        self._message_parts += 1

    def finish(self) -> None:
        """Write what is still held."""
        if self._held:
            self._flush()
        if self._messages:
            self._flush_messages()

    def _flush(self) -> None:
        part = _join(self._blocks)
        grouped, self._grouped = self._grouped, None
        self._blocks = []
        self._held = 0
        table = _layout(part, self._rows, grouped)
        path = self._folder / f"frames-{self._frame_parts:04d}.parquet"
        self._parts.append(_write(table, path))
        if len(part.long_data.row):
            long = part.long_data
            cuts = long.start.tolist()
            blob = long.blob.tobytes()
            pieces = [blob[a:b] for a, b in itertools.pairwise(cuts)]
            data = pl.DataFrame(
                {
                    "row": (long.row + self._rows).astype(np.uint32),
                    "group": groups_of(part.ident[long.row], part.flags[long.row]),
                    "data": pl.Series(pieces, dtype=pl.Binary),
                }
            )
            path = self._folder / f"long-{self._frame_parts:04d}.parquet"
            self._parts.append(_write(data, path))
        self._rows += len(part)
        self._frame_parts += 1


def _any_of(column: str, values: Sequence[int]) -> pl.Expr:
    # Single comparisons, because statistics can rule out a row group by those.
    expr = pl.col(column) == values[0]
    for value in values[1:]:
        expr = expr | (pl.col(column) == value)
    return expr


def _collect(path: Path, keep: pl.Expr | None, order: str | None) -> pl.DataFrame:
    try:
        lazy = pl.scan_parquet(path)
        if keep is not None:
            lazy = lazy.filter(keep)
        table = lazy.collect()
        return table if order is None else table.sort(order, maintain_order=True)
    except (pl.exceptions.PolarsError, OSError) as trouble:
        raise BookDamaged(f"{path}: these signals cannot be read ({trouble}).") from trouble


def _long_data(path: Path, keep: pl.Expr | None, rows: U32) -> LongData:
    if not path.exists():
        return NO_LONG_DATA
    table = _collect(path, keep, "row")
    where = np.searchsorted(rows, table["row"].to_numpy())
    # Filters by source or channel are not columns of the long file: drop what was not kept.
    hit = np.zeros(len(where), np.bool_)
    inside = where < len(rows)
    hit[inside] = rows[where[inside]] == table["row"].to_numpy()[inside]
    pieces = [piece for piece, kept in zip(table["data"].to_list(), hit, strict=True) if kept]
    return LongData(
        where[hit].astype(np.int64),
        np.concatenate(
            [np.zeros(1, np.int64), np.cumsum([len(p) for p in pieces], dtype=np.int64)]
        ),
        np.frombuffer(b"".join(pieces), np.uint8),
    )


def read_blocks(
    folder: Path,
    channels: tuple[str, ...],
    pgns: Sequence[int] | None = None,
    sources: Sequence[int] | None = None,
) -> Iterator[Frames]:
    """Give a visit's frames part by part in the order recorded; only data frames of the groups
    `pgns` and from the source addresses `sources` where given.

    Raises BookDamaged.
    """
    if (pgns is not None and not pgns) or (sources is not None and not sources):
        return
    by_group = None if pgns is None else _any_of("group", pgns)
    keep = by_group
    if sources is not None:
        ident = pl.col("ident")
        wanted = (ident & 0xFF).is_in(list(sources)) & (pl.col("group") != NOT_A_GROUP)
        keep = wanted if keep is None else keep & wanted
    if keep is not None:
        keep = keep & (pl.col("flags") & REMOTE == 0)
    for path in sorted(folder.glob("frames-*.parquet")):
        table = _collect(path, keep, "row")
        if not len(table):
            continue
        rows = table["row"].to_numpy()
        long = _long_data(path.with_name(path.name.replace("frames-", "long-")), by_group, rows)
        yield Frames(
            table["time_us"].to_numpy(),
            table["ident"].to_numpy(),
            table["flags"].to_numpy(),
            table["channel"].to_numpy(),
            table["length"].to_numpy(),
            table["word"].to_numpy(),
            channels,
            long,
        )


def read_frames(
    folder: Path,
    channels: tuple[str, ...],
    pgns: Sequence[int] | None = None,
    sources: Sequence[int] | None = None,
) -> Frames:
    """Return what `read_blocks` gives as one; meant for a few groups, not for a whole day."""
    blocks = list(read_blocks(folder, channels, pgns, sources))
    return _join(blocks) if blocks else no_frames(channels)


def read_messages(folder: Path, pgns: Sequence[int] | None = None) -> list[Message]:
    """Return a visit's long messages in the order they were filed, of the groups `pgns` only.

    Raises BookDamaged.
    """
    if pgns is not None and not pgns:
        return []
    keep = None if pgns is None else _any_of("pgn", pgns)
    found: list[Message] = []
    for path in sorted(folder.glob("messages-*.parquet")):
        for row in _collect(path, keep, None).iter_rows(named=True):
            found.append(_message(row))
    return found


def _message(row: dict[str, Any]) -> Message:
    return Message(**{**row, "carried": Carried(row["carried"])})


def verify_part(folder: Path, part: Part) -> str | None:
    """Compare a file with what the record remembers of it; return what is wrong, or None."""
    path = folder / part.name
    if not path.is_file():
        return "missing"
    if path.stat().st_size != part.size or hash_file(path) != part.sha256:
        return "holds other bytes than were filed"
    try:
        rows = len(_collect(path, None, None))
    except BookDamaged as trouble:
        return trouble.sentence
    return None if rows == part.rows else f"has {rows} rows instead of {part.rows}"

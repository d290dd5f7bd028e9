"""Frames to decoded columns and whole messages, block by block, with the state between blocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.rules import raw_rules
from shearbolt.dictionary.values import decode_value
from shearbolt.kernels import Decoded, Kernel, Layout, LayoutTable, best, layout_table
from shearbolt.model.frames import I64, U64, Frames
from shearbolt.model.layout import SignalRow
from shearbolt.model.message import BrokenSession, Message
from shearbolt.model.signal import NO_NUMBER, NUMBER, SignalColumn
from shearbolt.wire.transport import TRANSPORT_GROUPS, Reassembler

WORD_BITS = 64
"""What fits in one classic frame."""


@dataclass(frozen=True, slots=True)
class GroupRun:
    """All frames of one group from one sender in one block, in the order of the recording."""

    channel: int
    pgn: int
    source: int
    time_us: I64
    word: U64
    row: I64
    """Rows in the block."""
    rows: tuple[SignalRow, ...]
    """Parameters read from it, one for each row of `decoded`."""
    decoded: Decoded | None
    """Their values, statuses and counts; None where no parameter is known."""


@dataclass(frozen=True, slots=True)
class DecodedBlock:
    """What one block of frames yields."""

    frames: Frames
    groups: tuple[GroupRun, ...]
    messages: tuple[Message, ...]
    """Whole messages of several packets that ended in this block, by their last frame."""
    broken: tuple[BrokenSession, ...]
    long_columns: tuple[SignalColumn, ...]
    """Parameters of messages of several packets."""

    def columns(self) -> Iterator[SignalColumn]:
        """Give every decoded column of the block: values, statuses, instants."""
        names = self.frames.channels
        for group in self.groups:
            if group.decoded is None:
                continue
            for i, row in enumerate(group.rows):
                yield SignalColumn(
                    names[group.channel],
                    group.source,
                    row,
                    group.time_us,
                    group.decoded.value[i],
                    group.decoded.status[i],
                )
        yield from self.long_columns


class BlockDecoder:
    """Turns blocks of one recording into decoded columns and messages, in their order."""

    def __init__(self, dictionary: Dictionary, kernel: Kernel | None = None) -> None:
        self._dictionary = dictionary
        self._kernel = kernel or best()
        self._reassembler = Reassembler()
        self._tables: dict[tuple[int, int], tuple[tuple[SignalRow, ...], LayoutTable | None]] = {}

    def feed(self, frames: Frames) -> DecodedBlock:
        """Decode the next block of the recording."""
        grouped = self._kernel.group(frames)
        runs: list[GroupRun] = []
        transport_rows: list[I64] = []
        starts = grouped.start.tolist()
        keys = zip(
            grouped.channel.tolist(), grouped.pgn.tolist(), grouped.source.tolist(), strict=True
        )
        for i, (channel, pgn, source) in enumerate(keys):
            first, last = starts[i], starts[i + 1]
            rows, table = self._table(pgn, source)
            word = grouped.word[first:last]
            runs.append(
                GroupRun(
                    channel,
                    pgn,
                    source,
                    grouped.time_us[first:last],
                    word,
                    grouped.order[first:last],
                    rows,
                    None if table is None else self._decode(word, rows, table),
                )
            )
            if pgn in TRANSPORT_GROUPS:
                transport_rows.append(grouped.order[first:last])
        messages: list[Message] = []
        broken: list[BrokenSession] = []
        if transport_rows:
            row = np.sort(np.concatenate(transport_rows))
            for one in self._reassembler.feed_many(
                frames.time_us[row],
                frames.channel[row],
                frames.ident[row],
                frames.length[row],
                frames.word[row],
            ):
                if isinstance(one, Message):
                    messages.append(one)
                else:
                    broken.append(one)
        return DecodedBlock(
            frames,
            tuple(runs),
            tuple(messages),
            tuple(broken),
            tuple(long_columns(messages, frames.channels, self._dictionary)),
        )

    def _decode(self, word: U64, rows: tuple[SignalRow, ...], table: LayoutTable) -> Decoded:
        """Decode a group; codes that a state list leaves out between its numbers are none."""
        decoded = self._kernel.decode(word, table)
        for i, row in enumerate(rows):
            reserved = raw_rules(row).reserved
            if reserved:
                raw = word >> np.uint64(row.first_bit) & np.uint64((1 << row.length_bits) - 1)
                unused = np.isin(raw, np.array(reserved, np.uint64))
                if unused.any():
                    _take_out(decoded, i, unused)
        return decoded

    def finish(self) -> tuple[BrokenSession, ...]:
        """Give the transport sessions left open at the end of the recording."""
        return tuple(self._reassembler.finish())

    def _table(self, pgn: int, source: int) -> tuple[tuple[SignalRow, ...], LayoutTable | None]:
        """Return the parameters of a group that lie in one frame, and their packed layouts."""
        key = pgn, source
        if key not in self._tables:
            rows = tuple(
                row
                for row in self._dictionary.rows_of_group(pgn, source)
                if row.first_bit + row.length_bits <= WORD_BITS
            )
            self._tables[key] = rows, layout_table([_layout(row) for row in rows]) if rows else None
        return self._tables[key]


def _take_out(decoded: Decoded, i: int, unused: npt.NDArray[np.bool_]) -> None:
    """Make samples of one parameter no numbers, and count anew."""
    value, status = decoded.value[i], decoded.status[i]
    value[unused] = np.nan
    status[unused] = NO_NUMBER
    decoded.counts[i] = np.bincount(status, minlength=4)
    numbers = value[status == NUMBER]
    decoded.low[i] = numbers.min() if len(numbers) else np.nan
    decoded.high[i] = numbers.max() if len(numbers) else np.nan


def _layout(row: SignalRow) -> Layout:
    rules = raw_rules(row)
    return Layout(
        row.first_bit,
        row.length_bits,
        row.resolution,
        row.offset,
        rules.number_top,
        rules.error_low,
        rules.error_high,
        rules.absent_low,
    )


def long_columns(
    messages: Iterable[Message], channels: tuple[str, ...], dictionary: Dictionary
) -> Iterator[SignalColumn]:
    """Decode the parameters of messages of several packets."""
    by_group: dict[tuple[int, int, int], list[Message]] = {}
    for message in messages:
        by_group.setdefault((message.channel, message.pgn, message.source), []).append(message)
    for (channel, pgn, source), some in by_group.items():
        for row in dictionary.rows_of_group(pgn, source):
            fits = [one for one in some if row.first_bit + row.length_bits <= 8 * len(one.payload)]
            if not fits:
                continue
            decoded = [decode_value(one.payload, row) for one in fits]
            yield SignalColumn(
                channels[channel],
                source,
                row,
                np.array([one.time_us for one in fits], np.int64),
                np.array([np.nan if value is None else value for value, _ in decoded]),
                np.array([status for _, status in decoded], np.uint8),
            )

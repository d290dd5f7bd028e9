"""Frames to decoded columns and whole messages, block by block, with the state between blocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.rules import raw_rules
from shearbolt.kernels import Decoded, Groups, Kernel, Layout, LayoutTable, best, layout_table
from shearbolt.kernels.payloads import payload_words, windows
from shearbolt.model.frames import I64, U64, Frames
from shearbolt.model.layout import SignalRow
from shearbolt.model.message import BrokenSession, Message
from shearbolt.model.signal import SignalColumn
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
    message_rows: tuple[int, ...] = ()
    """Row in the block of the last frame of each of `messages`."""
    grouped: Groups | None = None
    """The block's data frames in the order of their groups, from which `groups` are cut."""

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


@dataclass(frozen=True, slots=True)
class _Plan:
    """How the parameters of one word are decoded."""

    rows: tuple[SignalRow, ...]
    table: LayoutTable


def _plan(rows: Sequence[SignalRow], from_byte: int = 0) -> _Plan:
    """Make the plan for parameters that lie in the word beginning at a byte (from 0)."""
    layouts = []
    for row in rows:
        rules = raw_rules(row)
        layouts.append(
            Layout(
                row.first_bit - 8 * from_byte,
                row.length_bits,
                row.resolution,
                row.offset,
                rules.number_top,
                rules.error_low,
                rules.error_high,
                rules.absent_low,
                rules.reserved,
            )
        )
    return _Plan(tuple(rows), layout_table(layouts))


class BlockDecoder:
    """Turns blocks of one recording into decoded columns and messages, in their order."""

    def __init__(self, dictionary: Dictionary, kernel: Kernel | None = None) -> None:
        self._dictionary = dictionary
        self._kernel = kernel or best()
        self._reassembler = Reassembler()
        self._plans: dict[tuple[int, int], _Plan | None] = {}
        self._long_plans: dict[tuple[int, int], tuple[tuple[int, _Plan], ...]] = {}

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
            plan = self._plan(pgn, source)
            word = grouped.word[first:last]
            runs.append(
                GroupRun(
                    channel,
                    pgn,
                    source,
                    grouped.time_us[first:last],
                    word,
                    grouped.order[first:last],
                    () if plan is None else plan.rows,
                    None if plan is None else self._kernel.decode(word, plan.table),
                )
            )
            if pgn in TRANSPORT_GROUPS:
                transport_rows.append(grouped.order[first:last])
        messages: list[Message] = []
        message_rows: list[int] = []
        broken: list[BrokenSession] = []
        if transport_rows:
            row = np.sort(np.concatenate(transport_rows))
            certain_at: list[int] = []
            heard = self._reassembler.feed_many(
                frames.time_us[row],
                frames.channel[row],
                frames.ident[row],
                frames.length[row],
                frames.word[row],
                certain_at,
            )
            for one, at in zip(heard, certain_at, strict=True):
                if isinstance(one, Message):
                    messages.append(one)
                    message_rows.append(int(row[at]))
                else:
                    broken.append(one)
        return DecodedBlock(
            frames,
            tuple(runs),
            tuple(messages),
            tuple(broken),
            tuple(self.long_columns(messages, frames.channels)),
            tuple(message_rows),
            grouped,
        )

    def finish(self) -> tuple[BrokenSession, ...]:
        """Give the transport sessions left open at the end of the recording."""
        return tuple(self._reassembler.finish())

    def long_columns(
        self, messages: Iterable[Message], channels: tuple[str, ...]
    ) -> Iterator[SignalColumn]:
        """Decode the parameters of messages of several packets, sender by sender.

        A parameter beyond the end of a message has no sample in it.
        """
        by_group: dict[tuple[int, int, int], list[Message]] = {}
        for message in messages:
            by_group.setdefault((message.channel, message.pgn, message.source), []).append(message)
        for (channel, pgn, source), some in by_group.items():
            plans = self._long(pgn, source)
            if not plans:
                continue
            time_us = np.array([one.time_us for one in some], np.int64)
            payloads = [one.payload for one in some]
            size = np.array([len(one) for one in payloads])
            for from_byte, plan in plans:
                decoded = self._kernel.decode(payload_words(payloads, from_byte), plan.table)
                for i, row in enumerate(plan.rows):
                    held = 8 * size >= row.first_bit + row.length_bits
                    whole = held.all()
                    if not held.any():
                        continue
                    yield SignalColumn(
                        channels[channel],
                        source,
                        row,
                        time_us if whole else time_us[held],
                        decoded.value[i] if whole else decoded.value[i][held],
                        decoded.status[i] if whole else decoded.status[i][held],
                    )

    def _plan(self, pgn: int, source: int) -> _Plan | None:
        """Return how the parameters of a group are decoded that lie in one frame."""
        key = pgn, source
        if key not in self._plans:
            rows = [
                row
                for row in self._dictionary.rows_of_group(pgn, source)
                if row.first_bit + row.length_bits <= WORD_BITS
            ]
            self._plans[key] = _plan(rows) if rows else None
        return self._plans[key]

    def _long(self, pgn: int, source: int) -> tuple[tuple[int, _Plan], ...]:
        """Return how a long message is decoded: eight bytes at a time, each with its plan."""
        key = pgn, source
        if key not in self._long_plans:
            rows = self._dictionary.rows_of_group(pgn, source)
            parts = windows([(row.first_bit, row.length_bits) for row in rows])
            self._long_plans[key] = tuple(
                (from_byte, _plan([rows[i] for i in some], from_byte)) for from_byte, some in parts
            )
        return self._long_plans[key]

"""Picks out of a block the messages that are read one by one: diagnostics, claims, requests."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np

from shearbolt.decode.columns import DecodedBlock, GroupRun
from shearbolt.decode.presence import Sender
from shearbolt.model.message import Carried, Message
from shearbolt.wire.claim import ADDRESS_CLAIMED
from shearbolt.wire.clearing import CLEARS
from shearbolt.wire.diagnostics import DIAGNOSTIC_GROUPS, DM1
from shearbolt.wire.identifier import destination_of
from shearbolt.wire.request import ACKNOWLEDGEMENT, REQUEST, REQUEST2
from shearbolt.wire.transport_control import LAST_GROUP

VIN_GROUP = 65260
COMPONENT_GROUP = 65259
SOFTWARE_GROUP = 65242
UNIT_GROUP = 64965
DRIVER_GROUP = 65131
CLOCK_GROUP = 65254
DM22 = 49920
_EVERY = slice(None)

READ_SINGLY = frozenset(DIAGNOSTIC_GROUPS) | {
    ADDRESS_CLAIMED,
    REQUEST,
    REQUEST2,
    ACKNOWLEDGEMENT,
    VIN_GROUP,
    COMPONENT_GROUP,
    SOFTWARE_GROUP,
    UNIT_GROUP,
    DRIVER_GROUP,
    CLOCK_GROUP,
}
"""Groups whose messages are read one by one."""


def single_messages(
    block: DecodedBlock, wanted: Callable[[GroupRun], slice] | None = None
) -> list[Message]:
    """Return the messages read one by one that ended in this block, in the order of their end.

    The order is that of the file, whatever its times say, so that it does not depend on where
    blocks are cut. DM1 is left out: `reports_by_sender` hands it on. `wanted` says which of the
    single frames of a group are looked at; all, where it is not given.
    """
    found = [
        (row, one)
        for row, one in zip(block.message_rows, block.messages, strict=True)
        if one.pgn != DM1
    ]
    for group in block.groups:
        if group.pgn in READ_SINGLY and group.pgn != DM1:
            found.extend(_of_group(block, group, wanted(group) if wanted else _EVERY))
    found.sort(key=lambda pair: pair[0])
    return [one for _, one in found]


def reports_by_sender(
    block: DecodedBlock,
) -> Iterator[tuple[Sender, GroupRun | None, list[Message]]]:
    """Give the DM1 of each sender: a run of whole frames as arrays, else messages by their end."""
    runs = {(one.channel, one.source): one for one in block.groups if one.pgn == DM1}
    long: dict[Sender, list[tuple[int, Message]]] = {}
    for row, message in zip(block.message_rows, block.messages, strict=True):
        if message.pgn == DM1:
            long.setdefault((message.channel, message.source), []).append((row, message))
    for sender in dict.fromkeys((*runs, *long)):
        run = runs.get(sender)
        if run is not None and sender not in long and (block.frames.length[run.row] == 8).all():
            yield sender, run, []
            continue
        found = long.get(sender, [])
        if run is not None:
            found.extend(_of_group(block, run))
        found.sort(key=lambda pair: pair[0])
        yield sender, None, [one for _, one in found]


def count_requests(block: DecodedBlock) -> Counter[tuple[int, int, int, int]] | None:
    """Count the requests of single frames: channel, asker, asked, group.

    None where one of them, or anything else in the block, can be about clearing: those are told
    one by one.
    """
    if DM22 in {one.pgn for one in block.groups} | {one.pgn for one in block.messages}:
        return None
    found: Counter[tuple[int, int, int, int]] = Counter()
    for group in block.groups:
        if group.pgn != REQUEST:
            continue
        asked = group.word & np.uint64(0xFFFFFF)
        valid = (block.frames.length[group.row] >= 3) & (asked <= LAST_GROUP)
        destination = block.frames.ident[group.row] >> 8 & 0xFF
        key = (asked.astype(np.int64) << 8 | destination)[valid]
        for one, count in zip(*np.unique(key, return_counts=True), strict=True):
            pgn = int(one) >> 8
            if pgn in CLEARS:
                return None
            found[group.channel, group.source, int(one) & 0xFF, pgn] += int(count)
    return found


def _of_group(
    block: DecodedBlock, group: GroupRun, some: slice = _EVERY
) -> Iterator[tuple[int, Message]]:
    """Give the single frames of one group as messages, with their rows."""
    frames = block.frames
    for time_us, word, row in zip(
        group.time_us[some].tolist(),
        group.word[some].tolist(),
        group.row[some].tolist(),
        strict=True,
    ):
        payload = (
            int(word).to_bytes(8, "little")[: int(frames.length[row])]
            if frames.length[row] <= 8
            else frames.data(row)
        )
        destination = destination_of(int(frames.ident[row]))
        yield (
            row,
            Message(
                time_us,
                time_us,
                group.channel,
                group.source,
                destination,
                group.pgn,
                payload,
                Carried.SINGLE,
            ),
        )

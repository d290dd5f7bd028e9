"""Picks out of a block the messages that are read one by one: diagnostics, claims, requests."""

from __future__ import annotations

from collections.abc import Iterator

from shearbolt.decode.columns import DecodedBlock, GroupRun
from shearbolt.model.message import Carried, Message
from shearbolt.wire.claim import ADDRESS_CLAIMED
from shearbolt.wire.diagnostics import DIAGNOSTIC_GROUPS, DM1
from shearbolt.wire.identifier import destination_of
from shearbolt.wire.request import ACKNOWLEDGEMENT, REQUEST, REQUEST2

VIN_GROUP = 65260
COMPONENT_GROUP = 65259
SOFTWARE_GROUP = 65242
UNIT_GROUP = 64965
DRIVER_GROUP = 65131
CLOCK_GROUP = 65254

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


def single_messages(block: DecodedBlock) -> list[Message]:
    """Return the messages read one by one that began in this block, in the order of their time.

    DM1 in single frames is left out: `fault_words` hands it on as arrays.
    """
    found = list(block.messages)
    for group in block.groups:
        if group.pgn in READ_SINGLY and group.pgn != DM1:
            found.extend(_of_group(block, group))
    found.sort(key=lambda one: one.time_us)
    return found


def dm1_messages(block: DecodedBlock, group: GroupRun) -> Iterator[Message]:
    """Give the single-frame DM1 of one sender as messages."""
    return _of_group(block, group)


def _of_group(block: DecodedBlock, group: GroupRun) -> Iterator[Message]:
    frames = block.frames
    for time_us, word, row in zip(
        group.time_us.tolist(), group.word.tolist(), group.row.tolist(), strict=True
    ):
        payload = (
            int(word).to_bytes(8, "little")[: int(frames.length[row])]
            if frames.length[row] <= 8
            else frames.data(row)
        )
        yield Message(
            time_us,
            time_us,
            group.channel,
            group.source,
            destination_of(int(frames.ident[row])),
            group.pgn,
            payload,
            Carried.SINGLE,
        )

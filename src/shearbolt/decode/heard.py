"""Picks out of a block the messages that are read one by one: diagnostics, claims, requests."""

from __future__ import annotations

from collections.abc import Iterator

from shearbolt.decode.columns import DecodedBlock, GroupRun
from shearbolt.decode.presence import Sender
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
    """Return the messages read one by one that ended in this block, in the order of their end.

    The order is that of the file, whatever its times say, so that it does not depend on where
    blocks are cut. DM1 is left out: `reports_by_sender` hands it on.
    """
    found = [
        (row, one)
        for row, one in zip(block.message_rows, block.messages, strict=True)
        if one.pgn != DM1
    ]
    for group in block.groups:
        if group.pgn in READ_SINGLY and group.pgn != DM1:
            found.extend(_of_group(block, group))
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


def _of_group(block: DecodedBlock, group: GroupRun) -> Iterator[tuple[int, Message]]:
    """Give the single frames of one group as messages, with their rows."""
    frames = block.frames
    for time_us, word, row in zip(
        group.time_us.tolist(), group.word.tolist(), group.row.tolist(), strict=True
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

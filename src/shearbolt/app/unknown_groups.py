"""Payloads of a machine's own groups that nothing decodes, out of the frames of a visit."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import numpy as np

from shearbolt.dictionary.groups import group_is_known, is_proprietary
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.frames import Frames
from shearbolt.reasoning.learning import Payloads, joined, payloads_of
from shearbolt.reasoning.learning.places import pgn_of
from shearbolt.wire.transport import TRANSPORT_GROUPS

Sender = tuple[str, int]
"""(channel, source address) within one visit."""


def unknown_payloads(
    blocks: Iterable[Frames],
    dictionary: Dictionary,
    own: Collection[Sender] | None,
    from_us: int | None = None,
    until_us: int | None = None,
) -> Payloads:
    """Gather the payloads of groups that nothing decodes; of maker's groups also those in which a
    row of the owner's reads one part.

    `own`: senders to take (None: all). Where one group of one sender comes on several channels, the
    channel that has most of it counts.
    """
    parts: dict[str, list[Payloads]] = {}
    unknown: dict[tuple[int, int], bool] = {}
    for frames in blocks:
        for number, channel in enumerate(frames.channels):
            rows = frames.channel == number
            if from_us is not None:
                rows &= frames.time_us >= from_us
            if until_us is not None:
                rows &= frames.time_us < until_us
            if not rows.any():
                continue
            some = payloads_of(_rows(frames, rows))
            keys = some.group << 8 | some.address
            wanted = []
            for key in np.unique(keys).tolist():
                group, address = key >> 8, key & 0xFF
                if own is not None and (channel, address) not in own:
                    continue
                if (group, address) not in unknown:
                    unknown[group, address] = _unknown(group, address, dictionary)
                if unknown[group, address]:
                    wanted.append(key)
            kept = np.isin(keys, wanted)
            parts.setdefault(channel, []).append(
                Payloads(some.time_us[kept], some.group[kept], some.address[kept], some.data[kept])
            )
    return _one_channel_each([joined(some) for some in parts.values()])


def _rows(frames: Frames, rows: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Frames:
    return Frames(
        frames.time_us[rows],
        frames.ident[rows],
        frames.flags[rows],
        frames.channel[rows],
        frames.length[rows],
        frames.word[rows],
        frames.channels,
    )


def _unknown(group: int, address: int, dictionary: Dictionary) -> bool:
    pgn = pgn_of(group)
    if pgn in TRANSPORT_GROUPS:
        return False
    if is_proprietary(pgn):
        return True
    return not group_is_known(pgn) and not dictionary.rows_of_group(pgn, address)


def _one_channel_each(channels: list[Payloads]) -> Payloads:
    best: dict[int, tuple[int, int]] = {}
    for number, one in enumerate(channels):
        keys, counts = np.unique(one.group << 8 | one.address, return_counts=True)
        for key, count in zip(keys.tolist(), counts.tolist(), strict=True):
            if count > best.get(key, (0, 0))[0]:
                best[key] = count, number
    kept: list[Payloads] = []
    for number, one in enumerate(channels):
        mine = [key for key, (_, channel) in best.items() if channel == number]
        rows = np.isin(one.group << 8 | one.address, mine)
        kept.append(Payloads(one.time_us[rows], one.group[rows], one.address[rows], one.data[rows]))
    return joined(kept)

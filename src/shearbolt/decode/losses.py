"""Frames missing from the regular groups: the only trace of what a recorder lost.

A frame is missed where one step of a group is clearly longer than the steps on both sides of it
and than the group's usual one. A rate that changes for good (many groups follow engine speed, or
slow down when it stops) has its new steps on one side, and a sender that falls silent has none on
the other; neither is a loss. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from shearbolt.decode.columns import DecodedBlock
from shearbolt.decode.heard import READ_SINGLY
from shearbolt.model.frames import I64
from shearbolt.model.instants import SECOND_US
from shearbolt.wire.transport import TRANSPORT_GROUPS

LONG = 1.6
"""A step so many times its neighbours lacks a frame; less is jitter."""
USUAL = 0.8
"""Share of the usual step that the neighbours count for at least, so that frames held back and
sent in a bunch are not taken for a higher rate."""
APART = 0.25
"""Steps as far from a whole number of beats as this are not of the beat."""
SILENT_US = SECOND_US
"""Longer steps are silence of a sender or a pause of the recording, judged elsewhere."""
SAMPLE = 1000
"""So many steps tell the usual one, and whether a group has a beat at all."""
FEW = 8
"""Steps of a block from which its usual one can be told."""


@dataclass(slots=True)
class Missing:
    """What one group of one sender lacks."""

    steps: int = 0
    """Steps looked at for a beat."""
    regular: int = 0
    """Of these, as long as their neighbours, or one, two or three times the shortest usual one:
    what is left of a beat when frames are lost at random."""
    frames: int = 0
    """Frames missing."""
    _tail: I64 = field(default_factory=lambda: np.empty(0, np.int64))

    def add(self, time_us: I64) -> None:
        """Take the group's next instants (microseconds), in the order of the recording."""
        known = np.concatenate((self._tail, time_us))
        steps = np.diff(known)
        if len(steps) < FEW:
            # Too few to tell their usual one: looked at with the next.
            self._tail = known
            return
        self._tail = known[-3:]
        sample = np.sort(steps[:: max(1, len(steps) // SAMPLE | 1)])
        usual = float(sample[len(sample) // 2])
        here = steps[1:-1]
        near = np.maximum(np.maximum(steps[:-2], steps[2:]), max(1, round(USUAL * usual)))
        long = (here > LONG * near) & (here <= SILENT_US)
        lacking = np.flatnonzero(long)
        self.frames += int((np.rint(here[lacking] / near[lacking]) - 1).sum())
        if self.steps < SAMPLE:
            beat = max(float(sample[len(sample) // 4]), 1.0)
            self._look(here[:SAMPLE], near[:SAMPLE], beat)

    def _look(self, here: I64, near: I64, beat: float) -> None:
        """Count how many steps are regular."""
        spoken = here <= SILENT_US
        here, near = here[spoken], near[spoken]
        times = here / beat
        whole_beats = (np.abs(times - np.rint(times)) < APART) & (times > APART) & (times < 3.5)
        alike = (here <= LONG * near) & (here > near / LONG)
        self.steps += len(here)
        self.regular += int(np.count_nonzero(whole_beats | alike))


class Losses:
    """What every regular group lacks, block by block."""

    def __init__(self) -> None:
        self.groups: dict[tuple[str, int, int], Missing] = {}
        """Keyed by (channel, pgn, source)."""

    def feed(self, block: DecodedBlock) -> None:
        """Take one block."""
        for group in block.groups:
            if group.pgn in TRANSPORT_GROUPS or group.pgn in READ_SINGLY:
                # Sent when there is something to send; they have no beat.
                continue
            key = block.frames.channels[group.channel], group.pgn, group.source
            self.groups.setdefault(key, Missing()).add(group.time_us)

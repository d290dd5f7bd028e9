"""The health of a bus while it is listened to: load, errors, missing groups, silent controllers.

Pure: decoded blocks and instants in, findings out; what a finding may mean is put in words by
whoever shows it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from shearbolt.decode.columns import DecodedBlock, GroupRun
from shearbolt.live.error_frames import errors_of, kinds_of
from shearbolt.model.frames import EXTENDED, FD, I64, REMOTE, Frames
from shearbolt.model.instants import SECOND_US, Instant

BUSY_SHARE = 0.70
"""Above this a babbling node is looked for (common practice, no source)."""
STUFFED_SHARE = 9 / 29
"""Stuff bits in an ordinary frame as a share of the most there can be: 140 bits for 8 data bytes
instead of 131 without any and 160 at worst (common practice, no source)."""
WINDOW_S = 10
"""Load and errors are told over the last so many seconds."""
FAST_US = SECOND_US // 2
"""A sender or group that comes at least twice a second is soon missed."""
SILENT_US = 3 * SECOND_US
SLOW_SILENT_US = 10 * SECOND_US
KEY_OFF_US = 30 * SECOND_US
"""At key-off controllers fall silent within this time of each other; a silence is told of one
alone only when the engine turns, or when the others have outlived it by so much."""
RUNS_ON_US = 3 * SECOND_US
"""An engine that turned for this long after a unit fell silent was not being switched off."""
STILL_US = SECOND_US
"""A step without any frame on a channel longer than this counts for nobody's silence: the adapter
was gone, or the whole bus was."""
TOGETHER_US = 2 * SECOND_US
"""Addresses that fall silent within this time of each other are one loss."""
SLOWED = 2.0
"""A group that takes longer than so many of the periods of earlier visits is slow; those that go
with engine speed vary by less. Within one visit a slower beat is no news: many groups change theirs
with what the machine does (seen on an open recording of a truck)."""
ENOUGH_STEPS = 20
"""Steps after which a group's own period is known."""
STEADY_US = 10 * SECOND_US
STEADY_SHARE = 0.8
"""A group that kept its beat for so long, with this share of its frames, is missed when it stops;
others are sent on occasion."""
BROADCAST_FORMAT = 240
"""Groups below it go to one address (SAE J1939-21), mostly on occasion."""
PRESENT_US = 2 * SECOND_US
TURNING_RPM = 100.0
ENGINE_GROUP = 61444
"""EEC1, which tells engine speed (SPN 190, bytes 4 and 5, 0.125 rpm a bit)."""
OFF_BOARD = frozenset({*range(249, 252), 254, 255})
"""Service tools, loggers and nobody: they may come and go."""

Kind = Literal["busy", "errors", "missing", "slow", "silent", "overrun"]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the bus that a person should know."""

    kind: Kind
    channel: str
    addresses: tuple[int, ...] = ()
    """Whom it concerns."""
    pgn: int | None = None
    """Which group, of 'missing' and 'slow'."""
    figure: float | None = None
    """Load in percent; error frames or overruns; seconds unheard; how many times slower."""
    detail: str | None = None
    """Kind of most error frames (error_frames.KINDS), where the adapter tells."""
    at_us: Instant = 0
    """Since when."""


@dataclass(frozen=True, slots=True)
class Load:
    """How busy one channel was."""

    channel: str
    now: float | None
    """Share of the bit rate over the last seconds; None: the rate is not known."""
    peak: float | None
    """Busiest whole second so far."""
    frames_s: float
    """Frames a second over the last seconds."""


def frame_bits(frames: Frames) -> I64:
    """Estimate the bits of each frame on the wire, the pause after it included.

    ISO 11898-1: 67 + 8 n for 29-bit identifiers and 47 + 8 n for 11-bit ones, stuff bits left
    out; at most one stuff bit for every four of the bits that can be stuffed, of which an
    ordinary frame has STUFFED_SHARE. The data part of CAN FD frames at a faster rate is not told
    apart.
    """
    extended = (frames.flags & EXTENDED) != 0
    data = np.where((frames.flags & REMOTE) != 0, 0, frames.length.astype(np.int64) * 8)
    bare = np.where(extended, 67, 47) + data
    stuffable = np.where(extended, 54, 34) + data
    stuffed = np.rint((stuffable - 1) // 4 * STUFFED_SHARE)
    stuffed[(frames.flags & FD) != 0] = 0
    return np.asarray(bare + stuffed, np.int64)


@dataclass(slots=True)
class _Channel:
    """What one channel carried, second by second."""

    seconds: deque[list[int]] = field(default_factory=lambda: deque(maxlen=WINDOW_S + 1))
    """[second, bits, frames, error frames]."""
    first_second: int | None = None
    peak_bits: int = 0
    last_us: int | None = None
    still_us: int = 0
    """Sum of the steps longer than STILL_US."""
    errors: int = 0
    kinds: dict[str, int] = field(default_factory=dict)
    by_sender: dict[int, int] = field(default_factory=dict)
    """Bits by source address, so far."""


@dataclass(slots=True)
class _Group:
    """One group from one sender."""

    first_us: int
    last_us: int
    still_us: int
    """The channel's `still_us` when it was last heard."""
    count: int = 0
    steps: list[int] = field(default_factory=list)
    usual_us: int | None = None
    recent: deque[int] = field(default_factory=lambda: deque(maxlen=ENOUGH_STEPS))

    def steady_us(self, pgn: int) -> int | None:
        """Return its own period where it was broadcast steadily for long enough; else None."""
        if self.usual_us is None or (pgn >> 8 & 0xFF) < BROADCAST_FORMAT:
            return None
        lived_us = self.last_us - self.first_us
        steady = lived_us >= STEADY_US and self.count * self.usual_us >= STEADY_SHARE * lived_us
        return max(1, self.usual_us) if steady else None


@dataclass(slots=True)
class _Sender:
    """One source address on one channel."""

    first_us: int
    last_us: int
    still_us: int = 0
    """The channel's `still_us` when it was last heard."""
    frames: int = 0


class Health:
    """Watches one listening session."""

    def __init__(self, expected_us: Mapping[tuple[int, int], int] | None = None) -> None:
        """Begin; `expected_us` are the usual periods of (group, address) from earlier visits."""
        self.expected_us = dict(expected_us or {})
        """May be filled in when the machine is recognised."""
        self._names: tuple[str, ...] = ()
        self._channels: dict[int, _Channel] = {}
        self._groups: dict[tuple[int, int, int], _Group] = {}
        self._senders: dict[tuple[int, int], _Sender] = {}
        """By (channel, address)."""
        self._turning_us: dict[int, int] = {}
        self._overruns: dict[str, int] = {}

    def feed(self, block: DecodedBlock) -> None:
        """Take the next block."""
        frames = block.frames
        if not len(frames):
            return
        self._names = frames.channels
        self._count(frames)
        for group in block.groups:
            self._group(group)

    def overrun(self, channel: str, count: int) -> None:
        """Take note of frames that were lost between the wire and us."""
        self._overruns[channel] = self._overruns.get(channel, 0) + count

    def _count(self, frames: Frames) -> None:
        second = frames.time_us // SECOND_US
        bits = frame_bits(frames)
        bad = errors_of(frames)
        bits[bad] = 0
        for channel in np.unique(frames.channel).tolist():
            state = self._channels.setdefault(channel, _Channel())
            mine = frames.channel == channel
            times = frames.time_us[mine]
            steps = np.diff(times, prepend=times[0] if state.last_us is None else state.last_us)
            state.still_us += int(steps[steps > STILL_US].sum())
            state.last_us = int(times[-1])
            for one in np.unique(second[mine]).tolist():
                rows = mine & (second == one)
                if not state.seconds or state.seconds[-1][0] != one:
                    if state.seconds:
                        state.peak_bits = max(state.peak_bits, state.seconds[-1][1])
                    state.seconds.append([one, 0, 0, 0])
                    if state.first_second is None:
                        state.first_second = one
                now = state.seconds[-1]
                now[1] += int(bits[rows].sum())
                now[2] += int(np.count_nonzero(rows & ~bad))
                now[3] += int(np.count_nonzero(rows & bad))
            state.errors += int(np.count_nonzero(mine & bad))
            for kind, count in kinds_of(frames, channel).items():
                state.kinds[kind] = state.kinds.get(kind, 0) + count
            heard = mine & ~bad & ((frames.flags & EXTENDED) != 0)
            by = np.bincount(frames.ident[heard] & 0xFF, weights=bits[heard], minlength=256)
            for address in np.flatnonzero(by).tolist():
                state.by_sender[address] = state.by_sender.get(address, 0) + int(by[address])

    def _group(self, run: GroupRun) -> None:
        first_us, last_us = int(run.time_us[0]), int(run.time_us[-1])
        still_us = self._channels[run.channel].still_us
        sender = self._senders.setdefault((run.channel, run.source), _Sender(first_us, last_us))
        sender.last_us = max(sender.last_us, last_us)
        sender.still_us = still_us
        sender.frames += len(run.time_us)
        key = run.channel, run.pgn, run.source
        group = self._groups.get(key)
        if group is None:
            group = self._groups[key] = _Group(first_us, last_us, still_us, 1)
            steps = np.diff(run.time_us).tolist()
        else:
            steps = np.diff(run.time_us, prepend=group.last_us).tolist()
        group.still_us = still_us
        group.last_us = last_us
        group.count += len(steps)
        group.recent.extend(steps)
        if group.usual_us is None:
            group.steps.extend(steps[: ENOUGH_STEPS - len(group.steps)])
            if len(group.steps) >= ENOUGH_STEPS:
                group.usual_us = int(np.median(group.steps))
                group.steps.clear()
        if run.pgn == ENGINE_GROUP:
            raw = (run.word >> np.uint64(24)) & np.uint64(0xFFFF)
            turning = (raw <= np.uint64(0xFAFF)) & (raw > np.uint64(int(TURNING_RPM / 0.125)))
            if turning.any():
                self._turning_us[run.channel] = int(run.time_us[turning][-1])

    def loads(self, bitrates: Mapping[str, int | None], now_us: Instant) -> tuple[Load, ...]:
        """Tell the load of each channel heard, the second that is still running left out."""
        found: list[Load] = []
        second = now_us // SECOND_US
        for channel, state in sorted(self._channels.items()):
            name, rate = self._names[channel], bitrates.get(self._names[channel])
            done = [one for one in state.seconds if second - WINDOW_S <= one[0] < second]
            since = second - WINDOW_S
            if state.first_second is not None:
                # The first second was heard in part only, unless nothing else is there.
                since = max(since, min(state.first_second + 1, second - 1))
            bits = sum(one[1] for one in done if one[0] >= since)
            frames = sum(one[2] for one in done if one[0] >= since)
            span = max(1, second - since)
            peak = max([state.peak_bits, *(one[1] for one in done)], default=0)
            found.append(
                Load(
                    name,
                    None if not rate else bits / span / rate,
                    None if not rate else peak / rate,
                    frames / span,
                )
            )
        return tuple(found)

    def findings(self, bitrates: Mapping[str, int | None], now_us: Instant) -> tuple[Finding, ...]:
        """Tell what is wrong now, the gravest first."""
        found: list[Finding] = [
            Finding("overrun", name, figure=float(count))
            for name, count in sorted(self._overruns.items())
        ]
        loads = {one.channel: one for one in self.loads(bitrates, now_us)}
        for channel, state in sorted(self._channels.items()):
            name = self._names[channel]
            recent = sum(
                one[3] for one in state.seconds if one[0] >= now_us // SECOND_US - WINDOW_S
            )
            if recent:
                detail = max(state.kinds, key=lambda one: state.kinds[one], default=None)
                found.append(Finding("errors", name, figure=float(recent), detail=detail))
            found.extend(self._silent(channel, now_us))
            load = loads[name].now
            if load is not None and load > BUSY_SHARE:
                loudest = max(state.by_sender, key=lambda one: state.by_sender[one], default=None)
                whom = () if loudest is None else (loudest,)
                found.append(Finding("busy", name, whom, figure=100 * load))
            found.extend(self._groups_amiss(channel, now_us))
        return tuple(found)

    def _lives(self, channel: int, address: int, now_us: Instant) -> bool:
        heard = self._senders.get((channel, address))
        return heard is not None and now_us - heard.last_us <= PRESENT_US

    def _unheard_us(self, channel: int, one: _Sender | _Group, now_us: Instant) -> int:
        """Return for how long somebody was not heard while the channel was."""
        return now_us - one.last_us - (self._channels[channel].still_us - one.still_us)

    def _silent(self, channel: int, now_us: Instant) -> list[Finding]:
        """Find controllers that fell silent while others live on."""
        others = [
            one
            for one in self._senders
            if one[0] == channel and one[1] not in OFF_BOARD and self._lives(*one, now_us)
        ]
        if not others:
            return []
        turned_us = self._turning_us.get(channel)
        gone: list[tuple[int, int]] = []
        for (on, address), sender in self._senders.items():
            if on != channel or address in OFF_BOARD or sender.frames < 3:
                continue
            usual_us = (sender.last_us - sender.first_us) / (sender.frames - 1)
            patience_us = SILENT_US if usual_us <= FAST_US else SLOW_SILENT_US + 3 * usual_us
            if turned_us is None or turned_us - sender.last_us < RUNS_ON_US:
                patience_us = max(patience_us, KEY_OFF_US)
            if self._unheard_us(channel, sender, now_us) > patience_us:
                gone.append((sender.last_us, address))
        return [
            Finding(
                "silent",
                self._names[channel],
                tuple(sorted(address for _, address in some)),
                figure=(now_us - some[0][0]) / SECOND_US,
                at_us=some[0][0],
            )
            for some in _together(sorted(gone))
        ]

    def _groups_amiss(self, channel: int, now_us: Instant) -> list[Finding]:
        """Find groups that stopped, slowed down, or never came, of senders that live."""
        found: list[Finding] = []
        name = self._names[channel]
        for (on, pgn, address), group in sorted(self._groups.items()):
            if on != channel or not self._lives(channel, address, now_us):
                continue
            usual_us = self.expected_us.get((pgn, address)) or group.steady_us(pgn)
            if usual_us is None or usual_us > 2 * FAST_US:
                continue
            unheard_us = self._unheard_us(channel, group, now_us)
            if unheard_us > max(SILENT_US, 5 * usual_us):
                seconds = unheard_us / SECOND_US
                found.append(
                    Finding("missing", name, (address,), pgn, seconds, None, group.last_us)
                )
            elif (pgn, address) in self.expected_us and len(group.recent) == ENOUGH_STEPS:
                times = float(np.median(group.recent)) / usual_us
                if times > SLOWED:
                    found.append(Finding("slow", name, (address,), pgn, times))
        for (pgn, address), period_us in sorted(self.expected_us.items()):
            sender = self._senders.get((channel, address))
            if sender is None or (channel, pgn, address) in self._groups:
                continue
            lived_us = sender.last_us - sender.first_us
            if period_us <= 2 * FAST_US and lived_us > max(SILENT_US, 5 * period_us):
                found.append(Finding("missing", name, (address,), pgn, lived_us / SECOND_US))
        return found


def _together(gone: Sequence[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    """Put silences that began at about the same time together."""
    sets: list[list[tuple[int, int]]] = []
    for one in gone:
        if sets and one[0] - sets[-1][-1][0] <= TOGETHER_US:
            sets[-1].append(one)
        else:
            sets.append([one])
    return sets

"""Fault reports (DM1) of one sender over a recording: spells, counts, lamps, manner.

SAE J1939-73 5.7.1: sent once a second and on change while a fault is active; what senders do
besides differs (none, one or constant all-clears) and is told from what was heard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from shearbolt.decode.presence import Stretches
from shearbolt.decode.quiet import SenderQuiet
from shearbolt.model.controller import Dm1Manner
from shearbolt.model.fault import CountSeen, Dtc, EndedBy, Lamp, Lamps, Spell
from shearbolt.model.frames import I64, U64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.message import Carried, Message
from shearbolt.wire.fault_list import FaultList, read_fault_list

HEALTH_US = 3 * SECOND_US
"""A living sender that lists a fault no more for this long has announced its end, where its
manner is to report only what is active (SAE J1939-73 5.7.1: one second; the rest is margin)."""
FIRST_WORD_US = 3 * SECOND_US
"""A sender alive for this long before its first report had nothing to report."""
STEPS_KEPT = 200
"""Times between reports kept to tell the usual one."""
LONGEST_STEP_US = 10 * SECOND_US
"""Longer times between reports are pauses, and no part of the beat."""
MIN_PERIOD_US = SECOND_US // 2
"""Reports on change come faster; nothing is missed when they stop."""
UNLIKELY = 1e-3
MOST_REPORTS = 20
LAMP_NAMES = tuple(one.name for one in fields(Lamps))
LIT = ("on", "slow", "fast")

_read = lru_cache(maxsize=512)(read_fault_list)


@dataclass(slots=True)
class Listing:
    """One stretch of reports that list a fault, none between them without it."""

    first_us: int
    last_us: int
    reports: int
    report_before_us: int | None
    """Last report of its sender before it; None: it was in the very first."""
    count_first: int | None
    count_last: int | None
    without_us: int | None = None
    """First report afterwards that does not list it."""


@dataclass(slots=True)
class Track:
    """All that one sender reported of one code."""

    dtc: Dtc
    listings: list[Listing] = field(default_factory=list)
    counts: list[list[int | None]] = field(default_factory=list)
    """[first instant, last instant, count]."""
    lamps: dict[str, set[Lamp | None]] = field(default_factory=dict)
    lamps_alone: dict[str, set[Lamp | None]] = field(default_factory=dict)

    def seen(
        self, dtc: Dtc, first_us: int, last_us: int, reports: int, report_before_us: int | None
    ) -> None:
        """Add reports in a row that list the code with one count."""
        current = self.listings[-1] if self.listings else None
        if current and current.without_us is None and first_us - current.last_us <= HEALTH_US:
            current.last_us = max(current.last_us, last_us)
            current.reports += reports
            current.count_last = dtc.count
        else:
            self.listings.append(
                Listing(first_us, last_us, reports, report_before_us, dtc.count, dtc.count)
            )
        if self.counts and self.counts[-1][2] == dtc.count:
            self.counts[-1][1] = max(self.counts[-1][1] or last_us, last_us)
        else:
            self.counts.append([first_us, last_us, dtc.count])

    def shown(self, lamps: Lamps, alone: bool) -> None:
        """Note the lamps of a report that lists the code."""
        for name in LAMP_NAMES:
            state = getattr(lamps, name)
            self.lamps.setdefault(name, set()).add(state)
            if alone:
                self.lamps_alone.setdefault(name, set()).add(state)

    def count_seen(self) -> tuple[CountSeen, ...]:
        """Return the counts in time order."""
        return tuple(
            CountSeen(int(first or 0), int(last or 0), count) for first, last, count in self.counts
        )


def steady(states: dict[str, set[Lamp | None]]) -> Lamps:
    """Return the lamps lit in every one of several reports."""
    return Lamps(**{name: _always(seen) for name, seen in states.items()})


def _always(seen: set[Lamp | None]) -> Lamp | None:
    if len(seen) == 1:
        return next(iter(seen))
    if seen <= set(LIT):
        return "on"
    return "off" if "off" in seen else None


@dataclass(slots=True)
class LampRun:
    """Reports in a row that light a lamp and list nothing."""

    lamps: Lamps
    first_us: int
    last_us: int


class Reports:
    """The DM1 reports of one sender, in their order."""

    def __init__(self) -> None:
        self.tracks: dict[bytes, Track] = {}
        self.first_us: int | None = None
        self.last_us = 0
        self.messages = 0
        self.by_transport = 0
        self.all_clear = 0
        self.lamp_runs: list[LampRun] = []
        self._lamps_lit = False
        """The last report lit a lamp and listed nothing."""
        self._quiet: list[tuple[int, int]] = []
        """Longer times between two reports."""
        self._steps_us: list[int] = []
        self._listed: set[bytes] = set()

    def feed_words(self, time_us: I64, word: U64) -> None:
        """Take single-frame reports: equal ones in a row are told once."""
        if not len(time_us):
            return
        new = np.empty(len(word), bool)
        new[0] = True
        np.not_equal(word[1:], word[:-1], out=new[1:])
        step = np.diff(time_us)
        # A clock that was set back begins a run too, so that each ends after it began.
        new[1:] |= (step > HEALTH_US) | (step < 0)
        first = np.flatnonzero(new)
        last = np.append(first[1:], len(word)) - 1
        for a, b in zip(first.tolist(), last.tolist(), strict=True):
            payload = int(word[a]).to_bytes(8, "little")
            room = max(0, STEPS_KEPT - len(self._steps_us))
            steps = np.diff(time_us[a : min(b, a + room) + 1]).tolist()
            self.feed(payload, int(time_us[a]), int(time_us[b]), b - a + 1, steps_us=steps)

    def feed_messages(self, messages: Sequence[Message]) -> None:
        """Take reports of whatever length: equal ones in a row are told once."""
        first = 0
        for i in range(1, len(messages) + 1):
            if i < len(messages) and _again(messages[i - 1], messages[i]):
                continue
            run = messages[first:i]
            times = [one.time_us for one in run]
            self.feed(
                run[0].payload,
                times[0],
                times[-1],
                len(run),
                transport=run[0].carried is not Carried.SINGLE,
                steps_us=[b - a for a, b in pairwise(times)],
            )
            first = i

    def feed(
        self,
        payload: bytes,
        first_us: int,
        last_us: int,
        reports: int = 1,
        *,
        transport: bool = False,
        steps_us: Sequence[int] = (),
    ) -> None:
        """Take one report, or several equal ones in a row, `steps_us` from one to the next."""
        listed: FaultList | None = _read(payload)
        if listed is None:
            return
        before_us = self.last_us if self.first_us is not None else None
        if before_us is None:
            self.first_us = first_us
        else:
            steps_us = (first_us - before_us, *steps_us)
            if first_us - before_us > HEALTH_US:
                self._quiet.append((before_us, first_us))
        room = STEPS_KEPT - len(self._steps_us)
        if room > 0:
            self._steps_us.extend([one for one in steps_us if 0 < one < LONGEST_STEP_US][:room])
        self.last_us = last_us if before_us is None else max(before_us, last_us)
        self.messages += reports
        self.by_transport += reports if transport else 0
        self._follow(listed, first_us, last_us, reports, before_us)
        if not listed.dtcs:
            self.all_clear += reports
        self._lamps_alone(listed, first_us, last_us)

    def _follow(
        self, listed: FaultList, first_us: int, last_us: int, reports: int, before_us: int | None
    ) -> None:
        now: set[bytes] = set()
        for dtc in listed.dtcs:
            key = dtc.raw[:3] + bytes((dtc.raw[3] & 0x80,))
            now.add(key)
            track = self.tracks.get(key)
            if track is None:
                track = self.tracks[key] = Track(dtc)
            track.seen(dtc, first_us, last_us, reports, before_us)
            track.shown(listed.lamps, len(listed.dtcs) == 1)
        for key in self._listed - now:
            over = self.tracks[key].listings[-1]
            # A message of several packets may have begun before the last report ended.
            over.without_us = max(first_us, over.last_us)
        self._listed = now

    def _lamps_alone(self, listed: FaultList, first_us: int, last_us: int) -> None:
        if listed.dtcs or not listed.lamps.any_lit:
            self._lamps_lit = False
            return
        run = self.lamp_runs[-1] if self._lamps_lit else None
        if run and run.lamps == listed.lamps and first_us - run.last_us <= HEALTH_US:
            run.last_us = max(run.last_us, last_us)
        else:
            self.lamp_runs.append(LampRun(listed.lamps, first_us, last_us))
        self._lamps_lit = True

    @property
    def period_us(self) -> int:
        """Usual time between reports; one second where it cannot be told (SAE J1939-73)."""
        return int(np.median(self._steps_us)) if self._steps_us else SECOND_US

    @property
    def health_us(self) -> int:
        """How long a living sender must keep a fault to itself before it is taken as healed.

        Three reports, and as many more as make it unlikely that a lossy recorder lost them all.
        """
        period_us = max(self.period_us, MIN_PERIOD_US)
        missed = [round(one / period_us) for one in self._steps_us]
        near = [one for one in missed if 1 <= one <= 3]
        lost = sum(one > 1 for one in near) / len(near) if near else 0.0
        reports = math.ceil(math.log(UNLIKELY) / math.log(lost)) if 0 < lost < 1 else 3
        return max(HEALTH_US, min(max(reports, 3), MOST_REPORTS) * period_us)

    def manner(self, alive: Stretches, until_us: int | None = None) -> Dm1Manner:
        """Tell when this sender reports, from what was heard while it was alive.

        `until_us` is when the key was turned off: what it does in its after-run tells nothing.
        """
        alive_us = alive.total_s * SECOND_US
        if not self.messages:
            return "never_heard" if alive_us > HEALTH_US else "unknown"
        if self.all_clear >= 3 and 2 * self.messages * self.period_us > alive_us:
            return "always"
        quiet = self._quiet_while_alive_s(alive, until_us) * SECOND_US > self.health_us
        if self.tracks and quiet:
            return "while_active"
        if self.all_clear and not self.tracks and quiet:
            return "at_key_on"
        return "unknown"

    def _quiet_while_alive_s(self, alive: Stretches, until_us: int | None) -> int:
        """Return the longest time that the sender lived on without a report, in seconds."""
        first, last = (self.first_us or 0) // SECOND_US, self.last_us // SECOND_US
        until = None if until_us is None else until_us // SECOND_US
        longest = max((alive.covered_s(a, b) for a, b in self._quiet), default=0)
        for a, b in alive.spans:
            end = b if until is None else min(b, until)
            longest = max(longest, min(b, first) - a, end - max(a, last))
        return longest


def _again(before: Message, now: Message) -> bool:
    """Tell whether a report says the same as the one before it, within the usual time."""
    step_us = now.time_us - before.time_us
    return (
        now.payload == before.payload
        and now.carried == before.carried
        and 0 <= step_us <= HEALTH_US
    )


def spells_of(
    track: Track, reports: Reports, manner: Dm1Manner, quiet: SenderQuiet
) -> tuple[Spell, ...]:
    """Turn the listings of one code into spells, with how each ended.

    A gap between listings is an end only where the sender lived on, its manner is to report only
    what is active, and it had reported the code more than once; or where the key was turned off.
    A pause, a lost frame or silence neither ends nor joins.
    """
    by_silence = manner in ("while_active", "unknown") and reports.all_clear < 3
    health_us = reports.health_us
    joined: list[Listing] = []
    ends: list[tuple[EndedBy, int | None] | None] = []
    for one in track.listings:
        before = joined[-1] if joined else None
        if before is not None and before.without_us is None:
            lived_us = quiet.lived_us(before.last_us, one.first_us)
            silent = quiet.silence_between(before.last_us, one.first_us)
            if silent is not None and silent.why == "key_off":
                ends[-1] = "key_off", None
            elif by_silence and before.reports > 1 and lived_us > health_us:
                ends[-1] = "healed", before.last_us + health_us
            else:
                joined[-1] = replace(
                    before,
                    last_us=max(before.last_us, one.last_us),
                    reports=before.reports + one.reports,
                    count_last=one.count_last,
                    without_us=one.without_us,
                )
                continue
        joined.append(one)
        ends.append(None)
    spells: list[Spell] = []
    for one, end in zip(joined, ends, strict=True):
        if end is None and one.without_us is not None:
            end = _ended_before(one, one.without_us, reports, quiet), one.without_us
        ended, latest_us = end or _open_end(one, reports, by_silence, quiet)
        spells.append(
            Spell(
                one.first_us,
                _start_known(one, health_us, quiet.alive),
                one.last_us,
                latest_us,
                ended,
                one.count_first,
                one.count_last,
            )
        )
    return tuple(spells)


def _start_known(one: Listing, health_us: int, alive: Stretches) -> bool:
    """Tell whether a report just before did not list it, or its sender had long been free to."""
    if one.report_before_us is not None and one.first_us - one.report_before_us <= health_us:
        return True
    return alive.lived_before_s(one.first_us) * SECOND_US > FIRST_WORD_US


def _ended_before(one: Listing, latest_us: int, reports: Reports, quiet: SenderQuiet) -> EndedBy:
    """Tell how a listing ended whose sender later reported without it."""
    silent = quiet.silence_between(one.last_us, latest_us)
    if silent is None or silent.why == "pause":
        return "healed"
    soon_us = 2 * reports.period_us + SECOND_US
    if silent.from_s * SECOND_US - one.last_us <= soon_us:
        return silent.why
    if silent.why == "key_off" and quiet.near_key_off(one.last_us, soon_us):
        return "key_off"
    return "healed"


def _open_end(
    one: Listing, reports: Reports, by_silence: bool, quiet: SenderQuiet
) -> tuple[EndedBy, int | None]:
    """Tell how a listing without a later word ended, and the first sign of health if any."""
    slack_us = max(reports.period_us * 3 // 2, 1_300_000)
    if quiet.end_us - one.last_us <= slack_us:
        return "recording_end", None
    until = quiet.alive.end_after(one.last_us)
    lived_us = 0 if until is None else min((until + 1) * SECOND_US, quiet.end_us) - one.last_us
    if lived_us <= slack_us:
        why = quiet.last_silence()
        return ("recording_end" if why == "pause" else why), None
    if quiet.near_key_off(one.last_us, slack_us):
        return "key_off", None
    free_us = min(lived_us, quiet.lived_us(one.last_us, quiet.end_us))
    if by_silence and one.reports > 1 and free_us > reports.health_us + slack_us:
        return "healed", one.last_us + reports.health_us
    return "unknown", None

"""Fault reports (DM1) of one sender over a recording: spells, counts, lamps, manner.

SAE J1939-73 5.7.1: sent once a second and on change while a fault is active; what senders do
besides differs (none, one or constant all-clears) and is told from what was heard.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import lru_cache

import numpy as np

from shearbolt.decode.presence import Stretches
from shearbolt.model.controller import Dm1Manner
from shearbolt.model.fault import CountSeen, Dtc, EndedBy, Lamp, Lamps, Spell
from shearbolt.model.frames import I64, U64
from shearbolt.model.instants import SECOND_US
from shearbolt.wire.fault_list import FaultList, read_fault_list

HEALTH_US = 3 * SECOND_US
"""A living sender that lists a fault no more for this long has announced its end, where its
manner is to report only what is active (SAE J1939-73 5.7.1: one second; the rest is margin)."""
FIRST_WORD_US = 3 * SECOND_US
"""A sender alive for this long before its first report had nothing to report."""
LAMP_NAMES = tuple(one.name for one in fields(Lamps))
LIT = ("on", "slow", "fast")

_read = lru_cache(maxsize=512)(read_fault_list)


@dataclass(slots=True)
class Listing:
    """One stretch of reports that list a fault, none between them without it."""

    first_us: int
    last_us: int
    reports: int
    first_report: bool
    """It was in the very first report of its sender."""
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

    def seen(self, dtc: Dtc, first_us: int, last_us: int, reports: int, first: bool) -> None:
        """Add reports in a row that list the code with one count."""
        current = self.listings[-1] if self.listings else None
        if current and current.without_us is None and first_us - current.last_us <= HEALTH_US:
            current.last_us = max(current.last_us, last_us)
            current.reports += reports
            current.count_last = dtc.count
        else:
            self.listings.append(Listing(first_us, last_us, reports, first, dtc.count, dtc.count))
        if self.counts and self.counts[-1][2] == dtc.count:
            self.counts[-1][1] = last_us
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


@dataclass(frozen=True, slots=True)
class Silence:
    """How a recording ends for one sender."""

    end_us: int
    """Last frame of the recording."""
    why: EndedBy
    """Why the sender spoke no more, where it did: key_off or silence."""
    key_off_us: int | None
    """When others that speak often fell silent for good; None: not seen. A controller in its
    after-run lives on past it, often without reporting."""


class Reports:
    """The DM1 reports of one sender, in their order."""

    def __init__(self) -> None:
        self.tracks: dict[bytes, Track] = {}
        self.first_us: int | None = None
        self.last_us = 0
        self.messages = 0
        self.by_transport = 0
        self.all_clear = 0
        self.all_clear_first_us: int | None = None
        self.all_clear_last_us = 0
        self.lamp_runs: list[LampRun] = []
        self._steps_us: list[int] = []
        self._listed: set[bytes] = set()

    def feed_words(self, time_us: I64, word: U64) -> None:
        """Take single-frame reports: equal ones in a row are told once."""
        if not len(time_us):
            return
        new = np.empty(len(word), bool)
        new[0] = True
        np.not_equal(word[1:], word[:-1], out=new[1:])
        new[1:] |= np.diff(time_us) > HEALTH_US
        first = np.flatnonzero(new)
        last = np.append(first[1:], len(word)) - 1
        for a, b in zip(first.tolist(), last.tolist(), strict=True):
            payload = int(word[a]).to_bytes(8, "little")
            self.feed(payload, int(time_us[a]), int(time_us[b]), b - a + 1)

    def feed(
        self, payload: bytes, first_us: int, last_us: int, reports: int = 1, transport: bool = False
    ) -> None:
        """Take one report, or several equal ones in a row."""
        listed: FaultList | None = _read(payload)
        if listed is None:
            return
        first = self.first_us is None
        if first:
            self.first_us = first_us
        elif 0 < first_us - self.last_us < 10 * SECOND_US and len(self._steps_us) < 200:
            self._steps_us.append(first_us - self.last_us)
        if reports > 1 and len(self._steps_us) < 200:
            self._steps_us.append((last_us - first_us) // (reports - 1))
        self.last_us = max(self.last_us, last_us) if not first else last_us
        self.messages += reports
        self.by_transport += reports if transport else 0
        self._follow(listed, first_us, last_us, reports, first)
        if not listed.dtcs:
            self.all_clear += reports
            if self.all_clear_first_us is None:
                self.all_clear_first_us = first_us
            self.all_clear_last_us = last_us
            self._lamps_alone(listed.lamps, first_us, last_us)

    def _follow(
        self, listed: FaultList, first_us: int, last_us: int, reports: int, first: bool
    ) -> None:
        now: set[bytes] = set()
        for dtc in listed.dtcs:
            key = dtc.raw[:3] + bytes((dtc.raw[3] & 0x80,))
            now.add(key)
            track = self.tracks.get(key)
            if track is None:
                track = self.tracks[key] = Track(dtc)
            track.seen(dtc, first_us, last_us, reports, first)
            track.shown(listed.lamps, len(listed.dtcs) == 1)
        for key in self._listed - now:
            self.tracks[key].listings[-1].without_us = first_us
        self._listed = now

    def _lamps_alone(self, lamps: Lamps, first_us: int, last_us: int) -> None:
        if not lamps.any_lit:
            return
        run = self.lamp_runs[-1] if self.lamp_runs else None
        if run and run.lamps == lamps and first_us - run.last_us <= HEALTH_US:
            run.last_us = last_us
        else:
            self.lamp_runs.append(LampRun(lamps, first_us, last_us))

    @property
    def period_us(self) -> int:
        """Usual time between reports; one second where it cannot be told (SAE J1939-73)."""
        return int(np.median(self._steps_us)) if self._steps_us else SECOND_US

    def manner(self, alive: Stretches) -> Dm1Manner:
        """Tell when this sender reports, from what was heard while it was alive."""
        if not self.messages:
            return "never_heard" if alive.total_s * SECOND_US > HEALTH_US else "unknown"
        quiet_s = self._quiet_while_alive_s(alive)
        if self.all_clear >= 3 and 2 * self.messages * self.period_us > (alive.total_s * SECOND_US):
            return "always"
        if self.tracks and quiet_s * SECOND_US > HEALTH_US:
            return "while_active"
        if self.all_clear and not self.tracks and quiet_s * SECOND_US > HEALTH_US:
            return "at_key_on"
        return "unknown"

    def _quiet_while_alive_s(self, alive: Stretches) -> int:
        """Return the longest time that the sender lived on without a report, in seconds."""
        first = self.first_us or 0
        before = max(
            (min(b, first // SECOND_US) - a for a, b in alive.spans if a * SECOND_US < first),
            default=0,
        )
        after = max(
            (
                b - max(a, self.last_us // SECOND_US)
                for a, b in alive.spans
                if b * SECOND_US > self.last_us
            ),
            default=0,
        )
        return max(before, after)


def spells_of(
    track: Track,
    reports: Reports,
    alive: Stretches,
    manner: Dm1Manner,
    silence: Silence,
) -> tuple[Spell, ...]:
    """Turn the listings of one code into spells, with how each ended.
    A gap
       between listings is an end only where the sender lived on, its manner is to report only what
       is active, and it had reported the code more than once; a pause, a lost frame or silence
       neither ends nor joins.
    """
    announces_by_silence = manner in ("while_active", "unknown") and reports.all_clear < 3
    joined: list[Listing] = []
    health: list[int | None] = []
    for one in track.listings:
        before = joined[-1] if joined else None
        if before is not None and before.without_us is None:
            lived_us = alive.covered_s(before.last_us, one.first_us) * SECOND_US
            if announces_by_silence and before.reports > 1 and lived_us > HEALTH_US:
                health[-1] = before.last_us + HEALTH_US
            else:
                before.last_us = one.last_us
                before.reports += one.reports
                before.count_last = one.count_last
                before.without_us = one.without_us
                continue
        joined.append(one)
        health.append(one.without_us)
    spells: list[Spell] = []
    for i, one in enumerate(joined):
        # `without_us` may have come with a joined listing
        latest = one.without_us if one.without_us is not None else health[i]
        ended: EndedBy
        if latest is not None:
            quiet_us = _silence_after(one.last_us, latest, alive, reports.period_us)
            ended = silence.why if quiet_us else "healed"
        else:
            ended, latest = _open_end(one, reports, alive, announces_by_silence, silence)
        alive_before_us = alive.covered_s(silence.end_us - (1 << 60), one.first_us) * SECOND_US
        spells.append(
            Spell(
                one.first_us,
                not one.first_report or alive_before_us > FIRST_WORD_US,
                one.last_us,
                latest,
                ended,
                one.count_first,
                one.count_last,
            )
        )
    return tuple(spells)


def _silence_after(last_us: int, latest_us: int, alive: Stretches, period_us: int) -> bool:
    """Tell whether the sender fell silent after its last listing, before its next word on it."""
    until = alive.end_after(last_us)
    return until is not None and (
        until * SECOND_US - last_us <= 2 * period_us and latest_us - last_us > 5 * SECOND_US
    )


def _open_end(
    one: Listing,
    reports: Reports,
    alive: Stretches,
    announces_by_silence: bool,
    silence: Silence,
) -> tuple[EndedBy, int | None]:
    """Tell how a listing without a later word ended, and the first sign of health if any."""
    slack_us = max(reports.period_us * 3 // 2, 1_300_000)
    if silence.end_us - one.last_us <= slack_us:
        return "recording_end", None
    until = alive.end_after(one.last_us)
    lived_us = 0 if until is None else min((until + 1) * SECOND_US, silence.end_us) - one.last_us
    if lived_us <= slack_us:
        return silence.why, None
    if silence.key_off_us is not None and abs(silence.key_off_us - one.last_us) <= slack_us:
        return "key_off", None
    if announces_by_silence and one.reports > 1 and lived_us > HEALTH_US + slack_us:
        return "healed", one.last_us + HEALTH_US
    return "unknown", None

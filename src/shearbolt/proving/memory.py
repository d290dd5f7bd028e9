"""Fault memory: what controllers keep over key cycles, and what they tell of it when asked.

A `Store` is one controller's memory between key cycles. A `Recall` is that memory within one key
cycle: a pure function of the instant, of the spells found so far and of the clears carried out.
Conventions (SAE J1939-73; the rules of two trips, three clean cycles and forty warm-ups are those
of heavy-duty OBD, from memory): a pending code was found in this cycle or the one before and is
not confirmed; a second cycle in which it is found confirms it, lights the MIL and makes it
permanent; three clean cycles put the MIL out; permanent codes survive every clear.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from shearbolt.model.fault import COUNT_FULL, Lamps
from shearbolt.proving.detecting import Clear, Found, Standing, flags_of, stood_at
from shearbolt.proving.faults import OFF, Fault, count_kept, count_sent, together
from shearbolt.proving.manners import Manner
from shearbolt.proving.readiness import (
    MONITOR_SPNS,
    complete_at,
    counts_at,
    warmed_up_at,
)
from shearbolt.proving.trace import STEP_S, Trace
from shearbolt.proving.truth import Cause, CountSteps

CLEAN_CYCLES = 3
"""Clean cycles that put the MIL out and end a permanent code."""
FORGETS_AFTER = 40
"""Warm-up cycles without the fault after which a code is forgotten."""
DM4_SPNS = (899, 102, 190, 92, 110, 84)
_NO_FRAME: Mapping[int, float] = {}


@dataclass(frozen=True, slots=True)
class Kept:
    """One code as a controller keeps it with the key off."""

    spn: int
    fmi: int
    count: int
    cause: Cause
    words: str
    stale: bool = False
    lamps: Lamps = OFF
    pending: bool = False
    mil: bool = False
    had_mil: bool = False
    """The MIL was on for it and is out."""
    permanent: bool = False
    clean: int = 0
    """Clean key cycles in a row in which its monitor ran."""
    warm_ups: int = 0
    """Warm-up cycles since it was last found."""
    frame: Mapping[int, float] = field(default_factory=dict)
    """Freeze frame: values by SPN."""
    remembered: bool = True
    """It is in the list of previously active codes; False: pending or permanent only."""


@dataclass(frozen=True, slots=True)
class Store:
    """One controller's memory with the key off."""

    kept: tuple[Kept, ...] = ()
    mil_km: float = 0.0
    clear_km: float = 3200.0
    """Since the last clear."""
    mil_min: float = 0.0
    clear_min: float = 6400.0
    warm_ups: int = 90
    """Since the last clear."""
    cycles: int = 240
    """Ignition cycles ever."""
    denominator: int = 60
    """Key cycles that counted."""
    ratios: Mapping[str, int] = field(default_factory=dict)
    """Key cycles in which each monitor ran to its end."""
    complete: frozenset[str] | None = None
    """Monitors that ran since the last clear; None: all."""
    induced_s: float = 0.0
    """For how long a want of exhaust treatment has stood (inducement)."""

    def code(self, spn: int, fmi: int) -> Kept | None:
        """Return what it keeps of one code."""
        for one in self.kept:
            if (one.spn, one.fmi) == (spn, fmi):
                return one
        return None

    def standing(self, spn: int, fmi: int) -> Standing:
        """Return how a code stands when the key is turned."""
        one = self.code(spn, fmi)
        return Standing() if one is None else Standing(one.count, one.pending, one.mil)


@dataclass(frozen=True, slots=True)
class Entry:
    """One code as its controller tells of it at an instant."""

    spn: int
    fmi: int
    count: int
    active: bool
    pending: bool
    mil: bool
    had_mil: bool
    permanent: bool
    previous: bool
    """In the list of previously active codes."""
    lamps: Lamps
    frame: Mapping[int, float]
    fault: int | None
    """Index of the fault in the outing; None: only kept from before."""


@dataclass(frozen=True, slots=True)
class Recall:
    """One controller's memory within one key cycle."""

    steps: CountSteps
    manner: Manner
    store: Store
    faults: Sequence[Fault]
    """Of the whole outing."""
    found: Mapping[int, Found]
    """By index of the fault; those of this controller."""
    clears: tuple[Clear, ...]
    trace: Trace
    frames: Mapping[int, Mapping[int, float]]
    """Freeze frame values at the first spell of each fault."""

    # What it holds

    def wiped_at(self, spn: int, fmi: int, until_s: float) -> float:
        """Return when the memory of one code was last wiped before an instant; -1: never."""
        last = -1.0
        for one in self.clears:
            if one.at_s > until_s or not one.touches(spn, fmi):
                continue
            index = self._index(spn, fmi)
            # A clear of what is only remembered leaves what stands.
            stands = index is not None and stood_at(self.found[index], one.at_s - 1e-9)
            if one.all_of_it or not stands:
                last = max(last, one.at_s)
        return last

    def _index(self, spn: int, fmi: int) -> int | None:
        for index in self.found:
            if (self.faults[index].spn, self.faults[index].fmi) == (spn, fmi):
                return index
        return None

    def entries(self, at_s: float) -> tuple[Entry, ...]:
        """Return all codes that it holds at an instant: those found first, then the old ones."""
        out = []
        for index in self.found:
            entry = self._found_entry(index, at_s)
            if entry is not None:
                out.append(entry)
        known = {(self.faults[index].spn, self.faults[index].fmi) for index in self.found}
        for kept in self.store.kept:
            if (kept.spn, kept.fmi) not in known:
                entry = self._old_entry(kept, at_s, None)
                if entry is not None:
                    out.append(entry)
        return tuple(out)

    def _old_entry(self, kept: Kept, at_s: float, index: int | None) -> Entry | None:
        """Return the entry of a code that was not found in this key cycle."""
        wiped = self.wiped_at(kept.spn, kept.fmi, at_s) >= 0.0
        if wiped and not kept.permanent:
            return None
        return Entry(
            kept.spn,
            kept.fmi,
            0 if wiped else kept.count,
            False,
            kept.pending and not wiped,
            False,
            kept.had_mil and not wiped,
            kept.permanent,
            kept.remembered and not wiped,
            kept.lamps,
            _NO_FRAME if wiped else kept.frame,
            index,
        )

    def _found_entry(self, index: int, at_s: float) -> Entry | None:
        fault = self.faults[index]
        kept = self.store.code(fault.spn, fault.fmi)
        wiped = self.wiped_at(fault.spn, fault.fmi, at_s)
        begun = [
            one
            for one in self.found[index].held
            if one.set_s <= at_s and one.set_s >= wiped and (one.nth > 0 or wiped < 0.0)
        ]
        if not begun:
            return None if kept is None else self._old_entry(kept, at_s, index)
        sure = [one for one in begun if one.confirmed]
        healed = [one for one in sure if one.heal_s is not None and one.heal_s <= at_s]
        active = len(sure) > len(healed)
        before = begun[0].before if begun[0].before is not None else fault.count_before
        occurred = [one for one in sure if one.nth > 0]
        if not occurred:
            count = before
        elif active:
            count = count_sent(self.steps, before, occurred[-1].nth)
        else:
            count = count_kept(self.steps, before, len(occurred), len(healed))
        emission = fault.trips > 1 and self.manner.emission
        old = kept if wiped < 0.0 else None
        return Entry(
            fault.spn,
            fault.fmi,
            min(count, COUNT_FULL),
            active,
            not sure or (old is not None and old.pending and not active),
            emission and bool(sure) and active,
            bool(old is not None and old.had_mil) and not active,
            (emission and bool(sure)) or bool(kept is not None and kept.permanent),
            not active and (bool(sure) or bool(old is not None and old.remembered)),
            fault.lamps,
            self.frames.get(index, _NO_FRAME) or (_NO_FRAME if old is None else old.frame),
            index,
        )

    def lamps(self, at_s: float) -> Lamps:
        """Return the lamps that its active codes ask for."""
        lit = [one.lamps for one in self.entries(at_s) if one.active]
        return together(lit) if lit else OFF

    # Counters

    def cleared_s(self, at_s: float) -> float:
        """Return when everything was last cleared in this key cycle; -1: it was not."""
        return max((c.at_s for c in self.clears if c.what == "dm11" and c.at_s <= at_s), default=-1)

    def distances(self, at_s: float) -> tuple[float, float, float, float]:
        """Return km and minutes with the MIL on, and since the last clear: DM21's order."""
        trace, since = self.trace, self.cleared_s(at_s)
        step = min(int(at_s / STEP_S), len(trace.time_s) - 1)
        mil = np.zeros(len(trace.time_s), np.bool_)
        for index, found in self.found.items():
            if self.faults[index].trips > 1 and self.manner.emission:
                mil |= flags_of([one for one in found.held if one.confirmed], trace)
        counted = trace.time_s[: step + 1] >= since
        km = np.diff(trace.distance_m[: step + 1], prepend=trace.distance_m[0]) / 1000.0
        minutes = trace.running[: step + 1] * (STEP_S / 60.0)
        lit = mil[: step + 1] & counted
        kept = 0.0 if since >= 0.0 else 1.0
        return (
            kept * self.store.mil_km + float(km[lit].sum()),
            kept * self.store.clear_km + float(km[counted].sum()),
            kept * self.store.mil_min + float(minutes[lit].sum()),
            kept * self.store.clear_min + float(minutes[counted].sum()),
        )

    def since_start_s(self, at_s: float) -> float:
        """Return for how long the engine has run in this key cycle (s)."""
        step = min(int(at_s / STEP_S), len(self.trace.time_s) - 1)
        return float(self.trace.running[: step + 1].sum() * STEP_S)

    def warm_ups(self, at_s: float) -> int:
        """Return the warm-up cycles since the last clear."""
        since, warm = self.cleared_s(at_s), warmed_up_at(self.trace)
        base = self.store.warm_ups if since < 0.0 else 0
        return base + int(max(since, 0.0) < warm <= at_s)

    def complete(self, at_s: float, *, this_cycle: bool = False) -> frozenset[str]:
        """Return the monitors that have run since the last clear, or in this key cycle."""
        since = self.cleared_s(at_s)
        ran = frozenset(
            one
            for one in self.manner.monitors
            if complete_at(self.trace, one, max(0.0, since)) <= at_s
        )
        if this_cycle or since >= 0.0:
            return ran
        stored = self.manner.monitors if self.store.complete is None else self.store.complete
        return ran | (stored & self.manner.monitors)

    def ratios(self, at_s: float) -> tuple[int, int, dict[int, tuple[int, int]]]:
        """Return ignition cycles, general denominator, and each monitor's ratio by SPN (DM20)."""
        counts = int(counts_at(self.trace) <= at_s)
        denominator = self.store.denominator + counts
        # Before anything is told otherwise, monitors ran in four of five cycles that counted.
        usual = self.store.denominator * 4 // 5
        rows = {}
        for one in sorted(self.manner.monitors & MONITOR_SPNS.keys()):
            ran = int(complete_at(self.trace, one) <= at_s)
            done = self.store.ratios.get(one, usual) + (ran if counts else 0)
            rows[MONITOR_SPNS[one]] = (done, denominator)
        return self.store.cycles + 1, denominator, rows

    # The end of the key cycle

    def after(self, until_s: float | None = None, induced_s: float = 0.0) -> Store:
        """Return the memory at the end of the key cycle (or at an instant, as if it ended then)."""
        end = len(self.trace.time_s) * STEP_S if until_s is None else until_s
        km, clear_km, minutes, clear_min = self.distances(end)
        cycles, denominator, _ = self.ratios(end)
        usual = self.store.denominator * 4 // 5
        counts = denominator > self.store.denominator
        ratios = {
            one: self.store.ratios.get(one, usual)
            + int(counts and complete_at(self.trace, one) <= end)
            for one in self.manner.monitors
        }
        kept = [self._kept(one, end) for one in self.entries(end)]
        return Store(
            tuple(one for one in kept if one is not None),
            km,
            clear_km,
            minutes,
            clear_min,
            self.warm_ups(end),
            cycles,
            denominator,
            ratios,
            self.complete(end) if self.manner.monitors else None,
            induced_s,
        )

    def _kept(self, entry: Entry, end: float) -> Kept | None:
        """Return what is kept of one code; None: it is forgotten."""
        old = self.store.code(entry.spn, entry.fmi)
        fault = None if entry.fault is None else self.faults[entry.fault]
        if fault is None and old is not None:
            kept = replace(old, count=entry.count, remembered=entry.previous, frame=entry.frame)
        elif fault is not None:
            kept = Kept(
                entry.spn, entry.fmi, entry.count, fault.cause, fault.words,
                lamps=entry.lamps, pending=entry.pending, mil=entry.mil, had_mil=entry.had_mil,
                permanent=entry.permanent, frame=entry.frame,
                remembered=entry.previous or entry.active,
                clean=0 if old is None else old.clean,
                warm_ups=0 if old is None else old.warm_ups,
                stale=False if old is None else old.stale,
            )  # fmt: skip
        else:
            return None
        failed = self._failed_since_clear(entry, end)
        if entry.active and self.steps == "end" and failed:
            # What stands at key-off goes over to the previously active, and steps then.
            kept = replace(kept, count=min(COUNT_FULL, entry.count + 1))
        if failed:
            return replace(
                kept,
                pending=fault is not None and fault.trips > 1,
                clean=0,
                warm_ups=0,
                stale=False,
            )
        return self._not_found(kept, "" if fault is None else fault.monitor, end)

    def _failed_since_clear(self, entry: Entry, end: float) -> bool:
        if entry.fault is None:
            return False
        wiped = self.wiped_at(entry.spn, entry.fmi, end)
        return any(wiped <= at <= end for at in self.found[entry.fault].failed_s)

    def _not_found(self, kept: Kept, monitor: str, end: float) -> Kept | None:
        """Return a code after a key cycle in which it was not found."""
        name = monitor if monitor in self.manner.monitors else ""
        if complete_at(self.trace, name, max(0.0, self.cleared_s(end))) <= end:
            clean = kept.clean + 1
            over = clean >= CLEAN_CYCLES
            kept = replace(
                kept,
                clean=clean,
                pending=False,
                mil=kept.mil and not over,
                had_mil=kept.had_mil or (kept.mil and over),
                permanent=kept.permanent and not over,
            )
        if warmed_up_at(self.trace) <= end:
            kept = replace(kept, warm_ups=kept.warm_ups + 1)
        # Only controllers with emission duties forget; the others keep old memories for ever.
        old = self.manner.emission and kept.warm_ups >= FORGETS_AFTER and not kept.mil
        nothing = not (kept.remembered or kept.pending or kept.permanent or kept.mil)
        return None if (old and not kept.permanent) or nothing else kept

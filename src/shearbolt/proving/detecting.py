"""From what controllers watch to the spells of faults in one key cycle, clears included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from shearbolt.proving.faults import Fault, debounce
from shearbolt.proving.physics import Flags
from shearbolt.proving.reports import Held
from shearbolt.proving.trace import STEP_S, Trace

What = Literal["dm3", "dm11", "dm22_active", "dm22_previous"]
_NEVER_S = 1e12


@dataclass(frozen=True, slots=True)
class Clear:
    """A clear that a controller carried out."""

    at_s: float
    what: What
    spn: int | None = None
    """DM22: the code that was cleared."""
    fmi: int | None = None

    def touches(self, spn: int, fmi: int) -> bool:
        """Tell whether it is about a code."""
        return self.spn is None or (self.spn, self.fmi) == (spn, fmi)

    @property
    def all_of_it(self) -> bool:
        """Tell whether it also clears what is active."""
        return self.what in ("dm11", "dm22_active")


@dataclass(frozen=True, slots=True)
class Standing:
    """How a fault stood when the key was turned."""

    count: int = 0
    pending: bool = False
    """Found in the key cycle before, by a monitor that needs two."""
    mil: bool = False
    """Confirmed, with the MIL on: it goes on standing until three clean cycles have passed."""


@dataclass(frozen=True, slots=True)
class Found:
    """What one controller found of one fault in a key cycle."""

    held: tuple[Held, ...]
    """As it is told: spells, confirmed or pending."""
    failed_s: tuple[float, ...]
    """When the condition was found, in seconds; also while it stood anyway."""


def condition_of(fault: Fault, trace: Trace, steps: int) -> Flags:
    """Return the watched condition over the steps with the key on."""
    return fault.watch(trace)[:steps]


def find(
    index: int, fault: Fault, condition: Flags, before: Standing, clears: Sequence[Clear]
) -> Found:
    """Work out the spells of one fault from its condition, as two-trip logic and clears have it.

    `clears` are those of its controller, in the order of time; `index` becomes `Held.fault`. A
    clear of everything makes the controller start afresh: what is still there is found again after
    the set delay, with its count from 0, and emission codes as pending first.
    """
    mine = [one for one in clears if one.touches(fault.spn, fault.fmi)]
    hard = [one.at_s for one in mine if one.all_of_it]
    edges = [0.0, *hard, len(condition) * STEP_S]
    heal_s = _NEVER_S if fault.latched else fault.heal_s
    held: list[Held] = []
    failed: list[float] = []
    for number, (begin, end) in enumerate(pairwise(edges)):
        first, last = round(begin / STEP_S), round(end / STEP_S)
        spells = debounce(condition[first:last], fault.set_s, heal_s)
        failed += [begin + set_s for set_s, _ in spells]
        fresh = number > 0
        cut = end if number < len(hard) else None
        confirmed = fault.trips == 1 or (not fresh and (before.pending or before.mil))
        count = 0 if fresh else before.count
        if not fresh and before.mil and fault.trips > 1:
            held.append(Held(index, 0, 0.0, cut, fault.lamps, count))
            continue
        for nth, (set_s, heal) in enumerate(spells, start=1):
            until = cut if heal is None else begin + heal
            held.append(Held(index, nth, begin + set_s, until, fault.lamps, count, confirmed))
    return Found(tuple(_renumbered(held, mine)), tuple(failed))


def _renumbered(held: Sequence[Held], clears: Sequence[Clear]) -> list[Held]:
    """Let counts begin afresh after a clear of what was only remembered then."""
    out = list(held)
    for one in clears:
        if one.all_of_it or any(spell.at(one.at_s) for spell in out):
            continue
        nth = 0
        for place, spell in enumerate(out):
            if spell.set_s >= one.at_s:
                nth += 1
                out[place] = replace(spell, nth=nth, before=0)
    return out


def stood_at(found: Found, time_s: float) -> bool:
    """Tell whether a confirmed spell stands at an instant."""
    return any(one.confirmed and one.at(time_s) for one in found.held)


def flags_of(held: Sequence[Held], trace: Trace) -> Flags:
    """Return at which steps one of some spells stands."""
    flags = np.zeros(len(trace.time_s), np.bool_)
    for one in held:
        last = len(flags) if one.heal_s is None else round(one.heal_s / STEP_S)
        flags[max(0, round(one.set_s / STEP_S)) : last] = True
    return flags

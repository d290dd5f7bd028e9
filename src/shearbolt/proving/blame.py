"""Which true cause is behind each code: found out by living the same hour without it.

A code that comes with a cause and not without it is that cause's; one that comes on a sound
machine too is its own. Where two causes each bring it, or only both together, the one that is
known to show so has it, else the worse one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from shearbolt.proving.causes import Active
from shearbolt.proving.cycle import KeyCycle
from shearbolt.proving.truth import Cause as CauseClass

Code: TypeAlias = tuple[str, int, int]
"""Controller, SPN and FMI."""
_FOLLOW = frozenset({1569, 5246})
"""SPNs that only say that torque is limited, for the sake of another code."""
_PLAIN = 0.3
"""Severity from which a cause is plainly there."""
OWN = ""
"""Nothing that was switched on is behind it."""
Lived: TypeAlias = Callable[[Sequence[Active]], KeyCycle]
"""Lives the same key cycle with some of the causes only."""


def found_in(cycle: KeyCycle) -> dict[Code, int]:
    """Return the codes whose condition was found in a key cycle, with how often."""
    return {
        (fault.controller, fault.spn, fault.fmi): len(found.failed_s)
        for index, found in cycle.found.items()
        for fault in (cycle.faults[index],)
        if found.failed_s
    }


def found_around(cycle: KeyCycle, at_s: float) -> dict[Code, tuple[int, int | None]]:
    """Return how often each code's condition was found before an instant and after it.

    None after it: it was not found then and did not stand any more either.
    """
    out: dict[Code, tuple[int, int | None]] = {}
    for index, found in cycle.found.items():
        if found.failed_s:
            fault = cycle.faults[index]
            before = sum(one < at_s for one in found.failed_s)
            stands = any(one.heal_s is None or one.heal_s > at_s for one in found.held)
            after = len(found.failed_s) - before
            code = fault.controller, fault.spn, fault.fmi
            out[code] = before, after if after or stands else None
    return out


@dataclass(slots=True)
class Blame:
    """What is known so far of who is behind which code."""

    _known: dict[tuple[str, frozenset[str], Code], str] = field(default_factory=dict)
    _own: set[tuple[str, Code]] = field(default_factory=set)
    """Codes that were found to come on the sound machine too."""

    def of(
        self,
        machine: str,
        active: Sequence[Active],
        hours: float,
        cycle: KeyCycle,
        lived: Lived,
        *,
        shortcut: bool = False,
    ) -> dict[Code, str]:
        """Return the key of the cause behind each code found (`OWN`: none of them).

        `machine` is its name, `active` what is at work at `hours`; `lived` is asked only where it
        is not known yet. `shortcut`: a code that one single cause is known to show is taken for
        its own, where that cause is plainly there; one that came on the sound machine before and
        that no cause shows is its own again.
        """
        codes = found_in(cycle)
        keys = frozenset(one.cause.key for one in active)
        if not active:
            return dict.fromkeys(codes, OWN)
        out: dict[Code, str] = {}
        asked: list[Code] = []
        for code in codes:
            if code[1] in _FOLLOW:
                continue
            behind = self._known.get((machine, keys, code))
            if behind is None and shortcut:
                behind = self._plainly(machine, code, active, hours)
            if behind is None:
                asked.append(code)
            else:
                out[code] = behind
        if asked:
            trial = _Trial(codes, active, hours, lived)
            for code in asked:
                out[code] = trial.behind(code)
                if out[code] == OWN:
                    self._own.add((machine, code))
        out |= {code: _leading(cycle, out) for code in codes if code[1] in _FOLLOW}
        for code, behind in out.items():
            self._known[machine, keys, code] = behind
        return {code: out[code] for code in codes}

    def _plainly(
        self, machine: str, code: Code, active: Sequence[Active], hours: float
    ) -> str | None:
        """Return the cause that needs no trial; None: there is none."""
        shows = _showing(code, active)
        if len(shows) == 1 and shows[0].severity(hours) >= _PLAIN:
            return shows[0].cause.key
        return OWN if not shows and (machine, code) in self._own else None

    def known(self, machine: str, keys: frozenset[str], code: Code) -> str:
        """Return the key of the cause behind a code found before with these causes at work."""
        return self._known.get((machine, keys, code), OWN)


def _showing(code: Code, active: Sequence[Active]) -> list[Active]:
    return [one for one in active if code[1:] in one.cause.shows]


def _leading(cycle: KeyCycle, behind: dict[Code, str]) -> str:
    """Return what is behind a limit of torque: whatever is behind the code that limits most."""
    limits = sorted(
        (one.derate_pct, behind[code])
        for one in cycle.faults
        if (code := (one.controller, one.spn, one.fmi)) in behind and behind[code] != OWN
    )
    return limits[0][1] if limits else OWN


class _Trial:
    """The same hour lived without this and that, as often as it takes."""

    def __init__(
        self, codes: dict[Code, int], active: Sequence[Active], hours: float, lived: Lived
    ) -> None:
        self._codes = codes
        self._active = active
        self._hours = hours
        self._lived = lived
        self._sound = found_in(lived(()))
        self._without: dict[str, dict[Code, int]] | None = None

    def behind(self, code: Code) -> str:
        """Return the key of the cause behind one code."""
        if self._sound.get(code, 0) >= max(1, round(0.7 * self._codes[code])):
            return OWN
        if len(self._active) == 1:
            return self._active[0].cause.key
        showing = _showing(code, self._active)
        if len(showing) == 1:
            return showing[0].cause.key
        if self._without is None:
            self._without = {
                one.cause.key: found_in(self._lived([o for o in self._active if o is not one]))
                for one in self._active
            }
        needed = [one for one in self._active if code not in self._without[one.cause.key]]
        few = _showing(code, needed) or needed or showing or list(self._active)
        return max(few, key=lambda one: one.severity(self._hours)).cause.key


def told(active: Sequence[Active], key: str) -> tuple[CauseClass, str] | None:
    """Return class and words of the cause of a key among those at work; None: its own."""
    for one in active:
        if one.cause.key == key:
            return one.cause.cause_class, one.cause.words
    return None


__all__ = ["OWN", "Blame", "Code", "found_around", "found_in", "told"]

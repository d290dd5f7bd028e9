"""When a controller sends its active codes (DM1), by its manner, and what it lists each time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.model.controller import Dm1Manner
from shearbolt.model.fault import Lamps
from shearbolt.proving.faults import OFF, StandingLamp, Window, together

PERIOD_S = 1.0
"""SAE J1939-73: once a second, and on a change."""


@dataclass(frozen=True, slots=True)
class Held:
    """One spell of one fault as its controller holds it, in seconds from the recording's zero."""

    fault: int
    """Index of the fault."""
    nth: int
    """Which spell since key-on or since the last clear, from 1; 0: it stood before key-on."""
    set_s: float
    heal_s: float | None
    lamps: Lamps
    before: int | None = None
    """Occurrence count before the first of these spells; None: that of the fault."""
    confirmed: bool = True
    """False: found for the first time by a monitor that needs two key cycles; not in DM1."""

    def at(self, time_s: float) -> bool:
        """Tell whether it stands at an instant."""
        return self.set_s <= time_s and (self.heal_s is None or time_s < self.heal_s)


@dataclass(frozen=True, slots=True)
class Report:
    """One DM1 message as planned."""

    at_s: float
    listed: tuple[Held, ...]
    lamps: Lamps


def plan_reports(
    manner: Dm1Manner,
    alive: tuple[float, float],
    held: Sequence[Held],
    standing: Sequence[StandingLamp],
    *,
    first_after_s: float,
    bam_s: float,
    quiet: Sequence[Window] = (),
    busy: Sequence[Window] = (),
) -> list[Report]:
    """Plan the DM1 messages of one stretch of life (from, to, in seconds).

    `first_after_s` is the time from the start of life to the first message; a message that needs
    the transport protocol takes `bam_s` a packet, and none begins while one is under way, nor in
    the `quiet` windows in which DM13 has stopped it. In the `busy` windows the controller
    broadcasts something else, and no second broadcast may overlap with that (SAE J1939-21).
    """
    begin, end = alive
    if manner in ("never_heard", "unknown"):
        return []
    held = [one for one in held if one.confirmed]
    instants = {one.set_s for one in held} | {one.heal_s for one in held if one.heal_s is not None}
    instants |= {at for one in standing for at in one.window}
    instants |= {until for _, until in quiet}
    changes = sorted(at for at in instants if begin < at < end)
    reports: list[Report] = []

    def make(at_s: float) -> Report:
        listed = tuple(one for one in held if one.at(at_s))
        lit = [one.lamps for one in listed]
        lit += [one.lamps for one in standing if one.window[0] <= at_s < one.window[1]]
        return Report(at_s, listed, together(lit))

    at = begin + first_after_s
    free_at = begin
    passed = 0
    while at < end:
        at = max(at, free_at)
        hushed = next((until for since, until in quiet if since <= at < until), None)
        if hushed is not None:
            at = hushed
            continue
        report = make(at)
        long_s = _takes(report, bam_s)
        other = next((w for w in busy if w[0] < at + long_s and at < w[1]), None)
        if long_s > 0.01 and other is not None:
            at = other[1]
            continue
        spoke = bool(report.listed) or report.lamps != OFF
        first = not reports
        if spoke or manner == "always" or (manner == "at_key_on" and first):
            reports.append(report)
            free_at = report.at_s + long_s
        periodic = report.at_s + PERIOD_S if spoke or manner == "always" else end
        while passed < len(changes) and changes[passed] <= report.at_s:
            passed += 1
        at = min(periodic, changes[passed] if passed < len(changes) else end)
    return [one for one in reports if one.at_s < end]


def _takes(report: Report, bam_s: float) -> float:
    """Return for how long a message occupies its sender (s)."""
    if len(report.listed) <= 1:
        return 0.01
    return bam_s * (-(-(2 + 4 * len(report.listed)) // 7) + 1)

"""When a controller sends its active codes (DM1), by its manner, and what it lists each time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.model.controller import Dm1Manner
from shearbolt.model.fault import Lamps
from shearbolt.proving.faults import OFF, StandingLamp, together

PERIOD_S = 1.0
"""SAE J1939-73: once a second, and on a change."""


@dataclass(frozen=True, slots=True)
class Held:
    """One spell of one fault as its controller holds it, in seconds from the recording's zero."""

    fault: int
    """Index of the fault."""
    nth: int
    """Which spell of the recording, from 1."""
    set_s: float
    heal_s: float | None
    lamps: Lamps

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
) -> list[Report]:
    """Plan the DM1 messages of one stretch of life (from, to, in seconds).

    `first_after_s` is the time from the start of life to the first message; a message that needs
    the transport protocol takes `bam_s` a packet, and none begins while one is under way.
    """
    begin, end = alive
    if manner in ("never_heard", "unknown"):
        return []
    instants = {one.set_s for one in held} | {one.heal_s for one in held if one.heal_s is not None}
    instants |= {at for one in standing for at in one.window}
    changes = sorted(at for at in instants if begin < at < end)
    reports: list[Report] = []

    def make(at_s: float) -> Report:
        listed = tuple(one for one in held if one.at(at_s))
        lit = [one.lamps for one in listed]
        lit += [one.lamps for one in standing if one.window[0] <= at_s < one.window[1]]
        return Report(at_s, listed, together(lit))

    at = begin + first_after_s
    free_at = begin
    while at < end:
        report = make(max(at, free_at))
        spoke = bool(report.listed) or report.lamps != OFF
        first = not reports
        if spoke or manner == "always" or (manner == "at_key_on" and first):
            reports.append(report)
            packets = -(-(2 + 4 * len(report.listed)) // 7) if len(report.listed) > 1 else 0
            free_at = report.at_s + bam_s * (packets + 1) if packets else report.at_s + 0.01
        periodic = report.at_s + PERIOD_S if spoke or manner == "always" else end
        changed = next((one for one in changes if one > report.at_s), end)
        at = min(periodic, changed)
    return [one for one in reports if one.at_s < end]

"""Starts and exposure of one fault in a window of its line, on one scale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from shearbolt.reasoning.follow_up.line import Group, Line, Scale, Start, Stretch, Window
from shearbolt.reasoning.follow_up.scale import positions

BINS = 20
"""Parts of the exposure in which starts are counted out to see whether they come in bursts."""
BURSTS_P = 0.05
RECORDED_ONLY = frozenset({"starts", "key_cycles", "setting_hours"})
"""Scales that time between looks does not tell."""


@dataclass(frozen=True, slots=True)
class Measure:
    """How exposure is counted: the scale, and for a setting the exposure in it by visit."""

    scale: Scale
    inside: Mapping[int, float] = field(default_factory=dict)
    """For 'setting_hours': hours in the setting by place; nothing between visits counts."""
    starts_inside: frozenset[tuple[int, float]] = frozenset()
    """Starts (place, second) that came in the setting."""

    def amount(self, stretch: Stretch) -> float:
        """Give a stretch's exposure."""
        if self.scale == "setting_hours":
            return self.inside.get(stretch.place, 0.0) if stretch.recorded else 0.0
        return stretch.amounts.get(self.scale, 0.0)

    def counts(self, start: Start) -> bool:
        """Tell whether a start belongs to the exposure."""
        return self.scale != "setting_hours" or (start.place, start.at_s) in self.starts_inside


@dataclass(frozen=True, slots=True)
class Tally:
    """What a window holds."""

    events: int
    """Starts to reckon with, at least so many."""
    exposure: float
    """In which a start would have been seen, and could have come."""
    not_tested: float
    """In which the controller had not yet tested again after a clear."""
    estimated: float
    """Of the exposure, what is estimated from the recorded share."""
    blind_h: float
    """Engine hours in which nobody could have seen a start."""
    unsure: int
    """Starts known by number that may lie before it, in it or after it; at least so many."""
    in_bursts: bool
    """Starts come in bursts: the key cycles with a start are counted instead."""
    returns: tuple[Start, ...]
    """Every start that the book shows in it, whether or not it could have been counted."""
    counted_returns: tuple[Group, ...]
    """Starts known by number alone that surely lie in it."""
    steps: tuple[tuple[Stretch, float], ...]
    """The exposure stretch by stretch."""

    @property
    def came_back(self) -> bool:
        """Tell whether any start lies in it for sure."""
        return bool(self.returns or self.counted_returns)


def tally(
    line: Line,
    window: Window,
    measure: Measure,
    untested: Mapping[tuple[int, bool], float] | None = None,
) -> Tally:
    """Count a window out. `untested`: share by (place, recorded) that tested nothing."""
    untested = untested or {}
    sure, unsure = _groups_in(line, window)
    # Time between visits whose starts may lie on either side of a repair counts for neither.
    doubtful = {place for one in unsure for place in range(one.after + 1, one.until + 1)}
    exposure = not_tested = estimated = blind_h = 0.0
    steps: list[tuple[Stretch, float]] = []
    watched: set[int] = set()
    """Places before which the time between counts."""
    for one, low, high in line.within(window):
        amount = measure.amount(one) * (high - low)
        if not one.recorded and one.place in doubtful:
            amount = 0.0
        if one.watcher is None or (not one.recorded and one.place in doubtful):
            if one.from_h is not None and one.to_h is not None:
                blind_h += max(0.0, one.to_h - one.from_h) * (high - low)
            continue
        if not one.recorded:
            watched.add(one.place)
        skipped = amount * untested.get((one.place, one.recorded), 0.0)
        not_tested += skipped
        exposure += amount - skipped
        steps.append((one, amount - skipped))
        if measure.scale in one.estimated:
            estimated += amount - skipped
    shown = [one for one in line.starts if window.holds_start(one) and not one.goes_on]
    mine = [one for one in shown if _countable(line, one, window, measure, watched)]
    between = 0
    if measure.scale not in RECORDED_ONLY:
        between = sum(one.at_least for one in sure if not one.bounds_only)
    in_bursts = _in_bursts(line, window)
    if measure.scale == "key_cycles":
        events = _cycles_active(line, window) + between
    elif in_bursts:
        cycles = len({(one.place, one.cycle) for one in mine})
        share = cycles / len(mine) if mine else 1.0
        events = cycles + (max(1, int(between * share)) if between else 0)
    else:
        events = len(mine) + between
    if measure.scale == "setting_hours" and exposure <= 0.0:
        events = 0
    return Tally(
        events,
        exposure,
        not_tested,
        estimated,
        blind_h,
        sum(one.at_least for one in unsure),
        in_bursts,
        tuple(shown),
        tuple(one for one in sure if one.at_least),
        tuple(steps),
    )


def _groups_in(line: Line, window: Window) -> tuple[list[Group], list[Group]]:
    sure: list[Group] = []
    unsure: list[Group] = []
    for one in line.groups:
        held = window.holds_group(one)
        if held:
            sure.append(one)
        elif held is None:
            unsure.append(one)
    return sure, unsure


def _countable(
    line: Line, start: Start, window: Window, measure: Measure, watched: set[int]
) -> bool:
    """Tell whether a start came in exposure: seen in a visit that counts, or in watched time."""
    if window.begin is None and start.opened:
        return False
    if not measure.counts(start):
        return False
    if not start.seen:
        return start.place in watched and measure.scale not in RECORDED_ONLY
    here = next(one for one in line.stretches if one.recorded and one.place == start.place)
    # A note by hand lies in the time between, at its end.
    return here.watcher is not None or start.place in watched


def _cycles_active(line: Line, window: Window) -> int:
    opened = window.begin is None and any(one.opened for one in line.starts)
    cycles = sum(one.active_cycles for one, _, _ in line.within(window) if one.recorded)
    return max(0, cycles - int(opened))


def _in_bursts(line: Line, window: Window) -> bool:
    """Tell whether starts keep together more than chance would have it.

    Exact chance that so many starts, each anywhere in the exposure, fall into so few of its parts.
    """
    found = positions(line, window, "engine_hours")
    whole = sum(
        one.amounts.get("engine_hours", 0.0) * (high - low)
        for one, low, high in line.within(window)
    )
    if found is None or len(found) < 3 or whole <= 0.0:
        return False
    filled = len({min(BINS - 1, int(BINS * at / whole)) for at in found})
    return chance_of_few_parts(len(found), filled, BINS) < BURSTS_P


def chance_of_few_parts(starts: int, filled: int, parts: int) -> float:
    """Give the chance that so many starts thrown at random fall into `filled` parts or fewer."""
    chances = [1.0] + [0.0] * parts
    for _ in range(starts):
        nxt = [0.0] * (parts + 1)
        for i, chance in enumerate(chances):
            nxt[i] += chance * i / parts
            if i < parts:
                nxt[i + 1] += chance * (parts - i) / parts
        chances = nxt
    return sum(chances[: filled + 1])

"""Groups C and D from the plausibility checks and charts: what they found of the faulty reading."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.reasoning.odds.scene import Found, Missing, Scene
from shearbolt.reasoning.odds.values import Fact, Moment
from shearbolt.reasoning.plausibility.check import CheckResult, Result

JUDGED: tuple[Result, ...] = ("odd", "doubtful", "ok")


@dataclass(frozen=True, slots=True)
class Rule:
    """A finding of a check, and the evidence that it is."""

    check: str
    finding: str
    evidence: str
    results: tuple[Result, ...]
    """Only with one of these results."""
    traits: frozenset[str] = frozenset()
    """Only for kinds of codes with one of these traits; empty: any."""
    own: bool = True
    """The finding must be about the fault's own reading."""


def _rule(
    check: str,
    finding: str,
    evidence: str,
    *results: Result,
    traits: str = "",
    own: bool = True,
) -> Rule:
    few = frozenset(traits.split("|")) if traits else frozenset()
    return Rule(check, finding, evidence, results or JUDGED, few, own)


_AT_REST = ("oil_at_rest", "boost_at_rest", "dpf_at_rest", "air_filter_at_rest", "rail_at_rest")
RULES = (
    _rule("cold_soak", "soak_differs", "soak_differs", "odd"),
    _rule("cold_soak", "soak_differs_off_not_sure", "soak_differs", "doubtful"),
    _rule("cold_soak", "soak_agrees", "soak_agrees", "ok"),
    *(_rule(check, "not_zero_at_rest", "not_zero_at_rest", "odd") for check in _AT_REST),
    *(_rule(check, "near_zero_at_rest", "zero_at_rest", "ok") for check in _AT_REST),
    _rule("manifold_at_rest", "manifold_is_not_barometer", "not_zero_at_rest", "odd"),
    _rule("frozen", "frozen", "frozen", "odd"),
    _rule("oil_pressure", "oil_constant", "frozen", "odd"),
    _rule("oil_pressure", "oil_follows", "oil_follows", "ok"),
    _rule("oil_low", "oil_low_only_at_hot_idle", "oil_low_hot_idle", "odd"),
    _rule("boost_twins", "boost_twins_agree", "redundant_agrees", "ok", traits="boost", own=False),
    _rule("boost_twins", "boost_twins_differ", "redundant_differs", "odd", traits="boost",
          own=False),
    _rule("ground_speed", "speed_lost", "shaft_drops_out", "odd", traits="speed"),
    _rule("ground_speed", "speeds_differ", "counted_ratio_off", "odd", traits="speed"),
    _rule("input_shaft", "shaft_lost", "shaft_drops_out", "odd", traits="speed"),
    _rule("output_shaft", "output_shaft_lost", "shaft_drops_out", "odd", traits="speed"),
    _rule("engine_speed_lost", "engine_speed_lost", "shaft_drops_out", "odd", traits="speed"),
    _rule("dpf_flow", "filter_drop_missing", "drop_missing", "odd", traits="drop"),
    _rule("dpf_flow", "filter_drop_negative", "drop_without_flow", "odd", traits="drop"),
    _rule("dpf_flow", "filter_drop_without_flow", "drop_without_flow", "odd", traits="drop"),
    _rule("dpf_flow", "filter_drop_offset", "drop_offset", "doubtful", traits="drop"),
    _rule("dpf_flow", "filter_drop_follows_flow", "drop_follows_flow", "ok", traits="soot"),
    _rule("hydraulic_filter", "filter_switch_closed_at_rest", "switch_wrong_at_rest", "odd",
          traits="filter"),
    _rule("hydraulic_filter", "filter_restricted_when_warm", "warm_too", "odd", traits="filter"),
    _rule("hydraulic_filter", "filter_bypassed_by_cold_oil", "only_while_cold", "ok",
          traits="filter"),
    _rule("def_quality", "reductant_is_water", "reductant_bad", "odd", traits="nox", own=False),
    _rule("def_quality", "reductant_thin", "reductant_bad", "odd", traits="nox", own=False),
    _rule("def_quality", "reductant_wrong_fluid", "reductant_bad", "odd", traits="nox", own=False),
    _rule("charging", "does_not_charge", "charging_bad", "odd", "doubtful", traits="voltage",
          own=False),
    _rule("charging", "overcharges", "charging_bad", "odd", traits="voltage", own=False),
    _rule("batteries", "voltages_differ", "one_unit_low", "odd", traits="voltage|network"),
    _rule("noise", "noisy", "noisy", "odd"),
)  # fmt: skip
"""What of the checks bears on causes; for each piece of evidence the reason stands in its row."""
AGAINST: Mapping[str, str] = {
    "soak_agrees": "soak_differs",
    "zero_at_rest": "not_zero_at_rest",
    "redundant_agrees": "redundant_differs",
    "drop_follows_flow": "drop_without_flow",
    "oil_follows": "frozen",
    "only_while_cold": "warm_too",
}
"""A finding that all is well counts only where its opposite was never found."""
CHARTED = frozenset({
    "soak", "boost_at_rest", "dpf_at_rest", "manifold_at_rest", "air_flow_size", "output_ratio",
    "input_ratio", "voltage_less_first", "barometer_less_standard",
})  # fmt: skip
"""Traits that tell of the sensor alone: what the day's work and wear do not move."""
NARROWER = 0.15
"""A range whose ends moved by this share of what it was has shifted (own rule)."""
POSITIONS = ("position",)


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Give what checks and charts say of the faulty reading."""
    seen: dict[str, list[CheckResult]] = {}
    refused: dict[str, CheckResult] = {}
    wanted = [one for one in RULES if not one.traits or one.traits & scene.row.traits]
    for result in scene.about(*{one.check for one in wanted}):
        for rule in wanted:
            if rule.check != result.check:
                continue
            if result.result == "not_possible":
                refused.setdefault(rule.check, result)
            elif result.because.key == rule.finding and result.result in rule.results:
                if rule.own and not scene.is_about_it(result):
                    continue
                if rule.evidence == "frozen" and _stands_in(scene, result):
                    continue
                seen.setdefault(rule.evidence, []).append(result)
    for evidence, results in seen.items():
        if AGAINST.get(evidence) not in seen:
            yield Found(evidence, _figures(results), _moments(results))
    for rule in wanted:
        if rule.check in refused and rule.evidence not in seen and _own_check(rule, scene):
            told = refused[rule.check]
            yield Missing(rule.evidence, told.because.key, told.missing)
    yield from _charts(scene)
    yield from _range(scene)


CIRCUIT_FMIS = frozenset({3, 4, 5, 6})


def _stands_in(scene: Scene, result: CheckResult) -> bool:
    """Tell whether a constant reading is no stuck one: at the end of its scale, or a stand-in.

    While a code of its circuit stands a controller may send a default value.
    """
    for index, view in scene.machine.views.items():
        if view.visit.visit != result.visit:
            continue
        sensor = scene.sensor(index)
        if sensor is not None and float(np.mean(sensor.ended)) > 0.1:
            return True
        for some in scene.machine.starts.values():
            other = some[0].fault
            if other.spn == scene.fault.spn and other.fmi in CIRCUIT_FMIS:
                return any(one.visit == index for one in some)
    return False


def _own_check(rule: Rule, scene: Scene) -> bool:
    """Tell whether a refused check would have been about this reading."""
    about = {
        "oil_at_rest": "oil_kpa", "oil_pressure": "oil_kpa", "oil_low": "oil_kpa",
        "boost_at_rest": "boost_kpa", "dpf_at_rest": "dpf_drop_kpa",
        "air_filter_at_rest": "air_filter_kpa", "rail_at_rest": "rail_mpa",
        "manifold_at_rest": "manifold_abs_kpa", "ground_speed": "speed_kmh",
        "input_shaft": "input_rpm", "output_shaft": "output_rpm",
        "engine_speed_lost": "engine_rpm",
    }  # fmt: skip
    if rule.check in about:
        return about[rule.check] == scene.quantity
    if rule.check == "cold_soak":
        return "temperature" in scene.row.traits
    return bool(rule.traits)


def _figures(results: list[CheckResult]) -> tuple[Fact, ...]:
    last = results[-1]
    return (
        ("visits", float(len({one.visit for one in results}))),
        *((one.name, one.value) for one in last.figures),
    )


def _moments(results: list[CheckResult]) -> tuple[Moment, ...]:
    return tuple(Moment(one.visit, at_us) for one in results[-5:] for at_us in one.moments_us[:4])


def _charts(scene: Scene) -> Iterator[Found]:
    """Give the chart of the reading that has left its limit."""
    for one in scene.machine.charts:
        if one.sensor.spn != scene.fault.spn or one.alarm is None or one.trait not in CHARTED:
            continue
        values = (("before", one.alarm.before), ("after", one.alarm.after))
        yield Found("chart_moved", values, (Moment(one.alarm.visit, 0),))
        return


def _range(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether a position moves smoothly, but over another range than before."""
    if not scene.row.traits & set(POSITIONS) or not scene.visits:
        return
    first = scene.visits[0]
    before: list[F64] = []
    after: list[F64] = []
    for index in scene.machine.views:
        sensor = scene.sensor(index)
        if sensor is None or sensor.ended.any():
            continue
        told = sensor.column.last[~np.isnan(sensor.column.last)]
        if len(told) > 60:
            ends = np.asarray(np.percentile(told, (0.5, 99.5)), np.float64)
            (before if index < first else after).append(ends)
    if len(before) < 2 or not after:
        yield Missing("range_shifted", "no_baseline", ("earlier_visits",))
        return
    low, high = np.min(before, axis=0)[0], np.max(before, axis=0)[1]
    now_low, now_high = np.min(after, axis=0)[0], np.max(after, axis=0)[1]
    span = float(high - low)
    if span > 0 and max(float(now_low - low), float(high - now_high)) >= NARROWER * span:
        values = (("low_before", float(low)), ("high_before", float(high)),
                  ("low_now", float(now_low)), ("high_now", float(now_high)))  # fmt: skip
        yield Found("range_shifted", values, scene.moments(scene.starts))

"""Odd readings, drifting sensors and limited power of a machine as documents."""

from __future__ import annotations

import re
from collections.abc import Mapping

from shearbolt.app.composing.advice_words import FaultWords, limp_words
from shearbolt.app.composing.between_words import unrecorded_words
from shearbolt.app.composing.learning_words import finding_of_baseline
from shearbolt.app.composing.measures import measure
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.documents.asking import Units
from shearbolt.app.documents.concluded import Drift, OddReading, PowerLimit, Unrecorded
from shearbolt.book import records as r
from shearbolt.dictionary.plausibility import check_words, finding_words
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.advice import Limp
from shearbolt.reasoning.between import Unrecorded as UnrecordedFound
from shearbolt.reasoning.learning.reference import CHECK as BASELINE
from shearbolt.reasoning.plausibility.charts import Chart
from shearbolt.reasoning.plausibility.check import CheckResult, Figure

TRAITS: Mapping[str, str] = {
    "soak": "against the other temperatures after a night",
    "boost_at_rest": "with the engine stopped",
    "dpf_at_rest": "with the engine stopped",
    "manifold_at_rest": "against the barometer with the engine stopped",
    "barometer_less_standard": "against the standard air at its altitude",
    "oil_at_1500_rpm": "at 1500 rpm, warm",
    "charging": "while charging",
    "voltage_less_first": "against the other voltage",
    "input_ratio": "against engine speed",
    "output_ratio": "against ground speed",
    "air_flow_size": "against what the engine can take in",
    "air_filter_drop": "at high flow",
    "nox_conversion": "taken away by the catalyst",
    "def_quality": "while working",
    "fuel_delivery": "while working",
}
_FIGURE = re.compile(r"\{(\w+)\}")


def odd_reading(
    result: CheckResult, visits: Mapping[str, r.Visit], tables: FactTables, units: Units
) -> OddReading:
    """Tell what a check found in one visit."""
    visit = visits[result.visit]
    figures = {one.name: one for one in result.figures}
    if result.check == BASELINE:
        gap, before = figures["difference"], figures["baseline"]
        words = finding_of_baseline(result.because.key, gap.value, before.value, before.unit, units)
    else:
        words = _FIGURE.sub(
            lambda hit: _figure(figures.get(hit[1]), units), finding_words()[result.because.key]
        )
    about = [_spn_words(one.spn, tables) for one in result.about]
    head = " and ".join(dict.fromkeys(about)) or check_words()[result.check]
    return {
        "check": result.check,
        "result": "odd" if result.result == "odd" else "doubtful",
        "visit": result.visit,
        "spns": [one.spn for one in result.about],
        "addresses": [one.address for one in result.about],
        "at": [moment(visit, one) for one in result.moments_us],
        "at_s": [seconds(visit, one) for one in result.moments_us],
        "words": f"{_upper(head)}: {words}.",
        "source": result.source,
    }


def _figure(figure: Figure | None, units: Units) -> str:
    if figure is None:
        return "?"
    # The sentence itself names the unit.
    del units
    return f"{figure.value:.3g}" if abs(figure.value) < 1000 else f"{figure.value:,.0f}"


def drift(chart: Chart, tables: FactTables, units: Units) -> Drift | None:
    """Tell a sensor that left its chart; None: it did not."""
    alarm = chart.alarm
    if alarm is None:
        return None
    name = _upper(_spn_words(chart.sensor.spn, tables))
    how = TRAITS.get(chart.trait, chart.trait.replace("_", " "))
    before, after = (measure(float(f"{one:.3g}"), chart.unit, units) for one in _ends(chart))
    return {
        "spn": chart.sensor.spn,
        "address": chart.sensor.address,
        "trait": chart.trait,
        "direction": alarm.direction,
        "since": alarm.since,
        "noticed": alarm.visit,
        "before": alarm.before,
        "after": alarm.after,
        "unit": chart.unit,
        "words": f"{name} has moved, {how}: it was {before}, and has been {after} since.",
    }


def _ends(chart: Chart) -> tuple[float, float]:
    assert chart.alarm is not None
    return chart.alarm.before, chart.alarm.after


def power_limit(limp: Limp, visits: Mapping[str, r.Visit], fault_words: FaultWords) -> PowerLimit:
    """Tell one stretch of limited power."""
    visit = visits[limp.visit]
    return {
        "visit": limp.visit,
        "start": moment(visit, limp.from_us),
        "start_at_s": seconds(visit, limp.from_us),
        "end": moment(visit, limp.until_us),
        "end_at_s": seconds(visit, limp.until_us),
        "left_percent": limp.left_pct,
        "cause": limp.cause,
        "words": limp_words(limp, fault_words),
    }


def unrecorded(one: UnrecordedFound) -> Unrecorded:
    """Tell starts that nobody recorded."""
    return {
        "at_least": one.at_least,
        "at_most": one.at_most,
        "hours_from": one.from_h,
        "hours_to": one.to_h,
        "time_from": to_iso(one.from_us) if one.from_us is not None else None,
        "time_to": to_iso(one.to_us) if one.to_us is not None else None,
        "words": unrecorded_words(one),
    }


def _spn_words(spn: int, tables: FactTables) -> str:
    return tables.dictionary.spn_name(spn) or f"SPN {spn}"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]

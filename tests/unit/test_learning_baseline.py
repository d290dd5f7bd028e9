"""The guided round: which steps a visit shows, the reference it leaves, and what differs later."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_round import ROUND, columns_of, round_view
from tests.made_state import table, visit

from shearbolt.dictionary.baseline import baseline_readings, baseline_steps, experiments
from shearbolt.dictionary.quantities import quantities
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning import (
    compare,
    findings_of,
    next_step,
    reference_of,
    steps_of,
)
from shearbolt.reasoning.learning.steps import idle_rpm
from shearbolt.reasoning.quantity_view import QuantityView

ALL = tuple(one.step for one in baseline_steps())


def test_a_whole_round_is_known_step_by_step() -> None:
    seen = steps_of(round_view())
    assert [(one.step, one.state) for one in seen] == [(step, "done") for step in ALL]
    begins = np.cumsum([0, *(seconds for _, seconds in ROUND)])
    for one, begin in zip(seen, begins[:-1], strict=True):
        assert one.from_us is not None
        assert abs(one.from_us / SECOND_US - begin) <= 11, one.step
    assert next_step(seen) is None
    assert idle_rpm(round_view()) == 850.0


@pytest.mark.parametrize("step", [name for name in ALL if name != "start"])
def test_a_step_that_was_left_out_is_not_done(step: str) -> None:
    parts = [one for one in ROUND if one[0] != step]
    seen = {one.step: one for one in steps_of(round_view(parts=parts))}
    assert seen[step].state == "not_done"
    following = next_step(tuple(seen.values()))
    assert following is not None
    assert following.step == step
    assert next_step(tuple(seen.values()), frozenset({step})) is None


@pytest.mark.parametrize(
    ("quantity", "steps"),
    [("hitch_pct", {"hydraulics"}), ("pto_engaged", {"pto"}), ("speed_kmh", {"drive", "high_idle"}),
     ("engine_rpm", set(ALL))],
)  # fmt: skip
def test_what_a_machine_does_not_tell_is_not_called_undone(quantity: str, steps: set[str]) -> None:
    seen = steps_of(round_view(without=quantity))
    assert {one.step for one in seen if one.state == "not_told"} == steps
    assert all(quantity in one.missing for one in seen if one.state == "not_told")


def test_too_short_a_step_tells_how_long_it_was() -> None:
    parts = [(name, 10 if name == "hot_idle" else seconds) for name, seconds in ROUND]
    one = next(one for one in steps_of(round_view(parts=parts)) if one.step == "hot_idle")
    assert (one.state, one.seconds, one.needed_s) == ("not_done", 10.0, 30.0)


def test_steady_work_at_one_speed_is_no_idling() -> None:
    told = {"engine_rpm": np.full(300, 1500.0), "coolant_c": np.full(300, 85.0)}
    seen = {one.step: one for one in steps_of(QuantityView(visit(table(300, told))))}
    assert seen["hot_idle"].state == "not_told"
    assert seen["high_idle"].state == "not_told"


def test_lifting_once_is_no_round_of_the_hydraulics() -> None:
    told = columns_of()
    told["hitch_pct"] = np.where(np.arange(len(told["hitch_pct"])) < 120, 5.0, 95.0)
    seen = steps_of(QuantityView(visit(table(len(told["hitch_pct"]), told))))
    assert next(one for one in seen if one.step == "hydraulics").state == "not_done"


def test_the_reference_holds_median_and_spread_of_each_step() -> None:
    reference = reference_of(round_view())
    kept = {(one.step, one.quantity): one for one in reference.readings}
    assert reference.steps == ALL
    assert kept["hot_idle", "oil_kpa"].value == 200.0
    assert kept["hot_idle", "oil_kpa"].unit == "kPa"
    assert kept["hot_idle", "oil_kpa"].rows >= 30
    # Resolution 4 kPa: never surer than one count is wide.
    assert kept["hot_idle", "oil_kpa"].spread == pytest.approx(4 / np.sqrt(12), rel=1e-3)
    assert kept["start", "battery_v"].value == pytest.approx(10.4, abs=0.05)
    assert kept["cold_key_on", "coolant_c"].value == 14.0


def test_oil_pressure_40_kpa_below_its_own_baseline_is_named() -> None:
    reference = reference_of(round_view())
    (found,) = findings_of(reference, round_view("v2", hot_idle__oil_kpa=-40))
    assert (found.check, found.result, found.because.key) == (
        "baseline", "doubtful", "hot_idle_below",
    )  # fmt: skip
    assert dict(found.because.values) == {"difference": 40.0, "value": 160.0, "baseline": 200.0}
    assert found.about[0].spn == 100
    assert found.moments_us
    assert "v1" in found.source
    (worse,) = findings_of(reference, round_view("v3", hot_idle__oil_kpa=-80))
    assert worse.result == "odd"


def test_better_than_before_is_no_finding() -> None:
    reference = reference_of(round_view())
    assert findings_of(reference, round_view("v2", hot_idle__oil_kpa=60)) == ()
    assert findings_of(reference, round_view("v1", hot_idle__oil_kpa=-90)) == ()


def test_what_was_not_alike_is_not_compared() -> None:
    """Oil thins with heat: a hotter engine is no worn one."""
    reference = reference_of(round_view())
    later = round_view("v2", hot_idle__oil_kpa=-60, hot_idle__coolant_c=9)
    one = next(
        one for one in compare(reference, reference_of(later))
        if (one.step, one.quantity) == ("hot_idle", "oil_kpa")
    )  # fmt: skip
    assert (one.verdict, one.unlike) == ("not_compared", "coolant_c")


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_same_machine_again_gives_no_finding(seed: int) -> None:
    rng = np.random.default_rng(seed)
    views = []
    for name in ("v1", "v2"):
        told = columns_of()
        count = len(told["oil_kpa"])
        told["oil_kpa"] = np.maximum(0, told["oil_kpa"] + rng.normal(0, 5, count))
        told["coolant_c"] = told["coolant_c"] + rng.normal(0, 1, count)
        views.append(QuantityView(visit(table(count, told), name)))
    assert findings_of(reference_of(views[0]), views[1]) == ()


@settings(max_examples=30, deadline=None)
@given(st.lists(st.sampled_from(ROUND), max_size=12))
def test_any_order_of_steps_is_taken(parts: list[tuple[str, int]]) -> None:
    if not parts:
        return
    seen = steps_of(round_view(parts=parts))
    for one in seen:
        assert (one.state == "done") == (len(one.rows) > 0) == (one.from_us is not None)
    reference = reference_of(round_view(parts=parts))
    assert all(one.verdict == "as_before" for one in compare(reference, reference))


def test_the_tables_speak_of_what_there_is() -> None:
    known = {one.key for one in quantities()} | {"idle_ratio"}
    for step in baseline_steps():
        named = {name for bound in step.bounds for name, _, _ in bound.choices}
        named |= {step.moves.quantity} if step.moves else set()
        assert named <= known, step.step
        assert step.cautions, "every step carries its cautions"
    told = {(one.step, one.quantity) for one in baseline_readings()}
    assert len(told) == len(baseline_readings())
    for row in baseline_readings():
        assert row.step in ALL
        assert row.quantity in known
        for quantity, _ in row.alike:
            assert (row.step, quantity) in told or (row.step, quantity) == ("start", "coolant_c")
    for one in experiments().values():
        assert one.cautions
        assert one.times >= 5
        assert one.hold_s >= 5

"""Settings of made-up machines: what is found, what is left open, and what is never claimed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.made_settings import (
    DAY_US,
    Holds,
    Yard,
    caused,
    made_tables,
    random_bursts,
    watched_at,
)

from shearbolt.reasoning.case import FaultCase
from shearbolt.reasoning.settings import (
    Setting,
    VisitTable,
    Watched,
    find_setting,
    ground_for,
    ground_of,
    words_of,
)


def found_for(
    tables: list[VisitTable], starts: list[list[float]], permutations: int = 400, seed: int = 0
) -> Setting:
    return find_setting(
        ground_of(tables), "f", watched_at(tables, starts), seed=seed, permutations=permutations
    )


def planted(
    seed: int,
    holds: Holds,
    wanted: int = 14,
    delay_s: int = 0,
    days: int = 6,
    warm_visits: int = 3,
) -> Setting:
    rng = np.random.default_rng(seed)
    tables = made_tables(rng, Yard(10, 5400, warm_visits=warm_visits))
    return found_for(tables, caused(rng, tables, holds, wanted, delay_s, days))


def quantities(setting: Setting) -> list[set[str]]:
    """Sets of quantities of the setting and of its alternatives."""
    return [{one.quantity for one in setting.terms}] + [
        {one.quantity for one in other.terms} for other in setting.cannot_be_told_apart
    ]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_cold_oil(seed: int) -> None:
    setting = planted(seed, lambda c: c["hydraulic_c"] < 22)
    assert setting.found
    assert {"hydraulic_c"} in quantities(setting)
    for term in setting.terms:
        if term.quantity == "hydraulic_c":
            assert term.op == "<"
            # Readings are whole degrees: below 22 is below 21.5 as well.
            assert term.low is not None
            assert term.high is not None
            assert term.low <= 21.5 <= term.high
            assert term.low <= (term.value or 0.0) <= term.high
    assert setting.starts_inside == setting.starts_total
    assert setting.cycles >= 3
    assert setting.p_adjusted is not None
    assert setting.p_adjusted < 0.01
    assert setting.confirmed
    assert setting.exposure_inside_h is not None
    assert setting.exposure_inside_h < 0.2 * setting.exposure_total_h


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fast_with_cold_oil(seed: int) -> None:
    setting = planted(seed, lambda c: (c["hydraulic_c"] < 31) & (c["speed_kmh"] > 24), 20, days=7)
    assert setting.found
    assert {"hydraulic_c", "speed_kmh"} in quantities(setting)
    limits = {"hydraulic_c": 30.5, "speed_kmh": 24.0}
    for term in setting.terms:
        if term.quantity in limits:
            assert term.low is not None
            assert term.high is not None
            assert term.low <= limits[term.quantity] <= term.high


@pytest.mark.parametrize("delay_s", [0, 20])
def test_only_when_braking(delay_s: int) -> None:
    setting = planted(5, lambda c: c["brake"] == 1, delay_s=delay_s)
    assert setting.found
    assert quantities(setting)[0] == {"brake"}
    assert (setting.terms[0].op, setting.terms[0].value) == ("=", 1.0)
    assert setting.delay_s == delay_s
    assert setting.delay_low_s is not None
    assert setting.delay_high_s is not None
    assert setting.delay_low_s <= delay_s <= setting.delay_high_s


def test_a_persistence_is_seen() -> None:
    # The code comes once the load has been high for 20 s, and not before.
    rng = np.random.default_rng(6)
    tables = made_tables(rng, Yard(8, 5400))
    starts: list[list[float]] = []
    for table in tables:
        high = table.columns["load_pct"] > 75
        row = np.arange(len(high))
        last_low = np.maximum.accumulate(np.where(high, -1, row))
        starts.append((np.flatnonzero(high & (row - last_low == 21))[::2]).astype(float).tolist())
    setting = found_for(tables, starts)
    assert setting.found
    # Engine speed, boost and fuel go with load in these machines.
    assert quantities(setting)[0] & {"load_pct", "engine_rpm", "boost_kpa", "fuel_rate_l_h"}
    assert setting.delay_low_s is not None
    assert setting.persistence_s is not None
    assert setting.persistence_s > 0
    assert setting.delay_s == pytest.approx(20, abs=5)


def cold_mornings(warm_visits: int) -> Setting:
    rng = np.random.default_rng(5)
    tables = [
        replace(
            one,
            columns=dict(one.columns) | {"hour_utc": (6 + one.second / 3600).astype(np.float32)},
        )
        for one in made_tables(rng, Yard(9, 5400, 0, warm_visits, (9.0, 11.0)))
    ]
    return found_for(tables, caused(rng, tables, lambda c: c["hydraulic_c"] < 22, 14, 0, 5))


def test_twins_are_listed_with_the_outing_that_tells() -> None:
    setting = cold_mornings(0)
    assert setting.found
    named = set().union(*quantities(setting))
    assert len(named & {"hydraulic_c", "minutes_since_start", "hour_utc", "coolant_c"}) >= 3
    assert 1 <= len(setting.cannot_be_told_apart) <= 3
    assert all(len(one.terms) <= 3 for one in setting.cannot_be_told_apart)
    outing = setting.would_tell
    assert outing is not None
    assert outing.hours > 0
    assert {one.quantity for one in outing.holding} != {one.quantity for one in outing.without}
    keys = [key for key, _ in words_of(setting)]
    assert keys[0] == "setting.found"
    assert keys.count("setting.apart") == len(setting.cannot_be_told_apart)
    assert "setting.would_tell" in keys


def test_outings_with_warm_oil_tell_the_twins_apart() -> None:
    setting = cold_mornings(4)
    assert setting.found
    assert quantities(setting)[0] == {"hydraulic_c"}
    assert {"minutes_since_start"} not in quantities(setting)
    assert {"hour_utc"} not in quantities(setting)


@pytest.mark.parametrize("wanted", [1, 2, 3])
def test_few_starts_are_never_found(wanted: int) -> None:
    setting = planted(wanted, lambda c: c["brake"] == 1, wanted, days=wanted)
    assert not setting.found
    assert setting.status in ("possible", "cannot_tell")
    assert setting.starts_needed is not None
    assert setting.starts_needed >= 1


def test_many_starts_in_two_cycles_are_never_found() -> None:
    setting = planted(3, lambda c: c["brake"] == 1, 20, days=2)
    assert setting.p_adjusted is not None
    assert setting.p_adjusted < 0.01
    assert not setting.found
    assert setting.status == "possible"
    assert setting.cycles == 2


def test_constant_and_missing_quantities_change_nothing() -> None:
    rng = np.random.default_rng(7)
    tables = made_tables(rng, Yard(8, 3600))
    starts = caused(rng, tables, lambda c: c["brake"] == 1, 12, 0, 5)
    plain = found_for(tables, starts)
    more = []
    for i, one in enumerate(tables):
        extra = dict(one.columns)
        extra["def_level_pct"] = np.full(len(one.second), 50.0, np.float32)
        extra["soot_pct"] = np.full(len(one.second), np.nan, np.float32)
        if i % 2:
            # Not told in every other visit.
            del extra["battery_v"]
        more.append(replace(one, columns=extra))
    setting = found_for(more, starts)
    assert plain.found
    assert setting.found
    assert quantities(setting)[0] == {"brake"}
    assert not {"def_level_pct", "soot_pct", "barometer_kpa"} & set().union(*quantities(setting))


def test_no_setting_is_claimed_of_chance() -> None:
    habits: list[Callable[[np.random.Generator, list[VisitTable]], list[list[float]]]] = [
        lambda rng, tables: random_bursts(rng, tables, 14, 1, 60),
        lambda rng, tables: random_bursts(rng, tables, 6, 3, 90),
        lambda rng, tables: random_bursts(rng, tables, 4, 1, 60),
    ]
    p_values = []
    claimed = 0
    for seed in range(10):
        rng = np.random.default_rng([21, seed])
        tables = made_tables(rng, Yard(8, 2400, restarts=seed % 3))
        ground = ground_of(tables)
        for i, habit in enumerate(habits):
            setting = find_setting(
                ground, f"f{i}", watched_at(tables, habit(rng, tables)), permutations=200
            )
            claimed += setting.found
            p_values.append(1.0 if setting.p_adjusted is None else setting.p_adjusted)
    # 30 null faults: three standard errors over the nominal share.
    p = np.asarray(p_values)
    assert claimed <= 1
    assert np.mean(p <= 0.1) <= 0.1 + 3 * np.sqrt(0.09 / len(p))
    assert np.mean(p <= 0.5) <= 0.5 + 3 * np.sqrt(0.25 / len(p))


def test_only_in_some_key_cycles() -> None:
    # Warmth of the day differs between cycles alone; whole cycles are permuted.
    rng = np.random.default_rng(9)
    tables = made_tables(rng, Yard(40, 1200))
    able = [float(one.columns["ambient_c"][0]) > 13 for one in tables]
    starts = [[float(rng.integers(20, 1100))] if one and rng.random() < 0.9 else [] for one in able]
    setting = found_for(tables, starts)
    assert setting.found
    assert setting.family == "between"
    assert quantities(setting)[0] == {"ambient_c"}
    assert setting.terms[0].op == ">"
    # The season alone is no setting: the same starts, all in the second half.
    order = np.argsort(np.asarray(able), kind="stable").tolist()
    late = [replace(tables[i], visit=f"w{k}", zero_us=k * DAY_US) for k, i in enumerate(order)]
    assert not found_for(late, [starts[i] for i in order]).found


def test_same_seed_same_answer() -> None:
    first = planted(2, lambda c: c["hydraulic_c"] < 22)
    assert first == planted(2, lambda c: c["hydraulic_c"] < 22)


def test_more_permutations_go_on() -> None:
    rng = np.random.default_rng(31)
    tables = made_tables(rng, Yard(8, 3600))
    starts = caused(rng, tables, lambda c: c["pto_engaged"] == 1, 6, 0, 4)
    few, more = (found_for(tables, starts, permutations) for permutations in (64, 640))
    assert few.permutations == 64
    assert few.still_running
    assert more.permutations > 64
    assert more.p_smallest is not None
    assert few.p_smallest is not None
    assert more.p_smallest <= few.p_smallest


def test_words_of_the_driver_choose_among_twins_only() -> None:
    rng = np.random.default_rng(5)
    tables = made_tables(rng, Yard(9, 5400))
    starts = caused(rng, tables, lambda c: c["hydraulic_c"] < 22, 14, 0, 5)
    ground, watch = ground_of(tables), watched_at(tables, starts)
    setting = find_setting(ground, "f", watch, [("warmth", "cold", 3), ("doing", "road", 1)])
    cold, road = setting.spoken
    assert cold.agrees is True
    assert cold.weight_db == pytest.approx(5.4)
    assert road.agrees is None
    assert road.weight_db == 0.0
    against = find_setting(ground, "f", watch, [("warmth", "hot", 9)])
    assert against.found
    assert against.spoken[0].agrees is False
    assert against.spoken[0].weight_db == pytest.approx(-6.0)


def test_words_alone_are_told_not_found() -> None:
    ground = ground_of(made_tables(np.random.default_rng(1), Yard(2, 600)))
    said = [("warmth", "cold", 3), ("after_start", "soon", 2)]
    setting = find_setting(ground, "f", [Watched("v0", (), (), None)], said)  # type: ignore[arg-type]
    assert (setting.status, setting.found) == ("told", False)
    assert [(one.quantity, one.op, one.text) for one in setting.terms] == [
        ("driver_words", "in", "cold"),
        ("driver_words", "in", "soon"),
    ]
    # Said both ways, it is no term.
    both = [("warmth", "cold", 3), ("warmth", "hot", 2)]
    unsure = find_setting(ground, "f", [], both)  # type: ignore[arg-type]
    assert (unsure.status, unsure.terms) == ("no_starts", ())


def test_said_outright_when_nothing_can_be_told() -> None:
    rng = np.random.default_rng(14)
    tables = made_tables(rng, Yard(3, 900))
    setting = found_for(tables, [[100.0], [500.0], []])
    assert setting.status in ("cannot_tell", "possible")
    words = dict(words_of(setting))
    assert dict(words[f"setting.{setting.status}"])["starts_total"] == 2
    assert dict(words["setting.p"])["p_smallest"] is not None


def test_a_code_for_a_level_is_not_explained_by_its_own_reading() -> None:
    """That oil is hot when 'oil too hot' comes is no setting (SAE J1939-73, FMI 16)."""
    rng = np.random.default_rng(7)
    ground = ground_of(made_tables(rng, Yard(6, 3600)))
    hot = FaultCase("f", "j1939", "c", 0, 1638, 16, None, "hydraulic oil too hot")
    jumps = replace(hot, fmi=2)
    names = {one.quantity for one in ground.conditions if one is not None}
    assert "hydraulic_c" in names
    left = ground_for(ground, hot)
    told = {one.quantity for one in left.conditions if one is not None}
    assert told == names - {"hydraulic_c"}
    assert ground_for(ground, jumps) is ground
    # Every condition that is left holds in the same rows as before.
    rows = np.arange(0, ground.rows, 97)
    place = {one: i for i, one in enumerate(ground.conditions) if one is not None}
    for i, one in enumerate(left.conditions):
        if one is not None:
            assert np.array_equal(left.held(rows, [i]), ground.held(rows, [place[one]]))
            assert left.quantity[i] == ground.quantity[place[one]]

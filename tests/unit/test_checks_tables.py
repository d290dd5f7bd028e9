"""The catalogue of checks: whole, sourced, worded, and something for every cause and sensor."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest

from shearbolt.app.composing import check_words as words
from shearbolt.app.composing.check_outcome_words import EXTRA_WORDS, OUTCOME_WORDS, SIDE_WORDS
from shearbolt.dictionary import checks as module
from shearbolt.dictionary import sensor_kinds as kinds_module
from shearbolt.dictionary import tables
from shearbolt.dictionary.advice_kinds import cautions
from shearbolt.dictionary.cause_priors import CAUSES
from shearbolt.dictionary.checks import (
    CLASSES,
    COULD_NOT,
    HANDS_OFF,
    Check,
    check_curves,
    checks,
    repair_minutes,
)
from shearbolt.dictionary.phrases import known_phrases
from shearbolt.dictionary.quantities import quantities
from shearbolt.dictionary.sensor_kinds import (
    FMI_GROUPS,
    UNKNOWN,
    SensorKind,
    fmi_group,
    kind_of_spn,
    kind_of_trouble_code,
    kind_of_words,
    sensor_kinds,
)
from shearbolt.errors import DictionaryError

ANYWHERE = {one.check for one in checks().values() if not one.kinds}
FLAGS = ("volts_differ", "power_lost", "moving_part", "stood_long")
NAMES = {int(row["spn"]) for name in ("signals", "spn_names") for row in tables.table(name)}


def own_checks(kind: SensorKind) -> list[Check]:
    """Checks that speak of this kind of sensor, not of any."""
    return [one for one in checks().values() if kind.kind in one.kinds]


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_class_has_a_check_of_its_own_that_shows_it(cause: str) -> None:
    place = CLASSES.index(cause)
    showing = set()
    for one in checks().values():
        for row in one.telling():
            rest = [chance for at, chance in enumerate(row.likelihood) if at != place]
            if row.likelihood[place] >= 3.0 * sorted(rest)[len(rest) // 2]:
                showing.add(one.check)
    assert len(showing - {"call_workshop"}) >= 2


@pytest.mark.parametrize("kind", list(sensor_kinds()))
def test_every_kind_of_sensor_has_a_check_that_speaks_of_it(kind: str) -> None:
    assert own_checks(sensor_kinds()[kind])


@pytest.mark.parametrize("kind", list(sensor_kinds()))
def test_every_sensor_and_failure_has_something_to_do(kind: str) -> None:
    for group in FMI_GROUPS:
        found = {
            one.check
            for one in checks().values()
            if (not one.kinds or kind in one.kinds)
            and (not one.fmi_groups or group == "unsaid" or group in one.fmi_groups)
        }
        assert found - {"call_workshop"}, group


def test_every_parameter_of_the_tables_has_its_kind() -> None:
    assert [spn for spn in sorted(NAMES) if kind_of_spn(spn).kind == UNKNOWN] == []
    for quantity in quantities():
        assert all(kind_of_spn(spn).kind != UNKNOWN for spn in quantity.spns), quantity.key
    assert kind_of_spn(518_999).kind == UNKNOWN
    assert kind_of_spn(524_020).kind == "makers_own"


def test_every_symptom_has_its_kind() -> None:
    for one in known_phrases():
        if one.kind == "symptom":
            assert kind_of_words(one.text).kind != UNKNOWN, one.text
    assert kind_of_words("purple").kind == UNKNOWN


def test_every_failure_mode_has_its_group() -> None:
    listed = [int(row["fmi"]) for row in tables.table("fmi")]
    assert len(listed) == 32
    assert {fmi_group(fmi) for fmi in listed} == set(FMI_GROUPS) - {"symptom"}
    assert fmi_group(None) == "unsaid"
    assert [fmi_group(one) for one in (0, 18, 4, 2, 8, 19)] == [
        "high", "low", "circuit", "erratic", "rhythm", "message",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "kind"),
    [("P0117", "coolant_temperature"), ("p0524", "oil_pressure"), ("P2463", "soot_load"),
     ("C0035", "brake"), ("U0100", "missing_unit"), ("P0217-1A", "coolant_temperature"),
     ("E21", UNKNOWN), ("", UNKNOWN)],
)  # fmt: skip
def test_road_codes_speak_of_a_kind(code: str, kind: str) -> None:
    assert kind_of_trouble_code(code).kind == kind


@pytest.mark.parametrize("name", list(checks()))
def test_a_check_is_whole(name: str) -> None:
    one = checks()[name]
    assert one.minutes > 0.0
    assert one.group
    assert one.plain[-1].outcome == COULD_NOT
    assert set(one.plain[-1].likelihood) == {1.0}
    for flags in (frozenset[str](), *(frozenset({flag}) for flag in FLAGS)):
        rows = one.telling(flags)
        for place in range(len(CLASSES)):
            assert math.isclose(sum(row.likelihood[place] for row in rows), 1.0, abs_tol=1e-6)
        assert min(min(row.likelihood) for row in rows) > 0.0
        assert {row.outcome for row in rows} <= {row.outcome for row in one.plain}
        assert all(minutes > 0.0 for row in rows for _, minutes in row.locates)
    assert set(one.needs) <= {
        "live", "twin", "volts_known", "plain_bus", "implement", "soot_low",
        "plugged_in_just_before",
    }  # fmt: skip
    assert bool(one.unit) == bool(one.measure)


@pytest.mark.parametrize("name", list(checks()))
def test_a_check_has_its_words(name: str) -> None:
    one = checks()[name]
    assert words.check_title(name)
    for units in ("metric", "us"):
        assert "{" not in words.check_words(name, units)
        choices = words.outcome_choices(name, units)
        assert choices[-1] == (COULD_NOT, "could not do it")
        assert len({said for _, said in choices}) == len(choices), "two outcomes read alike"
        assert all(said and "{" not in said for _, said in choices)
    for key in one.cautions:
        assert words.check_caution_words(key).endswith(".")
    assert all(words.TOOLS[tool] for tool in one.tools)
    assert words.BY[one.by]


def test_no_words_are_left_over() -> None:
    assert set(words.STEPS) == set(checks())
    used = {row.outcome for one in checks().values() for row in one.plain}
    assert set(OUTCOME_WORDS) <= used
    assert set(SIDE_WORDS) <= set(checks())
    assert all(checks()[check].outcome(row) for check, row in EXTRA_WORDS)
    assert set(words.TOOLS) == {tool for one in checks().values() for tool in one.tools}
    assert set(words.OWN_CAUTIONS).isdisjoint(cautions())
    for kind in sensor_kinds().values():
        assert set(kind.cautions) <= set(cautions())


def test_measured_outcomes_are_named_by_their_limits() -> None:
    assert words.outcome_words("reference_voltage", "none") == "below 0.5 V"
    assert words.outcome_words("reference_voltage", "right") == "4.8 V to 5.2 V"
    assert words.outcome_words("battery_rest", "flat") == "below 12 V"
    assert words.outcome_words("battery_rest", "flat", system_v=24) == "below 24 V"
    assert words.outcome_words("earth_cable_drop", "bad", system_v=24) == "0.5 V or more"
    assert words.outcome_words("cold_soak", "off", "us") == "18 °F or more off the others"
    assert words.outcome_words("bus_60_ohm", "open") == "open, or above 1,000 ohm"
    assert words.outcome_words("wiggle_live", "no_change") == "no change"
    with pytest.raises(KeyError):
        words.outcome_words("wiggle_live", "sang")
    with pytest.raises(KeyError):
        words.outcome_choices("sing")


def test_costs_and_curves_are_there() -> None:
    assert len(repair_minutes()) == len(CLASSES)
    assert repair_minutes()[-1] >= max(repair_minutes()[:-1])
    assert {"ntc_2252", "pt_200", "cranking_minimum"} <= set(check_curves())


def test_hands_off_checks_open_nothing() -> None:
    for one in checks().values():
        if one.touches in HANDS_OFF:
            assert not {"multimeter", "spanners", "pressure_gauge", "test_lamp"} & {
                tool for tool in one.tools if one.check != "battery_terminals"
            }, one.check


@pytest.fixture
def _fresh() -> Iterator[None]:
    cached = (
        module.checks, module.repair_minutes, module.check_curves, kinds_module.sensor_kinds,
        kinds_module._by_spn,  # the index is made of the same table
    )  # fmt: skip
    for one in cached:
        one.cache_clear()
    yield
    for one in cached:
        one.cache_clear()


CHECK_ROW = next(dict(row) for row in tables.table("checks") if row["check"] == "reference_voltage")
ROWS = [dict(row) for row in tables.table("check_outcomes") if row["check"] == "reference_voltage"]


@pytest.mark.usefixtures("_fresh")
@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"kinds": "#spoons"}, "no sensor"),
        ({"fmi_groups": "sad"}, "not known"),
        ({"touches": "lick"}, "not known"),
        ({"engine": "perhaps"}, "not known"),
        ({"by": "nobody"}, "not known"),
        ({"measure": "smell"}, "not known"),
        ({"by_class": "luck"}, "not known"),
        ({"minutes": "x"}, "no number"),
        ({"minutes": "inf"}, "no number"),
        ({"setup": "plug_open"}, "no number"),
        ({"check": "other"}, "no outcome"),
    ],
)
def test_a_bad_check_is_told(
    monkeypatch: pytest.MonkeyPatch, changes: dict[str, str], says: str
) -> None:
    rows = {"checks": ({**CHECK_ROW, **changes},), "check_outcomes": tuple(ROWS)}
    monkeypatch.setattr(module, "table", rows.__getitem__)
    with pytest.raises(DictionaryError, match=says):
        checks()


@pytest.mark.usefixtures("_fresh")
@pytest.mark.parametrize(
    ("row", "changes", "says"),
    [
        (0, {"wiring": "0"}, "above 0"),
        (0, {"wiring": "1.2"}, "above 0"),
        (0, {"wiring": "x"}, "no number"),
        (0, {"wiring": "0.9"}, "add up"),
        (0, {"high": "0.6"}, "gap"),
        (0, {"low": "0"}, "gap"),
        (1, {"locates": "luck:5"}, "not known"),
        (1, {"locates": "wiring:x"}, "no number"),
        (4, {"outcome": "shrugged"}, "add up"),
        (4, {"check": "another"}, "does not end"),
    ],
)
def test_a_bad_outcome_is_told(
    monkeypatch: pytest.MonkeyPatch, row: int, changes: dict[str, str], says: str
) -> None:
    found = [dict(one) for one in ROWS]
    found[row].update(changes)
    rows = {"checks": (CHECK_ROW,), "check_outcomes": tuple(found)}
    monkeypatch.setattr(module, "table", rows.__getitem__)
    with pytest.raises(DictionaryError, match=says):
        checks()


@pytest.mark.usefixtures("_fresh")
def test_bad_setups_leftovers_and_costs_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    other = {**CHECK_ROW, "check": "twin", "setup": "plug_open:9"}
    outcomes = (*ROWS, *({**row, "check": "twin"} for row in ROWS))
    rows = {"checks": (CHECK_ROW, other), "check_outcomes": outcomes}
    monkeypatch.setattr(module, "table", rows.__getitem__)
    with pytest.raises(DictionaryError, match="two different times"):
        checks()
    rows = {"checks": (CHECK_ROW,), "check_outcomes": outcomes}
    monkeypatch.setattr(module, "table", rows.__getitem__)
    with pytest.raises(DictionaryError, match="no check is called"):
        checks()
    monkeypatch.setattr(module, "table", lambda _: ())
    with pytest.raises(DictionaryError, match="every cause class"):
        repair_minutes()
    bad = {"curve": "c", "parameter": "p", "value": "x"}
    monkeypatch.setattr(module, "table", lambda _: (bad,))
    with pytest.raises(DictionaryError, match="no number"):
        check_curves()


@pytest.mark.usefixtures("_fresh")
@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"spns": "x"}, "number"),
        ({"limits": "perhaps"}, "no limit"),
        ({"type": "switch", "unplug": "yes"}, "unplugged"),
        ({"limits": "licensed", "unplug": "yes"}, "unplugged"),
        ({"kind": "another"}, "stands in"),
        ({}, "missing"),
    ],
)
def test_a_bad_kind_is_told(
    monkeypatch: pytest.MonkeyPatch, changes: dict[str, str], says: str
) -> None:
    good = dict(tables.table("sensor_kinds")[0])
    rows = (good, {**good, **changes}) if "kind" in changes else ({**good, **changes},)
    monkeypatch.setattr(kinds_module, "table", lambda _: rows)
    with pytest.raises(DictionaryError, match=says):
        sensor_kinds()

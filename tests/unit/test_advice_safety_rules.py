"""The 25 rules of advice and safety (reference sheet 'the field', section 4), each a test.

Not here, because they belong to pages or to the book: 14 (how a machine was recognised is shown by
the page; nothing of it reaches the advice), 18 (a page while driving), the second half of 25 (a
page turns grey). What each asks of the advice itself is tested.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from tests.advised import advised, keys, machine_advised
from tests.made_cases import (
    AMBER,
    DAY_US,
    NOTHING,
    PROTECT,
    RED,
    clear,
    controller,
    fault,
    machine,
    running,
    spell,
    stopped,
    symptom,
    told,
    visit,
)

from shearbolt.app.composing.advice_kind_words import KIND_WORDS
from shearbolt.app.composing.advice_words import (
    ENGINES,
    PLACES,
    REASONS,
    advice_document,
    advice_words,
    caution_words,
    machine_words,
)
from shearbolt.dictionary.advice_kinds import CLASSES, advice_kinds, cautions, dangerous_readings
from shearbolt.model.fault import Lamps, LampSpell
from shearbolt.reasoning.advice import Gauge, Now, RegenerationGate, regeneration_gate
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase

OIL = fault("oil", 100, 1)
HOT = fault("hot", 110, 0)
BRAKE = fault("brake", 521, 4, 11)


def one_visit(of: FaultCase, *, red: bool = False, running_engine: bool = True) -> MachineCase:
    state = running() if running_engine else stopped()
    seen = told(of, spell(100, 500), shown=RED if red else AMBER)
    return machine([visit(0, seen, state=state)], [of])


def test_rule_1_where_comes_before_the_engine() -> None:
    for name, kind in {one.kind: one for one in advice_kinds()}.items():
        if kind.engine is not None:
            assert kind.place, name
    words = advice_words(advised(one_visit(OIL), "oil"))
    assert words.startswith("As soon as it is safe: off the slope, the crossing and the road")
    assert words.index("level ground") < words.index("engine off")
    # No engine off where engine, air or steering hold the machine.
    air = advised(one_visit(fault("air", 1087, 1, 11)), "air")
    assert air.engine == "keep_running_until_safe"
    assert "engine off" not in advice_words(air)


def test_rule_2_oil_pressure_stands_until_a_gauge_is_read() -> None:
    healed = machine(
        [visit(0, told(OIL, spell(100, 200)), state=running()), visit(1, state=running())], [OIL]
    )
    quiet = advised(healed, "oil")
    assert (quiet.advice, quiet.applies_now) == ("stop_now", True)
    read = Gauge("oil", 106.0, True, "M. Tarn")
    calmed = advised(healed, "oil", gauges={"oil": read}, now=Now(None, 110.0))
    assert calmed.advice == "finish_gently"
    assert calmed.watch is not None
    assert calmed.until.hours == pytest.approx(6.0)
    assert any("M. Tarn" in one for one in advice_document(calmed)["because"])
    # It lasts ten engine hours, needs a sound reading, and never holds while the red lamp is lit.
    late = advised(healed, "oil", gauges={"oil": read}, now=Now(None, 116.1))
    assert late.advice == "stop_now"
    bad = Gauge("oil", 106.0, False, "M. Tarn")
    assert advised(healed, "oil", gauges={"oil": bad}, now=Now(None, 107.0)).advice == "stop_now"
    lit = machine(
        [
            visit(
                0,
                told(OIL, spell(100, 600, "recording_end"), shown=RED),
                state=running(),
            )
        ],
        [OIL],
    )
    now = Now(None, 101.5)
    red = Gauge("oil", 101.2, True, "M. Tarn")
    assert advised(lit, "oil", gauges={"oil": red}, now=now).advice == "stop_now"


def test_rule_2_nobody_is_told_to_try_it() -> None:
    for words in all_words():
        assert not re.search(
            r"start it (briefly|once|to see)(?! again)",
            words.replace("Do not start it again to see", ""),
        ), words


def test_rule_3_a_bulb_check_is_no_siren() -> None:
    short = told(OIL, spell(1, 4), shown=RED)
    test = advised(machine([visit(0, short, state=stopped())], [OIL]), "oil")
    assert test.advice == "note_only"
    assert "lamp_test" in keys(test)
    stays = told(OIL, spell(1, 60), shown=RED)
    lasting = advised(machine([visit(0, stays, state=stopped())], [OIL]), "oil")
    assert (lasting.advice, lasting.place, lasting.engine) == ("stop_now", "do_not_start", None)
    assert "do not start it" in advice_words(lasting)
    # A fault that destroys no engine is no reason to forbid the start.
    seat = fault("rail", 3512, 4)
    other = told(seat, spell(1, 60), shown=RED)
    assert advised(machine([visit(0, other, state=stopped())], [seat]), "rail").place != (
        "do_not_start"
    )


def test_rule_3_with_the_engine_running_a_red_lamp_stops() -> None:
    short = told(OIL, spell(1, 4), shown=RED)
    assert advised(machine([visit(0, short, state=running())], [OIL]), "oil").advice == "stop_now"


@pytest.mark.parametrize(
    ("of", "readings"),
    [
        (fault("f", 110, 16), {"coolant_c": 116.0}),
        (fault("f", 100, 18), {"oil_kpa": 20.0}),
        (fault("f", 175, 16), {"oil_c": 145.0}),
        (fault("f", 111, 18), {"coolant_level_pct": 2.0}),
        (fault("f", 101, 16), {"crankcase_kpa": 7.5}),
        (fault("f", 3242, 16), {"dpf_in_c": 790.0}),
        (fault("f", 168, 16), {"battery_v": 16.4}),
        (fault("f", 177, 16), {"transmission_c": 135.0}),
        (fault("f", 1087, 18), {"brake_air_1_kpa": 400.0}),
    ],
)
def test_rule_4_readings_that_destroy_an_engine(of: FaultCase, readings: dict[str, float]) -> None:
    case = machine([visit(0, told(of, spell(100, 500)), state=running(columns=readings))], [of])
    found = advised(case, "f")
    assert found.advice == "stop_now"
    assert any(one.startswith("reading_") for one in keys(found))
    assert any(" long enough to be no slip." in one for one in advice_document(found)["because"])


@pytest.mark.parametrize(
    ("spn", "fmi"),
    [(100, 1), (110, 0), (111, 1), (98, 1), (101, 0), (127, 1), (177, 0), (190, 0), (168, 0),
     (3242, 0), (1087, 1), (1109, 31), (1239, 31), (521, 7), (1807, 7)],
)  # fmt: skip
def test_rule_4_kinds_that_stop(spn: int, fmi: int) -> None:
    of = fault("f", spn, fmi)
    assert advised(one_visit(of), "f").advice == "stop_now"


def test_rule_4_24_volts_may_charge_at_28() -> None:
    of = fault("f", 168, 16)
    fine = machine([visit(0, told(of, spell(100, 500)), state=running(battery_v=28.6))], [of])
    assert advised(fine, "f").advice == "finish_gently"
    high = machine([visit(0, told(of, spell(100, 500)), state=running(battery_v=33.0))], [of])
    assert "reading_overcharge" in keys(advised(high, "f"))
    at = np.arange(600)
    volts = np.where(at < 400, 28.4, 32.6)
    over = machine([visit(0, told(of, spell(100, 590)), state=running(battery_v=volts))], [of])
    assert advised(over, "f").advice == "stop_now"


def test_rule_4_water_in_fuel_with_power_loss_and_fire() -> None:
    water, weak = fault("water", 97, 31), symptom("weak", "no power")
    alone = one_visit(water)
    assert advised(alone, "water").advice == "finish_gently"
    lost = machine(
        [visit(0, told(water, spell(100, 500)), told(weak, state="active"), state=running())],
        [water, weak],
    )
    found = advised(lost, "water")
    assert (found.advice, found.engine) == ("stop_now", "off_at_once")
    for words in ("smoke and flames from the engine bay", "smell of burning", "smell of diesel"):
        case = machine(
            [visit(0, told(symptom("s", words), state="active"), kind="by_hand", state=NOTHING)],
            [symptom("s", words)],
        )
        fire = advised(case, "s")
        assert (fire.advice, fire.engine, fire.place) == ("stop_now", "off_at_once", "bare_ground")


def test_rule_4_no_reading_is_one_at_the_end_of_its_scale_or_one_that_leaps() -> None:
    warm = fault("f", 110, 16)
    at = np.arange(600)
    for values in (np.where(at < 200, 88.0, 210.0), np.where(at < 200, 88.0, 120.0)):
        case = machine(
            [visit(0, told(warm, spell(200, 500)), state=running(coolant_c=values))], [warm]
        )
        assert advised(case, "f").advice == "finish_gently"
    slow = np.minimum(120.0, 80.0 + 0.2 * at)
    case = machine([visit(0, told(warm, spell(150, 590)), state=running(coolant_c=slow))], [warm])
    assert advised(case, "f").advice == "stop_now"
    # The sender itself says that this value is electrical.
    pulled = fault("p", 100, 4)
    case = machine([visit(0, told(pulled, spell(100, 500)), state=running(oil_kpa=0.0))], [pulled])
    assert advised(case, "p").advice == "finish_gently"


@pytest.mark.parametrize(
    "of",
    [
        fault("f", 521, 4, 11), fault("f", 597, 2), fault("f", 1087, 3), fault("f", 1807, 2),
        fault("f", 1873, 2), fault("f", 1872, 4), fault("f", 70, 4), fault("f", 1856, 12),
        fault("f", 523001, 31, 11), fault("f", 523001, 3, 19), fault("f", 2011, 9),
        FaultCase("f", "obd", "c", 0, None, None, "C0035", "wheel speed"),
    ],
)  # fmt: skip
def test_rule_5_safety_functions_are_never_below_finish_gently(of: FaultCase) -> None:
    for shown in (AMBER, PROTECT, Lamps("off", "off", "off", "off"), Lamps()):
        for state in (running(), stopped(), NOTHING):
            case = machine([visit(0, told(of, spell(100, 500), shown=shown), state=state)], [of])
            found = advised(case, "f")
            assert CLASSES.index(found.advice) >= CLASSES.index("finish_gently"), found
    memory = machine([visit(0, told(of))], [of])
    assert advised(memory, "f").advice == "finish_gently"


def test_an_interlock_that_did_its_work_standing_is_no_failed_one() -> None:
    park = fault("f", 70, 31, 3)
    still = machine(
        [visit(0, told(park, spell(100, 110), shown=PROTECT), state=running(speed_kmh=0.0))],
        [park],
    )
    assert advised(still, "f").advice == "note_only"
    moving = machine(
        [visit(0, told(park, spell(100, 110), shown=PROTECT), state=running())], [park]
    )
    assert advised(moving, "f").advice == "finish_gently"


FORBIDDEN = re.compile(
    r"\b(bridg\w*|strap\w*|jumper\w*|tie|tied|bypass the|short out|shorting|defeat\w*|disable\w*"
    r"|unplug the (switch|sensor)|water added|top it up with water)\b"
)


def all_words() -> list[str]:
    words = [*KIND_WORDS.values(), *PLACES.values(), *ENGINES.values(), *REASONS.values()]
    words += [caution_words(key) for key in cautions()]
    return words


def test_rules_6_7_8_no_words_for_getting_round_a_switch() -> None:
    for words in all_words():
        assert not FORBIDDEN.search(words.casefold()), words
        assert "starter terminal" not in words


def test_rule_8_starting_only_from_the_seat() -> None:
    of = symptom("s", "won't crank")
    case = machine([visit(0, told(of, state="active"), kind="by_hand")], [of])
    found = advised(case, "s")
    assert "start_from_seat" in found.cautions
    assert any(
        "only from the seat, in neutral" in one for one in advice_document(found)["cautions"]
    )


def test_rule_9_checks_near_shafts_are_with_the_engine_off() -> None:
    # Checks come with a later part; of advice this is the caution by every belt and shaft.
    for kind in ("vibrates", "pto"):
        found = next(one for one in advice_kinds() if one.kind == kind)
        assert "shafts" in found.cautions
    assert "Engine off, key out" in caution_words("shafts")


@pytest.mark.parametrize(
    ("gate", "may"),
    [
        (regeneration_gate(130.0, dry_crop_or_shed=False), "workshop_only"),
        (regeneration_gate(95.0, service_stage=True, dry_crop_or_shed=False), "workshop_only"),
        (regeneration_gate(95.0, oil_risen=True, dry_crop_or_shed=False), "not_now"),
        (regeneration_gate(95.0, leak=True, dry_crop_or_shed=False), "not_now"),
        (regeneration_gate(None, dry_crop_or_shed=False), "not_now"),
        (regeneration_gate(95.0, dry_crop_or_shed=True), "hold_back"),
        (regeneration_gate(95.0), "hold_back"),
        (regeneration_gate(95.0, dry_crop_or_shed=False), "road_load"),
        (regeneration_gate(50.0), "not_needed"),
    ],
)
def test_rule_10_regeneration_is_gated(gate: RegenerationGate, may: str) -> None:
    assert gate.may == may
    if may != "not_needed":
        assert "hot_exhaust" in gate.cautions


def test_rule_10_held_back_for_so_many_hours() -> None:
    gate = regeneration_gate(94.0, dry_crop_or_shed=True, soot_per_h=2.0)
    assert gate.hours == pytest.approx(3.0)


def test_rule_11_every_advice_but_a_note_has_an_end() -> None:
    for kind in advice_kinds():
        assert kind.advice == "note_only" or (kind.until not in ("", "open"))
        if kind.advice in ("keep_working", "finish_gently"):
            assert kind.until_h, kind.kind
    induced = fault("i", 5246, 16)
    case = machine(
        [visit(0, told(induced, spell(100, 590)), state=running(inducement=4.0))], [induced]
    )
    found = advised(case, "i")
    assert found.advice == "finish_gently"
    assert "before the machine limits itself" in (advice_document(found)["until"] or "")


def test_rule_12_every_finish_gently_has_a_number_to_watch() -> None:
    for kind in advice_kinds():
        if kind.advice == "finish_gently" or kind.floor == "finish_gently":
            assert kind.watch is not None, kind.kind
    document = advice_document(advised(one_visit(fault("f", 105, 16)), "f"))
    assert document["watch"] is not None
    assert (document["watch"]["stop_at"] or "").startswith("above 90 °C")


def clean(**more: object) -> VisitCase:
    return visit(0, state=running(), **more)


def test_rule_13_confidence_decays() -> None:
    case = machine([clean()], [])
    fresh = machine_advised(case, now=Now(2 * DAY_US, 105.0))
    assert (fresh.advice, fresh.not_looked_at_since) == ("keep_working", False)
    for now in (Now(15 * DAY_US, 102.0), Now(2 * DAY_US, 121.5)):
        old = machine_advised(case, now=now)
        assert (old.advice, old.not_looked_at_since) == (None, True)
        assert machine_words(old) == "Nothing can be said of today: look at it first."


def test_rule_13_no_green_word_from_silence() -> None:
    now = Now(DAY_US, 101.5)
    for one in (
        clean(quality="lossy"),
        clean(controllers=(controller(0, reports=0),)),
        clean(kind="by_hand"),
    ):
        assert machine_advised(machine([one], []), now=now).advice is None
    # A stop stays a stop, however old.
    stop = machine([visit(0, told(HOT, spell(100, 600, "recording_end")), state=running())], [HOT])
    old = machine_advised(stop, now=Now(90 * DAY_US, 400.0))
    assert (old.advice, old.not_looked_at_since) == ("stop_now", True)


def test_rule_15_clean_hours_settle_no_safety_fault() -> None:
    seen = visit(0, told(BRAKE, spell(100, 200)), state=running())
    clean_days = [visit(i, state=running(), heard=(0, 11)) for i in range(1, 30)]
    case = machine([seen, *clean_days], [BRAKE])
    found = advised(case, "brake")
    assert found.applies_now
    assert "not_cleared_by_time" in found.cautions
    assert not advised(case, "brake", settled=("brake",)).applies_now


@pytest.mark.parametrize(("oil_c", "expected"), [(15.0, "keep_working"), (55.0, "finish_gently")])
def test_rule_16_a_cold_filter_has_limits(oil_c: float, expected: str) -> None:
    switch = fault("f", 1713, 0)
    case = machine(
        [visit(0, told(switch, spell(10, 200)), state=running(hydraulic_c=oil_c))], [switch]
    )
    found = advised(case, "f")
    assert found.advice == expected
    assert "cold_oil" in found.cautions
    assert found.watch is not None
    assert found.until.hours is not None
    if oil_c < 40.0:
        assert (found.until.key, found.until.hours) == ("warm", 0.5)


def test_rule_16_once_warm_it_counts() -> None:
    switch = fault("f", 1713, 0)
    visits = [
        visit(0, told(switch, spell(10, 200)), state=running(hydraulic_c=12.0)),
        visit(1, told(switch, spell(10, 200)), state=running(hydraulic_c=58.0)),
    ]
    assert advised(machine(visits, [switch]), "f").advice == "finish_gently"
    unknown = machine([visit(0, told(switch, spell(10, 200)), state=running())], [switch])
    assert advised(unknown, "f").advice == "finish_gently"


@pytest.mark.parametrize(
    ("volts", "caution"),
    [(12.6, "jump_start_12"), (25.1, "jump_start_24"), (None, "jump_start_unknown")],
)
def test_rule_17_jump_starts_by_voltage(volts: float | None, caution: str) -> None:
    of = symptom("s", "battery flat")
    state = stopped(battery_v=volts) if volts else stopped()
    case = machine(
        [visit(0, state=state), visit(1, told(of, state="active"), kind="by_hand")], [of]
    )
    found = advised(case, "s")
    assert {one for one in found.cautions if one.startswith("jump")} == {caution}


def test_rule_17_frost_and_the_purge() -> None:
    of, deff = symptom("s", "won't crank"), fault("d", 1761, 17)
    case = machine(
        [
            visit(0, told(deff), state=stopped(ambient_c=-18.0)),
            visit(1, told(of, state="active"), kind="by_hand"),
        ],
        [of, deff],
    )
    assert {"battery_frozen", "wait_for_purge"} <= set(advised(case, "s").cautions)


@pytest.mark.parametrize(("at_s", "asked"), [(20.0, True), (200.0, False)])
def test_rule_19_unplug_us_first(at_s: float, asked: bool) -> None:
    bus = fault("n", 639, 9, 3)
    case = machine([visit(0, told(bus, spell(at_s, at_s + 30)), state=running())], [bus])
    assert ("unplug_us_first" in advised(case, "n").cautions) is asked


def test_rule_20_what_is_for_licensed_practice() -> None:
    for kind in ("rail_pressure", "brake_air_lost", "injector", "steering_failed"):
        assert "licensed" in next(one for one in advice_kinds() if one.kind == kind).cautions
    assert "technicians only" in caution_words("orange_cables")


def test_rule_21_a_memory_is_no_accusation() -> None:
    old = machine([visit(0, told(HOT))], [HOT])
    found = advised(old, "hot")
    assert (found.advice, found.applies_now) == ("note_only", False)
    assert advice_document(found)["because"][0].startswith("Memory shows it")


def test_rule_22_readings_may_raise_care_and_never_lower_it() -> None:
    hot = {"coolant_c": 80.0, "oil_kpa": 400.0, "battery_v": 14.0}
    for of in (OIL, HOT):
        seen = told(of, spell(100, 500), shown=RED)
        case = machine([visit(0, seen, state=running(columns=hot))], [of])
        assert advised(case, of.fault).advice == "stop_now"


def test_rule_23_after_a_clear_nothing_is_tested() -> None:
    cleared = visit(0, told(HOT, spell(50, 60)), clears=(clear(100),), state=running())
    after = machine_advised(machine([cleared], [HOT]), now=Now(DAY_US, 101.0))
    assert after.not_tested
    assert after.advice is None
    assert "cleared_not_tested" in keys(after)
    long = [visit(i, state=running()) for i in range(1, 5)]
    tested = machine_advised(machine([cleared, *long], [HOT]), now=Now(5 * DAY_US, 121.0))
    assert not tested.not_tested


def test_rule_24_frozen_def_is_no_fault() -> None:
    quality = fault("q", 3516, 18)
    cold = machine([visit(0, told(quality, spell(10, 500)), state=running(def_c=-14.0))], [quality])
    found = advised(cold, "q")
    assert found.until.key == "thaw"
    assert {"def_frost", "def_only"} <= set(found.cautions)
    mild = machine([visit(0, told(quality, spell(10, 500)), state=running(def_c=8.0))], [quality])
    assert advised(mild, "q").until.key == "before_derate"
    assert "sealed can" in caution_words("def_only")


def test_rule_25_every_advice_carries_its_time() -> None:
    found = advised(one_visit(OIL), "oil")
    assert found.as_of == 600_000_000
    assert found.as_of_visit == "v0"
    assert advice_document(found)["as_of"] == "1970-01-01T00:10:00.000000Z"


def test_a_lamp_without_a_code_counts_for_the_machine() -> None:
    lamp = LampSpell("can0", 0, Lamps(None, "on", None, None), 300_000_000, 600_000_000)
    case = machine([clean(lamp_without_code=(lamp,))], [])
    assert machine_advised(case, now=Now(DAY_US, 101.5)).advice == "stop_now"


def test_dangerous_readings_count_for_the_machine_without_a_code() -> None:
    case = machine([visit(0, state=running(coolant_c=118.0))], [])
    found = machine_advised(case, now=Now(DAY_US, 101.5))
    assert found.advice == "stop_now"
    assert "reading_coolant_boils" in keys(found)
    assert {one.reading for one in dangerous_readings()} >= {"coolant_boils", "overcharge"}

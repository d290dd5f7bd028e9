"""The stories' advice lines: what a person of the yard must be told, and must not be."""

from __future__ import annotations

import numpy as np
import pytest
from tests.advised import advised, keys, machine_advised, standings_of
from tests.made_cases import (
    AMBER,
    DAY_US,
    PROTECT,
    fault,
    lamps,
    machine,
    running,
    spell,
    state,
    symptom,
    told,
    visit,
)

from shearbolt.app.composing.advice_words import (
    advice_document,
    advice_words,
    limp_words,
    machine_words,
    regeneration_words,
)
from shearbolt.app.documents.asking import Wording
from shearbolt.dictionary.advice_kinds import AdviceKind
from shearbolt.reasoning.advice import Limp, Now, limp_modes, regeneration_gate
from shearbolt.reasoning.advice.kinds import kind_of
from shearbolt.reasoning.advice.moments import VisitView
from shearbolt.reasoning.case import Absence, MachineCase
from shearbolt.reasoning.company import company_of


def limps(case: MachineCase) -> tuple[Limp, ...]:
    kinds: dict[str, AdviceKind] = {one.fault: kind_of(one, None) for one in case.faults}
    views = [VisitView(one) for one in case.visits]
    return limp_modes(views, case.faults, kinds, company_of(case).roots)


def test_story_1_the_hot_afternoon() -> None:
    hot = fault("f", 105, 16)
    case = machine(
        [visit(0, told(hot, spell(100, 500), shown=AMBER), state=running(intake_c=84.0))], [hot]
    )
    found = advised(case, "f")
    assert found.advice == "finish_gently"
    assert found.engine is None
    document = advice_document(found)
    assert document["words"] == (
        "Finish gently, with less load, to the yard and no farther: the charge air is too hot. "
        "Watch intake manifold temperature, and stop above 90 °C, or at the maker's own limit "
        "where that comes first."
    )
    us = advice_document(found, Wording(units="us"))
    assert us["watch"] is not None
    assert "194 °F" in (us["watch"]["stop_at"] or "")
    assert any("clean side" in one for one in document["cautions"])
    assert not any("sensor" in one for one in document["because"])


def test_story_2_forty_seconds_late() -> None:
    output = fault("f", 191, 2, 3)
    seen = [spell(60 * i, 60 * i + 20) for i in range(1, 9)]
    case = machine([visit(0, told(output, *seen), state=running())], [output])
    found = advised(case, "f")
    assert found.advice == "finish_gently"
    cautions = advice_document(found)["cautions"]
    assert any("neutral" in one and "slopes" in one and "over people" in one for one in cautions)


def test_story_3_fourteen_codes_on_the_first_of_april() -> None:
    at = np.arange(600)
    rpm = np.where(at < 10, 0.0, np.where(at < 15, 180.0, 900.0))
    volts = np.where(at < 10, 12.2, np.where(at < 15, 7.6, 14.2))
    cab = np.where((at >= 10) & (at < 15), 9.9, volts)
    start = state(600, {"engine_rpm": rpm, ("battery_v", 0): volts, ("battery_v", 49): cab})
    faults = [fault(f"f{i:02d}", 500 + i, (2, 3, 9)[i % 3], i % 5) for i in range(14)]
    off = lamps("off", "on", "off", "off")
    seen = [told(one, spell(12, 17 + i % 3), shown=off) for i, one in enumerate(faults)]
    case = machine([visit(0, *seen, state=start)], faults)
    found = machine_advised(case, now=Now(DAY_US, 101.0))
    assert {one.advice for one in found.by_fault.values()} == {"note_only"}
    assert all("while_cranking" in keys(one) for one in found.by_fault.values())
    assert not any(one.applies_now for one in found.by_fault.values())
    assert found.advice == "keep_working"
    assert len(set(company_of(case).events.values())) == 1


def test_story_4_the_wagon_that_kept_leaving() -> None:
    gone = [
        Absence("can0", 160, 100 * i * 1_000_000, (100 * i + 3) * 1_000_000, "silence",
                (100 * i + 3) * 1_000_000 + 300_000)
        for i in range(1, 6)
    ]  # fmt: skip
    wagon = fault("w", 627, 2, 160)
    seen = told(wagon, *(spell(100 * i + 4, 100 * i + 6) for i in range(1, 6)), shown=PROTECT)
    case = machine([visit(0, seen, absences=tuple(gone), state=running())], [wagon])
    company = company_of(case)
    assert {one.why for one in company.instances} == {"unit_lost_power"}
    assert advised(case, "w").advice != "stop_now"


def test_story_5_after_the_new_sensor() -> None:
    hitch = fault("f", 1873, 2)
    case = machine([visit(0, told(hitch, spell(100, 500)), state=running())], [hitch])
    found = advised(case, "f")
    assert found.advice == "finish_gently"
    words = advice_document(found)
    assert any("Lower the load to the ground first" in one for one in words["cautions"])
    assert words["watch"] is not None
    assert words["watch"]["stop_at"] == (
        "above 20 mm/min, or at the maker's own limit where that comes first"
    )


@pytest.mark.parametrize(("soot", "may"), [(104.0, "road_load"), (128.0, "workshop_only")])
def test_story_6_queueing_at_the_clamp(soot: float, may: str) -> None:
    full, limit = fault("soot", 3719, 16), fault("limit", 1569, 31)
    at = np.arange(600)
    table = running(soot_pct=soot, derate_pct=np.where(at > 200, 40.0, 0.0))
    case = machine(
        [visit(0, told(full, spell(150, 590)), told(limit, spell(205, 590)), state=table)],
        [full, limit],
    )
    found = advised(case, "soot")
    assert found.advice == "finish_gently"
    assert {"hot_exhaust", "regeneration_place", "extinguisher"} <= set(found.cautions)
    assert company_of(case).roots == {"limit": "soot"}
    (limp,) = limps(case)
    assert (limp.cause, limp.release, limp.allows) == ("soot", "regenerate", "road_home")
    assert limp.left_pct == pytest.approx(60.0)
    assert limp_words(limp, lambda _: "soot") == (
        "Power was limited to 60 %: because of soot. It is lifted when the filter is burnt free; "
        "meanwhile it allows the way home without a heavy load."
    )
    gate = regeneration_gate(soot, dry_crop_or_shed=False)
    assert gate.may == may
    assert "straw" in regeneration_words(gate)


# Power limits


def full_load(limit: float, *, held_s: int = 400) -> MachineCase:
    """An engine that shows its best for a while, then less under the same pedal."""
    at = np.arange(600)
    torque = np.where(at < 600 - held_s, 95.0, limit)
    table = running(
        engine_rpm=1700.0, torque_pct=torque, demand_pct=98.0, pedal_pct=100.0, coolant_c=90.0
    )
    return machine([visit(0, state=table)], [])


def test_torque_held_below_what_is_asked_is_a_limit() -> None:
    (found,) = limps(full_load(55.0))
    assert found.by == ("held_below_demand",)
    assert found.left_pct == pytest.approx(55.0 / 95.0 * 100.0, abs=0.1)
    assert (found.cause, found.release) == (None, "cause")


def test_a_torque_curve_is_no_limit() -> None:
    assert limps(full_load(90.0)) == ()
    # Always the same: nothing shows that this engine could do more.
    assert limps(full_load(60.0, held_s=600)) == ()
    # A turbocharger that needs a moment is no limit either.
    assert limps(full_load(40.0, held_s=6)) == ()


def test_available_torque_below_its_own_best_at_that_speed() -> None:
    at = np.arange(600)
    low = running(torque_limit_pct=np.where(at < 300, 100.0, 70.0), engine_rpm=1700.0)
    (found,) = limps(machine([visit(0, state=low)], []))
    assert found.by == ("torque_limit",)
    assert found.left_pct == pytest.approx(70.0)
    # Less at another speed is the shape of the curve.
    rpm = np.where(at < 300, 1700.0, 2150.0)
    curve = running(torque_limit_pct=np.where(at < 300, 100.0, 70.0), engine_rpm=rpm)
    assert limps(machine([visit(0, state=curve)], [])) == ()


def test_an_inducement_level_tells_how_far_it_went() -> None:
    deff = fault("d", 1761, 1)
    case = machine([visit(0, told(deff, spell(10, 590)), state=running(inducement=4.0))], [deff])
    (found,) = limps(case)
    assert (found.level, found.cause, found.allows) == (4, "d", "yard_only")
    assert found.release == "def_fill"
    assert advised(case, "d").advice == "finish_gently"


def test_no_request_is_no_limit() -> None:
    assert limps(machine([visit(0, state=running(derate_pct=0.0, inducement=0.0))], [])) == ()


# Lines for people


def test_a_follower_says_what_it_follows() -> None:
    warm, hot = fault("w", 110, 16), fault("h", 110, 0)
    case = machine(
        [visit(0, told(warm, spell(100, 400)), told(hot, spell(200, 390)), state=running())],
        [warm, hot],
    )
    found = advised(case, "w")
    assert found.root == "h"
    document = advice_document(found, fault_words=lambda one: {"h": "coolant far too hot"}[one])
    assert document["because"][-1] == "It follows from another fault: coolant far too hot."


def test_with_the_coolant_gone_there_is_no_idling() -> None:
    hot, gone = fault("h", 110, 0), fault("g", 111, 1)
    case = machine(
        [visit(0, told(hot, spell(100, 400)), told(gone, spell(90, 400)), state=running())],
        [hot, gone],
    )
    assert advised(case, "h").engine == "off_at_once"
    alone = machine([visit(0, told(hot, spell(100, 400)), state=running())], [hot])
    assert advised(alone, "h").engine == "idle_then_off"
    assert "idle for 2 to 3 minutes" in advice_words(advised(alone, "h"))


def test_the_machine_line() -> None:
    hot = fault("h", 110, 0)
    case = machine([visit(0, told(hot, spell(100, 600, "recording_end")), state=running())], [hot])
    found = machine_advised(case, now=Now(DAY_US, 101.5))
    assert (found.advice, found.fault) == ("stop_now", "h")
    assert machine_words(found) == "Leave it standing until the cause is found."
    assert standings_of(case)["h"].state == "active"


def test_the_makers_own_code_is_judged_by_its_lamps() -> None:
    own = fault("f", 524020, 31, 3)
    for shown, expected in (
        (PROTECT, "keep_working"),
        (AMBER, "keep_working"),
        (lamps("on"), "stop_now"),
        (lamps("off", "fast"), "finish_gently"),
        (lamps("off", "off", "off", "off"), "note_only"),
    ):
        case = machine([visit(0, told(own, spell(100, 110), shown=shown), state=running())], [own])
        assert advised(case, "f").advice == expected


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("won't crank", "note_only"),
        ("brake air low", "stop_now"),
        ("smell of fuel in the cab", "stop_now"),
        ("steering heavy", "stop_now"),
        ("loader sinks", "finish_gently"),
        ("weak lift", "keep_working"),
        ("overheats on the hill", "stop_now"),
        ("radio crackles", "finish_gently"),
    ],
)
def test_symptoms_by_hand(words: str, expected: str) -> None:
    of = symptom("s", words)
    case = machine([visit(0, told(of, state="active"), kind="by_hand")], [of])
    found = advised(case, "s", now=Now(DAY_US, 101.0))
    assert found.advice == expected
    assert found.applies_now
    document = advice_document(found)
    assert document["words"].endswith(".")
    assert len(document["because"]) >= 1

"""What belongs together: supplies, dips while cranking, lost units, levels, power limits."""

from __future__ import annotations

import numpy as np
import pytest
from tests.made_cases import (
    AMBER,
    RED,
    S,
    Values,
    fault,
    lamps,
    machine,
    running,
    spell,
    state,
    told,
    visit,
)

from shearbolt.app.composing.between_words import instance_words, link_words
from shearbolt.dictionary.company_roles import company_roles, numbers_of, plays
from shearbolt.model.state import StateTable
from shearbolt.reasoning.case import Absence
from shearbolt.reasoning.company import Company, Weight, company_of, first_to_look
from shearbolt.reasoning.company.cranks import cranks_of
from shearbolt.reasoning.company.lost import lost_units
from shearbolt.reasoning.company.together import event_id

SUPPLY = fault("f_supply", 3509, 4)
BOOST = fault("f_boost", 102, 4)
OIL = fault("f_oil", 100, 4)
RAIL = fault("f_rail", 157, 3)


def whys(found: Company) -> list[str]:
    return [one.why for one in found.instances]


# Shared supplies


def test_sensors_follow_their_supply() -> None:
    one = visit(
        0, told(OIL, spell(100, 160)), told(BOOST, spell(102, 161)), told(SUPPLY, spell(108, 160))
    )
    found = company_of(machine([one], [OIL, BOOST, SUPPLY]))
    assert found.roots == {"f_oil": "f_supply", "f_boost": "f_supply"}
    assert len({found.events[one] for one in ("f_oil", "f_boost", "f_supply")}) == 1
    link = found.link_of("f_oil")
    assert link is not None
    assert link_words(link) == "Its sensor hangs on the supply that failed (1 of 1 times)."


def test_a_circuit_that_flickers_by_itself_is_not_excused_by_one_bad_day() -> None:
    alone = [spell(20 * i, 20 * i + 5) for i in range(1, 15)]
    one = visit(0, told(OIL, *alone))
    two = visit(1, told(OIL, spell(100, 160)), told(SUPPLY, spell(101, 160)))
    found = company_of(machine([one, two], [OIL, SUPPLY]))
    assert found.roots == {}


def test_another_controllers_sensor_does_not_hang_on_this_supply() -> None:
    other = fault("f_other", 127, 4, 3)
    one = visit(0, told(other, spell(100, 160)), told(SUPPLY, spell(101, 160)))
    assert company_of(machine([one], [other, SUPPLY])).roots == {}


def test_without_a_supply_code_the_sensors_share_an_event() -> None:
    one = visit(
        0, told(OIL, spell(100, 160)), told(BOOST, spell(101, 161)), told(RAIL, spell(103, 161))
    )
    found = company_of(machine([one], [OIL, BOOST, RAIL]))
    assert found.roots == {}
    assert set(found.events) == {"f_oil", "f_boost", "f_rail"}
    assert found.events["f_oil"] == event_id(["f_rail", "f_oil", "f_boost"])
    assert whys(found) == ["shared_return_or_supply"]


def test_values_that_step_together_join_codes_that_come_apart() -> None:
    at = np.arange(600)
    values = running(
        oil_kpa=np.where((at >= 100) & (at < 160), np.inf, 400.0),
        boost_kpa=np.where((at >= 100) & (at < 160), np.inf, 120.0),
    )
    one = visit(0, told(OIL, spell(102, 160)), told(BOOST, spell(124, 161)), state=values)
    found = company_of(machine([one], [OIL, BOOST]))
    assert found.events["f_oil"] == found.events["f_boost"]
    # Values that step twenty seconds apart have nothing in common, however near their codes.
    apart = running(
        oil_kpa=np.where((at >= 100) & (at < 160), np.inf, 400.0),
        boost_kpa=np.where((at >= 80) & (at < 160), np.inf, 120.0),
    )
    one = visit(0, told(OIL, spell(102, 160)), told(BOOST, spell(104, 161)), state=apart)
    assert company_of(machine([one], [OIL, BOOST])).events == {}


def test_codes_listed_in_the_first_report_may_be_years_apart() -> None:
    one = visit(
        0,
        told(OIL, spell(1, 600, "recording_end", known=False)),
        told(BOOST, spell(1, 600, "recording_end", known=False)),
    )
    found = company_of(machine([one], [OIL, BOOST]))
    assert (found.roots, found.events) == ({}, {})


def test_a_supply_that_stands_since_before_takes_its_sensors() -> None:
    one = visit(
        0,
        told(OIL, spell(1, 600, "recording_end", known=False)),
        told(SUPPLY, spell(1, 600, "recording_end", known=False)),
    )
    assert company_of(machine([one], [OIL, SUPPLY])).roots == {"f_oil": "f_supply"}


# Cranking


def start(volts: Values, *, crank_rpm: float = 180.0, at_s: int = 10) -> StateTable:
    """An engine cranked for five seconds, then running."""
    at = np.arange(300)
    rpm = np.where(at < at_s, 0.0, np.where(at < at_s + 5, crank_rpm, 900.0))
    volt = np.full(300, 14.2)
    volt[:at_s] = 12.4
    told_v = np.atleast_1d(np.asarray(volts, np.float64))
    volt[at_s : at_s + len(told_v)] = told_v
    return state(300, {"engine_rpm": rpm, "battery_v": volt})


def first_of_april(volts: Values) -> Company:
    """Story 3: fourteen codes of five controllers at one start."""
    faults = [fault(f"f{i:02d}", 500 + i, (2, 3, 4, 9, 19)[i % 5], i % 5) for i in range(13)] + [
        fault("f_feed", 158, 18, 0)
    ]
    seen = [told(one, spell(11 + i, 20 + i)) for i, one in enumerate(faults)]
    return company_of(machine([visit(0, *seen, state=start(volts), last_s=300)], faults))


def test_fourteen_codes_are_one_event_the_start() -> None:
    found = first_of_april([7.6, 7.6, 7.6, 7.6, 7.9])
    assert whys(found) == ["cranking_dip"]
    assert len(found.events) == 14
    assert len(set(found.events.values())) == 1
    assert set(found.roots.values()) == {"f_feed"}
    assert len(found.roots) == 13
    assert instance_words(found.instances[0]) == (
        "They began while the starter pulled the voltage down (7.6 V while cranking)."
    )


@pytest.mark.parametrize(
    "volts",
    [
        # The healthy tractor: 7.75 V in the first half second, 9.3 V a second later [measured].
        [7.75, 9.3, 11.85, 12.55, 14.15],
        [7.75, 9.3],
        [9.8, 10.0, 10.2, 10.2, 10.3],
        # One low sample is none.
        [7.6],
    ],
)
def test_a_healthy_start_is_not_accused(volts: list[float]) -> None:
    found = first_of_april(volts)
    assert "cranking_dip" not in whys(found)
    assert found.roots == {}


def test_a_low_start_without_codes_is_no_event() -> None:
    one = visit(0, state=start([7.6] * 5), last_s=300)
    assert cranks_of(one)[0].low
    assert company_of(machine([one], [])).instances == ()


def test_a_fast_engine_is_not_cranking_slowly() -> None:
    (crank,) = cranks_of(visit(0, state=start([8.0] * 5, crank_rpm=300.0), last_s=300))
    assert crank.slowest_rpm == 300.0
    assert not crank.low


def test_24_volts_dip_to_twice_as_much() -> None:
    at = np.arange(300)
    rpm = np.where(at < 10, 0.0, np.where(at < 15, 180.0, 900.0))
    for low, dips in ((16.0, True), (19.0, False)):
        volts = np.where(at < 10, 24.8, np.where(at < 15, low, 28.2))
        one = visit(0, state=state(300, {"engine_rpm": rpm, "battery_v": volts}), last_s=300)
        assert cranks_of(one)[0].low is dips


def test_an_engine_that_runs_down_is_not_cranking() -> None:
    at = np.arange(300)
    rpm = np.where(at < 200, 900.0, np.where(at < 203, 200.0, 0.0))
    assert cranks_of(visit(0, state=state(300, {"engine_rpm": rpm}), last_s=300)) == ()


def test_an_interlock_at_the_start_is_no_low_voltage() -> None:
    gear, seat = fault("f_gear", 524020, 31, 3), fault("f_seat", 1504, 31, 5)
    one = visit(
        0,
        told(gear, spell(11, 14)),
        told(seat, spell(11, 14)),
        state=start([7.6] * 5),
        last_s=300,
    )
    assert company_of(machine([one], [gear, seat])).instances == ()


def test_codes_that_come_while_running_too_are_not_the_start() -> None:
    a, b = fault("a", 500, 2, 0), fault("b", 501, 3, 1)
    more = [spell(100 + 20 * i, 105 + 20 * i) for i in range(5)]
    one = visit(
        0,
        told(a, spell(12, 16), *more),
        told(b, spell(12, 16), *more),
        state=start([7.6] * 5),
        last_s=300,
    )
    assert "cranking_dip" not in whys(company_of(machine([one], [a, b])))


# Lost units

LOST = (
    fault("f_cab", 639, 9, 49),
    fault("f_trans", 190, 9, 3),
    fault("f_box", 2000, 9, 33),
)


def lost(claimed: bool, *more: Absence) -> tuple[Absence, ...]:
    absence = Absence(
        "can0", 0, 100 * S, 103 * S, "silence", 103 * S + 200_000 if claimed else None
    )
    return (absence, *more)


@pytest.mark.parametrize(("claimed", "why"), [(True, "unit_lost_power"), (False, "unit_off_bus")])
def test_a_lost_unit_and_those_that_miss_it(claimed: bool, why: str) -> None:
    seen = [told(one, spell(101 + i, 106 + i)) for i, one in enumerate(LOST)]
    found = company_of(machine([visit(0, *seen, absences=lost(claimed))], LOST))
    assert whys(found) == [why]
    assert len(set(found.events.values())) == 1
    assert set(found.events) == {"f_cab", "f_trans", "f_box"}
    assert found.roots == {}


def test_the_unit_that_says_its_power_was_gone_is_the_root() -> None:
    own = fault("f_own", 627, 2, 0)
    seen = [told(one, spell(101 + i, 106 + i)) for i, one in enumerate(LOST)]
    one = visit(0, *seen, told(own, spell(104, 110)), absences=lost(True))
    found = company_of(machine([one], [*LOST, own]))
    assert set(found.roots.values()) == {"f_own"}
    assert len(found.roots) == 3


def test_a_claim_that_nobody_heard_is_not_needed_where_the_unit_says_so_itself() -> None:
    own = fault("f_own", 627, 2, 0)
    seen = [told(one, spell(101 + i, 106 + i)) for i, one in enumerate(LOST)]
    one = visit(0, *seen, told(own, spell(104, 110)), absences=lost(False))
    assert set(company_of(machine([one], [*LOST, own])).roots.values()) == {"f_own"}


def test_a_limit_kept_from_before_follows_what_is_told_after_it_at_key_on() -> None:
    limit, soot = fault("f_limit", 1569, 31), fault("f_soot", 3719, 16, 61)
    booting = visit(0, told(limit, spell(1, 590)), told(soot, spell(4, 590)))
    assert company_of(machine([booting], [limit, soot])).roots == {"f_limit": "f_soot"}
    # At work the cause comes first.
    work = visit(0, told(limit, spell(100, 590)), told(soot, spell(120, 590)))
    assert company_of(machine([work], [limit, soot])).roots == {}


def test_key_off_loses_nobody() -> None:
    off = tuple(Absence("can0", address, 100 * S, None, "key_off") for address in (0, 3, 23))
    one = visit(0, absences=off)
    assert lost_units(one) == ()
    assert company_of(machine([one], [])).instances == ()


def test_without_absences_the_readings_tell_who_is_gone() -> None:
    at = np.arange(600)
    here = np.where((at > 100) & (at < 108), np.nan, 80.0)
    table = state(
        600,
        {("engine_rpm", 0): 1500.0, ("transmission_c", 3): here, ("speed_kmh", 3): here},
    )
    one = visit(0, state=table)
    (gone,) = lost_units(one)
    assert (gone.address, gone.from_us, gone.until_us) == (3, 100 * S, 108 * S)
    assert gone.power is None
    # All quiet at once is a pause of the recording, not a loss.
    all_quiet = state(600, {("engine_rpm", 0): here, ("transmission_c", 3): here})
    assert lost_units(visit(0, state=all_quiet)) == ()


# Levels and power limits


def test_levels_of_one_condition_are_one_matter_and_the_worst_is_the_root() -> None:
    warm, hot = fault("f_warm", 110, 16), fault("f_hot", 110, 0)
    one = visit(0, told(warm, spell(100, 400)), told(hot, spell(200, 390), shown=RED))
    found = company_of(machine([one], [warm, hot]))
    assert found.roots == {"f_warm": "f_hot"}
    apart = [visit(0, told(warm, spell(100, 110))), visit(9, told(hot, spell(200, 390)))]
    assert company_of(machine(apart, [warm, hot])).roots == {}


@pytest.mark.parametrize("other", [fault("b", 110, 1), fault("b", 110, 0, 5), fault("b", 175, 0)])
def test_other_directions_controllers_and_parameters_are_other_matters(other: object) -> None:
    warm = fault("a", 110, 16)
    assert isinstance(other, type(warm))
    one = visit(0, told(warm, spell(100, 400)), told(other, spell(200, 390)))
    assert company_of(machine([one], [warm, other])).roots == {}


def test_a_power_limit_follows_what_stood_when_it_began() -> None:
    limit, hot = fault("f_limit", 1569, 31), fault("f_hot", 110, 0)
    soot = fault("f_soot", 3719, 16)
    one = visit(
        0,
        told(soot, spell(20, 60)),
        told(hot, spell(200, 390), shown=RED),
        told(limit, spell(201, 390)),
    )
    found = company_of(machine([one], [limit, hot, soot]))
    assert found.roots == {"f_limit": "f_hot"}


def test_an_inducement_follows_exhaust_treatment_only() -> None:
    induced, hot, deff = fault("i", 5246, 16), fault("h", 110, 0), fault("d", 1761, 1)
    one = visit(
        0,
        told(deff, spell(10, 590), shown=AMBER),
        told(hot, spell(200, 390), shown=RED),
        told(induced, spell(210, 590)),
    )
    assert company_of(machine([one], [induced, hot, deff])).roots == {"i": "d"}


def test_the_chain_points_at_the_root_itself() -> None:
    limit, warm, hot = fault("l", 1569, 31), fault("w", 110, 16), fault("h", 110, 0)
    one = visit(
        0,
        told(warm, spell(100, 400)),
        told(limit, spell(110, 400)),
        told(hot, spell(200, 390), shown=RED),
    )
    assert company_of(machine([one], [limit, warm, hot])).roots == {"l": "h", "w": "h"}


def test_codes_that_start_together_twice_are_an_event() -> None:
    a, b = fault("a", 500, 2, 0), fault("b", 501, 7, 3)
    one = visit(0, told(a, spell(100, 110)), told(b, spell(101, 110)))
    assert company_of(machine([one], [a, b])).events == {}
    two = visit(1, told(a, spell(200, 210)), told(b, spell(201, 210)))
    found = company_of(machine([one, two], [a, b]))
    assert found.events == {"a": event_id(["a"]), "b": event_id(["a"])}
    assert found.roots == {}


# Which first


def test_the_gravest_family_comes_first_and_roots_before_followers() -> None:
    warm, hot, limit = fault("w", 110, 16), fault("h", 110, 0), fault("l", 1569, 31)
    old, lone = fault("o", 190, 2), fault("x", 105, 16)
    one = visit(
        0,
        told(warm, spell(100, 400)),
        told(limit, spell(210, 400)),
        told(hot, spell(200, 390), shown=RED),
        told(lone, spell(20, 600, "recording_end"), shown=lamps(amber="on")),
    )
    company = company_of(machine([one], [warm, hot, limit, old, lone]))
    weights = {
        "w": Weight("finish_gently", False, False, 400, 1),
        "h": Weight("stop_now", True, False, 390, 1),
        "l": Weight("keep_working", False, False, 400, 1),
        "x": Weight("finish_gently", True, False, 600, 1),
        "o": Weight("stop_now", False, True, 999, 0),
    }
    assert first_to_look(company, weights) == ("h", "w", "l", "x", "o")


def test_a_grave_follower_lifts_its_root() -> None:
    company = Company({"b": "a"}, {}, (), ())
    weights = {
        "a": Weight("keep_working", True, False, 1, 1),
        "b": Weight("stop_now", True, False, 1, 1),
        "c": Weight("finish_gently", True, False, 9, 9),
    }
    assert first_to_look(company, weights) == ("a", "b", "c")


# The table


def test_roles_are_read() -> None:
    assert numbers_of("3|7-9") == frozenset({3, 7, 8, 9})
    assert numbers_of("") == frozenset()
    assert plays("supply", 3512, 3)
    assert not plays("feed", 158, 3)
    assert plays("network", 2003, 9)
    assert all(one.source for one in company_roles().values())

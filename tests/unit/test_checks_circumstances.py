"""What a machine's case tells of the checks that are possible on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.made_cases import NOTHING, fault, machine, running, spell, state, told, visit

from shearbolt.model.signal import SignalSeen
from shearbolt.reasoning.case import Absence, MachineCase
from shearbolt.reasoning.checks import context_of
from shearbolt.reasoning.odds import Adjusted, Evidence, FaultOdds, Suspect

OIL = fault("oil", 100, 4)
S = 1_000_000


def seen(spn: int, numbers: int, errors: int = 0) -> SignalSeen:
    rest = 100 - numbers - errors
    return SignalSeen(
        "can0", 0, spn, 65263, 100, numbers, rest, errors, 0, 100 * S, 1.0, None, None, None, None,
        1.0, "kPa",
    )  # fmt: skip


def test_what_is_sent_is_live_even_in_error() -> None:
    signals = (seen(100, 0, errors=50), seen(110, 90), seen(175, 0))
    case = machine([visit(0, signals=signals)], [OIL])
    assert context_of(case, OIL).live == frozenset({100, 110})
    # Nothing was recorded: nothing is known, and a check may try.
    assert context_of(machine([visit(0, kind="by_hand", state=NOTHING)], [OIL]), OIL).live is None


def test_the_voltage_comes_from_the_feed() -> None:
    for volts, system in ((14.1, 12), (28.2, 24)):
        case = machine([visit(0, state=running(battery_v=volts))], [OIL])
        assert context_of(case, OIL).system_v == system
    assert context_of(machine([visit(0, state=running())], [OIL]), OIL).system_v is None


def test_two_readings_of_the_feed_that_differ() -> None:
    def flags(one: object, other: object) -> frozenset[str]:
        columns = {(158, 0): one, (168, 33): other}
        case = machine([visit(0, state=state(200, columns))], [OIL])  # type: ignore[arg-type]
        return context_of(case, OIL).flags

    assert "volts_differ" not in flags(14.2, 14.1)
    assert "volts_differ" in flags(14.2, 13.4)
    # Three seconds of a start: 7.6 V at the engine, 9.9 V in the cab.
    at = np.arange(200)
    start = (at >= 3) & (at < 6)
    assert "volts_differ" in flags(np.where(start, 7.6, 14.2), np.where(start, 9.9, 14.2))
    # One second of a healthy start is no evidence, nor is a smaller gap.
    one_second = at == 3
    assert "volts_differ" not in flags(np.where(one_second, 7.75, 14.2), 14.2)
    assert "volts_differ" not in flags(np.where(start, 9.4, 14.2), np.where(start, 9.9, 14.2))
    # Twice the volts, twice the difference allowed.
    assert "volts_differ" not in flags(28.2, 27.5)
    assert "volts_differ" in flags(28.2, 26.9)


@pytest.mark.parametrize(
    ("address", "claimed", "why", "lost"),
    [(200, 5 * S, "silence", True), (200, None, "silence", False), (12, 5 * S, "silence", False),
     (200, 5 * S, "key_off", False)],
)  # fmt: skip
def test_a_unit_that_lost_power(address: int, claimed: int | None, why: object, lost: bool) -> None:
    missing = fault("m", 2200, 9, 0)
    gap = Absence("can0", address, 2 * S, 5 * S, why, claimed)  # type: ignore[arg-type]
    case = machine([visit(0, absences=(gap,))], [missing])
    assert ("power_lost" in context_of(case, missing).flags) is lost


def test_our_adapter_is_suspected_only_for_the_bus_and_only_at_the_beginning() -> None:
    bus = fault("b", 639, 9)

    def flags(of: object, *starts: float) -> frozenset[str]:
        one = bus if of == "bus" else OIL
        visits = [visit(i, told(one, spell(at, at + 5))) for i, at in enumerate(starts)]
        return context_of(machine(visits, [one]), one).flags

    assert "plugged_in_just_before" in flags("bus", 20.0, 40.0)
    assert "plugged_in_just_before" not in flags("bus", 20.0, 300.0)
    assert "plugged_in_just_before" not in flags("oil", 20.0)
    assert "plugged_in_just_before" not in flags("bus")


def test_soot_frost_and_implements() -> None:
    full = running(columns={"soot_pct": np.linspace(90, 112, 600), "ambient_c": -14.0})
    case = machine([visit(0, state=full)], [OIL])
    assert {"soot_above_limit", "frost"} <= context_of(case, OIL).flags
    mild = running(columns={"soot_pct": 60.0, "ambient_c": 12.0})
    after = machine([visit(0, state=full), visit(1, state=mild)], [OIL])
    assert not {"soot_above_limit", "frost"} & context_of(after, OIL).flags
    wagon: MachineCase = replace(case, kind="implement")
    assert {"implement", "powered_terminators"} <= context_of(wagon, OIL).flags


def test_evidence_brings_its_circumstance() -> None:
    shaken = Evidence("shaken", "for", "G", 4.9, True, (), "r", "s", ())
    against = replace(shaken, key="power_lost", state="against")
    suspect = Suspect("wiring", 0.7, 0.4, False, (shaken, against))
    odds = FaultOdds(
        "oil", None, (suspect,), 0.3, {}, {}, "row", "source",
        (Adjusted("stood_days", "wiring", 2.5, "s"),), 0.0, (), False,
    )  # fmt: skip
    context = context_of(machine([visit(0)], [OIL]), OIL, odds, ("listening",), ("multimeter",))
    assert context.flags == {"moving_part", "stood_long"}
    assert context.ready == {"listening"}
    assert context.no_tools == {"multimeter"}

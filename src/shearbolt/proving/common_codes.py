"""The codes that the controllers of the yard know: what each watches, its limits and delays.

Limits and delays are common practice (no source), but for those that the reference sheet names
(sections 6.1 to 6.11). Which codes a controller has follows from what it reads and from its part
in the machine; how it holds them is its manner (`manners`).
"""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.model.fault import Lamps
from shearbolt.proving import watches
from shearbolt.proving.codes import Codes
from shearbolt.proving.controllers import IMPLEMENT_BUS, Controller, Machine
from shearbolt.proving.faults import (
    AMBER,
    AMBER_AND_MIL,
    AMBER_FLASHING,
    OFF,
    PROTECT,
    RED_FLASHING,
    Fault,
)
from shearbolt.proving.manners import Manner
from shearbolt.proving.part_codes import part_codes
from shearbolt.proving.sensing import circuit_of
from shearbolt.proving.truth import Cause
from shearbolt.proving.watches import Enable

NETWORK, NETWORK_2 = 639, 1231
SUPPLY_OF_BOX = 627
RAILS = {"A": 3509, "B": 3510, "T": 3511, "G": 3511, "H": 3511, "L": 3509, "Y": 3510, "C": 3512}
"""Sensor supplies by their names (SPN 3509 to 3512: supply 1 to 4 of a controller)."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of the table of limits."""

    spn: int
    fmi: int
    on: float
    off: float
    set_s: float
    heal_s: float
    lamps: Lamps = AMBER
    when: Enable = "key"
    derate_pct: float = 100.0
    monitor: str = ""
    scale: bool = False


LIMITS = (
    Limit(110, 16, 105.0, 101.0, 3.0, 8.0, AMBER_FLASHING, derate_pct=85.0),
    Limit(110, 0, 110.0, 108.0, 3.0, 5.0, RED_FLASHING, derate_pct=60.0),
    Limit(111, 18, 62.0, 70.0, 8.0, 20.0),
    Limit(111, 1, 38.0, 45.0, 8.0, 20.0, RED_FLASHING),
    Limit(105, 16, 82.0, 76.0, 5.0, 10.0, PROTECT),
    Limit(105, 0, 95.0, 88.0, 5.0, 10.0, AMBER, derate_pct=75.0),
    Limit(175, 16, 128.0, 122.0, 5.0, 15.0),
    Limit(175, 0, 138.0, 130.0, 5.0, 15.0, RED_FLASHING, derate_pct=60.0),
    Limit(174, 16, 82.0, 76.0, 10.0, 20.0, derate_pct=85.0),
    Limit(107, 16, 5.0, 4.2, 10.0, 60.0, AMBER, "running"),
    Limit(107, 0, 7.0, 6.0, 10.0, 60.0, AMBER, "running", 90.0),
    Limit(94, 18, 230.0, 260.0, 6.0, 20.0, AMBER, "running", 90.0),
    Limit(94, 1, 130.0, 170.0, 6.0, 20.0, AMBER_FLASHING, "running", 70.0),
    Limit(97, 31, 0.5, 0.4, 3.0, 20.0, AMBER_FLASHING),
    Limit(98, 18, 55.0, 60.0, 2.0, 5.0, AMBER, "stopped"),
    Limit(98, 1, 35.0, 40.0, 2.0, 5.0, RED_FLASHING, "stopped"),
    Limit(101, 16, 3.2, 2.4, 8.0, 30.0, AMBER, "running"),
    Limit(101, 0, 5.5, 4.5, 8.0, 30.0, RED_FLASHING, "running", 60.0),
    Limit(177, 16, 112.0, 106.0, 5.0, 20.0),
    Limit(177, 0, 122.0, 115.0, 5.0, 20.0, RED_FLASHING, derate_pct=70.0),
    Limit(522, 16, 7.5, 4.0, 2.5, 20.0, AMBER, "moving"),
    Limit(1638, 16, 92.0, 86.0, 5.0, 20.0),
    Limit(1638, 0, 102.0, 95.0, 5.0, 20.0, RED_FLASHING),
    Limit(1713, 0, 0.5, 0.4, 3.0, 6.0, AMBER, "running"),
    Limit(2602, 18, 60.0, 66.0, 6.0, 20.0),
    Limit(2602, 1, 40.0, 46.0, 6.0, 20.0, RED_FLASHING),
    Limit(1087, 18, 560.0, 620.0, 1.0, 3.0, AMBER),
    Limit(1087, 1, 450.0, 520.0, 1.0, 3.0, RED_FLASHING),
    Limit(1088, 18, 560.0, 620.0, 1.0, 3.0, AMBER),
    Limit(1088, 1, 450.0, 520.0, 1.0, 3.0, RED_FLASHING),
    Limit(3719, 15, 90.0, 84.0, 5.0, 30.0, OFF),
    Limit(3719, 16, 100.0, 95.0, 4.0, 30.0, AMBER, derate_pct=85.0),
    Limit(3719, 0, 125.0, 118.0, 4.0, 30.0, RED_FLASHING, derate_pct=50.0),
    Limit(3720, 15, 78.0, 74.0, 10.0, 60.0, OFF),
    Limit(3720, 16, 94.0, 90.0, 10.0, 60.0, AMBER),
    Limit(3242, 0, 760.0, 700.0, 3.0, 20.0, RED_FLASHING, derate_pct=50.0),
    Limit(3246, 0, 780.0, 720.0, 3.0, 20.0, RED_FLASHING, derate_pct=50.0),
    Limit(1761, 17, 10.0, 12.0, 20.0, 20.0, AMBER),
    Limit(1761, 18, 5.0, 7.0, 20.0, 20.0, AMBER_FLASHING),
    Limit(1761, 1, 1.0, 3.0, 20.0, 20.0, AMBER_FLASHING),
    Limit(3516, 18, 28.0, 30.0, 120.0, 60.0, AMBER_AND_MIL, "warm", monitor="nox_catalyst"),
    Limit(3516, 1, 12.0, 16.0, 120.0, 60.0, AMBER_AND_MIL, "warm"),
    Limit(3516, 16, 38.0, 36.0, 120.0, 60.0, AMBER_AND_MIL, "warm"),
)  # fmt: skip
"""Readings beyond a bound; `on` above `off` watches for high values."""
_SOAKED = (110, 105, 174, 175, 171, 172)
_SOAKED_EXHAUST = (3241, 3242, 3246)
_FROZEN_S = {100: 60.0, 110: 240.0, 3251: 120.0, 1638: 400.0, 1873: 150.0, 1761: 400.0,
             3246: 200.0}  # fmt: skip


def codes_of(machine: Machine, controller: Controller, manner: Manner) -> tuple[Fault, ...]:
    """Return every code that one controller can set, with its watch; counts start at 0."""
    codes = Codes(machine, controller, manner)
    _limits(codes)
    _circuits(codes)
    _pulses(codes)
    _supplies(codes)
    part_codes(codes)
    _network(codes)
    return tuple(codes.rows)


def _limits(codes: Codes) -> None:
    for row in LIMITS:
        if row.spn not in codes.reads:
            continue
        cause: Cause = "real_condition"
        if row.spn == 3719:
            cause = "inhibited_regeneration"
        elif row.spn == 3720:
            cause = "ash"
        watch = watches.limit(row.spn, codes.key, row.on, row.off, row.when, row.scale)
        codes.add(
            row.spn, row.fmi, watch, row.set_s, row.heal_s, cause, row.lamps, row.derate_pct,
            monitor=row.monitor, latched=False if row.spn in (1713, 3719) else None,
        )  # fmt: skip


def _circuits(codes: Codes) -> None:
    """Add FMI 3, 4, 2 and 10 of every sensor that is wired to this controller."""
    for spn in sorted(codes.reads):
        kind = circuit_of(spn).kind
        if kind in ("ntc", "ratiometric", "exhaust", "switch"):
            derate = 80.0 if spn in (91, 157) else 100.0
            high, low = watches.circuit(spn, codes.key, "high"), watches.circuit(
                spn, codes.key, "low"
            )  # fmt: skip
            codes.add(spn, 3, high, 2.0, 3.0, "wiring", AMBER, derate, substitutes=True)
            codes.add(spn, 4, low, 2.0, 3.0, "wiring", AMBER, derate, substitutes=True)
        if kind == "switch":
            loose = watches.pin_leaves(spn, codes.key, 3, 120.0)
            codes.add(spn, 2, loose, 0.0, 30.0, "wiring")
        if kind in ("ntc", "ratiometric", "exhaust"):
            # A foot on the pedal may jump; a pin outside its scale is no foot.
            jumps = watches.pin_leaves if spn == 91 else watches.erratic
            codes.add(spn, 2, jumps(spn, codes.key), 0.0, 12.0, "wiring")
        if kind == "ratiometric" and spn != 91:
            codes.add(spn, 2, watches.rough(spn, codes.key), 0.0, 12.0, "sensor")
        if kind == "ntc":
            codes.add(spn, 10, watches.leaps(spn, codes.key), 0.0, 6.0, "wiring")
        if spn in _FROZEN_S:
            watch = watches.frozen(spn, codes.key, _FROZEN_S[spn])
            codes.add(spn, 2, watch, 0.0, 5.0, "sensor")
    _against_others(codes)
    for spn in sorted(codes.reads & {3216, 3226}):
        codes.add(spn, 12, watches.says_nothing(spn, codes.key, "warm"), 5.0, 10.0, "sensor")
    if 1761 in codes.reads:
        codes.add(1761, 12, watches.says_nothing(1761, codes.key, "key"), 4.0, 10.0, "sensor")


def _against_others(codes: Codes) -> None:
    """Add FMI 20 and 21 of sensors that must agree after a night's rest (sheet 6.1)."""
    if not codes.newer:
        return
    for group, off_k in ((_SOAKED, 13.0), (_SOAKED_EXHAUST, 30.0)):
        there = tuple(spn for spn in group if spn in codes.reads)
        if len(there) < 3:
            continue
        for spn in there:
            others = tuple(one for one in there if one != spn)
            for fmi, sign in ((20, 1), (21, -1)):
                watch = watches.after_rest(spn, codes.key, others, sign, off_k)
                codes.add(spn, fmi, watch, 1.0, 5.0, "sensor")


def _pulses(codes: Codes) -> None:
    """Add what a controller notices of speed sensors whose shafts must turn."""
    rows: tuple[tuple[int, Enable, float], ...] = (
        (190, "running", 150.0), (161, "running", 150.0), (191, "moving", 4.0),
        (84, "moving", 0.4), (904, "moving", 0.4), (1862, "moving", 0.1), (1883, "loaded", 20.0),
    )  # fmt: skip
    for spn, when, least in rows:
        if spn not in codes.reads:
            continue
        lost = watches.pulses_lost(spn, codes.key, when, least)
        codes.add(spn, 8, lost, 1.6, 5.0, "wiring", substitutes=False)
        skip = watches.pulses_skip(spn, codes.key, when, least)
        codes.add(spn, 2, skip, 2.0, 25.0, "wiring")


def _supplies(codes: Codes) -> None:
    """Add the controller's own feed, and the supplies that it gives to its sensors."""
    rails = sorted({circuit_of(spn).rail for spn in codes.reads} - {""})
    for name in rails:
        spn = RAILS[name]
        for fmi, end in ((3, "high"), (4, "low")):
            watch = watches.rail(codes.key, name, "high" if end == "high" else "low")
            codes.add(spn, fmi, watch, 0.8, 3.0, "shared_supply")
    me = codes.key
    if codes.machine.build is None:
        watch = watches.reset_while_on(me, implement=True)
        codes.add(SUPPLY_OF_BOX, 2, watch, 0.0, 1.0, "wiring", latched=False)
        return
    if me == "engine":
        codes.add(158, 18, watches.volts(me, 8.4, 8.6), 0.8, 2.5, "low_voltage")
        codes.add(158, 1, watches.volts(me, 7.0, 7.3), 0.8, 2.5, "low_voltage")
        codes.add(636, 2, watches.volts(me, 6.6, 6.8), 1.0, 4.0, "low_voltage")
        codes.add(168, 18, watches.volts(me, 12.35, 12.8, "running"), 20.0, 10.0, "low_voltage")
        codes.add(167, 18, watches.volts(me, 13.1, 13.4, "loaded"), 60.0, 20.0, "low_voltage")
        codes.add(168, 16, watches.volts(me, 15.4, 15.0, "running"), 10.0, 10.0, "low_voltage")
        codes.add(
            168, 0, watches.volts(me, 16.3, 15.6, "running"), 3.0, 10.0, "low_voltage",
            RED_FLASHING,
        )  # fmt: skip
    else:
        codes.add(168, 18, watches.volts(me, 10.2, 11.2, "running"), 1.5, 4.0, "wiring")
    watch = watches.reset_while_on(me)
    codes.add(SUPPLY_OF_BOX, 2, watch, 0.0, 1.0, "wiring", latched=False)


def _network(codes: Codes) -> None:
    """Add the partners whose messages this controller cannot do without."""
    machine, controller = codes.machine, codes.controller
    if machine.build is None:
        return
    there = {one.key: one for one in machine.controllers if one.channel == controller.channel}
    for need, wants, spn, set_s in _NEEDS:
        partner = there.get(wants)
        if need != codes.key or partner is None:
            continue
        watch = watches.missing(wants, partner.channel, boot_s=partner.boot_s + 2.0)
        codes.add(spn, 9, watch, set_s, 2.0, "network", latched=False)
    if codes.key in ("engine", "transmission") and controller.dm1 != "never_heard":
        watch = watches.disturbed(controller.channel)
        codes.add(NETWORK, 2 if codes.key == "engine" else 19, watch, 3.0, 10.0, "network")
    if codes.key == "cab" and any(one.channel == IMPLEMENT_BUS for one in machine.controllers):
        watch = watches.disturbed(IMPLEMENT_BUS)
        codes.add(NETWORK_2, 9, watch, 3.0, 10.0, "network")
    if codes.key == "transmission" and "engine" in there:
        codes.add(91, 19, watches.relayed(91, "engine", 2.0), 0.5, 2.0, "network", latched=False)


_NEEDS = (
    ("engine", "transmission", NETWORK, 1.0),
    ("engine", "treatment", NETWORK, 2.0),
    ("engine", "machine", NETWORK, 2.0),
    ("engine", "hydraulics", NETWORK, 2.5),
    ("transmission", "engine", 190, 0.6),
    ("transmission", "cab", NETWORK, 2.0),
    ("treatment", "engine", 190, 1.5),
    ("machine", "engine", 190, 1.0),
    ("machine", "cab", NETWORK, 2.5),
    ("hydraulics", "engine", 190, 1.5),
    ("brakes", "engine", 190, 2.0),
    ("cab", "engine", NETWORK, 2.5),
    ("cab", "transmission", NETWORK, 2.5),
)
"""Who cannot do without whom: the code's SPN, and the delay in seconds."""

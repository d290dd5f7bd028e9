"""Causes in the main supply, on the bus, in the use, in settings and in the particulate filter."""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving import exhaust
from shearbolt.proving.causes.cause import (
    ENGINES,
    FILTERS,
    GEARBOXES,
    HYDRAULIC,
    Cause,
    Worsen,
    habit,
    health,
    together,
)
from shearbolt.proving.plight import BusFault, Plight, SensorFault, When
from shearbolt.proving.quantities import STEERING

_LOW = ((168, 18), (158, 18), (168, 1))
LOW_VOLTAGE: tuple[Cause, ...] = (
    Cause("low_voltage.battery_flat", "low_voltage", "The battery is nearly empty.",
          health(battery_charge=0.12, battery_resistance=1.5), ENGINES, _LOW, (158, 168)),
    Cause("low_voltage.battery_old", "low_voltage", "The battery is old: it gives way at cranking.",
          health(battery_resistance=2.3), ENGINES, _LOW, (158, 168), "creeping"),
    Cause("low_voltage.main_ground", "low_voltage",
          "The earth strap between battery and engine is corroded.",
          health(ground_ohm=0.022), ENGINES, _LOW, (158, 168), "creeping"),
    Cause("low_voltage.main_feed", "low_voltage", "The main fuse holder is burnt.",
          health(feed_ohm=0.055), ENGINES, _LOW, (158, 168), "creeping"),
    Cause("low_voltage.alternator_dead", "low_voltage", "The alternator does not charge.",
          health(alternator=0.02), ENGINES, ((167, 18), (168, 18), (158, 18)), (158, 167, 168),
          "sudden"),
    Cause("low_voltage.alternator_weak", "low_voltage",
          "The alternator's belt slips: it charges too little.",
          health(alternator=0.3), ENGINES, ((167, 18), (168, 18)), (158, 167, 168)),
    Cause("low_voltage.regulator_high", "low_voltage", "The regulator lets the voltage run away.",
          health(regulator_v=2.6), ENGINES, ((167, 16), (168, 16), (168, 0)), (158, 167, 168),
          "sudden"),
    Cause("low_voltage.drain", "low_voltage",
          "Something drains the battery while the machine stands.",
          health(parasitic_a=2.2), ENGINES, _LOW, (158, 168), "sudden"),
)  # fmt: skip


def _bus(fault: BusFault) -> Worsen:
    def worsen(plight: Plight, severity: float) -> Plight:
        share = fault.when.share
        when = fault.when if share >= 1.0 else replace(fault.when, share=share * severity)
        size = fault.size if fault.kind in ("mute", "chafed") else fault.size * severity
        return replace(plight, buses=(*plight.buses, replace(fault, size=size, when=when)))

    return worsen


_NETWORK_CODES = ((639, 9), (639, 19), (1231, 9))
NETWORK: tuple[Cause, ...] = (
    Cause("network.no_terminator", "network", "A terminator at the end of the bus is missing.",
          _bus(BusFault("no_terminator", 0.12)), ENGINES, _NETWORK_CODES, (), "sudden"),
    Cause("network.no_terminator_behind", "network",
          "The terminator of the implement bus is missing behind the tractor.",
          _bus(BusFault("no_terminator", 0.16, "can1")), ("big_tractor", "new_tractor"),
          ((1231, 9),), (), "sudden"),
    Cause("network.pair_chafed", "network", "The two bus wires touch where the harness shakes.",
          _bus(BusFault("chafed", 0.98, when=When("vibration", 0.36, 0.08, 0.8))), ENGINES,
          _NETWORK_CODES),
    Cause("network.pair_pinched", "network", "The bus wires are pinched at the articulation.",
          _bus(BusFault("chafed", 0.98, when=When("steering", 75.0, 0.3, 0.6))),
          ("telehandler", "big_tractor", "new_tractor", "forager"), _NETWORK_CODES),
    Cause("network.plug_wet", "network", "Water stands in a bus plug since washing.",
          _bus(BusFault("corrupts", 0.35, when=When("wet", 0.1, 0.8, 4.0))), ENGINES,
          _NETWORK_CODES, (), "sudden"),
    *(
        Cause(f"network.mute.{key}", "network",
              f"The {name} has power but falls silent for a while, the longer the warmer it is.",
              _bus(BusFault("mute", 1.0, controller=key, when=When("warm", 55.0, 0.35, 12.0))),
              machines, ((639, 9),), (), "creeping")
        for key, name, machines in (
            ("transmission", "gearbox controller", GEARBOXES),
            ("cab", "cab controller", ("big_tractor", "new_tractor", "forager", "truck")),
            ("hydraulics", "hydraulics controller", ("telehandler",)),
            ("treatment", "exhaust treatment controller", ("new_tractor",)),
            ("machine", "machine controller", ("forager",)),
        )
    ),
    *(
        Cause(f"network.babble.{key}", "network", f"The {name} floods the bus with nonsense.",
              _bus(BusFault("babble", 1400.0, controller=key,
                            when=When("always", 0.0, 0.2, 6.0))),
              machines, _NETWORK_CODES, (), "sudden")
        for key, name, machines in (
            ("cab", "cab controller", ("big_tractor", "new_tractor", "forager", "truck")),
            ("transmission", "gearbox controller", GEARBOXES),
        )
    ),
)  # fmt: skip

OPERATOR: tuple[Cause, ...] = (
    Cause("operator.leaves_seat", "operator", "The driver stands up with the PTO running.",
          habit(leaves_seat_an_hour=70.0), ("big_tractor", "new_tractor", "telehandler"),
          ((520_201, 31),), (), "sudden"),
    Cause("operator.park_dragged", "operator", "The driver sets off with the park lever still on.",
          habit(park_dragged=0.95), ("big_tractor", "new_tractor", "telehandler", "truck"),
          ((70, 31), (70, 2)), (70,), "sudden"),
    Cause("operator.rides_brake", "operator", "The driver keeps a foot on the brake.",
          habit(rides_brake=0.75), GEARBOXES, ((597, 31), (177, 16)), (597, 177), "sudden"),
    Cause("operator.rides_clutch", "operator", "The driver inches along on the clutch pedal.",
          habit(rides_clutch=0.6), GEARBOXES, ((598, 31), (522, 16), (177, 16)),
          (598, 522, 177), "sudden"),
    Cause("operator.revs_cold", "operator", "The driver revs the engine up as soon as it fires.",
          habit(revs_cold=True), ENGINES, ((100, 0), (100, 16)), (190, 100), "sudden"),
    Cause("operator.starts_in_gear", "operator", "The driver turns the key with the lever in gear.",
          habit(starts_in_gear=True), ("big_tractor", "new_tractor", "telehandler"),
          ((524_020, 31),), (), "sudden"),
    Cause("operator.pto_at_speed", "operator", "The driver engages the PTO at full speed.",
          habit(pto_at_high_speed=True), ("big_tractor", "new_tractor", "utility_tractor"),
          ((1883, 31),), (1883,), "sudden"),
    Cause("operator.lugs", "operator", "The driver pulls the engine down in too high a gear.",
          habit(lugs=0.38),
          ("big_tractor", "new_tractor", "utility_tractor", "forager", "telehandler"),
          ((105, 16), (110, 16)), (190, 92), "sudden"),
    Cause("operator.overloads", "operator", "More is asked of the machine than it is built for.",
          habit(overloads=0.45), ("forager", "big_tractor", "new_tractor", "telehandler"),
          ((1638, 16), (177, 16)), (92,), "sudden"),
    Cause("operator.isolates_early", "operator",
          "The battery switch is turned before the controllers have shut down.",
          habit(isolates_early=True), ("new_tractor", "forager", "truck"), ((628, 31), (1761, 31)),
          (), "sudden"),
)  # fmt: skip


def _adjusted(*faults: SensorFault) -> Worsen:
    def worsen(plight: Plight, severity: float) -> Plight:
        grown = tuple(
            replace(one, size=one.size * severity if one.kind == "offset"
                    else 1.0 + (one.size - 1.0) * severity)
            for one in faults
        )  # fmt: skip
        return replace(plight, sensors=(*plight.sensors, *grown))

    return worsen


CALIBRATION: tuple[Cause, ...] = (
    Cause("calibration.hitch_not_taught", "calibration",
          "The new hitch position sensor was not taught its ends.",
          _adjusted(SensorFault(1873, "gain", 0.59, pivot=29.3)), ("big_tractor", "new_tractor"),
          ((1873, 2), (1873, 13)), (1873,), "sudden"),
    Cause("calibration.pedal_not_taught", "calibration", "The new pedal was not taught its ends.",
          _adjusted(SensorFault(91, "gain", 0.74, pivot=28.0)), ENGINES, ((91, 13), (91, 2)),
          (91,), "sudden"),
    Cause("calibration.steering_zero", "calibration",
          "The steering sensor was not set to straight ahead.",
          _adjusted(SensorFault(STEERING, "offset", 16.0)),
          ("big_tractor", "new_tractor", "telehandler", "forager"), ((STEERING, 13),),
          (STEERING,), "sudden"),
    Cause("calibration.injector_codes", "calibration",
          "The codes of the new injectors were not entered.",
          together(health(soot=1.9, rail_leak=0.08)), ("new_tractor", "truck", "forager"),
          ((3719, 15), (3719, 16)), (157,), "sudden"),
    Cause("calibration.clutch_not_taught", "calibration",
          "The clutches were not taught after the gearbox controller was changed.",
          health(clutch_slip_pct=9.0), GEARBOXES, ((522, 13), (522, 16)), (522,), "sudden"),
    Cause("calibration.wheel_size", "calibration", "Other tyres were fitted, and the size not set.",
          _adjusted(SensorFault(84, "gain", 1.13), SensorFault(1862, "gain", 1.13)),
          ("big_tractor", "new_tractor", "telehandler"), ((84, 13), (84, 2)), (84, 1862),
          "sudden"),
    Cause("calibration.wrong_oil_sensor", "calibration",
          "The new oil pressure sensor is of another range.",
          _adjusted(SensorFault(100, "gain", 0.4)), ENGINES, ((100, 18), (100, 13)), (100,),
          "sudden"),
    Cause("calibration.wrong_boost_sensor", "calibration",
          "The new boost sensor is of another range.",
          _adjusted(SensorFault(102, "gain", 0.62, pivot=-50.0)), ENGINES,
          ((102, 18), (102, 13)), (102,), "sudden"),
    Cause("calibration.filter_not_reset", "calibration",
          "The cleaned particulate filter was not reported to its controller.",
          _adjusted(SensorFault(3720, "offset", 70.0)), FILTERS, ((3720, 15), (3720, 16)),
          (3720,), "sudden"),
    Cause("calibration.hydraulic_sensor_kind", "calibration",
          "The new hydraulic temperature sensor is of another curve.",
          _adjusted(SensorFault(1638, "gain", 1.5, pivot=20.0)), HYDRAULIC,
          ((1638, 16), (1638, 13)), (1638,), "sudden"),
)  # fmt: skip


def _inhibit(*spns: int) -> Worsen:
    def worsen(plight: Plight, severity: float) -> Plight:
        if severity < 0.2:
            return plight
        return replace(plight, inhibits=plight.inhibits | frozenset(spns))

    return worsen


INHIBITED: tuple[Cause, ...] = tuple(
    Cause(f"inhibited_regeneration.{form}", "inhibited_regeneration", words, _inhibit(spn),
          FILTERS, ((3719, 15), (3719, 16), (3251, 16), (spn, 31)), (spn, 3719), "sudden")
    for form, spn, words in (
        ("switch", exhaust.SWITCH, "The inhibit switch has been left on for days."),
        ("pto", exhaust.PTO, "The PTO stays on all day, in every queue too."),
        ("short_jobs", exhaust.COLD_EXHAUST, "Only short light jobs: the exhaust never gets hot."),
        ("cold_engine", exhaust.COLD_ENGINE, "The engine is shut off before it is ever warm."),
        ("park_brake", exhaust.PARK, "The parking brake is never set for the regeneration."),
        ("brake_pedal", exhaust.BRAKE, "A foot rests on the brake whenever it would start."),
        ("clutch", exhaust.CLUTCH, "The clutch pedal is held down in every queue."),
        ("in_gear", exhaust.GEAR, "The machine is left in gear when it should burn off standing."),
        ("pedal", exhaust.PEDAL, "The hand throttle is left up when it should burn off standing."),
        ("other_fault", exhaust.FAULT, "Another fault of the exhaust treatment forbids it."),
        ("lockout", exhaust.LOCKOUT, "Soot is beyond what may still be burnt off on the machine."),
        ("timeouts", exhaust.TIMEOUT, "Regenerations were broken off so often that they time out."),
    )
)  # fmt: skip

ASH: tuple[Cause, ...] = (
    Cause("ash.full", "ash", "After thousands of hours the filter is full of ash.",
          health(ash_pct=90.0), FILTERS, ((3720, 16), (3251, 16)), (3720, 3251), "creeping"),
    Cause("ash.wrong_oil", "ash", "An oil too rich in ash has filled the filter early.",
          health(ash_pct=75.0), FILTERS, ((3720, 15), (3251, 16)), (3720, 3251), "creeping"),
    Cause("ash.burns_oil", "ash", "The engine burns oil, and its ash stays in the filter.",
          together(health(ash_pct=80.0, oil_level=0.7, soot=1.3)), FILTERS,
          ((3720, 15), (3720, 16), (3251, 16)), (3720, 3251, 98), "creeping"),
)  # fmt: skip

"""The demo season's stories, as data: what truly came to which machine, and what people did.

Corbie Howe is an invented contractor in the invented upper Wenna valley: eleven machines, one
season from first cut to last beet. Every story is made of the causes and repairs of the proving
ground; what the machines then say of it follows from their physics.
"""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.machines import (
    BIG_TRACTOR,
    FORAGER,
    LOADER_WAGON,
    NEW_TRACTOR,
    PICKUP,
    TELEHANDLER,
    TRUCK,
    UTILITY_TRACTOR,
)
from shearbolt.proving.plans import (
    Happening,
    LookPlan,
    MachinePlan,
    Mending,
    Part,
    Trouble,
    another,
)

_PARTS: dict[str, Part] = {"start": "start", "work": "work", "end": "end"}


def _logged(*days: str) -> tuple[LookPlan, ...]:
    """Return whole shifts that a logger left on the plug kept, by their dates."""
    return tuple(LookPlan(one, "whole", 0, "log.zst", logger=True) for one in days)


def _looks(*lines: str) -> tuple[LookPlan, ...]:
    """Read looks written in short: date, part, seconds, endings, and words for what is special."""
    out = []
    for line in lines:
        day, part, seconds, form, *words = line.split()
        one = LookPlan(day, _PARTS[part], int(seconds), form)
        for word in words:
            if word == "unknown":
                one = replace(one, asks_names=False)
            elif word.startswith("kind="):
                one = replace(one, kind=word.removeprefix("kind="))
            else:
                one = replace(one, **{word: word != "hitched"})  # type: ignore[arg-type]
        out.append(one)
    return tuple(out)


_BIG = MachinePlan(
    BIG_TRACTOR,
    6322.4,
    troubles=(
        Trouble("operator.pto_at_speed", "06-18", peak=0.8),
        Trouble("wiring.feed_loose.transmission", "08-05", 6.0, 0.14),
        Trouble("real_condition.transmission_cooler_blocked", "09-23", 45.0, 1.0),
        Trouble("calibration.wheel_size", "11-16"),
    ),
    mendings=(
        Mending("06-27", ("told_driver",), "Told Wil to let the PTO in at low revs", ((1883, 31),)),
        Mending("08-19", ("clean_plug",), "Cleaned the bus plug behind the seat", ((639, 9),)),
        Mending("08-31", ("lock_supply_plug",), "Supply plug of the gearbox box found unlocked, "
                "locked and tied", ((639, 9),), cleared=True),
        Mending("10-20", ("blow_out_radiator",), "Blew out radiator and coolers", ((177, 16),)),
        Mending("11-10", ("clean_gearbox_cooler",), "Gearbox cooler taken out and cleaned",
                ((177, 16),)),
        Mending("12-03", ("set_wheel_size",), "Set the tyre size in the cab menu"),
    ),
    happenings=(
        Happening("06-18", "lent out, other driver on it"),
        Happening("08-04 17", "gearbox controller changed by the workshop, software updated"),
        Happening("11-16", "new tyres fitted"),
        Happening("10-19", "weak pull on the hill", "symptom", doing="heavy cultivating",
                  warmth="hot"),
    ),
    looks=_looks(
        "05-14 start 210 log.gz", "06-22 work 150 log.gz", "06-30 start 130 blf",
        "08-08 start 170 log.gz tester", "08-17 start 180 log", "10-14 work 200 log.zst tester",
        "11-02 work 150 log.gz", "11-24 start 150 log.gz",
    ) + _logged("06-20", "10-08"),
    implement=LOADER_WAGON,
    hitched=("05-01", "06-10"),
    drivers=("Wil", "Hanna"),
    swaps=(("08-04 18", "transmission", 1_102_994),),
    about="A new gearbox box whose plug was never locked, then a cooler that chaff had closed.",
)  # fmt: skip

_NEW = MachinePlan(
    NEW_TRACTOR,
    1288.6,
    troubles=(
        Trouble("wiring.chafed_hitch.1873", "05-11", 60.0, 0.08),
        Trouble("calibration.hitch_not_taught", "07-21"),
        Trouble("inhibited_regeneration.pto", "09-24"),
        Trouble("wiring.implement_plug", "09-26", 30.0, 1.0, on_implement=True),
        Trouble("sensor.hose_off.3251", "11-04"),
    ),
    mendings=(
        Mending("07-21", ("new_sensor",), "New hitch position sensor", ((1873, 2), (1873, 4))),
        Mending("07-29", ("mend_wire",), "Cable to the hitch sensor was stretched, mended with "
                "slack", ((1873, 4), (1873, 2))),
        Mending("08-05", ("teach_hitch",), "Hitch ends taught", ((1873, 13),)),
        Mending("10-05", ("standing_regeneration",), "Standing regeneration on the concrete",
                ((3719, 16),)),
        Mending("10-07", ("regeneration_habits",), "Drivers shown: PTO off in the queue",
                ((3719, 16),)),
        Mending("10-16", ("new_implement_plug",), "New power pins in the wagon's plug"),
        Mending("11-19", ("hose_back_on",), "Hose of the filter pressure sensor was off, clamped",
                ((3251, 1), (3251, 18)), cleared=True),
    ),
    happenings=(
        Happening("07-22", "hitch stops short", "symptom", doing="heavy cultivating"),
        Happening("09-30", "DEF delivered"),
        Happening("10-02", "loader wagon off the screen again", "symptom",
                  doing="carting, pick-up going down", with_hours=False),
        Happening("10-04", "power limited in the queue", "symptom", doing="queueing at the clamp",
                  warmth="hot"),
        Happening("11-03", "exhaust looked at by the workshop, welded a bracket"),
    ),
    looks=_looks(
        "05-20 start 150 log.gz hitched", "06-26 work 170 log.gz regenerates",
        "08-03 work 150 log.gz tester", "09-28 work 140 log.gz",
        "10-01 work 190 log.gz", "10-06 work 220 log.zst tester", "10-12 work 150 log.gz",
        "11-10 work 150 log.gz", "12-01 end 150 log.gz",
    ) + _logged("07-22", "11-12"),
    implement=LOADER_WAGON,
    hitched=("06-11", "12-31"),
    drivers=("Hanna", "Jory"),
    about="Regenerations stopped by the PTO in every queue; a hitch sensor nobody taught; a "
          "wagon that lost its power.",
)  # fmt: skip

_HIRED = MachinePlan(
    another(NEW_TRACTOR, "the hire tractor", 3, "XCH02NEWTRAC23580"),
    4120.0,
    troubles=(
        Trouble("ash.full", "05-09", 200.0, 1.0),
        Trouble("calibration.filter_not_reset", "08-06"),
        Trouble("real_condition.def_diluted", "10-09", peak=0.85),
    ),
    mendings=(
        Mending("07-09 5", ("standing_regeneration",), "Standing regeneration, soot light stayed",
                ((3720, 16), (3251, 16))),
        Mending("08-06", ("filter_cleaned",), "Particulate filter cleaned by the service",
                ((3720, 16),)),
        Mending("08-24", ("reset_filter",), "Cleaned filter entered in its controller",
                ((3720, 16),), cleared=True),
        Mending("10-13", ("def_topped_up",), "Filled up with DEF", ((3516, 18),)),
        Mending("10-21", ("drain_def",), "DEF tank drained, rinsed, filled from sealed cans",
                ((3516, 18), (4364, 18))),
    ),
    happenings=(
        Happening("05-08", "hired for the season, other driver"),
        Happening("10-08 18", "DEF filled from the open drum"),
    ),
    looks=_looks(
        "05-12 start 150 log.gz", "06-24 work 150 log.gz", "07-10 start 140 log.gz tester",
        "08-08 work 150 blf", "10-12 work 330 log.gz tester",
        "12-04 start 130 log.gz",
    ) + _logged("06-30", "10-30"),
    drivers=("Jory",),
    stale=False,
    about="A filter full of ash that regenerations could not clear, cleaned and not entered; "
          "water in the DEF.",
)  # fmt: skip

_UTILITY = MachinePlan(
    UTILITY_TRACTOR,
    8122.1,
    troubles=(
        Trouble("low_voltage.main_ground", "04-01", peak=0.45),
        Trouble("shared_supply.chafed.engine_a", "08-20", 25.0, 0.45),
        Trouble("real_condition.thermostat_open", "10-20", peak=0.9),
    ),
    mendings=(
        Mending("04-03", ("new_battery",), "New battery", ((168, 18),)),
        Mending("05-22", ("clean_ground",), "Earth strap to the engine cleaned, bolt was loose",
                ((168, 18), (158, 18))),
        Mending("09-22", ("new_sensor",), "New oil pressure sensor", ((100, 4),)),
        Mending("10-12", ("mend_supply",), "Bare 5 V wire on the bracket found and mended",
                ((100, 4), (102, 4))),
        Mending("11-24", ("new_thermostat",), "New thermostat", ((110, 18),)),
    ),
    happenings=(
        Happening("04-01", "stood over winter"),
        Happening("04-01 8", "won't crank", "symptom", doing="first start of the year",
                  warmth="cold", minutes_since_start=0.0),
        Happening("04-01 9", "jump-started"),
        Happening("05-12", "cranks slowly again", "symptom", warmth="cold"),
        Happening("09-03", "warning lamp on the rough track", "symptom", doing="raking"),
    ),
    looks=(
        LookPlan("04-01", "start", 170, "log", relative=True),
        *_looks(
            "05-13 start 120 log.gz", "08-27 work 170 log.gz",
            "09-25 work 150 asc.gz unknown", "10-19 work 140 log.gz", "12-02 work 140 log.gz",
        ),
        *_logged("05-30"),
    ),
    writes=0.0,
    drivers=("Old Tam",),
    about="A corroded earth strap blamed on the battery, then a bare supply wire.",
)  # fmt: skip

_FORAGER = MachinePlan(
    FORAGER,
    1680.0,
    troubles=(
        Trouble("sensor.drift.1638", "05-09", 80.0, 1.0),
        Trouble("real_condition.charge_cooler_dirty", "05-10", 260.0, 1.0),
        Trouble("real_condition.radiator_blocked", "09-24", 45.0, 0.85),
    ),
    mendings=(
        Mending("07-01", ("blow_out_radiator",), "Blew out the coolers for the oil temperature",
                ((1638, 16),)),
        Mending("08-06", ("new_sensor",), "New hydraulic oil temperature sensor", ((1638, 16),)),
        Mending("10-01", ("clean_screen_only",), "Wiped the rotary screen", ((110, 16),)),
        Mending("10-04", ("blow_out_radiator",), "Radiator blown out from the clean side",
                ((110, 16), (110, 0))),
        Mending("10-11", ("wash_charge_cooler",), "Charge air cooler out and washed",
                ((105, 16),)),
    ),
    happenings=(
        Happening("06-17", "washed", wet=True),
        Happening("09-20", "header changed for maize"),
        Happening("09-30", "loses power after two hours", "symptom", doing="chopping maize",
                  warmth="hot", minutes_since_start=120.0),
    ),
    looks=_looks(
        "05-15 start 150 log.gz", "06-23 work 170 log.zst", "07-02 work 150 log.gz tester",
        "09-29 work 260 log.zst", "10-02 work 170 log.gz tester",
        "10-09 work 190 log.gz", "10-15 work 170 blf",
    ) + _logged("05-19", "09-26"),
    drivers=("Brede",),
    about="Chaff in the radiator, years of pollen in the charge air cooler, and a sensor that "
          "drifted.",
)  # fmt: skip

_TELEHANDLER = MachinePlan(
    TELEHANDLER,
    3204.3,
    troubles=(
        Trouble("operator.leaves_seat", "06-05", peak=0.2),
        Trouble("wiring.chafed_steering.191", "08-20", 160.0, 0.05),
        Trouble("real_condition.hydraulic_oil_cold", "10-25", peak=0.9),
    ),
    mendings=(
        Mending("06-19", ("told_driver",), "Talked to the new lad about standing up with the "
                "boom raised", ((520_201, 31),)),
        Mending("10-02", ("new_sensor",), "New output speed sensor", ((191, 2),)),
        Mending("11-21", ("tape_wire",), "Cable to 191 taped at the joint", ((191, 2),)),
        Mending("11-27", ("warm_up_first",), "Told to warm the oil up slowly", ((1713, 0),)),
        Mending("12-03", ("mend_wire",), "Cable led away from the joint and mended", ((191, 2),)),
    ),
    happenings=(
        Happening("05-05", "washed", wet=True),
        Happening("09-18", "drops to neutral when I stop", "symptom", doing="turning in the yard"),
        Happening("11-20", "hard frost"),
    ),
    looks=_looks(
        "05-06 start 140 log.gz", "06-12 work 240 log.gz tester", "07-22 work 120 trc",
        "09-21 work 190 log.zst", "11-20 start 210 log.gz tester",
        "11-25 start 140 csv.gz", "12-07 work 170 log.gz",
    ) + _logged("06-10", "10-08"),
    drivers=("Mab", "the new lad"),
    about="A speed sensor's cable pinched near full lock, taken for the sensor and for the stops.",
)  # fmt: skip

_LOADER = MachinePlan(
    another(TELEHANDLER, "the clamp loader", 5),
    5870.5,
    troubles=(
        Trouble("low_voltage.drain", "05-18", peak=1.0),
        Trouble("network.plug_wet", "07-14", peak=0.9),
        Trouble("network.mute.hydraulics", "10-05", 120.0, 0.12),
    ),
    mendings=(
        Mending("06-08", ("charge_battery",), "Battery charged over night", ((168, 18),)),
        Mending("06-22", ("new_battery",), "New battery", ((168, 18),)),
        Mending("07-06", ("find_drain",), "Radio stayed on, taken off the battery", ((168, 18),)),
        Mending("09-10", ("dry_bus_plug",), "Bus plug under the cab full of water, dried and "
                "greased", ((639, 2), (639, 19))),
        Mending("10-28", ("restart",), "Key off for five minutes", ((639, 9),)),
        Mending("11-19", ("new_controller",), "Hydraulics controller changed by the workshop",
                ((639, 9),), cleared=True),
    ),
    happenings=(
        Happening("06-08", "won't start", "symptom", doing="Monday morning", warmth="cold",
                  minutes_since_start=0.0),
        Happening("06-08 7", "jump-started"),
        Happening("07-18 4", "washed down for the audit", wet=True),
        Happening("08-28 4", "washed", wet=True),
        Happening("10-20", "boom stops for some seconds when it is hot", "symptom", warmth="hot",
                  doing="pushing up the clamp"),
    ),
    looks=_looks(
        "05-11 start 130 log.gz", "06-15 start 140 log.gz", "07-18 work 160 log.gz tester",
        "08-28 start 150 log.gz", "10-14 work 180 log.gz tester",
        "11-09 work 170 log.gz", "12-08 start 130 log.gz",
    ) + _logged("07-16", "10-18"),
    drivers=("Mab",),
    swaps=(("11-19", "hydraulics", 104_411),),
    about="A radio that emptied the battery, water in a bus plug, a controller that falls silent "
          "when warm.",
)  # fmt: skip

_TRUCK = MachinePlan(
    TRUCK,
    11_640.0,
    troubles=(
        Trouble("wiring.chafed_vibration.100", "05-20", 160.0, 0.04),
        Trouble("real_condition.boost_leak", "06-04", peak=0.75),
        Trouble("real_condition.brake_air_leaks", "11-03", 60.0, 0.9),
    ),
    mendings=(
        Mending("06-24", ("charge_clamps",), "Charge air hose reseated, clamp tightened",
                ((102, 18),)),
        Mending("07-22", ("oil_change",), "Oil and filter changed", ((100, 4),)),
        Mending("09-24", ("tape_wire",), "Bare spot at the oil pressure sensor taped", ((100, 4),)),
        Mending("10-29", ("mend_wire",), "Cable to the oil pressure sensor mended and tied away",
                ((100, 4), (100, 2)), cleared=True),
        Mending("11-21", ("new_brake_chamber",), "New brake chamber, by the workshop",
                ((1087, 18),)),
    ),
    happenings=(
        Happening("06-05", "no power uphill", "symptom", doing="hauling, loaded", warmth="hot"),
        Happening("07-21", "warning lamp on the quarry track", "symptom", doing="rough track"),
        Happening("11-12", "air builds up slowly", "symptom", warmth="cold"),
    ),
    looks=_looks(
        "05-18 start 130 log.gz", "06-09 work 170 blf", "08-24 work 150 log.gz tester",
        "09-28 work 130 csv.gz", "10-15 work 200 log.gz tester",
        "11-16 start 170 log.gz tester", "12-09 work 150 log.gz",
    ) + _logged("06-08", "07-18", "10-05"),
    drivers=("Ines",),
    about="An oil pressure code that was a cable on a bracket; a hose clamp; a brake chamber.",
)  # fmt: skip

_LORRY = MachinePlan(
    another(TRUCK, "the beet lorry", 7, "XCH05TRXCK1900517"),
    6910.0,
    troubles=(
        Trouble("sensor.drift.3226", "05-10", 220.0, 0.9),
        Trouble("sensor.noisy.91", "09-24", 60.0, 0.7),
        Trouble("calibration.pedal_not_taught", "10-26"),
        Trouble("low_voltage.alternator_weak", "11-06", 50.0, 1.0),
    ),
    mendings=(
        Mending("08-10", ("clean_doser",), "Doser cleaned", ((4364, 18), (3226, 16))),
        Mending("09-04", ("new_sensor",), "New NOx sensor behind the catalyst",
                ((3226, 16), (4364, 18)), cleared=True),
        Mending("10-26", ("new_sensor",), "New pedal fitted", ((91, 2),)),
        Mending("11-02", ("teach_pedal",), "Pedal ends taught", ((91, 13),)),
        Mending("11-27", ("tighten_belt",), "Alternator belt was slipping, tightened",
                ((167, 18), (168, 18))),
    ),
    happenings=(
        Happening("05-09", "came back from the winter contract"),
        Happening("10-12", "surges on the flat", "symptom", doing="hauling, loaded", warmth="hot"),
        Happening("10-27", "no full throttle", "symptom", doing="hauling, loaded"),
        Happening("11-23", "battery light on", "symptom"),
    ),
    looks=_looks(
        "05-20 start 120 log.gz", "07-07 work 150 log.gz tester", "08-19 work 130 trc.gz",
        "09-08 start 130 log.gz", "10-13 work 160 log.gz", "10-29 work 150 log.gz tester",
        "11-22 start 190 log.gz", "12-03 work 130 log.gz",
    ) + _logged("06-25", "08-05", "11-18"),
    drivers=("Ines", "Pell"),
    stale=False,
    about="A NOx sensor that drifted while doser and fluid were blamed; a pedal; a belt.",
)  # fmt: skip

_PICKUP = MachinePlan(
    PICKUP,
    2210.0,
    troubles=(
        Trouble("real_condition.thermostat_open", "05-20", peak=0.25),
        Trouble("real_condition.boost_leak", "06-22", peak=0.7),
        Trouble("low_voltage.battery_old", "10-01", 60.0, 0.8),
    ),
    mendings=(
        Mending("07-08", ("charge_clamps",), "Charge air hose clamp tightened", codes=("P0299",)),
        Mending("11-26", ("new_battery",), "New battery", codes=("P0562",)),
    ),
    happenings=(
        Happening("06-23", "engine light on, no power", "symptom", doing="on the road",
                  with_hours=False),
        Happening("11-24", "cranks slowly", "symptom", warmth="cold", with_hours=False),
    ),
    looks=_looks(
        "05-27 work 120 log.gz tester", "07-03 work 150 asc tester",
        "11-20 work 130 log.gz tester",
    ),
    writes=0.0,
    about="A hose clamp, and a thermostat that is only a little lazy.",
)  # fmt: skip

GROUPS: tuple[tuple[MachinePlan, ...], ...] = (
    (_BIG, _NEW), (_HIRED,), (_TRUCK,), (_LORRY,), (_FORAGER,), (_TELEHANDLER,), (_LOADER,),
    (_UTILITY,), (_PICKUP,),
)  # fmt: skip
"""Machines that share an implement live together; groups know nothing of each other."""

__all__ = ["GROUPS"]

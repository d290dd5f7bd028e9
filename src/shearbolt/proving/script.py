"""Outings scripted to the second, as data: who, when, in what weather, doing what, with what fault.

Counts, hours and memories go on from one outing of a machine to its next. The tests measure what
reads recordings against them; the demo season is lived instead (`yard`).
"""

from __future__ import annotations

from dataclasses import replace

from shearbolt.model.instants import from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.proving.bus import play
from shearbolt.proving.controllers import (
    COMPONENT_IDENTIFICATION,
    HOURS,
    IMPLEMENT_BUS,
    SOFTWARE_IDENTIFICATION,
    VEHICLE_IDENTIFICATION,
)
from shearbolt.proving.faults import (
    AMBER,
    AMBER_AND_MIL,
    AMBER_FLASHING,
    OFF,
    PROTECT,
    RED_FLASHING,
    Fault,
    Memory,
    Outage,
    StandingLamp,
    Upset,
    Window,
    above,
    during,
    repeated,
)
from shearbolt.proving.layouts import ERROR
from shearbolt.proving.ledger import truth_of
from shearbolt.proving.machines import (
    BIG_TRACTOR,
    BIG_TRACTOR_GEARBOX,
    BIG_TRACTOR_GEARBOX_NEW,
    FORAGER,
    LOADER_WAGON,
    NEW_TRACTOR,
    PICKUP_BUILD,
    PICKUP_VIN,
    SERVICE_TOOL,
    SERVICE_TOOL_ADDRESS,
    TELEHANDLER,
    TRUCK,
    UTILITY_TRACTOR,
)
from shearbolt.proving.obd import CHANNEL, RoadCodes, RoadTrip, play_road
from shearbolt.proving.outing import Ask, Outing, Tool, work
from shearbolt.proving.packing import ADDRESS_CLAIM, DM2, DM4
from shearbolt.proving.physics import Battery
from shearbolt.proving.trace import Day, Phase
from shearbolt.proving.truth import DemoRecording, TrueFault, TrueMachine, Truth

_CLUSTER = 23


def _key_on_asks(asker: int, *pgns: int) -> tuple[Ask, ...]:
    """Return the requests that a cluster makes in the first seconds after key-on."""
    return tuple(Ask(2.9 + 0.45 * number, asker, pgn) for number, pgn in enumerate(pgns))


def _tool_asks(from_s: float, asked: int, *pgns: int) -> tuple[Ask, ...]:
    """Return a tester's requests to one controller, one a second."""
    return tuple(
        Ask(from_s + 1.1 * number, SERVICE_TOOL_ADDRESS, pgn, asked)
        for number, pgn in enumerate(pgns, start=1)
    )


_ABOUT_ITSELF = (VEHICLE_IDENTIFICATION, COMPONENT_IDENTIFICATION, SOFTWARE_IDENTIFICATION)

_COLD_FILTER = Fault(
    "hydraulics", 1713, 0, AMBER,
    above(lambda t: t.hydraulic_drop_kpa, 170.0, 150.0), 3.0, 6.0,
    "real_condition",
    "The hydraulic oil is cold and thick: the clean filter bypasses.",
    count_before=11,
)  # fmt: skip

TELEHANDLER_MARCH = Outing(
    "2026-03-31_telehandler_cold_morning.log",
    "candump",
    "2026-03-31T05:52:10Z",
    TELEHANDLER,
    Day(ambient_c=3.0, altitude_m=310.0, weather_kpa=0.6, hours=3204.3, fuel_pct=81.0),
    work(("key_on", 3), ("crank", 2), ("idle", 35), ("load", 200), ("idle", 30), ("key_off", 16)),
    faults=(_COLD_FILTER,),
    asks=_tool_asks(60.0, 0, *_ABOUT_ITSELF, HOURS, DM2),
    memories=(
        Memory("engine", 100, 1, 1, "real_condition", "Once run low on oil, years ago.", True),
    ),
    tool=Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, 59.0),
)

_STARTING = above(lambda t: 8.6 - t.keyswitch_v, 0.0, -0.6)
UTILITY_APRIL = Outing(
    "first_start_utility_tractor.log",
    "candump",
    "2026-04-01T08:14:00Z",
    UTILITY_TRACTOR,
    Day(
        ambient_c=3.0,
        altitude_m=265.0,
        hours=8122.1,
        fuel_pct=35.0,
        battery=Battery(charge=0.35, resistance=1.45, cable_drop_v=1.1),
    ),
    work(("key_on", 4), ("crank", 5), ("idle", 120), ("road", 60)),
    faults=(
        Fault(
            "engine", 168, 18, AMBER, _STARTING, 0.25, 2.0, "low_voltage",
            "A weak battery and a corroded earth strap after four months of standing.",
        ),
        Fault(
            "engine", 158, 18, AMBER, _STARTING, 0.5, 2.5, "low_voltage",
            "The same dip, seen at the key switch.",
        ),
        Fault(
            "engine", 636, 2, AMBER, _STARTING, 1.0, 4.0, "low_voltage",
            "The same dip: the position sensor's signal is lost.",
        ),
    ),
    relative=True,
)  # fmt: skip

_WAGON_MOTOR: tuple[Window, ...] = ((118.0, 149.0), (203.0, 226.0))
BIG_TRACTOR_MAY = Outing(
    "2026-05-14_big_tractor_grass.log.gz",
    "candump",
    "2026-05-14T06:12:09.413022Z",
    BIG_TRACTOR,
    Day(ambient_c=12.0, altitude_m=240.0, weather_kpa=-0.4, hours=6322.45, fuel_pct=88.0),
    work(("key_on", 2), ("crank", 2), ("idle", 36), ("road", 60), ("mow", 150), ("idle", 12),
         ("key_off", 20)),
    implement=LOADER_WAGON,
    faults=(
        Fault(
            "wagon", 521_010, 5, AMBER, during(*_WAGON_MOTOR), 1.0, 3.0, "wiring",
            "The cable to the pick-up's valve chafes at the drawbar.", count_before=2,
        ),
    ),
    asks=(
        *_key_on_asks(_CLUSTER, HOURS, HOURS, ADDRESS_CLAIM, HOURS, HOURS),
        Ask(6.0, 240, COMPONENT_IDENTIFICATION, 140, IMPLEMENT_BUS),
        Ask(8.0, _CLUSTER, DM2, 0),
    ),
    memories=(
        Memory("engine", 639, 9, 3, "network", "The bus plug behind the seat was once loose."),
        Memory("engine", 97, 31, 1, "real_condition", "Water in the fuel, three years ago.", True),
    ),
)  # fmt: skip

_OPEN_WIRE_JUNE: tuple[Window, ...] = ((62.0, 66.5), (97.0, 97.8), (121.0, 133.0))
_OIL_WORDS = "The wire to the oil pressure sensor rubs on the bracket and opens on rough road."


def _open_wire(windows: tuple[Window, ...]) -> tuple[Upset, ...]:
    """Return an open signal wire with a pull-down: 0 kPa at once, 'error' once it is noticed."""
    noticed = tuple((first + 2.0, last + 3.0) for first, last in windows if last - first > 2.0)
    return (Upset("engine", 100, 0.0, windows), Upset("engine", 100, ERROR, noticed))


TRUCK_JUNE = Outing(
    "2026-06-09_haulage_truck.blf",
    "blf",
    "2026-06-09T13:40:55.120000Z",
    TRUCK,
    Day(ambient_c=21.0, altitude_m=180.0, hours=11_648.2, fuel_pct=64.0,
        coolant_c=78.0, oil_c=80.0, transmission_c=66.0),
    work(("key_on", 2), ("crank", 1), ("idle", 27), ("road", 130), ("idle", 10), ("key_off", 10)),
    faults=(
        Fault("engine", 100, 4, AMBER, during(*_OPEN_WIRE_JUNE), 2.0, 3.0, "wiring", _OIL_WORDS,
              count_before=3),
        Fault("engine", 1127, 18, AMBER_AND_MIL, during((0.0, 1e9)), 12.0, 30.0, "real_condition",
              "A charge air hose leaks under load.", count_before=7),
    ),
    upsets=_open_wire(_OPEN_WIRE_JUNE),
    asks=(
        *_key_on_asks(49, HOURS),
        Ask(5.0, 49, VEHICLE_IDENTIFICATION, 0),
    ),
)  # fmt: skip

NEW_TRACTOR_JUNE = Outing(
    "2026-06-26_new_tractor_regeneration.log.gz",
    "candump",
    "2026-06-26T15:03:31.002000Z",
    NEW_TRACTOR,
    Day(ambient_c=24.0, altitude_m=225.0, weather_kpa=0.9, hours=1288.6, fuel_pct=52.0,
        coolant_c=86.0, oil_c=90.0, hydraulic_c=58.0, transmission_c=70.0, soot_pct=88.0),
    work(("mow", 60), Phase("regenerate", 150, soot_burner=True), ("idle", 20)),
    asks=(
        *_tool_asks(20.0, 0, *_ABOUT_ITSELF, HOURS, DM2),
        *_tool_asks(27.0, 61, COMPONENT_IDENTIFICATION, DM2),
        Ask(21.0, SERVICE_TOOL_ADDRESS, ADDRESS_CLAIM),
    ),
    memories=(
        Memory("engine", 3719, 15, 2, "inhibited_regeneration", "Soot rose on short jobs."),
        Memory("engine", 105, 16, 1, "real_condition", "Chaff before the charge air cooler."),
    ),
    tool=Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, 19.0),
)  # fmt: skip

BIG_TRACTOR_AUGUST = Outing(
    "2026-08-20_big_tractor_after_gearbox_box.log",
    "candump",
    "2026-08-20T11:27:44.801000Z",
    BIG_TRACTOR.with_controller(BIG_TRACTOR_GEARBOX_NEW),
    Day(ambient_c=22.0, altitude_m=250.0, weather_kpa=0.3, hours=6507.9, fuel_pct=60.0,
        coolant_c=41.0, oil_c=38.0, hydraulic_c=40.0, transmission_c=42.0),
    work(("key_on", 2), ("crank", 1), ("idle", 37), ("road", 110), ("mow", 40), ("idle", 10),
         ("key_off", 20)),
    faults=(
        Fault(
            "engine", 639, 9, AMBER, during((88.2, 96.0), (131.0, 140.5)), 1.0, 2.0, "wiring",
            "The supply plug of the new gearbox controller is not locked.", count_before=3,
        ),
        Fault(
            "cab", 639, 9, AMBER, during((88.2, 96.0), (131.0, 140.5)), 2.5, 2.0, "wiring",
            "The cab controller misses the gearbox controller too.",
        ),
    ),
    outages=(Outage("transmission", (88.2, 96.0)), Outage("transmission", (131.0, 140.5))),
    asks=(
        *_key_on_asks(_CLUSTER, HOURS, HOURS, ADDRESS_CLAIM, HOURS, HOURS),
        Ask(9.0, _CLUSTER, SOFTWARE_IDENTIFICATION, 3),
        Ask(10.0, _CLUSTER, DM2, 0),
    ),
    memories=(
        Memory("engine", 97, 31, 1, "real_condition", "Water in the fuel, three years ago.", True),
    ),
    swapped=(("transmission", BIG_TRACTOR_GEARBOX.name),),
)  # fmt: skip

FORAGER_SEPTEMBER = Outing(
    "2026-09-29_forager_maize.log.zst",
    "candump",
    "2026-09-29T14:46:02.250000Z",
    FORAGER,
    Day(ambient_c=27.0, altitude_m=205.0, weather_kpa=-0.2, hours=2109.7, fuel_pct=47.0,
        coolant_c=97.0, oil_c=101.0, hydraulic_c=61.0, transmission_c=60.0,
        radiator_share=0.2, charge_cooler_share=0.72),
    work(("queue", 20), ("chop", 265), ("idle", 75)),
    faults=(
        Fault("engine", 110, 16, AMBER_FLASHING, above(lambda t: t.coolant_c, 105.0, 101.0),
              3.0, 8.0, "real_condition", "Chaff and leaf block the radiator.", count_before=4),
        Fault("engine", 110, 0, RED_FLASHING, above(lambda t: t.coolant_c, 110.0, 109.0),
              3.0, 5.0, "real_condition", "The same: now beyond what the engine bears."),
        Fault("engine", 105, 16, PROTECT, above(lambda t: t.manifold_c, 82.0, 76.0),
              5.0, 10.0, "real_condition", "The charge air cooler is blocked with it.",
              count_before=2),
    ),
    standing=(StandingLamp("cab", AMBER, (40.0, 290.0)),),
    asks=(Ask(30.0, 39, VEHICLE_IDENTIFICATION, 0), Ask(33.0, 39, DM2, 0)),
)  # fmt: skip

_WAGON_ON_NEW = LOADER_WAGON.with_controller(replace(LOADER_WAGON.controller("wagon"), address=151))
"""The same wagon, which took another address on this tractor's bus."""
NEW_TRACTOR_OCTOBER = Outing(
    "2026-10-06_new_tractor_carting.log.gz",
    "candump",
    "2026-10-06T09:10:00.500000Z",
    NEW_TRACTOR,
    Day(ambient_c=11.0, altitude_m=230.0, weather_kpa=-1.1, hours=1517.2, fuel_pct=71.0,
        coolant_c=20.0, oil_c=18.0, hydraulic_c=16.0, transmission_c=17.0, soot_pct=101.0,
        inhibit_switch=True),
    work(("key_on", 3), ("crank", 1), ("idle", 36), ("road", 90), ("queue", 70), ("key_off", 20)),
    implement=_WAGON_ON_NEW,
    faults=(
        Fault("treatment", 3719, 16, AMBER, above(lambda t: t.soot_pct, 100.0, 95.0), 4.0, 30.0,
              "inhibited_regeneration",
              "Regeneration is switched off, and queueing with the PTO on stops it too.",
              count_before=5),
        Fault("treatment", 3703, 31, AMBER, during((0.0, 1e9)), 45.0, 30.0,
              "inhibited_regeneration", "The inhibit switch has been on for days.",
              count_before=1),
    ),
    outages=(Outage("wagon", (84.0, 87.2)), Outage("wagon", (126.5, 129.4))),
    asks=(
        Ask(6.0, 61, VEHICLE_IDENTIFICATION, 0),
        Ask(7.0, 61, DM2, 0),
        Ask(7.5, 240, DM2, 151, IMPLEMENT_BUS),
        Ask(9.0, 240, COMPONENT_IDENTIFICATION, 151, IMPLEMENT_BUS),
    ),
    memories=(
        Memory("wagon", 521_010, 5, 9, "wiring",
               "The cable to the pick-up's valve chafes at the drawbar."),
        Memory("engine", 3719, 15, 3, "inhibited_regeneration", "Soot rose on short jobs."),
    ),
)  # fmt: skip

_OPEN_WIRE_OCTOBER: tuple[Window, ...] = (
    (31.0, 35.0), (58.0, 58.9), (74.0, 79.5), (101.0, 104.0), (116.0, 123.5),
)  # fmt: skip
TRUCK_OCTOBER = Outing(
    "2026-10-15_haulage_truck_beet.csv",
    "csv",
    "2026-10-15T16:21:07.000000Z",
    TRUCK,
    Day(ambient_c=8.0, altitude_m=195.0, weather_kpa=1.4, hours=12_260.8, fuel_pct=58.0,
        coolant_c=86.0, oil_c=92.0, transmission_c=74.0),
    work(("road", 150), ("idle", 10)),
    faults=(
        Fault("engine", 100, 4, AMBER, during(*_OPEN_WIRE_OCTOBER), 2.0, 3.0, "wiring", _OIL_WORDS,
              count_before=19),
        Fault("transmission", 598, 2, AMBER, during((0.0, 64.0)), 0.0, 3.0, "sensor",
              "The clutch switch sticks now and then; it did before the recording began.",
              count_before=5),
    ),
    upsets=_open_wire(_OPEN_WIRE_OCTOBER),
    asks=_tool_asks(40.0, 0, *_ABOUT_ITSELF, HOURS, DM2, DM4),
    memories=(
        Memory("engine", 1127, 18, 9, "real_condition",
               "A charge air hose leaked and was changed."),
    ),
    tool=Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, 39.0),
)  # fmt: skip

_DROP_OUTS: tuple[Window, ...] = tuple(
    (at, at + long)
    for at, long in (
        (61.2, 0.15), (83.7, 0.3), (96.1, 0.1), (118.4, 0.25), (127.0, 0.2), (141.3, 0.3),
        (158.8, 0.15), (171.2, 0.2),
    )
)  # fmt: skip
TELEHANDLER_NOVEMBER = Outing(
    "2026-11-20_telehandler_drops_to_neutral.asc",
    "asc",
    "2026-11-20T06:31:18.640000Z",
    TELEHANDLER,
    Day(ambient_c=4.0, altitude_m=310.0, weather_kpa=-2.0, hours=3706.6, fuel_pct=44.0),
    work(("key_on", 2), ("crank", 2), ("idle", 36), ("load", 170), ("idle", 10), ("key_off", 16)),
    faults=(
        Fault("hydraulics", 1713, 0, AMBER, _COLD_FILTER.watch, 3.0, 6.0, "real_condition",
              _COLD_FILTER.words, count_before=29),
        Fault("transmission", 191, 2, AMBER, repeated(_DROP_OUTS, 3, 45.0), 22.0, 25.0, "wiring",
              "The speed sensor's cable chafes at the articulation near full lock.",
              count_before=6),
    ),
    upsets=(Upset("transmission", 191, 0.0, _DROP_OUTS),),
    asks=_tool_asks(50.0, 0, HOURS, DM2, COMPONENT_IDENTIFICATION),
    memories=(
        Memory("engine", 100, 1, 1, "real_condition", "Once run low on oil, years ago.", True),
    ),
    tool=Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, 49.0),
)  # fmt: skip

SEASON: tuple[Outing, ...] = (
    TELEHANDLER_MARCH,
    UTILITY_APRIL,
    BIG_TRACTOR_MAY,
    TRUCK_JUNE,
    NEW_TRACTOR_JUNE,
    BIG_TRACTOR_AUGUST,
    FORAGER_SEPTEMBER,
    NEW_TRACTOR_OCTOBER,
    TRUCK_OCTOBER,
    TELEHANDLER_NOVEMBER,
)

PICKUP_TRIP = RoadTrip(
    "2026-07-03T17:20:40.900000Z",
    PICKUP_BUILD,
    Day(ambient_c=23.0, altitude_m=215.0, hours=2210.0, coolant_c=74.0, oil_c=70.0),
    work(("idle", 40), ("road", 90), ("idle", 20)),
    PICKUP_VIN,
    RoadCodes(("P0299",), ("P0128",), (("P0299", 0x00, 0x2F), ("P0128", 0x00, 0x24))),
    12.0,
)

PICKUP_FILE = "2026-07-03_pickup_tester.asc"


def scripted_recordings(seed: int = 7) -> list[DemoRecording]:
    """Play every scripted outing, in the order of their days.

    The same seed gives the same recordings, bit for bit.
    """
    recordings = []
    for number, outing in enumerate(SEASON):
        played = play(outing, seed * 1000 + number)
        recordings.append(
            DemoRecording(
                outing.file_name, outing.file_format, played.frames, truth_of(outing, played)
            )
        )
    recordings.append(_pickup(PICKUP_TRIP, seed * 1000 + 999))
    return sorted(recordings, key=lambda one: one.truth.started_truly)


def _pickup(trip: RoadTrip, seed: int) -> DemoRecording:
    """Make the pickup's recording with the truth of it."""
    frames, trace = play_road(trip, seed)
    words = {
        "P0299": "A hose clamp of the charge air had slipped.",
        "P0128": "The thermostat opens too early.",
    }
    faults = []
    for code, matter in words.items():
        confirmed = code in trip.codes.confirmed
        faults.append(
            TrueFault(
                "pickup", "engine", "obd", CHANNEL, None, None, None, code, confirmed,
                ("obd03" if confirmed else "obd07", "uds19"), (), None, None, OFF,
                "real_condition", matter,
            )
        )  # fmt: skip
    truth = Truth(
        TimeBase.ABSOLUTE,
        from_iso(trip.started),
        int(frames.time_us[-1]),
        trip.started,
        (
            TrueMachine(
                "pickup", "the pickup", PICKUP_VIN, True, False,
                float(trace.hours[0]), float(trace.hours[-1]), False, (),
            ),
        ),
        tuple(faults),
        (),
        (),
        False,
        False,
    )  # fmt: skip
    return DemoRecording(PICKUP_FILE, "asc", frames, truth)

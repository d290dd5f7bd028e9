"""The machines of the scenario: hardware, controllers, NAMEs and manners.

Corbie Howe, a contractor in the upper Wenna valley, is invented; so are all numbers here. The
manners (what is never sent, what only when asked, how diagnostic messages come) are those counted
in recordings of real machines.
"""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.controllers import (
    COMPONENT_IDENTIFICATION,
    HOURS,
    IMPLEMENT_BUS,
    SOFTWARE_IDENTIFICATION,
    TOTAL_FUEL,
    VEHICLE_HOURS,
    VEHICLE_IDENTIFICATION,
    Controller,
    Group,
    Machine,
    Proprietary,
)
from shearbolt.proving.packing import make_name, software_payload, stars
from shearbolt.proving.trace import Build


def _engine_groups(*missing: int) -> tuple[Group, ...]:
    """Return what an engine controller sends all the time, less signals that this one lacks."""
    groups = (
        Group(61444, 0.02, (899, 512, 513, 190, 1483, 1675, 2432), 3),
        Group(61443, 0.025, (558, 91, 92, 3357), 3),
        Group(65247, 0.25, (514, 515)),
        Group(65266, 0.1, (183,)),
        Group(65262, 1.0, (110, 174, 175)),
        Group(65263, 0.5, (100,)),
        Group(65270, 0.5, (102, 105)),
        Group(65269, 1.0, (108, 171, 172)),
        Group(65271, 1.0, (158,)),
        Group(65276, 1.0, (96,)),
    )
    return tuple(
        replace(one, spns=tuple(spn for spn in one.spns if spn not in missing)) for one in groups
    )


_HOURS_ASKED = Group(HOURS, 0.0, (247, 249))
_FUEL_ASKED = Group(TOTAL_FUEL, 0.0, (250,))
_TREATMENT = (
    Group(64891, 1.0, (3719, 3720, 3721)),
    Group(64892, 1.0, (3697, 3699, 3700, 3701, 3702, 3703, 3706, 3711, 3716, 3698)),
    Group(64946, 0.5, (3251,)),
    Group(64947, 0.5, (3246,)),
    Group(64948, 0.5, (3242,)),
    Group(65110, 1.0, (1761, 3031, 5246)),
    Group(61454, 0.05, (3216,)),
    Group(61455, 0.05, (3226,)),
)
_GEARBOX = (
    Group(61442, 0.025, (560, 191, 522, 161), 3),
    Group(61445, 0.1, (524, 523)),
    Group(65272, 1.0, (127, 177)),
)
_TRACTOR_MOVES = (
    Group(65096, 0.1, (1862, 1863, 1864, 1865), 3),
    Group(65097, 0.1, (1859, 1861), 3),
    Group(65093, 0.1, (1873, 1877, 1879), 3),
    Group(65091, 0.1, (1883, 2408), 3),
)


def _texts(model: str, serial: str, *software: str, vin: str | None = None) -> dict[int, bytes]:
    """Return a controller's answers about itself; the maker's name stays empty."""
    answers = {
        COMPONENT_IDENTIFICATION: stars("", model, serial, "1"),
        SOFTWARE_IDENTIFICATION: software_payload(*software),
    }
    if vin is not None:
        answers[VEHICLE_IDENTIFICATION] = stars(vin)
    return answers


_BIG_BOX = 1_178_350
BIG_TRACTOR_GEARBOX = Controller(
    "transmission",
    3,
    make_name(_BIG_BOX, 1811, 3, device_class=1),
    _GEARBOX,
    (Proprietary(65280 + 0x1E, 0.1),),
    dm1="at_key_on",
    count_steps="never",
    texts=_texts("CVT-B", "T0077120", "TCU 4.12", "MAP 118"),
)
BIG_TRACTOR_GEARBOX_NEW = replace(
    BIG_TRACTOR_GEARBOX,
    name=make_name(1_402_226, 1811, 3, device_class=1),
    texts=_texts("CVT-B", "T0102994", "TCU 4.30", "MAP 118"),
)
"""The box fitted in July in the place of the first."""

BIG_TRACTOR = Machine(
    "big_tractor",
    "the big tractor",
    Build(
        displacement_l=6.7,
        power_kw=176.0,
        rated_rpm=2100.0,
        idle_rpm=850.0,
        boost_kpa=165.0,
        engine_kj_k=760.0,
        radiator_kw_k=1.9,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(652_631, 1805, 0, device_class=1),
            (
                *_engine_groups(175, 171),
                Group(64914, 0.25, (3543,)),
                _HOURS_ASKED,
                _FUEL_ASKED,
            ),
            (Proprietary(61184, 0.02), Proprietary(61184, 0.04, destination=6)),
            dm1="while_active",
            count_steps="end",
            boot_s=0.02,
            after_run_s=17.5,
            texts=_texts("D6-67", "E6700412", "ECU 23.1", "CAL 5507", vin="XCH01BIGTRAC14209"),
        ),
        BIG_TRACTOR_GEARBOX,
        Controller(
            "levers",
            6,
            make_name(_BIG_BOX, 1811, 14, device_class=0),
            (),
            (Proprietary(126720, 0.05, destination=3),),
            dm1="at_key_on",
            count_steps="never",
            boot_s=0.4,
            after_run_s=1.1,
            remembers=False,
        ),
        Controller(
            "cab",
            71,
            make_name(_BIG_BOX, 1811, 52, device_class=1),
            (
                Group(65265, 0.1, (84,)),
                Group(65128, 1.0, (1638,)),
                Group(65271, 1.0, ()),
                Group(VEHICLE_HOURS, 0.0, (246,)),
            ),
            (Proprietary(65280 + 0xFB, 0.05),),
            dm1="at_key_on",
            count_steps="onset",
            boot_s=0.36,
            after_run_s=1.3,
        ),
        Controller(
            "cluster",
            23,
            make_name(290_317, 1805, 19, device_class=1),
            dm1="at_key_on",
            count_steps="never",
            boot_s=2.05,
            after_run_s=0.6,
            remembers=False,
        ),
        Controller(
            "implement_gateway",
            240,
            make_name(290_900, 1811, 30, device_class=1),
            _TRACTOR_MOVES,
            dm1="never_heard",
            count_steps="never",
            boot_s=1.2,
            channel=IMPLEMENT_BUS,
            remembers=False,
        ),
    ),
    vin="XCH01BIGTRAC14209",
)

NEW_TRACTOR = Machine(
    "new_tractor",
    "the new tractor",
    Build(
        displacement_l=6.1,
        power_kw=150.0,
        rated_rpm=2100.0,
        idle_rpm=800.0,
        boost_kpa=185.0,
        engine_kj_k=700.0,
        radiator_kw_k=1.8,
        particulate_filter=True,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(88_120, 1822, 0, device_class=1),
            (
                *_engine_groups(172),
                Group(65253, 1.0, (247, 249)),
                Group(65243, 0.5, (157,)),
                _FUEL_ASKED,
            ),
            (Proprietary(65280 + 0x31, 0.02), Proprietary(65280 + 0x32, 0.05)),
            dm1="always",
            count_steps="onset",
            boot_s=0.1,
            after_run_s=42.0,
            texts=_texts("V6-61", "N0042277", "SW 8.04.2", vin="XCH02NEWTRAC22117"),
        ),
        Controller(
            "treatment",
            61,
            make_name(88_455, 1822, 44, device_class=1),
            _TREATMENT,
            (Proprietary(65280 + 0x4A, 0.1),),
            dm1="always",
            count_steps="key_cycle",
            boot_s=0.5,
            after_run_s=42.0,
            texts=_texts("EAT-2", "A0011903", "ACM 3.3"),
        ),
        Controller(
            "transmission",
            3,
            make_name(1_700_011, 1840, 3, device_class=1),
            _GEARBOX,
            dm1="always",
            count_steps="onset",
            boot_s=0.9,
            after_run_s=2.0,
        ),
        Controller(
            "tractor",
            240,
            make_name(55_020, 1822, 30, device_class=1),
            (*_TRACTOR_MOVES, Group(65128, 1.0, (1638, 2602))),
            dm1="never_heard",
            count_steps="never",
            boot_s=1.1,
            channel=IMPLEMENT_BUS,
            remembers=False,
        ),
    ),
    vin="XCH02NEWTRAC22117",
)

FORAGER = Machine(
    "forager",
    "the forager",
    Build(
        displacement_l=15.6,
        power_kw=430.0,
        rated_rpm=1800.0,
        idle_rpm=850.0,
        boost_kpa=210.0,
        engine_kj_k=1250.0,
        radiator_kw_k=4.4,
        hydraulic_kw=28.0,
        hydraulic_kj_k=520.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(301_544, 1809, 0, device_class=7),
            (*_engine_groups(174), Group(65253, 1.0, (247, 249)), Group(65213, 1.0, (975, 1639))),
            (Proprietary(65280 + 0x10, 0.02),),
            dm1="while_active",
            count_steps="onset",
            boot_s=0.05,
            after_run_s=9.0,
            texts=_texts("V8-156", "F1560088", "ECU 11.2", vin="XCH03F0RAGER10875"),
        ),
        Controller(
            "machine",
            39,
            make_name(77_210, 1860, 132, device_class=7),
            (Group(65128, 1.0, (1638, 2602)), Group(65096, 0.1, (1862, 1864, 1865), 3)),
            (Proprietary(65280 + 0xA0, 0.02), Proprietary(65280 + 0xA1, 0.1)),
            dm1="always",
            count_steps="onset",
            boot_s=1.4,
        ),
        Controller(
            "cab",
            49,
            make_name(77_402, 1860, 37, device_class=7),
            (Group(65271, 1.0, (168,)),),
            dm1="always",
            count_steps="never",
            boot_s=1.9,
            remembers=False,
        ),
    ),
    vin="XCH03F0RAGER10875",
)

TELEHANDLER = Machine(
    "telehandler",
    "the telehandler",
    Build(
        displacement_l=4.4,
        power_kw=96.0,
        rated_rpm=2200.0,
        idle_rpm=900.0,
        boost_kpa=140.0,
        engine_kj_k=430.0,
        radiator_kw_k=1.1,
        hydraulic_kj_k=290.0,
        hydraulic_kw=42.0,
        output_rpm_a_km_h=55.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(410_022, 1805, 0, industry_group=3, device_class=7),
            (*_engine_groups(171, 175), _HOURS_ASKED),
            (Proprietary(65280 + 0x20, 0.04),),
            dm1="always",
            count_steps="onset",
            boot_s=0.05,
            after_run_s=12.0,
            texts=_texts("D4-44", "E4400931", "ECU 19.7"),
        ),
        Controller(
            "transmission",
            3,
            make_name(520_771, 1833, 3, industry_group=3, device_class=7),
            (*_GEARBOX, Group(65265, 0.1, (70, 84))),
            (Proprietary(61184, 0.05),),
            dm1="always",
            count_steps="onset",
            boot_s=0.6,
        ),
        Controller(
            "hydraulics",
            46,
            make_name(98_001, 1833, 34, industry_group=3, device_class=7),
            (Group(65128, 1.0, (1638, 1713, 2602)),),
            (Proprietary(65280 + 0x61, 0.02),),
            dm1="always",
            count_steps="onset",
            boot_s=0.8,
        ),
    ),
)

UTILITY_TRACTOR = Machine(
    "utility_tractor",
    "the old utility tractor",
    Build(
        displacement_l=4.0,
        power_kw=74.0,
        rated_rpm=2300.0,
        idle_rpm=800.0,
        boost_kpa=95.0,
        engine_kj_k=380.0,
        radiator_kw_k=0.9,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(31_007, 1803, 0, device_class=1),
            _engine_groups(171, 172, 174, 175, 96),
            dm1="while_active",
            count_steps="key_cycle",
            boot_s=0.1,
            after_run_s=3.0,
            method=1,
            old_flash=True,
            remembers=False,
        ),
    ),
)

TRUCK_VIN = "XCH05TRXCK1900432"
TRUCK = Machine(
    "truck",
    "the haulage truck",
    Build(
        displacement_l=10.8,
        power_kw=316.0,
        rated_rpm=1700.0,
        idle_rpm=600.0,
        boost_kpa=230.0,
        engine_kj_k=1100.0,
        radiator_kw_k=3.4,
        output_rpm_a_km_h=24.0,
        volts=24,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(1_200_411, 1815, 0, industry_group=1, device_class=1),
            (*_engine_groups(175, 172), Group(65248, 0.1, (245,)), _HOURS_ASKED, _FUEL_ASKED),
            (Proprietary(65280 + 0x77, 0.1),),
            dm1="always",
            count_steps="end",
            boot_s=0.1,
            after_run_s=6.0,
            texts=_texts("L6-108", "R1080245", "EMS 30.2", "DS 7781", vin=TRUCK_VIN),
            freeze_frames=True,
        ),
        Controller(
            "transmission",
            3,
            make_name(620_300, 1840, 3, industry_group=1, device_class=1),
            _GEARBOX,
            dm1="always",
            count_steps="onset",
            boot_s=0.7,
        ),
        Controller(
            "brakes",
            11,
            make_name(940_118, 1870, 9, industry_group=1, device_class=1),
            (
                Group(61441, 0.1, (521,)),
                Group(65265, 0.1, (70, 84)),
                Group(65198, 1.0, (1087, 1088)),
            ),
            dm1="never_heard",
            count_steps="onset",
            boot_s=0.5,
        ),
        Controller(
            "cab",
            49,
            make_name(15_830, 1815, 26, industry_group=1, device_class=1),
            (Group(65271, 1.0, (168,)),),
            (Proprietary(65280 + 0x90, 0.1),),
            dm1="always",
            count_steps="onset",
            boot_s=1.0,
            clock=True,
        ),
    ),
    vin=TRUCK_VIN,
)

LOADER_WAGON = Machine(
    "loader_wagon",
    "the loader wagon",
    None,
    (
        Controller(
            "wagon",
            140,
            make_name(12_044, 1866, 132, device_class=9, self_configurable=True),
            (),
            (Proprietary(61184, 0.1, destination=38), Proprietary(65280 + 0xC0, 0.1)),
            dm1="always",
            count_steps="onset",
            boot_s=2.6,
            texts=_texts("LW-40", "W4000318", "JOB 2.11"),
            channel=IMPLEMENT_BUS,
        ),
    ),
)

PICKUP_VIN = "XCH06PKCXP1700986"
PICKUP_BUILD = Build(
    displacement_l=2.3,
    power_kw=110.0,
    rated_rpm=3500.0,
    idle_rpm=780.0,
    boost_kpa=130.0,
    engine_kj_k=190.0,
    radiator_kw_k=1.2,
    volts=12,
)

SERVICE_TOOL = make_name(700, 1999, 129, industry_group=0)
"""NAME of the tester that asks for identification in some recordings."""
SERVICE_TOOL_ADDRESS = 249

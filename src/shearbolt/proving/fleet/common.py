"""Groups and answers that several machines of the fleet have alike."""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.controllers import (
    COMPONENT_IDENTIFICATION,
    HOURS,
    SOFTWARE_IDENTIFICATION,
    TOTAL_FUEL,
    VEHICLE_IDENTIFICATION,
    Group,
)
from shearbolt.proving.packing import software_payload, stars


def engine_groups(*missing: int) -> tuple[Group, ...]:
    """Return what an engine controller sends all the time, less signals that this one lacks."""
    groups = (
        Group(61444, 0.02, (899, 512, 513, 190, 1483, 1675, 2432), 3),
        Group(61443, 0.025, (558, 91, 92, 3357), 3),
        Group(65247, 0.25, (514, 515)),
        Group(65266, 0.1, (183,)),
        Group(65262, 1.0, (110, 174, 175)),
        Group(65263, 0.5, (100, 111)),
        Group(65270, 0.5, (102, 105, 107)),
        Group(65269, 1.0, (108, 171, 172)),
        Group(65271, 1.0, (158,)),
        Group(65276, 1.0, (96,)),
    )
    return tuple(
        replace(one, spns=tuple(spn for spn in one.spns if spn not in missing)) for one in groups
    )


HOURS_ASKED = Group(HOURS, 0.0, (247, 249))
FUEL_ASKED = Group(TOTAL_FUEL, 0.0, (250,))
RAIL = Group(65243, 0.5, (157,))
TREATMENT = (
    Group(64891, 1.0, (3719, 3720, 3721)),
    Group(
        64892,
        1.0,
        (3697, 3699, 3700, 3701, 3702, 3703, 3704, 3705, 3706, 3710, 3711, 3712, 3716, 3698),
    ),
    Group(64946, 0.5, (3251,)),
    Group(64947, 0.5, (3246,)),
    Group(64948, 0.5, (3241, 3242)),
    Group(65110, 1.0, (1761, 3031, 5245, 5246)),
    Group(61454, 0.05, (3216,)),
    Group(61455, 0.05, (3226,)),
    Group(64923, 1.0, (3516,)),
)
GEARBOX = (
    Group(61442, 0.025, (560, 191, 522, 161), 3),
    Group(61445, 0.1, (524, 523)),
    Group(65272, 1.0, (127, 177)),
)
TRACTOR_MOVES = (
    Group(65096, 0.1, (1862, 1863, 1864, 1865), 3),
    Group(65097, 0.1, (1859, 1861), 3),
    Group(65093, 0.1, (1873, 1877, 1879), 3),
    Group(65091, 0.1, (1883, 2408), 3),
)


def texts_of(model: str, serial: str, *software: str, vin: str | None = None) -> dict[int, bytes]:
    """Return a controller's answers about itself; the maker's name stays empty."""
    answers = {
        COMPONENT_IDENTIFICATION: stars("", model, serial, "1"),
        SOFTWARE_IDENTIFICATION: software_payload(*software),
    }
    if vin is not None:
        answers[VEHICLE_IDENTIFICATION] = stars(vin)
    return answers

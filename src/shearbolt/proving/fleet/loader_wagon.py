"""The loader wagon: an implement of ISO 11783, fed through the tractor's plug."""

from __future__ import annotations

from shearbolt.proving.controllers import IMPLEMENT_BUS, Controller, Machine, Proprietary
from shearbolt.proving.fleet.common import texts_of
from shearbolt.proving.packing import make_name

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
            texts=texts_of("LW-40", "W4000318", "JOB 2.11"),
            channel=IMPLEMENT_BUS,
        ),
    ),
)

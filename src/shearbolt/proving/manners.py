"""How each controller of the yard diagnoses, remembers and answers: its manners, as data.

They are as varied as real ones': a road engine that keeps emission codes over two trips and answers
all that SAE J1939-73 lists, a cab box that answers nothing, an implement that only knows DM2. What
is not listed here has the plain manners of `Manner()`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from shearbolt.proving.controllers import Controller
from shearbolt.proving.diagnostic_packing import (
    DM3,
    DM5,
    DM6,
    DM11,
    DM12,
    DM19,
    DM20,
    DM21,
    DM22,
    DM23,
    DM24,
    DM25,
    DM26,
    DM27,
    DM28,
    DM29,
)
from shearbolt.proving.packing import DM2, DM4

BadSignal = Literal["raw", "error", "none", "default"]
"""What is sent of a reading whose circuit is known to be bad: as read, 'error' (FE), 'not
available' (FF), or a plausible round default."""

FULL_ANSWERS = frozenset(
    {DM2, DM4, DM5, DM6, DM12, DM19, DM20, DM21, DM23, DM24, DM25, DM26, DM27, DM28, DM29}
)
"""What a heavy-duty OBD engine answers."""
FARM_ANSWERS = frozenset({DM2, DM4, DM5, DM12, DM19, DM23})
"""What an off-road engine of the same age answers: the older half."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How one controller diagnoses, remembers and answers."""

    answers: frozenset[int] = frozenset({DM2})
    """Diagnostic groups that it answers when asked."""
    clears: frozenset[int] = frozenset({DM3, DM11})
    """Clears that it understands (DM3, DM11, DM22)."""
    clears_running: bool = False
    """It clears also while the engine runs."""
    refusal: int = 3
    """Control byte when it will not clear now: 1 refused, 2 denied, 3 busy."""
    refuses_unknown: bool = True
    """It refuses (NACK) what it does not know; else it keeps silent."""
    busy_s: float = 0.0
    """So long after it booted it answers 'cannot respond now' to diagnostic requests."""
    emission: bool = False
    """It keeps emission codes: two trips, MIL, permanent codes, readiness."""
    obd_type: int = 5
    """DM5 byte 3: 5 not compliant, 20 heavy-duty OBD."""
    monitors: frozenset[str] = frozenset()
    """Readiness monitors that it has (see `readiness`)."""
    on_bad_signal: BadSignal = "error"
    reboot_s: float = 2.4
    """Silent so long after its power came back."""
    hears_stop: bool = True
    """It stops its broadcasts on DM13."""
    latches: bool = False
    """Its own faults stand until key-off."""
    calibrations: tuple[tuple[str, int], ...] = ()
    """DM19: calibration identification and verification number."""
    frame_spns: tuple[int, ...] = ()
    """What its expanded freeze frames hold (DM24, DM25), in order."""
    derates: bool = False
    """It limits torque to protect the engine, or for want of good exhaust treatment."""
    packets_at_once: int = 255
    """It sends no more packets for one CTS."""
    answer_ms: float = 9.0
    """How long it takes to answer."""


_ROAD_MONITORS = frozenset(
    {"fuel", "components", "exhaust_gas_sensor", "sensor_heater", "egr_vvt", "boost_control",
     "dpf", "nox_catalyst"}
)  # fmt: skip
_FARM_MONITORS = frozenset({"fuel", "components", "boost_control", "dpf", "nox_catalyst"})
_FRAME = (92, 190, 110, 102, 105, 84, 158, 108, 100, 183, 91)

MANNERS: Mapping[tuple[str, str], Manner] = {
    ("big_tractor", "engine"): Manner(
        frozenset({DM2, DM4, DM5}), on_bad_signal="default", derates=True, reboot_s=2.1,
        refusal=1,
    ),
    ("big_tractor", "transmission"): Manner(latches=True, reboot_s=3.1, on_bad_signal="raw"),
    ("big_tractor", "levers"): Manner(
        frozenset(), frozenset(), refuses_unknown=False, hears_stop=False, reboot_s=2.6
    ),
    ("big_tractor", "cab"): Manner(reboot_s=2.6, clears_running=True),
    ("big_tractor", "cluster"): Manner(
        frozenset(), frozenset(), refuses_unknown=False, hears_stop=False
    ),
    ("big_tractor", "implement_gateway"): Manner(
        frozenset(), frozenset(), refuses_unknown=False, hears_stop=False
    ),
    ("new_tractor", "engine"): Manner(
        FARM_ANSWERS | {DM24, DM25}, frozenset({DM3, DM11, DM22}), derates=True, emission=True,
        monitors=_FARM_MONITORS, calibrations=(("N6100482-17B", 0x51A4_0C77),),
        frame_spns=_FRAME, packets_at_once=16,
    ),
    ("new_tractor", "treatment"): Manner(
        FARM_ANSWERS, derates=True, emission=True, monitors=frozenset({"dpf", "nox_catalyst"}),
        calibrations=(("ACM-2-0330-E", 0x0BD8_91E2),), busy_s=2.0, reboot_s=3.4,
    ),
    ("new_tractor", "transmission"): Manner(reboot_s=2.9, on_bad_signal="none"),
    ("new_tractor", "cab"): Manner(clears_running=True, on_bad_signal="none"),
    ("new_tractor", "tractor"): Manner(frozenset(), frozenset()),
    ("utility_tractor", "engine"): Manner(
        frozenset(), frozenset({DM11}), refuses_unknown=False, on_bad_signal="raw",
        hears_stop=False, derates=True,
    ),
    ("forager", "engine"): Manner(
        FARM_ANSWERS, derates=True, calibrations=(("F15-600088-112", 0x77C0_1A09),), refusal=2,
    ),
    ("forager", "machine"): Manner(reboot_s=3.8, latches=True),
    ("forager", "cab"): Manner(frozenset(), frozenset(), refuses_unknown=False),
    ("telehandler", "engine"): Manner(
        frozenset({DM2, DM4, DM5, DM19}), derates=True,
        calibrations=(("D4-44-0931-19.7", 0x1907_44F3),),
    ),
    ("telehandler", "transmission"): Manner(on_bad_signal="raw", reboot_s=2.2),
    ("telehandler", "hydraulics"): Manner(clears_running=True),
    ("truck", "engine"): Manner(
        FULL_ANSWERS, frozenset({DM3, DM11, DM22}), derates=True, emission=True, obd_type=20,
        monitors=_ROAD_MONITORS,
        calibrations=(("L6108-DS7781-302", 0x9C41_7E05), ("L6108-AFT-0117", 0x2206_B3D1)),
        frame_spns=(*_FRAME, 3251, 3242, 3246, 3226, 1761), packets_at_once=32,
    ),
    ("truck", "transmission"): Manner(frozenset({DM2, DM5, DM12, DM23}), reboot_s=2.9),
    ("truck", "brakes"): Manner(frozenset({DM2, DM5}), frozenset({DM3, DM11}), refusal=2),
    ("truck", "cab"): Manner(frozenset({DM2, DM5})),
    ("loader_wagon", "wagon"): Manner(clears_running=True, reboot_s=2.7),
}  # fmt: skip
"""By machine and controller."""


def manner_of(machine: str, controller: Controller) -> Manner:
    """Return the manners of one controller, by keys; plain ones for a stranger.

    What the controller itself says of DM2 and DM4 (`remembers`, `freeze_frames`) stands.
    """
    manner = MANNERS.get((machine, controller.key), Manner())
    answers = manner.answers
    answers = answers | {DM2} if controller.remembers else answers - {DM2}
    if controller.freeze_frames:
        answers = answers | {DM4}
    if answers == manner.answers:
        return manner
    return replace(manner, answers=answers)

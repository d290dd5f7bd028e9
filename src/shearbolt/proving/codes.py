"""Collecting the codes of one controller: each a watch with delays, lamps and what comes of it."""

from __future__ import annotations

from dataclasses import replace

from shearbolt.model.fault import Lamps
from shearbolt.proving.controllers import Controller, Machine
from shearbolt.proving.diagnostic_packing import DM5
from shearbolt.proving.faults import AMBER, Fault, Watch
from shearbolt.proving.manners import Manner
from shearbolt.proving.physics import Flags
from shearbolt.proving.trace import Trace
from shearbolt.proving.truth import Cause

_SENSED_TOO: dict[str, frozenset[int]] = {
    "engine": frozenset({94, 157, 174, 107, 98, 97}),
    "transmission": frozenset({177, 127, 598, 597}),
}
EMISSION = frozenset({102, 1127, 3242, 3246, 3241, 3251, 3516, 4364, 1761, 3226, 3216})
"""SPNs whose codes a controller that keeps emission codes holds over two trips."""


def lamps_of(spn: int, manner: Manner, lamps: Lamps) -> Lamps:
    """Return a code's lamps: the MIL only for emission codes of whoever keeps those."""
    if manner.emission and spn in EMISSION:
        return replace(lamps, mil="on")
    return replace(lamps, mil="off") if not manner.emission else lamps


def either(one: Watch, other: Watch) -> Watch:
    """Watch for one or the other."""

    def watch(trace: Trace) -> Flags:
        return one(trace) | other(trace)

    return watch


class Codes:
    """Collects the codes of one controller."""

    def __init__(self, machine: Machine, controller: Controller, manner: Manner) -> None:
        self.machine = machine
        self.controller = controller
        self.key = controller.key
        self.manner = manner
        sent = frozenset(spn for one in controller.groups for spn in one.spns)
        own = _SENSED_TOO.get(controller.key, frozenset()) if manner.answers else frozenset()
        self.reads = sent | own
        """What it senses: all that it sends, and some that it keeps to itself."""
        self.newer = DM5 in manner.answers or manner.emission
        """It checks its sensors against each other."""
        self.rows: list[Fault] = []

    def add(
        self, spn: int, fmi: int, watch: Watch, set_s: float, heal_s: float, cause: Cause,
        lamps: Lamps = AMBER, derate_pct: float = 100.0, *, substitutes: bool = False,
        monitor: str = "", latched: bool | None = None,
    ) -> None:  # fmt: skip
        """Add one code; a second watch for the same code is joined to the first."""
        for place, one in enumerate(self.rows):
            if (one.spn, one.fmi) == (spn, fmi):
                self.rows[place] = replace(one, watch=either(one.watch, watch))
                return
        emission = self.manner.emission and spn in EMISSION
        self.rows.append(
            Fault(
                self.key, spn, fmi, lamps_of(spn, self.manner, lamps), watch, set_s, heal_s,
                cause, WORDS[cause], 0, 2 if emission else 1,
                monitor or ("components" if emission else ""),
                derate_pct if self.manner.derates else 100.0,
                self.manner.latches if latched is None else latched,
                substitutes and self.manner.on_bad_signal != "raw",
            )
        )  # fmt: skip


WORDS: dict[Cause, str] = {
    "real_condition": "It is so.",
    "sensor": "What senses it is at fault.",
    "wiring": "Its circuit is at fault.",
    "shared_supply": "The supply of several sensors is at fault.",
    "low_voltage": "The machine's voltage is low.",
    "network": "Messages do not come, or come broken.",
    "operator": "So it was used.",
    "calibration": "It was not taught, or is of the wrong kind.",
    "inhibited_regeneration": "Regenerations are kept from running.",
    "ash": "Ash that no regeneration burns.",
}

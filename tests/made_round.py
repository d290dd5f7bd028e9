"""A guided round second by second, made by hand: every step once, with what the sensors tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from tests.made_state import table, visit

from shearbolt.model.frames import F64
from shearbolt.reasoning.quantity_view import QuantityView

ROUND: tuple[tuple[str, int], ...] = (
    ("cold_key_on", 20),
    ("start", 3),
    ("idle", 50),
    ("high_idle", 30),
    ("hydraulics", 60),
    ("pto", 30),
    ("drive", 60),
    ("hot_idle", 60),
    ("key_off", 10),
)
_RPM = {"cold_key_on": 0, "start": 180, "idle": 850, "high_idle": 2200, "hydraulics": 1500,
        "pto": 1800, "drive": 1700, "hot_idle": 850, "key_off": 0}  # fmt: skip
_OIL = {"cold_key_on": 0, "start": 40, "idle": 330, "high_idle": 480, "hydraulics": 400,
        "pto": 430, "drive": 420, "hot_idle": 200, "key_off": 0}  # fmt: skip
_COOLANT = {"cold_key_on": 14, "start": 14, "idle": 20, "high_idle": 40, "hydraulics": 60,
            "pto": 70, "drive": 80, "hot_idle": 84, "key_off": 84}  # fmt: skip


def columns_of(parts: Sequence[tuple[str, int]] = ROUND, **shift: float) -> dict[str, F64]:
    """Give what the sensors tell; `shift` adds to a quantity in one step: hot_idle__oil_kpa=-40."""
    step = np.repeat([name for name, _ in parts], [seconds for _, seconds in parts])
    count = len(step)
    clock = np.arange(count)

    def by_step(values: dict[str, int]) -> F64:
        return np.array([values[name] for name in step], np.float64)

    told = {
        "engine_rpm": by_step(_RPM),
        "oil_kpa": by_step(_OIL),
        "coolant_c": by_step(_COOLANT),
        "battery_v": np.where(step == "start", 10.4, np.where(by_step(_RPM) > 400, 14.1, 12.6)),
        "load_pct": np.where(by_step(_RPM) > 400, 20.0, 0.0),
        "speed_kmh": np.where(step == "drive", 12.0, 0.0),
        "pto_engaged": np.where(step == "pto", 1.0, 0.0),
        "hitch_pct": np.where(step == "hydraulics", np.where(clock % 20 < 10, 95.0, 5.0), 95.0),
    }
    for key, by in shift.items():
        name, quantity = key.split("__")
        told[quantity] = told[quantity] + np.where(step == name, by, 0.0)
    return told


def round_view(
    name: str = "v1", parts: Sequence[tuple[str, int]] = ROUND, *, without: str = "", **shift: float
) -> QuantityView:
    """Make the view of a round."""
    told = columns_of(parts, **shift)
    told.pop(without, None)
    return QuantityView(visit(table(sum(seconds for _, seconds in parts), told), name))

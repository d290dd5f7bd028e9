"""What it takes for a cause to show, as data: weather, work, how long, how the machine stood.

Most causes show within a quarter of an hour of ordinary warm work. Those listed here need more: a
hot day, a night's cold, soot that piled up for days, a battery that stood over a weekend.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Conditions:
    """Under which conditions a cause at its worst shows."""

    ambient_c: float = 22.0
    start: Literal["cold", "warm", "hot"] = "warm"
    """How the machine is when the key is turned: as cold as the air, from a short break, or from
    hours of hard work."""
    minutes: float = 15.0
    """Of work."""
    kind: str | None = None
    """Kind of work (a key of `shifts.ROUNDS`); None: the machine's most usual."""
    machine: str | None = None
    """The machine that shows it; None: any that can have it."""
    soot_pct: float = 50.0
    stood_h: float = 0.0
    """For so long the machine stood before."""
    by: Literal["code", "reading"] = "code"
    """What tells: a listed code; or no code at all, but a reading that is plainly off."""
    note: str = ""
    """Why it takes that."""


_HEAT = "Coolers suffice on a mild day: it takes heat and hard work."
_SOOT = "Soot piles up over days before a limit is reached."
_NIGHT = "Sensors are compared with each other after a night, when all must agree."

CONDITIONS: Mapping[str, Conditions] = {
    "real_condition.fan_clutch": Conditions(
        34.0, "hot", 25.0, "chopping", "forager", note=_HEAT
    ),
    "real_condition.hydraulic_cooler_blocked": Conditions(
        34.0, "hot", 30.0, "loading", "telehandler", note=_HEAT
    ),
    "real_condition.hydraulic_pump_leaks": Conditions(
        34.0, "hot", 30.0, "loading", "telehandler", note=_HEAT
    ),
    "real_condition.transmission_cooler_blocked": Conditions(32.0, "hot", 25.0, note=_HEAT),
    "real_condition.oil_diluted": Conditions(
        34.0, "hot", 25.0, note="Thin oil gives way at idle speed when it is hot."
    ),
    "real_condition.hydraulic_filter_plugged": Conditions(
        machine="telehandler", note="Only the telehandler has a switch at its filter."
    ),
    "real_condition.hydraulic_oil_cold": Conditions(
        2.0, "cold", machine="telehandler", note="Only the telehandler has a switch at its filter."
    ),
    "real_condition.thermostat_open": Conditions(
        0.0, "cold", 50.0, "clamp", "telehandler",
        note="That it never warms up is told after half an hour under load.",
    ),
    "real_condition.oxidation_aged": Conditions(soot_pct=99.0, minutes=25.0, note=_SOOT),
    "real_condition.soot_from_engine": Conditions(soot_pct=89.0, minutes=25.0, note=_SOOT),
    "operator.lugs": Conditions(
        by="reading", note="A sound machine bears it on the hottest day: the speed alone tells."
    ),
    "operator.overloads": Conditions(
        by="reading", note="A sound machine bears it on the hottest day: the load alone tells."
    ),
    "inhibited_regeneration": Conditions(soot_pct=92.0, note=_SOOT),
    "operator.revs_cold": Conditions(2.0, "cold", note="It is a habit at cold starts."),
    "operator.leaves_seat": Conditions(minutes=25.0, note="It happens now and then."),
    "calibration.hydraulic_sensor_kind": Conditions(
        34.0, "hot", 30.0, "loading", "telehandler", note="It reads too much the hotter it is."
    ),
    "calibration.injector_codes": Conditions(
        by="reading", note="Soot comes faster and is burnt off more often; no code says so."
    ),
    "low_voltage.drain": Conditions(
        2.0, "cold", stood_h=96.0, note="It empties the battery while the machine stands."
    ),
    "sensor.drift.174": Conditions(2.0, "cold", note=_NIGHT),
    "sensor.drift.3242": Conditions(2.0, "cold", note=_NIGHT),
    "sensor.drift.3246": Conditions(2.0, "cold", note=_NIGHT),
    "sensor.stuck.3516": Conditions(
        by="reading", note="It shows by what it does not show: bad fluid reads as good."
    ),
    "sensor.stuck.84": Conditions(
        minutes=25.0, machine="telehandler", note="It takes some driving on the road."
    ),
    "sensor.hose_wet.3251": Conditions(
        soot_pct=88.0, minutes=25.0, note="It lags behind the flow: it takes changes of load."
    ),
    "wiring.implement_plug": Conditions(
        minutes=25.0, kind="carting", machine="new_tractor", note="It takes a wagon at work."
    ),
    "wiring.wagon_cable": Conditions(
        minutes=25.0, kind="carting", machine="new_tractor", note="It takes a wagon at work."
    ),
    "wiring.resistance.105": Conditions(2.0, "cold", machine="new_tractor", note=_NIGHT),
    "wiring.resistance.110": Conditions(
        22.0, "warm", 50.0, "tilling", "big_tractor",
        note="That it never warms up is told after half an hour under load.",
    ),
    "wiring.resistance.1638": Conditions(
        by="reading", note="Nothing compares it with others: warm oil reads cold."
    ),
    "wiring.resistance.177": Conditions(
        by="reading", note="Nothing compares it with others: warm oil reads cold."
    ),
    "wiring.resistance.3242": Conditions(2.0, "cold", note=_NIGHT),
}  # fmt: skip
"""By the cause's key, or its class; all others show in ordinary warm work."""


def conditions_of(key: str) -> Conditions:
    """Return under which conditions a cause shows."""
    return CONDITIONS.get(key) or CONDITIONS.get(key.partition(".")[0]) or Conditions()


__all__ = ["CONDITIONS", "Conditions", "conditions_of"]

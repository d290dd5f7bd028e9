"""Whether the particulate filter may be burnt free now: gated on soot, leaks, oil and place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SERVICE_SOOT_PCT = 120.0
"""From here on workshop only, where the maker's limit is not known (own cautious choice)."""
WANTED_SOOT_PCT = 80.0
FULL_SOOT_PCT = 100.0
SOOT_PER_H = 3.0
"""Soot that an hour of hard work adds where the machine has not shown its own (own choice)."""


@dataclass(frozen=True, slots=True)
class RegenerationGate:
    """What may be done about soot."""

    may: Literal["workshop_only", "not_now", "hold_back", "road_load", "not_needed"]
    """hold_back: keep it from starting where it stands, for so many hours at most. road_load: half
    an hour of steady road load, or standing on bare ground."""
    hours: float | None
    """How long it may be held back; None: not at all, or it does not matter."""
    because: tuple[str, ...]
    """Message keys."""
    cautions: tuple[str, ...]


def regeneration_gate(
    soot_pct: float | None,
    *,
    service_stage: bool = False,
    oil_risen: bool = False,
    leak: bool = False,
    dry_crop_or_shed: bool | None = None,
    soot_per_h: float | None = None,
) -> RegenerationGate:
    """Say what may be done about a filter's soot.

    `service_stage`: its own lamp or code asks for the workshop. `dry_crop_or_shed`: where it
    stands; None: not known, then it counts as such. `soot_per_h`: what the machine itself adds.
    """
    hot = ("hot_exhaust", "extinguisher")
    if service_stage or (soot_pct is not None and soot_pct > SERVICE_SOOT_PCT):
        return RegenerationGate(
            "workshop_only", None, ("soot_above_service",), ("no_regeneration_workshop", *hot)
        )
    because: list[str] = []
    cautions: list[str] = []
    if oil_risen:
        because.append("oil_risen")
        cautions.append("no_regeneration_oil")
    if leak:
        because.append("leak")
        cautions.append("fuel_fire")
    if because:
        return RegenerationGate("not_now", None, tuple(because), (*cautions, *hot))
    if soot_pct is None:
        return RegenerationGate("not_now", None, ("soot_unknown",), ("regeneration_place", *hot))
    if soot_pct < WANTED_SOOT_PCT:
        return RegenerationGate("not_needed", None, (), ())
    if dry_crop_or_shed is not False:
        rate = soot_per_h if soot_per_h is not None and soot_per_h > 0.0 else SOOT_PER_H
        hours = max(0.0, (FULL_SOOT_PCT - soot_pct) / rate)
        key = "dry_crop_or_shed" if dry_crop_or_shed else "place_unknown"
        return RegenerationGate("hold_back", hours, (key,), ("regeneration_place", *hot))
    return RegenerationGate("road_load", None, (), ("regeneration_place", *hot))

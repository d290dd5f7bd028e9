"""What things cost this owner: figures kept in the book's settings under `costs`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from shearbolt.book import Reads
from shearbolt.errors import UsageError
from shearbolt.reasoning.follow_up import Figures

KEY = "costs"
NEEDED = (
    "call_out", "hourly_rate", "distance_km", "per_km", "own_hour", "standstill_hour",
    "wait_hours", "called_hours",
)  # fmt: skip
"""Without these no course can be reckoned; parts and fetching count as nothing until given."""


@dataclass(frozen=True, slots=True)
class OwnerCosts:
    """The owner's figures, in one currency of theirs; None: not given yet."""

    currency: str | None = None
    call_out: float | None = None
    hourly_rate: float | None = None
    distance_km: float | None = None
    per_km: float | None = None
    own_hour: float | None = None
    standstill_hour: float | None = None
    wait_hours: float | None = None
    called_hours: float | None = None
    parts: float | None = None
    fetch_hours: float | None = None

    @property
    def missing(self) -> list[str]:
        """Names of the figures that are still needed."""
        return [name for name in NEEDED if getattr(self, name) is None]

    def figures(self) -> Figures | None:
        """Give the figures as the reasoning takes them; None: some are missing."""
        if self.missing:
            return None
        return Figures(
            self.call_out or 0.0,
            self.hourly_rate or 0.0,
            self.distance_km or 0.0,
            self.per_km or 0.0,
            self.own_hour or 0.0,
            self.standstill_hour or 0.0,
            self.wait_hours or 0.0,
        )


def read_costs(book: Reads) -> OwnerCosts:
    """Read the figures from the book; what was never set, or is no figure, is None."""
    kept = book.setting(KEY)
    if not isinstance(kept, dict):
        return OwnerCosts()
    known = {one.name for one in fields(OwnerCosts)}
    return OwnerCosts(**{key: value for key, value in kept.items() if key in known})


def changed(costs: OwnerCosts, given: Mapping[str, float | str | None]) -> OwnerCosts:
    """Take over the figures that are given. Raises UsageError for one that is no cost."""
    told = {key: value for key, value in given.items() if value is not None}
    for key, value in told.items():
        if isinstance(value, float) and not (math.isfinite(value) and value >= 0.0):
            raise UsageError(f"--{key.replace('_', '-')} must be 0 or more, not {value:g}.")
    return replace(costs, **told)  # type: ignore[arg-type]


def as_kept(costs: OwnerCosts) -> dict[str, float | str]:
    """Give what the book keeps: the figures that are known."""
    every = {one.name: getattr(costs, one.name) for one in fields(OwnerCosts)}
    return {key: value for key, value in every.items() if value is not None}

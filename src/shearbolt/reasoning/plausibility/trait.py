"""A trait: one number that a visit shows of one sensor, to be compared with its other visits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True, order=True)
class Sensor:
    """A parameter of a sender; the channel is only a label of one recording."""

    address: int
    spn: int


@dataclass(frozen=True, slots=True)
class Trait:
    """One number of one sensor in one visit, made so that the day's work does not move it."""

    sensor: Sensor
    name: str
    value: float
    unit: str
    spread: float
    """Least standard deviation to reckon with: resolution, and what a sound sensor may vary."""
    matters: float
    """Smallest lasting change that is worth a person's attention."""
    charted: bool = True
    """False: only kept as a baseline for checks."""


Past: TypeAlias = Mapping[tuple[Sensor, str], Sequence[float]]
"""Earlier values of each trait of each sensor, in the order of the visits."""


def add_to_past(past: dict[tuple[Sensor, str], list[float]], traits: Iterable[Trait]) -> None:
    """Put one more visit's traits behind those of the visits before it."""
    for trait in traits:
        past.setdefault((trait.sensor, trait.name), []).append(trait.value)


def past_of(visits: Iterable[Iterable[Trait]]) -> Past:
    """Gather the traits of visits, in their order."""
    past: dict[tuple[Sensor, str], list[float]] = {}
    for traits in visits:
        add_to_past(past, traits)
    return past

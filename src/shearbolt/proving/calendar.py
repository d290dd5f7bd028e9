"""The yard's year as data: which machine works when, at what, from first cut to last beet.

Grass from May, maize from the middle of September, beet from October to December, loading and
hauling in between. A day's work goes from key to key in shifts; hay weather decides over mowing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from shearbolt.proving.plight import word_seed
from shearbolt.proving.weather import weather_at

YEAR = 2025
FIRST_CUT, LAST_BEET = (5, 4), (12, 12)
"""Month and day of the season's first and last day."""
_WET_MM = 3.0
"""More rain than this within a day keeps the grass uncut."""


@dataclass(frozen=True, slots=True)
class Campaign:
    """A stretch of the year in which a machine does one kind of work."""

    kind: str
    """A key of `shifts.ROUNDS`."""
    first: tuple[int, int]
    """Month and day."""
    last: tuple[int, int]
    share: float
    """Of the days, how many are worked."""
    begins_h: float
    """Hour of the day (UTC)."""
    lasts_h: float
    """Engine hours of an ordinary day."""
    dry: bool = False
    """Only when it has not rained."""
    sundays: bool = False


@dataclass(frozen=True, slots=True)
class Shift:
    """Work from one key-on to the next key-off."""

    start: datetime
    """UTC."""
    kind: str
    hours: float
    """Engine hours."""
    before_h: float
    """Engine hours of the season before it."""
    rest_h: float
    """For how long the machine stood before."""

    @property
    def end(self) -> datetime:
        """When the key is turned off."""
        return self.start + timedelta(hours=self.hours)


def _grass(kind: str, begins_h: float, lasts_h: float) -> tuple[Campaign, ...]:
    """Return the four cuts."""
    cuts = (((5, 9), (5, 24)), ((6, 18), (7, 3)), ((8, 3), (8, 17)), ((9, 14), (9, 22)))
    return tuple(
        Campaign(kind, first, last, 0.85, begins_h, lasts_h, dry=True) for first, last in cuts
    )


CAMPAIGNS: Mapping[str, tuple[Campaign, ...]] = {
    "big_tractor": (
        *_grass("mowing", 6.0, 8.0),
        Campaign("tilling", (9, 23), (11, 14), 0.6, 6.5, 7.0),
        Campaign("carting", (11, 16), (12, 11), 0.7, 7.0, 6.5),
        Campaign("carting", (5, 26), (9, 12), 0.25, 7.0, 4.0),
    ),
    "new_tractor": (
        *_grass("carting", 8.0, 7.5),
        Campaign("tilling", (7, 20), (8, 1), 0.6, 6.5, 6.0),
        Campaign("carting", (9, 24), (10, 18), 0.85, 6.5, 8.5, sundays=True),
        Campaign("carting", (10, 20), (12, 12), 0.6, 7.0, 6.5),
        Campaign("mowing", (5, 26), (9, 10), 0.2, 7.0, 4.0, dry=True),
    ),
    "utility_tractor": (
        Campaign("yard", (4, 1), (4, 1), 1.0, 8.0, 2.2),
        Campaign("yard", (5, 4), (12, 11), 0.45, 7.0, 2.2),
        Campaign("mowing", (5, 11), (8, 28), 0.2, 9.0, 3.0, dry=True),
    ),
    "forager": (
        *_grass("chopping", 9.0, 7.0),
        Campaign("chopping", (9, 23), (10, 18), 0.9, 7.5, 9.0, sundays=True),
    ),
    "telehandler": (
        Campaign("clamp", (9, 24), (10, 18), 0.7, 8.0, 4.5, sundays=True),
        Campaign("loading", (5, 4), (12, 12), 0.8, 5.8, 3.4, sundays=True),
    ),
    "truck": (
        Campaign("hauling", (5, 6), (9, 20), 0.45, 5.5, 6.0),
        Campaign("hauling", (9, 23), (12, 12), 0.85, 5.0, 8.0, sundays=True),
    ),
    "pickup": (Campaign("errands", (5, 4), (12, 12), 0.75, 7.0, 1.6),),
}  # fmt: skip
"""By the machine's key; an implement works whenever the tractor before it does."""


def _days(first: datetime, last: datetime) -> Iterator[datetime]:
    day = first
    while day <= last:
        yield day
        day += timedelta(days=1)


def _at(day: tuple[int, int], year: int) -> datetime:
    return datetime(year, *day, tzinfo=UTC)


def _worked(one: Campaign, day: datetime, rng: np.random.Generator, seed: int) -> float:
    """Return the engine hours of one day of a campaign; 0: it is not worked."""
    lucky = rng.random() < one.share
    size = float(np.clip(rng.normal(1.0, 0.22), 0.45, 1.5))
    if not lucky or (day.weekday() == 6 and not one.sundays):
        return 0.0
    if one.dry and weather_at(day + timedelta(hours=12), seed).rain_mm > _WET_MM:
        return 0.0
    return one.lasts_h * size


def calendar(
    machine: str, seed: int = 0, *, weather: int = 0, year: int = YEAR
) -> tuple[Shift, ...]:
    """Return a machine's shifts of the season in their order.

    `seed` gives it its own chances, `weather` the weather that all machines share. Raises KeyError
    for a machine that has no work of its own (an implement).
    """
    rng = np.random.default_rng((seed, word_seed("calendar", machine)))
    planned: list[tuple[datetime, str, float]] = []
    taken: set[datetime] = set()
    for one in CAMPAIGNS[machine]:
        for day in _days(_at(one.first, year), _at(one.last, year)):
            hours = _worked(one, day, rng, weather)
            if hours <= 0.0:
                continue
            begins_s = round(3600.0 * (one.begins_h + float(rng.uniform(0.0, 0.8))))
            if day not in taken:
                taken.add(day)
                planned += _split(day + timedelta(seconds=begins_s), one.kind, hours, rng)
    shifts: list[Shift] = []
    done_h, ended = 0.0, _at((1, 1), year)
    for start, kind, hours in sorted(planned):
        start = max(start, ended + timedelta(minutes=6))
        shifts.append(Shift(start, kind, hours, done_h, (start - ended).total_seconds() / 3600.0))
        done_h += hours
        ended = start + timedelta(hours=hours)
    return tuple(shifts)


def _split(
    begins: datetime, kind: str, hours: float, rng: np.random.Generator
) -> list[tuple[datetime, str, float]]:
    """Cut a day's work into shifts with breaks between them."""
    parts = max(1, round(hours / 2.8))
    cuts = rng.dirichlet(np.full(parts, 6.0)) * hours
    out = []
    start = begins
    for part in cuts.tolist():
        whole_s = round(max(0.2, part) * 3600.0)
        out.append((start, kind, whole_s / 3600.0))
        start += timedelta(seconds=whole_s + round(float(rng.uniform(900.0, 4200.0))))
    return out


__all__ = ["CAMPAIGNS", "FIRST_CUT", "LAST_BEET", "YEAR", "Campaign", "Shift", "calendar"]

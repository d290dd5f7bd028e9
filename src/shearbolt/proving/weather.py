"""Weather of the upper Wenna valley, invented: the same date gives the same weather by seed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from shearbolt.proving.plight import word_seed

VALLEY_M = 240.0
"""Height of the yard above the sea."""
LAPSE_K_M = 0.0065
"""The air cools by so much for each metre (ISO 2533)."""


@dataclass(frozen=True, slots=True)
class Weather:
    """Weather at an hour."""

    air_c: float
    pressure_kpa: float
    """Above or below the standard atmosphere."""
    rain_mm: float
    """Fallen in the last 24 h."""


@lru_cache(maxsize=4096)
def _noise(seed: int, what: str, day: int) -> float:
    """Return one day's own chance number, normal."""
    return float(np.random.default_rng((seed, word_seed(what), day)).standard_normal())


def _spell(seed: int, what: str, day: float) -> float:
    """Return a slow chance number: days that follow one another are alike."""
    weights = np.exp(-np.abs(np.arange(-6, 7)) / 2.2)
    whole = int(np.floor(day))

    def at(first: int) -> float:
        parts = [_noise(seed, what, first + k) for k in range(-6, 7)]
        return float(np.dot(weights, parts) / np.sqrt(np.dot(weights, weights)))

    return at(whole) + (day - whole) * (at(whole + 1) - at(whole))


def weather_at(moment: datetime, seed: int = 0, altitude_m: float = VALLEY_M) -> Weather:
    """Return the weather at an instant (naive times count as UTC).

    A year's wave of 8 K either side of 9 °C, a day's of 5 K (coldest near 5 o'clock, warmest near
    15), spells of days of 3 K, dry spells and wet ones.
    """
    when = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    day = when.timestamp() / 86_400.0
    of_year = when.timetuple().tm_yday + (when.hour + when.minute / 60.0) / 24.0
    season = 9.0 - 8.0 * np.cos(2 * np.pi * (of_year - 20.0) / 365.25)
    hour = when.hour + when.minute / 60.0 + when.second / 3600.0
    swing = 5.0 + 1.2 * np.clip(_spell(seed, "clear", day), -2, 2)
    daily = -swing * np.cos(2 * np.pi * (hour - 3.5) / 24.0)
    air = season + daily + 3.0 * _spell(seed, "warm", day)
    pressure = 1.0 * _spell(seed, "pressure", day)
    wetness = _spell(seed, "rain", day) - 0.35 * pressure
    rain = max(0.0, 4.5 * (wetness - 0.5))
    return Weather(
        float(air - LAPSE_K_M * (altitude_m - VALLEY_M)), float(np.clip(pressure, -3, 3)), rain
    )


def air_over(
    start: datetime, hours: float, seed: int = 0, altitude_m: float = VALLEY_M, most: int = 10_000
) -> list[tuple[float, float]]:
    """Return air temperatures from an instant on: (hours since, °C) about every half hour.

    There are two at least, and no more than `most`.
    """
    count = min(most, max(2, round(hours * 2) + 1))
    steps = np.linspace(0.0, hours, count)
    return [
        (float(at), weather_at(start + timedelta(hours=float(at)), seed, altitude_m).air_c)
        for at in steps
    ]

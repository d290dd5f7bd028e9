"""From values to pixels, with ticks at round figures; times and hours in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_ROUND_S = (
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400,
)  # fmt: skip
DAY_S = 86400.0
_ROUND_DAYS = (1, 2, 7, 14, 30, 60, 90, 180, 365, 730)


@dataclass(frozen=True, slots=True)
class Scale:
    """`low` to `high` laid over the pixels `start` to `end` (which may fall)."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Give the pixel of a value; values beyond the ends lie beyond them."""
        span = self.high - self.low
        share = (value - self.low) / span if span > 0 else 0.5
        return self.start + (self.end - self.start) * share

    def within(self, value: float) -> float:
        """Give the pixel of a value, no farther than the ends."""
        return self(min(max(value, self.low), self.high))


def round_step(span: float, most: int) -> float:
    """Give a round step (1, 2 or 5 times a power of ten) of which at most `most` fit `span`."""
    rough = span / max(most, 1)
    if rough <= 0 or not math.isfinite(rough):
        return 1.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * 0.9999)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Give the round figures from `low` to `high`, about `most` and two at least."""
    step = round_step(high - low, most)
    if math.floor(high / step + 1e-9) <= math.ceil(low / step - 1e-9):
        # One figure alone says nothing of the scale.
        step = round_step(high - low, 2 * most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [float(f"{i * step:.12g}") for i in range(first, last + 1)]


def widened(low: float, high: float, share: float = 0.08) -> tuple[float, float]:
    """Give some air above and below values; equal ones get one unit each side."""
    if not high > low:
        pad = max(abs(low) * 0.1, 1.0)
        return low - pad, high + pad
    return low - (high - low) * share, high + (high - low) * share


def figure(value: float, span: float | None = None) -> str:
    """Write a figure with three digits, or all of a whole one: '1,850', '0.58'; with the `span` of
    values it belongs to, no finer than a hundredth of that."""
    if span == 0.0:
        # Of what never changes every digit that is told.
        return f"{value:,.4f}".rstrip("0").rstrip(".").replace("-", "−")
    if span is not None:
        digits = max(0, 2 - math.floor(math.log10(span)))
        value = round(value, min(digits, 12))
    size = abs(value)
    if size < 1e15 and math.isclose(value, round(value), abs_tol=1e-9):
        text = f"{round(value):,}"
    else:
        digits = 0 if size >= 99.95 else 1 if size >= 9.995 else 2 if size >= 0.0995 else 3
        text = f"{value:,.{digits}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", "−")


def with_unit(value: float, unit: str, span: float | None = None) -> str:
    """Write a figure with its unit: '104 °C'."""
    return f"{figure(value, span)} {unit}".rstrip()


def time_ticks(low: float, high: float, most: int) -> list[float]:
    """Give round moments (s) from `low` to `high`; 0 is one if it lies between."""
    step = next((one for one in _ROUND_S if (high - low) / one <= most), _ROUND_S[-1])
    return [float(i * step) for i in range(math.ceil(low / step), math.floor(high / step) + 1)]


def apart(seconds: float) -> str:
    """Write a distance in time on an axis: '−30 s', '+2 min', '+1 h 30 min'."""
    sign = "−" if seconds < 0 else "+"
    whole = round(abs(seconds))
    if whole < 60 or (whole < 600 and whole % 60):
        if whole > 90:
            return f"{sign}{whole // 60} min {whole % 60} s"
        return f"{sign}{whole} s"
    if whole < 3600:
        return f"{sign}{whole // 60} min"
    hours, minutes = whole // 3600, whole % 3600 // 60
    return f"{sign}{hours} h" + (f" {minutes} min" if minutes else "")


def lasting(seconds: float) -> str:
    """Write a length of time: '12 s', '4 min 10 s', '2 h 5 min'."""
    if seconds < 1:
        return "under 1 s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min" + (f" {whole % 60} s" if whole % 60 else "")
    minutes = round(seconds / 60)
    return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")


def spent(hours: float) -> str:
    """Write time spent: '12 s', '4 min', '2.5 h'."""
    if hours >= 1.0:
        return f"{figure(float(f'{hours:.3g}'))} h"
    if hours * 60.0 >= 1.0:
        return f"{hours * 60.0:.0f} min"
    return f"{hours * 3600.0:.0f} s" if hours else "none"


def moment(time: str, zone: tzinfo | None) -> str:
    """Write a moment of a document: '9 Sep 2025, 06:01:01'; `zone` None: the computer's own."""
    at = datetime.fromisoformat(time).astimezone(zone)
    return f"{day(at)}, {at:%H:%M:%S}"


def day(at: datetime) -> str:
    """Write a day: '9 Sep 2025'."""
    return f"{at.day} {_MONTHS[at.month - 1]} {at.year}"


def day_of(seconds: float, zone: tzinfo | None) -> str:
    """Write the day of a moment (s since 1970)."""
    return day(datetime.fromtimestamp(seconds, UTC).astimezone(zone))


def day_ticks(low: float, high: float, most: int) -> list[float]:
    """Give moments (s since 1970) at equal numbers of days."""
    step = next((one for one in _ROUND_DAYS if (high - low) / DAY_S / one <= most), _ROUND_DAYS[-1])
    step_s = step * DAY_S
    return [
        float(i * step_s) for i in range(math.ceil(low / step_s), math.floor(high / step_s) + 1)
    ]


def bounds(values: Sequence[float]) -> tuple[float, float] | None:
    """Give the lowest and the highest; None where there is none."""
    return (min(values), max(values)) if values else None

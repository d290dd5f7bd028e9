"""Figures of a picture in the units that a person reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from shearbolt.app.documents.asking import Units

_US: Mapping[str, tuple[float, float, str]] = {
    # unit: factor, offset, unit in the United States (NIST SP 811 appendix B, from memory)
    "degC": (1.8, 32.0, "°F"),
    "kPa": (0.1450377, 0.0, "psi"),
    "MPa": (145.0377, 0.0, "psi"),
    "km/h": (0.6213712, 0.0, "mph"),
    "L/h": (0.2641721, 0.0, "gal/h"),
    "kg/h": (2.204623, 0.0, "lb/h"),
    "N": (0.2248089, 0.0, "lbf"),
    "Nm": (0.7375621, 0.0, "lb ft"),
}
_METRIC: Mapping[str, str] = {"degC": "°C", "deg": "°", "-": "", "state": "", "count": ""}


@dataclass(frozen=True, slots=True)
class Shown:
    """How a unit is shown: value * factor + offset, and its name."""

    factor: float
    offset: float
    unit: str

    def of(self, value: float) -> float:
        """Give a value as it is shown."""
        return value * self.factor + self.offset

    def maybe(self, value: float | None) -> float | None:
        """Give a value as it is shown, where there is one."""
        return None if value is None else self.of(value)


def shown_in(unit: str, units: Units) -> Shown:
    """Say how a unit of the tables is shown."""
    if units == "us" and unit in _US:
        return Shown(*_US[unit])
    return Shown(1.0, 0.0, _METRIC.get(unit, unit))


def figure(value: float) -> str:
    """Write a figure with three digits, as many as anybody reads off a picture: '1,850', '0.58'."""
    if value == 0:
        return "0"
    size = abs(value)
    digits = 0 if size >= 99.95 else 1 if size >= 9.995 else 2
    text = f"{value:,.{digits}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def spent(hours: float) -> str:
    """Write a length of time: '40 s', '8 min', '12.5 h'."""
    if hours * 3600.0 < 60.0:
        return f"{hours * 3600.0:.0f} s"
    return f"{hours * 60.0:.0f} min" if hours < 1.0 else f"{hours:,.1f} h"


def with_unit(value: float, unit: str) -> str:
    """Write a figure that is in its shown unit already: '104 °C'."""
    return f"{figure(value)} {unit}".rstrip()

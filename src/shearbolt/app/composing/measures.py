"""Numbers in sentences: SI values in the units that a person reads."""

from __future__ import annotations

import re
from collections.abc import Mapping

from shearbolt.app.documents.asking import Units
from shearbolt.dictionary.quantities import quantities

_METRIC: Mapping[str, str] = {"degC": "°C", "deg": "°", "state": "", "-": "", "": ""}
_US: Mapping[str, tuple[float, float, str]] = {
    # unit: factor, offset, unit in the United States (NIST SP 811 appendix B, from memory)
    "degC": (1.8, 32.0, "°F"),
    "kPa": (0.1450377, 0.0, "psi"),
    "MPa": (145.0377, 0.0, "psi"),
    "km/h": (0.6213712, 0.0, "mph"),
    "mm/min": (0.03937008, 0.0, "in/min"),
    "L/h": (0.2641721, 0.0, "gal/h"),
}
_OWN: Mapping[str, tuple[str, str]] = {
    # What advice watches beside the table of quantities: words, unit
    "brake_air_kpa": ("brake air pressure", "kPa"),
    "rpm_droop": ("how far engine speed drops under a load that it carried before", "rpm"),
    "stalls": ("how often the engine stalls", ""),
    "load_sinks_mm_min": ("how fast the raised load sinks by itself", "mm/min"),
    "slope_pct": ("slope of the ground", "%"),
    "smell": ("smell or sight of smoke", ""),
}
_INLINE = re.compile(r"\{(-?[\d.]+) (degC|kPa|MPa|km/h)\}")


def quantity_words(key: str) -> tuple[str, str]:
    """Return plain name and unit of a quantity, or of something that advice watches.

    Raises KeyError for one that is neither.
    """
    if key in _OWN:
        return _OWN[key]
    for one in quantities():
        if one.key == key:
            return one.words, one.unit
    raise KeyError(key)


def measure(value: float, unit: str, units: Units) -> str:
    """Write a value with its unit: '108 °C', '226 °F'."""
    if units == "us" and unit in _US:
        factor, offset, shown = _US[unit]
        value, unit = value * factor + offset, shown
    else:
        unit = _METRIC.get(unit, unit)
    digits = 0 if abs(value) >= 100 or float(value).is_integer() else 1
    return f"{value:,.{digits}f} {unit}".rstrip()


def of_quantity(key: str, value: float, units: Units) -> str:
    """Write a value of a quantity with its unit. Raises KeyError for an unknown quantity."""
    return measure(value, quantity_words(key)[1], units)


def fill(words: str, units: Units) -> str:
    """Write out the values of a sentence kept as '{50 degC}'."""
    return _INLINE.sub(lambda hit: measure(float(hit[1]), hit[2], units), words)

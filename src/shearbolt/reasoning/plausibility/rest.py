"""Pressures while the engine stands: what must be zero, or the barometer's."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.model.state import F32
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    figures,
    graded,
    not_possible,
)
from shearbolt.reasoning.quantity_view import QuantityView, Rows

_SHEET = "reference sheet 6.2; tolerances common practice"
BAROMETER_DEFAULTS_KPA = (100.0, 101.0, 101.3, 101.5)
"""What controllers put in place of a barometer (reference sheet 6.2), to their resolution."""


def isa_kpa(altitude_m: float) -> float:
    """Give the pressure (kPa) of the standard atmosphere below 11 km (ISO 2533)."""
    return 101.325 * float((1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def isa_altitude_m(pressure_kpa: float) -> float:
    """Give the altitude (m) at which the standard atmosphere has a pressure (ISO 2533)."""
    return (1.0 - float((pressure_kpa / 101.325) ** (1.0 / 5.25588))) / 2.25577e-5


def at_rest(view: QuantityView, after_s: float) -> Rows:
    """Give the rows in which the engine has been standing for longer than `after_s`."""
    stood = view.stood_s
    return np.flatnonzero(stood >= after_s) if stood is not None else np.empty(0, np.intp)


def _zero(
    look: Look, check: str, quantity: str, high: bool = True, low: bool = True
) -> Iterable[Finding]:
    """Judge one reading that must be near zero at rest, by its median and its limits."""
    view, limit = look.view, limits(check)
    values = view.values(quantity)
    rows = at_rest(view, limit["after_s"])
    rows = rows[~np.isnan(values[rows])]
    shaky = False
    if len(rows) < 3 and limit.get("early_s") is not None:
        rows, shaky = at_rest(view, limit["early_s"]), True
        rows = rows[~np.isnan(values[rows])]
    if len(rows) < 3:
        yield not_possible("engine_not_at_rest", "engine_stopped")
        return
    middle = float(np.median(values[rows]))
    size = max(middle if high else 0.0, -middle if low else 0.0)
    result = graded(size, limit["doubtful"], limit["odd"])
    if shaky and result == "odd":
        result = "doubtful"
    picked = view.pick(quantity)
    yield Finding(
        result,
        "near_zero_at_rest" if result == "ok" else "not_zero_at_rest",
        view.about(quantity, "engine_rpm"),
        figures(
            ("at_rest", middle, picked.unit if picked else ""),
            ("seconds", float(len(rows)), "s"),
        ),
        view.at_us(rows) if result != "ok" else (),
    )


def oil_at_rest(look: Look) -> Iterable[Finding]:
    """Engine oil pressure falls to 0 to 8 kPa within a minute of stopping."""
    return _zero(look, "oil_at_rest", "oil_kpa", low=False)


def boost_at_rest(look: Look) -> Iterable[Finding]:
    """Boost (gauge) is zero to 4 kPa with the engine stopped."""
    return _zero(look, "boost_at_rest", "boost_kpa")


def dpf_at_rest(look: Look) -> Iterable[Finding]:
    """The particulate filter's pressure drop is zero without flow: zero offset of the sensor."""
    return _zero(look, "dpf_at_rest", "dpf_drop_kpa")


def air_filter_at_rest(look: Look) -> Iterable[Finding]:
    """The air filter's pressure drop is zero without flow."""
    return _zero(look, "air_filter_at_rest", "air_filter_kpa")


def rail_at_rest(look: Look) -> Iterable[Finding]:
    """Rail pressure decays below 2 to 5 MPa within minutes of stopping."""
    return _zero(look, "rail_at_rest", "rail_mpa", low=False)


def manifold_at_rest(look: Look) -> Iterable[Finding]:
    """Absolute manifold pressure equals the barometer with the engine stopped."""
    view, limit = look.view, limits("manifold_at_rest")
    absolute, barometer = view.values("manifold_abs_kpa"), view.values("barometer_kpa")
    rows = at_rest(view, limit["after_s"])
    rows = rows[~np.isnan(absolute[rows]) & ~np.isnan(barometer[rows])]
    if len(rows) < 3:
        yield not_possible("engine_not_at_rest", "engine_stopped")
        return
    gap = float(np.median(absolute[rows] - barometer[rows]))
    result = graded(abs(gap), limit["doubtful"], limit["odd"])
    yield Finding(
        result,
        "manifold_is_barometer" if result == "ok" else "manifold_is_not_barometer",
        view.about("manifold_abs_kpa", "barometer_kpa"),
        figures(("difference", gap, "kPa"), ("barometer", _middle(barometer, rows), "kPa")),
        view.at_us(rows) if result != "ok" else (),
    )


def _middle(values: F32, rows: Rows) -> float:
    return float(np.median(values[rows]))


def barometer(look: Look) -> Iterable[Finding]:
    """The barometer fits the standard atmosphere at the known altitude, and is no fixed default."""
    view, limit = look.view, limits("barometer")
    values = view.values("barometer_kpa")
    good = np.flatnonzero(~np.isnan(values))
    middle, low, high = (float(f(values[good])) for f in (np.median, np.min, np.max))
    about = view.about("barometer_kpa")
    shown = [("barometer", middle, "kPa"), ("as_altitude", isa_altitude_m(middle), "m")]
    altitude = view.held("altitude_m")
    both = good[~np.isnan(altitude[good])] if altitude is not None else np.empty(0, np.intp)
    if altitude is not None and len(both):
        expected = isa_kpa(float(np.median(altitude[both])))
        result = graded(abs(middle - expected), limit["doubtful"], limit["odd"])
        key = "barometer_fits_altitude" if result == "ok" else "barometer_against_altitude"
        shown += [("altitude", _middle(altitude, both), "m"), ("expected", expected, "kPa")]
        yield Finding(result, key, about, figures(*shown), view.at_us(good[:1]))
        return
    if not limit["least"] <= middle <= limit["most"]:
        yield Finding("odd", "barometer_beyond_weather", about, figures(*shown))
        return
    step = 0.26
    fixed = low == high and min(abs(middle - one) for one in BAROMETER_DEFAULTS_KPA) <= step
    if fixed and len(good) >= limit["fixed_h"] * 3600.0:
        yield Finding("doubtful", "barometer_fixed", about, figures(*shown))
        return
    if len(good) < limit["least_s"]:
        yield not_possible("too_short", "seconds_told")
        return
    yield Finding("ok", "barometer_possible", about, figures(*shown))


CHECKS = (
    Check("oil_at_rest", (("oil_kpa",), ("engine_rpm",)), oil_at_rest, _SHEET),
    Check("boost_at_rest", (("boost_kpa",), ("engine_rpm",)), boost_at_rest, _SHEET),
    Check(
        "manifold_at_rest",
        (("manifold_abs_kpa",), ("barometer_kpa",), ("engine_rpm",)),
        manifold_at_rest,
        _SHEET,
    ),
    Check("dpf_at_rest", (("dpf_drop_kpa",), ("engine_rpm",)), dpf_at_rest, _SHEET),
    Check("air_filter_at_rest", (("air_filter_kpa",), ("engine_rpm",)), air_filter_at_rest,
          "common practice, no source"),
    Check("rail_at_rest", (("rail_mpa",), ("engine_rpm",)), rail_at_rest, _SHEET),
    Check("barometer", (("barometer_kpa",),), barometer, "ISO 2533; " + _SHEET),
)  # fmt: skip

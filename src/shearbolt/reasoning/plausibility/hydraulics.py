"""The hydraulic filter switch against cold oil."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.reasoning.phases import stretches
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    Result,
    figures,
    not_possible,
)


def hydraulic_filter(look: Look) -> Iterable[Finding]:
    """Cold oil opens the bypass of a clean filter; only a switch closed with warm oil counts.

    The drop over a filter is laminar: viscosity times flow, and viscosity is tenfold at 0 degC
    (Walther, ASTM D341), so a clean element may close its switch below 35 to 40 degC.
    """
    view, limit = look.view, limits("hydraulic_filter")
    switch, oil, rpm = (
        view.values(one) for one in ("hydraulic_filter", "hydraulic_c", "engine_rpm")
    )
    about = view.about("hydraulic_filter", "hydraulic_c")
    told = ~np.isnan(switch) & ~np.isnan(oil)
    closed = told & (switch == 1)
    stood = view.stood_s
    at_rest = closed & (stood >= limit["rest_s"]) if stood is not None else np.zeros_like(closed)
    warm = told & (oil > limit["warm_c"]) & (rpm > limit["rpm"])
    cold_closed = closed & (oil <= limit["warm_c"])
    warm_rows = np.flatnonzero(warm)
    longest = max((b - a for a, b in stretches(closed & warm)), default=0)
    shown = figures(
        ("seconds_warm", float(len(warm_rows)), "s"),
        ("closed_warm", float(np.count_nonzero(closed & warm)), "s"),
        ("closed_cold", float(np.count_nonzero(cold_closed)), "s"),
        *([("hottest_closed", float(oil[closed].max()), "degC")] if closed.any() else []),
    )
    result: Result
    if np.count_nonzero(at_rest) >= limit["rest_s"]:
        result, key, where = "odd", "filter_switch_closed_at_rest", at_rest
    elif longest >= limit["lasting_s"]:
        result, key, where = "odd", "filter_restricted_when_warm", closed & warm
    elif closed.any() and cold_closed.sum() == closed.sum():
        result, key, where = "ok", "filter_bypassed_by_cold_oil", cold_closed
    elif len(warm_rows) >= limit["lasting_s"]:
        result, key, where = "ok", "filter_free_when_warm", closed & ~closed
    else:
        yield not_possible("hydraulic_oil_never_warm", "warm_hydraulic_oil")
        return
    yield Finding(result, key, about, shown, view.at_us(np.flatnonzero(where)))


CHECKS = (
    Check(
        "hydraulic_filter",
        (("hydraulic_filter",), ("hydraulic_c",), ("engine_rpm",)),
        hydraulic_filter,
        "ASTM D341; reference sheet 6.6",
    ),
)

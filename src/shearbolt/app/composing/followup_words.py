"""Follow-ups of repairs and trends as sentences."""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.app.composing.advice_words import caution_words
from shearbolt.app.documents.asking import PLAIN_WORDING, Units, Wording
from shearbolt.app.documents.fault import Followup as FollowupShown
from shearbolt.app.documents.fault import Trend as TrendShown
from shearbolt.reasoning.follow_up import FollowUp, Trend, words_of, words_of_trend

Facts = Mapping[str, object]
SCALES: Mapping[str, tuple[str, str]] = {
    # scale: one, several
    "engine_hours": ("engine hour", "engine hours"),
    "starts": ("engine start", "engine starts"),
    "key_cycles": ("key cycle", "key cycles"),
    "loaded_hours": ("hour under load", "hours under load"),
    "fuel_l": ("litre of fuel", "litres of fuel"),
    "km": ("km", "km"),
    "setting_hours": ("hour in its own setting", "hours in its own setting"),
}
_US: Mapping[str, tuple[float, str]] = {
    "fuel_l": (0.2641721, "gallons of fuel"),
    "km": (0.6213712, "miles"),
}


def followup_document(one: FollowUp, wording: Wording = PLAIN_WORDING) -> FollowupShown:
    """Make the follow-up of one repair and fault as documents hold it."""
    return {
        "repair": one.repair,
        "result": one.result,
        "scale": one.scale,
        "events_before": one.events_before,
        "exposure_before": one.exposure_before,
        "events_after": one.events_after,
        "exposure_after": one.exposure_after,
        "not_tested": one.not_tested,
        "p_clean_if_unchanged": one.p_clean_if_unchanged,
        "p_unchanged": one.p_unchanged,
        "p_partly": one.p_partly,
        "still_needed": one.still_needed,
        "words": followup_words(one, wording.units),
    }


def trend_document(one: Trend) -> TrendShown:
    """Make the trend of a fault as documents hold it."""
    return {
        "direction": one.direction,
        "z": one.z,
        "p_value": one.p_value,
        "words": " ".join(_trend(key, dict(facts)) for key, facts in words_of_trend(one)),
    }


def followup_words(one: FollowUp, units: Units = "metric") -> str:
    """Say whether a repair held, with its figures and what is still needed."""
    return " ".join(_said(key, dict(facts), units) for key, facts in words_of(one))


def _said(key: str, facts: Facts, units: Units) -> str:
    what = key.removeprefix("followup.")
    if what in ("held", "not_held", "too_early"):
        return _result(what, facts, units)
    if what == "nothing_to_judge":
        return "There is nothing to judge: only an old memory of it."
    if what == "no_start_before":
        return "No start of it was seen before the repair, so clean running proves nothing yet."
    if what == "still_needed":
        needed = _amount(str(facts["scale"]), _number(facts["needed"]), units)
        return f"About {needed} more without it, and one can be 95 % sure."
    if what == "came_back":
        return f"It came back{_at(facts)}."
    if what == "was_on_again":
        return f"It was on again{_at(facts)}."
    if what == "stood":
        days = facts.get("days")
        told = f" for {_number(days):.0f} days" if days is not None else ""
        return f"It had counted as held{told} before that."
    if what == "partly":
        left, low, high = (_number(facts[one]) for one in ("remaining", "low", "high"))
        return (
            f"Partly better: about {left:.0%} of how often it came is left "
            f"({low:.0%} to {high:.0%})."
        )
    if what == "not_tested":
        amount = _amount(str(facts["scale"]), _number(facts["exposure"]), units)
        return f"{amount} since a clear do not count: its monitor had not run yet."
    if what == "blind":
        return f"In {_number(facts['hours']):,.0f} more engine hours nobody could have seen it."
    if what == "unsure":
        count = int(_number(facts["events"]))
        return f"{count} start{'' if count == 1 else 's'} may lie on either side of the repair."
    if what == "in_bursts":
        return "It comes in bursts, so key cycles with a start are counted."
    if what == "estimated":
        return f"{_number(facts['share']):.0%} of the exposure is estimated."
    if what == "bundle":
        return (
            f"{_number(facts['repairs']):.0f} repairs were done together; which of them did it "
            "cannot be told."
        )
    if what == "needs_inspection":
        return caution_words("not_cleared_by_time")
    raise KeyError(key)


def _result(what: str, facts: Facts, units: Units) -> str:
    scale = str(facts["scale"])
    before, after = int(_number(facts["events_before"])), int(_number(facts["events_after"]))
    of_before = _amount(scale, _number(facts["exposure_before"]), units)
    of_after = _amount(scale, _number(facts["exposure_after"]), units)
    counts = (
        f"{_times(before)} in {of_before} before the repair, {_times(after)} in {of_after} since"
    )
    head = {"held": "Held", "not_held": "Did not hold", "too_early": "Too early to say"}[what]
    luck = facts.get("p_clean_if_unchanged")
    if what == "held" and luck is not None:
        return (
            f"{head}: {counts}; if nothing had changed, so clean a run had a chance of {_p(luck)}."
        )
    return f"{head}: {counts}."


def _trend(key: str, facts: Facts) -> str:
    what = key.removeprefix("trend.")
    if what == "too_few":
        return (
            f"Whether it comes more often cannot be told from {_number(facts['events']):.0f} "
            f"starts; it takes {_number(facts['needed']):.0f}."
        )
    if what == "irregular":
        return "Its intervals are irregular, which is reckoned with."
    words = {
        "rising": "It comes more often than it did",
        "falling": "It comes less often than it did",
        "steady": "It comes about as often as it did",
        "unknown": "Whether it comes more often cannot be told",
    }[what]
    return (
        f"{words} ({_number(facts['events']):.0f} starts in {_number(facts['exposure_h']):,.1f} h "
        "that could be seen)."
    )


def _amount(scale: str, value: float, units: Units) -> str:
    one, several = SCALES[scale]
    if units == "us" and scale in _US:
        factor, several = _US[scale]
        value, one = value * factor, several
    shown = f"{value:,.0f}" if value >= 20 or float(value).is_integer() else f"{value:,.1f}"
    return f"{shown} {one if shown == '1' else several}"


def _at(facts: Facts) -> str:
    hours = facts.get("hours")
    return f" at {_number(hours):,.1f} h" if hours is not None else ""


def _times(count: int) -> str:
    return {0: "not once", 1: "once", 2: "twice"}.get(count, f"{count} times")


def _p(value: object) -> str:
    p = _number(value)
    return "under 0.1 %" if p < 0.001 else f"{p * 100:.1f} %"


def _number(value: object) -> float:
    assert isinstance(value, (int, float))
    return float(value)

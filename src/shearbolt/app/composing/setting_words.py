"""A fault's setting as a document: the conditions in words, with their figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.app.composing.measures import measure, quantity_words
from shearbolt.app.documents.asking import PLAIN_WORDING, Units, Wording
from shearbolt.app.documents.fault import Alternative as AlternativeShown
from shearbolt.app.documents.fault import Setting as SettingShown
from shearbolt.app.documents.fault import Term as TermShown
from shearbolt.reasoning.settings import Setting, Spoken, Term

_DERIVED: Mapping[str, tuple[str, str]] = {
    "minutes_since_start": ("time since the start", "min"),
    "slowing_kmh_s": ("slowing down", "km/h a second"),
    "steering_abs_rad": ("steering, to either side", "rad"),
    "hour_utc": ("hour of the day (UTC)", "h"),
}
_STATES: Mapping[tuple[str, int], str] = {
    ("engine_running", 0): "with the engine stopped",
    ("engine_running", 1): "with the engine running",
    ("cranking", 0): "not while cranking",
    ("cranking", 1): "while cranking",
    ("neutral", 1): "in neutral",
    ("neutral", 0): "out of neutral",
    ("pto_engaged", 1): "with the PTO on",
    ("pto_engaged", 0): "with the PTO off",
    ("park_brake", 1): "with the parking brake on",
    ("park_brake", 0): "with the parking brake off",
    ("brake", 1): "with the brake pressed",
    ("brake", 0): "with the brake released",
    ("clutch", 1): "with the clutch pressed",
    ("clutch", 0): "with the clutch released",
    ("seat_belt", 1): "with the seat belt closed",
    ("seat_belt", 0): "with the seat belt open",
}
_SPOKEN: Mapping[str, str] = {"hot": "when it is hot", "cold": "when it is cold"}


def setting_document(setting: Setting, wording: Wording = PLAIN_WORDING) -> SettingShown | None:
    """Make the setting of a fault as documents hold it; None where no start was ever seen."""
    if setting.status == "no_starts":
        return None
    units = wording.units
    would_tell = None
    if setting.would_tell is not None:
        outing = setting.would_tell
        would_tell = (
            f"Work for {_span(outing.hours)} {terms_words(outing.holding, units)}, but not "
            f"{terms_words(outing.without, units)}."
        )
    return {
        "found": setting.found,
        "words": " ".join(_sentences(setting, units)),
        "terms": [_term(one) for one in setting.terms],
        "cannot_be_told_apart": [
            AlternativeShown(
                words=terms_words(one.terms, units), terms=[_term(term) for term in one.terms]
            )
            for one in setting.cannot_be_told_apart
        ],
        "would_tell": would_tell,
        "starts_inside": setting.starts_inside,
        "starts_total": setting.starts_total,
        "days": setting.days,
        "exposure_inside_h": setting.exposure_inside_h,
        "exposure_total_h": setting.exposure_total_h,
        "cycles": setting.cycles,
        "delay_s": float(setting.delay_s) if setting.delay_s is not None else None,
        "p_adjusted": setting.p_adjusted,
        "p_smallest": setting.p_smallest,
    }


def _term(term: Term) -> TermShown:
    return {
        "quantity": term.quantity,
        "spn": term.spn,
        "op": term.op,
        "value": term.text if term.value is None else term.value,
        "low": term.low,
        "high": term.high,
        "unit": term.unit or None,
    }


def _sentences(setting: Setting, units: Units) -> list[str]:
    said: list[str] = []
    conditions = terms_words(setting.terms, units)
    starts = _starts(setting.starts_total)
    if setting.status == "found":
        said.append(f"{_upper(_counted(setting))}, came {conditions}{_spent(setting)}.")
    elif setting.status == "possible":
        said.append(
            f"Possible, seen {_times(setting.starts_inside)}: {conditions} "
            f"({_counted(setting)}){_spent(setting)}."
        )
    elif setting.status == "cannot_tell":
        said.append(f"When it starts cannot be told yet from {starts}.")
    elif setting.status == "none_seen":
        said.append(
            f"{_upper(starts)} keep to no condition that this machine tells; it comes at any time."
        )
    if setting.delay_s and setting.status in ("found", "possible"):
        said.append(f"The code follows about {_seconds(setting.delay_s)} after that.")
    if setting.persistence_s and setting.status in ("found", "possible"):
        said.append(f"It must be so for about {_seconds(setting.persistence_s)} on end.")
    if setting.starts_needed:
        said.append(f"It needs about {_starts(setting.starts_needed, 'more')} to tell.")
    if setting.confirmed is False:
        said.append("Starts that the search had not used do not confirm it.")
    if setting.status == "found" and setting.p_adjusted is not None:
        said.append(f"Chance of so good a fit by luck: {_chance(setting.p_adjusted)}.")
    if setting.starts_unknown:
        one = setting.starts_unknown == 1
        said.append(
            f"{_upper(_starts(setting.starts_unknown))} {'was' if one else 'were'} left out: "
            f"{'it was' if one else 'they were'} on when the recording began."
        )
    if setting.spoken:
        said.append(_spoken(setting.spoken))
    return said


def terms_words(terms: Sequence[Term], units: Units = "metric") -> str:
    """Say conditions as they stand in a sentence: 'with transmission oil below 31 °C and ...'."""
    parts = [_one(term, units) for term in terms]
    if not parts:
        return "under any conditions"
    return " and ".join((", ".join(parts[:-1]), parts[-1]) if len(parts) > 1 else parts)


def _one(term: Term, units: Units) -> str:
    if term.quantity == "driver_words":
        text = _SPOKEN.get(term.text or "", f"'{term.text}'")
        return f"as the driver says, {text}"
    words, unit = _DERIVED.get(term.quantity) or _named(term)
    value = term.value if term.value is not None else 0.0
    if term.quantity == "minutes_since_start" and term.op in ("<", ">"):
        within = "in the first" if term.op == "<" else "later than"
        return f"{within} {_minutes(value)} after the start"
    if term.op == "=":
        known = _STATES.get((term.quantity, round(value)))
        if known is not None:
            return known
        if unit == "state" and round(value) in (0, 1):
            return f"with {words} {'on' if round(value) else 'off'}"
        return f"with {words} at {measure(value, unit, units)}"
    side = "below" if term.op == "<" else "above"
    return f"with {words} {side} {measure(_rounded(value), unit, units)}"


def _named(term: Term) -> tuple[str, str]:
    try:
        return quantity_words(term.quantity)
    except KeyError:
        return term.quantity.replace("_", " "), term.unit


def _rounded(value: float) -> float:
    """Round to three digits: no threshold is known better."""
    return float(f"{value:.3g}")


def _counted(setting: Setting) -> str:
    inside, total = setting.starts_inside, setting.starts_total
    head = (
        f"all {total} starts" if inside == total and total > 1 else f"{inside} of {_starts(total)}"
    )
    if total == 1:
        head = "the one start"
    days = f", on {setting.days} days" if setting.days > 1 else ", on one day"
    return head + days


def _spent(setting: Setting) -> str:
    if setting.exposure_inside_h is None or setting.exposure_total_h <= 0:
        return ""
    share = setting.exposure_inside_h / setting.exposure_total_h
    shown = "under 1 %" if share < 0.01 else f"{share:.0%}".replace("%", " %")
    return (
        f"; the machine spent {shown} of the {setting.exposure_total_h:,.1f} h looked at under "
        "these conditions"
    )


def _spoken(said: Sequence[Spoken]) -> str:
    """Say what the driver said, how often, and whether it fits the conditions."""
    parts: list[str] = []
    for one in said:
        words = _SPOKEN.get(one.text, f"'{one.text}'")
        if one.kind == "after_start":
            words = "soon after the start" if one.text == "soon" else "long after the start"
        fits = {True: ", which fits", False: ", which does not fit", None: ""}[one.agrees]
        parts.append(f"{words} ({_times(one.visits)}{fits})")
    return f"The driver's words, which count little: {', '.join(parts)}."


def _starts(count: int, more: str = "") -> str:
    gap = f" {more}" if more else ""
    return f"{count}{gap} start{'' if count == 1 else 's'}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _seconds(value: float) -> str:
    return f"{value:.0f} s" if value < 120 else f"{value / 60:.0f} min"


def _minutes(value: float) -> str:
    return f"{value:.0f} min" if value >= 3 else f"{value * 60:.0f} s"


def _span(hours: float) -> str:
    return f"{hours * 60:.0f} min" if hours < 1.5 else f"{hours:.0f} h"


def _chance(p: float) -> str:
    return "less than 1 in 1,000" if p < 0.001 else f"1 in {1 / p:,.0f}"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]

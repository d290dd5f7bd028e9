"""What happened between visits, and what belongs together, as sentences."""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.reasoning.between import Reset, Unrecorded
from shearbolt.reasoning.company import Instance, Link

_NUMBERS = ("no", "once", "twice")
LINKS: Mapping[str, str] = {
    "worse_level": "the same matter at a lighter level",
    "supply": "its sensor hangs on the supply that failed",
    "cranking_dip": "it came with the voltage dip while cranking",
    "lost_unit": "it misses the messages of the control unit that lost its power",
    "power_limit": "it only says that power is limited because of that",
}
INSTANCES: Mapping[str, str] = {
    "supply": "sensors of one supply went together",
    "shared_return_or_supply": "sensors of one control unit went together, as with a shared supply "
    "or return",
    "cranking_dip": "they began while the starter pulled the voltage down",
    "unit_lost_power": "a control unit fell silent and came back with a fresh claim: it had lost "
    "its power",
    "unit_off_bus": "a control unit fell silent and came back without a claim: it was cut off from "
    "the bus, and kept its power",
    "unit_unheard": "a control unit was not heard",
    "together": "they start together",
}


def unrecorded_words(one: Unrecorded) -> str:
    """Say how often a fault came while nobody was recording, and between which hours."""
    if one.after_visit is None:
        return f"{_upper(_times(one))} before the first visit{_until(one)}."
    return f"{_upper(_times(one))} while nobody was recording{_span(one)}."


def reset_words(one: Reset) -> str:
    """Say that a count was set back, and whether a clear was heard."""
    after = f" to {one.count_after}" if one.count_after is not None else ""
    how = "by a clear that was heard" if one.heard else "and no clear was heard"
    span = _hours(one.from_h, one.to_h)
    return f"Its count fell from {one.count_before}{after} {how}{span}."


def link_words(one: Link) -> str:
    """Say why one fault follows from another, with its figures."""
    return f"{_upper(LINKS[one.why])} ({one.times} of {one.of} times)."


def instance_words(one: Instance) -> str:
    """Say what a common instant was."""
    figures = dict(one.figures)
    more = ""
    if "plateau_v" in figures:
        more = f" ({figures['plateau_v']:.1f} V while cranking)"
    elif "silent_s" in figures:
        more = f" ({figures['silent_s']:.0f} s)"
    return f"{_upper(INSTANCES[one.why])}{more}."


def _times(one: Unrecorded) -> str:
    least, most = one.at_least, one.at_most
    if most is None:
        return f"at least {_count(least)}" if least else "it may have come any number of times"
    if least == most:
        return _count(least) if least <= 2 else f"{_count(least).removesuffix(' times')} more times"
    return f"between {least} and {most} times"


def _count(number: int) -> str:
    return _NUMBERS[number] if 1 <= number <= 2 else f"{number} times"


def _span(one: Unrecorded) -> str:
    return _hours(one.from_h, one.to_h)


def _until(one: Unrecorded) -> str:
    return f", at {one.to_h:,.1f} h" if one.to_h is not None else ""


def _hours(from_h: float | None, to_h: float | None) -> str:
    if from_h is None and to_h is None:
        return ""
    if from_h is None:
        return f", before {to_h:,.1f} h"
    if to_h is None:
        return f", after {from_h:,.1f} h"
    return f", between {from_h:,.1f} and {to_h:,.1f} h"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]

"""Which checks fit a fault, which of them are possible here, and what can hurt on the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.dictionary.checks import HANDS_OFF, Check, EngineState, checks
from shearbolt.reasoning.checks.values import Asked, CheckContext

LIKELY = 0.15
"""From this chance on a class brings its own checks to any fault (own choice)."""
SILENT_NEEDS = frozenset(("implement", "plugged_in_just_before"))
"""Without these a check is beside the point, and is not spoken of."""
ELSEWHERE = frozenset(("low_voltage", "network"))
"""Classes whose checks are done at the battery or the bus, away from the fault's own place."""
CALL = "call_workshop"
_ENGINE_CAUTIONS: Mapping[EngineState, tuple[str, ...]] = {
    "off": ("engine_off_key_out",),
    "key_on": ("key_on_engine_off",),
    "crank": ("start_from_seat",),
    "seat": ("start_from_seat", "in_the_open"),
    "any": (),
}


def fitting(asked: Asked, chances: Mapping[str, float], context: CheckContext) -> tuple[Check, ...]:
    """Give the checks that fit a fault, in the catalogue's order.

    `chances` are those of the cause classes, 0 to 1. A check fits by kind of sensor and kind of
    failure, or because its class is likely. Where repair is licensed practice, or a switch keeps
    people safe, only asking, reading and looking is left, and what is done elsewhere.
    """
    if "high_voltage" in context.flags:
        return (checks()[CALL],)
    return tuple(
        one
        for one in checks().values()
        if (_by_kind(one, asked) or _by_class(one, chances))
        and _allowed(one, asked)
        and all(need in context.flags for need in one.needs if need in SILENT_NEEDS)
    )


def _by_kind(one: Check, asked: Asked) -> bool:
    if one.kinds and asked.kind.kind not in one.kinds:
        return False
    return not one.fmi_groups or asked.group == "unsaid" or asked.group in one.fmi_groups


def _by_class(one: Check, chances: Mapping[str, float]) -> bool:
    return one.by_class is not None and chances.get(one.by_class, 0.0) >= LIKELY


def _allowed(one: Check, asked: Asked) -> bool:
    if one.touches == "unplug" and not asked.kind.unplug:
        return False
    if not asked.kind.limit or one.by_class in ELSEWHERE:
        return True
    return one.touches in HANDS_OFF and one.engine not in ("seat", "crank")


def is_gate(one: Check, context: CheckContext) -> bool:
    """Tell whether safety puts a check before all others."""
    return one.gate == "always" or one.gate in context.flags


def why_not(one: Check, asked: Asked, context: CheckContext, gave_up: Sequence[str]) -> str | None:
    """Say why a check that fits is not possible here: message key; None: it is.

    `gave_up` are checks that somebody tried and could not do.
    """
    if one.check in gave_up:
        return "could_not_before"
    if "live" in one.needs and not _is_live(asked, context):
        return "not_sent"
    if "twin" in one.needs and not asked.kind.twin:
        return "no_twin"
    if "volts_known" in one.needs and context.system_v is None:
        return "volts_unknown"
    if "plain_bus" in one.needs and "powered_terminators" in context.flags:
        return "powered_terminators"
    if "soot_low" in one.needs and "soot_above_limit" in context.flags:
        return "soot_above_limit"
    if context.no_tools.intersection(one.tools):
        return "no_tool"
    return None


def _is_live(asked: Asked, context: CheckContext) -> bool:
    if asked.spn is None:
        return bool(context.live is None or context.live & asked.kind.spns)
    return context.live is None or asked.spn in context.live


def cautions_of(one: Check, asked: Asked, context: CheckContext) -> tuple[str, ...]:
    """Give what can hurt: the check's own cautions, then those of the place it is done at."""
    found = list(one.cautions)
    at_place = one.touches not in ("ask", "call") and one.by_class not in ELSEWHERE
    if at_place or asked.kind.limit:
        found += asked.kind.cautions
    if one.touches not in ("ask", "call"):
        found += _ENGINE_CAUTIONS[one.engine]
    if "frost" in context.flags and "battery" in found:
        found.append("battery_frozen")
    if "high_voltage" in context.flags:
        found.insert(0, "orange_cables")
    return tuple(dict.fromkeys(found))

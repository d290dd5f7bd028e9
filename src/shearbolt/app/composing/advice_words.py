"""First advice as sentences: where, engine, what to watch, until when, why, and the cautions.

The sentence of a stop begins with where: nobody switches an engine off on a slope, a crossing or a
heap because a page said so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from shearbolt.app.composing.advice_kind_words import KIND_WORDS
from shearbolt.app.composing.measures import fill, measure, of_quantity, quantity_words
from shearbolt.app.documents.asking import PLAIN_WORDING, Units, Wording
from shearbolt.app.documents.fault import Advice as AdviceShown
from shearbolt.app.documents.fault import Watch as WatchShown
from shearbolt.dictionary.advice_kinds import cautions, dangerous_readings
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.advice import Advice, Limp, MachineAdvice, Reason, RegenerationGate

PLACES: Mapping[str, str] = {
    "level_ground": "As soon as it is safe: off the slope, the crossing and the road, onto level "
    "ground, brakes on",
    "roadside": "Take the speed off gently, come to a stand at the side on level ground, and put "
    "chocks under the wheels",
    "bare_ground": "As soon as it is safe: onto bare or wet ground, away from crop, straw and "
    "buildings, brakes on",
    "yard_ground": "On level ground, the load lowered",
    "do_not_start": "It stands: leave it standing, and do not start it until the cause is found",
}
ENGINES: Mapping[str, str] = {
    "off_at_once": "then the engine off at once",
    "idle_then_off": "take the load off and let it idle for 2 to 3 minutes, then the engine off; "
    "off at once if there is steam, or level or pressure is lost",
    "keep_running_until_safe": "keep the engine running until the machine is held, for brakes, "
    "steering and drive need it",
}
UNTILS: Mapping[str, str] = {
    "cause_found": "until the cause is found and put right",
    "yard": "to the yard and no farther",
    "day_end": "until the end of the day",
    "workshop": "to the workshop and no farther",
    "workshop_if_above": "until its soot is burnt off, or above the maker's limit to the workshop",
    "service": "until the next service",
    "before_creep": "to the yard, before the machine limits itself to a creep",
    "before_derate": "until its power is limited further",
    "warm": "until the oil is warm",
    "thaw": "until the tank has had time to thaw",
    "gauge_again": "until the gauge must be read again",
    "open": "no end",
}
REASONS: Mapping[str, str] = {
    "memory_only": "Memory shows it, and nothing more: it was never seen active here, and a "
    "memory may be old, or of an earlier repair.",
    "floor": "Brakes, steering, load holding and the switches that keep people safe are never "
    "taken more lightly than this.",
    "interlock_standing": "The machine stood still all the time: the switch did its work.",
    "while_cranking": "It came only while the starter pulled the voltage down, and went again.",
    "lamp_test": "The lamp was lit only for some seconds with the engine standing, as in its own "
    "test.",
    "engine_stood": "The engine stood all the time that it was reported.",
    "engine_unknown": "Whether the engine ran is not known; it counts as running.",
    "red_lamp": "The red stop lamp was lit with the engine running.",
    "red_lamp_standing": "The red stop lamp stayed lit, with the engine standing.",
    "flashing_lamp": "A warning lamp flashed fast.",
    "amber_lamp": "The amber warning lamp was lit.",
    "mil": "The engine check lamp was lit.",
    "no_lamp": "It lit no lamp.",
    "own_code_by_lamps": "The code is the maker's own, and not public: it is judged by its lamps.",
    "filter_oil_unknown": "The oil's temperature is not known, so it counts as warm.",
    "water_and_power_lost": "Power was lost together with it: water has reached the injection.",
    "coolant_lost_too": "Coolant was lost as well, so there is no idling it cool.",
    "nothing_reported": "The last look was recent and complete, and nothing is reported.",
    "never_heard": "It has never been listened to.",
    "not_looked_at_since": "Not looked at since.",
    "recording_lossy": "The last recording has gaps, so its quiet means nothing.",
    "no_reports_heard": "No controller's fault reports were heard, so their quiet means nothing.",
    "cleared_not_tested": "Codes were cleared, and it has not been run long enough since: not "
    "tested yet.",
    "lamp_without_code": "A lamp is lit that no listed code explains.",
}
ALLOWS: Mapping[str, str] = {
    "light_work": "light work at less load",
    "road_home": "the way home without a heavy load",
    "yard_only": "the way to the yard only",
}
RELEASES: Mapping[str, str] = {
    "repair": "the fault behind it is put right, often after a key-off",
    "cool_down": "it has cooled down",
    "regenerate": "the filter is burnt free",
    "workshop_regeneration": "a workshop has burnt the filter free",
    "ash_service": "the ash is cleaned out of the filter",
    "def_fill": "the tank is filled from a sealed can",
    "def_repair": "the exhaust treatment is put right and has shown it for a while",
    "drain": "the water is drained off",
    "cause": "its cause is found and put right; no code explains it yet",
}
GATES: Mapping[str, str] = {
    "workshop_only": "No regeneration by yourself: workshop only.",
    "not_now": "No regeneration now.",
    "hold_back": "Hold the regeneration back where it stands",
    "road_load": "Half an hour of steady road load, or standing on bare ground with somebody by.",
    "not_needed": "No regeneration is needed yet.",
}
FIRST_SIGN = frozenset({"smell", "stalls"})

FaultWords = Callable[[str], str]
"""Names a fault in plain words."""


def advice_document(
    advice: Advice, wording: Wording = PLAIN_WORDING, fault_words: FaultWords = str
) -> AdviceShown:
    """Make the advice of one fault as documents hold it."""
    units = wording.units
    return {
        "class": advice.advice,
        "applies_now": advice.applies_now,
        "words": advice_words(advice, units),
        "engine": advice.engine,
        "watch": _watch(advice, units),
        "until": until_words(advice),
        "because": [reason_words(one, units, fault_words) for one in advice.because],
        "cautions": [caution_words(one, units) for one in advice.cautions],
        "as_of": to_iso(advice.as_of) if advice.as_of is not None else None,
    }


def advice_words(advice: Advice, units: Units = "metric") -> str:
    """Say what to do, in one sentence or two; a stop begins with where."""
    about = KIND_WORDS[advice.kind]
    if advice.advice == "stop_now":
        where = PLACES[advice.place or "level_ground"]
        if advice.engine is None:
            return f"{where}: {about}."
        return f"{where}; {ENGINES[advice.engine]}: {about}."
    if advice.advice == "note_only":
        return f"Note it; nothing to do now: {about}."
    watch = _watch(advice, units)
    seen = f" Watch {watch['words']}, and stop {watch['stop_at']}." if watch else ""
    if advice.advice == "finish_gently":
        start = f"{PLACES[advice.place]}. " if advice.place and advice.engine else ""
        return f"{start}Finish gently, with less load, {UNTILS[advice.until.key]}: {about}.{seen}"
    return f"Keep working, {UNTILS[advice.until.key]}: {about}.{seen}"


def until_words(advice: Advice) -> str | None:
    """Say when an advice ends; None: it needs no end."""
    if advice.until.key == "open":
        return None
    words = UNTILS[advice.until.key]
    if advice.until.hours is None:
        return words
    return f"{words}, at most {measure(advice.until.hours, 'engine hours', 'metric')}"


def _watch(advice: Advice, units: Units) -> WatchShown | None:
    if advice.watch is None:
        return None
    bound = advice.watch.bound
    words, _ = quantity_words(bound.quantity)
    if bound.quantity in FIRST_SIGN:
        return {"words": words, "stop_at": "at the first sign"}
    if not advice.watch.on_bus:
        words = f"{words} (by the dash, a gauge or by eye: this machine does not send it)"
    side = "above" if bound.op == ">" else "below"
    value = of_quantity(bound.quantity, bound.value, units)
    if bound.quantity == "inducement":
        value = f"level {bound.value:.0f}"
    stop = f"{side} {value}, or at the maker's own limit where that comes first"
    if advice.watch.volts_unknown:
        stop = f"{side} {value} (12 V machine) or {measure(2 * bound.value, 'V', units)} (24 V)"
    return {"words": words, "stop_at": stop}


def caution_words(key: str, units: Units = "metric") -> str:
    """Say a caution. Raises KeyError for a key that cautions.csv lacks."""
    return fill(cautions()[key].words, units)


def reason_words(reason: Reason, units: Units = "metric", fault_words: FaultWords = str) -> str:
    """Say a reason with its figures. Raises KeyError for a key without words."""
    figures = dict(reason.figures)
    if reason.key in REASONS:
        return REASONS[reason.key]
    if reason.key.startswith("kind_"):
        return f"{_upper(KIND_WORDS[reason.key.removeprefix('kind_')])}."
    if reason.key.startswith("reading_"):
        return _reading_words(reason, figures, units)
    if reason.key == "cold_filter":
        oil = measure(float(figures["oil_c"]), "degC", units)
        return f"Each time the oil was cold ({oil}): cold oil does not get through a clean filter."
    if reason.key == "warm_filter":
        oil = measure(float(figures["oil_c"]), "degC", units)
        return f"It came with warm oil ({oil}) too, so it counts."
    if reason.key == "def_frost":
        cold = measure(float(reason.figures[0][1]), "degC", units)
        return f"It was {cold}: DEF freezes at {measure(-11.0, 'degC', units)}."
    if reason.key == "inducement":
        return f"The machine limits itself, level {float(figures['level']):.0f} of 5."
    if reason.key == "power_limited":
        left = f": {float(figures['left_pct']):.0f} % is left" if "left_pct" in figures else ""
        return f"Power is limited{left}."
    if reason.key == "follows":
        return f"It follows from another fault: {fault_words(str(figures['root']))}."
    if reason.key == "fault_now":
        return f"{_upper(fault_words(str(figures['fault'])))}."
    if reason.key == "gauge_read":
        return (
            f"{figures['by']} read a mechanical gauge at {float(figures['hours']):,.1f} h; that "
            "calms it for 10 engine hours, and never while the red lamp is lit."
        )
    raise KeyError(reason.key)


def _reading_words(reason: Reason, figures: Mapping[str, float | str], units: Units) -> str:
    key = reason.key.removeprefix("reading_")
    bound = next(one.bound for one in dangerous_readings() if one.reading == key)
    words, unit = quantity_words(bound.quantity)
    value = measure(float(figures[bound.quantity]), unit, units)
    limit = measure(bound.value, unit, units)
    beyond = "over" if bound.op == ">" else "under"
    return f"{_upper(words)} was {value}, {beyond} {limit}, long enough to be no slip."


def machine_words(advice: MachineAdvice, units: Units = "metric") -> str:
    """Say in one line what a machine may do."""
    if advice.advice is None:
        return "Nothing can be said of today: look at it first."
    words = {
        "stop_now": "Leave it standing until the cause is found",
        "finish_gently": "May finish gently, and go no farther than the yard",
        "keep_working": "May go",
        "note_only": "May go",
    }[advice.advice]
    return f"{words}{'; not looked at since' if advice.not_looked_at_since else ''}."


def limp_words(limp: Limp, fault_words: FaultWords = str) -> str:
    """Say of a power limit how far it goes, what brings it, what lifts it, what it allows."""
    left = f" to {limp.left_pct:.0f} %" if limp.left_pct is not None else ""
    level = f", level {limp.level} of 5" if limp.level is not None else ""
    cause = f"because of {fault_words(limp.cause)}" if limp.cause else "no code says why"
    return (
        f"Power was limited{left}{level}: {cause}. It is lifted when {RELEASES[limp.release]}; "
        f"meanwhile it allows {ALLOWS[limp.allows]}."
    )


def regeneration_words(gate: RegenerationGate, units: Units = "metric") -> str:
    """Say what may be done about soot, with its cautions."""
    words = GATES[gate.may]
    if gate.may == "hold_back":
        hours = measure(round(gate.hours or 0.0, 1), "engine hours", units)
        words = f"{words}, for {hours} at most; then bare ground or the road."
    return " ".join((words, *(caution_words(one, units) for one in gate.cautions)))


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]

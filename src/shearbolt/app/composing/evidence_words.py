"""What speaks for and against a cause, as sentences."""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.app.composing.check_words import check_title, outcome_words
from shearbolt.app.documents.asking import Units
from shearbolt.dictionary.checks import checks
from shearbolt.dictionary.plausibility import finding_words
from shearbolt.reasoning.odds import Evidence, Unused

FACTS: Mapping[str, str] = {
    "end_of_scale": "the reading stood at the electrical end of its scale when it began",
    "step_to_end": "the reading went from normal to the end of its scale in one step",
    "comes_and_goes": "the reading comes and goes within seconds",
    "pulses_drop_out": "the pulses drop out for moments while the shaft turns",
    "jumps_in_range": "the reading jumps faster than what it measures can",
    "in_scale": "the reading stayed inside its scale",
    "came_gradually": "the reading came to the limit step by step",
    "noisy": "the reading is far more restless than it used to be",
    "twins_step": "other sensors of the same control unit went in the same instant",
    "twins_coded": "other sensors of the same supply set circuit codes together with it",
    "twins_sound": "other sensors of the same control unit went on as before",
    "soak_differs": "after a night's standing it differs from the other temperatures",
    "soak_agrees": "after a night's standing it agrees with the other temperatures",
    "not_zero_at_rest": "it does not come to nothing with the engine stopped",
    "zero_at_rest": "it comes to nothing with the engine stopped, as it should",
    "frozen": "it told exactly the same for minutes while its neighbours moved",
    "switch_wrong_at_rest": "the switch is closed while nothing flows",
    "chart_moved": "over the visits it has moved from what it used to tell",
    "range_shifted": "it runs smoothly over another range than before",
    "counted_ratio_off": "it tells too much or too little by a fixed share",
    "same_story": "what goes with it moved too",
    "neighbours_calm": "what would have to move with it stayed as it always is",
    "redundant_agrees": "a second sensor of the same agrees",
    "redundant_differs": "a second sensor of the same disagrees",
    "oil_follows": "oil pressure follows speed and temperature as it should",
    "oil_low_hot_idle": "oil pressure is low at hot idle only, and enough at speed",
    "low_cold_too": "oil pressure is low with cold, thick oil as well",
    "enough_cold": "oil pressure is right with cold oil",
    "only_while_cold": "it is there with cold oil and gone with warm oil",
    "warm_too": "it comes with warm oil as well",
    "heavy_work": "it comes under heavy work",
    "light_work": "it comes while nothing drives it there",
    "charging_bad": "the voltage was out of bounds with the engine running",
    "charging_good": "the system's voltage was sound when it began",
    "one_unit_low": "two control units read different voltages from one battery",
    "shaft_drops_out": "the speed is nothing for moments while the machine cannot have stopped",
    "reductant_bad": "the DEF itself was judged bad",
    "drop_without_flow": "the pressure drop does not follow the flow",
    "drop_offset": "the pressure drop is too much by the same at every flow",
    "drop_missing": "there is no pressure drop at full flow",
    "drop_follows_flow": "the pressure drop follows the flow as a filter's does",
    "cranking_all_low": "it begins while the starter turns, with the voltage far down",
    "cranking_good": "it begins while the starter turns, though the voltage holds",
    "cranking_only": "it begins only while the starter turns",
    "only_running": "it begins with the engine running and the voltage sound",
    "low_while_running": "the voltage was low in that second, with the engine running",
    "many_units": "three control units or more told codes within ten seconds",
    "jump_started": "it was jump-started, or the battery was off",
    "power_lost": "the control unit fell silent and came back with a fresh claim",
    "bus_cut": "the control unit fell silent and came back without a claim",
    "one_unit_dark": "one control unit alone fell silent",
    "several_dark": "several control units fell silent together",
    "error_frames": "error frames rose in the same seconds",
    "washed": "it was washed or rained on in the days before",
    "wired_on": "somebody worked on its electrics in the days before",
    "rodents": "rodents were seen",
    "welded": "something was welded on in the days before",
    "shaken": "it follows rough ground, steering or a moving part",
    "operated": "it follows what the driver operates",
    "never_operated": "it never came while the driver operated it",
    "interlock_at_rest": "the machine stood still each time",
    "revved_cold": "it was revved up with cold oil",
    "one_driver": "it comes with one driver and not with another",
    "delivered": "fuel or DEF was delivered shortly before",
    "opened_before": "the same system was opened shortly before",
    "software_before": "software was changed shortly before",
    "kept_from_burning": "regenerations were kept from starting or broken off",
    "starts_not_finished": "regenerations start and do not finish",
    "nothing_forbids": "nothing kept regenerations from running",
    "burns_too_cold": "regenerations run, but never hot enough",
    "clean_yet_high": "the drop stays high after a regeneration that finished",
    "fills_fast": "soot comes faster than it used to",
    "ash_told": "the machine itself reckons with much ash",
    "sibling_circuit": "another code of the same circuit speaks of the wire or the end of scale",
    "sibling_device": "another code says that the device itself is bad",
    "sibling_drifted": "another code says that the reading has drifted",
    "sibling_erratic": "another code says that the reading jumps",
    "sibling_calibration": "another code says that it is not taught",
}
"""What was seen, by the row of evidence_ratios.csv."""
DONE: Mapping[str, str] = {
    "sensor_changed": "the sensor was replaced",
    "wire_mended": "wire or plug was mended",
    "supply_mended": "the shared supply was mended",
    "battery_changed": "battery or charging was mended",
    "bus_mended": "the bus was mended",
    "real_mended": "what the code speaks of was mended",
    "taught": "it was taught again",
    "driver_told": "the driver was told",
}
AFTERWARDS: Mapping[str, str] = {
    "unchanged": "and it came back as before",
    "held": "and it has not come back since",
}
WHY_NOT: Mapping[str, str] = {
    "reading_not_kept": "this machine's reading for it is not kept",
    "reading_not_told": "the machine does not send the reading that it speaks of",
    "start_not_seen": "nobody was listening when it began",
    "no_setting_found": "when it starts is not known yet",
    "speed_not_told": "the machine does not send its speed",
    "oil_temperature_not_told": "no oil temperature is sent",
    "pedals_not_told": "the pedals are not on the bus",
    "too_little_own_running": "too little running of this machine is recorded",
    "soot_not_told": "soot and regenerations are not on the bus",
    "reasons_not_told": "why regenerations are refused is not on the bus",
    "soot_never_asked": "the filter never asked to be burnt free while recorded",
    "no_baseline": "there are no earlier visits to compare with",
    "no_twin_told": "no second sensor of that control unit is told",
    "voltage_not_told": "no voltage was told at that moment",
    "silence_or_return_not_heard": "the silence or the return was not heard",
    "not_kept_with_the_visit": "the recording does not keep it",
    "drivers_not_told": "who drove was not written down",
    "not_done": "nobody has done it yet",
}


def evidence_words(one: Evidence, units: Units = "metric") -> str:
    """Say one piece of evidence in a sentence. Raises KeyError for a key without words."""
    values = dict(one.values)
    if one.key.startswith("check."):
        _, check, outcome = one.key.split(".", 2)
        if check not in checks():
            return f"{check}: {outcome}."
        return f"{check_title(check)}: {outcome_words(check, outcome, units)}."
    words = _fact(one.key)
    count = ""
    if "starts" in values and "of" in values and float(values["of"]) > 1:
        count = f" ({float(values['starts']):.0f} of {float(values['of']):.0f} times)"
    elif "times" in values and float(values["times"]) > 1:
        count = f" ({float(values['times']):.0f} times)"
    return f"{_upper(words)}{count}."


def _fact(key: str) -> str:
    if key in FACTS:
        return FACTS[key]
    act, _, after = key.rpartition("_")
    return f"{DONE[act]}, {AFTERWARDS[after]}"


def unused_words(one: Unused) -> str:
    """Say what could not be judged, and why. Raises KeyError for evidence without words."""
    why = WHY_NOT.get(one.why) or finding_words().get(one.why, "the record does not tell it")
    why = why.removeprefix("not possible: ")
    return f"Not known whether {_fact(one.key)}: {why}." if one.key in FACTS else f"{_upper(why)}."


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]

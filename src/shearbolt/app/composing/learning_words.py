"""Guided rounds and experiments in sentences: what to do, what can hurt, what came of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.app.composing.advice_words import caution_words
from shearbolt.app.composing.check_words import OWN_CAUTIONS as CHECK_CAUTIONS
from shearbolt.app.composing.measures import measure, quantity_words
from shearbolt.app.documents.asking import Units
from shearbolt.reasoning.learning import Difference

OWN_CAUTIONS: Mapping[str, str] = {
    "engine_off_key_on": "Engine off, key on: nobody touches the starter meanwhile.",
    "from_the_seat": "Only from the seat, never from beside the machine.",
    "level_chocked": "On level ground, chocks under the wheels on both sides, before the park "
    "lever is released.",
    "lower_all": "Everything that is raised goes to the ground first: nobody under raised loads.",
    "nobody_near": "Nobody between the wheels, under the machine, or on its steps.",
    "open_ground": "On open, firm ground without people or animals; on the road by its rules.",
    "park_brake": "Park brake on, and the machine seen to stand.",
    "pto_nobody_near": "No shaft or implement on the PTO, or its guards on and nobody near: "
    "it turns at once.",
    "steering_crush": "Nobody between wheel and frame, or at the joint: it crushes.",
}
"""Cautions of rounds and experiments beside those of cautions.csv and of checks."""
STEPS: Mapping[str, tuple[str, str]] = {
    # what to do, and how the step is called in a sentence
    "cold_key_on": (
        "With a cold engine, from the seat: turn the key on, do not start yet, and wait.",
        "with the key on, cold",
    ),
    "start": ("Start the engine, in neutral, from the seat.", "while starting"),
    "idle": ("Let it idle, cold, machine standing, PTO off.", "at cold idle"),
    "high_idle": (
        "Bring the engine to its highest speed without load, and hold it. On bare ground, never "
        "over dry crop or straw.",
        "at high idle",
    ),
    "hydraulics": (
        "Standing, lift and lower the empty hitch fully, several times.",
        "while lifting",
    ),
    "pto": ("Standing, switch the PTO on and leave it on.", "with the PTO on"),
    "drive": ("Drive a stretch at a steady, easy speed.", "while driving"),
    "hot_idle": (
        "When the coolant has reached 75 °C: let it idle, machine standing, PTO off.",
        "at hot idle",
    ),
    "key_off": (
        "Lower everything, turn the engine off, and leave the bus plugged in.",
        "after stopping",
    ),
}
AMISS: Mapping[str, str] = {
    "not_rising": "The instants of the prompts do not follow each other.",
    "not_alternating": "The prompts do not go on and off in turn.",
    "too_few": "There are too few prompts: each state is needed three times at least, better six.",
    "too_short": "The states were held for less than 2 s each: too short to tell.",
    "too_regular": "The prompts came at equal steps: something that blinks by itself could keep "
    "step with them. Vary the time that each state is held.",
    "nothing_heard": "No group that nothing decodes was heard during the prompts.",
    "cannot_settle": "So few prompts cannot settle anything, whatever was heard: do it six times.",
}


def guided_caution_words(key: str, units: Units = "metric") -> str:
    """Say a caution of a round or experiment. Raises KeyError for a key without words."""
    for own in (OWN_CAUTIONS, CHECK_CAUTIONS):
        if key in own:
            return own[key]
    return caution_words(key, units)


def cautions_said(keys: Sequence[str], units: Units = "metric") -> list[str]:
    """Say several cautions."""
    return [guided_caution_words(one, units) for one in keys]


def step_words(step: str, units: Units = "metric") -> str:
    """Say what to do in a step of the round. Raises KeyError for an unknown step."""
    warm = measure(75.0, "degC", units)
    return STEPS[step][0].replace("75 °C", warm)


def difference_words(one: Difference, units: Units) -> str:
    """Say how a reading differs from the baseline: 'Engine oil pressure at hot idle: 40 kPa below
    this machine's own baseline of 200 kPa.'
    """
    name, unit = quantity_words(one.quantity)
    if one.verdict == "not_compared":
        other = quantity_words(one.unlike or one.quantity)[0]
        return f"{_upper(name)} {STEPS[one.step][1]}: not compared, {other} was not as it was then."
    return (
        f"{_upper(name)} {STEPS[one.step][1]}: {_gap(one.difference, one.baseline, unit, units)}."
    )


def finding_of_baseline(
    key: str, difference: float, baseline: float, unit: str, units: Units
) -> str:
    """Say the same of a finding of plausibility (key 'hot_idle_below'), without the reading's name.

    Raises KeyError for a key that is none.
    """
    step, _, side = key.rpartition("_")
    signed = -abs(difference) if side == "below" else abs(difference)
    return f"{STEPS[step][1]} {_gap(signed, baseline, unit, units)}"


def _gap(difference: float, baseline: float, unit: str, units: Units) -> str:
    side = "below" if difference < 0 else "above"
    size = measure(abs(difference), "K" if unit == "degC" else unit, units)
    return f"{size} {side} this machine's own baseline of {measure(baseline, unit, units)}"


def place_words(pgn: int, destination: int | None, address: int, start_bit: int, bits: int) -> str:
    """Say where a place is: 'byte 4, bit 3 of group 65531 from address 71'."""
    byte, bit = start_bit // 8 + 1, start_bit % 8 + 1
    if bits == 1:
        where = f"byte {byte}, bit {bit}"
    elif bits == 8 and bit == 1:
        where = f"byte {byte}"
    else:
        where = f"{bits} bits from byte {byte}, bit {bit}"
    to = "" if destination in (None, 255) else f" to address {destination}"
    return f"{where} of group {pgn} from address {address}{to}"


def learnt_words(what: str, where: str, state: str, sessions: int, inverted: bool | None) -> str:
    """Say what is known of a learnt signal."""
    way = " (0 while it is so)" if inverted else ""
    told = f"{_upper(where)} goes with '{what}'{way}"
    if state == "learnt":
        return f"{told}: learnt, found in {sessions} sessions. It may raise care, never lower it."
    if state == "candidate":
        return f"{told}: a candidate, found once. Do it again on another day to learn it."
    return f"{told} no longer: dropped, it did not come again."


def outcome_words(
    amiss: str | None, found: int, looked_at: int, *, counted: bool, again: bool
) -> list[str]:
    """Say what came of a session."""
    if amiss is not None:
        return [AMISS[amiss]]
    told: list[str] = []
    if not found:
        told.append(
            f"Nothing among {looked_at} bits and numbers goes with it. Either this machine does "
            "not send it, or a prompt was missed: do it once more."
        )
    if again:
        told.append("This visit was counted for it before: another session has to confirm it.")
    elif counted and found:
        told.append("A second session, on another visit, has to confirm what is a candidate.")
    return told


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]

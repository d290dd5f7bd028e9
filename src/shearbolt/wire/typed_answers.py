"""Engine hours and the three answers beside a note, as people type them. No I/O.

The answers: doing what, hot or cold, how long after the start.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, NoReturn

from shearbolt.errors import NoteNotUnderstood
from shearbolt.wire.typed_codes import plain_text, shown

Heat = Literal["cold", "warm", "hot"]

HOURS_TOP = 200_000.0
"""No engine meter shows more."""
MINUTES_TOP = 7 * 24 * 60.0
"""A longer run without a stop is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class TypedAnswers:
    """What a person said of the moment of a fault; each None where nothing was said."""

    doing: str | None
    """Doing what, in their own words."""
    heat: Heat | None
    """Engine hot, warm or cold."""
    minutes_after_start: float | None
    """Minutes from the start of the engine."""


_NUMBER = r"[0-9][0-9 .,']*"
_HOURS = re.compile(
    rf"(?:at |hours?[: ]+|h[: ]+|meter[: ]+)?({_NUMBER})\s*(?:engine )?(?:hours?|hrs?|h)?"
    r"(?: ?([0-9]{1,2}) ?(?:min|minutes?|m))?"
)
_GROUPED = re.compile(r"[0-9]{1,3}(?:([ .,'])[0-9]{3})(?:\1[0-9]{3})*(?:[.,][0-9]{1,2})?")
_DECIMAL = re.compile(r"[0-9]+(?:[.,][0-9]{1,2})?")

_HEAT_WORDS: dict[Heat, str] = {
    "cold": r"stone[ -]cold|cold|overnight|over night|in the morning|first (?:start|thing)|not warm"
    r"|not yet warm|not warmed up",
    "warm": r"lukewarm|luke[ -]warm|half[ -]warm|warming(?: up)?|warm",
    "hot": r"at (?:working |operating )?temperature|up to temp(?:erature)?|working temperature"
    r"|warmed[ -]up|fully warm|hot",
}
_HEAT = {heat: re.compile(rf"\b(?:{words})\b") for heat, words in _HEAT_WORDS.items()}
_NEGATED_HEAT = re.compile(r"\b(?:not|never|isn't|wasn't)(?: yet| really| very)? (?:hot|cold)\b")

_AT_ONCE = re.compile(
    r"(?:straight|right) ?away|immediate(?:ly)?|at once|instant(?:ly)?|(?:right|just|directly) "
    r"(?:after|at|on) (?:the )?start(?:ing|up)?|(?:at|on|during) (?:the )?start(?:ing|up)?"
    r"|while (?:starting|cranking)|(?:at|on) (?:key[ -]?on|cranking)"
)
_COUNTED = {
    **{"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8},
    **{"nine": 9, "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14},
    **{"fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19},
    **{"twenty": 20, "thirty": 30, "forty": 40, "forty-five": 45, "fifty": 50, "ninety": 90},
}
_PART = re.compile(
    r"(?P<half>half an|half a|a half|half|(?:a )?quarter of an|three quarters of an)"
    r"|(?P<number>[0-9]{1,6}(?:[.,][0-9]{1,3})?)|(?P<word>a couple of|[a-z\-]+)"
)
_AND_A_HALF = re.compile(r"and a (half|quarter) ")
_UNIT = re.compile(
    r"(?:(?P<h>hours?|hrs?|h)|(?P<m>minutes?|mins?|min|m|')|(?P<s>seconds?|secs?|sec|s))(?![a-z])"
)
_CLOCK = re.compile(r"([0-9]{1,2}):([0-5][0-9])(?: ?h)?")


def read_hours(typed: str) -> float:
    """Read an engine-hour reading in hours: '5910.5 h', '5910,5', '5,910.5', '5 910 hours'.

    A decimal comma is accepted. Raises NoteNotUnderstood when it is no such reading, out of 0 to
    200,000 h, or could mean two different readings ('5.910').
    """
    text = plain_text(typed).rstrip(" .")
    hit = _HOURS.fullmatch(text)
    digits = hit[1].strip() if hit else ""
    value: float | None = None
    if hit and (grouped := _GROUPED.fullmatch(digits)):
        if grouped[1] == "." and digits.count(".") == 1 and "," not in digits:
            whole, part = digits.split(".")
            _refuse_hours(typed, f"it may be {whole}{part} hours or {whole} hours and a part")
        value = float(_ungrouped(digits, grouped[1]))
    elif hit and _DECIMAL.fullmatch(digits):
        value = float(digits.replace(",", "."))
    if value is None or hit is None:
        _refuse_hours(typed, "no engine-hour reading was understood")
    minutes = int(hit[2] or 0)
    if minutes >= 60:
        _refuse_hours(typed, f"understood {value:g} hours, but {minutes} minutes are over an hour")
    value += minutes / 60
    if value > HOURS_TOP:
        _refuse_hours(typed, f"understood {value:g} hours, more than any meter shows")
    return value


def _ungrouped(digits: str, mark: str) -> str:
    """Take the marks of thousands out and leave a decimal point."""
    whole, comma, part = digits, "", ""
    tail = re.search(r"[.,]([0-9]{1,2})$", digits)
    if tail:
        whole, comma, part = digits[: tail.start()], ".", tail[1]
    return whole.replace(mark, "") + comma + part


def _refuse_hours(typed: str, understood: str) -> NoReturn:
    raise NoteNotUnderstood(
        f"{shown(typed)}: {understood}. Write it like '5910.5 h', '5910,5' or '5910'."
    )


def read_heat(typed: str) -> Heat:
    """Read 'hot', 'warm' or 'cold'. Raises NoteNotUnderstood when it says none or several."""
    text = plain_text(typed).replace("’", "'")
    found: set[Heat] = set()
    if not _NEGATED_HEAT.search(text):
        for heat in ("cold", "hot", "warm"):
            pattern = _HEAT[heat]
            if pattern.search(text):
                found.add(heat)
                text = pattern.sub(" ", text)
    if len(found) != 1:
        what = " and ".join(sorted(found)) if found else "neither hot, warm nor cold"
        raise NoteNotUnderstood(
            f"{shown(typed)}: understood {what}. Write it like 'hot', 'warm' or 'cold'."
        )
    return found.pop()


def read_minutes(typed: str) -> float:
    """Read a time since the start of the engine, in minutes.

    '10 min', 'ten minutes', '1 h', 'half an hour', '1:20', 'straight away'; a bare number is
    minutes. Raises NoteNotUnderstood when it is no such time or longer than a week.
    """
    text = re.sub(
        r"^(?:after|about|around|ca\.?|roughly|some|approx\.?|~)+ ?", "", plain_text(typed)
    )
    text = re.sub(r"^(?:about|around|ca\.?|roughly|some|approx\.?|~) ?", "", text)
    text = re.sub(
        r"[ ,]*\b(?:after|from|since|of)(?: the)?(?: (?:start(?:ing|up)?|running|driving|work)"
        r"(?: up)?)?$",
        "",
        text,
    ).rstrip(" .!")
    if _AT_ONCE.fullmatch(text) or _AT_ONCE.fullmatch(plain_text(typed).rstrip(" .!")):
        return 0.0
    if clock := _CLOCK.fullmatch(text):
        return _checked_minutes(typed, int(clock[1]) * 60.0 + int(clock[2]))
    return _checked_minutes(typed, _sum_of_parts(typed, text))


def _sum_of_parts(typed: str, text: str) -> float:
    """Add up 'number unit' pairs; a number without a unit counts minutes and must be the last."""
    total, place, seen = 0.0, 0, False
    while place < len(text):
        part = _PART.match(text, place)
        number = _amount(part) if part else None
        if part is None or number is None:
            _refuse_minutes(typed)
        place = part.end()
        while text[place : place + 1] == " ":
            place += 1
        if more := _AND_A_HALF.match(text, place):
            number += 0.5 if more[1] == "half" else 0.25
            place = more.end()
        unit = _UNIT.match(text, place)
        if unit is None:
            if place < len(text) or part["half"]:
                _refuse_minutes(typed)
            total += number
        else:
            place = unit.end()
            total += number * (60.0 if unit["h"] else 1.0 if unit["m"] else 1 / 60)
        seen = True
        link = re.compile(r"[ ,]*(?:and )?").match(text, place)
        place = link.end() if link else place
    if not seen:
        _refuse_minutes(typed)
    return total


def _amount(part: re.Match[str]) -> float | None:
    if digits := part["number"]:
        return float(digits.replace(",", "."))
    if part["half"]:
        return 0.25 if "quarter of" in part["half"] else 0.75 if "three" in part["half"] else 0.5
    word = part["word"]
    if word in ("a", "an"):
        return 1.0
    if word == "a couple of":
        return 2.0
    return float(_COUNTED[word]) if word in _COUNTED else None


def _checked_minutes(typed: str, minutes: float) -> float:
    if minutes > MINUTES_TOP:
        _refuse_minutes(typed)
    return minutes


def _refuse_minutes(typed: str) -> NoReturn:
    raise NoteNotUnderstood(
        f"{shown(typed)}: no time since the start was understood. Write it like '10 min', '1 h' "
        "or 'straight away'."
    )


def read_answers(
    doing: str | None = None,
    hot_or_cold: str | None = None,
    how_long_after_start: str | None = None,
) -> TypedAnswers:
    """Read the three answers; an empty or missing one is None.

    Raises NoteNotUnderstood for the first that is not understood.
    """
    words = " ".join(doing.split()) if doing else ""
    return TypedAnswers(
        doing=words or None,
        heat=read_heat(hot_or_cold) if hot_or_cold and hot_or_cold.strip() else None,
        minutes_after_start=(
            read_minutes(how_long_after_start)
            if how_long_after_start and how_long_after_start.strip()
            else None
        ),
    )

"""Numbers, times, codes and odds as people say them. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from shearbolt.app.composing.measures import measure
from shearbolt.app.documents import Spell
from shearbolt.web import words
from shearbolt.web.look import Look

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MIDNIGHT = "T00:00:00.000000Z"
"""How a time ends that stands for a whole day."""
SENTENCES = re.compile(r"(?<=[.!?])\s+(?=[A-Z])")
"""What lies between two sentences."""
_OLD_DAYS = 14
"""After so many days a look says little of today (reference sheet 'the field', section 4)."""


def many(count: int, one: str, several: str | None = None) -> str:
    """Count things: '1 fault', '14 faults'."""
    return f"{count:,} {one if count == 1 else several or one + 's'}"


def reading(value: float | None, unit: str, look: Look) -> str:
    """Write a reading in the units that the person wants."""
    if value is None:
        return "no value"
    if unit in ("count", "ASCII"):
        unit = ""
    return measure(value, unit, look.units)


def hours(value: float | None) -> str:
    """Write an engine-hour reading."""
    return "hours not known" if value is None else f"{value:,.1f} h"


def hour_span(first: float | None, last: float | None) -> str:
    """Write the engine hours of a look; '' where they are not known."""
    known = [one for one in (first, last) if one is not None]
    if not known:
        return ""
    if f"{known[0]:.1f}" == f"{known[-1]:.1f}":
        return hours(known[0])
    return f"{known[0]:,.1f} to {known[-1]:,.1f} h"


def span(seconds: float) -> str:
    """Write a length of time in its two largest units: '45 s', '3 min 34 s', '2 h 5 min'."""
    if seconds < 10:
        return f"{seconds:.1f} s"
    if seconds < 60:
        return f"{seconds:.0f} s"
    if seconds < 3600:
        return _two(round(seconds), 60, "min", "s")
    if seconds < 48 * 3600:
        return _two(round(seconds / 60), 60, "h", "min")
    return _two(round(seconds / 3600), 24, "days", "h")


def _two(count: int, per: int, big: str, small: str) -> str:
    return f"{count // per:,} {big}" + (f" {count % per} {small}" if count % per else "")


def moment(time: str | None, look: Look) -> datetime | None:
    """Read a document's time into the zone of the page; None where there is none to show.

    Midnight UTC stands for a day and stays that day in every zone.
    """
    if time is None:
        return None
    try:
        read = datetime.fromisoformat(time)
        return read if time.endswith(MIDNIGHT) else read.astimezone(look.now.tzinfo)
    except (ValueError, OverflowError, OSError):
        return None


def day(local: datetime, look: Look) -> str:
    """Write a day: 'Tue 14 May', with the year where it is another one."""
    year = "" if local.year == look.now.year else f" {local.year}"
    name = f"{_DAYS[local.weekday()]} " if not year else ""
    return f"{name}{local.day} {_MONTHS[local.month - 1]}{year}"


def when(time: str | None, look: Look, at_s: float | None = None) -> str:
    """Write when something was: the day, and the time where it is known."""
    local = moment(time, look)
    if local is None:
        if at_s is not None:
            return f"{span(abs(at_s))} {'before' if at_s < 0 else 'after'} the recording began"
        return time or "time not known"
    assert time is not None
    return day(local, look) + ("" if time.endswith(MIDNIGHT) else f", {local:%H:%M}")


def stretch(spell: Spell, look: Look) -> str:
    """Write when a spell was and how long it took."""
    told = when(spell["start"], look, spell["start_at_s"])
    if spell["start_at_s"] is None or spell["end_at_s"] is None:
        return told
    return f"{told}, for {span(max(0.0, spell['end_at_s'] - spell['start_at_s']))}"


def days_ago(time: str | None, look: Look) -> int | None:
    """Count the days since; None where the time is not known."""
    local = moment(time, look)
    return None if local is None else (look.now.date() - local.date()).days


def ago(time: str | None, look: Look) -> str:
    """Say how long ago something was."""
    days = days_ago(time, look)
    if days is None:
        return ""
    if days < 0:
        return "by its own time in the future"
    if days < 2:
        return ("today", "yesterday")[days]
    if days < 21:
        return f"{days} days ago"
    if days < 70:
        return f"{round(days / 7)} weeks ago"
    if days < 700:
        return f"{round(days / 30.4)} months ago"
    return f"{round(days / 365.25)} years ago"


def old(time: str | None, look: Look) -> bool:
    """Tell whether a look is too long ago to say much of today."""
    days = days_ago(time, look)
    return days is None or days > _OLD_DAYS


def code(spn: int | None, fmi: int | None, text: str | None, candidates: Sequence[int] = ()) -> str:
    """Write a code as its numbers: 'SPN 110 FMI 0', 'P0217'; '' where there is none."""
    parts = [text] if text else []
    if len(candidates) > 1:
        either = " or ".join(str(one) for one in candidates)
        parts.append(f"SPN {either} (which one is not settled)")
    elif spn is not None:
        parts.append(f"SPN {spn}")
    if fmi is not None:
        parts.append(f"FMI {fmi}")
    return " ".join(parts)


def lamps_lit(lamps: Mapping[str, object]) -> list[str]:
    """Name the lamps that are lit: 'red stop lamp flashing fast'."""
    return [
        f"{name} {words.LAMP_STATES[str(lamps[key])]}"
        for key, name in words.LAMPS.items()
        if lamps.get(key) in words.LAMP_STATES
    ]


def odds(probability: float) -> str:
    """Say a probability as people do: 'about 4 in 5'."""
    if probability >= 0.97:
        return "almost surely"
    if probability < 0.03:
        return "hardly"
    sizes = ((0.05, "1 in 20"), (0.1, "1 in 10"), (0.2, "1 in 5"), (0.25, "1 in 4"),
             (0.333, "1 in 3"), (0.4, "2 in 5"), (0.5, "1 in 2"), (0.6, "3 in 5"),
             (0.667, "2 in 3"), (0.75, "3 in 4"), (0.8, "4 in 5"), (0.9, "9 in 10"),
             (0.95, "19 in 20"))  # fmt: skip
    return "about " + min(sizes, key=lambda one: abs(one[0] - probability))[1]


def sentence(text: str) -> str:
    """Begin with a capital letter and end with a stop."""
    text = text.strip()
    if not text:
        return text
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?" else text + "."


def first_sentence(text: str) -> str:
    """Give the first sentence alone."""
    return SENTENCES.split(sentence(text))[0]


def file_name(path: str | None) -> str:
    """Give the last part of a path, as any system writes it."""
    return (path or "").replace("\\", "/").rsplit("/", 1)[-1]


def for_page(text: str) -> str:
    """Take the hints for the command line out of a sentence."""
    kept = [one for one in text.replace("; ", ". ").split(". ") if "--" not in one]
    return sentence(". ".join(kept)) if kept else "That was not understood."


def utc_now() -> datetime:
    """Tell the moment now in this computer's zone."""
    return datetime.now(UTC).astimezone()

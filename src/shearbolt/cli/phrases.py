"""Numbers, times, units, states and codes in words. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from shearbolt.cli.look import Look

_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
_US: Mapping[str, tuple[float, float, str]] = {
    # unit: (factor, offset, unit in the United States); NIST SP 811 appendix B, from memory
    "degC": (1.8, 32.0, "°F"),
    "kPa": (0.1450377, 0.0, "psi"),
    "MPa": (145.0377, 0.0, "psi"),
    "km/h": (0.6213712, 0.0, "mph"),
    "km": (0.6213712, 0.0, "mi"),
    "m": (3.280840, 0.0, "ft"),
    "mm": (0.03937008, 0.0, "in"),
    "L": (0.2641721, 0.0, "gal"),
    "L/h": (0.2641721, 0.0, "gal/h"),
    "km/L": (2.352146, 0.0, "mpg"),
    "kg/h": (2.204623, 0.0, "lb/h"),
    "Nm": (0.7375621, 0.0, "lb ft"),
    "N": (0.2248089, 0.0, "lbf"),
    "kW": (1.341022, 0.0, "hp"),
}
_SHOWN = {"degC": "°C", "deg": "°", "-": "", "count": "", "state": "", "ASCII": ""}
MIDNIGHT = "T00:00:00.000000Z"
"""How the time of a note ends of which only the day is known."""
STATES = {
    "active": "active",
    "previously_active": "was active before",
    "pending": "pending",
    "permanent": "permanent",
    "cleared": "cleared",
    "unknown": "state not known",
}
ADVICE = {
    "stop_now": "Stop now",
    "finish_gently": "Finish gently",
    "keep_working": "Keep working",
    "note_only": "Note only",
}
LAMPS = {
    "mil": "engine check lamp",
    "red_stop": "red stop lamp",
    "amber_warning": "amber warning lamp",
    "protect": "protect lamp",
}
LAMP_STATES = {"on": "on", "slow": "flashing slowly", "fast": "flashing fast"}
ENDED = {
    "healed": "healed",
    "key_off": "key off",
    "silence": "the controller fell silent",
    "recording_end": "the recording ended",
    "unknown": "how it ended is not known",
}
MANNERS = {
    "always": "sends DM1 always",
    "while_active": "sends DM1 only while a fault is active",
    "at_key_on": "sends DM1 once at key-on",
    "never_heard": "never heard to send DM1",
    "unknown": "DM1 manner not known",
}
QUALITY = {
    "complete": "complete",
    "lossy": "frames were lost",
    "filtered": "filtered by the recorder",
    "unknown": "completeness not known",
}
CAUSES = {
    "real_condition": "it is truly so",
    "sensor": "sensor",
    "wiring": "wiring",
    "shared_supply": "shared supply",
    "low_voltage": "low voltage",
    "network": "network",
    "operator": "manner of use",
    "calibration": "calibration",
    "inhibited_regeneration": "regeneration kept from happening",
    "ash": "ash",
}


def many(count: int, one: str, several: str | None = None) -> str:
    """Count things: '1 fault', '14 faults', '1,905 frames'."""
    return f"{count:,} {one if count == 1 else several or one + 's'}"


def number(value: float | None, digits: int = 4) -> str:
    """Write a number with about `digits` significant digits; '–' where there is none."""
    if value is None:
        return "–"
    if value == int(value) and abs(value) < 1e15:
        return f"{int(value):,}"
    whole = len(str(int(abs(value)))) if abs(value) >= 1 else 0
    text = f"{value:,.{max(0, digits - whole)}f}" if abs(value) >= 0.001 else f"{value:.2g}"
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


def reading(value: float | None, unit: str | None, look: Look) -> str:
    """Write a physical value with its unit, in the units that the reader wants."""
    unit = unit or ""
    if value is not None and look.units == "us" and unit in _US:
        factor, offset, shown = _US[unit]
        # Four digits are as much as any of the factors' sources give a reader.
        return f"{number(value * factor + offset)} {shown}"
    shown = _SHOWN.get(unit, unit)
    return f"{number(value)} {shown}".rstrip()


def hours(value: float | None) -> str:
    """Write an engine-hour reading: '5,910.0 h'."""
    return "hours not known" if value is None else f"{value:,.1f} h"


def hour_span(start: float | None, end: float | None) -> str:
    """Write the engine hours of a visit."""
    if start is None and end is None:
        return "engine hours not known"
    first = start if start is not None else end
    last = end if end is not None else start
    assert first is not None
    assert last is not None
    if f"{first:.1f}" == f"{last:.1f}":
        return hours(first)
    return f"{first:,.1f} to {last:,.1f} h"


def seconds(value: float) -> str:
    """Write a length of time: '12.3 s', '4 min 10 s', '2 h 5 min', '3 days 2 h'."""
    sign = "-" if value < 0 else ""
    value = abs(value)
    if value < 60:
        return f"{sign}{number(value, 3)} s"
    whole = round(value)
    if whole < 3600:
        return f"{sign}{_two(whole // 60, 'min', whole % 60, 's')}"
    minutes = round(value / 60)
    if minutes < 48 * 60:
        return f"{sign}{_two(minutes // 60, 'h', minutes % 60, 'min')}"
    whole_hours = round(value / 3600)
    return f"{sign}{_two(whole_hours // 24, 'days', whole_hours % 24, 'h')}"


def _two(big: int, big_unit: str, small: int, small_unit: str) -> str:
    return f"{big:,} {big_unit}" + (f" {small} {small_unit}" if small else "")


def moment(text: str, look: Look) -> datetime | None:
    """Read a document's time into the reader's zone; None where the calendar cannot hold it."""
    try:
        return datetime.fromisoformat(text).astimezone(look.zone)
    except (ValueError, OverflowError, OSError):
        return None


def when(time: str | None, look: Look, at_s: float | None = None) -> str:
    """Write a time: '14 May 2026, 08:12:09'; else from the first frame; else that it is unknown."""
    if time is not None:
        local = moment(time, look)
        return time if local is None else f"{_day(local)}, {local:%H:%M:%S}"
    if at_s is not None:
        return f"{seconds(at_s)} from the first frame"
    return "time not known"


def day_or_time(time: str | None, look: Look, at_s: float | None = None) -> str:
    """Write a time; midnight UTC, which notes of a day carry, as that day alone."""
    if time is not None and time.endswith(MIDNIGHT):
        return day(time, look)
    return when(time, look, at_s)


def day(time: str | None, look: Look) -> str:
    """Write the day of a time; midnight UTC stands for that day wherever the reader is."""
    if time is None:
        return "date not known"
    local = moment(time, Look(zone=UTC) if time.endswith(MIDNIGHT) else look)
    if time.endswith(MIDNIGHT) and local is not None:
        return _day(local)
    return time if local is None else f"{_day(local)}, {local:%H:%M}"


def _day(local: datetime) -> str:
    return f"{local.day} {_MONTHS[local.month - 1]} {local.year}"


def span(
    start: str | None,
    end: str | None,
    look: Look,
    start_s: float | None = None,
    end_s: float | None = None,
) -> str:
    """Write a stretch of time; the day is said once."""
    first = moment(start, look) if start is not None else None
    last = moment(end, look) if end is not None else None
    if first is not None and last is not None:
        length = f" ({seconds((last - first).total_seconds())})"
        if first.date() == last.date():
            return f"{_day(first)}, {first:%H:%M:%S} to {last:%H:%M:%S}{length}"
        return f"{_day(first)}, {first:%H:%M:%S} to {_day(last)}, {last:%H:%M:%S}{length}"
    if start is None and end is None and start_s is not None and end_s is not None:
        # All that is known is how far from the first frame.
        begin, finish = seconds(start_s), seconds(end_s)
        return f"{begin} to {finish} from the first frame ({seconds(end_s - start_s)})"
    if start is None and start_s is None and end is None and end_s is None:
        return "times not known"
    return f"{when(start, look, start_s)} to {when(end, look, end_s)}"


def code(
    spn: int | None,
    fmi: int | None,
    text: str | None,
    candidates: Sequence[int] = (),
) -> str:
    """Write a code as its numbers: 'SPN 110 FMI 0', 'P0217'; '' where there is none."""
    parts = []
    if text:
        parts.append(text)
    if len(candidates) > 1:
        either = " or ".join(str(one) for one in candidates)
        parts.append(f"SPN {either} (which one is not settled)")
    elif spn is not None:
        parts.append(f"SPN {spn}")
    if fmi is not None:
        parts.append(f"FMI {fmi}")
    return " ".join(parts)


def lamps_lit(lamps: Mapping[str, object]) -> list[str]:
    """Name the lamps that are lit: 'red stop lamp on', 'protect lamp flashing fast'."""
    return [
        f"{words} {LAMP_STATES[str(lamps[key])]}"
        for key, words in LAMPS.items()
        if lamps.get(key) in LAMP_STATES
    ]


def size(count: int) -> str:
    """Write a number of bytes: '812 bytes', '4.2 MB'."""
    value, unit = float(count), "bytes"
    for bigger in ("kB", "MB", "GB", "TB"):
        if value < 1000:
            break
        value, unit = value / 1000, bigger
    return many(count, "byte") if unit == "bytes" else f"{value:.1f} {unit}"


def sentence(text: str) -> str:
    """Begin with a capital letter and end with a stop."""
    text = text.strip()
    if not text:
        return text
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?" else text + "."

"""What lies ahead, as sentences: service, forecasts, the order of work, courses, Sunday's lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from shearbolt.app.documents.planning import ServiceEntry
from shearbolt.app.planned import Planned
from shearbolt.dictionary.cause_priors import CAUSES, Cause
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.follow_up import Courses, Forecast, ServiceDue
from shearbolt.reasoning.follow_up.courses import Cost, NotOffered

CAUSE_WORK: Mapping[Cause, str] = {
    "real_condition": "put right what is truly so",
    "sensor": "put the sensor right",
    "wiring": "put the wire or plug right",
    "shared_supply": "put the shared supply right",
    "low_voltage": "put the voltage right",
    "network": "put the bus right",
    "operator": "use it in another manner",
    "calibration": "have the part taught or matched",
    "inhibited_regeneration": "let it regenerate",
    "ash": "have the ash cleaned out",
}
WHY_NOT: Mapping[NotOffered, str] = {
    "licensed_practice": "This is licensed practice",
    "safety_function": "A safety function failed",
    "fire": "It can set the machine or the crop on fire",
    "rail_pressure": "Fuel under injection pressure cuts through skin",
    "air_conditioning": "Refrigerant is for licensed people",
    "high_voltage": "High voltage kills",
    "accumulator": "A charged accumulator can burst",
    "brakes": "It concerns brakes",
    "steering": "It concerns steering",
    "lifting_gear": "It concerns what holds loads up",
}
COURSES: Mapping[Literal["call", "yourself", "first_job_then_call"], str] = {
    "call": "Call at once",
    "yourself": "Do it yourself, and call if nothing helps",
    "first_job_then_call": "Try the first job, then call",
}
WALK_ROUND = "Walk round it, engine off and key out: leaks, belts, air filter, radiator screen"
"""Common practice, no source."""
WALK_MIN = 10.0
LISTEN = "Plug in, let the engine run for some minutes, and listen"
LISTEN_MIN = 10.0
MOST_MIN = 15.0
"""What stands on Sunday's page takes less than this."""


def hours_text(value: float) -> str:
    """Write hours: '12 h', '1.5 h'."""
    return f"{value:,.0f} h" if abs(value) >= 10 else f"{value:,.1f} h".replace(".0 h", " h")


def days_text(value: float) -> str:
    """Write days: '1 day', '12 days'."""
    whole = round(value)
    return "1 day" if whole == 1 else f"{whole:,} days"


def share_text(value: float) -> str:
    """Write a chance in per cent; what is not quite 0 or 1 does not read so."""
    if 0.0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1.0:
        return "over 99 %"
    return f"{value:.0%}".replace("%", " %")


def service_words(one: ServiceDue) -> str:
    """Say when a service is due."""
    if one.due == "not_known":
        return "Nobody wrote down when it was last done, so when it is due is not known."
    by_hours = one.why == "hours" and one.left_h is not None
    left = one.left_h if by_hours else one.left_days
    if left is None:
        left, by_hours = one.left_h or 0.0, True
    amount = hours_text(abs(left)) if by_hours else days_text(abs(left))
    if one.due == "overdue":
        return f"Overdue by {amount}." if abs(left) >= 0.5 else "Due now."
    if one.due == "before_window_ends":
        return f"Due in {amount}, before the window ends."
    return f"Due in {amount}."


def service_entry(planned: Planned, one: ServiceDue) -> ServiceEntry:
    """Tell a service job of a machine with when it is due."""
    job = planned.jobs[one.plan]
    plan = next(each for each in planned.plans if each.plan == one.plan)
    return {
        "job": job.id,
        "machine": planned.id,
        "machine_name": planned.name,
        "text": job.text,
        "every_hours": job.every_hours,
        "every_days": job.every_days,
        "minutes": job.minutes,
        "last_hours": plan.last_h,
        "last_date": to_iso(plan.last_us) if plan.last_us is not None else None,
        "due": one.due,
        "left_hours": one.left_h,
        "left_days": one.left_days,
        "expected": to_iso(one.expected_us) if one.expected_us is not None else None,
        "why": one.why,
        "words": service_words(one),
    }


def entries(planned: Planned, window_h: float, window_days: float) -> list[ServiceEntry]:
    """Tell all service of a machine, the most urgent first."""
    return [service_entry(planned, one) for one in planned.due(window_h, window_days)]


def pressing(found: Sequence[ServiceEntry]) -> list[ServiceEntry]:
    """Keep what is overdue, or due before the window ends."""
    return [one for one in found if one["due"] in ("overdue", "before_window_ends")]


def forecast_words(one: Forecast, standing: Sequence[str]) -> list[str]:
    """Say a forecast, what it rests on, and what it does not hold."""
    said = [
        f"The chance of getting through {hours_text(one.hours)} of work without a stop or limited "
        f"power is {share_text(one.chance)} (between {share_text(one.low)} and "
        f"{share_text(one.high)}).",
        f"All machines of the yard taken together: {share_text(one.base_rate)}.",
    ]
    if one.own_hours > 0.0:
        # Stops whose cause was cured since count by the chance that they were not.
        count = f"{one.own_stops:.1f}".removesuffix(".0")
        stops = "1 stop" if count == "1" else f"{count} stops"
        said.append(
            f"It rests on {stops} in {hours_text(one.own_hours)} of this machine that this book "
            "knows about; stops that nobody recorded or wrote down are not in it."
        )
    else:
        said.append(
            "This book knows no engine hours between two looks at this machine, so it is judged "
            "by the others alone; stops that nobody recorded or wrote down are not in it."
        )
    if one.siblings:
        kind = "1 other machine" if one.siblings == 1 else f"{one.siblings} other machines"
        said.append(f"{kind} of its kind help to judge it.")
    if standing:
        said.append(
            "It holds only once this is put right, for it stops or limits the machine now: "
            f"{'; '.join(standing)}."
        )
    return said


def course_words(one: Cost) -> str:
    """Say a course."""
    words = COURSES[one.course]
    if not one.order:
        return f"{words}."
    order = ", then ".join(CAUSE_WORK[cause_named(each)] for each in one.order)
    return f"{words}: {order}."


def courses_words(one: Courses, currency: str) -> list[str]:
    """Say where the courses break even; or why none is offered."""
    if one.not_offered_because is not None:
        why = WHY_NOT[one.not_offered_because]
        return [f"{why}: that is no matter of money. Have it done by somebody qualified."]
    said: list[str] = []
    if len(one.costs) > 1:
        said.append(
            f"{COURSES[one.costs[0].course]}: that is expected to cost least, "
            f"{one.costs[0].expected:,.0f} {currency}, {_second(one)}."
        )
    if one.break_even_probability is not None:
        said.append(
            "Trying the first job before a call pays when its cause is likelier than "
            f"{share_text(one.break_even_probability)}."
        )
    elif len(one.costs) > 1:
        said.append("Trying the first job before a call does not pay, however likely its cause.")
    if one.break_even_standstill is not None:
        said.append(
            "Calling at once and doing it all yourself cost the same when an hour's standstill "
            f"costs {one.break_even_standstill:,.0f} {currency}."
        )
    return said


def _second(one: Courses) -> str:
    other = one.costs[1]
    words = COURSES[other.course]
    return f"against {other.expected:,.0f} for the next ({words[:1].lower()}{words[1:]})"


def cause_named(text: str) -> Cause:
    """Give a cause class by its name. Raises StopIteration for any other word."""
    return next(one for one in CAUSES if one == text)


def short(text: str, room: int) -> str:
    """Cut a text to so many marks, at a word where that loses little; never without a mark."""
    text = " ".join(text.split())
    if len(text) <= room:
        return text
    kept = text[: room - 1]
    at = kept.rfind(" ")
    return (kept[:at] if at > room * 2 // 3 else kept).rstrip(" ,;:") + "…"

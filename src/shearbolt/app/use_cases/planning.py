"""Planning: service, work, forecasts, costs and courses, Sunday's page, a second-hand look."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from shearbolt.app.composing.advice_words import caution_words
from shearbolt.app.composing.faults import words_by_id
from shearbolt.app.composing.planning_words import (
    WHY_NOT,
    cause_named,
    course_words,
    courses_words,
    entries,
    forecast_words,
    pressing,
    service_entry,
)
from shearbolt.app.composing.suspect_words import CAUSES as CAUSE_WORDS
from shearbolt.app.documents import (
    CostsDocument,
    CoursesDocument,
    ForecastDocument,
    SecondhandDocument,
    ServiceDocument,
    ServiceJobDocument,
    SundayDocument,
    Wording,
    WorkDocument,
)
from shearbolt.app.now import now_us
from shearbolt.app.owner_costs import KEY, OwnerCosts, as_kept, changed, read_costs
from shearbolt.app.planned import planned, planned_fleet
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.book import Book
from shearbolt.dictionary.cause_priors import CAUSES
from shearbolt.errors import UsageError
from shearbolt.model.instants import HOUR_US
from shearbolt.reasoning.follow_up import Courses, Job, courses, forecast, not_offered

DAY_US = 24 * HOUR_US


def service_add(
    book: Path,
    which: str,
    *,
    text: str,
    every_hours: float | None,
    every_days: float | None,
    minutes: float | None,
    wording: Wording,
) -> ServiceJobDocument:
    """Keep something that is due again and again. Raises NotInBook, Ambiguous, UsageError."""
    if not text.strip():
        raise UsageError("Say what is to be done with --text.")
    given = {"--every-hours": every_hours, "--every-days": every_days}
    if every_hours is None and every_days is None:
        raise UsageError("Say how often with --every-hours, --every-days, or both.")
    for option, value in given.items():
        if value is not None and not value > 0:
            raise UsageError(f"{option} must be above 0, not {value:g}.")
    if minutes is not None and not minutes >= 0:
        raise UsageError(f"--minutes must be 0 or more, not {minutes:g}.")
    with opened_book(book) as opened:
        owner = opened.machine(which)
        with opened.writing() as writer:
            job = writer.add_service_job(
                owner.id,
                text.strip(),
                now_us=now_us(),
                every_hours=every_hours,
                every_days=every_days,
                minutes=minutes,
            )
        return _job_document(opened, job.id, None)


def service_done(
    book: Path,
    job: str,
    *,
    hours: float | None,
    date_us: int | None,
    note: str | None,
    wording: Wording,
) -> ServiceJobDocument:
    """File that a service job was done. Raises NotInBook, UsageError."""
    now = now_us()
    with opened_book(book) as opened:
        kept = opened.service_job(job)
        if kept.withdrawn:
            raise UsageError(f"Service job {job} was taken back.")
        if kept.every_hours is not None and kept.every_days is None and hours is None:
            raise UsageError(
                "This goes by engine hours: say the reading of the meter with --hours."
            )
        with opened.writing() as writer:
            done = writer.add_service_done(
                kept.id,
                now_us=now,
                hours=hours,
                date_us=now if date_us is None else date_us,
                date_only=date_us is not None and date_us % DAY_US == 0,
                note=note,
            )
        return _job_document(opened, kept.id, done.id)


def _job_document(opened: Book, job: str, done: str | None) -> ServiceJobDocument:
    tables = tables_of(opened)
    with opened.snapshot() as reads:
        owner = reads.machine(reads.service_job(job).machine)
        one = planned(opened, reads, owner, tables, now_us())
    due = next(each for each in one.due(0.0, 0.0) if each.plan == job)
    return {
        "schema": "shearbolt/service-job/1",
        "service_done": done,
        **service_entry(one, due),
    }


def service_list(
    book: Path,
    which: str | None,
    *,
    window_hours: float,
    window_days: float,
    wording: Wording,
) -> ServiceDocument:
    """Tell what service is due, of one machine or all. Raises NotInBook, Ambiguous."""
    with opened_book(book) as opened:
        tables = tables_of(opened)
        with opened.snapshot() as reads:
            chosen = [reads.machine(which)] if which is not None else reads.machines()
            fleet = [planned(opened, reads, one, tables, now_us()) for one in chosen]
    found = [entry for one in fleet for entry in entries(one, window_hours, window_days)]
    rank = ("overdue", "before_window_ends", "later", "not_known")
    # Within a machine the reasoning's own order stays.
    found.sort(key=lambda entry: rank.index(entry["due"]))
    return {
        "schema": "shearbolt/service/1",
        "window_hours": window_hours,
        "window_days": window_days,
        "services": found,
    }


def work(
    book: Path,
    *,
    window_hours: float,
    window_days: float,
    shop_hours: float | None,
    wording: Wording,
) -> WorkDocument:
    """Order the shop's work by what each job buys in a window of work."""
    from shearbolt.app.shop import work_document

    if not window_hours > 0:
        raise UsageError(f"--window must be above 0 hours, not {window_hours:g}.")
    with opened_book(book) as opened:
        tables = tables_of(opened)
        fleet = planned_fleet(opened, tables, now_us())
        costs = read_costs(opened)
    return work_document(fleet, tables, costs, window_hours, window_days, shop_hours, wording)


def forecast_machine(book: Path, which: str, *, hours: float, wording: Wording) -> ForecastDocument:
    """Tell the chance of getting through the next hours. Raises NotInBook, Ambiguous."""
    if not hours > 0:
        raise UsageError(f"--hours must be above 0, not {hours:g}.")
    with opened_book(book) as opened:
        tables = tables_of(opened)
        wanted = opened.machine(which).id
        fleet = planned_fleet(opened, tables, now_us())
    own = next(one for one in fleet if one.id == wanted)
    named = words_by_id(own.record, tables)
    standing = own.standing()
    told = forecast(
        own.history(),
        hours,
        [one.history() for one in fleet if one is not own],
        [one.fault for one in standing],
    )
    return {
        "schema": "shearbolt/forecast/1",
        "machine": own.id,
        "machine_name": own.name,
        "hours": hours,
        "chance": told.chance,
        "low": told.low,
        "high": told.high,
        "base_rate": told.base_rate,
        "own_stops": told.own_stops,
        "own_hours": told.own_hours,
        "siblings": told.siblings,
        "standing": [{"fault": one, "text": named(one)} for one in told.standing],
        "service": pressing(entries(own, hours, 0.0)),
        "words": forecast_words(told, [named(one) for one in told.standing]),
    }


def costs(
    book: Path, *, given: Mapping[str, float | str | None], wording: Wording
) -> CostsDocument:
    """Keep the owner's figures that are given, and show all. Raises UsageError."""
    with opened_book(book) as opened:
        kept = read_costs(opened)
        told = changed(kept, given)
        if told != kept:
            with opened.writing() as writer:
                writer.set_setting(KEY, as_kept(told))
    return costs_document(told)


def costs_document(told: OwnerCosts) -> CostsDocument:
    """Tell the owner's figures."""
    return {
        "schema": "shearbolt/costs/1",
        "currency": told.currency,
        "call_out": told.call_out,
        "hourly_rate": told.hourly_rate,
        "distance_km": told.distance_km,
        "per_km": told.per_km,
        "own_hour": told.own_hour,
        "standstill_hour": told.standstill_hour,
        "wait_hours": told.wait_hours,
        "called_hours": told.called_hours,
        "parts": told.parts,
        "fetch_hours": told.fetch_hours,
        "missing": [OPTIONS[one] for one in told.missing],
    }


OPTIONS: Mapping[str, str] = {
    "call_out": "--call-out",
    "hourly_rate": "--hourly-rate",
    "distance_km": "--distance",
    "per_km": "--per-km",
    "own_hour": "--own-hour",
    "standstill_hour": "--standstill-hour",
    "wait_hours": "--wait-hours",
    "called_hours": "--called-hours",
}
"""Options of `shearbolt costs` by figure."""


def courses_of_fault(
    book: Path, which: str, *, parts: Mapping[str, float], wording: Wording
) -> CoursesDocument:
    """Compare doing it oneself with a call. Raises NotInBook, UsageError.

    `parts`: what a cause's parts cost, by cause class, where that is known better.
    """
    from shearbolt.app.shop import own_jobs

    for cause in parts:
        if cause not in CAUSES:
            raise UsageError(f"{cause!r} is no cause class; there are: {', '.join(CAUSES)}.")
    with opened_book(book) as opened:
        tables = tables_of(opened)
        found = opened.fault(which)
        with opened.snapshot() as reads:
            one = planned(opened, reads, reads.machine(found.machine), tables, now_us())
        money = read_costs(opened)
    concluded = one.concluded
    root = concluded.company.roots.get(found.id) or found.id
    case = next(each for each in one.case.faults if each.fault == root)
    odds = concluded.odds.get(root)
    jobs: tuple[Job, ...] = () if odds is None else own_jobs(odds, concluded, money, parts)
    told: Courses | None = None
    because: str | None = not_offered(case, one.case)
    if because is not None or odds is not None:
        figures = money.figures()
        if figures is None and because is None:
            missing = ", ".join(OPTIONS[name] for name in money.missing)
            raise UsageError(
                f"Say first what things cost: `shearbolt costs` still needs {missing}."
            )
        if because is not None or figures is None:
            # Whatever things cost: no arithmetic is offered here.
            told = None
        else:
            told = courses(case, one.case, jobs, figures, called_h=money.called_hours or 0.0)
    else:
        because = "no_odds"
    advice = concluded.advice.by_fault.get(root)
    units = wording.units
    keys = advice.cautions if advice is not None else ()
    currency = money.currency or "in your money"
    return {
        "schema": "shearbolt/courses/1",
        "machine": one.id,
        "machine_name": one.name,
        "fault": root,
        "text": words_by_id(one.record, tables)(root),
        "offered": told is not None,
        "not_offered_because": because,
        "currency": money.currency,
        "costs": [
            {
                "course": each.course,
                "words": course_words(each),
                "expected": each.expected,
                "worst": each.worst,
                "standstill_hours": each.standstill_h,
                "order": [cause_named(own) for own in each.order],
                "chance_without_call": each.chance_without_call,
            }
            for each in (told.costs if told is not None else ())
        ],
        "odds": [
            {
                "cause": suspect.cause,
                "words": CAUSE_WORDS[suspect.cause],
                "probability": suspect.probability,
                "own_hours": next((j.own_h for j in jobs if j.cause == suspect.cause), 0.0),
                "parts": next((j.parts for j in jobs if j.cause == suspect.cause), 0.0),
            }
            for suspect in (odds.suspects if odds is not None else ())
        ],
        "probability_other": odds.probability_other if odds is not None else None,
        "break_even_probability": told.break_even_probability if told is not None else None,
        "break_even_standstill": told.break_even_standstill if told is not None else None,
        "advice": advice.advice if advice is not None else None,
        "cautions": [caution_words(key, units) for key in keys],
        "words": _why(told, because, currency),
    }


def _why(told: Courses | None, because: str | None, currency: str) -> list[str]:
    if told is not None:
        return courses_words(told, currency)
    for key, words in WHY_NOT.items():
        if key == because:
            return [f"{words}: that is no matter of money. Have it done by somebody qualified."]
    return ["It is an old memory, or its cause cannot be judged: there is nothing to reckon with."]


def sunday(
    book: Path, *, window_hours: float, window_days: float, wording: Wording
) -> SundayDocument:
    """Give one page for the week: at most two lines a machine, each with something to do."""
    from shearbolt.app.composing.sunday_words import sunday_document

    at_us = now_us()
    with opened_book(book) as opened:
        tables = tables_of(opened)
        fleet = planned_fleet(opened, tables, at_us)
    return sunday_document(fleet, tables, at_us, window_hours, window_days)


def secondhand(book: Path, which: str, *, wording: Wording) -> SecondhandDocument:
    """Tell what an unknown machine's memory shows. Raises NotInBook, Ambiguous."""
    from shearbolt.app.composing.memory_words import secondhand_document
    from shearbolt.app.concluding.record import read_machine

    with opened_book(book) as opened, opened.snapshot() as reads:
        record = read_machine(reads, reads.machine(which))
        return secondhand_document(record, tables_of(opened), wording)

"""A machine's own healthy reference: made of a visit, kept in the book, compared with later visits.

Kept in the book's settings under 'baseline.<machine>', the newest first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, cast

from shearbolt.app.composing.learning_words import cautions_said, difference_words, step_words
from shearbolt.app.composing.measures import quantity_words
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.case import machine_case
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents.asking import Units
from shearbolt.app.documents.learning import (
    BaselineDifference,
    BaselineDocument,
    BaselineReading,
    BaselineStep,
)
from shearbolt.app.now import now_us
from shearbolt.book import Book, Reads
from shearbolt.book import records as r
from shearbolt.dictionary.baseline import baseline_steps
from shearbolt.errors import UsageError
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.learning import (
    ReadingKept,
    Reference,
    StepSeen,
    compare,
    findings_of,
    reference_of,
    steps_of,
)
from shearbolt.reasoning.plausibility.check import CheckResult
from shearbolt.reasoning.quantity_view import QuantityView, views_of

MOST_KEPT = 5
"""Baselines that stay in the book; older ones are forgotten."""
LEAST_STEPS = 2
"""Steps that a visit must show to be a baseline."""


def views_by_visit(
    book: Book, record: MachineRecord, tables: FactTables
) -> dict[str, QuantityView]:
    """Give the views of a machine's visits by their identifiers, in their order."""
    signals = book.signals_seen(record.machine.id)
    case = machine_case(record, tables, signals, book.state)
    return {one.visit.visit: one for one in views_of(case)}


def make(book: Book, record: MachineRecord, view: QuantityView | None, visit: str) -> Reference:
    """Make and keep the baseline of a visit. Raises UsageError where it shows too little."""
    if view is None:
        raise UsageError(f"Visit {visit} holds no readings of {record.machine.name}.")
    reference = reference_of(view)
    if len(reference.steps) < LEAST_STEPS:
        wanted = ", ".join(one.step.replace("_", " ") for one in baseline_steps())
        raise UsageError(
            f"Visit {visit} shows {len(reference.steps)} of the steps of a baseline ({wanted}); "
            f"at least {LEAST_STEPS} are needed."
        )
    rounds = [one for one in _kept(book, record.machine.id) if one["visit"] != visit]
    made = {"made_us": now_us(), **asdict(reference)}
    with book.writing() as writer:
        writer.set_setting(f"baseline.{record.machine.id}", [made, *rounds][:MOST_KEPT])
    return reference


def _kept(book: Reads, machine: str) -> list[dict[str, Any]]:
    return cast(list[dict[str, Any]], book.setting(f"baseline.{machine}") or [])


def kept_reference(book: Reads, machine: str) -> Reference | None:
    """Give the newest baseline of a machine; None: there is none."""
    rounds = _kept(book, machine)
    if not rounds:
        return None
    newest = rounds[0]
    return Reference(
        newest["visit"],
        tuple(newest["steps"]),
        tuple(ReadingKept(**one) for one in newest["readings"]),
    )


def baseline_findings(book: Reads, case: MachineCase) -> tuple[CheckResult, ...]:
    """Tell what later visits show against the machine's own baseline, as findings of plausibility
    named 'baseline'; none where no baseline is kept.

    The mark of kept conclusions holds `baseline_mark`, so that they are drawn anew.
    """
    reference = kept_reference(book, case.machine)
    if reference is None:
        return ()
    views = views_of(case)
    at = next((i for i, one in enumerate(views) if one.visit.visit == reference.visit), -1)
    return tuple(result for view in views[at + 1 :] for result in findings_of(reference, view))


def baseline_mark(book: Reads, machine: str) -> str:
    """Give a mark that changes whenever the baseline of a machine does."""
    rounds = _kept(book, machine)
    return f"{rounds[0]['visit']} {rounds[0]['made_us']}" if rounds else ""


def baseline_document(
    book: Reads,
    record: MachineRecord,
    views: dict[str, QuantityView],
    *,
    kept_now: bool,
    units: Units,
) -> BaselineDocument:
    """Tell the kept baseline, and what later visits differ in."""
    rounds = _kept(book, record.machine.id)
    reference = kept_reference(book, record.machine.id)
    words: list[str] = []
    if reference is None:
        words.append(
            "No baseline is kept yet. Do the round on the healthy machine and bring its recording "
            "in, or let it be guided live with --interface."
        )
    view = None if reference is None else views.get(reference.visit)
    visit = None if reference is None else record.visits_by_id.get(reference.visit)
    seen = _unseen() if view is None else steps_of(view)
    return {
        "schema": "shearbolt/baseline/1",
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "visit": None if reference is None else reference.visit,
        "made": to_iso(rounds[0]["made_us"]) if rounds else None,
        "kept_now": kept_now,
        "earlier": max(0, len(rounds) - 1),
        "steps": [_step(one, visit, units) for one in seen],
        "readings": [] if reference is None else [_reading(one) for one in reference.readings],
        "differences": [] if reference is None else _differences(reference, record, views, units),
        "refused": [],
        "words": words,
    }


def _unseen() -> tuple[StepSeen, ...]:
    import numpy as np

    none = np.empty(0, np.intp)
    return tuple(
        StepSeen(one.step, "not_done", 0.0, one.seconds, none, None, None, ())
        for one in baseline_steps()
    )


def _step(one: StepSeen, visit: r.Visit | None, units: Units) -> BaselineStep:
    cautions = next(row.cautions for row in baseline_steps() if row.step == one.step)

    def at(us: int | None) -> tuple[str | None, float | None]:
        return (None, None) if visit is None else (moment(visit, us), seconds(visit, us))

    (start, start_s), (end, end_s) = at(one.from_us), at(one.until_us)
    return {
        "step": one.step,
        "words": step_words(one.step, units),
        "state": one.state,
        "seconds": one.seconds,
        "needed_s": one.needed_s,
        "missing": [_quantity(name) for name in one.missing],
        "start": start,
        "start_at_s": start_s,
        "end": end,
        "end_at_s": end_s,
        "cautions": cautions_said(cautions, units),
    }


def _quantity(name: str) -> str:
    return "idle speed" if name == "idle_ratio" else quantity_words(name)[0]


def _reading(one: ReadingKept) -> BaselineReading:
    return {
        "step": one.step,
        "quantity": one.quantity,
        "text": quantity_words(one.quantity)[0],
        "spn": one.spn,
        "address": one.address,
        "value": one.value,
        "unit": one.unit,
        "spread": one.spread,
        "seconds": one.rows,
    }


def _differences(
    reference: Reference, record: MachineRecord, views: dict[str, QuantityView], units: Units
) -> list[BaselineDifference]:
    shown: list[BaselineDifference] = []
    order = [one.id for one in record.visits]
    at = order.index(reference.visit) if reference.visit in order else -1
    later: Sequence[str] = order[at + 1 :]
    for visit in reversed(later):
        if visit not in views:
            continue
        shown.extend(
            {
                "visit": visit,
                "step": one.step,
                "quantity": one.quantity,
                "spn": one.spn,
                "address": one.address,
                "value": one.value,
                "baseline": one.baseline,
                "difference": one.difference,
                "unit": one.unit,
                "verdict": one.verdict,
                "words": difference_words(one, units),
            }
            for one in compare(reference, reference_of(views[visit]))
            if one.verdict != "as_before"
        )
    return shown

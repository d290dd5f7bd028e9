"""The machine's own healthy reference, and how a later visit differs from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from shearbolt.dictionary.baseline import BaselineReading, baseline_readings
from shearbolt.model.state import StateKey
from shearbolt.reasoning.learning.steps import StepSeen, steps_of
from shearbolt.reasoning.plausibility.check import Because, CheckResult, figures
from shearbolt.reasoning.quantity_view import Picked, QuantityView, Rows

CHECK = "baseline"
"""Name of the finding among those of plausibility."""
LEAST_ROWS = 3
"""Seconds with a number that a reading needs; one for an extreme."""
SPREADS = 3.0
"""A difference within so many spreads of the reference is none."""
ODD = 1.5
"""So many times what matters is odd; less is doubtful."""
MAD_TO_SD = 1.4826
"""Median absolute deviation to standard deviation of a normal distribution."""
Verdict: TypeAlias = Literal["odd", "doubtful", "as_before", "not_compared"]


@dataclass(frozen=True, slots=True)
class ReadingKept:
    """What one reading was in one step."""

    step: str
    quantity: str
    address: int
    spn: int
    unit: str
    value: float
    spread: float
    """Standard deviation within the step, by the median absolute deviation."""
    rows: int
    """Seconds with a number."""


@dataclass(frozen=True, slots=True)
class Reference:
    """The readings of a round, step by step."""

    visit: str
    steps: tuple[str, ...]
    """Steps that were done."""
    readings: tuple[ReadingKept, ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """One reading of a later visit against the reference."""

    step: str
    quantity: str
    address: int
    """Its sender in the later visit."""
    spn: int
    unit: str
    value: float
    baseline: float
    difference: float
    """Value less baseline."""
    verdict: Verdict
    unlike: str | None
    """`not_compared`: the quantity that was not as it was then."""


def reference_of(view: QuantityView, seen: Sequence[StepSeen] | None = None) -> Reference:
    """Make the reference of a visit from the steps that it shows."""
    seen = steps_of(view) if seen is None else seen
    done = {one.step: one for one in seen if one.state == "done"}
    kept: list[ReadingKept] = []
    for row in baseline_readings():
        if row.step in done:
            one = _reading(view, row, done[row.step].rows)
            if one is not None:
                kept.append(one)
    return Reference(view.visit.visit, tuple(done), tuple(kept))


def _reading(view: QuantityView, row: BaselineReading, rows: Rows) -> ReadingKept | None:
    picked = view.pick(row.quantity)
    if picked is None:
        return None
    values = _column(picked, row.take)[rows].astype(np.float64)
    values = values[~np.isnan(values)]
    if len(values) < (LEAST_ROWS if row.take == "median" else 1):
        return None
    middle = float(np.median(values))
    value = {"median": middle, "low": float(values.min()), "high": float(values.max())}[row.take]
    spread = MAD_TO_SD * float(np.median(np.abs(values - middle)))
    spread = max(spread, picked.resolution / math.sqrt(12.0))
    return ReadingKept(
        row.step, row.quantity, picked.sender.address, picked.sender.spn, picked.unit,
        float(f"{value:.6g}"), float(f"{spread:.6g}"), len(values),
    )  # fmt: skip


def _column(picked: Picked, take: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    column = picked.column
    return {"median": column.last, "low": column.low, "high": column.high}[take]


def compare(reference: Reference, now: Reference) -> tuple[Difference, ...]:
    """Compare the readings of a later visit with the reference; only what both have.

    A reading that comes from another parameter than then is another reading, and left out.
    """
    then = {(one.step, one.quantity): one for one in reference.readings}
    later = {(one.step, one.quantity): one for one in now.readings}
    found: list[Difference] = []
    for row in baseline_readings():
        key = row.step, row.quantity
        if row.matters is None or key not in then or key not in later:
            continue
        old, new = then[key], later[key]
        if old.spn != new.spn:
            continue
        gap = new.value - old.value
        unlike = _unlike(row, then, later)
        found.append(
            Difference(
                row.step, row.quantity, new.address, new.spn, new.unit, new.value, old.value,
                float(f"{gap:.6g}"), _verdict(row, old, gap, unlike), unlike,
            )
        )  # fmt: skip
    return tuple(found)


def _unlike(
    row: BaselineReading,
    then: Mapping[tuple[str, str], ReadingKept],
    later: Mapping[tuple[str, str], ReadingKept],
) -> str | None:
    for quantity, within in row.alike:
        old, new = then.get((row.step, quantity)), later.get((row.step, quantity))
        if old is not None and new is not None and abs(new.value - old.value) > within:
            return quantity
    return None


def _verdict(row: BaselineReading, old: ReadingKept, gap: float, unlike: str | None) -> Verdict:
    assert row.matters is not None
    wrong_way = (row.worse == "low" and gap > 0) or (row.worse == "high" and gap < 0)
    if wrong_way or abs(gap) < max(row.matters, SPREADS * old.spread):
        return "as_before"
    if unlike is not None:
        return "not_compared"
    return "odd" if abs(gap) >= ODD * row.matters else "doubtful"


def findings_of(reference: Reference, view: QuantityView) -> tuple[CheckResult, ...]:
    """Compare a visit with the reference, as findings of plausibility: odd and doubtful ones.

    The key is the step with 'below' or 'above': 'hot_idle_below'. The visit that the reference was
    made from gives none.
    """
    if view.visit.visit == reference.visit:
        return ()
    seen = {one.step: one for one in steps_of(view)}
    now = reference_of(view, tuple(seen.values()))
    found: list[CheckResult] = []
    for one in compare(reference, now):
        if one.verdict not in ("odd", "doubtful"):
            continue
        picked = view.pick(one.quantity)
        about: tuple[StateKey, ...] = () if picked is None else (picked.sender,)
        told = figures(
            ("difference", abs(one.difference), one.unit),
            ("value", one.value, one.unit),
            ("baseline", one.baseline, one.unit),
        )
        key = f"{one.step}_{'below' if one.difference < 0 else 'above'}"
        found.append(
            CheckResult(
                CHECK,
                view.visit.visit,
                "odd" if one.verdict == "odd" else "doubtful",
                about,
                told,
                view.at_us(seen[one.step].rows),
                Because(key, tuple((figure.name, figure.value) for figure in told)),
                (),
                f"this machine's own baseline of visit {reference.visit}",
            )
        )
    return tuple(found)

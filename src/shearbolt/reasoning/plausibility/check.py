"""What a plausibility check is, and what it answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, TypeAlias

from shearbolt.model.state import StateKey
from shearbolt.reasoning.plausibility.trait import Past, Sensor
from shearbolt.reasoning.quantity_view import QuantityView, Rows

Result: TypeAlias = Literal["ok", "odd", "doubtful", "not_possible"]
"""`odd`: not what a sound machine with sound sensors tells. `doubtful`: near it, or one
sound reason for it cannot be excluded. `not_possible`: an input or its conditions were missing;
that is never 'normal' (Little and Rubin 2002)."""


class Figure(NamedTuple):
    """One number that a result rests on."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Because:
    """Why: the key of a finding (`dictionary.plausibility.finding_words`) and its values."""

    key: str
    values: tuple[tuple[str, float | str], ...]


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What one check found in one visit, about one reading or some together."""

    check: str
    visit: str
    result: Result
    about: tuple[StateKey, ...]
    """The readings judged; with several, the first is the one that is odd if any single one is."""
    figures: tuple[Figure, ...]
    moments_us: tuple[int, ...]
    """Where in the recording to look, by the visit's own clock; at most 20."""
    because: Because
    missing: tuple[str, ...]
    """`not_possible`: the quantities or conditions that were missing."""
    source: str


@dataclass(frozen=True, slots=True)
class Finding:
    """A check's answer before it is put under the check's name and visit."""

    result: Result
    key: str
    about: tuple[StateKey, ...] = ()
    figures: tuple[Figure, ...] = ()
    moments_us: tuple[int, ...] = ()
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Look:
    """What a check is given: a visit, and what the visits before it showed of this machine."""

    view: QuantityView
    past: Past = field(default_factory=dict)

    def earlier(self, key: StateKey, name: str) -> Sequence[float]:
        """Give the earlier values of one trait of one sender."""
        return self.past.get((Sensor(key.address, key.spn), name), ())


Judge: TypeAlias = Callable[[Look], Iterable[Finding]]


@dataclass(frozen=True, slots=True)
class Check:
    """One named check with the inputs it declares."""

    name: str
    needs: tuple[tuple[str, ...], ...]
    """For each input the quantities that can serve; one of them must be alive."""
    judge: Judge
    source: str

    def run(self, look: Look) -> tuple[CheckResult, ...]:
        """Judge a visit; at least one result. A missing input makes it `not_possible`."""
        view = look.view
        missing = tuple(
            choice[0] for choice in self.needs if not any(view.alive(one) for one in choice)
        )
        found: Sequence[Finding] = (
            (not_possible("inputs_missing", *missing),) if missing else tuple(self.judge(look))
        )
        if not found:
            found = (not_possible("nothing_to_judge", "conditions"),)
        return tuple(
            CheckResult(
                self.name,
                view.visit.visit,
                one.result,
                one.about,
                one.figures,
                one.moments_us,
                Because(one.key, tuple((figure.name, figure.value) for figure in one.figures)),
                one.missing,
                self.source,
            )
            for one in found
        )


def not_possible(key: str, *missing: str) -> Finding:
    """Make the finding that a check could not judge, and for want of what."""
    return Finding("not_possible", key, missing=missing)


def figures(*some: tuple[str, float, str]) -> tuple[Figure, ...]:
    """Make figures of (name, value, unit), as plain numbers rounded to six digits."""
    return tuple(Figure(name, float(f"{value:.6g}"), unit) for name, value, unit in some)


def graded(size: float, doubtful: float, odd: float) -> Result:
    """Give 'odd' above one limit, 'doubtful' above the other, else 'ok'."""
    return "odd" if size > odd else "doubtful" if size > doubtful else "ok"


def thin(rows: Rows, most: int = 20_000) -> Rows:
    """Take every so many-th row, so that at most `most` are left."""
    step = -(-len(rows) // most) if len(rows) else 1
    return rows[::step]

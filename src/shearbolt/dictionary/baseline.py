"""The guided round on a healthy machine, and guided experiments: their steps as data.

`data/baseline_steps.csv` says how each step of the round is known on the bus,
`data/baseline_readings.csv` which readings it leaves behind and which change of them matters,
`data/experiments.csv` what a person is asked to do so that a hidden signal shows itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias, get_args

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

Engine: TypeAlias = Literal["before", "cranking", "running", "after"]
"""What the engine does: stands before its first start, is cranked, runs, stands after running."""
Take: TypeAlias = Literal["median", "low", "high"]
Worse: TypeAlias = Literal["low", "high", "both"]


@dataclass(frozen=True, slots=True)
class Bound:
    """A condition on one quantity, or on the first of several that is told."""

    choices: tuple[tuple[str, float, float], ...]
    """Quantity, low, high (inclusive), best first."""
    required: bool
    """Where none of them is told the step cannot be known; else it is no condition then."""


@dataclass(frozen=True, slots=True)
class Moves:
    """A quantity that must go up and down."""

    quantity: str
    span: float
    """At least so far."""
    crossings: int
    """So often across the middle."""
    required: bool


@dataclass(frozen=True, slots=True)
class BaselineStep:
    """One step of the guided round."""

    step: str
    seconds: float
    """It is done after so long."""
    engine: Engine
    bounds: tuple[Bound, ...]
    moves: Moves | None
    cautions: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class BaselineReading:
    """A reading that a step leaves behind."""

    step: str
    quantity: str
    take: Take
    matters: float | None
    """Smallest change worth telling, in the quantity's unit; None: told only."""
    worse: Worse
    """Which way is worth telling."""
    alike: tuple[tuple[str, float], ...]
    """Quantities of the same step that must be as before within so much, else it is in doubt."""
    source: str


@dataclass(frozen=True, slots=True)
class Experiment:
    """What a person does on command so that a hidden signal shows itself."""

    experiment: str
    what: str
    """What the signal follows, in words."""
    first: str
    """State 0, before the first command."""
    on: str
    off: str
    times: int
    hold_s: float
    cautions: tuple[str, ...]
    source: str


@cache
def baseline_steps() -> tuple[BaselineStep, ...]:
    """Give the steps in their order. Raises DictionaryError when a row cannot be read."""
    found: list[BaselineStep] = []
    for row in table("baseline_steps"):
        try:
            engine = row["engine"]
            if engine not in get_args(Engine):
                raise ValueError(engine)
            found.append(
                BaselineStep(
                    row["step"],
                    float(row["seconds"]),
                    engine,  # type: ignore[arg-type]
                    tuple(_bound(one) for one in row["bounds"].split("|") if one),
                    _moves(row["moves"]) if row["moves"] else None,
                    _words(row["cautions"]),
                    row["source"],
                )
            )
        except ValueError as error:
            raise DictionaryError(f"baseline_steps.csv: a row cannot be read: {row}") from error
    return tuple(found)


@cache
def baseline_readings() -> tuple[BaselineReading, ...]:
    """Give the readings, step by step. Raises DictionaryError when a row cannot be read."""
    found: list[BaselineReading] = []
    for row in table("baseline_readings"):
        try:
            take, worse = row["take"], row["worse"]
            if take not in get_args(Take) or worse not in get_args(Worse):
                raise ValueError(take)
            found.append(
                BaselineReading(
                    row["step"],
                    row["quantity"],
                    take,  # type: ignore[arg-type]
                    float(row["matters"]) if row["matters"] else None,
                    worse,  # type: ignore[arg-type]
                    tuple(
                        (one.partition(":")[0], float(one.partition(":")[2]))
                        for one in row["alike"].split("|")
                        if one
                    ),
                    row["source"],
                )
            )
        except ValueError as error:
            raise DictionaryError(f"baseline_readings.csv: a row cannot be read: {row}") from error
    return tuple(found)


@cache
def experiments() -> dict[str, Experiment]:
    """Give the guided experiments by name. Raises DictionaryError when a row cannot be read."""
    found: dict[str, Experiment] = {}
    for row in table("experiments"):
        try:
            found[row["experiment"]] = Experiment(
                row["experiment"], row["what"], row["first"], row["on"], row["off"],
                int(row["times"]), float(row["hold_s"]), _words(row["cautions"]), row["source"],
            )  # fmt: skip
        except ValueError as error:
            raise DictionaryError(f"experiments.csv: a row cannot be read: {row}") from error
    return found


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split(";")) if text else ()


def _bound(text: str) -> Bound:
    required = text.startswith("!")
    choices: list[tuple[str, float, float]] = []
    for one in text.removeprefix("!").split("/"):
        quantity, _, ends = one.partition(":")
        low, dots, high = ends.partition("..")
        if not dots:
            raise ValueError(one)
        choices.append(
            (quantity, float(low) if low else -math.inf, float(high) if high else math.inf)
        )
    return Bound(tuple(choices), required)


def _moves(text: str) -> Moves:
    quantity, span, crossings = text.removeprefix("!").split(":")
    return Moves(quantity, float(span), int(crossings), text.startswith("!"))

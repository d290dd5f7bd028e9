"""What is said of a fault's setting: terms with their intervals, counts, p-values, no sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Op = Literal["<", ">", "=", "in"]
Status = Literal["found", "possible", "cannot_tell", "none_seen", "told", "no_starts"]
"""found: the contract's rule is met. possible: striking, but too few starts or cycles, or not
confirmed. cannot_tell: too little for any answer yet. none_seen: enough was seen, and the starts
keep to no condition that was recorded. told: only the driver's words. no_starts: none was seen."""
Family = Literal["within", "between"]
"""within: it comes and goes inside visits. between: it differs only between key cycles."""
Fact = tuple[str, str | float | int | bool | None]
Words = tuple[str, tuple[Fact, ...]]
"""A message's key and its parameters, in SI values; sentences are made elsewhere."""


@dataclass(frozen=True, slots=True)
class Term:
    """One condition: a quantity on one side of a threshold, or in one state."""

    quantity: str
    spn: int | None
    """Parameter that told it; None: worked out from others, or a person's words."""
    op: Op
    value: float | None
    """None with `text` alone."""
    low: float | None
    """Threshold's interval of 95 %; None where it has no threshold (states, words)."""
    high: float | None
    unit: str
    text: str | None = None
    """The person's words, for `driver_words`."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another condition that the same starts and the same time fit as well."""

    terms: tuple[Term, ...]
    score: float
    """Log likelihood ratio against 'no condition', as of the setting itself."""
    starts_inside: int


@dataclass(frozen=True, slots=True)
class Outing:
    """What would tell two conditions apart: work with the one and without the other."""

    holding: tuple[Term, ...]
    without: tuple[Term, ...]
    hours: float
    """So long that the fault, if `holding` makes it start, starts with a chance of 95 %."""
    seen_h: float
    """Of that, seen already."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """What the driver said of when it happens."""

    kind: Literal["warmth", "doing", "after_start"]
    text: str
    visits: int
    agrees: bool | None
    """Whether it fits the terms; None: neither one nor the other."""
    weight_db: float
    """Its own weight as evidence; negative when it contradicts."""


@dataclass(frozen=True, slots=True)
class Setting:
    """The conditions under which a fault starts, as far as the record tells."""

    fault: str
    status: Status
    found: bool
    family: Family | None
    terms: tuple[Term, ...]
    """At most three, joined by 'and'; also given when only 'possible'."""
    cannot_be_told_apart: tuple[Alternative, ...]
    would_tell: Outing | None
    starts_inside: int
    starts_total: int
    """Starts whose moment was seen."""
    starts_unknown: int
    """Spells that had begun before anybody listened: left out."""
    days: int
    """Days (visits where there is no clock) of the starts inside; of all starts without terms."""
    cycles: int
    """Key cycles, in the same way."""
    exposure_inside_h: float | None
    exposure_total_h: float
    """Time in which it could have started: sender heard, fault not active."""
    delay_s: float | None
    """From the condition to the code."""
    delay_low_s: float | None
    delay_high_s: float | None
    persistence_s: float | None
    """Part of the delay in which the condition must hold all along."""
    hysteresis: float | None
    """How far beyond its threshold the first term still counts; None: nothing speaks for it."""
    p_adjusted: float | None
    p_smallest: float | None
    starts_needed: int | None
    """About so many more starts, if they go on like these; None: not known or none."""
    confirmed: bool | None
    """On starts not used in the search; None: fewer than 8 starts."""
    p_confirmed: float | None
    permutations: int
    still_running: bool
    """More permutations could change the answer."""
    spoken: tuple[Spoken, ...]


def words_of(setting: Setting) -> tuple[Words, ...]:
    """Give what is to be said of a setting, in its order, as message keys and parameters.

    Terms are named by their index in `setting.terms`; alternatives by theirs.
    """
    share = None
    if setting.exposure_inside_h is not None and setting.exposure_total_h > 0:
        share = setting.exposure_inside_h / setting.exposure_total_h
    counts: tuple[Fact, ...] = (
        ("starts_inside", setting.starts_inside),
        ("starts_total", setting.starts_total),
        ("days", setting.days),
        ("cycles", setting.cycles),
    )
    said: list[Words] = [(f"setting.{setting.status}", counts)]
    if setting.terms:
        said.append(("setting.terms", (("terms", len(setting.terms)),)))
        if share is not None:
            said.append(
                ("setting.exposure", (("share", share), ("hours", setting.exposure_total_h)))
            )
    if setting.delay_s and setting.status in ("found", "possible"):
        said.append(
            (
                "setting.delay",
                (
                    ("delay_s", setting.delay_s),
                    ("low_s", setting.delay_low_s),
                    ("high_s", setting.delay_high_s),
                    ("persistence_s", setting.persistence_s),
                ),
            )
        )
    for i in range(len(setting.cannot_be_told_apart)):
        said.append(("setting.apart", (("alternative", i),)))
    if setting.would_tell is not None:
        hours: tuple[Fact, ...] = (("hours", setting.would_tell.hours),)
        said.append(("setting.would_tell", hours))
    if setting.starts_needed:
        said.append(("setting.needs", (("starts", setting.starts_needed),)))
    if setting.confirmed is False:
        said.append(("setting.not_confirmed", (("p", setting.p_confirmed),)))
    if setting.starts_unknown:
        said.append(("setting.starts_unknown", (("starts", setting.starts_unknown),)))
    if setting.p_adjusted is not None:
        said.append(
            (
                "setting.p",
                (
                    ("p_adjusted", setting.p_adjusted),
                    ("p_smallest", setting.p_smallest),
                    ("permutations", setting.permutations),
                    ("still_running", setting.still_running),
                ),
            )
        )
    for one in setting.spoken:
        facts: tuple[Fact, ...] = (
            ("text", one.text),
            ("visits", one.visits),
            ("agrees", one.agrees),
            ("weight_db", one.weight_db),
        )
        said.append((f"setting.spoken.{one.kind}", facts))
    return tuple(said)

"""`shearbolt/faults/1` and `shearbolt/fault/1`: what is wrong with which machine.

Fields of the reasoning (setting, suspects, advice, checks, follow-ups, trend) are null or empty
where nothing is known yet.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypedDict

from shearbolt.app.documents.concluded import Drift, OddReading, PowerLimit, Unrecorded
from shearbolt.app.documents.values import (
    Address,
    AdviceClass,
    Cause,
    Count,
    Direction,
    EndedBy,
    EngineAdvice,
    FaultKind,
    FaultState,
    Fmi,
    FollowupResult,
    Happening,
    Identifier,
    Lamps,
    NameHex,
    Seconds,
    Shape,
    Share,
    Spn,
    Time,
)


class FrozenValue(TypedDict):
    """One value of a freeze frame."""

    spn: Spn
    """Which parameter."""
    text: str
    """In plain words."""
    value: float | None
    """Physical value."""
    unit: str
    """Its unit."""


class FreezeFrame(TypedDict):
    """Conditions that a controller stored with a fault (DM4, DM25, SAE J1979 service 02)."""

    visit: Identifier
    """The visit in which it was told."""
    at: Time | None
    """When it was told (not when it was stored)."""
    at_s: Seconds | None
    """The same from the first frame."""
    values: list[FrozenValue]
    """What was stored."""


class Spell(TypedDict):
    """One stretch of reports that list the fault."""

    visit: Identifier
    """The visit it lies in."""
    start: Time | None
    """First report that lists it."""
    start_at_s: Seconds | None
    """The same from the first frame."""
    start_known: bool
    """False: it may have begun before the first report."""
    end: Time | None
    """Last report of it."""
    end_at_s: Seconds | None
    """The same from the first frame."""
    end_latest: Time | None
    """First sign of health, or null."""
    end_latest_at_s: Seconds | None
    """The same from the first frame."""
    ended_by: EndedBy
    """How it ended."""
    count_start: Count | None
    """Occurrence count in its first report."""
    count_end: Count | None
    """Occurrence count in its last report."""


class Counts(TypedDict):
    """Occurrence counts of one stretch of a visit, in time order."""

    visit: Identifier
    """The visit."""
    first: Count | None
    """First count; null where the sender gives none (127)."""
    last: Count | None
    """Last count; null where the sender gives none (127)."""
    at_least: bool
    """The count stood at its stop (126): that often or more."""


class Term(TypedDict):
    """One condition of a setting."""

    quantity: str
    """spn, minutes_since_start, cranking, driver_words, ..."""
    spn: Spn | None
    """Which parameter, where the quantity is one."""
    op: Literal["<", ">", "=", "in"]
    """How the value bounds it."""
    value: float | str | None
    """The bound."""
    low: float | None
    """Lower end of the bound's interval."""
    high: float | None
    """Upper end of the bound's interval."""
    unit: str | None
    """Unit of the three."""


class Alternative(TypedDict):
    """A setting that the data cannot tell from the one named."""

    words: str
    """In one sentence."""
    terms: list[Term]
    """At most three."""


class Setting(TypedDict):
    """The operating conditions in which the fault starts."""

    found: bool
    """Adjusted p under 0.01, at least 4 starts on 3 key cycles."""
    words: str
    """In one sentence."""
    terms: list[Term]
    """The conditions, joined by 'and'."""
    cannot_be_told_apart: list[Alternative]
    """At most three alternatives."""
    would_tell: str | None
    """The outing that would tell them apart."""
    starts_inside: Count | None
    """Starts under the conditions."""
    starts_total: Count | None
    """All starts."""
    days: Count | None
    """Days with a start."""
    exposure_inside_h: float | None
    """Hours under the conditions."""
    exposure_total_h: float | None
    """All hours looked at."""
    cycles: Count | None
    """Key cycles with a start."""
    delay_s: float | None
    """How long the conditions hold before the code."""
    p_adjusted: Share | None
    """p of the whole search."""
    p_smallest: Share | None
    """Smallest p that the data could give."""


class Evidence(TypedDict):
    """One observed fact that moves the odds."""

    words: str
    """In one sentence."""
    group: str
    """Facts of one group rest on the same observation."""
    weight_db: float
    """Weight of evidence in decibans; negative: against."""
    counts: bool
    """False: a stronger piece of the same group already says it."""
    reason: str | None
    """Why it bears on the cause."""
    source: str
    """Where the ratio comes from."""
    visits: list[Identifier]
    """Visits of the moments."""
    at: list[Time | None]
    """Where in the recordings to look."""
    at_s: list[Seconds | None]
    """The same, each from the first frame of its recording."""


class Suspect(TypedDict):
    """A candidate cause with its odds."""

    cause: Cause
    """Cause class."""
    probability: Share
    """All suspects and `probability_other` add up to 1."""
    odds_before: Share
    """Before any evidence."""
    words: str
    """In one sentence."""
    contributing: bool
    """A second cause beside the first."""
    evidence: list[Evidence]
    """What moves its odds."""


class Watch(TypedDict):
    """What to watch meanwhile."""

    words: str
    """Which reading or sign."""
    stop_at: str | None
    """At which value to stop."""


Advice = TypedDict(
    "Advice",
    {
        "class": Annotated[AdviceClass, Shape("What to do.")],
        "applies_now": Annotated[bool, Shape("Whether it holds at `as_of`.")],
        "words": Annotated[str, Shape("In one sentence or two.")],
        "engine": Annotated[EngineAdvice | None, Shape("What to do with the engine.")],
        "watch": Annotated[Watch | None, Shape("What to watch meanwhile.")],
        "until": Annotated[str | None, Shape("Until when it holds, in words or as a time.")],
        "because": Annotated[list[str], Shape("Its reasons.")],
        "cautions": Annotated[list[str], Shape("What can hurt someone, and how to avoid it.")],
        "as_of": Annotated[Time | None, Shape("The moment it was judged for.")],
    },
)
Advice.__doc__ = "What to do if this fault is on."


class Check(TypedDict):
    """Something a person can do to tell suspects apart."""

    check: Identifier
    """The check."""
    words: str
    """What to do."""
    minutes: float | None
    """About how long it takes."""
    tools: list[str]
    """What it needs."""
    settles: list[Cause]
    """Which causes it tells apart."""
    cautions: list[str]
    """What can hurt someone, and how to avoid it."""
    not_possible_because: str | None
    """Why it cannot be done here, or null."""


class Followup(TypedDict):
    """The running answer to 'did that repair hold?'."""

    repair: Identifier
    """The repair."""
    result: FollowupResult | None
    """The answer."""
    scale: str | None
    """What is counted: engine_hours, starts, loaded_hours, ..."""
    events_before: Count | None
    """Starts before the repair."""
    exposure_before: float | None
    """Exposure before, on the scale."""
    events_after: Count | None
    """Starts since."""
    exposure_after: float | None
    """Exposure since, on the scale."""
    not_tested: float
    """Exposure since a clear in which the monitor had not run; it does not count."""
    p_clean_if_unchanged: Share | None
    """Chance of so clean a run if nothing had changed."""
    p_unchanged: Share | None
    """Chance that nothing changed."""
    p_partly: Share | None
    """Chance that it is partly better."""
    still_needed: float | None
    """Clean exposure still needed, on the scale."""
    words: str | None
    """In one sentence."""


class Trend(TypedDict):
    """Whether the fault gets more frequent."""

    direction: Direction
    """Which way."""
    z: float | None
    """Laplace statistic."""
    p_value: Share | None
    """Its p."""
    words: str
    """In one sentence."""


_FaultSources = TypedDict(
    "_FaultSources",
    {"from": Annotated[list[str], Shape("Where it was listed: dm1, dm2, dm12, hand, ...")]},
)


class Fault(_FaultSources):
    """One code of one controller of one machine, or one symptom."""

    fault: Identifier
    """The fault."""
    kind: FaultKind
    """What sort of code."""
    event: Identifier | None
    """Shared by faults of one common instant."""
    controller: Identifier | None
    """The place that reports it; null for what was written down by hand."""
    controller_text: str | None
    """The place in words: its label, else its function."""
    channel: str | None
    """Channel of the last recording, a label only."""
    address: Address | None
    """Source address last used."""
    name: NameHex | None
    """NAME of the box that reports it now."""
    spn: Spn | None
    """Suspect parameter number."""
    fmi: Fmi | None
    """Failure mode identifier."""
    spn_candidates: list[Spn]
    """What the number may be, where the sender's conversion method is not settled."""
    code: str | None
    """P-code, or a hand-written or blink code."""
    text: str
    """In plain words."""
    own_text: str | None
    """The owner's own text for it, shown as such."""
    state: FaultState
    """As far as the book knows."""
    stale: bool
    """Known only as an old memory."""
    lamps: Lamps
    """Lit in every DM1 that lists the fault."""
    lamps_sure: Lamps
    """Only what it lit when listed alone or by DM31."""
    first_seen: Time | None
    """First report of it in the book."""
    first_seen_at_s: Seconds | None
    """The same from the first frame of that visit."""
    last_seen: Time | None
    """Last report of it in the book."""
    last_seen_at_s: Seconds | None
    """The same from the first frame of that visit."""
    visits: list[Identifier]
    """Visits that showed it."""
    freeze_frames: list[FreezeFrame]
    """Conditions stored with it."""
    spells: list[Spell]
    """As reported, never joined."""
    counts: list[Counts]
    """Occurrence counts in time order; a heard clear adds an entry with 0."""
    setting: Setting | None
    """When it starts."""
    root: Identifier | None
    """The fault this one follows from."""
    root_words: str | None
    """Why it is said to follow from that."""
    unrecorded: list[Unrecorded]
    """What its counts tell of times when nobody was recording."""
    suspects: list[Suspect]
    """Candidate causes, likeliest first."""
    probability_other: Share | None
    """Chance of 'none of these'."""
    cannot_tell: bool
    """No suspect stands out."""
    not_judged: list[str]
    """What could not be judged here, and why; it counts neither way."""
    known_here: list[str]
    """What people of this farm found it to be, here or on a sister machine."""
    advice: Advice | None
    """What if this is on."""
    checks: list[Check]
    """What to check, in order."""
    followups: list[Followup]
    """Did the repairs hold."""
    trend: Trend | None
    """Whether it gets more frequent."""
    events: list[Happening]
    """Swaps, clears and the like on its line."""


class Repair(TypedDict):
    """Something done to cure a fault."""

    repair: Identifier
    """The repair."""
    hours: float | None
    """Engine hours at which it was done."""
    date: Time | None
    """When it was done; midnight UTC stands for the day."""
    text: str
    """What was done."""
    faults: list[Identifier]
    """The faults it was meant to cure."""


class LampWithoutCode(TypedDict):
    """A lamp lit while its sender lists no fault."""

    visit: Identifier
    """The visit."""
    channel: str | None
    """Channel of the recording."""
    address: Address
    """The sender."""
    lamps: Lamps
    """Which lamps."""
    start: Time | None
    """First such report."""
    start_at_s: Seconds | None
    """The same from the first frame."""
    end: Time | None
    """Last such report."""
    end_at_s: Seconds | None
    """The same from the first frame."""


class MachineFaults(TypedDict):
    """A machine with its faults and repairs."""

    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    advice: AdviceClass | None
    """What it may do now."""
    as_of: Time | None
    """The moment that is judged for."""
    words: str | None
    """What it may do, in one line."""
    because: list[str]
    """Why it is judged so."""
    faults: list[Fault]
    """Its faults, what to look at first first."""
    odd_readings: list[OddReading]
    """Readings that make no physical sense, faults or not, the latest first."""
    drifts: list[Drift]
    """Sensors that have moved from what they used to tell."""
    power_limits: list[PowerLimit]
    """When its power was limited, the latest first."""
    repairs: list[Repair]
    """Its repairs, in order."""
    lamp_without_code: list[LampWithoutCode]
    """Lamps that no listed fault explains."""


class FaultsDocument(TypedDict):
    """`shearbolt faults`: what is wrong with which machine."""

    schema: Literal["shearbolt/faults/1"]
    """Which document this is."""
    machines: list[MachineFaults]
    """Machines with something to say (with --all, every machine)."""


class FaultDocument(Fault):
    """`shearbolt fault ID`: one fault."""

    schema: Literal["shearbolt/fault/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    repairs: list[Repair]
    """Repairs meant to cure it."""

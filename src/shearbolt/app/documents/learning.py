"""Documents of learning from a machine: its healthy baseline, and signals found by experiments."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias, TypedDict

from shearbolt.app.documents.live import ListenAsked
from shearbolt.app.documents.values import (
    Address,
    Count,
    Identifier,
    Pgn,
    Refused,
    Seconds,
    Share,
    Spn,
    Time,
)

StepState: TypeAlias = Literal["done", "not_done", "not_told"]
Verdict: TypeAlias = Literal["odd", "doubtful", "as_before", "not_compared"]
LearntState: TypeAlias = Literal["candidate", "learnt", "dropped"]


class GuidedStep(TypedDict):
    """What to do now, in a guided round or experiment."""

    number: Count
    """Which step, from 1."""
    of: Count
    """How many there are."""
    words: str
    """What to do."""
    seconds: float
    """How long it takes."""
    cautions: list[str]
    """What can hurt someone; only where it has not just been said."""


class ShowGuided(Protocol):
    """Shown each step when it is to be done."""

    def __call__(self, step: GuidedStep, /) -> None:
        """Take the step."""


def show_no_guiding(step: GuidedStep) -> None:
    """A guided round that nobody watches."""


@dataclass(frozen=True, slots=True)
class BaselineAsked:
    """What baseline to make: of a visit in the book, live, or none (then the kept one is shown)."""

    machine: str
    visit: str | None = None
    live: ListenAsked | None = None


@dataclass(frozen=True, slots=True)
class LearnAsked:
    """What to learn, and from what."""

    machine: str
    what: str | None = None
    """What it follows, in words; None: the experiment's own words."""
    visit: str | None = None
    at: tuple[str, ...] = ()
    """Instants of the prompts: ISO 8601, or seconds from the first frame; the first one switched it
    on, the next one off, and so on."""
    experiment: str | None = None
    """A guided experiment."""
    follows: str | None = None
    """A known quantity, for passive matching."""
    live: ListenAsked | None = None


class BaselineStep(TypedDict):
    """One step of the round."""

    step: str
    """Its name."""
    words: str
    """What to do."""
    state: StepState
    """Whether the visit shows it; `not_told`: this machine does not tell what it is known by."""
    seconds: float
    """How long its conditions held at a stretch, at most."""
    needed_s: float
    """How long they have to."""
    missing: list[str]
    """Readings for want of which it cannot be known."""
    start: Time | None
    """When it began."""
    start_at_s: Seconds | None
    """The same from the first frame."""
    end: Time | None
    """When it ended."""
    end_at_s: Seconds | None
    """The same from the first frame."""
    cautions: list[str]
    """What can hurt someone in it."""


class BaselineReading(TypedDict):
    """What one reading was in one step."""

    step: str
    """The step."""
    quantity: str
    """Name of the quantity."""
    text: str
    """In plain words."""
    spn: Spn
    """Parameter that told it."""
    address: Address
    """Who sent it."""
    value: float
    """Median (or extreme) in the step."""
    unit: str
    """Its unit."""
    spread: float
    """Standard deviation within the step."""
    seconds: Count
    """Seconds with a number."""


class BaselineDifference(TypedDict):
    """One reading of a later visit against the baseline."""

    visit: Identifier
    """The later visit."""
    step: str
    """The step."""
    quantity: str
    """Name of the quantity."""
    spn: Spn
    """Parameter that told it."""
    address: Address
    """Who sent it."""
    value: float
    """What it was."""
    baseline: float
    """What it was in the baseline."""
    difference: float
    """Value less baseline."""
    unit: str
    """Unit of all three."""
    verdict: Verdict
    """`not_compared`: something else was not as it was then."""
    words: str
    """In one sentence."""


class BaselineDocument(TypedDict):
    """`shearbolt baseline`: a machine's own healthy reference, and what differs from it since."""

    schema: Literal["shearbolt/baseline/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    visit: Identifier | None
    """The visit that it rests on, null: none is kept yet."""
    made: Time | None
    """When it was made."""
    kept_now: bool
    """It was made by this command."""
    earlier: Count
    """Earlier baselines that are still in the book."""
    steps: list[BaselineStep]
    """The round: what the visit shows of it, or what is to be done."""
    readings: list[BaselineReading]
    """The reference."""
    differences: list[BaselineDifference]
    """Later visits against it, the latest first; what is as before is left out."""
    refused: list[Refused]
    """What was heard live and could not be filed, or is filed and shows too few steps."""
    words: list[str]
    """What else is to be said."""


class LearntSignal(TypedDict):
    """A bit or number of a group that is not public, as far as it is learnt."""

    learnt: Identifier
    """The entry."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    what: str
    """What it follows, in words."""
    state: LearntState
    """`candidate` after one session, `learnt` after two, `dropped` when it did not come again."""
    sessions: Count
    """Sessions that found it."""
    p_value: Share | None
    """Chance of a find as good as this one where nothing follows."""
    pgn: Pgn
    """Parameter group."""
    destination: Address | None
    """Whom it is sent to; null: a broadcast group."""
    address: Address
    """Who sends it."""
    controller: Identifier | None
    """The place that sends it."""
    start_byte: Count
    """First byte, from 1."""
    start_bit: Count
    """Its lowest bit in that byte, from 1."""
    length_bits: Count
    """How many bits it has."""
    inverted: bool | None
    """It is 0, or low, while it is so; null: not known."""
    delay_s: float | None
    """Median time from the command to its change."""
    words: str
    """In one sentence."""


class LearnPrompt(TypedDict):
    """One command of the experiment."""

    at: Time | None
    """When it was given."""
    at_s: Seconds | None
    """The same from the first frame."""
    state: Literal[0, 1]
    """1: on."""


class LearnMatch(TypedDict):
    """A place that went with the commands, or with a known quantity."""

    pgn: Pgn
    """Parameter group."""
    destination: Address | None
    """Whom it is sent to; null: a broadcast group."""
    address: Address
    """Who sends it."""
    start_byte: Count
    """First byte, from 1."""
    start_bit: Count
    """Its lowest bit in that byte, from 1."""
    length_bits: Count
    """How many bits it has."""
    score: float
    """Experiment: 0 to 1; passive: rank correlation."""
    p_value: Share
    """Adjusted for everything that was looked at."""
    inverted: bool
    """The other way round."""
    agreeing: Count | None
    """Stretches in which it showed what was asked for; null: passive."""
    stretches: Count | None
    """Of so many."""
    delay_s: float | None
    """Median time from the command, or of the quantity, to its change."""
    delay_low_s: float | None
    """Shortest."""
    delay_high_s: float | None
    """Longest."""
    scale: float | None
    """Passive: quantity = raw x scale + offset, a first guess."""
    offset: float | None
    """The same."""


class LearnDocument(TypedDict):
    """`shearbolt learn`: what one session found, and what it makes of earlier finds."""

    schema: Literal["shearbolt/learn/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    what: str
    """What was looked for."""
    method: Literal["experiment", "passive"]
    """By commands, or by following a known quantity."""
    visit: Identifier | None
    """The visit; null: nothing was heard."""
    counted: bool
    """False: this visit had been a session of it before, or it was no sound experiment."""
    prompts: list[LearnPrompt]
    """The commands."""
    looked_at: Count
    """Bits and numbers judged."""
    left_out: Count
    """Counters and checksums recognised."""
    p_smallest: Share | None
    """The smallest p that this session could give; null: passive."""
    amiss: str | None
    """Why nothing could be found, as a key; null: it was sound."""
    found: list[LearnMatch]
    """Best first."""
    signals: list[LearntSignal]
    """Everything kept of this, after the session."""
    refused: list[Refused]
    """What was heard and could not be filed."""
    words: list[str]
    """What came of it."""


class ExperimentShown(TypedDict):
    """A guided experiment that there is."""

    experiment: str
    """Its name."""
    what: str
    """What it finds."""
    first: str
    """What to do before the first command."""
    on: str
    """The command for on."""
    off: str
    """The command for off."""
    times: Count
    """How often."""
    hold_s: float
    """How long each is held, about."""
    cautions: list[str]
    """What can hurt someone."""


class LearntDocument(TypedDict):
    """`shearbolt learn --list`: what is learnt, and what experiments there are."""

    schema: Literal["shearbolt/learnt/1"]
    """Which document this is."""
    signals: list[LearntSignal]
    """Learnt signals, candidates and dropped ones."""
    experiments: list[ExperimentShown]
    """Guided experiments."""

"""What a caller hands to a use case beside its plain arguments: wording and progress."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

Units: TypeAlias = Literal["metric", "us"]
"""Units of the sentences; numbers in documents stay metric, with their unit beside them."""


@dataclass(frozen=True, slots=True)
class Wording:
    """How the sentences of a document are made: `--lang` and `--units`."""

    lang: str = "en"
    """Language tag; what is not translated is said in English."""
    units: Units = "metric"
    """Units in sentences."""


PLAIN_WORDING = Wording()
"""English, metric."""


class Progress(Protocol):
    """Told how far a long piece of work has come."""

    def __call__(self, done_bytes: int, total_bytes: int, words: str) -> None:
        """Take note: `done_bytes` of `total_bytes` (0: not known), and what is being done."""


def no_progress(done_bytes: int, total_bytes: int, words: str) -> None:
    """Progress that nobody watches."""


@dataclass(frozen=True, slots=True)
class NoteAsked:
    """A note as typed by hand, before anybody understood it."""

    text: str
    """The code off the dash, symptom or event, in the person's words."""
    machine: str | None = None
    """Machine, by identifier or name."""
    hours: float | None = None
    """Engine hours on the meter."""
    date_us: int | None = None
    """When it was, as an instant; midnight UTC of a day stands for the day."""
    doing: str | None = None
    """What the machine was doing."""
    hot_cold: Literal["hot", "cold"] | None = None
    """Whether it was warm by then."""
    after_start: str | None = None
    """How long after the start, in the person's words ('20 min', 'at once')."""
    photo: str | None = None
    """File with a picture, to be kept as evidence."""
    voice: str | None = None
    """File with a voice clip, to be kept as evidence."""
    who: str | None = None
    """Who writes this down."""
    own_words: Literal["symptom", "event"] | None = None
    """The person says that it is a symptom or an event in words of their own: words that fit none
    known are kept as they are."""


@dataclass(frozen=True, slots=True)
class SignalsAsked:
    """Which samples of a visit are wanted, and where to write them."""

    visit: str
    """The visit, by identifier."""
    spns: tuple[int, ...] = ()
    """Only these suspect parameters; empty: all."""
    address: int | None = None
    """Only from this source address."""
    from_: str | None = None
    """Not before: an ISO 8601 time, or seconds from the first frame."""
    to: str | None = None
    """Not after: an ISO 8601 time, or seconds from the first frame."""
    csv: str | None = None
    """File to write as CSV."""
    parquet: str | None = None
    """File to write as Parquet."""


@dataclass(frozen=True, slots=True)
class OwnCodeAsked:
    """A text of the owner's for a maker's code, copied from the machine's manual."""

    spn: int
    """Suspect parameter number."""
    fmi: int | None
    """Failure mode identifier; None: any."""
    text: str
    """What the manual says, in the owner's words."""
    manufacturer_code: int | None = None
    """Manufacturer code of the sender's NAME (SAE J1939-81)."""
    function: int | None = None
    """Function of the sender's NAME (SAE J1939-81)."""
    page: str | None = None
    """Page of the manual."""

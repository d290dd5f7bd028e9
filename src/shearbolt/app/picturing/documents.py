"""What a picture shows, as plain values: the figures are in the units that the reader wants, and
the words are made. `shearbolt.pictures` draws them, and makes the tables beside them."""

from __future__ import annotations

from typing import Literal, TypeAlias, TypedDict

from shearbolt.app.documents.values import Identifier, Time


class Limit(TypedDict):
    """A threshold of the fault's setting."""

    op: Literal["<", ">"]
    """On which side of it the fault starts."""
    value: float
    """Where it lies."""
    low: float | None
    """Lower end of its interval of 95 %."""
    high: float | None
    """Upper end of it."""
    words: str
    """The condition in words: 'above 104 °C'."""


class Strip(TypedDict):
    """One reading over time."""

    name: str
    """In plain words."""
    unit: str
    """As it is shown; '' where there is none."""
    own: bool
    """It is the reading that the fault is about."""
    levels: list[str]
    """Words of the values 0, 1, ...; empty for a reading that is measured."""
    at_s: list[float]
    """Moments, from the start of the spell."""
    value: list[float | None]
    """Readings; None ends what is joined: from there to the next moment nothing was told."""
    at_start: float | None
    """The reading when the fault came: the last one before, as long as it may count."""
    limits: list[Limit]
    """Thresholds of the setting on it."""


class Span(TypedDict):
    """A stretch in which a fault was listed."""

    from_s: float
    """From the start of the spell that is shown."""
    to_s: float
    """Its last listing."""
    from_known: bool
    """False: it was on already when its sender was first heard."""


class SpellPicture(TypedDict):
    """One spell of a fault in its signals."""

    what: Literal["spell"]
    """Which picture this is."""
    about: Identifier
    """The fault."""
    machine_name: str
    """What its people call the machine."""
    title: str
    """In plain words."""
    at: Time | None
    """When the spell began; None: not dated."""
    lines: list[str]
    """What is to be said of it, in sentences."""
    from_s: float
    """Where the picture begins, from the start of the spell."""
    to_s: float
    """Where it ends."""
    span: Span | None
    """The spell; None: no recording caught the fault while it was on."""
    others: list[Span]
    """Other spells of the fault that lie in the picture."""
    strips: list[Strip]
    """At most six."""


class Axis(TypedDict):
    """A quantity in steps."""

    name: str
    """In plain words."""
    unit: str
    """As it is shown; '' where there is none."""
    edges: list[float]
    """Edges of the steps, rising; one more than there are steps."""
    levels: list[str]
    """A word for each step; empty for a quantity that is measured."""
    limit: Limit | None
    """Threshold of the setting on it."""
    inside: list[bool]
    """Steps that the setting names, where it names states; empty otherwise."""


class Start(TypedDict):
    """Where a fault started."""

    x: float
    """On the first axis."""
    y: float | None
    """On the second axis; None where there is one axis alone."""


class Panel(TypedDict):
    """Where a machine spent its time, over one quantity or two."""

    x: Axis
    """The first quantity."""
    y: Axis | None
    """The second one; None: one alone."""
    hours: list[list[float]]
    """Hours in each step: rows by y (one row without), columns by x."""
    starts: list[Start]
    """Starts whose conditions are known."""
    unknown_starts: int
    """Starts at which the quantity was not told."""


class ConditionsPicture(TypedDict):
    """The condition map: where a machine spent its time, and where the fault started."""

    what: Literal["conditions"]
    """Which picture this is."""
    about: Identifier
    """The fault."""
    machine_name: str
    """What its people call the machine."""
    title: str
    """In plain words."""
    lines: list[str]
    """What is to be said of it, in sentences."""
    panels: list[Panel]
    """At most two."""


Scale: TypeAlias = Literal["hours", "date", "order"]
"""What a line of life is drawn over: engine hours, dates (s since 1970), or the visits' order."""


class Stretch(TypedDict):
    """A part of a line of life."""

    start: float
    """On its scale."""
    end: float
    """On its scale; the same as `start` for a moment."""
    words: str
    """What it was, in a few words."""


class Happened(TypedDict):
    """Something that happened once or several times at one place of a line of life."""

    at: float
    """On its scale."""
    kind: Literal["spell", "memory", "hand", "cleared"]
    """A spell seen; only listed in memory; written down by hand; cleared."""
    times: int
    """How often, there."""
    words: str
    """What it was, in a few words."""


class Unseen(TypedDict):
    """Starts that nobody recorded, or a count set back that nobody heard."""

    start: float | None
    """On the scale; None: not known, from the beginning."""
    end: float | None
    """On the scale; None: not known."""
    times: str
    """How often: '4×', '2 to 5×', 'at least 3×', 'any number', 'set back'."""
    words: str
    """In one sentence."""


class LifePicture(TypedDict):
    """A fault's life."""

    what: Literal["life"]
    """Which picture this is."""
    about: Identifier
    """The fault."""
    machine_name: str
    """What its people call the machine."""
    title: str
    """In plain words."""
    lines: list[str]
    """What is to be said of it, in sentences."""
    scale: Scale
    """What it is drawn over."""
    low: float
    """Where it begins."""
    high: float
    """Where it ends."""
    looks: list[Stretch]
    """Visits: when the machine was looked at."""
    happened: list[Happened]
    """What the visits told, in order."""
    unseen: list[Unseen]
    """What only counts tell."""
    repairs: list[Stretch]
    """What was done against it, in order."""


class Odds(TypedDict):
    """One candidate cause."""

    words: str
    """In plain words."""
    before: float | None
    """Its chance before the evidence; None: not told."""
    now: float
    """Its chance."""
    note: str
    """More about it, or ''."""


class OddsPicture(TypedDict):
    """Candidate causes with their odds."""

    what: Literal["odds"]
    """Which picture this is."""
    about: Identifier
    """The fault."""
    machine_name: str
    """What its people call the machine."""
    title: str
    """In plain words."""
    lines: list[str]
    """What is to be said of it, in sentences."""
    odds: list[Odds]
    """The likeliest first, 'none of these' last."""


class SootPicture(TypedDict):
    """Soot in the particulate filter, and when it was burned off."""

    what: Literal["soot"]
    """Which picture this is."""
    about: Identifier
    """The machine."""
    machine_name: str
    """What its people call the machine."""
    title: str
    """In plain words."""
    lines: list[str]
    """What is to be said of it, in sentences."""
    scale: Literal["hours", "recorded"]
    """Engine hours, or hours recorded, one visit after the other."""
    low: float
    """Where it begins."""
    high: float
    """Where it ends."""
    unit: str
    """Of the soot."""
    at: list[float]
    """Moments on the scale."""
    value: list[float | None]
    """Soot; None ends what is joined."""
    looks: list[Stretch]
    """Visits that tell of it."""
    regenerations: list[Stretch]
    """Active regenerations."""


Picture: TypeAlias = SpellPicture | ConditionsPicture | LifePicture | OddsPicture | SootPicture
"""Any of them; `what` tells which."""
FaultView: TypeAlias = Literal["spell", "conditions", "life", "odds"]
"""Pictures of a fault."""
MachineView: TypeAlias = Literal["soot"]
"""Pictures of a machine."""

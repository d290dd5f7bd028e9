"""Documents of what lies ahead: service due, the work list, forecasts, costs, Sunday's page."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.values import AdviceClass, Cause, Count, Identifier, Share, Time


class ServiceEntry(TypedDict):
    """Something that is due again and again, and when it is due next."""

    job: Identifier
    """The service job."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    text: str
    """What is to be done, in the owner's words."""
    every_hours: float | None
    """Engine hours between two times."""
    every_days: float | None
    """Days between two times."""
    minutes: float | None
    """Time it takes."""
    last_hours: float | None
    """Engine hours at which it was last done."""
    last_date: Time | None
    """When it was last done; midnight UTC stands for the day."""
    due: Literal["overdue", "before_window_ends", "later", "not_known"]
    """Whether it is due."""
    left_hours: float | None
    """Engine hours until it is due; negative: past."""
    left_days: float | None
    """Days until it is due by date alone; negative: past."""
    expected: Time | None
    """When it is expected to be due by the hours worked lately, or by date."""
    why: Literal["hours", "date"] | None
    """Which of the two comes first."""
    words: str
    """In one sentence."""


class ServiceJobDocument(ServiceEntry):
    """`shearbolt service add` and `service done`: the job as it stands now."""

    schema: Literal["shearbolt/service-job/1"]
    """Which document this is."""
    service_done: Identifier | None
    """The entry of this time, where one was filed."""


class ServiceDocument(TypedDict):
    """`shearbolt service list`: what is due, the most urgent first."""

    schema: Literal["shearbolt/service/1"]
    """Which document this is."""
    window_hours: float
    """Engine hours that the machines must work next."""
    window_days: float
    """Days that this takes."""
    services: list[ServiceEntry]
    """The most urgent first."""


class NamedFault(TypedDict):
    """A fault by its name."""

    fault: Identifier
    """The fault."""
    text: str
    """In plain words."""


class WorkJob(TypedDict):
    """One job for the shop, and what it buys."""

    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    fault: Identifier
    """The fault that it is against."""
    text: str
    """That fault in plain words."""
    words: str
    """What to do."""
    cause: Cause
    """The likeliest cause, which it puts right."""
    probability: Share
    """Odds of that cause: the chance that the job cures the fault."""
    minutes: float
    """Time it is reckoned to take, the check before it included."""
    parts: float | None
    """Cost of parts by the owner's figures."""
    stands_now: bool
    """The fault stops the machine now."""
    safety: bool
    """It concerns a safety function: it comes first, whatever it costs."""
    by_yourself: bool
    """False: licensed practice, or a safety function; somebody qualified does it."""
    chance_before: Share
    """Chance of a stop by this fault in the window as things are."""
    chance_after: Share
    """The same when the job is done."""
    risk_taken: Share
    """Their difference."""
    risk_per_hour: float
    """Risk taken away for an hour of work."""
    hours_saved: float
    """Standstill expected to be saved in the window."""
    value: float | None
    """Cost of that standstill less the job's own; null without the owner's figures."""
    per_cost: float | None
    """Cost of standstill saved for one unit spent; null without the owner's figures."""
    fits: bool
    """It fits into the shop's time after the jobs before it."""
    service: list[str]
    """Service due on the same machine, to be done with it."""
    cautions: list[str]
    """What can hurt someone, and how to avoid it."""


class WorkDocument(TypedDict):
    """`shearbolt work`: what the shop does first, before a stretch of work."""

    schema: Literal["shearbolt/work/1"]
    """Which document this is."""
    window_hours: float
    """Engine hours of work ahead."""
    window_days: float
    """Days that this takes."""
    shop_hours: float | None
    """Hours that the shop has until then; null: not limited."""
    currency: str | None
    """The owner's money; null without the owner's figures."""
    jobs: list[WorkJob]
    """What buys most for its time and cost first; safety before all."""
    service: list[ServiceEntry]
    """Service due before the window ends."""
    not_looked_at: list[str]
    """Machines whose last look is too old to say anything of today."""
    words: list[str]
    """What the order rests on."""


class ForecastDocument(TypedDict):
    """`shearbolt forecast`: the chance of getting through the next hours."""

    schema: Literal["shearbolt/forecast/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    hours: float
    """Engine hours ahead."""
    chance: Share
    """Chance of no stop and no limited power."""
    low: Share
    """Lower end of its 90 % interval."""
    high: Share
    """Upper end of its 90 % interval."""
    base_rate: Share
    """The same by all machines of the yard taken together."""
    own_stops: float
    """Stops of this machine that this book knows about, less those cured since."""
    own_hours: float
    """Engine hours from the first look to the last."""
    siblings: Count
    """Other machines of its kind."""
    standing: list[NamedFault]
    """Faults that stop or limit it now: the chance holds once they are cured."""
    service: list[ServiceEntry]
    """Service due before these hours are over."""
    words: list[str]
    """In sentences."""


class CostsDocument(TypedDict):
    """`shearbolt costs`: what things cost this owner."""

    schema: Literal["shearbolt/costs/1"]
    """Which document this is."""
    currency: str | None
    """What the money is called."""
    call_out: float | None
    """Fixed part of a call."""
    hourly_rate: float | None
    """An hour of the one who is called."""
    distance_km: float | None
    """Way of the one who is called, one way."""
    per_km: float | None
    """A kilometre of that way."""
    own_hour: float | None
    """An hour of one's own time."""
    standstill_hour: float | None
    """An hour's standstill, as the season stands."""
    wait_hours: float | None
    """Working hours until the one who is called is there."""
    called_hours: float | None
    """Hours that the one who is called takes."""
    parts: float | None
    """What a part usually costs."""
    fetch_hours: float | None
    """Working hours until a part is there."""
    missing: list[str]
    """Options of this command that must still be given before costs can be compared."""


class CourseOdds(TypedDict):
    """The odds of one cause that fed the costs."""

    cause: Cause
    """Cause class."""
    words: str
    """In plain words."""
    probability: Share
    """Its odds."""
    own_hours: float
    """Hours reckoned for doing it oneself, the check before it included."""
    parts: float
    """Parts reckoned for it."""


class CourseCost(TypedDict):
    """One course, and what it is expected to cost."""

    course: Literal["call", "yourself", "first_job_then_call"]
    """Which course."""
    words: str
    """The course in one sentence."""
    expected: float
    """Expected cost."""
    worst: float
    """Cost if none of one's own jobs helps and the call comes on top."""
    standstill_hours: float
    """Expected standstill."""
    order: list[Cause]
    """Causes in the order of one's own jobs."""
    chance_without_call: Share
    """Chance that no call is needed."""


class CoursesDocument(TypedDict):
    """`shearbolt courses`: do it yourself, or call."""

    schema: Literal["shearbolt/courses/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    fault: Identifier
    """The fault; the root of the one that was asked for, where it follows from another."""
    text: str
    """In plain words."""
    offered: bool
    """False: no such arithmetic here, and why stands in `words`."""
    not_offered_because: str | None
    """Why not, as a key."""
    currency: str | None
    """The owner's money."""
    costs: list[CourseCost]
    """The courses, the cheapest first."""
    odds: list[CourseOdds]
    """The odds that fed them."""
    probability_other: Share | None
    """Odds of none of these: then only a call ends it."""
    break_even_probability: Share | None
    """Odds of the first job's cause above which trying it before a call pays; null: never."""
    break_even_standstill: float | None
    """Cost of an hour's standstill at which calling and doing it all oneself cost the same."""
    advice: AdviceClass | None
    """What to do with the machine meanwhile."""
    cautions: list[str]
    """What can hurt someone, whoever does the work."""
    words: list[str]
    """In sentences."""


class SundayMachine(TypedDict):
    """One machine on Sunday's page: at most two lines."""

    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    advice: AdviceClass | None
    """What it may do now; null where nothing can be said."""
    looked_at: bool
    """Looked at within 20 engine hours and 14 days."""
    hours_since: float | None
    """Engine hours since the last look."""
    days_since: float | None
    """Days since the last look."""
    says: str
    """First line: how it stands."""
    do: str
    """Second line: something to do; service due stands beside it."""
    minutes: float
    """How long that takes; under fifteen."""
    service: list[ServiceEntry]
    """Service overdue, or due before the window ends, the most urgent first."""


class SundayDocument(TypedDict):
    """`shearbolt sunday`: one page for the week."""

    schema: Literal["shearbolt/sunday/1"]
    """Which document this is."""
    as_of: Time
    """The moment that is judged for."""
    window_hours: float
    """Engine hours of work ahead for which service due is shown."""
    window_days: float
    """Days ahead for which service due is shown."""
    machines: list[SundayMachine]
    """What needs attention first first."""
    minutes: float
    """All that is to be done together."""


class MemoryShows(TypedDict):
    """One thing that the memory of an unknown machine shows."""

    about: Literal[
        "hours",
        "distance",
        "identity",
        "codes",
        "cleared",
        "lamp",
        "readiness",
        "filter",
        "use",
        "not_told",
    ]
    """What it is about."""
    shows: str
    """What the memory shows."""
    innocent: list[str]
    """Explanations that blame nobody."""
    ask: str | None
    """What to ask the seller."""


class SecondhandDocument(TypedDict):
    """`shearbolt secondhand`: what an unknown machine's memory tells."""

    schema: Literal["shearbolt/secondhand/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What it is called here."""
    visit: Identifier | None
    """The look that this rests on."""
    visits: Count
    """Recordings of it in the book."""
    shows: list[MemoryShows]
    """What its memory shows."""
    questions: list[str]
    """What to ask the seller."""
    words: list[str]
    """What this can say, and what it cannot."""

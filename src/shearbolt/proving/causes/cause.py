"""True causes as data: what they are, what they do to a machine, how they grow, what cures them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Literal, TypeAlias

from shearbolt.proving.plight import HEALTHY, Habits, Health, Plight
from shearbolt.proving.truth import Cause as CauseClass

Growth: TypeAlias = Literal["sudden", "steady", "creeping"]
"""How a cause usually comes: at once, over some tens of hours, over hundreds."""
Worsen: TypeAlias = Callable[[Plight, float], Plight]
"""Makes a plight worse by one cause at a severity from 0 (nothing) to 1 (as bad as it gets)."""

ENGINES = (
    "big_tractor", "new_tractor", "utility_tractor", "forager", "telehandler", "truck", "pickup",
)  # fmt: skip
"""Keys of the machines with an engine."""
FILTERS = ("new_tractor", "truck", "pickup")
"""Those with particulate filter and SCR."""
TRACTORS = ("big_tractor", "new_tractor", "utility_tractor")
GEARBOXES = ("big_tractor", "new_tractor", "telehandler", "truck")
"""Those whose gearbox has a controller of its own."""
HYDRAULIC = ("big_tractor", "new_tractor", "forager", "telehandler")


@dataclass(frozen=True, slots=True)
class Cause:
    """One form that one cause class takes."""

    key: str
    """`class.form`, with what it touches at the end where there are several."""
    cause_class: CauseClass
    words: str
    """What is the matter, plainly."""
    worsen: Worsen
    machines: tuple[str, ...] = ENGINES
    """Keys of the machines that can have it."""
    shows: tuple[tuple[int, int], ...] = ()
    """SPN and FMI that a controller which watches them sets once it is bad enough."""
    affects: tuple[int, ...] = ()
    """SPNs whose readings it changes."""
    growth: Growth = "steady"
    returns_h: float = 0.0
    """Hours after a cure in which it is back by itself (chaff settles again); 0: it stays cured."""


@dataclass(frozen=True, slots=True)
class Course:
    """How bad a cause is over engine hours."""

    from_h: float
    """Engine hours at which it begins."""
    grows_h: float = 0.0
    """Hours until it is at its peak; 0: at once."""
    peak: float = 1.0
    """Severity at its peak, 0 to 1."""
    bend: float = 1.0
    """Above 1 it grows slowly first, below 1 fast first."""

    def severity(self, hours: float) -> float:
        """Return the severity (0 to 1) at engine hours."""
        if hours < self.from_h:
            return 0.0
        if self.grows_h <= 0.0:
            return self.peak
        share = min(1.0, (hours - self.from_h) / self.grows_h)
        return float(self.peak * share**self.bend)


@dataclass(frozen=True, slots=True)
class Repair:
    """Something done to a machine; whether it cures depends on what is truly the matter."""

    key: str
    words: str
    """As someone writes it into the book."""
    cures: Mapping[str, float]
    """Share of the trouble that it takes away, by the cause's key, or the beginning of it up to a
    full stop."""
    brings: tuple[str, ...] = ()
    """Causes that it leaves behind where it is not finished with care."""
    minutes: int = 30

    def cure(self, cause_key: str) -> float:
        """Return what share of one cause it takes away (0: it does nothing for it)."""
        best = 0.0
        for key, share in self.cures.items():
            if cause_key == key or cause_key.startswith(key + "."):
                best = max(best, share)
        return best


@dataclass(frozen=True, slots=True)
class Active:
    """A cause at work in one machine."""

    cause: Cause
    course: Course
    repairs: tuple[tuple[float, Repair], ...] = field(default=())
    """Engine hours and what was done then, in order."""

    def severity(self, hours: float) -> float:
        """Return how bad it is at engine hours, after all repairs until then.

        A repair takes its share of what there was, also of what would still have grown; what comes
        back by itself does so over the cause's own hours.
        """
        left, regrown = 1.0, 0.0
        for at, repair in self.repairs:
            if at > hours or at < self.course.from_h:
                continue
            share = repair.cure(self.cause.key)
            left *= 1.0 - share
            if share > 0.0 and self.cause.returns_h > 0.0:
                regrown = self.course.peak * min(1.0, (hours - at) / self.cause.returns_h)
        return min(1.0, max(self.course.severity(hours) * left, regrown))


def plight_of(
    active: Iterable[Active], hours: float, base: Plight = HEALTHY, least: float = 0.01
) -> Plight:
    """Put all causes at work at some engine hours together into one plight.

    Causes below the severity `least` count as absent.
    """
    plight = base
    for one in active:
        severity = one.severity(hours)
        if severity >= least:
            plight = one.cause.worsen(plight, severity)
    return plight


def together(*worsens: Worsen) -> Worsen:
    """Return a worsening that is several at once."""

    def worsen(plight: Plight, severity: float) -> Plight:
        for one in worsens:
            plight = one(plight, severity)
        return plight

    return worsen


_SOUND = Health()
_BY_THE_BOOK = Habits()


def health(**worst: float) -> Worsen:
    """Return a worsening of mechanics or fluids: each field's value at severity 1.

    Shares multiply, so that two causes of one weakness add up; other fields add their distance from
    sound. Raises TypeError for a field that `Health` does not have.
    """
    known = {one.name for one in fields(Health)}
    if not worst.keys() <= known:
        raise TypeError(f"no such part of a machine's health: {sorted(worst.keys() - known)}")

    def worsen(plight: Plight, severity: float) -> Plight:
        new: dict[str, float] = {}
        for name, value in worst.items():
            sound, now = getattr(_SOUND, name), getattr(plight.health, name)
            if sound == 1.0:
                new[name] = now * (1.0 + (value - 1.0) * severity)
            else:
                new[name] = now + (value - sound) * severity
        return replace(plight, health=replace(plight.health, **new))

    return worsen


def habit(**worst: float | bool) -> Worsen:
    """Return a worsening of how the machine is used: each habit's value at severity 1.

    Yes-or-no habits are there from severity 0.2 on. Raises TypeError for a habit that `Habits` does
    not have.
    """
    known = {one.name for one in fields(Habits)}
    if not worst.keys() <= known:
        raise TypeError(f"no such habit: {sorted(worst.keys() - known)}")

    def worsen(plight: Plight, severity: float) -> Plight:
        new: dict[str, float | bool] = {}
        for name, value in worst.items():
            if isinstance(value, bool):
                new[name] = value and severity >= 0.2
            else:
                new[name] = max(getattr(plight.habits, name), value * severity)
        return replace(plight, habits=replace(plight.habits, **new))  # type: ignore[arg-type]

    return worsen

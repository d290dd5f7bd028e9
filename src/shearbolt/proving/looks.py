"""Making a look at a machine: what is recorded of a shift, who is plugged in and what is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from shearbolt.proving.controllers import (
    COMPONENT_IDENTIFICATION,
    HOURS,
    IMPLEMENT_BUS,
    SOFTWARE_IDENTIFICATION,
    VEHICLE_IDENTIFICATION,
    Controller,
    Machine,
)
from shearbolt.proving.diagnostic_packing import DM5, DM11, DM12
from shearbolt.proving.machines import SERVICE_TOOL, SERVICE_TOOL_ADDRESS
from shearbolt.proving.manners import manner_of
from shearbolt.proving.obd import RoadTrip
from shearbolt.proving.outing import Ask, Outing, Tool
from shearbolt.proving.packing import ADDRESS_CLAIM, DM2, DM4
from shearbolt.proving.plans import LookPlan, Part
from shearbolt.proving.shifts import ROUNDS, shift
from shearbolt.proving.trace import Phase

_LOGGER_FROM_S = 0.6
_TOOL_S = 1.15
"""A tester waits so long between two questions."""
FORMATS: Mapping[str, str] = {
    "log": "candump", "asc": "asc", "blf": "blf", "trc": "trc", "csv": "csv", "mf4": "mdf4",
}  # fmt: skip
"""Format by the ending of a file's name."""
_KEY_ON_ASKS: Mapping[str, tuple[tuple[int, tuple[int, ...], int], ...]] = {
    "big_tractor": ((23, (HOURS, HOURS, ADDRESS_CLAIM), 255), (23, (DM2,), 0)),
    "new_tractor": ((61, (VEHICLE_IDENTIFICATION,), 0),),
    "forager": ((49, (HOURS,), 0), (49, (VEHICLE_IDENTIFICATION,), 0)),
    "truck": ((49, (HOURS,), 255), (49, (VEHICLE_IDENTIFICATION,), 0)),
}  # fmt: skip
"""By the machine's key: what its own cluster or cab asks at key-on (asker, groups, asked)."""


@dataclass(frozen=True, slots=True)
class Look:
    """A recording of the season, ready to be played."""

    machine: str
    """Name of the machine."""
    started: datetime
    file_name: str
    file_format: str
    seed: int
    outing: Outing | None
    """None: a road vehicle without J1939."""
    trip: RoadTrip | None
    from_h: float
    """Engine hours of the season at its start."""
    part: str
    kind: str
    tester: bool
    seconds: float
    told: tuple[tuple[str, str, str, str], ...] = ()
    """Road vehicles: code, key of the cause, class and words."""

    @property
    def machines(self) -> tuple[Machine, ...]:
        """The machines that take part; none for a road vehicle."""
        return () if self.outing is None else self.outing.machines()


def phases_of(plan: LookPlan, kind: str, minutes: float, rng: np.random.Generator) -> list[Phase]:
    """Lay out what is recorded; `minutes` is the length of the whole shift (part 'whole')."""
    if plan.part == "whole":
        # The last idling comes on top of what is asked for.
        return list(shift(kind, max(2.0, minutes - 1.6), rng))
    head: list[Phase] = []
    tail: list[Phase] = []
    if plan.part == "start":
        head = [
            Phase("key_on", int(rng.integers(2, 6))),
            Phase("crank", int(rng.integers(2, 4))),
            Phase("idle", int(rng.integers(48, 64))),
        ]
    elif plan.part == "end":
        tail = [Phase("idle", int(rng.integers(10, 25))), Phase("key_off", 21)]
    if plan.clears:
        tail = [Phase("idle", 8), Phase("key_on", 22), Phase("key_off", 6)]
    if plan.regenerates:
        tail = [Phase("regenerate", min(110, plan.seconds // 2), soot_burner=True), *tail]
    left = plan.seconds - sum(one.seconds for one in (*head, *tail))
    return [*head, *_work(kind, max(20, left), plan.part), *tail]


def lead_of(kind: str, hours: float, rng: np.random.Generator) -> tuple[Phase, ...]:
    """Lay out what is lived from the turn of the key to a recording amid work."""
    return shift(kind, 60.0 * hours, rng, after_run_s=0)[:-1] if hours >= 0.02 else ()


_LIGHT = ("road", "yard", "town", "idle")


def _work(kind: str, seconds: int, part: Part) -> list[Phase]:
    """Cut a piece out of a day's round: activities in their order, shortened alike.

    After a start the machine first drives to its work; otherwise it is amid its main work.
    """
    stretches = ROUNDS[kind]
    usual = [(one.least_min + one.most_min) / 2.0 for one in stretches]
    places = range(len(stretches))
    if part == "start":
        first = next((p for p in places if stretches[p].activity in _LIGHT), 0)
    else:
        first = max(places, key=lambda p: (stretches[p].activity not in _LIGHT, usual[p]))
    order = [(first + place) % len(stretches) for place in places]
    # A short recording shows few activities, a long one all of them.
    few = order[: max(2, min(len(order), seconds // 45))]
    whole = sum(usual[place] ** 0.5 for place in few)
    out: list[Phase] = []
    for place in few:
        share = usual[place] ** 0.5 / whole
        out.append(Phase(stretches[place].activity, max(8, round(seconds * share))))
    spare = seconds - sum(one.seconds for one in out)
    last = out[-1]
    out[-1] = Phase(last.activity, max(5, last.seconds + spare))
    return out


def asks_of(
    machines: Sequence[Machine], plan: LookPlan, seconds: float, lead_s: float = 0.0
) -> tuple[tuple[Ask, ...], Tool | None]:
    """Return what is asked in a recording, and the tester where one is plugged in.

    `lead_s` before the recording the key was turned; instants count from there.
    """
    asks, tool = _asked(machines, plan, seconds)
    if tool is not None:
        tool = replace(tool, from_s=tool.from_s + lead_s)
    return tuple(replace(one, at_s=one.at_s + lead_s) for one in asks), tool


def _asked(
    machines: Sequence[Machine], plan: LookPlan, seconds: float
) -> tuple[tuple[Ask, ...], Tool | None]:
    """Return the same with instants from the start of the recording."""
    asks: list[Ask] = []
    if plan.part in ("start", "whole"):
        at_s = 3.4
        for asker, groups, asked in _KEY_ON_ASKS.get(machines[0].key, ()):
            for pgn in groups:
                asks.append(Ask(at_s, asker, pgn, asked))
                at_s += 0.9
    if not plan.tester:
        if plan.part in ("start", "whole") or plan.logger or not plan.asks_names:
            return tuple(asks), None
        tool = Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, _LOGGER_FROM_S)
        for number, channel in enumerate(_channels(machines)):
            asks.append(
                Ask(1.5 + 0.4 * number, SERVICE_TOOL_ADDRESS, ADDRESS_CLAIM, channel=channel)
            )
        asks.append(Ask(2.6, SERVICE_TOOL_ADDRESS, HOURS, 0))
        return tuple(asks), tool
    at_s = min(12.0, 0.1 * seconds) if plan.part != "start" else 14.0
    tool = Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, at_s)
    for channel in _channels(machines):
        at_s += 0.5
        asks.append(Ask(at_s, SERVICE_TOOL_ADDRESS, ADDRESS_CLAIM, channel=channel))
    for machine in machines:
        for controller in machine.controllers:
            for pgn in _questions(machine, controller):
                at_s += _TOOL_S
                if at_s < seconds - 45.0:
                    asks.append(
                        Ask(at_s, SERVICE_TOOL_ADDRESS, pgn, controller.address, controller.channel)
                    )
    if plan.clears:
        at_s = seconds - 17.0
        for controller in machines[0].controllers:
            asks.append(
                Ask(at_s, SERVICE_TOOL_ADDRESS, DM11, controller.address, controller.channel)
            )
            at_s += _TOOL_S
    return tuple(asks), tool


def _channels(machines: Sequence[Machine]) -> list[str]:
    return sorted({one.channel for machine in machines for one in machine.controllers})


def _questions(machine: Machine, controller: Controller) -> tuple[int, ...]:
    """Return what a tester asks one controller, if it is worth asking."""
    if controller.channel == IMPLEMENT_BUS and machine.build is not None:
        return ()
    manner = manner_of(machine.key, controller)
    asked = [
        pgn
        for pgn in (VEHICLE_IDENTIFICATION, COMPONENT_IDENTIFICATION, SOFTWARE_IDENTIFICATION)
        if pgn in controller.texts
    ]
    if any(one.pgn == HOURS for one in controller.groups):
        asked.append(HOURS)
    asked += [pgn for pgn in (DM2, DM12, DM4, DM5) if pgn in manner.answers]
    return tuple(asked)


def file_name(machine: str, plan: LookPlan, started: datetime, taken: set[str]) -> str:
    """Return a recording's name, one that is not taken yet; it is then."""
    slug = machine.removeprefix("the ").replace(" ", "_").replace("'", "")
    what = "tester" if plan.tester else "logger" if plan.logger else plan.kind or plan.part
    day = f"{started:%Y-%m-%d}"
    for number in range(1, 100):
        more = "" if number == 1 else f"_{number}"
        name = f"{day}_{slug}_{what}{more}.{plan.form}"
        if name not in taken:
            taken.add(name)
            return name
    raise ValueError(f"too many recordings of {machine} on {day}")


def format_of(form: str) -> str:
    """Return the format of a name's endings; raises KeyError for an unknown one."""
    return FORMATS[form.removesuffix(".gz").removesuffix(".zst")]


__all__ = ["FORMATS", "Look", "asks_of", "file_name", "format_of", "lead_of", "phases_of"]

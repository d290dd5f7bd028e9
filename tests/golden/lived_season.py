"""Part of the demo season, lived and filed in a book, for the golden tests."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tests.command_line import call

from shearbolt.app.demo import DemoSeason, Written, file_season
from shearbolt.app.writing_out import write_recording
from shearbolt.book import Book
from shearbolt.proving import GROUPS, DemoRecording, together
from shearbolt.proving.machines import TRUCK
from shearbolt.proving.plans import LookPlan, MachinePlan, Mending, Trouble
from shearbolt.proving.plight import HEALTHY, Plight
from shearbolt.proving.season import DEMO_SEED
from shearbolt.proving.season import Season as LivedSeason
from shearbolt.proving.yard import live_season

_BIG, _NEW = GROUPS[0]
_COUNTED = MachinePlan(
    TRUCK,
    11_640.0,
    troubles=(Trouble("wiring.chafed_vibration.100", 30.5, 0.0, 0.09),),
    mendings=(Mending(33.5, ("mend_wire",), "Cable mended", ((100, 4),)),),
    looks=(LookPlan(32.0, "work", 420, tester=True),),
)
"""A code that has come on some dozen times, and comes and goes while a tester listens."""
PLANS: tuple[tuple[MachinePlan, ...], ...] = (
    (replace(_BIG, looks=_BIG.looks[2:4]), replace(_NEW, looks=_NEW.looks[3:6])),
    (_COUNTED,),
    GROUPS[7],
    GROUPS[8],
)
"""Two tractors with the wagon, a truck, the old tractor and the pickup: all manners of
reporting and of counting, a swap, relative times, a tester, a road vehicle."""
LOOKS = sum(len(plan.looks) for group in PLANS for plan in group)


@dataclass(frozen=True, slots=True)
class Season:
    """The season in a book."""

    book: Path
    folder: Path
    lived: LivedSeason
    recordings: tuple[DemoRecording, ...]
    made: DemoSeason
    visits: dict[str, dict[str, Any]]
    """By file."""
    refused: list[tuple[str, str]]
    yard: dict[str, Any]
    faults: dict[str, dict[str, Any]]
    """All faults by id."""
    owner: dict[str, str]
    """Name of the machine of each fault."""

    def visit(self, one: DemoRecording) -> dict[str, Any]:
        """Return the visit of a recording."""
        return self.visits[one.file_name]

    def plight(self, one: DemoRecording) -> Plight:
        """Return what was wrong when a recording was made."""
        (look,) = [look for look in self.lived.looks if look.file_name == one.file_name]
        return HEALTHY if look.outing is None else look.outing.day.plight

    def thinned(self, one: DemoRecording) -> bool:
        """Tell whether a logger made a recording, which keeps a part of the frames only."""
        (look,) = [look for look in self.lived.looks if look.file_name == one.file_name]
        return look.outing is not None and look.outing.thinned_s > 0.0

    def special(self, one: DemoRecording) -> bool:
        """Tell whether a person had to say something about a recording to file it."""
        (written,) = [o for o in self.made.written if o.file_name == one.file_name]
        return not written.told or written.given_start is not None


def quietly(done_bytes: int, total_bytes: int, words: str) -> None:
    """Show no progress."""


def filed_in(home: Path) -> Season:
    """Live the season, write its recordings, file them and what was written by hand."""
    lived = together([live_season(group, DEMO_SEED) for group in PLANS])
    recordings = tuple(lived.recordings())
    folder = home / "files"
    folder.mkdir()
    written = []
    for one in recordings:
        write_recording(folder / one.file_name, one.file_format, one.frames)
        main, relative = one.truth.machines[0], one.truth.time_base == "relative"
        told = main.vin_told or any(each.claimed for each in main.controllers)
        start = one.truth.started_truly if relative else None
        names = tuple(each.name for each in one.truth.machines)
        written.append(Written(one.file_name, names, told, start))
    made = DemoSeason(folder, tuple(written), lived.notes, lived.repairs)
    with Book.open(home / "book") as book:
        filed, refused = file_season(book, made, quietly, 1)
    visits = {
        one.visit.file: call(home / "book", "visit", one.visit.id, "--json").done()
        for one in filed
        if one.visit.file is not None
    }
    listed = call(home / "book", "faults", "--all", "--json").done()
    faults = {one["fault"]: one for machine in listed["machines"] for one in machine["faults"]}
    owner = {
        one["fault"]: machine["machine_name"]
        for machine in listed["machines"]
        for one in machine["faults"]
    }
    yard = call(home / "book", "yard", "--json").done()
    return Season(
        home / "book", folder, lived, recordings, made,
        {Path(name).name: one for name, one in visits.items()}, refused, yard, faults, owner,
    )  # fmt: skip

"""A small book filled through the command line: one machine, recordings of a few seconds each."""

from __future__ import annotations

import atexit
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from tests.bus_traffic import Bus, name_of, us
from tests.command_line import call

from shearbolt.model.instants import from_iso
from shearbolt.recordings.writing import write_candump

MAY = from_iso("2026-05-14T06:12:09Z")
NAMES = {0: name_of(11, 0), 3: name_of(12, 3)}
DAY_US = us(86400)


class Yard:
    """A book and what is in it, by the command line."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.book = folder / "book"

    def add_bus(
        self, bus: Bus, *options: str, day: int = 0, machine: str = "Grey"
    ) -> dict[str, Any]:
        """Bring in what was said on a bus, from 06:12:09 on a day of May 2026."""
        frames = bus.frames
        frames.time_us[:] += MAY + day * DAY_US
        path = self.folder / f"{machine}-{day}.log"
        write_candump(path, frames)
        named = ("--machine", machine) if machine else ()
        return call(self.book, "add", path, *named, *options, "--json").done()

    def add(
        self,
        *codes: tuple[int, bytes],
        day: int = 0,
        machine: str = "Grey",
        more: Callable[[Bus], None] | None = None,
    ) -> dict[str, Any]:
        """Bring in 10 s in which senders report a code each all the while."""
        bus = Bus()
        for address, name in NAMES.items():
            bus.claim(0.1, address, name)
        bus.alive(0, 10, *NAMES)
        for address, code in codes:
            bus.dm1_each(0.5 + address / 100, 10, address, code, lamps=0x04)
        if more is not None:
            more(bus)
        return self.add_bus(bus, day=day, machine=machine)

    def note(self, *words: str) -> dict[str, Any]:
        """Write something down about the grey one."""
        return call(self.book, "note", *words, "--machine", "Grey", "--json").done()

    def faults(self) -> list[dict[str, Any]]:
        """Return all faults of all machines."""
        shown = call(self.book, "faults", "--all", "--json").done()
        return [fault for machine in shown["machines"] for fault in machine["faults"]]


@cache
def _first() -> Path:
    yard = Yard(Path(mkdtemp(prefix="shearbolt-yard-")))
    atexit.register(shutil.rmtree, yard.folder, ignore_errors=True)
    yard.add()
    return yard.folder


def small_yard(folder: Path) -> Yard:
    """Make a book with one clean recording of the grey one."""
    shutil.copytree(_first(), folder / "yard")
    return Yard(folder / "yard")

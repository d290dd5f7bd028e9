"""A proving-ground machine on which a person sits down and stands up on command, engine off."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.played_outings import MACHINES

from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.proving import cycle
from shearbolt.proving.bus import play
from shearbolt.proving.controllers import Machine
from shearbolt.proving.outing import Outing, work
from shearbolt.proving.own_groups import layout_of_own
from shearbolt.proving.trace import STEP_S, Day, Trace, simulate
from shearbolt.recordings.writing import write_candump

LEAD_S = 14.0
"""Seconds from key-on to the first prompt: by then every controller speaks."""
WAIT_S = 0.9
"""From a prompt to the switch."""


@dataclass(frozen=True, slots=True)
class SatDown:
    """A recording of an experiment, and what is true of it."""

    path: Path
    at_s: tuple[float, ...]
    """Prompts in seconds from the first frame."""
    start_s: float
    """The first frame, from key-on."""


def seat_places(machine: Machine) -> set[tuple[int, int, int]]:
    """Give the answer sheet: (group number, address, bit from 0) of every seat bit."""
    return {
        (one.pgn, controller.address, row.first_bit)
        for controller in machine.controllers
        for one in controller.proprietary
        for row in layout_of_own(controller, one)
        if row.quantity == "seat"
    }


def sits_down(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    *,
    machine: str = "new_tractor",
    seed: int = 1,
    day: str = "2026-07-01",
    times: int = 6,
    does: bool = True,
) -> SatDown:
    """Record an experiment; with `does` False the person stays seated whatever is asked."""
    rng = np.random.default_rng(seed)
    holds = rng.uniform(5.0, 8.0, 2 * times)
    at = LEAD_S + np.concatenate(([0.0], np.cumsum(holds)))
    whole = int(at[-1]) + 8
    real = simulate

    def commanded(*args: Any, **more: Any) -> Trace:
        trace = real(*args, **more)
        clock = np.arange(len(trace.time_s)) * STEP_S
        number = np.searchsorted(at[:-1] + WAIT_S, clock, side="right")
        seat = (number % 2 == 1) if does else np.ones(len(clock), np.bool_)
        return replace(trace, seat=seat)

    one = MACHINES[machine]
    outing = Outing(
        "seat.log", "candump", f"{day}T08:00:00Z", one, Day(), work(("key_on", whole)), watched=True
    )
    with monkeypatch.context() as patched:
        patched.setattr(cycle, "simulate", commanded)
        frames = play(outing, seed).frames
    path = folder / f"seat-{seed}.log"
    write_candump(path, frames)
    start_s = (int(frames.time_us[0]) - from_iso(f"{day}T08:00:00Z")) / SECOND_US
    return SatDown(path, tuple(round(float(x) - start_s, 2) for x in at[:-1]), start_s)

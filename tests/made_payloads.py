"""Payloads of unknown groups made by hand: a machine's chatter, and one thing hidden in it."""

from __future__ import annotations

import numpy as np

from shearbolt.model.frames import F64, I64, U8
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning import Payloads, Prompts, joined

CAB = 65531
"""A group of a maker's own."""
START_US = 1_000 * SECOND_US


def times(seconds: float, period_s: float = 0.1, start_us: int = START_US) -> I64:
    """Give equal steps of time."""
    return start_us + np.arange(round(seconds / period_s), dtype=np.int64) * round(
        period_s * SECOND_US
    )


def group_of(time_us: I64, data: U8, group: int = CAB, address: int = 71) -> Payloads:
    """Make the frames of one group of one sender."""
    size = len(time_us)
    return Payloads(time_us, np.full(size, group), np.full(size, address), data)


def five_times(
    rng: np.random.Generator, *, hold_s: float = 6.0, lead_s: float = 12.0, times_: int = 5
) -> Prompts:
    """Ask for 1 and 0 in turn, each held for about `hold_s`, after a lead."""
    holds = hold_s * rng.uniform(0.8, 1.4, 2 * times_)
    at = START_US + ((lead_s + np.concatenate(([0.0], np.cumsum(holds)))) * SECOND_US).astype(
        np.int64
    )
    return Prompts(tuple(int(one) for one in at[:-1]), (1, 0) * times_, int(at[-1]), before=0)


def done(prompts: Prompts, time_us: I64, delay_s: float = 0.8, jitter: F64 | None = None) -> U8:
    """Give the state at each instant of someone who does as prompted, a little later."""
    state = np.full(len(time_us), prompts.before or 0, np.uint8)
    for i, (at, wanted) in enumerate(zip(prompts.at_us, prompts.states, strict=True)):
        late = delay_s + (0.0 if jitter is None else float(jitter[i]))
        state[time_us >= at + late * SECOND_US] = wanted
    return state


def walk(rng: np.random.Generator, size: int, step: float = 2.0, around: float = 120.0) -> U8:
    """Give a byte that wanders, as a reading does."""
    return np.clip(around + np.cumsum(rng.normal(0.0, step, size)), 0, 250).astype(np.uint8)


def toggles(rng: np.random.Generator, size: int, share: float) -> U8:
    """Give a bit that flips now and then by itself."""
    return (np.cumsum(rng.random(size) < share) % 2).astype(np.uint8)


def chatter(
    rng: np.random.Generator, seconds: float, groups: int = 3, *, period_s: float = 0.1
) -> Payloads:
    """Make groups that have nothing to do with anything: counter, checksum, readings, switches."""
    parts: list[Payloads] = []
    for number in range(groups):
        time_us = times(seconds, period_s)
        size = len(time_us)
        data = np.full((size, 8), 0xFF, np.uint8)
        data[:, 0] = np.arange(size) % 16 | 0xF0
        data[:, 1] = walk(rng, size)
        data[:, 2] = walk(rng, size, 0.2)
        data[:, 3] = sum(
            (toggles(rng, size, share) << bit).astype(np.uint8)
            for bit, share in ((0, 0.003), (2, 0.01), (4, 0.03), (6, 0.1))
        )
        data[:, 4] = rng.integers(0, 256, size)
        # One step in the middle, as of a temperature or a lamp.
        data[:, 5] = (np.arange(size) > rng.integers(size // 5, size)).astype(np.uint8)
        data[:, 7] = np.bitwise_xor.reduce(data[:, :7], axis=1)
        parts.append(group_of(time_us, data, 65300 + number, 20 + number))
    return joined(parts)

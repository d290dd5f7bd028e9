"""What a bad bus does to frames: lost ones, error frames, mute units and senseless talk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import ERROR, F64, I64, U32, U64, Frames
from shearbolt.proving.physics import Flags
from shearbolt.proving.plight import word_seed
from shearbolt.proving.supply import BusState
from shearbolt.proving.trace import STEP_S

PROTOCOL_ERROR = 0x88
"""Class of an error frame: protocol violation and bus error (Linux CAN, from memory)."""
_SENSELESS = 0x0000_0000
"""Identifier of senseless frames: they win every arbitration."""


@dataclass(frozen=True, slots=True)
class Disturbed:
    """What is lost and what comes on top on one channel."""

    keep: Flags
    """One a frame."""
    errors_us: I64
    """Instants of error frames, from the recording's zero."""


def disturbed(
    state: BusState, time_us: I64, source: I64, mute: dict[int, Flags], seed: tuple[int, str]
) -> Disturbed:
    """Decide which frames of one channel make it; instants count from the recording's zero.

    `mute` gives by source address when it sends nothing. The same seed, the same outcome.
    """
    rng = np.random.default_rng((seed[0], word_seed("bus", seed[1])))
    step = np.clip((time_us / (STEP_S * 1e6)).astype(np.int64), 0, len(state.lost_share) - 1)
    keep = rng.random(len(time_us)) >= state.lost_share[step]
    for address, flags in mute.items():
        keep &= ~((source == address) & flags[step])
    due = np.cumsum(state.errors_a_s) * STEP_S
    count = int(due[-1]) if len(due) else 0
    at_step = np.searchsorted(due, np.arange(1, count + 1))
    errors = (at_step * STEP_S + rng.random(count) * STEP_S) * 1e6
    return Disturbed(np.asarray(keep, np.bool_), np.sort(errors).astype(np.int64))


def senseless(babble_a_s: F64, seed: int) -> tuple[F64, U64]:
    """Return instants (s) and words of a babbling unit's frames."""
    rng = np.random.default_rng((seed, word_seed("babble")))
    due = np.cumsum(babble_a_s) * STEP_S
    count = int(due[-1]) if len(due) else 0
    steps = np.searchsorted(due, np.arange(1, count + 1)) if count else np.empty(0, np.int64)
    times = np.sort(steps * STEP_S + rng.random(count) * STEP_S)
    words = rng.integers(0, 1 << 63, count, dtype=np.uint64)
    return np.asarray(times, np.float64), words


def senseless_ident(address: int) -> int:
    """Return the identifier that a babbling unit floods the bus with."""
    return _SENSELESS | address


def with_errors(frames: Frames, channel: int, errors_us: I64) -> Frames:
    """Return frames with error frames put in at the given instants (of the frames' own clock)."""
    count = len(errors_us)
    if not count:
        return frames
    times = np.concatenate([frames.time_us, errors_us])
    order = np.argsort(times, kind="stable")
    ident: U32 = np.concatenate([frames.ident, np.full(count, PROTOCOL_ERROR, np.uint32)])
    return Frames(
        times[order],
        ident[order],
        np.concatenate([frames.flags, np.full(count, ERROR, np.uint8)])[order],
        np.concatenate([frames.channel, np.full(count, channel, np.uint8)])[order],
        np.concatenate([frames.length, np.full(count, 8, np.uint8)])[order],
        np.concatenate([frames.word, np.zeros(count, np.uint64)])[order],
        frames.channels,
    )

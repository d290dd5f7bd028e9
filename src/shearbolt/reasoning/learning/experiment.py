"""Guided experiments: which bits of unknown groups go with what a person did on command.

The commands are permuted, and the largest score over all candidate bits, numbers and delays of each
permutation is the yardstick: the p-value is honest however many places were looked at (Westfall and
Young 1993). What is left over is a matching of payload bits with known events as in Pese and others
2019 (ACM CCS), from memory. A find must also keep step with the commands (`following`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from shearbolt.model.frames import F64, I64, U8
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning.fields import Field, fields_of
from shearbolt.reasoning.learning.following import waits_of
from shearbolt.reasoning.learning.places import Payloads, Place, bits_of, overlap, raw_of
from shearbolt.reasoning.learning.prompts import Prompts, orders_of, weights_of

FOUND_P = 0.01
"""A place is found below it, as a setting is."""
BEFORE_US = 120 * SECOND_US
"""Frames from so long before still say what holds, in groups that are sent on change only."""
GRID_US = SECOND_US // 10
"""Payloads are held on a grid of this step."""
EARLIEST_US = -SECOND_US
"""A person may be a little before the prompt, or its time noted late."""
LATEST_US = 6 * SECOND_US
"""Reaction and movement take no longer."""
DELAY_STEP_US = SECOND_US // 2
MOST_OF_HOLD = 0.5
"""A delay of more than half the shortest hold could be the next command's."""
SKIPPED = 0.3
"""First part of each stretch that is not judged: the change itself is under way."""
AGREE = 0.9
"""Share of the stretches in which a place shows the state asked for."""
LEAST_SCORE = {"bit": 0.7, "number": 0.5}
"""Smallest score of a place; numbers move slowly and stop on the way."""
MOST_BITS = 32
LEAST_VALUES = 5
"""What takes fewer values is made of switches."""
ENDS = (1.0, 99.0)
"""A number is scaled by these percentiles of its values."""
Reason: TypeAlias = Literal[
    "not_rising",
    "not_alternating",
    "too_few",
    "too_short",
    "too_regular",
    "nothing_heard",
    "cannot_settle",
]


@dataclass(frozen=True, slots=True)
class Match:
    """A place that went with the commands."""

    place: Place
    score: float
    """0 to 1."""
    p_value: float
    """Adjusted for everything that was looked at; the larger one of agreeing and keeping step."""
    inverted: bool
    """It is 0 (or low) while the state is 1."""
    agreeing: int
    """Stretches in which it showed the state asked for."""
    stretches: int
    delay_s: float | None
    """Median time from a command to its change."""
    delay_low_s: float | None
    delay_high_s: float | None


@dataclass(frozen=True, slots=True)
class Session:
    """What one experiment found."""

    matches: tuple[Match, ...]
    """Best first; a number stands for the bits in it."""
    heard: frozenset[tuple[int, int]]
    """Groups (group, address) that were heard all the while, so that absence means something."""
    looked_at: int
    """Bits and numbers judged."""
    counters: int
    """Counters and checksums left out."""
    p_smallest: float
    """The smallest p that these commands could give."""
    amiss: Reason | None
    """Why nothing could be found; None: it was a sound experiment."""


def _nothing(reason: str) -> Session:
    return Session((), frozenset(), 0, 0, 1.0, reason)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class _Candidate:
    place: Place
    kind: Literal["bit", "number"]


@dataclass(frozen=True, slots=True)
class _Judged:
    """All candidates of one group of one sender."""

    candidates: tuple[_Candidate, ...]
    means: F64
    """Shape (delays, candidates, stretches)."""


def learn(
    payloads: Payloads, prompts: Prompts, *, also: Sequence[Place] = (), seed: int = 0
) -> Session:
    """Find the places that went with a sequence of commands.

    `also`: places of an earlier session, judged as they were kept. `seed` draws the orders where
    there are too many to try all.
    """
    if prompts.amiss is not None:
        return _nothing(prompts.amiss)
    delays = _delays(prompts)
    stretches = prompts.stretches
    first = stretches[0][0] + min(0, delays[0])
    last = stretches[-1][1] + delays[-1]
    told = payloads.within(first - BEFORE_US, last)
    if not len(told):
        return _nothing("nothing_heard")
    states = tuple(state for _, _, state in stretches)
    orders, _ = orders_of(states, seed)
    weights = weights_of(orders)
    judged: list[_Judged] = []
    heard: set[tuple[int, int]] = set()
    left_out = 0
    for group, address in told.senders():
        own = told.of(group, address)
        if _silent(own.time_us, stretches):
            continue
        heard.add((group, address))
        fields = fields_of(own.data)
        left_out += sum(one.kind in ("counter", "checksum") for one in fields)
        kept = [one for one in also if (one.group, one.address) == (group, address)]
        some = _candidates(own, group, address, fields, kept)
        if some:
            judged.append(_judge(own, some, stretches, delays, first, last))
    if not judged:
        p_smallest = _p(np.abs(np.array(states) @ weights))
        return Session((), frozenset(heard), 0, left_out, p_smallest, None)
    return _found(told, prompts, judged, frozenset(heard), left_out, weights, delays, seed)


def _found(
    told: Payloads,
    prompts: Prompts,
    judged: Sequence[_Judged],
    heard: frozenset[tuple[int, int]],
    left_out: int,
    weights: F64,
    delays: Sequence[int],
    seed: int,
) -> Session:
    largest = np.zeros(weights.shape[1])
    scores: list[F64] = []
    for one in judged:
        every = np.abs(one.means @ weights)
        largest = np.maximum(largest, every.max(axis=(0, 1)))
        scores.append(one.means @ weights[:, 0])
    states = np.array([state for _, _, state in prompts.stretches], np.float64)
    p_smallest = _p(np.abs(states @ weights))
    matches: list[Match] = []
    for one, signed in zip(judged, scores, strict=True):
        best = np.abs(signed).argmax(axis=0)
        for i, candidate in enumerate(one.candidates):
            score = float(signed[best[i], i])
            means = one.means[best[i], i]
            match = _match(candidate, score, means, states, largest)
            if match is not None:
                match = _followed(match, candidate, told, prompts, delays[best[i]], seed)
            if match is not None:
                matches.append(match)
    count = sum(len(one.candidates) for one in judged)
    amiss: Reason | None = None if p_smallest < FOUND_P else "cannot_settle"
    return Session(_distinct(matches), heard, count, left_out, p_smallest, amiss)


def _match(
    candidate: _Candidate, score: float, means: F64, states: F64, largest: F64
) -> Match | None:
    size = abs(score)
    if size < LEAST_SCORE[candidate.kind]:
        return None
    p_value = _p(np.concatenate(([size], largest[1:])))
    shown = means if score > 0 else 1.0 - means
    agreeing = int(np.count_nonzero((shown > 0.5) == (states > 0.5)))
    if p_value >= FOUND_P or agreeing < AGREE * len(states):
        return None
    return Match(candidate.place, size, p_value, score < 0, agreeing, len(states), None, None, None)


def _p(scores: F64) -> float:
    """Give the share of orders that score as the first does.

    The true order is one of them (Phipson and Smyth 2010, from memory), drawn or complete alike.
    """
    return float(np.count_nonzero(scores >= scores[0] - 1e-9) / len(scores))


def _delays(prompts: Prompts) -> tuple[int, ...]:
    last = min(LATEST_US, int(MOST_OF_HOLD * prompts.hold_us))
    return tuple(range(EARLIEST_US, last + 1, DELAY_STEP_US))


def _silent(time_us: I64, stretches: Sequence[tuple[int, int, int]]) -> bool:
    """Tell whether a group was not heard over most of the experiment."""
    if len(time_us) < 2:
        return True
    # A group sent on change only may be silent through a stretch, but not at both ends.
    return bool(time_us[0] > stretches[1][1] or time_us[-1] < stretches[-2][0])


def numbers_of(group: int, address: int, data: U8, fields: Sequence[Field]) -> tuple[Place, ...]:
    """Give the places that may hold numbers: fields, and whole bytes beside them, since a number
    that runs quickly from end to end flips its bits in no order. One that takes fewer than
    LEAST_VALUES values is none.
    """
    spans = {(one.start_bit, one.bits) for one in fields if one.kind == "number"}
    for byte in range(8):
        low, high = 8 * byte, 8 * byte + 8
        inside = [one for one in fields if one.start_bit < high and one.start_bit + one.bits > low]
        if not any(one.kind in ("counter", "checksum") for one in inside):
            spans.add((low, 8))
    places = (Place(group, address, *one) for one in sorted(spans) if one[1] <= MOST_BITS)
    return tuple(one for one in places if len(np.unique(raw_of(data, one))) >= LEAST_VALUES)


def _candidates(
    own: Payloads, group: int, address: int, fields: Sequence[Field], kept: Sequence[Place]
) -> tuple[_Candidate, ...]:
    found: dict[Place, _Candidate] = {}
    for one in fields:
        if not one.reads:
            continue
        for bit in range(one.start_bit, one.start_bit + one.bits):
            place = Place(group, address, bit, 1)
            found[place] = _Candidate(place, "bit")
    for place in numbers_of(group, address, own.data, fields):
        found[place] = _Candidate(place, "number")
    for place in kept:
        found.setdefault(place, _Candidate(place, "bit" if place.bits == 1 else "number"))
    return tuple(found.values())


def _judge(
    own: Payloads,
    some: tuple[_Candidate, ...],
    stretches: Sequence[tuple[int, int, int]],
    delays: Sequence[int],
    first: int,
    last: int,
) -> _Judged:
    """Average every candidate over the judged part of every stretch, for every delay."""
    grid = np.arange(first, last, GRID_US)
    # Each payload holds until the next; before the first one it counts as well.
    at = np.maximum(np.searchsorted(own.time_us, grid, side="right") - 1, 0)
    bits = bits_of(own.data)
    columns = np.empty((len(grid), len(some)), np.float64)
    for i, one in enumerate(some):
        if one.kind == "bit":
            columns[:, i] = bits[at, one.place.start_bit]
        else:
            columns[:, i] = _scaled(raw_of(own.data, one.place)[at])
    total = np.concatenate((np.zeros((1, len(some))), np.cumsum(columns, axis=0)))
    means = np.empty((len(delays), len(some), len(stretches)))
    for d, delay in enumerate(delays):
        for s, (begin, end, _) in enumerate(stretches):
            skipped = int(SKIPPED * (end - begin))
            low = int(np.clip((begin + delay + skipped - first) // GRID_US, 0, len(grid) - 1))
            high = int(np.clip((end + delay - first) // GRID_US, low + 1, len(grid)))
            means[d, :, s] = (total[high] - total[low]) / (high - low)
    return _Judged(some, means)


def _scaled(raw: I64) -> F64:
    low, high = np.percentile(raw, ENDS)
    if high <= low:
        return np.zeros(len(raw))
    return np.asarray(np.clip((raw - low) / (high - low), 0.0, 1.0), np.float64)


def _followed(
    match: Match, candidate: _Candidate, told: Payloads, prompts: Prompts, near_us: int, seed: int
) -> Match | None:
    """Give the match with its wait after each command; None: it does not keep step with them."""
    place = candidate.place
    own = told.of(place.group, place.address)
    high = _shows(own.data, candidate)
    waits = waits_of(own.time_us, ~high if match.inverted else high, prompts, near_us, seed)
    if not waits.enough or waits.p_value >= FOUND_P:
        return None
    low, middle, most = np.nanpercentile(waits.wait_s, (0, 50, 100)).round(2).tolist()
    return Match(
        place, match.score, max(match.p_value, waits.p_value), match.inverted, match.agreeing,
        match.stretches, middle, low, most,
    )  # fmt: skip


def _shows(data: U8, candidate: _Candidate) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    raw = raw_of(data, candidate.place)
    if candidate.kind == "bit":
        return np.asarray(raw > 0)
    return np.asarray(_scaled(raw) > 0.5)


def _distinct(matches: Sequence[Match]) -> tuple[Match, ...]:
    """Let a number stand for what lies in it where more than one bit of it matched; else the one
    bit stands for the number.
    """
    numbers = [one for one in matches if one.place.bits > 1]
    kept = [one for one in matches if one.place.bits == 1]
    for number in sorted(numbers, key=lambda one: (-round(one.score, 1), -one.place.bits)):
        inside = [one for one in kept if overlap(number.place, one.place)]
        if any(one.place.bits > 1 for one in inside) or len(inside) == 1:
            continue
        kept = [one for one in kept if one not in inside] + [number]
    return tuple(sorted(kept, key=lambda one: (-one.score, one.place)))

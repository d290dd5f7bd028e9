"""How good the best condition of chance looks: the null models and their adjusted p-values.

`within`: the starts of a visit are shifted together round its exposed time, so that bursts stay
bursts and every state keeps its own rhythm (circular shift; Lahiri 2003 for resampling of dependent
data). `between`: what differs only from one key cycle to the next is tested by permuting whole
cycles. Adjusted p by the maximum of the whole search (Westfall and Young 1993), with sequential
stopping (Besag and Clifford 1991).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.settings.ground import Ground
from shearbolt.reasoning.settings.scores import LEAST_SHARE, gumbel_of, gumbel_tail, log_ratio
from shearbolt.reasoning.settings.search import Best, reaching, search
from shearbolt.reasoning.settings.stage import Stage
from shearbolt.reasoning.settings.watch import Watch

ENOUGH = 10
"""So many shifted arrangements as good as the real one settle that it is not found."""
LOT = 64
"""Arrangements with one seed; the first lot is searched in full, for the distribution."""
CYCLES_AT_ONCE = 128
FIRST_ANSWER = 192
SURE_TAIL = 1e-4
"""So many arrangements do where none was as good, and the distribution of their best says that one
in ten thousand would be (own rule)."""
AT_ONCE = 16
"""Arrangements searched at a time: bounds the memory."""


@dataclass(frozen=True, slots=True)
class Chance:
    """What chance does with the same starts."""

    p_adjusted: float
    permutations: int
    still_running: bool
    """More permutations could settle what these did not."""
    location: float
    """Of the distribution of chance's best score (Gumbel)."""
    scale: float
    p_smallest: float
    """Chance of a score as good as the best that so many starts could have reached."""


@dataclass(frozen=True, slots=True)
class Shifts:
    """Exposed rows of each visit with starts, and the place of its bursts among them."""

    exposed: tuple[Rows, ...]
    places: tuple[Rows, ...]

    def draw(self, rng: np.random.Generator, count: int) -> Rows:
        """Draw so many arrangements: (count, bursts), rows of the ground."""
        parts = []
        for exposed, places in zip(self.exposed, self.places, strict=True):
            shift = rng.integers(0, len(exposed), size=(count, 1))
            parts.append(exposed[(places[None, :] + shift) % len(exposed)])
        return np.concatenate(parts, axis=1)


def shifts_of(ground: Ground, watch: Watch) -> Shifts:
    """Lay the bursts of every visit on its exposed time."""
    exposed: list[Rows] = []
    places: list[Rows] = []
    for visit in np.unique(watch.unit_visit).tolist():
        first, last = ground.span(visit)
        rows = np.flatnonzero(watch.exposed[first:last]) + first
        exposed.append(rows)
        places.append(np.searchsorted(rows, watch.unit_rows[watch.unit_visit == visit]))
    return Shifts(tuple(exposed), tuple(places))


def chance_within(
    stage: Stage, shifts: Shifts, observed: float, seed: tuple[int, ...], permutations: int,
    wanted: float,
) -> Chance:  # fmt: skip
    """Judge the best score by shifted arrangements, at most so many; `wanted`: p to get below.

    Lots have seeds of their own: more permutations go on where fewer ended.
    """
    reached, done, lot, sure = 0, 0, 0, False
    full: list[F64] = []
    while done < permutations and (reached < ENOUGH or lot == 0):
        if reached == 0 and done >= FIRST_ANSWER:
            beyond = gumbel_tail(observed, *gumbel_of(np.concatenate(full)))
            if beyond < SURE_TAIL and 1.0 / (done + 1) < wanted:
                sure = True
                break
        size = min(LOT, permutations - done)
        rows = shifts.draw(np.random.default_rng([*seed, lot]), size)
        for at in range(0, size, AT_ONCE):
            some = rows[at : at + AT_ONCE]
            if lot == 0:
                full.append(search(stage, some).score)
                reached += int(np.count_nonzero(full[-1] >= observed))
            else:
                reached += reaching(stage, some, observed)
            done += len(some)
            if reached >= ENOUGH and lot > 0:
                break
        lot += 1
    location, scale = gumbel_of(np.concatenate(full)) if full else (0.0, 1.0)
    # Stopped early, reached / done; else the usual (reached + 1) / (done + 1): both valid.
    p = (reached + 1) / (done + 1)
    best = stage.units * float(np.log(1.0 / max(_rarest(stage), LEAST_SHARE)))
    return Chance(
        p,
        done,
        not sure and _unsettled(reached, done, wanted),
        location,
        scale,
        max(gumbel_tail(best, location, scale), 1.0 / (permutations + 1)),
    )


def _unsettled(reached: int, done: int, wanted: float) -> bool:
    """Tell whether the true p may well lie on the other side of the wanted one."""
    if reached >= ENOUGH:
        return False
    slack = 2.0 * float(np.sqrt(reached + 1))
    return reached + 1 - slack < wanted * done < reached + 1 + slack


def _rarest(stage: Stage) -> float:
    told = stage.shares.share[stage.shares.share > np.float32(LEAST_SHARE)]
    return float(told.min()) if len(told) else 1.0


@dataclass(frozen=True, slots=True)
class Cycles:
    """Key cycles of the fault's window, and which of them had a start."""

    numbers: Rows
    """Cycle numbers, rising; first and last had a start."""
    started: Rows
    """0 or 1."""
    seconds: F64
    """Exposed time."""
    inside: F64
    """(cycles, bits): share of its exposed time, for conditions that hardly change in a cycle;
    others 0."""


CYCLE_SAMPLE = 32
"""Rows from which a cycle's shares are taken."""
STEADY = 0.05
"""A condition that changes less than this inside cycles (mean of share times one less share)
differs between them."""


def cycles_of_fault(ground: Ground, watch: Watch) -> Cycles | None:
    """Take the cycles from the first to the last with a start; None: fewer than three with one.

    Before the first, and after the last, the fault need not have existed: that time says nothing
    of conditions, and would let the season pass for one.
    """
    with_start = np.unique(ground.cycle[watch.start_rows])
    if len(with_start) < 3:
        return None
    rows = np.flatnonzero(watch.exposed)
    cycle = ground.cycle[rows]
    keep = (cycle >= with_start[0]) & (cycle <= with_start[-1])
    rows, cycle = rows[keep], cycle[keep]
    numbers, first, counts = np.unique(cycle, return_index=True, return_counts=True)
    taken = first[:, None] + (np.arange(CYCLE_SAMPLE) + 0.5) * counts[:, None] / CYCLE_SAMPLE
    flags = ground.flags(rows[taken.astype(np.intp)])
    share = flags.mean(axis=1, dtype=np.float64)
    steady = (share * (1.0 - share)).mean(axis=0) < STEADY
    uneven = np.ptp(share, axis=0) > 0.5
    share[:, ~(steady & uneven)] = 0.0
    if not share.any():
        return None
    started = np.isin(numbers, with_start).astype(np.intp)
    return Cycles(np.asarray(numbers, np.intp), started, counts.astype(np.float64), share)


def chance_between(cycles: Cycles, seed: tuple[int, ...], permutations: int) -> tuple[Best, Chance]:
    """Find the condition that best tells cycles with starts from those without, and judge it.

    First and last cycle keep their starts (they make the window). Two nulls, of which the larger
    p counts: every cycle as likely to see a start, and each by its exposed time. Where the cycles
    with starts come in clusters, runs of them are moved whole.
    """
    n = int(cycles.started.sum())
    by_time = np.average(cycles.inside, axis=0, weights=cycles.seconds)
    share = np.maximum(cycles.inside.mean(axis=0), by_time)
    used = np.flatnonzero(share > 0)
    inside, share = cycles.inside[:, used], share[used]
    observed = _cycle_scores(cycles.started[None, :], inside, share)[0]
    bit = int(observed.argmax())
    score = float(observed[bit])
    best = Best(np.asarray([score]), np.asarray([[used[bit], -1, -1]]), np.asarray([0]))
    rarest = n * float(np.log(1.0 / max(float(share.min()), LEAST_SHARE)))
    judged: list[Chance] = []
    for number, weights in enumerate((np.ones(len(cycles.seconds)), cycles.seconds)):
        rng = np.random.default_rng([*seed, 1_000_000 + number])
        reached, done = 0, 0
        full: list[F64] = []
        while done < permutations and reached < ENOUGH:
            drawn = _permuted(cycles, weights, rng, min(CYCLES_AT_ONCE, permutations - done))
            most = _cycle_scores(drawn, inside, share).max(axis=1)
            full.append(most)
            reached += int(np.count_nonzero(most >= score - 1e-9))
            done += len(drawn)
        location, scale = gumbel_of(np.concatenate(full))
        smallest = max(gumbel_tail(rarest, location, scale), 1.0 / (permutations + 1))
        p = (reached + 1) / (done + 1)
        judged.append(Chance(p, done, False, location, scale, smallest))
    return best, max(judged, key=lambda one: one.p_adjusted)


def _cycle_scores(started: Rows, inside: F64, share: F64) -> F64:
    """Score every condition for every arrangement of starts: (arrangements, bits)."""
    n = float(started[0].sum())
    return log_ratio(started.astype(np.float64) @ inside, n, share)


def _clustered(started: Rows) -> bool:
    """Tell whether starts come in fewer runs than chance has them (Wald and Wolfowitz 1940)."""
    ones = int(started.sum())
    zeros = len(started) - ones
    runs = 1 + int(np.count_nonzero(np.diff(started)))
    total = ones + zeros
    mean = 1 + 2 * ones * zeros / total
    spread = np.sqrt(max((mean - 1) * (mean - 2) / max(total - 1, 1), 1e-9))
    return bool(runs < mean - spread)


def _permuted(cycles: Cycles, weights: F64, rng: np.random.Generator, count: int) -> Rows:
    """Draw arrangements of the cycles with starts: (count, cycles), 0 or 1."""
    started = cycles.started
    out = np.zeros((count, len(started)), np.intp)
    if _clustered(started):
        edges = np.flatnonzero(np.diff(started)) + 1
        lengths = np.diff(np.concatenate([[0], edges, [len(started)]]))
        with_start, without = lengths[::2], lengths[1::2]
        for row in out:
            mixed = np.empty(len(lengths), np.intp)
            mixed[::2] = rng.permutation(with_start)
            mixed[1::2] = rng.permutation(without)
            row[:] = np.repeat((np.arange(len(lengths)) + 1) % 2, mixed)
        return out
    inner = int(started.sum()) - 2
    out[:, 0] = out[:, -1] = 1
    # The smallest of exponential waits: draws without replacement by weight.
    waits = rng.exponential(size=(count, len(started) - 2)) / weights[1:-1]
    chosen = np.argpartition(waits, max(inner - 1, 0), axis=1)[:, :inner] + 1
    np.put_along_axis(out, chosen, 1, axis=1)
    return out

"""Whether a recording holds all that was on the bus: losses against manners of senders."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest

from shearbolt.app.quality import quality_of
from shearbolt.decode.losses import Losses, Missing
from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.frames import EXTENDED, F64, Frames
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.model.visit import Quality

SECONDS = 60.0
Sent = dict[int, F64]
"""Instants (s) of each identifier."""


def beats(period_s: float, until_s: float = SECONDS, *, seed: int = 1) -> F64:
    """Give the instants of a group with the jitter of a busy bus."""
    jitter = np.random.default_rng(seed).normal(0.0, 0.06 * period_s, int(until_s / period_s))
    times = np.arange(len(jitter)) * period_s + 0.01 + np.abs(jitter)
    return times.astype(np.float64)


def tractor() -> Sent:
    """Three senders with groups like those of a tractor."""
    return {
        0x0CF00400: beats(0.02, seed=1),
        0x0CF00300: beats(0.05, seed=2),
        0x18FEF200: beats(0.1, seed=3),
        0x0CF00203: beats(0.02, seed=4),
        0x18F00503: beats(0.1, seed=5),
        0x18FEF147: beats(0.1, seed=6),
        0x18FEE500: beats(1.0, seed=7),
    }


def frames_of(sent: Sent, *, block: int = 4096) -> Iterator[Frames]:
    when = np.concatenate([np.rint(times * 1e6).astype(np.int64) for times in sent.values()])
    ident = np.repeat(np.array(list(sent), np.uint32), [len(times) for times in sent.values()])
    order = np.argsort(when, kind="stable")
    when, ident = when[order], ident[order]
    for first in range(0, len(when), block):
        some = slice(first, first + block)
        count = len(when[some])
        yield Frames(
            when[some],
            ident[some],
            np.full(count, EXTENDED, np.uint8),
            np.zeros(count, np.uint8),
            np.full(count, 8, np.uint8),
            np.zeros(count, np.uint64),
            ("can0",),
        )


def judge(sent: Sent, *, block: int = 4096, not_read: tuple[NotRead, ...] = ()) -> Quality:
    losses = Losses()
    content = decode_recording(
        frames_of(sent, block=block),
        Dictionary.ours(),
        TimeBase.RELATIVE,
        not_read=lambda: not_read,
        each=losses.feed,
    )
    return quality_of(content, losses.groups)


def dropped(sent: Sent, lost: Callable[[F64], np.ndarray[tuple[int], np.dtype[np.bool_]]]) -> Sent:
    return {ident: times[~lost(times)] for ident, times in sent.items()}


def test_a_whole_recording_is_complete() -> None:
    assert judge(tractor()) == "complete"


@pytest.mark.parametrize("block", [64, 1000, 1 << 16])
def test_where_blocks_are_cut_changes_nothing(block: int) -> None:
    assert judge(tractor(), block=block) == "complete"
    holes = dropped(tractor(), lambda times: times % 5.1 > 4.85)
    assert judge(holes, block=block) == "lossy"


def test_a_rate_that_changes_when_the_engine_stops_is_no_loss() -> None:
    """Groups that follow engine speed slow down for good; each has fewer frames than it began."""
    sent = tractor()
    for ident in (0x0CF00400, 0x0CF00300, 0x18FEF200, 0x0CF00203):
        times = sent[ident]
        sent[ident] = np.concatenate((times[times < 30.0], times[times >= 30.0][::5]))
    assert judge(sent) == "complete"


def test_a_rate_that_slows_down_bit_by_bit_is_no_loss() -> None:
    sent = tractor()
    for ident in (0x0CF00400, 0x0CF00300, 0x0CF00203, 0x18F00503):
        sent[ident] = np.cumsum(np.linspace(0.02, 0.1, 900))
    assert judge(sent) == "complete"


def test_senders_that_stop_early_are_no_loss() -> None:
    """At key-off some units fall silent at once and one lives on (an open recording: 18 s)."""
    sent = tractor()
    stopped = {
        ident: times[times < 25.0] if ident & 0xFF else times for ident, times in sent.items()
    }
    assert judge(stopped) == "complete"


def test_one_unit_that_stutters_is_no_loss() -> None:
    sent = tractor()
    for ident in (0x0CF00203, 0x18F00503):
        sent[ident] = sent[ident][sent[ident] % 2.0 > 0.3]
    assert judge(sent) == "complete"


def test_a_pause_of_all_is_told_elsewhere() -> None:
    """One long pause of the whole recording is a doubt of its own, and cut out here."""
    sent = dropped(tractor(), lambda times: (times > 20.0) & (times < 26.0))
    assert judge(sent) == "complete"


def test_groups_sent_on_demand_have_no_beat() -> None:
    sent = tractor()
    rng = np.random.default_rng(8)
    sent[0x1CEBFF00] = np.sort(rng.uniform(0.0, SECONDS, 900))
    sent[0x18FECA00] = np.sort(rng.uniform(0.0, SECONDS, 400))
    sent[0x18EFFF06] = np.cumsum(rng.choice([0.02, 0.02, 0.3, 0.7], 200))
    assert judge(sent) == "complete"


@pytest.mark.parametrize("share", [0.03, 0.1, 0.3])
def test_frames_lost_at_random(share: float) -> None:
    rng = np.random.default_rng(9)
    lost = dropped(tractor(), lambda times: rng.random(len(times)) < share)
    assert judge(lost) == "lossy"


def test_a_recorder_that_stops_to_write() -> None:
    """A quarter of a second in each five, as in an open recording of a tractor."""
    assert judge(dropped(tractor(), lambda times: times % 5.1 > 4.85)) == "lossy"


def test_one_lost_moment_in_a_minute_is_not_lossy() -> None:
    once = dropped(tractor(), lambda times: (times > 30.0) & (times < 30.2))
    assert judge(once) == "complete"


def test_rows_that_could_not_be_read_are_losses() -> None:
    assert judge(tractor(), not_read=(NotRead("damaged", 1, line=3),)) == "lossy"


def test_a_few_groups_alone_came_through_a_filter() -> None:
    sent = {ident: times for ident, times in tractor().items() if ident in (0x0CF00400, 0x18FEF200)}
    assert judge(sent) == "filtered"


def test_too_short_or_too_slow_to_tell() -> None:
    assert judge({ident: times[times < 4.0] for ident, times in tractor().items()}) == "unknown"
    slow = {0x18FE0000 | pgn << 8: beats(1.0, seed=pgn) for pgn in range(6)}
    assert judge(slow) == "unknown"


def test_missing_counts_what_lies_between() -> None:
    whole = np.arange(200, dtype=np.int64) * 20_000
    missing = Missing()
    missing.add(np.delete(whole, [50, 80, 81, 82, 120]))
    assert missing.frames == 5
    cut = Missing()
    for piece in np.array_split(np.delete(whole, [50, 80, 81, 82, 120]), 7):
        cut.add(piece)
    assert cut.frames == 5
    assert cut.steps == missing.steps
    # Four beats at once are no step of the beat.
    assert cut.regular == missing.regular == cut.steps - 1

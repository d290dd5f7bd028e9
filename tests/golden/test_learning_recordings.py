"""Learning on the open recording of a tractor: its own groups, with commands that nobody gave."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from shearbolt.app.unknown_groups import unknown_payloads
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning import Payloads, Prompts, joined, learn
from shearbolt.reasoning.learning.fields import fields_of
from shearbolt.recordings import open_recording

LAMP = 65299


@pytest.fixture(scope="module")
def payloads(recordings_dir: Path) -> Payloads:
    recording = open_recording(str(recordings_dir / "tractor" / "key_on_and_run.log"))
    return unknown_payloads(recording.blocks(), Dictionary.ours(), None)


def commands(payloads: Payloads, seed: int) -> Prompts:
    """Draw five times on and off in the 39 s that there are."""
    rng = np.random.default_rng(seed)
    first, last = int(payloads.time_us[0]), int(payloads.time_us[-1])
    holds = rng.uniform(0.72, 1.28, 10)
    holds *= ((last - first) / SECOND_US - 7.0) / holds.sum()
    edges = first + ((5.0 + np.concatenate(([0.0], np.cumsum(holds)))) * SECOND_US).astype(np.int64)
    return Prompts(tuple(edges[:-1].tolist()), (1, 0) * 5, int(edges[-1]), before=0)


def test_groups_that_nothing_decodes_are_taken_and_their_counters_known(payloads: Payloads) -> None:
    senders = payloads.senders()
    assert (65534, 6) in senders
    # One number to two destinations: two layouts.
    assert (61190, 0) in senders
    assert (61439, 0) in senders
    counters = {
        key for key in senders
        if any(one.kind == "counter" for one in fields_of(payloads.of(*key).data))
    }  # fmt: skip
    assert {(61184, 6), (61190, 0)} <= counters


def test_commands_that_nobody_gave_find_nothing(payloads: Payloads) -> None:
    finds = [bool(learn(payloads, commands(payloads, seed), seed=seed).matches)
             for seed in range(60)]  # fmt: skip
    # 0.6 expected at most; 4 or more happens in 0.3 % of such tests (Poisson).
    assert sum(finds) <= 3


def test_a_bit_hidden_in_it_is_found(payloads: Payloads) -> None:
    prompts = commands(payloads, 7)
    time_us = np.arange(int(payloads.time_us[0]), int(payloads.time_us[-1]), SECOND_US // 20)
    data = np.full((len(time_us), 8), 0xF0, np.uint8)
    state = np.zeros(len(time_us), np.uint8)
    for at, wanted in zip(prompts.at_us, prompts.states, strict=True):
        state[time_us >= at + 600_000] = wanted
    data[:, 5] = state << 3
    size = len(time_us)
    hidden = Payloads(time_us, np.full(size, LAMP), np.full(size, 71), data)
    (match,) = learn(joined([payloads, hidden]), prompts).matches
    assert (match.place.group, match.place.start_bit, match.place.bits) == (LAMP, 43, 1)
    assert match.delay_s == pytest.approx(0.6, abs=0.1)

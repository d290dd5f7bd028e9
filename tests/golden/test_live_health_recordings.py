"""What listening would have said of the open recordings: healthy buses, nothing amiss."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from shearbolt.decode.columns import BlockDecoder
from shearbolt.dictionary.merged import Dictionary
from shearbolt.live import Health
from shearbolt.model.frames import Frames
from shearbolt.recordings import open_recording

LOOK_US = 250_000


@pytest.mark.parametrize(
    ("name", "peak"),
    [
        # A start, with a pause of 5.2 s in the log, and a key-off at its end.
        ("tractor/key_on_and_run.log", 0.22),
        ("tractor/start_in_gear.log", 0.22),
        # Groups that change their pace, and some that are sent on occasion.
        ("truck_drive/recording.log", 0.42),
    ],
)
def test_nothing_is_amiss_on_a_healthy_bus(name: str, peak: float, recordings_dir: Path) -> None:
    health, decoder = Health(), BlockDecoder(Dictionary.ours())
    rates: dict[str, int | None] = {}
    now_us = 0
    for block in open_recording(recordings_dir / name).blocks():
        rates = dict.fromkeys(block.channels, 250_000)
        look = block.time_us // LOOK_US
        for one in np.unique(look).tolist():
            rows = np.flatnonzero(look == one)
            health.feed(
                decoder.feed(
                    Frames(
                        block.time_us[rows], block.ident[rows], block.flags[rows],
                        block.channel[rows], block.length[rows], block.word[rows], block.channels,
                    )
                )
            )  # fmt: skip
            now_us = int(block.time_us[rows[-1]])
            assert health.findings(rates, now_us) == ()
    (load,) = health.loads(rates, now_us)
    assert load.peak == pytest.approx(peak, abs=0.01)

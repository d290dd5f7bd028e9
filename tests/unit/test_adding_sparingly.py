"""Bringing in does no work twice, and loads nothing that it does not need."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from shearbolt.app.carried import SPOOLS
from shearbolt.app.freed_memory import keep_freed_memory
from shearbolt.book import signals
from shearbolt.book.signals import SignalsWriter
from shearbolt.decode.tally import Beat
from shearbolt.kernels import best
from shearbolt.live import SPOOL
from shearbolt.model.frames import ERROR, EXTENDED, NO_LONG_DATA, REMOTE, Frames


def frames(count: int, seed: int) -> Frames:
    """Frames of a few groups among errors, remote frames and 11-bit identifiers."""
    rng = np.random.default_rng(seed)
    flags = rng.choice(np.array([EXTENDED, EXTENDED, EXTENDED | REMOTE, ERROR, 0], np.uint8), count)
    extended = (flags & EXTENDED) != 0
    ident = rng.choice(np.array([0x0CF00400, 0x18FEEE00, 0x18EA0027, 0x18FECA03], np.uint32), count)
    return Frames(
        np.cumsum(rng.integers(1, 5000, count)).astype(np.int64),
        np.where(extended, ident, ident & np.uint32(0x7FF)).astype(np.uint32),
        flags,
        rng.integers(0, 2, count).astype(np.uint8),
        np.full(count, 8, np.uint8),
        rng.integers(0, 1 << 63, count).astype(np.uint64),
        ("can0", "can1"),
        NO_LONG_DATA,
    )


@pytest.mark.parametrize("sizes", [(400,), (150, 250), (300, 20), (400, 400)])
def test_an_order_known_already_gives_the_same_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sizes: tuple[int, ...]
) -> None:
    monkeypatch.setattr(signals, "PART_FRAMES", 310)
    tables = []
    for known in (False, True):
        folder = tmp_path / str(known)
        folder.mkdir()
        writer = SignalsWriter(folder)
        for seed, size in enumerate(sizes):
            block = frames(size, seed)
            writer.frames(block, best().group(block) if known else None)
        writer.finish()
        paths = sorted(folder.glob("frames-*.parquet"))
        tables.append([pl.read_parquet(path) for path in paths])
        assert sum(len(one) for one in tables[-1]) == sum(sizes)
    assert len(tables[0]) == len(tables[1])
    for sorted_anew, known_order in zip(*tables, strict=True):
        assert sorted_anew.equals(known_order)


def test_the_period_follows_what_is_added() -> None:
    beat = Beat()
    assert beat.period_s is None
    beat.add(np.array([0, 100_000, 200_000], np.int64))
    assert beat.period_s == 0.1
    assert beat.period_s == 0.1
    beat.add(np.array([1_200_000, 2_200_000, 3_200_000], np.int64))
    assert beat.period_s == 1.0


def test_the_spools_are_looked_for_where_listening_puts_them() -> None:
    assert SPOOLS == SPOOL


def test_adding_a_file_loads_no_listener(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    lines = (f"(1778738400.{i:06d}) can0 18FEEE00#4B00FFFFFFFFFFFF\n" for i in range(20))
    log.write_text("".join(lines), encoding="ascii")
    code = (
        "import json, sys; from shearbolt.cli import main; status = main()\n"
        "print(json.dumps([status, 'shearbolt.live' in sys.modules]))"
    )
    book = ["--book", str(tmp_path / "book"), "add", str(log)]
    done = subprocess.run(
        [sys.executable, "-c", code, *book], check=True, capture_output=True, text=True
    )
    assert json.loads(done.stdout.splitlines()[-1]) == [0, False]


def test_keeping_freed_memory_may_be_asked_for_again() -> None:
    keep_freed_memory()
    keep_freed_memory()
    assert int(np.ones(1 << 20).sum()) == 1 << 20

"""A kill at any moment of listening loses at most the last second, and the visit says so.

The short form; `python -m benchmarks listening-kill` does it 200 times.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.crash.listening_kills import look

KILLS = int(os.environ.get("SHEARBOLT_LISTEN_KILLS", "6"))

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")


def test_a_kill_loses_at_most_the_last_second(tmp_path: Path) -> None:
    root = Path(__file__).parents[2]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(root), *sys.path])}
    script = root / "tests" / "crash" / "listening_kills.py"
    done = subprocess.run(
        [sys.executable, str(script), str(tmp_path), str(KILLS), "3"],
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    folders = sorted(tmp_path.glob("kill-*"))
    assert len(folders) == KILLS
    left = [look(folder) for folder in folders]
    assert sum(one.kept for one in left) > 0
    for one in left:
        assert one.lost_s <= 1.0, one
        assert one.said == (one.kept > 0), one
    assert all(one.quality == "complete" for one in left if one.kept)

"""Where things lie in the tree, and how its programs are run."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
_ENDING = ".exe" if os.name == "nt" else ""
PYTHON = BIN / f"python{_ENDING}"
STOPPED = 130
"""Exit status after Ctrl-C."""


def program(name: str) -> Path:
    """Path of a program of the virtual environment."""
    return BIN / f"{name}{_ENDING}"


def say(sentence: str) -> None:
    """Tell a person what goes on; standard output belongs to the job."""
    print(sentence, file=sys.stderr, flush=True)


def run(*command: str | Path) -> None:
    """Run one command in the tree and leave with its exit status when it fails.

    Ctrl-C reaches the command as well: it is given the time to end by itself, and killed only at
    the second one.
    """
    status = _status(subprocess.Popen([str(part) for part in command], cwd=ROOT))
    if status:
        raise SystemExit(STOPPED if status < 0 else status)


def _status(child: subprocess.Popen[bytes]) -> int:
    try:
        return child.wait()
    except KeyboardInterrupt:
        pass
    try:
        return child.wait() or STOPPED
    except KeyboardInterrupt:
        child.kill()
        return child.wait() or STOPPED

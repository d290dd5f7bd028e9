"""The command line starts quickly: the help imports nothing heavy."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

_HELP_CPU_S = 0.15
# What the help may import beside the standard library.
_ALLOWED = {"click", "shearbolt"}
_MODULES = """
import json, sys
from shearbolt.cli import main
status = main(sys.argv[1:])
print(json.dumps([status, sorted({name.partition(".")[0] for name in sys.modules})]))
"""


def imported_by(*words: str) -> set[str]:
    # Without site, nothing that an environment loads at every start counts; the path is ours.
    done = subprocess.run(
        [sys.executable, "-S", "-c", _MODULES, *words],
        capture_output=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        encoding="utf-8",
    )
    status, names = json.loads(done.stdout.splitlines()[-1])
    assert status == 0
    return set(names) - set(sys.stdlib_module_names) - {"__main__"}


@pytest.mark.parametrize(
    "words", [["--help"], ["add", "--help"], ["own", "signal", "add", "-h"], ["--version"]]
)
def test_help_imports_only_what_is_on_the_list(words: list[str]) -> None:
    assert imported_by(*words) <= _ALLOWED


def test_the_modules_of_a_run_are_really_seen() -> None:
    assert "click" in imported_by("--help")


@pytest.mark.skipif(sys.platform == "win32", reason="no CPU times of children here")
def test_help_takes_little_time() -> None:
    import resource

    def spent() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    times = []
    for _ in range(5):
        before = spent()
        subprocess.run(
            [sys.executable, "-m", "shearbolt", "--help"], stdout=subprocess.DEVNULL, check=True
        )
        times.append(spent() - before)
    # The quickest of a few runs: a busy machine can only slow one down.
    assert min(times) < _HELP_CPU_S

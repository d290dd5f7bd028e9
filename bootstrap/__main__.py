"""The set-up's command line: `python -m bootstrap JOB`, the jobs of the Makefile."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable

from bootstrap.browser import set_up_browser
from bootstrap.environment import set_up
from bootstrap.tree import BIN, PYTHON, ROOT, STOPPED, program, run, say

LOCKS = {
    "run": ("build",),
    "test": ("build", "mdf", "test"),
}
CHECKS: dict[str, tuple[str, ...]] = {
    "format": ("ruff", "format", "--check", "."),
    "lint": ("ruff", "check", "."),
    "layers": ("lint-imports",),
    "types": ("mypy",),
}


def demo(arguments: list[str]) -> None:
    """File the demo season, show the yard, and serve its pages to whoever sits there."""
    set_up("run")
    run(program("shearbolt"), "demo", *arguments)
    if {"--quiet", "--json"} & set(arguments):
        return
    book = ROOT / "shearbolt-demo" / "book"
    here = BIN.relative_to(ROOT) / "shearbolt"
    say(f"\nHere `shearbolt` is {here}.")
    if sys.stdin.isatty() and sys.stdout.isatty() and book.is_dir() and not arguments:
        run(program("shearbolt"), "--book", book, "serve", "--open")
    else:
        say(f"The pages of this season: {here} --book {book.relative_to(ROOT)} serve --open")


def test(arguments: list[str]) -> None:
    """Check the house (format, lint, layers, types) and run every test; or the tests named."""
    set_up("test")
    set_up_browser()
    if not arguments:
        for name, words in CHECKS.items():
            check(name, *words)
    run(PYTHON, "-m", "pytest", *(arguments or ["-n", "auto", "-q"]))


def check(name: str, command: str, *arguments: str) -> None:
    """Run one check; its words are shown only when it finds something."""
    began = time.monotonic()
    done = subprocess.run(
        [str(program(command)), *arguments], cwd=ROOT, check=False, text=True, encoding="utf-8",
        errors="replace", stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    if done.returncode:
        print(done.stdout)
        say(f"The {name} check ({' '.join((command, *arguments))}) failed; it says why above.")
        raise SystemExit(done.returncode)
    say(f"{name}: in order ({time.monotonic() - began:.1f} s)")


def setup(arguments: list[str]) -> None:
    """Set up all that work on the tree needs, anew even where nothing changed."""
    set_up("test", anew=True)


def lock(arguments: list[str]) -> None:
    """Write the lock files anew from pyproject.toml (needs uv on the path)."""
    if shutil.which("uv") is None:
        raise SystemExit("Locking needs the program uv on the path; install it and try again.")
    for name, extras in LOCKS.items():
        chosen = [word for extra in extras for word in ("--extra", extra)]
        run(
            "uv", "pip", "compile", "--quiet", "--generate-hashes", "--no-emit-index-url",
            "--no-header", "--universal", "--python-version", "3.11", *chosen, *arguments,
            "pyproject.toml", "--output-file", f"requirements/{name}.txt",
        )  # fmt: skip


def pictures(arguments: list[str]) -> None:
    """Make the README's picture and terminal text anew from a real run of the demo."""
    set_up("test")
    run(PYTHON, "-m", "bootstrap.capture", *arguments)


def bench(arguments: list[str]) -> None:
    """Run the benchmarks."""
    set_up("test")
    run(PYTHON, "-m", "benchmarks", *arguments)


def calibrate(arguments: list[str]) -> None:
    """Play held-apart cases, and write how honest the odds were to docs/calibration.md."""
    set_up("test")
    run(
        PYTHON, "-m", "benchmarks.calibrate", "--write", "docs/calibration.md",
        *(arguments or ["--cases", "200"]),
    )  # fmt: skip


JOBS: dict[str, Callable[[list[str]], None]] = {
    "demo": demo,
    "test": test,
    "setup": setup,
    "lock": lock,
    "pictures": pictures,
    "bench": bench,
    "calibrate": calibrate,
}


def main() -> None:
    """Run the named job."""
    if len(sys.argv) < 2 or sys.argv[1] not in JOBS:
        raise SystemExit(f"usage: python -m bootstrap {'|'.join(JOBS)} [ARGUMENTS]")
    try:
        JOBS[sys.argv[1]](sys.argv[2:])
    except KeyboardInterrupt:
        say("\nStopped; the next run takes up where this one was.")
        raise SystemExit(STOPPED) from None


if __name__ == "__main__":
    main()

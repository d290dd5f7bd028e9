"""The set-up's command line: `python -m bootstrap demo|test|setup|lock`."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
LOCKS = {
    "run": ("build",),
    "test": ("build", "mdf", "test"),
}
OLDEST_PYTHON = (3, 11)


def run(*command: str | Path) -> None:
    """Run one command in the tree and leave with its exit status when it fails."""
    done = subprocess.run([str(part) for part in command], cwd=ROOT, check=False)
    if done.returncode:
        raise SystemExit(done.returncode)


def set_up(lock: str) -> None:
    """Make the virtual environment hold the locked dependencies and this tree, once per change."""
    if sys.version_info < OLDEST_PYTHON:
        raise SystemExit(f"Shearbolt needs Python 3.11 or newer; this is {sys.version.split()[0]}.")
    fresh = hashlib.sha256()
    for part in ("pyproject.toml", "setup.py", f"requirements/{lock}.txt"):
        fresh.update((ROOT / part).read_bytes())
    fresh.update((ROOT / "src/shearbolt/kernels/_compiled.c").read_bytes())
    stamp = VENV / f"ready-{lock}"
    if PYTHON.exists() and stamp.exists() and stamp.read_text() == fresh.hexdigest():
        return
    if not PYTHON.exists():
        print("Making the virtual environment in .venv ...", file=sys.stderr)
        venv.EnvBuilder(with_pip=True).create(VENV)
    print("Installing the locked dependencies ...", file=sys.stderr)
    pip = (PYTHON, "-m", "pip", "--disable-pip-version-check", "install", "--quiet")
    run(*pip, "--require-hashes", "-r", f"requirements/{lock}.txt")
    run(*pip, "--no-deps", "--no-build-isolation", "--editable", ".")
    stamp.write_text(fresh.hexdigest())


def demo(arguments: list[str]) -> None:
    """File the demo season and show the yard."""
    set_up("run")
    run(PYTHON, "-m", "shearbolt", "demo", *arguments)


def test(arguments: list[str]) -> None:
    """Check the house (format, lint, types, layers) and run every test."""
    set_up("test")
    if not arguments:
        run(PYTHON, "-m", "ruff", "format", "--check", ".")
        run(PYTHON, "-m", "ruff", "check", ".")
        run(PYTHON, "-m", "mypy")
        run(BIN / "lint-imports")
    run(PYTHON, "-m", "pytest", *(arguments or ["-n", "auto", "-q"]))


def lock(arguments: list[str]) -> None:
    """Write the lock files anew from pyproject.toml (needs uv on the path)."""
    for name, extras in LOCKS.items():
        chosen = [word for extra in extras for word in ("--extra", extra)]
        run(
            "uv", "pip", "compile", "--quiet", "--generate-hashes", "--no-emit-index-url",
            "--no-header", "--universal", "--python-version", "3.11", *chosen, *arguments,
            "pyproject.toml", "--output-file", f"requirements/{name}.txt",
        )  # fmt: skip


JOBS = {"demo": demo, "test": test, "setup": lambda arguments: set_up("test"), "lock": lock}


def main() -> None:
    """Run the named job."""
    if len(sys.argv) < 2 or sys.argv[1] not in JOBS:
        raise SystemExit(f"usage: python -m bootstrap {'|'.join(JOBS)} [ARGUMENTS]")
    JOBS[sys.argv[1]](sys.argv[2:])


if __name__ == "__main__":
    main()

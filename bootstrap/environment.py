"""The virtual environment in the tree: made once, brought up to date when its locks change."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
import time
import venv
from pathlib import Path

from bootstrap.tree import PYTHON, ROOT, VENV, say

OLDEST_PYTHON = (3, 11)
LOG = VENV / "setup.log"
_PINNED = re.compile(r"^([A-Za-z0-9][\w.-]*)==", re.MULTILINE)
_LAST_LINES = 8


def set_up(lock: str, *, anew: bool = False) -> None:
    """Make .venv hold the dependencies of requirements/<lock>.txt and this tree.

    Does nothing when that was done already and nothing changed since, unless `anew`. A set-up
    that was broken off is taken up again by the next one.
    """
    if sys.version_info < OLDEST_PYTHON:
        raise SystemExit(f"Shearbolt needs Python 3.11 or newer; this is {sys.version.split()[0]}.")
    stamp = VENV / f"ready-{lock}"
    wanted = _fingerprint(lock)
    if not anew and PYTHON.exists() and stamp.exists() and stamp.read_text() == wanted:
        return
    began = time.monotonic()
    stamp.unlink(missing_ok=True)
    if not _usable():
        _make()
    LOG.write_text("")
    packages = _PINNED.findall((ROOT / f"requirements/{lock}.txt").read_text())
    _pip(
        f"Installing {len(packages)} locked dependencies into .venv",
        packages,
        "--require-hashes", "-r", f"requirements/{lock}.txt",
    )  # fmt: skip
    _pip("Building Shearbolt", [], "--no-deps", "--no-build-isolation", "--editable", ".")
    stamp.write_text(wanted)
    if not _compiled():
        say(
            "No C compiler could be used: recordings are read by NumPy instead, with the same "
            "results but more slowly. With one installed, `python -m bootstrap setup` mends that."
        )
    say(f"Set-up done in {time.monotonic() - began:.0f} s; the next run starts at once.")


def _fingerprint(lock: str) -> str:
    """Digest of all that decides what .venv must hold."""
    fresh = hashlib.sha256()
    compiled = "src/shearbolt/kernels/_compiled.c"
    for part in ("pyproject.toml", "setup.py", f"requirements/{lock}.txt", compiled):
        fresh.update((ROOT / part).read_bytes())
    return fresh.hexdigest()


def _usable() -> bool:
    """Tell whether .venv is there and whole: broken off, or its Python gone, it is made anew."""
    return PYTHON.exists() and _quiet(PYTHON, "-m", "pip", "--version")


def _compiled() -> bool:
    return _quiet(PYTHON, "-c", "import shearbolt.kernels._compiled")


def _quiet(*command: str | Path) -> bool:
    done = subprocess.run(
        [str(part) for part in command], cwd=ROOT, check=False, capture_output=True
    )
    return done.returncode == 0


def _make() -> None:
    say("Making the virtual environment in .venv ...")
    try:
        venv.EnvBuilder(with_pip=True, clear=True).create(VENV)
    except subprocess.CalledProcessError:
        raise SystemExit(
            "The virtual environment could not be made: this Python comes without ensurepip. "
            "Install your system's package for it (often called python3-venv) and try again."
        ) from None
    except OSError as trouble:
        raise SystemExit(f"The virtual environment could not be made: {trouble}.") from None


def _pip(what: str, packages: list[str], *arguments: str) -> None:
    """Run `pip install`, its own words in the log, a person's on standard error."""
    command = [
        str(PYTHON), "-m", "pip", "--disable-pip-version-check", "--no-input",
        "install", "--progress-bar", "off", "--no-warn-script-location", *arguments,
    ]  # fmt: skip
    moving = sys.stderr.isatty()
    left = {_plain(name) for name in packages}
    say(f"{what} ...") if not moving else print(what, end=" ...", file=sys.stderr, flush=True)
    lines: list[str] = []
    # One plain `with` each: this file must be read by an old Python, to say that it is too old.
    with LOG.open("a", encoding="utf-8") as log, subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        encoding="utf-8", errors="replace",
    ) as pip:  # fmt: skip
        assert pip.stdout is not None
        for line in pip.stdout:
            log.write(line)
            lines.append(line.rstrip())
            found = re.match(r"Collecting ([\w.-]+)", line)
            if moving and found:
                left.discard(_plain(found[1]))
                step = f"{len(packages) - len(left)} of {len(packages)}, {found[1]}"
                print(f"\r\x1b[K{what}: {step} ...", end="", file=sys.stderr, flush=True)
            elif moving and packages and line.startswith("Installing collected"):
                print(f"\r\x1b[K{what}: unpacking ...", end="", file=sys.stderr, flush=True)
    if moving:
        print(file=sys.stderr)
    if pip.returncode:
        raise SystemExit(_why(what, lines))


def _why(what: str, lines: list[str]) -> str:
    """Put a failure of pip in words: its last errors, and what a person may do."""
    errors = [one for one in lines if re.match("ERROR: (?!Exception:)", one)] or lines
    told = "\n".join(f"  {line}" for line in errors[-_LAST_LINES:])
    return (
        f"{what} failed:\n{told}\n"
        "Is the network there, and is there room on the disk? All that pip said is in "
        f"{LOG.relative_to(ROOT)}; the next run takes up where this one stopped."
    )


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()

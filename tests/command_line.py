"""Runs the real command line for tests, and holds every document against its schema.

`run` starts a process of its own, as a person does. `call` runs the same entry point inside the
test's process, for the many looks at a book that would otherwise wait for an interpreter each.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator, FormatChecker

from shearbolt.app.schemas import schema_of
from shearbolt.cli.main import main

COMMAND = (sys.executable, "-m", "shearbolt")


@dataclass(frozen=True, slots=True)
class Told:
    """What a command printed and how it ended."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        """The one JSON document on standard output, valid by its closed schema."""
        document: dict[str, Any] = json.loads(self.out)
        name, version = document["schema"].removeprefix("shearbolt/").split("/")
        assert version == "1"
        problems = [
            f"{one.json_path}: {one.message}" for one in _validator(name).iter_errors(document)
        ]
        assert problems == [], problems[:5]
        return document

    def done(self, status: int = 0) -> dict[str, Any]:
        """Return the document of a command that must have ended in this way."""
        assert self.status == status, (self.status, self.err, self.out[:2000])
        return self.document

    @property
    def sentence(self) -> str:
        """The one sentence of a failed command, the same in words and in JSON."""
        document = self.document
        assert document["schema"] == "shearbolt/error/1", document
        said: str = document["error"]
        assert said in self.err
        assert said.endswith((".", "?"))
        assert "\n" not in said
        assert "Traceback" not in self.err
        assert document["exit_status"] == self.status
        return said


@cache
def _validator(name: str) -> Draft202012Validator:
    return Draft202012Validator(schema_of(name, closed=True), format_checker=FormatChecker())


def _arguments(book: Path | None, arguments: tuple[object, ...]) -> list[str]:
    own = [] if book is None else ["--book", str(book)]
    return own + [str(one) for one in arguments]


def environment(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return the environment of a command: this one without what points at a book."""
    own = {key: value for key, value in os.environ.items() if not key.startswith("SHEARBOLT_")}
    return own | dict(more or {})


def run(
    book: Path | None,
    *arguments: object,
    env: Mapping[str, str] | None = None,
    cwd: Path | None = None,
) -> Told:
    """Run a command in a process of its own, with --json only where it is among the arguments."""
    done = subprocess.run(
        [*COMMAND, *_arguments(book, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment(env),
        cwd=cwd,
        timeout=120,
        check=False,
    )
    return Told(done.returncode, done.stdout, done.stderr)


def call(book: Path, *arguments: object) -> Told:
    """Run a command inside this process, by the same entry point."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(_arguments(book, arguments))
    return Told(status, out.getvalue(), err.getvalue())


def faults_of(book: Path, *arguments: object) -> list[dict[str, Any]]:
    """Return all faults of all machines of a book."""
    document = call(book, "faults", "--all", "--json", *arguments).done()
    return [fault for machine in document["machines"] for fault in machine["faults"]]

"""A skipped test fails the run unless tests/allowed_skips.txt lists it with its reason.

Tests on the open recordings are the exception: without the recordings they are told as left out;
where the recordings are there, skipping one of them fails the run as well.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

LIST = Path(__file__).with_name("allowed_skips.txt")
VARIABLE = "SHEARBOLT_RECORDINGS"
LEFT_OUT = "open recordings not beside the checkout (left out)"
"""Reason of every test that is left out for want of the open recordings."""


def recordings_folder(environment: Mapping[str, str] = os.environ) -> Path | None:
    """Folder of the open recordings: as the variable says, else ../shared/recordings; or None.

    Raises pytest.UsageError when the variable names a folder that does not hold them.
    """
    told = environment.get(VARIABLE)
    beside = Path(__file__).resolve().parents[2] / "shared" / "recordings"
    folder = Path(told) if told else beside
    if (folder / "README.md").is_file():
        return folder
    if told:
        raise pytest.UsageError(f"{VARIABLE} is {told}, which holds no open recordings.")
    return None


def allowed_skips(text: str) -> set[tuple[str, str]]:
    """Read lines 'file | reason', both exact; raises ValueError for a line without a reason."""
    found = set()
    for line in text.splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        where, _, reason = (part.strip() for part in line.partition("|"))
        if not reason:
            raise ValueError(f"{LIST.name}: '{line}' gives no reason")
        found.add((where, reason))
    return found


@dataclass(frozen=True, slots=True)
class Skip:
    """One test, or one whole file, that did not run."""

    where: str
    reason: str


class SkipsListed:
    """Plugin of the process that reports: gathers what was skipped and judges it at the end."""

    def __init__(self, allowed: set[tuple[str, str]], folder: Path | None) -> None:
        self._allowed = allowed
        self._folder = folder
        self._skips: list[Skip] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep a skipped test."""
        self._keep(report)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Keep a file that was skipped as a whole."""
        self._keep(report)

    def _keep(self, report: pytest.TestReport | pytest.CollectReport) -> None:
        # An expected failure is reported as skipped, too; pytest judges it by itself.
        if report.skipped and not hasattr(report, "wasxfail"):
            said = report.longrepr
            reason = said[2] if isinstance(said, tuple) else str(said)
            self._skips.append(Skip(report.nodeid, reason.removeprefix("Skipped: ")))

    @property
    def left_out(self) -> list[Skip]:
        """Tests that want recordings which are not there."""
        return [one for one in self._skips if one.reason == LEFT_OUT and self._folder is None]

    @property
    def unlisted(self) -> list[Skip]:
        """Skips that nothing allows."""
        return [
            one
            for one in self._skips
            if one not in self.left_out
            and (one.where.partition("::")[0], one.reason) not in self._allowed
        ]

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Fail the run when something was skipped that nothing allows."""
        if self.unlisted and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Tell what was left out, and what was skipped without leave."""
        if self.left_out:
            terminalreporter.section("left out: the open recordings are not here")
            files = Counter(one.where.partition("::")[0] for one in self.left_out)
            for name, count in sorted(files.items()):
                terminalreporter.line(f"{name}: {count} tests")
            terminalreporter.line(f"Say where they are with {VARIABLE}.")
        if self.unlisted:
            terminalreporter.section(f"skipped without leave ({LIST.name})", red=True)
            for one in self.unlisted:
                terminalreporter.line(f"{one.where} | {one.reason}")


def register(config: pytest.Config) -> None:
    """Judge skips in this run; workers only report to the process that does."""
    if not hasattr(config, "workerinput"):
        allowed = allowed_skips(LIST.read_text(encoding="utf-8"))
        config.pluginmanager.register(SkipsListed(allowed, recordings_folder()), "skips-listed")

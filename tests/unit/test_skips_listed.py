"""A skipped test fails the run unless it is listed, or its recordings are not there."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.skips_listed import LEFT_OUT, LIST, allowed_skips, recordings_folder

ROOT = Path(__file__).resolve().parents[2]
TESTS = f"""
import pytest

def test_runs():
    pass

@pytest.mark.skip(reason="not today")
def test_skipped():
    pass

@pytest.mark.xfail(reason="known", strict=True)
def test_expected_to_fail():
    assert False

def test_on_recordings():
    pytest.skip({LEFT_OUT!r})
"""
CONFTEST = """
from tests.skips_listed import SkipsListed
def pytest_configure(config):
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(SkipsListed(%s, %s))
"""


@pytest.mark.parametrize(
    ("workers", "listed", "there", "fails", "told"),
    [
        ("0", False, False, True, "test_some.py::test_skipped | not today"),
        ("1", False, False, True, "test_some.py::test_skipped | not today"),
        ("0", True, False, False, "test_some.py: 1 tests"),
        ("0", True, True, True, f"test_some.py::test_on_recordings | {LEFT_OUT}"),
    ],
)
def test_runs_with_skips(
    tmp_path: Path, workers: str, listed: bool, there: bool, fails: bool, told: str
) -> None:
    (tmp_path / "test_some.py").write_text(TESTS)
    allowed = {("test_some.py", "not today")} if listed else set()
    folder = "__import__('pathlib').Path('/somewhere')" if there else "None"
    (tmp_path / "conftest.py").write_text(CONFTEST % (allowed, folder))
    alone = ["-p", "no:cacheprovider", "-p", "no:hypothesispytest", "--rootdir", "."]
    command = ["-m", "pytest", "-q", "-n", workers, *alone]
    done = subprocess.run(
        [sys.executable, *command],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTEST_ADDOPTS": ""},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert (done.returncode != 0) == fails, done.stdout
    assert told in done.stdout
    assert "test_expected_to_fail" not in done.stdout


def test_a_listed_skip_has_a_reason_and_its_file_is_there() -> None:
    for where, reason in allowed_skips(LIST.read_text(encoding="utf-8")):
        assert reason in (ROOT / where).read_text(encoding="utf-8"), (where, reason)


def test_a_line_without_a_reason_is_refused() -> None:
    with pytest.raises(ValueError, match="gives no reason"):
        allowed_skips("# a remark\n\ntests/unit/test_some.py |\n")


def test_recordings_are_found_where_the_variable_says(tmp_path: Path) -> None:
    with pytest.raises(pytest.UsageError, match="holds no open recordings"):
        recordings_folder({"SHEARBOLT_RECORDINGS": str(tmp_path)})
    (tmp_path / "README.md").touch()
    assert recordings_folder({"SHEARBOLT_RECORDINGS": str(tmp_path)}) == tmp_path


def test_recordings_beside_the_checkout_or_nowhere(tmp_path: Path) -> None:
    copy = tmp_path / "checkout" / "tests"
    copy.mkdir(parents=True)
    shutil.copy(ROOT / "tests" / "skips_listed.py", copy)
    ask = "import skips_listed; print(skips_listed.recordings_folder({}))"

    def told() -> str:
        return subprocess.check_output([sys.executable, "-c", ask], cwd=copy, text=True).strip()

    assert told() == "None"
    folder = tmp_path / "shared" / "recordings"
    folder.mkdir(parents=True)
    (folder / "README.md").touch()
    assert told() == str(folder.resolve())

"""The command line starts quickly: the help imports nothing heavy."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

# What the help may import beside the standard library.
_ALLOWED = {"click", "shearbolt"}
# What the list of commands needs of ours, and what the help of one command may add.
_BARE = {
    "shearbolt",
    "shearbolt.cli",
    "shearbolt.cli.commands",
    "shearbolt.cli.main",
    "shearbolt.cli.manner",
}
_LIGHT = ("shearbolt.cli.", "shearbolt.app.documents", "shearbolt.model", "shearbolt.errors")
# Parts of the standard library that take long to load and are of no use to a page of text.
_HEAVY = {"asyncio", "concurrent", "email", "http", "multiprocessing", "sqlite3", "ssl", "unittest"}
_MODULES = """
import json, sys
from shearbolt.cli import main
status = main(sys.argv[1:])
print(json.dumps([status, sorted(sys.modules)]))
"""


def modules_of(*words: str) -> set[str]:
    """Return every module that a run loads."""
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
    return set(names)


def packages_of(modules: set[str]) -> set[str]:
    return {name.partition(".")[0] for name in modules}


@pytest.mark.parametrize(
    "words", [["--help"], ["add", "--help"], ["own", "signal", "add", "-h"], ["--version"]]
)
def test_help_imports_only_what_is_on_the_list(words: list[str]) -> None:
    modules = modules_of(*words)
    packages = packages_of(modules)
    assert packages - set(sys.stdlib_module_names) - {"__main__"} == _ALLOWED
    # The version is asked of the package's metadata, which is kept in the form of an e-mail.
    assert packages & _HEAVY == ({"email"} if words == ["--version"] else set())
    more = {name for name in modules if name.partition(".")[0] == "shearbolt"} - _BARE
    assert not {name for name in more - {"shearbolt.app"} if not name.startswith(_LIGHT)}


def test_the_list_of_commands_loads_none_of_them() -> None:
    modules = modules_of("--help")
    assert {name for name in modules if name.partition(".")[0] == "shearbolt"} == _BARE

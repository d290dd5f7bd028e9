"""Rules of the house that no linter knows: names, sizes, sources, and what lock files hold."""

from __future__ import annotations

import ast
import csv
import re
import subprocess
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "shearbolt"
DATA = SOURCE / "dictionary" / "data"
LONGEST = 500
REASONS_TO_BE_LONGER: dict[str, str] = {
    "src/shearbolt/book/migrations/versions/v0001_first.py": "a migration is one step in one file",
    "src/shearbolt/kernels/_compiled.c": "one extension module in the stable ABI is one C file",
    "tests/unit/test_wire_transport.py": "every worked exchange of one standard's chapter",
}
"""Files of more than LONGEST lines, each with its reason."""
NAMELESS = re.compile(r"^(utils?|helpers?|misc)$")


def tracked() -> list[str]:
    """Files of the tree as git knows them, new ones included; without git, all of ours."""
    ours = ("src", "tests", "docs", "bootstrap", "benchmarks", "requirements", ".ci")
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode == 0:
        names = [name for name in listed.stdout.decode().split("\0") if name]
        return [name for name in names if (ROOT / name).is_file()]
    found = chain(ROOT.glob("*"), *((ROOT / one).rglob("*") for one in ours))
    return [one.relative_to(ROOT).as_posix() for one in found if one.is_file()]


TRACKED = tracked()
PYTHON = [name for name in TRACKED if name.endswith(".py")]


def lines_of(name: str) -> int:
    return len((ROOT / name).read_text(encoding="utf-8").splitlines())


def test_no_module_is_named_for_nothing() -> None:
    parts = {name: Path(name).with_suffix("").parts for name in PYTHON}
    assert [name for name, some in parts.items() if any(map(NAMELESS.match, some))] == []


def test_no_file_is_long_without_a_reason() -> None:
    counted = {name: lines_of(name) for name in TRACKED if name.endswith((".py", ".c", ".pyi"))}
    long = {name for name, lines in counted.items() if lines > LONGEST}
    assert long - set(REASONS_TO_BE_LONGER) == set()


def test_every_long_file_on_the_list_is_long() -> None:
    there = {name for name in REASONS_TO_BE_LONGER if (ROOT / name).is_file()}
    assert {name for name in there if lines_of(name) <= LONGEST} == set()
    assert set(REASONS_TO_BE_LONGER) - there == set()


def public(tree: ast.Module) -> Iterator[ast.AST]:
    """Yield a module, and the public classes, functions and methods in it."""
    yield tree
    waiting: list[ast.AST] = [tree]
    while waiting:
        for node in ast.iter_child_nodes(waiting.pop()):
            if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
                if node.name.startswith("_"):
                    continue
                yield node
                if isinstance(node, ast.ClassDef):
                    waiting.append(node)
            elif isinstance(node, ast.If | ast.Try):
                waiting.append(node)


@pytest.mark.parametrize("name", [name for name in PYTHON if name.startswith("src/")])
def test_every_public_name_says_what_it_is(name: str) -> None:
    tree = ast.parse((ROOT / name).read_text(encoding="utf-8"))
    silent = []
    for node in public(tree):
        assert isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        told = ast.get_docstring(node)
        if not told or told.startswith("TODO"):
            silent.append(getattr(node, "name", "the module"))
    assert silent == []


def test_a_missing_docstring_is_seen() -> None:
    tree = ast.parse(
        "class A:\n    def told(self):\n        pass\n    def _own(self):\n        pass"
    )
    assert [getattr(one, "name", None) for one in public(tree)] == [None, "A", "told"]


TABLES = sorted(path.name for path in DATA.glob("*.csv"))


@pytest.mark.parametrize("name", TABLES)
def test_every_fact_has_its_source(name: str) -> None:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows
    # The table of sources is its own: what a code stands for is said beside it.
    column = "description" if name == "sources.csv" else "source"
    assert column in rows[0]
    nameless = [i for i, row in enumerate(rows, 2) if not (row[column] or "").strip()]
    assert nameless == []


def test_source_codes_stand_for_something() -> None:
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {row["code"] for row in csv.DictReader(file)}
    cited: dict[str, str] = {}
    for name in TABLES:
        if name == "sources.csv":
            continue
        with (DATA / name).open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                codes = re.sub(r"\(.*?\)|\[.*?\]", "", row["source"])
                if re.fullmatch(r"\s*[A-Z]\d+(\s*[+,;]\s*[A-Z]\d+)*\s*", codes):
                    cited.update(dict.fromkeys(re.findall(r"[A-Z]\d+", codes), name))
    assert cited
    assert {code: name for code, name in cited.items() if code not in known} == {}


LOCKS = sorted((ROOT / "requirements").glob("*.txt"))


@pytest.mark.parametrize("path", LOCKS, ids=lambda path: str(path.name))
def test_lock_files_hold_hashes_and_no_index(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "://" not in text
    whole = re.sub(r"\\\n", " ", text)
    rows = [line for line in whole.splitlines() if line and not line.lstrip().startswith("#")]
    assert len(rows) > 10
    for row in rows:
        assert re.match(r"[a-z0-9][a-z0-9.-]*==\S+ .*--hash=sha256:[0-9a-f]{64}", row), row
        options = set(re.findall(r"(?<!\S)-[-a-z]+", row))
        assert options == {"--hash"}, row


HOSTS = {
    "www.apache.org": "the text of the licence",
    "json-schema.org": "the dialect that each JSON Schema names",
    "www.w3.org": "the name space of the picture",
}
"""Hosts that a file of the tree may name; everything else would be asked for something."""


def test_no_file_names_a_host_that_is_not_on_the_list() -> None:
    named: dict[str, set[str]] = {}
    for name in TRACKED:
        text = (ROOT / name).read_bytes().decode("utf-8", errors="replace")
        for host in re.findall(r"\b[a-z]+://([\w.-]+)", text):
            if host not in HOSTS:
                named.setdefault(name, set()).add(host)
    assert named == {}

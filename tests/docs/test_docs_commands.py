"""docs/commands.md tells every command and option there is, and none that there is not."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest
from tests.command_table import COMMANDS, understood

from shearbolt.app.documents import DOCUMENTS
from shearbolt.cli.manner import common_options

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
# A section a command: its heading is the command's own words.
SECTIONS: dict[str, str] = dict(
    re.findall(r"^## `([^`]+)`\n(.*?)(?=^## |\Z)", TEXT, re.MULTILINE | re.DOTALL)
)
COMMON = {name for option in common_options() for name in option.opts} | {"--help", "-h"}


def own_options(command: click.Command) -> set[str]:
    return {
        name
        for param in command.params
        if isinstance(param, click.Option)
        for name in param.opts
        if name not in COMMON
    }


def test_every_command_has_its_section_and_no_other_has() -> None:
    assert set(SECTIONS) == set(COMMANDS)


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_option_and_argument_is_told(name: str) -> None:
    command = COMMANDS[name]
    told = set(re.findall(r"`(--[a-z-]+)", SECTIONS[name]))
    assert told - COMMON == own_options(command)
    usage = re.search(r"```\n(shearbolt .*?)```", SECTIONS[name], re.S)
    assert usage is not None
    words = usage.group(1).split()
    assert words[: 1 + len(name.split())] == ["shearbolt", *name.split()]
    for param in command.params:
        if isinstance(param, click.Argument):
            assert param.metavar in words
        elif param.required:
            assert param.opts[0] in words, "a required option stands in the usage without brackets"


def test_the_common_options_are_told() -> None:
    before = TEXT[: TEXT.index("\n## `")]
    assert set(re.findall(r"^\| `(--[a-z-]+)", before, re.M)) == COMMON - {"-h"}


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_an_example_that_is_understood(name: str) -> None:
    examples = re.findall(r"^    \$ (shearbolt .*)$", SECTIONS[name], re.M)
    assert examples
    assert {understood(one) for one in examples} == {name}


def test_every_document_is_linked_to_its_schema() -> None:
    linked = set(re.findall(r"\(schemas/([a-z-]+)\.json\)", TEXT))
    assert linked == set(DOCUMENTS)

"""Every command of the command line by its words, and how a typed line is understood."""

from __future__ import annotations

import shlex
from collections.abc import Iterator

import click

from shearbolt.cli.commands import shearbolt


def leaves(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            if command.invoke_without_command:
                yield " ".join((*path, name)), command
            yield from leaves(command, (*path, name))
        else:
            yield " ".join((*path, name)), command


TOP = set(shearbolt.list_commands(click.Context(shearbolt)))
"""Words that begin a command."""
COMMANDS: dict[str, click.Command] = dict(leaves(shearbolt))


def understood(line: str) -> str:
    """Return the words of the command that a typed line runs.

    '' for help and version. Parsing alone: a wrong option, a missing or malformed value raises
    click.UsageError.
    """
    words = shlex.split(line, comments=True)
    assert words[0] == "shearbolt"
    if words[1:] in (["--help"], ["--version"]):
        return ""
    with shearbolt.make_context("shearbolt", words[1:], obj={}):
        pass
    at = next(i for i in range(1, len(words)) if words[i] in TOP)
    name = max(
        (one for one in COMMANDS if words[at : at + len(one.split())] == one.split()), key=len
    )
    COMMANDS[name].make_context(name, words[at + len(name.split()) :], obj={})
    return name

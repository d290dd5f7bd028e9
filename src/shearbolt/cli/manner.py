"""How a command was asked to work: the options that every command takes, before or after its name.

`--book DIR --json --quiet --no-color --units metric|us --lang TAG`; an option after the command's
name wins over the same one before it.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

_LANGUAGE = re.compile(r"[A-Za-z]{2,8}([-_][A-Za-z0-9]{1,8})*$")


@dataclass(frozen=True, slots=True)
class Manner:
    """What the common options said."""

    book: str | None = None
    """Folder given; None: SHEARBOLT_BOOK, else the user's own."""
    json: bool = False
    """One JSON document on standard output, and nothing else there."""
    quiet: bool = False
    """No progress and no hints."""
    no_color: bool = False
    """No emphasis, whatever the terminal can do."""
    units: str = "metric"
    """'metric' or 'us'."""
    lang: str = "en"
    """Language tag as given."""

    @property
    def book_folder(self) -> Path:
        """The folder of the book to work on."""
        return Path(self.book_given) if self.book_given else default_book()

    @property
    def book_given(self) -> str | None:
        """The folder named by option or environment, if either did."""
        return self.book or os.environ.get("SHEARBOLT_BOOK") or None


def default_book(
    platform: str = sys.platform, environ: Mapping[str, str] | None = None, home: str | None = None
) -> Path:
    """Find the user's data folder for the book, by each platform's own custom."""
    environ = os.environ if environ is None else environ
    user = Path(home) if home is not None else Path.home()
    if platform == "win32":
        local = environ.get("LOCALAPPDATA")
        return (Path(local) if local else user / "AppData" / "Local") / "Shearbolt" / "book"
    if platform == "darwin":
        return user / "Library" / "Application Support" / "Shearbolt" / "book"
    data = environ.get("XDG_DATA_HOME", "")
    # The XDG base directory rules ignore a relative path.
    return (
        (Path(data) if data.startswith("/") else user / ".local" / "share") / "shearbolt" / "book"
    )


def current_manner() -> Manner:
    """Give what the common options of the running command said."""
    return Manner(**_said(click.get_current_context()))


def _said(context: click.Context) -> dict[str, Any]:
    return context.find_root().ensure_object(dict)


def _remember(context: click.Context, param: click.Parameter, value: object) -> None:
    if value is not None and value is not False and param.name is not None:
        _said(context)[param.name] = value


def _language(context: click.Context, param: click.Parameter, value: str | None) -> None:
    if value is not None and not _LANGUAGE.match(value):
        raise click.BadParameter(f"'{value}' is no language tag such as 'en'.")
    _remember(context, param, value)


def common_options() -> list[click.Parameter]:
    """Make the options that every command takes."""
    return [
        click.Option(
            ["--book"],
            metavar="DIR",
            help="Folder of the book (or SHEARBOLT_BOOK; made when missing).",
            expose_value=False,
            callback=_remember,
        ),
        click.Option(
            ["--json"],
            is_flag=True,
            help="Print one JSON document instead of words.",
            expose_value=False,
            callback=_remember,
        ),
        click.Option(
            ["--quiet"],
            is_flag=True,
            help="No progress and no hints.",
            expose_value=False,
            callback=_remember,
        ),
        click.Option(
            ["--no-color"],
            is_flag=True,
            help="Plain text without emphasis.",
            expose_value=False,
            callback=_remember,
        ),
        click.Option(
            ["--units"],
            type=click.Choice(["metric", "us"]),
            help="Units of readings in words (metric).",
            expose_value=False,
            callback=_remember,
        ),
        click.Option(
            ["--lang"],
            metavar="TAG",
            help="Language of the words (en).",
            expose_value=False,
            callback=_language,
        ),
    ]


class Command(click.Command):
    """A command that takes the common options."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["params"] = [*(kwargs.get("params") or []), *common_options()]
        super().__init__(*args, **kwargs)


class Group(click.Group):
    """A group of commands that takes the common options."""

    command_class = Command

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["params"] = [*(kwargs.get("params") or []), *common_options()]
        super().__init__(*args, **kwargs)


Group.group_class = Group

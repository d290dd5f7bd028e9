"""`shearbolt own signal ...` and `own code ...`."""

from __future__ import annotations

import click

from shearbolt.app.documents import OwnCodeAsked
from shearbolt.cli.manner import Group
from shearbolt.cli.printing import answer
from shearbolt.cli.render_signals import render_own_codes, render_own_signals

_ON = click.option(
    "--on", "tried_on", required=True, metavar="VISIT_OR_FILE", help="Try them on this recording."
)


@click.group(cls=Group)
def own() -> None:
    """Keep signals and code texts of your own."""


@own.group()
def signal() -> None:
    """Signals that are not in the standard's table."""


@signal.command(name="add")
@click.argument("rows_file", metavar="ROWS")
@_ON
def add_signal(rows_file: str, tried_on: str) -> int:
    """Try the signals of a table on a recording and keep them.

    ROWS is a CSV file with the columns spn, name, pgn, pgn_acronym, start_byte, start_bit,
    length_bits, resolution, offset, unit, low, high, state_texts, source, and if you like address.
    """
    return answer(
        lambda app, manner, wording, _: app.own_signal_add(
            manner.book_folder, rows_file, tried_on=tried_on, wording=wording
        ),
        render_own_signals,
    )


@signal.command(name="try")
@click.argument("rows_file", metavar="ROWS")
@_ON
def try_signal(rows_file: str, tried_on: str) -> int:
    """Try the signals of a table on a recording; nothing is kept."""
    return answer(
        lambda app, manner, wording, _: app.own_signal_try(
            manner.book_folder, rows_file, tried_on=tried_on, wording=wording
        ),
        render_own_signals,
    )


@signal.command(name="list")
def list_signals() -> int:
    """Show your own signals."""
    return answer(
        lambda app, manner, wording, _: app.own_signal_list(manner.book_folder, wording=wording),
        render_own_signals,
    )


@own.group()
def code() -> None:
    """Meanings of a maker's own codes, from the machine's manual."""


@code.command(name="add")
@click.option("--spn", type=click.IntRange(0, 0x7FFFF), required=True, metavar="N", help="SPN.")
@click.option("--fmi", type=click.IntRange(0, 31), metavar="N", help="FMI (any).")
@click.option("--text", required=True, metavar="WORDS", help="What the manual says.")
@click.option(
    "--manufacturer-code",
    type=click.IntRange(0, 0x7FF),
    metavar="N",
    help="Manufacturer code of the sender's NAME; needed from SPN 520192 up.",
)
@click.option(
    "--function", type=click.IntRange(0, 0xFF), metavar="N", help="Function of the sender's NAME."
)
@click.option("--page", metavar="PAGE", help="Page of the manual.")
def add_code(
    spn: int,
    fmi: int | None,
    text: str,
    manufacturer_code: int | None,
    function: int | None,
    page: str | None,
) -> int:
    """Keep the text of a code."""
    asked = OwnCodeAsked(spn, fmi, text, manufacturer_code, function, page)
    return answer(
        lambda app, manner, wording, _: app.own_code_add(
            manner.book_folder, asked, wording=wording
        ),
        render_own_codes,
    )


@code.command(name="list")
def list_codes() -> int:
    """Show your own code texts."""
    return answer(
        lambda app, manner, wording, _: app.own_code_list(manner.book_folder, wording=wording),
        render_own_codes,
    )

"""Kinds of values that people type: times, engine hours, columns of a table.

Each function raises click.BadParameter, which the command line reports as wrong usage.
"""

from __future__ import annotations

import math
import re
from datetime import datetime

import click

from shearbolt.model.instants import from_iso, is_date_only

_GROUPED = re.compile(r"\d{1,3}(,\d{3})+(\.\d+)?$")
_COMMA = re.compile(r"\d+,\d{1,2}$")


def time_typed(text: str) -> int:
    """Read an ISO 8601 date or time into microseconds since 1970 UTC.

    A time without a zone is one of the computer's own zone, as times are shown; a bare date is
    midnight UTC, which stands for the day wherever it is read.
    """
    try:
        if is_date_only(text):
            return from_iso(text)
        moment = datetime.fromisoformat(text.strip())
        if moment.tzinfo is None:
            moment = moment.astimezone()
        return from_iso(moment.isoformat())
    except (ValueError, OverflowError, OSError):
        raise click.BadParameter(
            f"'{text}' is no time such as 2026-05-14 or 2026-05-14T06:12:09Z."
        ) from None


def hours_typed(text: str) -> float:
    """Read an engine-hour reading of 0 or more: 5910, 5910.5 h, 5,910.5, 5910,5."""
    bare = text.strip().lower().removesuffix("h").strip()
    if _GROUPED.match(bare):
        bare = bare.replace(",", "")
    elif _COMMA.match(bare):
        bare = bare.replace(",", ".")
    try:
        reading = float(bare)
    except ValueError:
        reading = math.nan
    if not math.isfinite(reading) or reading < 0:
        raise click.BadParameter(f"'{text}' is no engine-hour reading such as 5910.0.")
    return reading


def columns_typed(text: str) -> dict[str, str]:
    """Read columns of a table, time=Time,id=Ident,data=Data: the column's name by what it holds."""
    found: dict[str, str] = {}
    for part in text.split(","):
        what, _, column = (one.strip() for one in part.partition("="))
        if not what or not column:
            raise click.BadParameter(f"'{part}' is not of the form time=COLUMN.")
        if what in found:
            raise click.BadParameter(f"'{what}' is given twice.")
        found[what] = column
    return found

"""Read the package's own tables: comma-separated text in `data/`, each read once."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

from shearbolt.errors import DictionaryError

_DATA = Path(__file__).parent / "data"


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """Give the rows of `data/<name>.csv` as text by column name.

    Raises DictionaryError when the table is missing or a row has too few or too many fields.
    """
    path = _DATA / f"{name}.csv"
    try:
        with path.open(newline="", encoding="utf-8") as lines:
            reader = csv.reader(lines)
            head = next(reader)
            rows = list(reader)
    except (OSError, StopIteration) as error:
        raise DictionaryError(
            f"the table {path.name} is missing or empty; install Shearbolt again"
        ) from error
    for number, row in enumerate(rows, 2):
        if len(row) != len(head):
            raise DictionaryError(
                f"{path.name}, row {number}: {len(row)} fields where the heading has {len(head)}"
            )
    return tuple(dict(zip(head, row, strict=True)) for row in rows)


def number_or_none(text: str) -> int | None:
    """Read a whole number; an empty field is None. Raises ValueError for anything else."""
    return int(text) if text else None

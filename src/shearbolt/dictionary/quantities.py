"""The quantities that settings and checks speak of, and the parameters that can tell them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of a machine's state (`data/quantities.csv`)."""

    key: str
    """Name for programs, with its unit: `coolant_c`."""
    words: str
    """Plain name, as it stands in a sentence."""
    unit: str
    spns: tuple[int, ...]
    """Parameters that tell it, the best first."""
    source: str


@cache
def quantities() -> tuple[Quantity, ...]:
    """Give the table. Raises DictionaryError when a row cannot be read."""
    found: list[Quantity] = []
    for row in table("quantities"):
        try:
            spns = tuple(int(one) for one in row["spns"].split("|"))
        except ValueError as error:
            raise DictionaryError(f"quantities.csv: a number cannot be read: {row}") from error
        found.append(Quantity(row["quantity"], row["words"], row["unit"], spns, row["source"]))
    return tuple(found)


@cache
def state_spns() -> frozenset[int]:
    """Give every parameter that the second-by-second state keeps."""
    return frozenset(spn for one in quantities() for spn in one.spns)

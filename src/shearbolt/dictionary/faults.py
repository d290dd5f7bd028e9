"""Fault codes in plain words: names of parameters (SPN) and kinds of failure (FMI).

`data/fmi.csv` (SAE J1939-73) and `data/spn_names.csv` beside the signal table. A number that no
public table names is shown as its number and never guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from shearbolt.dictionary.names import address_text
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError
from shearbolt.model.fault import MAKER_SPN

FmiGroup = Literal["circuit", "condition", "signal", "mechanical", "device", "maker", "reserved"]
"""What to look at first: wiring or sensor; the quantity itself or a biased sensor; the quality of
the signal or the network; a mechanism; the device; the maker's text; nothing is known."""
_GROUPS: dict[str, FmiGroup] = {
    "circuit": "circuit",
    "condition": "condition",
    "signal": "signal",
    "mechanical": "mechanical",
    "device": "device",
    "maker": "maker",
    "reserved": "reserved",
}

FMI_TOP = 31
"""Largest failure mode identifier, 5 bits (SAE J1939-73)."""
MISSING_SENDER = range(2000, 2254)
"""SPN 2000 + address: messages of the controller at that address (SAE J1939-73, from memory)."""


@dataclass(frozen=True, slots=True)
class Fmi:
    """One failure mode identifier."""

    fmi: int
    text: str
    """A few plain words."""
    longer: str
    """One sentence on what it means."""
    group: FmiGroup
    source: str


@cache
def _fmis() -> dict[int, Fmi]:
    found: dict[int, Fmi] = {}
    for fields in table("fmi"):
        try:
            one = Fmi(
                int(fields["fmi"]),
                fields["text"],
                fields["longer"],
                _GROUPS[fields["group"]],
                fields["source"],
            )
        except (ValueError, KeyError) as error:
            raise DictionaryError(f"fmi.csv: a row cannot be read: {fields}") from error
        found[one.fmi] = one
    return found


def fmi_of(fmi: int) -> Fmi:
    """Give the table's entry of a failure mode identifier, 0 to 31.

    Raises DictionaryError for any other number.
    """
    try:
        return _fmis()[fmi]
    except KeyError as error:
        raise DictionaryError(f"FMI {fmi} does not exist; it runs from 0 to {FMI_TOP}") from error


@cache
def _names() -> dict[int, str]:
    try:
        return {int(fields["spn"]): fields["name"] for fields in table("spn_names")}
    except ValueError as error:
        raise DictionaryError("spn_names.csv: a number cannot be read") from error


def spn_name(spn: int) -> str | None:
    """Give the plain name of a parameter as a fault names it; None when no public table does.

    Numbers from 520192 up belong to makers and have no public name.
    """
    if spn >= MAKER_SPN:
        return None
    if name := _names().get(spn):
        return name
    if rows := row_of_spn(spn):
        return rows[0].name
    if spn in MISSING_SENDER:
        address = spn - MISSING_SENDER.start
        return f"Controller at {address_text(address)}"
    return None


def known_spn(spn: int) -> bool:
    """Tell whether a public table names this parameter (0 and makers' numbers: False)."""
    return spn_name(spn) is not None


def fault_text(spn: int, fmi: int) -> str:
    """Say a fault code in plain words: what it is about, then what is wrong with it.

    Example: 'Engine oil pressure: voltage too low or shorted to minus'.
    """
    kind = _fmis()[fmi].text if fmi in _fmis() else f"FMI {fmi}"
    if spn >= MAKER_SPN:
        return f"a code of the maker's own (SPN {spn}): {kind}"
    return f"{spn_name(spn) or f'a code not in our tables (SPN {spn})'}: {kind}"

"""Codes of SAE J2012 (P0143 and the like): plain words for known ones, structure for the rest.

A code whose meaning is not in the table is never guessed: only what its letter and digits say
by themselves is told, the part of the vehicle and whether the meaning is the maker's own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal, TypeAlias, cast

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

CodeOwner: TypeAlias = Literal["standard", "maker", "reserved"]

_CODE = re.compile(r"([PCBU])([0-3][0-9A-F]{3})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class CodeText:
    """What a code says."""

    code: str
    """In capitals."""
    text: str
    """Plain words: the meaning where it is known, else what the structure alone tells."""
    known: bool
    """The meaning is in the table."""
    area: str
    """Part of the vehicle by letter and digits."""
    owner: CodeOwner
    """Who gives the code its meaning."""
    source: str
    """Where the words come from."""


def structure_of(code: str) -> tuple[str, str]:
    """Split a code such as P0143 into its letter and its four digits, in capitals.

    Raises ValueError when the text is no code of that form (SAE J2012).
    """
    match = _CODE.fullmatch(code.strip())
    if match is None:
        raise ValueError(f"'{code}' is no code of the form P0143")
    return match[1].upper(), match[2].upper()


def code_text(code: str) -> CodeText:
    """Give the words for a code such as P0143.

    Raises ValueError when the text is no code of that form.
    """
    letter, digits = structure_of(code)
    whole = letter + digits
    area, owner, area_source = _area(whole)
    known = _texts().get(whole)
    if known is not None:
        return CodeText(whole, known[0], True, area, owner, known[1])
    return CodeText(whole, f"{area}: {_UNKNOWN[owner]}", False, area, owner, area_source)


_UNKNOWN: Mapping[CodeOwner, str] = {
    "standard": "standard code, its meaning is not in the table",
    "maker": "maker's own code",
    "reserved": "code reserved by the standard",
}


@cache
def _texts() -> Mapping[str, tuple[str, str]]:
    texts = {}
    for row in table("obd_codes"):
        if not _CODE.fullmatch(row["code"]):
            raise DictionaryError(f"obd_codes.csv: '{row['code']}' is no code")
        texts[row["code"]] = row["text"], row["source"]
    return MappingProxyType(texts)


@cache
def _areas() -> Mapping[str, tuple[str, CodeOwner, str]]:
    areas = {}
    for row in table("obd_code_areas"):
        if row["owner"] not in _UNKNOWN:
            raise DictionaryError(f"obd_code_areas.csv: '{row['owner']}' owns no codes")
        areas[row["prefix"]] = row["area"], cast(CodeOwner, row["owner"]), row["source"]
    return MappingProxyType(areas)


def _area(code: str) -> tuple[str, CodeOwner, str]:
    """Find the longest prefix of the code that the table of areas has."""
    areas = _areas()
    for size in (3, 2):
        if code[:size] in areas:
            return areas[code[:size]]
    raise DictionaryError(f"obd_code_areas.csv has no row for {code[:2]}")

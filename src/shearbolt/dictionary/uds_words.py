"""Words of ISO 14229-1: negative responses, failure types, data identifiers, code formats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal, TypeAlias, cast

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

CodeKind: TypeAlias = Literal["p_code", "spn_fmi", "raw"]


@dataclass(frozen=True, slots=True)
class DataIdentifier:
    """A data identifier of service 22 that the standard names."""

    number: int
    name: str
    """Plain name."""
    is_text: bool
    """Its data are characters."""


@dataclass(frozen=True, slots=True)
class CodeFormat:
    """How the three bytes of a code are to be read."""

    number: int
    name: str
    """The standard that says so."""
    kind: CodeKind
    """'p_code': two bytes of code and a failure type; 'spn_fmi'; 'raw': kept as bytes."""


def refusal_words(nrc: int) -> str:
    """Say a negative response code (0 to 255) in plain words; unknown ones as their number."""
    known = _numbered("negative_responses", "nrc").get(nrc)
    if known is not None:
        return known
    if 0x38 <= nrc <= 0x4F:
        return f"refused by data link security, code {nrc:02X}"
    if 0xF0 <= nrc <= 0xFE:
        return f"conditions are not right for it: maker's own code {nrc:02X}"
    return f"refused, code {nrc:02X}"


def failure_type_words(failure_type: int) -> str | None:
    """Say the third byte of a code (0 to 255) in plain words; None when it is not in the table.

    F0 to FF are the maker's own and never are.
    """
    return _numbered("failure_types", "failure_type").get(failure_type)


@cache
def data_identifiers() -> Mapping[int, DataIdentifier]:
    """Give the identifiers of service 22 that the standard names, by number.

    Raises DictionaryError for a row that cannot be used.
    """
    rows = table("data_identifiers")
    numbers = _keys("data_identifiers", "did")
    return MappingProxyType(
        {
            number: DataIdentifier(number, row["name"], row["kind"] == "text")
            for number, row in zip(numbers, rows, strict=True)
        }
    )


@cache
def code_formats() -> Mapping[int, CodeFormat]:
    """Give the known formats of codes by number.

    Raises DictionaryError for a row that cannot be used.
    """
    formats = {}
    for number, row in zip(_keys("code_formats", "format"), table("code_formats"), strict=True):
        if row["kind"] not in ("p_code", "spn_fmi", "raw"):
            raise DictionaryError(f"code_formats.csv: '{row['kind']}' is no kind of code")
        formats[number] = CodeFormat(number, row["name"], cast(CodeKind, row["kind"]))
    return MappingProxyType(formats)


@cache
def _numbered(name: str, key: str) -> Mapping[int, str]:
    texts = (row["text"] for row in table(name))
    return MappingProxyType(dict(zip(_keys(name, key), texts, strict=True)))


def _keys(name: str, key: str) -> list[int]:
    """Read the hexadecimal key column of a table."""
    try:
        return [int(row[key], 16) for row in table(name)]
    except ValueError as error:
        raise DictionaryError(f"{name}.csv: {error}") from error

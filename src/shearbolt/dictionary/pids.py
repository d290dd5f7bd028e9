"""Parameter identifiers of SAE J1979 (ISO 15031-5): what each means, from `data/pids.csv`.

A row of the table is one quantity of one identifier. Identifiers whose layout is not settled
have a name and no quantity; their bytes are kept as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from shearbolt.dictionary.tables import number_or_none, table
from shearbolt.errors import DictionaryError


@dataclass(frozen=True, slots=True)
class PidField:
    """One quantity of a parameter identifier; its number is big-endian."""

    field: str
    """Name for programs, with its unit."""
    name: str
    """Plain name."""
    first: int
    """First byte, counted from 0 after the identifier."""
    size: int
    """Number of bytes."""
    bit: int | None
    """Only this bit of the byte, 0 least significant; None: the whole number."""
    signed: bool
    """Two's complement."""
    numerator: int
    """Value = (raw x numerator + offset x denominator) / denominator."""
    denominator: int
    offset: int
    """Physical value of raw zero."""
    unit: str
    """Unit; 'state' for listed states, '' for plain numbers."""
    flag: int | None
    """Bit of the first byte that says whether the unit has this quantity; None: always."""
    no_number: int | None
    """Raw number that stands for 'not used'."""
    states: tuple[tuple[int, str], ...]
    """Raw numbers with a name of their own."""
    spn: int | None
    """The same quantity, in the same unit, among the parameters of J1939."""
    source: str
    """Where the row comes from."""

    @property
    def end(self) -> int:
        """First byte after it."""
        return self.first + self.size


@dataclass(frozen=True, slots=True)
class Pid:
    """One parameter identifier."""

    number: int
    name: str
    """Plain name."""
    length: int | None
    """Number of data bytes; None where editions of the standard differ or it is not certain."""
    fields: tuple[PidField, ...]


@cache
def pid_table() -> Mapping[int, Pid]:
    """Give every identifier of the table by its number.

    Raises DictionaryError for a row that cannot be used.
    """
    heads: dict[int, tuple[str, int | None]] = {}
    fields: dict[int, list[PidField]] = {}
    for line, row in enumerate(table("pids"), 2):
        try:
            number = int(row["pid"], 16)
            heads[number] = row["pid_name"], number_or_none(row["length"])
            held = fields.setdefault(number, [])
            if row["field"]:
                held.append(_field(row))
        except ValueError as error:
            raise DictionaryError(f"pids.csv, row {line}: {error}") from error
    return MappingProxyType(
        {
            number: Pid(number, name, length, tuple(fields[number]))
            for number, (name, length) in heads.items()
        }
    )


@cache
def counter_names(info_type: int) -> tuple[str, ...]:
    """Give the short names of in-use performance counters, in the order in which they are sent.

    For info types 08 (spark ignition) and 0B (compression ignition) of service 09; for any other
    there are none. Raises DictionaryError for a row that cannot be used.
    """
    try:
        rows = [row for row in table("in_use_counters") if int(row["info_type"], 16) == info_type]
        return tuple(row["name"] for row in sorted(rows, key=lambda row: int(row["position"])))
    except ValueError as error:
        raise DictionaryError(f"in_use_counters.csv: {error}") from error


def _field(row: Mapping[str, str]) -> PidField:
    """Read one row; raises ValueError when a number is none."""
    numerator, _, denominator = row["scale"].partition("/")
    return PidField(
        field=row["field"],
        name=row["name"],
        first=int(row["byte"]) - 1,
        size=int(row["bytes"]),
        bit=number_or_none(row["bit"]),
        signed=row["signed"] == "1",
        numerator=int(numerator),
        denominator=int(denominator or "1"),
        offset=int(row["offset"]),
        unit=row["unit"],
        flag=number_or_none(row["flag"]),
        no_number=int(row["none"], 16) if row["none"] else None,
        states=_states(row["states"]),
        spn=number_or_none(row["spn"]),
        source=row["source"],
    )


def _states(text: str) -> tuple[tuple[int, str], ...]:
    pairs = (item.split("=", 1) for item in text.split("|") if item)
    return tuple((int(number), words) for number, words in pairs)

"""Which codes can be the cause, or the follower, of others (`data/company_roles.csv`)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError


@dataclass(frozen=True, slots=True)
class CompanyRole:
    """A part that codes play beside others: `supply`, `feed`, `network`, `derate`, ..."""

    role: str
    spns: frozenset[int]
    fmis: frozenset[int]
    """Empty: any."""
    source: str

    def fits(self, spn: int | None, fmi: int | None) -> bool:
        """Tell whether a code plays this part."""
        return spn in self.spns and (not self.fmis or fmi in self.fmis)


def numbers_of(text: str) -> frozenset[int]:
    """Read '3|7-9' as {3, 7, 8, 9}; nothing is the empty set.

    Raises ValueError when it cannot be read.
    """
    found: set[int] = set()
    for part in text.split("|") if text else ():
        first, _, last = part.partition("-")
        found.update(range(int(first), int(last or first) + 1))
    return frozenset(found)


@cache
def company_roles() -> dict[str, CompanyRole]:
    """Give the table by role. Raises DictionaryError when a row cannot be read."""
    found: dict[str, CompanyRole] = {}
    for row in table("company_roles"):
        try:
            role = CompanyRole(
                row["role"], numbers_of(row["spns"]), numbers_of(row["fmis"]), row["source"]
            )
        except ValueError as error:
            raise DictionaryError(f"company_roles.csv: a number cannot be read: {row}") from error
        found[role.role] = role
    return found


def plays(role: str, spn: int | None, fmi: int | None) -> bool:
    """Tell whether a code plays a part. Raises KeyError for a part that the table lacks."""
    return company_roles()[role].fits(spn, fmi)

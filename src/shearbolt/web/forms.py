"""What people fill in: fields read into values, each trouble a sentence beside its field. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from shearbolt.model.instants import Instant, from_iso, is_date_only

_GROUPED = re.compile(r"\d{1,3}([,  ']\d{3})+(\.\d+)?\Z")
_MOST_HOURS = 200_000.0
"""No hour meter of a farm machine gets so far (common sense, no source)."""


class NotThis(ValueError):
    """A field that cannot be read; the sentence says what it should look like."""


@dataclass(slots=True)
class Filled:
    """A form as it came."""

    fields: Mapping[str, list[str]]
    problems: dict[str, str] = field(default_factory=dict)
    """By field; '' is the whole form."""
    earlier: str = ""
    """Address of what became of other words that were sent in this form; else ''."""

    def text(self, name: str) -> str:
        """Give a field's text; '' where it is not there."""
        return (self.fields.get(name) or [""])[0].strip()

    def texts(self, name: str) -> list[str]:
        """Give all texts under a name, empty ones left out."""
        return [one.strip() for one in self.fields.get(name, []) if one.strip()]

    def hours(self, name: str) -> float | None:
        """Read engine hours; what cannot be read becomes a problem."""
        try:
            return read_hours(self.text(name))
        except NotThis as trouble:
            self.problems[name] = str(trouble)
            return None

    def instant(self, name: str, now: datetime) -> Instant | None:
        """Read a day or a moment; what cannot be read becomes a problem."""
        try:
            return read_instant(self.text(name), now)
        except NotThis as trouble:
            self.problems[name] = str(trouble)
            return None

    def chosen(self, name: str, *choices: str) -> str | None:
        """Give a choice; None where none of them was made."""
        return one if (one := self.text(name)) in choices else None


def read_hours(typed: str) -> float | None:
    """Read an hour meter as people write it: 5910, 5910.5 h, 5,910.5, 5910,5; '' is None.

    Raises NotThis.
    """
    bare = typed.strip().lower().removesuffix("h").strip()
    if not bare:
        return None
    if _GROUPED.match(bare):
        bare = re.sub(r"[,  ']", "", bare)
    try:
        value = float(bare.replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0 <= value <= _MOST_HOURS:
        raise NotThis("Engine hours look like 5910 or 5910.5.")
    return value


def read_instant(typed: str, now: datetime) -> Instant | None:
    """Read a day ('2026-05-14') or a moment ('2026-05-14T06:12') of the page's zone; '' is None.

    A day stands for itself as midnight UTC. Raises NotThis.
    """
    if not typed.strip():
        return None
    try:
        if is_date_only(typed):
            return from_iso(typed)
        moment = datetime.fromisoformat(typed.strip())
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=now.tzinfo)
        return from_iso(moment.isoformat())
    except (ValueError, OverflowError):
        raise NotThis("Days look like 2026-05-14, times like 2026-05-14T06:12.") from None

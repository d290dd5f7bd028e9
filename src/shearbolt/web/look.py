"""How a person wants the pages: units, name, large targets. Kept in cookies of their browser."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote, unquote

from starlette.responses import Response

from shearbolt.app.documents import Units, Wording

LONGEST_NAME = 60
_YEAR_S = 365 * 86400
_UNITS, _NAME, _GLOVE = "shearbolt_units", "shearbolt_name", "shearbolt_glove"


@dataclass(frozen=True, slots=True)
class Look:
    """What the words and numbers of a page depend on."""

    now: datetime
    """The moment the page is made, in the zone of its times."""
    units: Units = "metric"
    """Units of readings."""
    name: str = ""
    """Who is looking, as they write themselves; '' where they did not say."""
    glove: bool = False
    """Targets for a hand in a glove."""

    @property
    def wording(self) -> Wording:
        """How the sentences of documents are made."""
        return Wording("en", self.units)


def look_of(cookies: Mapping[str, str], now: datetime) -> Look:
    """Read the cookies; whatever is not understood is left at its usual."""
    return Look(
        now=now,
        units="us" if cookies.get(_UNITS) == "us" else "metric",
        name=tidy_name(unquote(cookies.get(_NAME, ""), errors="replace")),
        glove=cookies.get(_GLOVE) == "on",
    )


def tidy_name(typed: str) -> str:
    """Take a name as typed: one line, no more than LONGEST_NAME characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in typed).split())[:LONGEST_NAME]


def remember_name(response: Response, name: str) -> None:
    """Keep the name for the next form."""
    _keep(response, _NAME, quote(tidy_name(name)))


def remember(response: Response, *, units: Units, name: str, glove: bool) -> None:
    """Keep all settings."""
    _keep(response, _UNITS, units)
    _keep(response, _GLOVE, "on" if glove else "off")
    remember_name(response, name)


def _keep(response: Response, cookie: str, value: str) -> None:
    response.set_cookie(cookie, value, max_age=_YEAR_S, httponly=True, samesite="strict")

"""What a picture is made from: one fault of a machine of the book, with all that is concluded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from shearbolt.app.composing.labels import fault_words
from shearbolt.app.composing.measures import quantity_words
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.case import StateOf, machine_case
from shearbolt.app.concluding.conclude import Conclusions
from shearbolt.app.concluding.kept import conclusions_of
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents.asking import Units, Wording
from shearbolt.app.picturing.documents import Limit
from shearbolt.app.picturing.units import Shown, shown_in, with_unit
from shearbolt.book import Book
from shearbolt.book import records as r
from shearbolt.model.state import StateTable
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.settings import Setting, Term

NO_STATE = StateTable(np.empty(0, np.int64), {})
DERIVED: Mapping[str, tuple[str, str]] = {
    "minutes_since_start": ("minutes since the engine's start", "min"),
    "engine_running": ("engine", "state"),
    "cranking": ("starter", "state"),
    "slowing_kmh_s": ("slowing down, in a second", "km/h"),
    "steering_abs_rad": ("steering, to either side", "rad"),
    "hour_utc": ("hour of the day (UTC)", "h"),
}
"""Names and units of the quantities that no parameter tells."""
LEVELS: Mapping[str, list[str]] = {
    "engine_running": ["standing", "running"],
    "cranking": ["off", "cranking"],
    "neutral": ["in gear", "neutral"],
    "brake": ["released", "pressed"],
    "clutch": ["released", "pressed"],
    "seat_belt": ["open", "closed"],
    "regeneration": ["none", "active", "needed"],
}
"""Words of states, where 'off' and 'on' would not do."""


@dataclass(frozen=True)
class Asked:
    """One machine, and how its pictures are worded. What takes long is worked out when needed."""

    book: Book
    record: MachineRecord
    tables: FactTables
    wording: Wording

    @property
    def units(self) -> Units:
        """Units of the figures."""
        return self.wording.units

    @cached_property
    def case(self) -> MachineCase:
        """The machine as the reasoning takes it, with the state of every visit."""
        return self._case(self.book.state)

    def case_of_visit(self, visit: str) -> MachineCase:
        """Give the machine with the state of one visit alone: all of them take a while to read."""
        return self._case(lambda one: self.book.state(one) if one == visit else NO_STATE)

    def _case(self, state_of: StateOf) -> MachineCase:
        signals = self.book.signals_seen(self.record.machine.id)
        return machine_case(self.record, self.tables, signals, state_of)

    @cached_property
    def concluded(self) -> Conclusions:
        """All that is concluded of it."""
        return conclusions_of(self.book, self.record, self.tables)

    def setting(self, fault: str) -> Setting | None:
        """Give when a fault starts; None: nothing is known of it, or it is an old memory."""
        if self.concluded.standings[fault].stale:
            return None
        return self.concluded.settings.get(fault)

    def words(self, fault: r.Fault) -> str:
        """Name a fault in plain words."""
        name = self.record.names.get(fault.controller) if fault.controller is not None else None
        return fault_words(fault, self.tables, name)[0]


def fault_of(case: MachineCase, fault: str) -> FaultCase:
    """Give a fault of a machine. Raises StopIteration for a foreign one."""
    return next(one for one in case.faults if one.fault == fault)


def named(quantity: str) -> tuple[str, str]:
    """Give the plain name of a quantity and its unit in the tables."""
    if quantity in DERIVED:
        return DERIVED[quantity]
    try:
        return quantity_words(quantity)
    except KeyError:
        return quantity.replace("_", " "), ""


def levels_of(quantity: str, unit: str) -> list[str]:
    """Give the words of a state's values; empty for what is measured."""
    return LEVELS.get(quantity, ["off", "on"]) if unit == "state" else []


def limit_of(term: Term, shown: Shown) -> Limit | None:
    """Give a term's threshold; None for states and words."""
    if term.op not in ("<", ">") or term.value is None:
        return None
    value = shown.of(term.value)
    side = "below" if term.op == "<" else "above"
    return {
        "op": term.op,
        "value": value,
        "low": shown.maybe(term.low),
        "high": shown.maybe(term.high),
        "words": f"{side} {with_unit(value, shown.unit)}",
    }


def shown_of(quantity: str, units: Units) -> Shown:
    """Say how a quantity's values are shown."""
    return shown_in(named(quantity)[1], units)


def upper(words: str) -> str:
    """Begin a sentence."""
    return words[:1].upper() + words[1:]

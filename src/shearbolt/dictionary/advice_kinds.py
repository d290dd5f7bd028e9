"""What to do with a machine by kind of fault, which readings are dangerous, and the cautions.

`data/advice_kinds.csv` is read from the top: the first row that fits a fault is its kind.
`data/dangerous_readings.csv` names what destroys an engine or endangers people while it is read;
`data/cautions.csv` what can hurt someone. Values are our cautious defaults where a maker's own
limit is not known; sources stand in each row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

from shearbolt.dictionary.company_roles import numbers_of
from shearbolt.dictionary.phrases import known_phrases, matches
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

AdviceClass = Literal["note_only", "keep_working", "finish_gently", "stop_now"]
EngineAction = Literal["off_at_once", "idle_then_off", "keep_running_until_safe"]
Op = Literal["<", ">"]
CLASSES: tuple[AdviceClass, ...] = ("note_only", "keep_working", "finish_gently", "stop_now")
"""The least careful first."""
ENGINE_ACTIONS: tuple[EngineAction, ...] = (
    "off_at_once",
    "idle_then_off",
    "keep_running_until_safe",
)
SYMPTOM_FALLBACK = "unknown_symptom"
CODE_FALLBACK = "by_lamps"


@dataclass(frozen=True, slots=True)
class Bound:
    """A reading and the value at which it becomes too much."""

    quantity: str
    op: Op
    value: float
    """In the unit that the quantity's name ends with."""

    def reached(self, value: float) -> bool:
        """Tell whether a reading lies beyond it."""
        return value > self.value if self.op == ">" else value < self.value


@dataclass(frozen=True, slots=True)
class AdviceKind:
    """What to do with a machine that has one kind of fault."""

    kind: str
    spns: frozenset[int] | None
    """None: any."""
    fmis: frozenset[int]
    """Empty: any."""
    codes: tuple[tuple[str, str], ...]
    """Ranges of codes of road vehicles (SAE J2012)."""
    symptoms: frozenset[str]
    addresses: frozenset[int]
    functions: frozenset[int]
    advice: AdviceClass
    floor: AdviceClass
    """Never less than this, an old memory included."""
    engine: EngineAction | None
    """What to do with the engine when it must stop."""
    place: str
    """Where: message key; empty where nothing must stop."""
    watch: Bound | None
    until_h: float | None
    """Engine hours that the advice holds; None: see `until`."""
    until: str
    """Until when: message key."""
    cautions: tuple[str, ...]
    traits: frozenset[str]
    """What else is true of it: destroys, safety, stands, interlock, heat, soot, def, ..."""
    release: str
    """What lifts a power limit that it causes: message key; empty: not known."""
    source: str


@dataclass(frozen=True, slots=True)
class DangerousReading:
    """A reading that destroys an engine or endangers people."""

    reading: str
    spns: frozenset[int]
    """Faults of these parameters are judged by it."""
    bound: Bound
    hold_s: float
    needs: Bound | None
    """Only while this holds as well."""
    rail: float | None
    """Beyond this it is an electrical value, no reading."""
    rise_per_s: float | None
    """A faster rise is no real one."""
    engine: EngineAction
    place: str
    cautions: tuple[str, ...]
    doubles_at_24v: bool
    source: str


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt someone, and how to avoid it."""

    key: str
    words: str
    source: str


def _class_of(text: str, row: dict[str, str]) -> AdviceClass:
    if text not in CLASSES:
        raise DictionaryError(f"advice_kinds.csv: '{text}' is no advice class: {row['kind']}")
    return text


def _engine_of(text: str, where: str) -> EngineAction | None:
    if not text:
        return None
    if text not in ENGINE_ACTIONS:
        raise DictionaryError(f"'{text}' is nothing to do with an engine: {where}")
    return text


def _bound(quantity: str, op: str, value: str) -> Bound | None:
    if not quantity:
        return None
    if op not in ("<", ">"):
        raise ValueError(op)
    return Bound(quantity, cast("Op", op), float(value))


def _words(text: str, mark: str = "|") -> frozenset[str]:
    return frozenset(text.split(mark)) if text else frozenset()


@cache
def advice_kinds() -> tuple[AdviceKind, ...]:
    """Give the table in its order.

    Raises DictionaryError when a row cannot be read, or says 'finish gently' without a reading to
    watch and its value, or has no end although it is more than a note.
    """
    found: list[AdviceKind] = []
    for row in table("advice_kinds"):
        try:
            one = _kind(row)
        except ValueError as error:
            raise DictionaryError(
                f"advice_kinds.csv: a number cannot be read: {row['kind']}"
            ) from error
        if "finish_gently" in (one.advice, one.floor) and one.watch is None:
            raise DictionaryError(f"advice_kinds.csv: {one.kind} has nothing to watch")
        if one.advice != "note_only" and one.until in ("", "open"):
            raise DictionaryError(f"advice_kinds.csv: {one.kind} has no end")
        found.append(one)
    return tuple(found)


def _kind(row: dict[str, str]) -> AdviceKind:
    codes = tuple(
        (one.partition("-")[0], one.partition("-")[2] or one)
        for one in (row["codes"].split("|") if row["codes"] else ())
    )
    return AdviceKind(
        row["kind"],
        None if row["spns"] == "*" else numbers_of(row["spns"]),
        numbers_of(row["fmis"]),
        codes,
        _words(row["symptoms"]),
        numbers_of(row["addresses"]),
        numbers_of(row["functions"]),
        _class_of(row["class"], row),
        _class_of(row["floor"] or "note_only", row),
        _engine_of(row["engine"], row["kind"]),
        row["place"],
        _bound(row["watch"], row["stop_op"], row["stop_at"]),
        float(row["until_h"]) if row["until_h"] else None,
        row["until"],
        tuple(row["cautions"].split(";")) if row["cautions"] else (),
        _words(row["traits"]),
        row["release"],
        row["source"],
    )


@cache
def dangerous_readings() -> tuple[DangerousReading, ...]:
    """Give the table. Raises DictionaryError when a row cannot be read."""
    found: list[DangerousReading] = []
    for row in table("dangerous_readings"):
        try:
            bound = _bound(row["quantity"], row["op"], row["limit"])
            engine = _engine_of(row["engine"], row["reading"])
            if bound is None or engine is None:
                raise DictionaryError(f"dangerous_readings.csv: {row['reading']} is not whole")
            found.append(
                DangerousReading(
                    row["reading"],
                    numbers_of(row["spns"]),
                    bound,
                    float(row["hold_s"]),
                    _bound(row["needs"], row["needs_op"], row["needs_at"]),
                    float(row["rail"]) if row["rail"] else None,
                    float(row["rise_per_s"]) if row["rise_per_s"] else None,
                    engine,
                    row["place"],
                    tuple(row["cautions"].split(";")) if row["cautions"] else (),
                    row["scale_24v"] == "yes",
                    row["source"],
                )
            )
        except ValueError as error:
            raise DictionaryError(
                f"dangerous_readings.csv: a number cannot be read: {row['reading']}"
            ) from error
    return tuple(found)


@cache
def cautions() -> dict[str, Caution]:
    """Give the cautions by key. Raises DictionaryError when the table is missing."""
    return {
        row["key"]: Caution(row["key"], row["words"], row["source"]) for row in table("cautions")
    }


@cache
def kinds_by_key() -> dict[str, AdviceKind]:
    """Give the kinds by key."""
    return {one.kind: one for one in advice_kinds()}


def symptom_of(words: str) -> str | None:
    """Give the key of the symptom that a person's words name best; None: none."""
    plain = words.strip().casefold()
    for known in known_phrases():
        if known.kind == "symptom" and known.text.casefold() == plain:
            return known.key
    for match in matches(words):
        if match.known.kind == "symptom":
            return match.known.key
    return None


def kind_of_code(
    spn: int,
    fmi: int | None,
    address: int | None = None,
    function: int | None = None,
) -> AdviceKind:
    """Give the kind of a fault by its numbers and its sender (address, function of its NAME)."""
    return _first(
        [
            one
            for one in advice_kinds()
            if _numbers_fit(one, spn, fmi) or _sender_fits(one, address, function)
        ]
    )


def kind_of_road_code(code: str) -> AdviceKind:
    """Give the kind of a road vehicle's code, or of one off the dash that nothing is known of."""
    plain = code.strip().upper()[:5]
    return _first(
        [one for one in advice_kinds() if any(a <= plain <= b for a, b in one.codes)]
        if len(plain) == 5
        else []
    )


def kind_of_symptom(words: str) -> AdviceKind:
    """Give the kind of a symptom in a person's words."""
    key = symptom_of(words)
    found = [one for one in advice_kinds() if key in one.symptoms]
    return found[0] if found else kinds_by_key()[SYMPTOM_FALLBACK]


def _numbers_fit(one: AdviceKind, spn: int, fmi: int | None) -> bool:
    if one.spns is not None and spn not in one.spns:
        return False
    if one.fmis:
        return fmi in one.fmis
    return one.spns is None or bool(one.spns)


def _sender_fits(one: AdviceKind, address: int | None, function: int | None) -> bool:
    return address in one.addresses or function in one.functions


def _first(found: Sequence[AdviceKind]) -> AdviceKind:
    return found[0] if found else kinds_by_key()[CODE_FALLBACK]

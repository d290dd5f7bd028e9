"""One spell of a fault in its signals: the readings that matter, before, during and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.app.composing.setting_words import terms_words
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.documents import SignalsAsked
from shearbolt.app.documents.asking import Units
from shearbolt.app.picturing.asked import DERIVED, Asked, fault_of, levels_of, limit_of, named
from shearbolt.app.picturing.documents import Limit, Span, SpellPicture, Strip
from shearbolt.app.picturing.thinning import MOST_COLUMNS, parted, thinned
from shearbolt.app.picturing.units import shown_in
from shearbolt.app.samples import columns_of, tidy
from shearbolt.book import records as r
from shearbolt.dictionary.quantities import quantities
from shearbolt.model.fault import EndedBy, Spell
from shearbolt.model.frames import F64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import NUMBER, SignalColumn
from shearbolt.model.state import StateKey
from shearbolt.reasoning.case import FaultCase, VisitCase
from shearbolt.reasoning.quantity_view import (
    LEAST_HELD_S,
    MOST_HELD_S,
    PERIODS_HELD,
    QuantityView,
)
from shearbolt.reasoning.settings import Setting, Term, table_of

MOST_STRIPS = 6
ALWAYS = ("engine_rpm", "load_pct")
"""Readings that say what the machine was doing."""
ELECTRICAL = frozenset({2, 3, 4, 5, 6, 9, 12, 19})
"""FMIs of circuits, messages and devices (SAE J1939-73): the supply's voltage is shown as well."""
ENDED: Mapping[EndedBy, str] = {
    "healed": "then it was gone",
    "key_off": "then the key was turned off",
    "silence": "then its control unit fell silent",
    "recording_end": "then the recording ended",
    "unknown": "how it ended is not known",
}


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A reading to be shown: told by a sender, or worked out."""

    quantity: str | None
    """Name in the table of quantities; None: a parameter that is none."""
    sender: StateKey | None
    """None: worked out from others."""


@dataclass(frozen=True, slots=True)
class Window:
    """The part of a visit that is shown, in seconds from the start of the spell."""

    zero_s: float
    """Start of the spell, from the visit's first frame."""
    low: float
    high: float


def spell_picture(asked: Asked, fault: r.Fault, number: int | None = None) -> SpellPicture:
    """Show a spell of a fault: the `number`-th of the book from 0 (negative: from the end); None:
    the last whose start was heard, else the last."""
    setting = asked.setting(fault.id)
    chosen = _chosen(asked, fault, number)
    if chosen is None:
        return {
            "what": "spell",
            "about": fault.id,
            "machine_name": asked.record.machine.name,
            "title": asked.words(fault),
            "at": None,
            "lines": ["No recording caught this fault while it was on."],
            "from_s": 0.0,
            "to_s": 0.0,
            "span": None,
            "others": [],
            "strips": [],
        }
    row, spell, spells = chosen
    machine = asked.case_of_visit(row.id)
    visit = next(one for one in machine.visits if one.visit == row.id)
    case = fault_of(machine, fault.id)
    window = _window(row, visit, spell, setting)
    wanted = _wanted(visit, case, setting)
    strips = _strips(asked, row, visit, window, wanted, fault.spn, setting)
    if not spell.start_known:
        # When it came was not heard, so no reading is the one of that moment.
        strips = [{**one, "at_start": None} for one in strips]
    shown = [_span(row, one, window) for one in spells if one is not spell]
    return {
        "what": "spell",
        "about": fault.id,
        "machine_name": asked.record.machine.name,
        "title": asked.words(fault),
        "at": moment(row, spell.start_us),
        "lines": _lines(asked, spell, setting, strips),
        "from_s": window.low,
        "to_s": window.high,
        "span": _span(row, spell, window),
        "others": [
            one for one in shown if one["to_s"] > window.low and one["from_s"] < window.high
        ],
        "strips": strips,
    }


def _chosen(
    asked: Asked, fault: r.Fault, number: int | None
) -> tuple[r.Visit, Spell, tuple[Spell, ...]] | None:
    every = [
        (asked.record.visits_by_id[one.visit], spell, one.seen.spells)
        for one in asked.record.sightings.get(fault.id, ())
        for spell in one.seen.spells
    ]
    if number is not None:
        return every[number] if -len(every) <= number < len(every) else None
    heard = [one for one in every if one[1].start_known] or every
    return heard[-1] if heard else None


def _window(row: r.Visit, visit: VisitCase, spell: Spell, setting: Setting | None) -> Window:
    """Choose what is shown: some of the time before, the spell, and less of the time after."""
    length = (spell.end_us - spell.start_us) / SECOND_US
    delay = setting.delay_s if setting is not None and setting.delay_s else 0.0
    before = min(max(0.8 * length, 30.0, 2.0 * delay), 900.0)
    after = min(max(0.5 * length, 20.0), 600.0)
    begins = (visit.earliest_us - spell.start_us) / SECOND_US
    ends = (visit.latest_us - spell.start_us) / SECOND_US
    return Window(
        seconds(row, spell.start_us) or 0.0, max(-before, begins), min(length + after, ends)
    )


def _span(row: r.Visit, spell: Spell, window: Window) -> Span:
    return {
        "from_s": tidy((seconds(row, spell.start_us) or 0.0) - window.zero_s),
        "to_s": tidy((seconds(row, spell.end_us) or 0.0) - window.zero_s),
        "from_known": spell.start_known,
    }


def _lines(
    asked: Asked, spell: Spell, setting: Setting | None, strips: Sequence[Strip]
) -> list[str]:
    length = (spell.end_us - spell.start_us) / SECOND_US
    if spell.start_known:
        lines = [f"It was on for {_lasting(length)}; {ENDED[spell.ended_by]}."]
    else:
        lines = [
            "It was on already when its control unit was first heard, for "
            f"{_lasting(length)} at least; {ENDED[spell.ended_by]}."
        ]
    if setting is not None and setting.terms and setting.status in ("found", "possible"):
        words = terms_words(setting.terms, asked.units)
        maybe = "" if setting.found else ", as far as the few starts tell"
        lines.append(f"It comes {words}{maybe}.")
    if not strips:
        lines.append("No reading was told at that time.")
    return lines


def _lasting(length_s: float) -> str:
    if length_s < 1:
        return "less than a second"
    if length_s < 60:
        return f"{length_s:.0f} s"
    if length_s < 3600:
        return f"{length_s // 60:.0f} min {length_s % 60:.0f} s"
    return f"{length_s // 3600:.0f} h {length_s % 3600 // 60:.0f} min"


def _wanted(visit: VisitCase, case: FaultCase, setting: Setting | None) -> list[_Wanted]:
    """Choose the readings: the fault's own, those of its setting, then what the machine did."""
    view = QuantityView(visit)
    found: list[_Wanted] = []
    own = _own_sender(visit, case)
    if own is not None:
        found.append(_Wanted(_quantity_of(own.spn), own))
    names = [one.quantity for one in setting.terms] if setting is not None else []
    names += ALWAYS
    if case.fmi in ELECTRICAL:
        names.append("battery_v")
    if own is None:
        # A code about no reading: what the machine did says the more.
        names.append("speed_kmh")
    known = {one.key for one in quantities()}
    for name in names:
        picked = view.pick(name) if name in known else None
        if picked is not None:
            one = _Wanted(name, picked.sender)
        elif name in DERIVED and name in table_of(view).columns:
            one = _Wanted(name, None)
        else:
            continue
        told = {(each.sender, each.quantity if each.sender is None else None) for each in found}
        if (one.sender, one.quantity if one.sender is None else None) not in told:
            found.append(one)
    return found[:MOST_STRIPS]


def _own_sender(visit: VisitCase, case: FaultCase) -> StateKey | None:
    told = [one for one in visit.signals if one.spn == case.spn and one.numbers]
    if not told:
        return None
    best = max(told, key=lambda one: (one.address == case.address, one.numbers))
    return StateKey(best.channel, best.address, best.spn)


def _quantity_of(spn: int) -> str | None:
    return next((one.key for one in quantities() if spn in one.spns), None)


def _strips(
    asked: Asked,
    row: r.Visit,
    visit: VisitCase,
    window: Window,
    wanted: Sequence[_Wanted],
    own: int | None,
    setting: Setting | None,
) -> list[Strip]:
    spns = tuple(sorted({one.sender.spn for one in wanted if one.sender is not None}))
    told = _read(asked, row, window, spns) if spns else {}
    terms = setting.terms if setting is not None else ()
    strips: list[Strip] = []
    for one in wanted:
        name, unit = named(one.quantity) if one.quantity is not None else ("", "")
        if one.sender is not None:
            column = told.get(one.sender)
            if column is None:
                continue
            at = (column.time_us - row.first_us).astype(np.float64) / SECOND_US - window.zero_s
            value = np.where(column.status == NUMBER, column.value, np.nan)
            if one.quantity is None:
                name, unit = column.row.name, column.row.unit
        else:
            assert one.quantity is not None
            table = table_of(QuantityView(visit))
            at = table.second.astype(np.float64) - row.first_us / SECOND_US - window.zero_s
            value = table.columns[one.quantity].astype(np.float64)
        limits = _limits(terms, one.quantity, asked, unit)
        samples = samples_of(at, value, window, unit, asked.units)
        if samples is None:
            continue
        strips.append(
            {
                "name": name,
                "own": one.sender is not None and one.sender.spn == own,
                "levels": levels_of(one.quantity or "", unit),
                "limits": limits,
                "unit": samples.unit,
                "at_s": samples.at_s,
                "value": samples.value,
                "at_start": samples.at_start,
            }
        )
    return strips


def _read(
    asked: Asked, row: r.Visit, window: Window, spns: tuple[int, ...]
) -> dict[StateKey, SignalColumn]:
    """Decode the samples in the window; of a parameter told in two groups the richer one."""
    wanted = SignalsAsked(
        row.id,
        spns,
        from_=f"{window.zero_s + window.low - MOST_HELD_S:.6f}",
        to=f"{window.zero_s + window.high + 1.0:.6f}",
    )
    pieces: dict[tuple[StateKey, int], list[SignalColumn]] = {}
    for column in columns_of(asked.book, row, asked.tables.dictionary, wanted):
        key = StateKey(column.channel, column.address, column.row.spn)
        pieces.setdefault((key, column.row.pgn), []).append(column)
    found: dict[StateKey, SignalColumn] = {}
    for (key, _), some in pieces.items():
        time_us = np.concatenate([one.time_us for one in some])
        order = np.argsort(time_us, kind="stable")
        whole = SignalColumn(
            key.channel,
            key.address,
            some[0].row,
            time_us[order],
            np.concatenate([one.value for one in some])[order],
            np.concatenate([one.status for one in some])[order],
        )
        before = found.get(key)
        if before is None or _numbers(before) < _numbers(whole):
            found[key] = whole
    return found


def _numbers(column: SignalColumn) -> int:
    return int(np.count_nonzero(column.status == NUMBER))


@dataclass(frozen=True, slots=True)
class Samples:
    """The part of a strip that its samples give; fields as there."""

    unit: str
    at_s: list[float]
    value: list[float | None]
    at_start: float | None


def samples_of(at: F64, value: F64, window: Window, unit: str, units: Units) -> Samples | None:
    """Give the samples of a strip, with their gaps and thinned out; None: no number."""
    near = (at >= window.low - MOST_HELD_S) & (at <= window.high)
    at, value = at[near], value[near]
    empty = np.isnan(value)
    # Of a stretch without a number its first moment is enough.
    kept = ~(empty & np.concatenate([[False], empty[:-1]]))
    at, value = at[kept], value[kept]
    numbers = np.flatnonzero(~np.isnan(value))
    inside = numbers[at[numbers] >= window.low]
    if not len(inside):
        return None
    period = float(np.median(np.diff(at[numbers]))) if len(numbers) > 1 else 1.0
    longest = min(max(LEAST_HELD_S, PERIODS_HELD * period), MOST_HELD_S)
    last = int(np.searchsorted(at, 0.0, "right")) - 1
    at_start = None
    if last >= 0 and at[last] >= -longest and np.isfinite(value[last]):
        at_start = float(value[last])
    at, value = parted(at, value, longest)
    first = int(np.searchsorted(at, window.low))
    if at[first] > window.low + longest and not (first and np.isfinite(value[first - 1])):
        # The gap began before the picture does.
        at, value = np.insert(at, first, window.low), np.insert(value, first, np.nan)
    if window.high - at[-1] > longest:
        at, value = np.append(at, at[-1]), np.append(value, np.nan)
    chosen = thinned(at, value, window.low, window.high, MOST_COLUMNS)
    shown = shown_in(unit, units)
    return Samples(
        shown.unit,
        [tidy(one) for one in at[chosen].tolist()],
        [None if np.isnan(one) else tidy(shown.of(one)) for one in value[chosen].tolist()],
        shown.maybe(at_start),
    )


def _limits(terms: Sequence[Term], quantity: str | None, asked: Asked, unit: str) -> list[Limit]:
    shown = shown_in(unit, asked.units)
    some = [limit_of(one, shown) for one in terms if one.quantity == quantity]
    return [one for one in some if one is not None]

"""Learning signals of one machine: sessions of experiments or passive matching, and what is kept.

What the table of learnt signals has no column for (direction, delay, which visits were sessions) is
kept in the book's settings under 'learning.<machine>'.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

from shearbolt.app.composing.learning_words import (
    cautions_said,
    learnt_words,
    outcome_words,
    place_words,
)
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.case import own_senders
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents.asking import Units
from shearbolt.app.documents.learning import (
    ExperimentShown,
    LearnDocument,
    LearnMatch,
    LearntSignal,
)
from shearbolt.app.now import now_us
from shearbolt.app.unknown_groups import unknown_payloads
from shearbolt.book import Book, Reads
from shearbolt.book import records as r
from shearbolt.book.work_records import LearntSignal as Row
from shearbolt.dictionary.baseline import experiments
from shearbolt.dictionary.quantities import quantities
from shearbolt.errors import UsageError
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.reasoning.learning import (
    Follows,
    Found,
    Kept,
    LearntState,
    Match,
    Passive,
    Place,
    Prompts,
    Session,
    after_session,
    follow,
    learn,
    state_of,
)
from shearbolt.reasoning.learning.experiment import BEFORE_US, LATEST_US
from shearbolt.reasoning.learning.places import destination_of, pgn_of
from shearbolt.reasoning.quantity_view import QuantityView

LAST_HOLD_S = 30.0
"""The last state of typed prompts counts for as long as the shortest before it, at most so long."""


@dataclass(frozen=True, slots=True)
class Result:
    """What one session gave, before it is filed."""

    what: str
    visit: r.Visit | None
    prompts: Prompts | None
    session: Session | Passive
    found: tuple[Match | Follows, ...]

    @property
    def amiss(self) -> str | None:
        """Why nothing could be found, as a key; None: it was sound."""
        if isinstance(self.session, Session):
            return self.session.amiss
        return None if self.session.enough else "cannot_settle"


def prompts_typed(visit: r.Visit, at: Sequence[str]) -> Prompts:
    """Read the instants of prompts: ISO 8601, or seconds from the first frame; on and off in turn,
    the first one on. Raises UsageError.
    """
    instants = tuple(_instant(visit, one) for one in at)
    holds = [b - a for a, b in itertools.pairwise(instants)]
    last = min([*holds, int(LAST_HOLD_S * SECOND_US)]) if holds else 0
    states = tuple(1 - i % 2 for i in range(len(instants)))
    return Prompts(instants, states, (instants[-1] + last) if instants else 0, before=0)


def _instant(visit: r.Visit, text: str) -> int:
    try:
        return visit.first_us + round(float(text) * SECOND_US)
    except ValueError:
        pass
    try:
        instant = from_iso(text)
    except ValueError:
        raise UsageError(
            f"--at {text!r} is neither a time like 2026-05-14T06:12:09Z nor seconds from the first "
            "frame."
        ) from None
    if visit.zero_us is None:
        raise UsageError("This visit has no date; give --at in seconds from its first frame.")
    return instant - visit.zero_us


def by_experiment(
    book: Book,
    record: MachineRecord,
    tables: FactTables,
    visit: r.Visit,
    what: str,
    prompts: Prompts,
) -> Result:
    """Look through a visit for what went with prompts."""
    reach = (None, None)
    if prompts.at_us:
        reach = (  # type: ignore[assignment]
            prompts.stretches[0][0] - BEFORE_US - SECOND_US,
            prompts.until_us + LATEST_US + SECOND_US,
        )
    payloads = unknown_payloads(
        book.frame_blocks(visit.id), tables.dictionary, own_senders(record, visit.id), *reach
    )
    session = learn(payloads, prompts, also=[one.place for one in kept_of(book, record, what)])
    return Result(what, visit, prompts, session, session.matches)


def by_quantity(
    book: Book, record: MachineRecord, tables: FactTables, visit: r.Visit, quantity: str, what: str,
    view: QuantityView,
) -> Result:  # fmt: skip
    """Look through a visit for numbers that follow a known quantity. Raises UsageError."""
    if quantity not in {one.key for one in quantities()}:
        some = ", ".join(one.key for one in quantities()[:6])
        raise UsageError(f"{quantity!r} is no quantity; there are {some} and others.")
    values = view.held(quantity)
    if values is None:
        raise UsageError(f"Visit {visit.id} does not tell {quantity}, so nothing can follow it.")
    payloads = unknown_payloads(
        book.frame_blocks(visit.id), tables.dictionary, own_senders(record, visit.id)
    )
    also = tuple(one.place for one in kept_of(book, record, what))
    session = follow(payloads, view.second, values.astype("float64"), also=also)
    return Result(what, visit, None, session, session.follows)


def kept_of(book: Reads, record: MachineRecord, what: str) -> list[Kept]:
    """Give what the book keeps of a thing to be learnt on a machine."""
    return [
        Kept(_place(one), one.sessions, one.p_value, one.state)
        for one in book.learnt_signals(record.machine.id)
        if one.what == what
    ]


def _place(row: Row) -> Place:
    return Place(row.pgn, row.address, row.start_bit, row.bits)


def file_result(book: Book, record: MachineRecord, result: Result) -> tuple[bool, bool]:
    """Keep what a session changes; tells whether it counted, and whether its visit had before."""
    machine, visit = record.machine.id, result.visit
    notes = _notes(book, machine)
    again = visit is not None and [visit.id, result.what] in notes["sessions"]
    if visit is None or again or result.amiss is not None:
        return False, again
    changes = after_session(
        kept_of(book, record, result.what),
        [Found(one.place, one.p_value) for one in result.found],
        result.session.heard,
    )
    seats = {
        address: place
        for (_, address), place in zip(
            ((one.channel, one.address) for one in record.heard[visit.id].controllers),
            record.heard[visit.id].places,
            strict=True,
        )
        if place in record.controllers
    }
    told = {(one.place.group, one.place.address, one.place.start_bit): one for one in result.found}
    with book.writing() as writer:
        for one in changes:
            row = writer.keep_learnt_signal(
                machine,
                result.what,
                now_us=now_us(),
                pgn=one.place.group,
                address=one.place.address,
                start_bit=one.place.start_bit,
                bits=one.place.bits,
                sessions=one.sessions,
                p_value=one.p_value,
                state=one.state,
                controller=seats.get(one.place.address),
            )
            match = told.get((one.place.group, one.place.address, one.place.start_bit))
            if match is not None:
                notes["shape"][row.id] = _shape(match)
        notes["sessions"].append([visit.id, result.what])
        writer.set_setting(f"learning.{machine}", notes)
    return True, False


def _shape(match: Match | Follows) -> dict[str, Any]:
    if isinstance(match, Match):
        return {"inverted": match.inverted, "delay_s": match.delay_s}
    return {"inverted": match.rho < 0, "delay_s": float(match.lag_s)}


def _notes(book: Reads, machine: str) -> dict[str, Any]:
    kept = book.setting(f"learning.{machine}")
    return {"sessions": [], "shape": {}} if kept is None else cast(dict[str, Any], kept)


def learnt_shown(
    book: Reads, machines: Sequence[r.Machine], what: str | None = None
) -> list[LearntSignal]:
    """Tell the learnt signals of machines; the learnt ones first."""
    shown: list[LearntSignal] = []
    for machine in machines:
        shapes = _notes(book, machine.id)["shape"]
        for row in book.learnt_signals(machine.id):
            if what is None or row.what == what:
                shown.append(_signal(row, machine, shapes.get(row.id, {})))
    order = ("learnt", "candidate", "dropped")
    return sorted(shown, key=lambda one: (one["machine_name"], order.index(one["state"])))


def _signal(row: Row, machine: r.Machine, shape: dict[str, Any]) -> LearntSignal:
    pgn, destination = pgn_of(row.pgn), destination_of(row.pgn)
    where = place_words(pgn, destination, row.address, row.start_bit, row.bits)
    inverted = shape.get("inverted")
    return {
        "learnt": row.id,
        "machine": machine.id,
        "machine_name": machine.name,
        "what": row.what,
        "state": row.state,
        "sessions": row.sessions,
        "p_value": row.p_value,
        "pgn": pgn,
        "destination": destination,
        "address": row.address,
        "controller": row.controller,
        "start_byte": row.start_bit // 8 + 1,
        "start_bit": row.start_bit % 8 + 1,
        "length_bits": row.bits,
        "inverted": inverted,
        "delay_s": shape.get("delay_s"),
        "words": learnt_words(row.what, where, row.state, row.sessions, inverted),
    }


def learn_document(
    book: Reads, record: MachineRecord, result: Result, *, counted: bool, again: bool
) -> LearnDocument:
    """Tell what a session found and what is kept now."""
    session, visit = result.session, result.visit
    experiment = isinstance(session, Session)
    return {
        "schema": "shearbolt/learn/1",
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "what": result.what,
        "method": "experiment" if experiment else "passive",
        "visit": None if visit is None else visit.id,
        "counted": counted,
        "prompts": []
        if result.prompts is None or visit is None
        else [
            {"at": moment(visit, at), "at_s": seconds(visit, at), "state": 1 if state else 0}
            for at, state in zip(result.prompts.at_us, result.prompts.states, strict=True)
        ],
        "looked_at": session.looked_at,
        "left_out": session.counters if isinstance(session, Session) else 0,
        "p_smallest": session.p_smallest if isinstance(session, Session) else None,
        "amiss": result.amiss,
        "found": [_match(one) for one in result.found],
        "signals": learnt_shown(book, [record.machine], result.what),
        "refused": [],
        "words": outcome_words(
            result.amiss, len(result.found), session.looked_at, counted=counted, again=again
        ),
    }


def _match(one: Match | Follows) -> LearnMatch:
    place = one.place
    shown: LearnMatch = {
        "pgn": place.pgn,
        "destination": place.destination,
        "address": place.address,
        "start_byte": place.start_bit // 8 + 1,
        "start_bit": place.start_bit % 8 + 1,
        "length_bits": place.bits,
        "score": round(one.score if isinstance(one, Match) else one.rho, 4),
        "p_value": one.p_value,
        "inverted": one.inverted if isinstance(one, Match) else one.rho < 0,
        "agreeing": None,
        "stretches": None,
        "delay_s": None,
        "delay_low_s": None,
        "delay_high_s": None,
        "scale": None,
        "offset": None,
    }
    if isinstance(one, Match):
        shown["agreeing"], shown["stretches"] = one.agreeing, one.stretches
        shown["delay_s"] = one.delay_s
        shown["delay_low_s"], shown["delay_high_s"] = one.delay_low_s, one.delay_high_s
    else:
        shown["delay_s"] = float(one.lag_s)
        shown["scale"], shown["offset"] = one.scale, one.offset
    return shown


def experiments_shown(units: Units) -> list[ExperimentShown]:
    """Tell the guided experiments that there are."""
    return [
        {
            "experiment": one.experiment,
            "what": one.what,
            "first": one.first,
            "on": one.on,
            "off": one.off,
            "times": one.times,
            "hold_s": one.hold_s,
            "cautions": cautions_said(one.cautions, units),
        }
        for one in experiments().values()
    ]


def learnt_states(
    book: Book, record: MachineRecord, tables: FactTables, visit: r.Visit
) -> tuple[LearntState, ...]:
    """HOOK for the settings search: the learnt (not merely candidate) places of a machine as states
    of one visit, named by their words. They may name a condition, and never lower an advice class.
    """
    rows = [one for one in book.learnt_signals(record.machine.id) if one.state == "learnt"]
    if not rows:
        return ()
    payloads = unknown_payloads(
        book.frame_blocks(visit.id), tables.dictionary, own_senders(record, visit.id)
    )
    shapes = _notes(book, record.machine.id)["shape"]
    second = book.state(visit.id).second
    return tuple(
        state_of(
            payloads, _place(one), one.what, second,
            inverted=bool(shapes.get(one.id, {}).get("inverted")),
        )
        for one in rows
    )  # fmt: skip

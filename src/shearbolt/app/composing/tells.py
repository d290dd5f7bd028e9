"""What a machine tells: readings that really come, manners of its controllers, and what not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.app.composing.labels import controller_words
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents import (
    ControllerManner,
    GroupManner,
    LearntReading,
    NotPossible,
    Reading,
    TellsDocument,
)
from shearbolt.book.work_records import LearntSignal
from shearbolt.dictionary.judgements import judgements, missing_inputs
from shearbolt.model.controller import ControllerSeen, Dm1Manner
from shearbolt.model.signal import SignalSeen
from shearbolt.reasoning.learning.places import pgn_of
from shearbolt.reasoning.manners import CountLook, count_steps

Status = str


@dataclass(frozen=True, slots=True)
class _Told:
    """One parameter of one sender over all visits."""

    seen: tuple[SignalSeen, ...]
    controller: str | None
    asked: bool

    @property
    def numbers(self) -> int:
        return sum(one.numbers for one in self.seen)


def tells_document(
    record: MachineRecord, tables: FactTables, learnt: Sequence[LearntSignal] = ()
) -> TellsDocument:
    """Say what a machine tells, from all its recordings, and what was learnt on it."""
    recordings = [
        one for one in record.visits if one.kind != "by_hand" and one.machine == record.machine.id
    ]
    told: dict[tuple[int, int, str | None], list[tuple[SignalSeen, bool]]] = {}
    for visit in recordings:
        content = record.contents[visit.id]
        seats = {
            (one.channel, one.address): place
            for one, place in zip(content.controllers, record.heard[visit.id].places, strict=False)
        }
        asked = {one.pgn for one in content.requests}
        for signal in content.signals:
            seat = seats.get((signal.channel, signal.address))
            if seat is None or seat not in record.controllers:
                continue
            few = signal.period_s is None or signal.samples <= 6
            told.setdefault((signal.spn, signal.address, seat), []).append(
                (signal, signal.pgn in asked and few)
            )
    readings = [
        _reading(
            _Told(tuple(one for one, _ in some), seat, all(asked for _, asked in some)), tables
        )
        for (_, _, seat), some in sorted(told.items(), key=lambda item: item[0][:2])
    ]
    heard = {reading["spn"] for reading in readings}
    alive = {reading["spn"] for reading in readings if reading["status"] in ("alive", "on_request")}
    readings.extend(
        _never_sent(spn, tables)
        for spn in sorted({spn for one in judgements() for spn in one.spns} - heard)
    )
    return {
        "schema": "shearbolt/tells/1",
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "visits": len(recordings),
        "readings": readings,
        "learnt": [_learnt(one) for one in learnt if one.state == "learnt"],
        "controllers": _controllers(record, tables),
        "not_possible": _not_possible(alive, heard, tables) if recordings else [],
    }


def _reading(told: _Told, tables: FactTables) -> Reading:
    last = told.seen[-1]
    row = next(
        (one for one in tables.dictionary.rows_of_spn(last.spn) if one.pgn == last.pgn),
        None,
    )
    lows = [one.low for one in told.seen if one.low is not None]
    highs = [one.high for one in told.seen if one.high is not None]
    lasts = [one.last for one in told.seen if one.last is not None]
    if not told.numbers:
        status: Status = "not_available"
    elif told.asked:
        status = "on_request"
    else:
        status = "alive"
    return {
        "spn": last.spn,
        "text": tables.dictionary.spn_name(last.spn) or f"SPN {last.spn}",
        "unit": last.unit,
        "pgn": last.pgn,
        "address": last.address,
        "controller": told.controller,
        "status": status,  # type: ignore[typeddict-item]
        "period_s": last.period_s,
        "resolution": last.resolution or None,
        "samples": sum(one.samples for one in told.seen),
        "numbers": told.numbers,
        "low": min(lows, default=None),
        "high": max(highs, default=None),
        "last": lasts[-1] if lasts else None,
        "own": row.owner if row is not None else False,
    }


def _learnt(one: LearntSignal) -> LearntReading:
    return {
        "learnt": one.id,
        "text": one.what,
        "pgn": pgn_of(one.pgn),
        "address": one.address,
        "controller": one.controller,
        "start_byte": one.start_bit // 8 + 1,
        "start_bit": one.start_bit % 8 + 1,
        "length_bits": one.bits,
        "status": "learnt",
        "sessions": one.sessions,
    }


def _never_sent(spn: int, tables: FactTables) -> Reading:
    row = next(iter(tables.dictionary.rows_of_spn(spn)), None)
    return {
        "spn": spn,
        "text": tables.dictionary.spn_name(spn) or f"SPN {spn}",
        "unit": row.unit if row is not None else "",
        "pgn": row.pgn if row is not None else None,
        "address": None,
        "controller": None,
        "status": "never_sent",
        "period_s": None,
        "resolution": row.resolution if row is not None else None,
        "samples": 0,
        "numbers": 0,
        "low": None,
        "high": None,
        "last": None,
        "own": False,
    }


def _not_possible(alive: set[int], heard: set[int], tables: FactTables) -> list[NotPossible]:
    found: list[NotPossible] = []
    for one in judgements():
        missing = missing_inputs(one, alive)
        if not missing:
            continue
        never = [spn for spn in missing if spn not in heard]
        silent = [spn for spn in missing if spn in heard]
        reasons = []
        if never:
            reasons.append(f"this machine never sends {_names(never, tables)}")
        if silent:
            verb = "is" if len(silent) == 1 else "are"
            reasons.append(f"{_names(silent, tables)} {verb} sent as not available")
        found.append({"check": one.words, "because": "; ".join(reasons)})
    return found


def _names(spns: Sequence[int], tables: FactTables) -> str:
    names = [(tables.dictionary.spn_name(spn) or f"SPN {spn}").lower() for spn in spns]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _controllers(record: MachineRecord, tables: FactTables) -> list[ControllerManner]:
    found: list[ControllerManner] = []
    for seat in record.controllers.values():
        seen: list[ControllerSeen] = []
        groups: dict[int, GroupManner] = {}
        for visit in record.visits:
            content = record.contents[visit.id]
            own = [
                one
                for one, place in zip(
                    content.controllers, record.heard[visit.id].places, strict=False
                )
                if place == seat.id
            ]
            seen.extend(own)
            seats = {(one.channel, one.address) for one in own}
            for group in content.groups:
                if (group.channel, group.address) not in seats:
                    continue
                before = groups.get(group.pgn)
                groups[group.pgn] = {
                    "pgn": group.pgn,
                    "count": group.count + (before["count"] if before else 0),
                    "period_s": group.period_s
                    if group.period_s is not None
                    else (before["period_s"] if before else None),
                    "decoded": group.decoded,
                }
        manners = [one.dm1_manner for one in seen if one.dm1_manner != "unknown"]
        runs = [one.after_run_s for one in seen if one.after_run_s is not None]
        name = record.names.get(seat.id)
        looks = [
            CountLook(sighting.seen.spells, sighting.seen.counts)
            for fault in record.faults
            if fault.controller == seat.id
            for sighting in record.sightings.get(fault.id, ())
        ]
        found.append(
            {
                "controller": seat.id,
                "text": controller_words(seat, name, tables),
                "address": seat.address,
                "name": name.hex if name is not None else None,
                "dm1_manner": _strongest(manners),
                "count_steps": count_steps(looks),
                "after_run_s": max(runs, default=None),
                "groups": [groups[pgn] for pgn in sorted(groups)],
            }
        )
    return found


def _strongest(manners: Sequence[str]) -> Dm1Manner:
    """Return the manner that most was seen of: any DM1 heard beats none heard."""
    for one in ("always", "while_active", "at_key_on", "never_heard"):
        if one in manners:
            return one
    return "unknown"

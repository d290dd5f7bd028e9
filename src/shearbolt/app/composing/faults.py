"""Faults of a machine as documents: what each visit told, put together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.app.composing.advice_words import (
    FaultWords,
    advice_document,
    machine_words,
    reason_words,
)
from shearbolt.app.composing.between_words import link_words
from shearbolt.app.composing.check_words import check_document
from shearbolt.app.composing.finding_words import drift, odd_reading, power_limit, unrecorded
from shearbolt.app.composing.followup_words import followup_document, trend_document
from shearbolt.app.composing.labels import controller_words, fault_words
from shearbolt.app.composing.setting_words import setting_document
from shearbolt.app.composing.stamps import lamps_shown, moment, seconds
from shearbolt.app.composing.suspect_words import not_judged, suspects_shown
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.visits import clear_words, happening
from shearbolt.app.concluding.conclude import Conclusions
from shearbolt.app.concluding.record import MachineRecord, looks_at
from shearbolt.app.documents import (
    Counts,
    Fault,
    FaultBrief,
    FreezeFrame,
    Happening,
    LampWithoutCode,
    MachineFaults,
    Repair,
    Spell,
)
from shearbolt.app.documents.asking import PLAIN_WORDING, Wording
from shearbolt.book import records as r
from shearbolt.model.controller import Name
from shearbolt.model.fault import COUNT_FULL, Lamps
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.standing import Look, Standing, counts_by_look


def fault_brief(
    fault: r.Fault,
    judged: Standing,
    tables: FactTables,
    name: Name | None,
    root: str | None,
) -> FaultBrief:
    """Tell a fault in one line."""
    return {
        "fault": fault.id,
        "text": fault_words(fault, tables, name)[0],
        "state": judged.state,
        "stale": judged.stale,
        "spn": fault.spn,
        "fmi": fault.fmi,
        "code": fault.code,
        "root": root,
    }


def words_by_id(record: MachineRecord, tables: FactTables) -> FaultWords:
    """Return what names a machine's faults in plain words, by their identifiers."""
    faults = {one.id: one for one in record.faults}

    def named(fault: str) -> str:
        one = faults[fault]
        name = record.names.get(one.controller) if one.controller is not None else None
        return fault_words(one, tables, name)[0]

    return named


def fault_document(
    record: MachineRecord,
    fault: r.Fault,
    tables: FactTables,
    concluded: Conclusions,
    wording: Wording = PLAIN_WORDING,
) -> Fault:
    """Tell a fault with all that its visits told, and what is concluded of it."""
    looks = looks_at(record, fault)
    judged = concluded.standings[fault.id]
    company = concluded.company
    link = company.link_of(fault.id)
    setting = concluded.settings.get(fault.id)
    between = concluded.between.get(fault.id)
    advice = concluded.advice.by_fault.get(fault.id)
    odds = concluded.odds.get(fault.id)
    trend = concluded.trends.get(fault.id)
    sightings = record.sightings.get(fault.id, ())
    seat = record.controllers.get(fault.controller) if fault.controller is not None else None
    name = record.names.get(fault.controller) if fault.controller is not None else None
    words, own = fault_words(fault, tables, name)
    first = sightings[0] if sightings else None
    last = sightings[-1] if sightings else None
    visits = record.visits_by_id
    shown = next((one.seen for one in reversed(sightings) if one.seen.spells), None) or (
        last.seen if last is not None else None
    )
    return {
        "fault": fault.id,
        "kind": fault.kind,
        "event": company.events.get(fault.id),
        "controller": fault.controller,
        "controller_text": controller_words(seat, name, tables) if seat is not None else None,
        "channel": last.seen.key.channel if last is not None else None,
        "address": (seat.address if seat is not None else None)
        if last is None or last.seen.key.address is None
        else last.seen.key.address,
        "name": name.hex if name is not None else None,
        "spn": fault.spn,
        "fmi": fault.fmi,
        "spn_candidates": list(last.seen.candidates) if last is not None else [],
        "code": fault.code,
        "text": words,
        "own_text": own,
        "from": sorted({source for one in sightings for source in one.seen.sources}),
        "state": judged.state,
        "stale": judged.stale,
        "lamps": lamps_shown(shown.lamps if shown is not None else Lamps()),
        "lamps_sure": lamps_shown(shown.lamps_sure if shown is not None else Lamps()),
        "first_seen": moment(visits[first.visit], first.seen.first_us) if first else None,
        "first_seen_at_s": seconds(visits[first.visit], first.seen.first_us) if first else None,
        "last_seen": moment(visits[last.visit], last.seen.last_us) if last else None,
        "last_seen_at_s": seconds(visits[last.visit], last.seen.last_us) if last else None,
        "visits": [one.visit for one in sightings],
        "freeze_frames": _freeze_frames(sightings, visits, tables),
        "spells": _spells(sightings, visits),
        "counts": _counts(looks),
        "setting": setting_document(setting, wording)
        if setting is not None and not judged.stale
        else None,
        "root": company.roots.get(fault.id),
        "root_words": link_words(link) if link is not None else None,
        "unrecorded": [unrecorded(one) for one in between.unrecorded]
        if between is not None
        else [],
        "suspects": suspects_shown(odds, visits, wording),
        "probability_other": odds.probability_other if odds is not None else None,
        "cannot_tell": odds is not None and odds.flat,
        "not_judged": not_judged(odds),
        "known_here": list(concluded.known.get(fault.id, ())),
        "advice": advice_document(advice, wording, words_by_id(record, tables))
        if advice is not None
        else None,
        "checks": [check_document(one, wording) for one in concluded.checks.get(fault.id, ())],
        "followups": [
            followup_document(one, wording) for one in concluded.followups.get(fault.id, ())
        ],
        "trend": trend_document(trend) if trend is not None and not judged.stale else None,
        "events": _events(record, fault, looks),
    }


def _freeze_frames(
    sightings: Sequence[r.Sighting], visits: Mapping[str, r.Visit], tables: FactTables
) -> list[FreezeFrame]:
    return [
        {
            "visit": one.visit,
            "at": moment(visits[one.visit], frame.at_us),
            "at_s": seconds(visits[one.visit], frame.at_us),
            "values": [
                {
                    "spn": value.spn,
                    "text": tables.dictionary.spn_name(value.spn) or f"SPN {value.spn}",
                    "value": value.value,
                    "unit": value.unit,
                }
                for value in frame.values
            ],
        }
        for one in sightings
        for frame in one.seen.freeze_frames
    ]


def _spells(sightings: Sequence[r.Sighting], visits: Mapping[str, r.Visit]) -> list[Spell]:
    spells: list[Spell] = []
    for one in sightings:
        visit = visits[one.visit]
        for spell in one.seen.spells:
            spells.append(
                {
                    "visit": visit.id,
                    "start": moment(visit, spell.start_us),
                    "start_at_s": seconds(visit, spell.start_us),
                    "start_known": spell.start_known,
                    "end": moment(visit, spell.end_us),
                    "end_at_s": seconds(visit, spell.end_us),
                    "end_latest": moment(visit, spell.end_latest_us),
                    "end_latest_at_s": seconds(visit, spell.end_latest_us),
                    "ended_by": spell.ended_by,
                    "count_start": spell.count_start,
                    "count_end": spell.count_end,
                }
            )
    return spells


def _counts(looks: Sequence[Look]) -> list[Counts]:
    """Occurrence counts visit by visit in time order; a clear that was done adds a 0."""
    counts: list[Counts] = []
    for visit, stretch in counts_by_look(looks):
        known = [one for one in stretch if one is not None]
        counts.append(
            {
                "visit": visit,
                "first": known[0] if known else None,
                "last": known[-1] if known else None,
                "at_least": bool(known) and known[-1] >= COUNT_FULL,
            }
        )
    return counts


def _events(record: MachineRecord, fault: r.Fault, looks: Sequence[Look]) -> list[Happening]:
    events: list[Happening] = []
    for look in looks:
        visit = record.visits_by_id[look.visit]
        for clear in look.clears:
            events.append(
                {
                    "what": "clear",
                    "visit": visit.id,
                    "at": moment(visit, clear.at_us),
                    "at_s": seconds(visit, clear.at_us),
                    "hours": visit.hours_start,
                    "words": clear_words(clear),
                }
            )
    for event in record.events:
        if event.controller is not None and event.controller == fault.controller:
            about = record.visits_by_id.get(event.visit) if event.visit is not None else None
            events.append(happening(event, about))
    return events


def repair_shown(repair: r.Repair) -> Repair:
    """Write a repair."""
    return {
        "repair": repair.id,
        "hours": repair.hours,
        "date": to_iso(repair.date_us) if repair.date_us is not None else None,
        "text": repair.text,
        "faults": list(repair.faults),
    }


def machine_faults(
    record: MachineRecord,
    tables: FactTables,
    concluded: Conclusions,
    *,
    visit: str | None,
    everything: bool,
    wording: Wording = PLAIN_WORDING,
) -> MachineFaults:
    """Tell a machine's faults, what to look at first first: the open ones, or all; of one visit,
    or of all."""
    by_id = {one.id: one for one in record.faults}
    order = [one for one in concluded.order if one in by_id]
    order.extend(one for one in by_id if one not in set(order))
    seen = {fault: {one.visit for one in some} for fault, some in record.sightings.items()}
    shown = [
        fault_document(record, by_id[one], tables, concluded, wording)
        for one in order
        if (visit is None or visit in seen.get(one, ()))
        and (everything or not _put_away(concluded.standings[one]))
    ]
    advice = concluded.advice
    named = words_by_id(record, tables)
    drifts = [drift(one, tables, wording.units) for one in concluded.charts]
    return {
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "advice": advice.advice,
        "as_of": to_iso(advice.as_of) if advice.as_of is not None else None,
        "words": machine_words(advice, wording.units),
        "because": [reason_words(one, wording.units, named) for one in advice.because],
        "faults": shown,
        "odd_readings": [
            odd_reading(one, record.visits_by_id, tables, wording.units)
            for one in reversed(concluded.findings)
            if visit is None or one.visit == visit
        ],
        "drifts": [one for one in drifts if one is not None],
        "power_limits": [
            power_limit(one, record.visits_by_id, named)
            for one in reversed(advice.limps)
            if visit is None or one.visit == visit
        ],
        "repairs": [repair_shown(one) for one in record.repairs],
        "lamp_without_code": lamps_alone(record, visit),
    }


def _put_away(judged: Standing) -> bool:
    return judged.stale or judged.state == "cleared"


def lamps_alone(record: MachineRecord, visit: str | None) -> list[LampWithoutCode]:
    """Tell the lamps lit while their sender listed no fault."""
    shown: list[LampWithoutCode] = []
    for one in record.visits:
        if visit is not None and one.id != visit:
            continue
        content = record.heard[one.id]
        own = {
            (seen.channel, seen.address)
            for seen, seat in zip(content.controllers, content.places, strict=False)
            if seat in record.controllers
        }
        for lamp in content.lamp_without_code:
            if (lamp.channel, lamp.address) not in own:
                continue
            shown.append(
                {
                    "visit": one.id,
                    "channel": lamp.channel,
                    "address": lamp.address,
                    "lamps": lamps_shown(lamp.lamps),
                    "start": moment(one, lamp.start_us),
                    "start_at_s": seconds(one, lamp.start_us),
                    "end": moment(one, lamp.end_us),
                    "end_at_s": seconds(one, lamp.end_us),
                }
            )
    return shown

"""A visit's content to rows and back: every value comes back as it was."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, TypeVar

import numpy as np
from sqlalchemy import Connection, RowMapping, Table, select

from shearbolt.book import schema as t
from shearbolt.book.records import NewVisit, Sighting
from shearbolt.model.controller import AddressHeld, ControllerSeen, Name
from shearbolt.model.fault import (
    Cleared,
    CountSeen,
    FaultKey,
    FaultSeen,
    FreezeFrame,
    FrozenValue,
    Lamps,
    LampSpell,
    Spell,
)
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.model.signal import SignalSeen
from shearbolt.model.visit import (
    ClockSeen,
    GroupSeen,
    IdSeen,
    RequestSeen,
    TextAnswer,
    TransportSeen,
    VisitContent,
)

Row = dict[str, Any]
T = TypeVar("T")


def dumps(value: object) -> str:
    """Write a small value as JSON, compactly."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _lamps(lamps: Lamps) -> str:
    return dumps([lamps.mil, lamps.red_stop, lamps.amber_warning, lamps.protect])


def _frozen(values: Sequence[FrozenValue]) -> str:
    return dumps([[one.spn, one.value, one.unit] for one in values])


# Fields that are no plain column: field -> (column, to the column, from the column).
_Codec = tuple[str, Callable[[Any], Any], Callable[[Any], Any]]
_CODECS: dict[str, _Codec] = {
    "name": (
        "name",
        lambda name: None if name is None else name.hex,
        lambda text: None if text is None else Name(int(text, 16)),
    ),
    "component": ("component_json", dumps, lambda text: tuple(json.loads(text))),
    "software": ("software_json", dumps, lambda text: tuple(json.loads(text))),
    "sources": ("sources_json", dumps, lambda text: tuple(json.loads(text))),
    "candidates": ("candidates_json", dumps, lambda text: tuple(json.loads(text))),
    "lamps": ("lamps_json", _lamps, lambda text: Lamps(*json.loads(text))),
    "lamps_sure": ("lamps_sure_json", _lamps, lambda text: Lamps(*json.loads(text))),
}
_FREEZE: dict[str, _Codec] = {
    "values": (
        "values_json",
        _frozen,
        lambda text: tuple(FrozenValue(*one) for one in json.loads(text)),
    )
}
_ANSWER: dict[str, _Codec] = {
    "values": (
        "values_json",
        dumps,
        lambda text: tuple((key, value) for key, value in json.loads(text)),
    )
}


_FIELDS: dict[type, tuple[str, ...]] = {}


def _fields(cls: type) -> tuple[str, ...]:
    """Names of a dataclass's fields, remembered: there are half a million spells."""
    if cls not in _FIELDS:
        _FIELDS[cls] = tuple(entry.name for entry in fields(cls))
    return _FIELDS[cls]


def _out(one: Any, codecs: Mapping[str, _Codec] = _CODECS, skip: Iterable[str] = ()) -> Row:
    row: Row = {}
    for name in _fields(type(one)):
        if name in skip:
            continue
        value = getattr(one, name)
        if isinstance(value, np.generic):
            # Numbers straight out of an array; SQLite takes only Python's own.
            value = value.item()
        if name in codecs:
            column, write, _ = codecs[name]
            row[column] = write(value)
        else:
            row[name] = value
    return row


def _back(cls: type[T], row: RowMapping, codecs: Mapping[str, _Codec] = _CODECS, **more: Any) -> T:
    made: Row = dict(more)
    for name in _fields(cls):
        if name in made:
            continue
        if name in codecs:
            column, _, read = codecs[name]
            made[name] = read(row[column])
        else:
            made[name] = row[name]
    return cls(**made)


def from_row(cls: type[T], row: RowMapping) -> T:
    """Put one detail of a visit together from its row."""
    return _back(cls, row)


_OF_SIGHTING = ("key", "spells", "counts", "freeze_frames")


def content_rows(visit: str, new: NewVisit) -> list[tuple[Table, list[Row]]]:
    """Return the rows of everything below the visit's own row, tables in order of insertion."""
    content = new.content
    places = _padded(new.controllers, len(content.controllers))
    faults = _padded(new.faults, len(content.faults))
    tables: list[tuple[Table, list[Row]]] = [
        (t.visit_not_read, [_out(one) for one in content.not_read]),
        (t.visit_groups, [_out(one) for one in content.groups]),
        (t.visit_ids, [_out(one) for one in content.other_ids]),
        (t.visit_signals, [_out(one) for one in content.signals]),
        (
            t.visit_controllers,
            [
                {**_out(one), "controller": place}
                for one, place in zip(content.controllers, places, strict=True)
            ],
        ),
        (t.visit_claims, [_out(one) for one in content.claims]),
        (t.visit_requests, [_out(one) for one in content.requests]),
        (
            t.visit_transport,
            [
                {"broken": broken, "word": word, "count": count}
                for broken, pairs in (
                    (False, content.transport.complete),
                    (True, content.transport.broken),
                )
                for word, count in pairs
            ],
        ),
        (t.visit_clocks, [_out(one) for one in content.clocks]),
        (t.visit_answers, [_out(one, _ANSWER) for one in content.answers]),
        (
            t.visit_vins,
            [dict(zip(("channel", "address", "vin"), one, strict=True)) for one in content.vins],
        ),
        (
            t.visit_hours,
            [
                dict(zip(("channel", "address", "at_us", "hours"), one, strict=True))
                for one in content.hours
            ],
        ),
        (
            t.visit_pauses,
            [dict(zip(("start_us", "end_us"), one, strict=True)) for one in content.pauses],
        ),
        (
            t.fault_sightings,
            [
                {**_out(one, skip=_OF_SIGHTING), **_out(one.key), "fault": fault}
                for one, fault in zip(content.faults, faults, strict=True)
            ],
        ),
        (t.lamp_spells, [_out(one) for one in content.lamp_without_code]),
        (t.clears, [_out(one) for one in content.clears]),
    ]
    for _, rows in tables:
        for seq, row in enumerate(rows):
            row["visit"] = visit
            row["seq"] = seq
    for table, codecs in ((t.spells, _CODECS), (t.counts, _CODECS), (t.freeze_frames, _FREEZE)):
        rows = [
            {**_out(detail, codecs), "visit": visit, "sighting": sighting, "seq": seq}
            for sighting, one in enumerate(content.faults)
            for seq, detail in enumerate(getattr(one, table.name))
        ]
        tables.append((table, rows))
    return [(table, rows) for table, rows in tables if rows]


def _padded(given: tuple[str | None, ...], size: int) -> list[str | None]:
    if len(given) > size:
        raise ValueError(f"{len(given)} identifiers for {size} items of the content")
    return [*given, *[None] * (size - len(given))]


def _rows(connection: Connection, table: Table, visit: str) -> list[RowMapping]:
    found = connection.execute(select(table).where(table.c.visit == visit).order_by(table.c.seq))
    return list(found.mappings())


def read_content(connection: Connection, visit: str, head: RowMapping) -> VisitContent:
    """Put a visit's content together again; `head` is its row of `visits`."""

    def all_of(cls: type[T], table: Table, codecs: Mapping[str, _Codec] = _CODECS) -> tuple[T, ...]:
        return tuple(_back(cls, row, codecs) for row in _rows(connection, table, visit))

    transport: dict[bool, list[tuple[str, int]]] = {False: [], True: []}
    for row in _rows(connection, t.visit_transport, visit):
        transport[bool(row["broken"])].append((row["word"], row["count"]))
    sightings = read_sightings(connection, t.fault_sightings.c.visit == visit)
    return VisitContent(
        time_base=TimeBase(head["time_base"]),
        first_us=head["first_us"],
        earliest_us=head["earliest_us"],
        latest_us=head["latest_us"],
        frames=head["frames"],
        error_frames=head["error_frames"],
        remote_frames=head["remote_frames"],
        channels=tuple(json.loads(head["channels_json"])),
        controllers=all_of(ControllerSeen, t.visit_controllers),
        claims=all_of(AddressHeld, t.visit_claims),
        groups=all_of(GroupSeen, t.visit_groups),
        other_ids=all_of(IdSeen, t.visit_ids),
        signals=all_of(SignalSeen, t.visit_signals),
        requests=all_of(RequestSeen, t.visit_requests),
        transport=TransportSeen(tuple(transport[False]), tuple(transport[True])),
        clocks=all_of(ClockSeen, t.visit_clocks),
        answers=all_of(TextAnswer, t.visit_answers, _ANSWER),
        faults=tuple(one.seen for one in sightings),
        lamp_without_code=all_of(LampSpell, t.lamp_spells),
        clears=all_of(Cleared, t.clears),
        vins=tuple(
            (row["channel"], row["address"], row["vin"])
            for row in _rows(connection, t.visit_vins, visit)
        ),
        hours=tuple(
            (row["channel"], row["address"], row["at_us"], row["hours"])
            for row in _rows(connection, t.visit_hours, visit)
        ),
        pauses=tuple(
            (row["start_us"], row["end_us"]) for row in _rows(connection, t.visit_pauses, visit)
        ),
        not_read=all_of(NotRead, t.visit_not_read),
        doubts=tuple(json.loads(head["content_doubts_json"])),
    )


def read_sightings(connection: Connection, which: Any) -> list[Sighting]:
    """Return the sightings that the condition on `fault_sightings` picks, by visit and order."""
    s = t.fault_sightings
    # The sender's place, by the address it spoke from in that visit.
    c = t.visit_controllers
    place = (
        select(c.c.controller)
        .where(c.c.visit == s.c.visit, c.c.channel == s.c.channel, c.c.address == s.c.address)
        .where(c.c.controller.is_not(None))
        .order_by(c.c.seq.desc())
        .limit(1)
        .correlate(s)
        .scalar_subquery()
    )
    found = connection.execute(
        select(s, place.label("place")).where(which).order_by(s.c.visit, s.c.seq)
    )
    heads = list(found.mappings())
    if not heads:
        return []
    details: list[dict[tuple[str, int], list[Any]]] = []
    for table, cls, codecs in (
        (t.spells, Spell, _CODECS),
        (t.counts, CountSeen, _CODECS),
        (t.freeze_frames, FreezeFrame, _FREEZE),
    ):
        gathered: dict[tuple[str, int], list[Any]] = defaultdict(list)
        query = (
            select(table)
            .join(s, (s.c.visit == table.c.visit) & (s.c.seq == table.c.sighting))
            .where(which)
            .order_by(table.c.visit, table.c.sighting, table.c.seq)
        )
        for row in connection.execute(query).mappings():
            gathered[row["visit"], row["sighting"]].append(_back(cls, row, codecs))
        details.append(gathered)
    result: list[Sighting] = []
    for row in heads:
        at = (row["visit"], row["seq"])
        seen = _back(
            FaultSeen,
            row,
            key=_back(FaultKey, row),
            spells=tuple(details[0][at]),
            counts=tuple(details[1][at]),
            freeze_frames=tuple(details[2][at]),
        )
        result.append(Sighting(row["visit"], row["fault"], row["place"], seen))
    return result

"""A second-hand look: what an unknown machine's memory shows, and what to ask the seller.

Words are 'memory shows', never 'the seller hides': each finding has its innocent explanations. What
they are is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from shearbolt.app.composing.faults import words_by_id
from shearbolt.app.composing.labels import controller_words
from shearbolt.app.composing.measures import measure
from shearbolt.app.composing.planning_words import hours_text
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents import MemoryShows, SecondhandDocument, Wording
from shearbolt.book import records as r
from shearbolt.model.fault import COUNT_FULL
from shearbolt.model.visit import VisitContent

SAME_H, SAME_KM = 2.0, 20.0
"""Meters that differ by more do not say the same (own choice)."""
RECENT_MIN, RECENT_WARM_UPS = 20 * 60.0, 20
"""Cleared within so much running: most monitors may not have run since (own choice)."""
MOST_CODES = 8
DISTANCE = {245: 1.0, 917: 0.001}
"""Total distance by parameter, and what makes kilometres of it (SAE J1939-71 VD, VDHR)."""
SOOT, ASH, ENGINE_H, IDLE_H, FUEL = 3719, 3720, 247, 235, 250
READY = ("dm5", "dm26", "obd01")
COUNTS = frozenset({"active", "previously_active", "codes"})
NO_MONITOR = frozenset({"obd_type", "since_start_s", "warm_ups_since_clear", "lamp"}) | COUNTS
CLEAR_INNOCENT = [
    "a workshop clears codes at the end of a proper repair",
    "in some machines it happens when the battery is taken off",
]


def secondhand_document(
    record: MachineRecord, tables: FactTables, wording: Wording
) -> SecondhandDocument:
    """Tell what the last recording of a machine shows of its past, with what earlier ones add."""
    looks = [
        one for one in record.visits if one.kind != "by_hand" and one.machine == record.machine.id
    ]
    shows: list[MemoryShows] = []
    if looks:
        last = looks[-1]
        content = record.contents[last.id]
        here = _Senders(record, last, content, tables)
        shows += _hours(here)
        shows += _distance(here, wording)
        shows += _identity(content)
        shows += _codes(record, tables)
        shows += _cleared(here)
        shows += _readiness(here)
        shows += _use(here, wording)
        shows += _not_told(record, content)
    asks = [one["ask"] for one in shows if one["ask"] is not None]
    words = [
        "Memory shows what control units kept, and no more: a quiet memory is no proof of a sound "
        "machine, and a full one no proof of a bad one.",
        "It replaces no look at oil, belts, tyres, pins and papers.",
    ]
    if not looks:
        words.insert(
            0,
            "There is no recording of it yet: listen to it, and ask it what it keeps, then look "
            "again.",
        )
    return {
        "schema": "shearbolt/secondhand/1",
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "visit": looks[-1].id if looks else None,
        "visits": len(looks),
        "shows": shows,
        "questions": list(dict.fromkeys(asks)),
        "words": words,
    }


class _Senders:
    """One look, and what its senders are called."""

    def __init__(
        self, record: MachineRecord, visit: r.Visit, content: VisitContent, tables: FactTables
    ) -> None:
        self.content = content
        heard = record.heard[visit.id]
        self.names: dict[tuple[str, int], str] = {}
        for seen, place in zip(heard.controllers, heard.places, strict=True):
            seat = record.controllers.get(place) if place is not None else None
            if seat is not None:
                said = controller_words(seat, record.names.get(seat.id), tables)
                self.names[seen.channel, seen.address] = said or f"address {seen.address}"

    def called(self, channel: str, address: int) -> str:
        """Name a sender."""
        return self.names.get((channel, address), f"address {address}")

    def last_of(self, spn: int) -> dict[tuple[str, int], float]:
        """Give the last number that each sender told of a parameter."""
        return {
            (one.channel, one.address): one.last
            for one in self.content.signals
            if one.spn == spn and one.last is not None
        }

    def told(self, *names: str) -> dict[str, list[tuple[str, float]]]:
        """Give numbers of answers by their name: sender and value."""
        found: dict[str, list[tuple[str, float]]] = {}
        for answer in self.content.answers:
            for name, value in answer.values:
                if name in names and isinstance(value, int | float):
                    sender = self.called(answer.channel, answer.address)
                    found.setdefault(name, []).append((sender, float(value)))
        return found


def _one(
    about: str, shows: str, innocent: Iterable[str] = (), ask: str | None = None
) -> MemoryShows:
    return {
        "about": about,  # type: ignore[typeddict-item]
        "shows": f"Memory shows {shows}.",
        "innocent": list(innocent),
        "ask": ask,
    }


def _hours(here: _Senders) -> list[MemoryShows]:
    told: dict[str, float] = {}
    for channel, address, _, hours in here.content.hours:
        sender = here.called(channel, address)
        told[sender] = max(hours, told.get(sender, 0.0))
    if not told:
        return []
    listed = ", ".join(f"{hours:,.1f} h in the {sender}" for sender, hours in told.items())
    if max(told.values()) - min(told.values()) <= SAME_H:
        return [_one("hours", f"engine hours: {listed}", (), "Do the papers agree with this?")]
    return [
        _one(
            "hours",
            f"engine hours that differ: {listed}",
            (
                "a control unit or the instrument cluster was replaced and began at nothing",
                "some units count while the key is on, others while the engine runs",
            ),
            "Which control unit or cluster was replaced, when, and is there a bill for it?",
        )
    ]


def _distance(here: _Senders, wording: Wording) -> list[MemoryShows]:
    told: dict[str, float] = {}
    for spn, factor in DISTANCE.items():
        for (channel, address), value in here.last_of(spn).items():
            told.setdefault(here.called(channel, address), value * factor)
    if not told:
        return []
    mile = 0.6213712 if wording.units == "us" else 1.0
    unit = "mi" if wording.units == "us" else "km"
    listed = ", ".join(f"{value * mile:,.0f} {unit} in the {one}" for one, value in told.items())
    if max(told.values()) - min(told.values()) <= SAME_KM:
        return [_one("distance", f"total distance: {listed}")]
    return [
        _one(
            "distance",
            f"total distances that differ: {listed}",
            (
                "a unit was replaced and began at nothing",
                "one counts by the wheels and the other by the gearbox, with another tyre size",
            ),
            "Why do the distances differ, and which is the right one?",
        )
    ]


def _identity(content: VisitContent) -> list[MemoryShows]:
    vins = list(dict.fromkeys(vin for _, _, vin in content.vins))
    if len(vins) < 2:
        ask = "Is this the number on the plate and in the papers?"
        return [_one("identity", f"the identification {vins[0]}", (), ask)] if vins else []
    return [
        _one(
            "identity",
            f"more than one identification: {', '.join(vins)}",
            (
                "a used control unit was fitted and keeps the number of its first machine",
                "an implement or an engine tells its own number",
            ),
            "Which unit came from another machine, and where from?",
        )
    ]


def _codes(record: MachineRecord, tables: FactTables) -> list[MemoryShows]:
    named = words_by_id(record, tables)
    found: list[tuple[int, str, str]] = []
    for fault in record.faults:
        if fault.kind in ("hand", "symptom"):
            continue
        some = record.sightings.get(fault.id, ())
        counts = [one.count for sight in some for one in sight.seen.counts if one.count is not None]
        active = bool(some) and some[-1].seen.state == "active"
        most = max(counts, default=0)
        times = f"{most} times" if most != 1 else "once"
        if most >= COUNT_FULL:
            times = f"{COUNT_FULL} times or more"
        counted = f"counted {times}" if counts else "not counted"
        found.append((most, fault.id, f"{counted}, {'active now' if active else 'not active now'}"))
    if not found:
        return []
    found.sort(reverse=True)
    listed = "; ".join(f"'{named(fault)}' ({words})" for _, fault, words in found[:MOST_CODES])
    more = len(found) - MOST_CODES
    rest = f"; and {more} more that counted less often" if more > 0 else ""
    codes = "1 code" if len(found) == 1 else f"{len(found)} codes"
    return [
        _one(
            "codes",
            f"{codes}: {listed}{rest}",
            (
                "a count grows from the day the unit was made, and a fault may be long repaired",
                "a weak battery at cold starts leaves codes in every unit",
            ),
            "What was done about each of these codes, and when?",
        )
    ]


def _cleared(here: _Senders) -> list[MemoryShows]:
    told = here.told(
        "since_clear_min", "since_clear_km", "warm_ups_since_clear", "mil_min", "mil_km"
    )
    shown: list[MemoryShows] = []
    minutes = told.get("since_clear_min", [])
    warm_ups = told.get("warm_ups_since_clear", [])
    distances = dict(told.get("since_clear_km", []))
    for sender, value in minutes:
        way = f" and {distances[sender]:,.0f} km" if sender in distances else ""
        recent = value < RECENT_MIN
        shown.append(
            _one(
                "cleared",
                f"that codes of the {sender} were last cleared {hours_text(value / 60.0)} of "
                f"running{way} ago",
                CLEAR_INNOCENT if recent else (),
                "What stood in the memory before it was cleared, and why was it cleared?"
                if recent
                else None,
            )
        )
    for sender, value in warm_ups:
        if value < RECENT_WARM_UPS:
            times = "1 warm-up" if value == 1 else f"{value:.0f} warm-ups"
            shown.append(
                _one(
                    "cleared",
                    f"{times} of the {sender} since codes were cleared",
                    CLEAR_INNOCENT,
                    "What stood in the memory before it was cleared, and why was it cleared?",
                )
            )
    lit = dict(told.get("mil_km", []))
    for sender, value in told.get("mil_min", []):
        way = f" and {lit[sender]:,.0f} km" if sender in lit else ""
        if value > 0:
            shown.append(
                _one(
                    "lamp",
                    f"{hours_text(value / 60.0)}{way} run with the engine check lamp lit, by the "
                    f"{sender}",
                    ("a part may have been on order meanwhile",),
                    "Why was it used with the lamp lit, and what was done then?",
                )
            )
    return shown


def _readiness(here: _Senders) -> list[MemoryShows]:
    open_: dict[str, list[str]] = {}
    asked = False
    for answer in here.content.answers:
        if answer.what not in READY:
            continue
        asked = True
        for name, value in answer.values:
            if name not in NO_MONITOR and value == "not complete":
                sender = here.called(answer.channel, answer.address)
                if name.replace("_", " ") not in open_.setdefault(sender, []):
                    open_[sender].append(name.replace("_", " "))
    if not asked:
        return []
    if not open_:
        return [_one("readiness", "that every self-test has run to its end")]
    return [
        _one(
            "readiness",
            f"self-tests of the {sender} that have not run to their end: {', '.join(names)}",
            (
                "they begin anew when codes are cleared or the battery was off",
                "some need a long drive or a cold start that the machine did not have",
            ),
            "May it be run until these tests are through, and be looked at once more?",
        )
        for sender, names in open_.items()
    ]


def _use(here: _Senders, wording: Wording) -> list[MemoryShows]:
    shown: list[MemoryShows] = []
    for spn, words, ask in (
        (ASH, "the particulate filter's ash load at", "When was the filter last cleaned of ash?"),
        (SOOT, "the particulate filter's soot load at", None),
    ):
        for (channel, address), value in here.last_of(spn).items():
            said = f"{words} {value:.0f} % by the {here.called(channel, address)}"
            shown.append(_one("filter", said, (), ask))
    hours = max((one for *_, one in here.content.hours), default=None)
    idle = max(here.last_of(IDLE_H).values(), default=None)
    if hours and idle is not None and idle <= hours:
        shown.append(
            _one(
                "use",
                f"that it idled for {idle:,.0f} h of {hours:,.0f} h ({idle / hours:.0%})",
                ("a loader or a pump tractor idles much by its nature",),
                "What work did it do?",
            )
        )
    fuel = max(here.last_of(FUEL).values(), default=None)
    if hours and fuel:
        mean = measure(round(fuel / hours, 1), "L/h", wording.units)
        shown.append(_one("use", f"a lifetime's mean fuel rate of {mean}"))
    return shown


def _not_told(record: MachineRecord, content: VisitContent) -> list[MemoryShows]:
    sources = {
        one for some in record.sightings.values() for each in some for one in each.seen.sources
    }
    sources |= {one.what for one in content.answers}
    missing: Mapping[str, Sequence[str]] = {
        "the memory of earlier codes": ("dm2", "obd03", "obd0A", "uds"),
        "the times since codes were cleared": ("dm21", "dm26"),
        "readiness": READY,
    }
    return [
        {
            "about": "not_told",
            "shows": f"Not told in this recording: {what}. `shearbolt ask` asks for it.",
            "innocent": ["many machines outside of roads have no such memory"],
            "ask": None,
        }
        for what, names in missing.items()
        if not sources & set(names)
    ]

"""A fault's life: when it was seen, when only its counts tell of it, and what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.app.composing.between_words import reset_words, unrecorded_words
from shearbolt.app.composing.visits import clear_words
from shearbolt.app.concluding.case import visits_before
from shearbolt.app.concluding.record import MachineRecord, looks_at
from shearbolt.app.picturing.asked import Asked
from shearbolt.app.picturing.documents import Happened, LifePicture, Scale, Stretch, Unseen
from shearbolt.app.samples import tidy
from shearbolt.book import records as r
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.between import Between, Unrecorded

ENOUGH = 0.75
"""Share of the visits whose hours (else dates) must be known for a line over them."""


@dataclass(frozen=True, slots=True)
class _Line:
    """The scale, and where each visit lies on it."""

    scale: Scale
    places: Mapping[str, tuple[float, float]]

    def at(self, visit: r.Visit, earliest_us: int, latest_us: int, at_us: int) -> float | None:
        """Give the place of a moment of a visit's own clock; None: the visit has none."""
        place = self.places.get(visit.id)
        if place is None:
            return None
        length = latest_us - earliest_us
        share = (at_us - earliest_us) / length if length > 0 else 0.0
        return place[0] + (place[1] - place[0]) * min(max(share, 0.0), 1.0)


def life_picture(asked: Asked, fault: r.Fault) -> LifePicture:
    """Show a fault's life over engine hours; over dates, or visit by visit, where those are not
    known."""
    record = asked.record
    line = _line(record.machine.id, record.visits)
    between = asked.concluded.between.get(fault.id)
    happened = _happened(asked, fault, line)
    unseen = _unseen(line, between)
    repairs = [
        place
        for one in sorted(record.repairs, key=lambda each: each.created_us)
        if fault.id in one.faults and (place := _repair(line, record, one)) is not None
    ]
    looks: list[Stretch] = [
        {"start": tidy(start), "end": tidy(end), "words": ""}
        for start, end in (line.places[one.id] for one in record.visits if one.id in line.places)
    ]
    repairs.sort(key=lambda one: one["start"])
    every = [one[key] for one in (*looks, *repairs) for key in ("start", "end")]
    every += [one["at"] for one in happened]
    return {
        "what": "life",
        "about": fault.id,
        "machine_name": record.machine.name,
        "title": asked.words(fault),
        "lines": _lines(happened, between, len(record.visits) - len(looks), line.scale),
        "scale": line.scale,
        "low": min(every, default=0.0),
        "high": max(every, default=1.0),
        "looks": looks,
        "happened": happened,
        "unseen": unseen,
        "repairs": repairs,
    }


def _line(machine: str, visits: Sequence[r.Visit]) -> _Line:
    hours = {
        one.id: (one.hours_start, one.hours_start if one.hours_end is None else one.hours_end)
        for one in visits
        # Two machines on one plug: the hours are those of the machine it is filed under.
        if one.machine == machine and one.hours_start is not None
    }
    if hours and len(hours) >= ENOUGH * len(visits):
        return _Line("hours", hours)
    dates = {
        one.id: (
            one.start_us / SECOND_US,
            (one.start_us if one.end_us is None else one.end_us) / SECOND_US,
        )
        for one in visits
        if one.start_us is not None
    }
    if dates and len(dates) >= ENOUGH * len(visits):
        return _Line("date", dates)
    return _Line("order", {one.id: (i + 0.6, i + 1.4) for i, one in enumerate(visits)})


def _happened(asked: Asked, fault: r.Fault, line: _Line) -> list[Happened]:
    found: list[Happened] = []
    for look in looks_at(asked.record, fault):
        visit = asked.record.visits_by_id[look.visit]
        content = asked.record.heard[visit.id]
        first, last = content.earliest_us, content.latest_us
        seen = look.seen
        if seen is not None:
            places = [line.at(visit, first, last, one.start_us) for one in seen.spells]
            known = [one for one in places if one is not None]
            if known:
                times = len(known)
                words = "seen once" if times == 1 else f"seen {times} times"
                found.append(
                    {"at": tidy(known[0]), "kind": "spell", "times": times, "words": words}
                )
            elif not seen.spells:
                at = line.at(visit, first, last, seen.first_us)
                if at is not None and visit.kind == "by_hand":
                    found.append(
                        {"at": tidy(at), "kind": "hand", "times": 1, "words": "written down"}
                    )
                elif at is not None:
                    words = "only listed in the control unit's memory"
                    found.append({"at": tidy(at), "kind": "memory", "times": 1, "words": words})
        for clear in look.clears:
            at = line.at(visit, first, last, clear.at_us)
            if at is not None:
                found.append(
                    {"at": tidy(at), "kind": "cleared", "times": 1, "words": clear_words(clear)}
                )
    return found


def _unseen(line: _Line, between: Between | None) -> list[Unseen]:
    if between is None:
        return []
    found: list[Unseen] = []
    for one in between.unrecorded:
        start, end = _bounds(line, one.after_visit, one.before_visit)
        found.append(
            {"start": start, "end": end, "times": _times(one), "words": unrecorded_words(one)}
        )
    for reset in between.resets:
        if not reset.heard:
            start, end = _bounds(line, reset.after_visit, reset.before_visit)
            words = reset_words(reset)
            found.append({"start": start, "end": end, "times": "set back", "words": words})
    return found


def _bounds(line: _Line, after: str | None, before: str) -> tuple[float | None, float | None]:
    """Give the stretch between two visits; within one: that visit's own."""
    begins = line.places.get(after) if after is not None else None
    ends = line.places.get(before)
    if after == before and ends is not None:
        return tidy(ends[0]), tidy(ends[1])
    return (
        tidy(begins[1]) if begins is not None else None,
        tidy(ends[0]) if ends is not None else None,
    )


def _times(one: Unrecorded) -> str:
    if one.at_most is None:
        return f"at least {one.at_least}×" if one.at_least else "any number"
    if one.at_least == one.at_most:
        return f"{one.at_least}×"
    if not one.at_least:
        return f"up to {one.at_most}×"
    return f"{one.at_least} to {one.at_most}×"


def _repair(line: _Line, record: MachineRecord, repair: r.Repair) -> Stretch | None:
    at: float | None = None
    if line.scale == "hours" and repair.hours is not None:
        at = repair.hours
    elif line.scale == "date" and repair.date_us is not None:
        at = repair.date_us / SECOND_US
    else:
        # Its place among the visits is known.
        visits = record.visits
        passed = visits_before(visits, record.machine.id, repair.hours, repair.date_us)
        before = [line.places[one.id] for one in visits[:passed] if one.id in line.places]
        after = [line.places[one.id] for one in visits[passed:] if one.id in line.places]
        if before and after:
            at = (before[-1][1] + after[0][0]) / 2.0
        elif before or after:
            at = before[-1][1] if before else after[0][0]
    if at is None:
        return None
    return {"start": tidy(at), "end": tidy(at), "words": repair.text}


def _lines(
    happened: Sequence[Happened], between: Between | None, left_out: int, scale: Scale
) -> list[str]:
    seen = sum(one["times"] for one in happened if one["kind"] == "spell")
    lines = [f"Seen {_often(seen)} by recordings." if seen else "No recording caught it while on."]
    if between is not None and between.unrecorded:
        least = sum(one.at_least for one in between.unrecorded)
        if least:
            lines.append(f"By its counts it came {least} times or more while nobody recorded.")
    if left_out:
        known = "engine hours" if scale == "hours" else "a date"
        lines.append(
            f"{left_out} visit{'' if left_out == 1 else 's'} without {known} "
            f"{'is' if left_out == 1 else 'are'} left out."
        )
    return lines


def _often(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count:,} times")

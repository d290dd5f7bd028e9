"""The fault memory of each sender as it was told: DM1, the lists, freeze frames and lamps."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from shearbolt.decode.quiet import SenderQuiet
from shearbolt.decode.reports import Reports, Track, spells_of, steady
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.controller import Dm1Manner
from shearbolt.model.fault import (
    CountSeen,
    Dtc,
    EndedBy,
    FaultKey,
    FaultSeen,
    FaultState,
    FreezeFrame,
    Lamps,
    Spell,
)
from shearbolt.wire.dtc import Settled, settle_method
from shearbolt.wire.emission_lists import read_dm31
from shearbolt.wire.fault_list import read_fault_list
from shearbolt.wire.freeze_frame import (
    SupportedSpn,
    read_dm4,
    read_dm24,
    read_dm25,
    scale_values,
)

STATE_BY_LIST: dict[str, FaultState] = {
    "dm12": "active",
    "dm28": "permanent",
    "dm2": "previously_active",
    "dm23": "previously_active",
    "dm27": "pending",
    "dm6": "pending",
}
"""What a list says of its codes (SAE J1939-73), the strongest first."""
ENDED_STATE: dict[EndedBy, FaultState] = {
    "healed": "previously_active",
    "unknown": "unknown",
    "key_off": "active",
    "silence": "active",
    "recording_end": "active",
}
"""What the end of its last spell says of a fault."""


@dataclass(slots=True)
class Listed:
    """One code as one list told it."""

    dtc: Dtc
    first_us: int
    last_us: int
    counts: list[CountSeen] = field(default_factory=list)


class SenderMemory:
    """What one sender told of its fault memory."""

    def __init__(self) -> None:
        self.reports = Reports()
        self._lists: dict[str, dict[bytes, Listed]] = {}
        self._supported: tuple[SupportedSpn, ...] = ()
        self._expanded: dict[bytes, list[int]] = {}
        """DM25 as sent, with its first and last instant."""
        self._frames: dict[bytes, list[FreezeFrame]] = {}
        self._lamps_told: dict[bytes, Lamps] = {}

    def fault_list(self, which: str, payload: bytes, at_us: int) -> None:
        """Take one list of codes other than DM1: 'dm2', 'dm6', 'dm12', ..."""
        told = read_fault_list(payload)
        if told is None:
            return
        for dtc in told.dtcs:
            one = self._listed(which, dtc, at_us)
            if one.counts and one.counts[-1].count == dtc.count:
                one.counts[-1] = replace(one.counts[-1], last_us=at_us)
            else:
                one.counts.append(CountSeen(at_us, at_us, dtc.count))

    def _listed(self, which: str, dtc: Dtc, at_us: int) -> Listed:
        codes = self._lists.setdefault(which, {})
        one = codes.setdefault(_key(dtc), Listed(dtc, at_us, at_us))
        one.last_us = max(one.last_us, at_us)
        return one

    def freeze_frames(self, payload: bytes, at_us: int) -> None:
        """Take DM4."""
        for frame in read_dm4(payload):
            self._listed("dm4", frame.dtc, at_us)
            self._keep_frame(_key(frame.dtc), FreezeFrame(at_us, frame.values, "dm4"))

    def supported(self, payload: bytes) -> None:
        """Take DM24, which says how DM25 is laid out."""
        self._supported = read_dm24(payload)

    def expanded_frames(self, payload: bytes, at_us: int) -> None:
        """Take DM25; it is read at the end, since its DM24 may come later."""
        self._expanded.setdefault(payload, [at_us, at_us])[1] = at_us

    def lamps_by_code(self, payload: bytes, at_us: int) -> None:
        """Take DM31."""
        for told in read_dm31(payload):
            self._listed("dm31", told.dtc, at_us)
            self._lamps_told[_key(told.dtc)] = told.lamps

    def _keep_frame(self, key: bytes, frame: FreezeFrame) -> None:
        kept = self._frames.setdefault(key, [])
        if frame.values and all(one.values != frame.values for one in kept):
            kept.append(frame)

    def read_expanded(self, dictionary: Dictionary) -> None:
        """Read the DM25 messages by the DM24 of this sender; without one, their codes alone."""
        for payload, (first_us, last_us) in self._expanded.items():
            for frame in read_dm25(payload, self._supported):
                self._listed("dm25", frame.dtc, first_us)
                self._listed("dm25", frame.dtc, last_us)
                values = scale_values(
                    frame.values, lambda spn: next(iter(dictionary.rows_of_spn(spn)), None)
                )
                self._keep_frame(_key(frame.dtc), FreezeFrame(first_us, tuple(values), "dm25"))
        self._expanded.clear()

    def settled(self, known_spn: Callable[[int], bool]) -> Settled:
        """Tell by which conversion method this sender's codes are read."""
        return settle_method((dtc.raw for dtc in self._codes()), known_spn)

    def _codes(self) -> Iterable[Dtc]:
        for track in self.reports.tracks.values():
            yield track.dtc
        for codes in self._lists.values():
            for one in codes.values():
                yield one.dtc

    def faults(
        self,
        channel: str,
        address: int,
        dictionary: Dictionary,
        manner: Dm1Manner,
        quiet: SenderQuiet,
    ) -> list[FaultSeen]:
        """Put together what was told of each code."""
        self.read_expanded(dictionary)
        method = self.settled(dictionary.known_spn)
        keys = dict.fromkeys(_key(dtc) for dtc in self._codes())
        found: list[FaultSeen] = []
        for key in keys:
            track = self.reports.tracks.get(key)
            lists = {which: codes[key] for which, codes in self._lists.items() if key in codes}
            dtc = track.dtc if track is not None else next(iter(lists.values())).dtc
            spells = spells_of(track, self.reports, manner, quiet) if track is not None else ()
            spns = method.spns(dtc.raw)
            first = [one.first_us for one in lists.values()]
            last = [one.last_us for one in lists.values()]
            if track is not None:
                first.append(track.listings[0].first_us)
                last.append(track.listings[-1].last_us)
            found.append(
                FaultSeen(
                    FaultKey("j1939", channel, address, spns[0], dtc.fmi),
                    (*(("dm1",) if track is not None else ()), *sorted(lists)),
                    min(first),
                    max(last),
                    _state(spells, lists),
                    spells,
                    _counts(track, lists),
                    steady(track.lamps) if track is not None else Lamps(),
                    self._sure(key, track),
                    tuple(self._frames.get(key, ())),
                    method.method if dtc.old_method else 4,
                    spns if len(spns) > 1 else (),
                )
            )
        return found

    def _sure(self, key: bytes, track: Track | None) -> Lamps:
        if key in self._lamps_told:
            return self._lamps_told[key]
        if track is not None and track.lamps_alone:
            return steady(track.lamps_alone)
        return Lamps()


def _key(dtc: Dtc) -> bytes:
    """What makes a code the same code again: everything but its count."""
    return dtc.raw[:3] + bytes((dtc.raw[3] & 0x80,))


def _state(spells: tuple[Spell, ...], lists: dict[str, Listed]) -> FaultState:
    if spells:
        state = ENDED_STATE[spells[-1].ended_by]
        if "dm28" in lists and state != "active":
            return "permanent"
        if state == "unknown":
            memory = [one.last_us for which, one in lists.items() if which in ("dm2", "dm23")]
            if memory and max(memory) > spells[-1].end_us:
                return "previously_active"
        return state
    return next((state for which, state in STATE_BY_LIST.items() if which in lists), "unknown")


def _counts(track: Track | None, lists: dict[str, Listed]) -> tuple[CountSeen, ...]:
    counts = list(track.count_seen()) if track is not None else []
    for one in lists.values():
        counts.extend(one.counts)
    counts.sort(key=lambda one: one.first_us)
    joined: list[CountSeen] = []
    for count in counts:
        if joined and joined[-1].count == count.count:
            last_us = max(joined[-1].last_us, count.last_us)
            joined[-1] = CountSeen(joined[-1].first_us, last_us, count.count)
        else:
            joined.append(count)
    return tuple(joined)

"""What controllers answer to a request (PGN 59904) and to a clear, without any transport.

`Answering.replies` is asked by recordings and live machines alike: who of those that are awake
says what, as whole payloads. How it goes over the bus is the matter of `transport`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from shearbolt.proving.controllers import COMPONENT_IDENTIFICATION, Controller
from shearbolt.proving.cycle import BUSY, REFUSED, KeyCycle
from shearbolt.proving.diagnostic_packing import (
    DM3,
    DM5,
    DM6,
    DM11,
    DM12,
    DM19,
    DM20,
    DM21,
    DM22,
    DM23,
    DM24,
    DM25,
    DM26,
    DM27,
    DM28,
    DM29,
    NO_FRAME,
    Monitoring,
    dm5,
    dm19,
    dm20,
    dm21,
    dm22,
    dm24,
    dm25_frame,
    dm26,
    dm29,
)
from shearbolt.proving.faults import OFF
from shearbolt.proving.manners import Manner
from shearbolt.proving.memory import Entry, Recall
from shearbolt.proving.packing import (
    ADDRESS_CLAIM,
    DM2,
    DM4,
    TO_ALL,
    diagnostic_payload,
    dtc_bytes,
    freeze_frame,
    stars,
)

NULL = 254
"""Address of who has none; it only says its NAME."""
CONTROL_UNIT = 64965
REGENERATIONS = 64920
_CLEARS = (DM3, DM11)
_LISTS = {DM2: "dm2", DM6: "dm6", DM12: "dm12", DM23: "dm23", DM27: "dm27", DM28: "dm28"}
_DIAGNOSTIC = frozenset(
    {DM2, DM3, DM4, DM5, DM6, DM11, DM12, DM19, DM20, DM21, DM23, DM24, DM25, DM26, DM27, DM28,
     DM29}
)  # fmt: skip
WHAT = Literal["data", "control", "claim"]


@dataclass(frozen=True, slots=True)
class Reply:
    """What one controller says to a request."""

    controller: Controller
    what: WHAT
    pgn: int
    payload: bytes = b""
    control: int = 0
    """Control byte of the acknowledgement."""
    after_s: float = 0.009
    """How long it takes."""


Told = tuple[str, int, int, str]
"""Controller, SPN, FMI, and where it was listed: 'dm2', 'dm4', 'dm6', ..."""


@dataclass(slots=True)
class Answering:
    """The answers of all controllers in one key cycle."""

    cycle: KeyCycle
    words: Callable[[Controller, int, float], bytes | None]
    """Packs a group of a controller at an instant; None: it does not send that group."""
    address_of: Callable[[Controller], int] = field(default=lambda one: one.address)
    answered: set[tuple[str, int]] = field(default_factory=set)
    """Controller and group of each request answered with data."""
    told: set[Told] = field(default_factory=set)

    def replies(self, asker: int, asked: int, pgn: int, channel: str, at_s: float) -> list[Reply]:
        """Return who says what to a request, in the order in which they answer.

        A request to all is never refused (SAE J1939-21 5.4.2).
        """
        out: list[Reply] = []
        for _, controller in self.cycle.outing.controllers():
            address = self.address_of(controller)
            there = asked in (TO_ALL, address) and controller.channel == channel
            if not there or address == asker or (address == NULL and pgn != ADDRESS_CLAIM):
                continue
            awake = self.cycle.awake_s(controller, at_s)
            if awake is None:
                continue
            after_s = (self.cycle.manner(controller).answer_ms + 2.1 * len(out)) / 1000.0
            reply = self._reply(controller, asked == TO_ALL, pgn, at_s, awake, after_s)
            if reply is not None:
                out.append(reply)
        return out

    def _reply(
        self, controller: Controller, to_all: bool, pgn: int, at_s: float, awake_s: float,
        after_s: float,
    ) -> Reply | None:  # fmt: skip
        manner = self.cycle.manner(controller)
        if pgn == ADDRESS_CLAIM:
            return Reply(controller, "claim", pgn, after_s=after_s)
        if pgn in _DIAGNOSTIC and awake_s < manner.busy_s:
            control = None if to_all else BUSY
        elif pgn in _CLEARS:
            control = self.cycle.ask_clear(controller, pgn, at_s + after_s)
        else:
            payload = self._payload(controller, manner, pgn, at_s)
            if payload is not None:
                self.answered.add((controller.key, pgn))
                return Reply(controller, "data", pgn, payload, after_s=after_s)
            control = REFUSED if manner.refuses_unknown else None
        if control is None or (to_all and control != 0):
            return None
        return Reply(controller, "control", pgn, control=control, after_s=after_s)

    def clear_one(
        self, asker: int, asked: int, spn: int, fmi: int, active: bool, channel: str, at_s: float
    ) -> list[Reply]:
        """Return who says what to a DM22; the answer is a DM22 again."""
        out = []
        for _, controller in self.cycle.outing.controllers():
            if controller.channel != channel or self.address_of(controller) == asker:
                continue
            if asked not in (TO_ALL, self.address_of(controller)):
                continue
            if self.cycle.awake_s(controller, at_s) is None:
                continue
            said = self.cycle.ask_clear_one(controller, spn, fmi, active, at_s)
            if said is None or (asked == TO_ALL and said[0] in (3, 19)):
                continue
            reason = None if said[1] == 0xFF else said[1]
            payload = dm22(said[0], reason, spn, fmi)
            out.append(Reply(controller, "data", DM22, payload))
        return out

    def _payload(
        self, controller: Controller, manner: Manner, pgn: int, at_s: float
    ) -> bytes | None:
        """Return what a controller answers to a request, None: it does not have that."""
        if pgn in manner.answers:
            return self._diagnosis(controller, manner, pgn, at_s)
        if pgn in controller.texts:
            return controller.texts[pgn]
        if pgn == CONTROL_UNIT and manner.obd_type == 20 and manner.calibrations:
            return _unit(controller)
        if pgn == REGENERATIONS and self._filters(controller):
            return self._regenerations(at_s)
        return self.words(controller, pgn, at_s)

    def _filters(self, controller: Controller) -> bool:
        return any(3719 in group.spns for group in controller.groups)

    def _regenerations(self, at_s: float) -> bytes:
        """Pack the regeneration totals (AT1HI1): fuel, seconds and counts since new."""
        trace = self.cycle.trace
        hours = float(trace.hours[min(int(at_s * 20), len(trace.hours) - 1)])
        active, passive = int(hours / 21.0), int(hours / 4.0)
        few = (
            int(active * 2.6 / 0.5), active * 1500, int(hours * 40), active, int(hours * 700),
            passive, active // 6, active // 40, 21 * 3600,
        )  # fmt: skip
        return b"".join(one.to_bytes(4, "little") for one in few)

    def _diagnosis(self, controller: Controller, manner: Manner, pgn: int, at_s: float) -> bytes:
        recall = self.cycle.recall(controller)
        entries = recall.entries(at_s)
        if pgn in _LISTS:
            return self._list(controller, recall, entries, pgn, at_s)
        if pgn == DM4:
            return self._frames(controller, entries) or NO_FRAME
        if pgn == DM25:
            return self._expanded(controller, manner, entries) or NO_FRAME
        if pgn == DM24:
            sends = {spn for group in controller.groups for spn in group.spns}
            return dm24(manner.frame_spns, sends)
        if pgn == DM19:
            return dm19(manner.calibrations)
        return _counters(manner, recall, entries, pgn, at_s)

    def _code(self, controller: Controller, entry: Entry) -> bytes:
        return dtc_bytes(entry.spn, entry.fmi, entry.count, controller.method)

    def _list(
        self, controller: Controller, recall: Recall, entries: Sequence[Entry], pgn: int,
        at_s: float,
    ) -> bytes:  # fmt: skip
        listed = [one for one in entries if _belongs(one, pgn)]
        for one in listed:
            self.told.add((controller.key, one.spn, one.fmi, _LISTS[pgn]))
        lamps = recall.lamps(at_s) if any(one.active for one in entries) else OFF
        codes = [self._code(controller, one) for one in listed]
        return diagnostic_payload(lamps, codes, old_flash=controller.old_flash)

    def _frames(self, controller: Controller, entries: Sequence[Entry]) -> bytes:
        out = b""
        for one in entries:
            if not one.frame:
                continue
            self.told.add((controller.key, one.spn, one.fmi, "dm4"))
            value = one.frame
            out += freeze_frame(
                self._code(controller, one),
                torque_mode=int(value.get(899, 15.0)),
                boost_kpa=max(0.0, value.get(102, 0.0)),
                engine_rpm=value.get(190, 0.0),
                load_pct=value.get(92, 0.0),
                coolant_c=value.get(110, 0.0),
                speed_km_h=value.get(84, 0.0),
            )
        return out

    def _expanded(self, controller: Controller, manner: Manner, entries: Sequence[Entry]) -> bytes:
        out = b""
        for one in entries:
            if one.frame:
                self.told.add((controller.key, one.spn, one.fmi, "dm25"))
                out += dm25_frame(self._code(controller, one), manner.frame_spns, one.frame)
        return out


def _belongs(entry: Entry, pgn: int) -> bool:
    """Tell whether a code is in one of the lists."""
    return {
        DM2: entry.previous,
        DM6: entry.pending,
        DM27: entry.pending,
        DM12: entry.active and entry.mil,
        DM23: entry.had_mil,
        DM28: entry.permanent,
    }[pgn]


def _counters(
    manner: Manner, recall: Recall, entries: Sequence[Entry], pgn: int, at_s: float
) -> bytes:
    """Pack DM5, DM20, DM21, DM26 or DM29."""
    if pgn == DM5:
        active = sum(one.active for one in entries)
        previous = sum(one.previous for one in entries)
        left = manner.monitors - recall.complete(at_s)
        return dm5(active, previous, manner.obd_type, Monitoring(manner.monitors, left))
    if pgn == DM20:
        return dm20(*recall.ratios(at_s))
    if pgn == DM21:
        return dm21(*recall.distances(at_s))
    if pgn == DM26:
        left = manner.monitors - recall.complete(at_s, this_cycle=True)
        return dm26(
            recall.since_start_s(at_s), recall.warm_ups(at_s), Monitoring(manner.monitors, left)
        )
    pending = sum(one.pending for one in entries)
    lit = sum(one.active and one.mil for one in entries)
    had = sum(one.had_mil for one in entries)
    return dm29(pending, pending, lit, had, sum(one.permanent for one in entries))


def _unit(controller: Controller) -> bytes:
    """Pack the control unit's identification from what it says of its component."""
    fields = controller.texts.get(COMPONENT_IDENTIFICATION, b"").decode("ascii").split("*")
    model, serial = (fields[1], fields[2]) if len(fields) > 2 else ("", "")
    return stars(model, serial, "ENGINE", "ECM")

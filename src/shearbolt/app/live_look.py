"""What a bus tells while it is listened to: decoded as it comes, shown about twice a second."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from shearbolt.app.composing.stamps import lamps_shown
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.documents.live import (
    AdapterHeard,
    BusFinding,
    ListenEvent,
    LiveController,
    LiveFault,
    LiveReading,
    LiveView,
)
from shearbolt.app.documents.values import RecognisedBy
from shearbolt.app.live_words import adapter_words, event_words, finding_words
from shearbolt.app.recognition import NO_SENDERS, Known, Recognised, recognise, split
from shearbolt.decode.columns import BlockDecoder
from shearbolt.decode.visit import VisitBuilder
from shearbolt.live import Event, Finding, Health, Listening
from shearbolt.model.controller import ControllerSeen
from shearbolt.model.fault import FaultSeen
from shearbolt.model.frames import Frames
from shearbolt.model.instants import SECOND_US, Instant, to_iso
from shearbolt.model.reading import TimeBase
from shearbolt.model.signal import SignalSeen
from shearbolt.model.visit import VisitContent

ALIVE_US = 5 * SECOND_US
MAIN_READINGS = (
    190, 92, 84, 110, 100, 175, 1638, 177, 102, 183, 96, 168, 158, 3719, 3251, 1761, 247,
)  # fmt: skip
"""Readings shown, in this order: speed, load and ground speed, temperatures and pressures,
boost, fuel, voltage, particulate filter, DEF, hours."""
MOST_READINGS = 10
STATES = ("active", "permanent", "pending", "unknown", "previously_active", "cleared")
"""Faults by what to look at first."""
SHOWN_EVENTS = 4
Periods = Mapping[tuple[int, int], int]


class LiveLook:
    """Follows one listening session."""

    def __init__(
        self,
        tables: FactTables,
        fleet: Sequence[Known],
        given: Known | None,
        given_name: str | None,
        usual_periods: Callable[[str], Periods],
    ) -> None:
        """Begin; `usual_periods` tells of a machine how often each group came in earlier visits,
        by (group, address), in microseconds.
        """
        self._tables = tables
        self._fleet = fleet
        self._given = given
        self._given_name = given_name
        self._usual_periods = usual_periods
        self._decoder = BlockDecoder(tables.dictionary)
        self._builder = VisitBuilder(tables.dictionary, TimeBase.ABSOLUTE)
        self._health = Health()
        self._found: dict[tuple[str, str, tuple[int, ...], int | None], Finding] = {}
        self._overruns_told = 0
        self._names: dict[int, str] = {}
        self.content: VisitContent | None = None
        """What the bus told by the last look."""
        self.recognised: Recognised | None = None
        """The main machine, as of the last look."""
        self.first_us: Instant | None = None
        """First frame."""
        self.recognised_us: Instant | None = None
        """When the machine was first known to be one of the book's."""
        self.first_fault_us: Instant | None = None
        """When an active fault was first known."""

    def feed(self, frames: Frames) -> None:
        """Take the next block."""
        if not len(frames):
            return
        if self.first_us is None:
            self.first_us = int(frames.time_us[0])
        block = self._decoder.feed(frames)
        self._builder.feed(block)
        self._health.feed(block)

    def look(self, session: Listening) -> None:
        """Judge what was heard so far: who it is, what is active, what is amiss."""
        now_us = session.now_us()
        self._take_overruns(session)
        for one in self._health.findings(_rates(session), now_us):
            self._remember(one)
        if self.first_us is None:
            return
        self.content = content = self._builder.so_far()
        parts = split(content)
        if parts:
            found = recognise(parts[0], content, self._fleet, self._given)
            fresh = found.known is not None and (
                self.recognised is None or self.recognised.known is not found.known
            )
            self.recognised = found
            if found.known is not None:
                self.recognised_us = self.recognised_us or now_us
                if fresh:
                    self._health.expected_us = dict(self._usual_periods(found.known.machine.id))
        if self.first_fault_us is None and any(one.state == "active" for one in content.faults):
            self.first_fault_us = now_us
        self._names = {one.address: self._controller_words(one) for one in content.controllers}

    def _take_overruns(self, session: Listening) -> None:
        events = list(session.events)
        for event in events[self._overruns_told :]:
            if event.what == "overrun" and event.channel is not None:
                self._health.overrun(event.channel, event.number("count"))
        self._overruns_told = len(events)

    def _remember(self, one: Finding) -> None:
        key = one.kind, one.channel, one.addresses, one.pgn
        before = self._found.get(key)
        if before is None or (one.figure or 0) > (before.figure or 0):
            self._found[key] = one

    def view(self, session: Listening) -> LiveView:
        """Show the moment, as of the last `look`."""
        now_us = session.now_us()
        content = self.content
        known = self.recognised.known if self.recognised is not None else None
        given = self._given.machine.name if self._given is not None else self._given_name
        by: list[RecognisedBy] = list(self.recognised.by) if self.recognised else []  # type: ignore[arg-type]
        return {
            "seconds": (now_us - session.start_us) / SECOND_US,
            "frames": session.frames,
            "machine": known.machine.id if known is not None else None,
            "machine_name": known.machine.name if known is not None else given,
            "recognised_by": by,
            "adapters": self.adapters(session),
            "controllers": self._controllers(content, now_us) if content else [],
            "faults": self._faults(content) if content else [],
            "readings": self._readings(content, now_us) if content else [],
            "health": [
                self._finding(one) for one in self._health.findings(_rates(session), now_us)
            ],
            "events": events_shown(list(session.events)[-SHOWN_EVENTS:]),
        }

    def adapters(self, session: Listening) -> list[AdapterHeard]:
        """Tell how each adapter fares."""
        now_us = session.now_us()
        loads = {one.channel: one for one in self._health.loads(_rates(session), now_us)}
        listened_s = (now_us - session.start_us) / SECOND_US
        return [
            {
                "channel": one.adapter.name,
                "interface": one.adapter.asked.interface,
                "bitrate": one.bitrate,
                "bitrate_from": one.rate_from,
                "listen_only": one.adapter.listen_only,
                "state": one.state,
                "frames": one.frames,
                "error_frames": one.errors,
                "load": loads[one.adapter.name].now if one.adapter.name in loads else None,
                "load_peak": loads[one.adapter.name].peak if one.adapter.name in loads else None,
                "words": adapter_words(one, listened_s),
            }
            for one in session.readers
        ]

    def all_findings(self) -> list[BusFinding]:
        """Tell everything that was found amiss so far, each once, at its worst."""
        return [self._finding(one) for one in self._found.values()]

    def _finding(self, one: Finding) -> BusFinding:
        group = ""
        if one.pgn is not None:
            acronym = self._tables.dictionary.acronym(one.pgn)
            group = f"group {one.pgn}" + (f" ({acronym})" if acronym else "")
        return {
            "what": one.kind,
            "channel": one.channel,
            "addresses": list(one.addresses),
            "pgn": one.pgn,
            "figure": None if one.figure is None else round(one.figure, 2),
            "words": _capital(finding_words(one, self._names, group)),
        }

    def _controller_words(self, one: ControllerSeen) -> str:
        if one.name is not None:
            return self._tables.function_text(one.name)
        return self._tables.address_text(one.address, None)

    def _controllers(self, content: VisitContent, now_us: Instant) -> list[LiveController]:
        return [
            {
                "channel": one.channel,
                "address": one.address,
                "name": one.name.hex if one.name is not None else None,
                "words": self._controller_words(one),
                "alive": now_us - one.last_us <= ALIVE_US,
            }
            for one in content.controllers
            if one.address not in NO_SENDERS
        ]

    def _faults(self, content: VisitContent) -> list[LiveFault]:
        found: list[LiveFault] = []
        for one in sorted(content.faults, key=lambda fault: STATES.index(fault.state)):
            key = one.key
            found.append(
                {
                    "channel": key.channel,
                    "address": key.address,
                    "controller_words": self._names.get(key.address or 0, "not known"),
                    "spn": key.spn,
                    "fmi": key.fmi,
                    "code": key.code,
                    "words": self._fault_words(one, content),
                    "state": one.state,
                    "lamps": lamps_shown(one.lamps),
                }
            )
        return found

    def _fault_words(self, fault: FaultSeen, content: VisitContent) -> str:
        key = fault.key
        if key.spn is None or key.fmi is None:
            return self._tables.road_code_text(key.code or "")
        name = next(
            (
                one.name
                for one in content.controllers
                if (one.channel, one.address) == (key.channel, key.address)
            ),
            None,
        )
        own = self._tables.dictionary.owner_text(key.spn, key.fmi, name)
        return own.text if own is not None else self._tables.fault_text(key.spn, key.fmi)

    def _readings(self, content: VisitContent, now_us: Instant) -> list[LiveReading]:
        told: dict[int, SignalSeen] = {}
        for one in content.signals:
            if one.numbers and one.last is not None and one.spn in MAIN_READINGS:
                told.setdefault(one.spn, one)
        shown: list[LiveReading] = [
            {
                "spn": spn,
                "words": self._tables.dictionary.spn_name(spn) or f"SPN {spn}",
                "value": told[spn].last or 0.0,
                "unit": told[spn].unit,
                "fresh": now_us - told[spn].last_us <= ALIVE_US,
            }
            for spn in MAIN_READINGS
            if spn in told
        ]
        return shown[:MOST_READINGS]


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def _rates(session: Listening) -> dict[str, int | None]:
    return {one.adapter.name: one.bitrate for one in session.readers}


def events_shown(events: Sequence[Event]) -> list[ListenEvent]:
    """Write events as a document does."""
    return [
        {
            "what": one.what,
            "at": to_iso(one.at_us),
            "channel": one.channel,
            "words": event_words(one),
        }
        for one in events
    ]

"""From an outing to frames: what each controller sends, asks and answers, with its manners."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from shearbolt.model.frames import F64, I64, U32, U64, Frames
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.proving.answering import Answering, Reply, Told
from shearbolt.proving.columns import Bus, instants
from shearbolt.proving.controllers import CLOCK, Controller, Group
from shearbolt.proving.cycle import KeyCycle, live_through
from shearbolt.proving.diagnostic_packing import DM22, dm13, dm13_event, dm22
from shearbolt.proving.disturb import disturbed, senseless, senseless_ident, with_errors
from shearbolt.proving.faults import Fault, Window, count_sent
from shearbolt.proving.layouts import pack_words
from shearbolt.proving.memory import Store
from shearbolt.proving.outing import Ask, ClearOne, Life, Outing
from shearbolt.proving.own_groups import own_words
from shearbolt.proving.packing import (
    DM1,
    TO_ALL,
    Event,
    acknowledgement,
    claim,
    diagnostic_payload,
    dtc_bytes,
    identifier,
    request,
)
from shearbolt.proving.physics import Flags
from shearbolt.proving.plight import HEALTHY
from shearbolt.proving.reports import Held, Report, plan_reports
from shearbolt.proving.supply import BusState, bus_state
from shearbolt.proving.trace import STEP_S, Trace
from shearbolt.proving.transport import broadcast, to_one

BAM_GAP_S = 0.05
STOP_LAPSES_S = 6.0
"""A DM13 stop without a hold lapses after so long (SAE J1939-73, from memory)."""


@dataclass(slots=True)
class Played:
    """An outing as it was played: its frames, and what the truth is made of."""

    trace: Trace
    frames: Frames
    cycle: KeyCycle
    held: dict[int, list[Held]]
    """Spells of each fault, by its index in `faults`."""
    reports: dict[str, list[tuple[int, Report]]]
    """DM1 messages of each controller that came through, with the instant of each one's first
    frame."""
    claimed: set[str] = field(default_factory=set)
    """Controllers whose address claim was sent."""
    answered: set[tuple[str, int]] = field(default_factory=set)
    """Controller and group of each request that was answered with data."""
    told: set[Told] = field(default_factory=set)
    """What answers listed."""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault that could be: scripted ones first, then what controllers watch."""
        return self.cycle.faults

    def stores(self) -> dict[tuple[str, str], Store]:
        """Return what the controllers keep after it: the next outing's `stores`."""
        return self.cycle.stores_after()


def play(outing: Outing, seed: int) -> Played:
    """Play an outing: the same seed gives the same frames, bit for bit.

    Raises KeyError when the script names a controller that is not there, and ValueError for an
    outing without an engine.
    """
    return _Player(Speaker(live_through(outing, seed), seed), outing.zero_us).play()


class Speaker:
    """Packs what controllers send in one key cycle: single messages and whole series."""

    def __init__(self, cycle: KeyCycle, seed: int) -> None:
        self.cycle = cycle
        self.outing = cycle.outing
        self.trace = cycle.trace
        self.rng = np.random.default_rng((seed, 1))

    def step(self, times: F64) -> I64:
        """Return the step of the trace at each instant (s)."""
        last = len(self.trace.time_s) - 1
        return np.minimum((times / STEP_S).astype(np.int64), last)

    def words(self, controller: Controller, group: Group, times: F64) -> U64:
        """Pack one group at the given instants (s), with the upsets that fall on them."""
        step = self.step(times)
        values: dict[int, F64] = {}
        for spn in group.spns:
            value = self.cycle.series(controller, spn)[step]
            for upset in self.outing.upsets:
                if upset.controller == controller.key and upset.spn == spn:
                    for first, last in upset.windows:
                        value = np.where((times >= first) & (times < last), upset.value, value)
            values[spn] = value
        return pack_words(group.pgn, values, len(times))

    def group_at(self, controller: Controller, pgn: int, at_s: float) -> bytes | None:
        """Pack a group of a controller at one instant; None: it does not send it."""
        for group in controller.groups:
            if group.pgn == pgn:
                word = self.words(controller, group, np.array([at_s]))
                return int(word[0]).to_bytes(8, "little")
        return None

    def periodic(self, controller: Controller, life: Life) -> Iterator[tuple[F64, int, U64]]:
        """Return what a controller sends by itself in one stretch: instants (s), identifier, words.

        What a DM13 has stopped, comes before the recording or does not pass a logger is left out.
        """
        begin, end = max(life[0], float(self.outing.lead_s)), life[1]
        thinned_s = self.outing.thinned_s
        quiet = self.quiet(controller)
        for number, group in enumerate(controller.groups):
            if group.period_s > 0.0:
                first = 0.03 + (number * 0.0137) % min(group.period_s, 0.25)
                times = instants(self.rng, begin, end, group.period_s, first)
                times = _thinned(_outside(times, quiet), thinned_s)
                ident = identifier(group.priority, group.pgn, controller.address)
                yield times, ident, self.words(controller, group, times)
        for one in () if thinned_s else controller.proprietary:
            times = instants(self.rng, begin, end, one.period_s, 0.05)
            since = np.arange(len(times), dtype=np.int64)
            if one.destination == TO_ALL:
                kept = _inside(times, quiet)
                times, since = times[~kept], since[~kept]
            words = own_words(self.trace, controller, one, self.step(times), since)
            yield times, identifier(6, one.pgn, controller.address, one.destination), words
        if controller.clock:
            times = _outside(instants(self.rng, begin, end, 10.0, 1.5), quiet)
            yield times, identifier(6, CLOCK, controller.address), self._time_of_day(times)

    def quiet(self, controller: Controller) -> list[Window]:
        """Return when DM13 has stopped a controller's broadcasts."""
        if not self.cycle.manner(controller).hears_stop:
            return []
        return stopped(
            [
                (one.at_s, one.stop, one.hold)
                for one in self.outing.hushes
                if one.channel == controller.channel
            ]
        )

    def _time_of_day(self, times: F64) -> U64:
        """Pack the time of day in UTC (SAE J1939-71 TD)."""
        zero_us = from_iso(self.outing.started) - self.outing.lead_s * SECOND_US
        truly_us = zero_us + np.rint(times * 1e6).astype(np.int64)
        moment = truly_us.astype("datetime64[us]")
        day = moment.astype("datetime64[D]")
        month = moment.astype("datetime64[M]")
        second = (truly_us // 1_000_000) % 86_400
        values = {
            959: (second % 60).astype(np.float64),
            960: (second // 60 % 60).astype(np.float64),
            961: (second // 3600).astype(np.float64),
            963: (month.astype(np.int64) % 12 + 1).astype(np.float64),
            # Four quarters a day: 0.25 to 1.00 are the first of the month.
            962: (day - month.astype("datetime64[D]")).astype(np.float64) + 0.75,
            964: month.astype("datetime64[Y]").astype(np.float64) + 1970.0,
            1601: np.zeros(len(times)),
            1602: np.zeros(len(times)),
        }
        return pack_words(CLOCK, values, len(times))

    # Diagnostic messages

    def reports(self, controller: Controller, busy: Sequence[Window] = ()) -> list[Report]:
        """Plan the DM1 messages of a whole outing; it broadcasts something else when `busy`."""
        held = self.cycle.held(controller.key)
        standing = [one for one in self.outing.standing if one.controller == controller.key]
        key_off = self.outing.key_off_s
        planned: list[Report] = []
        for begin, end, boots in self.cycle.lives(controller):
            manner = controller.dm1
            if manner == "at_key_on" and not boots:
                manner = "while_active"
            until = end if key_off is None else min(end, key_off + 0.35)
            first = (0.35 if manner == "always" else 2.2) if boots else 0.017 * controller.address
            if manner == "while_active":
                first = min(first, 0.1)
            planned += plan_reports(
                manner,
                (begin, until),
                held,
                standing,
                first_after_s=min(first, 0.9) if manner != "at_key_on" else first,
                bam_s=BAM_GAP_S,
                quiet=self.quiet(controller),
                busy=busy,
            )
        return planned

    def report(self, controller: Controller, report: Report, tag: int = -1) -> list[Event]:
        """Pack one DM1 message, single or by transport."""
        codes = []
        for spell in report.listed:
            fault = self.cycle.faults[spell.fault]
            before = fault.count_before if spell.before is None else spell.before
            count = before
            if spell.nth > 0:
                count = count_sent(controller.count_steps, before, spell.nth)
            codes.append(dtc_bytes(fault.spn, fault.fmi, count, controller.method))
        payload = diagnostic_payload(report.lamps, codes, old_flash=controller.old_flash)
        at_us, address, channel = round(report.at_s * 1e6), controller.address, controller.channel
        if len(payload) > 8:
            gap_us = round(BAM_GAP_S * 1e6)
            return broadcast(at_us, address, DM1, payload, gap_us=gap_us, tag=tag, channel=channel)
        return [Event(at_us, identifier(6, DM1, address), payload, tag, channel=channel)]


def stopped(commands: list[tuple[float, bool, bool]]) -> list[Window]:
    """Return when broadcasts are stopped by DM13 commands: (instant, stop, hold), in order."""
    windows: list[Window] = []
    for at_s, stop, hold in sorted(commands):
        standing = bool(windows) and windows[-1][0] <= at_s < windows[-1][1]
        if stop and not standing and not hold:
            windows.append((at_s, at_s + STOP_LAPSES_S))
        elif stop and standing:
            windows[-1] = (windows[-1][0], at_s + STOP_LAPSES_S)
        elif not stop and standing:
            windows[-1] = (windows[-1][0], at_s)
    return windows


def _inside(times: F64, windows: list[Window]) -> Flags:
    flags = np.zeros(len(times), np.bool_)
    for first, last in windows:
        flags |= (times >= first) & (times < last)
    return flags


def _outside(times: F64, windows: list[Window]) -> F64:
    return times[~_inside(times, windows)]


def _thinned(times: F64, each_s: float) -> F64:
    """Return the first instant in each so many seconds; 0: all of them."""
    if each_s <= 0.0 or not len(times):
        return times
    turn = np.floor(times / each_s)
    return times[np.diff(turn, prepend=turn[0] - 1.0) > 0.0]


def gathered(speaker: Speaker) -> Frames:
    """Return all that the controllers send by themselves but DM1, from the outing's zero.

    Address claims at boot are with it, and what a bad bus loses and adds.
    """
    player = _Player(speaker, 0)
    player.traffic()
    frames, _ = player.put_in_order()
    return frames


class _Player:
    """The work of one recording, controller by controller."""

    def __init__(self, speaker: Speaker, started_us: int) -> None:
        self.speaker = speaker
        self.cycle = speaker.cycle
        self.outing = speaker.outing
        self.trace = speaker.trace
        self.started_us = started_us
        self.answering = Answering(self.cycle, speaker.group_at)
        self.bus = Bus()
        self.tags = itertools.count()
        self.claims: dict[int, str] = {}
        """Controller of each claim, by its tag."""
        self.planned: dict[str, list[tuple[int, Report]]] = {}
        self.busy: dict[str, list[Window]] = {}
        self.states: dict[str, BusState] = {}
        if self.trace.plight != HEALTHY:
            channels = {one.channel for _, one in self.outing.controllers()}
            self.states = {one: bus_state(self.trace, one) for one in sorted(channels)}

    def play(self) -> Played:
        """Let everyone send, then put it all in order.

        Requests come first: a clear changes what is reported after it.
        """
        tool = self.outing.tool
        if tool is not None:
            self.bus.add_events([claim(round(tool.from_s * 1e6), tool.address, tool.name)])
        asked: list[Ask | ClearOne] = [*self.outing.asks, *self.outing.clears]
        for ask in sorted(asked, key=lambda one: one.at_s):
            if isinstance(ask, Ask):
                self._ask(ask)
            else:
                self._clear_one(ask)
        for hush in self.outing.hushes:
            payload = dm13(stop=hush.stop, hold=hush.hold)
            at_us = round(hush.at_s * 1e6)
            self.bus.add_events([dm13_event(at_us, hush.asker, payload, channel=hush.channel)])
        self.traffic()
        for _, controller in self.outing.controllers():
            self._report(controller)
        frames, sent = self.put_in_order()
        reports = {
            key: [(sent[tag], report) for tag, report in few if tag in sent]
            for key, few in self.planned.items()
        }
        claimed = {key for tag, key in self.claims.items() if tag in sent}
        held = {index: list(found.held) for index, found in self.cycle.found.items()}
        return Played(
            self.trace, frames, self.cycle, held, reports, claimed, self.answering.answered,
            self.answering.told,
        )  # fmt: skip

    def traffic(self) -> None:
        """Send what goes out by itself, but for DM1."""
        for _, controller in self.outing.controllers():
            for life in self.cycle.lives(controller):
                if life[2]:
                    self._claim(controller, round(life[0] * 1e6))
                for times, ident, words in self.speaker.periodic(controller, life):
                    self.bus.add_words(controller.channel, times, ident, words)

    def put_in_order(self) -> tuple[Frames, dict[int, int]]:
        """Order the frames, with what a bad bus takes and adds."""
        errors: dict[str, I64] = {}
        if any(_is_bad(state) for state in self.states.values()):
            self._babble()

            def keeps(channel: str, time_us: I64, ident: U32) -> Flags:
                here = disturbed(
                    self.states[channel], time_us, (ident & 0xFF).astype(np.int64),
                    self._mute(channel), (self.trace.noise_seed, channel),
                )  # fmt: skip
                errors[channel] = here.errors_us
                return here.keep

            self.bus.keeps = keeps
        outing = self.outing
        frames, sent = self.bus.frames(self.started_us, float(outing.seconds), float(outing.lead_s))
        for channel, instants_us in errors.items():
            index = frames.channels.index(channel)
            seen = instants_us[instants_us >= outing.lead_s * SECOND_US]
            frames = with_errors(frames, index, seen + self.started_us)
        return frames, sent

    def _mute(self, channel: str) -> dict[int, Flags]:
        mute = self.states[channel].mute
        return {
            one.address: mute[one.key]
            for _, one in self.outing.controllers()
            if one.channel == channel and one.key in mute
        }

    def _babble(self) -> None:
        for _, one in self.outing.controllers():
            rate = self.states[one.channel].babble_a_s.get(one.key)
            if rate is not None:
                times, words = senseless(rate, self.trace.noise_seed)
                self.bus.add_words(one.channel, times, senseless_ident(one.address), words)

    def _claim(self, controller: Controller, at_us: int) -> None:
        tag = next(self.tags)
        self.claims[tag] = controller.key
        one = claim(at_us, controller.address, controller.name, controller.channel)
        self.bus.add_events([replace(one, tag=tag)])

    def _report(self, controller: Controller) -> None:
        """Send the DM1 messages of a whole outing."""
        busy = self.busy.get(controller.key, [])
        planned = [(next(self.tags), one) for one in self.speaker.reports(controller, busy)]
        self.bus.add_events(
            event
            for tag, report in planned
            for event in self.speaker.report(controller, report, tag)
        )
        self.planned[controller.key] = planned

    def _ask(self, ask: Ask) -> None:
        """Send a request and let those answer who are there."""
        at_us = round(ask.at_s * 1e6)
        self.bus.add_events([request(at_us, ask.asker, ask.asked, ask.pgn, ask.channel)])
        for reply in self.answering.replies(ask.asker, ask.asked, ask.pgn, ask.channel, ask.at_s):
            if reply.what == "claim":
                self._claim(reply.controller, at_us + round(reply.after_s * 1e6))
                continue
            to_all = ask.asked == TO_ALL
            events = events_of(reply, ask.asker, to_all, at_us)
            if to_all and len(events) > 1:
                self._broadcast(reply.controller.key, events)
            self.bus.add_events(events)

    def _broadcast(self, controller: str, events: list[Event]) -> None:
        """Put off a broadcast until the same controller's last one is over."""
        busy = self.busy.setdefault(controller, [])
        late_us = 0
        if busy and events[0].time_us < busy[-1][1] * 1e6:
            late_us = round(busy[-1][1] * 1e6) - events[0].time_us
        for place, one in enumerate(events):
            events[place] = replace(one, time_us=one.time_us + late_us)
        busy.append((events[0].time_us / 1e6, events[-1].time_us / 1e6 + BAM_GAP_S))

    def _clear_one(self, ask: ClearOne) -> None:
        """Send a DM22 and its answers."""
        at_us = round(ask.at_s * 1e6)
        ident = identifier(6, DM22, ask.asker, ask.asked)
        payload = dm22(17 if ask.active else 1, None, ask.spn, ask.fmi)
        self.bus.add_events([Event(at_us, ident, payload, channel=ask.channel)])
        for reply in self.answering.clear_one(
            ask.asker, ask.asked, ask.spn, ask.fmi, ask.active, ask.channel, ask.at_s
        ):
            self.bus.add_events(events_of(reply, ask.asker, False, at_us))


def _is_bad(state: BusState) -> bool:
    return bool(state.lost_share.any() or state.errors_a_s.any() or state.mute or state.babble_a_s)


def events_of(reply: Reply, asker: int, to_all: bool, asked_us: int) -> list[Event]:
    """Make the frames of one answer, both sides' where it goes by transport to the asker."""
    controller = reply.controller
    at_us = asked_us + round(reply.after_s * 1e6)
    address, channel = controller.address, controller.channel
    if reply.what == "claim":
        return [claim(at_us, address, controller.name, channel)]
    if reply.what == "control":
        return [acknowledgement(at_us, address, asker, reply.pgn, reply.control, channel)]
    destination = TO_ALL if to_all else asker
    if len(reply.payload) <= 8:
        ident = identifier(6, reply.pgn, address, destination)
        return [Event(at_us, ident, reply.payload, channel=channel)]
    if to_all:
        return broadcast(at_us, address, reply.pgn, reply.payload, channel=channel)
    return to_one(at_us, address, asker, reply.pgn, reply.payload, channel=channel)

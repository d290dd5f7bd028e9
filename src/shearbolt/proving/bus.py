"""From an outing to frames: what each controller sends, asks and answers, with its manners."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from shearbolt.model.frames import F64, U64, Frames
from shearbolt.model.instants import from_iso
from shearbolt.proving.columns import Bus, instants
from shearbolt.proving.controllers import CLOCK, Controller, Group, Proprietary
from shearbolt.proving.faults import (
    OFF,
    Fault,
    count_kept,
    count_sent,
    debounce,
    together,
)
from shearbolt.proving.layouts import pack_words
from shearbolt.proving.outing import Ask, Outing, on_until
from shearbolt.proving.packing import (
    ADDRESS_CLAIM,
    DM1,
    DM2,
    DM4,
    TO_ALL,
    Event,
    acknowledgement,
    claim,
    diagnostic_payload,
    dtc_bytes,
    freeze_frame,
    identifier,
    request,
)
from shearbolt.proving.readings import READINGS
from shearbolt.proving.reports import Held, Report, plan_reports
from shearbolt.proving.trace import STEP_S, Trace, simulate
from shearbolt.proving.transport import broadcast, to_one

BAM_GAP_S = 0.05
_REFUSED = 1


@dataclass(slots=True)
class Played:
    """An outing as it was played: its frames, and what the truth is made of."""

    trace: Trace
    frames: Frames
    held: dict[int, list[Held]]
    """Spells of each fault, by its index in the outing."""
    reports: dict[str, list[tuple[int, Report]]]
    """DM1 messages of each controller, with the instant of each one's first frame."""
    claimed: set[str] = field(default_factory=set)
    """Controllers whose address claim was sent."""
    answered: set[tuple[str, int]] = field(default_factory=set)
    """Controller and group of each request that was answered with data."""
    told_again: set[tuple[int, str]] = field(default_factory=set)
    """Faults of the outing (by index) that an answer listed: 'dm2' or 'dm4'."""


def play(outing: Outing, seed: int) -> Played:
    """Play an outing: the same seed gives the same frames, bit for bit.

    Raises KeyError when the script names a controller that is not there.
    """
    if outing.machine.build is None:
        raise ValueError("an outing needs a machine with an engine")
    rng = np.random.default_rng(seed)
    trace = simulate(outing.machine.build, outing.day, outing.phases, rng)
    return _Player(outing, trace, rng).play()


class _Player:
    """The work of one outing, controller by controller."""

    def __init__(self, outing: Outing, trace: Trace, rng: np.random.Generator) -> None:
        self.outing = outing
        self.trace = trace
        self.rng = rng
        self.bus = Bus()
        self.tags = itertools.count()
        self.claimed: set[str] = set()
        self.answered: set[tuple[str, int]] = set()
        self.told_again: set[tuple[int, str]] = set()
        self.planned: dict[str, list[tuple[int, Report]]] = {}
        self.started_us = 0 if outing.relative else from_iso(outing.started)
        self.held = {i: self._spells(i, one) for i, one in enumerate(outing.faults)}

    def play(self) -> Played:
        """Let everyone send, then put it all in order."""
        for _, controller in self.outing.controllers():
            for life in self.outing.lives(controller):
                self._live(controller, *life)
            self._report(controller)
        self._use_tool()
        for ask in self.outing.asks:
            self._ask(ask)
        frames, sent = self.bus.frames(self.started_us, float(self.outing.seconds))
        reports = {
            key: [(sent[tag], report) for tag, report in few if tag in sent]
            for key, few in self.planned.items()
        }
        return Played(
            self.trace, frames, self.held, reports, self.claimed, self.answered, self.told_again
        )

    def _spells(self, index: int, fault: Fault) -> list[Held]:
        """Return the spells of one fault: watched with the key on only."""
        watched = fault.watch(self.trace)[: on_until(self.trace)]
        spells = debounce(watched, fault.set_s, fault.heal_s)
        return [
            Held(index, nth, set_s, heal_s, fault.lamps)
            for nth, (set_s, heal_s) in enumerate(spells, start=1)
        ]

    # What goes out by itself

    def _live(self, controller: Controller, begin: float, end: float, boots: bool) -> None:
        """Send one stretch of life: the claim, then the periodic groups."""
        if boots:
            self._claim(controller, begin)
        for number, group in enumerate(controller.groups):
            if group.period_s > 0.0:
                first = 0.03 + (number * 0.0137) % min(group.period_s, 0.25)
                times = instants(self.rng, begin, end, group.period_s, first)
                ident = identifier(group.priority, group.pgn, controller.address)
                words = self._words(controller, group, times)
                self.bus.add_words(controller.channel, times, ident, words)
        for one in controller.proprietary:
            times = instants(self.rng, begin, end, one.period_s, 0.05)
            ident = identifier(6, one.pgn, controller.address, one.destination)
            self.bus.add_words(controller.channel, times, ident, self._own_words(one, times))
        if controller.clock:
            self._tell_time(controller, instants(self.rng, begin, end, 10.0, 1.5))

    def _claim(self, controller: Controller, at_s: float) -> None:
        self.claimed.add(controller.key)
        at_us = round(at_s * 1e6)
        event = claim(at_us, controller.address, controller.name, controller.channel)
        self.bus.add_events([event])

    def _words(self, controller: Controller, group: Group, times: F64) -> U64:
        """Pack one group at the given instants (s), with the upsets that fall on them."""
        step = np.minimum((times / STEP_S).astype(np.int64), len(self.trace.time_s) - 1)
        values: dict[int, F64] = {}
        for spn in group.spns:
            series = np.asarray(READINGS[spn](self.trace), np.float64)
            value = series[step] if series.ndim else np.full(len(times), float(series))
            for upset in self.outing.upsets:
                if upset.controller == controller.key and upset.spn == spn:
                    for first, last in upset.windows:
                        value = np.where((times >= first) & (times < last), upset.value, value)
            values[spn] = value
        return pack_words(group.pgn, values, len(times))

    def _own_words(self, one: Proprietary, times: F64) -> U64:
        """Fill a maker's own group: a counter, two moving values, a state and constants."""
        count = len(times)
        step = np.minimum((times / STEP_S).astype(np.int64), len(self.trace.time_s) - 1)
        moving = np.rint(self.trace.engine_rpm[step] * 1.7).astype(np.uint64) & np.uint64(0xFFFF)
        other = np.rint(self.trace.load_pct[step] * 2.0).astype(np.uint64)
        counter = np.arange(count, dtype=np.uint64) % np.uint64(16)
        state = (self.trace.pto[step].astype(np.uint64) << np.uint64(4)) | counter
        fixed = np.uint64(0xFFFF_0000_0000_0000 | (one.pgn & 0xFF) << 40)
        word: U64 = fixed | state | moving << np.uint64(8) | other << np.uint64(24)
        return word

    def _tell_time(self, controller: Controller, times: F64) -> None:
        """Send the time of day in UTC (SAE J1939-71 TD)."""
        truly_us = from_iso(self.outing.started) + np.rint(times * 1e6).astype(np.int64)
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
        ident = identifier(6, CLOCK, controller.address)
        words = pack_words(CLOCK, values, len(times))
        self.bus.add_words(controller.channel, times, ident, words)

    # Diagnostic messages

    def _faults_of(self, controller: Controller) -> list[Held]:
        return [
            spell
            for index, fault in enumerate(self.outing.faults)
            if fault.controller == controller.key
            for spell in self.held[index]
        ]

    def _code(self, controller: Controller, index: int, count: int) -> bytes:
        fault = self.outing.faults[index]
        return dtc_bytes(fault.spn, fault.fmi, count, controller.method)

    def _report(self, controller: Controller) -> None:
        """Send the DM1 messages of a whole outing, single or by transport."""
        held = self._faults_of(controller)
        standing = [one for one in self.outing.standing if one.controller == controller.key]
        planned: list[tuple[int, Report]] = []
        key_off = self.outing.key_off_s
        for begin, end, boots in self.outing.lives(controller):
            manner = controller.dm1
            if manner == "at_key_on" and not boots:
                manner = "while_active"
            until = end if key_off is None else min(end, key_off + 0.35)
            first = (0.35 if manner == "always" else 2.2) if boots else 0.017 * controller.address
            if manner == "while_active":
                first = min(first, 0.1)
            for report in plan_reports(
                manner,
                (begin, until),
                held,
                standing,
                first_after_s=min(first, 0.9) if manner != "at_key_on" else first,
                bam_s=BAM_GAP_S,
            ):
                tag = next(self.tags)
                planned.append((tag, report))
                self._send_report(controller, report, tag)
        self.planned[controller.key] = planned

    def _send_report(self, controller: Controller, report: Report, tag: int) -> None:
        codes = []
        for spell in report.listed:
            before = self.outing.faults[spell.fault].count_before
            count = count_sent(controller.count_steps, before, spell.nth)
            codes.append(self._code(controller, spell.fault, count))
        payload = diagnostic_payload(report.lamps, codes, old_flash=controller.old_flash)
        at_us = round(report.at_s * 1e6)
        if len(payload) > 8:
            gap_us = round(BAM_GAP_S * 1e6)
            address, channel = controller.address, controller.channel
            self.bus.add_events(
                broadcast(at_us, address, DM1, payload, gap_us=gap_us, tag=tag, channel=channel)
            )
        else:
            ident = identifier(6, DM1, controller.address)
            self.bus.add_events([Event(at_us, ident, payload, tag, channel=controller.channel)])

    def _remembered(self, controller: Controller, at_s: float) -> bytes:
        """Return the DM2 payload: old memories, and what healed before `at_s`."""
        codes = [
            dtc_bytes(one.spn, one.fmi, one.count, controller.method)
            for one in self.outing.memories
            if one.controller == controller.key
        ]
        active = []
        for index, fault in enumerate(self.outing.faults):
            if fault.controller != controller.key:
                continue
            begun = [one for one in self.held[index] if one.set_s <= at_s]
            healed = [one for one in begun if one.heal_s is not None and one.heal_s <= at_s]
            if len(begun) > len(healed):
                active.append(fault.lamps)
            elif begun or fault.count_before:
                steps = controller.count_steps
                count = count_kept(steps, fault.count_before, len(begun), len(healed))
                codes.append(self._code(controller, index, count))
                self.told_again.add((index, "dm2"))
        lamps = together(active) if active else OFF
        return diagnostic_payload(lamps, codes, old_flash=controller.old_flash)

    def _frozen(self, controller: Controller, at_s: float) -> bytes:
        """Return the DM4 payload: one frame for each fault of this key cycle, set before `at_s`."""
        trace, frames = self.trace, b""
        for spell in self._faults_of(controller):
            if spell.nth > 1 or spell.set_s > at_s:
                continue
            self.told_again.add((spell.fault, "dm4"))
            step = int(spell.set_s / STEP_S)
            before = self.outing.faults[spell.fault].count_before
            count = count_sent(controller.count_steps, before, 1)
            frames += freeze_frame(
                self._code(controller, spell.fault, count),
                torque_mode=int(trace.running[step]),
                boost_kpa=float(trace.boost_kpa[step]),
                engine_rpm=float(trace.engine_rpm[step]),
                load_pct=float(trace.load_pct[step]),
                coolant_c=float(trace.coolant_c[step]),
                speed_km_h=float(trace.speed_km_h[step]),
            )
        return frames or bytes(5) + b"\xff\xff\xff"

    # Asking and answering

    def _use_tool(self) -> None:
        tool = self.outing.tool
        if tool is not None:
            self.bus.add_events([claim(round(tool.from_s * 1e6), tool.address, tool.name)])

    def _ask(self, ask: Ask) -> None:
        """Send a request and let those answer who are there."""
        at_us = round(ask.at_s * 1e6)
        self.bus.add_events([request(at_us, ask.asker, ask.asked, ask.pgn, ask.channel)])
        there = [
            one
            for _, one in self.outing.controllers()
            if ask.asked in (TO_ALL, one.address)
            and one.channel == ask.channel
            and one.address != ask.asker
            and any(begin + 0.05 <= ask.at_s < end for begin, end, _ in self.outing.lives(one))
        ]
        for number, controller in enumerate(there):
            self.bus.add_events(self._answer(controller, ask, at_us + 9_000 + 2_100 * number))

    def _answer(self, controller: Controller, ask: Ask, at_us: int) -> Iterator[Event]:
        channel, address = controller.channel, controller.address
        if ask.pgn == ADDRESS_CLAIM:
            self._claim(controller, at_us / 1e6)
            return
        payload = self._payload(controller, ask.pgn, at_us / 1e6)
        if payload is None:
            if ask.asked != TO_ALL:
                yield acknowledgement(at_us, address, ask.asker, ask.pgn, _REFUSED, channel)
            return
        self.answered.add((controller.key, ask.pgn))
        if len(payload) <= 8:
            yield Event(at_us, identifier(6, ask.pgn, address), payload, channel=channel)
        elif ask.asked == TO_ALL:
            yield from broadcast(at_us, address, ask.pgn, payload, channel=channel)
        else:
            yield from to_one(at_us, address, ask.asker, ask.pgn, payload, channel=channel)

    def _payload(self, controller: Controller, pgn: int, at_s: float) -> bytes | None:
        """Return what a controller answers to a request, None: it does not have that."""
        if pgn == DM2 and controller.remembers:
            return self._remembered(controller, at_s)
        if pgn == DM4 and controller.freeze_frames:
            return self._frozen(controller, at_s)
        if pgn in controller.texts:
            return controller.texts[pgn]
        for group in controller.groups:
            if group.pgn == pgn:
                word = self._words(controller, group, np.array([at_s]))
                return int(word[0]).to_bytes(8, "little")
        return None

"""A simulated machine that lives: frames as they come due, and answers to what it hears.

No input, no output and no clock in here: `due` gives what is to be sent up to an instant, `hear`
takes what others sent. Instants are seconds from the outing's zero. `live_bus` puts it on a bus.
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import dataclass, field, replace

import numpy as np

from shearbolt.model.controller import Name
from shearbolt.model.frames import ERROR, Frames
from shearbolt.proving.answering import Answering, Reply
from shearbolt.proving.bus import BAM_GAP_S, Speaker, gathered, stopped
from shearbolt.proving.controllers import Controller
from shearbolt.proving.cycle import KeyCycle, live_through
from shearbolt.proving.diagnostic_packing import DM11, DM13, DM22, dm13, dm13_event, dm22, dm22_code
from shearbolt.proving.faults import Window
from shearbolt.proving.outing import Outing
from shearbolt.proving.packing import (
    ADDRESS_CLAIM,
    REQUEST,
    TO_ALL,
    Event,
    acknowledgement,
    claim,
    identifier,
    request,
)
from shearbolt.proving.transfer import Transfer
from shearbolt.proving.transport import CONNECTION, broadcast, to_one

NULL_ADDRESS = 254
_FREE_ADDRESSES = range(128, 248)
_MICROSECONDS = 1e6
ERROR_FRAME = -3
"""Tag of an error frame, which a bus library sends in its own way."""
_REST = -2
"""Tag of all frames of a message but the first."""


@dataclass(slots=True)
class LiveMachine:
    """One outing of one machine, played as it comes."""

    outing: Outing
    seed: int
    cycle: KeyCycle = field(init=False)
    answering: Answering = field(init=False)
    heard: int = 0
    """Frames of others that were taken notice of."""
    _speaker: Speaker = field(init=False)
    _traffic: Frames = field(init=False)
    _next: int = 0
    _queue: list[tuple[int, int, Event, bool]] = field(default_factory=list)
    """Instant, order, frame, and whether the outing's script has it: the machine hears it too."""
    _order: itertools.count[int] = field(default_factory=itertools.count)
    _reports: dict[str, list[Event]] = field(default_factory=dict)
    """DM1 frames still to come, by controller."""
    _busy: dict[str, list[Window]] = field(default_factory=dict)
    """When a controller broadcasts an answer."""
    _transfers: dict[tuple[str, int, int], list[Transfer]] = field(default_factory=dict)
    """By channel, source and destination; the first is under way, the others wait."""
    _commands: list[tuple[float, bool, bool]] = field(default_factory=list)
    _quiet: list[Window] = field(default_factory=list)
    _address: dict[str, int] = field(default_factory=dict)
    _mute: set[str] = field(default_factory=set)
    """Controllers that lost their address and could take no other."""

    def __post_init__(self) -> None:
        self.cycle = live_through(self.outing, self.seed)
        self._speaker = Speaker(self.cycle, self.seed)
        self._traffic = gathered(self._speaker)
        self._address = {one.key: one.address for _, one in self.outing.controllers()}
        self.answering = Answering(self.cycle, self._speaker.group_at, self.address_of)
        for _, one in self.outing.controllers():
            self._plan(one, 0.0)
        self._script()

    def _script(self) -> None:
        """Put the outing's own requests, clears and stops in the queue."""
        outing, events = self.outing, []
        if outing.tool is not None:
            at_us = round(outing.tool.from_s * _MICROSECONDS)
            events.append(claim(at_us, outing.tool.address, outing.tool.name))
        for ask in outing.asks:
            at_us = round(ask.at_s * _MICROSECONDS)
            events.append(request(at_us, ask.asker, ask.asked, ask.pgn, ask.channel))
        for one in outing.clears:
            ident = identifier(6, DM22, one.asker, one.asked)
            payload = dm22(17 if one.active else 1, None, one.spn, one.fmi)
            at_us = round(one.at_s * _MICROSECONDS)
            events.append(Event(at_us, ident, payload, channel=one.channel))
        for hush in outing.hushes:
            payload = dm13(stop=hush.stop, hold=hush.hold)
            at_us = round(hush.at_s * _MICROSECONDS)
            events.append(dm13_event(at_us, hush.asker, payload, channel=hush.channel))
        self._put(events, scripted=True)

    @property
    def seconds(self) -> float:
        """How long the outing lasts."""
        return float(self.outing.seconds)

    @property
    def channels(self) -> tuple[str, ...]:
        """The buses that the machine speaks on."""
        return tuple(dict.fromkeys(one.channel for _, one in self.outing.controllers()))

    def address_of(self, controller: Controller) -> int:
        """Return the address that a controller holds now; 254 when it has none."""
        if controller.key in self._mute:
            return NULL_ADDRESS
        return self._address[controller.key]

    # What is to be sent

    def next_s(self) -> float:
        """Return when the next frame comes due, or a transfer's time is over; the end at last."""
        times = [self.seconds]
        if self._next < len(self._traffic):
            times.append(int(self._traffic.time_us[self._next]) / _MICROSECONDS)
        if self._queue:
            times.append(self._queue[0][0] / _MICROSECONDS)
        times += [few[0].time_us / _MICROSECONDS for few in self._reports.values() if few]
        times += [few[0].deadline_us / _MICROSECONDS for few in self._transfers.values()]
        return min(times)

    def due(self, now_s: float) -> list[Event]:
        """Return what is sent up to an instant, in the order of time."""
        now_us = int(now_s * _MICROSECONDS)
        self._give_up(now_us)
        out = self._traffic_until(now_us)
        for key, few in self._reports.items():
            count = next((i for i, one in enumerate(few) if one.time_us > now_us), len(few))
            out += self._allowed(few[:count])
            self._reports[key] = few[count:]
        while self._queue and self._queue[0][0] <= now_us:
            _, _, event, scripted = heapq.heappop(self._queue)
            out.append(event)
            if scripted:
                self._hear(event.time_us / _MICROSECONDS, event, scripted=True)
        return sorted(out, key=lambda one: one.time_us)

    def _traffic_until(self, now_us: int) -> list[Event]:
        frames = self._traffic
        end = int(np.searchsorted(frames.time_us, now_us, side="right"))
        rows = range(self._next, end)
        self._next = max(self._next, end)
        events = [
            Event(
                int(frames.time_us[row]),
                int(frames.ident[row]),
                int(frames.word[row]).to_bytes(8, "little")[: int(frames.length[row])],
                ERROR_FRAME if frames.flags[row] & ERROR else -1,
                extended=not frames.flags[row] & ERROR,
                channel=frames.channels[frames.channel[row]],
            )
            for row in rows
        ]
        return self._allowed(events)

    def _allowed(self, events: list[Event]) -> list[Event]:
        """Leave out what DM13 stopped and who has no address; give the others their address."""
        if not (self._quiet or self._moved):
            return events
        out = []
        for one in events:
            sender = self._sender(one) if one.extended else None
            if sender is None:
                out.append(one)
            elif sender.key not in self._mute and not self._hushed(sender, one):
                out.append(replace(one, ident=one.ident & ~0xFF | self.address_of(sender)))
        return out

    @property
    def _moved(self) -> bool:
        return bool(self._mute) or any(
            self._address[one.key] != one.address for _, one in self.outing.controllers()
        )

    def _sender(self, event: Event) -> Controller | None:
        for _, one in self.outing.controllers():
            if one.channel == event.channel and one.address == event.ident & 0xFF:
                return one
        return None

    def _hushed(self, controller: Controller, event: Event) -> bool:
        """Tell whether DM13 stops a broadcast; claims and words to one are none."""
        specific = event.ident >> 16 & 0xFF < 240
        claims = event.ident >> 16 & 0xFF == ADDRESS_CLAIM >> 8
        if claims or (specific and event.ident >> 8 & 0xFF != TO_ALL):
            return False
        at_s = event.time_us / _MICROSECONDS
        quiet = any(first <= at_s < last for first, last in self._quiet)
        return quiet and self.cycle.manner(controller).hears_stop

    def _put(self, events: list[Event], scripted: bool = False) -> None:
        for one in events:
            heapq.heappush(self._queue, (one.time_us, next(self._order), one, scripted))

    def _begun(self, controller: Controller) -> list[Event]:
        """Return the frames still to come of a DM1 message whose first frame is out."""
        few = self._reports.get(controller.key, [])
        return list(itertools.takewhile(lambda one: one.tag == _REST, few))

    def _plan(self, controller: Controller, from_s: float) -> None:
        """Plan the DM1 messages from an instant on; one that has begun is finished first."""
        begun = self._begun(controller)
        busy = list(self._busy.get(controller.key, []))
        if begun:
            busy.append((from_s, begun[-1].time_us / _MICROSECONDS + BAM_GAP_S))
        events = list(begun)
        for report in self._speaker.reports(controller, busy):
            frames = self._speaker.report(controller, report)
            if frames[0].time_us >= from_s * _MICROSECONDS:
                events += [frames[0], *(replace(one, tag=_REST) for one in frames[1:])]
        self._reports[controller.key] = sorted(events, key=lambda one: one.time_us)

    # What is heard

    def hear(self, at_s: float, event: Event) -> None:
        """Take a frame that someone else sent on one of the machine's buses."""
        if event.extended and self._hear(at_s, event, scripted=False):
            self.heard += 1

    def _hear(self, at_s: float, event: Event, scripted: bool) -> bool:
        """Act on a frame; tell whether it was one that concerns the machine."""
        group = event.ident >> 8 & 0x3FFFF
        if group >> 8 & 0xFF < 240:
            group &= 0x3FF00
        if group == REQUEST and len(event.data) >= 3:
            self._requested(at_s, event, scripted)
        elif group == CONNECTION and len(event.data) == 8:
            self._connected(at_s, event)
        elif group == DM22 and len(event.data) == 8 and event.data[0] in (1, 17):
            self._clear_one(at_s, event)
        elif group == DM13 and len(event.data) >= 4:
            self._hush(at_s, event)
        elif group == ADDRESS_CLAIM and len(event.data) == 8:
            self._claimed(at_s, event)
        else:
            return False
        return True

    def _requested(self, at_s: float, event: Event, scripted: bool) -> None:
        asker, asked = event.ident & 0xFF, event.ident >> 8 & 0xFF
        pgn = int.from_bytes(event.data[:3], "little")
        for reply in self.answering.replies(asker, asked, pgn, event.channel, at_s):
            self._answer(reply, asker, asked == TO_ALL, at_s, scripted)
            if reply.pgn == DM11 and reply.what == "control" and reply.control == 0:
                self._plan(reply.controller, at_s + reply.after_s)

    def _answer(
        self, reply: Reply, asker: int, to_all: bool, at_s: float, scripted: bool = False
    ) -> None:
        controller = reply.controller
        at_us = round((at_s + reply.after_s) * _MICROSECONDS)
        address, channel = self.address_of(controller), controller.channel
        destination = TO_ALL if to_all else asker
        if reply.what == "claim":
            self._put([claim(at_us, address, controller.name, channel)])
        elif reply.what == "control":
            self._put([acknowledgement(at_us, address, asker, reply.pgn, reply.control, channel)])
        elif len(reply.payload) <= 8:
            ident = identifier(6, reply.pgn, address, destination)
            self._put([Event(at_us, ident, reply.payload, channel=channel)])
        elif to_all:
            self._broadcast(controller, at_us, reply)
        elif scripted:
            # Nobody but the script asked: both sides' frames are its own.
            self._put(to_one(at_us, address, asker, reply.pgn, reply.payload, channel=channel))
        else:
            transfer = Transfer(
                address, asker, reply.pgn, reply.payload, channel,
                self.cycle.manner(controller).packets_at_once,
            )  # fmt: skip
            waiting = self._transfers.setdefault((channel, address, asker), [])
            waiting.append(transfer)
            if len(waiting) == 1:
                self._put(transfer.begin(at_us))

    def _broadcast(self, controller: Controller, at_us: int, reply: Reply) -> None:
        """Broadcast an answer once the controller's broadcast under way is over."""
        busy = self._busy.setdefault(controller.key, [])
        free_us = round(busy[-1][1] * _MICROSECONDS) if busy else 0
        begun = self._begun(controller)
        if begun:
            free_us = max(free_us, begun[-1].time_us + round(BAM_GAP_S * _MICROSECONDS))
        events = broadcast(
            max(at_us, free_us), self.address_of(controller), reply.pgn, reply.payload,
            channel=controller.channel,
        )  # fmt: skip
        first_s, last_s = (events[i].time_us / _MICROSECONDS for i in (0, -1))
        busy.append((first_s, last_s + BAM_GAP_S))
        self._put(events)
        self._plan(controller, at_us / _MICROSECONDS)

    def _connected(self, at_s: float, event: Event) -> None:
        """Take a connection message to one of the machine's controllers."""
        key = (event.channel, event.ident >> 8 & 0xFF, event.ident & 0xFF)
        waiting = self._transfers.get(key)
        if not waiting:
            return
        at_us = round(at_s * _MICROSECONDS) + 1_000
        self._put(waiting[0].hear(at_us, event.data))
        self._go_on(key, at_us)

    def _give_up(self, now_us: int) -> None:
        for key in list(self._transfers):
            self._put(self._transfers[key][0].tick(now_us))
            self._go_on(key, now_us)

    def _go_on(self, key: tuple[str, int, int], at_us: int) -> None:
        """Begin the next transfer between the same two when one is over."""
        waiting = self._transfers[key]
        if not waiting[0].over:
            return
        waiting.pop(0)
        if waiting:
            self._put(waiting[0].begin(at_us + 5_000))
        else:
            del self._transfers[key]

    def _clear_one(self, at_s: float, event: Event) -> None:
        spn, fmi = dm22_code(event.data)
        asker, asked = event.ident & 0xFF, event.ident >> 8 & 0xFF
        active = event.data[0] == 17
        for reply in self.answering.clear_one(asker, asked, spn, fmi, active, event.channel, at_s):
            self._answer(reply, asker, False, at_s)
            self._plan(reply.controller, at_s + reply.after_s)

    def _hush(self, at_s: float, event: Event) -> None:
        """Take a DM13: bits 2-1 of byte 1 for this network; a hold signal renews a stop."""
        command, hold = event.data[0] & 3, event.data[3] >> 4 != 0xF
        if command in (0, 1):
            self._commands.append((at_s, command == 0, hold))
            self._quiet = stopped(self._commands)

    # Addresses

    def _claimed(self, at_s: float, event: Event) -> None:
        """Defend an address, or give it up: the lower NAME keeps it (SAE J1939-81 4.4)."""
        address, other = event.ident & 0xFF, Name.from_bytes(event.data)
        at_us = round(at_s * _MICROSECONDS) + 2_000
        for _, one in self.outing.controllers():
            rival = one.channel == event.channel and self.address_of(one) == address
            if not rival or other == one.name or self.cycle.awake_s(one, at_s) is None:
                continue
            if other < one.name and not self._move(one, address):
                self._mute.add(one.key)
            self._put([claim(at_us, self.address_of(one), one.name, one.channel)])

    def _move(self, controller: Controller, lost: int) -> bool:
        """Take another address where the NAME says that it may; tell whether it could."""
        if not controller.name.self_configurable:
            return False
        taken = set(self._address.values()) | {lost}
        free = next((one for one in _FREE_ADDRESSES if one not in taken), None)
        if free is None:
            return False
        self._address[controller.key] = free
        return True

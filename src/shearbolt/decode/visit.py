"""All that a recording tells, gathered block by block: the content of a visit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable

from shearbolt.decode.answers import Answers
from shearbolt.decode.columns import BlockDecoder, DecodedBlock, GroupRun
from shearbolt.decode.heard import (
    CLOCK_GROUP,
    DM22,
    READ_SINGLY,
    count_requests,
    reports_by_sender,
    single_messages,
)
from shearbolt.decode.memory import SenderMemory
from shearbolt.decode.presence import Presence, Sender, Stretches
from shearbolt.decode.quiet import KEY_OFF_SPREAD_S, BroadcastStops, SenderQuiet, Silences
from shearbolt.decode.road import RoadTalk
from shearbolt.decode.running import Running
from shearbolt.decode.tally import Tally
from shearbolt.dictionary.merged import Dictionary
from shearbolt.kernels import Kernel
from shearbolt.model.controller import ControllerSeen, Name
from shearbolt.model.fault import Cleared, FaultSeen, LampSpell
from shearbolt.model.frames import Frames
from shearbolt.model.instants import SECOND_US
from shearbolt.model.message import BrokenSession, Message
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.model.visit import ClockSeen, RequestSeen, TransportSeen, VisitContent
from shearbolt.wire.broadcast_control import BROADCAST_CONTROL, read_dm13
from shearbolt.wire.claim import ADDRESS_CLAIMED, AddressBook, read_claim
from shearbolt.wire.clearing import ClearListener
from shearbolt.wire.clock import clock_us
from shearbolt.wire.diagnostics import DM1, FAULT_LISTS
from shearbolt.wire.identifier import NO_ADDRESS, TO_ALL
from shearbolt.wire.request import ACKNOWLEDGEMENT, REQUEST, read_request
from shearbolt.wire.transport import TRANSPORT_GROUPS

DM4, DM24, DM25, DM31 = 65229, 64950, 64951, 41728
NONE, LAST, EVERY = slice(0), slice(-1, None), slice(None)
KEY_OFF_SPREAD_US = KEY_OFF_SPREAD_S * SECOND_US
CLOCKS_KEPT = 2
FAST_S = 0.2
"""A group that comes five times a second tells to a fifth of a second when its sender stopped."""


class VisitBuilder:
    """Takes the decoded blocks of one recording and tells what the visit told."""

    def __init__(self, dictionary: Dictionary, time_base: TimeBase) -> None:
        self._dictionary = dictionary
        self._time_base = time_base
        self._tally = Tally()
        self._presence = Presence()
        self._running = Running()
        self._memories: dict[Sender, SenderMemory] = {}
        self._claims: dict[int, AddressBook] = {}
        self._claims_us: dict[int, list[int]] = {}
        self._stops = BroadcastStops()
        self._clears = ClearListener()
        self._cleared: list[Cleared] = []
        self._answers = Answers()
        self._road = RoadTalk()
        self._requests: Counter[tuple[int, int, int, int]] = Counter()
        self._complete: Counter[str] = Counter()
        self._broken: Counter[str] = Counter()
        self._clocks: list[ClockSeen] = []
        self._channels: tuple[str, ...] = ()
        self._first_us: int | None = None
        self._earliest_us = 0
        self._latest_us = 0

    def feed(self, block: DecodedBlock) -> None:
        """Take the next block."""
        frames = block.frames
        if not len(frames):
            return
        self._channels = frames.channels
        earliest, latest = int(frames.time_us.min()), int(frames.time_us.max())
        if self._first_us is None:
            self._first_us = int(frames.time_us[0])
            self._earliest_us, self._latest_us = earliest, latest
        self._earliest_us = min(self._earliest_us, earliest)
        self._latest_us = max(self._latest_us, latest)
        self._tally.feed(block)
        self._presence.feed(frames)
        self._road.feed(frames)
        self._broken.update(str(one.reason) for one in block.broken)
        self._complete.update(str(one.carried) for one in block.messages)
        for group in block.groups:
            self._running.feed(group)
        self._feed_reports(block)
        requests = None if self._clears.waiting else count_requests(block)
        if requests is not None:
            self._requests.update(requests)

        def wanted(group: GroupRun) -> slice:
            return self._wanted(group, counted=requests is not None)

        for message in single_messages(block, wanted):
            self._one(message)

    def _wanted(self, group: GroupRun, *, counted: bool) -> slice:
        """Say which messages of a group can tell more than those already heard."""
        if group.pgn == REQUEST and counted:
            return NONE
        if group.pgn == CLOCK_GROUP and len(self._clocks) == CLOCKS_KEPT:
            return NONE
        if self._answers.only_last(group.channel, group.source, group.pgn):
            return LAST
        return EVERY

    def _memory(self, sender: Sender) -> SenderMemory:
        return self._memories.setdefault(sender, SenderMemory())

    def _feed_reports(self, block: DecodedBlock) -> None:
        """Hand DM1 to its senders in the order of the file, as arrays where that can be."""
        for sender, run, messages in reports_by_sender(block):
            reports = self._memory(sender).reports
            if run is not None:
                reports.feed_words(run.time_us, run.word)
            reports.feed_messages(messages)

    def _one(self, message: Message) -> None:
        pgn = message.pgn
        sender = message.channel, message.source
        if pgn == ADDRESS_CLAIMED:
            claim = read_claim(message.source, message.payload)
            if claim is not None:
                self._claims_us.setdefault(message.channel, []).append(message.time_us)
                self._claims.setdefault(message.channel, AddressBook()).feed(message.time_us, claim)
        elif pgn == REQUEST:
            asked = read_request(message.payload)
            if asked is not None:
                self._requests[message.channel, message.source, message.destination, asked] += 1
                self._cleared.extend(self._clears.request(*self._ways(message), asked))
        elif pgn == ACKNOWLEDGEMENT:
            self._cleared.extend(
                self._clears.acknowledgement(*self._ways(message), message.payload)
            )
        elif pgn == DM22:
            self._cleared.extend(self._clears.clear_one(*self._ways(message), message.payload))
        elif pgn == BROADCAST_CONTROL:
            control = read_dm13(message.payload)
            if control is not None:
                self._stops.feed(message.time_us, message.channel, control)
        elif pgn == CLOCK_GROUP:
            shown_us = clock_us(message.payload) if len(self._clocks) < CLOCKS_KEPT else None
            if shown_us is not None:
                self._clocks.append(ClockSeen(message.time_us, shown_us))
        elif pgn in FAULT_LISTS and pgn != DM1:
            self._memory(sender).fault_list(FAULT_LISTS[pgn], message.payload, message.time_us)
        elif pgn == DM4:
            self._memory(sender).freeze_frames(message.payload, message.time_us)
        elif pgn == DM24:
            self._memory(sender).supported(message.payload)
        elif pgn == DM25:
            self._memory(sender).expanded_frames(message.payload, message.time_us)
        elif pgn == DM31:
            self._memory(sender).lamps_by_code(message.payload, message.time_us)
        self._answers.take(message)

    def _ways(self, message: Message) -> tuple[int, str, int, int]:
        return (
            message.time_us,
            self._channels[message.channel],
            message.source,
            message.destination,
        )

    def finish(
        self,
        left_open: Iterable[BrokenSession] = (),
        not_read: tuple[NotRead, ...] = (),
        doubts: tuple[str, ...] = (),
    ) -> VisitContent:
        """Tell the visit, once the last block was taken."""
        self._broken.update(str(one.reason) for one in left_open)
        self._road.finish()
        self._answers.finish()
        self._cleared.extend(self._clears.finish())
        return self._told(not_read, doubts)

    def so_far(self) -> VisitContent:
        """Tell the visit as far as it has come, as if it ended here; more blocks may follow.

        What waits for an answer (a clear, a tester's question) is not told yet.
        """
        return self._told((), ())

    def _told(self, not_read: tuple[NotRead, ...], doubts: tuple[str, ...]) -> VisitContent:
        channels = self._channels
        controllers: list[ControllerSeen] = []
        faults: list[FaultSeen] = []
        lamps: list[LampSpell] = []
        senders = {
            (channel, source)
            for channel, _, source in self._tally.beats
            if source not in (NO_ADDRESS, TO_ALL)
        }
        fast_until_us = self._fast_until_us()
        silences = Silences(
            self._presence, self._running, self._box, self._claims_us, fast_until_us,
            self._latest_us,
        )  # fmt: skip
        for sender in sorted(senders):
            seen, found, alone = self._sender(sender, silences)
            controllers.append(seen)
            faults.extend(found)
            lamps.extend(alone)
        road = self._road.told(channels)
        controllers.extend(road.controllers)
        return VisitContent(
            time_base=self._time_base,
            first_us=self._first_us or 0,
            earliest_us=self._earliest_us,
            latest_us=self._latest_us,
            frames=self._tally.frames,
            error_frames=self._tally.error_frames,
            remote_frames=self._tally.remote_frames,
            channels=channels,
            controllers=tuple(controllers),
            claims=tuple(
                held
                for channel, book in sorted(self._claims.items())
                for held in book.held(channels[channel])
            ),
            groups=self._tally.groups(channels, READ_SINGLY | TRANSPORT_GROUPS),
            other_ids=self._tally.other_ids(channels),
            signals=(*self._tally.signals(channels), *road.signals),
            requests=tuple(
                RequestSeen(channels[channel], asker, asked, pgn, count)
                for (channel, asker, asked, pgn), count in sorted(self._requests.items())
            ),
            transport=TransportSeen(
                tuple(sorted(self._complete.items())), tuple(sorted(self._broken.items()))
            ),
            clocks=tuple(self._clocks),
            answers=(*self._answers.told(channels), *road.answers),
            faults=(*faults, *road.faults),
            lamp_without_code=tuple(lamps),
            clears=tuple(sorted((*self._cleared, *road.clears), key=lambda one: one.at_us)),
            vins=(*self._answers.vins(channels), *road.vins),
            hours=self._running.hours(channels),
            pauses=tuple(self._presence.pauses),
            not_read=not_read,
            doubts=doubts,
        )

    def _sender(
        self, sender: Sender, silences: Silences
    ) -> tuple[ControllerSeen, list[FaultSeen], list[LampSpell]]:
        channel, address = sender
        beats = [
            beat for (on, _, source), beat in self._tally.beats.items() if (on, source) == sender
        ]
        first_us = min(beat.first_us for beat in beats)
        last_us = max(beat.last_us for beat in beats)
        alive = self._presence.senders.get(sender, Stretches())
        memory = self._memories.get(sender) or SenderMemory()
        reports = memory.reports
        quiet = SenderQuiet(
            alive,
            silences.of(sender),
            silences.key_offs_us(sender),
            self._latest_us,
            self._stops.on(channel),
        )
        manner = reports.manner(alive, max(quiet.key_offs_us, default=None))
        name = self._name(channel, address)
        seen = ControllerSeen(
            self._channels[channel],
            address,
            name,
            first_us,
            last_us,
            sum(beat.count for beat in beats),
            manner,
            reports.messages,
            reports.by_transport,
            reports.all_clear,
            self._after_run_s(sender, last_us),
            self._answers.vin_of(sender),
            self._answers.component_of(sender),
            self._answers.software_of(sender),
            *self._running.hours_of(sender),
        )
        found = memory.faults(
            self._channels[channel],
            address,
            self._dictionary,
            manner,
            quiet,
        )
        alone = [
            LampSpell(self._channels[channel], address, run.lamps, run.first_us, run.last_us)
            for run in reports.lamp_runs
        ]
        return seen, found, alone

    def _name(self, channel: int, address: int) -> Name | None:
        book = self._claims.get(channel)
        return None if book is None else book.holder(address)

    def _box(self, sender: Sender) -> Hashable:
        """Return the physical unit of a sender: one box may hold several NAMEs."""
        name = self._name(*sender)
        return sender if name is None else name.box

    def _last_heard(self) -> dict[Sender, int]:
        last: dict[Sender, int] = {}
        for (channel, _, source), beat in self._tally.beats.items():
            sender = channel, source
            last[sender] = max(last.get(sender, beat.last_us), beat.last_us)
        return last

    def _fast_until_us(self) -> dict[Sender, int]:
        """Return the last word of each sender that speaks several times a second."""
        until_us: dict[Sender, int] = {}
        for (channel, _, source), beat in self._tally.beats.items():
            if beat.period_s is not None and 0 < beat.period_s <= FAST_S and beat.count > 20:
                sender = channel, source
                until_us[sender] = max(until_us.get(sender, beat.last_us), beat.last_us)
        return until_us

    def _after_run_s(self, sender: Sender, last_us: int) -> float | None:
        """Return how much longer a sender spoke than the first to fall silent at key-off."""
        ends = [
            other_us
            for other, other_us in self._last_heard().items()
            if other[0] == sender[0] and abs(other_us - last_us) <= KEY_OFF_SPREAD_US
        ]
        first_silent_us = min(ends, default=last_us)
        if len(ends) < 2 or self._latest_us - first_silent_us < 3 * SECOND_US:
            return None
        if not self._running.stopped_by(self._latest_us - 2 * SECOND_US):
            return None
        return round((last_us - min(ends)) / SECOND_US, 3)


def decode_recording(
    blocks: Iterable[Frames],
    dictionary: Dictionary,
    time_base: TimeBase,
    *,
    kernel: Kernel | None = None,
    not_read: Callable[[], tuple[NotRead, ...]] = tuple,
    doubts: Callable[[], tuple[str, ...]] = tuple,
    each: Callable[[DecodedBlock], None] | None = None,
) -> VisitContent:
    """Decode a whole recording; `each` sees every decoded block on the way."""
    decoder = BlockDecoder(dictionary, kernel)
    builder = VisitBuilder(dictionary, time_base)
    for frames in blocks:
        block = decoder.feed(frames)
        builder.feed(block)
        if each is not None:
            each(block)
    return builder.finish(decoder.finish(), not_read(), doubts())

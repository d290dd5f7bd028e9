"""The use case of asking: listen first, then ask what may be asked, record it all, file the visit.

The adapter stays in its listen-only mode, where it has one, until the first frame is really due.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace

from shearbolt.act import ADDRESS, Asker, Ended, Gate, Port, Request, RoadAsker, frame_of, tool_name
from shearbolt.act import askable_groups as groups_on_the_list
from shearbolt.app.asking_words import ended_words, frame_words
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.visits import visit_document
from shearbolt.app.documents import Progress, Refused
from shearbolt.app.documents.asked import (
    AskAsked,
    AskDocument,
    AskedFrame,
    AskEnded,
    AskRequest,
    MachineStand,
    ShowAsking,
)
from shearbolt.app.documents.visit import Visit
from shearbolt.app.filing import Asked
from shearbolt.app.listening import room_on
from shearbolt.app.spooled import file_spool, spool_folder, spool_lock
from shearbolt.book import Book
from shearbolt.errors import BookError, PortTrouble, RecordingError, SpoolStopped, UsageError
from shearbolt.kernels.candump_lines import candump_lines
from shearbolt.live import (
    Adapter,
    AdapterAsked,
    Clocks,
    Event,
    ReceiveOnly,
    Spool,
    Timeline,
    look_at,
    new_stem,
    system_clocks,
)
from shearbolt.live.adapters import SYSTEM_INTERFACE
from shearbolt.live.rates import RateFinder
from shearbolt.live.spool import SYNC_US
from shearbolt.model.frames import EXTENDED, SENT, PlainFrame, frames_from
from shearbolt.model.instants import SECOND_US, to_iso
from shearbolt.wire.identifier import TO_ALL

WAIT_S = 0.02
"""How long one look for a frame waits; a clear to send is due within 200 ms (Tr)."""
MOST_AT_ONCE = 400
"""Frames taken in one round, so that sending is never put off for long."""
RATE_PATIENCE_US = 10 * SECOND_US
"""How long a rate is looked for by listening."""


def ask(
    book: Book,
    tables: FactTables,
    asked: AskAsked,
    *,
    show: ShowAsking,
    stop: Callable[[], bool],
    progress: Progress,
    clocks: Clocks | None = None,
    identity: int | None = None,
) -> AskDocument:
    """Ask a machine, and file what was heard and sent as a visit.

    `identity` is the identity number of our NAME (one by chance if not given). Raises UsageError,
    AdapterAbsent, PortTrouble and SpoolStopped before anything was heard; NotAllowed if something
    inside should try to send what may not be sent.
    """
    clocks = clocks or system_clocks()
    (adapter,) = look_at(
        [AdapterAsked(asked.interface, asked.channel, asked.bitrate, asked.options)]
    )
    _refuse_unfit(adapter)
    bitrate, sure = _rate(adapter, clocks, stop)
    if asked.road and not sure:
        # A plug that is silent until asked must not be asked at a rate that nobody knows.
        asked = replace(asked, stands=False)
    return _Session(book, tables, asked, adapter, bitrate, show, stop, clocks, identity).run(
        progress
    )


def _refuse_unfit(adapter: Adapter) -> None:
    if adapter.asked.interface == SYSTEM_INTERFACE and adapter.listen_only == "on":
        name = adapter.asked.channel
        raise UsageError(
            f"{name} is in listen-only mode and cannot ask; the system's administrator changes "
            f"that with `ip link set {name} down; ip link set {name} type can listen-only off; "
            f"ip link set {name} up`."
        )
    if adapter.bitrate is None and adapter.manners.takes_bitrate and not adapter.finds_rate:
        raise UsageError(
            f"The adapter on {adapter.name} cannot find the bit rate without disturbing the bus: "
            "say it with --bitrate (black round plugs 250000, green ones and most cars 500000)."
        )


def _rate(adapter: Adapter, clocks: Clocks, stop: Callable[[], bool]) -> tuple[int | None, bool]:
    """Return the bit rate, and whether it is sure: given, set by the system, or found by listening.

    None: there is none to set. Where nothing is heard at any rate it is the last that was tried.
    """
    if not adapter.finds_rate:
        return adapter.bitrate, True
    finder = RateFinder()
    begun_us = clocks.steady_us()
    while clocks.steady_us() - begun_us < RATE_PATIENCE_US and not stop():
        bitrate = finder.bitrate
        bus = adapter.open(bitrate)
        try:
            finder.begin(clocks.steady_us())
            verdict = finder.judge(clocks.steady_us())
            while verdict == "wait":
                message = bus.receive(WAIT_S)
                if message is not None:
                    finder.hear(error=message.is_error_frame)
                verdict = finder.judge(clocks.steady_us())
        finally:
            bus.close()
        if verdict == "found":
            return bitrate, True
    return finder.bitrate, False


class _Session:
    """One session of asking, from the first look to the filed visit."""

    def __init__(
        self,
        book: Book,
        tables: FactTables,
        asked: AskAsked,
        adapter: Adapter,
        bitrate: int | None,
        show: ShowAsking,
        stop: Callable[[], bool],
        clocks: Clocks,
        identity: int | None,
    ) -> None:
        self._book, self._tables, self._asked = book, tables, asked
        self._adapter, self._bitrate = adapter, bitrate
        self._show, self._stop, self._clocks = show, stop, clocks
        name = tool_name(secrets.randbits(21) if identity is None else identity)
        kind = RoadAsker if asked.road else Asker
        self._asker = kind(name, word=asked.stands)
        self._asker.armed = False
        groups = frozenset(one.pgn for one in groups_on_the_list())
        self._gate = Gate(name, groups, road=asked.road)
        self._line = Timeline(clocks)
        self._quiet: ReceiveOnly | None = None
        self._port: Port | None = None
        self._sent: list[AskedFrame] = []
        self._words: list[str] = []
        self._full = False

    def run(self, progress: Progress) -> AskDocument:
        """Ask, and file."""
        stem = new_stem(self._clocks.wall_us())
        folder = spool_folder(self._book)
        self._quiet = self._adapter.open(self._bitrate)
        lock = spool_lock(folder / stem)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            lock.take()
            spool = Spool(folder, stem)
            self._tell_begun(spool)
            self._show(None, f"Listening on {self._adapter.name} before anything is asked.")
            try:
                self._talk(spool)
            except SpoolStopped as trouble:
                self._full = True
                self._words.append(trouble.sentence)
            except PortTrouble as trouble:
                self._asker.stop(Ended.ADAPTER)
                self._words.append(trouble.sentence)
            finally:
                self._gate.close("asking has ended")
                self._let_go()
                last = Event(self._line.now_us(), "stopped", None, (("reason", "asked"),))
                spool.close(last)
            end_us = self._line.now_us()
            visits, refused = self._file(spool, progress)
        finally:
            self._let_go()
            if (folder / f"{stem}.log").exists():
                lock.free()
            else:
                lock.remove()
        return self._document(end_us, visits, refused)

    def _tell_begun(self, spool: Spool) -> None:
        asked, now_us = self._asked, self._line.now_us()
        hours = None if asked.hours is None else str(asked.hours)
        spool.tell(Event(now_us, "started", None, (("machine", asked.machine), ("hours", hours))))

    def _let_go(self) -> None:
        for one in (self._quiet, self._port):
            if one is not None:
                one.close()
        self._quiet = self._port = None

    # -- talking --------------------------------------------------------------------------------

    def _talk(self, spool: Spool) -> None:
        asker = self._asker
        may_write = room_on(self._book.folder, lambda: spool.bytes)
        synced_us = self._clocks.steady_us()
        while asker.ended is None:
            heard = self._hear()
            if self._stop():
                asker.stop(Ended.STOPPED)
            due = asker.step(self._clocks.steady_us(), heard)
            # Every frame is shown, and is in the record, beside the moment it is sent.
            sent = [self._send(one) for one in due]
            self._write(spool, [*heard, *sent])
            if asker.ready and not asker.armed:
                self._open_port(spool)
            now_us = self._clocks.steady_us()
            if now_us - synced_us >= SYNC_US or sent:
                spool.sync(self._line.now_us())
                synced_us = now_us
                reason = may_write()
                if reason is not None:
                    raise SpoolStopped(reason)

    def _hear(self) -> list[PlainFrame]:
        heard: list[PlainFrame] = []
        frame = self._receive(WAIT_S)
        while frame is not None and len(heard) < MOST_AT_ONCE:
            heard.append(frame)
            frame = self._receive(0.0)
        if frame is not None:
            heard.append(frame)
        return heard

    def _receive(self, wait_s: float) -> PlainFrame | None:
        if self._port is not None:
            return self._port.receive(wait_s)
        assert self._quiet is not None
        try:
            message = self._quiet.receive(wait_s)
        except Exception as trouble:
            # Whatever a driver raises, the adapter did not answer as it should.
            raise PortTrouble(f"The adapter on {self._adapter.name} failed ({trouble}).") from None
        if message is None:
            return None
        return frame_of(message, self._clocks.steady_us(), self._adapter.name)

    def _open_port(self, spool: Spool) -> None:
        """Leave the listen-only mode; the frames in between are few, and the state is looked at
        once more before anything is sent.
        """
        self._let_go()
        asked = self._asked
        takes = self._adapter.manners.takes_bitrate
        self._port = Port.open(
            asked.interface,
            asked.channel,
            self._gate,
            self._clocks.steady_us,
            bitrate=self._bitrate if takes else None,
            options=dict(asked.options),
        )
        figures = (
            ("interface", asked.interface),
            ("bitrate", self._bitrate),
            ("listen_only", "asking"),
        )
        spool.tell(Event(self._line.now_us(), "opened", self._adapter.name, figures))
        self._show(None, "The machine stands still: asking begins.")
        self._asker.armed = True

    def _send(self, frame: PlainFrame) -> PlainFrame:
        assert self._port is not None
        sent = self._port.send(frame)
        self._asker.sent(sent)
        shown = _shown(frame, self._line.instant_us(sent.time_us), self._asker.requests)
        self._sent.append(shown)
        self._show(shown, shown["words"])
        return PlainFrame(sent.time_us, sent.ident, sent.data, sent.flags | SENT)

    def _write(self, spool: Spool, rows: Sequence[PlainFrame]) -> None:
        if not rows:
            return
        named = [
            PlainFrame(
                self._line.instant_us(one.time_us),
                one.ident,
                one.data,
                one.flags,
                self._adapter.name,
                one.length,
            )
            for one in sorted(rows, key=lambda one: one.time_us)
        ]
        spool.write("".join(candump_lines(frames_from(named))).encode("ascii"))

    # -- afterwards -----------------------------------------------------------------------------

    def _file(self, spool: Spool, progress: Progress) -> tuple[list[Visit], list[Refused]]:
        asked = Asked(self._asked.machine, None, self._asked.hours)
        try:
            filed = file_spool(self._book, spool.path, self._tables.dictionary, asked, progress)
        except (RecordingError, BookError) as trouble:
            self._words.append("What was heard is kept, and will be filed with the next listening.")
            return [], [{"file": str(spool.path), "reason": trouble.sentence}]
        if filed is None:
            return [], []
        return [visit_document(self._book, filed.visit, self._tables, already=filed.already)], []

    def _document(self, end_us: int, visits: list[Visit], refused: list[Refused]) -> AskDocument:
        asker, asked = self._asker, self._asked
        why = asker.ended or Ended.STOPPED
        tester = asker.company.tester
        told = tester.words if tester is not None else None
        words = ended_words(why, asker.stand, self._adapter.name, self._bitrate, told)
        claimed = bool(self._sent) and not asked.road
        ended: AskEnded = "disk" if self._full else why.value
        return {
            "schema": "shearbolt/ask/1",
            "start": to_iso(self._line.start_us),
            "end": to_iso(end_us),
            "kind": "road" if asked.road else "machine",
            "interface": asked.interface,
            "channel": self._adapter.name,
            "bitrate": self._bitrate,
            "confirmed": asked.stands,
            "ended": ended,
            "words": [*self._words, *([] if self._full else words)],
            "stand": _stand(asker, bool(self._sent)),
            "tester": told,
            "address": ADDRESS if claimed else None,
            "name": asker.name.hex if claimed else None,
            "would_send": [_shown(one, None, _planned(asker)) for one in asker.planned()],
            "sent": self._sent,
            "requests": [_request(one) for one in asker.requests],
            "visits": visits,
            "refused": refused,
        }


def _planned(asker: Asker | RoadAsker) -> list[Request]:
    return asker.planned_requests() if isinstance(asker, RoadAsker) else []


def _shown(frame: PlainFrame, at_us: int | None, requests: list[Request]) -> AskedFrame:
    return {
        "at": None if at_us is None else to_iso(at_us),
        "id": f"{frame.ident:08X}" if frame.flags & EXTENDED else f"{frame.ident:03X}",
        "data": frame.data.hex(" ").upper(),
        "words": frame_words(frame, requests),
    }


def _request(one: Request) -> AskRequest:
    return {
        "what": one.what,
        "pgn": one.pgn,
        "service": one.payload.hex(" ").upper() or None,
        "asked": None if one.destination == TO_ALL else one.destination,
        "answers": [
            {"address": who, "result": result} for who, result in sorted(one.answers.items())
        ],
    }


def _stand(asker: Asker | RoadAsker, sent: bool) -> MachineStand:
    stand = asker.stand
    by: MachineStand = {
        "standing": stand.standing,
        "standing_by": ("readings" if stand.ever_told else "word") if sent else None,
        "speeds": [
            {
                "spn": one.spn,
                "words": one.name,
                "address": one.address,
                "value": one.value,
                "unit": one.unit,
                "age_s": one.age_s,
            }
            for one in stand.speeds
        ],
        "engine": stand.engine,
        "engine_rpm": stand.engine_rpm,
    }
    return by

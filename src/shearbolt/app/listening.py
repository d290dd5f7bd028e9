"""The use case of listening: adapters opened, the bus shown while it is heard, the visit filed."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.visits import visit_document
from shearbolt.app.documents import Progress, Refused
from shearbolt.app.documents.live import ListenAsked, ListenDocument, ShowLive, StoppedBy
from shearbolt.app.documents.visit import Visit
from shearbolt.app.filing import Asked, Filed, fleet
from shearbolt.app.live_look import LiveLook, Periods, events_shown
from shearbolt.app.recognition import Known
from shearbolt.app.spooled import file_left_over, file_spool, spool_folder, spool_lock
from shearbolt.book import Book
from shearbolt.errors import (
    AdapterAbsent,
    BookError,
    NotInBook,
    RecordingError,
    UsageError,
)
from shearbolt.live import (
    Adapter,
    AdapterAsked,
    Clocks,
    Listening,
    ReceiveOnly,
    Spool,
    find_adapters,
    look_at,
    new_stem,
    system_clocks,
)
from shearbolt.live.adapters import detect
from shearbolt.live.health import STEADY_SHARE, STEADY_US
from shearbolt.live.rates import RATES
from shearbolt.model.frames import Frames
from shearbolt.model.instants import SECOND_US, to_iso
from shearbolt.model.visit import GroupSeen

ROUND_S = 0.25
"""Time between looks for new frames."""
LOOK_US = SECOND_US // 2
"""Time between two views."""
FIRST_LOOK_US = SECOND_US // 4
"""The same until the machine is recognised."""
SPARE_BYTES = 64 << 20
"""Room that is left on the disk, so that what was heard can still be filed (own choice)."""
USUAL_VISITS = 2
"""Visits that must have heard a group before it is missed."""


def chosen(asked: ListenAsked) -> list[AdapterAsked]:
    """Tell which adapters are meant: those named, else those that the system can tell of.

    Raises UsageError, AdapterAbsent.
    """
    if asked.interface is not None and asked.channels:
        return [
            AdapterAsked(asked.interface, channel, asked.bitrate, asked.options)
            for channel in dict.fromkeys(asked.channels)
        ]
    found = find_adapters(lambda: detect(asked.interface))
    if asked.channels:
        found = tuple(one for one in found if one.channel in asked.channels)
        if not found:
            raise AdapterAbsent(
                f"No adapter with the channel {' or '.join(asked.channels)} was found; say which "
                "--interface it has."
            )
    elif len({one.interface for one in found}) > 1:
        several = ", ".join(f"--interface {one.interface} --channel {one.channel}" for one in found)
        raise UsageError(f"Several adapters were found; say which one is meant: {several}.")
    return [
        AdapterAsked(one.interface, one.channel, asked.bitrate, (*one.options, *asked.options))
        for one in found
    ]


@contextlib.contextmanager
def opened_adapters(adapters: Sequence[Adapter]) -> Iterator[list[ReceiveOnly | None]]:
    """Open adapters once, so that an absent one is told at once; closed again if one fails.

    The session takes them over. Raises AdapterAbsent.
    """
    opened: list[ReceiveOnly | None] = []
    try:
        for one in adapters:
            opened.append(one.open(RATES[0] if one.finds_rate else one.bitrate))
        yield opened
    except BaseException:
        for bus in opened:
            if bus is not None:
                bus.close()
        raise


def _steady(group: GroupSeen) -> bool:
    """Tell whether a group kept its beat for as long as it was heard."""
    heard_us = group.last_us - group.first_us
    if group.period_s is None or heard_us < STEADY_US:
        return False
    return group.count * group.period_s * SECOND_US >= STEADY_SHARE * heard_us


def usual_periods(book: Book, machine: str) -> Periods:
    """Tell how often each group came in the last visits to a machine, in microseconds, by group
    and address; only groups that several of them heard all the time.
    """
    heard = [one for one in book.visits(machine) if one.kind != "by_hand" and one.frames]
    found: dict[tuple[int, int], list[float]] = {}
    for visit in heard[-2 * USUAL_VISITS :]:
        for group in book.visit_content(visit.id).groups:
            if _steady(group):
                assert group.period_s is not None
                found.setdefault((group.pgn, group.address), []).append(group.period_s)
    return {
        key: round(max(some) * SECOND_US)
        for key, some in found.items()
        if len(some) >= USUAL_VISITS
    }


@dataclass(frozen=True, slots=True)
class Told:
    """What a person said of the machine before listening began."""

    known: Known | None
    name: str | None


def machine_told(book: Book, machines: Sequence[Known], named: str | None) -> Told:
    """Find the machine that was named. Raises Ambiguous."""
    if named is None:
        return Told(None, None)
    try:
        wanted = book.machine(named)
    except NotInBook:
        return Told(None, named)  # the filing adds it
    return Told(next((one for one in machines if one.machine.id == wanted.id), None), wanted.name)


def room_on(folder: Path, spool: Callable[[], int]) -> Callable[[], str | None]:
    """Return a watch on the room left for filing what was heard."""

    def watch() -> str | None:
        free = shutil.disk_usage(folder).free
        if free >= SPARE_BYTES + spool() // 2:
            return None
        return (
            f"The disk of {folder} is nearly full ({free / 1e6:.0f} MB left), so listening "
            "stopped while what was heard can still be filed."
        )

    return watch


def listen(
    book: Book,
    tables: FactTables,
    asked: ListenAsked,
    *,
    show: ShowLive,
    stop: Callable[[], bool],
    progress: Progress,
    clocks: Clocks | None = None,
    heard: Callable[[Frames], None] = lambda frames: None,
) -> ListenDocument:
    """Listen until told to stop, then file the visit. `heard` is given the frames as they come.

    Raises UsageError, Ambiguous, AdapterAbsent and SpoolStopped before anything was heard.
    """
    clocks = clocks or system_clocks()
    adapters = look_at(chosen(asked))
    left_over, refused = file_left_over(book, tables.dictionary, progress)
    machines = fleet(book)
    told = machine_told(book, machines, asked.machine)
    look = LiveLook(
        tables, machines, told.known, told.name, lambda machine: usual_periods(book, machine)
    )
    with opened_adapters(adapters) as opened:
        stem = new_stem(clocks.wall_us())
        folder = spool_folder(book)
        lock = spool_lock(folder / stem)
        folder.mkdir(parents=True, exist_ok=True)
        lock.take()
        spool = Spool(folder, stem)
        session = Listening(
            adapters,
            spool,
            clocks=clocks,
            opened=opened,
            may_write=room_on(book.folder, lambda: spool.bytes),
            said=(
                ("machine", asked.machine),
                ("hours", None if asked.hours is None else str(asked.hours)),
            ),
        )
    stopped_by = _follow(session, look, asked, show, stop, clocks, heard)
    end_us = session.now_us()
    words: list[str] = []
    filed: list[Filed] = []
    try:
        one = file_spool(
            book, spool.path, tables.dictionary, Asked(asked.machine, None, asked.hours), progress
        )
        filed.extend([] if one is None else [one])
    except (RecordingError, BookError) as trouble:
        refused.append({"file": str(spool.path), "reason": trouble.sentence})
        words.append("What was heard is kept, and will be filed when Shearbolt next starts.")
    finally:
        if spool.path.exists():
            lock.free()
        else:
            lock.remove()
    if session.trouble is not None:
        words.insert(0, session.trouble.sentence)
    return _document(
        book, tables, session, look, filed, left_over, refused, stopped_by, end_us, words
    )


def _follow(
    session: Listening,
    look: LiveLook,
    asked: ListenAsked,
    show: ShowLive,
    stop: Callable[[], bool],
    clocks: Clocks,
    heard: Callable[[Frames], None],
) -> StoppedBy:
    """Show the bus until something ends it."""
    stopped_by: StoppedBy = "asked"
    begun_us = looked_us = clocks.steady_us()
    session.start()
    try:
        while not stop():
            for frames in session.take(ROUND_S):
                look.feed(frames)
                heard(frames)
            now_us = clocks.steady_us()
            known = look.recognised_us is not None or look.first_us is None
            if now_us - looked_us >= (LOOK_US if known else FIRST_LOOK_US):
                looked_us = now_us
                look.look(session)
                show(look.view(session))
            if session.ended:
                stopped_by = "disk"
                break
            if asked.seconds is not None and now_us - begun_us >= asked.seconds * SECOND_US:
                stopped_by = "time"
                break
    finally:
        session.stop(stopped_by)
    for frames in session.take(0.0):
        look.feed(frames)
    look.look(session)
    return stopped_by


def _document(
    book: Book,
    tables: FactTables,
    session: Listening,
    look: LiveLook,
    filed: Sequence[Filed],
    left_over: Sequence[Filed],
    refused: list[Refused],
    stopped_by: StoppedBy,
    end_us: int,
    words: list[str],
) -> ListenDocument:
    def after(us: int | None, since_us: int | None) -> float | None:
        return None if us is None or since_us is None else round((us - since_us) / SECOND_US, 3)

    def shown(some: Sequence[Filed]) -> list[Visit]:
        return [visit_document(book, one.visit, tables, already=one.already) for one in some]

    return {
        "schema": "shearbolt/listen/1",
        "start": to_iso(session.start_us),
        "end": to_iso(end_us),
        "stopped_by": stopped_by,
        "adapters": look.adapters(session),
        "first_frame_after_s": after(look.first_us, session.start_us),
        "recognised_after_s": after(look.recognised_us, look.first_us),
        "first_fault_after_s": after(look.first_fault_us, look.first_us),
        "health": look.all_findings(),
        "events": events_shown([one for one in session.events if one.what != "started"]),
        "visits": shown(filed),
        "left_over": shown(left_over),
        "refused": refused,
        "words": words,
    }

"""From a spool to a visit in the book: the session just ended, and those broken off before."""

from __future__ import annotations

from pathlib import Path

from shearbolt.app.documents import Progress, Refused
from shearbolt.app.filing import Asked, Filed, Heard, file_recording
from shearbolt.app.placing import span_words
from shearbolt.app.wording import keep
from shearbolt.book import Book
from shearbolt.book.lock import FileLock
from shearbolt.dictionary.merged import Dictionary
from shearbolt.errors import BookError, ListeningError, RecordingError
from shearbolt.live import LOCK, SPOOL, Event, Recovered, recover, remove, spools
from shearbolt.model.instants import SECOND_US, Instant
from shearbolt.recordings import open_recording


def spool_folder(book: Book) -> Path:
    """Return the folder of a book's spools; it may not exist."""
    return book.folder / SPOOL


def spool_lock(path: Path) -> FileLock:
    """Return the lock that is held while a spool is written, and freed when its program dies."""
    return FileLock(path.with_suffix(LOCK))


def file_spool(
    book: Book, path: Path, dictionary: Dictionary, asked: Asked, progress: Progress
) -> Filed | None:
    """File a spool that nobody writes any more, and remove it; None: nothing was heard.

    What was said of the machine when listening began stands where nothing is said now. Raises
    RecordingError, BookError, SpoolStopped; the spool is kept then.
    """
    ready = recover(path)
    if not ready.size:
        remove(path)
        return None
    filed = file_recording(
        book,
        path,
        open_recording(path),
        dictionary,
        _asked(asked, ready),
        progress,
        heard_of(ready),
    )
    remove(path)
    return filed


def file_left_over(
    book: Book, dictionary: Dictionary, progress: Progress
) -> tuple[list[Filed], list[Refused]]:
    """File the spools of sessions that were broken off; those being written are left alone."""
    filed: list[Filed] = []
    refused: list[Refused] = []
    for path in spools(spool_folder(book)):
        lock = spool_lock(path)
        if not lock.take():
            continue
        try:
            one = file_spool(book, path, dictionary, Asked(), progress)
            if one is not None:
                filed.append(one)
        except RecordingError as trouble:
            refused.append({"file": str(path), "reason": trouble.reason})
        except (BookError, ListeningError) as trouble:
            refused.append({"file": str(path), "reason": trouble.sentence})
        finally:
            if path.exists():
                lock.free()
            else:
                lock.remove()
    return filed, refused


def _asked(asked: Asked, ready: Recovered) -> Asked:
    begun = next((one for one in ready.events if one.what == "started"), None)
    if begun is None:
        return asked
    machine, hours = begun.figure("machine"), begun.figure("hours")
    return Asked(
        machine=asked.machine or (machine if isinstance(machine, str) else None),
        hours=asked.hours if asked.hours is not None else _number(hours),
    )


def _number(text: str | int | None) -> float | None:
    try:
        return None if text is None else float(text)
    except ValueError:
        return None


def heard_of(ready: Recovered) -> Heard:
    """Tell from a session's events what the book should know of it."""
    doubts: list[str] = []
    if not ready.finished:
        doubts.append(keep("heard_cut"))
    if any(one.what == "disk_full" for one in ready.events):
        doubts.append(keep("heard_full"))
    if ready.lost:
        doubts.append(keep("heard_disk", ready.lost))
    for one in ready.events:
        if one.what == "opened" and one.figure("listen_only") in ("off", "not_offered"):
            doubts.append(keep("heard_aloud", one.channel))
        if one.what == "opened" and one.figure("listen_only") == "asking":
            doubts.append(keep("heard_asking", one.channel))
    happened = _happened(ready.events)
    lost = bool(ready.lost) or any(
        one.what in ("gone", "overrun", "reader_died", "reader_stuck") for one in ready.events
    )
    return Heard(lost, tuple(dict.fromkeys(doubts)), happened)


def _happened(events: tuple[Event, ...]) -> tuple[tuple[Instant, str], ...]:
    told: list[tuple[Instant, str]] = []
    gone: dict[str | None, Instant] = {}
    lost: dict[tuple[str | None, str], list[int]] = {}
    for one in events:
        if one.what == "gone":
            gone[one.channel] = one.at_us
        elif one.what == "back":
            since_us = gone.pop(one.channel, one.at_us - one.number("gap_us"))
            gap_s = round((one.at_us - since_us) / SECOND_US, 1)
            told.append((since_us, keep("heard_gap", one.channel, gap_s)))
        elif one.what == "clock_jump":
            by_us = one.number("by_us")
            way = "forward" if by_us > 0 else "back"
            told.append((one.at_us, keep("heard_clock", way, span_words(abs(by_us)))))
        elif one.what == "overrun":
            where = "driver" if one.figure("where") == "driver" else "here"
            entry = lost.setdefault((one.channel, where), [one.at_us, 0])
            entry[1] += one.number("count")
        elif one.what in _PLAIN:
            told.append((one.at_us, keep(_PLAIN[one.what], one.channel)))
    told.extend((at_us, keep("heard_gap_open", channel)) for channel, at_us in gone.items())
    told.extend(
        (at_us, keep(f"heard_overrun_{where}", channel, count))
        for (channel, where), (at_us, count) in lost.items()
    )
    return tuple(sorted(told))


_PLAIN: dict[str, str] = {
    "stamp_jump": "heard_stamps",
    "reader_died": "heard_reader",
    "reader_stuck": "heard_stuck",
}

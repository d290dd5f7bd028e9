"""Recording unattended, on a small computer in a cab: a visit from first frame to silence.

No book is needed there. What is heard goes to a spool that is synced each second; when the bus has
been silent for a while the spool becomes one packed recording in the folder to carry away. Nothing
of it needs a person: an absent adapter is waited for, a spool that a power cut left behind is
finished at the next start, and a full disk is first cleared of what was carried away.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal

from shearbolt.app.carried import CARRIED, FINISHED, OWN, carried_names, events_beside
from shearbolt.app.documents.live import ListenAsked
from shearbolt.app.documents.watched import (
    ShowWatch,
    WatchAsked,
    WatchDocument,
    WatchedVisit,
    WatchEnded,
)
from shearbolt.app.listening import chosen
from shearbolt.app.packing import Packed, pack
from shearbolt.book.durable import make_folder, sync_folder
from shearbolt.book.lock import FileLock
from shearbolt.errors import AdapterAbsent, ListeningError, SpoolStopped, UsageError
from shearbolt.live import (
    LOCK,
    Adapter,
    Clocks,
    Listening,
    Spool,
    look_at,
    new_stem,
    recover,
    remove,
    spools,
    system_clocks,
)
from shearbolt.model.instants import SECOND_US, to_iso

ROUND_S = 0.25
"""Time between looks for new frames."""
AGAIN_S = 5.0
"""Time between looks for an adapter that is not there, or for room on the disk."""
PACKED_SHARE = 3
"""A packed recording takes less than this part of its spool (measured: a quarter or less)."""
SPOOL = "spool"
_BUSY = "Another program records into this folder already"

Free = Callable[[Path], int]
Wait = Callable[[float], None]


def free_bytes(folder: Path) -> int:
    """Return the room left on a folder's disk, in bytes."""
    return shutil.disk_usage(folder).free


def watch(
    asked: WatchAsked,
    *,
    show: ShowWatch,
    stop: Callable[[], bool],
    wait: Wait,
    clocks: Clocks | None = None,
    free: Free = free_bytes,
) -> WatchDocument:
    """Record until `stop` says so; `wait` waits so many seconds, or until told to stop.

    Raises UsageError for a folder that cannot be used or is in use, and for adapters that cannot
    be meant; an adapter that is not there is waited for.
    """
    folder = Path(asked.folder)
    try:
        make_folder(folder / OWN / SPOOL)
    except OSError as trouble:
        raise UsageError(f"{folder} cannot be used: {trouble.strerror}.") from None
    lock = FileLock(folder / OWN / "recording.lock")
    if not lock.take():
        raise UsageError(f"{_BUSY}: {folder}.")
    try:
        return _Watch(asked, folder, show, stop, wait, clocks or system_clocks(), free).run()
    finally:
        lock.free()


class _Watch:
    """One run of the unattended listener."""

    def __init__(
        self,
        asked: WatchAsked,
        folder: Path,
        show: ShowWatch,
        stop: Callable[[], bool],
        wait: Wait,
        clocks: Clocks,
        free: Free,
    ) -> None:
        self._asked, self._folder, self._show = asked, folder, show
        self._stop, self._wait, self._clocks, self._free = stop, wait, clocks, free
        self._spools = folder / OWN / SPOOL
        self._visits: list[WatchedVisit] = []
        self._deleted: list[str] = []
        self._full = False
        self._words: list[str] = []

    def run(self) -> WatchDocument:
        """Finish what was left over, then record visit after visit."""
        self._finish_left_over()
        adapters: tuple[Adapter, ...] | None = None
        while not self._stop():
            adapters = adapters or self._adapters()
            if adapters is None or not self._has_room():
                self._wait(AGAIN_S)
                continue
            if self._record(adapters) and self._asked.once:
                break
        return self._document()

    def _adapters(self) -> tuple[Adapter, ...] | None:
        """Look for the adapters; None: not there yet, which is told once."""
        asked = self._asked
        try:
            found = chosen(
                ListenAsked(asked.interface, asked.channels, asked.bitrate, asked.options)
            )
            return look_at(found)
        except AdapterAbsent as trouble:
            self._tell_once(f"{trouble.sentence} It is looked for again and again.")
            return None

    def _tell_once(self, words: str) -> None:
        if words not in self._words:
            self._words.append(words)
            self._show(words)

    # -- room -----------------------------------------------------------------------------------

    def _short_of(self, spooled: int) -> int:
        """Return how many bytes are missing for the reserve and for packing what is spooled."""
        needed = self._asked.reserve_bytes + spooled // PACKED_SHARE
        return needed - self._free(self._folder)

    def _has_room(self, spooled: int = 0) -> bool:
        """Make room if need be; False: only recordings that were not carried away are left."""
        while self._short_of(spooled) > 0:
            if not self._delete_one():
                self._full = True
                self._tell_once(self._full_words())
                return False
        if self._full:
            self._full = False
            self._words = [one for one in self._words if one != self._full_words()]
            self._show("There is room again.")
        return True

    def _full_words(self) -> str:
        return (
            f"The disk of {self._folder} is full but for its reserve, and nothing on it was "
            "carried away yet: nothing is recorded until `shearbolt add` has taken the folder, or "
            "recordings were moved elsewhere."
        )

    def _delete_one(self) -> bool:
        """Delete the oldest recording that was carried away; False: there is none."""
        carried = carried_names(self._folder)
        for path in self._finished():
            if path.name in carried:
                path.unlink(missing_ok=True)
                events_beside(path).unlink(missing_ok=True)
                self._deleted.append(path.name)
                return True
        return False

    def _finished(self) -> list[Path]:
        """Return the finished recordings, the oldest first: their names begin with their time."""
        return sorted(self._folder.glob(f"*{FINISHED}"))

    # -- recording ------------------------------------------------------------------------------

    def _record(self, adapters: Sequence[Adapter]) -> bool:
        """Wait for a first frame and record until silence; True: there was a visit."""
        try:
            spool = Spool(self._spools, new_stem(self._clocks.wall_us()))
        except SpoolStopped as trouble:
            self._tell_once(trouble.sentence)
            self._wait(AGAIN_S)
            return False
        session = Listening(
            adapters, spool, clocks=self._clocks, may_write=lambda: self._may_write(spool)
        )
        session.start()
        ended_by: WatchEnded | Literal["again"] | None = None
        begun_us = last_us = self._clocks.steady_us()
        heard = False
        try:
            while ended_by is None:
                frames = sum(len(one) for one in session.take(ROUND_S))
                now_us = self._clocks.steady_us()
                if frames:
                    last_us = now_us
                    if not heard:
                        heard, begun_us = True, now_us
                        self._show("A visit begins.")
                ended_by = self._reason_to_end(session, heard, now_us, begun_us, last_us)
        finally:
            session.stop(ended_by or "stopped")
        if session.trouble is not None and not self._full:
            self._tell_once(session.trouble.sentence)
        if ended_by is None or ended_by == "again":
            ended_by = "stopped"
        return self._finish(spool.path, ended_by) is not None

    def _may_write(self, spool: Spool) -> str | None:
        return None if self._has_room(spool.bytes) else self._full_words()

    def _reason_to_end(
        self, session: Listening, heard: bool, now_us: int, begun_us: int, last_us: int
    ) -> WatchEnded | Literal["again"] | None:
        if session.ended:
            return "disk"
        if self._stop():
            return "stopped"
        if not heard:
            # A clock that was set while nothing was heard makes better times from the start.
            jumped = any(one.what == "clock_jump" for one in list(session.events))
            return "again" if jumped else None
        if now_us - last_us >= self._asked.silence_s * SECOND_US:
            return "silence"
        if now_us - begun_us >= self._asked.longest_s * SECOND_US:
            return "longest"
        return None

    # -- finishing ------------------------------------------------------------------------------

    def _finish_left_over(self) -> None:
        """Finish the spools that a power cut or a kill left behind, and clear away half-packed
        files.
        """
        for part in self._spools.glob("*.part"):
            part.unlink(missing_ok=True)
        for path in spools(self._spools):
            self._has_room(path.stat().st_size)
            if self._finish(path, "broken_off") is not None:
                self._show("A recording that was broken off is finished.")
        for lock in self._spools.glob(f"*{LOCK}"):
            lock.unlink(missing_ok=True)

    def _finish(self, path: Path, ended_by: WatchEnded) -> WatchedVisit | None:
        """Turn a spool into a finished recording; None: nothing was heard, or it must wait."""
        try:
            ready = recover(path)
            if not ready.size:
                remove(path)
                return None
            packed = pack(ready, self._folder, self._spools)
        except ListeningError as trouble:
            self._tell_once(trouble.sentence)
            return None
        except OSError as trouble:
            self._tell_once(
                f"{path} could not be packed ({trouble.strerror}); it is kept and tried again at "
                "the next start."
            )
            return None
        remove(path)
        sync_folder(self._folder)
        visit = _visit(packed, ended_by)
        self._visits.append(visit)
        self._show(
            f"A visit is finished: {packed.frames:,} frames in {packed.path.name} "
            f"({packed.size / 1e6:.1f} MB)."
        )
        return visit

    def _document(self) -> WatchDocument:
        carried = carried_names(self._folder)
        self._forget_gone(carried)
        return {
            "schema": "shearbolt/watch/1",
            "folder": str(self._folder),
            "visits": self._visits,
            "deleted": self._deleted,
            "waiting": sum(one.name not in carried for one in self._finished()),
            "full": self._full,
            "words": self._words,
        }

    def _forget_gone(self, carried: frozenset[str]) -> None:
        """Keep the list of what was carried away short: names that are no longer there go."""
        there = {one.name for one in self._finished()}
        if carried and not carried <= there:
            listed = self._folder / OWN / CARRIED
            fresh = listed.with_suffix(".new")
            try:
                with fresh.open("w", encoding="utf-8", newline="\n") as out:
                    out.write("".join(f"{name}\n" for name in sorted(carried & there)))
                    out.flush()
                    os.fsync(out.fileno())
                fresh.replace(listed)
            except OSError:
                return  # a longer list does no harm


def _visit(packed: Packed, ended_by: WatchEnded) -> WatchedVisit:
    return {
        "file": packed.path.name,
        "start": to_iso(packed.first_us) if packed.first_us is not None else None,
        "end": to_iso(packed.last_us) if packed.last_us is not None else None,
        "frames": packed.frames,
        "bytes": packed.size,
        "ended_by": ended_by,
    }

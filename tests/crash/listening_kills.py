"""Listens in child processes and kills them at random moments; then looks what is left.

Run as a program by test_listen_kill.py and by the benchmarks, in a process of its own that never
uses the column library's threads itself and so may fork.

Usage: python listening_kills.py FOLDER KILLS AT_ONCE
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import struct
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import can
import can.interfaces.virtual

from shearbolt.app import listening, spooled  # noqa: F401
from shearbolt.app.documents import PLAIN_WORDING, ListenAsked, no_progress, show_nothing
from shearbolt.app.spooled import file_left_over
from shearbolt.app.use_cases import listen
from shearbolt.book import Book
from shearbolt.dictionary.merged import Dictionary
from shearbolt.live import system_clocks
from shearbolt.model.frames import plain_frames

FRAMES_S = 500
LATEST_S = 2.2
_ENTRY = struct.Struct("<qq")
CHANNEL = "killed"


def send(log: int) -> None:
    """Send numbered frames, and write down after each one when it went out."""
    clocks = system_clocks()
    while CHANNEL not in can.interfaces.virtual.channels:
        time.sleep(0.001)
    with can.Bus(CHANNEL, interface="virtual") as bus:
        begun_us = clocks.steady_us()
        number = 0
        while True:
            wait_us = begun_us + number * 1_000_000 // FRAMES_S - clocks.steady_us()
            if wait_us > 0:
                time.sleep(wait_us / 1e6)  # the pace of the traffic is the test's input
            bus.send(can.Message(arbitration_id=0x18FF0007, data=number.to_bytes(8, "little")))
            os.write(log, _ENTRY.pack(number, clocks.steady_us()))
            number += 1


def work(folder: Path) -> None:
    """Listen to one's own traffic, for ever."""
    log = os.open(folder / "sent", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    threading.Thread(target=send, args=(log,), daemon=True).start()
    listen(
        folder / "book",
        ListenAsked("virtual", (CHANNEL,)),
        show=show_nothing,
        stop=lambda: False,
        progress=no_progress,
        wording=PLAIN_WORDING,
    )


def fork(folder: Path) -> int:
    """Begin to listen in a child; give its number."""
    child = os.fork()
    if child == 0:
        try:
            work(folder)
        finally:
            os._exit(1)
    return child


def main() -> None:
    """Leave one folder a kill: what was sent and when, the book with its spool, the moment."""
    folder, kills, at_once = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    clocks = system_clocks()
    pattern = folder / "empty"
    child = os.fork()
    if child == 0:
        Book.open(pattern).close()
        os._exit(0)
    os.waitpid(child, 0)
    chance = random.Random(11)
    left = [
        (folder / f"kill-{number:03d}", chance.uniform(0.05, LATEST_S)) for number in range(kills)
    ]
    while left:
        batch, left = left[:at_once], left[at_once:]
        running: list[tuple[float, int, Path]] = []
        for at, delay_s in batch:
            at.mkdir()
            shutil.copytree(pattern, at / "book")
            running.append((time.monotonic() + delay_s, fork(at), at))
        for moment, child, at in sorted(running):
            time.sleep(max(0.0, moment - time.monotonic()))  # the moment of the kill is the input
            killed_us = clocks.steady_us()
            os.kill(child, signal.SIGKILL)
            _, status = os.waitpid(child, 0)
            if not os.WIFSIGNALED(status):
                raise SystemExit("a child ended by itself")
            (at / "killed").write_text(str(killed_us), encoding="ascii")


@dataclass(frozen=True, slots=True)
class Left:
    """What one kill left."""

    sent: int
    """Frames that had been sent."""
    kept: int
    """Frames in the visit."""
    lost_s: float
    """How long before the kill the first frame that is missing was sent; 0: none is missing."""
    said: bool
    """The visit says that its end was cut."""
    quality: str


def look(folder: Path) -> Left:
    """File what one kill left, and hold it against what was sent."""
    data = (folder / "sent").read_bytes() if (folder / "sent").exists() else b""
    sent = list(_ENTRY.iter_unpack(data[: len(data) // _ENTRY.size * _ENTRY.size]))
    killed_us = int((folder / "killed").read_text(encoding="ascii"))
    with Book.open(folder / "book") as book:
        filed, refused = file_left_over(book, Dictionary.ours(), no_progress)
        assert refused == []
        assert list((folder / "book").glob("spool/*")) == []
        assert len(filed) <= 1
        numbers: list[int] = []
        said, quality = False, ""
        for one in filed:
            rows = plain_frames(book.frames(one.visit.id))
            numbers = [int.from_bytes(row.data, "little") for row in rows]
            said = "heard_cut" in one.visit.doubts
            quality = one.visit.quality
    # Whatever was kept is the beginning of what was sent, frame by frame.
    assert numbers == list(range(len(numbers)))
    missing = [at_us for number, at_us in sent if number >= len(numbers)]
    lost_s = (killed_us - missing[0]) / 1e6 if missing else 0.0
    return Left(len(sent), len(numbers), lost_s, said, quality)


if __name__ == "__main__":
    main()

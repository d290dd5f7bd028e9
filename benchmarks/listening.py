"""Listening under load, under kills, and how soon it knows: figures for the hard conditions.

`python -m benchmarks listening-rate|listening-kill|listening-first`. The bus is the in-process
virtual one: this shows what the program keeps up with, not what an adapter or its driver does.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import can
import can.interfaces.virtual
from tests.crash.listening_kills import look

from shearbolt.app.documents import (
    PLAIN_WORDING,
    ListenAsked,
    ListenDocument,
    LiveView,
    no_progress,
)
from shearbolt.app.use_cases import add_recordings, listen, rename_machine
from shearbolt.book import Book
from shearbolt.model.frames import ERROR, EXTENDED, Frames, plain_frames
from shearbolt.model.instants import SECOND_US
from shearbolt.proving import demo_season
from shearbolt.recordings.writing import write_candump

FULL_RATE = 3816
"""Frames a second of eight bytes on a bus of 500 kbit/s without stuff bits (ISO 11898-1)."""
CHANNELS = ("one", "two")
BUFFER = 5_000
"""Frames that the bus holds for a listener that does not fetch them, about a second's; what comes
on top is lost, as in the buffer of a driver."""
KILLS = 200
WARM_S = 60.0
"""Memory is compared from here on: caches and tables have their size by then."""
IDENTS = [0x18FF0000 | group << 8 | source for group in range(20) for source in (0, 3, 17)]


class Sender(threading.Thread):
    """Sends numbered frames at a full bus's rate, in bursts of some milliseconds."""

    def __init__(self, channel: str, frames: int) -> None:
        super().__init__(daemon=True)
        self.sent = 0
        self.lost = 0
        self._channel = channel
        self._frames = frames

    def run(self) -> None:
        while self._channel not in can.interfaces.virtual.channels:
            time.sleep(0.01)
        with can.Bus(self._channel, interface="virtual") as bus:
            begun = time.monotonic()
            for number in range(self._frames):
                ahead = number / FULL_RATE - (time.monotonic() - begun)
                if ahead > 0.004:
                    time.sleep(ahead)
                try:
                    bus.send(
                        can.Message(
                            arbitration_id=IDENTS[number % len(IDENTS)],
                            data=number.to_bytes(8, "little"),
                        ),
                        timeout=0,
                    )
                except can.CanOperationError:
                    self.lost += 1
                self.sent += 1


def resident_mib() -> float:
    """Return the memory of this process that is in use now."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * 4096 / (1 << 20)


def rate_job(frames: int) -> dict[str, float]:
    """Listen to two full buses and file the visit; tell what was lost and the memory used."""
    senders = [Sender(channel, frames // 2) for channel in CHANNELS]
    for one in senders:
        one.start()
    begun = time.monotonic()
    used: list[tuple[float, float]] = []

    def show(view: LiveView) -> None:
        used.append((time.monotonic() - begun, resident_mib()))

    ended: list[float] = []

    def stop() -> bool:
        if any(one.is_alive() for one in senders):
            return False
        ended.append(time.monotonic())
        return ended[-1] - ended[0] > 1.0

    with tempfile.TemporaryDirectory() as folder:
        cpu = time.process_time()
        document = listen(
            Path(folder),
            ListenAsked("virtual", CHANNELS, options=(("rx_queue_size", BUFFER),)),
            show=show,
            stop=stop,
            progress=no_progress,
            wording=PLAIN_WORDING,
        )
        (visit,) = document["visits"]
        kept = numbered(Path(folder), visit["visit"])
    late = [mib for at_s, mib in used if at_s > min(WARM_S, used[-1][0] / 2)]
    half = len(late) // 2
    return {
        "seconds": ended[0] - begun,
        "sent": sum(one.sent for one in senders),
        "lost_at_the_buffer": sum(one.lost for one in senders),
        "kept": visit["frames"],
        "in_order": float(kept == [senders[0].sent, senders[1].sent]),
        "complete": float(visit["quality"] == "complete"),
        "mib_first": sum(late[:half]) / half,
        "mib_last": sum(late[half:]) / (len(late) - half),
        "mib_peak": max(mib for _, mib in used),
        "cpu_s": time.process_time() - cpu,
    }


def numbered(folder: Path, visit: str) -> list[int]:
    """Return up to which number each channel's frames go on without a gap, in the book."""
    reached = [0] * len(CHANNELS)
    with Book.open(folder) as book:
        for block in book.frame_blocks(visit):
            for i in range(len(CHANNELS)):
                mine = block.word[block.channel == block.channels.index(CHANNELS[i])]
                expected = range(reached[i], reached[i] + len(mine))
                if mine.tolist() == list(expected):
                    reached[i] += len(mine)
    return reached


def rate(frames: int) -> bool:
    """Listen to two channels at the full rate of 500 kbit/s; about eleven minutes."""
    told = _apart("rate", frames)
    print(
        f"  {told['sent']:,.0f} frames on two channels in {told['seconds']:.0f} s "
        f"({told['sent'] / told['seconds']:.0f}/s), {told['cpu_s']:.0f} s of CPU, senders and "
        f"filing included; filed as {'complete' if told['complete'] else 'lossy'} (a sender that "
        f"stutters on a busy machine looks like loss)"
    )
    lost = told["sent"] - told["kept"]
    whole = lost == 0 and told["in_order"] == 1.0
    grown = told["mib_last"] - told["mib_first"]
    kept = _verdict("lost", f"{lost:.0f} frames, goal 0", met=whole)
    flat = _verdict(
        "memory",
        f"{told['mib_first']:.0f} MiB in the first half, {told['mib_last']:.0f} in the second, "
        f"peak {told['mib_peak']:.0f}; goal: no more than 10 of growth",
        met=grown <= 10,
    )
    return kept and flat


def kill(frames: int) -> bool:
    """Kill -9 a listening program at 200 random moments."""
    del frames
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        script = Path(__file__).parents[1] / "tests" / "crash" / "listening_kills.py"
        subprocess.run([sys.executable, str(script), name, str(KILLS), "1"], check=True)
        left = [look(one) for one in sorted(folder.glob("kill-*"))]
    worst = max(one.lost_s for one in left)
    kept = sum(one.kept > 0 for one in left)
    silent = sum(one.kept > 0 and not one.said for one in left)
    print(
        f"  {len(left)} kills, {kept} with something heard; "
        f"{sum(one.kept for one in left):,} of {sum(one.sent for one in left):,} frames kept"
    )
    enough = _verdict("kills", f"{len(left)}, goal {KILLS}", met=len(left) == KILLS)
    soon = _verdict("lost", f"{worst:.2f} s at worst, goal 1", met=worst <= 1.0)
    said = _verdict("visits that do not say so", f"{silent}, goal 0", met=silent == 0)
    return enough and soon and said


def _replay(frames: Frames, seconds: float) -> Iterator[tuple[float, can.Message]]:
    first_us = int(frames.time_us[0])
    for one in plain_frames(frames):
        at_s = (one.time_us - first_us) / SECOND_US
        if at_s > seconds:
            return
        if not one.flags & ERROR:
            yield (
                at_s,
                can.Message(
                    arbitration_id=one.ident,
                    is_extended_id=bool(one.flags & EXTENDED),
                    data=one.data,
                ),
            )


def _hear(book: Path, frames: Frames, seconds: float) -> ListenDocument:
    """Play a recording's beginning on the virtual bus in real time, and listen to it."""
    done = threading.Event()

    def play() -> None:
        while "replay" not in can.interfaces.virtual.channels:
            time.sleep(0.01)
        with can.Bus("replay", interface="virtual") as bus:
            begun = time.monotonic()
            for at_s, message in _replay(frames, seconds):
                time.sleep(max(0.0, at_s - (time.monotonic() - begun)))
                bus.send(message)
        done.set()

    threading.Thread(target=play, daemon=True).start()
    return listen(
        book,
        ListenAsked("virtual", ("replay",)),
        show=lambda view: None,
        stop=done.is_set,
        progress=no_progress,
        wording=PLAIN_WORDING,
    )


def first_job(seconds: int) -> dict[str, float]:
    """Listen to machines of the demo season that the book has met once before."""
    met: dict[str, list[Any]] = {}
    for one in demo_season():
        if one.truth.time_base == "absolute":
            met.setdefault(one.truth.machines[0].name, []).append(one)
    told: dict[str, float] = {}
    for name, some in met.items():
        for before, now in pairwise(some):
            with tempfile.TemporaryDirectory() as folder:
                book, log = Path(folder) / "book", Path(folder) / "before.log"
                write_candump(log, before.frames)
                added = add_recordings(
                    book, [str(log)], machine=None, start_us=None, hours=None, columns={},
                    progress=no_progress, wording=PLAIN_WORDING,
                )  # fmt: skip
                known = added["visits"][0]["machine"]
                rename_machine(book, known, name, wording=PLAIN_WORDING)
                document = _hear(book, now.frames, seconds)
                (visit,) = document["visits"]
                if visit["vin"] or any(one["name"] for one in visit["controllers"]):
                    right = visit["machine"] == known
                    told[f"{name}, recognised after (s)"] = (
                        document["recognised_after_s"] or 99.0 if right else 99.0
                    )
                spells = [
                    spell.seen.spells[0].start_us
                    for fault in _faults(book, known)
                    for spell in fault
                    if spell.visit == visit["visit"] and spell.seen.spells
                ]
                if spells and document["first_fault_after_s"] is not None:
                    first_us = _first_us(book, visit["visit"])
                    told[f"{name}, first fault after its first report (s)"] = (
                        document["first_fault_after_s"] - (min(spells) - first_us) / SECOND_US
                    )
    return told


def _faults(book: Path, machine: str) -> list[list[Any]]:
    with Book.open(book) as opened:
        return [list(opened.sightings(one.id)) for one in opened.faults(machine)]


def _first_us(book: Path, visit: str) -> int:
    with Book.open(book) as opened:
        return opened.visit_content(visit).first_us


def first(frames: int) -> bool:
    """Time how soon machine and first fault are known, on machines met once before."""
    del frames
    told = _apart("first", 12)
    for name, seconds in told.items():
        print(f"  {name}: {seconds:.2f}")
    worst = max(told.values())
    return _verdict("the latest", f"{worst:.2f} s, goal 3", met=worst <= 3.0)


def _apart(job: str, argument: int) -> dict[str, float]:
    """Run a job in a fresh process."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.listening", job, str(argument)],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    )
    told: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return told


def _verdict(name: str, figure: str, *, met: bool) -> bool:
    print(f"  {name}: {figure}  {'(goal met)' if met else '(GOAL MISSED)'}", flush=True)
    return met


BENCHMARKS = {"listening-rate": rate, "listening-kill": kill, "listening-first": first}
"""By the name of the command."""


if __name__ == "__main__":
    job = {"rate": rate_job, "first": first_job}[sys.argv[1]]
    print(json.dumps(job(int(sys.argv[2]))))

"""Files visits in child processes and kills them: run by test_book_crash.py in a process of its
own, which never uses the column library's threads itself and so may fork.

Usage: python book_filing.py FOLDER RANDOM_KILLS
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

# Loaded once, before the forks, because each child needs them.
import polars  # noqa: F401
import zstandard  # noqa: F401
from tests.book_samples import NOW_US, full_content, new_visit, some_frames, some_messages

from shearbolt.book import Book

STARTS_US = (0, 1_000_000_000)


def recording(number: int) -> bytes:
    """Return the bytes of a made-up recording, long enough for several chunks."""
    return random.Random(number).randbytes(1_100_000)


def file_visit(book: Book, folder: Path, number: int) -> None:
    """File one visit with all kinds of files."""
    raw = folder / f"{number}.log"
    raw.write_bytes(recording(number))
    with book.stage() as stage:
        job = stage.evidence(raw)
        # The copying thread's steps come before the rest, so that each run has the same.
        job.wait()
        stage.frames(some_frames(40))
        stage.messages(some_messages())
        with book.writing() as w:
            machine = w.add_machine(f"Machine {number}", name_given=True, now_us=NOW_US)
            fault = w.ensure_fault(machine.id, None, "j1939", spn=110, fmi=0, now_us=NOW_US)
            w.file(
                stage,
                new_visit(
                    machine.id,
                    full_content(STARTS_US[number]),
                    faults=(fault.id,),
                    file=str(number),
                ),
            )
    book.checkpoint("stage closed")


def work(folder: Path, visits: tuple[int, ...], checkpoint: Callable[[str], None]) -> None:
    """Open or make a book and file visits in it."""
    with Book.open(folder / "book", checkpoint=checkpoint) as book:
        for number in visits:
            file_visit(book, folder, number)


def in_child(task: Callable[[], None], delay_s: float | None = None) -> bool:
    """Do something in a child, killed after a while where one is given; tell if it was killed."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            task()
            status = 0
        finally:
            os._exit(status)
    if delay_s is not None:
        time.sleep(delay_s)  # the moment of the kill is the test's input
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise SystemExit("a child failed by itself")
    return os.WIFSIGNALED(status)


def killed_at(folder: Path, visits: tuple[int, ...], step: int) -> bool:
    """Work in a child that dies at its n-th checkpoint; False: it had fewer."""
    seen = 0

    def count(_name: str) -> None:
        nonlocal seen
        if seen == step:
            os.kill(os.getpid(), signal.SIGKILL)
        seen += 1

    return in_child(lambda: work(folder, visits, count))


def main() -> None:
    """Leave one folder a kill: born-*, step-* and kill-*."""
    folder, kills = Path(sys.argv[1]), int(sys.argv[2])

    def fresh(name: str, like: Path | None = None) -> Path:
        if like is None:
            (folder / name).mkdir()
        else:
            shutil.copytree(like, folder / name)
        return folder / name

    step = 0
    while killed_at(fresh(f"born-{step}"), (), step):
        step += 1
    base = fresh("base")
    in_child(lambda: work(base, (0,), lambda _name: None))
    step = 0
    while killed_at(fresh(f"step-{step:02d}", base), (1,), step):
        step += 1
    begun = time.monotonic()
    in_child(lambda: work(fresh("whole"), (0, 1), lambda _name: None))
    took_s = time.monotonic() - begun
    chance = random.Random(7)
    for number in range(kills):
        at = fresh(f"kill-{number:03d}")
        in_child(lambda at=at: work(at, (0, 1), lambda _name: None), chance.uniform(0, took_s))  # type: ignore[misc]
    print(step)


if __name__ == "__main__":
    main()

"""Protocol code and reasoning open nothing: frames in memory go in, values come out.

An audit hook (PEP 578) hears every file, socket and process that Python code opens. Tables of
facts are package data, read once and kept; they are warm before the hook listens.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from tests.bus_traffic import Bus, content_of, dtc, fault, name_of
from tests.road_traffic import converse

import shearbolt
from shearbolt.kernels import available
from shearbolt.model.frames import Frames, PlainFrame, frames_from
from shearbolt.reasoning.manners import CountLook, count_steps
from shearbolt.reasoning.standing import Look, standing

OPENING = (
    "open", "os.listdir", "os.scandir", "os.mkdir", "os.rename", "os.remove", "os.system",
    "os.exec", "os.posix_spawn", "os.fork", "subprocess.Popen", "socket.", "shutil.", "sqlite3.",
    "tempfile.", "glob.", "urllib.", "import",
)  # fmt: skip
_heard: list[list[tuple[str, tuple[Any, ...]]]] = []


def _hook(event: str, args: tuple[Any, ...]) -> None:
    if _heard and event.startswith(OPENING):
        _heard[-1].append((event, args))


sys.addaudithook(_hook)


@contextmanager
def listening() -> Iterator[list[tuple[str, tuple[Any, ...]]]]:
    """Hear what is opened meanwhile."""
    told: list[tuple[str, tuple[Any, ...]]] = []
    _heard.append(told)
    try:
        yield told
    finally:
        _heard.remove(told)


def recording() -> Frames:
    """Make frames that touch every decoder: reports, lists, transport, claims, a road tester."""
    bus = Bus()
    bus.claim(0.1, 0, name_of(5))
    bus.engine(0, 6)
    bus.alive(0, 8, 3)
    bus.dm1_each(0.5, 6, 0, dtc(110, 0), dtc(100, 1), lamps=0x10)
    bus.dm1_each(0.6, 6, 3)
    for i, pgn in enumerate((65227, 65229, 65230, 49664, 54016, 64950, 64951, 41728, 65260, 65254)):
        bus.tell(1.0 + i * 0.3, pgn, 0, b"\x0c\x6e\x00\x00\x01\x01\x3c\x40\x38\x55\x99\x00\x0c")
    bus.ask(5.0, 65235, 0)
    bus.answer(5.1, 0, 65235)
    rows = list(bus.rows)
    for at, (ident, data) in enumerate([(0x7DF, "0103"), (0x7E8, "0443010217"), (0x7DF, "020902")]):
        rows.append(PlainFrame(7_000_000 + at * 10_000, ident, bytes.fromhex(data), 0))
    rows.sort(key=lambda one: one.time_us)
    return frames_from(rows)


def test_the_hook_hears_a_file_being_opened(tmp_path: Path) -> None:
    with listening() as told:
        (tmp_path / "note").write_text("x")
    assert any(event == "open" for event, _ in told)


@pytest.mark.parametrize("kernel", sorted(available()))
def test_decoding_opens_nothing(kernel: str) -> None:
    frames = recording()
    content_of(frames, (), available()[kernel])
    with listening() as told:
        content = content_of(frames, (len(frames) // 2,), available()[kernel])
    assert told == []
    assert fault(content, 110).spells


def test_the_first_decode_reads_package_data_alone() -> None:
    """What warms the tables opens files of the package, and imports; nothing else."""
    from shearbolt.dictionary import tables
    from shearbolt.dictionary.merged import Dictionary

    package = Path(shearbolt.__file__).parent
    for one in vars(tables).values():
        clear = getattr(one, "cache_clear", None)
        if clear is not None:
            clear()
    with listening() as told:
        Dictionary.ours()
        content_of(recording())
    opened = [args[0] for event, args in told if event == "open"]
    strangers = [one for one in opened if not Path(str(one)).is_relative_to(package)]
    assert strangers == []
    assert {event for event, _ in told} <= {"open", "import", "os.listdir", "os.scandir"}


def test_reasoning_opens_nothing() -> None:
    content = content_of(recording())
    seen = fault(content, 110)
    look = Look("v", seen, content.latest_us, content.latest_us, content.clears)
    with listening() as told:
        standing([look, look])
        count_steps([CountLook(seen.spells, seen.counts)])
    assert told == []


def test_a_tester_dialogue_opens_nothing() -> None:
    talk = "7DF 02 01 0C; 7E8 04 41 0C 1A F8; 7DF 01 03; 7E8 04 43 01 02 17"
    converse(talk)
    with listening() as told:
        assert converse(talk)
    assert told == []

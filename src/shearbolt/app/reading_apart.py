"""What a process of the pool does for `bringing`: look at a recording, read one into a stage.

Errors travel as values: what is refused is a sentence here, not an exception.
"""

from __future__ import annotations

import os
import threading
from collections.abc import MutableSequence
from dataclasses import dataclass
from multiprocessing import parent_process
from pathlib import Path
from typing import Protocol

from shearbolt.app.filing import Asked, Read, open_all, read_recording
from shearbolt.app.freed_memory import keep_freed_memory
from shearbolt.book import Filled, Filling, hash_file
from shearbolt.dictionary.merged import Dictionary, dictionary_of
from shearbolt.errors import RecordingError
from shearbolt.model.instants import Instant
from shearbolt.recordings import open_recording


class Stopping(Protocol):
    """Set once the work was given up."""

    def is_set(self) -> bool:
        """Tell whether it is."""


class GivenUp(Exception):
    """The work was given up while a recording was read."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a look at a recording told."""

    own_time_us: Instant = 0
    """About when it began; 0 where it was refused."""
    sha256: str | None = None
    """Of its bytes, where it may be in the book already."""
    refused: str | None = None
    """Why it cannot be taken."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A recording that was read into a stage, or why it was not."""

    read: Read | None = None
    filled: Filled | None = None
    refused: str | None = None


@dataclass(slots=True)
class _Station:
    """What this process was given at its start."""

    dictionary: Dictionary
    asked: Asked
    stopping: Stopping
    done: MutableSequence[int]


_station: _Station | None = None


def begin(
    signals: str, codes: str, asked: Asked, stopping: Stopping, done: MutableSequence[int]
) -> None:
    """Set this process up; it ends when the one that started it does."""
    global _station
    keep_freed_memory()
    _station = _Station(dictionary_of(signals, codes), asked, stopping, done)
    threading.Thread(target=_end_with_parent, name="end with parent", daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def look(i: int, path: str, hash_it: bool) -> Seen:
    """Find when the file of this number began, and its hash if that is asked for.

    Raises ColumnsNeeded, BookError.
    """
    assert _station is not None
    return look_here(Path(path), _station.asked, hash_it)


def look_here(path: Path, asked: Asked, hash_it: bool = True) -> Seen:
    """Do the same in any process."""
    opened, refused = open_all([path], asked)
    if refused:
        return Seen(refused=refused[0][1])
    return Seen(opened[0][0], hash_file(path) if hash_it else None)


def read(i: int, path: str, folder: str) -> Taken:
    """Read the file of this number into the folder of a stage.

    Raises ColumnsNeeded; BookError when the disk does not take it; GivenUp.
    """
    station = _station
    assert station is not None

    def on_bytes(done: int) -> None:
        station.done[i] = done
        if station.stopping.is_set():
            raise GivenUp

    if station.stopping.is_set():
        raise GivenUp
    filling = Filling(Path(folder), Path(path))
    try:
        recording = open_recording(path, columns=station.asked.columns)
        told = read_recording(filling, Path(path), recording, station.dictionary, on_bytes)
        return Taken(told, filling.finish())
    except RecordingError as trouble:
        return Taken(refused=trouble.reason)
    finally:
        filling.close()

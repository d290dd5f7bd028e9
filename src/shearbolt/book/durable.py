"""Files that are whole after a power cut: written aside, synced, renamed, the folder synced."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

_CAN_SYNC_FOLDERS = os.name == "posix"


def sync_file(path: Path) -> None:
    """Wait until a file's bytes are on the disk."""
    # Opened for writing because some systems refuse to sync what is open for reading only.
    handle = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(path: Path) -> None:
    """Wait until a folder's entries are on the disk (where the system knows that)."""
    if not _CAN_SYNC_FOLDERS:
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(path: Path) -> None:
    """Make a folder and those above it, each of them synced into its parent."""
    if path.is_dir():
        return
    make_folder(path.parent)
    path.mkdir(exist_ok=True)
    sync_folder(path.parent)


def move(source: Path, target: Path) -> None:
    """Rename a synced file or folder into place, on the same disk, and sync the place.

    A file that is there already is replaced; a folder must not be there.
    """
    make_folder(target.parent)
    source.replace(target)
    sync_folder(target.parent)


def write_whole(path: Path, data: bytes) -> None:
    """Replace a file's content: after a crash it holds the old bytes or the new ones."""
    make_folder(path.parent)
    aside = path.with_name(path.name + ".new")
    with aside.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    move(aside, path)


def remove(path: Path) -> None:
    """Delete a file or a folder with all it holds; nothing there is fine."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)

"""Files that follow from the record and can be made again: kept for speed, lost without harm."""

from __future__ import annotations

import tempfile
from contextlib import suppress
from pathlib import Path

DERIVED = "derived"


class DerivedFiles:
    """A folder beside the record that holds nothing of its own, and is in no backup."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / DERIVED

    def read(self, name: str) -> bytes | None:
        """Return what was kept under a name; None: nothing that can be read."""
        try:
            return (self.folder / name).read_bytes()
        except OSError:
            return None

    def write(self, name: str, data: bytes) -> None:
        """Keep something, whole or not at all; a full or read-only disk is no trouble here.

        Nothing waits for the disk: what a power cut spoils is made again.
        """
        with suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=self.folder, delete=False) as out:
                out.write(data)
            try:
                Path(out.name).replace(self.folder / name)
            except OSError:
                Path(out.name).unlink(missing_ok=True)
                raise

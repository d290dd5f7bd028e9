"""The owner's own tables, plain text files that their owner may also edit elsewhere."""

from __future__ import annotations

from pathlib import Path

from shearbolt.book.durable import write_whole
from shearbolt.book.telling import told
from shearbolt.errors import BookError

SIGNALS_CSV = "signals.csv"
CODES_CSV = "codes.csv"


class OwnerFiles:
    """Signals and code texts of the owner; what is in them is the dictionary's matter."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "owner"

    def _load(self, name: str) -> str:
        path = self.folder / name
        try:
            with told(path):
                # A spreadsheet may have put a byte-order mark in front.
                return path.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError as trouble:
            raise BookError(
                f"{path}: byte {trouble.start} is no UTF-8 text; save it as 'CSV UTF-8'."
            ) from trouble

    def _read(self, name: str) -> str:
        return self._load(name) if (self.folder / name).exists() else ""

    def _save(self, name: str, text: str) -> None:
        with told(self.folder / name):
            write_whole(self.folder / name, text.encode())

    def signals(self) -> str:
        """Return the owner's signal rows as CSV text, '' where there are none.

        Raises BookError when the file cannot be read.
        """
        return self._read(SIGNALS_CSV)

    def save_signals(self, text: str) -> None:
        """Replace the owner's signal rows: whole or not at all. Raises BookError."""
        self._save(SIGNALS_CSV, text)

    def codes(self) -> str:
        """Return the owner's code texts as CSV text, '' where there are none. Raises BookError."""
        return self._read(CODES_CSV)

    def save_codes(self, text: str) -> None:
        """Replace the owner's code texts: whole or not at all. Raises BookError."""
        self._save(CODES_CSV, text)

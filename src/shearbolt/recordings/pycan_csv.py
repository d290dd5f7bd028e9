"""The comma-separated form of python-can: one frame a line, data in base64."""

from __future__ import annotations

import re
from binascii import Error as Base64Error
from binascii import a2b_base64

from shearbolt.model.frames import ERROR, EXTENDED, FD, REMOTE
from shearbolt.model.reading import TimeBase
from shearbolt.recordings.gather import FD_LENGTHS, UNNAMED_CHANNEL, check_identifier
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.source import HEAD_BYTES
from shearbolt.recordings.text import decoded, microseconds
from shearbolt.recordings.textual import TextRecording

HEADER = "timestamp,arbitration_id,extended,remote,error,dlc,data"
_LINE = re.compile(
    r"\s*(-?\d{1,13}(?:\.\d+)?(?:e[-+]?\d{1,2})?),0x([0-9a-fA-F]{1,8}),([01]),([01]),([01]),"
    r"(\d{1,2}),([A-Za-z0-9+/]*={0,2})\s*$"
).match
_DIGITS = "012345678"
_MOST_SEEN = 1 << 16
"""Identifiers remembered for fast reading."""
_EPOCH_FROM_US = 100_000_000 * 1_000_000
"""Times beyond this (March 1973) count from 1970; smaller ones from a zero of their own."""


def looks_like(head: bytes) -> bool:
    """Tell whether the first bytes of a file are of this kind."""
    lines = [line for line in decoded(head).splitlines()[:100] if line.strip()]
    if any(line.strip() == HEADER for line in lines[:3]):
        return True
    return bool(lines) and sum(_LINE(line) is not None for line in lines) * 2 > len(lines)


class PycanCsvRecording(TextRecording):
    """A recording in python-can's comma-separated form; it names no channel."""

    format = "csv"

    def __init__(self, source: ByteSource) -> None:
        """Look at the first times; raises RecordingError when the file cannot be opened."""
        super().__init__(source)
        self._base = TimeBase.RELATIVE
        self._seen: dict[str, tuple[int, int]] = {}
        for line in decoded(source.head(HEAD_BYTES)).splitlines():
            if found := _LINE(line):
                if float(found[1]) * 1e6 >= _EPOCH_FROM_US:
                    self._base = TimeBase.ABSOLUTE
                break

    @property
    def time_base(self) -> TimeBase:
        """Absolute where the times are seconds since 1970."""
        return self._base

    def read_lines(self, first: int, lines: list[str]) -> None:
        """Read a run of lines."""
        rows = self.gather.rows
        channel = self.channels.index(UNNAMED_CHANNEL)
        seen = self._seen
        for number, line in enumerate(lines, first):
            # The usual line: a classic frame of an identifier seen before.
            parts = line.split(",")
            if len(parts) == 7:
                known = seen.get(",".join(parts[1:5]))
                if known is not None:
                    try:
                        data = a2b_base64(parts[6].rstrip(), strict_mode=True)
                        at_us = microseconds(parts[0])
                    except (ValueError, OverflowError):
                        data = b""
                    if 0 < len(data) <= 8 and parts[5] == _DIGITS[len(data)]:
                        rows.append((at_us, known[0], known[1], channel, data, len(data)))
                        continue
            found = _LINE(line)
            if found is None:
                text = line.strip()
                if text and text != HEADER:
                    self.unread.add("line that does not have the file's columns", line=number)
                continue
            time, ident, extended, remote, error, length, text = found.groups()
            try:
                value, size = int(ident, 16), int(length)
                flags = (
                    (EXTENDED if extended == "1" else 0)
                    | (REMOTE if remote == "1" else 0)
                    | (ERROR if error == "1" else 0)
                )
                if wrong := check_identifier(value, extended == "1" or error == "1"):
                    raise ValueError(wrong)
                data = a2b_base64(text, strict_mode=True) if text else b""
                if size not in FD_LENGTHS:
                    raise ValueError("frame with an impossible length")
                if size > 8:
                    # The form has no column for it; only CAN FD has more than eight bytes.
                    flags |= FD
                if len(data) != size and not flags & REMOTE:
                    raise ValueError("frame whose data are not as long as its length")
                rows.append((microseconds(time), value, flags, channel, data, size))
                if not flags & ~EXTENDED and len(seen) < _MOST_SEEN:
                    seen[f"0x{ident},{extended},0,0"] = value, flags
            except Base64Error:
                self.unread.add("frame whose data cannot be read", line=number)
            except ValueError as trouble:
                self.unread.add(str(trouble), line=number)

"""Recordings of kind .asc: a header, then one event a line, most of them frames.

There is no public standard of this form; what is read here is common practice, checked against
python-can's reader and writer.
"""

from __future__ import annotations

import re

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
)
from shearbolt.model.instants import Instant
from shearbolt.recordings.dates import LOCAL_TIME, header_date
from shearbolt.recordings.gather import FD_LENGTHS, check_identifier
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.source import HEAD_BYTES
from shearbolt.recordings.text import LATEST_US, decoded, microseconds
from shearbolt.recordings.textual import TextRecording

_WAYS = {"Rx": 0, "Tx": SENT}
_SIZES = {str(size): size for size in range(1, 9)}
_HEADER = re.compile(
    r"date\s|base\s+(hex|dec)|(no\s+)?internal\s+events|begin\s+trigger|end\s+trigger|//|;"
    r"|previous\s+log\s*file|comment",
    re.IGNORECASE,
).match
_BASE = re.compile(r"base\s+(hex|dec)(?:\s+timestamps\s+(absolute|relative))?", re.IGNORECASE)
_DATE = re.compile(r"date\s+(.+)", re.IGNORECASE)
_TRIGGER = re.compile(r"begin\s+trigger\s*block\s*(.*)", re.IGNORECASE)
_LATER_ID = re.compile(r"\bID = (\d+)(x?)")
_FRAME_LIKE = re.compile(r"\s*\d+\.\d+\s+(?:\d+\s+\S+\s+(?:Rx|Tx)\s+[dr]\b|CANFD\s+\d+\s)").match

# First words, behind the time, of events that are no frames.
_EVENTS = frozenset(
    (
        *("can", "j1939tp", "lin", "l1", "li", "fr", "eth", "most", "gps", "diag"),
        *("sv:", "log", "logging", "start", "stop", "begin", "end", "trigger", "measurement"),
        *("tfs:", "tfs", "comment", "comment:", "statistic:", "statistic", "//", "previous"),
    )
)
# Words behind the channel of events that are no frames on the bus.
_CHANNEL_EVENTS = frozenset(
    ("statistic:", "statistic", "status:", "overloadframe", "chip", "error:", "sleep", "wake")
)
_FD_BIT, _REMOTE_BIT = 0x1000, 0x10
_MOST_SEEN = 1 << 16
"""Identifiers remembered for fast reading."""
_HEX_DIGITS = frozenset("0123456789ABCDEFabcdef")


def looks_like(head: bytes) -> bool:
    """Tell whether the first bytes of a file are of this kind."""
    lines = decoded(head).splitlines()[:200]
    for line in lines[:20]:
        if _BASE.match(line.strip()) or _TRIGGER.match(line.strip()):
            return True
    return sum(_FRAME_LIKE(line) is not None for line in lines) * 3 > len(lines)


class AscRecording(TextRecording):
    """A .asc recording."""

    format = "asc"

    def __init__(self, source: ByteSource) -> None:
        """Read the header; raises RecordingError when the file cannot be opened."""
        super().__init__(source)
        self._started: Instant | None = None
        self.begin()
        for line in decoded(source.head(HEAD_BYTES)).splitlines():
            text = line.strip()
            if date := _DATE.match(text):
                self._started = header_date(date[1])
            elif trigger := _TRIGGER.match(text):
                # A writer may put the time of writing into the header's date: the block decides.
                begun = header_date(trigger[1])
                self._started = self._started if begun is None else begun
                break
            elif _FRAME_LIKE(line):
                break

    @property
    def started_us(self) -> Instant | None:
        """Start by the header, its local date read as UTC."""
        return self._started

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read."""
        told = super().doubts()
        return told if self._started is None else (LOCAL_TIME, *told)

    def begin(self) -> None:
        """Forget what an earlier pass left behind."""
        self._seen: dict[str, tuple[int, int]] = {}
        self._numbers: dict[str, int] = {}
        self._decimal = False
        self._steps = False
        self._last_us = 0
        self._shift_us = 0
        self._block_start: Instant | None = None
        self._lost_step = False

    def read_lines(self, first: int, lines: list[str]) -> None:
        """Read a run of lines: the usual ones fast, all others with care."""
        usual = not (self._decimal or self._steps or self._block_start is not None)
        for number, line in enumerate(lines, first):
            if usual and self._usual(line):
                continue
            try:
                self._careful(line.strip())
            except ValueError as trouble:
                self.unread.add(str(trouble), line=number)
                self._lost_step = self._steps
            usual = not (self._decimal or self._steps or self._block_start is not None)
        if self._lost_step and not self.said:
            self.said.append(
                "times are written as steps from line to line; behind an unreadable line they may "
                "be early"
            )

    def _usual(self, line: str) -> bool:
        """Read the usual line: time, channel, identifier, Rx or Tx, d, length, data.

        False, with nothing done, when the line is any other; careful reading is for those.
        """
        try:
            time, channel, ident, way, mark, code, rest = line.split(None, 6)
            if mark != "d":
                return False
            size = _SIZES[code]
            data = bytes.fromhex(rest[: 3 * size - 1])
            if len(data) != size or rest[3 * size - 1 : 3 * size + 1].strip():
                return False
            if len(rest) > 3 * size and rest[3 * size :].lstrip()[:1] in _HEX_DIGITS:
                return False
            value, flags = self._seen[ident]
            at_us = int(float(time) * 1e6 + 0.5)
            if not 0 <= at_us < LATEST_US:
                return False
            row = (
                at_us + self._shift_us,
                value,
                flags | _WAYS[way],
                self._numbers[channel],
                data,
                size,
            )
        except (ValueError, KeyError, OverflowError):
            return False
        self._last_us = at_us
        self.gather.rows.append(row)
        return True

    def _careful(self, text: str) -> None:
        """Read one line of any kind; raises ValueError with the reason when it is none."""
        if not text:
            return
        if _HEADER(text):
            self._header(text)
            return
        words = text.split()
        try:
            at_us = self._instant(words[0])
        except ValueError:
            raise ValueError("line that begins with no time") from None
        if len(words) < 2:
            raise ValueError("line that ends behind the time")
        kind = words[1].lower()
        if kind.isdecimal() and len(kind) <= 3:
            self._classic(at_us, str(int(kind)), words, text)
        elif kind == "canfd":
            self._flexible(at_us, words)
        elif kind in _EVENTS:
            # Every file says once that it starts.
            self.other_lines += 0 if kind == "start" else 1
        else:
            raise ValueError("line that is neither a frame nor a known event")

    def _header(self, text: str) -> None:
        """Follow a header line wherever it stands."""
        if base := _BASE.match(text):
            self._decimal = base[1].lower() == "dec"
            self._steps = (base[2] or "").lower() == "relative"
        elif trigger := _TRIGGER.match(text):
            self._block_start = header_date(trigger[1])
        elif text.lower().startswith("comment"):
            self.other_lines += 1

    def _instant(self, text: str) -> int:
        """Read a time stamp, as it counts in this file; raises ValueError."""
        at_us = microseconds(text)
        if self._steps:
            self._last_us += at_us
            return self._last_us
        if self._block_start is not None:
            # A later block whose times begin again counts from its own date.
            if at_us < self._last_us and self._started is not None:
                self._shift_us = max(self._block_start - self._started, 0)
            self._block_start = None
        self._last_us = at_us
        return at_us

    def _classic(self, at_us: int, channel: str, words: list[str], text: str) -> None:
        """Read a line that names a channel."""
        if len(words) < 3:
            raise ValueError("line that ends behind the channel")
        what = words[2].lower()
        if what == "errorframe":
            self._add(at_us, 0, ERROR, channel, b"", 0)
            return
        if what in _CHANNEL_EVENTS:
            self.other_lines += 1
            return
        if len(words) < 5:
            raise ValueError("frame that is cut short")
        way = words[3].lower()
        if way == "txrq":
            # The wish to send; the frame itself follows on a line of its own.
            self.other_lines += 1
            return
        if way not in ("rx", "tx"):
            raise ValueError("line that is neither a frame nor a known event")
        ident, extended = self._identifier(words[2], text)
        flags = (EXTENDED if extended else 0) | (SENT if way == "tx" else 0)
        mark = words[4].lower()
        if mark == "r":
            asked = words[5] if len(words) > 5 else ""
            size = self._code(asked) if asked and asked.isalnum() and len(asked) <= 2 else 0
            self._add(at_us, ident, flags | REMOTE, channel, b"", min(size, 8))
            return
        if mark != "d" or len(words) < 6:
            raise ValueError("frame without its length")
        size = min(self._code(words[5]), 8)
        self._add(at_us, ident, flags, channel, self._bytes(words[6:], size), size)

    def _flexible(self, at_us: int, words: list[str]) -> None:
        """Read a line of a CAN FD channel; classic frames are written this way there too."""
        if len(words) < 5 or not words[2].isdecimal() or len(words[2]) > 3:
            raise ValueError("frame that is cut short")
        channel, way = str(int(words[2])), words[3].lower()
        if words[4].lower() == "errorframe":
            self._add(at_us, 0, ERROR | FD, channel, b"", 0)
            return
        if way not in ("rx", "tx"):
            raise ValueError("frame without its direction")
        ident, extended = self._identifier(words[4], "")
        # A symbolic name may stand before the two switches.
        at = 5 if words[5:7] and all(one in ("0", "1") for one in words[5:7]) else 6
        if len(words) < at + 4 or not words[at + 3].isdecimal():
            raise ValueError("frame without its length")
        switch, state = words[at], words[at + 1]
        code, size = self._code(words[at + 2]), int(words[at + 3])
        flags = (EXTENDED if extended else 0) | (SENT if way == "tx" else 0)
        behind = words[at + 4 + size :]
        bits = _FD_BIT
        if len(behind) > 2:
            try:
                bits = int(behind[2], 16)
            except ValueError:
                raise ValueError("frame whose data are not as long as its length") from None
        if bits & _REMOTE_BIT:
            self._add(at_us, ident, flags | REMOTE, channel, b"", min(code, 8))
            return
        if bits & _FD_BIT:
            flags |= FD
            flags |= (BITRATE_SWITCH if switch == "1" else 0) | (ERROR_STATE if state == "1" else 0)
        if size != (FD_LENGTHS[code] if bits & _FD_BIT else min(code, 8)):
            raise ValueError("frame whose two lengths disagree")
        self._add(
            at_us, ident, flags, channel, self._bytes(words[at + 4 : at + 4 + size], size), size
        )

    def _add(
        self, at_us: int, ident: int, flags: int, channel: str, data: bytes, size: int
    ) -> None:
        """Add a frame read with care."""
        number = self._numbers[channel] = self.channels.index(channel)
        self.gather.rows.append((at_us + self._shift_us, ident, flags, number, data, size))

    def _identifier(self, word: str, text: str) -> tuple[int, bool]:
        """Read an identifier; for a symbolic name the number may stand later in the line."""
        extended = word[-1:] in "xX"
        digits = word[:-1] if extended else word
        base, named = 10 if self._decimal else 16, False
        if not digits.isalnum() or not digits.isascii():
            raise ValueError("frame whose identifier is no number")
        try:
            ident = int(digits, base)
        except ValueError:
            # A name: it is not remembered, its number stands in each line anew.
            later = _LATER_ID.search(text)
            if later is None:
                raise ValueError("frame whose identifier is no number") from None
            named = True
            ident, extended = int(later[1]), bool(later[2])
        if wrong := check_identifier(ident, extended):
            raise ValueError(wrong)
        if not self._decimal and len(self._seen) < _MOST_SEEN and not named:
            self._seen[word] = ident, EXTENDED if extended else 0
        return ident, extended

    def _code(self, word: str) -> int:
        """Read a data length code, 0 to 15."""
        try:
            code = int(word, 10 if self._decimal else 16)
        except ValueError:
            raise ValueError("frame without its length") from None
        if not 0 <= code <= 15:
            raise ValueError("frame with an impossible length")
        return code

    def _bytes(self, words: list[str], size: int) -> bytes:
        """Read `size` data bytes; raises ValueError when there are fewer."""
        if len(words) < size or (len(words) > size and self._looks_like_byte(words[size])):
            raise ValueError("frame whose data are not as long as its length")
        try:
            if self._decimal:
                return bytes(int(one) for one in words[:size])
            if any(len(one) != 2 for one in words[:size]):
                raise ValueError
            return bytes.fromhex("".join(words[:size]))
        except ValueError:
            raise ValueError("frame whose data cannot be read") from None

    def _looks_like_byte(self, word: str) -> bool:
        """Tell whether a word could be one more data byte."""
        if self._decimal:
            return word.isdecimal() and int(word) < 256
        return len(word) == 2 and all(one in "0123456789ABCDEFabcdef" for one in word)

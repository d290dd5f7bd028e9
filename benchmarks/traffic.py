"""Made-up traffic of one working machine as candump -L text, as much as wanted, quickly.

About 800 frames a second of some 70 groups and six senders at the rates of SAE J1939-71, with
broadcast sessions (DM1 of two codes, an engine configuration), proprietary groups and requests.
Values wander; which bytes are 'not available' follows a fixed pattern a group.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]

START_S = 1_778_738_400
"""First frame: an invented morning in May 2026."""
STRETCH_S = 50
"""Traffic is made this many seconds at a time."""
LINE_BYTES = 26 + 8 + 1 + 16 + 1

# Identifier, period in ms, eight bytes: v wanders over its range, w a 16-bit value (two letters),
# u a 32-bit counter (four letters), s states that seldom change, F not available, 0 zero.
GROUPS = """
0CF00400 20 svvwwsFv | 0CF00300 20 svvwwFFF | 0CF00203 10 swwvswwF | 18F00100 33 ssvvssFF
18FEBF0B 100 wwvvvvFF | 18F00503 100 vwwvFFFF | 18FEF100 100 swwssvFs | 18FDC40B 100 vvvvvvvv
18F00E51 50 wwwwssFF | 18F00F52 50 wwwwssFF | 18FEDF00 20 vwwvvFFF | 18F00B00 50 wwwwFFFF
0CF00A00 50 wwwwvvFF | 18FEF200 100 wwwwvFFF | 18FEF500 1000 vwwwwwwv | 18FEEE00 1000 vvwwwwvF
18FEEF00 500 vvvvwwvv | 18FEF600 500 vvvwwvvF | 18FEF700 1000 FvFFwwww | 18FEFC00 1000 vvFFFFFF
18FEE500 1000 uuuuuuuu | 18FEE900 1000 uuuuuuuu | 18FEE000 1000 uuuuuuuu | 18FEE600 1000 vvvvwwvv
18FEFF00 10000 sFFFFFFF | 18FEA400 1000 wwFFFFFF | 18FE5600 1000 vvvwwFFF | 18FD7C00 1000 ssssssss
18FDB200 500 wwwwwwFF | 18FDB300 500 wwwwFFFF | 18FDB400 500 wwwwwwFF | 18FDD500 1000 wwvFFFFF
18FD9400 100 wwwwFFFF | 18FCBD00 1000 wwvvFFFF | 18FDA400 100 wwvvFFFF | 18FEDB00 1000 wwwwvvFF
18FE6900 1000 wwwwFFFF | 18FEB300 1000 wwwwFFFF | 18FE4A03 1000 vvFFFFFF | 18FEF803 1000 vvwwvFFF
18FED903 100 ssssFFFF | 18FE6C27 100 swwswwww | 18FEC103 1000 uuuuuuuu | 18FEE617 5000 vvvvwwvv
18FEE827 200 wwwwwwww | 18FEF327 200 uuuuuuuu | 18FE4327 100 wwFFFFFF | 18FE4427 100 wwsFFFFF
18FE4527 100 vssvvFFF | 18FE4627 100 vvvvsFFF | 18FE4727 100 vvwwFFFF | 18FEAE30 1000 FFvvFFFF
18FECA03 1000 00000000 | 18FECA0B 1000 00000000 | 18FECA27 1000 00000000 | 18FDB800 1000 wwssFFFF
18FF0100 100 vvvvvvvv | 18FF0203 50 vvvvwwww | 18FF0527 50 vvvvwwww | 18FF2100 100 ssvvvvvv
0CEF2700 50 svvwwwws | 0CEF0027 50 svvwwwws | 18EF0300 100 svvvvvvv | 18FFFF27 500 ssssvvvv
0C000003 50 svvvFFFF | 0C000027 50 svvvFFFF | 1CFE9B27 500 wwwwFFFF | 18FE0F27 100 vvwwFFFF
18FEAD00 1000 wwFFFFFF | 18FE9200 1000 vvvvvvvv | 18FD8A00 1000 wwwwFFFF | 18FD2000 500 vvwwFFFF
"""
REQUESTS = ((0x18EA0027, 1.0, 65253), (0x18EAFF27, 5.0, 65251), (0x18EA0003, 0.25, 65217))
"""Identifier, period in seconds, group asked for: frames of three bytes (SAE J1939-21 5.4.2)."""
BROADCASTS = ((0x00, 1.0, 65226, 10), (0x27, 4.0, 65251, 39), (0x03, 10.0, 65242, 25))
"""Sender, period in seconds, group, bytes: sent as BAM with 50 ms between the packets."""


def parsed_groups() -> list[tuple[int, float, str]]:
    """Return identifier, period in seconds and pattern of each group."""
    found = []
    for cell in GROUPS.replace("\n", "|").split("|"):
        if cell.strip():
            ident, period, *pattern = cell.split()
            text = "".join(pattern)
            assert len(text) == 8, cell
            found.append((int(ident, 16), int(period) / 1000, text))
    return found


def _payload(pattern: str, times: Ints, rng: np.random.Generator) -> Bytes:
    """Make the data of one group at the given instants (microseconds)."""
    data = np.zeros((len(times), 8), np.uint8)
    seconds = times / 1e6
    at = 0
    while at < 8:
        kind = pattern[at]
        width = {"w": 2, "u": 4}.get(kind, 1)
        pace = 1 / rng.uniform(3, 90)
        turn = rng.uniform(0, 6.28)
        wave = np.sin(seconds * pace * 6.28 + turn) * 0.4 + 0.5
        if kind == "v":
            data[:, at] = wave * 240 + rng.integers(0, 3, len(times))
        elif kind == "w":
            data[:, at : at + 2] = (
                (wave * 60_000 + rng.integers(0, 9, len(times)))
                .astype("<u2")[:, None]
                .view(np.uint8)
            )
        elif kind == "u":
            data[:, at : at + 4] = (
                (1_000_000 + times % 10**12 // 180_000_000).astype("<u4")[:, None].view(np.uint8)
            )
        elif kind == "s":
            data[:, at] = np.where(wave > 0.8, 0b01_00_01_00, 0b00_11_00_11)
        elif kind == "F":
            data[:, at] = 0xFF
        at += width
    return data


def _instants(period: float, first_s: int, rng: np.random.Generator) -> Ints:
    """Return when a group is sent in one stretch: even, with some jitter."""
    count = int(STRETCH_S / period)
    even = (np.arange(count) + 0.3) * period
    jitter = rng.uniform(0, min(period * 0.2, 0.002), count)
    return (first_s * 1_000_000 + ((even + jitter) * 1e6)).astype(np.int64)


def _broadcast(
    sender: int, period: float, group: int, size: int, first_s: int, rng: np.random.Generator
) -> tuple[Ints, Ints, Bytes]:
    packets = -(-size // 7)
    starts = _instants(period, first_s, rng) + 1000 * (7 + sender)
    times = (starts[:, None] + np.arange(packets + 1) * 50_000).ravel()
    payload = np.full(packets * 7, 0xFF, np.uint8)
    payload[:size] = rng.integers(0x20, 0x5B, size)
    if group == 65226:
        # Amber lamp; SPN 84 and 191, FMI 9, count 8 (SAE J1939-73 DM1).
        payload[:10] = [0x04, 0xFF, 84, 0, 9, 8, 191, 0, 9, 8]
    one = np.full((packets + 1, 8), 0xFF, np.uint8)
    one[0] = [32, size, 0, packets, 0xFF, group & 0xFF, group >> 8 & 0xFF, group >> 16]
    one[1:, 0] = np.arange(1, packets + 1)
    one[1:, 1:] = payload.reshape(packets, 7)
    ident = np.full(packets + 1, 0x1CEBFF00 | sender)
    ident[0] = 0x1CECFF00 | sender
    return times, np.tile(ident, len(starts)), np.tile(one, (len(starts), 1))


def stretch(number: int) -> tuple[Ints, Ints, Bytes]:
    """Make one stretch of traffic: instants (us), identifiers, data (n, 8), in order of time."""
    first_s = START_S + number * STRETCH_S
    rng = np.random.default_rng(number)
    times: list[Ints] = []
    idents: list[Ints] = []
    data: list[Bytes] = []
    for ident, period, pattern in parsed_groups():
        at = _instants(period, first_s, rng)
        times.append(at)
        idents.append(np.full(len(at), ident))
        # The same waves in every stretch, so that values run on over its end.
        data.append(_payload(pattern, at, np.random.default_rng(ident)))
    for ident, period, group in REQUESTS:
        at = _instants(period, first_s, rng)
        asked = np.array([group & 0xFF, group >> 8 & 0xFF, group >> 16, *[0xFF] * 5], np.uint8)
        times.append(at)
        idents.append(np.full(len(at), ident))
        data.append(np.tile(asked, (len(at), 1)))
    for sender, period, group, size in BROADCASTS:
        at, sent, payload = _broadcast(sender, period, group, size, first_s, rng)
        times.append(at)
        idents.append(sent)
        data.append(payload)
    when = np.concatenate(times)
    order = np.argsort(when, kind="stable")
    return when[order], np.concatenate(idents)[order], np.concatenate(data)[order]


_HEX = np.frombuffer(b"".join(b"%02X" % i for i in range(256)), "<u2")


def _digits(value: Ints, count: int) -> Bytes:
    powers = 10 ** np.arange(count - 1, -1, -1)
    return (value[:, None] // powers % 10 + 0x30).astype(np.uint8)


def sizes(ident: Ints) -> Ints:
    """Return the data bytes of each frame: three for requests, else eight."""
    return np.where((ident >> 16 & 0xFF) == 0xEA, 3, 8)


def text_of(when: Ints, ident: Ints, data: Bytes) -> bytes:
    """Write frames as lines of candump -L text."""
    lines = np.empty((len(when), LINE_BYTES), np.uint8)
    lines[:, :] = np.frombuffer(
        b"(0000000000.000000) can0 00000000#0000000000000000\n".ljust(LINE_BYTES), np.uint8
    )
    seconds, micros = np.divmod(when, 1_000_000)
    lines[:, 1:11] = _digits(seconds, 10)
    lines[:, 12:18] = _digits(micros, 6)
    parts = ident.astype(">u4")[:, None].view(np.uint8)
    lines[:, 25:33] = _HEX[parts].view(np.uint8)
    lines[:, 34:50] = _HEX[data].view(np.uint8)
    short = sizes(ident) == 3
    lines[short, 40] = 0x0A
    keep = np.ones((len(when), 51), np.bool_)
    keep[short, 41:] = False
    return lines[:, :51][keep].tobytes()


def texts(frames: int) -> Iterator[bytes]:
    """Give candump text of `frames` frames, a stretch at a time."""
    number = 0
    while frames > 0:
        when, ident, data = stretch(number)
        take = min(frames, len(when))
        yield text_of(when[:take], ident[:take], data[:take])
        frames -= take
        number += 1


def recording(frames: int) -> Path:
    """Return a file of `frames` frames of traffic, made once and kept in the temporary folder."""
    path = Path(tempfile.gettempdir()) / f"shearbolt-traffic-5-{frames}.log"
    if not path.exists():
        part = path.with_suffix(".part")
        with part.open("wb") as file:
            for text in texts(frames):
                file.write(text)
        part.rename(path)
    return path


class TrafficStream(io.RawIOBase):
    """The same text as a stream, made while it is read."""

    def __init__(self, frames: int) -> None:
        super().__init__()
        self._texts = texts(frames)
        self._rest = memoryview(b"")

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        if not self._rest:
            self._rest = memoryview(next(self._texts, b""))
        count = min(len(buffer), len(self._rest))
        buffer[:count] = self._rest[:count]
        self._rest = self._rest[count:]
        return count

"""Frames as candump -L text, the open form that recordings and the listening spool are kept in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    Frames,
)

ERROR_BIT = 0x20000000
"""Marks the identifier of an error frame in candump text."""
ERROR_BYTES = 8
"""An error frame of the adapter always has eight bytes of details."""


def candump_lines(frames: Frames) -> Iterator[str]:
    """Give one line a frame, line end included; directions as candump -x writes them (R or T),
    and only where something was sent.
    """
    time, ident = frames.time_us.tolist(), frames.ident.tolist()
    flags, channel = frames.flags.tolist(), frames.channel.tolist()
    length = frames.length.tolist()
    names = frames.channels
    any_sent = bool(np.any(frames.flags & SENT))
    plain = (frames.word.astype("<u8").tobytes()).hex().upper()
    for i, at in enumerate(time):
        flag = flags[i]
        name = f"{ident[i]:08X}" if flag & (EXTENDED | ERROR) else f"{ident[i]:03X}"
        if flag & ERROR:
            name = f"{ident[i] | ERROR_BIT:08X}"
        if flag & REMOTE:
            body = f"#R{length[i] or ''}"
        elif flag & FD:
            nibble = (1 if flag & BITRATE_SWITCH else 0) | (2 if flag & ERROR_STATE else 0)
            body = f"##{nibble:X}{frames.data(i).hex().upper()}"
        elif flag & ERROR and length[i] != ERROR_BYTES:
            body = "#0000000000000000"  # the details are not known
        else:
            body = f"#{plain[16 * i : 16 * i + 2 * length[i]]}"
        way = (" T" if flag & SENT else " R") if any_sent else ""
        sign, whole = ("-", -at) if at < 0 else ("", at)
        yield (
            f"({sign}{whole // 1_000_000:010d}.{whole % 1_000_000:06d}) "
            f"{names[channel[i]]} {name}{body}{way}\n"
        )

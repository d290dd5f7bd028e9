"""Error frames as Linux' CAN sockets tell them: the class in the identifier, details in the bytes.

Source: the kernel's user interface for CAN errors (linux/can/error.h), from memory. Other
interfaces tell only that there was an error.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import ERROR, I64, U64, Frames

CONTROLLER, PROTOCOL, NO_ACK, BUS_OFF = 0x04, 0x08, 0x20, 0x40
"""Classes: controller trouble (byte 2 says which), broken frame, nobody acknowledges, bus off."""
OVERFLOW = 0x01
"""In byte 2 of CONTROLLER: frames came faster than they were fetched, and some were lost."""
KINDS = ("overflow", "no_ack", "bus_off", "protocol")
"""What an error frame can be told to be."""


def errors_of(frames: Frames) -> npt.NDArray[np.bool_]:
    """Tell which rows are error frames."""
    return np.asarray((frames.flags & ERROR) != 0)


def _overflowed(ident: npt.NDArray[np.uint32], word: U64) -> npt.NDArray[np.bool_]:
    details = (word >> np.uint64(8)) & np.uint64(0xFF)
    return np.asarray(((ident & CONTROLLER) != 0) & ((details & np.uint64(OVERFLOW)) != 0))


def driver_overruns(frames: Frames) -> list[int]:
    """Count the rows that tell of lost frames, one number a channel."""
    rows = errors_of(frames)
    rows[rows] = _overflowed(frames.ident[rows], frames.word[rows])
    counted: I64 = np.bincount(frames.channel[rows], minlength=len(frames.channels))
    return [int(one) for one in counted]


def kinds_of(frames: Frames, channel: int) -> dict[str, int]:
    """Count the error frames of one channel by KINDS; those of no such kind are in none."""
    rows = errors_of(frames) & (frames.channel == channel)
    if not rows.any():
        return {}
    ident, word = frames.ident[rows], frames.word[rows]
    found = {
        "overflow": int(np.count_nonzero(_overflowed(ident, word))),
        "no_ack": int(np.count_nonzero(ident & NO_ACK)),
        "bus_off": int(np.count_nonzero(ident & BUS_OFF)),
        "protocol": int(np.count_nonzero(ident & PROTOCOL)),
    }
    return {kind: count for kind, count in found.items() if count}

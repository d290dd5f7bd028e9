"""Layouts of records that the open libraries write, for files whose own description is lost.

They write the description behind the records, so that a file cut short has none. A table without
headings is read by what stands in it; so are these records: each field must be what the layout
says in every one of them. Layouts after python-can's and our own writer, times as asammdf puts
them (8 bytes floating point, first); common practice, no standard.
"""

from __future__ import annotations

import numpy as np

from shearbolt.recordings.mdf4_fields import RawRun
from shearbolt.recordings.mdf4_layout import Field, Group
from shearbolt.recordings.mdf4_sorted import fits

_TIME = Field(0, 0, 64, 4)
_BYTES = 10
_HEAD = (("BusChannel", 1), ("ID", 4), ("IDE", 1), ("DLC", 1), ("DataLength", 1))
_FLAGS = (("EDL", 1), ("BRS", 1), ("ESI", 1))
_LEAST_RECORDS = 8
_LARGEST_ERROR_CLASS = 0x3FF
"""Identifiers of error frames are classes of errors; records above it are frames of the bus."""


def _layout(name: str, fields: tuple[tuple[str, int], ...]) -> Group:
    """Make a group whose fields stand one behind the other after the time."""
    at = 8
    out = {}
    for field, size in fields:
        out[field] = Field(at, 0, 8 * size, _BYTES if field == "DataBytes" else 0)
        at += size
    return Group(0, name, 0, 0, at, time=_TIME, fields=out)


def _usual() -> tuple[Group, ...]:
    """Return the layouts known."""
    out = [_layout("CAN_RemoteFrame", (*_HEAD, ("Dir", 1)))]
    for width in (8, 64):
        data = ("DataBytes", width)
        out.append(_layout("CAN_DataFrame", (*_HEAD, ("Dir", 1), data, *_FLAGS)))
        out.append(_layout("CAN_DataFrame", (*_HEAD, data, ("Dir", 1), *_FLAGS)))
    return tuple(out)


USUAL = _usual()


def layout_of(data: bytes) -> Group | None:
    """Tell the layout from the first records of a block; None unless exactly one fits all of them.

    Records that might as well be error frames are not told. Where short records fit, long ones
    that take several of them for one fit as well, and are no second answer.
    """
    found = [one for one in USUAL if fits(one, 0, data, 0) and is_frames(one, data)]
    shortest = min((one.size for one in found), default=0)
    found = [one for one in found if one.size == shortest]
    return found[0] if len(found) == 1 else None


def is_frames(group: Group, data: bytes) -> bool:
    """Tell whether records have what only frames have, and agree more closely than they must.

    Few records, and such as might be error frames, are not enough.
    """
    count = len(data) // group.size
    if count < _LEAST_RECORDS:
        return False
    rows = np.frombuffer(data, np.uint8, count * group.size).reshape(count, group.size)
    run = RawRun(group, rows)
    sent = run.number("Dir", count)
    if np.any(sent > 1) or np.any(run.number("BusChannel", count) > 32):
        return False
    if np.any(np.diff(run.times()) < 0):
        return False
    plain = (run.number("IDE", count) == 0) & (run.number("ID", count) <= _LARGEST_ERROR_CLASS)
    return group.name != "CAN_DataFrame" or bool(np.mean(plain) < 0.5)

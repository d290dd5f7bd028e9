"""Memory that was let go of is kept by the process for its next arrays, within a bound.

Reading a recording makes and lets go of the same large arrays block after block. The C library
gives each back to the system at once, and the system must clear it again before its next use: two
fifths of all pages of a large `add`, and a third of the system's share of its time (measured).
"""

from __future__ import annotations

import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Names of the two settings in the GNU C library's `malloc.h` (mallopt(3))."""
_KEPT = 64 << 20
"""Free bytes at the end of the heap from which they are given back."""
_LARGE = 32 << 20
"""Bytes from which an array has memory of its own, given back with it; the most there can be."""


def keep_freed_memory() -> None:
    """Keep up to 64 MiB of what was freed, where the C library knows how; else do nothing."""
    if sys.platform != "linux":
        return
    import ctypes

    try:
        library = ctypes.CDLL(None)
        # Other C libraries on Linux have no such settings, or give them other numbers.
        if not hasattr(library, "gnu_get_libc_version"):
            return
        library.mallopt(_MMAP_THRESHOLD, _LARGE)
        library.mallopt(_TRIM_THRESHOLD, _KEPT)
    except (OSError, AttributeError):
        return

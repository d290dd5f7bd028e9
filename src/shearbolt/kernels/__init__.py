"""Bytes to arrays: the loops over every byte and every frame, compiled or by NumPy, no I/O.

`best()` is the one in use: the compiled one where it was built, else its NumPy twin, which gives
equal results. The environment variable SHEARBOLT_KERNELS=numpy chooses the twin.
"""

from __future__ import annotations

import os
from functools import cache

from shearbolt.kernels.interface import (
    MAX_CHANNELS,
    Columns,
    Decoded,
    FrameColumns,
    Groups,
    Kernel,
    Layout,
    LayoutTable,
    Parsed,
    Text,
    layout_table,
    room_for,
)
from shearbolt.kernels.payloads import payload_words, windows

__all__ = [
    "MAX_CHANNELS",
    "Columns",
    "Decoded",
    "FrameColumns",
    "Groups",
    "Kernel",
    "Layout",
    "LayoutTable",
    "Parsed",
    "Text",
    "available",
    "best",
    "layout_table",
    "payload_words",
    "room_for",
    "windows",
]


def _numpy_kernel() -> Kernel:
    # Late: where the compiled one runs, nothing of the twin is needed.
    from shearbolt.kernels.twin import NumpyKernel

    return NumpyKernel()


def _compiled_kernel() -> Kernel | None:
    try:
        from shearbolt.kernels.compiled import CompiledKernel
    except ImportError:
        return None
    return CompiledKernel()


def available() -> dict[str, Kernel]:
    """Return the kernels that can run here, by name: 'numpy' always, 'compiled' where built."""
    compiled = _compiled_kernel()
    return {"numpy": _numpy_kernel()} | ({} if compiled is None else {"compiled": compiled})


@cache
def best() -> Kernel:
    """Return the kernel to use: compiled where it can be, unless SHEARBOLT_KERNELS=numpy."""
    if os.environ.get("SHEARBOLT_KERNELS") == "numpy":
        return _numpy_kernel()
    return _compiled_kernel() or _numpy_kernel()

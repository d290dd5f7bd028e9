"""The second-by-second state of a visit: what the reasoning works on instead of single frames."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import I64, U8

F32: TypeAlias = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, order=True)
class StateKey:
    """One parameter of one sender."""

    channel: str
    address: int
    spn: int


@dataclass(frozen=True, slots=True)
class StateColumn:
    """One parameter of one sender, one entry a second of its table; NaN where it told no number."""

    last: F32
    """Last number in the second."""
    low: F32
    """Smallest number in the second."""
    high: F32
    """Largest number in the second."""
    status: U8
    """Status of the last sample in the second (model.signal); SILENT where there was none."""


SILENT = 255
"""Status of a second without a sample."""


@dataclass(frozen=True, slots=True)
class StateTable:
    """State of all machines heard in one visit."""

    second: I64
    """Whole seconds of the visit's own clock in which anything was heard, rising."""
    columns: Mapping[StateKey, StateColumn]
    """Every array as long as `second`."""

    def __len__(self) -> int:
        return len(self.second)

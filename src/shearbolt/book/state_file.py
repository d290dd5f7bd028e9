"""A visit's second-by-second state as one Parquet file, four columns a parameter and sender."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from shearbolt.errors import BookDamaged
from shearbolt.model.state import StateColumn, StateKey, StateTable

if TYPE_CHECKING:
    import polars as pl

STATE = "state.parquet"
"""Name of the file in a visit's folder of signals."""
_PARTS = ("last", "low", "high", "status")
_MARK = "|"


def _name(key: StateKey, part: str) -> str:
    return _MARK.join((str(key.address), str(key.spn), part, key.channel))


def state_frame(table: StateTable) -> pl.DataFrame:
    """Lay a state table out as columns."""
    import polars as pl

    columns = [pl.Series("second", table.second)]
    for key, column in table.columns.items():
        for part in _PARTS:
            columns.append(pl.Series(_name(key, part), getattr(column, part)))
    return pl.DataFrame(columns)


def read_state(path: Path) -> StateTable:
    """Read a state table back. Raises BookDamaged when it is missing or cannot be read."""
    import polars as pl

    try:
        frame = pl.read_parquet(path)
        second = frame["second"].to_numpy().astype(np.int64)
        found: dict[StateKey, dict[str, np.ndarray[tuple[int], np.dtype[np.generic]]]] = {}
        for name in frame.columns:
            if name == "second":
                continue
            address, spn, part, channel = name.split(_MARK, 3)
            key = StateKey(channel, int(address), int(spn))
            found.setdefault(key, {})[part] = frame[name].to_numpy()
        return StateTable(
            second,
            {
                key: StateColumn(
                    parts["last"].astype(np.float32),
                    parts["low"].astype(np.float32),
                    parts["high"].astype(np.float32),
                    parts["status"].astype(np.uint8),
                )
                for key, parts in sorted(found.items())
            },
        )
    except FileNotFoundError:
        raise BookDamaged(f"{path}: the state of this visit is missing from the book.") from None
    except (pl.exceptions.PolarsError, KeyError, ValueError, OSError) as trouble:
        raise BookDamaged(f"{path}: cannot be read ({trouble}).") from None

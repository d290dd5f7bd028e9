"""Tables for other programs: one Parquet file of named columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from shearbolt.book.telling import told


def write_table(path: Path, blocks: Sequence[Mapping[str, Any]]) -> None:
    """Write blocks of equal columns as one Parquet file (zstd), whole or not at all.

    A column of a block is an array, a list, or one value for all its rows; the column `time_us`
    becomes a time in UTC. Raises BookError when the file cannot be written.
    """
    import polars as pl

    frames = []
    for block in blocks:
        rows = max(
            (
                len(one)
                for one in block.values()
                if hasattr(one, "__len__") and not isinstance(one, str)
            ),
            default=0,
        )
        if not rows:
            continue
        columns = []
        for name, values in block.items():
            if name == "time_us":
                at = values if values is not None else [None] * rows
                columns.append(pl.Series("time", at, dtype=pl.Int64).cast(pl.Datetime("us", "UTC")))
            elif isinstance(values, str | int | float) or values is None:
                columns.append(pl.repeat(values, rows, eager=True).alias(name))
            else:
                columns.append(pl.Series(name, values))
        frames.append(pl.DataFrame(columns))
    table = pl.concat(frames) if frames else pl.DataFrame()
    if "value" in table.columns:
        table = table.with_columns(pl.col("value").fill_nan(None))
    aside = path.with_name(path.name + ".part")
    with told(path):
        try:
            table.write_parquet(aside, compression="zstd")
            aside.replace(path)
        finally:
            aside.unlink(missing_ok=True)

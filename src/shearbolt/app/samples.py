"""The decoded samples of a visit: in the document, as CSV, or as Parquet."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

import numpy as np

from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.documents import Progress, Sample, Signal, SignalsAsked, SignalsDocument
from shearbolt.book import Book, Visit
from shearbolt.book.table_file import write_table
from shearbolt.decode.columns import BlockDecoder
from shearbolt.decode.road import ISO_TP_GROUP, RoadTalk
from shearbolt.dictionary.merged import Dictionary
from shearbolt.errors import UsageError
from shearbolt.model.frames import F64, I64, U8
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.model.signal import NUMBER, STATUS_WORDS, SignalColumn

COLUMNS = ("time", "at_s", "channel", "address", "spn", "name", "value", "unit", "status")


@dataclass(slots=True)
class _Gathered:
    """The samples of one parameter of one sender."""

    column: SignalColumn
    pieces: list[SignalColumn]

    @property
    def time_us(self) -> I64:
        return np.concatenate([one.time_us for one in self.pieces])

    @property
    def value(self) -> F64:
        return np.concatenate([one.value for one in self.pieces])

    @property
    def status(self) -> U8:
        return np.concatenate([one.status for one in self.pieces])


def columns_of(
    book: Book, visit: Visit, dictionary: Dictionary, asked: SignalsAsked
) -> Iterator[SignalColumn]:
    """Decode a visit's frames anew, so that corrected and owner's rows count for old visits too.

    Gives the wanted columns block by block.
    """
    groups = None
    if asked.spns:
        groups = sorted({row.pgn for spn in asked.spns for row in dictionary.rows_of_spn(spn)})
    sources = [asked.address] if asked.address is not None else None
    low, high = _bound(visit, asked.from_), _bound(visit, asked.to)
    decoder = BlockDecoder(dictionary)
    for frames in book.frame_blocks(visit.id, groups, sources):
        for column in decoder.feed(frames).columns():
            if (kept := _wanted(column, asked, low, high)) is not None:
                yield kept
    if groups is not None:
        # Without a choice of groups the transport frames were read above.
        messages = book.messages(visit.id, groups)
        chosen = [one for one in messages if asked.address in (None, one.source)]
        for column in decoder.long_columns(chosen, visit.channels):
            if (kept := _wanted(column, asked, low, high)) is not None:
                yield kept
    if _has_tester(book, visit):
        road = RoadTalk()
        for frames in book.frame_blocks(visit.id):
            road.feed(frames)
        road.finish()
        for column in road.columns(visit.channels):
            if (kept := _wanted(column, asked, low, high)) is not None:
                yield kept


def _has_tester(book: Book, visit: Visit) -> bool:
    """Tell whether a tester's readings are among a visit's signals."""
    return any(one.pgn == ISO_TP_GROUP for one in book.visit_content(visit.id).signals)


def _wanted(
    column: SignalColumn, asked: SignalsAsked, low: int | None, high: int | None
) -> SignalColumn | None:
    if asked.spns and column.row.spn not in asked.spns:
        return None
    if asked.address is not None and column.address != asked.address:
        return None
    if low is None and high is None:
        return column
    inside = np.ones(len(column.time_us), bool)
    if low is not None:
        inside &= column.time_us >= low
    if high is not None:
        inside &= column.time_us <= high
    if not inside.any():
        return None
    return SignalColumn(
        column.channel,
        column.address,
        column.row,
        column.time_us[inside],
        column.value[inside],
        column.status[inside],
    )


def _bound(visit: Visit, text: str | None) -> int | None:
    """Read a bound: an ISO 8601 time, or seconds from the first frame."""
    if text is None:
        return None
    try:
        return visit.first_us + round(float(text) * SECOND_US)
    except ValueError:
        pass
    try:
        instant = from_iso(text)
    except ValueError:
        raise UsageError(
            f"{text!r} is neither a time like 2026-05-14T06:12:09 nor seconds from the start."
        ) from None
    if visit.zero_us is None:
        raise UsageError("This visit has no date; give the bound in seconds from its first frame.")
    return instant - visit.zero_us


def signals_document(
    book: Book,
    visit: Visit,
    tables: FactTables,
    asked: SignalsAsked,
    *,
    with_samples: bool,
    progress: Progress,
) -> SignalsDocument:
    """Give the samples asked for; in a file where one is named, else in the document."""
    if asked.csv and asked.parquet:
        raise UsageError("Give either --csv or --parquet, not both.")
    gathered: dict[tuple[str, int, int, int], _Gathered] = {}
    for column in columns_of(book, visit, tables.dictionary, asked):
        key = column.row.pgn, column.channel, column.address, column.row.spn
        one = gathered.setdefault((key[1], key[2], key[3], key[0]), _Gathered(column, []))
        one.pieces.append(column)
        progress(0, 0, "Decoding")
    ordered = [gathered[key] for key in sorted(gathered)]
    if asked.csv:
        with _fresh(Path(asked.csv)) as out:
            _write_csv(out, visit, ordered, tables)
    if asked.parquet:
        _write_parquet(Path(asked.parquet), visit, ordered, tables)
    to_file = bool(asked.csv or asked.parquet)
    shown = [
        _signal(visit, one, tables, with_samples=with_samples and not to_file) for one in ordered
    ]
    return {
        "schema": "shearbolt/signals/1",
        "visit": visit.id,
        "rows": sum(one["count"] for one in shown),
        "csv": asked.csv,
        "parquet": asked.parquet,
        "signals": shown,
    }


def _signal(visit: Visit, one: _Gathered, tables: FactTables, *, with_samples: bool) -> Signal:
    value, status, time_us = one.value, one.status, one.time_us
    numbers = value[status == NUMBER]
    samples: list[Sample] = []
    if with_samples:
        for at, number, state in zip(
            time_us.tolist(), value.tolist(), status.tolist(), strict=True
        ):
            samples.append(
                {
                    "at": moment(visit, at),
                    "at_s": seconds(visit, at),
                    "value": tidy(number) if state == NUMBER else None,
                    "status": None if state == NUMBER else (STATUS_WORDS[state] or None),
                }
            )
    row = one.column.row
    return {
        "spn": row.spn,
        "text": row.name,
        "unit": row.unit,
        "pgn": row.pgn,
        "channel": one.column.channel,
        "address": one.column.address,
        "own": row.owner,
        "count": len(value),
        "numbers": len(numbers),
        "low": tidy(float(numbers.min())) if len(numbers) else None,
        "high": tidy(float(numbers.max())) if len(numbers) else None,
        "first": tidy(float(numbers[0])) if len(numbers) else None,
        "last": tidy(float(numbers[-1])) if len(numbers) else None,
        "samples": samples,
    }


def tidy(number: float) -> float:
    """Round away what binary fractions add: 14.05 instead of 14.049999999999999."""
    return float(f"{number:.12g}")


@contextmanager
def _fresh(path: Path) -> Iterator[TextIO]:
    """Write a new file under a temporary name; nothing is left when writing fails."""
    aside = path.with_name(path.name + ".part")
    try:
        with aside.open("w", encoding="utf-8", newline="") as out:
            yield out
        aside.replace(path)
    except OSError as trouble:
        raise UsageError(f"{path} cannot be written: {trouble.strerror}.") from None
    finally:
        aside.unlink(missing_ok=True)


def _write_csv(out: TextIO, visit: Visit, ordered: Iterable[_Gathered], tables: FactTables) -> None:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in ordered:
        row, column = one.column.row, one.column
        for at, number, state in zip(
            one.time_us.tolist(), one.value.tolist(), one.status.tolist(), strict=True
        ):
            good = state == NUMBER
            writer.writerow(
                (
                    moment(visit, at) or "",
                    seconds(visit, at),
                    column.channel,
                    column.address,
                    row.spn,
                    row.name,
                    tidy(number) if good else "",
                    row.unit,
                    "" if good else STATUS_WORDS[state],
                )
            )


def _write_parquet(
    path: Path, visit: Visit, ordered: Iterable[_Gathered], tables: FactTables
) -> None:
    """Write one long table; the book's own writer keeps the data-frame library."""
    zero = visit.zero_us
    blocks = []
    for one in ordered:
        good = one.status == NUMBER
        blocks.append(
            {
                "time_us": None if zero is None else one.time_us + zero,
                "at_s": (one.time_us - visit.first_us) / SECOND_US,
                "channel": one.column.channel,
                "address": one.column.address,
                "spn": one.column.row.spn,
                "name": one.column.row.name,
                "value": np.where(good, one.value, np.nan),
                "unit": one.column.row.unit,
                "status": [STATUS_WORDS[state] for state in one.status.tolist()],
            }
        )
    write_table(path, blocks)

"""The same signals for the libraries compared with: a cantools database, a DBC file, an MDF 4."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from cantools.database.can import Database, Message, Signal
from cantools.database.conversion import BaseConversion

from benchmarks import traffic
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.signals import signal_rows


def pgn_of(ident: int) -> int:
    """Return the group number (SAE J1939-21 5.2)."""
    pgn = ident >> 8 & 0x3FFFF
    return pgn if (pgn >> 8 & 0xFF) >= 240 else pgn & 0x3FF00


def message_of(ident: int, pgn: int):  # type: ignore[no-untyped-def]
    """Make a cantools message of a group's parameters that lie in one frame; None without any."""
    signals = [
        Signal(
            name=f"S{row.spn}_{i}",
            start=row.first_bit,
            length=row.length_bits,
            byte_order="little_endian",
            conversion=BaseConversion.factory(scale=row.resolution, offset=row.offset),
        )
        for i, row in enumerate(Dictionary.ours().rows_of_group(pgn))
        if row.first_bit + row.length_bits <= 64
    ]
    if not signals:
        return None
    return Message(
        frame_id=ident,
        name=f"G{ident:08X}",
        length=8,
        signals=signals,
        is_extended_frame=True,
        strict=False,
    )


def messages_by_pgn() -> dict[int, Message]:
    """Return cantools messages of all groups of the signal table."""
    groups = sorted({row.pgn for row in signal_rows()})
    found = {pgn: message_of(pgn << 8, pgn) for pgn in groups}
    return {pgn: message for pgn, message in found.items() if message is not None}


def write_database(path: Path) -> None:
    """Write a DBC file with one message for each identifier of the traffic."""
    idents = [ident for ident, _, _ in traffic.parsed_groups()]
    messages = [message_of(ident, pgn_of(ident)) for ident in idents]
    database = Database(messages=[one for one in messages if one is not None], strict=False)
    path.write_text(database.as_dbc_string(sort_signals=None))


def write_mdf(path: Path, frames: int) -> None:
    """Write the traffic as an ASAM MDF 4 bus log."""
    from asammdf import MDF, Source
    from asammdf import Signal as Samples

    when, ident, data = (
        np.concatenate(parts)[:frames]
        for parts in zip(*(traffic.stretch(i) for i in range(_stretches(frames))), strict=True)
    )
    inner = np.dtype(
        [
            ("CAN_DataFrame.BusChannel", "<u1"),
            ("CAN_DataFrame.ID", "<u4"),
            ("CAN_DataFrame.IDE", "<u1"),
            ("CAN_DataFrame.DLC", "<u1"),
            ("CAN_DataFrame.DataLength", "<u1"),
            ("CAN_DataFrame.DataBytes", "(8,)u1"),
        ]
    )
    rows = np.zeros(len(when), inner)
    rows["CAN_DataFrame.BusChannel"] = 1
    rows["CAN_DataFrame.ID"] = ident
    rows["CAN_DataFrame.IDE"] = 1
    rows["CAN_DataFrame.DLC"] = rows["CAN_DataFrame.DataLength"] = traffic.sizes(ident)
    rows["CAN_DataFrame.DataBytes"] = data
    bus = Source(
        name="CAN",
        path="CAN",
        comment="",
        source_type=Source.SOURCE_BUS,
        bus_type=Source.BUS_TYPE_CAN,
    )
    signal = Samples(
        samples=rows,
        timestamps=(when - when[0]) / 1e6,
        name="CAN_DataFrame",
        source=bus,
    )
    with MDF(version="4.10") as log:
        log.append([signal], acq_source=bus, common_timebase=True)
        group: Any = log.groups[-1].channel_group
        group.flags |= 0x6  # bus event, plain bus event
        log.save(path, overwrite=True)


def _stretches(frames: int) -> int:
    size = len(traffic.stretch(0)[0])
    return -(-frames // size)

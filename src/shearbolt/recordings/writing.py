"""Writing recordings: for the demo, the tests and the benchmarks, never for evidence.

candump text is written here, the other kinds by python-can's and asammdf's own writers, so that
the readers have a second authority. A writer refuses frames that its form cannot hold.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import numpy as np

from shearbolt.kernels.candump_lines import candump_lines
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
from shearbolt.recordings.gather import FD_LENGTHS


def write_candump(path: Path, blocks: Frames | Iterable[Frames]) -> None:
    """Write candump -L text; directions are written as its -x form does (R or T)."""
    with path.open("w", encoding="ascii", newline="\n") as out:
        for frames in _each(blocks):
            out.writelines(candump_lines(frames))


def write_asc(path: Path, blocks: Frames | Iterable[Frames]) -> None:
    """Write .asc with python-can; its header gives the start in local time."""
    from can.io.asc import ASCWriter

    _with_pycan(ASCWriter(str(path)), blocks)


def write_blf(path: Path, blocks: Frames | Iterable[Frames], **options: Any) -> None:
    """Write .blf with python-can; `options` go to its writer."""
    from can.io.blf import BLFWriter

    _with_pycan(BLFWriter(str(path), **options), blocks)


def write_trc(path: Path, blocks: Frames | Iterable[Frames]) -> None:
    """Write .trc 2.1 with python-can; raises ValueError for all but classic data frames."""
    from can.io.trc import TRCWriter

    _with_pycan(TRCWriter(str(path)), blocks, refused=FD | REMOTE | ERROR)


def write_pycan_csv(path: Path, blocks: Frames | Iterable[Frames]) -> None:
    """Write python-can's .csv; channels and directions are lost in it."""
    from can.io.csv import CSVWriter

    _with_pycan(CSVWriter(str(path)), blocks)


def _with_pycan(writer: Any, blocks: Frames | Iterable[Frames], refused: int = 0) -> None:
    """Hand frames to one of python-can's writers, one by one."""
    from can import Message

    try:
        for frames in _each(blocks):
            numbers = [_number(name, i) for i, name in enumerate(frames.channels)]
            for i in range(len(frames)):
                flags = int(frames.flags[i])
                if flags & refused:
                    raise ValueError("the form cannot hold remote, error or CAN FD frames")
                data = frames.data(i)
                writer.on_message_received(
                    Message(
                        timestamp=int(frames.time_us[i]) / 1e6,
                        arbitration_id=int(frames.ident[i]),
                        is_extended_id=bool(flags & EXTENDED),
                        is_remote_frame=bool(flags & REMOTE),
                        is_error_frame=bool(flags & ERROR),
                        is_fd=bool(flags & FD),
                        bitrate_switch=bool(flags & BITRATE_SWITCH),
                        error_state_indicator=bool(flags & ERROR_STATE),
                        is_rx=not flags & SENT,
                        # Its writers count channels from 0 and write them from 1.
                        channel=numbers[frames.channel[i]] - 1,
                        dlc=int(frames.length[i]),
                        data=data,
                    )
                )
    finally:
        writer.stop()


def _number(name: str, index: int) -> int:
    """Number a channel for the forms that number them: a number keeps itself."""
    return int(name) if name.isdecimal() and int(name) < 256 else index + 1


def _each(blocks: Frames | Iterable[Frames]) -> Iterable[Frames]:
    """Take one block for many."""
    return (blocks,) if isinstance(blocks, Frames) else blocks


def write_mdf4(path: Path, frames: Frames, *, compression: Literal[0, 1, 2] = 0) -> None:
    """Write an MDF 4 bus log with asammdf; times are absolute, `compression` 0, 1 or 2.

    The file's start is the first frame's second; data, error and remote frames get a group each.
    """
    from asammdf import MDF, Signal
    from asammdf.blocks.v4_blocks import SourceInformation
    from asammdf.blocks.v4_constants import BUS_TYPE_CAN, SOURCE_BUS

    start_us = int(frames.time_us.min(initial=1 << 62)) // 1_000_000 * 1_000_000
    source = SourceInformation(source_type=SOURCE_BUS, bus_type=BUS_TYPE_CAN)
    with MDF(version="4.10") as file:
        start = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=start_us)
        file.header.start_time = start
        for name, rows, make in _mdf_groups(frames):
            if not len(rows):
                continue
            file.append(
                Signal(
                    name=name,
                    samples=make(frames, rows, name),
                    timestamps=(frames.time_us[rows] - start_us) / 1e6,
                    source=source,
                )
            )
        # The library gives the file an ending of its own choice.
        with tempfile.TemporaryDirectory(dir=path.parent) as folder:
            written = file.save(Path(folder) / "log.mf4", compression=compression)
            Path(written).replace(path)


def _mdf_groups(
    frames: Frames,
) -> list[tuple[str, Any, Callable[[Frames, Any, str], Any]]]:
    """Split the rows by group: name, rows, and the maker of its records."""
    error = (frames.flags & ERROR) != 0
    remote = ((frames.flags & REMOTE) != 0) & ~error
    return [
        ("CAN_DataFrame", np.flatnonzero(~error & ~remote), _mdf_records),
        ("CAN_ErrorFrame", np.flatnonzero(error), _mdf_records),
        ("CAN_RemoteFrame", np.flatnonzero(remote), _mdf_records),
    ]


def _mdf_records(frames: Frames, rows: Any, name: str) -> Any:
    """Make the records of one group (ASAM MDF bus logging, CAN)."""
    fields: list[Any] = [
        (f"{name}.BusChannel", "<u1"),
        (f"{name}.ID", "<u4"),
        (f"{name}.IDE", "<u1"),
        (f"{name}.DLC", "<u1"),
        (f"{name}.DataLength", "<u1"),
        (f"{name}.Dir", "<u1"),
    ]
    flags, length = frames.flags[rows], frames.length[rows]
    has_data = name != "CAN_RemoteFrame"
    if has_data:
        # Classic frames need 8 bytes a record, CAN FD 64.
        width = 64 if bool(np.any(length > 8)) else 8
        fields += [(f"{name}.DataBytes", f"({width},)u1")]
        fields += [(f"{name}.{one}", "<u1") for one in ("EDL", "BRS", "ESI")]
    out = np.zeros(len(rows), np.dtype(fields))
    numbers = np.array([_number(one, i) for i, one in enumerate(frames.channels)], np.uint8)
    out[f"{name}.BusChannel"] = numbers[frames.channel[rows]]
    out[f"{name}.ID"] = frames.ident[rows]
    out[f"{name}.IDE"] = (flags & EXTENDED) != 0
    out[f"{name}.DLC"] = np.searchsorted(FD_LENGTHS, length)
    out[f"{name}.DataLength"] = length
    out[f"{name}.Dir"] = (flags & SENT) != 0
    if has_data:
        data = out[f"{name}.DataBytes"]
        data[:, :8] = frames.word[rows].astype("<u8").view(np.uint8).reshape(-1, 8)
        for one in np.flatnonzero(length > 8):
            data[one, : length[one]] = np.frombuffer(frames.data(int(rows[one])), np.uint8)
        out[f"{name}.EDL"] = (flags & FD) != 0
        out[f"{name}.BRS"] = (flags & BITRATE_SWITCH) != 0
        out[f"{name}.ESI"] = (flags & ERROR_STATE) != 0
    return out

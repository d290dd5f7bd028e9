"""What is measured, one job a fresh process: `python -m benchmarks.jobs JOB ARGUMENTS`.

Prints one line of JSON: seconds from the interpreter's own start to the end, the share that went
into imports, what was done, and peak memory.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shearbolt.recordings.source import FileSource

BEGIN = time.perf_counter()


def peak_mib() -> float:
    """Return the peak resident memory of this process alone, in MiB."""
    try:
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def ours(path: str, stream_frames: str = "0") -> dict[str, float]:
    """Decode a recording to columns and messages, handed on block by block and let go."""
    from shearbolt.decode.columns import BlockDecoder
    from shearbolt.dictionary.merged import Dictionary
    from shearbolt.kernels import best
    from shearbolt.recordings.candump import CandumpRecording
    from shearbolt.recordings.source import FileSource

    imported = time.perf_counter()
    source = _made(Path(path), int(stream_frames)) if int(stream_frames) else FileSource(Path(path))
    decoder = BlockDecoder(Dictionary.ours())
    frames = values = messages = 0
    for block in CandumpRecording(source).blocks():
        decoded = decoder.feed(block)
        frames += len(block)
        values += sum(len(column.value) for column in decoded.columns())
        messages += len(decoded.messages)
        del block, decoded
    decoder.finish()
    return {
        "frames": frames,
        "values": values,
        "messages": messages,
        "imports_s": imported - BEGIN,
        "compiled": float(best().name == "compiled"),
    }


def _made(path: Path, frames: int) -> FileSource:
    """Return traffic made while it is read, in the place of a file too long to keep."""
    import io

    from benchmarks import traffic
    from shearbolt.recordings.source import FileSource

    class Made(FileSource):
        def open(self, progress: object = None) -> io.BufferedReader:
            return io.BufferedReader(traffic.TrafficStream(frames), 1 << 20)

    return Made(path)


def loop(path: str, frames: str) -> dict[str, float]:
    """Read and decode `frames` frames one by one with python-can and cantools."""
    import can

    from benchmarks import rivals

    by_pgn = rivals.messages_by_pgn()
    imported = time.perf_counter()
    left, values = int(frames), 0
    for message in can.CanutilsLogReader(path):
        pgn = message.arbitration_id >> 8 & 0x3FFFF
        if (pgn >> 8 & 0xFF) < 240:
            pgn &= 0x3FF00
        known = by_pgn.get(pgn)
        if known is not None:
            values += len(
                known.decode(bytes(message.data), decode_choices=False, allow_truncated=True)
            )
        left -= 1
        if not left:
            break
    done = int(frames) - left
    return {
        "frames": done,
        "values": values,
        "imports_s": imported - BEGIN,
        "loop_s": time.perf_counter() - imported,
    }


def mdf(path: str, database: str) -> dict[str, float]:
    """Let asammdf decode the same frames from an MDF 4 bus log."""
    from asammdf import MDF

    imported = time.perf_counter()
    with MDF(path) as log:
        decoded = log.extract_bus_logging({"CAN": [(database, 0)]})
        values = sum(
            group.channel_group.cycles_nr * (len(group.channels) - 1) for group in decoded.groups
        )
        decoded.close()
    return {"values": values, "imports_s": imported - BEGIN}


JOBS: dict[str, Callable[..., dict[str, float]]] = {"ours": ours, "loop": loop, "mdf": mdf}


def main() -> None:
    """Run the job named on the command line."""
    told = JOBS[sys.argv[1]](*sys.argv[2:])
    told["peak_mib"] = peak_mib()
    print(json.dumps(told))


if __name__ == "__main__":
    main()

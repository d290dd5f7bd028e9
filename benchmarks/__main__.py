"""Run benchmarks: each prints what was measured, its ratio or limit, and whether the goal is met.

Every measurement is a fresh process, imports included. Figures are processor seconds (both sides
run in one thread), the best of three on either side, since other work on the machine only adds.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from benchmarks import listening, traffic

FRAMES = 5_000_000
LOOP_FRAMES = 200_000
MANY_FRAMES = 50_000_000


@dataclass(frozen=True, slots=True)
class Run:
    """One fresh process: processor and wall-clock seconds, and what it told."""

    cpu_s: float
    wall_s: float
    told: dict[str, float]


def run(command: list[str], *, twin: bool = False, told: bool = True) -> Run:
    """Run a command and measure it; raises CalledProcessError when it fails."""
    environment = {**os.environ, "SHEARBOLT_KERNELS": "numpy" if twin else ""}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begin = time.perf_counter()
    done = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
    wall = time.perf_counter() - begin
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(cpu, wall, json.loads(done.stdout.splitlines()[-1]) if told else {})


def job(*arguments: object, twin: bool = False, times: int = 1) -> Run:
    """Run a job of benchmarks.jobs, the best of `times`."""
    command = [sys.executable, "-m", "benchmarks.jobs", *map(str, arguments)]
    return min((run(command, twin=twin) for _ in range(times)), key=lambda one: one.cpu_s)


def verdict(name: str, figure: str, *, met: bool) -> bool:
    """Print one result."""
    print(f"  {name}: {figure}  {'(goal met)' if met else '(GOAL MISSED)'}", flush=True)
    return met


def _loop_s(path: Path, frames: int) -> float:
    """Measure the per-frame loop on the first frames, and reckon what it would take for all."""
    some = min(LOOP_FRAMES, frames)
    loop = job("loop", path, some, times=3)
    told = loop.told
    # What is not the loop (interpreter, imports) is counted once.
    share = told["loop_s"] / (told["loop_s"] + told["imports_s"])
    per_frame = loop.cpu_s * share / told["frames"]
    whole = loop.cpu_s * (1 - share) + per_frame * frames
    print(
        f"  python-can + cantools: {per_frame * 1e6:.2f} us/frame, "
        f"{told['values'] / told['frames']:.1f} values/frame, {whole:.1f} s for {frames:,} frames"
    )
    return whole


def _against_loop(frames: int, goal: float, *, twin: bool) -> bool:
    path = traffic.recording(frames)
    ours = job("ours", path, twin=twin, times=3)
    told = ours.told
    if twin == bool(told["compiled"]):
        return verdict("kernel", "the one to be measured is not built", met=False)
    print(
        f"  ours: {ours.cpu_s:.2f} s ({ours.wall_s:.2f} s by the clock), "
        f"{ours.cpu_s / told['frames'] * 1e9:.0f} ns/frame, "
        f"{ours.cpu_s / told['values'] * 1e9:.0f} ns/value, "
        f"{told['values'] / told['frames']:.1f} values/frame, {told['messages']:.0f} messages, "
        f"imports {told['imports_s'] / ours.wall_s:.0%}"
    )
    ratio = _loop_s(path, frames) / ours.cpu_s
    fast = verdict("ratio", f"{ratio:.0f} times as fast, goal {goal:.0f}", met=ratio >= goal)
    small = verdict("memory", f"{told['peak_mib']:.0f} MiB, goal 250", met=told["peak_mib"] <= 250)
    return fast and small


def decode(frames: int) -> bool:
    """Time candump text to columns and messages against python-can and cantools."""
    return _against_loop(frames, 60, twin=False)


def numpy(frames: int) -> bool:
    """Time the same by the NumPy twin."""
    return _against_loop(frames, 30, twin=True)


def mdf(frames: int) -> bool:
    """Time the same against asammdf's extract_bus_logging of the same frames from MDF 4."""
    from benchmarks import rivals

    ours = job("ours", traffic.recording(frames), times=3)
    with tempfile.TemporaryDirectory() as folder:
        log, database = Path(folder) / "traffic.mf4", Path(folder) / "traffic.dbc"
        rivals.write_mdf(log, frames)
        rivals.write_database(database)
        theirs = job("mdf", log, database, times=3)
    print(
        f"  asammdf: {theirs.cpu_s:.1f} s, {theirs.told['values']:,.0f} values; "
        f"ours: {ours.cpu_s:.2f} s, {ours.told['values']:,.0f} values"
    )
    ratio = theirs.cpu_s / ours.cpu_s
    return verdict("ratio", f"{ratio:.1f} times as fast, goal 4", met=ratio >= 4)


def memory(frames: int) -> bool:
    """Measure the peak memory of ten times as many frames, made while they are read."""
    many = frames * (MANY_FRAMES // FRAMES)
    told = job("ours", traffic.recording(min(frames, LOOP_FRAMES)), many).told
    assert told["frames"] == many
    peak = told["peak_mib"]
    return verdict("memory", f"{peak:.0f} MiB for {many:,} frames, goal 600", met=peak <= 600)


def help_page(frames: int) -> bool:
    """Time `shearbolt --help`, which must not import NumPy."""
    del frames
    code = (
        "import sys; sys.argv = ['shearbolt', '--help']\n"
        "from shearbolt.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(__import__('json').dumps({'numpy': float('numpy' in sys.modules)}))"
    )
    runs = [run([sys.executable, "-c", code]) for _ in range(5)]
    best = min(one.cpu_s for one in runs)
    quick = verdict("shearbolt --help", f"{best:.3f} s of CPU, goal 0.15", met=best < 0.15)
    bare = verdict("NumPy", "not imported", met=not runs[0].told["numpy"])
    return quick and bare


def add(frames: int) -> bool:
    """Time `shearbolt add` against the bare decode of the same file, by the clock."""
    path = traffic.recording(frames)
    bare = min((job("ours", path) for _ in range(3)), key=lambda one: one.wall_s)
    folder = Path(tempfile.mkdtemp())
    try:
        command = [sys.executable, "-c", "from shearbolt.cli import main; main()"]
        whole = run([*command, "--book", str(folder), "add", str(path)], told=False)
    finally:
        shutil.rmtree(folder)
    ratio = whole.wall_s / bare.wall_s
    print(f"  add: {whole.wall_s:.2f} s by the clock, bare decode {bare.wall_s:.2f} s")
    return verdict("ratio", f"{ratio:.1f} times the bare decode, goal 5", met=ratio <= 5)


BENCHMARKS: dict[str, Callable[[int], bool]] = {
    "decode": decode,
    "numpy": numpy,
    "mdf": mdf,
    "memory": memory,
    "help": help_page,
    "add": add,
    **listening.BENCHMARKS,
}
ONLY_BY_NAME = frozenset(listening.BENCHMARKS)
"""Those that take minutes by the clock."""


def main() -> int:
    """Run the benchmarks named; returns 1 when a goal was missed."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("name", nargs="*", choices=[[], *BENCHMARKS], default=[])
    parser.add_argument("--frames", type=int, default=FRAMES)
    options = parser.parse_args()
    met = True
    for name in options.name or [one for one in BENCHMARKS if one not in ONLY_BY_NAME]:
        title = (BENCHMARKS[name].__doc__ or "").splitlines()[0]
        print(f"{name}: {title}", flush=True)
        met &= BENCHMARKS[name](options.frames)
    return 0 if met else 1


if __name__ == "__main__":
    raise SystemExit(main())

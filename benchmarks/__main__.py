"""Run benchmarks: each prints what was measured, its ratio or limit, and whether the goal is met.

Every measurement is a fresh process, imports included, with its bytecode on disk as an installed
program has it. The two sides of a comparison take turns, since other work on the machine and its
clock rate come and go, and the best of three counts on either side. What runs in one thread is
compared by processor seconds, with those by the clock beside them; `add`, which works in several,
by the clock. The load average says how busy the machine was with other things.
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
TIMES = 3


@dataclass(frozen=True, slots=True)
class Run:
    """One fresh process: processor and wall-clock seconds, and what it told."""

    cpu_s: float
    wall_s: float
    told: dict[str, float]


def run(command: list[str], *, twin: bool = False, told: bool = True) -> Run:
    """Run a command and measure it; raises CalledProcessError when it fails."""
    environment = {**os.environ, "SHEARBOLT_KERNELS": "numpy" if twin else ""}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begin = time.perf_counter()
    done = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
    wall = time.perf_counter() - begin
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(cpu, wall, json.loads(done.stdout.splitlines()[-1]) if told else {})


def job(*arguments: object, twin: bool = False) -> Run:
    """Run a job of benchmarks.jobs."""
    return run([sys.executable, "-m", "benchmarks.jobs", *map(str, arguments)], twin=twin)


def in_turn(*sides: Callable[[], Run]) -> list[list[Run]]:
    """Run each side several times, taking turns; the runs of each side."""
    rounds = [[side() for side in sides] for _ in range(TIMES)]
    return [list(runs) for runs in zip(*rounds, strict=True)]


def best_cpu(runs: list[Run]) -> Run:
    """Return the run that took the least processor time."""
    return min(runs, key=lambda one: one.cpu_s)


def best_wall(runs: list[Run]) -> Run:
    """Return the run that was done soonest."""
    return min(runs, key=lambda one: one.wall_s)


def verdict(name: str, figure: str, *, met: bool) -> bool:
    """Print one result."""
    print(f"  {name}: {figure}  {'(goal met)' if met else '(GOAL MISSED)'}", flush=True)
    return met


def _extrapolated(loop: Run, frames: int) -> Run:
    """Reckon what the per-frame loop over the first frames would take for all."""
    told = loop.told
    # What is not the loop (interpreter, imports) is counted once.
    share = told["loop_s"] / (told["loop_s"] + told["imports_s"])
    times = (1 - share) + share * frames / told["frames"]
    return Run(loop.cpu_s * times, loop.wall_s * times, told)


def _against_loop(frames: int, goal: float, *, twin: bool) -> bool:
    path = traffic.recording(frames)
    ours, loops = in_turn(
        lambda: job("ours", path, twin=twin),
        lambda: _extrapolated(job("loop", path, min(LOOP_FRAMES, frames)), frames),
    )
    best, loop = best_cpu(ours), best_cpu(loops)
    told = best.told
    if twin == bool(told["compiled"]):
        return verdict("kernel", "the one to be measured is not built", met=False)
    print(
        f"  ours: {best.cpu_s:.2f} s ({best.wall_s:.2f} s by the clock), "
        f"{best.cpu_s / told['frames'] * 1e9:.0f} ns/frame, "
        f"{best.cpu_s / told['values'] * 1e9:.0f} ns/value, "
        f"{told['values'] / told['frames']:.1f} values/frame, {told['messages']:.0f} messages, "
        f"imports {told['imports_s'] / best.wall_s:.0%}"
    )
    print(
        f"  python-can + cantools: {loop.cpu_s / frames * 1e6:.2f} us/frame, "
        f"{loop.told['values'] / loop.told['frames']:.1f} values/frame, "
        f"{loop.cpu_s:.1f} s for {frames:,} frames"
    )
    ratio = loop.cpu_s / best.cpu_s
    by_clock = best_wall(loops).wall_s / best_wall(ours).wall_s
    figure = f"{ratio:.0f} times as fast ({by_clock:.0f} by the clock), goal {goal:.0f}"
    fast = verdict("ratio", figure, met=ratio >= goal)
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

    path = traffic.recording(frames)
    with tempfile.TemporaryDirectory() as folder:
        log, database = Path(folder) / "traffic.mf4", Path(folder) / "traffic.dbc"
        rivals.write_mdf(log, frames)
        rivals.write_database(database)
        ours_all, theirs_all = in_turn(lambda: job("ours", path), lambda: job("mdf", log, database))
    ours, theirs = best_cpu(ours_all), best_cpu(theirs_all)
    print(
        f"  asammdf: {theirs.cpu_s:.1f} s, {theirs.told['values']:,.0f} values; "
        f"ours: {ours.cpu_s:.2f} s, {ours.told['values']:,.0f} values"
    )
    ratio = theirs.cpu_s / ours.cpu_s
    by_clock = best_wall(theirs_all).wall_s / best_wall(ours_all).wall_s
    figure = f"{ratio:.1f} times as fast ({by_clock:.1f} by the clock), goal 4"
    return verdict("ratio", figure, met=ratio >= 4)


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

    def whole() -> Run:
        folder = Path(tempfile.mkdtemp())
        try:
            command = [sys.executable, "-c", "from shearbolt.cli import main; main()"]
            return run([*command, "--book", str(folder), "add", str(path)], told=False)
        finally:
            shutil.rmtree(folder)

    adds, bares = in_turn(whole, lambda: job("ours", path))
    add_best, bare = best_wall(adds), best_wall(bares)
    print(
        f"  add: {add_best.wall_s:.2f} s by the clock ({add_best.cpu_s:.2f} s of processors), "
        f"bare decode {bare.wall_s:.2f} s"
    )
    ratio = add_best.wall_s / bare.wall_s
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
        if hasattr(os, "getloadavg"):
            print(f"  load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    return 0 if met else 1


if __name__ == "__main__":
    raise SystemExit(main())

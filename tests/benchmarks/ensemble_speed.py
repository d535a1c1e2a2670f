"""How fast ensembles are: flights a second, threads against one, disk against memory, how near to C, start-up; and their memory.

    python tests/benchmarks/ensemble_speed.py [--flights N] [--mission FILE]     the two-stage demo, ascent and descent, outcomes kept
    python tests/benchmarks/ensemble_speed.py --million [--flights N]            peak memory of N (1,000,000) short flights on disk

Runs that are compared alternate in one process, and ratios of medians are printed: they mean something on a busy machine where
times do not. The share of C's speed is that of the kernel in `kernel_speed.py` (the spine's harness, run beside this one) times the
share of an ensemble's time that one thread spends inside the kernel.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src"), str(HERE)]

import sixdof  # noqa: E402
from sixdof.flight import runner  # noqa: E402

RUNS = 5
LEAST_BY_TWO, MOST_WRITING, MOST_STARTUP = 1.9, 0.10, 2.0


def timed(mission, flights, **arguments) -> float:
    begun = time.perf_counter()
    sixdof.disperse(mission, flights, seed=1, tracks="none", progress=False, **arguments)
    return time.perf_counter() - begun


def share_in_kernel(mission, flights) -> float:
    """Return which share of an ensemble's time one thread spends in the compiled kernel."""
    inside, fly = [0.0], runner.fly

    def watched(*arguments):
        begun = time.perf_counter()
        found = fly(*arguments)
        inside[0] += time.perf_counter() - begun
        return found

    runner.fly = watched
    try:
        whole = timed(mission, flights, threads=1)
    finally:
        runner.fly = fly
    return inside[0] / whole


def speed(mission, flights: int) -> bool:
    """Print the table of speeds; return whether the targets are met."""
    cores = os.cpu_count() or 1
    timed(mission, 8)
    batch = max(flights // (3 * RUNS), 16)
    times = {"one thread": [], "two threads": [], "two threads, on disk": []}
    with tempfile.TemporaryDirectory() as folder:
        for i in range(RUNS):
            times["one thread"].append(timed(mission, batch, threads=1))
            times["two threads"].append(timed(mission, batch, threads=2))
            times["two threads, on disk"].append(timed(mission, batch, threads=2, out=f"{folder}/{i}.zarr"))
    medians = {name: statistics.median(values) for name, values in times.items()}
    print(f"{mission.title}: {RUNS} runs of {batch} flights each, {cores} cores")
    for name, seconds in medians.items():
        print(f"  {name:<24}{batch / seconds:>8.1f} flights a second, 10,000 flights in {1e4 * seconds / batch:.0f} s")
    by_two = medians["one thread"] / medians["two threads"]
    writing = medians["two threads, on disk"] / medians["two threads"] - 1.0
    share = share_in_kernel(mission, batch)
    print(f"two threads against one: {by_two:.2f} times (at least {LEAST_BY_TWO} wanted)")
    print(f"writing costs {100.0 * writing:.1f} % of flying (less than {100.0 * MOST_WRITING:.0f} % wanted)")
    print(f"one thread spends {100.0 * share:.1f} % of its time in the kernel: times the kernel's share of C's speed, below, it is the ensemble's")
    return by_two >= LEAST_BY_TWO and writing < MOST_WRITING


START = """
import time
begun = time.perf_counter()
import sixdof
sixdof.disperse(sixdof.load_mission({mission!r}), 1, seed=1, progress=False)
print(time.perf_counter() - begun)
"""


def startup(path) -> float:
    """Return what a new process needs to its first flights with the kernels compiled before, s: the least of three."""
    code = START.format(mission=str(path))
    return min(float(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout) for _ in range(3))


def million(mission, flights: int) -> None:
    """Fly many flights of a second each, all on disk; print peak memory. Long flights leave rows of the same size."""
    short = mission.change({"solver.time_limit": 1.0})
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        ds = sixdof.disperse(short, flights, seed=1, tracks="none", out=f"{folder}/many.zarr")
        took = time.perf_counter() - begun
        mean = float(ds.airspeed_max.mean())
        size = sum(file.stat().st_size for file in Path(folder).rglob("*") if file.is_file())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"{ds.sizes['flight']} flights in {took:.0f} s, {size / 1e6:.0f} MB on disk, peak memory {peak:.0f} MB, mean of airspeed_max {mean:.3f} m/s")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mission", default=str(ROOT / "configs" / "two-stage.toml"))
    parser.add_argument("--flights", type=int)
    parser.add_argument("--million", action="store_true")
    options = parser.parse_args()
    mission = sixdof.load_mission(options.mission)
    if options.million:
        million(mission, options.flights or 1_000_000)
        return 0
    met = speed(mission, options.flights or 10_000)
    start = startup(options.mission)
    print(f"a warm second process flies after {start:.2f} s (less than {MOST_STARTUP} s wanted)\n")
    if shutil.which("gcc"):
        subprocess.run([sys.executable, str(HERE / "kernel_speed.py")], check=False)
    return 0 if met and start < MOST_STARTUP else 1


if __name__ == "__main__":
    sys.exit(main())

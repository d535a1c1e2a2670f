"""How fast ensembles are: flights a second, threads against one, disk against memory, Python's share, start-up; and their memory.

    python tests/benchmarks/ensemble_speed.py [--flights N] [--mission FILE]     the two-stage demo, ascent and descent, outcomes kept
    python tests/benchmarks/ensemble_speed.py --million [--flights N]            peak memory of N (1,000,000) short flights on disk

Runs that are compared take turns in one process; ratios of neighbours, their median and quartiles, are printed. Threads are timed by the
clock on the wall: two of them against one says something on a machine with two idle cores only. Python's share is the CPU time of an
ensemble in one thread that is not spent inside the compiled kernel: draws, results, the Dataset. How near the kernel
is to C is what `kernel_speed.py` measures.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src"), str(HERE)]

from turns import cpu_time, quartiles, ratios, take_turns  # noqa: E402

import sixdof  # noqa: E402
from sixdof.flight import runner  # noqa: E402

RUNS = 5
LEAST_BY_TWO, MOST_WRITING, MOST_PYTHON, MOST_STARTUP = 1.95, 0.10, 0.03, 1.0


def fly(mission, flights, **arguments) -> None:
    sixdof.disperse(mission, flights, seed=1, tracks="none", progress=False, **arguments)


def on_the_wall(function) -> float:
    begun = time.perf_counter()
    function()
    return time.perf_counter() - begun


def python_share(mission, flights) -> float:
    """Return which share of an ensemble's CPU time one thread spends outside the compiled kernel."""
    inside, kernel = [0.0], runner.fly_flights

    def watched(*arguments):
        begun = time.process_time()
        found = kernel(*arguments)
        inside[0] += time.process_time() - begun
        return found

    runner.fly_flights = watched
    try:
        whole = cpu_time(lambda: fly(mission, flights, threads=1))
    finally:
        runner.fly_flights = kernel
    return 1.0 - inside[0] / whole


def told(three, scale=1.0) -> str:
    """Return a median and its quartiles in a few words."""
    low, middle, high = (scale * value for value in three)
    return f"{middle:.3g} ({low:.3g} .. {high:.3g})"


def speed(mission, flights: int) -> bool:
    """Print the table of speeds; return whether the targets are met."""
    fly(mission, 8)
    batch = max(flights // (3 * RUNS), 16)
    with tempfile.TemporaryDirectory() as folder:
        numbers = iter(range(RUNS))
        ways = {
            "one thread": lambda: on_the_wall(lambda: fly(mission, batch, threads=1)),
            "two threads": lambda: on_the_wall(lambda: fly(mission, batch, threads=2)),
            "two threads, on disk": lambda: on_the_wall(lambda: fly(mission, batch, threads=2, out=f"{folder}/{next(numbers)}.zarr")),
        }
        times = take_turns(ways, RUNS)
    print(f"{mission.title}: {RUNS} runs of {batch} flights each, {os.cpu_count()} cores, {os.getloadavg()[0]:.1f} processes busy on them")
    for name, values in times.items():
        print(f"  {name:<24}{batch / quartiles(values)[1]:>8.1f} flights a second")
    by_two = ratios(times["one thread"], times["two threads"])
    writing = tuple(ratio - 1.0 for ratio in ratios(times["two threads, on disk"], times["two threads"]))
    shares = quartiles([python_share(mission, batch) for _ in range(RUNS)])
    print(f"two threads against one: {told(by_two)} times (at least {LEAST_BY_TWO} wanted)")
    print(f"writing costs {told(writing, 100.0)} % of flying (less than {100.0 * MOST_WRITING:.0f} % wanted)")
    print(f"Python's share of an ensemble in one thread: {told(shares, 100.0)} % (at most {100.0 * MOST_PYTHON:.0f} % wanted)")
    return by_two[1] >= LEAST_BY_TWO and writing[1] < MOST_WRITING and shares[1] <= MOST_PYTHON


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
    """Fly many flights of three seconds each, all on disk; print peak memory. Long flights leave rows of the same size."""
    short = mission.change({"solver.time_limit": 3.0})  # longer than the delay of every rule
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
    print(f"a warm second process flies after {start:.2f} s (less than {MOST_STARTUP} s wanted)")
    return 0 if met and start < MOST_STARTUP else 1


if __name__ == "__main__":
    sys.exit(main())

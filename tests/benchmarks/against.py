"""Whole flights of this checkout against those of another one: how much faster it has become.

    git worktree add --detach ../before f20629b
    python tests/benchmarks/against.py ../before

Each checkout flies dispersed flights of its own demo missions in a process of its own, one thread, outcomes kept; the two take turns, and
the ratios of neighbours' CPU times are printed with their quartiles. What an ensemble costs whatever its size (draws, its Dataset) is
taken out: a run is the difference between a large ensemble and a small one.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from turns import Worker, ratios, show, take_turns  # noqa: E402

ROOT = HERE.parents[1]
MISSIONS = {"sampler.toml": (1.8, 240), "two-stage.toml": (1.5, 80)}  # least ratio wanted, flights in a run
SMALL = 8  # flights
RUNS = 15


def per_flight(worker: Worker, flights: int) -> float:
    """Return the CPU seconds of one more flight of an ensemble."""
    small = worker.fly(SMALL) * SMALL
    return (worker.fly(flights + SMALL) * (flights + SMALL) - small) / flights


def compare(other: Path, name: str, least: float, flights: int) -> bool:
    with Worker("ensemble", ROOT / "configs" / name, ROOT / "src") as ours, Worker("ensemble", other / "configs" / name, other / "src") as theirs:
        print(f"{name}: apogee of the nominal flight {ours.ready:.4f} m here, {theirs.ready:.4f} m there")
        times = take_turns({"this checkout": lambda: per_flight(ours, flights), str(other): lambda: per_flight(theirs, flights)}, RUNS)
    show(f"{name}, {RUNS} runs of {flights} drawn flights", times, "this checkout")
    low, ratio, high = ratios(times[str(other)], times["this checkout"])
    print(f"this checkout against {other}: {ratio:.2f} times as fast ({low:.2f} .. {high:.2f}; at least {least} wanted)\n")
    return ratio >= least


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("other", type=Path, help="folder of the other checkout")
    other = parser.parse_args().other.resolve()
    met = [compare(other, name, *wanted) for name, wanted in MISSIONS.items()]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())

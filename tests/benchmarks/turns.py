"""Runs that take turns, timed in CPU time, and what is printed of them: medians, quartiles, ratios of neighbours."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent


def cpu_time(function) -> float:
    """Return the CPU seconds that a call takes, in all threads of this process."""
    start = time.process_time()
    function()
    return time.process_time() - start


def take_turns(functions: dict, runs: int) -> dict[str, list[float]]:
    """Call each function in turn, `runs` times; return what they return, CPU seconds of one flight, by name."""
    found = {name: [] for name in functions}
    for _ in range(runs):
        for name, function in functions.items():
            found[name].append(function())
    return found


def quartiles(values) -> tuple[float, float, float]:
    """Return (lower quartile, median, upper quartile)."""
    if len(values) < 2:
        return (values[0],) * 3
    low, middle, high = statistics.quantiles(values, n=4, method="inclusive")
    return low, middle, high


def ratios(above, below) -> tuple[float, float, float]:
    """Return the quartiles of the ratios of runs that stood beside each other."""
    return quartiles([a / b for a, b in zip(above, below)])


def show(title: str, times: dict[str, list[float]], one: str) -> None:
    """Print a table: CPU time of a flight and speed against `one`, medians with their quartiles."""
    print(f"\n{title:<44}{'CPU ms a flight':>22}{f'speed, {one} = 1':>34}")
    for name, values in times.items():
        low, middle, high = (1e3 * value for value in quartiles(values))
        slow, speed, fast = ratios(times[one], values)
        print(f"{name:<44}{middle:>10.4g} ({low:.4g} .. {high:.4g})".ljust(72) + f"{speed:.4g} ({slow:.4g} .. {fast:.4g})".rjust(28))


class Worker:
    """A process of its own that flies when asked, `flyer.py`, with the library of a checkout and an environment of its own."""

    def __init__(self, what: str, mission: Path, source: Path, **environment: str):
        command = [sys.executable, str(HERE / "flyer.py"), what, str(mission)]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env={**os.environ, **environment, "PYTHONPATH": str(source)}
        )
        self.ready = self._answer()

    def _answer(self):
        line = self.process.stdout.readline()
        if not line:
            raise SystemExit(f"the worker {' '.join(self.process.args)} ended with status {self.process.wait()}")
        return json.loads(line)

    def fly(self, count: int) -> float:
        """Fly so many flights; return the CPU seconds of one."""
        print(count, file=self.process.stdin, flush=True)
        return self._answer() / count

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.stdin.close()
        self.process.wait()

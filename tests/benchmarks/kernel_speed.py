"""How fast the compiled kernel is, against honest rivals, side by side in CPU time.

    python tests/benchmarks/kernel_speed.py              C: the one-stage demo and the two-stage demo with its sensors, every body to the ground
    python tests/benchmarks/kernel_speed.py --python     also Python: the kernel run as plain Python, and numpy with solve_ivp
    python tests/benchmarks/kernel_speed.py --startup    also import, first compilation and a second process

C flies the same physics, whole flights (`c/flight.c`), compiled by gcc with -march=native at -O2 and at -O3: whichever is faster counts.
Before anything is timed its outcomes and events must be the kernel's. solve_ivp flies the ascent of the one-stage demo, as one would
write it who knows both (`plain_ascent.py`). Runs take turns; medians of a flight's CPU time with their quartiles, and of the ratios of
neighbours, are printed: ratios mean something on a busy machine where times do not.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src"), str(HERE)]

from c_rival import LEVELS, CFlight  # noqa: E402
from kernel_flight import Ascent, WholeFlight  # noqa: E402
from plain_ascent import METHOD, TOLERANCE, PlainAscent  # noqa: E402
from turns import Worker, cpu_time, quartiles, ratios, show, take_turns  # noqa: E402

from sixdof.draws.packed import kernel_draw  # noqa: E402
from sixdof.flight.model import build_model  # noqa: E402
from sixdof.mission.load import load_mission  # noqa: E402

ONE_STAGE, TWO_STAGES = ROOT / "configs" / "sampler.toml", ROOT / "configs" / "two-stage.toml"
SAME = 1e-6  # relative: rounding of another order of operations, grown over a closed-loop flight
SAME_APOGEE = 1e-3  # m, of solve_ivp: its tolerance leaves a tenth of it (1e-10 a thousandth); an equation that is another leaves more
FLIGHTS, RUNS, PLAIN_RUNS = 8, 41, 5
AGAINST_C = {ONE_STAGE: 1.0, TWO_STAGES: 0.95}


def same_flight(whole: WholeFlight, c: CFlight) -> None:
    """Stop where C does not fly the kernel's flight."""
    for level in LEVELS:
        found = c.differences(level, whole.flown)
        print(f"C at {level} differs by {', '.join(f'{off:.1e} in {name}' for name, off in found.items())}")
        if not max(found.values()) <= SAME:
            raise SystemExit(f"more than {SAME:g}: C and the kernel do not fly the same flight, nothing is timed")


def against_c(path: Path) -> bool:
    """Print the kernel against C on one mission; return whether the target is met."""
    mission = load_mission(path)
    whole = WholeFlight(mission, FLIGHTS)
    with tempfile.TemporaryDirectory() as folder:
        c = CFlight(whole.plan, folder)
        same_flight(whole, c)
        functions = {"kernel": lambda: cpu_time(whole.fly) / FLIGHTS}
        functions |= {f"C, gcc {level}": lambda level=level: cpu_time(lambda: c.fly(level, FLIGHTS)) / FLIGHTS for level in LEVELS}
        times = take_turns(functions, RUNS)
    show(f"{path.name}, every body to the ground", times, "kernel")
    best = min((f"C, gcc {level}" for level in LEVELS), key=lambda name: quartiles(times[name])[1])
    low, speed, high = ratios(times[best], times["kernel"])
    print(f"kernel against {best}: {speed:.2f} of its speed ({low:.2f} .. {high:.2f}; at least {AGAINST_C.get(path, 1.0)} wanted)\n")
    return speed >= AGAINST_C.get(path, 1.0)


def against_python(path: Path) -> None:
    """Print the kernel against Python: itself, not compiled, and solve_ivp."""
    mission = load_mission(path)
    ascent = Ascent(mission)
    ascent.fly()
    model, draw = build_model(mission), kernel_draw(mission)
    off = np.abs(np.array(PlainAscent(model, draw).fly())[1:] - ascent.apogee[1:]).max()
    print(f"solve_ivp ({METHOD}, tolerance {TOLERANCE:g}): apogee differs by {off:.1e} m")
    if not off <= SAME_APOGEE:
        raise SystemExit(f"more than {SAME_APOGEE:g} m: it does not fly the same ascent, nothing is timed")
    with Worker("ascent", path, ROOT / "src", NUMBA_DISABLE_JIT="1") as plain:
        functions = {
            "kernel": lambda: cpu_time(lambda: [ascent.fly() for _ in range(FLIGHTS)]) / FLIGHTS,
            "numpy and solve_ivp": lambda: cpu_time(lambda: PlainAscent(model, draw).fly()),
            "kernel as plain Python": lambda: plain.fly(1),
        }
        show(f"{path.name}, ascent to apogee", take_turns(functions, PLAIN_RUNS), "kernel")


_FIRST_FLIGHT = """
import sys, time
start = time.perf_counter()
sys.path[:0] = [{src!r}]
import sixdof
mission = sixdof.load_mission({path!r})
imported = time.perf_counter()
sixdof.fly(mission)
print(imported - start, time.perf_counter() - imported)
"""


def startup(path) -> None:
    """Print what a new process waits for: with an empty cache, and with a filled one."""
    with tempfile.TemporaryDirectory() as folder:
        code = _FIRST_FLIGHT.format(src=str(ROOT / "src"), path=str(path))
        print(f"\n{'new process':<22}{'import, mission':>18}{'first flight':>14}   seconds")
        for name in ("empty cache", "second process"):
            done = subprocess.run([sys.executable, "-c", code], env={**os.environ, "NUMBA_CACHE_DIR": folder}, check=True, capture_output=True, text=True)
            imported, flown = (float(x) for x in done.stdout.split())
            print(f"{name:<22}{imported:>18.2f}{flown:>14.2f}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--python", action="store_true", help="also against Python")
    parser.add_argument("--startup", action="store_true", help="also time import, first compilation and a second process")
    parser.add_argument("--mission", type=Path, help="only this mission, against C")
    options = parser.parse_args()
    met = [against_c(path) for path in ([options.mission] if options.mission else AGAINST_C)]
    if options.python:
        against_python(ONE_STAGE)
    if options.startup:
        startup(ONE_STAGE)
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())

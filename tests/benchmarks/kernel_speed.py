"""How fast the compiled kernel is: against numpy + scipy and against C, side by side in one process.

    python tests/benchmarks/kernel_speed.py [--startup] [--mission FILE]

All three fly the ascent of the demo mission from the rail to apogee, closed loop, nothing logged. Ratios of medians of
interleaved runs are printed: they mean something on a busy machine where times do not.
"""

from __future__ import annotations

import argparse
import ctypes
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src"), str(HERE.parent / "support")]

from independent_flight import fly_plainly  # noqa: E402

from sixdof._jit import lend  # noqa: E402
from sixdof.core.algebra import launch_frame  # noqa: E402
from sixdof.core.columns import SEEN_COLUMNS  # noqa: E402
from sixdof.core.flight import fly as fl  # noqa: E402
from sixdof.core.layout import Outcome  # noqa: E402
from sixdof.core.leg.drawing import draw_model, state_at_rest  # noqa: E402
from sixdof.core.leg.work import make_events, make_log, make_summary, make_work  # noqa: E402
from sixdof.draws.packed import kernel_draw  # noqa: E402
from sixdof.flight.model import build_model  # noqa: E402
from sixdof.mission.load import load_mission  # noqa: E402

SAME = 1e-6  # m, the apogee of C and kernel: rounding of another order of operations, grown over a closed-loop flight
SAME_OUTCOMES = 1e-6  # relative, of the outcomes watched on the way
OUTCOMES = 28  # of flight.c, after the four of the apogee
BUILDER = {"rtol": 1e-6, "atol": 1e-6, "method": "RK45", "until": "apogee"}  # what one would write alone
C_FLAGS = ["-O3", "-march=native", "-ffp-contract=fast", "-fno-math-errno", "-shared", "-fPIC"]
PER_RUN = 20  # flights in one timed run of kernel and C
RUNS = 15
PLAIN_EVERY = 5  # one flight in numpy to so many runs of the others
LEAST_AGAINST_NUMPY, LEAST_AGAINST_C = 300.0, 0.5

# fields of `Input` in flight.c, in order: tables, their sizes, then numbers (name:length where it is more than one)
_POINTERS = [
    "air",
    "wind",
    "body",
    "fin",
    "friction",
    "cross",
    "axial_shape",
    "panel",
    "time",
    "force",
    "impulse",
    "profile",
    "gains",
    "mixer",
    "rules",
    "centring",
    "seen",
]
_COUNTS = [
    "airs",
    "winds",
    "bodies",
    "sets",
    "friction_columns",
    "cross_columns",
    "shape_columns",
    "panels",
    "breaks",
    "profiles",
    "controls",
    "rules_n",
    "steps",
    "roll_first",
]
_NUMBERS = [
    (name, int(n or 1))
    for name, _, n in (
        field.partition(":")
        for field in [
            "air_z0",
            "air_per_metre",
            "wind_per_root",
            "earth:3",
            "wind_turn:3",
            "area",
            "length",
            "per_mach",
            "per_root",
            "plan:3",
            "drag",
            "normal",
            "cp_shift",
            "cant",
            "dry",
            "cg:3",
            "inertia:6",
            "propellant",
            "moment:3",
            "linear:6",
            "square:2",
            "total_impulse",
            "thrust_line:3",
            "exit:3",
            "exit_area",
            "exit_swirl",
            "reference_pressure",
            "friction_rail",
            "fore_travel",
            "aft_travel",
            "aft_x",
            "base_x",
            "line:3",
            "rest:13",
            "frequency",
            "damping",
            "rate_limit",
            "acceleration_limit",
            "travel",
            "delay",
            "backlash",
            "dead_band",
            "resolution",
            "stall_torque",
            "period",
            "frame:4",
            "time_limit",
            "liftoff_specific_force",
            "liftoff_height",
            "ignition_specific_force",
            "burnout_specific_force",
            "burnout_debounce",
            "by_barometer",
            "apogee_drop",
            "apogee_debounce",
        ]
    )
]


class Input(ctypes.Structure):
    """`Input` of flight.c, field by field."""

    _fields_ = [(name, ctypes.c_void_p) for name in _POINTERS]
    _fields_ += [(name, ctypes.c_long) for name in _COUNTS]
    _fields_ += [(name, ctypes.c_double * n if n > 1 else ctypes.c_double) for name, n in _NUMBERS]


def c_input(model, draw):
    """Return the Input of a nominal flight, and the arrays that must outlive it."""
    world, aero, thrust, computer = model.world, model.aero, model.thrust, model.computer
    seen = np.zeros((len(aero.panel), SEEN_COLUMNS))
    arrays = {"profile": computer.guidance.profile, "centring": draw.centring, "seen": seen}
    for name in _POINTERS:
        owner = next((o for o in (world, aero, thrust, computer) if hasattr(o, name)), None)
        arrays.setdefault(name, getattr(owner, name, None))
    drawn = draw_model(model, draw, np.zeros_like(world.air), np.zeros((3, 3)))
    rest, grains = state_at_rest(drawn, draw), drawn.grains
    numbers = {}
    for part in (world, thrust, model.rail, computer, computer.detection, aero, drawn, grains, drawn.servo):
        numbers |= part._asdict()
    numbers |= {
        "earth": world.earth_rate,
        "wind_turn": drawn.wind,
        "plan": (aero.plan0, aero.plan1, aero.plan2),
        "square": (grains.square_roll, grains.square_pitch),
        "friction_rail": model.rail.friction,
        "line": drawn.rail_line,
        "rest": (*rest.r, *rest.v, *rest.q, *rest.w),
        "frame": launch_frame(computer.azimuth),
        "time_limit": model.time_limit,
    }
    counts = (
        len(world.air),
        len(world.wind),
        len(aero.body),
        aero.fin.shape[1],
        aero.friction.shape[1],
        aero.cross.shape[1],
        aero.axial_shape.shape[1],
        len(aero.panel),
        len(thrust.time),
        len(computer.guidance.profile),
        len(computer.mixer),
        len(computer.rules),
        computer.steps_per_tick,
        computer.roll_first,
    )
    filled = Input(*(arrays[name].ctypes.data for name in _POINTERS), *counts)
    for name, n in _NUMBERS:
        setattr(filled, name, (ctypes.c_double * n)(*numbers[name]) if n > 1 else numbers[name])
    return filled, arrays


def compiled_c(folder: str):
    """Return the C library, compiled into `folder`."""
    target = Path(folder) / "flight.so"
    subprocess.run(["gcc", *C_FLAGS, str(HERE / "flight.c"), "-o", str(target), "-lm"], check=True)
    library = ctypes.CDLL(str(target))
    library.fly_many.argtypes = [ctypes.POINTER(Input), ctypes.POINTER(ctypes.c_double), ctypes.c_long]
    return library


class Kernel:
    """The shipped kernel on one model and draw."""

    def __init__(self, model, draw):
        self.model, self.draw = model, draw
        self.work, self.log = make_work(model), make_log(model, 0)
        self.events, self.summary = make_events(model), make_summary()

    def fly(self):
        return fl.fly(lend(self.model), lend(self.draw), lend(self.work), self.log, self.events, self.summary)


def seconds(function) -> float:
    start = time.perf_counter()
    function()
    return time.perf_counter() - start


def compare(path) -> bool:
    """Print the table of ratios; return whether both targets are met."""
    mission = load_mission(path)
    model, draw = build_model(mission), kernel_draw(mission)
    whole = Kernel(model, draw)
    whole.fly()
    period = model.computer.period
    limit = (math.floor(whole.summary[Outcome.APOGEE_TIME] / period) + 1) * period - 1e-6
    model = model._replace(time_limit=limit)  # ends at the tick after apogee
    kernel = Kernel(model, draw)
    kernel.fly()
    with tempfile.TemporaryDirectory() as folder:
        library = compiled_c(folder)
        given, kept = c_input(model, draw)
        out = (ctypes.c_double * (4 + OUTCOMES))()
        if library.fly_many(given, out, 1) != 0:
            raise SystemExit("the C flight did not reach apogee")
        found = kernel.summary[[Outcome.APOGEE_TIME, Outcome.APOGEE_EAST, Outcome.APOGEE_NORTH, Outcome.APOGEE_HEIGHT]]
        difference = np.abs(np.array(out[1:4]) - found[1:]).max()
        watched = [
            Outcome.AIRSPEED_MAX,
            Outcome.STATIC_MARGIN_MIN,
            Outcome.TILT_ERROR_RMS,
            Outcome.TILT_ERROR_MAX,
            Outcome.HINGE_MOMENT_MAX,
            Outcome.RATE_REVERSALS,
        ]
        outcomes = np.abs(np.array(out[4 : 4 + len(watched)]) / kernel.summary[watched] - 1.0).max()
        print(f"apogee {found[3]:.6f} m; C differs by {difference:.1e} m, other outcomes by {outcomes:.1e} of them")
        if not (difference <= SAME and outcomes <= SAME_OUTCOMES):
            raise SystemExit(f"C and kernel differ by more than {SAME} m or {SAME_OUTCOMES:g}: they do not fly the same equations, nothing is timed")
        check = fly_plainly(model, draw, **BUILDER)
        off = abs(check["event"]["apogee"][1][2] - found[3])
        print(f"numpy + solve_ivp (RK45, rtol {BUILDER['rtol']:g}) differs by {off:.1e} m")

        def kernels():
            for _ in range(PER_RUN):
                kernel.fly()

        times = {"kernel": [], "C": [], "numpy": []}
        for i in range(RUNS):
            times["kernel"].append(seconds(kernels) / PER_RUN)
            times["C"].append(seconds(lambda: library.fly_many(given, out, PER_RUN)) / PER_RUN)
            if i % PLAIN_EVERY == 0:
                times["numpy"].append(seconds(lambda: fly_plainly(model, draw, **BUILDER)))
    medians = {name: statistics.median(t) for name, t in times.items()}
    against_numpy = medians["numpy"] / medians["kernel"]
    against_c = medians["C"] / medians["kernel"]
    print(f"\n{'ascent of ' + Path(path).name:<28}{'s a flight':>12}{'speed, kernel = 1':>20}")
    for name, median in medians.items():
        print(f"{name:<28}{median:>12.3g}{medians['kernel'] / median:>20.4g}")
    print(f"\nkernel against numpy + solve_ivp: {against_numpy:.0f} times (at least {LEAST_AGAINST_NUMPY:.0f} wanted)")
    print(f"kernel against C: {against_c:.2f} of its speed (at least {LEAST_AGAINST_C} wanted)")
    del kept
    return against_numpy >= LEAST_AGAINST_NUMPY and against_c >= LEAST_AGAINST_C


_FIRST_FLIGHT = """
import sys, time
start = time.perf_counter()
sys.path[:0] = [{src!r}]
import sixdof.flight.model, sixdof.mission.load, sixdof.draws.packed
imported = time.perf_counter()
from sixdof.core.flight import fly as fl
from sixdof.core.leg import work
mission = sixdof.mission.load.load_mission({path!r})
model, draw = sixdof.flight.model.build_model(mission), sixdof.draws.packed.kernel_draw(mission)
built = time.perf_counter()
fl.fly(lend(model), lend(draw), lend(work.make_work(model)), work.make_log(model, 0), work.make_events(model), work.make_summary())
print(imported - start, built - imported, time.perf_counter() - built, len(fl.fly.signatures))
"""


def startup(path):
    """Print what a new process waits for: with an empty cache, and with a filled one."""
    with tempfile.TemporaryDirectory() as folder:
        code = _FIRST_FLIGHT.format(src=str(ROOT / "src"), path=str(path))
        print(f"\n{'new process':<22}{'import':>9}{'build':>9}{'first flight':>14}   seconds")
        for name in ("empty cache", "second process"):
            done = subprocess.run([sys.executable, "-c", code], env={**os.environ, "NUMBA_CACHE_DIR": folder}, check=True, capture_output=True, text=True)
            imported, built, flown, kinds = (float(x) for x in done.stdout.split())
            print(f"{name:<22}{imported:>9.2f}{built:>9.2f}{flown:>14.2f}   ({kinds:.0f} compiled signature of fly)")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--startup", action="store_true", help="also time import, first compilation and a second process")
    parser.add_argument("--mission", default=str(ROOT / "configs" / "sampler.toml"))
    options = parser.parse_args()
    met = compare(options.mission)
    if options.startup:
        startup(options.mission)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())

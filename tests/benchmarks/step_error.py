"""How far flights at the default step are from the truth: every demo, its nominal and drawn flights, at 1, 2 and 4 steps a tick.

    python tests/benchmarks/step_error.py [--flights 20] [--mission FILE] [--reference]

The largest differences from the same flights at 16 steps a tick: height of apogee, attitude (roll with it) from ignition to apogee, all
events of all bodies to the ground. Two rows tell a step's error from a vehicle's own sensitivity: the flights without the servos' dead band,
which decides by a threshold, and the flights at 16 steps with a dry mass larger by a hundredth of a millionth. With --reference the default
step is also held against the independent flight in numpy (DOP853, relative tolerance 1e-12) up to apogee, which takes a minute.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src"), str(HERE.parent / "support")]

from side_by_side import differences  # noqa: E402
from step_errors import BOUNDS, HEAVIER, REFERENCE, Demo, largest, within  # noqa: E402

from sixdof.core.leg.work import make_work  # noqa: E402
from sixdof.draws.packed import kernel_draw  # noqa: E402
from sixdof.flight.plan import Plan  # noqa: E402

STEPS = 1, 2, 4
DISPERSED, PURE = 3, 1e-12
DEMOS = tuple(ROOT / "configs" / f"{name}.toml" for name in ("sampler", "waypoints", "two-stage"))


def row(name: str, found: list) -> None:
    """Print the largest errors of some flights."""
    most, off = largest(found), sum(not within(each) for each in found)
    print(f"{name:<34}{most.apogee:>12.1e}{most.attitude:>14.1e}{1e3 * most.events:>12.1e}{off:>12}{sum(each.parted for each in found):>12}", flush=True)


def against_fine(path: Path, count: int) -> None:
    """Print a mission's errors against REFERENCE steps a tick."""
    demo = Demo(path, count)
    default = demo.mission.solver.steps_per_tick
    print(f"\n{path.name}: {count + 1} flights against {REFERENCE} steps a tick")
    print(f"{'':<34}{'apogee m':>12}{'attitude deg':>14}{'events ms':>12}{'not within':>12}{'parted':>12}")
    truth = demo.fly(REFERENCE)
    for steps in STEPS:
        row(f"{steps} steps a tick{' (the default)' if steps == default else ''}", demo.errors(demo.fly(steps), truth))
    if demo.mission.servo.dead_band > 0.0:
        smooth = Demo(path, count, dead_band=0.0)
        row(f"{default} steps, no dead band", smooth.errors(smooth.fly(default), smooth.fly(REFERENCE)))
    row(f"{REFERENCE} steps, mass x (1 + {HEAVIER:g})", demo.errors(demo.fly(REFERENCE, HEAVIER), truth))


def against_reference(path: Path) -> None:
    """Print errors of the default step against the independent flight up to apogee."""
    demo = Demo(path, DISPERSED)
    plan = Plan(demo.mission)
    model = plan.model(0, plan.count - 1)._replace(log_every=1)
    columns = {
        "apogee at": "apogee m",
        "apogee time": "apogee s",
        "position": "position m",
        "velocity": "velocity m/s",
        "nose": "nose rad",
        "rates": "rates rad/s",
        "fins": "fins rad",
    }
    print(f"\n{path.name}: largest differences of the default step from numpy + solve_ivp (DOP853, rtol {PURE:g}) up to apogee")
    print(f"{'':<12}" + "".join(f"{name:>14}" for name in columns.values()))
    for i, draw in enumerate(demo.draws):
        work = make_work(model)
        plan.prepare(work, draw)
        found, _, _ = differences(model, kernel_draw(demo.mission, draw), rtol=PURE, tables=(work.canopy, work.rule_delay))
        print(f"{'nominal' if i == 0 else f'flight {i}':<12}" + "".join(f"{found[key]:>14.1e}" for key in columns), flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--flights", type=int, default=20, help="drawn flights of each mission")
    parser.add_argument("--mission", type=Path, help="only this mission")
    parser.add_argument("--reference", action="store_true", help="also the one-stage demo against the independent flight (a minute)")
    options = parser.parse_args()
    for path in [options.mission] if options.mission else DEMOS:
        against_fine(path, options.flights)
    print(f"\nnot within: flights beyond {BOUNDS[0]} m, {BOUNDS[1]} deg or {1e3 * BOUNDS[2]} ms; parted: a dead band took a command in one of them only")
    if options.reference:
        against_reference(options.mission or DEMOS[0])
    return 0


if __name__ == "__main__":
    sys.exit(main())

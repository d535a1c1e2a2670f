"""How far the default step is from the truth: errors of 1, 2, 4 and 8 steps a tick on the demo.

    python tests/benchmarks/step_error.py [--reference] [--mission FILE]

The nominal and three dispersed flights at each step are held against 64 steps a tick. Under a canopy the steps do not
depend on the steps a tick, so the errors of landing are those the climb and the fall to the opening bring along.
With --reference the default step is also held against the independent flight in numpy (DOP853, relative tolerance 1e-12) up to
apogee, which takes a minute.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src"), str(HERE.parent / "support")]

from drivers import Flown  # noqa: E402
from side_by_side import differences  # noqa: E402

from sixdof.core import layout as la  # noqa: E402
from sixdof.core.constants import FREE  # noqa: E402
from sixdof.core.layout import Event, Log, Outcome  # noqa: E402
from sixdof.core.leg.work import make_work  # noqa: E402
from sixdof.draws.packed import kernel_draw, nominal_draw, one_draw, pack_draws  # noqa: E402
from sixdof.draws.table import draw_table  # noqa: E402
from sixdof.flight.plan import Plan  # noqa: E402
from sixdof.mission.load import load_mission  # noqa: E402

STEPS, FINE = (1, 2, 4, 8), 64
SEED, DISPERSED = 7, 3
PURE = 1e-12
LOCATED = ("liftoff", "fore_guide_leaves", "rail_departure", "burnout", "apogee")  # in time, all of the ascent
COLUMNS = ("apogee m", "attitude deg", "landing m", "event s", "landing s")


def flights(plan):
    """Return {name: (draw, (canopies, delays of rules))} of the nominal and the dispersed flights."""
    mission = plan.mission
    rows = pack_draws(mission, draw_table(mission, SEED, 0, DISPERSED))
    draws = {"nominal": nominal_draw(mission)} | {f"flight {i}": one_draw(rows, i) for i in range(DISPERSED)}
    found = {}
    for name, draw in draws.items():
        work = make_work(plan.model(0, plan.count - 1))
        plan.prepare(work, draw)
        found[name] = kernel_draw(mission, draw), (work.canopy, work.rule_delay)
    return found


def with_steps(model, steps):
    return model._replace(computer=model.computer._replace(steps_per_tick=steps))


def attitude_error(log, other):
    """Return the largest angle (deg) between two flights' attitudes up to apogee, tick by tick."""
    rows = min(len(log), len(other))
    up = (log[:rows, Log.PHASE] <= FREE) & (other[:rows, Log.PHASE] <= FREE)
    up &= (log[:rows, Log.VELOCITY_UP] >= 0.0) & (other[:rows, Log.VELOCITY_UP] >= 0.0)
    a, b = (x[:rows][up][:, Log.Q_W : Log.Q_Z + 1] for x in (log, other))
    # the chord between unit quaternions: well conditioned where the cosine is not
    chord = np.minimum(np.linalg.norm(a - b, axis=1), np.linalg.norm(a + b, axis=1))
    return np.degrees(4.0 * np.arcsin(0.5 * chord)).max()


def errors(flown, truth):
    """Return the numbers of COLUMNS."""
    place = [Outcome.LANDING_EAST, Outcome.LANDING_NORTH]
    events = [la.EVENTS.index(name) for name in LOCATED]
    return (
        abs(flown.summary[Outcome.APOGEE_HEIGHT] - truth.summary[Outcome.APOGEE_HEIGHT]),
        attitude_error(flown.log, truth.log),
        np.linalg.norm(flown.summary[place] - truth.summary[place]),
        np.abs(flown.events[events, 0] - truth.events[events, 0]).max(),
        abs(flown.events[Event.LANDING, 0] - truth.events[Event.LANDING, 0]),
    )


def against_fine(model, draws):
    """Print errors against FINE steps a tick."""
    print(f"errors against {FINE} steps a tick")
    print(f"{'':<12}{'steps a tick':>12}" + "".join(f"{name:>14}" for name in COLUMNS))
    for name, (draw, tables) in draws.items():
        truth = Flown(with_steps(model, FINE), draw, tables=tables)
        for steps in STEPS:
            found = errors(Flown(with_steps(model, steps), draw, tables=tables), truth)
            mark = " *" if steps == model.computer.steps_per_tick else "  "
            print(f"{name:<12}{steps:>10}{mark}" + "".join(f"{x:>14.1e}" for x in found))
    print("* the default")


def against_reference(model, draws):
    """Print errors of the default step against the independent flight up to apogee."""
    columns = {
        "apogee at": "apogee m",
        "apogee time": "apogee s",
        "position": "position m",
        "velocity": "velocity m/s",
        "nose": "nose rad",
        "rates": "rates rad/s",
        "fins": "fins rad",
    }
    print(f"\nlargest differences of the default step from numpy + solve_ivp (DOP853, rtol {PURE:g}) up to apogee")
    print(f"{'':<12}" + "".join(f"{name:>14}" for name in columns.values()))
    for name, (draw, tables) in draws.items():
        found, _, _ = differences(model, draw, rtol=PURE, tables=tables)
        print(f"{name:<12}" + "".join(f"{found[key]:>14.1e}" for key in columns), flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reference", action="store_true", help="also against the independent flight (a minute)")
    parser.add_argument("--mission", default=str(ROOT / "configs" / "sampler.toml"))
    options = parser.parse_args()
    plan = Plan(load_mission(options.mission))
    model, draws = plan.model(0, plan.count - 1)._replace(log_every=1), flights(plan)
    against_fine(model, draws)
    if options.reference:
        against_reference(model, draws)
    return 0


if __name__ == "__main__":
    sys.exit(main())

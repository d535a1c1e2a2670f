"""How much the step of the integration matters: the same flight with ever shorter steps."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.draws.packed import nominal_draw
from sixdof.flight.laws import bind
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import FlightRunner
from sixdof.mission.mission import Mission
from sixdof.study.probes.columns import Log, Outcome

STEPS = (1, 2, 4, 8, 16)
FINEST = 64  # steps a tick: the longest the mission file allows, and the reference of the others
# what the default step has to keep to on the shipped demos
APOGEE, ATTITUDE, EVENTS = 0.05, np.radians(0.01), 1e-4  # m, rad, s
CLIMB_SPEED = 20.0  # m/s: attitude is compared while climbing faster than this


def step_study(mission: Mission, steps: Sequence[int] = STEPS, *, finest: int = FINEST) -> xr.Dataset:
    """Return the errors of a mission's nominal flight against its own with the shortest step.

    steps : steps a tick of the flight computer. Dim `steps`; variables: apogee_error (m), attitude_error (rad, the largest in the
    climb), landing_error (m, distance), event_error (s, the largest of all events of all bodies), order (of the convergence of the
    apogee from this step to the next, NaN where rounding has been reached).

    The reference is the same kernel: an error that does not depend on the step is not seen here. `tests/benchmarks/step_error.py
    --reference` holds the kernel against an independent integration at 1e-12.
    """
    plan = plan_of(mission, log_rate=mission.autopilot.rate)
    rows = int(mission.solver.time_limit * mission.autopilot.rate) + 2
    reference = _flown(plan, finest, rows)
    found = {name: [] for name in ("apogee_error", "attitude_error", "landing_error", "event_error")}
    for count in steps:
        for name, value in zip(found, _differences(_flown(plan, count, rows), reference)):
            found[name].append(value)
    units = {"apogee_error": "m", "attitude_error": "rad", "landing_error": "m", "event_error": "s"}
    ds = xr.Dataset(
        {name: ("steps", np.array(values), {"units": units[name], "long_name": name.replace("_", " ")}) for name, values in found.items()},
        {"steps": ("steps", np.array(steps), {"long_name": "steps a tick"})},
        {"title": mission.title, "reference": f"the same kernel with {finest} steps a tick"},
    )
    size = np.abs(ds["apogee_error"].values)
    with np.errstate(divide="ignore", invalid="ignore"):
        order = np.log(size[:-1] / size[1:]) / np.log(np.array(steps[1:]) / np.array(steps[:-1]))
    order[size[1:] < 1e-7] = np.nan  # rounding of some ten thousand steps
    ds["order"] = ("steps", np.append(order, np.nan), {"units": "1", "long_name": "order of convergence of the apogee"})
    return ds


def _flown(plan: Plan, steps: int, rows: int):
    fine = Plan.__new__(Plan)
    fine.__dict__.update(plan.__dict__)
    fine.models = {key: model._replace(computer=model.computer._replace(steps_per_tick=steps)) for key, model in _every(plan).items()}
    return FlightRunner(fine, bind(None, None), rows).run(nominal_draw(plan.mission))


def _every(plan: Plan) -> dict:
    """Return the models of every body the stages may make."""
    return {(i, j): plan.model(i, j) for i in range(plan.count) for j in range(i, plan.count)}


def _differences(flown, reference) -> tuple[float, float, float, float]:
    apogee = flown.summary[Outcome.APOGEE_HEIGHT] - reference.summary[Outcome.APOGEE_HEIGHT]
    a, b = flown.logs[0], reference.logs[0]
    n = min(len(a), len(b))
    a, b = a[:n], b[:n]
    climbing = (b[:, Log.TIME] < reference.summary[Outcome.APOGEE_TIME]) & (b[:, Log.AIRSPEED] > CLIMB_SPEED) & (b[:, Log.PHASE] == 3.0)
    dot = np.abs(np.sum(a[:, Log.Q_W : Log.Q_Z + 1] * b[:, Log.Q_W : Log.Q_Z + 1], axis=1))[climbing]
    angle = 2.0 * np.arccos(np.clip(dot, 0.0, 1.0))
    landing = np.hypot(*(flown.body[0, 1:3] - reference.body[0, 1:3]))
    events = np.abs(flown.events[..., 0] - reference.events[..., 0])
    return float(apogee), float(angle.max(initial=0.0)), float(landing), float(np.nanmax(events))


def step_text(ds: xr.Dataset) -> str:
    """Return the study as a table."""
    lines = [
        f"{ds.attrs['title']}: errors against {ds.attrs['reference']}",
        f"{'steps':>6}{'apogee m':>12}{'attitude deg':>14}{'landing m':>12}{'events s':>12}{'order':>8}",
    ]
    for k in range(ds.sizes["steps"]):
        row = ds.isel(steps=k)
        lines.append(
            f"{int(row.steps):>6}{float(row.apogee_error):>12.1e}{np.degrees(float(row.attitude_error)):>14.1e}"
            f"{float(row.landing_error):>12.1e}{float(row.event_error):>12.1e}{float(row.order):>8.1f}"
        )
    return "\n".join(lines)

"""What studies of the climb fly: a mission without what comes after it, and without draws that need new tables for every flight."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import xarray as xr

from sixdof.mission.errors import MissionError
from sixdof.mission.mission import Mission
from sixdof.mission.tables.dispersible import DISPERSIBLE

BEYOND = 1.6, 1.0  # the climb is followed for so many times the time of its last event as written, and so many seconds more
OF_CLIMB = ("rail_departure", "burnout", "separation", "ignition")  # first words of the events of the climb that studies look at


def climb_events(ds: xr.Dataset) -> list[str]:
    """Return the events of the front body's climb that happen in a flight or in any of an ensemble: rail departure, ignitions, burnouts, separations."""
    times = ds["event_time"].sel(body=ds["body"].values[0])
    first = times.min("flight") if "flight" in times.dims else times
    known = [str(name) for name in first["event"].values if str(name).split()[0] in OF_CLIMB and np.isfinite(float(first.sel(event=name)))]
    return sorted(known, key=lambda name: float(first.sel(event=name)))


def without_paths(mission: Mission) -> tuple[Mission, list[str]]:
    """Return the mission without draws of its own numbers (paths), each of which needs new tables, and their names."""
    paths = [name for name in mission.disperse if name not in DISPERSIBLE]
    return without_draws(mission, paths), paths


def without_draws(mission: Mission, names: Iterable[str]) -> Mission:
    """Return the mission with some quantities drawn no more; the others are drawn as before."""
    gone = set(names) & set(mission.disperse)
    if not gone:
        return mission
    kept = {name: spread for name, spread in mission.disperse.items() if name not in gone}
    return mission.change({"disperse": kept, "correlation": [one for one in mission.correlation if not set(one.of) & gone]})


def of_the_climb(mission: Mission, flight: xr.Dataset) -> Mission:
    """Return the mission up to a while after the last event of its climb: no failures, no recovery, an early end. Up to there its flights are the same.

    flight : of the mission as written. A mission whose rules do not allow the early end is returned without failures alone.
    """
    times = flight["event_time"].isel(body=0)
    last = max((float(times.sel(event=name)) for name in climb_events(flight)), default=math.nan)
    calm = mission.change({"failure": []}) if mission.failure else mission
    if not math.isfinite(last):
        return calm
    waits = [rule.delay + (rule.threshold or 0.0) * (rule.when == "time") for rule in mission.rule] + [rule.after or 0.0 for rule in mission.rule]
    limit = max(BEYOND[0] * last + BEYOND[1], *(1.01 * wait for wait in waits), 0.0) if waits else BEYOND[0] * last + BEYOND[1]
    try:
        return calm.change({"recovery": [], "solver.time_limit": min(limit, mission.solver.time_limit)})
    except MissionError:
        return calm

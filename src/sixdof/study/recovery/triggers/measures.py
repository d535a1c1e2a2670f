"""Redundant triggers as measures of an ensemble's flights, for criteria in words: "trigger_gap_min of drogue > 1 s in 99 % of flights"."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from sixdof.draws.given import draws_of
from sixdof.mission.mission import Mission
from sixdof.results.names import canopy_names
from sixdof.study.reading.result import fact, mission_of, need_ensemble
from sixdof.study.recovery.triggers.branches import LATE
from sixdof.study.recovery.triggers.flights import drawn_delays, smallest_gap
from sixdof.study.recovery.triggers.triggers import Action, actions_of

NEEDED = ("rule_armed", "rule_fired", "rule_acted", "status")


def trigger_gap_min(ds: xr.Dataset) -> xr.DataArray:
    """Return the smallest gap between two triggers of each canopy, s, (flight, canopy); NaN where fewer than two fire or would.

    A trigger that has not fired when the body is down counts with the moment at which it would have.
    """

    def gap(mission: Mission, action: Action, drawn: np.ndarray) -> np.ndarray:
        due = []
        for one in action.triggers:
            fired, armed = (fact(ds, f"rule_{what}", one.number) for what in ("fired", "armed"))
            due.append(np.where(np.isfinite(fired), fired, armed + one.setting + drawn[:, one.number]))
        return smallest_gap(np.stack(due, axis=1))

    return _by_canopy(ds, "trigger_gap_min", gap)


def backup_beats(ds: xr.Dataset) -> xr.DataArray:
    """Return whether a backup deploys each canopy before a sound primary trigger, 0 or 1, (flight, canopy); NaN for a canopy that has no backup.

    A primary trigger is sound if it fires too, and apogee was not drawn to be noticed late.
    """

    def beats(mission: Mission, action: Action, drawn: np.ndarray) -> np.ndarray:
        if not action.backups:
            return np.full(ds.sizes["flight"], np.nan)
        early = np.any([fact(ds, "rule_acted", one.number) > 0.5 for one in action.backups], axis=0)
        sound = np.isfinite(fact(ds, "rule_fired", action.first.number)) & ~_late(ds, f"{LATE}: {mission.stage[action.stage].name}")
        return (early & sound).astype(float)

    return _by_canopy(ds, "backup_beats", beats)


def _late(ds: xr.Dataset, failure: str) -> np.ndarray:
    names = ds["failure"].values.astype(str).tolist() if "failure_drawn" in ds else []
    return ds["failure_drawn"].values[:, names.index(failure)] > 0 if failure in names else np.zeros(ds.sizes["flight"], dtype=bool)


def _by_canopy(ds: xr.Dataset, who: str, measure: Callable[[Mission, Action, np.ndarray], np.ndarray]) -> xr.DataArray:
    mission = mission_of(ds, who)
    names = canopy_names(mission)
    if not names:
        raise ValueError("the mission has no canopies, and so no triggers that deploy one")
    need_ensemble(ds, who, *NEEDED)
    found = np.full((ds.sizes["flight"], len(names)), np.nan)
    drawn = drawn_delays(mission, draws_of(ds, mission))
    for action in actions_of(mission, mission):
        if action.kind == "deploy":
            found[:, names.index(action.of)] = measure(mission, action, drawn)
    return xr.DataArray(found, {"canopy": names}, ("flight", "canopy"))

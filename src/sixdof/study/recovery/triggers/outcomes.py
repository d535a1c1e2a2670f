"""What came of an action in flights: whether a canopy opened and held, a joint parted in time, a motor lit."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Parachute
from sixdof.results.names import canopy_names
from sixdof.study.reading.result import event_values, fact
from sixdof.study.recovery.triggers.triggers import Action

FULL_ABOVE = 30.0  # m above ground at which a canopy must be full (ours)


def at_action(ds: xr.Dataset, action: Action, name: str) -> np.ndarray:
    """Return height or airspeed at deployment, separation or ignition, (flights,)."""
    event = {"deploy": f"deployment {action.of}", "separate": f"separation {action.of}", "ignite": f"ignition {action.of}"}[action.kind]
    return event_values(ds, event, name, body=action.stage if action.kind == "deploy" else 0)


def came_to_be(ds: xr.Dataset, action: Action) -> np.ndarray:
    """Return whether what was commanded came to be: the canopy out, the joint apart, the motor lit."""
    return np.isfinite(at_action(ds, action, "height"))


def saves(ds: xr.Dataset, action: Action, mission: Mission, load_share: float) -> np.ndarray:
    """Return whether an action came out well, bool (flights,).

    A canopy: its lines stretch, nothing of its stage breaks by load, it is full FULL_ABOVE the ground, and no canopy that a height deploys comes before it.
    A joint: it separates while the stack climbs, the pieces do not touch again, and every stage ahead that is to light does. An ignition: it happens, and
    on the way up.
    """
    if action.kind == "deploy":
        return _opens(ds, action, mission) & ~breaks(ds, action, mission, load_share)
    climbs = at_action(ds, action, "velocity_up") > 0.0
    if action.kind == "ignite":
        return climbs
    apart = climbs & ~(fact(ds, "recontact", action.stage - 1) > 0.5)
    for rule in mission.rule:
        if rule.action == "ignite" and (of := rule.target) and [stage.name for stage in mission.stage].index(of) < action.stage:
            apart &= (event_values(ds, f"ignition {of}", "velocity_up") > 0.0) | _drawn(ds, f"no_ignition: {of}")
    return apart


def full_height(ds: xr.Dataset, action: Action, mission: Mission) -> np.ndarray:
    """Return the height above ground at which a canopy is full, at least, m, (flights,); NaN without line stretch.

    The larger of two that it cannot be below, for it sinks ever slower: that of a fall as fast as at line stretch, and that of a descent from full canopy
    to the ground as slow as at landing.
    """
    if action.kind != "deploy":
        return np.full(ds.sizes["flight"], np.nan)
    lasts = filled_after(next(one for one in canopies(mission) if one.name == action.of))
    time, height, sink = (event_values(ds, f"line stretch {action.of}", name, body=action.stage) for name in ("time", "height", "velocity_up"))
    down, slow = (event_values(ds, "landing", name, body=action.stage) for name in ("time", "velocity_up"))
    return np.fmax(height + np.minimum(sink, 0.0) * lasts, np.where(np.isfinite(height), -slow * (down - time - lasts), np.nan))


def filled_after(part: Parachute) -> float:
    """Return the time from line stretch until a canopy is full, s, as the mission has it."""
    return part.fill_time + (part.reefing_time + part.fill_time if part.reefing_ratio is not None else 0.0)


def _opens(ds: xr.Dataset, action: Action, mission: Mission) -> np.ndarray:
    stretched = np.isfinite(event_values(ds, f"line stretch {action.of}", body=action.stage))
    aloft = ~np.isfinite(fact(ds, "body_landing_time", action.stage))  # some 30 m of descent after it was full, where the flight was given up
    good = stretched & (aloft | (full_height(ds, action, mission) >= FULL_ABOVE))
    own = event_values(ds, f"deployment {action.of}", body=action.stage)
    owners, names = canopy_stages(mission), canopy_names(mission)
    for entry in mission.recovery:
        if entry.when == "falling_through" and entry.canopy != action.of and owners[names.index(entry.canopy)] == action.stage:
            good &= ~(event_values(ds, f"deployment {entry.canopy}", body=action.stage) < own)
    return good


def breaks(ds: xr.Dataset, action: Action, mission: Mission, load_share: float) -> np.ndarray:
    """Return whether a canopy or a harness of the stage is loaded beyond that share of its strength, or breaks, by load alone, bool (flights,)."""
    hit = np.zeros(ds.sizes["flight"], dtype=bool)
    if action.kind != "deploy":
        return hit
    owners = canopy_stages(mission)
    own = {part.name: part.strength for part, owner in zip(canopies(mission), owners, strict=True) if owner == action.stage}
    happened = ds["failure_happened"].values > 0 if "failure_happened" in ds else None
    for k, name in enumerate(ds["failure"].values.astype(str) if happened is not None else ()):
        kind, _, of = name.partition(": ")
        if kind in ("harness_breaks", "canopy_lost") and of in own:
            hit |= happened[:, k] & ~_drawn(ds, name)
    names = canopy_names(mission)
    for name, strength in own.items():
        if strength is not None:
            hit |= fact(ds, "opening_load", names.index(name)) > load_share * strength
    for harness in mission.harness:
        if harness.canopy in own and harness.strength is not None:
            pull = np.fmax(fact(ds, "opening_load", names.index(harness.canopy)), fact(ds, "snatch_load", names.index(harness.canopy)))
            hit |= pull > load_share * harness.strength
    return hit


def _drawn(ds: xr.Dataset, failure: str) -> np.ndarray:
    """Return whether a failure was drawn, bool (flights,)."""
    names = ds["failure"].values.astype(str).tolist() if "failure_drawn" in ds else []
    return ds["failure_drawn"].values[:, names.index(failure)] > 0 if failure in names else np.zeros(ds.sizes["flight"], dtype=bool)

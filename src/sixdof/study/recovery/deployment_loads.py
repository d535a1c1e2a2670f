"""What a deployment does to canopy, harness and tube, flight by flight: loads of the kernel over what was written that they hold."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.reading.result import event_values, fact
from sixdof.study.recovery.ejection.harness_loads import loads_of
from sixdof.study.recovery.zipper import canopy_index, canopy_parts, stage_of

INDICES = {  # name: unit, meaning
    "offset_flown": ("s", "deployment after the flight's true apogee"),
    "deployment_airspeed": ("m/s", "airspeed at deployment"),
    "line_stretch_airspeed": ("m/s", "airspeed at line stretch"),
    "deployment_incidence": ("rad", "angle between the body and the air at deployment"),
    "line_stretch_incidence": ("rad", "angle between the body and the air at line stretch"),
    "opening_load": ("N", "largest load of the opening canopy, or the pull of the fall that follows where that is more"),
    "snatch_load": ("N", "load of the harness as the ejection charge throws the pieces apart"),
    "harness_load": ("N", "largest load of the harness: the snatch, or its share of the opening load"),
    "opening_load_share": ("1", "opening load over the strength of canopy and lines"),
    "harness_load_share": ("1", "largest load of the harness over its strength"),
    "harness_opening_share": ("1", "the harness's part of the opening load over its strength, without the snatch"),
    "zipper_index": ("1", "force of the harness on the edge of the tube over what the edge bears"),
}
TIMED = ("opening_load_share", "harness_opening_share", "zipper_index")  # of these, what the time of deployment changes: not the charge's snatch
SHARES = ("opening_load_share", "harness_load_share", "zipper_index")  # loads over strengths, which are to stay below one limit


def canopies_asked(mission: Mission, canopy, who: str, *, first: bool) -> list[str]:
    """Return the names of the canopies that a study is about.

    canopy : a name, several, or None: of every stage the canopies that come out first (at apogee), or last. Raises ValueError for a mission without
    canopies, for a name that is none, and for a canopy that nothing deploys, TypeError for what is no name.
    """
    names = [part.name for part in canopy_parts(mission)]
    if not names:
        raise ValueError(f'{who}: the mission has no parachute; give a stage a part of kind = "parachute" and a [[recovery]] that deploys it')
    deployed = {one.canopy for one in mission.recovery} | {rule.target for rule in mission.rule if rule.action == "deploy"}
    if canopy is None:
        if not deployed:
            raise ValueError(f'{who}: nothing deploys the canopy "{names[0]}"; add a [[recovery]] that says when')
        return _by_stage(mission, [name for name in names if name in deployed], first)
    if not isinstance(canopy, str | Iterable) or not isinstance(canopy, str) and not list(canopy):
        raise TypeError(f"{who}: canopy = {shown(canopy)} must be the name of a canopy, or several; {suggestion('', names, 'canopies')}")
    asked = [canopy] if isinstance(canopy, str) else list(canopy)
    for name in asked:
        if name not in names:
            raise ValueError(f"{who}: there is no canopy {shown(name)}; {suggestion(str(name), names, 'canopies')}")
        if name not in deployed:
            raise ValueError(f'{who}: nothing deploys the canopy "{name}"; add a [[recovery]] that says when')
    return list(dict.fromkeys(asked))


def waiting_for_apogee(mission: Mission) -> set[str]:
    """Return the canopies that a recovery or a rule deploys at apogee."""
    found = {one.canopy for one in mission.recovery if one.when == "apogee"}
    return found | {rule.target for rule in mission.rule if rule.action == "deploy" and rule.when == "apogee"}


def _by_stage(mission: Mission, names: list[str], first: bool) -> list[str]:
    """Return of every stage the canopies that wait for apogee, all of its canopies where none does; or the one with the largest drag area."""
    at_apogee = waiting_for_apogee(mission)
    areas = {part.name: part.drag_coefficient * part.diameter**2 for part in canopy_parts(mission)}
    found: list[str] = []
    for stage in range(len(mission.stage)):
        own = [name for name in names if stage_of(mission, name) == stage]
        if first:
            found += [name for name in own if name in at_apogee] or own
        elif own:
            found.append(max(own, key=areas.__getitem__))
    return found


def deployment_loads(ds: xr.Dataset, mission: Mission, canopy: str, apogee: np.ndarray) -> dict[str, np.ndarray]:
    """Return the INDICES of one canopy in every flight, each (flights,), NaN where it did not come out.

    ds : an ensemble. mission : whose strengths count. apogee : true apogee of each flight's body, s.
    """
    number = [part.name for part in canopy_parts(mission)].index(canopy)
    part, stage = canopy_parts(mission)[number], stage_of(mission, canopy)
    at = {name: f"{name.replace('_', ' ')} {canopy}" for name in ("deployment", "line_stretch")}
    opened = np.isfinite(fact(ds, "opening_load", number))
    found = {"offset_flown": event_values(ds, at["deployment"], body=stage) - apogee}
    found |= {f"{name}_airspeed": fact(ds, f"{name}_airspeed", number) for name in at}
    found |= {f"{name}_incidence": event_values(ds, at[name], "incidence", body=stage) for name in at}
    found["opening_load"], found["snatch_load"] = fact(ds, "opening_load", number), fact(ds, "snatch_load", number)
    none = np.full(opened.size, math.nan)
    found["opening_load_share"] = none if part.strength is None else found["opening_load"] / part.strength
    harness = [one.canopy for one in mission.harness]
    carried = loads_of(ds, mission, harness.index(canopy)) if canopy in harness else None
    found["harness_load"], found["harness_load_share"] = (none, none) if carried is None else (carried.peak, carried.share)
    found["harness_opening_share"] = none if carried is None else carried.opening / carried.strength
    found["zipper_index"] = canopy_index(ds, mission, number, canopy)
    return {name: np.where(opened, found[name], math.nan) for name in INDICES}

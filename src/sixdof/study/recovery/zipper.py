"""The zipper index: what a harness does to the edge of the tube that it leaves, over what that edge bears.

The webbing runs out of an open tube over its lip. Where the pull is not along the tube, the webbing is bent over the lip by the angle theta between the
tube's open end and the pull, and presses on it with the resultant of its two strands, 2 T sin(theta/2): nothing where it is pulled straight out, 1.4 T
where it is pulled across, 2 T where it is folded back along the tube, as the harness is of a body that flies on nose first. The lip bears the webbing's
width times its wall times the bearing strength of its material. Their quotient is the index, a definition of this library: from 1 on the tube
is torn open from its edge. T is the share of the canopy's opening load that the piece's mass takes; the snatch of the charge pulls along the axis
and bends nothing. The angle is that between the body and the air at line stretch: the body turns into the pull while the canopy fills, so that the
index is an upper bound where it matters. No friction of the webbing on the lip, no doubler, ring or padding is counted.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.flight.harness import cut_of
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Harness, Tube
from sixdof.mission.tables.materials import property_of
from sixdof.study.reading.result import apart, drawn_factor, event_values, fact, mission_of
from sixdof.vehicle.geometry import shape_of, stage_segments

EDGE = 1e-6  # m: a cut nearer than this to the end of a part lies at it


class Lip(NamedTuple):
    """An open end of a tube at a cut. aft : whether it belongs to the aft piece, so that it is open ahead. strength : Pa, in bearing."""

    aft: bool
    tube: Tube
    strength: float


def lips_of(mission: Mission, harness: Harness) -> tuple[list[Lip], str]:
    """Return the tubes' ends that a harness leaves where it separates the airframe, and if there is none, why no index can be told ("" else)."""
    segments = stage_segments(mission.stage[stage_of(mission, harness.canopy)])
    station, found, why = harness.separation_station, [], "no tube ends where the airframe separates"
    sides = (False, lambda s: s.x0 + EDGE < station <= s.x1 + EDGE), (True, lambda s: s.x0 - EDGE <= station < s.x1 - EDGE)
    for aft, holds in sides:
        part = next((segment.part for segment in segments if holds(segment)), None)
        if not isinstance(part, Tube):
            continue
        if part.wall_thickness is None:
            why = "the tube where the airframe separates says no wall_thickness"
            continue
        try:
            found.append(Lip(aft, part, property_of(part, "bearing_strength")))
        except ValueError as error:
            why = str(error)
    return found, "" if found else why


def stage_of(mission: Mission, canopy: str) -> int:
    """Return the number of the stage that carries a canopy."""
    return next(k for k, stage in enumerate(mission.stage) for part in stage.part if part.kind == "parachute" and part.name == canopy)


def harness_of(mission: Mission, canopy: str) -> Harness | None:
    """Return the harness that the ejection of a canopy puts on the airframe's two pieces, None where there is none."""
    return next((harness for harness in mission.harness if harness.canopy == canopy), None)


def lip_force(tension, bend):
    """Return the force (N) of a webbing on the lip that it is bent over: the resultant of both strands, without friction.

    tension : N. bend : rad, 0 where the webbing is pulled straight out of the tube, pi where it is folded back along it.
    """
    return 2.0 * np.asarray(tension) * np.sin(0.5 * np.asarray(bend))


def why_no_index(mission: Mission, canopy: str) -> str:
    """Return what a mission lacks for the zipper index of a canopy, as the end of a sentence; "" where it lacks nothing."""
    harness = harness_of(mission, canopy)
    if harness is None:
        return f'no [[harness]] of the canopy "{canopy}" says where the airframe separates'
    if harness.width is None:
        return f'the [[harness]] of "{canopy}" says no width of its webbing (width = "14 mm")'
    return lips_of(mission, harness)[1]


def piece_masses(ds: xr.Dataset, mission: Mission, harness: Harness) -> tuple[np.ndarray, np.ndarray]:
    """Return the masses ahead of and behind the separation of a harness in every flight, (flights,), kg, as they hang.

    Drawn dry masses, and the propellant of motors that did not ignite; of a body of several stages all that is with it.
    """
    stage, count = stage_of(mission, harness.canopy), len(mission.stage)
    own = np.stack([apart(ds, k) for k in range(count)])
    first = np.max([np.where(own[k], k, 0) for k in range(stage + 1)], axis=0)
    last = np.min([np.where(own[k], k - 1, count - 1) for k in range(stage + 1, count)], axis=0) if stage + 1 < count else np.full(first.shape, count - 1)
    dry = np.stack([drawn_factor(ds, "vehicle_mass", "stage", one.name) * np.ones(first.size) for one in mission.stage])
    unlit = np.stack([np.isnan(event_values(ds, f"ignition {one.name}", body=k)) for k, one in enumerate(mission.stage[:-1])] + [np.zeros(first.size, bool)])
    fore, aft = np.full(first.size, np.nan), np.full(first.size, np.nan)
    for a, b in {(int(a), int(b)) for a, b in zip(first, last, strict=True)}:
        cut = cut_of(mission, stage, harness.separation_station, a, b, shape_of(mission.stage[a : b + 1]))
        which = (first == a) & (last == b)
        for mass, solid, grains in ((fore, cut.fore, cut.fore_grains), (aft, cut.aft, cut.aft_grains)):
            whole = sum((lump.mass * dry[k] for k, lump in solid), np.zeros(first.size))
            whole = whole + sum((lump.mass * unlit[k] for k, lump in grains), np.zeros(first.size))
            mass[which] = whole[which]
    return fore, aft


def opening_load_share(ds: xr.Dataset) -> xr.DataArray:
    """Return the opening load of every canopy over its strength, (flight, canopy), NaN of one without a strength and where it did not open.

    ds : an ensemble. A canopy that fails is lost at its strength, so that its share ends a little above 1.
    """
    parts = canopy_parts(mission_of(ds, "opening_load_share"))
    return by_canopy(ds, parts, [fact(ds, "opening_load", c) / (np.nan if one.strength is None else one.strength) for c, one in enumerate(parts)])


def zipper_index(ds: xr.Dataset) -> xr.DataArray:
    """Return the zipper index of every canopy's harness, (flight, canopy), NaN where a mission does not say what it needs (see this module's head).

    ds : an ensemble.
    """
    mission = mission_of(ds, "zipper_index")
    parts = canopy_parts(mission)
    return by_canopy(ds, parts, [canopy_index(ds, mission, c, one.name) for c, one in enumerate(parts)])


def by_canopy(ds: xr.Dataset, parts: list, columns: list[np.ndarray]) -> xr.DataArray:
    """Return a number of every flight and canopy, (flight, canopy), from one column a canopy. Raises ValueError for a mission without canopies."""
    if not parts:
        raise ValueError("the mission has no parachute")
    return xr.DataArray(np.stack(columns, axis=-1), {"canopy": [one.name for one in parts]}, ("flight", "canopy"))


def canopy_parts(mission: Mission) -> list:
    """Return the parachutes of a mission in the order of the dim `canopy`."""
    return [part for stage in mission.stage for part in stage.part if part.kind == "parachute"]


def canopy_index(ds: xr.Dataset, mission: Mission, number: int, canopy: str) -> np.ndarray:
    """Return the zipper index of one canopy's harness in every flight, (flights,): the larger of the two pieces' lips."""
    none = np.full(ds.sizes["flight"], math.nan)
    if why_no_index(mission, canopy):
        return none
    harness = harness_of(mission, canopy)
    load = fact(ds, "opening_load", number)
    incidence = event_values(ds, f"line stretch {canopy}", "incidence", body=stage_of(mission, canopy))
    fore, aft = piece_masses(ds, mission, harness)
    found = [none]
    for lip in lips_of(mission, harness)[0]:
        share = (aft if lip.aft else fore) / (fore + aft)
        bend = math.pi - incidence if lip.aft else incidence  # a tube open ahead of a body that flies nose first: the air pulls back along it
        found.append(lip_force(share * load, bend) / (harness.width * lip.tube.wall_thickness * lip.strength))
    return np.fmax.reduce(found)

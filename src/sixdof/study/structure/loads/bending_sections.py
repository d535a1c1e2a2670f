"""Walls and joints along the stages that fly together: section moduli, what the material carries, when a thin wall buckles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.tables.materials import property_of
from sixdof.vehicle.geometry import Segment, Shape

POISSON = 0.3
THINNEST = 1500.0  # radius over wall up to which the knock-down is fitted


class Joint(NamedTuple):
    """A place where the body parts. kind : "stage" or "slip fit". stage : behind it, or in which it lies. station : m aft of the stage's fore end.
    strength : bending moment it carries, N m, NaN where the mission does not say."""

    name: str
    kind: str
    stage: int
    station: float
    strength: float


class Walls(NamedTuple):
    """The wall at stations (n,). modulus : I/c, m^3; area : m^2; NaN where there is no body to speak of. strength, buckling_bent, buckling_pressed :
    stresses at which it yields or breaks, and buckles in bending and under axial load, Pa, NaN where not known, inf where it does not buckle.
    part : number of the part among `names`, -1 where none."""

    names: list[str]
    part: np.ndarray
    modulus: np.ndarray
    area: np.ndarray
    strength: np.ndarray
    buckling_bent: np.ndarray
    buckling_pressed: np.ndarray


def joints_of(mission: Mission) -> list[Joint]:
    """Return the joints of all stages from the front: between stages, and where a harness lets a stage part."""
    stage_of = {part.name: k for k, stage in enumerate(mission.stage) for part in stage.part if part.kind == "parachute"}
    rows = [Joint(f"joint of {stage.name}", "stage", k, 0.0, _or_nan(stage.joint.bending_strength)) for k, stage in enumerate(mission.stage) if k]
    rows += [Joint(f"slip fit of {h.canopy}", "slip fit", stage_of[h.canopy], h.separation_station, _or_nan(h.bending_strength)) for h in mission.harness]
    return sorted(rows, key=lambda joint: (joint.stage, joint.station))


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def part_names(mission: Mission) -> list[str]:
    """Return the names of the bodies of revolution of all stages, "STAGE: PART"."""
    found: list[str] = []
    for stage in mission.stage:
        bodies = [part for part in stage.part if part.kind in ("nose", "tube", "transition")]
        for part in bodies:
            name = f"{stage.name}: {part.name or part.kind}"
            same = sum(one.split(" #")[0] == name for one in found)
            found.append(f"{name} #{same + 1}" if same else name)
    return found


def walls_at(mission: Mission, shape: Shape, stations: Sequence[float], first: int = 0) -> Walls:
    """Return the wall at stations (n,), m, of the stages from `first` on flying together; a station where two parts meet counts to the aft one."""
    x = np.asarray(stations, dtype=float)
    part = np.full(x.shape, -1)
    rows = np.full((5, *x.shape), np.nan)
    for number, segment in enumerate(shape.segments):
        here = (x >= segment.x0) & (x <= segment.x1)
        part[here] = number
        rows[:, here] = _wall(segment, x[here])
    ahead = sum(part.kind in ("nose", "tube", "transition") for stage in mission.stage[:first] for part in stage.part)
    return Walls(part_names(mission)[ahead : ahead + len(shape.segments)], part, *rows)


def _wall(segment: Segment, x: np.ndarray) -> np.ndarray:
    """Return (modulus, area, strength, buckling in bending, under axial load) at stations of a segment, (5, n)."""
    outer = segment.radius(x)
    wall = segment.part.wall_thickness
    inner = np.zeros_like(outer) if wall is None else np.maximum(outer - wall, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        modulus = 0.25 * math.pi * (outer**4 - inner**4) / outer
    area = math.pi * (outer**2 - inner**2)
    usable = outer > max(2.0 * (wall or 0.0), 0.1 * max(segment.r0, segment.r1))  # a nose's tip is solid, and nothing bends it
    bent, pressed = buckling_stress(0.5 * (outer + inner), outer - inner, _known(segment, "youngs_modulus")) if wall is not None else (np.inf, np.inf)
    found = np.array([modulus, area, *(np.broadcast_to(v, x.shape) for v in (_known(segment, "strength"), bent, pressed))], dtype=float)
    return np.where(usable, found, np.nan)


def _known(segment: Segment, name: str) -> float:
    try:
        return property_of(segment.part, name)
    except ValueError:
        return math.nan


def buckling_stress(radius, wall, young: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the stresses (Pa) at which a thin unstiffened tube buckles in bending and under axial load.

    NASA SP-8007, Buckling of thin-walled circular cylinders (1968): gamma E t/(r sqrt(3 (1 - nu^2))), with the lower bound of tests gamma = 1 - 0.731
    (1 - exp(-phi)) in bending, 1 - 0.901 (1 - exp(-phi)) under axial load, phi = sqrt(r/t)/16, for r/t up to 1500; the two act together by the sum of
    their shares. For an isotropic wall; a laminate's Young's modulus along the tube is put in, which is an estimate.

    radius : of the wall's middle, m. wall : thickness, m.
    """
    radius, wall = np.broadcast_arrays(np.asarray(radius, dtype=float), np.asarray(wall, dtype=float))
    slim = np.clip(np.divide(radius, wall, out=np.ones(radius.shape), where=wall > 0.0), 1.0, THINNEST)
    lost = 1.0 - np.exp(-np.sqrt(slim) / 16.0)
    classical = young / (slim * math.sqrt(3.0 * (1.0 - POISSON**2)))
    return (1.0 - 0.731 * lost) * classical, (1.0 - 0.901 * lost) * classical


class Stressed(NamedTuple):
    """Walls under section loads. stress : Pa, of bending and compression together. share : of what the wall carries, the worse of strength and buckling.
    buckles : whether buckling is the worse."""

    stress: np.ndarray
    share: np.ndarray
    buckles: np.ndarray


def stressed(walls: Walls, moment: np.ndarray, compression: np.ndarray) -> Stressed:
    """Return what section loads (..., n) do to walls: sigma = M/(I/c) + P/A, pressed or pulled."""
    bent, along = moment / walls.modulus, compression / walls.area
    stress = bent + np.abs(along)
    broken = stress / walls.strength
    buckled = bent / walls.buckling_bent + np.maximum(along, 0.0) / walls.buckling_pressed
    share = np.fmax(broken, buckled)
    return Stressed(stress, share, buckled > np.where(np.isfinite(broken), broken, -1.0))

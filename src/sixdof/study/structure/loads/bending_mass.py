"""The mass of what flies together, spread along its axis, with a flight's draws: what bends it as it is accelerated."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from sixdof.draws.flight_draw import FlightDraw
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Nose, Stage, Transition, Tube
from sixdof.study.probes.columns import GrainColumn, JointDraw, StageDraw
from sixdof.vehicle.geometry import Segment, Shape, stage_segments
from sixdof.vehicle.mass import airframe, full_grain, part_lumps
from sixdof.vehicle.mounting import case_lump, grain_row, grain_size, placed_motors
from sixdof.vehicle.solids import Lump, combine

PIECES = 24  # of a lump of even density along its length


class Points(NamedTuple):
    """Mass in points. mass : (n,), kg. place : (n, 3) station (aft), y, z, m. own : (n, 3) what each spreads over its section, int y^2, z^2, yz dm, kg m^2."""

    mass: np.ndarray
    place: np.ndarray
    own: np.ndarray


class Ahead(NamedTuple):
    """Sums over the mass ahead of stations, (n,) each: mass, its moments along the axis, and those off it."""

    m: np.ndarray  # kg
    x: np.ndarray  # kg m, stations
    xx: np.ndarray  # kg m^2
    y: np.ndarray
    z: np.ndarray
    xy: np.ndarray
    xz: np.ndarray
    yy: np.ndarray
    zz: np.ndarray
    yz: np.ndarray


class Spread(NamedTuple):
    """The mass ahead of stations: what does not burn, and the full grains that do. grain_own : (2,) of int r^2 dm/2 of all grains, its shares that go
    with the unburnt fraction and with its square."""

    dry: Ahead
    grain: Ahead
    grain_own: np.ndarray


def spread_of(mission: Mission, stages: tuple[int, int], shape: Shape, draw: FlightDraw, stations: np.ndarray) -> Spread:
    """Return the mass of the stages (first, last), flying together in a flight, ahead of stations (n,), m; at the last of them all of it."""
    first, last = stages
    motors = placed_motors(mission, range(first, last + 1), shape)
    dry: list[Points] = []
    for place, k in enumerate(range(first, last + 1)):
        built = _airframe_points(mission.stage[k], place, shape)
        cases = [_even(case_lump(placed)) for placed in motors[place]]
        unlit = [_even(full_grain(placed)) for placed in motors[place]] if k < last else []
        drawn = _drawn(joined([built, *cases]), draw.stage[k])
        dry.append(_bent(joined([drawn, *unlit]), draw, shape, stages, k))
    grain, own = _grains(motors[-1])
    return Spread(ahead_of(joined(dry), stations), ahead_of(_bent(grain, draw, shape, stages, last), stations), own)


def ahead_of(points: Points, stations: np.ndarray) -> Ahead:
    """Return the sums over the points ahead of stations (n,) in rising order; at the last of them over all."""
    order = np.argsort(points.place[:, 0], kind="stable")
    m, (x, y, z), (yy, zz, yz) = points.mass[order], points.place[order].T, points.own[order].T
    count = np.searchsorted(x, stations)
    count[-1] = len(x)
    columns = np.array([m, m * x, m * x * x, m * y, m * z, m * x * y, m * x * z, m * y * y + yy, m * z * z + zz, m * y * z + yz])
    sums = np.concatenate([np.zeros((len(columns), 1)), np.cumsum(columns, axis=1)], axis=1)
    return Ahead(*sums[:, count])


def joined(points: Iterable[Points]) -> Points:
    """Return several as one."""
    found = list(points)
    return Points(*(np.concatenate([getattr(one, name) for one in found]) for name in Points._fields))


# ---------------------------------------------------------------- parts


def _airframe_points(stage: Stage, number: int, shape: Shape) -> Points:
    """Return the `number`-th stage of a stack without its motors as it was built, moved and stretched to what was measured of it."""
    bodies = iter(stage_segments(stage, shape.stage_x0[number]))
    rows = part_lumps(shape, number, stage)
    points = joined(_shell(next(bodies), lump.mass) if isinstance(part, (Nose, Tube, Transition)) else _even(lump) for part, lump in rows)
    if stage.measured is None:
        return points
    built, measured = combine(lump for _, lump in rows), airframe(shape, number, stage)
    along, across = _spreads(measured), _spreads(built)
    share = measured.mass / built.mass
    stretch = math.sqrt(max(along[0], 0.0) / (across[0] * share)) if across[0] > 0.0 else 1.0
    wider = math.sqrt(max(along[1] + along[2], 0.0) / ((across[1] + across[2]) * share))
    place = measured.place + (points.place - built.place) * np.array([stretch, wider, wider])
    return Points(points.mass * share, place, points.own * share * wider**2)


def _shell(segment: Segment, mass: float) -> Points:
    """Return a body of revolution of a mass: its wall, even in density."""
    x, weight = segment.quadrature()
    outer = segment.radius(x)
    wall = segment.part.wall_thickness
    inner = np.zeros_like(outer) if wall is None else np.maximum(outer - wall, 0.0)
    share = weight * (outer**2 - inner**2)
    each = mass * share / share.sum()
    half = 0.25 * each * (outer**2 + inner**2)
    return Points(each, np.column_stack([x, np.zeros((len(x), 2))]), np.column_stack([half, half, np.zeros(len(x))]))


def _even(lump: Lump) -> Points:
    """Return a lump as a rod of even density, as long as its inertia says."""
    along, yy, zz, yz = _spreads(lump)
    half = math.sqrt(max(3.0 * along / lump.mass / (1.0 - 1.0 / PIECES**2), 0.0)) if lump.mass > 0.0 else 0.0
    place = np.tile(lump.place, (PIECES, 1))
    place[:, 0] += half * (2.0 * np.arange(PIECES) + 1.0 - PIECES) / PIECES
    return Points(np.full(PIECES, lump.mass / PIECES), place, np.tile(np.array([yy, zz, yz]) / PIECES, (PIECES, 1)))


def _spreads(lump: Lump) -> tuple[float, float, float, float]:
    """Return int x^2, y^2, z^2, y z dm of a lump about its centre, kg m^2."""
    (xx, _, _), (_, yy, yz), (_, _, zz) = lump.inertia
    return 0.5 * (yy + zz - xx), 0.5 * (xx + zz - yy), 0.5 * (xx + yy - zz), -yz


def _grains(motors) -> tuple[Points, np.ndarray]:
    """Return full grains without what they spread over their section, and that: (linear, square) in the unburnt fraction."""
    if not motors:
        return Points(np.zeros(1), np.zeros((1, 3)), np.zeros((1, 3))), np.zeros(2)
    rows = np.array([grain_row(placed) for placed in motors])
    points = []
    for placed, row in zip(motors, rows):
        length = grain_size(placed.motor)[0]
        mass = row[GrainColumn.MASS]
        lump = Lump(mass, row[[GrainColumn.X, GrainColumn.Y, GrainColumn.Z]], np.diag([0.0, 1.0, 1.0]) * mass * length**2 / 12.0)
        points.append(_even(lump)._replace(own=np.zeros((PIECES, 3))))
    return joined(points), 0.5 * rows[:, [GrainColumn.ROLL_A, GrainColumn.ROLL_B]].sum(axis=0)


# ---------------------------------------------------------------- draws


def _drawn(points: Points, stage: np.ndarray) -> Points:
    """Return a stage's dry mass as drawn: heavier, moved, stretched about its centre so that its inertia is the one drawn. stage : (StageDraw,)."""
    centre = points.mass @ points.place / points.mass.sum()
    stretch = math.sqrt(stage[StageDraw.INERTIA])
    moved = centre + stage[[StageDraw.CG_X, StageDraw.CG_Y, StageDraw.CG_Z]]
    return Points(points.mass * stage[StageDraw.MASS], moved + stretch * (points.place - centre), points.own * stage[StageDraw.MASS] * stage[StageDraw.INERTIA])


def _bent(points: Points, draw: FlightDraw, shape: Shape, stages: tuple[int, int], stage: int) -> Points:
    """Return what a stage of a stack holds, moved off the axis as the tilted joints ahead of it do (as `core.whole.stack.bend_of`)."""
    place = points.place.copy()
    for k in range(stages[0] + 1, stage + 1):
        turn_y, turn_z = draw.joint[k, [JointDraw.TILT_Y, JointDraw.TILT_Z]]
        behind = points.place[:, 0] - shape.stage_x0[k - stages[0]]
        place[:, 1] -= turn_z * behind
        place[:, 2] += turn_y * behind
    return points._replace(place=place)

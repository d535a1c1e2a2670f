"""Motors in their mounts: where each one sits, its case as a rigid body and its propellant as a grain.

What the mission leaves open: a case is a thin tube of the motor's length and diameter; a grain without `grain_length`
takes 0.9 of the motor's length (less where `grain_station` leaves less); without `grain_station`, the place of its
fore end aft of the motor's, it sits in the middle; its outer diameter is the motor's less a case wall of 2.5 % of the
diameter either side.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.core.columns import GRAIN_COLUMNS, GrainColumn
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Motor, Mount
from sixdof.vehicle.geometry import Shape, outward, ring_angles, shape_of
from sixdof.vehicle.solids import Lump, cylinder, grain_inertia

GRAIN_SHARE = 0.9  # of the motor's length, where grain_length is omitted
CASE_WALL_SHARE = 0.025  # of the motor's diameter, either side


class PlacedMotor(NamedTuple):
    """One motor where it sits: stations in the stack and body coordinates, m."""

    name: str
    motor: Motor
    fore: float
    aft: float
    y: float
    z: float


def ring(part: Mount) -> list[tuple[float, float]]:
    """Return y and z of each tube of a mount, m."""
    y, z = outward(ring_angles(part.count, part.clocking))
    return [(float(part.ring_radius * a), float(part.ring_radius * b)) for a, b in zip(y, z)]


def placed_motors(mission: Mission, stages: Sequence[int], shape: Shape | None = None) -> list[list[PlacedMotor]]:
    """Return the motors of each stage of the stack `stages`, one entry a motor, in the order of the mounts."""
    shape = shape_of([mission.stage[index] for index in stages]) if shape is None else shape
    found: list[list[PlacedMotor]] = []
    for index, fore in zip(stages, shape.stage_x0):
        found.append([])
        for part in mission.stage[index].part:
            if not isinstance(part, Mount):
                continue
            motor = mission.motor[part.motor]
            aft = fore + part.station + part.length + part.protrusion
            found[-1] += [PlacedMotor(part.motor, motor, aft - motor.length, aft, y, z) for y, z in ring(part)]
    return found


def case_lump(placed: PlacedMotor) -> Lump:
    """Return the empty motor as a thin tube where it sits."""
    motor, radius = placed.motor, 0.5 * placed.motor.diameter
    roll, transverse = cylinder(motor.case_mass, motor.length, radius, radius)
    place = np.array([0.5 * (placed.fore + placed.aft), placed.y, placed.z])
    return Lump(motor.case_mass, place, np.diag([roll, transverse, transverse]))


def grain_size(motor: Motor) -> tuple[float, float, float, float]:
    """Return length, centre aft of the motor's fore end, outer and bore radius (m) of a motor's grain."""
    length, fore = motor.grain_length, motor.grain_station
    if length is None:
        length = min(GRAIN_SHARE * motor.length, motor.length - (fore or 0.0))
    if fore is None:
        fore = 0.5 * (motor.length - length)
    return length, fore + 0.5 * length, motor.diameter * (0.5 - CASE_WALL_SHARE), 0.5 * motor.bore_diameter


def grain_row(placed: PlacedMotor) -> np.ndarray:
    """Return the row (GRAIN_COLUMNS,) of Mass.grain of a placed motor."""
    length, centre, outer, bore = grain_size(placed.motor)
    row = np.zeros(GRAIN_COLUMNS)
    row[GrainColumn.MASS] = placed.motor.propellant_mass
    row[[GrainColumn.X, GrainColumn.Y, GrainColumn.Z]] = placed.fore + centre, placed.y, placed.z
    row[[GrainColumn.ROLL_A, GrainColumn.ROLL_B, GrainColumn.PITCH_A, GrainColumn.PITCH_B]] = grain_inertia(placed.motor.propellant_mass, length, outer, bore)
    return row

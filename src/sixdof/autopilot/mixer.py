"""Which fin answers which demand: control fins, the mixer, the lever of their deflection."""

from __future__ import annotations

import math

import numpy as np

from sixdof.core.columns import FinColumn
from sixdof.mission.mission import Mission
from sixdof.vehicle.aero.table import fin_columns
from sixdof.vehicle.geometry import Shape, shape_of
from sixdof.vehicle.mass import mass_at, mass_table

ARM_MACH = 0.3  # at which a fin's load is put ahead of the centre of mass or behind it


def control_fins(shape) -> list[tuple[int, int, float]]:
    """Return (set, panel, angle clockwise from body +z) of every control fin, in the order of the actuators."""
    found = []
    for number, fins in enumerate(shape.fins):
        if fins.part.control:
            step = 2.0 * math.pi / fins.part.count
            found += [(number, i, fins.part.clocking + i * step) for i in range(fins.part.count)]
    return found


def mixer_table(mission: Mission, stages, shape: Shape | None = None) -> np.ndarray:
    """Return fin angle per roll, pitch and yaw demand (fins, 3).

    A fin at angle phi whose load acts behind the centre of mass makes, per unit angle, roll 1, pitch -sin(phi), yaw
    cos(phi) (body axes: force along n = (0, -cos phi, -sin phi) at x < 0 gives M_y = x (-F_z), M_z = x F_y); ahead of it
    the last two change sign. The mixer is the least-squares inverse of that geometry, scaled so that a demand of 1 rad
    in one channel moves the fin that works best in it by 1 rad.
    """
    shape = shape_of([mission.stage[i] for i in stages]) if shape is None else shape
    fins = control_fins(shape)
    if not fins:
        return np.zeros((0, 3))
    ahead = [arm > 0.0 for arm in deflection_arms(mission, stages, shape=shape)]
    effect = np.empty((3, len(fins)))
    for k, (number, _, angle) in enumerate(fins):
        lever = 1.0 if ahead[number] else -1.0
        effect[:, k] = 1.0, lever * math.sin(angle), -lever * math.cos(angle)
    for number in mission.autopilot.known_failed:
        if number <= len(fins):
            effect[:, number - 1] = 0.0
    inverse = np.linalg.pinv(effect)
    inverse[np.abs(inverse) < 1e-12] = 0.0
    largest = np.abs(inverse).max(axis=0)
    return np.ascontiguousarray(inverse / np.where(largest > 0.0, largest, 1.0))


def deflection_arms(mission: Mission, stages, unburnt: float = 0.5, shape: Shape | None = None) -> list[float]:
    """Return for each set of fins how far ahead of the centre of mass its deflection's load acts, m, at Mach 0.3.

    The load is the panel's and what it carries over onto the body, without what its vortices do behind. unburnt : share of the propellant
    left; the mixer's is half: fins that the centre of mass passes in the burn change their sense, and no mixer is right for them all the time.
    """
    shape = shape_of([mission.stage[i] for i in stages]) if shape is None else shape
    cg = mass_at(mass_table(mission, stages, shape), unburnt)[1][0]
    rows = [fin_columns(np.array([ARM_MACH]), fin, shape)[0] for fin in shape.fins]
    return [
        float(cg - (row[FinColumn.DW] * row[FinColumn.X] + row[FinColumn.DB] * row[FinColumn.XB]) / (row[FinColumn.DW] + row[FinColumn.DB])) for row in rows
    ]

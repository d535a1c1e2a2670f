"""Where a recovery harness divides a body: what lies on either side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.vehicle.geometry import Shape
from sixdof.vehicle.mass import full_grain, part_lumps
from sixdof.vehicle.mounting import case_lump, placed_motors
from sixdof.vehicle.solids import Lump


@dataclass(frozen=True)
class Cut:
    """What lies ahead of a station of a body and behind it.

    (stage, lump) of what does not burn and of full grains; station of the stages together, m; side areas ahead of it and behind it, m^2.
    """

    fore: list[tuple[int, Lump]]
    aft: list[tuple[int, Lump]]
    fore_grains: list[tuple[int, Lump]]
    aft_grains: list[tuple[int, Lump]]
    at: float
    areas: tuple[float, float]


def cut_of(mission: Mission, stage: int, station: float, first: int, last: int, shape: Shape) -> Cut:
    """Return the stages first .. last, of this shape together, divided at a station of `stage`."""
    stages = range(first, last + 1)
    motors = placed_motors(mission, stages, shape)
    dry = [(k, lump) for number, k in enumerate(stages) for _, lump in part_lumps(shape, number, mission.stage[k])]
    dry += [(k, case_lump(placed)) for k, each in zip(stages, motors) for placed in each]
    grains = [(k, full_grain(placed)) for k, each in zip(stages, motors) for placed in each]
    at = shape.stage_x0[stage - first] + station

    def side(rows, fore: bool):
        return [row for row in rows if (row[1].place[0] < at) == fore]

    sides = side(dry, True), side(dry, False), side(grains, True), side(grains, False)
    return Cut(*sides, float(at), (_side_area(shape, at, True), _side_area(shape, at, False)))


def _side_area(shape: Shape, station: float, fore: bool) -> float:
    """Return the body's side area ahead of a station (m^2), or behind it."""
    x = np.linspace(0.0, station, 513) if fore else np.linspace(station, shape.length, 513)
    width = 2.0 * shape.radius(x)
    return float(np.sum(0.5 * (width[1:] + width[:-1]) * np.diff(x)))

"""Where a recovery harness divides a body: the pieces, their masses, the load of the ejection, and the pieces' models once it has failed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.vehicle.geometry import Shape
from sixdof.vehicle.mass import full_grain, part_lumps
from sixdof.vehicle.mounting import case_lump, placed_motors
from sixdof.vehicle.solids import Lump

LEAST_GYRATION = 0.01  # m, of a loose piece


@dataclass(frozen=True)
class Cut:
    """What lies ahead of a station of a body and behind it.

    (stage, lump) of what does not burn and of full grains; masses (2: fore, aft; stages) of what does not burn and of full grains, kg;
    shape and station of the stages together.
    """

    fore: list[tuple[int, Lump]]
    aft: list[tuple[int, Lump]]
    fore_grains: list[tuple[int, Lump]]
    aft_grains: list[tuple[int, Lump]]
    masses: tuple[np.ndarray, np.ndarray]
    shape: Shape
    at: float

    @cached_property
    def areas(self) -> tuple[float, float]:
        """Side areas ahead of the station and behind it, m^2: asked for only where a harness fails."""
        return _side_area(self.shape, self.at, True), _side_area(self.shape, self.at, False)


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

    def masses(rows):
        return np.array([[sum(lump.mass for k, lump in side(rows, fore) if k == stage) for stage in stages] for fore in (True, False)])

    sides = side(dry, True), side(dry, False), side(grains, True), side(grains, False)
    return Cut(*sides, (masses(dry), masses(grains)), shape, float(at))


def _side_area(shape: Shape, station: float, fore: bool) -> float:
    """Return the body's side area ahead of a station (m^2), or behind it."""
    x = np.linspace(0.0, station, 513) if fore else np.linspace(station, shape.length, 513)
    width = 2.0 * np.array([shape.radius(float(each)) for each in x])
    return float(np.sum(0.5 * (width[1:] + width[:-1]) * np.diff(x)))


def extended(lump: Lump) -> Lump:
    """Return a piece that can turn: one of nothing but point masses on the axis has no inertia, and gets that of a small ball."""
    least = lump.mass * LEAST_GYRATION**2
    return lump._replace(inertia=lump.inertia + np.diag(np.maximum(least - np.diag(lump.inertia), 0.0)))

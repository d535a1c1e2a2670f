"""Where a recovery harness divides a body: what lies on either side, and what its charge throws apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sixdof.autopilot.canopies import canopy_stages
from sixdof.mission.checks.rules import Staging
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Charge
from sixdof.results.names import canopy_names
from sixdof.vehicle.charge import Bay, Ejection, bay_of, ejection
from sixdof.vehicle.geometry import Shape, shape_of
from sixdof.vehicle.mass import full_grain, part_lumps
from sixdof.vehicle.mounting import case_lump, placed_motors
from sixdof.vehicle.solids import Lump
from sixdof.world.sounding import air_over


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


def harness_stage(mission: Mission, number: int) -> int:
    """Return the number of the stage that a harness divides."""
    return canopy_stages(mission)[canopy_names(mission).index(mission.harness[number].canopy)]


def hanging_pieces(mission: Mission, number: int) -> tuple[float, float]:
    """Return the masses (kg) fore and aft of a harness's cut in nominal flight: its stage, with those that never leave it, burnt out."""
    stage, separable = harness_stage(mission, number), Staging(mission).separable
    first = last = stage
    while first > 0 and mission.stage[first].name not in separable:
        first -= 1
    while last + 1 < len(mission.stage) and mission.stage[last + 1].name not in separable:
        last += 1
    cut = cut_of(mission, stage, mission.harness[number].separation_station, first, last, shape_of(mission.stage[first : last + 1]))
    return tuple(float(sum(lump.mass for _, lump in side)) for side in (cut.fore, cut.aft))


@dataclass(frozen=True)
class Ejector:
    """A harness's charge with all that its ejection depends on. air : pressure (Pa) and density (kg/m^3) outside; reduced_mass : of `hanging_pieces`, kg."""

    charge: Charge
    bay: Bay
    air: tuple[float, float]
    reduced_mass: float

    def fire(self, mass: float | None = None, air: tuple[float, float] | None = None) -> Ejection:
        """Return what the charge does, with another mass of powder (kg) or in other air than at the rail."""
        charge = self.charge if mass is None else self.charge.model_copy(update={"mass": mass})
        return ejection(charge, self.bay, *(air or self.air), self.reduced_mass)


def ejector_of(mission: Mission, number: int) -> Ejector | None:
    """Return the charge of a harness and the pieces it throws apart, in the air at the rail; None without a charge, or where there is nothing to throw."""
    harness = mission.harness[number]
    if harness.charge is None:
        return None
    fore, aft = hanging_pieces(mission, number)
    if not (fore > 0.0 and aft > 0.0):
        return None
    over, _ = air_over(mission, np.array([mission.site.altitude]))
    bay = bay_of(mission.stage[harness_stage(mission, number)], harness)
    return Ejector(harness.charge, bay, (float(over.pressure[0]), float(over.density[0])), fore * aft / (fore + aft))


def ejection_impulse(mission: Mission, number: int) -> float:
    """Return the impulse of a harness's ejection, N s: as written, or what its charge gives the pieces in the air at the rail, 0 where it parts nothing."""
    ejector = ejector_of(mission, number)
    return mission.harness[number].impulse if ejector is None else ejector.fire().impulse


def _side_area(shape: Shape, station: float, fore: bool) -> float:
    """Return the body's side area ahead of a station (m^2), or behind it."""
    x = np.linspace(0.0, station, 513) if fore else np.linspace(station, shape.length, 513)
    width = 2.0 * shape.radius(x)
    return float(np.sum(0.5 * (width[1:] + width[:-1]) * np.diff(x)))

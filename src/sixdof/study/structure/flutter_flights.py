"""What one drawn flight says of every set of fins: the least margin of plate and hinge, and where in the flight it is."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.drawn import drawn_mission, path_names
from sixdof.mission.mission import Mission
from sixdof.results.dataset import input_name
from sixdof.study.aero.air import air_against_height
from sixdof.study.aero.tables import fin_names
from sixdof.study.reading.result import meaningful, mission_of
from sixdof.study.structure.flutter_air import Air, air_of_stages
from sixdof.study.structure.flutter_speed import Plate, plate_of
from sixdof.study.structure.hinge import HingeTable, cycle_amplitude, hinge_table
from sixdof.vehicle.geometry import FinSet, Shape, shape_of

SLOWEST = 0.02  # Mach number below which nothing flutters
KINDS = ("plate", "hinge", "divergence")


class Found(NamedTuple):
    """What a flight says of one set of fins; inf where nothing limits, NaN where nothing is known."""

    plate: float
    hinge: float
    divergence: float
    reserve: float
    kind: int
    time: float
    mach: float
    height: float
    airspeed: float
    speed: float
    modulus: float
    cycle: float
    air: Air
    limit: np.ndarray  # (rows,) flutter speed, the least of all kinds


class Fins:
    """The sets of fins of a mission, as each flight drew them."""

    def __init__(self, ensemble: xr.Dataset, required: tuple[np.ndarray, np.ndarray]):
        self.ensemble, self.mission = ensemble, mission_of(ensemble, "flutter")
        self.required, self.notes = required, []
        self.shape = shape_of(self.mission.stage)
        if not self.shape.fins:
            raise ValueError("flutter: this vehicle has no fins")
        self.names = fin_names(self.shape)
        self._drawn = shapes_drawn(ensemble, self.mission)
        self.plates = [self._plate(fin) for fin in self.shape.fins]
        self._reach = _reach(ensemble, self.mission)
        self._tables = {k: self._hinge(fin, self.shape) for k, fin in enumerate(self.shape.fins) if fin.part.control}
        if all(plate is None for plate in self.plates):
            raise ValueError(f"flutter: {'; '.join(dict.fromkeys(self.notes))}")

    def _plate(self, fin: FinSet) -> Plate | None:
        try:
            return plate_of(fin)
        except ValueError as error:
            self.notes.append(str(error))
            return None

    def _hinge(self, fin: FinSet, shape: Shape) -> HingeTable | None:
        try:
            return hinge_table(fin, shape, *self._reach)
        except ValueError as error:
            self.notes.append(str(error))
            return None

    def table_of(self, number: int) -> HingeTable | None:
        """Return what a set of fins does about its hinge, None where it has none or says too little."""
        return self._tables.get(number)

    def of_flight(self, flight: xr.Dataset) -> list[Found]:
        """Return what a flight says of every set of fins."""
        airs = air_of_stages(flight, len(self.mission.stage))
        shape = self._drawn(int(flight["flight"]))
        return [self._of_set(number, fin, shape, airs[fin.stage]) for number, fin in enumerate(shape.fins)]

    def _of_set(self, number: int, fin: FinSet, shape: Shape, air: Air) -> Found:
        air = air.part(air.mach > SLOWEST)
        if self.plates[number] is None or air.time.size < 2:
            return Found(*[math.nan] * 4, 0, *[math.nan] * 7, air, np.full(air.time.size, np.nan))
        plate = self.plates[number] if shape is self.shape else plate_of(fin)
        margins = np.full((3, air.time.size), np.inf)
        margins[0] = plate.flutter_speed(air.pressure, air.sound_speed) / air.airspeed
        table, cycle = self._tables.get(number), 0.0
        if table is not None and shape is not self.shape:
            table = self._hinge(fin, shape)
        if table is not None:
            margins[1], margins[2] = table.flutter_margin(air), table.divergence_margin(air)
            cycle = cycle_amplitude(table.soft_margins(air).min(axis=1), fin.part.hinge_play) if len(table.soft) else 0.0
        reserve = margins / np.interp(air.mach, *self.required)
        kind, k = np.unravel_index(np.argmin(reserve), reserve.shape)
        least = margins.min(axis=1)
        hinged = least[1:] if table is not None else (math.nan, math.nan)
        at = (air.time[k], air.mach[k], air.height[k], air.airspeed[k], margins[kind, k] * air.airspeed[k])
        return Found(least[0], *hinged, reserve[kind, k], int(kind), *at, plate.shear_modulus, cycle, air, margins.min(axis=0) * air.airspeed)


def shapes_drawn(ensemble: xr.Dataset, mission: Mission) -> Callable[[int], Shape]:
    """Return the function from a flight's number to the outside it drew: the mission's own where no part of it is dispersed."""
    names = path_names(mission)
    own = shape_of(mission.stage)
    if not any(name.startswith("stage.") for name in names):
        return lambda number: own
    numbers = list(ensemble["flight"].values)
    values = np.stack([np.broadcast_to(ensemble[input_name(name)].values, len(numbers)) for name in names], axis=1)
    return lambda number: shape_of(drawn_mission(mission, values[numbers.index(number)], flight=number).stage)


def _reach(ensemble: xr.Dataset, mission: Mission) -> tuple[float, tuple[float, float]]:
    """Return the largest Mach number of the flights, and the least and largest density (kg/m^3) that a table of hinged fins is made for."""
    top = float(np.nanmax(np.append(ensemble["mach_max"].values[meaningful(ensemble)], 0.1)))
    height = float(np.nanmax(np.append(ensemble["apogee_height"].values[meaningful(ensemble)], 100.0)))
    air = air_against_height(mission, np.array([0.0, height]))["density"].values
    return 1.02 * top, (0.95 * float(air.min()), 1.05 * float(air.max()))

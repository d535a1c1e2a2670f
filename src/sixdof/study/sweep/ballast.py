"""Ballast in the nose or anywhere else, of a mission that was weighed as of one that was not."""

from __future__ import annotations

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Nose
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe
from sixdof.vehicle.solids import Lump, combine

NOSE_SHARE = 2.0 / 3.0  # of the nose's length aft of its tip: where ballast finds room
MOMENTS = ("inertia_roll", "inertia_pitch", "inertia_yaw")  # in the order of the tensor
_NONE = np.zeros((3, 3))


def ballasted(mission: Mission, mass: float, stage: int = 0, station: float | None = None) -> Mission:
    """Return a mission with a mass (kg) at a station (m) of a stage; a stage that was weighed or swung is as if measured with it.

    station : at two thirds of the nose's length if None, at the fore end of a stage without a nose.
    """
    if mass <= 0.0:
        return mission
    station = nose_station(mission, stage) if station is None else station
    measured = mission.stage[stage].measured
    known = [] if measured is None else [name for name in ("mass", "cg", *MOMENTS) if getattr(measured, name) is not None]
    if not known:
        name = "ballast in the nose" if stage == 0 and station <= _nose_length(mission, stage) else "ballast"
        return mission.add(f"stage.{stage}.part", {"kind": "mass", "name": name, "mass": mass, "station": station})
    built = airframe(shape_of([mission.stage[stage]]), 0, mission.stage[stage])
    heavier = combine([built, Lump(mass, np.array([station, built.place[1], built.place[2]]), _NONE)])
    changes = {"mass": float(heavier.mass), "cg": float(heavier.place[0])}
    changes |= {name: float(heavier.inertia[axis, axis]) for axis, name in enumerate(MOMENTS) if name in known}
    return mission.change({f"stage.{stage}.measured.{name}": value for name, value in changes.items()})


def nose_station(mission: Mission, stage: int = 0) -> float:
    """Return the station of ballast in the nose of a stage (m), 0 of one without a nose."""
    return NOSE_SHARE * _nose_length(mission, stage)


def _nose_length(mission: Mission, stage: int) -> float:
    return next((part.length for part in mission.stage[stage].part if isinstance(part, Nose)), 0.0)

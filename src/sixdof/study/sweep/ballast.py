"""Ballast in the nose, of a mission that was weighed as of one that was not."""

from __future__ import annotations

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Nose
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe

NOSE_SHARE = 2.0 / 3.0  # of the nose's length aft of its tip: where ballast finds room


def ballasted(mission: Mission, mass: float) -> Mission:
    """Return a mission with a mass (kg) at two thirds of the nose's length; a stage that was weighed is as if weighed with it."""
    if mass <= 0.0:
        return mission
    nose = next((part for part in mission.stage[0].part if isinstance(part, Nose)), None)
    station = NOSE_SHARE * nose.length if nose is not None else 0.0
    measured = mission.stage[0].measured
    if measured is None or (measured.mass is None and measured.cg is None):
        return mission.add("stage.0.part", {"kind": "mass", "name": "ballast in the nose", "mass": mass, "station": station})
    built = airframe(shape_of(mission.stage), 0, mission.stage[0])
    heavier = built.mass + mass
    at = (built.mass * float(built.place[0]) + mass * station) / heavier
    return mission.change({"stage.0.measured.mass": heavier, "stage.0.measured.cg": at})

"""How much of the drag under a canopy is that of the airframe hanging there, whose coefficient is an estimate."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.flight.model import hanging_areas
from sixdof.mission.mission import Mission
from sixdof.study.reading.result import drawn_factor


def airframe_share(ds: xr.Dataset, mission: Mission, canopy: int) -> np.ndarray:
    """Return the airframe's share of the drag area under one full canopy alone, (flights,), as drawn in each.

    The airframe is the stage that carries the canopy, on its side area (`hanging_drag`).
    """
    part, stage = canopies(mission)[canopy], canopy_stages(mission)[canopy]
    own = hanging_areas(mission, [stage])[0] * drawn_factor(ds, "vehicle_hanging_drag", "stage", mission.stage[stage].name)
    lines = part.drag_coefficient * math.pi * part.diameter**2 / 4.0 * drawn_factor(ds, "canopy_drag", "canopy", part.name)
    return own / (own + lines)

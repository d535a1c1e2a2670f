"""The parachutes of a mission, as the flight computer's deploy rules count them."""

from __future__ import annotations

import math

import numpy as np

from sixdof.autopilot.optional import or_else
from sixdof.core.columns import CANOPY_COLUMNS, CanopyColumn
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Parachute


def canopies(mission: Mission) -> list[Parachute]:
    """Return the parachutes of all stages in file order; their index is the target of a deploy rule."""
    return [part for stage in mission.stage for part in stage.part if part.kind == "parachute"]


def canopy_stages(mission: Mission) -> list[int]:
    """Return which stage carries each canopy."""
    return [i for i, stage in enumerate(mission.stage) for part in stage.part if part.kind == "parachute"]


def canopy_table(mission: Mission) -> np.ndarray:
    """Return the rows (canopies, CANOPY_COLUMNS) of every canopy, its harness's columns those of none."""
    rows = np.zeros((len(canopies(mission)), CANOPY_COLUMNS))
    for row, p in zip(rows, canopies(mission)):
        row[CanopyColumn.DRAG_AREA] = p.drag_coefficient * math.pi * p.diameter**2 / 4.0
        row[CanopyColumn.FILL_TIME], row[CanopyColumn.WAIT] = p.fill_time, p.deployment_delay
        row[CanopyColumn.REEFING_RATIO], row[CanopyColumn.REEFING_TIME] = or_else(p.reefing_ratio, 1.0), p.reefing_time
        row[CanopyColumn.OPENING_COEFFICIENT], row[CanopyColumn.STRENGTH] = p.opening_force_coefficient, or_else(p.strength, math.inf)
        row[CanopyColumn.HARNESS_STRENGTH] = math.inf
    return rows

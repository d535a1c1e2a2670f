"""Which motor ignites and which joint separates, and when, by what was commanded so far."""

from __future__ import annotations

from math import inf

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import CanopyColumn, StageColumn
from sixdof.core.layout import BY_COMMAND, BY_UPPER_MOTOR
from sixdof.core.types import Leg


@helper
def ignition_time(row: np.ndarray) -> float:
    """Return when the motor of a stage (row of Work.stage) lights by what was commanded so far, inf if it does not."""
    if row[StageColumn.IGNITE] < 0.0 or row[StageColumn.NO_IGNITION] > 0.5:
        return inf
    return row[StageColumn.IGNITE] + row[StageColumn.IGNITION_DELAY]


@kernel
def next_separation(leg: Leg, stage: np.ndarray) -> tuple[float, int, int]:
    """Return (time, stage behind the joint, cause) of the next separation by what was commanded so far, time inf if there is none.

    A joint separates on command, and by the gas of the motor ahead of it if that ignites first.
    """
    when, which, cause = inf, 0, 0
    for k in range(leg.first + 1, leg.last + 1):
        if (
            stage[k, StageColumn.SEPARATE] >= 0.0
            and stage[k, StageColumn.NO_SEPARATION] < 0.5
            and stage[k, StageColumn.SEPARATE] + stage[k, StageColumn.SEPARATION_DELAY] < when
        ):
            when, which, cause = stage[k, StageColumn.SEPARATE] + stage[k, StageColumn.SEPARATION_DELAY], k, BY_COMMAND
        upper = ignition_time(stage[k - 1])
        if upper < when:
            when, which, cause = upper, k, BY_UPPER_MOTOR
    return when, which, cause


@kernel
def broken_harness(t: float, canopy: np.ndarray, deployed: np.ndarray) -> int:
    """Return the canopy deployed at t whose harness does not stand the charge that throws the pieces apart, or -1."""
    for c in range(canopy.shape[0]):
        if deployed[c] == t and canopy[c, CanopyColumn.SNATCH] > canopy[c, CanopyColumn.HARNESS_STRENGTH]:
            return c
    return -1

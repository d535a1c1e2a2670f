"""What a flight's draw says of stages, canopies and rules, put into the scratch of the body that begins it."""

from __future__ import annotations

import numpy as np

from sixdof._jit import kernel
from sixdof.core.columns import CanopyColumn, StageColumn
from sixdof.core.draw import CanopyDraw, FlightDraw, HarnessDraw, JointDraw, StageDraw
from sixdof.core.leg.work import Work
from sixdof.core.types import Model
from sixdof.core.whole.tables import HarnessColumn, LateColumn, OwnRuleColumn, RiggingColumn, Staging, StagingColumn, happens


@kernel
def prepare(staging: Staging, model: Model, draws: FlightDraw, i: int, work: Work) -> None:
    """Fill Work.stage, canopy and rule_delay for flight i of some draws. model : of all stages together."""
    failure = draws.failure[i]
    for k in range(staging.stage.shape[0]):
        row, own = work.stage[k], staging.stage[k]
        row[StageColumn.IGNITION_DELAY] = max(own[StagingColumn.IGNITION_DELAY] + draws.stage[i, k, StageDraw.IGNITION_DELAY], 0.0)
        row[StageColumn.NO_IGNITION] = happens(failure, own[StagingColumn.NO_IGNITION])
        row[StageColumn.SEPARATION_DELAY] = own[StagingColumn.JOINT_DELAY] + draws.joint[i, k, JointDraw.DELAY]
        row[StageColumn.NO_SEPARATION] = happens(failure, own[StagingColumn.NO_SEPARATION])
    for c in range(model.canopy.shape[0]):
        _prepare_canopy(staging, model.canopy[c], draws, i, c, work.canopy[c])
    for r in range(staging.rule.shape[0]):
        work.rule_delay[r] = _rule_delay(staging, draws, i, r)


@kernel
def _prepare_canopy(staging: Staging, model: np.ndarray, draws: FlightDraw, i: int, c: int, row: np.ndarray) -> None:
    """Fill the row of one canopy."""
    own, failure = staging.canopy[c], draws.failure[i]
    for j in range(row.shape[0]):
        row[j] = model[j]
    row[CanopyColumn.DRAG_AREA] *= draws.canopy[i, c, CanopyDraw.DRAG]
    row[CanopyColumn.FILL_TIME] *= draws.canopy[i, c, CanopyDraw.FILL_TIME]
    row[CanopyColumn.FAILS] = happens(failure, own[RiggingColumn.NO_DEPLOYMENT])
    if happens(failure, own[RiggingColumn.LOST]) > 0.0:
        row[CanopyColumn.STRENGTH] = 0.0
    h = int(own[RiggingColumn.HARNESS])
    if h >= 0:
        parts = happens(failure, own[RiggingColumn.HARNESS_BREAKS]) > 0.0
        row[CanopyColumn.HARNESS_STRENGTH] = 0.0 if parts else staging.harness[h, HarnessColumn.STRENGTH] * draws.harness[i, h, HarnessDraw.STRENGTH]


@kernel
def _rule_delay(staging: Staging, draws: FlightDraw, i: int, r: int) -> float:
    """Return the delay of a rule in flight i, s."""
    own = staging.rule[r]
    delay = own[OwnRuleColumn.DELAY]
    if own[OwnRuleColumn.DRAWN] > 0.5:
        delay += draws.rule[i, r]
    c = int(own[OwnRuleColumn.CANOPY])
    if c >= 0:
        delay += draws.canopy[i, c, CanopyDraw.DELAY]
    if own[OwnRuleColumn.APOGEE] > 0.5:
        late = 0.0
        for f in range(staging.late.shape[0]):
            if staging.late[f, LateColumn.STAGE] == own[OwnRuleColumn.OWNER] and happens(draws.failure[i], staging.late[f, LateColumn.FAILURE]) > 0.0:
                late = staging.late[f, LateColumn.LATE_BY]
        delay += late
    return delay

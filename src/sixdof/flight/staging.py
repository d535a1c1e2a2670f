"""The tables of a mission's stages, joints, canopies and harnesses that the kernels of whole flights read."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.autopilot.rules import triggers
from sixdof.core import types as ct
from sixdof.core.computer.columns import RuleColumn
from sixdof.core.whole.tables import (
    CUT_COLUMNS,
    HARNESS_COLUMNS,
    LATE_COLUMNS,
    LUMP_COLUMNS,
    OWN_RULE_COLUMNS,
    RIGGING_COLUMNS,
    STAGING_COLUMNS,
    CutColumn,
    HarnessColumn,
    LateColumn,
    LumpColumn,
    OwnRuleColumn,
    RiggingColumn,
    Staging,
    StagingColumn,
)
from sixdof.flight.harness import Cut, cut_of, ejection_impulse
from sixdof.flight.model import hanging_areas
from sixdof.mission.mission import Mission
from sixdof.results.names import canopy_names, failure_names
from sixdof.vehicle.geometry import Shape
from sixdof.vehicle.mass import stage_lumps
from sixdof.vehicle.solids import Lump, combine

NONE = -1.0


def staging_of(mission: Mission, shapes: dict[tuple[int, int], Shape]) -> Staging:
    """Return the tables of a mission. shapes : the outside of the stages first .. last flying together, for every first <= last."""
    count = len(mission.stage)
    start, lumps, first = np.full((count * count, count), np.nan), [], [0]
    for body in range(count * count):
        if body // count <= body % count:
            fore, aft = divmod(body, count)
            start[body, fore : aft + 1] = shapes[fore, aft].stage_x0
            lumps += _stack_rows(mission, fore, aft, shapes[fore, aft])
        first.append(len(lumps))
    cut, cut_lumps, cut_first = _cuts(mission, shapes)
    return Staging(
        stage=_stage_rows(mission, shapes),
        start=start,
        lump=_table(lumps, LUMP_COLUMNS),
        lump_first=np.array(first),
        canopy=_canopy_rows(mission),
        keeps=_keeps(mission),
        harness=_harness_rows(mission),
        cut=cut,
        cut_lump=_table(cut_lumps, LUMP_COLUMNS),
        cut_first=np.array(cut_first),
        rule=_rule_rows(mission),
        late=_late_rows(mission),
    )


def _table(rows: Iterable, columns: int) -> np.ndarray:
    return np.array(list(rows), dtype=float).reshape(-1, columns)


def _number_in(names: list[str], name: str) -> float:
    """Return the number of a failure, NONE where the mission has none of that name."""
    return float(names.index(name)) if name in names else NONE


def _lump_row(stage: int, lump: Lump, dry: bool) -> np.ndarray:
    row, i = np.zeros(LUMP_COLUMNS), lump.inertia
    row[[LumpColumn.STAGE, LumpColumn.DRY, LumpColumn.MASS]] = stage, dry, lump.mass
    row[LumpColumn.X : LumpColumn.Z + 1] = lump.place
    row[LumpColumn.IXX :] = i[0, 0], i[1, 1], i[2, 2], i[0, 1], i[0, 2], i[1, 2]
    return row


def _stack_rows(mission: Mission, first: int, last: int, shape: Shape) -> list[np.ndarray]:
    """Return the rows of what does not burn in the stages first .. last: of each its dry mass, then its unlit grains."""
    rows = []
    for k, own in zip(range(first, last + 1), stage_lumps(mission, range(first, last + 1), shape)):
        grains = 0 if k == last else sum(part.count for part in mission.stage[k].part if part.kind == "mount")
        dry = len(own) - grains
        rows += [_lump_row(k, combine(own[:dry]), True), *(_lump_row(k, lump, False) for lump in own[dry:])]
    return rows


def _stage_rows(mission: Mission, shapes) -> np.ndarray:
    names, hanging = failure_names(mission), hanging_areas(mission, range(len(mission.stage)))
    rows = np.zeros((len(mission.stage), STAGING_COLUMNS))
    for k, (row, stage) in enumerate(zip(rows, mission.stage)):
        row[StagingColumn.IGNITION_DELAY] = stage.ignition.delay
        row[StagingColumn.NO_IGNITION] = _number_in(names, f"no_ignition: {stage.name}")
        row[StagingColumn.NO_SEPARATION] = _number_in(names, f"no_separation: {stage.name}")
        row[StagingColumn.JOINT_DELAY], row[StagingColumn.JOINT_IMPULSE] = stage.joint.delay, stage.joint.impulse
        row[StagingColumn.HANGING_AREA], row[StagingColumn.RADIUS] = hanging[k], 0.5 * shapes[k, k].diameter
    return rows


# ---------------------------------------------------------------- canopies and harnesses


def _canopy_rows(mission: Mission) -> np.ndarray:
    names, failures = canopy_names(mission), failure_names(mission)
    harnesses = {names.index(harness.canopy): h for h, harness in enumerate(mission.harness)}
    rows = np.zeros((len(names), RIGGING_COLUMNS))
    for c, (row, name, stage) in enumerate(zip(rows, names, canopy_stages(mission))):
        row[RiggingColumn.STAGE], row[RiggingColumn.HARNESS] = stage, harnesses.get(c, NONE)
        row[RiggingColumn.NO_DEPLOYMENT] = _number_in(failures, f"no_deployment: {name}")
        row[RiggingColumn.LOST] = _number_in(failures, f"canopy_lost: {name}")
        row[RiggingColumn.HARNESS_BREAKS] = _number_in(failures, f"harness_breaks: {name}")
    return rows


def _keeps(mission: Mission) -> np.ndarray:
    """Return (canopies, canopies) 1 where the second stays with the piece that keeps the first when its harness has failed."""
    own, stages = canopies(mission), canopy_stages(mission)
    keeps = np.zeros((len(own), len(own)))
    for harness in mission.harness:
        c = canopy_names(mission).index(harness.canopy)
        for each, part in enumerate(own):
            fore = part.station < harness.separation_station
            keeps[c, each] = each == c or (stages[each] == stages[c] and fore == (harness.canopy_on == "fore"))
    return keeps


def _harness_rows(mission: Mission) -> np.ndarray:
    names, stages = canopy_names(mission), canopy_stages(mission)
    rows = np.zeros((len(mission.harness), HARNESS_COLUMNS))
    for h, (row, harness) in enumerate(zip(rows, mission.harness)):
        row[[HarnessColumn.STRENGTH, HarnessColumn.RATE]] = harness.strength, harness.stiffness / harness.length
        row[[HarnessColumn.IMPULSE, HarnessColumn.TUMBLING_DRAG]] = ejection_impulse(mission, h), harness.tumbling_drag
        row[HarnessColumn.HANGING_DRAG] = mission.stage[stages[names.index(harness.canopy)]].hanging_drag
        row[HarnessColumn.FORE_KEEPS] = harness.canopy_on == "fore"
    return rows


def _cuts(mission: Mission, shapes) -> tuple[np.ndarray, list[np.ndarray], list[int]]:
    """Return Staging.cut, and the rows of Staging.cut_lump with the first of each side."""
    count, names, stages = len(mission.stage), canopy_names(mission), canopy_stages(mission)
    cut, rows, first = np.full((len(mission.harness), count * count, CUT_COLUMNS), np.nan), [], [0]
    for h, harness in enumerate(mission.harness):
        stage = stages[names.index(harness.canopy)]
        for body in range(count * count):
            fore, aft = divmod(body, count)
            sides: tuple = ((), ())
            if fore <= stage <= aft:
                found = cut_of(mission, stage, harness.separation_station, fore, aft, shapes[fore, aft])
                cut[h, body, CutColumn.STATION] = found.at
                cut[h, body, CutColumn.FORE_AREA], cut[h, body, CutColumn.AFT_AREA] = found.areas
                sides = _side_rows(found)
            for side in sides:
                rows += side
                first.append(len(rows))
    return cut, rows, first


def _side_rows(cut: Cut) -> tuple[list[np.ndarray], list[np.ndarray]]:
    sides = (cut.fore, cut.fore_grains), (cut.aft, cut.aft_grains)
    return tuple([_lump_row(k, lump, dry) for lumps, dry in zip(side, (True, False)) for k, lump in lumps] for side in sides)


# ---------------------------------------------------------------- rules


def _rule_rows(mission: Mission) -> np.ndarray:
    found = triggers(mission)
    rows = np.zeros((len(found), OWN_RULE_COLUMNS))
    for i, (row, each) in enumerate(zip(rows, found)):
        row[OwnRuleColumn.OWNER], row[OwnRuleColumn.DELAY], row[OwnRuleColumn.DRAWN] = each.owner, each.row[RuleColumn.DELAY], i < len(mission.rule)
        row[OwnRuleColumn.CANOPY] = each.row[RuleColumn.TARGET] if each.row[RuleColumn.ACTION] == ct.ACTION_DEPLOY else NONE
        row[OwnRuleColumn.APOGEE] = each.row[RuleColumn.TRIGGER] == ct.TRIGGER_APOGEE
    return rows


def _late_rows(mission: Mission) -> np.ndarray:
    stages = [stage.name for stage in mission.stage]
    late = [(i, failure) for i, failure in enumerate(mission.failure) if failure.kind == "late_apogee"]
    rows = np.zeros((len(late), LATE_COLUMNS))
    for row, (i, failure) in zip(rows, late):
        row[[LateColumn.FAILURE, LateColumn.STAGE, LateColumn.LATE_BY]] = i, stages.index(failure.of), failure.late_by
    return rows

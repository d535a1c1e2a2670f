"""The event rules: what may fire, in which order motors burn, and the rows that the kernel reads."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.autopilot.guidance import MODES
from sixdof.autopilot.optional import or_else
from sixdof.core import types as ct
from sixdof.core.computer.columns import RULE_COLUMNS, RuleColumn
from sixdof.core.types import ACTION_IGNITE
from sixdof.mission.mission import Mission

_TRIGGERS = {
    "time": ct.TRIGGER_TIME,
    "liftoff": ct.TRIGGER_LIFTOFF,
    "rail_departure": ct.TRIGGER_RAIL,
    "burnout": ct.TRIGGER_BURNOUT,
    "apogee": ct.TRIGGER_APOGEE,
    "climbing_through": ct.TRIGGER_CLIMBING,
    "falling_through": ct.TRIGGER_FALLING,
    "separation": ct.TRIGGER_SEPARATION,
    "ignition": ct.TRIGGER_IGNITION,
}
_ACTIONS = {
    "enable_fins": ct.ACTION_ENABLE,
    "disable_fins": ct.ACTION_DISABLE,
    "deploy": ct.ACTION_DEPLOY,
    "guide_profile": ct.ACTION_GUIDE,
    "guide_waypoints": ct.ACTION_GUIDE,
    "guide_hold": ct.ACTION_GUIDE,
    "separate": ct.ACTION_SEPARATE,
    "ignite": ACTION_IGNITE,
}


class RuleRow(NamedTuple):
    """One row of the rules: its name, the stage whose computer runs it, and what it does as columns types.RULE_*."""

    name: str
    owner: int
    row: list[float]


def burn_order(mission: Mission) -> list[int]:
    """Return the stages in the order of their burns: the last one on the rail, then as rules ignite them, in file order."""
    index = {stage.name: i for i, stage in enumerate(mission.stage)}
    lit = [index[rule.target] for rule in mission.rule if rule.action == "ignite" and rule.target in index]
    order = [len(mission.stage) - 1]
    for stage in sorted(set(lit), reverse=True):
        if stage not in order:
            order.append(stage)
    return order


def _order_of(mission: Mission, rule) -> int:
    """Return which burn or separation a rule waits for; the first one where the rule does not say."""
    if not rule.stage:
        return 0
    index = [stage.name for stage in mission.stage].index(rule.stage)
    if rule.when == "separation":
        return len(mission.stage) - 1 - index
    order = burn_order(mission)
    return order.index(index) if index in order else 0


def _row(trigger, action, target=0, *, threshold=0.0, order=0, delay=0.0, rule=None) -> list[float]:
    row = np.zeros(RULE_COLUMNS)
    row[[RuleColumn.TRIGGER, RuleColumn.THRESHOLD, RuleColumn.ORDER, RuleColumn.DELAY]] = trigger, threshold, order, delay
    row[[RuleColumn.ACTION, RuleColumn.TARGET]] = action, target
    inf = math.inf
    limits = ("tilt_below", inf), ("speed_above", -inf), ("speed_below", inf), ("height_above", -inf), ("height_below", inf)
    row[RuleColumn.TILT_BELOW : RuleColumn.BOOSTER] = [or_else(getattr(rule, name, None), otherwise) for name, otherwise in limits]
    row[RuleColumn.BOOSTER] = {"attached": 1.0, "separated": 0.0}.get(getattr(rule, "booster", None), -1.0)
    window = ("after", -inf), ("before", inf), ("timeout", inf)
    row[RuleColumn.AFTER :] = [or_else(getattr(rule, name, None), otherwise) for name, otherwise in window]
    return row.tolist()


def _target(mission: Mission, rule) -> int:
    if rule.action.startswith("guide_"):
        return int(MODES[rule.action.removeprefix("guide_")])
    if rule.action == "deploy":
        return [part.name for part in canopies(mission)].index(rule.target)
    if rule.action in ("separate", "ignite"):
        names = [stage.name for stage in mission.stage]
        return names.index(rule.target) if rule.target else len(names) - 1
    return 0


def triggers(mission: Mission) -> list[RuleRow]:
    """Return everything that may fire: the mission's rules, then those its recovery stands for."""
    found = []
    for i, rule in enumerate(mission.rule):
        row = _row(
            _TRIGGERS[rule.when],
            _ACTIONS[rule.action],
            _target(mission, rule),
            threshold=rule.threshold or 0.0,
            order=_order_of(mission, rule),
            delay=rule.delay,
            rule=rule,
        )
        found.append(RuleRow(rule.name or f"rule {i + 1}", 0, row))
    names, owners = [part.name for part in canopies(mission)], canopy_stages(mission)
    burns = burn_order(mission)
    for entry in mission.recovery:
        canopy = names.index(entry.canopy)
        owner = owners[canopy]
        order = 0
        if entry.when == "separation":
            order = max(len(mission.stage) - 1 - owner, 0) if owner else max(len(mission.stage) - 2, 0)
        elif entry.when == "burnout":
            order = burns.index(owner) if owner in burns else 0
        title = f"deploy {entry.canopy}"
        row = _row(_TRIGGERS[entry.when], ct.ACTION_DEPLOY, canopy, threshold=entry.height or 0.0, order=order, delay=entry.delay)
        found.append(RuleRow(f"{title}: {entry.when.replace('_', ' ')}", owner, row))
        if entry.backup_time is not None:
            row = _row(ct.TRIGGER_LIFTOFF, ct.ACTION_DEPLOY, canopy, delay=entry.backup_time)
            found.append(RuleRow(f"{title}: backup", owner, row))
        if entry.motor_delay is not None:
            row = _row(ct.TRIGGER_EJECTION, ct.ACTION_DEPLOY, canopy, order=owner, delay=entry.motor_delay)
            found.append(RuleRow(f"{title}: motor delay", owner, row))
    return found


def rules_table(mission: Mission, stages) -> np.ndarray:
    """Return the rows (rules, RULE_COLUMNS) of `triggers`; those whose computer is not among `stages` never fire."""
    found = triggers(mission)
    rows = np.array([each.row for each in found], dtype=float).reshape(-1, RULE_COLUMNS)
    rows[[each.owner not in stages for each in found], RuleColumn.TRIGGER] = ct.TRIGGER_NEVER
    return np.ascontiguousarray(rows)

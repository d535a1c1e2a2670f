"""Which rules of a mission would do the same thing: a backup and what it backs up."""

from __future__ import annotations

from sixdof.autopilot.canopies import canopies
from sixdof.autopilot.rules import triggers
from sixdof.mission.mission import Mission
from sixdof.study.probes.columns import ACTION_DEPLOY, ACTION_IGNITE, ACTION_SEPARATE, RuleColumn

_DOING = {int(ACTION_DEPLOY): "deploy", int(ACTION_SEPARATE): "separate", int(ACTION_IGNITE): "ignite"}


def doings(mission: Mission) -> dict[str, list[int]]:
    """Return the numbers, along `rule`, of all that would do the same thing ("deploy main", "ignite dart"), in file order."""
    stages, packed = [stage.name for stage in mission.stage], [part.name for part in canopies(mission)]
    found: dict[str, list[int]] = {}
    for i, each in enumerate(triggers(mission)):
        action, target = int(each.row[RuleColumn.ACTION]), int(each.row[RuleColumn.TARGET])
        if action in _DOING:
            names = packed if action == ACTION_DEPLOY else stages
            found.setdefault(f"{_DOING[action]} {names[target]}", []).append(i)
    return found

"""What the bodies, joints, rules, canopies, failures and events of a mission are called in its results."""

from __future__ import annotations

from collections.abc import Iterable

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.autopilot.rules import triggers
from sixdof.core import layout as ly
from sixdof.mission.mission import Mission


def body_names(mission: Mission) -> list[str]:
    """Return the bodies of a mission: its stages, then what may be let go where a harness breaks."""
    stages = canopy_stages(mission)
    names = [part.name for part in canopies(mission)]
    loose = [f"{mission.stage[stages[names.index(harness.canopy)]].name}: loose by {harness.canopy}" for harness in mission.harness]
    return [stage.name for stage in mission.stage] + loose


def joint_names(mission: Mission) -> list[str]:
    """Return the joints of a mission, each by the stage behind it."""
    return [stage.name for stage in mission.stage[1:]]


def rule_names(mission: Mission) -> list[str]:
    """Return what every row of the event rules is called; a name given twice gets a number."""
    return _told_apart(each.name for each in triggers(mission))


def _told_apart(given: Iterable[str]) -> list[str]:
    """Return names with a number behind those that come again."""
    names: list[str] = []
    for each in given:
        count = sum(name == each or name.startswith(f"{each} (") for name in names)
        names.append(f"{each} ({count + 1})" if count else each)
    return names


def canopy_names(mission: Mission) -> list[str]:
    """Return the canopies of a mission."""
    return [part.name for part in canopies(mission)]


def harness_names(mission: Mission) -> list[str]:
    """Return the recovery harnesses of a mission, each by its canopy."""
    return [harness.canopy for harness in mission.harness]


def fin_set_names(mission: Mission) -> list[str]:
    """Return the sets of fins of a mission, the front stage's first: "fins" where a set has no name, with a number where a name comes again."""
    return _told_apart(part.name or "fins" for stage in mission.stage for part in stage.part if part.kind == "fins")


def failure_names(mission: Mission) -> list[str]:
    """Return everything that may go wrong: what the mission names, and what loads may break."""
    names = [failure.name for failure in mission.failure]
    by_load = [f"harness_breaks: {harness.canopy}" for harness in mission.harness]
    by_load += [f"canopy_lost: {part.name}" for part in canopies(mission) if part.strength is not None]
    return names + [name for name in by_load if name not in names]


def event_names(mission: Mission) -> list[str]:
    """Return the rows of a body's event table."""
    stages = [stage.name for stage in mission.stage]
    lit = [f"{what} {name}" for name in stages[:-1] for what in ("ignition", "burnout")]
    opened = [f"deployment {name}" for name in canopy_names(mission)]
    stretched = [f"line stretch {name}" for name in canopy_names(mission)]
    return [*ly.EVENTS, *opened, *stretched, *lit, *(f"separation {name}" for name in stages[1:])]

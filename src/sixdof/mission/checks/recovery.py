"""Checks across tables of what brings the pieces down: recoveries, harnesses, and the failures a mission foresees."""

from __future__ import annotations

from collections.abc import Iterator

from sixdof.mission import tables
from sixdof.mission.checks.bodies import Stack
from sixdof.mission.checks.charge import charge_problems
from sixdof.mission.checks.rules import Staging
from sixdof.mission.checks.within import ROUNDING
from sixdof.mission.errors import Problem, suggestion
from sixdof.mission.units import shown

_OF_STAGE = ("no_ignition", "no_separation", "late_apogee")


def recovery_problems(mission: tables.MissionTables, stack: Stack, staging: Staging) -> Iterator[Problem]:
    """Yield what is wrong with recoveries, harnesses and failures; paths start from the mission."""
    carrier = _carriers(mission)
    yield from _recoveries(mission, carrier, staging)
    yield from _harnesses(mission, carrier, stack)
    yield from _failures(mission, carrier, staging)


def _carriers(mission: tables.MissionTables) -> dict[str, int]:
    """Return the number of the stage that carries each canopy."""
    return {part.name: i for i, stage in enumerate(mission.stage) for part in stage.part if part.kind == "parachute"}


def _recoveries(mission: tables.MissionTables, carrier: dict[str, int], staging: Staging) -> Iterator[Problem]:
    for i, recovery in enumerate(mission.recovery):
        if recovery.when == "separation" and not staging.separable:
            hint = 'it can never deploy the canopy: add a rule with action = "separate", or give the joint a retention_force'
            yield Problem(("recovery", i, "when"), recovery.when, "no stage ever separates", hint)
        if recovery.motor_delay is None or recovery.canopy not in carrier:
            continue
        stage = staging.names[carrier[recovery.canopy]]
        if stage not in staging.motor:
            message = f"stage {shown(stage)}, which carries the canopy, has no motor"
            yield Problem(("recovery", i, "motor_delay"), recovery.motor_delay, message, "remove it, or add a mount")


# ---------------------------------------------------------------- harnesses


def _harnesses(mission: tables.MissionTables, carrier: dict[str, int], stack: Stack) -> Iterator[Problem]:
    seen = set()
    for i, harness in enumerate(mission.harness):
        if harness.canopy not in carrier:
            hint = suggestion(harness.canopy, tuple(carrier), "parachutes")
            yield Problem(("harness", i, "canopy"), harness.canopy, f"there is no parachute {shown(harness.canopy)}", hint)
            continue
        if harness.canopy in seen:
            message = f"there is another harness of the canopy {shown(harness.canopy)}"
            yield Problem(("harness", i, "canopy"), harness.canopy, message, "remove one: a canopy separates the airframe once")
        seen.add(harness.canopy)
        stage = carrier[harness.canopy]
        if not ROUNDING < harness.separation_station < stack.length[stage] - ROUNDING:
            message = f"{harness.separation_station:g} m does not separate stage {shown(mission.stage[stage].name)} in two"
            hint = f"it is a station between the stage's ends, 0 and {stack.length[stage]:g} m"
            yield Problem(("harness", i, "separation_station"), harness.separation_station, message, hint)
        else:
            yield from charge_problems(mission, i, stage, stack)


# ---------------------------------------------------------------- failures


def _failures(mission: tables.MissionTables, carrier: dict[str, int], staging: Staging) -> Iterator[Problem]:
    seen = set()
    for i, failure in enumerate(mission.failure):
        if failure.name in seen:
            yield Problem(("failure", i), failure.name, f"there is another failure {shown(failure.name)}", "remove one")
        seen.add(failure.name)
        what, names = ("stage", staging.names) if failure.kind in _OF_STAGE else ("parachute", tuple(carrier))
        if failure.of not in names:
            hint = suggestion(failure.of, names, f"{what}s")
            yield Problem(("failure", i, "of"), failure.of, f"there is no {what} {shown(failure.of)}", hint)
        elif flaw := _nothing_to_fail(mission, failure, staging):
            yield Problem(("failure", i, "of"), failure.of, flaw, "remove the failure, or name what can fail so")


def _nothing_to_fail(mission: tables.MissionTables, failure: tables.Failure, staging: Staging) -> str:
    """Return why what a failure names has nothing that could fail so, "" where it has."""
    kind, of = failure.kind, failure.of
    if kind == "no_ignition" and of not in staging.motor:
        return f"stage {shown(of)} has no motor to ignite"
    if kind == "no_separation" and of not in staging.separable:
        return f"stage {shown(of)} has no joint that parts"
    if kind == "late_apogee" and of not in _with_apogee(mission, staging):
        return f"nothing in stage {shown(of)} waits for apogee"
    if kind == "no_deployment" and of not in _released(mission):
        return f"neither a recovery nor a rule deploys {shown(of)}"
    if kind == "harness_breaks" and of not in {harness.canopy for harness in mission.harness}:
        return f"the canopy {shown(of)} has no harness"
    return ""


def _with_apogee(mission: tables.MissionTables, staging: Staging) -> set[str]:
    """Return the stages whose altimeter or flight computer (in the front stage) acts on apogee."""
    carrier = _carriers(mission)
    waiting = [entry.canopy for entry in mission.recovery if entry.when == "apogee" and entry.canopy in carrier]
    found = {staging.names[carrier[canopy]] for canopy in waiting}
    return found | ({staging.names[0]} if any(rule.when == "apogee" for rule in mission.rule) else set())


def _released(mission: tables.MissionTables) -> set[str]:
    deployed = {rule.target for rule in mission.rule if rule.action == "deploy"}
    return deployed | {entry.canopy for entry in mission.recovery}

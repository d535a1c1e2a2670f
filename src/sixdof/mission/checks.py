"""Checks across tables: does every name lead somewhere, and does the whole hang together?

`problems_of(mission)` runs whenever a Mission is made. The checks of the vehicle's geometry are in `body_checks.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sixdof.mission import schema
from sixdof.mission.body_checks import Stack, stage_problems
from sixdof.mission.dispersible import DISPERSIBLE
from sixdof.mission.errors import Fault, Problem, suggestion
from sixdof.mission.table_checks import ROUNDING
from sixdof.mission.units import shown


def faults_of(mission: schema.Mission) -> list[Fault]:
    """Return the faults across the tables of `mission` (a Mission made the usual way has none)."""
    return [problem.at(mission) for problem in problems_of(mission)]


def problems_of(mission: schema.Mission) -> Iterator[Problem]:
    """Yield what is wrong across the tables of `mission`; paths start from the mission."""
    if not mission.stage:
        yield Problem(("stage",), None, "there is no stage", "add a table [[stage]]")
        return
    stack = Stack(mission.stage)
    yield from _names(mission)
    yield from stage_problems(stack)
    yield from _motors(mission)
    yield from _rail(mission, stack)
    yield from _servo(mission)
    yield from _canopies(mission)
    yield from _wind_spread(mission)


def _parts(mission: schema.Mission, kind: type) -> Iterator[tuple[tuple, schema.Part]]:
    """Yield (path, part) of every part of a kind."""
    for i, stage in enumerate(mission.stage):
        for j, part in enumerate(stage.part):
            if isinstance(part, kind):
                yield ("stage", i, "part", j), part


def _names(mission: schema.Mission) -> Iterator[Problem]:
    """Stages and parachutes are called by name: no two may share one."""
    stages = [(("stage", i), stage) for i, stage in enumerate(mission.stage)]
    for what, entries in (("stage", stages), ("parachute", list(_parts(mission, schema.Parachute)))):
        seen = set()
        for loc, entry in entries:
            if entry.name in seen:
                yield Problem((*loc, "name"), entry.name, f"there is another {what} {shown(entry.name)}", "rename one")
            seen.add(entry.name)


def _motors(mission: schema.Mission) -> Iterator[Problem]:
    mounts = list(_parts(mission, schema.Mount))
    if not mounts:
        hint = 'add a part of kind = "mount" that names a motor'
        yield Problem(("stage", len(mission.stage) - 1, "part"), None, "no stage has a motor mount", hint)
    for loc, mount in mounts:
        motor = mission.motor.get(mount.motor)
        if motor is None:
            hint = suggestion(mount.motor, tuple(mission.motor), "motors")
            yield Problem((*loc, "motor"), mount.motor, f"there is no motor {shown(mount.motor)}", hint)
            continue
        name = f'motor "{mount.motor}"'
        if motor.length > mount.length + mount.overhang + ROUNDING:
            room = f"its length and overhang together, {mount.length + mount.overhang:g} m"
            message = f"{name} is {motor.length:g} m long, more than {room}"
            yield Problem((*loc, "length"), mount.length, message, "lengthen the mount or the overhang")
        if motor.diameter > mount.inner_diameter + ROUNDING:
            message = f"{name} is {motor.diameter:g} m across and does not go into {mount.inner_diameter:g} m"
            hint = "take a wider mount or another motor"
            yield Problem((*loc, "inner_diameter"), mount.inner_diameter, message, hint)


def _rail(mission: schema.Mission, stack: Stack) -> Iterator[Problem]:
    guides = list(_parts(mission, schema.Guide))
    if len(guides) < 2:
        message = f"the vehicle has {len(guides) or 'no'} guide{'s' if len(guides) != 1 else ''}"
        hint = 'it needs two or more on the rail: add parts of kind = "guide"'
        yield Problem(("stage", len(mission.stage) - 1, "part"), None, message, hint)
        return
    stations = [stack.start[loc[1]] + guide.station for loc, guide in guides]
    spacing = max(stations) - min(stations)
    if spacing <= ROUNDING:
        message = f"all guides are at {guides[-1][1].station:g} m"
        yield Problem((*guides[-1][0], "station"), guides[-1][1].station, message, "put them at different stations")
    elif mission.rail.length <= spacing:
        message = f"{mission.rail.length:g} m is not longer than the guides are apart, {spacing:g} m"
        yield Problem(("rail", "length"), mission.rail.length, message, "the vehicle would never be guided")


def _servo(mission: schema.Mission) -> Iterator[Problem]:
    if "servo" in mission.model_fields_set:
        return
    for _, fins in _parts(mission, schema.Fins):
        if fins.control:
            yield Problem(("servo",), None, "missing", "control fins need their actuator: add a table [servo]")
            return


def _canopies(mission: schema.Mission) -> Iterator[Problem]:
    names = tuple(canopy.name for _, canopy in _parts(mission, schema.Parachute))
    wanted = [(("recovery", i, "canopy"), recovery.canopy) for i, recovery in enumerate(mission.recovery)]
    wanted += [(("rule", i, "target"), rule.target) for i, rule in enumerate(mission.rule) if rule.action == "deploy"]
    for loc, name in wanted:
        if name not in names:
            yield Problem(loc, name, f"there is no parachute {shown(name)}", suggestion(name, names, "parachutes"))


def _wind_spread(mission: schema.Mission) -> Iterator[Problem]:
    wind = mission.air.wind
    for name, mean in (("wind.speed", wind.speed), ("wind.blows_from", wind.blows_from)):
        spread = mission.disperse.get(name)
        if spread is None:
            continue
        if wind.profile == "table":
            hint = 'remove it, or take the profile "uniform", "power" or "log"'
            yield Problem(("disperse", name), None, "a wind table has no single speed and direction to replace", hint)
        elif spread.kind == "normal" and spread.mean is None:
            low, high = spread.low, spread.high
            if (low is not None and mean < low) or (high is not None and mean > high):
                message = f"the mission's own value, {mean:g} {DISPERSIBLE[name].unit}, is not between low and high"
                yield Problem(("disperse", name, "mean"), mean, message, "write a mean, or change low or high")

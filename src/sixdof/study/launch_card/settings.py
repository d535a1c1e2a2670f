"""What is set before a flight, read from the mission, in the words of whoever sets it: rail, motors, flight computer, altimeters."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Mount, Parachute, Recovery, Rule
from sixdof.study.wind_limit.allowed import compass
from sixdof.vehicle.motor import motor_facts

RAIL, MOTORS, COMPUTER, ALTIMETERS = "Rail", "Motors", "Flight computer", "Altimeters"
_GUIDES = {"guide_profile": "fly the attitude profile", "guide_waypoints": "steer to the waypoints", "guide_hold": "hold the direction"}


class Setting(NamedTuple):
    """One thing to set: under which heading it stands, what it is, and to what it is set."""

    group: str
    name: str
    value: str


def settings(mission: Mission) -> list[Setting]:
    """Return everything that is set before a flight of a mission, in the order in which it is used; what a vehicle lacks has no line."""
    return [*_rail(mission), *_motors(mission), *_computer(mission), *_altimeters(mission)]


def direction(angle: float) -> str:
    """Return a direction (rad true) as "075 deg (ENE)"."""
    return f"{round(math.degrees(angle)) % 360:03d} deg ({compass(angle)})"


def _rail(mission: Mission) -> Iterator[Setting]:
    rail = mission.rail
    yield Setting(RAIL, "guided run", f"{rail.length:.2f} m")
    yield Setting(RAIL, "elevation", f"{math.degrees(rail.elevation):.1f} deg, {90.0 - math.degrees(rail.elevation):.1f} deg from the vertical")
    magnetic = "" if mission.sensors is None or mission.sensors.magnetometer is None else _magnetic(rail.azimuth, mission.sensors.magnetometer.declination)
    upright = rail.elevation > math.radians(89.95)  # as it is printed
    yield Setting(RAIL, "turned to" if upright else "leans to", f"{direction(rail.azimuth)} true{magnetic}")


def _magnetic(azimuth: float, declination: float) -> str:
    return f", {round(math.degrees(azimuth - declination)) % 360:03d} deg magnetic"


def _motors(mission: Mission) -> Iterator[Setting]:
    """Yield a line for each stage's motors, the one that is lit first in front."""
    for stage in reversed(mission.stage):
        for part in stage.part:
            if isinstance(part, Mount):
                facts = motor_facts(mission.motor[part.motor])
                count = f"{part.count} x " if part.count > 1 else ""
                text = f"{count}{part.motor}: {facts.class_letter}, {facts.total_impulse:.0f} N s, {facts.burn_time:.1f} s, {1e3 * facts.loaded_mass:.0f} g"
                yield Setting(MOTORS, stage.name, text)
        if stage is not mission.stage[-1] and stage.ignition.delay > 0.0:
            yield Setting(MOTORS, f"igniter of {stage.name}", f"{_seconds(stage.ignition.delay)} from the command to thrust")
        for each in _recoveries(mission, stage):
            if each.motor_delay is not None:
                yield Setting(MOTORS, f"ejection delay, {stage.name}", f"{each.motor_delay:g} s after burnout: {each.canopy}")


def _recoveries(mission: Mission, stage) -> list[Recovery]:
    own = {part.name for part in stage.part if isinstance(part, Parachute)}
    return [each for each in mission.recovery if each.canopy in own]


# ---------------------------------------------------------------- flight computer


def _computer(mission: Mission) -> Iterator[Setting]:
    for rule in mission.rule:
        yield Setting(COMPUTER, _done(rule, mission), f"{_when(rule, rule.threshold)}{_conditions(rule)}")
    live = [part for stage in mission.stage for part in stage.part if isinstance(part, Fins) and part.control]
    if live:
        text = f"to {math.degrees(mission.servo.deflection_limit):.0f} deg either way"
        if not any(rule.action == "enable_fins" for rule in mission.rule):
            text += "; never live: no rule enables them"
        yield Setting(COMPUTER, "fins move", text)
    for number, point in enumerate(mission.guidance.waypoint, start=1):
        text = f"{point.east:.0f} m east, {point.north:.0f} m north, {point.height:.0f} m up, within {point.radius:.0f} m"
        yield Setting(COMPUTER, f"waypoint {number}", text)


def _done(rule: Rule, mission: Mission) -> str:
    words = {"enable_fins": "fins live", "disable_fins": "fins locked", "deploy": f"deploy {rule.target}", "ignite": f"ignite {rule.target}"}
    if rule.action == "separate":
        return f"separate {rule.target or mission.stage[-1].name}"
    return words.get(rule.action) or _GUIDES[rule.action]


def _when(entry: Rule | Recovery, height: float | None) -> str:
    """Return "0.4 s after burnout of drayhorse"."""
    of = getattr(entry, "stage", "")
    sensed = {
        "time": f"{height or 0.0:g} s after ignition",
        "rail_departure": "rail departure",
        "climbing_through": f"{height or 0.0:.0f} m, climbing",
        "falling_through": f"{height or 0.0:.0f} m, falling",
    }.get(entry.when, entry.when)
    sensed += f" of {of}" if of else ""
    after_time = entry.when == "time" and entry.delay > 0.0
    if after_time:
        return f"{(height or 0.0) + entry.delay:g} s after ignition"
    return f"{_seconds(entry.delay)} after {sensed}" if entry.delay > 0.0 else f"at {sensed}" if entry.when != "time" else sensed


def _conditions(rule: Rule) -> str:
    """Return what forbids a rule, as "; only if tilt < 20 deg and booster separated, given up after 1.5 s"."""
    asked = []
    if rule.tilt_below is not None:
        asked.append(f"tilt < {math.degrees(rule.tilt_below):g} deg")
    for value, text in ((rule.speed_above, "speed > {:g} m/s"), (rule.speed_below, "speed < {:g} m/s")):
        asked += [text.format(value)] if value is not None else []
    for value, text in ((rule.height_above, "above {:g} m"), (rule.height_below, "below {:g} m")):
        asked += [text.format(value)] if value is not None else []
    asked += [f"booster {rule.booster}"] if rule.booster is not None else []
    text = f"; ONLY IF {' and '.join(asked)}" if asked else ""
    text += f"; not before {rule.after:g} s after liftoff" if rule.after is not None else ""
    text += f"; not after {rule.before:g} s after liftoff" if rule.before is not None else ""
    return text + (f"; given up after {rule.timeout:g} s" if rule.timeout is not None else "")


# ---------------------------------------------------------------- altimeters


def _altimeters(mission: Mission) -> Iterator[Setting]:
    for stage in mission.stage:
        for each in _recoveries(mission, stage):
            backup = f"; backup timer {each.backup_time:g} s after liftoff" if each.backup_time is not None else ""
            yield Setting(ALTIMETERS, f"{each.canopy} ({stage.name})" if len(mission.stage) > 1 else each.canopy, f"{_when(each, each.height)}{backup}")


def _seconds(value: float) -> str:
    return f"{value:g} s"

"""Check across tables that every name leads somewhere and that the parts of the mission agree.

`problems_of(mission)` runs whenever a Mission is made. The checks of the vehicle's geometry are in `bodies.py`, those of staging and
event rules in `rules.py`, those of recovery and failures in `recovery.py`, those of the air and the site in `air.py`, those of draws in
`spreads.py` and `draw_limits.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from sixdof.mission import tables
from sixdof.mission.checks.air import air_problems
from sixdof.mission.checks.bodies import Stack, stage_problems
from sixdof.mission.checks.draw_limits import draw_limit_problems
from sixdof.mission.checks.recovery import recovery_problems
from sixdof.mission.checks.rules import Staging, rule_problems
from sixdof.mission.checks.spreads import correlation_problems, own_spread_problems
from sixdof.mission.checks.within import ROUNDING
from sixdof.mission.errors import Fault, Problem, suggestion
from sixdof.mission.tables.base import check_of
from sixdof.mission.units import shown

LONGEST_DELAY = 62  # ticks of the autopilot: core.actuator keeps the commands of two more
FASTEST_POLE = 2.0  # of the servo times a step of the solver: beyond it a step knows little of what the fins did; a drawn servo may be faster
MOST_STEPS = 100_000_000  # of the solver in one flight: a minute or two of one core
MOST_ROWS = 500_000  # of the log of one flight: half a GB
LONGEST_LATENCY = 255  # ticks: core.sensors keeps the truth of one more
FALL_STRIDE = 5  # ticks: core.flight.tick runs the computer so seldom under a canopy


def faults_of(mission: tables.MissionTables) -> list[Fault]:
    """Return the faults across the tables of `mission` (a Mission made the usual way has none)."""
    return [problem.at(mission) for problem in problems_of(mission)]


@check_of(tables.MissionTables)
def problems_of(mission: tables.MissionTables) -> Iterator[Problem]:
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
    yield from _fin_numbers(mission)
    yield from _clock(mission)
    yield from _modes(mission)
    yield from _canopies(mission)
    staging = Staging(mission)
    yield from rule_problems(mission, staging)
    yield from draw_limit_problems(mission)
    yield from recovery_problems(mission, stack, staging)
    yield from air_problems(mission)
    yield from correlation_problems(mission)
    yield from own_spread_problems(mission)


def _parts(mission: tables.MissionTables, kind: type) -> Iterator[tuple[tuple, tables.Part]]:
    """Yield (path, part) of every part of a kind."""
    for i, stage in enumerate(mission.stage):
        for j, part in enumerate(stage.part):
            if isinstance(part, kind):
                yield ("stage", i, "part", j), part


def _names(mission: tables.MissionTables) -> Iterator[Problem]:
    """Stages and parachutes are called by name: no two may share one."""
    stages = [(("stage", i), stage) for i, stage in enumerate(mission.stage)]
    for what, entries in (("stage", stages), ("parachute", list(_parts(mission, tables.Parachute)))):
        seen = set()
        for loc, entry in entries:
            if entry.name in seen:
                yield Problem((*loc, "name"), entry.name, f"there is another {what} {shown(entry.name)}", "rename one")
            seen.add(entry.name)


def _motors(mission: tables.MissionTables) -> Iterator[Problem]:
    mounts = list(_parts(mission, tables.Mount))
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
        if motor.length > mount.length + mount.protrusion + ROUNDING:
            room = f"the mount's length and protrusion together, {mount.length + mount.protrusion:g} m"
            message = f"{name} is {motor.length:g} m long, more than {room}"
            yield Problem((*loc, "length"), mount.length, message, "lengthen the mount or the protrusion")
        if motor.diameter > mount.inner_diameter + ROUNDING:
            message = f"{name} is {motor.diameter:g} m across and does not go into {mount.inner_diameter:g} m"
            hint = "take a wider mount or another motor"
            yield Problem((*loc, "inner_diameter"), mount.inner_diameter, message, hint)


def _rail(mission: tables.MissionTables, stack: Stack) -> Iterator[Problem]:
    guides = list(_parts(mission, tables.RailGuide))
    if len(guides) < 2:
        message = f"the vehicle has {len(guides) or 'no'} rail guide{'s' if len(guides) != 1 else ''}"
        hint = 'it needs two or more on the rail: add parts of kind = "rail_guide"'
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


def _servo(mission: tables.MissionTables) -> Iterator[Problem]:
    if "servo" in mission.model_fields_set:
        return
    for _, fins in _parts(mission, tables.Fins):
        if fins.control:
            yield Problem(("servo",), None, "missing", "control fins need their actuator: add a table [servo]")
            return


def _fin_numbers(mission: tables.MissionTables) -> Iterator[Problem]:
    """Servos that fail and fins the mixer does without are called by number."""
    fins = sum(part.count for _, part in _parts(mission, tables.Fins) if part.control)
    named = [(("servo", "failure", i, "fin"), failure.fin) for i, failure in enumerate(mission.servo.failure)]
    named += [(("autopilot", "known_failed", i), fin) for i, fin in enumerate(mission.autopilot.known_failed)]
    for loc, number in named:
        if number > fins:
            message = f"there is no control fin {number}"
            hint = f"they are counted from 1 to {fins}" if fins else "no fins have control = true"
            yield Problem(loc, number, message, hint)
    if 0 < fins <= len(set(mission.autopilot.known_failed)):
        loc = ("autopilot", "known_failed")
        yield Problem(loc, None, "no control fin is left", "leave the mixer at least one fin")


def _clock(mission: tables.MissionTables) -> Iterator[Problem]:
    """Delays and rates that the flight computer counts in ticks."""
    rate = mission.autopilot.rate
    yield from _longest_flight(mission)
    yield from _servo_step(mission)
    most = LONGEST_DELAY / rate
    if mission.servo.delay > most + 1e-12:
        message = f"{mission.servo.delay:g} s is more than {LONGEST_DELAY} ticks of the autopilot, {most:g} s"
        yield Problem(("servo", "delay"), mission.servo.delay, message, 'servos have some "10 ms"')
    elif mission.servo.delay + mission.autopilot.computation_delay > most + 1e-12:
        delay = mission.autopilot.computation_delay
        message = f"{delay:g} s and servo.delay are together more than {LONGEST_DELAY} ticks of the autopilot, {most:g} s"
        yield Problem(("autopilot", "computation_delay"), delay, message, 'flight computers take some "2 ms"')
    if mission.sensors is None:
        return
    yield from _barometer_loop(mission)
    receiver = mission.sensors.receiver
    if receiver is not None and round(receiver.latency * rate) > LONGEST_LATENCY:
        message = f"{receiver.latency:g} s is not less than {LONGEST_LATENCY + 1} ticks of the autopilot"
        hint = f"at most {LONGEST_LATENCY / rate:g} s; receivers have some tenths of a second"
        yield Problem(("sensors", "receiver", "latency"), receiver.latency, message, hint)
    for name, sensor in (("barometer", mission.sensors.barometer), ("receiver", receiver)):
        if sensor is not None and sensor.rate > rate + 1e-9:
            message = f"{sensor.rate:g} Hz is more than the autopilot's rate, {rate:g} Hz"
            hint = "it is read at most once per tick: lower it, or raise autopilot.rate"
            yield Problem(("sensors", name, "rate"), sensor.rate, message, hint)


def _barometer_loop(mission: tables.MissionTables) -> Iterator[Problem]:
    """The estimate pulled towards the barometer must not swing up.

    With samples T apart, height taking the share a of a difference and climb rate b of it (1/s), the errors follow
    [[1 - a, (1 - a) T], [-b, 1 - b T]]: determinant 1 - a, trace 2 - a - b T, stable below b T = 4 - 2 a (Jury's criterion).
    """
    estimator, rate = mission.estimator, mission.autopilot.rate
    longest = max(round(rate / mission.sensors.barometer.rate), FALL_STRIDE) / rate
    most = (4.0 - 2.0 * estimator.baro_position) / longest
    if estimator.baro_velocity >= most:
        message = f"{estimator.baro_velocity:g} 1/s makes the estimate swing up without bound, for readings {longest:g} s apart"
        hint = f"write less than {most:.4g} 1/s (a tenth of it is much)"
        yield Problem(("estimator", "baro_velocity"), estimator.baro_velocity, message, hint)


def _longest_flight(mission: tables.MissionTables) -> Iterator[Problem]:
    """A flight that goes on to the time limit must come to an end, and its log must fit into memory."""
    rate, limit = mission.autopilot.rate, mission.solver.time_limit
    loc, hint = ("solver", "time_limit"), "shorten it, or lower the rate"
    steps = limit * rate * mission.solver.steps_per_tick
    if steps > MOST_STEPS:
        message = f"{limit:g} s at autopilot.rate, {rate:g} Hz, may take {steps:.2g} steps, more than {MOST_STEPS:.0e}"
        yield Problem(loc, limit, message, hint)
    rows = limit * rate / max(1, round(rate / mission.record.rate))
    if rows > MOST_ROWS:
        message = f"{limit:g} s at record.rate, {mission.record.rate:g} Hz, may take {rows:.2g} rows of the log, more than {MOST_ROWS:.0e}"
        yield Problem(loc, limit, message, hint)


def _servo_step(mission: tables.MissionTables) -> Iterator[Problem]:
    """The solver's step must resolve the servo."""
    servo = mission.servo
    spread = servo.damping + math.sqrt(servo.damping**2 - 1.0) if servo.damping > 1.0 else 1.0
    pole = math.tau * servo.natural_frequency * spread
    step = 1.0 / (mission.autopilot.rate * mission.solver.steps_per_tick)
    if pole * step > FASTEST_POLE:
        message = f"a servo of {servo.natural_frequency:g} Hz is too fast for steps of {step:g} s"
        need = math.ceil(pole / (mission.autopilot.rate * FASTEST_POLE))
        hint = f"write solver.steps_per_tick = {need} or more, or lower it"
        yield Problem(("servo", "natural_frequency"), servo.natural_frequency, message, hint)


def _modes(mission: tables.MissionTables) -> Iterator[Problem]:
    if mission.guidance.waypoint:
        return
    for i, rule in enumerate(mission.rule):
        if rule.action == "guide_waypoints":
            hint = "add one or more [[guidance.waypoint]]"
            yield Problem(("rule", i, "action"), rule.action, "there are no waypoints to guide to", hint)


def _canopies(mission: tables.MissionTables) -> Iterator[Problem]:
    names = tuple(canopy.name for _, canopy in _parts(mission, tables.Parachute))
    wanted = [(("recovery", i, "canopy"), recovery.canopy) for i, recovery in enumerate(mission.recovery)]
    wanted += [(("rule", i, "target"), rule.target) for i, rule in enumerate(mission.rule) if rule.action == "deploy"]
    for loc, name in wanted:
        if name not in names:
            yield Problem(loc, name, f"there is no parachute {shown(name)}", suggestion(name, names, "parachutes"))

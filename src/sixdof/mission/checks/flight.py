"""Checks within one table of the flight computer: servos, detection, guidance, gains."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sixdof.mission import tables
from sixdof.mission.checks.common import problem_of, unused
from sixdof.mission.errors import Problem
from sixdof.mission.files import curves
from sixdof.mission.tables.base import check_of

CHANNELS = ("pitch", "yaw", "roll")


@check_of(tables.Servo)
def _servo(servo: tables.Servo) -> Iterator[Problem]:
    for key in ("backlash", "dead_band", "resolution"):
        value = getattr(servo, key)
        if value >= servo.deflection_limit:
            message = f"{value:g} rad is not less than deflection_limit, {servo.deflection_limit:g} rad"
            yield Problem((key,), value, message, 'servos have about "0.3 deg"; a bare number is in rad')
    yield from _repeated([failure.fin for failure in servo.failure], lambda i: ("failure", i, "fin"), "fails already")


def _repeated(numbers: Sequence[int], loc, what: str) -> Iterator[Problem]:
    for i, number in enumerate(numbers):
        if number in numbers[:i]:
            yield Problem(loc(i), number, f"fin {number} {what}", "name each fin once")


@check_of(tables.Detection)
def _detection(detection: tables.Detection) -> Iterator[Problem]:
    if detection.burnout_specific_force >= detection.ignition_specific_force:
        message = f"{detection.burnout_specific_force:g} m/s^2 is not below ignition_specific_force, {detection.ignition_specific_force:g} m/s^2"
        yield Problem(("burnout_specific_force",), detection.burnout_specific_force, message, "a burn would end as it begins: lower it")
    if detection.apogee == "velocity":
        yield from unused(detection, ("apogee_drop",), 'apogee "velocity"')


@check_of(tables.AttitudeProfile)
def _profile(profile: tables.AttitudeProfile) -> Iterator[Problem]:
    points, unit, other = ("height", "m", "time") if profile.over == "height" else ("time", "s", "height")
    yield from unused(profile, (other,), f'over = "{profile.over}"')
    values = getattr(profile, points)
    if not values:
        yield Problem((points,), None, "the profile has no points", f"write one or more {points}s")
        return
    names = (points, "tilt_pitch", "tilt_yaw", "roll")
    for flaw in curves.equal_lengths([getattr(profile, name) for name in names], names):
        yield Problem((points,), None, flaw.message, flaw.hint)
    yield from map(problem_of, curves.rising(values, points, unit))


@check_of(tables.Guidance)
def _guidance(guidance: tables.Guidance) -> Iterator[Problem]:
    for i, point in enumerate(guidance.waypoint):
        if point.height <= guidance.minimum_height:
            message = f"{point.height:g} m is not above guidance.minimum_height, {guidance.minimum_height:g} m"
            hint = "waypoints are places in the air only: raise it well above the ground"
            yield Problem(("waypoint", i, "height"), point.height, message, hint)
    if guidance.mode == "waypoints" and not guidance.waypoint:
        yield Problem(("waypoint",), None, "missing", 'mode "waypoints" needs one or more [[guidance.waypoint]]')


# ---------------------------------------------------------------- gains


@check_of(tables.Autopilot)
def _autopilot(autopilot: tables.Autopilot) -> Iterator[Problem]:
    low, high = autopilot.gain_scale_limits
    if low > high:
        message = f"the lower limit, {low:g}, is more than the upper, {high:g}"
        yield Problem(("gain_scale_limits",), None, message, "write [lower, upper]")
    yield from _schedule(autopilot)
    yield from _structure(autopilot)
    if autopilot.notch is not None and autopilot.notch.frequency >= 0.5 * autopilot.rate:
        message = f"{autopilot.notch.frequency:g} Hz is not below half the rate of the autopilot, {0.5 * autopilot.rate:g} Hz"
        yield Problem(("notch", "frequency"), autopilot.notch.frequency, message, "a filter of samples reaches to half their rate: raise autopilot.rate")
    if autopilot.with_booster is not None and autopilot.with_booster.at is not None:
        loc = ("with_booster", "at")
        yield Problem(loc, autopilot.with_booster.at, "the gains with a booster are not scheduled", "remove it")
    for i, number in enumerate(autopilot.known_failed):
        if number < 1:
            yield Problem(("known_failed", i), number, f"there is no fin {number}", "fins are counted from 1")
    yield from _repeated(autopilot.known_failed, lambda i: ("known_failed", i), "is named already")


def _schedule(autopilot: tables.Autopilot) -> Iterator[Problem]:
    if not autopilot.schedule:
        yield from unused(autopilot, ("schedule_over",), "an autopilot without schedule")
        return
    yield from unused(autopilot, CHANNELS, "an autopilot with a schedule, which takes their place,")
    over = autopilot.schedule_over
    if over == "dynamic_pressure":
        yield from unused(autopilot, ("gain_reference_q",), "a schedule over dynamic pressure")
    unit = "Pa" if over == "dynamic_pressure" else ""
    for i, entry in enumerate(autopilot.schedule):
        if entry.at is None:
            hint = f"each point of the schedule needs its {over.replace('_', ' ')}{' (Pa)' if unit else ' number'}"
            yield Problem(("schedule", i, "at"), None, "missing", hint)
            return
    for flaw in curves.rising([entry.at for entry in autopilot.schedule], "at", unit):
        yield Problem(("schedule", flaw.row, "at"), None, flaw.message, flaw.hint)


def _sets(autopilot: tables.Autopilot) -> Iterator[tuple[tuple, tables.Gains]]:
    """Yield (path, gains) of every channel in every set that may fly."""
    if not autopilot.schedule:
        yield from (((name,), getattr(autopilot, name)) for name in CHANNELS)
    for i, entry in enumerate(autopilot.schedule):
        yield from ((("schedule", i, name), getattr(entry, name)) for name in CHANNELS)
    if autopilot.with_booster is not None:
        yield from ((("with_booster", name), getattr(autopilot.with_booster, name)) for name in CHANNELS)


def _structure(autopilot: tables.Autopilot) -> Iterator[Problem]:
    if autopilot.structure == "cascade":
        yield from unused(autopilot, ("derivative", "filter"), 'structure "cascade"')
        for loc, gains in _sets(autopilot):
            if gains.p > 0.0 and gains.d == 0.0:
                hint = 'in a cascade p asks for a rate and d answers it with a fin angle: write e.g. d = "0.09 s"'
                yield Problem((*loc, "d"), gains.d, "0 s leaves the rate loop without an answer", hint)
        return
    yield from unused(autopilot, ("rate_limit",), 'structure "pid"')
    if autopilot.derivative == "error" and autopilot.filter == 0.0:
        message = "0 s passes one tick's noise and every step of the goal on, times the tick rate"
        hint = 'derivative "error" needs a filter of some ticks, such as filter = "30 ms"'
        yield Problem(("filter",), autopilot.filter, message, hint)

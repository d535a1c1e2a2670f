"""The tables of a file of readings from the workshop: scales, swings, fins and thrust line, every reading with its error.

Units as in a mission file. Stations are those of the mission: metres aft of the fore end of the stage. Every error is a standard deviation.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field, StrictBool

from sixdof.mission.errors import Problem
from sixdof.mission.tables.base import Table, check_of, key
from sixdof.mission.units import (
    Acceleration,
    Angle,
    Cant,
    Direction,
    Incidence,
    Length,
    Mass,
    NonNegativeAcceleration,
    NonNegativeAngle,
    NonNegativeLength,
    NonNegativeMass,
    PositiveAngle,
    PositiveLength,
    PositiveTime,
    Share,
)

Motors = Literal["out", "cases", "loaded"]
_MOTORS = 'motors while it was measured: "out", empty "cases" in their mounts, or "loaded"; they are taken off with the masses of the mission'
_ABOARD = "names of what else was aboard, of [[stage.aboard]]; it is taken off"


class Aboard(Table):
    """What was aboard at a measurement and does not belong to the finished stage without motors: ballast, a dummy motor, a clamp."""

    name: str = key("what it is called by the measurements that had it aboard", "dummy motor")
    mass: Mass = key("its mass", "310 g")
    mass_error: NonNegativeMass = key("standard deviation of its mass", "1 g", default=0.0)
    middle: Length = key("station of its middle", "1.19 m")
    middle_error: NonNegativeLength = key("standard deviation of that station", "2 mm", default=0.0)
    length: NonNegativeLength = key("length of the cylinder it fills, for its inertia; a point if 0", "200 mm", default=0.0)
    diameter: NonNegativeLength = key("diameter of the cylinder it fills, for its inertia", "38 mm", default=0.0)


class Scales(Table):
    """The stage lies level on two supports, each on a scale (or on one scale in turn, the other end held level): what the scales show."""

    fore_support: Length = key("station of the fore support", "300 mm")
    aft_support: Length = key("station of the aft support", "1.05 m")
    support_error: NonNegativeLength = key("standard deviation of the station of each support", "1 mm")
    fore: tuple[NonNegativeMass, ...] = key("readings of the fore scale, taken anew each time", ["612 g", "613 g", "612 g"])
    aft: tuple[NonNegativeMass, ...] = key("readings of the aft scale, taken anew each time", ["1041 g", "1040 g", "1041 g"])
    fore_tare: NonNegativeMass = key("reading with the fore support alone; 0 of a scale that was zeroed with it", "35 g", default=0.0)
    aft_tare: NonNegativeMass = key("reading with the aft support alone; 0 of a scale that was zeroed with it", "36 g", default=0.0)
    resolution: NonNegativeMass = key("step of the display", "1 g")
    error: NonNegativeMass = key("standard deviation of a single reading beside the step of the display, such as by where the stage lies", "1 g", default=0.0)
    calibration: Share = key("standard deviation of a scale's calibration, as a share of what it shows", "0.1 %", default=0.0)
    one_scale: StrictBool = key("whether one scale was used in turn: its calibration is then wrong by the same share at both ends", True, default=False)
    motors: Motors = key(_MOTORS, "cases", default="out")
    aboard: tuple[str, ...] = key(_ABOARD, ["dummy motor"], default=())


class Rolling(Table):
    """The stage lies on two rollers or rails and rolls until its heavy side is down; a trim mass on the light side balances it."""

    heavy_side: Direction = key("angle of the heavy side around the body from body +z, clockwise seen from behind", "130 deg")
    heavy_side_error: NonNegativeAngle = key("standard deviation of that angle", "10 deg")
    trim_mass: NonNegativeMass = key("mass opposite to it with which the stage stays in any position", "8 g")
    trim_mass_error: NonNegativeMass = key("standard deviation of that mass: half of the least that makes it roll", "2 g")
    trim_radius: PositiveLength = key("distance of the trim mass from the axis", "38 mm")
    trim_radius_error: NonNegativeLength = key("standard deviation of that distance", "1 mm", default=0.0)


class _Timed(Table):
    about: Literal["roll", "pitch", "yaw"] = key("axis it turns about: roll, or pitch (body y) or yaw (body z) through the centre of mass", "pitch")
    swings: int = key("full swings, there and back, that each run was timed over", 20, ge=1, strict=True)
    times: tuple[PositiveTime, ...] = key("times of the runs, each over so many swings", ["44.31 s", "44.26 s", "44.35 s"])
    time_error: PositiveTime = key("standard deviation of the time of one run: start and stop of the watch together", "0.1 s")
    amplitude: Incidence = key("mean angle from the middle to the end of a swing", "6 deg", default=0.0)
    amplitude_error: NonNegativeAngle = key("standard deviation of that angle", "2 deg", default=0.0)
    motors: Motors = key(_MOTORS, "cases", default="out")
    aboard: tuple[str, ...] = key(_ABOARD, ["dummy motor"], default=())


class Bifilar(_Timed):
    """It hangs on two parallel vertical strings and turns about the vertical through its centre of mass.

    Pitch or yaw: it hangs level, strings at two stations on either side of its centre of mass, not needfully as far from it. Roll: it hangs
    nose up or down, strings on both sides of the axis.
    """

    kind: Literal["bifilar"] = key("two strings", "bifilar", default="bifilar")
    length: PositiveLength = key("length of the strings, both alike", "1.5 m")
    length_error: NonNegativeLength = key("standard deviation of that length", "2 mm")
    fore_string: Length | None = key("station of the fore string (pitch, yaw)", "300 mm", default=None)
    aft_string: Length | None = key("station of the aft string (pitch, yaw)", "1 m", default=None)
    string_error: NonNegativeLength = key("standard deviation of the station of each string (pitch, yaw)", "1 mm", default=0.0)
    spacing: PositiveLength | None = key("distance between the strings (roll)", "120 mm", default=None)
    spacing_error: NonNegativeLength = key("standard deviation of that distance (roll)", "0.5 mm", default=0.0)


class Trifilar(_Timed):
    """It lies or stands on a platform that hangs on three parallel strings, its centre of mass over the platform's, and turns with it about the vertical."""

    kind: Literal["trifilar"] = key("three strings and a platform", "trifilar", default="trifilar")
    length: PositiveLength = key("length of the strings, all alike", "1.5 m")
    length_error: NonNegativeLength = key("standard deviation of that length", "2 mm")
    radius: PositiveLength = key("radius of the circle on which the strings hold the platform", "200 mm")
    radius_error: NonNegativeLength = key("standard deviation of that radius", "0.5 mm")
    platform_mass: Mass = key("mass of the platform", "420 g")
    platform_mass_error: NonNegativeMass = key("standard deviation of that mass", "1 g", default=0.0)
    platform_times: tuple[PositiveTime, ...] = key("times of runs of the empty platform, over as many swings", ["39.8 s", "39.9 s"])
    offset: NonNegativeLength = key("distance of its centre of mass from the platform's axis", "0 mm", default=0.0)
    offset_error: NonNegativeLength = key("standard deviation of that distance", "2 mm", default=0.0)


class Compound(_Timed):
    """It hangs on a pivot on its axis and swings as a pendulum: about pitch or yaw alone."""

    kind: Literal["compound"] = key("a pivot", "compound", default="compound")
    pivot: Length = key("station of the pivot; negative ahead of the fore end", "40 mm")
    pivot_error: NonNegativeLength = key("standard deviation of that station", "1 mm")


Swing = Annotated[Bifilar | Trifilar | Compound, Field(discriminator="kind")]


class FinAngles(Table):
    """Measured angles of the panels of a set of fins, positive as `cant` is: where the panel alone rolls the vehicle positive about x."""

    name: str = key("name of the set of fins; may be omitted where the stage has one", "tail", default="")
    panels: tuple[tuple[Cant, ...], ...] = key("readings of each panel, fin 1 first", [["0.3 deg", "0.2 deg"], ["0.1 deg", "0.1 deg"], ["0.4 deg", "0.3 deg"]])
    error: PositiveAngle = key("standard deviation of one reading", "0.1 deg")
    datum_error: NonNegativeAngle = key("standard deviation of the gauge's zero, which all panels share", "0.05 deg", default=0.0)


class ThrustLine(Table):
    """Measured direction of the motor mount against the body's axis: readings of one angle, taken anew each time."""

    tilt_y: tuple[Angle, ...] = key("readings of the thrust line's turn about body y", ["0.2 deg", "0.15 deg"], default=())
    tilt_z: tuple[Angle, ...] = key("readings of the thrust line's turn about body z", ["-0.1 deg", "-0.05 deg"], default=())
    error: PositiveAngle = key("standard deviation of one reading", "0.1 deg")


class StageReadings(Table):
    """All that was measured of one stage."""

    name: str = key("name of the stage in the mission", "whinchat")
    motor_error: NonNegativeMass = key("standard deviation of the mass of each motor that was in, against what the mission says", "1 g", default=0.0)
    aboard: tuple[Aboard, ...] = key("what was aboard at a measurement and is to be taken off", default=())
    scales: Scales | None = key("the stage on two scales", default=None)
    rolling: Rolling | None = key("how far its centre of mass lies off the axis", default=None)
    swing: tuple[Swing, ...] = key("swings, whose periods give moments of inertia; they need the scales", default=())
    fins: tuple[FinAngles, ...] = key("angles of the fins", default=())
    thrust_line: ThrustLine | None = key("direction of the motor mount", default=None)


class Readings(Table):
    """A file of readings from the workshop."""

    title: str = key("what the page is headed with", "Whinchat on the bench", default="")
    gravity: Acceleration | None = key("gravity at the bench, for the swings; that of the mission's site if omitted", "9.806 m/s^2", default=None)
    gravity_error: NonNegativeAcceleration = key("standard deviation of that gravity", "0.005 m/s^2", default=0.005)
    stage: tuple[StageReadings, ...] = key("what was measured of each stage")


# ---------------------------------------------------------------- what cannot be


@check_of(Scales)
def _scales(scales: Scales) -> Iterator[Problem]:
    for name in ("fore", "aft"):
        readings, tare = getattr(scales, name), getattr(scales, f"{name}_tare")
        if not readings:
            yield Problem((name,), None, "there is no reading", f'write {name} = ["612 g"]')
        elif min(readings) < tare:
            yield Problem((name,), min(readings), f"{min(readings):g} kg is less than the tare, {tare:g} kg", "check which of the two is which")
    if scales.aft_support - scales.fore_support < 10.0 * max(scales.support_error, 1e-4):
        yield Problem(("aft_support",), scales.aft_support, "is not behind the fore support by ten times the error of a support", "stations count aft")


@check_of(Bifilar)
def _bifilar(swing: Bifilar) -> Iterator[Problem]:
    wanted = ("spacing",) if swing.about == "roll" else ("fore_string", "aft_string")
    for name in ("fore_string", "aft_string", "spacing"):
        if name in wanted and getattr(swing, name) is None:
            yield Problem((name,), None, f"missing: a bifilar swing about {swing.about} needs it", f"add {name} = {_example(Bifilar, name)}")
        elif name not in wanted and getattr(swing, name) is not None:
            yield Problem((name,), getattr(swing, name), f"a bifilar swing about {swing.about} takes {' and '.join(wanted)}", "remove it")
    yield from _runs(swing, ("times",))


@check_of(Trifilar)
def _trifilar(swing: Trifilar) -> Iterator[Problem]:
    yield from _runs(swing, ("times", "platform_times"))


@check_of(Compound)
def _compound(swing: Compound) -> Iterator[Problem]:
    if swing.about == "roll":
        yield Problem(("about",), "roll", "a pivot on the axis gives pitch or yaw", 'hang it on two strings for roll: kind = "bifilar"')
    yield from _runs(swing, ("times",))


def _runs(swing: _Timed, names: tuple[str, ...]) -> Iterator[Problem]:
    for name in names:
        if not getattr(swing, name):
            yield Problem((name,), None, "there is no run", f'write {name} = ["44.3 s"]')


def _example(kind: type[Table], name: str) -> str:
    return f'"{kind.model_fields[name].examples[0]}"'


@check_of(StageReadings)
def _stage(stage: StageReadings) -> Iterator[Problem]:
    known = [one.name for one in stage.aboard]
    for k, name in enumerate(known):
        if name in known[:k]:
            yield Problem(("aboard", k, "name"), name, f'"{name}" comes twice', "give each its own name")
    measured = [(("scales",), stage.scales)] if stage.scales is not None else []
    for loc, one in [*measured, *((("swing", k), swing) for k, swing in enumerate(stage.swing))]:
        for name in one.aboard:
            if name not in known:
                yield Problem((*loc, "aboard"), name, f'there is no [[stage.aboard]] "{name}"', f"known are: {', '.join(known) or 'none'}")
    if stage.scales is None and (stage.swing or stage.rolling):
        what = "a swing" if stage.swing else "rolling"
        yield Problem(("scales",), None, f"missing: {what} needs mass and centre of mass", "weigh the stage on two scales first and add [stage.scales]")
    if stage.thrust_line is not None and not (stage.thrust_line.tilt_y or stage.thrust_line.tilt_z):
        yield Problem(("thrust_line",), None, "there is no reading", 'add tilt_y = ["0.1 deg"] or tilt_z')
    for k, fins in enumerate(stage.fins):
        for j, panel in enumerate(fins.panels):
            if not panel:
                yield Problem(("fins", k, "panels", j), None, "there is no reading of the panel", 'write ["0.1 deg"]')


@check_of(Readings)
def _readings(readings: Readings) -> Iterator[Problem]:
    names = [stage.name for stage in readings.stage]
    if not names:
        yield Problem(("stage",), None, "there is no stage", "add [[stage]] with the name of a stage of the mission")
    for k, name in enumerate(names):
        if name in names[:k]:
            yield Problem(("stage", k, "name"), name, f'stage "{name}" comes twice', "put all its readings into one table")

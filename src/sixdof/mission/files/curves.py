"""Curves given point by point: which columns they have, and what makes them no curve.

Each check serves the table in the mission file (which point) and the CSV file (which line) alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from sixdof.mission.units import shown


class Flaw(NamedTuple):
    """What is wrong with a curve; row and column are None where it is not one point's or one column's fault."""

    row: int | None
    column: str | None
    message: str
    hint: str


class Curve(NamedTuple):
    """A kind of curve: its columns (name, unit) in order, and its check over those columns."""

    columns: tuple[tuple[str, str], ...]
    flaws: Callable[[Sequence[Sequence[float]]], Iterator[Flaw]]


def rising(values: Sequence[float], column: str, unit: str) -> Iterator[Flaw]:
    """Find the first of `values` that does not rise above the one before."""
    for row, (before, after) in enumerate(zip(values, values[1:]), start=1):
        if not after > before:
            message = f"{shown(float(after))} {unit} follows {shown(float(before))} {unit}".replace("  ", " ").strip()
            yield Flaw(row, column, message, f"{column} must rise from point to point")
            return


def equal_lengths(columns: Sequence[Sequence[float]], names: Sequence[str]) -> Iterator[Flaw]:
    """Find columns with unequally many entries."""
    counts = [len(values) for values in columns]
    if len(set(counts)) > 1:
        listed = ", ".join(f"{name} {count}" for name, count in zip(names, counts))
        yield Flaw(None, None, f"the columns differ in length ({listed})", "write one entry a point in each")


def _few(values: Sequence[float]) -> Iterator[Flaw]:
    if len(values) < 2:
        points = f"{len(values)} point{'' if len(values) == 1 else 's'}"
        yield Flaw(None, None, f"has {points}", "a curve needs two or more points")


def _thrust(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
    time, thrust = columns
    yield from equal_lengths(columns, ("time", "thrust"))
    yield from _few(time)
    yield from rising(time, "time", "s")
    if time and time[0] < 0.0:
        yield Flaw(0, "time", f"{shown(float(time[0]))} s is before ignition", "times count from ignition, 0 s")
    for row, force in enumerate(thrust):
        if force < 0.0:
            yield Flaw(row, "thrust", f"{shown(float(force))} N is negative", "thrust is 0 N or more")
            break
    if thrust and not any(thrust):
        yield Flaw(None, "thrust", "every thrust is 0 N", "at least one point must be more than 0 N")


def _drag(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
    mach, coefficient = columns
    yield from equal_lengths(columns, ("mach", "coefficient"))
    yield from _few(mach)
    yield from rising(mach, "mach", "")
    for name, values in zip(("mach", "coefficient"), columns):
        for row, value in enumerate(values):
            if value < 0.0:
                yield Flaw(row, name, f"{shown(float(value))} is negative", f"{name} is 0 or more")
                break


def _axial(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
    mach, incidence, coefficient = columns
    yield from equal_lengths(columns, ("mach", "incidence", "coefficient"))
    if len({len(column) for column in columns}) > 1:
        return
    for row, (number, angle) in enumerate(zip(mach, incidence)):
        if number < 0.0:
            yield Flaw(row, "mach", f"{shown(float(number))} is negative", "mach is 0 or more")
            return
        if not 0.0 <= angle <= 0.5 * math.pi + 1e-9:
            hint = 'incidence is 0 to 90 deg; name the unit, such as "incidence (deg)" in the header of a CSV'
            yield Flaw(row, "incidence", f"{shown(float(angle))} rad is out of range", hint)
            return
    yield from _grid(mach, incidence)
    for row, (angle, value) in enumerate(zip(incidence, coefficient)):
        if angle == 0.0 and value <= 0.0:
            message = f"{shown(float(value))} at incidence 0 is not more than 0"
            yield Flaw(row, "coefficient", message, "the force at incidence is a multiple of that at none")
            return


def _grid(mach: Sequence[float], incidence: Sequence[float]) -> Iterator[Flaw]:
    """Find what keeps points from being a full grid: the same incidences, 0 among them, at every Mach number, each
    once.
    """
    angles, points = sorted(set(incidence)), list(zip(mach, incidence))
    if len(angles) < 2 or angles[0] != 0.0:
        yield Flaw(None, "incidence", "there are no two incidences, one of them 0", "write 0 and others for every mach")
        return
    for row, point in enumerate(points):
        if point in points[:row]:
            message = f"mach {shown(float(point[0]))}, {math.degrees(point[1]):.4g} deg comes twice"
            yield Flaw(row, "incidence", message, "write every point once")
            return
    for number in sorted(set(mach)):
        for angle in angles:
            if (number, angle) not in points:
                message = f"there is no point at mach {shown(float(number))}, {math.degrees(angle):.4g} deg"
                yield Flaw(None, None, message, "every mach needs the same incidences")
                return


def _slope(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
    mach, slope, centre = columns
    yield from equal_lengths(columns, ("mach", "slope", "centre"))
    yield from _few(mach)
    yield from rising(mach, "mach", "")
    if mach and mach[0] < 0.0:
        yield Flaw(0, "mach", f"{shown(float(mach[0]))} is negative", "mach is 0 or more")


def _panel(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
    yield from _slope(columns)
    for row, value in enumerate(columns[1]):
        if value <= 0.0:
            message = f"{shown(float(value))} 1/rad is not more than 0"
            yield Flaw(row, "slope", message, "a panel's force grows with its incidence")
            break


def _roll(name: str, sign: float, message: str, hint: str) -> Callable[[Sequence[Sequence[float]]], Iterator[Flaw]]:
    """Return the check of a curve (mach, `name`) of which every value has the `sign`."""

    def flaws(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
        yield from equal_lengths(columns, ("mach", name))
        yield from _few(columns[0])
        yield from rising(columns[0], "mach", "")
        if columns[0] and columns[0][0] < 0.0:
            yield Flaw(0, "mach", f"{shown(float(columns[0][0]))} is negative", "mach is 0 or more")
        for row, value in enumerate(columns[1]):
            if sign * value <= 0.0:
                yield Flaw(row, name, f"{shown(float(value))} {message}", hint)
                break

    return flaws


def _wind(columns: Sequence[Sequence[float]]) -> Iterator[Flaw]:
    height, speed, blows_from = columns
    if not height:
        yield Flaw(None, None, "the wind table has no rows", "write rows of [height, speed, blows_from]")
    yield from rising(height, "height", "m")
    for name, unit, values in (("height", "m", height), ("speed", "m/s", speed)):
        for row, value in enumerate(values):
            if value < 0.0:
                yield Flaw(row, name, f"{shown(float(value))} {unit} is negative", f"{name} is 0 {unit} or more")
                break
    for row, angle in enumerate(blows_from):
        if abs(angle) > 2.0 * math.pi + 1e-12:
            hint = 'name the unit, such as "blows_from (deg)" in the header of a CSV'
            yield Flaw(row, "blows_from", f"{shown(float(angle))} rad is more than a full turn", hint)
            break


THRUST = Curve((("time", "s"), ("thrust", "N")), _thrust)
DRAG = Curve((("mach", "1"), ("coefficient", "1")), _drag)
AXIAL = Curve((("mach", "1"), ("incidence", "rad"), ("coefficient", "1")), _axial)
_SLOPE_COLUMNS = (("mach", "1"), ("slope", "1/rad"), ("centre", "m"))
BODY = Curve(_SLOPE_COLUMNS, _slope)
PANEL = Curve(_SLOPE_COLUMNS, _panel)
ROLL_DAMPING = Curve(
    (("mach", "1"), ("damping", "1")),
    _roll("damping", -1.0, "is not less than 0", "C_l_p per p d/(2V) of a set of fins is negative: it works against the roll"),
)
ROLL_FORCING = Curve(
    (("mach", "1"), ("forcing", "1/rad")), _roll("forcing", 1.0, "1/rad is not more than 0", "a positive deflection of every fin rolls the vehicle positive")
)
WIND = Curve((("height", "m"), ("speed", "m/s"), ("blows_from", "rad")), _wind)

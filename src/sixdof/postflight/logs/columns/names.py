"""What a flight log may hold: the timeline's own variables, and readings that the timeline has no name for."""

from __future__ import annotations

from typing import NamedTuple

from sixdof.core.layout import Phase
from sixdof.results.registry import REGISTRY

SOURCES = ("barometer", "receiver", "accelerometer", "gyro", "magnetometer", "thermometer", "computer")
AXES, QUATERNION = ("x", "y", "z"), ("w", "x", "y", "z")


class Known(NamedTuple):
    """One reading. unit : SI, as `mission.units` spells it. parts : columns of the log it takes. source : what usually measures it."""

    unit: str
    parts: int
    source: str
    long_name: str
    dims: tuple[str, ...] = ("time",)


def _timeline(name: str, unit: str, source: str) -> Known:
    """Return an entry that has the timeline's dims and meaning."""
    of = REGISTRY[name]
    parts = {"axis": 3, "quaternion": 4}.get(of.dims[-1], 1)
    return Known(unit, parts, source, of.long_name, of.dims)


KNOWN = {
    "height": _timeline("height", "m", "barometer"),
    "east": _timeline("east", "m", "receiver"),
    "north": _timeline("north", "m", "receiver"),
    "velocity": _timeline("velocity", "m/s", "receiver"),
    "specific_force": _timeline("specific_force", "m/s**2", "accelerometer"),
    "body_rate": _timeline("body_rate", "rad/s", "gyro"),
    "attitude": _timeline("attitude", "1", "computer"),
    "tilt": _timeline("tilt", "rad", "computer"),
    "roll": _timeline("roll", "rad", "computer"),
    "airspeed": _timeline("airspeed", "m/s", "computer"),
    "mach": _timeline("mach", "1", "computer"),
    "fin_angle": _timeline("fin_angle", "rad", "computer"),
    "fin_command": _timeline("fin_command", "rad", "computer"),
    "guidance_mode": _timeline("guidance_mode", "1", "computer"),
    "phase": _timeline("phase", "1", "computer"),
    "pressure": Known("Pa", 1, "barometer", "pressure of the air"),
    "temperature": Known("K", 1, "thermometer", "temperature at the sensor"),
    "magnetic_field": Known("1", 3, "magnetometer", "magnetic field, body axes, in units of its strength", ("time", "axis")),
    "fix_height": Known("m", 1, "receiver", "height above ground by the receiver"),
    "latitude": Known("rad", 1, "receiver", "latitude"),
    "longitude": Known("rad", 1, "receiver", "longitude"),
    "altitude": Known("m", 1, "receiver", "height above mean sea level by the receiver"),
}
FINS = ("fin_angle", "fin_command")  # as many columns as there are control fins
FLAGS = {"phase": tuple(one.name.lower() for one in Phase), "guidance_mode": ("profile", "waypoints", "hold")}  # words for 0, 1, 2 ...
VECTORS = ("specific_force", "body_rate", "magnetic_field")  # along the sensor's axes
PLACES = ("latitude", "longitude", "altitude")  # become east, north and a height; they stand in the log under those names
SI_NAMES = {"m/s**2": "m/s^2"}  # as results spell it

"""The tables of a column map: which column of a log is what, in which unit, from which sensor, in which axes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import StrictBool

from sixdof.mission.errors import Problem, suggestion
from sixdof.mission.tables.base import Table, check_of, key
from sixdof.mission.units import Angle, Direction, Latitude, Length, Pressure, Temperature
from sixdof.postflight.logs.columns.names import FINS, FLAGS, KNOWN, SOURCES, VECTORS


class Clock(Table):
    """A column of time."""

    column: str = key("name of the column in the log", "t")
    unit: str = key('unit of its numbers, or "text" for a time of day or a date in words', "ms", default="s")


class Counter(Table):
    """A column that counts packets or samples."""

    column: str = key("name of the column in the log", "n")
    wraps: float = key("number at which it starts again from 0; 0: never", 65536, default=0.0, ge=0.0)


class Ground(Table):
    """The air and the place of the launch, where no mission says them or the day's are better."""

    pressure: Pressure | None = key("air pressure at the ground before launch; none: the mean of the log's own rest", "871 hPa", default=None)
    temperature: Temperature | None = key(
        "air temperature at the ground, which goes before the mission's air; none: the mission's, or the standard atmosphere's", "24 degC", default=None
    )
    latitude: Latitude | None = key("of the rail; none: the mission's, or the mean fix at rest", "41 deg", default=None)
    longitude: Direction | None = key("of the rail, east positive; none: as latitude", "-112 deg", default=None)
    altitude: Length | None = key("of the ground, in the receiver's own heights; none: the mean of the log's own rest", "1300 m", default=None)


class Reading(Table):
    """One reading of the log: its columns and what is needed to make SI of them, in body axes."""

    column: str = key("its column in the log; a minus ahead of the name turns the sign", "baro", default="")
    columns: tuple[str, ...] = key("its columns, of a reading that has several; '' where one is missing", ["ax", "ay", "az"], default=())
    unit: str = key("unit of the numbers; none: SI", "ft", default="")
    source: Literal[SOURCES] | None = key("what measures it; none: what usually does", "barometer", default=None)  # type: ignore[valid-type]
    error: str | float | None = key("standard deviation of a reading, with a unit or in SI; of latitude and longitude in metres", "0.5 m", default=None)
    limit: str | float | None = key("largest reading of the sensor, of either sign, with a unit or in SI", "16 gn", default=None)
    axes: str = key("body x, y and z (forward, starboard, the third) by the sensor's own axes", "+y -x +z", default="+x +y +z")
    turned: Angle = key("angle by which the board is turned about the roll axis besides, right-handed about forward", "30 deg", default=0.0)
    station: Length | None = key("station of the sensor, aft of the nose tip of the whole vehicle", "450 mm", default=None)
    off_axis: tuple[Length, Length] = key("place of the sensor beside the roll axis, along body y and z", ["0 mm", "22 mm"], default=(0.0, 0.0))
    frame: Literal["east north up", "north east down"] = key("world axes of an attitude or a velocity", "north east down", default="east north up")
    states: dict[str, int | str] = key("what words or numbers of the log mean, as numbers or names of the timeline", {"BOOST": "free"}, default={})
    held: StrictBool | None = key("whether the logger repeats the last reading until the next; none: found from the log", True, default=None)


class ColumnMapTables(Table):
    """A column map: the log's clock, counter, launch place, and of every reading the column it stands in."""

    stage: str = key("the stage whose log this is; '' for the front stage", "booster", default="")
    clock: Clock | None = key("the clock that the log's times are taken from")
    second_clock: Clock | None = key("another clock of the same rows, such as that of the receiving end", default=None)
    counter: Counter | None = key("the packet counter", default=None)
    ground: Ground = key("air and place of the launch", factory=Ground)
    read: dict[str, Reading] = key("what the log holds, by the names of a flight's timeline", factory=dict)


@check_of(ColumnMapTables)
def _readings_known(table: ColumnMapTables) -> Iterator[Problem]:
    for name, reading in table.read.items():
        if name not in KNOWN:
            yield Problem(("read", name), None, "a log has no such reading", suggestion(name, tuple(KNOWN), "readings"))
            continue
        yield from _columns(name, reading)
        yield from _keys(name, reading)


def _columns(name: str, reading: Reading) -> Iterator[Problem]:
    known = KNOWN[name]
    given = len(reading.columns)
    place = ("read", name)
    if bool(reading.column) == bool(given):
        yield Problem(place, None, "needs either column or columns", f'write column = "..."{"" if known.parts == 1 else " or columns = [...]"}')
    elif name in FINS:
        return
    elif known.parts == 1 and given:
        yield Problem((*place, "columns"), None, "this reading has one column", 'write column = "..."')
    elif known.parts > 1 and reading.column:
        yield Problem((*place, "column"), None, f"this reading has {known.parts} columns", "write columns = [...], '' for one that is missing")
    elif name == "attitude" and given not in (3, 4):
        yield Problem((*place, "columns"), None, "an attitude takes four columns (quaternion, scalar first) or three", "three are heading, elevation and roll")
    elif name != "attitude" and known.parts > 1 and given != known.parts:
        yield Problem((*place, "columns"), None, f"there are {given} columns and it takes {known.parts}", "write '' for one that is missing")


def _keys(name: str, reading: Reading) -> Iterator[Problem]:
    wrong = {
        "axes": name not in (*VECTORS, "attitude"),
        "turned": name not in (*VECTORS, "attitude"),
        "station": name != "specific_force",
        "off_axis": name != "specific_force",
        "frame": name not in ("attitude", "velocity"),
        "states": name not in FLAGS,
    }
    for one in sorted(reading.model_fields_set):
        if wrong.get(one):
            yield Problem(("read", name, one), None, f"{name} has no {one}", "leave it out")

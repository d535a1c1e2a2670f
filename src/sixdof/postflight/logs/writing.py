"""A log made out of a simulated flight: what its computer sensed, in units, axes and packets as asked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import tomli_w
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.load import stored_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, converter, parse, shown
from sixdof.postflight.logs.columns.mapping import axes_matrix
from sixdof.postflight.logs.columns.names import KNOWN
from sixdof.postflight.logs.columns.units import spelled
from sixdof.postflight.logs.rest import on_the_rail
from sixdof.world.geodesy import place_on_earth
from sixdof.world.gravity import normal_gravity
from sixdof.world.sounding import air_over

USUAL = ("pressure", "specific_force", "body_rate", "fix_height", "east", "north", "velocity", "attitude", "phase")
HEADS = {
    "height": ("baro",),
    "pressure": ("press",),
    "specific_force": ("ax", "ay", "az"),
    "body_rate": ("gx", "gy", "gz"),
    "velocity": ("ve", "vn", "vu"),
    "attitude": ("qw", "qx", "qy", "qz"),
    "fix_height": ("gps height",),
    "east": ("gps east",),
    "north": ("gps north",),
    "latitude": ("lat",),
    "longitude": ("lon",),
    "altitude": ("gps alt",),
    "tilt": ("tilt",),
    "phase": ("phase",),
    "guidance_mode": ("mode",),
    "magnetic_field": ("mx", "my", "mz"),
}
_SENSED = {
    "specific_force": ("specific_force_x", "specific_force_y", "specific_force_z"),
    "body_rate": ("rate_x", "rate_y", "rate_z"),
    "velocity": ("fix_velocity_east", "fix_velocity_north", "fix_velocity_up"),
    "attitude": ("q_w", "q_x", "q_y", "q_z"),
    "magnetic_field": ("field_x", "field_y", "field_z"),
    "height": ("baro_height",),
    "fix_height": ("fix_height",),
    "east": ("fix_east",),
    "north": ("fix_north",),
}
_WHOLE = ("phase", "guidance_mode")


def log_of(
    flight: xr.Dataset,
    path: str | Path | None = None,
    *,
    what: Any = USUAL,
    rate: float | str | None = None,
    lead: float | str = 2.0,
    until: float | str | None = None,
    units: Mapping[str, str] | None = None,
    axes: str = "+x +y +z",
    station: float | str | None = None,
    off_axis: tuple[float, float] = (0.0, 0.0),
    noise: Mapping[str, float] | None = None,
    bias: Mapping[str, Any] | None = None,
    losses: float = 0.0,
    clock: str = "ms",
    seed: int = 0,
    overwrite: bool = False,
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Return the log that a simulated flight would have left, and the column map that reads it: for a bench test, a rehearsal, a display's bench test.

    It is what the front stage's computer sensed (`sensed` of a flight; with ideal sensors the truth), after a rest on the rail.

    Parameters
    ----------
    flight : what `sixdof.fly` returned
    path : of a CSV; the map is written beside it with .toml behind; None: nothing is written
    what : readings that the log has, of the names of a column map (height, pressure, latitude ... too)
    rate : rows a second (linear between the flight's own), 1/s; None: the flight's own rows
    lead : how long the log runs at rest before ignition, s
    until : time since ignition at which the log ends, s; None: with the flight
    units : unit in which a reading is written, such as {"height": "ft", "body_rate": "deg/s", "specific_force": "g"}; SI else (latitude, longitude: deg)
    axes : the sensors' axes, body x, y and z by them, as in a column map
    station : of the accelerometer, m aft of the nose tip; None: it reads what the centre of mass feels
    off_axis : its place beside the roll axis along body y and z, m; needs a station
    noise : standard deviation of white noise to add to a reading, SI, such as {"body_rate": 0.01}
    bias : constant to add to a reading, SI, of vectors in body axes, such as {"body_rate": [0.01, 0.0, 0.0]}
    losses : share of the rows that never arrive, drawn one by one
    clock : unit of the column of time, which starts at 0 with the log
    seed : of noise and losses
    overwrite : replace files that exist

    Returns
    -------
    (DataFrame, dict)
        The rows, and the tables of the column map.

    Raises
    ------
    ValueError, TypeError
        For what is no single flight, and an argument that cannot be.
    FileExistsError
        For a file that exists, if overwrite is not set.

    Examples
    --------
    >>> table, columns = sixdof.postflight.log_of(sixdof.fly(mission), what=["height"], units={"height": "ft"}, rate=20.0)
    >>> sixdof.postflight.read_log(table, columns).sizes["time"] == len(table)
    True
    """
    mission = _mission_of(flight)
    asked = [what] if isinstance(what, str) else list(what)
    for name in [*asked, *(units or {}), *(noise or {}), *(bias or {})]:
        if name not in HEADS:
            raise ValueError(f"log_of: {shown(name)} is no reading that a log can be made of; {suggestion(str(name), tuple(HEADS), 'readings')}")
    time = _times(flight, _number(rate, "Hz", "rate"), _number(lead, "s", "lead"), _number(until, "s", "until"))
    rng = np.random.default_rng(seed)
    matrix = axes_matrix(axes)
    place = None if station is None else (_number(station, "m", "station"), *map(float, off_axis))
    table: dict[str, np.ndarray] = {}
    columns: dict[str, Any] = {"clock": {"column": f"time ({clock})", "unit": clock}, "counter": {"column": "n"}, "read": {}}
    columns["ground"] = _ground(mission, asked)
    for name in asked:
        values = _values(flight, mission, name, time, place)
        values = values + np.asarray((bias or {}).get(name, 0.0), dtype=float)
        values = values + (noise or {}).get(name, 0.0) * rng.standard_normal(values.shape)
        if name in ("specific_force", "body_rate", "magnetic_field"):
            values = values @ matrix
        columns["read"][name] = _column_table(name, (units or {}).get(name, ""), axes, place, table, values)
    keep = rng.random(time.size) >= losses
    keep[0] = True
    rows = {f"time ({clock})": (time - time[0]) / converter(spelled(clock, "s"), "s")(1.0), "n": np.arange(time.size)} | table
    frame = pd.DataFrame(rows)[keep].reset_index(drop=True)
    if path is not None:
        _write(Path(path), frame, columns, overwrite)
    return frame, columns


def _mission_of(flight: xr.Dataset) -> Mission:
    if not isinstance(flight, xr.Dataset) or "sensed" not in flight or "flight" in flight.dims or "mission" not in flight.attrs:
        raise ValueError("log_of: flight must be what sixdof.fly returned, with its variable sensed")
    return stored_mission(flight.attrs["mission"])


def _number(value: Any, unit: str, name: str):
    if value is None:
        return None
    try:
        found = parse(float(value) if isinstance(value, int | np.generic) else value, unit)
    except QuantityError as error:
        raise ValueError(f"log_of: {name}: {error}") from None
    if found < 0.0 or (found == 0.0 and name == "rate") or not math.isfinite(found):
        raise ValueError(f"log_of: {name} = {shown(value)} must be more than 0")
    return found


def _times(flight: xr.Dataset, rate: float | None, lead: float, until: float | None) -> np.ndarray:
    """Return the log's times since ignition, s."""
    own = flight["time"].values
    end = own[-1] if until is None else min(until, own[-1])
    if rate is not None:
        return np.arange(-math.floor(lead * rate), math.floor(end * rate) + 1) / rate
    step = float(np.median(np.diff(own)))
    before = -step * np.arange(math.floor(lead / step), 0, -1)
    return np.append(before + own[0], own[own <= end])


def _ground(mission: Mission, asked: list[str]) -> dict[str, float]:
    ground = {"pressure": float(air_over(mission, mission.site.altitude)[0].pressure)} if "pressure" in asked else {}
    if "latitude" in asked:
        ground |= {"latitude": mission.site.latitude, "longitude": mission.site.longitude}
    return ground | ({"altitude": mission.site.altitude} if "altitude" in asked else {})


def _at(flight: xr.Dataset, values: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Return values (rows, parts) of the flight at times; before ignition as it stands then."""
    own = flight["time"].values
    return np.column_stack([np.interp(time, own, values[:, k]) for k in range(values.shape[1])])


def _sensed(flight: xr.Dataset, names: tuple[str, ...]) -> np.ndarray:
    return flight["sensed"].sel(reading=list(names)).transpose("time", "reading").values


def _values(flight: xr.Dataset, mission: Mission, name: str, time: np.ndarray, place) -> np.ndarray:
    """Return a reading in SI and body axes (rows, parts)."""
    if name in ("pressure", "latitude", "longitude", "altitude"):
        return _of_place(flight, mission, name, time)
    if name in _WHOLE:
        return flight[name].sel(time=np.maximum(time, flight["time"].values[0]), method="pad").values[:, None].astype(float)
    if name == "tilt":
        return _at(flight, flight["tilt"].values[:, None], time)
    values = _sensed(flight, _SENSED[name])
    if name == "specific_force" and place is not None:
        values = values + _by_place(flight, place)
    out = _at(flight, values, time)
    if name == "attitude":
        out /= np.linalg.norm(out, axis=1)[:, None]
    rest = time < flight["time"].values[0] + 1e-9
    if name == "specific_force":  # at rest on the rail it is gravity's reaction, whatever the first row says
        out[rest] = on_the_rail(mission.rail.elevation, mission.rail.azimuth) @ np.array(
            [0.0, 0.0, float(normal_gravity(mission.site.latitude, mission.site.altitude))]
        )
    return out


def _by_place(flight: xr.Dataset, place: tuple[float, float, float]) -> np.ndarray:
    """Return what an accelerometer reads more than the centre of mass feels: dw/dt x r + w x (w x r), body axes (rows, 3)."""
    rate = flight["body_rate"].values
    arm = np.column_stack([flight["cg"].values - place[0], np.full(len(rate), place[1]), np.full(len(rate), place[2])])
    change = np.gradient(rate, flight["time"].values, axis=0)
    return np.cross(change, arm) + np.cross(rate, np.cross(rate, arm))


def _of_place(flight: xr.Dataset, mission: Mission, name: str, time: np.ndarray) -> np.ndarray:
    if name == "pressure":
        height = _at(flight, _sensed(flight, ("baro_height",)), time)[:, 0]
        return air_over(mission, mission.site.altitude + height)[0].pressure[:, None]
    east, north, up = _at(flight, _sensed(flight, ("fix_east", "fix_north", "fix_height")), time).T
    if name == "altitude":
        return (mission.site.altitude + up)[:, None]
    return np.radians(place_on_earth(mission.site, east, north, up)[0 if name == "latitude" else 1])[:, None]


def _column_table(name: str, unit: str, axes: str, place, table: dict[str, np.ndarray], values: np.ndarray) -> dict[str, Any]:
    """Write a reading's columns into the table, in its unit, and return its table of the map."""
    si = KNOWN[name].unit
    unit = unit or {"latitude": "deg", "longitude": "deg"}.get(name, "")
    written = values
    if unit:
        try:
            convert = converter(spelled(unit, si), si)
        except QuantityError as error:
            raise ValueError(f"log_of: the unit {shown(unit)} of {name}: {error}") from None
        zero = convert(0.0)
        written = (values - zero) / (convert(1.0) - zero)
    heads = [f"{head} ({unit})" if unit else head for head in HEADS[name]]
    table.update({head: written[:, k] for k, head in enumerate(heads)})
    found: dict[str, Any] = {"column": heads[0]} if len(heads) == 1 else {"columns": heads}
    found |= {"unit": unit} if unit else {}
    found |= {"axes": axes} if name in ("specific_force", "body_rate", "magnetic_field") else {}
    if name == "specific_force" and place is not None:
        found |= {"station": place[0], "off_axis": [place[1], place[2]]}
    return found


def _write(path: Path, frame: pd.DataFrame, columns: dict[str, Any], overwrite: bool) -> None:
    beside = path.with_name(f"{path.name}.toml")
    for one in (path, beside):
        if one.exists() and not overwrite:
            raise FileExistsError(f"{one} exists; give overwrite=True to replace it")
    frame.to_csv(path, index=False)
    beside.write_text(tomli_w.dumps(columns))

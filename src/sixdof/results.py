"""The registry of every variable a result may hold, and the one place that turns kernel arrays into Datasets."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof._jit import source_hash
from sixdof.autopilot.build import canopies
from sixdof.core import layout
from sixdof.mission.schema import Mission
from sixdof.status import Status


@dataclass(frozen=True)
class Variable:
    """One variable of a result: its dims in a single flight (an ensemble puts `flight` in front), unit and meaning."""

    name: str
    dims: tuple[str, ...]
    units: str
    long_name: str
    columns: tuple[str, ...] = ()  # columns of the log it is made of, one for each step of its last dim


def _log(name, units, long_name, *columns):
    dims = ("time",) if len(columns) < 2 else ("time", "quaternion" if len(columns) == 4 else "axis")
    return Variable(name, dims, units, long_name, columns or (name,))


TIMELINE = (
    _log("phase", "1", "phase: 0 held, 1 on the rail, 2 pivoting, 3 free, 4 under a canopy, 5 landed"),
    _log("east", "m", "position east of the rail"),
    _log("north", "m", "position north of the rail"),
    _log("height", "m", "height above ground"),
    _log("velocity", "m/s", "velocity over the ground: east, north, up", "velocity_east", "velocity_north", "velocity_up"),
    _log("attitude", "1", "attitude quaternion, body to east-north-up, scalar first", "q_w", "q_x", "q_y", "q_z"),
    _log("body_rate", "rad/s", "body rate against inertial space, body axes", "rate_x", "rate_y", "rate_z"),
    _log("tilt_pitch", "rad", "tilt, nose leans downrange"),
    _log("tilt_yaw", "rad", "tilt, nose leans right of the launch azimuth"),
    _log("roll", "rad", "roll angle"),
    _log("tilt", "rad", "angle of the nose from the vertical"),
    _log("goal_pitch", "rad", "commanded tilt downrange"),
    _log("goal_yaw", "rad", "commanded tilt to the right"),
    _log("goal_roll", "rad", "commanded roll angle"),
    _log("tilt_error", "rad", "angle between the nose and its commanded direction"),
    _log("air_speed", "m/s", "speed through the air"),
    _log("mach", "1", "Mach number"),
    _log("dynamic_pressure", "Pa", "dynamic pressure"),
    _log("incidence", "rad", "incidence (body axis against the flow)"),
    _log("incidence_pitch", "rad", "incidence in the body's x-z plane"),
    _log("incidence_yaw", "rad", "incidence in the body's x-y plane"),
    _log("static_margin", "1", "static margin, calibres"),
    _log("thrust", "N", "thrust at the reference pressure"),
    _log("mass", "kg", "mass"),
    _log("cg", "m", "station of the centre of mass, aft from the nose tip"),
    _log("specific_force", "m/s^2", "specific force, body axes (what an accelerometer reads)", "force_x", "force_y", "force_z"),
    _log("wind_east", "m/s", "wind towards east"),
    _log("wind_north", "m/s", "wind towards north"),
    _log("drag_area", "m^2", "drag area of open canopies and hanging airframe"),
    _log("guidance_mode", "1", "guidance: 0 profile, 1 waypoints, 2 hold"),
    _log("waypoint", "1", "number of the current waypoint, from 0"),
    _log("estimated_east", "m", "estimated position east of the rail"),
    _log("estimated_north", "m", "estimated position north of the rail"),
    _log("estimated_height", "m", "estimated height above ground"),
    _log("estimated_attitude", "1", "estimated attitude quaternion, body to east-north-up, scalar first",
         "estimated_q_w", "estimated_q_x", "estimated_q_y", "estimated_q_z"),
    _log("attitude_error", "rad", "error of the estimated attitude"),
    _log("position_error", "m", "error of the estimated position"),
    _log("velocity_error", "m/s", "error of the estimated velocity"),
    _log("roll_demand", "rad", "roll demand of the control law"),
    _log("pitch_demand", "rad", "pitch demand of the control law"),
    _log("yaw_demand", "rad", "yaw demand of the control law"),
)  # fmt: skip

FIN = (
    Variable("fin_angle", ("time", "fin"), "rad", "fin angle"),
    Variable("fin_command", ("time", "fin"), "rad", "commanded fin angle"),
    Variable("hinge_moment", ("time", "fin"), "N m", "moment of the air about the fin's hinge line, positive where it drives the angle up"),
)

_EVENT_UNITS = {
    "time": ("s", "time since ignition"), "east": ("m", "position east of the rail"),
    "north": ("m", "position north of the rail"), "height": ("m", "height above ground"),
    "velocity_east": ("m/s", "velocity east"), "velocity_north": ("m/s", "velocity north"), "velocity_up": ("m/s", "climb rate"),
    "air_speed": ("m/s", "speed through the air"), "mach": ("1", "Mach number"),
    "dynamic_pressure": ("Pa", "dynamic pressure"), "tilt": ("rad", "angle of the nose from the vertical"),
    "incidence": ("rad", "incidence"), "static_margin": ("1", "static margin, calibres"),
}  # fmt: skip
EVENT = tuple(
    Variable(f"event_{name}", ("event",), units, f"{text} at the event") for name, (units, text) in _EVENT_UNITS.items()
)

_OUTCOMES = {
    "apogee": ("m", "apogee above ground"),
    "apogee_time": ("s", "time of apogee since ignition"),
    "apogee_east": ("m", "apogee, distance east of the rail"),
    "apogee_north": ("m", "apogee, distance north of the rail"),
    "rail_departure_speed": ("m/s", "speed as the aft guide leaves the rail"),
    "rail_departure_incidence": ("rad", "incidence as the aft guide leaves the rail"),
    "rail_departure_margin": ("1", "static margin as the aft guide leaves the rail, calibres"),
    "burnout_speed": ("m/s", "airspeed at burnout"),
    "burnout_height": ("m", "height above ground at burnout"),
    "max_speed": ("m/s", "largest airspeed"),
    "max_mach": ("1", "largest Mach number"),
    "max_dynamic_pressure": ("Pa", "largest dynamic pressure"),
    "max_force": ("m/s^2", "largest specific force in free flight"),
    "max_incidence": ("rad", "largest incidence while climbing faster than 20 m/s through the air"),
    "max_tilt": ("rad", "largest tilt from the vertical while climbing faster than 20 m/s through the air"),
    "tilt_error_rms": ("rad", "root mean square of the tilt error while the fins are live"),
    "tilt_error_max": ("rad", "largest tilt error while the fins are live"),
    "roll_error_max": ("rad", "largest roll error while the fins are live"),
    "saturation_share": ("1", "share of ticks with live fins at which a fin was commanded to its stop"),
    "min_static_margin": ("1", "smallest static margin while climbing faster than 20 m/s, calibres"),
    "landing_east": ("m", "landing place east of the rail"),
    "landing_north": ("m", "landing place north of the rail"),
    "landing_speed": ("m/s", "speed over the ground at landing"),
    "flight_time": ("s", "time from ignition to the end of the flight"),
    "time_above_mach_08": ("s", "time above Mach 0.8, where the aerodynamic model is less sure"),
    "time_beyond_incidence": ("s", "time climbing beyond 15 deg incidence, where the aerodynamic model is less sure"),
    "opening_speed": ("m/s", "airspeed as the first canopy opens"),
    "time_transonic": ("s", "time between Mach 0.8 and 1.2, where the tables are a bridge between theories"),
    "time_stalled": ("s", "time climbing with a stalled fin"),
    "time_beyond_reynolds": ("s", "time climbing at a Reynolds number on length outside 5e5 to 1e8"),
    "hinge_moment_max": ("N m", "largest moment of the air about a control fin's hinge line in the climb"),
    "tilt_error_boost_rms": ("rad", "root mean square of the tilt error while the fins are live, up to burnout"),
    "tilt_error_coast_rms": ("rad", "root mean square of the tilt error while the fins are live, after burnout"),
    "roll_error_rms": ("rad", "root mean square of the roll error while the fins are live"),
    "rate_reversals": ("1", "changes of sign of pitch and yaw rate while the fins are live"),
    "rate_limit_share": ("1", "share of the servos' time at their rate limit while the fins are live"),
    "servo_travel": ("rad", "way of all fins together while live"),
    "servo_energy": ("J", "work of all fins against the air while live"),
    "attitude_error_max": ("rad", "largest error of the estimated attitude in the climb"),
    "position_error_max": ("m", "largest error of the estimated position in the climb"),
    "velocity_error_max": ("m/s", "largest error of the estimated velocity in the climb"),
    "load_factor_max": ("1", "largest specific force across the axis in the climb, over standard gravity"),
    "waypoints_captured": ("1", "waypoints flown through within their radius"),
    "waypoint_miss_max": ("m", "largest miss distance of the waypoints flown to"),
}
OUTCOME = tuple(Variable(name, (), units, text) for name, (units, text) in _OUTCOMES.items())
WAYPOINT = (
    Variable("waypoint_time", ("waypoint_number",), "s", "time at which a waypoint was captured, passed or given up"),
    Variable("waypoint_miss", ("waypoint_number",), "m", "miss distance of a waypoint"),
)
STATUS = Variable("status", (), "1", "how the flight ended")
REGISTRY = {v.name: v for v in (*TIMELINE, *FIN, *EVENT, *OUTCOME, *WAYPOINT, STATUS)}
TRACK = ("phase", "east", "north", "height", "tilt", "mach", "air_speed")  # what an ensemble keeps of the timeline

assert tuple(_OUTCOMES) == layout.SUMMARY and tuple(_EVENT_UNITS) == layout.EVENT_COLUMNS


def library_version() -> str:
    """Return the installed version of sixdof."""
    try:
        return version("sixdof")
    except PackageNotFoundError:  # run from a source tree
        return "unpackaged"


def attributes(mission: Mission, **more) -> dict:
    """Return the attributes of a result: enough to know what made it and to fly it again."""
    return {
        "Conventions": "CF-1.11",
        "title": mission.title,
        "source": f"sixdof {library_version()}, kernels {source_hash()}",
        "history": f"{datetime.datetime.now(datetime.timezone.utc):%Y-%m-%dT%H:%M:%SZ} flown",
        "mission": mission.to_toml(),
        **more,
    }


def _described(variable: Variable, dims, values):
    attrs = {"long_name": variable.long_name}
    if variable is STATUS:
        attrs["flag_values"] = np.array([int(s) for s in Status], dtype=np.int8)
        attrs["flag_meanings"] = " ".join(s.name.lower() for s in Status)
        values = np.asarray(values, dtype=np.int8)
    else:
        attrs["units"] = variable.units
    return dims, values, attrs


def event_names(mission: Mission) -> list[str]:
    """Return the names along the `event` dim: the usual events, then the opening of every canopy."""
    return [*layout.EVENTS, *(f"open {canopy.name}" for canopy in canopies(mission))]


def track_columns() -> list[int]:
    """Return the columns of the log that the track of an ensemble keeps: time, then those of TRACK."""
    return [layout.LOG.index(name) for name in ("time", *TRACK)]


def _timeline(log: np.ndarray, variables, lead: tuple[str, ...], names=layout.LOG):
    """Return the Dataset entries of a log (..., rows, columns named `names`); `lead` replaces the dim `time`."""
    entries = {}
    for v in variables:
        columns = [names.index(name) for name in v.columns]
        values = log[..., columns[0]] if len(columns) == 1 else log[..., columns]
        entries[v.name] = _described(v, (*lead, *v.dims[1:]), np.ascontiguousarray(values))
    return entries


def flight_dataset(mission: Mission, log, events, summary, passed, status, **attrs) -> xr.Dataset:
    """Return the Dataset of one flight from the kernel's arrays (see core.flight.fly)."""
    fins = (log.shape[1] - layout.LOG_COLUMNS) // 3
    entries = _timeline(log, TIMELINE, ("time",))
    first = layout.LOG_COLUMNS
    for i, v in enumerate(FIN):
        entries[v.name] = _described(v, v.dims, log[:, first + i * fins : first + (i + 1) * fins].copy())
    entries |= {v.name: _described(v, v.dims, events[:, i].copy()) for i, v in enumerate(EVENT)}
    entries |= {v.name: _described(v, (), float(summary[i])) for i, v in enumerate(OUTCOME)}
    entries |= {v.name: _described(v, v.dims, passed[:, i].copy()) for i, v in enumerate(WAYPOINT)}
    entries["status"] = _described(STATUS, (), int(status))
    coords = {
        "time": ("time", log[:, 0].copy(), {"units": "s", "long_name": "time since ignition"}),
        "axis": ("axis", ["x", "y", "z"], {"long_name": "axis: east, north, up or body x, y, z"}),
        "quaternion": ("quaternion", ["w", "x", "y", "z"], {"long_name": "quaternion part"}),
        "fin": ("fin", np.arange(1, fins + 1), {"long_name": "number of the control fin"}),
        "event": ("event", event_names(mission), {"long_name": "event"}),
        "waypoint_number": _waypoint_numbers(passed.shape[0]),
    }
    return xr.Dataset(entries, coords, attributes(mission, **attrs))


def _waypoint_numbers(count: int):
    return "waypoint_number", np.arange(count), {"long_name": "number of the waypoint, from 0"}


def ensemble_dataset(mission: Mission, draws: xr.Dataset, track, events, summary, passed, status, **attrs) -> xr.Dataset:
    """Return the Dataset of an ensemble: the names of a single flight with `flight` in front, and the drawn inputs.

    track : (flights, points, 1 + TRACK) rows picked from the log of each flight, `track_columns` of it; NaN past its end.
    """
    entries = {v.name: _described(v, ("flight",), summary[:, i].copy()) for i, v in enumerate(OUTCOME)}
    entries["status"] = _described(STATUS, ("flight",), status)
    entries |= {v.name: _described(v, ("flight", *v.dims), events[:, :, i].copy()) for i, v in enumerate(EVENT)}
    entries |= {v.name: _described(v, ("flight", *v.dims), passed[:, :, i].copy()) for i, v in enumerate(WAYPOINT)}
    if track.shape[1]:
        chosen = [REGISTRY[name] for name in TRACK]
        entries |= _timeline(track, chosen, ("flight", "point"), ("time", *TRACK))
        time_attrs = {"units": "s", "long_name": "time since ignition"}
        entries["time"] = (("flight", "point"), track[..., 0].copy(), time_attrs)
    for name, values in draws.data_vars.items():
        entries[input_name(name)] = (values.dims, values.values, {**values.attrs, "disperses": name})
    coords = {
        "flight": ("flight", draws["flight"].values, {"long_name": "number of the flight"}),
        "event": ("event", event_names(mission), {"long_name": "event"}),
        "waypoint_number": _waypoint_numbers(passed.shape[1]),
    }
    if "fin" in draws.coords:
        coords["fin"] = ("fin", draws["fin"].values, dict(draws["fin"].attrs))
    return xr.Dataset(entries, coords, attributes(mission, **attrs))


def input_name(dispersible: str) -> str:
    """Return the variable that holds the draws of a dispersible ("wind.speed" -> "wind_speed")."""
    return dispersible.replace(".", "_")


def save(ds: xr.Dataset, path: str | Path, *, overwrite: bool = False) -> Path:
    """Write a result as netCDF-4 and return its path. The file appears only when it is complete.

    Raises
    ------
    FileExistsError
        If the path exists and overwrite is not set.
    """
    path = check_path(path, overwrite=overwrite)
    partial = path.with_name(path.name + ".partial")
    encoding = {name: {"zlib": True, "complevel": 1} for name, v in ds.variables.items() if v.dtype.kind == "f" and v.ndim}
    ds.to_netcdf(partial, format="NETCDF4", engine="netcdf4", encoding=encoding)
    partial.replace(path)
    return path


def check_path(path: str | Path, *, overwrite: bool = False) -> Path:
    """Return `path` if a result may be written there; long work asks this before it begins.

    Raises
    ------
    FileExistsError, FileNotFoundError
        If the file exists and overwrite is not set, or its folder does not exist.
    """
    path = Path(path)
    if path.is_dir():
        raise FileExistsError(f"{path} is a folder; give the name of a file in it, such as {path / 'flights.nc'}")
    if path.exists() and not overwrite:
        raise FileExistsError(f"{path} exists; choose another name, or pass overwrite=True to replace it")
    if not path.parent.is_dir():
        raise FileNotFoundError(f"the folder {path.parent} for {path.name} does not exist; make it first")
    return path


def open_result(path: str | Path) -> xr.Dataset:
    """Return a result read from disk, complete in memory."""
    return xr.load_dataset(path, engine="netcdf4")

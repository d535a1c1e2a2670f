"""How well one flight was controlled, from its log: errors, oscillation, limits, servos, waypoints, estimate; by phase."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.page import table
from sixdof.study.probes.columns import G0
from sixdof.study.reading.oscillation import NONE, reversals, strongest_oscillation
from sixdof.study.reading.result import event_values, mission_of, need_flight, with_empty

PHASES = ("live", "boost", "coast")
CHANNELS = ("pitch", "yaw", "roll")
RATE_AXIS = {"pitch": "y", "yaw": "z", "roll": "x"}
QUIET = 0.02  # rad/s: a body rate must pass it on the other side to count as a crossing
FLOW_SPEED = 20.0  # m/s: as the outcomes of a flight
AT_STOP = 1.0 - 1e-9  # of the travel
AT_RATE = 0.95  # of the rate limit: a log's step spans a few ticks, of which the first and last may be slower
_NEEDS = (
    "tilt_pitch",
    "tilt_yaw",
    "roll",
    "commanded_pitch",
    "commanded_yaw",
    "commanded_roll",
    "tilt_error",
    "airspeed",
    "body_rate",
    "fin_angle",
    "fin_command",
    "hinge_moment",
    "attitude_error",
    "position_error",
    "velocity_error",
    "specific_force",
    "waypoint_miss",
    "event_time",
)


def control_metrics(ds: xr.Dataset) -> xr.Dataset:
    """Return what one flight's log says about its control.

    Phases: "live" (fins live, climbing, above 20 m/s airspeed, below which fins are idle), and its parts while a motor burns, "boost", and
    while none does, "coast". A phase that did not
    happen is NaN. Errors are angles between the commanded attitude and the true one; `frequency` and `damping` are those of the strongest oscillation of a
    body rate, NaN where there is none; a true miss is measured from the truth, `waypoint_miss` from what the computer believed.

    Returns
    -------
    Dataset
        Dims phase, channel, fin, waypoint_number; every variable has units and long_name.

    Raises
    ------
    ValueError
        For an ensemble, or a result without the timeline.

    Examples
    --------
    >>> metrics = sixdof.loops.control_metrics(flight)
    >>> [str(phase) for phase in metrics.phase.values]
    ['live', 'boost', 'coast']
    """
    need_flight(ds, "control_metrics")
    ds = with_empty(ds)
    need_flight(ds, "control_metrics", *_NEEDS)
    mission = mission_of(ds, "control_metrics")
    parts = [ds.isel(time=_rows(ds, phase)) for phase in PHASES]
    entries = {}
    for name, units, text, dims, function in _METRICS:
        values = np.array([function(part, mission) for part in parts], dtype=float)
        entries[name] = (("phase", *dims), values, {"units": units, "long_name": text})
    waves = np.array([[_oscillation(part, channel) for channel in CHANNELS] for part in parts])
    for i, (name, units, text) in enumerate(_OSCILLATION):
        entries[name] = (("phase", "channel"), waves[..., i], {"units": units, "long_name": text})
    entries |= _waypoints(ds, mission)
    coords = {"phase": ("phase", list(PHASES)), "channel": ("channel", list(CHANNELS)), "fin": ds["fin"]}
    return xr.Dataset(entries, coords, {"title": ds.attrs.get("title", "")})


def _rows(ds: xr.Dataset, phase: str) -> np.ndarray:
    """Return which rows of the timeline belong to a phase, bool (time,)."""
    start, stop, apogee = (float(event_values(ds, name)[0]) for name in ("fins_enabled", "fins_disabled", "apogee"))
    time = ds["time"].values
    rows = (time >= start) & ~(time > stop) & ~(time > apogee)  # a comparison with NaN is false
    rows &= ds["airspeed"].values > FLOW_SPEED
    if phase == "boost":
        rows &= _burning(ds)
    elif phase == "coast":
        rows &= ~_burning(ds)
    return rows


def _burning(ds: xr.Dataset) -> np.ndarray:
    """Return in which rows of the timeline a motor of the front body burns, bool (time,): the one lit on the rail, then each upper stage's."""
    time = ds["time"].values
    burning = ~(time > float(event_values(ds, "burnout")[0]))  # a comparison with NaN is false: not burnt out within the flight
    for event in ds["event"].values:
        if str(event).startswith("ignition "):
            lit, out = (float(event_values(ds, name)[0]) for name in (str(event), str(event).replace("ignition", "burnout", 1)))
            burning |= (time >= lit) & ~(time > out)
    return burning


# ---------------------------------------------------------------- one number a phase


def _rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if values.size else math.nan


def _peak(values) -> float:
    return float(np.abs(values).max()) if values.size else math.nan


def channel_error(ds: xr.Dataset, channel: str) -> np.ndarray:
    """Return commanded minus true value of one channel's angle, rad, wrapped to +-pi, (time,)."""
    name = "roll" if channel == "roll" else f"tilt_{channel}"
    return np.mod(ds[f"commanded_{channel}"].values - ds[name].values + math.pi, 2.0 * math.pi) - math.pi


def _of_channels(function):
    return lambda part, mission: [function(part, channel) for channel in CHANNELS]


def _rate(part, channel):
    return part["body_rate"].sel(axis=RATE_AXIS[channel]).values


def _reversals(part, channel) -> float:
    return reversals(_rate(part, channel), QUIET) if part.sizes["time"] else math.nan


def _oscillation(part, channel):
    """Return frequency and damping ratio of a body rate's strongest oscillation, NaN for a rate that is as good as none."""
    rate = _rate(part, channel)
    if rate.size < 2 or np.abs(rate).max() < QUIET:
        return NONE[:2]
    return strongest_oscillation(rate, float(np.median(np.diff(part["time"].values))))[:2]


def _saturation(part, mission: Mission) -> float:
    if not part.sizes["time"] or not part.sizes["fin"]:
        return math.nan
    largest = np.fmax.reduce(np.abs(part["fin_command"].values), axis=1)  # NaN: fins of a stage that has gone
    return float((largest >= AT_STOP * mission.servo.deflection_limit).mean())


def _moves(part):
    """Return the way of every fin between rows (rows - 1, fin), rad, and the time between them."""
    return np.abs(np.diff(part["fin_angle"].values, axis=0)), np.diff(part["time"].values)[:, None]


def _at_rate(part, mission: Mission) -> float:
    moved, step = _moves(part)
    there = np.isfinite(moved)
    return float((moved > AT_RATE * mission.servo.rate_limit * step)[there].mean()) if there.any() else math.nan


def _travel(part, mission) -> np.ndarray:
    moved, _ = _moves(part)
    return np.nansum(moved, axis=0) if part.sizes["time"] else np.full(part.sizes["fin"], math.nan)


def _energy(part, mission) -> np.ndarray:
    moved, _ = _moves(part)
    moment = np.abs(part["hinge_moment"].values)
    work = moved * 0.5 * (moment[1:] + moment[:-1])
    return np.nansum(work, axis=0) if part.sizes["time"] else np.full(part.sizes["fin"], math.nan)


def _load(part, mission) -> float:
    across = part["specific_force"].sel(axis=["y", "z"]).values
    return _peak(np.hypot(*across.T)) / G0


def _both(name, units, text, read):
    """Return the root mean square and the peak of one signal."""
    return (
        (f"{name}_rms", units, f"{text}, root mean square", (), lambda part, mission: _rms(read(part))),
        (f"{name}_peak", units, f"{text}, largest", (), lambda part, mission: _peak(read(part))),
    )


_METRICS = (
    ("duration", "s", "duration", (), lambda part, mission: float(np.ptp(part["time"].values)) if part.sizes["time"] else math.nan),
    *_both("tilt_error", "rad", "angle between the nose and its commanded direction", lambda part: part["tilt_error"].values),
    ("error_rms", "rad", "attitude error, root mean square", ("channel",), _of_channels(lambda p, c: _rms(channel_error(p, c)))),
    ("error_peak", "rad", "attitude error, largest", ("channel",), _of_channels(lambda p, c: _peak(channel_error(p, c)))),
    ("rate_rms", "rad/s", "body rate, root mean square", ("channel",), _of_channels(lambda p, c: _rms(_rate(p, c)))),
    ("reversals", "1", "changes of sign of the body rate", ("channel",), _of_channels(_reversals)),
    ("saturation_share", "1", "share of the time with a fin commanded to its stop", (), _saturation),
    ("rate_limit_share", "1", "share of the servos' time at their rate limit", (), _at_rate),
    ("fin_travel", "rad", "total travel of a fin", ("fin",), _travel),
    ("servo_energy", "J", "work of a fin against the air", ("fin",), _energy),
    ("load_factor_peak", "1", "largest specific force across the axis, over standard gravity", (), _load),
    *_both("attitude_error", "rad", "error of the estimated attitude", lambda part: part["attitude_error"].values),
    *_both("position_error", "m", "error of the estimated position", lambda part: part["position_error"].values),
    *_both("velocity_error", "m/s", "error of the estimated velocity", lambda part: part["velocity_error"].values),
)
_OSCILLATION = (
    ("frequency", "Hz", "frequency of the strongest oscillation of the body rate"),
    ("damping", "1", "damping ratio of the strongest oscillation of the body rate"),
)


# ---------------------------------------------------------------- waypoints


def closest_approach(path: np.ndarray, time: np.ndarray, point) -> tuple[float, float]:
    """Return (distance, time) of the closest approach of a path of straight lines (n, 3) to a point; NaN for no path."""
    if len(path) < 2:
        return math.nan, math.nan
    start, way = path[:-1], np.diff(path, axis=0)
    length2 = np.maximum((way * way).sum(axis=1), 1e-300)
    share = np.clip(((np.asarray(point) - start) * way).sum(axis=1) / length2, 0.0, 1.0)
    distance = np.linalg.norm(start + share[:, None] * way - point, axis=1)
    k = int(distance.argmin())
    return float(distance[k]), float(time[k] + share[k] * (time[k + 1] - time[k]))


def _waypoints(ds: xr.Dataset, mission: Mission) -> dict:
    points = mission.guidance.waypoint
    path = np.stack([ds[name].values for name in ("east", "north", "height")], axis=1)
    up = ~(ds["time"].values > float(event_values(ds, "apogee")[0]))
    found = [closest_approach(path[up], ds["time"].values[up], (p.east, p.north, p.height)) for p in points]
    table = np.array(found, dtype=float).reshape(-1, 2)
    dims = ("waypoint_number",)
    return {
        "waypoint_radius": (dims, [p.radius for p in points], {"units": "m", "long_name": "capture radius"}),
        "waypoint_true_miss": (dims, table[:, 0], {"units": "m", "long_name": "closest approach in truth, in the climb"}),
        "waypoint_true_time": (dims, table[:, 1], {"units": "s", "long_name": "time of the closest approach in truth"}),
        "waypoint_miss": (dims, ds["waypoint_miss"].values, dict(ds["waypoint_miss"].attrs)),
        "waypoint_time": (dims, ds["waypoint_time"].values, dict(ds["waypoint_time"].attrs)),
    }


# ---------------------------------------------------------------- as text

_DEG = math.degrees(1.0)
_LINES = (
    ("duration", "duration", "s", 2, 1.0),
    ("tilt_error_rms", "tilt error, root mean square", "deg", 2, _DEG),
    ("tilt_error_peak", "tilt error, largest", "deg", 2, _DEG),
    ("saturation_share", "time with a fin at its stop", "%", 1, 100.0),
    ("rate_limit_share", "servos' time at their rate limit", "%", 1, 100.0),
    ("load_factor_peak", "largest load across the axis", "g", 2, 1.0),
    ("attitude_error_rms", "error of the estimated attitude", "deg", 2, _DEG),
    ("position_error_rms", "error of the estimated position", "m", 2, 1.0),
    ("velocity_error_rms", "error of the estimated velocity", "m/s", 2, 1.0),
)
_CHANNEL_LINES = (
    ("error_rms", "error, root mean square", "deg", 2, _DEG),
    ("error_peak", "error, largest", "deg", 2, _DEG),
    ("reversals", "changes of sign of the rate", "", 0, 1.0),
    ("frequency", "frequency", "Hz", 2, 1.0),
    ("damping", "damping ratio", "", 2, 1.0),
)


def control_report(ds: xr.Dataset) -> str:
    """Return `control_metrics` of one flight as a page of text; "-" where there is no value. Raises ValueError as that does."""
    found = control_metrics(ds)
    title = found.attrs["title"] or "untitled"
    lines = [title, "how it was controlled, from the log of one flight", ""]
    if not np.isfinite(found["duration"].sel(phase="live")):
        return "\n".join([*lines, "the fins were never live: there is nothing to judge"])
    sections = {"": [["", "", *PHASES], *(_row(found[name], *how) for name, *how in _LINES)]}
    for channel in CHANNELS:
        sections[channel] = [_row(found[name].sel(channel=channel), *how) for name, *how in _CHANNEL_LINES]
    sections["servos, all fins together"] = [
        _row(found["fin_travel"].sum("fin", min_count=1), "total fin travel", "deg", 0, _DEG),
        _row(found["servo_energy"].sum("fin", min_count=1), "work against the air", "mJ", 1, 1e3),
    ]
    rows = iter(table([row for section in sections.values() for row in section], words=2))
    for heading, section in sections.items():
        lines += [*([heading] if heading else []), *(next(rows) for _ in section)]
    return "\n".join([*lines, *_waypoint_lines(found)])


def _row(values, label, unit, decimals, factor) -> list[str]:
    return [label, unit, *(f"{v * factor:.{decimals}f}" if math.isfinite(v) else "-" for v in values.values)]


def _waypoint_lines(found) -> list[str]:
    lines = []
    for k in range(found.sizes["waypoint_number"]):
        radius, miss, time, believed = (float(found[f"waypoint_{name}"][k]) for name in ("radius", "true_miss", "true_time", "miss"))
        told = f"{believed:.1f} m by its own estimate" if math.isfinite(believed) else "never flown to by its own account"
        verdict = "within" if miss <= radius else "outside"
        lines.append(f"  {k + 1}: passed at {miss:.1f} m after {time:.2f} s, {verdict} its radius of {radius:g} m; {told}")
    return ["waypoints", *lines] if lines else []

"""Small results written by hand, so that figures and summaries can be tested without a flight."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.results import EVENT, FIN, OUTCOME, STATUS, TIMELINE
from sixdof.status import Status

EVENTS = ("liftoff", "rail_departure", "fins_enabled", "burnout", "fins_disabled", "apogee", "landing", "open main")
EVENT_TIMES = (0.1, 0.4, 0.6, 2.0, 10.0, 10.0, 40.0, 11.0)
ROWS = 81


def flight_by_hand(mission) -> xr.Dataset:
    """A plausible arc of 40 s that drifts along the rail's azimuth; every other number is a constant."""
    time = np.linspace(0.0, 40.0, ROWS)
    height = np.where(time < 10.0, 10.0 * time * (2.0 - time / 10.0), 100.0 * (40.0 - time) / 30.0)
    azimuth = mission.rail.azimuth
    values = {
        "height": height, "east": 3.0 * time * np.sin(azimuth), "north": 3.0 * time * np.cos(azimuth),
        "phase": np.where(time > 0.1, 3.0, 0.0), "air_speed": np.full(ROWS, 30.0), "mach": np.full(ROWS, 0.09),
        "static_margin": np.full(ROWS, 2.0), "tilt_pitch": np.linspace(0.0, 0.1, ROWS), "wind_east": np.full(ROWS, 4.0),
    }  # fmt: skip
    sizes = {"time": ROWS, "axis": 3, "quaternion": 4, "fin": 4, "event": len(EVENTS)}
    ds = xr.Dataset(coords={"time": ("time", time, {"units": "s", "long_name": "time since ignition"})})
    ds = ds.assign_coords(event=list(EVENTS), fin=[1, 2, 3, 4])
    for v in (*TIMELINE, *FIN, *EVENT):
        filled = values.get(v.name, np.zeros([sizes[d] for d in v.dims]))
        ds[v.name] = (v.dims, filled, {"units": v.units, "long_name": v.long_name})
    ds["event_time"].values[:] = EVENT_TIMES
    for name in ("east", "north", "height"):
        ds[f"event_{name}"].values[:] = np.interp(EVENT_TIMES, time, ds[name].values)
    for v in OUTCOME:
        ds[v.name] = ((), 1.0, {"units": v.units, "long_name": v.long_name})
    ds["status"] = ((), np.int8(Status.LANDED), {"long_name": STATUS.long_name})
    return ds.assign_attrs(title="by hand", mission=mission.to_toml())


def ensemble_by_hand(mission, places, *, points=16) -> xr.Dataset:
    """Flights that come down at `places` (n, 2); every other outcome is spread evenly over 1 .. 2; arcs as tracks."""
    places = np.asarray(places, dtype=float)
    n = len(places)
    ds = xr.Dataset(coords={"flight": np.arange(n), "event": list(EVENTS)})
    for v in OUTCOME:
        ds[v.name] = ("flight", np.linspace(1.0, 2.0, n), {"units": v.units, "long_name": v.long_name})
    ds["landing_east"].values[:], ds["landing_north"].values[:] = places.T
    ds["status"] = ("flight", np.full(n, Status.LANDED, dtype=np.int8), {"long_name": STATUS.long_name})
    for v in EVENT:
        ds[v.name] = (("flight", *v.dims), np.ones((n, len(EVENTS))), {"units": v.units, "long_name": v.long_name})
    if points:
        share = np.linspace(0.0, 1.0, points)
        ends = np.linspace(38.0, 42.0, n)
        ds["time"] = (("flight", "point"), ends[:, None] * share, {"units": "s", "long_name": "time since ignition"})
        arc = 400.0 * share * (1.0 - share) * np.ones((n, 1))
        ds["height"] = (("flight", "point"), arc, {"units": "m", "long_name": "height above ground"})
    return ds.assign_attrs(title="by hand", mission=mission.to_toml(), seed="1")

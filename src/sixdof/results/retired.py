"""Names of result variables that an older version used, and how they are answered: with the name that stands for them now."""

from __future__ import annotations

import warnings

import xarray as xr

RETIRED = {  # outcomes, facts, columns of a flight and of its event table, readings of a flight computer
    "apogee": "apogee_height",
    "max_speed": "airspeed_max",
    "max_mach": "mach_max",
    "max_dynamic_pressure": "dynamic_pressure_max",
    "max_force": "specific_force_max",
    "max_incidence": "incidence_max",
    "max_tilt": "tilt_max",
    "min_static_margin": "static_margin_min",
    "air_speed": "airspeed",
    "event_air_speed": "event_airspeed",
    "body_speed": "body_airspeed",
    "burnout_speed": "burnout_airspeed",
    "opening_speed": "opening_airspeed",
    "deployment_speed": "deployment_airspeed",
    "stretch_speed": "line_stretch_airspeed",
    "landing_speed": "landing_ground_speed",
    "servo_travel": "fin_travel_total",
    "impact_time": "body_landing_time",
    "impact_east": "body_landing_east",
    "impact_north": "body_landing_north",
    "impact_speed": "body_landing_ground_speed",
    "impact_energy": "body_landing_energy",
    "impact_mass": "body_landing_mass",
    "impact_latitude": "body_landing_latitude",
    "impact_longitude": "body_landing_longitude",
    "parting_time": "separation_time",
    "parting_cause": "separation_cause",
    "parting_speed": "separation_speed",
    "drag_parting_time": "drag_separation_time",
    "parting_noticed": "separation_noticed",
    "part_commanded": "separation_commanded",
    "light_commanded": "ignition_commanded",
    "canopy_released": "deployment_commanded",
    "goal_pitch": "commanded_pitch",
    "goal_yaw": "commanded_yaw",
    "goal_roll": "commanded_roll",
    **{f"goal_{c}": f"commanded_{c}" for c in ("w", "x", "y", "z", "rate_x", "rate_y", "rate_z")},
    **{f"force_{c}": f"specific_force_{c}" for c in "xyz"},
}
EVENTS = {"drag_parting": "drag_separation"}
STARTS = {"event": {"open ": "deployment ", "stretch ": "line stretch "}, "rule": {"open ": "deploy "}}  # of names along a dim


def now_called(name: object) -> str:
    """Return '"apogee" is now called "apogee_height"' for a name of an older version, "" for any other."""
    return f'"{name}" is now called "{RETIRED[name]}"' if name in RETIRED else ""


def renamed(ds: xr.Dataset, path: object) -> xr.Dataset:
    """Return a result with the names of this version, with one warning where it was stored with older ones.

    path : where it was read, for the warning.
    """
    old = {name: RETIRED[name] for name in ds.data_vars if name in RETIRED and RETIRED[name] not in ds}
    if not old:
        return ds
    first = next(iter(old))
    others = f" and {len(old) - 1} more" if len(old) > 1 else ""
    warnings.warn(f'{path} was written by an older version: its "{first}" is now called "{old[first]}"{others}, and it is read with these names', stacklevel=3)
    ds = ds.rename(old)
    for dim in ("event", "rule", "reading"):
        if dim in ds.coords:
            ds = ds.assign_coords({dim: (dim, [_place_name(str(name), dim) for name in ds[dim].values], ds[dim].attrs)})
    return ds


def _place_name(name: str, dim: str) -> str:
    if dim == "reading":
        return RETIRED.get(name, name)
    name = EVENTS.get(name, name)
    old = next((start for start in STARTS[dim] if name.startswith(start)), None)
    return name if old is None else STARTS[dim][old] + name.removeprefix(old)

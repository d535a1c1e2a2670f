"""The Dataset of a flight log: variables, attributes, findings."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.logs.checks.finding import Finding, entries
from sixdof.postflight.logs.columns.names import AXES, FINS, FLAGS, KNOWN, PLACES, QUATERNION, SI_NAMES
from sixdof.postflight.logs.columns.tables import ColumnMapTables
from sixdof.postflight.logs.liftoff import Liftoff
from sixdof.postflight.logs.readings import attributes_of
from sixdof.results.dataset import source
from sixdof.world.gravity import normal_gravity

KIND = "flight log"


def log_dataset(
    time: np.ndarray,
    values: dict[str, np.ndarray],
    table: ColumnMapTables,
    when: Liftoff,
    findings: list[Finding],
    stage: str,
    mission: Mission | None,
    about: dict[str, Any],
) -> xr.Dataset:
    """Return the flight log. time : (rows,) s since liftoff. values : readings by name, SI."""
    known = [name for name in KNOWN if name in values and name not in PLACES and np.isfinite(values[name]).any()]
    if not known:
        raise ValueError("read_log: nothing of what the column map names holds a number; check the columns")
    about = dict(about)
    errors = {} if (of_height := about.pop("height_error", None)) is None else {"height": of_height}
    variables = {name: (_dims(name), values[name], _attributes(name, table, errors)) for name in known}
    if "error" in variables.get("specific_force", ({},) * 3)[2]:
        variables["specific_force"][2]["error"] = _with_lever(time, values, table)
    coords: dict[str, Any] = {"time": ("time", time, {"units": "s", "long_name": "time since liftoff"})}
    dims = {dim for name in known for dim in KNOWN[name].dims}
    if "axis" in dims:
        coords["axis"] = ("axis", np.array(AXES), {"long_name": "axis: east, north, up or body x, y, z"})
    if "quaternion" in dims:
        coords["quaternion"] = ("quaternion", np.array(QUATERNION), {"long_name": "quaternion part"})
    if "fin" in dims:
        coords["fin"] = ("fin", np.arange(1, 1 + max(values[name].shape[1] for name in known if name in FINS)), {"long_name": "number of the control fin"})
    attrs = (
        {"kind": KIND, "stage": stage, "liftoff_time": when.time, "liftoff_error": when.error, "liftoff_by": when.by, "source": source()}
        | about
        | _of_mission(mission)
    )
    attrs["column_map"] = json.dumps(table.model_dump(exclude_unset=True, mode="json"))
    return xr.Dataset(variables | entries(findings, when.time), coords, attrs)


def _dims(name: str) -> tuple[str, ...]:
    return KNOWN[name].dims


def _attributes(name: str, table: ColumnMapTables, errors: dict[str, float]) -> dict[str, Any]:
    known = KNOWN[name]
    found: dict[str, Any] = {"units": SI_NAMES.get(known.unit, known.unit), "long_name": known.long_name}
    if name in FLAGS:
        found |= {"flag_values": np.arange(len(FLAGS[name]), dtype=np.int8), "flag_meanings": " ".join(FLAGS[name])}
    if name in table.read:
        found |= attributes_of(name, table.read[name])
        y, z = table.read[name].off_axis
        if name == "specific_force" and (y or z) and "body_rate" not in table.read:  # else it was moved onto the roll axis
            found |= {"sensor_y": y, "sensor_z": z}
        return found
    made_of = {
        "height": "pressure" if "pressure" in table.read else "altitude",
        "east": "longitude",
        "north": "latitude",
        "fix_height": "altitude",
        "tilt": "attitude",
    }[name]
    of = attributes_of(made_of, table.read[made_of])
    if made_of in ("altitude", *PLACES) and "error" in of:
        errors = errors | {name: of["error"]}
    return found | {"source": of["source"]} | ({"error": errors[name]} if name in errors else {})


def _with_lever(time: np.ndarray, values: dict[str, np.ndarray], table: ColumnMapTables) -> float:
    """Return the standard deviation of the specific force, rms of the axes: the sensor's own and what the rates' error adds by the lever arm taken off.

    A central difference of white rates of deviation s scatters by s / (sqrt(2) dt); it enters two of the three axes squared (dw/dt x r of r = (0, y, z) adds
    2 r^2), and so does 2 w s of w x (w x r) about the roll axis.
    """
    one, rate = table.read["specific_force"], table.read.get("body_rate")
    own = float(attributes_of("specific_force", one)["error"])
    arm = math.hypot(*one.off_axis)
    if arm == 0.0 or rate is None or rate.error is None or "body_rate" not in values:
        return own
    spin = values["body_rate"][:, 0]
    known = time[np.isfinite(values["body_rate"]).all(axis=1)]
    if known.size < 3:
        return own
    s = float(attributes_of("body_rate", rate)["error"])
    turning = float(np.nanmean(spin**2)) if np.isfinite(spin).any() else 0.0
    added = (s * arm) ** 2 * (0.5 / float(np.median(np.diff(known))) ** 2 + 4.0 * turning)
    return math.sqrt(own**2 + 2.0 / 3.0 * added)


def _of_mission(mission: Mission | None) -> dict[str, Any]:
    """Return what the rest before launch is held against."""
    if mission is None:
        return {}
    site, rail = mission.site, mission.rail
    gravity = float(normal_gravity(site.latitude, site.altitude))
    return {"title": mission.title, "latitude": site.latitude, "gravity": gravity, "rail_elevation": rail.elevation, "rail_azimuth": rail.azimuth}


def need_log(ds: Any, who: str) -> None:
    """Raise TypeError or ValueError, in the name of `who`, for what is no flight log."""
    if not isinstance(ds, xr.Dataset):
        raise TypeError(f"{who}: log must be what sixdof.postflight.read_log returned, not {shown(ds)}")
    if ds.attrs.get("kind") != KIND or "time" not in ds.coords:
        raise ValueError(f"{who}: this is no flight log; give what sixdof.postflight.read_log returned")


def with_finding(ds: xr.Dataset, finding: Finding) -> xr.Dataset:
    """Return a log with one finding more (its times on the log's clock)."""
    liftoff = float(ds.attrs["liftoff_time"])
    more = xr.Dataset(entries([finding], liftoff))
    if "finding" not in ds:
        return ds.assign({str(name): each for name, each in more.variables.items()})
    names = [str(name) for name in more.variables]
    both = {name: xr.Variable("finding", np.concatenate([ds[name].values, more[name].values]), ds[name].attrs) for name in names}
    return ds.drop_dims("finding").assign(both)

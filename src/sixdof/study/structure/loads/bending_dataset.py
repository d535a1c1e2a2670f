"""What bends drawn flights, gathered into one Dataset."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.reading.result import QUANTILES, stays_below
from sixdof.study.structure.loads.bending_sections import joints_of, part_names
from sixdof.study.weathercock.stability import configurations
from sixdof.vehicle.geometry import shape_of

FACTOR = 1.5  # over the load expected, that a joint should carry: common practice
POINTS = 81  # stations along each configuration
SOURCES = ("air, fins at neutral", "turned fins", "motor and mass off the axis", "the rest")
WHEN = ("leaving the rail", "thrust", "coast", "fall")
_PEAK = {
    "time": ("s", "time since ignition"),
    "mach": ("1", "Mach number"),
    "incidence": ("rad", "incidence"),
    "pressure": ("Pa", "dynamic pressure"),
    "height": ("m", "height above ground"),
    "when": ("1", f"when: {', '.join(f'{k} {name}' for k, name in enumerate(WHEN))}"),
    "live": ("1", "1 with live fins"),
}


def bending_dataset(who: str, mission: Mission, seed: str, found: list) -> xr.Dataset:
    """Return the Dataset of `study.structure.loads.bending.bending`. found : (number, branch, forced, airspeed, [Bent]) of every flight."""
    if not any(bents for *_, bents in found):
        raise ValueError(f"{who}: none of {len(found)} flights leaves the rail, so there is nothing that bends")
    names = list(configurations(mission))
    order = [(stages[0], stages[-1]) for stages in configurations(mission).values()]  # the whole stack first, then what is left of it, then aft stages
    rows = [{bent.stages: bent for bent in bents} for *_, bents in found]
    forced = np.array([one[2] for one in found])
    entries = _facts(found)
    entries |= _along(rows, order, forced)
    entries |= _peaks(rows, order)
    entries |= _joints(mission, rows, forced)
    entries |= _parts(mission, rows)
    entries |= _fastest(found, rows, order, forced)
    starts = np.array(shape_of(mission.stage).stage_x0)[[stages[0] for stages in order]]
    attrs = {"units": "m", "long_name": "station of the fore end of what flies together in the whole stack, aft of the nose tip"}
    entries["configuration_start"] = ("configuration", starts, attrs)
    coords = {
        "flight": ("flight", np.arange(len(found)), {"long_name": "flight: those drawn, then those of the failures"}),
        "configuration": ("configuration", names, {"long_name": "what flies together"}),
        "share": ("share", list(QUANTILES), {"long_name": "quantile"}),
        "source": ("source", list(SOURCES), {"long_name": "what makes the bending moment"}),
        "joint": ("joint", np.array([joint.name for joint in joints_of(mission)], dtype=str), {"long_name": "joint"}),
        "part": ("part", part_names(mission), {"long_name": "part of the airframe"}),
    }
    if not joints_of(mission):
        del coords["joint"]
    attrs = {"title": mission.title, "seed": seed, "flights": int((~forced).sum()), "factor": FACTOR, "mission": mission.to_toml()}
    return xr.Dataset(entries, coords, attrs)


def _facts(found: list) -> dict:
    return {
        "draw_number": ("flight", np.array([one[0] for one in found]), {"units": "1", "long_name": "number of the draw"}),
        "branch": ("flight", np.array([one[1] for one in found], dtype=str), {"long_name": "failures of the flight, joined by +, or nominal"}),
        "forced": ("flight", np.array([int(one[2]) for one in found]), {"units": "1", "long_name": "1: a failure was made to happen"}),
        "airspeed_max": ("flight", np.array([one[3] for one in found]), {"units": "m/s", "long_name": "largest airspeed"}),
    }


def _along(rows: list[dict], order: list[tuple[int, int]], forced: np.ndarray) -> dict:
    blank = np.full(POINTS, math.nan)
    dims = ("flight", "configuration", "point")
    station = [next((row[one].station for row in rows if one in row), blank) for one in order]
    told = {
        "bending_moment": ("moment", "N m", "largest bending moment over time"),
        "shear_force": ("shear", "N", "largest shear force over time"),
        "compression": ("compression", "N", "largest axial compression over time"),
    }
    entries = {"station": (("configuration", "point"), np.array(station), {"units": "m", "long_name": "station, aft of the fore end of what flies together"})}
    for name, (field, units, meaning) in told.items():
        values = np.array([[getattr(row[one], field) if one in row else blank for one in order] for row in rows])
        entries[name] = (dims, values, {"units": units, "long_name": meaning})
    drawn = entries["bending_moment"][1][~forced]
    attrs = {"units": "N m", "long_name": "largest bending moment over time, quantiles over the drawn flights"}
    return entries | {"bending_band": (("share", "configuration", "point"), quantile(drawn), attrs)}


def quantile(rows: np.ndarray, shares=QUANTILES) -> np.ndarray:
    """Return quantiles (shares, ...) over flights (flights, ...), NaN where none has a value."""
    known = np.isfinite(rows).any(axis=0) if len(rows) else np.zeros(rows.shape[1:], dtype=bool)
    filled = np.where(known, rows, 0.0) if len(rows) else np.zeros((1, *rows.shape[1:]))
    return np.where(known, np.nanquantile(filled, shares, axis=0), np.nan)


def _peaks(rows: list[dict], order: list[tuple[int, int]]) -> dict:
    dims = ("flight", "configuration")

    def table(value) -> np.ndarray:
        return np.array([[value(row[one]) if one in row else math.nan for one in order] for row in rows], dtype=float)

    entries = {
        "moment_max": (dims, table(lambda bent: bent.moment_max), {"units": "N m", "long_name": "largest bending moment"}),
        "moment_station": (dims, table(lambda bent: bent.station_max), {"units": "m", "long_name": "station of the largest bending moment"}),
    }
    for field, (units, meaning) in _PEAK.items():
        values = table(lambda bent, field=field: getattr(bent.peak, field))
        entries[f"moment_{field}"] = (dims, values, {"units": units, "long_name": f"{meaning}, at the largest bending moment"})
    blank = np.full(len(SOURCES), math.nan)
    shares = np.array([[row[one].sources if one in row else blank for one in order] for row in rows])
    return entries | {"moment_source": ((*dims, "source"), shares, {"units": "1", "long_name": "share of the largest bending moment"})}


def _joints(mission: Mission, rows: list[dict], forced: np.ndarray) -> dict:
    joints = joints_of(mission)
    if not joints:
        return {}
    worst = [[_worst_at(row, joint.name) for joint in joints] for row in rows]
    moment = np.array([[one[0] for one in row] for row in worst])
    strength = np.array([joint.strength for joint in joints])
    dims = ("flight", "joint")
    entries = {
        "joint_moment": (dims, moment, {"units": "N m", "long_name": "largest bending moment at the joint"}),
        "joint_strength": ("joint", strength, {"units": "N m", "long_name": "bending moment that the joint carries, NaN where the mission does not say"}),
        "joint_share": (dims, moment / strength, {"units": "1", "long_name": "largest bending moment over what the joint carries"}),
        "joint_required": (
            "joint",
            np.array([FACTOR * stays_below(column, 0.95) for column in moment[~forced].T]),
            {"units": "N m", "long_name": f"bending moment that the joint should carry: {FACTOR} times the 95 % quantile (common practice)"},
        ),
        "joint_kind": ("joint", np.array([joint.kind for joint in joints]), {"long_name": "kind of the joint"}),
        "joint_stage": ("joint", np.array([joint.stage for joint in joints]), {"units": "1", "long_name": "stage behind the joint, or that it lies in"}),
        "joint_station": (
            "joint",
            np.array([_stack_station(mission, joint) for joint in joints]),
            {"units": "m", "long_name": "station of the joint in the whole stack, aft of the nose tip"},
        ),
    }
    for k, (field, (units, meaning)) in enumerate(_PEAK.items()):
        values = np.array([[one[1][k] if one[1] is not None else math.nan for one in row] for row in worst])
        entries[f"joint_{field}"] = (dims, values, {"units": units, "long_name": f"{meaning}, at the joint's largest bending moment"})
    return entries


def _worst_at(row: dict, name: str) -> tuple[float, tuple | None]:
    held = [bent.joints[name] for bent in row.values() if name in bent.joints]
    return max(held, key=lambda one: one[0]) if held else (math.nan, None)


def _stack_station(mission: Mission, joint) -> float:
    return shape_of(mission.stage).stage_x0[joint.stage] + joint.station


def _parts(mission: Mission, rows: list[dict]) -> dict:
    names = part_names(mission)
    blank = (math.nan, math.nan, False, None)
    worst = [[_worst_part(row, name) or blank for name in names] for row in rows]
    dims = ("flight", "part")
    columns = [np.array([[float(one[k]) for one in row] for row in worst]) for k in range(3)]
    peaks = {
        f"wall_{field}": (dims, np.array([[getattr(one[3], field, math.nan) for one in row] for row in worst], dtype=float), _PEAK[field])
        for field in ("time", "mach")
    }
    return {
        **{name: (d, v, {"units": units, "long_name": f"{meaning}, at the wall's largest share"}) for name, (d, v, (units, meaning)) in peaks.items()},
        "wall_share": (dims, columns[0], {"units": "1", "long_name": "largest share of what the wall carries, strength or buckling"}),
        "wall_stress": (dims, columns[1], {"units": "Pa", "long_name": "largest stress in the wall, bending and compression together"}),
        "wall_buckles": (dims, columns[2], {"units": "1", "long_name": "1: buckling is nearer than strength"}),
    }


def _worst_part(row: dict, name: str):
    held = [bent.parts[name] for bent in row.values() if name in bent.parts]
    return max(held, key=lambda one: (one[0] if math.isfinite(one[0]) else -1.0, one[1])) if held else None


def _fastest(found: list, rows: list[dict], order: list[tuple[int, int]], forced: np.ndarray) -> dict:
    speed = np.where(forced | [not row for row in rows], -1.0, [one[3] for one in found])
    number = int(np.argmax(speed))
    row = rows[number]
    history = np.concatenate([row[stages].history for stages in order if stages[0] == 0 and stages in row])
    history = history[np.argsort(history[:, 0], kind="stable")]
    blank = np.full((POINTS, 3), math.nan)
    along = np.array([row[one].at_peak if one in row else blank for one in order])
    told = {
        "history_time": ("s", "time since ignition"),
        "history_moment": ("N m", "largest bending moment along the body"),
        "history_pressure": ("Pa", "dynamic pressure"),
        "history_incidence": ("rad", "incidence"),
    }
    entries = {}
    for k, (name, (units, meaning)) in enumerate(told.items()):
        entries[name] = ("row", history[:, k], {"units": units, "long_name": f"{meaning}, fastest flight"})
    for k, (name, units) in enumerate({"along_moment": "N m", "along_shear": "N", "along_compression": "N"}.items()):
        meaning = f"{name.removeprefix('along_')} along the body at the instant of the largest moment, fastest flight"
        entries[name] = (("configuration", "point"), along[:, :, k], {"units": units, "long_name": meaning})
    return entries | {"fastest": ((), number, {"units": "1", "long_name": "the fastest of the drawn flights"})}

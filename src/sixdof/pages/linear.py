"""Pages about linear models, a map of gains, and predicted limit cycles."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import table
from sixdof.study.loops.linear import modes
from sixdof.study.loops.margins import REQUIRED_GAIN_DB, REQUIRED_PHASE, check_requirement

_DEG = math.degrees(1.0)
MOST_ROWS = 24  # of a table on a page


def _number(value: float, form: str) -> str:
    return format(value, form) if math.isfinite(value) else "-"


def models_page(models: xr.Dataset) -> str:
    """Return the open-loop modes along a flight as a table: short period of both planes, roll, what a demand does."""
    found = modes(models)
    shown = np.unique(np.linspace(0, models.sizes["point"] - 1, min(models.sizes["point"], MOST_ROWS)).round().astype(int))
    lines = [
        models.attrs.get("title", "") or "untitled",
        f"{models.sizes['point']} linear models of the flight" + (f", {len(shown)} of them shown" if len(shown) < models.sizes["point"] else ""),
        "",
        f"{'time':>8}{'Mach':>7}{'q':>9}{'short period, pitch':>24}{'short period, yaw':>24}{'roll':>9}{'turning by a demand, 1/s^2':>32}",
        f"{'s':>8}{'':>7}{'Pa':>9}" + f"{'rad/s':>12}{'damping':>12}" * 2 + f"{'s':>9}{'roll':>12}{'pitch':>10}{'yaw':>10}",
    ]
    for k in shown:
        one, at = found.isel(point=k), models.isel(point=k)
        line = f"{float(at['time']):>8.2f}{float(at['mach']):>7.3f}{float(at['dynamic_pressure']):>9.0f}"
        for plane in ("pitch", "yaw"):
            line += f"{_number(float(one['short_period_frequency'].sel(plane=plane)), '.2f'):>12}"
            line += f"{_number(float(one['short_period_damping'].sel(plane=plane)), '.3f'):>12}"
        line += f"{_number(float(one['roll_time_constant']), '.3f'):>9}"
        line += "".join(f"{float(one['effectiveness'].sel(channel=channel)):>{wide}.1f}" for channel, wide in (("roll", 12), ("pitch", 10), ("yaw", 10)))
        lines.append(line)
    unstable = int((found["divergence"] > 0.0).any("plane").sum())
    lines += ["", f"statically or dynamically unstable without control: {unstable} of {models.sizes['point']} points"]
    return "\n".join(lines)


def gain_map_page(found: xr.Dataset, *, gain_db: float = REQUIRED_GAIN_DB, phase: float = REQUIRED_PHASE) -> str:
    """Return what a map of two gains shows: how many pairs meet a requirement, and the best pair by each measure."""
    check_requirement(gain_db, phase, "report")
    dims = list(found["stable"].dims)
    met = (found["gain_margin_db"].fillna(np.inf) >= gain_db) & (found["gain_reduction_db"] >= gain_db) & (found["phase_margin"].fillna(np.inf) >= phase)
    met &= found["stable"]
    ranges = "; ".join(f"{dim} {float(found[dim].min()):g} to {float(found[dim].max()):g} ({found.sizes[dim]} values)" for dim in dims)
    lines = [found.attrs.get("title", "") or "untitled", f"gains of {found.attrs['channel']}, worst along the flight: {ranges}", ""]
    lines += [
        f"  stable: {int(found['stable'].sum())} of {met.size} pairs",
        f"  {gain_db:g} dB and {phase * _DEG:g} deg: {int(met.sum())} of {met.size} pairs",
        "",
    ]
    known = [name for name in _MEASURES if name in found and np.isfinite(found[name].values).any()]
    lines += table([["best pair by", "", *map(str, dims)], *(_best(found, name, _MEASURES[name], dims) for name in known)])
    if "interrupted" in found.attrs:
        lines += ["", f"interrupted: {found.attrs['interrupted']}"]
    return "\n".join(lines)


_MEASURES = {"distance": True, "gain_margin_db": True, "phase_margin": True, "error_rms": False, "error_max": False, "saturation_share": False}


def _best(found: xr.Dataset, name: str, largest: bool, dims: list) -> list[str]:
    values = found[name].values
    where = np.unravel_index(np.nanargmax(values) if largest else np.nanargmin(values), values.shape)
    unit = found[name].attrs.get("units", "1")
    value = values[where] * (_DEG if unit == "rad" else 1.0)
    shown = f"{value:.3g} {'deg' if unit == 'rad' else '' if unit == '1' else unit}".strip()
    gains = dict(zip(found[name].dims, where))
    return [found[name].attrs.get("long_name", name), shown, *(f"{float(found[dim][gains[dim]]):.4g}" for dim in dims)]


def cycles_page(found: xr.Dataset) -> str:
    """Return the limit cycles that describing functions predict at one point of a flight, a line each."""
    lines = [f"Predicted limit cycles of the {found.attrs['channel']} loop, point {found.attrs['point']}: {found.attrs.get('title', '')}", ""]
    if not found.sizes["cycle"]:
        return "\n".join([*lines, "  none"])
    rows = [["from", "Hz", "fin deg", "attitude deg", "rate deg/s", ""]]
    for k in range(found.sizes["cycle"]):
        one = found.isel(cycle=k)
        angles = [float(one[name]) * _DEG for name in ("fin_amplitude", "attitude_amplitude", "rate_amplitude")]
        kind = "kept up" if bool(one["stable"]) else "a bound: a larger start grows, a smaller one dies out"
        rows.append([str(one["imperfection"].values), f"{float(one['frequency']):.2f}", *(f"{angle:.3g}" for angle in angles), kind])
    return "\n".join([*lines, *table(rows, remark=True)])

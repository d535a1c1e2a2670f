"""What the rest before launch says of gyros and accelerometers: biases with their standard errors, noise densities, the lean of the rail."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.core.constants import G0
from sixdof.postflight.logs.checks.finding import Finding
from sixdof.postflight.logs.dataset import need_log, with_finding
from sixdof.world.gravity import EARTH_RATE

LEAST_REST, FEWEST = 1.0, 20  # s and readings that a rest has at least
LONGEST = 120.0  # s of it that are used: before, the vehicle was handled
BLOCK, RESTLESS = 0.5, 4.0  # s of a block, and times the quiet blocks' scatter from which one is not at rest
AHEAD = 0.1  # s before liftoff that are left out
TELLS = 2.0  # times its standard error from which a rate counts


class Still(NamedTuple):
    """One triad at rest. mean, error, density : (3,), SI; error : standard error of the mean; density : unit/sqrt(Hz). used : bool (rows,)."""

    mean: np.ndarray
    error: np.ndarray
    density: np.ndarray
    rate: float
    used: np.ndarray


def gyro_bias(log: xr.Dataset) -> xr.Dataset:
    """Return what gyros and accelerometers read at rest before launch: bias with standard error and noise density, scale against gravity, the rail's angle.

    The noise density is the Allan deviation at one sample times the root of the sample's time (IEEE Std 952-1997, annex C: the coefficient N of white
    noise); the standard error of the mean that of white noise, N/sqrt(T), or what the means of half seconds scatter by, whichever is more. With a mission
    the Earth's own turning is taken off the bias, for a gyro at rest reads it; whether it counts is said.

    Parameters
    ----------
    log : what `read_log` returned, with body_rate or specific_force for a second or more before liftoff

    Returns
    -------
    Dataset
        Along axis, of those that the log holds: bias, bias_error, noise_density, earth_rate (NaN without a mission), and rest_force, rest_force_error,
        force_noise_density; numbers force_scale (the specific force's size at rest over gravity), force_scale_error, rail_elevation (by the accelerometer,
        rad) and rail_elevation_error. Attributes: rest_start, rest_end (s since liftoff), readings, earth_counts.

    Raises
    ------
    TypeError, ValueError
        For what is no log, and one without a rest.

    Examples
    --------
    >>> table, columns = sixdof.postflight.log_of(sixdof.fly(mission), rate=100.0, lead=3.0, noise={"body_rate": 0.002})
    >>> bias = sixdof.postflight.gyro_bias(sixdof.postflight.read_log(table, columns, mission))
    >>> bool((abs(bias.bias) < 5.0 * bias.bias_error).all())
    True
    """
    need_log(log, "gyro_bias")
    found = {name: still(log, name) for name in ("body_rate", "specific_force") if name in log}
    found = {name: one for name, one in found.items() if one is not None}
    if not found:
        raise ValueError(
            f"gyro_bias: the log has no rest of {LEAST_REST:g} s with {FEWEST} readings of rates or specific force before liftoff; nothing tells a bias"
        )
    entries: dict = {}
    attrs: dict = {"kind": "rest before launch"}
    if "body_rate" in found:
        entries |= _of_gyros(log, found["body_rate"])
        error = float(np.nanmin(entries["bias_error"][1]))
        attrs["earth_counts"] = int(TELLS * error < EARTH_RATE)
    if "specific_force" in found:
        entries |= _of_accelerometers(log, found["specific_force"])
    used = next(iter(found.values())).used
    times = log["time"].values[used]
    attrs |= {"rest_start": float(times[0]), "rest_end": float(times[-1]), "readings": int(used.sum())}
    return xr.Dataset(entries, {"axis": log["axis"]}, attrs)


def still(log: xr.Dataset, name: str) -> Still | None:
    """Return what a triad reads at rest before launch, None where there is no rest."""
    time, y = log["time"].values, log[name].values
    seen = np.isfinite(y).any(axis=0)
    good = np.isfinite(y[:, seen]).all(axis=1) & (time < -AHEAD - 3.0 * float(log.attrs.get("liftoff_error", 0.0))) & (time > -LONGEST)
    used = good & _quiet(time, y[:, seen], good)
    t = time[used]
    if t.size < FEWEST or t[-1] - t[0] < LEAST_REST:
        return None
    rate = 1.0 / float(np.median(np.diff(t)))
    z = y[used][:, seen]
    steps = np.diff(z, axis=0)
    usual = np.diff(t) < 1.5 / rate
    # Allan deviation at one sample: root of half the mean square of the differences
    density = np.sqrt(0.5 * np.mean(steps[usual] ** 2, axis=0) / rate)
    error = np.fmax(density / math.sqrt(t.size / rate), _of_blocks(t, z))
    whole = np.full((3, seen.size), np.nan)
    whole[:, seen] = z.mean(axis=0), error, density
    return Still(*whole, rate, used)


def _quiet(time: np.ndarray, y: np.ndarray, good: np.ndarray) -> np.ndarray:
    """Return which rows belong to the stretch without handling that leads up to liftoff."""
    out = np.zeros(time.size, dtype=bool)
    rows = np.flatnonzero(good)
    if rows.size < FEWEST:
        return out
    block = np.floor((time[rows] - time[rows[-1]]) / BLOCK).astype(int)
    numbers = np.unique(block)
    scatter = np.array([y[rows[block == k]].std(axis=0).max() if (block == k).sum() > 2 else 0.0 for k in numbers])
    usual = float(np.median(scatter[-min(10, scatter.size) :]))
    restless = np.flatnonzero(scatter > RESTLESS * max(usual, 1e-12))
    first = numbers[restless[-1] + 1] if restless.size and restless[-1] + 1 < numbers.size else numbers[0] if not restless.size else numbers[-1]
    out[rows[block >= first]] = True
    return out


def _of_blocks(t: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Return the standard error of the mean by the scatter of the means of blocks, NaN where there are fewer than eight."""
    block = np.floor((t - t[0]) / BLOCK).astype(int)
    means = np.array([z[block == k].mean(axis=0) for k in np.unique(block)[:-1]])
    if len(means) < 8:
        return np.full(z.shape[1], np.nan)
    return means.std(axis=0, ddof=1) / math.sqrt(len(means))


def on_the_rail(elevation: float, azimuth: float) -> np.ndarray:
    """Return the matrix (3, 3) from east, north, up to the axes of a body on the rail (nose along it, no roll)."""
    s, c, sa, ca = math.sin(elevation), math.cos(elevation), math.sin(azimuth), math.cos(azimuth)
    return np.array([[c * sa, c * ca, s], [ca, -sa, 0.0], [s * sa, s * ca, -c]])


def earth_rate_on_the_rail(log: xr.Dataset) -> np.ndarray:
    """Return the Earth's turning in body axes on the rail, rad/s (3,); NaN where the log was read without a mission."""
    if "rail_elevation" not in log.attrs:
        return np.full(3, np.nan)
    latitude = log.attrs["latitude"]
    turning = EARTH_RATE * np.array([0.0, math.cos(latitude), math.sin(latitude)])
    return on_the_rail(log.attrs["rail_elevation"], log.attrs["rail_azimuth"]) @ turning


def _of_gyros(log: xr.Dataset, one: Still) -> dict:
    earth = earth_rate_on_the_rail(log)
    bias = one.mean - (earth if np.isfinite(earth).all() else 0.0)
    return {
        "bias": ("axis", bias, {"units": "rad/s", "long_name": "bias of the gyros, body axes"}),
        "bias_error": ("axis", one.error, {"units": "rad/s", "long_name": "standard error of the bias"}),
        "noise_density": ("axis", one.density, {"units": "rad/s/sqrt(Hz)", "long_name": "noise density of the gyros"}),
        "earth_rate": ("axis", earth, {"units": "rad/s", "long_name": "the Earth's turning in body axes on the rail"}),
    }


def _of_accelerometers(log: xr.Dataset, one: Still) -> dict:
    gravity = float(log.attrs.get("gravity", G0))
    size = float(np.linalg.norm(np.nan_to_num(one.mean)))
    error = float(np.sqrt(np.nansum((one.mean / size) ** 2 * one.error**2)))
    whole = bool(np.isfinite(one.mean).all())  # of one axis alone there is no angle
    lean = math.asin(float(np.clip(one.mean[0] / size, -1.0, 1.0))) if whole else math.nan
    across = float(np.sqrt((one.error[1:] ** 2).mean())) / size
    return {
        "rest_force": ("axis", one.mean, {"units": "m/s^2", "long_name": "specific force at rest, body axes"}),
        "rest_force_error": ("axis", one.error, {"units": "m/s^2", "long_name": "standard error of the specific force at rest"}),
        "force_noise_density": ("axis", one.density, {"units": "m/s^2/sqrt(Hz)", "long_name": "noise density of the accelerometers"}),
        "force_scale": ((), size / gravity, {"units": "1", "long_name": "size of the specific force at rest over gravity"}),
        "force_scale_error": ((), error / gravity, {"units": "1", "long_name": "standard error of that"}),
        "rail_elevation": ((), lean, {"units": "rad", "long_name": "angle of the body's axis above the horizontal, by the accelerometer"}),
        "rail_elevation_error": ((), across, {"units": "rad", "long_name": "standard error of that angle, of noise alone"}),
    }


def without_bias(log: xr.Dataset) -> xr.Dataset:
    """Return a log whose rates have their bias at rest taken off, with a finding that says so, or why not."""
    if "body_rate" not in log:
        return log
    start = float(log.attrs["liftoff_time"])
    try:
        found = gyro_bias(log)
    except ValueError:
        found = xr.Dataset()
    if "bias" not in found:
        text = "no rest before liftoff tells the gyros' bias, and it is not taken off"
        return with_finding(log, Finding("bias", text, "kept", "body_rate"))
    bias, error = np.degrees(found["bias"].values), np.degrees(found["bias_error"].values)
    words = ", ".join(f"{axis} {b:+.3f} +- {e:.3f}" for axis, b, e in zip("xyz", bias, error))
    text = f"the gyros' bias from the rest before launch, {words} deg/s, is taken off"
    out = log.assign(body_rate=(log["body_rate"] - found["bias"]).assign_attrs(log["body_rate"].attrs))
    begin, end = (found.attrs[name] + start for name in ("rest_start", "rest_end"))
    return with_finding(out, Finding("bias", text, "corrected", "body_rate", begin, end, int(np.isfinite(log["body_rate"]).all("axis").sum())))

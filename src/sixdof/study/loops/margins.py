"""Stability margins of the attitude loops at every point of a flight: gain, gain reduction, phase, delay, disk; one loop at a time and coupled."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import table
from sixdof.mission.units import shown
from sixdof.study.loops.crossings import ResponseMargins, nearest, response_margins
from sixdof.study.loops.linear import CHANNELS
from sixdof.study.loops.loop import BREAKS, FREQUENCIES, Loops, broken, check_bending, flown_mission, loops_of, scan
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.reading.result import need_table

DRIFT = 0.1  # 1/s: what grows slower than this is a drift that guidance takes out, not a loop that shakes itself apart
REQUIRED_GAIN_DB, REQUIRED_PHASE = 6.0, math.radians(45.0)  # MIL-F-9490D, the usual requirement of flight control systems
HALF_POWER = math.sqrt(0.5)
_VARIABLES = {
    "gain_margin_db": ("dB", "gain margin"),
    "gain_reduction_db": ("dB", "gain-reduction margin"),
    "phase_margin": ("rad", "phase margin"),
    "delay_margin": ("s", "delay margin"),
    "distance": ("1", "least distance to the critical point |1 + L|"),
    "disk_margin": ("1", "disk margin"),
    "crossover": ("rad/s", "gain crossover frequency"),
    "phase_crossover": ("rad/s", "phase crossover frequency"),
    "distance_frequency": ("rad/s", "frequency of the least distance"),
}
_NONE_LEFT = ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "distance", "disk_margin")
_OF_HOLDS = ("gain_margin_db", "gain_reduction_db", "phase_margin", "stable")
MOST_INCIDENCE = math.radians(15.0)  # beyond it fins stall and the aerodynamics are estimates: nothing is linear there
POINT_COORDS = ("time", "mach", "dynamic_pressure", "incidence")


def margins(models: xr.Dataset, gains=None, *, channels=CHANNELS, broken_at=BREAKS, bending: BendingMode | None = None) -> xr.Dataset:
    """Return the margins of the loops as they fly, for every linear model, channel and place where a loop is broken.

    The loop is the sampled law with its hold, computation and servo delays, servo, gyro lag and estimator; one channel at a time, the
    others at rest (`coupled_margins` closes them). An unstable loop has no margin: 0 dB, 0 deg, 0 s, distance 0.

    Parameters
    ----------
    models : as `linearise` returns them.
    gains : None for the autopilot of the models' own mission, a Mission, what `tune` returns, or a dictionary of changes.
    broken_at : of "actuator" (the demand), "attitude" (with the rate loop closed), "rate" (with the attitude loop closed). The rate and the
        attitude of a strapdown computer come from one gyro: the loop broken at the gyro itself is that at the actuator.
    bending : a `BendingMode` of the airframe; the autopilot's own notch is always in the loop.

    Returns
    -------
    Dataset
        Dims point, channel, broken_at. Margins in dB, rad, s; crossovers, closed-loop bandwidth (angle to goal, -3 dB) and peak, growth
        (1/s) of the least stable motion, `stable`.

    Raises
    ------
    ValueError, TypeError
        For channels or places to break that there are not, or what is not a set of gains.

    Examples
    --------
    >>> found = sixdof.loops.margins(models, channels="pitch", broken_at="actuator")
    >>> bool(found.stable.all()), found.gain_margin_db.attrs["units"]
    (True, 'dB')
    """
    channels, broken_at = _chosen(channels, CHANNELS, "channels"), _chosen(broken_at, BREAKS, "broken_at")
    check_bending(bending, "margins")
    mission = flown_mission(models, gains, "margins")
    need_table(models, "margins", "loops.linearise", *POINT_COORDS)
    parts = [_of_channel(loops_of(models, mission, channel, bending), broken_at) for channel in channels]
    ds = xr.concat(parts, xr.DataArray(list(channels), dims="channel", name="channel"))
    ds = ds.transpose("point", "channel", "broken_at", missing_dims="ignore")
    ds = ds.assign_coords({name: models[name] for name in POINT_COORDS} | {"broken_at": list(broken_at)})
    return ds.assign_attrs(title=models.attrs.get("title", ""), mission=mission.to_toml())


def _chosen(names, known, what: str) -> tuple[str, ...]:
    try:
        names = (names,) if isinstance(names, str) else tuple(names)
    except TypeError:
        raise ValueError(f"margins: {what} = {shown(names)} must name some of {', '.join(known)}") from None
    for name in names:
        if not isinstance(name, str) or name not in known:
            raise ValueError(f"margins: {what} has {shown(name)}; it may have {', '.join(known)}")
    if not names:
        raise ValueError(f"margins: {what} is empty; name at least one of {', '.join(known)}")
    return names


def broken_margins(loops: Loops, broken_at) -> tuple[dict[str, np.ndarray], np.ndarray, list[ResponseMargins]]:
    """Return the parts of loops of one channel on a grid, the grid (rad/s), and their margins at each place, whether stable or not."""
    frequency = scan(loops)
    parts = loops.on_grid(frequency)
    return parts, frequency, [response_margins(lambda w, k: broken(loops.parts(w, k), where), frequency, broken(parts, where)) for where in broken_at]


def _of_channel(loops: Loops, broken_at) -> xr.Dataset:
    parts, frequency, found = broken_margins(loops, broken_at)
    growth, stable = loops.fate(DRIFT)
    entries = {}
    for name, (units, text) in _VARIABLES.items():
        values = np.stack([getattr(each, name) for each in found], axis=1)
        if name in _NONE_LEFT:
            values = np.where(stable[:, None], values, 0.0)
        entries[name] = (("point", "broken_at"), values, {"units": units, "long_name": text})
    bandwidth, peak = _closed(parts, frequency)
    entries |= {
        "bandwidth": ("point", np.where(stable, bandwidth, np.nan), {"units": "rad/s", "long_name": "closed-loop bandwidth (-3 dB)"}),
        "closed_loop_peak": ("point", np.where(stable, peak, np.nan), {"units": "1", "long_name": "peak of angle per goal"}),
        "growth": ("point", growth, {"units": "1/s", "long_name": "growth rate of the least stable motion"}),
        "stable": ("point", stable, {"units": "1", "long_name": "the closed loop is stable"}),
    }
    return xr.Dataset(entries)


def _closed(parts, frequency: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return where the angle last follows the goal to -3 dB (the last fall through it, NaN if it never does), and its peak."""
    follow = np.abs(parts["goal"][..., 0, 0] / (1.0 + parts["angle"][..., 0, 0] + parts["rate"][..., 0, 0]))
    falls = (follow[:, :-1] >= HALF_POWER) & (follow[:, 1:] < HALF_POWER)
    k = falls.shape[1] - 1 - falls[:, ::-1].argmax(axis=1)
    rows = np.arange(len(k))
    above, below = follow[rows, k], follow[rows, k + 1]
    share = (above - HALF_POWER) / np.where(above > below, above - below, 1.0)
    at = frequency[k] * (frequency[k + 1] / frequency[k]) ** share
    return np.where(falls.any(axis=1), at, np.nan), follow.max(axis=1)


# ---------------------------------------------------------------- coupled


def coupled_margins(models: xr.Dataset, gains=None, *, bending: BendingMode | None = None) -> xr.Dataset:
    """Return what roll, pitch and yaw bear together: from the coupled models, all three loops closed.

    gains, bending : as for `margins`.

    Returns
    -------
    Dataset
        Dims point, channel. `distance`: least singular value of 1 + L over frequency, at the demands; `disk_margin`: 2 over the largest
        singular value of (1 - L)(1 + L)^-1, the symmetric disk that any three simultaneous changes of gain and phase may fill
        (Seiler, Packard, Gahinet 2020; without structure, so on the safe side). Margins of one loop broken at its demand with the
        other two closed; growth and stability of all together.

    Examples
    --------
    >>> together = sixdof.loops.coupled_margins(models)
    >>> bool(together.stable.all())
    True
    """
    check_bending(bending, "coupled_margins")
    mission = flown_mission(models, gains, "coupled_margins")
    need_table(models, "coupled_margins", "loops.linearise", *POINT_COORDS)
    loops = loops_of(models, mission, "full", bending)
    frequency = scan(loops, FREQUENCIES // 2)
    parts = loops.on_grid(frequency)
    values = parts["angle"] + parts["rate"]
    growth, stable = loops.fate(DRIFT)
    least, _ = nearest(lambda w, k: _least_singular(_matrix_loop(loops, w, k)), frequency, _least_singular(values))
    disk, _ = nearest(lambda w, k: _disk_of(_matrix_loop(loops, w, k)), frequency, _disk_of(values))
    entries = {
        "distance": ("point", np.where(stable, least, 0.0), {"units": "1", "long_name": "least singular value of 1 + L"}),
        "disk_margin": ("point", np.where(stable, disk, 0.0), {"units": "1", "long_name": "disk margin of all loops together"}),
        "growth": ("point", growth, {"units": "1/s", "long_name": "growth rate of the least stable motion"}),
        "stable": ("point", stable, {"units": "1", "long_name": "the closed loops are stable together"}),
    }
    found = []
    for c in range(3):

        def response(w, k, c=c):
            return _one_of(_matrix_loop(loops, w, k), c)

        found.append(response_margins(response, frequency, _one_of(values, c)))
    for name in ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "crossover"):
        both = np.stack([getattr(each, name) for each in found], axis=1)
        both = np.where(stable[:, None], both, 0.0) if name in _NONE_LEFT else both
        units, text = _VARIABLES[name]
        entries[name] = (("point", "channel"), both, {"units": units, "long_name": f"{text}, the other loops closed"})
    ds = xr.Dataset(entries, {name: models[name] for name in POINT_COORDS} | {"channel": list(CHANNELS)})
    return ds.assign_attrs(title=models.attrs.get("title", ""), mission=mission.to_toml())


def _matrix_loop(loops: Loops, frequency: np.ndarray, points) -> np.ndarray:
    parts = loops.parts(frequency, points)
    return parts["angle"] + parts["rate"]


def _least_singular(loop: np.ndarray) -> np.ndarray:
    return np.linalg.svd(np.eye(3) + loop, compute_uv=False)[..., -1]


def _disk_of(loop: np.ndarray) -> np.ndarray:
    return 2.0 / np.linalg.svd((np.eye(3) - loop) @ np.linalg.inv(np.eye(3) + loop), compute_uv=False)[..., 0]


def _one_of(loop: np.ndarray, c: int) -> np.ndarray:
    """Return the loop of one channel with the others closed: L_cc - L_co (1 + L_oo)^-1 L_oc."""
    others = [k for k in range(3) if k != c]
    inner = np.eye(2) + loop[..., others, :][..., :, others]
    passed = np.linalg.solve(inner, loop[..., others, :][..., :, [c]])
    return loop[..., c, c] - (loop[..., [c], :][..., :, others] @ passed)[..., 0, 0]


# ---------------------------------------------------------------- in words


def check_requirement(gain_db, phase, who: str) -> None:
    """Raise ValueError for what is not a required margin."""
    for name, value, most, example in (("gain_db", gain_db, 100.0, "6.0 (dB)"), ("phase", phase, math.pi, "math.radians(45)")):
        if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)) or not 0.0 <= value <= most:
            raise ValueError(f"{who}: {name} = {shown(value)} must be a number from 0 to {most:.4g}, such as {example}")


def within(ds: xr.Dataset) -> xr.Dataset:
    """Return the points of models or margins whose incidence is small enough for a linear model to mean something; all if none is."""
    small = ds["incidence"].values <= MOST_INCIDENCE
    return ds.isel(point=np.flatnonzero(small)) if small.any() else ds


def worst_point(found: xr.Dataset, variable: str = "distance") -> dict:
    """Return where a margin is least; of unstable loops, where the growth is largest.

    A dictionary of value, point, time, mach, channel, broken_at, as far as the Dataset has these dims; empty where nothing is limited.

    variable : by which: a margin of the Dataset.

    Examples
    --------
    >>> sorted(sixdof.loops.worst_point(sixdof.loops.margins(models)))
    ['broken_at', 'channel', 'mach', 'point', 'time', 'value']
    """
    if not isinstance(variable, str) or not variable.isidentifier():
        raise ValueError(f'worst_point: variable = {shown(variable)} must be the name of a margin, such as "distance"')
    need_table(found, "worst_point", "loops.margins", variable)
    values = found[variable]
    if not np.isfinite(values).any():
        return {}
    least = values == values.min()
    if "growth" in found:  # of unstable loops, which all have no margin left, the one that grows fastest
        least = least & (found["growth"].where(least).fillna(-np.inf) >= found["growth"].where(least).max())
    place = least.argmax(...)
    at = values.isel(place)
    out = {"value": float(at), "point": int(place["point"])}
    return out | {name: at[name].item() for name in ("time", "mach", "channel", "broken_at") if name in at.coords}


def margin_report(found: xr.Dataset, *, gain_db: float = REQUIRED_GAIN_DB, phase: float = REQUIRED_PHASE) -> str:
    """Return the worst margins of every channel as a page of text, each with its place in the flight, held against a requirement."""
    need_table(found, "margin_report", "loops.margins", "delay_margin", "distance", "growth", "time", "incidence", "broken_at", *_OF_HOLDS)
    check_requirement(gain_db, phase, "margin_report")
    large = int((found["incidence"] > MOST_INCIDENCE).sum())
    found = within(found)
    time = found["time"].values
    lines = [found.attrs.get("title", "") or "untitled", f"margins of the attitude loops from {time.min():.2f} s to {time.max():.2f} s", ""]
    rows = [["", "broken at", "gain", "gain-reduction", "phase", "delay", "|1 + L|", "worst at"]]
    for channel in found["channel"].values:
        one = found.sel(channel=channel)
        if not one["stable"].all():
            k = int(np.flatnonzero(~one["stable"].values)[0])
            rows.append([str(channel), f"UNSTABLE from {time[k]:.2f} s (Mach {float(one.mach[k]):.2f}), growing by {float(one.growth.max()):.2g} 1/s at most"])
            continue
        rows += [_row(one.sel(broken_at=where), str(channel), str(where)) for where in found["broken_at"].values]
    lines += table(rows, words=2, remark=True)
    if large:
        lines.append(f"  points beyond {math.degrees(MOST_INCIDENCE):.0f} deg of incidence, where fins stall and nothing is linear: {large}")
    lines += ["", f"required: {gain_db:g} dB and {math.degrees(phase):g} deg at the actuator: {_verdict(found, gain_db, phase)}"]
    return "\n".join(lines)


def _row(one: xr.Dataset, channel: str, where: str) -> list[str]:
    def least(name, factor, unit, decimals):
        values = one[name].values
        return f"{np.nanmin(values) * factor:.{decimals}f} {unit}" if np.isfinite(values).any() else "none"

    k = int(np.nanargmin(one["distance"].values))
    margins = least("gain_margin_db", 1.0, "dB", 1), least("gain_reduction_db", 1.0, "dB", 1), least("phase_margin", math.degrees(1.0), "deg", 1)
    worst = f"{float(one['distance'][k]):.2f}", f"{float(one['time'][k]):.2f} s, Mach {float(one['mach'][k]):.2f}"
    return [channel, where, *margins, least("delay_margin", 1e3, "ms", 0), *worst]


def holds(found: xr.Dataset, gain_db: float = REQUIRED_GAIN_DB, phase: float = REQUIRED_PHASE) -> xr.DataArray:
    """Return where the requirement is met at the actuator, bool (point, channel): gain up and down, phase, and stability.

    gain_db, phase : required, dB (up and down) and rad.

    Examples
    --------
    >>> sixdof.loops.holds(sixdof.loops.margins(models), gain_db=1.0, phase=0.1).dims
    ('point', 'channel')
    """
    need_table(found, "holds", "loops.margins", *_OF_HOLDS)
    check_requirement(gain_db, phase, "holds")
    if "broken_at" in found.dims and "actuator" not in found["broken_at"].values:
        raise ValueError("holds: these margins are not of loops broken at the actuator; a requirement is held against those")
    one = found.sel(broken_at="actuator") if "broken_at" in found.dims else found
    enough = (one["gain_margin_db"].fillna(np.inf) >= gain_db) & (one["gain_reduction_db"] >= gain_db)
    return enough & (one["phase_margin"].fillna(np.inf) >= phase) & one["stable"]


def _verdict(found: xr.Dataset, gain_db: float, phase: float) -> str:
    if "actuator" not in found["broken_at"].values:
        return "not looked at"
    met = holds(found, gain_db, phase)
    bad = [f"{c} at {int((~met.sel(channel=c)).sum())} of {met.sizes['point']} points" for c in found["channel"].values if not met.sel(channel=c).all()]
    return "met everywhere" if not bad else f"NOT met: {', '.join(bad)}"

"""The figure of a static firing: raw log, thrust with both ends by each definition, the curve that flies, the spread over firings."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, LINE, PALE, dress, legend_on_top
from sixdof.study.static_firing.with_firing import need_firing

SHOWN = 0.35  # of the burn time, ahead of it and behind, in the panel of the thrust
_NAMES = {"nfpa_1125": "5 % (NFPA 1125)", "action_time": "10 % (action time)", "tangent_bisector": "10 % to aft tangent-bisector"}


def plot_static_firing(ds: xr.Dataset, firing: str | None = None):
    """Draw a static firing on a page of four panels; return the figure.

    The raw log with its tare; the thrust, raw and filtered, with ignition and end by each definition and the impulse; the thrust curve of few points beside
    the firings it is the mean of, and the mission's own if there is one; impulse over burn time of all firings with their errors.

    ds : what `sixdof.workshop.static_firing` returned. firing : the log of the upper panels; None: the first.

    Raises ValueError for anything else, and for a log that it has not.

    Examples
    --------
    >>> time = np.linspace(0.0, 3.0, 1201)
    >>> cell = np.interp(time, [1.0, 1.02, 1.8, 1.9], [2.0, 302.0, 302.0, 2.0]) + 0.1 * np.sin(400.0 * time)
    >>> figure = sixdof.plot.plot_static_firing(sixdof.workshop.static_firing({"first": (time, cell)}, calibration="0.5 %"))
    """
    need_firing(ds, "plot_static_firing")
    names = [str(name) for name in ds["firing"].values]
    if firing is not None and firing not in names:
        raise ValueError(f"plot_static_firing: there is no log {shown(firing)}; the logs are {', '.join(names)}")
    import matplotlib.pyplot as plt

    one = ds.sel(firing=firing or names[0])
    figure, ((raw, thrust), (curve, spread)) = plt.subplots(2, 2, figsize=(11.5, 8.2), layout="constrained")
    _raw(raw, one)
    _thrust(thrust, one)
    _curve(curve, ds)
    _spread(spread, ds)
    title = f"{ds.attrs['title']}: " if ds.attrs.get("title") else ""
    figure.suptitle(f"{title}static firing, {one['firing'].item()}", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _raw(ax, one: xr.Dataset) -> None:
    """Draw the readings as they are, with the tare under them."""
    time = one["log_time"].values
    ax.plot(time, one["reading"], color=CYCLE[0], lw=0.6, label="reading", zorder=2)
    ax.plot(time, one["tare"], color=CYCLE[1], lw=LINE + 0.3, ls=DASHES[1], label="tare", zorder=3)
    drift = float(one["drift"])
    words = f"{float(one['noise']):.2g} N of noise before ignition" + (f", drift {drift:+.2g} N" if math.isfinite(drift) else "")
    ax.set(xlabel="time of the log (s)", ylabel="reading of the load cell (N)")
    dress(ax, f"Raw log: {words}")
    legend_on_top(ax)


def _thrust(ax, one: xr.Dataset) -> None:
    """Draw the thrust with both ends by each definition; the impulse is the area."""
    start, end = float(one["burn_start"][0]), float(one["burn_end"][0])
    margin = SHOWN * (end - start)
    time = one["log_time"].values
    near = (time >= start - margin) & (time <= end + margin)
    smooth = one["smoothed_thrust"].values[near]
    ax.plot(time[near], one["thrust"].values[near], color=PALE, lw=0.8, label="tare and weight taken out", zorder=1.5)
    ax.fill_between(time[near], smooth, color=CYCLE[0], alpha=0.08, lw=0.0, zorder=1)
    ax.plot(time[near], smooth, color=CYCLE[0], lw=LINE + 0.2, label="filtered", zorder=3)
    for k, name in enumerate(one["definition"].values):
        ends = np.array([float(one["burn_start"][k]), float(one["burn_end"][k])])
        if not np.isfinite(ends).all():
            continue
        text = f"{_NAMES[str(name)]}: {ends[1] - ends[0]:.3f} s"
        height = np.interp(ends, time[near], smooth)
        ax.plot(ends, height, "osD"[k], color=CYCLE[k + 1], ms=5.0, mfc="white", mew=1.2, label=text, zorder=5)
        for x, y in zip(ends, height, strict=True):
            ax.plot([x, x], [0.0, y], color=CYCLE[k + 1], lw=0.8, ls=DASHES[k + 1], gid=f"of:{text}", zorder=2)
    z = float(one["total_impulse_error"])
    ax.text(0.5, 0.3, f"{float(one['total_impulse']):.1f} N s\n+- {z:.1f} (sd)", transform=ax.transAxes, ha="center", color=INK, fontsize=FONT + 2.0)
    ax.set(xlabel="time of the log (s)", ylabel="thrust (N)")
    dress(ax, "Thrust, ignition and end by each definition")
    legend_on_top(ax, 2)


def _curve(ax, ds: xr.Dataset) -> None:
    """Draw the curve that flies, the firings under it and the mission's own."""
    zero = float(ds["curve_start"])
    time = ds["mean_time"].values - zero
    for k in range(ds.sizes["firing"]):
        label = {"label": "firings, aligned"} if k == 0 else {"gid": "of:firings, aligned"}
        ax.plot(time, ds["aligned_thrust"].values[k], color=GREY, lw=0.7, zorder=2, **label)
    if "written_thrust" in ds:
        ax.plot(ds["written_time"], ds["written_thrust"], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="as the mission has it", zorder=3)
    text = f"thrust curve, {ds.sizes['curve_point']} points"
    ax.plot(ds["curve_time"], ds["curve_thrust"], color=CYCLE[0], lw=LINE + 0.4, marker="o", ms=3.5, label=text, zorder=4)
    ax.set(xlabel="time since ignition (s)", ylabel="thrust (N)")
    dress(ax, f"The curve that flies: misses by {100.0 * float(ds['curve_miss']):.1f} % of its peak at most")
    legend_on_top(ax, 2)


def _spread(ax, ds: xr.Dataset) -> None:
    """Draw impulse over burn time of every firing, with errors, and the means with their intervals."""
    impulse, error = ds["total_impulse"].values, ds["total_impulse_error"].values
    burn, spent = ds["burn_time"].values[:, 0], ds["burn_time_error"].values[:, 0]
    out = ds["outlier"].values.astype(bool)
    ax.errorbar(burn, impulse, error, spent, "none", ecolor=GREY, elinewidth=0.9, zorder=2)
    ax.plot(burn[~out], impulse[~out], "o", color=CYCLE[0], ms=5.5, label="a firing, with its standard deviations", zorder=3)
    if out.any():
        ax.plot(burn[out], impulse[out], "X", color=CYCLE[1], ms=8.0, label="outlier (Grubbs, 5 %)", zorder=3)
    scatter = ""
    if ds.sizes["firing"] > 1:
        mean = ds.sel(quantity="total_impulse")
        confidence = f"{100.0 * ds.attrs['confidence']:g} %"
        ax.axhline(float(mean["mean"]), color=INK, lw=LINE, label=f"mean {float(mean['mean']):.1f} N s, {confidence} interval shaded", zorder=1.5)
        ax.axhspan(float(mean["mean_low"]), float(mean["mean_high"]), color=PALE, alpha=0.6, lw=0.0, zorder=0.8)
        scatter = f": sd {float(mean['scatter']):.1f} N s, {100.0 * float(mean['scatter'] / mean['mean']):.1f} %"
    if "motor_as" in ds.dims:
        ax.plot(
            ds["flown_motor_burn_time"][0], ds["flown_motor_total_impulse"][0], "x", color=CYCLE[1], ms=7.0, mew=1.8, label="as the mission has it", zorder=4
        )
    ax.set(xlabel="burn time, first to last 5 % (s)", ylabel="total impulse (N s)")
    ax.margins(0.15, 0.15)
    dress(ax, f"Firings{scatter}")
    legend_on_top(ax, 1)

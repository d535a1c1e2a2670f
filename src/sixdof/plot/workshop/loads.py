"""Loads along the body over its outline, over time in the fastest flight, and everything held against its strength."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, DASHES, GREY, INK, LINE, PALE, dress, label, legend_on_top, match_headroom, second_axis
from sixdof.study.reading.result import mission_of, need_table
from sixdof.vehicle.geometry import shape_of

_BENDING = ("station", "bending_band", "along_moment", "history_moment", "history_incidence")
MOST_BARS = 14
LEAST_SHARE = 1e-4  # of what is carried, the left end of a logarithmic scale


def plot_bending(ds: xr.Dataset, *, axes=None):
    """Draw the bending moment along what flies together, and over time in the fastest drawn flight; return the axes (2,).

    Bands are 5 to 95 % of the drawn flights of each flight's largest moment at a station; dashed, the fastest flight at the instant of its own largest.

    ds : what `sixdof.workshop.bending` or `sixdof.workshop.structure` returns. axes : two axes to draw into, or None for a new figure.

    Examples
    --------
    >>> axes = sixdof.plot.plot_bending(sixdof.workshop.bending(mission, 3))
    """
    need_table(ds, "plot_bending", "workshop.bending", *_BENDING)
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(2, 1, figsize=(8.0, 7.6), layout="constrained")[1]
    axes = np.ravel(axes)
    _along(axes[0], ds)
    _history(axes[1], ds)
    return axes


def plot_structure(ds: xr.Dataset, *, axes=None):
    """Draw what breaks first: everything held against its strength, the bending moment along the body and over time, accelerations at deployments.

    ds : what `sixdof.workshop.structure` returns. axes : four axes to draw into, or None for a new figure. Return the axes (4,), the last one of a
    mission without canopies switched off.

    Examples
    --------
    >>> axes = sixdof.plot.plot_structure(sixdof.workshop.structure(mission, 3))
    """
    need_table(ds, "plot_structure", "workshop.structure", *_BENDING, "worst_first")
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(2, 2, figsize=(13.0, 8.4), layout="constrained")[1]
    axes = np.ravel(axes)
    _along(axes[1], ds)
    _history(axes[3], ds)
    for ax, draw, needs in ((axes[0], _checks, "check_95"), (axes[2], _items, "piece_acceleration")):
        if needs in ds:
            draw(ax, ds)
        else:
            ax.set_axis_off()
    return axes


# ---------------------------------------------------------------- along the body


def _along(ax, ds: xr.Dataset) -> None:
    most = 0.0
    for k, name in enumerate(ds["configuration"].values):
        x, (low, middle, high) = ds["station"].values[k] + float(ds["configuration_start"][k]), ds["bending_band"].values[:, k]
        if not np.isfinite(middle).any():
            continue
        colour, own = CYCLE[k % len(CYCLE)], ds["along_moment"].values[k]
        ax.fill_between(x, low, high, color=colour, alpha=0.18, lw=0.0)
        ax.plot(x, middle, color=colour, lw=LINE + 0.4, label=str(name))
        if np.isfinite(own).any():
            ax.plot(x, own, color=colour, lw=LINE, ls=DASHES[1], gid=f"of:{name}")
        most = max(most, float(np.nanmax(high)), float(np.nanmax(np.append(own, 0.0))))
    ax.plot([], [], color=GREY, lw=LINE, ls=DASHES[1], label="the fastest flight at its largest")
    most = most or 1.0
    _outline(ax, ds, most)
    if "joint" in ds.dims:
        for number, station in enumerate(ds["joint_station"].values):
            ax.plot([station, station], [0.0, most], color=GREY, lw=0.8, ls=":", label=None if number else "joints", gid="of:joints" if number else None)
    ax.set(xlabel="station, aft of the nose tip (m)", ylabel=label(ds["bending_band"]).split(",")[0] + " (N m)", ylim=(-0.34 * most, 1.06 * most))
    ax.set_xlim(0.0, float(np.nanmax(ds["station"].values + ds["configuration_start"].values[:, None])))
    ax.set_yticks([tick for tick in ax.get_yticks() if -1e-9 <= tick <= 1.06 * most])
    dress(ax, "bending moment along the body, median and 5 to 95 % of the drawn flights")
    legend_on_top(ax, 2)


def _outline(ax, ds: xr.Dataset, most: float) -> None:
    """Draw the outline of the whole vehicle below the curves."""
    shape = shape_of(list(mission_of(ds, "plot_bending").stage))
    x = np.unique(np.concatenate([np.linspace(s.x0, s.x1, 60) for s in shape.segments]))
    radius = shape.radius(x) / (0.5 * shape.diameter) * 0.09 * most
    middle = -0.2 * most
    ax.fill_between(x, middle - radius, middle + radius, fc=PALE, ec=GREY, lw=0.6)


def _history(ax, ds: xr.Dataset) -> None:
    time, degrees = ds["history_time"].values, np.degrees(ds["history_incidence"].values)
    lines = ax.plot(time, ds["history_moment"], color=CYCLE[0], lw=LINE + 0.3, label="largest bending moment along the body")
    ax.set(xlabel=label(ds["history_time"]).split(",")[0] + " (s)", ylabel="bending moment (N m)", xlim=(float(time[0]), float(time[-1])))
    ax.set_ylim(bottom=0.0)
    dress(ax, f"the fastest drawn flight, {float(ds['airspeed_max'][int(ds['fastest'])]):.0f} m/s")
    other = second_axis(ax, "incidence (deg)", CYCLE[1])
    lines += other.plot(time, degrees, color=CYCLE[1], lw=LINE, ls=DASHES[2], label="incidence, right scale")
    other.set_ylim(0.0, 1.05 * max(float(np.nanmax(degrees)), 1.0))
    before = ax.get_ylim()
    legend_on_top(ax, 2, handles=lines)
    match_headroom(other, ax, before)


# ---------------------------------------------------------------- held against strengths, deployments


def _checks(ax, ds: xr.Dataset) -> None:
    count = min(ds.sizes["check"], MOST_BARS)
    names = [str(name) for name in ds["check"].values[:count]][::-1]
    usual, worst = ds["check_95"].values[:count][::-1], ds["check_worst"].values[:count][::-1]
    rows = np.arange(count)
    ax.barh(rows, np.maximum(usual, LEAST_SHARE), left=0.0, height=0.55, color=CYCLE[0], label="95 % of the drawn flights stay below")
    ax.plot(np.maximum(worst, LEAST_SHARE), rows, "|", color=CYCLE[1], ms=11.0, mew=1.6, label="worst of all flights and branches")
    factor = float(ds.attrs["factor"])
    ax.axvline(1.0, color=INK, lw=1.0, label="breaks")
    ax.axvline(1.0 / factor, color=GREY, lw=0.9, ls=":", label=f"factor {factor:g} (common practice)")
    ax.set_xscale("log")
    least = 0.5 * float(np.nanmin(np.maximum(usual, LEAST_SHARE)))
    ax.set(xlim=(min(least, 0.1), 1.5 * max(1.0, float(np.nanmax(worst)))), xlabel="load over what is carried (times)")
    ax.set_yticks(rows, names)
    ax.set_ylim(-0.6, count - 0.4)
    dress(ax, "what breaks first")
    legend_on_top(ax, 2)


def _items(ax, ds: xr.Dataset) -> None:
    """Draw how hard each canopy's deployment accelerates the pieces."""
    drawn = ds["forced"].values == 0
    names, usual, worst = [], [], []
    for c, canopy in enumerate(ds["canopy"].values):
        for j, cause in enumerate(ds["cause"].values):
            for s, side in enumerate(ds["side"].values):
                felt = ds["piece_acceleration"].values[:, c, j, s] / 9.80665
                if not np.isfinite(felt).any():
                    continue
                known = felt[drawn & np.isfinite(felt)]
                whole = not (ds["piece_mass"].values[:, c].min(axis=1) > 0.0).any()
                names.append(f"{canopy}: {cause}, {'body' if whole else side}")
                usual.append(float(np.quantile(known, 0.95)) if known.size else math.nan)
                worst.append(float(np.nanmax(felt)))
    if not names:
        ax.set_axis_off()
        return
    rows = np.arange(len(names))[::-1]
    ax.barh(rows, np.nan_to_num(usual), height=0.55, color=CYCLE[2], label="95 % of the drawn flights stay below")
    ax.plot(worst, rows, "|", color=CYCLE[1], ms=11.0, mew=1.6, label="worst of all flights and branches")
    ax.set_xlim(0.0, 1.12 * max(worst))
    ax.set_yticks(rows, names)
    ax.set_ylim(-0.6, len(names) - 0.4)
    ax.set_xlabel("acceleration of the piece (g)")
    dress(ax, "deployments")
    legend_on_top(ax, 2)

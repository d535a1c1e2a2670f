"""The figure of a log against drawn flights: bands, log, residuals, coverage, and a map of where there is data."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, dress, legend_on_top
from sixdof.postflight.compare.segments import CLIMB, WHOLE
from sixdof.postflight.compare.validity import INCIDENCE_EDGES, MACH_EDGES
from sixdof.study.reading.result import need_table

MOST = 3  # channels drawn
FIRST = ("height", "velocity[up]", "specific_force[x]", "airspeed", "mach", "tilt")  # drawn where nothing is off
BANDS = ((0.025, 0.975, 0.10, "95 %"), (0.1, 0.9, 0.14, "80 %"), (0.25, 0.75, 0.20, "50 %"))


def plot_against(ds: xr.Dataset, channels=None):
    """Draw a log against the flights on a page; return the figure.

    Up to three variables, each with the flights' bands, the log and, under it, the residual over the flights' standard deviation; the share of instants
    inside the bands of every variable beside what drawn flights have; and a map of Mach number and incidence: where there is data, and whether it held.

    ds : what `sixdof.postflight.compare_log` returned. channels : names of the variables drawn, three at most; None: what is farthest off and the usual.

    Raises ValueError for anything else, and for a channel that it has not.

    Examples
    --------
    >>> log = sixdof.postflight.read_log(*sixdof.postflight.log_of(flight, what=["height"], rate=5.0), mission)
    >>> figure = sixdof.plot.plot_against(sixdof.postflight.compare_log(mission, log, flights=20, points=40, progress=False))
    """
    need_table(ds, "plot_against", "postflight.compare_log", "standardised_residual", "band", "coverage")
    chosen = _chosen(ds, channels)
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(12.5, 9.0), layout="constrained")
    grid = figure.add_gridspec(3, len(chosen), height_ratios=(3.0, 1.3, 3.4))
    for k, number in enumerate(chosen):
        above = figure.add_subplot(grid[0, k])
        _band(above, ds.isel(channel=number), k == 0)
        _strip(figure.add_subplot(grid[1, k], sharex=above), ds.isel(channel=number))
    below = grid[2, :].subgridspec(1, 2, width_ratios=(1.2, 1.0))
    _coverage(figure.add_subplot(below[0, 0]), ds)
    _map(figure.add_subplot(below[0, 1]), ds)
    figure.suptitle(_title(ds), fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _chosen(ds: xr.Dataset, channels) -> list[int]:
    names = [str(name) for name in ds["channel"].values]
    if channels is not None:
        wanted = [channels] if isinstance(channels, str) else list(channels)
        for name in wanted:
            if name not in names:
                raise ValueError(f"plot_against: there is no channel {shown(name)}; the channels are {', '.join(names)}")
        if not 1 <= len(wanted) <= MOST:
            raise ValueError(f"plot_against: channels must name one to {MOST} of them, not {len(wanted)}")
        return [names.index(name) for name in wanted]
    p = np.nan_to_num(ds["p_value"].sel(segment=WHOLE).values, nan=1.0)
    usual = {name: k for k, name in enumerate(FIRST)}
    order = sorted(range(len(names)), key=lambda k: (p[k] >= 0.05, usual.get(names[k].rpartition(": ")[2], len(FIRST)), p[k]))
    return sorted(order[:MOST], key=lambda k: usual.get(names[k].rpartition(": ")[2], len(FIRST)))


def _title(ds: xr.Dataset) -> str:
    off = int((ds["log_holds"].values == 0).sum())
    least = float(ds["log_p_value"].min())
    held = "the model holds in this log" if not off else "the model does not hold in this log"
    if ds.sizes["log"] > 1:
        held = f"the model holds in {ds.sizes['log'] - off} of {ds.sizes['log']} logs"
    title = f"{ds.attrs['title']}: " if ds.attrs.get("title") else ""
    return f"{title}{held} (p = {least:.2g}, {ds.attrs['flights']} flights)"


def _scale(one: xr.Dataset) -> tuple[float, str]:
    units = str(one["channel_units"].item())
    if units in ("rad", "rad/s"):
        return math.degrees(1.0), units.replace("rad", "deg")
    return 1.0, units


def _known(one: xr.Dataset) -> np.ndarray:
    return np.flatnonzero(np.isfinite(one["logged"].values))


def _band(ax, one: xr.Dataset, first: bool) -> None:
    """Draw bands and log of one channel."""
    rows, (factor, units) = _known(one), _scale(one)
    time = one["time"].values[rows]
    for low, high, alpha, text in BANDS:
        ends = [factor * one["band"].sel(share=share, method="nearest").values[rows] for share in (low, high)]
        if np.isfinite(ends).any():
            ax.fill_between(time, *ends, color=CYCLE[0], alpha=alpha, lw=0.0, label=f"{text} of the flights", zorder=1)
    ax.plot(time, factor * one["band"].sel(share=0.5).values[rows], color=CYCLE[0], lw=0.9, label="median", zorder=2)
    ax.plot(time, factor * one["logged"].values[rows], color=CYCLE[1], lw=LINE, label="log", zorder=3)
    name = str(one["channel"].item())
    ax.set_ylabel(name if units == "1" else f"{name} ({units})")
    ax.tick_params(labelbottom=False)
    p = float(one["p_value"].sel(segment=WHOLE))
    dress(ax, f"{name}: p = {p:.2g}")
    if first:
        legend_on_top(ax, 3)


def _strip(ax, one: xr.Dataset) -> None:
    """Draw the standardised residual of one channel."""
    rows = _known(one)
    time, z = one["time"].values[rows], one["standardised_residual"].values[rows]
    ax.axhspan(-2.0, 2.0, color=PALE, alpha=0.6, lw=0.0, zorder=0.5)
    ax.axhline(0.0, color=GREY, lw=0.6, zorder=1)
    ax.plot(time, z, color=CYCLE[1], lw=0.8, zorder=2)
    limit = max(3.5, 1.1 * float(np.nanmax(np.abs(z), initial=0.0)))
    ax.set(ylim=(-limit, limit), xlabel="time since liftoff (s)", ylabel="residual (sd)")
    dress(ax)


def _coverage(ax, ds: xr.Dataset) -> None:
    """Draw the share of instants inside the 50, 80 and 95 % bands of every channel, beside the span of the drawn flights' own."""
    whole = ds.sel(segment=WHOLE)
    use = np.flatnonzero(whole["instants"].values > 0)
    y = np.arange(use.size)[::-1]
    for k, level in enumerate((0.5, 0.8, 0.95)):
        at = whole.sel(level=level).isel(channel=use)
        row = y + 0.24 * (1 - k)
        ax.hlines(row, 100.0 * at["coverage_low"], 100.0 * at["coverage_high"], color=CYCLE[k], lw=3.0, alpha=0.3, zorder=2)
        ax.plot(100.0 * at["coverage"], row, "osD"[k], color=CYCLE[k], ms=4.0, label=f"{100.0 * level:g} % band", zorder=3)
        ax.vlines(100.0 * level, -0.5, use.size - 0.5, color=CYCLE[k], lw=0.6, ls=":", zorder=1)
    names = [str(name) for name in ds["channel"].values[use]]
    ax.set_yticks(y, names)
    ax.set(xlim=(-3.0, 103.0), ylim=(-0.6, use.size - 0.4), xlabel="instants inside the band (%); bars: 90 % of the drawn flights")
    dress(ax, "Coverage, whole flight")
    legend_on_top(ax, 3)


def _map(ax, ds: xr.Dataset) -> None:
    """Draw where in Mach number and incidence there is data, and the share of it inside the 90 % band."""
    count = ds["map_instants"].sum("log").values
    inside = ds["map_inside"].min("log", skipna=True).values
    p = ds["map_p_value"].min("log", skipna=True).values
    mach = np.array([*MACH_EDGES[:-1], MACH_EDGES[-2] + 1.0])
    used = np.flatnonzero(count.any(axis=1))
    top = used.max() + 2 if used.size else 5
    wide = np.flatnonzero(count.any(axis=0))
    high = wide.max() + 2 if wide.size else 3
    colours = {True: "#d6e8da", False: "#f0d3cb"}
    for i in range(min(top, count.shape[0])):
        for j in range(min(high, count.shape[1])):
            box = (mach[i], j), mach[i + 1] - mach[i], 1.0
            if not count[i, j]:
                ax.add_patch(_patch(*box, facecolor="white", hatch="////", edgecolor=PALE))
                continue
            held = not np.isfinite(p[i, j]) or p[i, j] >= 1.0 - ds.attrs["confidence"]
            ax.add_patch(_patch(*box, facecolor=colours[held], edgecolor="white"))
            share = f"{100.0 * inside[i, j]:.0f} %\n" if np.isfinite(inside[i, j]) else ""
            ax.text(mach[i] + 0.5 * box[1], j + 0.5, f"{share}{count[i, j]}", ha="center", va="center", fontsize=FONT - 1.0, color=INK)
    ax.set(xlim=(0.0, mach[min(top, count.shape[0])]), ylim=(0.0, min(high, count.shape[1])), xlabel="Mach number", ylabel="incidence (deg)")
    ax.set_yticks(range(min(high, count.shape[1]) + 1), [f"{INCIDENCE_EDGES[j]:g}" for j in range(min(high, count.shape[1]) + 1)])
    if ax.get_xlim()[1] > 0.8:
        ax.axvline(0.8, color=CYCLE[1], lw=LINE, ls="--", zorder=4)
    dress(ax, f"{CLIMB.capitalize()}: in the 90 % band, instants (green held, red did not, hatched no data)")
    ax.grid(False)


def _patch(corner, width: float, height: float, **look):
    from matplotlib.patches import Rectangle

    return Rectangle(corner, width, height, lw=0.8, zorder=1, **look)

"""Loads of a deployment about apogee: over strengths, with the window, and where the flights' own deployments lie."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, DASHES, INK, LINE, PALE, dress, legend_on_top, second_axis
from sixdof.study.recovery.deployment import need_deployment

QUANTILES = (0.05, 0.5, 0.95)
_CALLED = {"opening_load_share": "canopy: opening load", "harness_load_share": "harness: snatch or opening", "zipper_index": "tube's edge: zipper index"}
LEAST = 0.05  # per cent of a strength: nothing below is worth a decade of the scale
DECADES = (0.1, 1.0, 10.0, 50.0, 100.0)  # per cent that are named
_RUG = ("own_offset_flown", "as written, each flight"), ("failing_offset_flown", "with apogee noticed late")


def plot_deployment(ds: xr.Dataset, canopy: str | None = None, *, axes=None):
    """Draw what a deployment before or after apogee does to canopy, harness and tube, and how fast and at what angle it happens; return the axes (2,).

    Bands are 5 to 95 % of the flights at each offset, lines the median; the window in which all loads stay below the limit is shaded; ticks at the lower
    edge are the flights' own deployments as the mission is written, and with a late apogee where that is a failure of it.

    ds : what `sixdof.workshop.deployment` returned. canopy : its name, None: the first. axes : two axes to draw into, or None for a new figure.

    Raises ValueError for another Dataset, for a canopy that it is not about, and for one that never came out.

    Examples
    --------
    >>> found = sixdof.workshop.deployment(mission, offsets=[-1.0, 0.0, 2.0], flights=4)
    >>> axes = sixdof.plot.plot_deployment(found)
    """
    need_deployment(ds, "plot_deployment")
    names = [str(name) for name in ds["canopy"].values]
    if canopy is not None and canopy not in names:
        raise ValueError(f"plot_deployment: there is no canopy {shown(canopy)}; {suggestion(str(canopy), names, 'canopies')}")
    one = ds.sel(canopy=names[0] if canopy is None else canopy)
    if not np.isfinite(one["opening_load"].values).any():
        raise ValueError(f'plot_deployment: "{one["canopy"].item()}" never came out in these flights')
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(2, 1, figsize=(7.2, 7.6), layout="constrained", sharex=True, height_ratios=(3.0, 2.0))[1]
    top, below = np.ravel(axes)
    _loads(top, one)
    _speeds(below, one)
    return np.array([top, below])


def _loads(ax, one: xr.Dataset) -> None:
    """Draw loads over strengths, or where none is known the opening load."""
    known = [name for name in _CALLED if np.isfinite(one[name].values).any()]
    for k, name in enumerate(known):
        _band(ax, one["offset"], 100.0 * one[name], CYCLE[k], DASHES[k], _CALLED[name])
    if known:
        limit = 100.0 * one.attrs["load_share"]
        ax.axhline(limit, color=INK, lw=0.9, ls=":", label=f"limit, {limit:g} % of each strength")
        ax.axhline(100.0, color=INK, lw=1.3, label="strength: it breaks, or tears")
        ax.set_yscale("log")
        ax.set_yticks(*zip(*[(at, f"{at:g}") for at in DECADES]))
        ax.yaxis.minorticks_off()
        least = min(float(np.nanmin(one[name].values)) for name in known)
        ax.set_ylim(max(60.0 * least, LEAST), 1.5 * max(100.0, *(100.0 * float(np.nanmax(one[name].values)) for name in known)))
        ax.set_ylabel("load over strength (%), logarithmic scale")
    else:
        _band(ax, one["offset"], one["opening_load"], CYCLE[0], DASHES[0], "opening load; no strength is known")
        ax.set_ylabel("opening load (N)")
    _window(ax, one)
    _rug(ax, one)
    dress(ax, f"{one.attrs.get('title', 'untitled')}\n{one['canopy'].item()}: deployed before and after apogee, {one.attrs['flights']} flights at each time")
    _legend(ax, logarithmic=bool(known))


def _legend(ax, *, logarithmic: bool) -> None:
    """Give axes a legend in room of its own above; on a logarithmic scale that room is a share of its decades."""
    if not logarithmic:
        legend_on_top(ax, 2)
        return
    low, high = ax.get_ylim()
    rows = -(-len(ax.get_legend_handles_labels()[1]) // 2)
    ax.set_ylim(low, high * (high / low) ** (0.085 * rows))
    ax.legend(fontsize=8.0, frameon=False, loc="upper left", ncols=2, columnspacing=1.2, borderaxespad=0.2, handlelength=1.8)


def _band(ax, offset, values: xr.DataArray, colour: str, dashes, name: str) -> None:
    known = np.isfinite(values).any("flight").values
    low, middle, high = values.isel(offset=known).quantile(QUANTILES, "flight", skipna=True).values
    at = offset.values[known]
    ax.fill_between(at, low, high, color=colour, alpha=0.18, lw=0.0)
    ax.plot(at, middle, color=colour, ls=dashes, lw=LINE + 0.3, label=name)


def _window(ax, one: xr.Dataset) -> None:
    low, high = float(one["window_low"]), float(one["window_high"])
    if np.isfinite(low):
        text = f"all below the limit in {100.0 * one.attrs['share']:g} % of flights"
        ax.axvspan(low, high, color=PALE, alpha=0.5, lw=0.0, label=text, zorder=0.3)


def _rug(ax, one: xr.Dataset) -> None:
    """Mark when the flights' own deployments come, at the lower edge."""
    across, (first, last) = ax.get_xaxis_transform(), one["offset"].values[[0, -1]]
    for k, (name, text) in enumerate(_RUG):
        if name not in one:
            continue
        at = one[name]
        if k:
            late = f"late_apogee: {one['stage'].item()}"
            if late not in at["failure"].values:
                continue
            at = at.sel(failure=late)
        at = at.values[np.isfinite(at.values)]
        inside = at[(at >= first) & (at <= last)]
        if inside.size:
            ax.plot(inside, np.full(inside.size, 0.03 + 0.05 * k), "|", color=CYCLE[3 + k], ms=9.0, mew=1.3, transform=across, label=text, zorder=4)


def _speeds(ax, one: xr.Dataset) -> None:
    """Draw airspeed and angle at line stretch."""
    _band(ax, one["offset"], one["line_stretch_airspeed"], CYCLE[0], DASHES[0], "airspeed at line stretch")
    ax.set(xlabel="deployment after apogee (s)", ylabel="airspeed (m/s)")
    ax.set_ylim(0.0, 1.05 * float(np.nanmax(one["line_stretch_airspeed"].values)))
    dress(ax)
    other = second_axis(ax, "angle between body and air (deg)", CYCLE[1])
    _band(other, one["offset"], np.degrees(one["line_stretch_incidence"]), CYCLE[1], DASHES[1], "angle at line stretch")
    other.set_ylim(0.0, 180.0)
    lines = [*ax.get_legend_handles_labels()[0], *other.get_legend_handles_labels()[0]]
    before = ax.get_ylim()
    legend_on_top(ax, 2, handles=lines)
    other.set_ylim(0.0, 180.0 * ax.get_ylim()[1] / before[1])
    other.set_yticks([0.0, 45.0, 90.0, 135.0, 180.0])

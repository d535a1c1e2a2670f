"""Views of one flight's path: from behind the rail, in three dimensions, and on a map. Each takes the Dataset of `sixdof.fly`."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, LINE, axes_or_new, dress, fitted_size, label, legend, legend_above, need_numbers
from sixdof.study.reading.result import body_of, climb, happened, is_ensemble, meaningful, mission_of, need_ensemble, need_flight, own_events, pieces
from sixdof.world.geodesy import place_on_earth

_TIMES = ("event_time", "event", "body")
LEAST_WIDTH = 0.3  # of a view's height: a path straight up is not a view
TICKS_3D = 4
MARKED = {"apogee": "^", "deployment": "v", "landing": "x"}  # events on a path in three dimensions and their markers


def crossrange(ds: xr.Dataset, east: str, north: str, who: str) -> np.ndarray:
    """Return the distance (m) to the right of the vertical plane through the rail, seen from behind it."""
    azimuth = mission_of(ds, who).rail.azimuth
    return ds[east].values * math.cos(azimuth) - ds[north].values * math.sin(azimuth)


def plot_behind(ds: xr.Dataset, *, ax=None):
    """Draw the flight as seen from behind the rail: height over the distance to the right of its azimuth, m, equal scales.

    What the wind across the rail does shows here alone. Returns the axes.

    ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_behind(flight)
    """
    need_flight(ds, "plot_behind", "east", "north", "height", "event_east", "event_north", "event_height", *_TIMES)
    need_numbers(ds, "plot_behind", "east", "north", "height")
    ax = axes_or_new(ax, size=(4.4, 5.6))
    across, height = crossrange(ds, "east", "north", "plot_behind"), ds["height"].values
    top = ds.sel(time=climb(ds)).sizes["time"]
    ax.plot(across[:top], height[:top], color=CYCLE[0], lw=LINE + 0.4, label="up to apogee")
    if top < height.size:
        ax.plot(across[top - 1 :], height[top - 1 :], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="after apogee")
    front = body_of(ds)
    places = crossrange(front, "event_east", "event_north", "plot_behind")
    for name, i in happened(ds):
        if name.split(" ")[0] in MARKED:
            ax.plot(places[i], front["event_height"].values[i], "o", ms=3.0, color=INK, zorder=3)
    ax.set(xlabel="right of the launch azimuth (m)", ylabel=label(ds["height"]))
    half = 0.5 * LEAST_WIDTH * np.ptp(height)
    ax.update_datalim([(-half, 0.0), (half, 0.0)])
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    legend_above(ax, 2)
    dress(ax)
    ax.axvline(0.0, color=GREY, lw=0.6, zorder=0.5)
    return ax


def plot_path(ds: xr.Dataset, *, ax=None):
    """Draw the path of every body in three dimensions, m, equal scales, with its shadow on the ground; apogees, openings, landings marked.

    ax : axes with projection "3d", or None for a new figure. Returns the axes. Raises ValueError for axes of another kind.

    Examples
    --------
    >>> ax = sixdof.plot.plot_path(flight)
    """
    names = [f"{of}_{what}" for of in ("body", "event") for what in ("east", "north", "height")]
    need_flight(ds, "plot_path", *names, "status", "body_status", *_TIMES)
    need_numbers(ds, "plot_path", "body_east", "body_north", "body_height")
    if ax is None:
        import matplotlib.pyplot as plt

        ax = plt.subplots(figsize=(6.4, 6.2), layout="constrained", subplot_kw={"projection": "3d"})[1]
    if ax.name != "3d":
        raise ValueError('plot_path: ax must be axes in three dimensions, such as figure.add_subplot(projection="3d") makes')
    for k in pieces(ds):
        _draw_path(ax, ds, k)
    ax.plot([0.0], [0.0], [0.0], "s", ms=5.0, color=INK, label="rail")
    _equal_scales(ax, ds)
    ax.set_xlabel("east (m)", fontsize=FONT, color=INK)
    ax.set_ylabel("north (m)", fontsize=FONT, color=INK)
    ax.set_zlabel("height (m)", fontsize=FONT, color=INK)
    ax.tick_params(labelsize=FONT - 1.0, labelcolor=INK, pad=0.0)
    ax.legend(fontsize=FONT, frameon=False, loc="upper left", ncols=2)
    return ax


def _draw_path(ax, ds: xr.Dataset, k: int) -> None:
    colour = CYCLE[k % len(CYCLE)]
    east, north, height = (ds[f"body_{name}"].values[k] for name in ("east", "north", "height"))
    known = np.isfinite(height)
    ax.plot(east[known], north[known], height[known], color=colour, lw=LINE + 0.4, label=str(ds["body"].values[k]))
    ax.plot(east[known], north[known], 0.0 * height[known], color=colour, lw=0.7, alpha=0.45, gid=f"of:{ds['body'].values[k]}")
    at = {name: ds[f"event_{name}"].values[k] for name in ("east", "north", "height")}
    for name, i in own_events(ds, k):
        marker = MARKED.get(name.split(" ")[0])
        if marker:
            ax.plot([at["east"][i]], [at["north"][i]], [at["height"][i]], marker, ms=5.0, color=colour, mec=INK, mew=0.7)


def _equal_scales(ax, ds: xr.Dataset) -> None:
    """Give the three axes one scale, and few ticks where one is short."""
    ends = []
    for name in ("east", "north", "height"):
        values = ds[f"body_{name}"].values
        ends.append([min(float(np.nanmin(values)), 0.0), max(float(np.nanmax(values)), 0.0)])
    longest = max(high - low for low, high in ends)
    for pair in ends[:2]:
        short = max(0.35 * longest - (pair[1] - pair[0]), 0.0)
        pair[:] = [pair[0] - 0.5 * short, pair[1] + 0.5 * short]
    ax.set(xlim=ends[0], ylim=ends[1], zlim=ends[2])
    ax.set_box_aspect([high - low for low, high in ends], zoom=0.92)
    for axis, (low, high) in zip((ax.xaxis, ax.yaxis, ax.zaxis), ends, strict=True):
        axis.get_major_locator().set_params(nbins=max(2, round(2 * TICKS_3D * (high - low) / longest)))


def plot_map(ds: xr.Dataset, *, ax=None):
    """Draw where every body comes down on a plain map: metres east and north of the rail, degrees of longitude and latitude along top and right.

    ds : one flight, whose ground tracks are drawn too, or an ensemble, every landing place a point. Equal scales, north up; no background: what lies
    under the places (roads, people, water) has to be looked up by their coordinates. Returns the axes.

    ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_map(flight)
    """
    many = is_ensemble(ds) if isinstance(ds, xr.Dataset) else False
    (need_ensemble if many else need_flight)(ds, "plot_map", "body_landing_east", "body_landing_north", "status", "body_status", "body")
    need_numbers(ds, "plot_map", *(() if many else ("body_east", "body_north")), "body_landing_east", "body_landing_north")
    site = mission_of(ds, "plot_map").site
    of = "body_landing" if many else "body"
    ax = axes_or_new(ax, size=fitted_size(ds[f"{of}_east"], ds[f"{of}_north"]))
    for k in pieces(ds):
        _draw_landing(ax, ds, k, many)
    ax.plot(0.0, 0.0, "s", ms=5.0, color=INK, label="rail", zorder=4)
    ax.set(xlabel="east of the rail (m)", ylabel="north of the rail (m)")
    ax.set_aspect("equal", adjustable="datalim")
    box = ax.dataLim
    room = 0.05 * max(box.width, box.height, 10.0)
    ax.update_datalim([(box.x0 - room, box.y0 - room), (box.x1 + room, box.y1 + room)])
    ax.autoscale_view()
    legend(ax, loc="upper left", bbox_to_anchor=(0.0, -0.1), ncols=2)
    dress(ax)
    _degrees_beside(ax, site)
    return ax


def _draw_landing(ax, ds: xr.Dataset, k: int, many: bool) -> None:
    colour, name = CYCLE[k % len(CYCLE)], str(ds["body"].values[k])
    east, north = (np.atleast_1d(ds[f"body_landing_{of}"].isel(body=k).values).astype(float) for of in ("east", "north"))
    known = np.isfinite(east) & np.isfinite(north) & meaningful(ds)
    if many:
        ax.plot(east[known], north[known], "o", ms=3.0, mew=0.0, color=colour, label=f"{name}, {int(known.sum())} down", zorder=2 + 0.1 * k)
        return
    ax.plot(ds["body_east"].values[k], ds["body_north"].values[k], color=colour, lw=LINE, ls=DASHES[k % len(DASHES)], label=name)
    ax.plot(east[known], north[known], "x", ms=7.0, mew=1.6, color=colour, zorder=3)


def _degrees_beside(ax, site) -> None:
    """Draw longitude along the top and latitude along the right side: over some kilometres straight scales, to a metre."""
    span = 1000.0
    (lat0, lon0), (lat1, _), (_, lon1) = (place_on_earth(site, *place, 0.0) for place in ((0.0, 0.0), (0.0, span), (span, 0.0)))
    for where, start, slope, text in (("top", lon0, (lon1 - lon0) / span, "longitude (deg)"), ("right", lat0, (lat1 - lat0) / span, "latitude (deg)")):
        turn = (lambda m, a=start, b=slope: a + b * m, lambda d, a=start, b=slope: (d - a) / b)
        beside = ax.secondary_xaxis("top", functions=turn) if where == "top" else ax.secondary_yaxis("right", functions=turn)
        axis = beside.xaxis if where == "top" else beside.yaxis
        axis.set_major_formatter("{x:.4f}")
        axis.get_major_locator().set_params(nbins=4)
        beside.tick_params(labelsize=FONT - 1.0, width=0.6, length=2.0, color=GREY, labelcolor=GREY, pad=1.0)
        beside.spines[where].set(linewidth=0.6, color=GREY)
        (beside.set_xlabel if where == "top" else beside.set_ylabel)(text, fontsize=FONT, color=GREY)

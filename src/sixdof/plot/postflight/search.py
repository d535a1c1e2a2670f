"""A printable map of where to search: areas of a body, what was walked, strips in their order, grid in metres and in degrees, scale, north, distances."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.preflight.landing import draw_area, scale_and_north
from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, axes_or_new, dress, fitted_size, legend_beside
from sixdof.postflight.search.areas import outlines
from sixdof.postflight.search.position import site_of
from sixdof.postflight.search.strips import box_of
from sixdof.postflight.search.swept import area_of, passes_of
from sixdof.postflight.search.text import need_map
from sixdof.postflight.search.walked import kept
from sixdof.study.landing.field import field_of
from sixdof.world.geodesy import place_on_earth

MOST_NUMBERED = 12  # strips that get their number: more would hide each other
ROOM = 0.06  # of the larger side, about what is drawn


def plot_search_map(ds: xr.Dataset, body: str | None = None, *, ax=None):
    """Draw where to search for a body: areas that hold 50 to 95 %, what was walked, the next strips with their numbers, rail, last fix, no-go areas.

    North is up, scales are equal, metres east and north of the rail below and at the left, latitude and longitude above and at the right. For print:
    `sixdof.plot.plot_search_map(found).figure.savefig("search.pdf")`.

    ds : what `search_map`, `with_walked` or `next_strips` returned. body : None takes the first that a plan looks for, or the first. ax : to draw into.

    Raises ValueError for anything else, and for a body that the map has not.

    Examples
    --------
    >>> ax = sixdof.plot.plot_search_map(sixdof.postflight.search_map(flights, cell="20 m"))
    """
    import shapely

    need_map(ds, "plot_search_map")
    names = [str(name) for name in ds["body"].values]
    name = body or (str(ds.attrs["plan_bodies"]).split("\n")[0] if "plan_bodies" in ds.attrs else names[0])
    if name not in names:
        raise ValueError(f"plot_search_map: there is no body {shown(name)}; it is one of {', '.join(names)}")
    site, one = site_of(ds), ds.sel(body=name)
    box = _box(ds, one)
    wide, high = fitted_size(np.array(box[:2]), np.array(box[2:]), area=46.0)
    ax = axes_or_new(ax, size=(wide + 2.2, high + 0.5))
    ax.set(xlim=box[:2], ylim=box[2:], xlabel="east of the rail (m)", ylabel="north of the rail (m)")
    ax.set_aspect("equal", adjustable="box", anchor="W")
    _density(ax, one)
    if "field" in ds.attrs and site is not None:
        no_go = field_of(ds.attrs["field"], site).no_go
        west, east, south, north = box
        if no_go is not None and no_go.intersects(shapely.box(west, south, east, north)):
            draw_area(ax, no_go, CYCLE[1], "////", 0.12, "no-go area")
    _walked(ax, ds, name)
    for k, (share, rings) in enumerate(outlines(ds, name).items()):
        for number, ring in enumerate(rings):
            ax.plot(
                *ring.T, color=CYCLE[0], lw=2.2 - 0.4 * k, ls=DASHES[k], label=None if number else f"lies inside with {100.0 * share:g} %", gid="cut", zorder=4
            )
    _strips(ax, ds)
    for label, at, mark in (("rail", (0.0, 0.0), "^"), ("last fix", (ds.attrs.get("last_fix_east", math.nan), ds.attrs.get("last_fix_north")), "X")):
        if math.isfinite(at[0]) and box[0] < at[0] < box[1] and box[2] < at[1] < box[3]:
            ax.plot(*at, mark, ms=8.0, color=INK, mec="white", mew=0.8, label=label, zorder=6)
    scale_and_north(ax, box)
    if site is not None:
        _degrees(ax, site, box)
    legend_beside(ax, bbox_to_anchor=(1.16, 0.5))
    dress(ax)
    ax.figure.suptitle(_title(ds, one, name), fontsize=FONT + 1.0, color=INK, x=0.01, ha="left")
    return ax


def _title(ds: xr.Dataset, one: xr.Dataset, name: str) -> str:
    away = math.hypot(float(one["best_east"]), float(one["best_north"]))
    bearing = math.degrees(math.atan2(float(one["best_east"]), float(one["best_north"]))) % 360.0
    found = f"; found by now with {100.0 * float(one['found_by_now']):.0f} %" if float(one["found_by_now"]) > 0.0 else ""
    text = f"most probable {away:.0f} m from the rail, {bearing:03.0f} deg true\non this map with {100.0 * float(one['in_area']):.0f} %{found}"
    return f"{ds.attrs.get('title', '')}\nwhere to search for {name}: {text}"


def _box(ds: xr.Dataset, one: xr.Dataset) -> tuple[float, float, float, float]:
    """Return west, east, south, north (m) of a map that holds what holds nearly all, the rail and the last fix where they are near, and the strips."""
    west, east, south, north = box_of(one["probability"].values, ds["east"].values, ds["north"].values, 0.97)
    size = max(east - west, north - south)
    near = [(0.0, 0.0), (ds.attrs.get("last_fix_east", 0.0), ds.attrs.get("last_fix_north", 0.0))]
    places = [(x, y) for x, y in near if west - size < x < east + size and south - size < y < north + size]
    if "strip" in ds.dims:
        places += [place for end in ("start", "end") for place in zip(ds[f"strip_{end}_east"].values, ds[f"strip_{end}_north"].values)]
    corners = np.array([(west, south), (east, north), *places])
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = ROOM * float(max(high - low))
    return low[0] - room, high[0] + room, low[1] - room, high[1] + room


def _density(ax, one: xr.Dataset) -> None:
    from matplotlib.colors import LinearSegmentedColormap

    shade = LinearSegmentedColormap.from_list("search", ["#ffffff", "#dbe8f6", "#9fbfe3"])
    values, half = one["probability"].values, 0.5 * float(one.attrs["cell"])
    ends = (float(one["east"][0]) - half, float(one["east"][-1]) + half, float(one["north"][0]) - half, float(one["north"][-1]) + half)
    limits = ax.get_xlim(), ax.get_ylim()
    ax.imshow(values, extent=ends, origin="lower", cmap=shade, vmin=0.0, vmax=max(float(values.max()), 1e-300), zorder=0, interpolation="nearest")
    ax.set(xlim=limits[0], ylim=limits[1])


def _walked(ax, ds: xr.Dataset, name: str) -> None:
    import shapely

    shapes = [area_of(entry) if entry["kind"] == "area" else shapely.union_all(passes_of(entry)) for entry in kept(ds) if name in entry["body"]]
    west, east = ax.get_xlim()
    south, north = ax.get_ylim()
    area = shapely.intersection(shapely.union_all(shapes), shapely.box(west, south, east, north)) if shapes else None
    if area is not None and area.area > 0.0:
        polygons = shapely.MultiPolygon([part for part in getattr(area, "geoms", [area]) if part.geom_type == "Polygon"])
        draw_area(ax, polygons, GREY, "....", 0.12, "walked")


def _strips(ax, ds: xr.Dataset) -> None:
    for k in range(ds.sizes.get("strip", 0)):
        one = ds.isel(strip=k)
        (x0, y0), (x1, y1) = ((float(one[f"strip_{end}_east"]), float(one[f"strip_{end}_north"])) for end in ("start", "end"))
        ax.plot([x0, x1], [y0, y1], color=CYCLE[1], lw=1.6, label=None if k else "strips to walk, in their order", zorder=5)
        ax.annotate("", (x1, y1), (0.9 * x1 + 0.1 * x0, 0.9 * y1 + 0.1 * y0), arrowprops={"arrowstyle": "-|>", "color": CYCLE[1], "lw": 1.6}, zorder=5)
        if k < MOST_NUMBERED:
            ax.plot(x0, y0, marker="o", ms=9.0, color="white", mec=CYCLE[1], mew=1.0, zorder=5.5)
            ax.plot(x0, y0, marker=f"${k + 1}$", ms=4.0 if k < 9 else 6.0, color=CYCLE[1], mec=CYCLE[1], mew=0.3, zorder=5.6)


def _degrees(ax, site, box) -> None:
    """Give axes a second scale each, above in longitude and at the right in latitude: exact along the edge that it stands at."""
    xs, ys = np.linspace(box[0], box[1], 4)[1:-1], np.linspace(box[2], box[3], 5)[1:-1]
    longitude = place_on_earth(site, xs, np.full(xs.size, box[3]), np.zeros(xs.size))[1]
    latitude = place_on_earth(site, np.full(ys.size, box[1]), ys, np.zeros(ys.size))[0]
    for axis, at, degrees, text in (
        (ax.secondary_xaxis("top"), xs, longitude, "longitude (deg)"),
        (ax.secondary_yaxis("right"), ys, latitude, "latitude (deg)"),
    ):
        own = axis.xaxis if text.startswith("long") else axis.yaxis
        own.set_ticks(at, [f"{one:.5f}" for one in degrees])
        own.set_label_text(text, fontsize=FONT, color=GREY)
        axis.tick_params(labelsize=FONT - 1.0, width=0.6, length=3.0, color=GREY, labelcolor=GREY)

"""A map of where it lands, for whoever runs the range: field, people, contours of each body, rail, scale and north; no tiles, no network."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, axes_or_new, dress, fitted_size, legend_beside
from sixdof.study.landing.field import Field, field_of
from sixdof.study.landing.groups import ALL, SHARES, contours, places_in
from sixdof.study.reading.result import mission_of, need_table

FIELD, NO_GO, PEOPLE = CYCLE[2], CYCLE[1], CYCLE[5]
BODIES = (CYCLE[0], CYCLE[3], CYCLE[4], CYCLE[5], CYCLE[1], CYCLE[2])  # the field's green and the no-go areas' red come last
WIDEST = 2.2  # points: the line of the contour that holds least
FEW = 10  # landing places below which each gets a mark that is seen
MOST_WAIVER = 1.8  # diameter of a waiver that the map still holds, over the larger side of what else is drawn
ROOM = 0.08  # of the larger side, about what is drawn


def plot_landing_map(ds: xr.Dataset, *, branch: str = ALL, shares: Sequence[float] = SHARES, ax=None):
    """Draw what `sixdof.preflight.landing` found as a map: field, no-go areas, people, waiver, rail, landing places and their contours by body.

    North is up, scales are equal, metres east and north of the rail. Contours hold the shares of the landing places, the thickest line the smallest share;
    a body with too few of them for a contour has marks alone.

    branch : whose landing places are drawn, "all" for all flights as drawn. shares : of contours. ax : to draw into; new ones by default.

    Raises ValueError for what `landing` did not return, and a branch that it does not hold.

    Examples
    --------
    >>> ax = sixdof.plot.plot_landing_map(sixdof.preflight.landing(flights))
    """
    need_table(ds, "plot_landing_map", "preflight.landing", "flight_branch", "contour_area")
    known = [str(name) for name in ds["branch"].values]
    if branch not in known:
        raise ValueError(f"plot_landing_map: there is no branch {branch!r}; it is one of {', '.join(known)}")
    field = field_of(ds.attrs.get("field"), mission_of(ds, "plot_landing_map").site, "plot_landing_map")
    circles = [(one.east, one.north, one.radius) for one in field.waivers]
    circles += [(0.0, 0.0, ds.attrs["waiver_radius"])] if "waiver_radius" in ds.attrs else []
    box = _box(ds, field, circles, branch)
    ax = axes_or_new(ax, size=_size(box))
    _draw_field(ax, field, circles, box)
    for k, body in enumerate(map(str, ds["body"].values)):
        _draw_body(ax, ds, body, branch, shares, BODIES[k % len(BODIES)])
    ax.plot(0.0, 0.0, "^", ms=8.0, color=INK, mec="white", mew=0.8, label="rail", zorder=6)
    drawn = [share for share in shares if np.isfinite(ds["contour_area"].sel(branch=branch, share=share).values).any()] if ds["contour_area"].size else []
    for share in drawn:
        ax.plot([], [], color=INK, lw=_width(share, shares), ls=_dash(share, shares), label=f"holds {100.0 * share:g} % of them")
    ax.set(xlabel="east of the rail (m)", ylabel="north of the rail (m)", xlim=box[:2], ylim=box[2:])
    ax.set_aspect("equal", adjustable="box", anchor="W")
    scale_and_north(ax, box)
    legend_beside(ax)
    dress(ax, _title(ds, branch))
    return ax


def _title(ds: xr.Dataset, branch: str) -> str:
    title = f"{ds.attrs.get('title', '')}"
    if branch != ALL:
        title += f", {branch}"
    if "limit" in ds.dims:
        last = ds.isel(limit=-1)
        name = str(last["limit"].values)
        what = "a limit is not kept" if name.startswith("any") else name
        span = f"{100.0 * float(last.probability_low):.1f} to {100.0 * float(last.probability_high):.1f} %"
        title += f"\n{what} in {100.0 * float(last.probability):.1f} % of flights ({100.0 * ds.attrs['confidence']:.0f} % interval {span})"
    return title


# ---------------------------------------------------------------- how large


def _box(ds: xr.Dataset, field: Field, circles, branch: str) -> tuple[float, float, float, float]:
    """Return west, east, south, north (m) of a map that holds the rail, all landing places, the field and the waiver where it is not far larger."""
    places = [np.zeros((1, 2)), *(places_in(ds, branch, str(body)) for body in ds["body"].values)]
    for region in (region for body in map(str, ds["body"].values) for region in contours(ds, body, branch).values()):
        places += region.polygons
    for area in (field.inside, field.no_go, field.people):
        if area is not None:
            west, south, east, north = area.bounds
            places.append(np.array([[west, south], [east, north]]))
    low, high = (pick(np.concatenate(places), axis=0) for pick in (np.min, np.max))
    for east, north, r in circles:
        if 2.0 * r < MOST_WAIVER * max(high - low):  # a circle far larger than all else would leave nothing to see: it is cut
            low, high = np.minimum(low, [east - r, north - r]), np.maximum(high, [east + r, north + r])
    room = ROOM * max(*(high - low), 50.0)
    return low[0] - room, high[0] + room, low[1] - room, high[1] + room


def _size(box) -> tuple[float, float]:
    wide, high = fitted_size(np.array(box[:2]), np.array(box[2:]), area=42.0)
    return wide + 1.7, high  # the legend stands beside


# ---------------------------------------------------------------- what is drawn


def _draw_field(ax, field: Field, circles, box) -> None:
    for area, colour, hatch, alpha, label in (
        (field.inside, FIELD, None, 0.10, "field"),
        (field.no_go, NO_GO, "////", 0.12, "no-go area"),
        (_only(field.people, "Polygon"), PEOPLE, "....", 0.15, "people"),
    ):
        if area is not None:
            draw_area(ax, area, colour, hatch, alpha, label)
    shown = _only(field.people, "Polygon") is not None
    for part in _parts(field.people):
        if part.geom_type != "Polygon":
            look = (
                {"color": PEOPLE, "lw": 2.4, "zorder": 3}
                if part.geom_type == "LineString"
                else {"color": PEOPLE, "marker": "X", "ms": 8.0, "mec": INK, "ls": ""}
            )
            ax.plot(*np.asarray(part.coords).T, label=None if shown else "people", **look)
            shown = True
    _draw_waivers(ax, circles, box)


def _draw_waivers(ax, circles, box) -> None:
    """Draw the circles that come into the map, and say of others that they lie beyond it."""
    turn, label = np.linspace(0.0, 2.0 * math.pi, 361), "waiver"
    beyond = []
    for east, north, radius in circles:
        x, y = east + radius * np.cos(turn), north + radius * np.sin(turn)
        if ((x > box[0]) & (x < box[1]) & (y > box[2]) & (y < box[3])).any():
            ax.plot(x, y, color=GREY, lw=1.6, ls=(0, (8, 3, 1, 3)), label=label, gid="cut", zorder=2)
            label = None
        else:
            beyond.append(f"{radius:g} m")
    if beyond:
        text = f"waiver of {' and '.join(beyond)}: beyond the map"
        ax.text(0.015, 0.015, text, transform=ax.transAxes, fontsize=FONT, color=GREY, ha="left", va="bottom")


def _parts(area) -> list:
    return [] if area is None else list(getattr(area, "geoms", [area]))


def _only(area, kind: str):
    import shapely

    own = [part for part in _parts(area) if part.geom_type == kind]
    return shapely.union_all(own) if own else None


def draw_area(ax, area, colour: str, hatch, alpha: float, label: str) -> None:
    """Draw polygons with their holes as one patch."""
    from matplotlib.colors import to_rgba
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    rings = [np.asarray(ring.coords) for part in _parts(area) for ring in (part.exterior, *part.interiors)]
    path = Path.make_compound_path(*(Path(ring, closed=True) for ring in rings))
    ax.add_patch(PathPatch(path, facecolor=to_rgba(colour, alpha), edgecolor=colour, hatch=hatch, lw=1.4, label=label, zorder=1))


def _draw_body(ax, ds: xr.Dataset, body: str, branch: str, shares, colour: str) -> None:
    known = places_in(ds, branch, body)
    if not len(known):
        return
    few = len(known) < FEW
    look = {"marker": "D", "ms": 5.0, "mec": INK, "mew": 0.7} if few else {"marker": "o", "ms": 2.6, "mew": 0.0, "alpha": 0.4}
    ax.plot(*known.T, ls="", color=colour, label=f"{body}: {len(known)} down", zorder=3.5 if few else 3, **look)
    for share, region in contours(ds, body, branch, shares).items():
        for polygon in region.polygons:
            ax.plot(*polygon.T, color=colour, lw=_width(share, shares), ls=_dash(share, shares), zorder=4)


def _width(share: float, shares) -> float:
    order = sorted(shares)
    return WIDEST - (WIDEST - 0.9) * order.index(share) / max(len(order) - 1, 1)


def _dash(share: float, shares):
    return DASHES[sorted(shares).index(share) % len(DASHES)]


def scale_and_north(ax, box) -> None:
    """Draw a bar of a round length and an arrow to the north into the lower and the upper right corner."""
    wide = box[1] - box[0]
    length = _round_length(0.22 * wide)
    white = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5}
    across, up = ax.transData, ax.transAxes
    from matplotlib.transforms import blended_transform_factory

    right = box[1] - 0.03 * wide
    ax.plot([right - length, right], [0.04, 0.04], color=INK, lw=3.0, solid_capstyle="butt", transform=blended_transform_factory(across, up), zorder=7)
    text = f"{length / 1000.0:g} km" if length >= 1000.0 else f"{length:g} m"
    ax.text(
        right - 0.5 * length,
        0.055,
        text,
        transform=blended_transform_factory(across, up),
        ha="center",
        va="bottom",
        fontsize=FONT,
        color=INK,
        bbox=white,
        zorder=7,
    )
    arrow = {"arrowstyle": "-|>", "color": INK, "lw": 1.6, "mutation_scale": 14}
    ax.annotate("", (0.96, 0.975), (0.96, 0.885), xycoords=up, textcoords=up, arrowprops=arrow, zorder=7)
    ax.text(0.96, 0.875, "N", transform=up, ha="center", va="top", fontsize=FONT + 2.0, color=INK, weight="bold", bbox=white, zorder=7)


def _round_length(about: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is no longer than `about`."""
    tens = 10.0 ** math.floor(math.log10(about))
    return max(step * tens for step in (1.0, 2.0, 5.0) if step * tens <= about * (1.0 + 1e-9))


# ---------------------------------------------------------------- the rail


def plot_rail_map(ds: xr.Dataset, *, limit: str | None = None, ax=None):
    """Draw what `sixdof.preflight.rail_map` found over azimuth and elevation of the rail, with its numbers, the best direction and the mission's own.

    Colours and numbers are the probability that a limit is not kept, in per cent; without limits the distance that holds 95 % of the farthest pieces.

    limit : which of the limits; None takes the last, that of any of them. ax : to draw into; new ones by default.

    Raises ValueError for what `rail_map` did not return, and for a limit that it does not hold.

    Examples
    --------
    >>> leans = sixdof.preflight.rail_map(mission, 3, azimuths=["90 deg", "270 deg"], elevations=["85 deg", "88 deg"], progress=False)
    >>> ax = sixdof.plot.plot_rail_map(leans)
    """
    need_table(ds, "plot_rail_map", "preflight.rail_map", "landing_distance_95")
    ds = ds.sortby(["rail_azimuth", "rail_elevation"])
    values, unit, title, digits = _mapped(ds, limit)
    azimuth, elevation = (np.degrees(ds[f"rail_{name}"].values) for name in ("azimuth", "elevation"))
    ax = axes_or_new(ax, size=(2.6 + 0.62 * max(len(azimuth), 5), 2.0 + 0.55 * max(len(elevation), 3)))
    from matplotlib.colors import LinearSegmentedColormap

    shade = LinearSegmentedColormap.from_list("rail", ["#f7fbff", "#9fbfe3", CYCLE[0]])
    image = ax.imshow(values.T, cmap=shade, vmin=0.0, vmax=max(float(np.nanmax(values)), 1e-9), aspect="auto", origin="lower")
    _numbers(ax, values, digits)
    _marks(ax, ds, azimuth, elevation)
    ax.set_xticks(range(len(azimuth)), [f"{one:.0f}" for one in azimuth])
    ax.set_yticks(range(len(elevation)), [f"{one:g}" for one in np.round(elevation, 1)])
    ax.set(xlabel="rail azimuth (deg true)", ylabel="rail elevation (deg)")
    bar = ax.figure.colorbar(image, ax=ax, pad=0.02)
    bar.set_label(unit, fontsize=FONT)
    bar.ax.tick_params(labelsize=FONT)
    legend_beside(ax, loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=2)
    dress(ax, f"{ds.attrs.get('title', '')}\n{title}, {ds.attrs['flights']} flights a cell")
    ax.grid(False)
    return ax


def _mapped(ds: xr.Dataset, limit: str | None):
    """Return what is shown (azimuth, elevation), its unit, its title and the decimals of the numbers."""
    if "limit" not in ds.dims:
        if limit is not None:
            raise ValueError(f"plot_rail_map: this map has no limits, and so no {limit!r}; leave limit out")
        return ds["landing_distance_95"].values, "distance (m)", "95 % of the farthest pieces land within", 0
    known = [str(name) for name in ds["limit"].values]
    if limit is not None and limit not in known:
        raise ValueError(f"plot_rail_map: there is no limit {limit!r}; it is one of {', '.join(known)}")
    name = known[-1] if limit is None else limit
    text = "a limit is not kept" if name.startswith("any") else name
    return 100.0 * ds["probability"].sel(limit=name).values, "probability (%)", f"probability that {text}", 0


def _numbers(ax, values: np.ndarray, digits: int) -> None:
    most = float(np.nanmax(values))
    for (i, j), value in np.ndenumerate(values):
        if np.isfinite(value):
            colour = "white" if value > 0.6 * most > 0.0 else INK
            ax.text(i, j, f"{value:.{digits}f}", ha="center", va="center", fontsize=FONT, color=colour)


def _marks(ax, ds: xr.Dataset, azimuth: np.ndarray, elevation: np.ndarray) -> None:
    """Frame the best cell, and mark the mission's own direction where it is within the grid."""
    i, j = (int(np.argmin(np.abs(own - math.degrees(ds.attrs[f"best_{name}"])))) for own, name in ((azimuth, "azimuth"), (elevation, "elevation")))
    frame = np.array([(-0.46, -0.46), (0.46, -0.46), (0.46, 0.46), (-0.46, 0.46), (-0.46, -0.46)]) + (i, j)
    ax.plot(*frame.T, color=CYCLE[1], lw=2.4, label="best of these", zorder=4)
    at = [_place_in(own, math.degrees(ds.attrs[f"written_{name}"])) for own, name in ((azimuth, "azimuth"), (elevation, "elevation"))]
    if None not in at:
        ax.plot(at[0], at[1] - 0.32, "v", ms=6.0, color=INK, mec="white", label="the mission's own", zorder=5)


def _place_in(grid: np.ndarray, value: float) -> float | None:
    """Return where a value lies among the numbers of rising grid lines; None outside of them."""
    return float(np.interp(value, grid, np.arange(len(grid)))) if grid[0] <= value <= grid[-1] else None

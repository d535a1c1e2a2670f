"""Figures of how much wind: limits by direction, and what another rail allows."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

from sixdof.mission.units import QuantityError, parse
from sixdof.plot.style import BAND, CYCLE, DASHES, FONT, GREY, INK, LINE, PALE, axes_or_new, dress, legend, legend_on_top
from sixdof.study.wind_limit.allowed import need_limits
from sixdof.study.wind_limit.first_failure import BEYOND
from sixdof.study.wind_limit.rail_text import need_rails, sense

MARKS = ("o", "s", "^", "D", "v", "P")  # of the criterion that binds: colour is never all that tells them apart
COARSE = 1.5  # tolerances: a limit between two winds that are farther apart is less sharp
RING = 1.12  # of the highest wind, where the axes end


def plot_wind_limit(ds: xr.Dataset, *, ax=None):
    """Draw the largest mean wind by the direction it comes from, with its interval; colour and mark tell which criterion fails first.

    Outside the line criteria fail; arrows point outwards where all hold up to the highest wind looked at. The rail's lean and the mission's own wind
    are marked.

    ds : what `wind_limit` returned. ax : polar axes to draw into, or None for a new figure.

    Raises ValueError for another Dataset, and for axes that are not polar.

    Examples
    --------
    >>> found = sixdof.preflight.wind_limit(mission, "tilt_max < 8 deg in 50 % of flights", directions=4, flights=4, winds=3, progress=False)
    >>> ax = sixdof.plot.plot_wind_limit(found)
    """
    need_limits(ds, "plot_wind_limit")
    ax = _compass(ax)
    highest = float(ds.attrs["highest"])
    _draw_line(ax, ds)
    for binds in sorted(set(ds["binds"].values.tolist()), key=lambda k: (k < 0, k)):
        _draw_points(ax, ds.isel(direction=ds["binds"].values == binds), binds)
    _draw_rail(ax, ds, highest)
    ax.plot([float(ds.attrs["wind_blows_from"])], [float(ds.attrs["wind_speed"])], "x", color=INK, ms=6.0, mew=1.4, label="the mission's own wind", zorder=6)
    ring = np.linspace(0.0, 2.0 * math.pi, 181)
    ax.plot(ring, np.full(ring.size, highest), color=GREY, lw=0.8, ls=DASHES[2], label=f"highest wind looked at, {highest:.1f} m/s", zorder=1.5)
    ax.set_ylim(0.0, RING * highest)
    _dress(ax, ds)
    return ax


def _compass(ax):
    """Return polar axes with north up, clockwise."""
    if ax is None:
        import matplotlib.pyplot as plt

        ax = plt.subplots(figsize=(6.4, 6.4), layout="constrained", subplot_kw={"projection": "polar"})[1]
    if ax.name != "polar":
        raise ValueError('plot_wind_limit draws into polar axes; make them with subplot_kw={"projection": "polar"}, or leave ax out')
    ax.set_theta_zero_location("N")
    ax.set_theta_direction(-1)
    return ax


def _draw_line(ax, ds: xr.Dataset) -> None:
    """Draw the limits joined, closed where they go round, the winds that are allowed shaded."""
    angle, limit = ds["direction"].values, ds["limit"].values
    order = np.argsort(angle)
    angle, limit = angle[order], limit[order]
    gaps = np.diff(np.append(angle, angle[0] + 2.0 * math.pi))
    if angle.size > 2 and gaps.max() < math.pi:
        angle, limit = np.append(angle, angle[0] + 2.0 * math.pi), np.append(limit, limit[0])
        ax.fill(angle, limit, color=BAND, zorder=0.5)
        ax.plot(angle, limit, color=GREY, lw=LINE, zorder=2)


def _draw_points(ax, ds: xr.Dataset, binds: int) -> None:
    """Draw the limits that one criterion sets, with their intervals; binds : its number, -1 for bounds."""
    angle, limit = ds["direction"].values, ds["limit"].values
    colour = CYCLE[binds % len(CYCLE)] if binds >= 0 else INK
    high = np.where(np.isfinite(ds["limit_high"].values), ds["limit_high"].values, ds.attrs["highest"])
    named = textwrap.fill(f"{binds + 1}  {ds['criterion'].values[binds]}" if binds >= 0 else "all criteria hold up to the highest wind", 84)
    for a, low, top in zip(angle, ds["limit_low"].values, high, strict=True):
        ax.plot([a, a], [low, top], color=colour, lw=5.0, alpha=0.4, solid_capstyle="butt", gid=f"of:{named}", zorder=3)
    mark = MARKS[binds % len(MARKS)] if binds >= 0 else "o"
    ax.plot(angle, limit, mark, color=colour, ms=4.5, mfc="white" if binds < 0 else colour, label=named, zorder=4)
    for a, r in zip(angle[ds["limit_kind"].values == BEYOND], limit[ds["limit_kind"].values == BEYOND], strict=True):
        ax.annotate("", (a, RING * r), (a, 0.9 * r), arrowprops={"arrowstyle": "-|>", "color": colour, "lw": LINE}, zorder=4)


def _draw_rail(ax, ds: xr.Dataset, highest: float) -> None:
    """Draw where the rail leans: a line out of the middle."""
    azimuth, lean = float(ds.attrs["rail_azimuth"]), 90.0 - math.degrees(float(ds.attrs["rail_elevation"]))
    named = f"the rail leans {lean:.1f} deg towards {math.degrees(azimuth) % 360.0:.0f} deg"
    ax.plot([azimuth, azimuth], [0.0, 0.55 * highest], color=INK, lw=2.2, label=named, zorder=5)
    ax.annotate("", (azimuth, 0.6 * highest), (azimuth, 0.5 * highest), arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 2.2}, zorder=5)


def _dress(ax, ds: xr.Dataset) -> None:
    ax.set_xticks(np.arange(8) * math.pi / 4.0, ["N", "NE", "E", "SE", "S", "SW", "W", "NW"])
    ax.tick_params(labelsize=FONT, labelcolor=INK)
    ax.grid(True, linewidth=0.4, color=PALE)
    ax.spines["polar"].set(linewidth=0.6, color=PALE)
    ax.set_rlabel_position(math.degrees(float(ds.attrs["rail_azimuth"])) + 112.5)
    said = ds.attrs
    what = f"Largest mean wind by where it comes from, with its {100.0 * said['confidence']:g} % interval"
    ax.set_ylabel(f"mean wind at {said['reference_height']:g} m (m/s)", fontsize=FONT + 0.5, color=INK, labelpad=26.0)
    ax.set_title(f"{said.get('title', '')}\n{what}", fontsize=FONT + 1.0, color=INK, loc="left", pad=14.0)
    ax.legend(fontsize=FONT, frameon=False, loc="upper left", bbox_to_anchor=(-0.05, -0.04), handlelength=1.8)


def plot_wind_shares(ds: xr.Dataset, direction: float | str | None = None, *, ax=None):
    """Draw the share of the flights that hold each criterion against the wind from one direction, with the limit and its interval.

    A dashed line of the same colour is the share asked for; marks are the winds that were flown.

    ds : what `wind_limit` returned. direction : one of those it was asked for, text or rad; None: the one that allows least. ax : axes to draw into, or
    None for a new figure.

    Raises ValueError for another Dataset, and for a direction that it has not.

    Examples
    --------
    >>> found = sixdof.preflight.wind_limit(mission, "tilt_max < 8 deg in 50 % of flights", directions=["270 deg"], flights=4, winds=3, progress=False)
    >>> ax = sixdof.plot.plot_wind_shares(found, "270 deg")
    """
    need_limits(ds, "plot_wind_shares")
    which = int(np.argmin(ds["limit"].values)) if direction is None else _which(ds["direction"].values, direction, "plot_wind_shares")
    here = ds.isel(direction=which)
    ax = axes_or_new(ax, size=(6.4, 5.4))
    low, limit, high = (min(float(here[name]), ds.attrs["highest"]) for name in ("limit_low", "limit", "limit_high"))
    ax.axvspan(low, high, color=PALE, lw=0.0, label=f"{100.0 * ds.attrs['confidence']:g} % interval of the limit", zorder=0.5)
    ax.axvline(limit, color=INK, lw=LINE, label=f"limit, {'at least ' if int(here['limit_kind']) == BEYOND else ''}{limit:.1f} m/s", zorder=2)
    for k, text in enumerate(ds["criterion"].values):
        colour, name = CYCLE[k % len(CYCLE)], textwrap.fill(f"{k + 1}  {text}", 84)
        asked = 100.0 * float(ds["required"][k])
        ax.plot(here["wind"], 100.0 * here["share"][:, k], marker=MARKS[k % len(MARKS)], ms=4.0, color=colour, lw=LINE, label=name, zorder=4)
        ax.axhline(asked, color=colour, lw=0.8, ls=DASHES[2], gid=f"of:{name}", zorder=1.5)
    ax.set(xlabel=f"mean wind at {ds.attrs['reference_height']:g} m (m/s)", ylabel="share of the flights that hold (%)")
    dress(ax, f"Wind from {math.degrees(float(here['direction'])):.0f} deg: which criterion fails first; dashed: the share asked for")
    ax.set_ylim(-4.0, 104.0)
    legend(ax, loc="upper left", bbox_to_anchor=(0.0, -0.13))
    return ax


def plot_rail_for_wind(ds: xr.Dataset, direction: float | str | None = None, *, ax=None):
    """Draw how much wind each rail allows: limit over the rail's elevation, a line for each azimuth, with the rail as written and the best one marked.

    ds : what `rail_for_wind` returned. direction : of the wind, one of those it was asked for, text or rad; None: the first. ax : axes to draw into,
    or None for a new figure.

    Raises ValueError for another Dataset, and for a direction that it has not.

    Examples
    --------
    >>> one = {"directions": ["270 deg"], "elevations": ["80 deg", "85 deg"], "azimuths": ["270 deg"], "flights": 4, "winds": 2, "progress": False}
    >>> found = sixdof.preflight.rail_for_wind(mission, "rail_departure_incidence < 12 deg in 50 % of flights", **one)
    >>> ax = sixdof.plot.plot_rail_for_wind(found)
    """
    need_rails(ds, "plot_rail_for_wind")
    here = ds.isel(direction=0 if direction is None else _which(ds["direction"].values, direction, "plot_rail_for_wind"))
    ax = axes_or_new(ax, size=(6.4, 4.6))
    up, wind = np.degrees(here["rail_elevation"].values), float(here["direction"])
    for k, azimuth in enumerate(here["rail_azimuth"].values):
        one, colour = here.isel(rail_azimuth=k), CYCLE[k % len(CYCLE)]
        name = f"towards {math.degrees(azimuth) % 360.0:.0f} deg, {sense(float(azimuth), wind)}"
        ax.plot(up, one["limit"].values, marker=MARKS[k % len(MARKS)], ms=4.5, color=colour, ls=DASHES[k % len(DASHES)], lw=LINE, label=name, zorder=3)
        bound, coarse = one["limit_kind"].values == BEYOND, one["resolution"].values > COARSE * ds.attrs["tolerance"]
        ax.plot(up[coarse], one["limit"].values[coarse], MARKS[k % len(MARKS)], ms=4.5, mfc="white", color=colour, gid=f"of:{name}", zorder=3.5)
        ax.plot(up[bound], one["limit"].values[bound], "^", ms=9.0, mfc="none", color=colour, gid=f"of:{name}", zorder=3)
    written, now = math.degrees(float(ds.attrs["rail_elevation"])), float(here["limit_as_written"])
    azimuth = math.degrees(float(ds.attrs["rail_azimuth"])) % 360.0
    ax.plot([written], [now], "x", color=INK, ms=7.0, mew=1.6, label=f"as written, towards {azimuth:.0f} deg: {now:.1f} m/s", zorder=5)
    best = math.degrees(float(here["best_elevation"])), float(here["best_limit"])
    ax.plot(*([each] for each in best), "o", ms=11.0, mfc="none", color=INK, mew=1.2, label=f"taken: {best[0]:.1f} deg, {best[1]:.1f} m/s", zorder=5)
    ax.set(xlabel="elevation of the rail (deg)", ylabel=f"largest mean wind at {ds.attrs['reference_height']:g} m (m/s)")
    notes = "; triangles: a bound" if (here["limit_kind"] == BEYOND).any() else ""
    notes += "; open: not the best, less sharp" if (here["resolution"] > COARSE * ds.attrs["tolerance"]).any() else ""
    dress(ax, f"Wind from {math.degrees(wind):.0f} deg: what the rail allows{notes}")
    ax.margins(y=0.12)
    legend_on_top(ax, 2)
    return ax


def _which(directions: np.ndarray, wanted: float | str, who: str) -> int:
    """Return the number of the direction wanted. Raises ValueError for one that is not among them."""
    try:
        away = np.abs(np.angle(np.exp(1j * (directions - parse(wanted, "rad")))))
    except QuantityError as error:
        raise ValueError(f"{who}: direction: {error}") from None
    if away.min() > 1e-6:
        known = ", ".join(f"{math.degrees(one):.0f} deg" for one in directions)
        raise ValueError(f"{who}: the result is about wind from {known}; give one of these as direction")
    return int(np.argmin(away))

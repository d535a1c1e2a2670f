"""Figures of an ensemble. Each function takes the Dataset of `sixdof.disperse` and returns the axes it drew on."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, axes_or_new, draw_ellipses, draw_or_say, dress, label, legend, shown
from sixdof.study.reading.result import QUANTILES, event_values, height_bands, meaningful, need_ensemble, need_tracks, outcomes, plural, quantiles
from sixdof.study.uncertainty.scatter import containment, places
from sixdof.study.uncertainty.scatter_region import containment_contour

LINES = 30  # single flights drawn in a fan
MOST_BINS = 40


def plot_histogram(ds: xr.Dataset, name: str, *, ax=None):
    """Draw how often an outcome or a drawn input took which value, with 5, 50 and 95 % marks; angles in degrees.

    ax : axes to draw into, or None for a new figure.

    Raises ValueError for a flight, an unknown name, or a variable that is not one number per flight.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_histogram(flights, "apogee_height")
    """
    need_ensemble(ds, "plot_histogram", name, "status")
    if ds[name].dims != ("flight",):
        raise ValueError(f"plot_histogram takes one number per flight, and {name} has dims {', '.join(ds[name].dims)}")
    variable = ds[name].copy(data=outcomes(ds, name))
    values = shown(variable)
    values = values[np.isfinite(values)]
    if not values.size:
        raise ValueError(f"plot_histogram finds no flight with a value of {name}")
    ax = axes_or_new(ax)
    ax.hist(values, bins=_bins(values), color=PALE, ec="white", lw=0.6)
    marks = shown(variable.isel(flight=[0] * len(QUANTILES)).copy(data=quantiles(ds, name)))
    _mark_quantiles(ax, marks)
    dropped = ds.sizes["flight"] - values.size
    ax.set(xlabel=label(ds[name]), ylabel="flights" + (f" ({dropped} without a value)" if dropped else ""))
    ax.yaxis.get_major_locator().set_params(integer=True)
    dress(ax)
    return ax


def _bins(values):
    if np.ptp(values) <= 1e-9 * max(abs(values[0]), 1e-9):
        return 1
    return min(MOST_BINS, len(np.histogram_bin_edges(values, "fd")) - 1)


def _mark_quantiles(ax, marks):
    """Draw a line at each quantile; the values stand above the axes, where they cannot meet."""
    digits = max(0, 2 - math.floor(math.log10(max(np.abs(marks).max(), 1e-9))))
    for share, mark in zip(QUANTILES, marks, strict=True):
        ax.axvline(mark, color=CYCLE[0], lw=LINE + 0.3, ls="-" if share == 0.5 else (0, (4, 2)))
    texts = [f"{100.0 * share:.0f} %: {mark:.{digits}f}" for share, mark in zip(QUANTILES, marks, strict=True)]
    ax.set_title("     ".join(texts), fontsize=FONT, color=CYCLE[0], loc="left")


def plot_fan(ds: xr.Dataset, *, ax=None):
    """Draw height against time: bands that hold 50 and 90 % of the flights at each moment, the median, some flights.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_fan(flights)
    """
    need_tracks(ds, "plot_fan")
    bands = height_bands(ds)
    ax = axes_or_new(ax)
    flights = np.flatnonzero(meaningful(ds))
    for i in flights[:: max(1, math.ceil(len(flights) / LINES))]:
        ax.plot(ds["time"].values[i], ds["height"].values[i], color=GREY, lw=0.35, alpha=0.5, zorder=2)
    low, quarter, middle, three_quarters, high = bands["height"].values
    time = bands["time"].values
    ax.fill_between(time, low, high, color=CYCLE[4], alpha=0.3, lw=0.0, label="5 to 95 % of the flights", zorder=1)
    ax.fill_between(time, quarter, three_quarters, color=CYCLE[0], alpha=0.35, lw=0.0, label="25 to 75 %", zorder=1.5)
    ax.plot(time, middle, color=CYCLE[0], lw=LINE + 0.4, label="median", zorder=3)
    ax.plot([], [], color=GREY, lw=0.5, label="single flights")
    ax.set(xlabel=label(bands["time"]), ylabel=label(bands["height"]))
    ax.set_ylim(bottom=0.0)
    ax.set_xlim(left=0.0)
    legend(ax, loc="upper right")
    dropped = int(bands["dropped"])
    dress(ax, "height at each moment" + (f" ({plural(dropped)} failed)" if dropped else ""))
    return ax


def plot_landing(ds: xr.Dataset, *, shares: Sequence[float] = (0.5, 0.95), ax=None):
    """Draw the landing places, north up, equal scales, with rail and mean, ellipses and density contours of `shares`.

    Ellipses are prediction ellipses of that probability, for normal places; contours enclose that share of these places.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_landing(flights)
    """
    need_ensemble(ds, "plot_landing", "landing_east", "landing_north", "status")
    ellipses = [containment(ds, share) for share in shares]
    regions = [containment_contour(outcomes(ds, "landing_east"), outcomes(ds, "landing_north"), share) for share in shares]
    ax = axes_or_new(ax, size=(6.4, 6.8))
    known, dropped = places(ds, "plot_landing")
    text = f"landing places, {plural(len(known))}"
    ax.plot(*known.T, "o", ms=2.2, mew=0.0, color=GREY, alpha=0.6, label=text, zorder=2)
    ax.plot(0.0, 0.0, "s", ms=6.0, color=INK, label="rail", zorder=4)
    ax.plot(*known.mean(axis=0), "P", ms=7.0, color=CYCLE[1], mec="white", mew=0.6, label="mean place", zorder=4)
    draw_ellipses(ax, ellipses, CYCLE[1])
    for polygon in (polygon for region in regions for polygon in region.polygons):
        ax.plot(*polygon.T, color=CYCLE[2], lw=LINE, zorder=3)
    percent = " and ".join(f"{100.0 * share:g} %" for share in shares)
    ax.plot([], [], color=CYCLE[2], lw=LINE, label=f"region of {percent} of these places (density)")
    ax.plot([], [], color=CYCLE[1], lw=LINE, ls=(0, (5, 2)), label=f"{percent} prediction ellipse (if normal)")
    ax.set(xlabel=label(ds["landing_east"]), ylabel=label(ds["landing_north"]))
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    legend(ax, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    dress(ax)
    if dropped:
        ax.text(0.99, 0.01, f"{plural(dropped)} without a landing place", fontsize=FONT, color=GREY, ha="right", va="bottom", transform=ax.transAxes)
    return ax


def plot_ensemble(ds: xr.Dataset):
    """Draw an overview of an ensemble on one page; return the figure. A panel that cannot be drawn says why.

    Examples
    --------
    >>> figure = sixdof.plot.plot_ensemble(flights)
    """
    need_ensemble(ds, "plot_ensemble", "status", "event_time", "event", "body")
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(13.5, 9.5), layout="constrained")
    panels = figure.subplot_mosaic([["landing", "landing", "fan", "fan"], ["apogee", "rail", "incidence", "attitude"]], height_ratios=(2.1, 1.0))
    draw_or_say(plot_landing, ds, panels["landing"])
    draw_or_say(plot_fan, ds, panels["fan"])
    live = np.isfinite(event_values(ds, "fins_enabled")).any()
    names = ("apogee_height", "rail_departure_speed", "incidence_max", "tilt_error_max" if live else "tilt_max")
    for key, name in zip(("apogee", "rail", "incidence", "attitude"), names, strict=True):
        draw_or_say(plot_histogram, ds, panels[key], name)
    title = f"{ds.attrs.get('title', '')}   {plural(ds.sizes['flight'])}"
    figure.suptitle(title, fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure

"""Figures of an ensemble that say why and when: the static margin's spread, the times of the rules.

Each takes the Dataset of `sixdof.disperse` and returns its axes.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, axes_or_new, dress, legend_above, scale_of_time
from sixdof.study.reading.result import event_values, fact, meaningful, need_ensemble, outcomes

SPAN, HALF = (0.05, 0.95), (0.25, 0.75)  # shares of the flights that bars hold
USUAL_MARGIN = (1.0, 3.0)  # calibres, common practice
SLOWEST = 5.0  # m/s through the air: below it a static margin means nothing
ROW = 0.36  # inches
_AT = ("event_time", "event", "body", "status")


def plot_static_margins(ds: xr.Dataset, *, ax=None):
    """Draw the spread of the static margin (calibres) of the front body at each event of the climb, and of the smallest: bars as `plot_rule_times`.

    Events at which it flies slower than 5 m/s through the air are omitted in that flight. Returns the axes.

    ax : axes to draw into, or None for a new figure.

    Raises ValueError for a flight, and where no flight has a margin.

    Examples
    --------
    >>> ax = sixdof.plot.plot_static_margins(flights)
    """
    need_ensemble(ds, "plot_static_margins", "event_static_margin", "event_airspeed", "static_margin_min", *_AT)
    moments = {}
    for event in (str(name) for name in ds["event"].values):
        time, margin, speed = (event_values(ds, event, name) for name in ("time", "static_margin", "airspeed"))
        good = meaningful(ds) & (speed > SLOWEST) & (time <= np.nan_to_num(event_values(ds, "apogee"), nan=np.inf))
        if np.isfinite(margin[good]).any():
            moments[event.replace("_", " ")] = (np.nanmedian(time[good]), margin[good])
    if not moments:
        raise ValueError("plot_static_margins finds no flight with a static margin at an event of its climb")
    rows = {name: values for name, (_, values) in sorted(moments.items(), key=lambda one: one[1][0])}
    rows["smallest in the climb"] = outcomes(ds, "static_margin_min")
    ax = axes_or_new(ax, size=(6.8, 1.3 + ROW * len(rows)))
    _bars(ax, rows, int(meaningful(ds).sum()))
    for k, usual in enumerate(USUAL_MARGIN):
        ax.axvline(usual, color=GREY, lw=0.9, ls=":", label=None if k else "common practice, 1 to 3 calibres")
    ax.axvline(0.0, color=INK, lw=0.8)
    ax.set(xlabel="static margin (calibres)")
    ax.margins(x=0.06)
    legend_above(ax, 2)
    return ax


def plot_rule_times(ds: xr.Dataset, *, ax=None):
    """Draw when each rule fired: thin bar 5 to 95 % of the flights in which it did, thick bar 25 to 75 %, tick median, square-root scale of time.

    Beside a rule that did not fire in all flights stands in how many it did. Returns the axes.

    ax : axes to draw into, or None for a new figure.

    Raises ValueError for a flight, and where no rule fired in any.

    Examples
    --------
    >>> ax = sixdof.plot.plot_rule_times(flights)
    """
    need_ensemble(ds, "plot_rule_times", "status")
    if "rule_fired" not in ds or not np.isfinite(ds["rule_fired"].values).any():
        raise ValueError("plot_rule_times finds no rule that fired in any flight")
    every = {str(name): fact(ds, "rule_fired", k) for k, name in enumerate(ds["rule"].values)}
    rows = dict(sorted(every.items(), key=lambda one: np.nanmedian(one[1]) if np.isfinite(one[1]).any() else np.inf))
    ax = axes_or_new(ax, size=(8.0, 1.3 + ROW * len(rows)))
    _bars(ax, rows, int(meaningful(ds).sum()))
    scale_of_time(ax, max(float(np.nanmax(values)) for values in rows.values() if np.isfinite(values).any()))
    legend_above(ax, 3)
    return ax


def _bars(ax, rows: dict[str, np.ndarray], flights: int) -> None:
    """Draw the quantiles of each row's values; a row without any says so, one that has fewer than `flights` how many."""
    named = {"5": "5 to 95 % of the flights", "25": "25 to 75 %", "50": "median"}
    names = []
    for row, (name, values) in enumerate(rows.items()):
        values = values[np.isfinite(values)]
        names.append(name if values.size == flights else f"{name}, {values.size} of {flights}" if values.size else f"{name}, never")
        if not values.size:
            continue
        low, high, lower, upper, middle = np.quantile(values, (*SPAN, *HALF, 0.5))
        ax.plot([low, high], [row, row], color=CYCLE[0], lw=LINE + 0.4, solid_capstyle="butt", label=named.pop("5", None), zorder=2)
        ax.plot([lower, upper], [row, row], color=CYCLE[0], lw=6.0, solid_capstyle="butt", label=named.pop("25", None), zorder=3)
        ax.plot([middle], [row], "|", color=CYCLE[1], ms=11.0, mew=LINE + 1.0, label=named.pop("50", None), zorder=4)
    dress(ax)
    ax.set_yticks(range(len(rows)), names, fontsize=FONT)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.grid(False, axis="y")

"""Figures of how sure an ensemble's numbers are. Each takes the Dataset of `sixdof.disperse` and returns its axes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, LINE, axes_or_new, dress, label, legend, shown
from sixdof.study.reading.result import QUANTILES, need_ensemble, outcomes, plural
from sixdof.study.uncertainty.convergence import running
from sixdof.study.uncertainty.statistics import quantile_interval, share_interval

FEW = 20  # flights: up to here every whole number on the axis is written
MOST_STEPS = 2000  # corners of an empirical distribution that are drawn
LINES = ("-", (0, (5, 2)), (0, (1, 1.2)), (0, (5, 1.5, 1, 1.5)))  # colour is not all that tells quantiles apart


def plot_convergence(ds: xr.Dataset, name: str, q: float | Sequence[float] | None = QUANTILES, *, confidence: float = 0.9, ax=None):
    """Draw how quantiles of an outcome settle as flights are added, with the interval of each; angles in degrees.

    q : share or shares of the flights below; None draws the mean with Student's interval. The band of a quantile begins where
        both its bounds are finite. Each interval holds with `confidence` at one number of flights, not along the whole line.

    ax : axes to draw into, or None for a new figure.

    Raises ValueError for a flight, an unknown name, a variable that is not one number per flight, or no flight with a value.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_convergence(flights, "apogee_height", 0.5)
    """
    variable = _outcome(ds, name, "plot_convergence")
    shares = [None] if q is None else [float(share) for share in np.atleast_1d(q)]
    ways = [running(variable, "mean" if q is None else "quantile", q=share, confidence=confidence) for share in shares]
    ax = axes_or_new(ax)
    for k, (share, way) in enumerate(zip(shares, ways, strict=True)):
        _draw_running(ax, way, "mean" if share is None else f"{100.0 * share:g} % of the flights below", k)
    ax.plot([], [], color=GREY, lw=6.0, alpha=0.3, label=f"{100.0 * confidence:g} % confidence interval")
    ax.set_xscale("log")
    ax.xaxis.set_major_formatter("{x:,.0f}")
    ax.xaxis.set_minor_formatter("{x:,.0f}" if ds.sizes["flight"] <= FEW else "")
    ax.set(xlabel="flights", ylabel=label(ds[name]))
    ax.margins(x=0.02)
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2)
    dress(ax)
    _say_dropped(ax, variable)
    return ax


def _draw_running(ax, way, text, k):
    colour = CYCLE[k % len(CYCLE)]
    flights, low, high = way["flights"].values, shown(way["low"]), shown(way["high"])
    bounded = np.isfinite(low) & np.isfinite(high)
    ax.fill_between(flights, low, high, where=bounded, color=colour, alpha=0.2, lw=0.0, zorder=1)
    ax.plot(flights, shown(way["estimate"]), color=colour, lw=LINE + 0.3, ls=LINES[k % len(LINES)], label=text, zorder=2)


def plot_quantiles(ds: xr.Dataset, name: str, q: Sequence[float] = QUANTILES, *, confidence: float = 0.9, ax=None):
    """Draw the share of the flights at or below each value of an outcome, with confidence; angles in degrees.

    The band is the Clopper-Pearson interval of that share, at each value by itself. Bars are the intervals of the quantiles q;
    a bar that leaves the axes has no bound on that side: the flights are too few.

    ax : axes to draw into, or None for a new figure.

    Raises ValueError as `plot_convergence` does.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_quantiles(flights, "apogee_height")
    """
    variable = _outcome(ds, name, "plot_quantiles")
    values = np.sort(shown(variable))
    values = values[np.isfinite(values)]
    if not values.size:
        raise ValueError(f"plot_quantiles finds no flight with a value of {name}")
    ax = axes_or_new(ax)
    _draw_distribution(ax, values, confidence)
    _draw_intervals(ax, values, np.asarray(q, dtype=float), confidence)
    ax.set(xlabel=label(ds[name]), ylabel="share of the flights at or below (%)", ylim=(0.0, 100.0))
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=1)
    dress(ax)
    _say_dropped(ax, variable)
    return ax


def _draw_distribution(ax, values, confidence):
    n = len(values)
    at = np.unique(values)
    last = np.searchsorted(values, at, side="right")
    keep = np.unique(np.linspace(0, len(at) - 1, min(len(at), MOST_STEPS)).astype(int))
    at, share = at[keep], share_interval(last[keep], n, confidence)
    text = f"share of {plural(n)}"
    ax.step(np.r_[at[0], at], 100.0 * np.r_[0.0, share.estimate], where="post", color=CYCLE[0], lw=LINE + 0.3, label=text)
    text = f"{100.0 * confidence:g} % confidence interval at each value"
    ax.fill_between(at, 100.0 * share.low, 100.0 * share.high, step="post", color=CYCLE[4], alpha=0.35, lw=0.0, label=text)


def _draw_intervals(ax, values, shares, confidence):
    """Draw each quantile with its interval; an end that is not bounded runs out of the axes."""
    found = quantile_interval(values, shares, confidence)
    ax.autoscale_view()
    beyond = 0.5 * np.ptp(values) + 1e-9  # outside the axes, which end a twentieth of the span beyond the values
    low = np.where(np.isfinite(found.low), found.low, values[0] - beyond)
    high = np.where(np.isfinite(found.high), found.high, values[-1] + beyond)
    limits = ax.get_xlim()
    marks = ", ".join(f"{100.0 * share:g}" for share in shares)
    ax.errorbar(
        found.estimate,
        100.0 * shares,
        xerr=(found.estimate - low, high - found.estimate),
        fmt="o",
        ms=3.5,
        color=CYCLE[1],
        elinewidth=LINE + 0.3,
        capsize=3.0,
        label=f"quantiles {marks} % and their confidence intervals",
        zorder=3,
    )
    ax.set_xlim(limits)


def _outcome(ds, name, who) -> xr.DataArray:
    """Return an outcome with NaN where the flight failed."""
    need_ensemble(ds, who, name, "status")
    if ds[name].dims != ("flight",):
        raise ValueError(f"{who} takes one number per flight, and {name} has dims {', '.join(ds[name].dims)}")
    return ds[name].copy(data=outcomes(ds, name))


def _say_dropped(ax, variable):
    dropped = int(np.isnan(variable.values).sum())
    if dropped:
        ax.text(0.99, 0.01, f"{plural(dropped)} without a value", fontsize=FONT, color=GREY, ha="right", va="bottom", transform=ax.transAxes)

"""The figure of an estimate: every parameter before and after the flight, what goes together, residuals before and after."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, LINE, PALE, dress, legend_on_top
from sixdof.postflight.estimation.estimate_text import need_estimate
from sixdof.postflight.estimation.telling import SHOWN, amount

PANELS = 4  # columns of the log that are drawn, those that changed most first
REACH = 4.0  # standard deviations of before, beyond which an estimate is drawn at the edge
WRITTEN = 9  # parameters up to which correlations stand in their cells


def plot_estimate(ds: xr.Dataset, log: str | None = None):
    """Draw an estimate on one page; return the figure.

    Above: each parameter before and after the flight, measured in standard deviations of before, with its value; the correlations after the flight. Below:
    residuals over time at the means of before and at the estimate, of the columns of one log that changed most.

    ds : what `sixdof.postflight.estimate` returned. log : the log of the lower panels; None: the first.

    Raises ValueError for anything else, and for a log that it has not.

    Examples
    --------
    >>> log = sixdof.fly(mission)[["height"]].isel(time=slice(20, 500, 10))
    >>> found = sixdof.postflight.estimate(mission, log, ["aero.drag", "motor.impulse"], carry=False, progress=False)
    >>> figure = sixdof.plot.plot_estimate(found)
    """
    need_estimate(ds, "plot_estimate")
    names = [str(name) for name in ds["log"].values]
    if log is not None and log not in names:
        raise ValueError(f"plot_estimate: there is no log {shown(log)}; the logs are {', '.join(names)}")
    import matplotlib.pyplot as plt

    one = ds.sel(log=log or names[0])
    columns = _columns(one)
    upper = 2.2 + 0.34 * ds.sizes["parameter"]
    figure = plt.figure(figsize=(11.5, upper + 2.1 * ((len(columns) + 1) // 2) + 0.6), layout="constrained")
    top, bottom = figure.subfigures(2, 1, height_ratios=[upper, 2.1 * ((len(columns) + 1) // 2) + 0.4])
    left, right = top.subplots(1, 2, width_ratios=[1.6, 1.0])
    _parameters(left, ds)
    _correlations(right, ds)
    axes = bottom.subplots((len(columns) + 1) // 2, min(len(columns), 2), squeeze=False).ravel()
    for k, (ax, name) in enumerate(zip(axes, columns, strict=False)):
        _residuals(ax, one, name, first=k == 0)
    for ax in axes[len(columns) :]:
        ax.set_visible(False)
    title = f"{ds.attrs['title']}: " if ds.attrs.get("title") else ""
    figure.suptitle(f"{title}what the flight says of the model", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _columns(one: xr.Dataset) -> list[str]:
    """Return the columns of a log that changed most between before and after."""
    ratio = one["rms_before"].values / one["noise"].values
    known = [k for k in np.argsort(-np.nan_to_num(ratio)) if np.isfinite(ratio[k])]
    return [str(one["channel"].values[k]) for k in known[:PANELS]]


def _parameters(ax, ds: xr.Dataset) -> None:
    """Draw each parameter before and after, with its value on the right."""
    from scipy.special import ndtri

    reach = float(ndtri(0.5 + 0.5 * ds.attrs["confidence"]))
    count = ds.sizes["parameter"]
    scale = np.where(np.isfinite(ds["prior_sd"].values), ds["prior_sd"].values, np.maximum(ds["sd"].values, 1e-300))
    at = (ds["estimate"].values - ds["prior_mean"].values) / scale
    known = np.isfinite(ds["prior_sd"].values)
    rows = np.arange(count)[::-1]
    level = f"{100.0 * ds.attrs['confidence']:g} %"
    ax.barh(rows[known], 2.0 * reach, left=-reach, height=0.62, color=PALE, label=f"before, {level} interval", zorder=1)
    ax.plot([0.0, 0.0], [-0.6, count - 0.6], color=GREY, lw=0.8, zorder=1.5)
    where, half = np.clip(at, -REACH, REACH), reach * ds["sd"].values / scale
    inside = np.minimum(half, REACH)
    ax.errorbar(where, rows, xerr=inside, fmt="o", color=CYCLE[0], ms=4.5, lw=LINE + 0.4, capsize=2.5, label=f"after, {level} interval", zorder=3)
    for row, k in zip(rows, range(count), strict=True):
        text = amount(float(ds["estimate"][k]), float(ds["sd"][k]), str(ds["unit"].values[k]))
        ax.text(1.01, row, text, transform=ax.get_yaxis_transform(), va="center", fontsize=FONT, color=INK)
    ax.set_yticks(rows, [str(name) for name in ds["parameter"].values])
    ax.set_ylim(-0.6, count - 0.4)
    ax.set_xlim(-max(3.0, float(np.max(np.abs(where) + np.minimum(inside, 1.0)))), max(3.0, float(np.max(np.abs(where) + np.minimum(inside, 1.0)))))
    ax.set_xlabel("away from what was known before (standard deviations of before)")
    dress(ax, "Parameters, before and after the flight")
    ax.grid(False, axis="y")
    legend_on_top(ax, 2)


def _correlations(ax, ds: xr.Dataset) -> None:
    """Draw the correlations after the flight as a map."""
    from matplotlib.colors import LinearSegmentedColormap

    colours = LinearSegmentedColormap.from_list("both", [CYCLE[1], "#ffffff", CYCLE[0]])
    matrix, count = ds["correlation"].values, ds.sizes["parameter"]
    image = ax.imshow(matrix, cmap=colours, vmin=-1.0, vmax=1.0, aspect="auto")
    if count <= WRITTEN:
        for a in range(count):
            for b in range(count):
                dark = abs(matrix[a, b]) > 0.6
                ax.text(b, a, f"{matrix[a, b]:+.2f}", ha="center", va="center", fontsize=FONT - 0.5, color="#ffffff" if dark else INK)
    names = [str(name) for name in ds["parameter"].values]
    ax.set_yticks(range(count), names)
    ax.set_xticks(range(count), names, rotation=90 if count > 2 else 0)
    dress(ax, "What goes together after the flight")
    ax.grid(False)
    bar = ax.figure.colorbar(image, ax=ax, fraction=0.05, pad=0.02)
    bar.ax.tick_params(labelsize=FONT, labelcolor=INK)
    bar.set_label("correlation coefficient", fontsize=FONT + 0.5, color=INK)


def _residuals(ax, one: xr.Dataset, name: str, *, first: bool) -> None:
    """Draw the residuals of one column over time, before and after, with three standard deviations of its noise."""
    own = one.sel(channel=name)
    time, unit = one["sample_time"].values, _unit(name)
    factor, written = SHOWN.get(unit, (1.0, unit)) if unit in ("rad", "rad/s") else (1.0, unit)
    before, after = own["residual_before"].values * factor, own["residual_after"].values * factor
    there, kept = np.isfinite(time) & np.isfinite(before), np.isfinite(time) & np.isfinite(after)
    noise = float(own["noise"]) * own["noise_factor"].values[there] * factor
    ax.fill_between(time[there], -3.0 * noise, 3.0 * noise, color=PALE, lw=0.0, zorder=0.8, label="3 standard deviations of noise")
    ax.plot(time[there], before[there], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="at the means of before", zorder=2)
    ax.plot(time[kept], after[kept], color=CYCLE[0], lw=LINE, label="at the estimate", zorder=3)
    ax.set_ylabel(f"{name} ({written})")
    ax.set_xlabel("time since liftoff (s)")
    dress(ax, f"Log less flight: {own['log'].item()}" if first else "")
    if first:
        legend_on_top(ax, 3)


def _unit(channel: str) -> str:
    """Return the unit of a column, from the registry of a flight's variables."""
    from sixdof.results.registry import REGISTRY

    found = REGISTRY.get(channel.split(" ")[0])
    return "rad" if channel.startswith("attitude ") else found.units if found is not None else "SI"

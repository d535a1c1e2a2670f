"""Figures of which input drives which outcome. Each takes the Dataset of `sixdof.disperse` and returns what it drew on."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, axes_or_new, dress, label, legend, shown
from sixdof.results.status import Status
from sixdof.study.reading.result import branches, need_ensemble, outcomes, plural
from sixdof.study.uncertainty.inputs import inputs_of
from sixdof.study.uncertainty.sensitivity import linear_shares, rank_correlations, swings

MOST_BARS = 12
MOST_PANELS = 10  # along a side of a scatter matrix: more cannot be read
BEST = 4  # inputs shown where none are named
MARKERS = "osD^vP"


def plot_tornado(ds: xr.Dataset, outcome: str, ax=None, *, most: int = MOST_BARS):
    """Draw how an outcome changes as each input alone goes from its 5 % to its 95 % quantile, the `most` largest on top.

    By straight lines through all inputs (`sixdof.stats.swings`, whose errors it raises); whiskers are 90 % intervals. Beside
    each input stand its two quantiles. A direction has no lower and upper end: its bar is the range over the arc between.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_tornado(flights, "apogee_height")
    """
    if most < 1:
        raise ValueError(f"most = {most!r} must be 1 or more")
    whole = swings(ds, outcome)
    table = whole.isel(input=slice(0, most))
    count = table.sizes["input"]
    ax = axes_or_new(ax, size=(7.2, 1.6 + 0.3 * count))
    turn = np.degrees(1.0) if ds[outcome].attrs.get("units") in ("rad", "rad/s") else 1.0
    rows, round_way = np.arange(count), table["direction"].values == 1
    for end, colour, text in (("at_low", CYCLE[4], "input at its 5 % quantile"), ("at_high", CYCLE[1], "at its 95 % quantile")):
        value, low, high = (turn * table[end + part].values for part in ("", "_low", "_high"))
        ax.barh(rows[~round_way], value[~round_way], height=0.62, color=colour, label=text, zorder=2)
        ax.barh(
            rows[round_way],
            value[round_way],
            height=0.62,
            color=GREY,
            zorder=2,
            label="direction, on the arc between" if round_way.any() and end == "at_high" else None,
        )
        ax.hlines(rows, low, high, color=INK, lw=LINE, zorder=3)
    ax.plot([], [], color=INK, lw=LINE, label=f"{100.0 * table.attrs['confidence']:.0f} % confidence interval")
    ax.axvline(0.0, color=INK, lw=0.6, zorder=4)
    ax.set_yticks(rows, [_bar_label(table.isel(input=k)) for k in rows])
    ax.set_ylim(count - 0.4, -0.6)
    ax.set_xlabel("change of " + label(ds[outcome]))
    more = whole.sizes["input"] - count
    mean = _with_unit(f"{turn * float(table['mean']):.4g}", ds[outcome].attrs.get("units", "1"))
    title = f"mean {mean}, R^2 {float(table['r_squared_adjusted']):.2f}, {plural(int(table['used']))}"
    dress(ax, title + (f"; {more} smaller omitted" if more else ""))
    ax.grid(False, axis="y")
    legend(ax, loc="lower right", handlelength=1.4)  # bars are short there
    return ax


def _bar_label(row: xr.Dataset) -> str:
    """Return "wind_speed, 2.1 to 6.9 m/s"."""
    unit = str(row["unit"].values)
    turn = np.degrees(1.0) if unit in ("rad", "rad/s") else 1.0
    low, high = (turn * float(row[name]) for name in ("input_low", "input_high"))
    return _with_unit(f"{row['input'].values}, {low:.3g} to {high:.3g}", unit)


def _with_unit(number: str, unit: str) -> str:
    unit = {"rad": "deg", "rad/s": "deg/s", "1": ""}.get(unit, unit)
    return f"{number} {unit}".strip()


def plot_scatter_matrix(ds: xr.Dataset, outcomes: Sequence[str], inputs: Sequence[str] | None = None, *, by: str = "status"):
    """Draw each of some outcomes and inputs against each other; return the axes, (names, names), those above the diagonal too.

    Below the diagonal a point a flight, on it histograms, above it the rank correlation. inputs : names as in
    `study.sensitivity.inputs_of`; None takes the four that drive the first outcome most. by : "status" or "branch" colours the
    flights. Flights whose outcomes mean nothing (not lifted off, diverged) have no points.

    Raises
    ------
    ValueError
        For a flight, unknown names, fewer than 2 or more than 10 names, what is not one number per flight, or another `by`.

    Examples
    --------
    >>> axes = sixdof.plot.plot_scatter_matrix(flights, ["apogee_height"], ["wind_speed", "motor_impulse"])
    """
    columns = _columns(ds, outcomes, inputs)
    groups = _groups(ds, by)
    names = list(columns.data_vars)
    import matplotlib.pyplot as plt

    side = len(names)
    figure, axes = plt.subplots(side, side, figsize=(1.9 * side, 1.75 * side), layout="constrained", squeeze=False)
    values = [shown(columns[name]) for name in names]
    correlation = rank_correlations(columns, names)
    for i, j in np.ndindex(side, side):
        ax = axes[i, j]
        if i == j:
            _histogram(ax, values[i], groups)
        elif i > j:
            _points(ax, values[j], values[i], groups)
        else:
            _number(ax, correlation[i, j])
            continue
        dress(ax)
        ax.tick_params(labelsize=FONT - 1.0, labelbottom=i == side - 1, labelleft=j == 0 and i > 0)
        ax.locator_params(nbins=4)
        lines = columns[names[j]], columns[names[i]]
        ax.set(xlabel=_short(lines[0]) if i == side - 1 else "", ylabel=_short(lines[1]) if j == 0 else "")
    _align(axes)
    _legend(figure, groups)
    return axes


def _columns(ds: xr.Dataset, chosen: Sequence[str], inputs: Sequence[str] | None) -> xr.Dataset:
    """Return the variables of a scatter matrix, (flight,) each, NaN where an outcome means nothing."""
    who = "plot_scatter_matrix"
    chosen = [chosen] if isinstance(chosen, str) else list(chosen)
    need_ensemble(ds, who, "status", *chosen)
    drawn = inputs_of(ds)
    if inputs is None:
        if not chosen:
            raise ValueError(f"{who} needs an outcome, or the names of inputs")
        inputs = linear_shares(ds, chosen[0], resamples=20)["input"].values[:BEST]
    inputs = [inputs] if isinstance(inputs, str) else list(inputs)
    for name in inputs:
        if name not in drawn:
            known = ", ".join(map(str, drawn.data_vars))
            raise ValueError(f"{who}: {name!r} is not an input that varies here; use some of {known}")
    for name in chosen:
        if ds[name].dims != ("flight",):
            raise ValueError(f"{who} takes one number per flight, and {name} has dims {', '.join(map(str, ds[name].dims))}")
    given = len(chosen) + len(inputs)
    if not 2 <= given <= MOST_PANELS:
        raise ValueError(f"{who} shows 2 to {MOST_PANELS} outcomes and inputs together, and was given {given}")
    columns = {name: ds[name].copy(data=outcomes(ds, name)) for name in chosen}
    return xr.Dataset(columns | {name: drawn[name] for name in inputs})


def _groups(ds: xr.Dataset, by: str) -> dict[str, np.ndarray]:
    """Return which flights (flights,) have each status or branch, the most frequent first."""
    if by == "branch":
        need_ensemble(ds, "plot_scatter_matrix", "branch")
        return branches(ds)
    if by != "status":
        raise ValueError(f'by = {by!r} must be "status" or "branch"')
    codes, count = np.unique(ds["status"].values, return_counts=True)
    codes = codes[np.argsort(-count, kind="stable")]
    return {Status(code).name.lower().replace("_", " "): ds["status"].values == code for code in codes}


def _histogram(ax, values: np.ndarray, groups) -> None:
    known = values[np.isfinite(values)]
    if not known.size:
        return
    edges = np.histogram_bin_edges(known, bins=min(25, max(5, round(known.size**0.5))))
    parts = [values[mask & np.isfinite(values)] for mask in groups.values()]
    colours = [PALE] if len(groups) == 1 else [_look(k)[0] for k in range(len(groups))]
    ax.hist(parts, bins=edges, color=colours, stacked=True, ec="white", lw=0.4)


def _points(ax, x: np.ndarray, y: np.ndarray, groups) -> None:
    for k, mask in enumerate(groups.values()):
        colour, marker = _look(k)
        ax.plot(x[mask], y[mask], marker, ms=2.0 if k == 0 else 3.0, mew=0.0, color=colour, alpha=0.6, zorder=2 + k)


def _look(k: int) -> tuple[str, str]:
    return CYCLE[k % len(CYCLE)], MARKERS[k % len(MARKERS)]


def _number(ax, correlation: float) -> None:
    """Write a rank correlation, the larger the stronger."""
    ax.set_axis_off()
    if np.isfinite(correlation):
        size = abs(correlation)
        look = {"fontsize": FONT + 8.0 * size, "color": INK if size > 0.1 else GREY, "ha": "center", "va": "center"}
        ax.text(0.5, 0.5, f"{correlation:+.2f}", transform=ax.transAxes, **look)


def _short(variable: xr.DataArray) -> str:
    """Return "name (unit)" on short lines: long names have no room beside small panels."""
    unit = label(variable.assign_attrs(long_name="")).strip()
    return "\n".join(textwrap.wrap(str(variable.name).replace("_", " "), 16) + ([unit] if unit else []))


def _align(axes) -> None:
    """Give panels of a column the same x axis, and those of a row left of the diagonal the same y axis."""
    for k in range(len(axes)):
        for ax in axes[k:, k]:
            ax.set_xlim(axes[k, k].get_xlim())
        for ax in axes[k, 1:k]:
            ax.set_ylim(axes[k, 0].get_ylim())


def _legend(figure, groups) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], ls="", marker=_look(k)[1], color=_look(k)[0], ms=5.0, mew=0.0, label=f"{name}, {plural(int(mask.sum()))}")
        for k, (name, mask) in enumerate(groups.items())
    ]
    text = {"fontsize": FONT, "frameon": False, "ncols": 4}
    figure.legend(handles=handles, loc="outside upper left", title="above the diagonal: rank correlation", title_fontsize=FONT, alignment="left", **text)

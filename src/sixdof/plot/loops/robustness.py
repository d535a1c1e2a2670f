"""Figures of robustness: margins over an ensemble against the flight, and maps over two gains."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.mission.units import shown as said
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, dress, label, legend, legend_on_top, shown
from sixdof.study.reading.result import need_table, plural
from sixdof.study.uncertainty.robust_margins import check_requirement, worst_draws

BAND = (0.05, 0.5, 0.95)
LEAST_SHARE = 0.5  # of the flights: where fewer are in flight there is no band
PLACES = 60  # of the common axis
CEILING = 30.0  # dB: what lies above bears anything, and is drawn there
COLOURS = "viridis"
MORE_IS_BETTER = ("distance", "gain_margin_db", "gain_reduction_db", "phase_margin", "modulus", "disk")  # of the variables of a map; of others less is
USUAL, OUTLIER = 0.95, 3.0  # colours end at this quantile of the stable pairs where the largest value is so many times as large
PANELS = ("distance", "error_rms", "saturation_share")


def plot_margin_spread(
    spread: xr.Dataset, channel: str = "pitch", *, over: str = "time", gain_db: float | None = None, phase: float | None = None, worst: int = 3, axes=None
):
    """Draw gain and phase margin of one channel over all flights: median, 5 to 95 % band, requirement, the worst flights; return two axes.

    The gain margin is the smaller of that up and that down, drawn up to 30 dB; an unstable loop has none. over : "time" or "mach"; a
    Mach number is passed going up and going down, and the smaller margin counts. The band ends where fewer than half the flights are.
    gain_db, phase : the requirement, that of the spread unless given.

    Raises ValueError for what is not a spread, a channel that it does not have, another `over`, or a spread without margins.

    Examples
    --------
    >>> axes = sixdof.plot.plot_margin_spread(spread, "pitch")
    """
    who = "plot_margin_spread"
    need_table(spread, who, "loops.margin_spread", "gain_margin_db", "phase_margin", "distance", "status", "time", "mach")
    known = [str(name) for name in spread["channel"].values]
    if not isinstance(channel, str) or channel not in known:
        raise ValueError(f"{who}: channel = {said(channel)} must be one of {', '.join(known)}")
    if not isinstance(over, str) or over not in ("time", "mach"):
        raise ValueError(f'{who}: over = {said(over)} must be "time" or "mach"')
    gain_db = spread.attrs.get("gain_db", 6.0) if gain_db is None else gain_db
    phase = spread.attrs.get("phase", math.radians(45.0)) if phase is None else phase
    check_requirement(gain_db, phase, who)
    if isinstance(worst, bool) or not isinstance(worst, (int, np.integer)) or worst < 0:
        raise ValueError(f"{who}: worst = {said(worst)} must be a whole number from 0 up")
    one = spread.sel(channel=channel)
    if not np.isfinite(one["distance"].values).any():
        raise ValueError(f"{who} finds no flight with margins in this spread")
    gain = np.fmin(one["gain_margin_db"].values, one["gain_reduction_db"].values)
    there = np.isfinite(one["distance"].values)
    curves = (
        (np.where(there, np.minimum(np.nan_to_num(gain, nan=CEILING, posinf=CEILING), CEILING), np.nan), gain_db, "gain margin, up or down (dB)"),
        (np.degrees(np.where(there, one["phase_margin"].fillna(math.pi).values, np.nan)), math.degrees(phase), "phase margin (deg)"),
    )
    blamed = [] if worst < 1 else list(worst_draws(spread.sel(channel=[channel]), worst)["flight"].values)
    rows = [int(np.flatnonzero(spread["flight"].values == number)[0]) for number in blamed]
    axes = _side_by_side(axes, 2)
    for ax, (values, required, text), unit in zip(axes, curves, ("dB", "deg")):
        _spread(ax, one[over].values, values, rows, blamed, over)
        ax.axhline(required, color=INK, lw=LINE, ls=(0, (5, 2)), label=f"required: {required:.3g} {unit}")
        ax.set(xlabel=label(spread[over]), ylabel=text)
        ax.set_ylim(bottom=min(0.0, ax.get_ylim()[0]))
        dress(ax, f"{channel}, {plural(int(there.any(axis=1).sum()))}")
        legend_on_top(ax, 3)
    return axes


def _spread(ax, x: np.ndarray, values: np.ndarray, rows: list[int], blamed: list, over: str) -> None:
    grid = np.linspace(np.nanmin(x), np.nanmax(x), PLACES)
    at = np.array([_along(grid, own, row) for own, row in zip(x, values)])
    there = np.isfinite(at)
    enough = there.sum(axis=0) >= LEAST_SHARE * there.any(axis=1).sum()
    low, middle, high = np.full((3, PLACES), np.nan)
    # order statistics, not between them: 0 (unstable) and the ceiling have nothing between
    low[enough], middle[enough], high[enough] = np.nanquantile(at[:, enough], BAND, axis=0, method="inverted_cdf")
    ax.fill_between(grid, low, high, color=CYCLE[0], alpha=0.22, lw=0.0, label="5 to 95 % of the flights", zorder=1)
    ax.plot(grid, middle, color=CYCLE[0], lw=LINE + 0.6, label="median", zorder=3)
    for k, (row, number) in enumerate(zip(rows, blamed)):
        colour = CYCLE[1 + k % (len(CYCLE) - 1)]
        ax.plot(x[row], values[row], color=colour, lw=LINE - 0.2, marker=".", ms=2.5, label=f"flight {number}", zorder=2)


def _along(grid: np.ndarray, x: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return the least value of a broken line at each place that it passes, NaN elsewhere; it may pass a place more than once."""
    known = np.isfinite(x) & np.isfinite(values)
    x, values = x[known], values[known]
    out = np.full(grid.size, np.nan)
    for a, b, u, v in zip(x[:-1], x[1:], values[:-1], values[1:]):
        inside = (grid >= min(a, b)) & (grid <= max(a, b))
        share = (grid[inside] - a) / (b - a) if a != b else 0.0
        out[inside] = np.fmin(out[inside], u + share * (v - u))
    return out


# ---------------------------------------------------------------- two gains


def plot_gain_map(found: xr.Dataset, variables: Sequence[str] | None = None, *, gain_db: float = 6.0, phase: float = math.radians(45.0), axes=None):
    """Draw maps of variables over two gains, with the lines of the required margins, unstable pairs hatched, the mission's own marked.

    variables : of what `sixdof.loops.gain_map` returns; omitted, the distance to the critical point and, where they were flown, the
    attitude error and the share of the time at the stops. Angles in degrees. gain_db, phase : required margins (dB, rad), up and down.
    Returns the axes, one for each variable.

    Raises ValueError for what is not a gain map, a variable that it does not have, a map with fewer than two values a side, or a
    requirement that is none.

    Examples
    --------
    >>> gains = ("autopilot.pitch.p", [0.2, 0.4, 0.8]), ("autopilot.pitch.d", [0.03, 0.06, 0.1])
    >>> shown = sixdof.loops.gain_map(mission, *gains[0], *gains[1], models=models, flown=False, progress=False)
    >>> axes = sixdof.plot.plot_gain_map(shown, ["distance"])
    """
    who = "plot_gain_map"
    need_table(found, who, "loops.gain_map", "gain_margin_db", "gain_reduction_db", "phase_margin", "stable")
    if variables is not None and not isinstance(variables, (str, list, tuple)):
        raise ValueError(f'{who}: variables = {said(variables)} must be names of variables, such as ["distance", "phase_margin"]')
    names = [name for name in PANELS if name in found] if variables is None else [variables] if isinstance(variables, str) else list(variables)
    maps = [str(name) for name, v in found.data_vars.items() if len(v.dims) == 2 and name not in ("stable", "status")]
    for name in names:
        if not isinstance(name, str) or name not in maps:
            raise ValueError(f"{who}: variables has {said(name)}; it may have {', '.join(maps)}")
    if not names or min(found["stable"].shape) < 2:
        raise ValueError(f"{who} needs at least one variable, and a map of two values or more each way")
    check_requirement(gain_db, phase, who)
    axes = _side_by_side(axes, len(names))
    found = found.sortby(list(found["stable"].dims))
    for ax, name in zip(axes, names):
        _map(ax, found, name, gain_db, phase)
        if ax.get_legend_handles_labels()[1]:
            legend(ax, loc="lower left", bbox_to_anchor=(-0.02, 1.02), ncols=2, handlelength=2.2)
    return axes


def _map(ax, found: xr.Dataset, name: str, gain_db: float, phase: float) -> None:
    x_name, y_name = found["stable"].dims
    x, y, variable = found[x_name].values, found[y_name].values, found[name]
    share = name.endswith("_share")
    if share:  # of the time, in per cent
        variable = variable.copy(data=100.0 * variable.values).assign_attrs(units="%")
    values = np.ma.masked_invalid(shown(variable).T)
    sound = values[found["stable"].values.T].compressed()  # unstable pairs may be far off: they do not set the colours
    ends = (0.0, max(float(values.max()), 1.0)) if share else _colour_ends(sound)
    better = "more" if name in MORE_IS_BETTER else "less"
    mesh = ax.pcolormesh(
        x, y, values, shading="nearest", cmap=COLOURS if better == "more" else f"{COLOURS}_r", vmin=ends[0], vmax=ends[1], rasterized=True, zorder=1
    )
    beyond = [ends[0] is not None and bool(values.min() < ends[0]), ends[1] is not None and bool(values.max() > ends[1])]
    extend = {(False, False): "neither", (True, False): "min", (False, True): "max", (True, True): "both"}[tuple(beyond)]
    bar = ax.figure.colorbar(mesh, ax=ax, pad=0.02, aspect=28, extend=extend)
    bar.set_label(f"{label(variable, wrap=34)}\nbright is good: {better}", fontsize=FONT + 0.5, color=INK)
    bar.ax.tick_params(labelsize=FONT, width=0.6, length=3.0, color=GREY, labelcolor=INK)
    bar.outline.set_linewidth(0.0)
    _unstable(ax, x, y, ~found["stable"].values.T)
    gain = np.fmin(found["gain_margin_db"].values, found["gain_reduction_db"].values).T
    for margin, level, style, text in (
        (np.minimum(np.nan_to_num(gain, nan=99.0, posinf=99.0), 99.0), gain_db, "-", f"gain margin {gain_db:.3g} dB"),
        (np.degrees(found["phase_margin"].fillna(math.pi).values.T), math.degrees(phase), "--", f"phase margin {math.degrees(phase):.3g} deg"),
    ):
        if margin.min() < level < margin.max():
            ax.contour(x, y, margin, levels=[level], colors=["white"], linewidths=LINE + 1.5, linestyles="-", zorder=3)
            ax.contour(x, y, margin, levels=[level], colors=[INK], linewidths=LINE + 0.3, linestyles=style, zorder=3)
            ax.plot([], [], color=INK, lw=LINE + 0.3, ls=style, label=text)
    limits = ax.get_xlim(), ax.get_ylim()
    own = [found[one].attrs.get("designed", math.nan) for one in (x_name, y_name)]
    if np.isfinite(own).all():
        ax.plot(*own, "P", ms=9.0, mfc=CYCLE[1], mec="white", mew=1.2, ls="", zorder=4, label="the mission's own", clip_on=False)
        limits = [(min(low, v), max(high, v)) for (low, high), v in zip(limits, own)]  # it may lie outside the map
    ax.set(xlim=limits[0], ylim=limits[1], xlabel=label(found[x_name]), ylabel=label(found[y_name]))
    dress(ax)
    ax.grid(False)


def _colour_ends(sound: np.ndarray) -> tuple[float | None, float | None]:
    """Return the values at the ends of the colours: the least and the largest, or what a few outliers leave of these."""
    if not sound.size or np.ptp(sound) == 0.0:
        return None, None
    low, most, high = np.quantile(sound, (0.0, USUAL, 1.0))
    return float(low), float(most if high > OUTLIER * most > OUTLIER * low else high)


def _unstable(ax, x: np.ndarray, y: np.ndarray, where: np.ndarray) -> None:
    """Hatch the cells of unstable pairs."""
    from matplotlib.patches import Rectangle

    look = {"fc": (0.15, 0.15, 0.15, 0.4), "hatch": "////", "ec": "white", "lw": 0.0, "zorder": 2}
    across, up = _edges(x), _edges(y)
    for j, i in np.argwhere(where):
        ax.add_patch(Rectangle((across[i], up[j]), across[i + 1] - across[i], up[j + 1] - up[j], **look))
    if where.any():
        ax.fill_between([], [], [], fc=GREY, hatch="////", ec="white", lw=0.0, label="unstable")


def _edges(x: np.ndarray) -> np.ndarray:
    """Return the edges of cells about places, (n + 1,)."""
    middle = 0.5 * (x[1:] + x[:-1])
    return np.concatenate([[2.0 * x[0] - middle[0]], middle, [2.0 * x[-1] - middle[-1]]])


def _side_by_side(axes, count: int):
    """Return `axes`, or those of a new figure, `count` of them."""
    if axes is not None:
        found = np.atleast_1d(np.asarray(axes, dtype=object)).ravel()
        if found.size < count:
            raise ValueError(f"axes holds {found.size} axes and the figure needs {count}")
        return found[:count]
    import matplotlib.pyplot as plt

    return plt.subplots(1, count, figsize=(5.2 * count, 4.4), layout="constrained", squeeze=False)[1].ravel()

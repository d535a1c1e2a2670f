"""Figure of trigger windows: for each backup, by branch, when what it backs up fires, how late it may come, what is set and what to take."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, LINE, PALE, dress
from sixdof.study.recovery.triggers.text import need_windows
from sixdof.study.recovery.triggers.triggers import GRAIN, TIMED

SOUND, LAST, RIGHT = CYCLE[0], CYCLE[1], CYCLE[2]  # what it backs up fires; the last moment that saves; right in all branches
SPREAD = (0.05, 0.5, 0.95)
ROW, ROOM = 0.26, 1.15  # inches: of a branch, and of what is above and below the branches
NAME = 34  # letters of a branch's name before it takes a second line


def plot_trigger_windows(ds: xr.Dataset, trigger: str | None = None, *, width: float = 6.4):
    """Draw the windows of backups, a panel each, a row for each branch; return the figure.

    Blue: the setting up to which the backup would beat a sound primary trigger, that is when the primary fires, flight by flight (line: all flights,
    bar: 5 to 95 %, mark: median); of a trigger by time alone, the first that saves the flight. Red: the last setting that saves the flight alone. Each row
    is shaded where the setting is right, and the green band is right in all branches; upright lines are the setting of the mission and the one to take.
    Branches whose flights are those without a failure share their row.

    ds : what `sixdof.workshop.trigger_windows` returned. trigger : name of one backup; None: all. width : of a panel, inches.

    Raises ValueError for another Dataset, a name that is no backup, and a result without backups.

    Examples
    --------
    >>> found = sixdof.workshop.trigger_windows(mission, 6, branches=["bigger motor: thistledown"], progress=False)
    >>> figure = sixdof.plot.plot_trigger_windows(found)
    """
    need_windows(ds, "plot_trigger_windows")
    import matplotlib.pyplot as plt

    wanted = _wanted(ds, trigger)
    rows = [_rows(ds.sel(trigger=name)) for name in wanted]
    columns = min(len(wanted), 2)
    grid = [wanted[k : k + columns] for k in range(0, len(wanted), columns)]
    heights = [ROOM + ROW * max(len(rows[wanted.index(name)]) for name in line) for line in grid]
    size = (width * columns, sum(heights) + 0.6)
    figure, axes = plt.subplots(len(grid), columns, figsize=size, layout="constrained", squeeze=False, gridspec_kw={"height_ratios": heights})
    for k, ax in enumerate(axes.ravel()):
        if k < len(wanted):
            _panel(ax, ds.sel(trigger=wanted[k]), rows[k])
        else:
            ax.set_visible(False)
    _legend(figure, columns)
    figure.suptitle(f"{ds.attrs['title']}: when backups may fire", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _wanted(ds: xr.Dataset, trigger: str | None) -> list[str]:
    names = [str(one) for one in ds["trigger"].values]
    backups = [name for name, judged in zip(names, ds["judged"].values) if judged]
    if trigger is not None and trigger not in backups:
        raise ValueError(f"plot_trigger_windows: there is no backup {shown(trigger)}; {suggestion(str(trigger), backups, 'backups')}")
    found = [trigger] if trigger is not None else backups
    if not found:
        raise ValueError("plot_trigger_windows: no trigger of this result backs up another; give a canopy a backup_time")
    return found


def _rows(one: xr.Dataset) -> list[tuple[str, int]]:
    """Return the rows of a panel, name and number of the branch: those alike the flights without a failure are one."""
    ends = [(one["earliest_of_flight"].values[b], one["latest_of_flight"].values[b]) for b in range(one.sizes["branch"])]
    names = [str(name) for name in one["branch"].values]
    alike = [b for b in range(1, len(names)) if all(np.array_equal(a, c, equal_nan=True) for a, c in zip(ends[0], ends[b], strict=True))]
    first = f"{names[0]}, and {len(alike)} alike" if alike else names[0]
    return [(first, 0), *((names[b], b) for b in range(1, len(names)) if b not in alike)]


def _panel(ax, one: xr.Dataset, rows: list[tuple[str, int]]) -> None:
    low, high = _limits(one)
    begin, end = float(one["window_begin"]), float(one["window_end"])
    if begin < end:
        ax.axvspan(begin, min(end, high), color=RIGHT, alpha=0.18, lw=0.0, zorder=0.8)
    for place, (_, b) in enumerate(rows):
        branch = one.isel(branch=b)
        at = len(rows) - 1 - place
        earliest, latest = (_known(branch[name].values) for name in ("earliest_of_flight", "latest_of_flight"))
        _right(ax, at, earliest, latest, (low, high))
        _spread(ax, at, earliest, SOUND, "o")
        _spread(ax, at, latest, LAST, "s")
        if not earliest.size and not latest.size:
            ax.text(low + 0.01 * (high - low), at, "does not fire, or nothing to beat", fontsize=FONT - 1.0, color=GREY, va="center")
    for name, dashes, colour in (("setting", "-", INK), ("advised", DASHES[1], INK)):
        if math.isfinite(float(one[name])):
            ax.axvline(float(one[name]), color=colour, ls=dashes, lw=LINE + 0.3, zorder=5)
    ax.set_yticks(range(len(rows)), [textwrap.fill(name, NAME) for name, _ in reversed(rows)])
    ax.set(xlim=(low, high), ylim=(-0.6, len(rows) - 0.4))
    counted = {GRAIN: "from the stage's burnout", TIMED: "from what it counts from"}.get(str(one["trigger_how"].values), "from noticed liftoff")
    ax.set_xlabel(f"set, {counted} (s)")
    dress(ax, _title(one))
    ax.grid(False, axis="y")


def _title(one: xr.Dataset) -> str:
    now, take = float(one["setting"]), float(one["advised"])
    said = [f"set {now:g} s" if math.isfinite(now) else "not set", f"take {take:g} s" if math.isfinite(take) else "no setting fits all branches"]
    return f"{one['trigger_key'].values}: {', '.join(said)}"


def _known(values: np.ndarray) -> np.ndarray:
    return values[np.isfinite(values)]


def _limits(one: xr.Dataset) -> tuple[float, float]:
    """Return the ends of the axis of settings, s: all that is drawn, and some room."""
    named = [float(one[name]) for name in ("setting", "advised", "window_end", "window_begin")]
    found = _known(np.concatenate([_known(one[name].values) for name in ("earliest_of_flight", "latest_of_flight")] + [_known(np.array(named))]))
    if not found.size:
        return 0.0, 1.0
    room = 0.06 * max(float(np.ptp(found)), 0.5)
    return max(float(found.min()) - room, 0.0), float(found.max()) + room


def _right(ax, at: int, earliest: np.ndarray, latest: np.ndarray, limits: tuple[float, float]) -> None:
    """Shade where the settings of a branch are right in all flights seen."""
    begin = float(earliest.max()) if earliest.size else limits[0]
    end = float(latest.min()) if latest.size else limits[1]
    if (earliest.size or latest.size) and begin < end:
        ax.fill_between([begin, end], at - 0.38, at + 0.38, color=PALE, alpha=0.75, lw=0.0, zorder=0.6)


def _spread(ax, at: int, values: np.ndarray, colour: str, mark: str) -> None:
    if not values.size:
        return
    low, middle, high = np.quantile(values, SPREAD)
    ax.plot([values.min(), values.max()], [at, at], color=colour, lw=LINE, zorder=3)
    ax.plot([low, high], [at, at], color=colour, lw=5.0, alpha=0.55, solid_capstyle="butt", zorder=3.2)
    ax.plot([middle], [at], mark, color=colour, ms=4.0, mec="white", mew=0.6, zorder=4)


def _legend(figure, columns: int) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], color=SOUND, marker="o", ms=4.0, lw=3.0, alpha=0.8, label="not before: a sound primary fires"),
        Line2D([], [], color=LAST, marker="s", ms=4.0, lw=3.0, alpha=0.8, label="not after: the last that saves alone"),
        Patch(color=PALE, alpha=0.75, lw=0.0, label="right in this branch"),
        Patch(color=RIGHT, alpha=0.18, lw=0.0, label="right in all branches"),
        Line2D([], [], color=INK, lw=LINE + 0.3, label="as set"),
        Line2D([], [], color=INK, lw=LINE + 0.3, ls=DASHES[1], label="to take"),
    ]
    figure.legend(handles=handles, loc="outside lower left", ncols=3 * columns, fontsize=FONT, frameon=False, columnspacing=1.2)

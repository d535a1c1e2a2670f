"""The figure of a flight log: every reading over time, what was found in it and what was done about it."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, DASHES, FONT, GREY, INK, LINE, dress, legend_on_top, shown
from sixdof.postflight.logs.dataset import need_log

MOST_FINDINGS = 14  # bars
WIDE = 100  # characters of the title before it takes a second line
BROKEN = 3.5  # steps of a reading, beyond which its line is broken
DONE = {"kept": CYCLE[5], "dropped": CYCLE[1], "corrected": CYCLE[2], "cut": CYCLE[3]}


class _Curve(NamedTuple):
    """One line. of : reading of the log. pick : from the variable to the values drawn."""

    text: str
    of: str
    pick: Callable[[xr.DataArray], np.ndarray]


def _axis(k: int) -> Callable[[xr.DataArray], np.ndarray]:
    return lambda variable: shown(variable)[:, k]


PANELS: dict[str, tuple[_Curve, ...]] = {
    "height (m)": (_Curve("height", "height", shown), _Curve("height by the receiver", "fix_height", shown)),
    "speed (m/s)": (
        _Curve("climb rate", "velocity", _axis(2)),
        _Curve("to the east", "velocity", _axis(0)),
        _Curve("to the north", "velocity", _axis(1)),
        _Curve("airspeed", "airspeed", shown),
    ),
    "specific force (m/s^2)": tuple(_Curve(axis, "specific_force", _axis(k)) for k, axis in enumerate(("forward", "starboard", "third axis"))),
    "body rate (deg/s)": tuple(_Curve(axis, "body_rate", _axis(k)) for k, axis in enumerate(("roll", "pitch", "yaw"))),
    "angle (deg)": (_Curve("tilt from the vertical", "tilt", shown),),
    "place (m)": (_Curve("east", "east", shown), _Curve("north", "north", shown)),
    "temperature (K)": (_Curve("temperature", "temperature", shown),),
}


def plot_log(log: xr.Dataset):
    """Draw a flight log over time since liftoff, a panel a kind of reading, with what was found in it as bars below and shades behind; return the figure.

    A shade stands behind the panels of the reading that a finding is about, a bar for every finding (the first fourteen); colours say what was done.

    log : what `sixdof.postflight.read_log` returned.

    Raises TypeError and ValueError for anything else.

    Examples
    --------
    >>> table, columns = sixdof.postflight.log_of(flight, losses=0.02, noise={"body_rate": 0.01})
    >>> figure = sixdof.plot.plot_log(sixdof.postflight.read_log(table, columns, mission))
    """
    need_log(log, "plot_log")
    panels = {text: [one for one in curves if _drawn(log, one)] for text, curves in PANELS.items()}
    panels = {text: curves for text, curves in panels.items() if curves}
    if not panels:
        raise ValueError("plot_log: the log holds nothing that is drawn over time: no height, speed, force, rate, tilt or place")
    import matplotlib.pyplot as plt

    count = min(log.sizes.get("finding", 0), MOST_FINDINGS)
    heights = [1.0] * len(panels) + ([0.14 + 0.115 * count] if count else [])
    size = (9.6, 1.0 + 1.75 * len(panels) + (0.3 + 0.21 * count if count else 0.0))
    figure, axes = plt.subplots(len(heights), 1, figsize=size, layout="constrained", sharex=True, squeeze=False, gridspec_kw={"height_ratios": heights})
    axes = axes[:, 0]
    axes[0].set_xlim(_span(log))
    for ax, (text, curves) in zip(axes, panels.items()):
        _panel(ax, log, text, curves)
    if count:
        _findings(axes[-1], log, count)
    axes[-1].set_xlabel("time since liftoff (s)")
    title = f"{log.attrs['title']}: " if log.attrs.get("title") else ""
    said = (
        f"liftoff by {log.attrs['liftoff_by'].partition(',')[0]}, +- {log.attrs['liftoff_error']:.2g} s" if log.attrs["liftoff_error"] else "liftoff as given"
    )
    figure.suptitle(textwrap.fill(f"{title}flight log, {said}", WIDE), fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _drawn(log: xr.Dataset, one: _Curve) -> bool:
    return one.of in log and bool(np.isfinite(one.pick(log[one.of])).any())


def _span(log: xr.Dataset) -> tuple[float, float]:
    """Return the times that are drawn: of a long wait before launch a tenth of the flight."""
    time = log["time"].values
    return max(time[0], -max(0.1 * time[-1], 3.0)), time[-1]


def _panel(ax, log: xr.Dataset, text: str, curves: list[_Curve]) -> None:
    time = log["time"].values
    for k, one in enumerate(curves):
        ax.plot(*_broken(time, one.pick(log[one.of])), color=CYCLE[k], ls=DASHES[k] if k else "-", lw=LINE, label=one.text, zorder=3 - 0.1 * k)
    ax.axvline(0.0, ymax=0.6, color=GREY, lw=0.7, ls=":", zorder=1)
    for start, end, done in _about(log, {one.of for one in curves} | ({"pressure"} if text == "height (m)" else set())):
        ax.axvspan(start, max(end, start + 0.002 * (time[-1] - time[0])), color=DONE[done], alpha=0.16, lw=0.0, zorder=0.6)
    ax.set_ylabel(text)
    dress(ax)
    legend_on_top(ax, 4)


def _broken(time: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the readings with a break in each gap, of those within the figure."""
    good = np.isfinite(values)
    t, y = time[good], values[good]
    if t.size < 3:
        return t, y
    steps = np.diff(t)
    at = np.flatnonzero(steps > BROKEN * np.median(steps)) + 1
    return np.insert(t, at, 0.5 * (t[at - 1] + t[at])), np.insert(y, at, np.nan)


def _about(log: xr.Dataset, readings: set[str]):
    """Yield start, end and what was done of findings about readings that lie in a part of the log."""
    if "finding" not in log:
        return
    whole = float(np.ptp(log["time"].values))
    for start, end, of, done in zip(*(log[f"finding_{name}"].values for name in ("start", "end", "of", "done"))):
        if str(of) in readings and np.isfinite(start) and not end - start > 0.8 * whole:
            yield float(start), float(end if np.isfinite(end) else start), str(done)


def _findings(ax, log: xr.Dataset, count: int) -> None:
    """Draw a bar for each finding, named at its side."""
    first, last = ax.get_xlim()
    names, told = [], set()
    for k in range(count):
        start, end, of, done, kind = (log[f"finding_{name}"].values[k] for name in ("start", "end", "of", "done", "kind"))
        start, end = (first, last) if not np.isfinite(start) else (float(start), float(end if np.isfinite(end) else start))
        start, end = max(start, first), min(max(end, start + 0.004 * (last - first)), last)
        ax.barh(k, end - start, left=start, height=0.62, color=DONE[str(done)], lw=0.0, zorder=2, label=str(done) if str(done) not in told else "_")
        told.add(str(done))
        names.append(f"{str(of).replace('_', ' ') + ': ' if str(of) else ''}{kind}")
    left = log.sizes["finding"] - count
    ax.set_yticks(range(count), names)
    ax.set_ylim(count - 0.4, -0.6)
    ax.set_facecolor(BAND)
    dress(ax, f"What was found{f' (the first {count}, {left} more on the page)' if left else ''}")
    handles = dict(zip(*reversed(ax.get_legend_handles_labels())))
    look = {"ncols": len(handles), "fontsize": FONT, "frameon": False, "borderaxespad": 0.1, "handlelength": 1.2}
    ax.legend(handles.values(), handles.keys(), loc="lower right", bbox_to_anchor=(1.0, 1.0), **look)

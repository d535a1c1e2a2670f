"""Figures of limit cycles: a simulated one in time with what is predicted, and the loop against -1/N in the Nichols plane."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.units import shown as worded
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, axes_or_new, dress, label, legend_beside, legend_on_top, shown
from sixdof.study.reading.result import need_table

PERIODS = 8.0  # of the cycle that are shown
MARKS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)  # Hz, along the loop
ROOM = (-24.0, 36.0), (-300.0, -40.0)  # dB and deg: what the Nichols plane shows
NAMES = {"backlash": "backlash", "dead_band": "dead band", "resolution": "resolution", "all": "all together"}
_CURVES = ("loop_gain", "loop_phase", "inverse_gain", "inverse_phase")


def plot_limit_cycle(flown: xr.Dataset, cycles: xr.Dataset | None = None, *, cycle: int | None = None, ax=None):
    """Draw attitude, fin and command of a channel that hunts, degrees, with the predicted amplitudes as bands about their means.

    flown : as `sixdof.loops.simulate_frozen` returns it; the last eight predicted periods are shown, all of it without a prediction.
    cycles : as `sixdof.loops.limit_cycles` returns them. cycle : which of them; None: the largest stable one, of all imperfections
    together where there is such. Returns the axes. Raises ValueError for anything else.

    ax : axes to draw into, or None for a new figure.

    ax : three axes, to draw into; new ones by default.

    Examples
    --------
    >>> flown = sixdof.loops.simulate_frozen(models, 2, "pitch", start=np.radians(0.5), duration=3.0)
    >>> axes = sixdof.plot.plot_limit_cycle(flown)
    """
    need_table(flown, "plot_limit_cycle", "loops.simulate_frozen", "angle", "command", "fin")
    ax = axes_or_new(ax, size=(8.0, 4.2))
    one = _chosen(cycles, cycle)
    part = flown
    if one is not None:
        part = flown.sel(time=slice(float(flown["time"][-1]) - PERIODS / float(one["frequency"]), None))
    styles = (("command", GREY, LINE, "-"), ("fin", CYCLE[1], LINE + 0.3, "-"), ("angle", CYCLE[0], LINE + 0.6, "-"))
    for name, colour, width, line in styles:
        text = "attitude" if name == "angle" else name
        ax.plot(part["time"], shown(part[name]), color=colour, lw=width, ls=line, label=text, drawstyle="steps-post" if name == "command" else None)
    if one is not None:
        for name, amplitude, colour in (("fin", "fin_amplitude", CYCLE[1]), ("angle", "attitude_amplitude", CYCLE[0])):
            middle, size = float(shown(part[name]).mean()), math.degrees(float(one[amplitude]))
            ax.axhspan(middle - size, middle + size, color=colour, alpha=0.1, lw=0.0)
            for edge in (middle - size, middle + size):
                ax.axhline(edge, color=colour, lw=0.8, ls=(0, (4, 3)))
    ax.set(xlabel=label(flown["time"]), ylabel="angle (deg)")
    ax.set_xlim(float(part["time"][0]), float(part["time"][-1]))
    legend_on_top(ax, 3)
    dress(ax, _title(one))
    return ax


def plot_describing(curves: xr.Dataset, cycles: xr.Dataset | None = None, *, ax=None):
    """Draw the loop and -1/N of the servo's imperfections in the Nichols plane: they cross at limit cycles.

    curves, cycles : as `sixdof.loops.limit_cycle_curves` and `.limit_cycles` return them; filled marks are stable cycles. The cross is
    the critical point. Returns the axes. Raises ValueError for anything else.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> curves = sixdof.loops.limit_cycle_curves(models, 2, "pitch", gains={"servo.backlash": "1 deg"})
    >>> ax = sixdof.plot.plot_describing(curves)
    """
    need_table(curves, "plot_describing", "loops.limit_cycle_curves", *_CURVES)
    ax = axes_or_new(ax, size=(6.4, 5.0))
    hertz, gain, phase = curves["frequency"].values, curves["loop_gain"].values, np.degrees(curves["loop_phase"].values)
    ax.plot(phase, gain, color=INK, lw=LINE + 0.5, label="the loop", gid="cut")
    for mark in MARKS:
        at = np.interp(mark, hertz, phase), np.interp(mark, hertz, gain)
        if hertz[0] <= mark <= hertz[-1] and ROOM[1][0] < at[0] < ROOM[1][1] and ROOM[0][0] < at[1] < ROOM[0][1]:
            ax.plot(*at, ".", color=INK, ms=5.0)
            ax.annotate(f"{mark:g} Hz", at, (-5.0, 5.0), textcoords="offset points", fontsize=FONT - 1.0, color=INK, ha="right", annotation_clip=True)
    colours = {}
    for k in range(curves.sizes["curve"]):
        name, between = str(curves["imperfection"].values[k]), bool(curves["between"].values[k])
        colour = colours.setdefault(name, CYCLE[len(colours)])
        x, y = np.degrees(curves["inverse_phase"].values[k]), curves["inverse_gain"].values[k]
        text = f"-1/N, {NAMES[name]}" + (", between levels" if between else "")
        ax.plot(x, y, color=colour, lw=LINE, ls=(0, (3, 2)) if between else "-", label=text, gid="cut")
    if cycles is not None:
        _mark(ax, curves, cycles, colours)
    ax.plot(-180.0, 0.0, "+", ms=9.0, color=INK)
    ax.set(xlabel="phase (deg)", ylabel="gain (dB)", xlim=ROOM[1], ylim=ROOM[0])
    legend_beside(ax)
    dress(ax, "the loop and what the servo's imperfections do to it")
    return ax


def plot_limit_cycles(flown: xr.Dataset, cycles: xr.Dataset, curves: xr.Dataset):
    """Draw a channel that hunts in time and its loop against -1/N side by side; return the figure (see the two figures).

    Examples
    --------
    >>> play = {"servo.backlash": "1 deg"}
    >>> flown = sixdof.loops.simulate_frozen(models, 2, "pitch", gains=play, start=np.radians(0.5), duration=3.0)
    >>> cycles, curves = (make(models, 2, "pitch", gains=play) for make in (sixdof.loops.limit_cycles, sixdof.loops.limit_cycle_curves))
    >>> figure = sixdof.plot.plot_limit_cycles(flown, cycles, curves)
    """
    import matplotlib.pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(12.5, 5.0), layout="constrained", width_ratios=(1.25, 1.0))
    plot_limit_cycle(flown, cycles, ax=left)
    plot_describing(curves, cycles, ax=right)
    figure.suptitle(flown.attrs.get("title", ""), fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _chosen(cycles: xr.Dataset | None, which: int | None) -> xr.Dataset | None:
    """Return one predicted cycle, None where there is none to show."""
    if cycles is None:
        return None
    need_table(cycles, "plot_limit_cycle", "loops.limit_cycles", "imperfection", "fin_amplitude", "attitude_amplitude", "stable")
    count = cycles.sizes["cycle"]
    if which is not None:
        if isinstance(which, bool) or not isinstance(which, (int, np.integer)) or not 0 <= which < count:
            raise ValueError(f"plot_limit_cycle: cycle = {worded(which)} is not one of the {count} predicted cycles")
        return cycles.isel(cycle=which)
    fit = cycles["stable"].values.copy()
    together = fit & (cycles["imperfection"].values == "all")
    fit = together if together.any() else fit
    return cycles.isel(cycle=int(np.where(fit, cycles["fin_amplitude"].values, -1.0).argmax())) if fit.any() else None


def _title(one: xr.Dataset | None) -> str:
    if one is None:
        return "no limit cycle predicted"
    return f"bands: first harmonics predicted from {NAMES[str(one['imperfection'].values)]}, {float(one['frequency']):.2f} Hz"


def _mark(ax, curves: xr.Dataset, cycles: xr.Dataset, colours: dict[str, str]) -> None:
    """Draw the cycles where the loop has their frequency."""
    need_table(cycles, "plot_describing", "loops.limit_cycles", "imperfection", "frequency", "stable")
    for k in range(cycles.sizes["cycle"]):
        one = cycles.isel(cycle=k)
        colour = colours.get(str(one["imperfection"].values), GREY)
        at = [np.interp(float(one["frequency"]), curves["frequency"].values, curves[name].values) for name in ("loop_phase", "loop_gain")]
        face = colour if bool(one["stable"]) else "white"
        ax.plot(math.degrees(at[0]), at[1], "o", ms=6.0, mfc=face, mec=colour, mew=1.2, zorder=4)

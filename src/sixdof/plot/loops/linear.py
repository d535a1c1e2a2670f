"""Figures of linear models along a flight: their modes, and the margins of the loops round them, against time with Mach above."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import xarray as xr

from sixdof.mission.units import shown as worded
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, dress, label, legend_on_top, match_headroom, second_axis, widths
from sixdof.study.loops.margins import REQUIRED_GAIN_DB, REQUIRED_PHASE, check_requirement
from sixdof.study.reading.result import need_table

FORBIDDEN_SHADE = "#f7e3d8"
MOST_GAIN = 40.0  # dB: a margin beyond it is as good as any
CHANNEL_COLOURS = {"pitch": CYCLE[0], "yaw": CYCLE[1], "roll": CYCLE[2]}
DASHED, DOTTED = (0, (4, 2)), (0, (1, 1.5))
_OF_MARGINS = (("gain_margin_db", 1.0, "gain margin (dB)"), ("phase_margin", math.degrees(1.0), "phase margin (deg)"), ("distance", 1.0, "least |1 + L|"))
_OF_MODES = ("short_period_frequency", "short_period_damping", "roll_time_constant", "effectiveness", "mach")


def plot_modes(models: xr.Dataset, *, axes=None):
    """Draw the open-loop modes against time, Mach above: short period (Hz, damping), roll time constant, effectiveness of the controls.

    axes : (2, 2) axes, or None for a new figure. Stretches in which pitch or yaw has no short period (statically unstable) are shaded.
    Returns the axes. Raises ValueError for what `sixdof.loops.linearise` did not make.

    Examples
    --------
    >>> axes = sixdof.plot.plot_modes(models)
    """
    need_table(models, "plot_modes", "loops.linearise", *_OF_MODES, "time")
    axes = new_axes(axes, 2, 2, size=(9.6, 6.4), who="plot_modes")
    (frequency, damping), (roll, effect) = axes
    in_order = sorted(models["plane"].values, key=list(CHANNEL_COLOURS).index)
    for ax, name, factor in ((frequency, "short_period_frequency", 0.5 / math.pi), (damping, "short_period_damping", 1.0)):
        _lines(ax, models, models[name] * factor, "plane", in_order)
        ax.set_ylim(0.0, max(ax.get_ylim()[1], 1e-3))
        for name in in_order:
            unstable = np.isnan(models["short_period_frequency"].sel(plane=name).values)
            shade(ax, models["time"].values, unstable, f"{name} statically unstable", CHANNEL_COLOURS[str(name)])
    _lines(roll, models, models["roll_time_constant"].expand_dims(channel=["roll"]), "channel", ["roll"])
    roll.set_ylim(0.0, max(roll.get_ylim()[1], 1e-3))
    _lines(effect, models, models["effectiveness"], "channel", ["pitch", "yaw"])
    other = _roll_beside(effect, models)
    texts = ("natural frequency (Hz)", "damping ratio", "time constant (s)", "pitch, yaw (rad/s$^2$ per rad of demand)")
    titles = ("short period", "short period: damping", "roll", "effectiveness of the controls")
    for k, (ax, text, title) in enumerate(zip(axes.flat, texts, titles)):
        ax.set(xlabel=label(models["time"]) if k > 1 else "", ylabel=text)
        ax.tick_params(labelbottom=k > 1)
        _mark_stages(ax, models)
        before = ax.get_ylim()
        legend_on_top(ax, 3)
        if ax is effect:
            match_headroom(other, ax, before)
        along_flight(ax, models, title, mach=k < 2)
    return axes


def _roll_beside(ax, models: xr.Dataset):
    """Draw the effectiveness in roll, many times that in pitch, on a scale of its own, returned; roll that is reversed has its own zero line."""
    other = second_axis(ax, "roll (rad/s$^2$ per rad of demand)", CHANNEL_COLOURS["roll"])
    # dashed: of much the same shape as pitch, so that the lines often lie on each other
    look = {"color": CHANNEL_COLOURS["roll"], "lw": LINE + 0.3, "ls": (0, (5, 4))}
    other.plot(models["time"], models["effectiveness"].sel(channel="roll"), label="roll", **look)
    ax.plot([], [], label="roll, right scale", **look)
    for own, channels in ((ax, ["pitch", "yaw"]), (other, ["roll"])):
        values, (low, high) = models["effectiveness"].sel(channel=channels).values, own.get_ylim()
        own.set_ylim(min(low, 0.0) if (values < 0.0).any() else 0.0, max(high, 1e-9) if (values > 0.0).any() else 1e-9)
    if other.get_ylim()[0] < 0.0:
        other.axhline(0.0, color=CHANNEL_COLOURS["roll"], lw=0.6)
    if ax.get_ylim()[0] < 0.0:
        ax.axhline(0.0, color=GREY, lw=0.6)
    return other


def plot_margins(found, *, channel: str | None = None, broken_at: str = "actuator", required=(REQUIRED_GAIN_DB, REQUIRED_PHASE), colours=(), axes=None):
    """Draw gain margin, phase margin and |1 + L| against time, Mach above, with what is required; unstable stretches are shaded.

    found : what `sixdof.loops.margins` (or `coupled_margins`) returns, or a dictionary name -> such a Dataset, for one channel laid
    over each other ("pitch" if none is named). channel : one of them alone. required : (dB, rad). colours : of the curves in their order,
    before those of the channels or the cycle. axes : three axes, or None. The gain-reduction margin (how much the gain may fall) is dashed.
    Returns the three axes.

    broken_at : where the loop is broken, one of the places that the result holds.

    broken_at : the place at which the loops are broken.

    Raises
    ------
    ValueError
        For what is not a result of margins, for a channel or a place to break the loop that it does not hold.

    Examples
    --------
    >>> axes = sixdof.plot.plot_margins(sixdof.loops.margins(models), channel="pitch")
    """
    several = isinstance(found, Mapping) and not isinstance(found, xr.Dataset)
    sets = dict(found) if several else {"": found}
    if not sets:
        raise ValueError("plot_margins: found is empty; give margins, or a dictionary of them by name")
    required = need_required(required, "plot_margins")
    curves = _curves_of(sets, "pitch" if several and channel is None else channel, broken_at)
    axes = new_axes(axes, 3, 1, size=(7.4, 7.6), who="plot_margins", sharex=True).ravel()
    for ax, (name, factor, text) in zip(axes, _OF_MARGINS):
        for (of, one), width, colour in zip(curves, widths(len(curves)), _curve_colours(curves, colours)):
            _margin_line(ax, one, name, factor, of, width, colour)
        ax.set_ylabel(text)
    _require(axes, required)
    channels = sorted({str(c) for _, one in curves for c in np.atleast_1d(one["channel"].values)}, key=list(CHANNEL_COLOURS).index)
    for ax in axes:
        for (of, one), colour in zip(curves, _curve_colours(curves, colours)):
            shade(ax, one["time"].values, ~one["stable"].values.astype(bool), f"{of} unstable", colour)
    where = "demand" if broken_at == "actuator" else f"{broken_at} reading"
    title = f"{channels[0] if len(channels) == 1 else 'margins'}, broken at the {where}"
    axes[-1].set_xlabel(label(curves[0][1]["time"]))
    for k, ax in enumerate(axes):
        ax.set_ylim(bottom=0.0)
        along_flight(ax, curves[0][1], title if k == 0 else "", mach=k == 0)
        legend_on_top(ax, 4, handles=_first_of_each(ax, every=k == 0))
    return axes


def _curves_of(sets: Mapping, channel, broken_at: str) -> list:
    """Return (name, margins of one channel at one place) for every curve."""
    out = []
    for of, one in sets.items():
        names = (*(name for name, _, _ in _OF_MARGINS), "gain_reduction_db", "stable", "time", "mach", "channel")
        need_table(one, "plot_margins", "loops.margins", *names)
        if "broken_at" in one.dims:
            need_one_of(broken_at, one["broken_at"].values, "broken_at", "plot_margins")
            one = one.sel(broken_at=broken_at)
        if channel is not None:
            need_one_of(channel, np.atleast_1d(one["channel"].values), "channel", "plot_margins")
        for name in sorted(one["channel"].values, key=list(CHANNEL_COLOURS).index) if channel is None else [channel]:
            out.append((of or str(name), one.sel(channel=name)))
    return out


def _curve_colours(curves: list, given) -> list[str]:
    """Return a colour for each curve: those given, else that of its channel, else of the cycle."""
    own = [CHANNEL_COLOURS.get(of) or CYCLE[k % len(CYCLE)] for k, (of, _) in enumerate(curves)]
    return [*given, *own[len(given) :]]


def _margin_line(ax, one: xr.Dataset, name: str, factor: float, of: str, width: float, colour: str) -> None:
    values = one[name].values * factor
    if name == "gain_margin_db":
        values = np.minimum(values, MOST_GAIN)  # NaN, no crossing, stays NaN
        less = one["gain_reduction_db"].values
        ax.plot(one["time"], np.where(less <= MOST_GAIN, less, np.nan), color=colour, lw=LINE, ls=DASHED, gid=f"of:{of}")
    ax.plot(one["time"], values, color=colour, lw=width, marker=".", ms=3.0, label=of, gid="margin")


def _require(axes, required) -> None:
    gain_db, phase = required
    axes[0].plot([], [], color=GREY, lw=LINE, ls=DASHED, label="gain-reduction margin")
    # a loop that stays this far from -1 has the gain margin for certain: |1 + L| >= 1 - 1/g
    for ax, value in zip(axes, (gain_db, math.degrees(phase), 1.0 - 10.0 ** (-gain_db / 20.0))):
        unit = "dB" if ax is axes[0] else "deg"
        text = f"enough for {gain_db:g} dB" if ax is axes[-1] else f"required: {value:g} {unit}"
        ax.axhline(value, color=INK, lw=LINE, ls=DOTTED, label=text)


def _first_of_each(ax, *, every: bool) -> list:
    """Return the handles of a legend without repetition; where not `every`, those of the curves and their shading are left to the first panel."""
    seen = {}
    for handle, text in zip(*ax.get_legend_handles_labels()):
        if every or "unstable" not in text and getattr(handle, "get_gid", lambda: None)() != "margin":
            seen.setdefault(text, handle)
    return list(seen.values())


# ---------------------------------------------------------------- shared with `plot.loop`


def need_one_of(value, known, what: str, who: str) -> None:
    """Raise ValueError in one sentence for a value that is not among the known ones."""
    known = [str(name) for name in known]
    if not isinstance(value, str) or value not in known:
        raise ValueError(f"{who}: {what} = {worded(value)} must be {'one of ' if len(known) > 1 else ''}{', '.join(known)}")


def need_number(value, what: str, who: str) -> float:
    """Return a finite number. Raises ValueError in one sentence for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e6:
        raise ValueError(f"{who}: {what} = {worded(value)} must be a number, below a million in size")
    return float(value)


def need_required(required, who: str) -> tuple[float, float]:
    """Return required margins (dB, rad). Raises ValueError for anything else."""
    if not isinstance(required, (tuple, list)) or len(required) != 2:
        raise ValueError(f"{who}: required = {worded(required)} must be a pair, decibels and radians, such as (6.0, math.radians(45))")
    check_requirement(*required, f"{who}: required")
    return float(required[0]), float(required[1])


def new_axes(axes, rows: int, columns: int, *, size, who: str, **options) -> np.ndarray:
    """Return given axes as an array (rows, columns), or those of a new figure (inches). ValueError for a wrong number of them."""
    if axes is None:
        import matplotlib.pyplot as plt

        return plt.subplots(rows, columns, figsize=size, layout="constrained", squeeze=False, **options)[1]
    given = np.atleast_1d(np.asarray(axes, dtype=object))
    if given.size != rows * columns:
        raise ValueError(f"{who}: axes holds {given.size} axes and the figure needs {rows * columns}")
    return given.reshape(rows, columns)


def along_flight(ax, models: xr.Dataset, title: str = "", *, mach: bool = True) -> None:
    """Give axes against time their look, and Mach numbers at the times of the ticks along the top."""
    time, number = models["time"].values, models["mach"].values
    if len(time) > 1:
        ax.set_xlim(time.min(), time.max())
    dress(ax, title)
    if not mach:
        return

    def worded_mach(t, _):
        return f"{np.interp(t, time, number):.2f}" if time.min() - 1e-9 <= t <= time.max() + 1e-9 else ""

    above = ax.secondary_xaxis("top")
    above.xaxis.set_major_formatter(worded_mach)
    above.tick_params(labelsize=FONT - 1.0, width=0.6, length=2.0, color=GREY, labelcolor=GREY, pad=1.0)
    above.spines["top"].set(linewidth=0.6, color=PALE)
    above.set_xlabel("Mach", fontsize=FONT - 0.5, color=GREY, loc="right", labelpad=2.0)


def shade(ax, time: np.ndarray, where: np.ndarray, text: str, colour: str) -> None:
    """Shade in a pale tint of `colour` the stretches of time in which `where` holds, each to half way to its neighbours; they get one entry of the legend."""
    from matplotlib.colors import to_rgb

    edges = np.concatenate([time[:1], 0.5 * (time[1:] + time[:-1]), time[-1:]])
    if len(time) == 1:
        edges = edges + np.array([-0.5, 0.5])
    change = np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(int)))
    for start, stop in zip(change[::2], change[1::2]):
        ax.axvspan(edges[start], edges[stop], fc=(*to_rgb(colour), 0.13), ec=(*to_rgb(colour), 0.5), lw=0.5, zorder=0.4, label=text)
        text = "_"


def _lines(ax, models: xr.Dataset, values: xr.DataArray, dim: str, names) -> None:
    for name, width in zip(names, widths(len(names))):
        ax.plot(models["time"], values.sel({dim: name}), color=CHANNEL_COLOURS[str(name)], lw=width, marker=".", ms=3.0, label=str(name))


def _mark_stages(ax, models: xr.Dataset) -> None:
    """Draw a line where a stage goes."""
    if "stages" not in models:
        return
    time = models["time"].values
    ends, where = ax.get_ylim(), np.flatnonzero(np.diff(models["stages"].values))  # up to where the legend will get its room
    first = where.min(initial=len(time))
    for k in where:
        ax.plot([0.5 * (time[k] + time[k + 1])] * 2, ends, color=GREY, lw=LINE, ls=DOTTED, label=None if k > first else "a stage separates")

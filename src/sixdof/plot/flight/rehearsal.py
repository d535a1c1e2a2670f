"""The figure of a rehearsal: what the flight computer sensed over time, and what it noticed and fired."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, dress, headroom, legend, scale_of_time, second_axis, shown
from sixdof.study.reading.result import need_result
from sixdof.study.report.rehearsal_report import need_rehearsal

_PHASES = {"liftoff_noticed": "liftoff", "rail_departure_noticed": "rail left", "apogee_noticed": "apogee"}
_NEEDS = ("sensed", "sensed_speed", "sensed_tilt", "ignition_noticed", "burnout_noticed", "separation_noticed", "rule", "rule_stage")
_FIRED, _HELD = CYCLE[1], CYCLE[5]


def plot_rehearsal(ds: xr.Dataset, *, axes=None):
    """Draw a rehearsal on a square-root scale of time: height and speed, specific force and tilt, and every rule.

    Dotted lines are phases as they were noticed, shaded spans are burns, dots where a rule fired. A rule's line runs from what it
    waited for to the moment it fired (hollow: another had done it, cross: it gave up), orange while conditions held it; pale bars
    are the windows in which it was expected.

    axes : three axes, or None for a new figure. Returns the three axes. Raises ValueError for what is not a rehearsal.

    Examples
    --------
    >>> axes = sixdof.plot.plot_rehearsal(sixdof.rehearse(mission))
    """
    need_result(ds, "plot_rehearsal")
    need_rehearsal(ds, "plot_rehearsal")
    need_result(ds, "plot_rehearsal", *_NEEDS, *_PHASES, *(f"rule_{name}" for name in _OF_RULE))
    rules = [k for k, stage in enumerate(ds["rule_stage"].values) if stage == ds.attrs["stage"]]
    if axes is None:
        import matplotlib.pyplot as plt

        low = max(0.24 * (len(rules) + 1), 0.5)
        figure = plt.figure(figsize=(10.0, 5.6 + low), layout="constrained")
        axes = figure.subplots(3, 1, sharex=True, height_ratios=[2.6, 2.2, low])
    _draw_motion(axes[0], ds)
    _draw_force(axes[1], ds)
    _draw_rules(axes[2], ds, rules)
    for ax in axes:
        _mark_phases(ax, ds)
    _name_phases(axes[0], ds)
    _scale_of_time(axes, float(ds["time"][-1]))
    return axes


def _draw_motion(ax, ds: xr.Dataset) -> None:
    height = ds["sensed"].sel(reading="height").values
    ax.plot(ds["time"], height, color=CYCLE[0], lw=LINE + 0.3, label="height", zorder=3)
    baro = ds["sensed"].sel(reading="baro_height").values
    if np.abs(baro - height).max() > 0.01 * np.ptp(height):  # else it is the same line
        ax.plot(ds["time"], baro, color=CYCLE[4], lw=LINE, ls=(0, (4, 2)), label="barometer", zorder=2)
    for k, time in enumerate(t for t in ds["rule_fired"].values if math.isfinite(t)):
        at = float(np.interp(time, ds["time"].values, height))
        ax.plot(time, at, "o", ms=4.5, color=_FIRED, mec=INK, mew=0.6, zorder=4, label=None if k else "a rule fires")
    ax.set_ylabel("sensed height (m)")
    ax.set_ylim(bottom=min(0.0, float(height.min())))
    headroom(ax, 0.18)
    dress(ax)
    other = second_axis(ax, "sensed speed (m/s)", CYCLE[2])
    other.plot(ds["time"], ds["sensed_speed"], color=CYCLE[2], lw=LINE)
    other.set_ylim(bottom=0.0)
    headroom(other, 0.18)
    _legend_above(ax)


def _draw_force(ax, ds: xr.Dataset) -> None:
    ax.plot(ds["time"], ds["sensed"].sel(reading="specific_force_x"), color=CYCLE[0], lw=LINE + 0.3, zorder=3)
    end = float(ds["time"][-1])
    apogee = float(ds["apogee_noticed"])
    named = {True: "false burn: noticed after apogee", False: "burn, as sensed"}
    for begun, ended in zip(ds["ignition_noticed"].values, ds["burnout_noticed"].values, strict=True):
        if not math.isfinite(begun):
            continue
        false = math.isfinite(apogee) and begun > apogee
        look = {"fc": "white", "ec": CYCLE[1], "hatch": "////", "lw": 0.6} if false else {"fc": PALE, "ec": PALE, "lw": 0.0}
        ax.axvspan(begun, ended if math.isfinite(ended) else end, alpha=0.7, zorder=1, label=named.pop(false, None), **look)
    ax.set_ylabel("sensed specific force\nalong the axis (m/s$^2$)")
    dress(ax)
    other = second_axis(ax, "sensed tilt (deg)", CYCLE[3])
    other.plot(ds["time"], shown(ds["sensed_tilt"]), color=CYCLE[3], lw=LINE)
    other.set_ylim(bottom=0.0)
    if ds.sizes["burn"]:
        _legend_above(ax)


def _legend_above(ax) -> None:
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 0.98), ncols=4)


def _draw_rules(ax, ds: xr.Dataset, rules: list[int]) -> None:
    end = float(ds["time"][-1])
    for row, k in enumerate(rules):
        _draw_rule(ax, row, {name: ds[f"rule_{name}"].values[k] for name in _OF_RULE}, end)
    if np.isfinite(ds["rule_earliest"].values[rules]).any():
        ax.plot([], [], color=PALE, lw=6.0, label="expected")
    if ds["rule_waited"].values[rules].astype(bool).any():
        ax.plot([], [], color=_HELD, lw=3.0 * LINE, label="held by its conditions")
    ax.set_yticks(range(len(rules)), [str(ds["rule"].values[k]) for k in rules])
    ax.set_ylim(max(len(rules), 1) - 0.4, -0.6)
    dress(ax)
    if ax.get_legend_handles_labels()[1]:
        _legend_above(ax)


_OF_RULE = ("armed", "due", "fired", "acted", "given_up", "waited", "earliest", "latest")


def _draw_rule(ax, row: int, rule: dict, end: float) -> None:
    if math.isfinite(rule["earliest"]):
        ax.barh(row, rule["latest"] - rule["earliest"], left=rule["earliest"], height=0.8, color=PALE, zorder=1)
    over = next((t for t in (rule["fired"], rule["given_up"]) if math.isfinite(t)), math.nan)
    last = over if math.isfinite(over) else end
    if math.isfinite(rule["armed"]):
        ax.plot([rule["armed"], last], [row, row], color=GREY, lw=LINE, zorder=2)
    if rule["waited"]:
        ax.plot([rule["due"], last], [row, row], color=_HELD, lw=3.0 * LINE, solid_capstyle="butt", zorder=2)
    if math.isfinite(over):
        face = _FIRED if rule["acted"] else "white"
        marker = {"marker": "o", "mfc": face} if math.isfinite(rule["fired"]) else {"marker": "x"}
        ax.plot(over, row, ls="", ms=5.0, mec=INK, mew=0.8, zorder=3, **marker)
        text = f"{over:.2f}" if math.isfinite(rule["fired"]) else f"gave up at {over:.2f}"
        _say(ax, over, row, text)
    else:
        _say(ax, end, row, "never fired")


def _say(ax, time: float, row: int, text: str) -> None:
    ax.annotate(text, (time, row), (6.0, 0.0), textcoords="offset points", fontsize=FONT - 1.0, color=INK, va="center")


def _mark_phases(ax, ds: xr.Dataset) -> None:
    for time in [float(ds[name]) for name in _PHASES] + list(ds["separation_noticed"].values):
        if math.isfinite(time):
            ax.axvline(time, color=GREY, lw=0.8, ls=":", zorder=1.5)


def _name_phases(ax, ds: xr.Dataset) -> None:
    found = [(float(ds[name]), text) for name, text in _PHASES.items()]
    found += [(float(t), "separation") for t in ds["separation_noticed"].values]
    for time, text in found:
        if math.isfinite(time):
            ax.annotate(
                text,
                (time, 1.0),
                (2.0, -2.0),
                xycoords=("data", "axes fraction"),
                textcoords="offset points",
                fontsize=FONT - 1.0,
                color=GREY,
                rotation=90,
                va="top",
                ha="left",
            )


def _scale_of_time(axes, end: float) -> None:
    for ax in axes:
        scale_of_time(ax, 1.2 * end)
        ax.set_xlabel(ax.get_xlabel() if ax is axes[-1] else "")

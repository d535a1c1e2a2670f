"""Figures of one flight's front body against time: height, speed, acceleration, thrust.

Each takes the Dataset of `sixdof.fly`; `whole` goes on past apogee to the ground, `events` are named along the top.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.core.constants import G0
from sixdof.plot.style import (
    CYCLE,
    DASHES,
    FONT,
    GREY,
    INK,
    LINE,
    axes_or_new,
    dress,
    events_above,
    label,
    legend_on_top,
    match_headroom,
    need_numbers,
    second_axis,
)
from sixdof.study.reading.result import climb, happened, need_flight

_TIMES = ("event_time", "event", "body")
# events named along the time axis, by the first word of their names; what a canopy's lines do a moment after its release is omitted
NAMED = ("liftoff", "rail_departure", "ignition", "burnout", "separation", "apogee", "deployment", "landing")
AFTER = 1.25  # of the time of the last burnout: where the figure of the thrust ends
MOST_NAME = 18  # characters of an event's name above a figure


def plot_height(ds: xr.Dataset, *, whole: bool = True, events: bool = True, ax=None):
    """Draw height above ground (m) against time (s), up to apogee or, `whole`, to the ground; events along the top. Returns the axes.

    ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_height(flight, whole=False)
    """
    ax, part = _start(ds, "plot_height", whole, ax, "height")
    ax.plot(part["time"], part["height"], color=CYCLE[0], lw=LINE + 0.4)
    ax.set_ylim(bottom=min(0.0, float(part["height"].min())))
    return _finish(ax, ds, part, label(ds["height"]), "height", events)


def plot_speed(ds: xr.Dataset, *, whole: bool = False, events: bool = True, ax=None):
    """Draw the speed through the air, over the ground and upwards (m/s) against time (s), up to apogee or `whole`. Returns the axes.

    events : whether they are named along the top. ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_speed(flight)
    """
    ax, part = _start(ds, "plot_speed", whole, ax, "airspeed", "velocity")
    velocity = part["velocity"].values
    lines = ((part["airspeed"].values, "through the air"), (np.linalg.norm(velocity, axis=1), "over the ground"), (velocity[:, 2], "upwards"))
    for k, (values, text) in enumerate(lines):
        ax.plot(part["time"], values, color=CYCLE[k], lw=LINE + 0.9 - 0.4 * k, ls=DASHES[k], label=text)
    ax.axhline(0.0, color=GREY, lw=0.6)
    legend_on_top(ax, 3)
    return _finish(ax, ds, part, "speed (m/s)", "speed", events)


def plot_acceleration(ds: xr.Dataset, *, whole: bool = False, events: bool = True, ax=None):
    """Draw the specific force along and across the body (m/s^2, in g on the right) against time (s), up to apogee or `whole`.

    It is what an accelerometer at the centre of mass reads: acceleration less gravity, so 1 g at rest and nothing in a free fall. Returns the axes.

    events : whether they are named along the top. ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_acceleration(flight)
    """
    ax, part = _start(ds, "plot_acceleration", whole, ax, "specific_force")
    force = part["specific_force"].values
    for k, (values, text) in enumerate(((force[:, 0], "along the axis, forward positive"), (np.hypot(force[:, 1], force[:, 2]), "across it"))):
        ax.plot(part["time"], values, color=CYCLE[k], lw=LINE + 0.4 - 0.2 * k, ls=DASHES[k], label=text)
    ax.axhline(0.0, color=GREY, lw=0.6)
    legend_on_top(ax, 2)
    _finish(ax, ds, part, "specific force (m/s$^2$)", "acceleration, as an accelerometer reads it", events)
    beside = ax.secondary_yaxis("right", functions=(lambda force: force / G0, lambda load: load * G0))
    beside.set_ylabel("specific force (g)", fontsize=FONT + 0.5, color=INK)
    beside.tick_params(labelsize=FONT, width=0.6, length=3.0, color=GREY, labelcolor=INK)
    beside.spines["right"].set(linewidth=0.6, color=GREY)
    return ax


def plot_thrust(ds: xr.Dataset, *, events: bool = True, ax=None):
    """Draw thrust (N) and, on the right, mass (kg) of the front body, with all that is still joined to it, against time (s), past the last burn.

    Thrust is that at the reference pressure of the motor's curve. Returns the axes.

    events : whether they are named along the top. ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_thrust(flight)
    """
    ax, part = _start(ds, "plot_thrust", False, ax, "thrust", "mass")
    burning = part["time"].values[part["thrust"].values > 0.0]
    if burning.size:
        part = part.sel(time=slice(None, AFTER * float(burning[-1])))
    lines = ax.plot(part["time"], part["thrust"], color=CYCLE[0], lw=LINE + 0.4, label="thrust")
    ax.set_ylim(bottom=0.0)
    other = second_axis(ax, label(ds["mass"]), CYCLE[1])
    lines += other.plot(part["time"], part["mass"], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="mass")
    other.set_ylim(0.0, 1.05 * float(part["mass"].max()))
    before = ax.get_ylim()
    legend_on_top(ax, 2, handles=lines)
    match_headroom(other, ax, before)
    return _finish(ax, ds, part, label(ds["thrust"]), "thrust and mass", events)


def _start(ds: xr.Dataset, who: str, whole: bool, ax, *names: str):
    need_flight(ds, who, *names, *_TIMES)
    part = ds if whole else ds.sel(time=climb(ds))
    need_numbers(part, who, *names)
    return axes_or_new(ax, size=(7.0, 4.0)), part


def _finish(ax, ds: xr.Dataset, part: xr.Dataset, text: str, title: str, events: bool):
    ax.set(xlabel=label(ds["time"]), ylabel=text, xlim=(0.0, float(part["time"][-1])))
    dress(ax, title)
    if events:
        events_above(ax, named_events(ds))
    return ax


def named_events(ds: xr.Dataset, body: int = 0) -> dict[str, float]:
    """Return the events of a body that figures name, with their times, s."""
    times = ds["event_time"].values[body]
    found = {name: float(times[i]) for name, i in happened(ds, body) if name.split(" ")[0] in NAMED}
    return {_short(name): time for name, time in found.items()}


def _short(name: str) -> str:
    text = name.replace("_", " ")
    return text if len(text) <= MOST_NAME else text[: MOST_NAME - 1] + "…"

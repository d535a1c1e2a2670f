"""Figures of one flight, of its front body (`plot.flight.staging` shows the others), and the overview of all.

Each function takes the Dataset of `sixdof.fly` and returns the axes it drew on.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import xarray as xr

from sixdof.plot.flight.history import plot_acceleration, plot_height, plot_thrust
from sixdof.plot.flight.views import plot_behind
from sixdof.plot.labels import place_labels
from sixdof.plot.style import (
    BAND,
    CYCLE,
    DASHES,
    FONT,
    GREY,
    INK,
    LINE,
    PALE,
    axes_or_new,
    draw_or_say,
    dress,
    fitted_size,
    label,
    legend_above,
    legend_on_top,
    match_headroom,
    need_numbers,
    second_axis,
    shown,
    unwound,
    widths,
)
from sixdof.study.reading.result import body_of, climb, downrange, event_values, happened, mission_of, need_flight, with_empty

LEAST_SPEED = 5.0  # airspeed below which a static margin means nothing, m/s
USUAL_MARGIN = (1.0, 3.0)  # calibres, common practice
VALID_MACH = 0.8  # beyond it the aerodynamic model is less sure
FINS = ("-", (0, (8, 1)), (0, (5, 1, 1, 1)), (0, (2, 0.8)))  # opposite fins often lie on each other: no two have the same dashes
ISSUED = (0, (1, 3))  # dots of a fin's command
COMMAND = (0, (4, 2))  # dashes of what was commanded
_TIMES = ("event_time", "event", "body")


def plot_track(ds: xr.Dataset, *, ax=None):
    """Draw the flight in side view: height against distance along the rail's azimuth, equal scales, events marked.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_track(flight)
    """
    need_flight(ds, "plot_track", "east", "north", "height", "event_east", "event_north", "event_height", *_TIMES)
    need_numbers(ds, "plot_track", "east", "north", "height")
    along = downrange(ds, who="plot_track")
    ax = axes_or_new(ax, size=fitted_size(along, ds["height"]))
    front = body_of(ds)
    at_events = downrange(front, "event_east", "event_north", who="plot_track").values
    events = [(name, i) for name, i in happened(ds) if not name.startswith("line stretch ")]  # a moment after its release
    ax.set(xlabel=label(along), ylabel=label(ds["height"]))
    dress(ax)
    _climb_and_fall(ax, ds, along.values, ds["height"].values, (at_events, front["event_height"].values), events)
    return ax


def plot_ground_track(ds: xr.Dataset, *, ax=None):
    """Draw the flight's ground track, north up, equal scales: rail, apogee, openings and landing marked.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_ground_track(flight)
    """
    need_flight(ds, "plot_ground_track", "east", "north", "event_east", "event_north", *_TIMES)
    need_numbers(ds, "plot_ground_track", "east", "north")
    ax = axes_or_new(ax, size=fitted_size(ds["east"], ds["north"]))
    ax.plot(0.0, 0.0, "s", ms=5.0, color=INK, zorder=6, label="rail")
    events = [(name, i) for name, i in happened(ds) if name in ("apogee", "landing") or name.startswith("deployment ")]
    front = body_of(ds)
    ax.set(xlabel=label(ds["east"]), ylabel=label(ds["north"]))
    dress(ax)
    _climb_and_fall(ax, ds, ds["east"].values, ds["north"].values, (front["event_east"].values, front["event_north"].values), events)
    return ax


def _climb_and_fall(ax, ds, x, y, places, events):
    """Draw a path in two colours on equal scales, with a dot and a label at its events (name, index into `places`)."""
    top = ds.sel(time=climb(ds)).sizes["time"]
    ax.plot(x[:top], y[:top], color=CYCLE[0], lw=LINE + 0.4, label="up to apogee")
    if top < len(x):
        ax.plot(x[top - 1 :], y[top - 1 :], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="after apogee")
    at, times = list(zip(*places, strict=True)), body_of(ds)["event_time"].values
    for _, i in events:
        ax.plot(*at[i], "o", ms=3.0, color=INK, zorder=3)
    scale = max(np.ptp(x), np.ptp(y), 1.0)
    ax.update_datalim([(x.min() - 0.06 * scale, y.min()), (x.max() + 0.25 * scale, y.max() + 0.08 * scale)])
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    legend_above(ax, 3)
    place_labels(ax, [(*at[i], f"{name.replace('_', ' ')} {times[i]:.1f} s") for name, i in events])


def plot_tilt(ds: xr.Dataset, *, ax=None):
    """Draw tilt (downrange, to the right) and roll up to apogee, solid; where fins steer, their commands dashed; degrees.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_tilt(flight)
    """
    names = ("tilt_pitch", "tilt_yaw", "roll")
    goals = ("commanded_pitch", "commanded_yaw", "commanded_roll")
    need_flight(ds, "plot_tilt", *names, *goals, *_TIMES)
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    steered = math.isfinite(float(event_values(ds, "fins_enabled")[0]))
    for name, goal, colour, width in zip(names, goals, CYCLE, widths(len(names)), strict=False):
        text = {"tilt_pitch": "downrange", "tilt_yaw": "to the right"}.get(name, name)
        ax.plot(part["time"], unwound(shown(part[name])), color=colour, lw=width, label=text)
        if steered:
            ax.plot(part["time"], unwound(shown(part[goal])), color=colour, lw=LINE, ls=COMMAND, gid=f"of:{text}")
    if steered:
        ax.plot([], [], color=GREY, lw=LINE, ls=COMMAND, label="commanded")
    ax.set(xlabel=label(ds["time"]), ylabel="tilt, roll (deg)")
    show_live(ax, ds)
    legend_on_top(ax, 3)
    dress(ax, "tilt and roll")
    return ax


def show_live(ax, ds):
    """Shade the time in which the fins are live."""
    start, stop = float(event_values(ds, "fins_enabled")[0]), float(event_values(ds, "fins_disabled")[0])
    if not math.isfinite(start):
        return
    end = float(ds["time"].sel(time=climb(ds))[-1])
    stop = min(stop, end) if math.isfinite(stop) else end
    ax.axvspan(start, stop, fc=BAND, ec=PALE, lw=0.6, zorder=0, label="fins live")


def plot_fins(ds: xr.Dataset, *, ax=None):
    """Draw the angle of every control fin up to apogee, solid, its command, dashed, and the stops; degrees.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_fins(flight)
    """
    need_flight(ds, "plot_fins")
    ds = with_empty(ds)
    need_flight(ds, "plot_fins", "fin_angle", "fin_command", *_TIMES)
    if not ds.sizes["fin"]:
        raise ValueError("plot_fins needs control fins, and this vehicle has none (fins with control = true)")
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    for i, width in enumerate(widths(ds.sizes["fin"])):
        colour, text = CYCLE[i % len(CYCLE)], f"fin {ds['fin'].values[i]}"
        ax.plot(part["time"], shown(part["fin_angle"])[:, i], color=colour, lw=width, ls=FINS[i % len(FINS)], label=text)
        ax.plot(part["time"], shown(part["fin_command"])[:, i], color=colour, lw=0.6, ls=ISSUED, gid=f"of:{text}")
    ax.plot([], [], color=GREY, lw=0.6, ls=ISSUED, label="commanded")
    if "mission" in ds.attrs:
        travel = math.degrees(mission_of(ds, "plot_fins").servo.deflection_limit)
        for k, stop in enumerate((-travel, travel)):
            ax.axhline(stop, color=INK, lw=LINE, ls=":", label=None if k else "stop")
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["fin_angle"]))
    show_live(ax, ds)
    legend_on_top(ax, 4)
    dress(ax, "control fins")
    return ax


def plot_margin(ds: xr.Dataset, *, ax=None):
    """Draw the static margin, and on the right the station of the centre of mass, from 5 m/s airspeed to apogee.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_margin(flight)
    """
    need_flight(ds, "plot_margin", "static_margin", "cg", "airspeed", "phase", *_TIMES)
    part = ds.sel(time=climb(ds))
    part = part.isel(time=(part["airspeed"] > LEAST_SPEED) & (part["phase"] > 0))
    if part.sizes["time"] < 2:
        raise ValueError("plot_margin needs a climb faster than 5 m/s through the air, and this flight has none")
    ax = axes_or_new(ax)
    lines = ax.plot(part["time"], part["static_margin"], color=CYCLE[0], lw=LINE + 0.4, label="static margin")
    for k, usual in enumerate(USUAL_MARGIN):
        lines += [ax.axhline(usual, color=GREY, lw=0.9, ls=":", label=None if k else "common practice, 1 to 3 calibres")][k:1]
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["static_margin"]))
    ax.set_ylim(min(0.0, 1.1 * float(part["static_margin"].min())), max(3.2, 1.05 * float(part["static_margin"].max())))
    dress(ax, "static margin")
    other = second_axis(ax, label(ds["cg"], wrap=34), CYCLE[1])
    lines += other.plot(part["time"], part["cg"], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="centre of mass, right scale")
    before = ax.get_ylim()
    legend_on_top(ax, 2, handles=lines)
    match_headroom(other, ax, before)
    return ax


def plot_mach(ds: xr.Dataset, *, ax=None):
    """Draw the Mach number, and on the right the dynamic pressure, up to apogee.

    ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_mach(flight)
    """
    need_flight(ds, "plot_mach", "mach", "dynamic_pressure", *_TIMES)
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    lines = ax.plot(part["time"], part["mach"], color=CYCLE[0], lw=LINE + 0.4, label="Mach number")
    if float(part["mach"].max()) > 0.75 * VALID_MACH:
        lines.append(ax.axhline(VALID_MACH, color=INK, lw=0.9, ls=":", label="model less sure above"))
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["mach"]))
    ax.set_ylim(bottom=0.0)
    dress(ax, "Mach number and dynamic pressure")
    other = second_axis(ax, label(ds["dynamic_pressure"]), CYCLE[1])
    lines += other.plot(part["time"], part["dynamic_pressure"], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="dynamic pressure, right scale")
    other.set_ylim(bottom=0.0)
    before = ax.get_ylim()
    legend_on_top(ax, 2, handles=lines)
    match_headroom(other, ax, before)
    return ax


def plot_flight(ds: xr.Dataset):
    """Draw an overview of one flight on one page; return the figure. A panel that cannot be drawn says why.

    Examples
    --------
    >>> figure = sixdof.plot.plot_flight(flight)
    """
    need_flight(ds, "plot_flight")
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(12.0, 8.8), layout="constrained")
    last = "fins" if ds.sizes.get("fin") else "thrust"
    panels = figure.subplot_mosaic([["track", "height", "mach"], ["track", "tilt", "margin"], ["behind", "acceleration", last]])
    quiet = {"height": plot_height, "acceleration": plot_acceleration, "thrust": plot_thrust}
    draw = {"behind": plot_behind, "mach": plot_mach, "tilt": plot_tilt, "margin": plot_margin, "fins": plot_fins}
    draw |= {name: partial(function, events=False) for name, function in quiet.items()}
    for name in (*(name for name in panels if name != "track"), "track"):  # the track's labels are placed when all else has its room
        draw_or_say(draw.get(name, plot_track), ds, panels[name])
    figure.suptitle(ds.attrs.get("title", ""), fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure

"""Figures of how one flight was controlled. Each takes the Dataset of `sixdof.fly` and returns the axes it drew on."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.flight.flight import plot_fins, show_live
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, axes_or_new, draw_or_say, dress, headroom, label, legend, second_axis, shown, widths
from sixdof.study.reading.control_metrics import CHANNELS, channel_error, closest_approach
from sixdof.study.reading.result import climb, mission_of, need_flight

ROUNDING = 1e-9  # rad, m, m/s: the error of an estimate that is the truth
_TIMES = ("event_time", "event", "body")


def plot_attitude_error(ds: xr.Dataset, *, ax=None):
    """Draw commanded minus true pitch, yaw and roll up to apogee, and the angle between the nose and its commanded direction; degrees.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_attitude_error(flight)
    """
    need_flight(ds, "plot_attitude_error", "tilt_error", *(f"commanded_{c}" for c in CHANNELS), "tilt_pitch", "tilt_yaw", "roll", *_TIMES)
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    for channel, colour, width in zip(CHANNELS, CYCLE, widths(len(CHANNELS))):
        ax.plot(part["time"], np.degrees(channel_error(part, channel)), color=colour, lw=width, label=channel)
    ax.plot(part["time"], shown(part["tilt_error"]), color=GREY, lw=LINE, ls=(0, (4, 2)), label="nose to commanded direction")
    ax.set(xlabel=label(ds["time"]), ylabel="commanded minus true (deg)")
    show_live(ax, ds)
    headroom(ax, 0.25)
    legend(ax, loc="upper left", ncols=3)
    dress(ax, "attitude error")
    return ax


def plot_demands(ds: xr.Dataset, *, ax=None):
    """Draw the control law's demands of pitch, yaw and roll up to apogee, and the stops of the fins; degrees.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_demands(flight)
    """
    names = [f"{channel}_demand" for channel in CHANNELS]
    need_flight(ds, "plot_demands", *names, *_TIMES)
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    for channel, name, colour, width in zip(CHANNELS, names, CYCLE, widths(len(names))):
        ax.plot(part["time"], shown(part[name]), color=colour, lw=width, label=channel)
    if "mission" in ds.attrs:
        travel = math.degrees(mission_of(ds, "plot_demands").servo.deflection_limit)
        for k, stop in enumerate((-travel, travel)):
            ax.axhline(stop, color=GREY, lw=LINE, ls=":", label=None if k else "stop of a fin")
    ax.set(xlabel=label(ds["time"]), ylabel="demand, before the mixer (deg)")
    show_live(ax, ds)
    headroom(ax, 0.25)
    legend(ax, loc="upper left", ncols=3)
    dress(ax, "demands of the control law")
    return ax


def plot_estimate_error(ds: xr.Dataset, *, ax=None):
    """Draw the errors of the estimate up to apogee: position and velocity on the left, attitude on the right in degrees.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_estimate_error(staged)
    """
    names = ("position_error", "velocity_error", "attitude_error")
    need_flight(ds, "plot_estimate_error", *names, *_TIMES)
    part = ds.sel(time=climb(ds))
    if not any(float(part[name].max()) > ROUNDING for name in names):
        raise ValueError("plot_estimate_error finds no error: the sensors of this mission are ideal (no table [sensors])")
    ax = axes_or_new(ax)
    for name, unit, colour in zip(names, ("m", "m/s"), CYCLE):
        ax.plot(part["time"], part[name], color=colour, lw=LINE, label=f"{name.partition('_')[0]} ({unit})")
    ax.set(xlabel=label(ds["time"]), ylabel="error of position (m), velocity (m/s)")
    ax.set_ylim(bottom=0.0)
    headroom(ax, 0.2)
    legend(ax, loc="upper left", ncols=2)
    dress(ax, "error of the estimate")
    other = second_axis(ax, label(ds["attitude_error"]), CYCLE[2])
    other.plot(part["time"], shown(part["attitude_error"]), color=CYCLE[2], lw=LINE, ls=(0, (6, 2)))
    other.set_ylim(bottom=0.0)
    headroom(other, 0.2)
    return ax


# ---------------------------------------------------------------- waypoints


def plot_waypoints(ds: xr.Dataset, *, axes=None):
    """Draw the climb past the waypoints, from above and height over distance; circles are the capture radii.

    axes : two axes, or None for a new figure. The distance is that along the ground path. Returns the two axes.

    Examples
    --------
    >>> axes = sixdof.plot.plot_waypoints(staged)
    """
    need_flight(ds, "plot_waypoints", "east", "north", "height", *_TIMES)
    points = mission_of(ds, "plot_waypoints").guidance.waypoint
    if not points:
        raise ValueError("plot_waypoints needs waypoints, and this mission has none (tables [[guidance.waypoint]])")
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(1, 2, figsize=(9.6, 5.2), layout="constrained")[1]
    part = ds.sel(time=climb(ds))
    path = np.stack([part[name].values for name in ("east", "north", "height")], axis=1)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path[:, :2], axis=0).T))])
    time = part["time"].values
    above, beside = axes
    above.plot(path[:, 0], path[:, 1], color=CYCLE[0], lw=LINE + 0.3)
    above.plot(0.0, 0.0, "s", ms=5.0, color=INK)
    beside.plot(along, path[:, 2], color=CYCLE[0], lw=LINE + 0.3)
    for k, point in enumerate(points, start=1):
        miss, moment = closest_approach(path, time, (point.east, point.north, point.height))
        text = f"{k}: {miss:.1f} m" if math.isfinite(miss) else str(k)
        _place(above, (point.east, point.north), point.radius, text)
        # beside the path a waypoint stands where the path comes closest to it
        _place(beside, (np.interp(moment, time, along) if math.isfinite(moment) else 0.0, point.height), point.radius, text)
    above.set(xlabel=label(ds["east"]), ylabel=label(ds["north"]))
    beside.set(xlabel="distance along the ground path (m)", ylabel=label(ds["height"]))
    for axis in axes:
        axis.set_aspect("equal", adjustable="datalim")
    dress(above, "ground track")
    dress(beside, "height; circles are capture radii, numbers the misses")
    return axes


def _place(ax, centre, radius, text):
    """Draw a waypoint: a cross, its capture radius and a label."""
    from matplotlib.patches import Circle

    ax.add_patch(Circle(centre, radius, fill=False, ec=CYCLE[1], lw=LINE))
    ax.plot(*centre, "+", ms=6.0, color=CYCLE[1])
    ax.annotate(text, (centre[0] + radius, centre[1]), (4.0, 0.0), textcoords="offset points", va="center", fontsize=FONT, color=INK)


def plot_control(ds: xr.Dataset):
    """Draw an overview of how one flight was controlled; return the figure. A panel that cannot be drawn says why.

    Examples
    --------
    >>> figure = sixdof.plot.plot_control(flight)
    """
    need_flight(ds, "plot_control")
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(12.0, 8.2), layout="constrained")
    panels = figure.subplot_mosaic([["error", "fins"], ["demands", "estimate"]])
    draw = {"error": plot_attitude_error, "fins": plot_fins, "demands": plot_demands, "estimate": plot_estimate_error}
    for name, ax in panels.items():
        draw_or_say(draw[name], ds, ax)
    figure.suptitle(ds.attrs.get("title", ""), fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure

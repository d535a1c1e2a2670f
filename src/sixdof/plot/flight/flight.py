"""Figures of one flight, of its front body (`plot.staging` shows the others).

Each function takes the Dataset of `sixdof.fly` and returns the axes it drew on.
"""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, FONT, GREY, INK, LINE, PALE, axes_or_new, blank, dress, headroom, label, legend, second_axis, shown, unwound, widths
from sixdof.study.reading.result import body_of, climb, downrange, event_values, happened, mission_of, need_flight, with_empty

CLOSE = 0.07  # events nearer to each other than this share of the path's extent get one label
WIDE = 0.3  # of a label, likewise
MOST_LINES = 3  # of a label of several events
LINE_HEIGHT = 0.045  # of a label, as the same share, in a panel of the overview
LEAST_SPEED = 5.0  # airspeed below which a static margin means nothing, m/s
USUAL_MARGIN = (1.0, 3.0)  # calibres, common practice
VALID_MACH = 0.8  # beyond it the aerodynamic model is less sure
ABOVE = {"loc": "lower right", "bbox_to_anchor": (1.0, 0.99), "ncols": 2, "columnspacing": 1.0}  # where no path goes
_TIMES = ("event_time", "event", "body")


def plot_track(ds: xr.Dataset, *, ax=None):
    """Draw the flight from the side: height against distance along the rail's azimuth, equal scales, events marked."""
    need_flight(ds, "plot_track", "east", "north", "height", "event_east", "event_north", "event_height", *_TIMES)
    ax = axes_or_new(ax, size=(5.6, 5.6))
    along = downrange(ds, who="plot_track")
    scale = _climb_and_fall(ax, ds, along.values, ds["height"].values)
    front = body_of(ds)
    at_events = downrange(front, "event_east", "event_north", who="plot_track").values
    events = [(name, i) for name, i in happened(ds) if not name.startswith("line stretch ")]  # a moment after its release
    _mark_events(ax, at_events, front["event_height"].values, events, scale, front["event_time"].values)
    ax.set(xlabel=label(along), ylabel=label(ds["height"]))
    legend(ax, **ABOVE)
    dress(ax, "from the side")
    return ax


def plot_ground_track(ds: xr.Dataset, *, ax=None):
    """Draw the flight from above, north up, equal scales: rail, apogee, openings and landing marked."""
    need_flight(ds, "plot_ground_track", "east", "north", "event_east", "event_north", *_TIMES)
    ax = axes_or_new(ax, size=(5.6, 5.0))
    scale = _climb_and_fall(ax, ds, ds["east"].values, ds["north"].values)
    ax.plot(0.0, 0.0, "s", ms=5.0, color=INK, zorder=6)
    small = {"textcoords": "offset points", "fontsize": FONT - 1.0}
    ax.annotate("rail", (0.0, 0.0), (0.0, 7.0), ha="center", va="bottom", **small)
    rising = float(ds["east"][-1] * ds["north"][-1]) >= 0.0  # the path comes from the lower left or the upper right
    events = [(name, i) for name, i in happened(ds) if name in ("apogee", "landing") or name.startswith("deployment ")]
    front = body_of(ds)
    _mark_events(ax, front["event_east"].values, front["event_north"].values, events, scale, front["event_time"].values, below=rising)
    ax.set(xlabel=label(ds["east"]), ylabel=label(ds["north"]))
    legend(ax, **ABOVE)
    dress(ax, "from above")
    return ax


def _climb_and_fall(ax, ds, x, y):
    """Draw a path in two colours, on equal scales with room for labels; return its larger extent, m."""
    top = ds.sel(time=climb(ds)).sizes["time"]
    ax.plot(x[:top], y[:top], color=CYCLE[0], lw=LINE + 0.3, label="up to apogee")
    ax.plot(x[top - 1 :], y[top - 1 :], color=CYCLE[1], lw=LINE, label="after apogee")
    scale = max(np.ptp(x), np.ptp(y), 1.0)
    ax.update_datalim([(x.max() + 0.33 * scale, y.max() + 0.12 * scale)])
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    return scale


def _mark_events(ax, x, y, events, scale, times, *, below=False):
    """Put a dot at every event (name, index), and one label, right above or below, at those close together."""
    groups: list[tuple[float, float, list[str]]] = []
    for name, i in events:
        ax.plot(x[i], y[i], "o", ms=3.0, color=INK, zorder=3)
        text = f"{name.replace('_', ' ')} {times[i]:.1f} s"
        if groups and math.hypot(x[i] - groups[-1][0], y[i] - groups[-1][1]) < _room(groups[-1][2]) * scale:
            groups[-1][2].append(text)
        else:
            groups.append((x[i], y[i], [text]))
    (right, up), side = ((5.0, -3.0), "top") if below else ((6.0, 2.0), "bottom")
    for gx, gy, texts in groups:
        # to the left of its dot where another label stands in its way on the right, and none on the left
        beside = [(ox - gx) / scale for ox, oy, other in groups if abs(oy - gy) < max(_room(texts), _room(other)) * scale]
        left = any(0.0 < x < WIDE for x in beside) and not any(-2.0 * WIDE < x < 0.0 for x in beside)
        ax.annotate(
            "\n".join(_lines(texts)),
            (gx, gy),
            (-right if left else right, up),
            textcoords="offset points",
            fontsize=FONT - 1.0,
            color=INK,
            va=side,
            ha="right" if left else "left",
            bbox={"fc": "white", "ec": "none", "alpha": 0.7, "pad": 0.5},
        )


def _lines(texts: list[str]) -> list[str]:
    return texts if len(texts) <= MOST_LINES else [texts[0], f"to {texts[-1]}"]


def _room(texts: list[str]) -> float:
    """Return how far from a label, as a share of the path's extent, the next one does not meet it."""
    return max(CLOSE, LINE_HEIGHT * len(_lines(texts)))


def plot_tilt(ds: xr.Dataset, *, ax=None):
    """Draw tilt (downrange, to the right) and roll up to apogee, solid, against their commands, dashed; degrees."""
    names = ("tilt_pitch", "tilt_yaw", "roll")
    goals = ("commanded_pitch", "commanded_yaw", "commanded_roll")
    need_flight(ds, "plot_tilt", *names, *goals, *_TIMES)
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    for name, goal, colour, width in zip(names, goals, CYCLE, widths(len(names)), strict=False):
        ax.plot(part["time"], unwound(shown(part[name])), color=colour, lw=width, label=label(ds[name], wrap=80))
        ax.plot(part["time"], unwound(shown(part[goal])), color=colour, lw=LINE, ls=(0, (4, 2)))
    ax.plot([], [], color=GREY, lw=LINE, ls=(0, (4, 2)), label="commanded")
    ax.set(xlabel=label(ds["time"]), ylabel="attitude (deg)")
    show_live(ax, ds)
    headroom(ax, 0.35)
    legend(ax, loc="upper left")
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
    """Draw the angle of every control fin up to apogee, solid, its command, dashed, and the stops; degrees."""
    need_flight(ds, "plot_fins")
    ds = with_empty(ds)
    need_flight(ds, "plot_fins", "fin_angle", "fin_command", *_TIMES)
    if not ds.sizes["fin"]:
        raise ValueError("plot_fins needs control fins, and this vehicle has none (fins with control = true)")
    ax = axes_or_new(ax)
    part = ds.sel(time=climb(ds))
    for i, width in enumerate(widths(ds.sizes["fin"])):
        colour, text = CYCLE[i % len(CYCLE)], f"fin {ds['fin'].values[i]}"
        ax.plot(part["time"], shown(part["fin_angle"])[:, i], color=colour, lw=width, label=text)
        ax.plot(part["time"], shown(part["fin_command"])[:, i], color=colour, lw=0.7, ls=(0, (3, 2)))
    ax.plot([], [], color=GREY, lw=0.7, ls=(0, (3, 2)), label="commanded")
    if "mission" in ds.attrs:
        travel = math.degrees(mission_of(ds, "plot_fins").servo.deflection_limit)
        for k, stop in enumerate((-travel, travel)):
            ax.axhline(stop, color=GREY, lw=LINE, ls=":", label=None if k else "stop")
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["fin_angle"]))
    show_live(ax, ds)
    headroom(ax, 0.25)
    legend(ax, loc="upper left", ncols=3)
    dress(ax, "control fins")
    return ax


def plot_margin(ds: xr.Dataset, *, ax=None):
    """Draw the static margin, and on the right the station of the centre of mass, from 5 m/s airspeed to apogee."""
    need_flight(ds, "plot_margin", "static_margin", "cg", "airspeed", "phase", *_TIMES)
    part = ds.sel(time=climb(ds))
    part = part.isel(time=(part["airspeed"] > LEAST_SPEED) & (part["phase"] > 0))
    if part.sizes["time"] < 2:
        raise ValueError("plot_margin needs a climb faster than 5 m/s through the air, and this flight has none")
    ax = axes_or_new(ax)
    ax.plot(part["time"], part["static_margin"], color=CYCLE[0], lw=LINE + 0.3)
    for k, usual in enumerate(USUAL_MARGIN):
        ax.axhline(usual, color=GREY, lw=0.8, ls=":", label=None if k else "common practice, 1 to 3 calibres")
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["static_margin"]))
    ax.set_ylim(min(0.0, float(part["static_margin"].min())), max(3.5, 1.15 * float(part["static_margin"].max())))
    dress(ax, "static margin")
    ax.yaxis.label.set_color(CYCLE[0])
    other = second_axis(ax, label(ds["cg"]), CYCLE[1])
    other.plot(part["time"], part["cg"], color=CYCLE[1], lw=LINE, ls=(0, (6, 2)))
    legend(other, handles=ax.get_legend_handles_labels()[0], loc="center right", frameon=True, edgecolor="none")
    return ax


def plot_speed(ds: xr.Dataset, *, ax=None):
    """Draw the Mach number, and on the right the dynamic pressure, over the whole flight."""
    need_flight(ds, "plot_speed", "mach", "dynamic_pressure")
    ax = axes_or_new(ax)
    ax.plot(ds["time"], ds["mach"], color=CYCLE[0], lw=LINE + 0.3)
    if float(ds["mach"].max()) > 0.75 * VALID_MACH:
        ax.axhline(VALID_MACH, color=GREY, lw=0.8, ls=":", label="model less sure above")
        legend(ax, loc="upper right")
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["mach"]))
    ax.set_ylim(bottom=0.0)
    dress(ax, "Mach number and dynamic pressure")
    ax.yaxis.label.set_color(CYCLE[0])
    other = second_axis(ax, label(ds["dynamic_pressure"]), CYCLE[1])
    other.plot(ds["time"], ds["dynamic_pressure"], color=CYCLE[1], lw=LINE, ls=(0, (6, 2)))
    other.set_ylim(bottom=0.0)
    return ax


def plot_flight(ds: xr.Dataset):
    """Draw an overview of one flight on one page; return the figure. A panel that cannot be drawn says why."""
    need_flight(ds, "plot_flight")
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(14.0, 8.2), layout="constrained")
    panels = figure.subplot_mosaic([["track", "tilt", "fins"], ["ground", "margin", "speed"]])
    draw = {"track": plot_track, "ground": plot_ground_track, "tilt": plot_tilt, "fins": plot_fins, "margin": plot_margin, "speed": plot_speed}
    for name, ax in panels.items():
        draw_or_say(draw[name], ds, ax)
    figure.suptitle(ds.attrs.get("title", ""), fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def draw_or_say(function, ds, ax, *values):
    """Draw one panel of an overview, or write in it why it cannot be drawn."""
    try:
        function(ds, *values, ax=ax)
    except ValueError as error:
        blank(ax, str(error))

"""Figures of what parts, fires and comes down.

Each function takes the Dataset of `sixdof.fly`, `plot_landings` that of `sixdof.disperse`, and returns the axes it drew on.
"""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import (
    CYCLE,
    DASHES,
    FONT,
    GREY,
    INK,
    LINE,
    PALE,
    axes_or_new,
    draw_ellipses,
    dress,
    fitted_size,
    label,
    legend,
    legend_above,
    scale_of_time,
    widths,
)
from sixdof.study.reading.result import apart, body_of, event_values, meaningful, need_ensemble, need_flight, own_events, pieces, with_empty
from sixdof.study.uncertainty.scatter import LEAST, containment, places

_PIECES = ("status", "body_status")  # what tells which bodies fly on their own
_EVENTS = ("event_time", "event", "body")
ROOM = 0.04  # about all places and ellipses, of their extent
STRAIGHT = 0.1  # m: up to here the scale of gaps is straight
LENGTHS = (-1.0, -0.1, 0.0, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)  # m: its ticks
FEW = 5  # landing places up to here are drawn large
NEAR = 10.0  # m: the gap is drawn until the pieces are this far apart for good
# events drawn on paths: their markers and what they are called
MARKS = {
    "separation": ("D", "separation"),
    "ignition": ("*", "ignition"),
    "apogee": ("^", "apogee"),
    "deployment": ("v", "canopy deployed"),
    "landing": ("x", "landing"),
}


def _colour(k: int) -> str:
    return CYCLE[k % len(CYCLE)]


# ---------------------------------------------------------------- how stages separate


def plot_separation(ds: xr.Dataset, *, ax=None):
    """Draw gap along the axis, solid, and clearance, dashed, of each joint against the time since separation.

    The clearance is that of the bodies of revolution, without fins; where it is not above zero the bodies touch. The scale of lengths is
    logarithmic beyond 10 cm: the centimetres that matter are seen beside the metres. Raises ValueError for a flight of which nothing separated.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_separation(staged)
    """
    need_flight(ds, "plot_separation")
    ds = with_empty(ds)
    need_flight(ds, "plot_separation", "gap", "clearance", "gap_time", "separation_time", "gap_min", "recontact", *_EVENTS)
    joints = [k for k in range(ds.sizes["joint"]) if np.isfinite(ds["gap_time"].values[k]).any()]
    if not joints:
        raise ValueError("plot_separation needs stages that separate, and none did in this flight")
    ax = axes_or_new(ax)
    for k in joints:
        _draw_gap(ax, ds.isel(joint=k), _colour(k))
    ax.axhline(0.0, color=GREY, lw=0.8, zorder=1)
    ax.set_yscale("symlog", linthresh=STRAIGHT, linscale=0.8)
    low = min(float(line.get_ydata().min()) for line in ax.lines if line.get_gid() == "gap")
    ax.set_yticks([t for t in LENGTHS if t >= 1.5 * low], [f"{t:g}" for t in LENGTHS if t >= 1.5 * low])
    ax.yaxis.minorticks_off()
    ax.set(xlabel="time since separation (s)", ylabel="gap, clearance (m), logarithmic beyond 0.1 m")
    ax.set_ylim(min(1.5 * low, -0.01), 1.4 * NEAR)
    ax.set_xlim(left=0.0)
    dress(ax)
    legend_above(ax, 1)
    return ax


def _draw_gap(ax, one: xr.Dataset, colour: str) -> None:
    name = str(one["joint"].values)
    separated = float(one["separation_time"])
    known = np.isfinite(one["gap_time"].values)
    time, gap, clearance = (one[v].values[known] for v in ("gap_time", "gap", "clearance"))
    near = np.flatnonzero(clearance < NEAR)
    shown = slice(0, int(near[-1]) + 1 if near.size else len(time))
    time, gap, clearance = time[shown] - separated, gap[shown], clearance[shown]
    wide, thin = widths(2)
    free = math.isfinite(float(one["gap_min"])) and not int(one["recontact"])
    least = f", smallest {float(one['gap_min']):.3f} m" if free else ""
    ax.plot(time, gap, color=colour, lw=wide, alpha=0.5, label=f"{name}: gap along the axis", gid="gap")
    ax.plot(time, clearance, color=colour, lw=thin, ls=(0, (4, 2)), label=f"{name}: clearance{least}", gid="gap")
    touch = (clearance <= 0.0) & (time > 0.0)  # as the joint lets go they still touch
    if touch.any():
        ax.plot(time[touch], clearance[touch], "x", ms=4.0, color=INK, label=f"{name}: the bodies touch")
    _mark_ignition(ax, one, separated, time[-1])


def _mark_ignition(ax, one: xr.Dataset, separated: float, end: float) -> None:
    """Draw a line where the stage ahead of the joint is lit, if that is in view."""
    for name in (str(n) for n in one["event"].values if str(n).startswith("ignition ")):
        since = float(event_values(one, name)[0]) - separated
        if 0.0 <= since <= end:
            ax.axvline(since, color=GREY, lw=0.8, ls=":")
            ax.annotate(
                name,
                (since, 0.02),
                (-3.0, 0.0),
                xycoords=("data", "axes fraction"),
                textcoords="offset points",
                ha="right",
                va="bottom",
                fontsize=FONT - 1.0,
                color=GREY,
                rotation=90,
                bbox={"fc": "white", "ec": "none", "alpha": 0.7, "pad": 0.5},
            )


# ---------------------------------------------------------------- where the bodies go


def plot_bodies(ds: xr.Dataset, *, axes=None):
    """Draw every body's height against time, and its ground track, north up, equal scales; events are marked.

    axes : two axes, or None for a new figure. Returns the two axes.

    Examples
    --------
    >>> axes = sixdof.plot.plot_bodies(staged)
    """
    places = [f"{of}_{what}" for of in ("body", "event") for what in ("time", "height", "east", "north")]
    need_flight(ds, "plot_bodies", *places, *_EVENTS, *_PIECES)
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(1, 2, figsize=(11.0, 5.0), layout="constrained")[1]
    over_time, above = axes
    for k in pieces(ds):
        path = {v: body_of(ds[[f"body_{v}"]], k)[f"body_{v}"].values for v in ("time", "height", "east", "north")}
        name = str(ds["body"].values[k])
        look = {"color": _colour(k), "lw": LINE + 0.3, "ls": DASHES[k % len(DASHES)], "label": name}
        over_time.plot(path["time"], path["height"], **look)
        above.plot(path["east"], path["north"], **look)
        _mark_kinds(axes, ds, k)
    above.plot(0.0, 0.0, "s", ms=5.0, color=INK, label="rail")
    _legend_of_kinds(over_time, ds)
    over_time.set(xlabel="time since ignition (s)", ylabel=label(ds["body_height"]))
    above.set(xlabel=label(ds["body_east"]), ylabel=label(ds["body_north"]))
    above.set_aspect("equal", adjustable="datalim")
    over_time.set_ylim(bottom=0.0)
    over_time.set_xlim(left=0.0)
    for ax in axes:
        dress(ax)
        legend_above(ax, 2)
    return axes


def _kind(event: str) -> str | None:
    """Return which of MARKS an event gets."""
    kind = event.split(" ")[0]
    return kind if kind in MARKS else None


def _mark_kinds(axes, ds: xr.Dataset, k: int) -> None:
    over_time, above = axes
    at = {v: ds[f"event_{v}"].values[k] for v in ("time", "height", "east", "north")}
    for name, i in own_events(ds, k):
        if _kind(name) is None:
            continue
        style = {"marker": MARKS[_kind(name)][0], "ms": 6.0, "color": _colour(k), "mec": INK, "mew": 0.8, "ls": "", "zorder": 4}
        over_time.plot(at["time"][i], at["height"][i], clip_on=False, **style)
        above.plot(at["east"][i], at["north"][i], **style)


def _legend_of_kinds(ax, ds: xr.Dataset) -> None:
    there = {_kind(name) for k in pieces(ds) for name, _ in own_events(ds, k)}
    for kind, (marker, text) in MARKS.items():
        if kind in there:
            ax.plot([], [], marker=marker, ms=6.0, color=PALE, mec=INK, mew=0.8, ls="", label=text)


# ---------------------------------------------------------------- what happened when


def plot_timeline(ds: xr.Dataset, *, ax=None):
    """Draw when every event of every body came and every rule fired, on a square-root scale of time.

    A rule's line runs from what it waited for to the moment it fired: filled where it did what it is for, hollow where another
    had before, a cross where it gave up.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_timeline(staged)
    """
    need_flight(ds, "plot_timeline")
    ds = with_empty(ds)
    need_flight(ds, "plot_timeline", "rule", "rule_armed", "rule_fired", "rule_acted", "rule_given_up", *_EVENTS, *_PIECES)
    moments = _moments(ds)
    rules = [k for k in range(ds.sizes["rule"]) if np.isfinite(ds["rule_armed"].values[k])]
    rows = [*moments, *(str(ds["rule"].values[k]) for k in rules)]
    if not rows:
        raise ValueError("plot_timeline finds nothing to show: no event came and no rule fired in this flight")
    ax = axes_or_new(ax, size=(9.0, 0.8 + 0.24 * len(rows)))
    end = max(float(np.nanmax(ds["event_time"].values, initial=0.0)), float(np.nanmax(ds["rule_fired"].values, initial=0.0)), 1.0)
    for row, found in enumerate(moments.values()):
        _draw_moments(ax, row, found)
    for row, k in enumerate(rules, start=len(moments)):
        _draw_rule(ax, row, ds.isel(rule=k), end)
    if moments and rules:
        ax.axhline(len(moments) - 0.5, color=GREY, lw=0.6)
    scale_of_time(ax, 1.25 * end)
    ax.set_yticks(range(len(rows)), [text.replace("_", " ") for text in rows])
    ax.set_ylim(len(rows) - 0.5, -0.5)
    dress(ax)
    _key(ax, ds, bool(rules))
    return ax


def _moments(ds: xr.Dataset) -> dict[str, list[tuple[int, float]]]:
    """Return the events that came, in order of their first time: (body, time) of each body that has it to itself."""
    times = ds["event_time"].values
    found = [(float(times[k, i]), k, name) for k in pieces(ds) for name, i in own_events(ds, k)]
    moments: dict[str, list[tuple[int, float]]] = {}
    for time, k, name in sorted(found):
        moments.setdefault(name, []).append((k, time))
    return moments


def _draw_moments(ax, row: int, found) -> None:
    """Draw the moments of one event; a time stands on the left where the next moment is close."""
    following = [time for _, time in found[1:]] + [math.inf]
    for (k, time), then in zip(found, following, strict=True):
        ax.plot(time, row, "o", ms=5.0, color=_colour(k), zorder=3)
        _say(ax, time, row, f"{time:.2f}", left=then < 1.4 * time)


def _draw_rule(ax, row: int, one: xr.Dataset, end: float) -> None:
    armed, fired, given_up = (float(one[f"rule_{name}"]) for name in ("armed", "fired", "given_up"))
    over = next((t for t in (fired, given_up) if math.isfinite(t)), math.nan)
    ax.plot([armed, over if math.isfinite(over) else end], [row, row], color=GREY, lw=LINE, zorder=2)
    if math.isfinite(over):
        face = GREY if int(one["rule_acted"]) else "white"
        marker = {"marker": "o", "mfc": face} if math.isfinite(fired) else {"marker": "x"}
        ax.plot(over, row, ls="", ms=5.0, mec=INK, mew=0.8, zorder=3, **marker)
        _say(ax, over, row, f"{over:.2f}")
    else:
        _say(ax, end, row, "never fired")


def _say(ax, time: float, row: int, text: str, *, left: bool = False) -> None:
    offset, side = ((-5.0, 0.0), "right") if left else ((5.0, 0.0), "left")
    ax.annotate(text, (time, row), offset, textcoords="offset points", fontsize=FONT - 1.0, color=INK, ha=side, va="center")


def _key(ax, ds: xr.Dataset, rules: bool) -> None:
    for k in pieces(ds):
        ax.plot([], [], "o", ms=5.0, color=_colour(k), label=str(ds["body"].values[k]))
    if rules:
        ax.plot([], [], "o-", ms=5.0, color=GREY, mfc=GREY, mec=INK, mew=0.8, label="rule: waits, then acts")
        if (np.isfinite(ds["rule_fired"].values) & (ds["rule_acted"].values == 0)).any():
            ax.plot([], [], "o-", ms=5.0, color=GREY, mfc="white", mec=INK, mew=0.8, label="rule: already done")
        if np.isfinite(ds["rule_given_up"].values).any():
            ax.plot([], [], "x-", ms=5.0, color=GREY, mec=INK, mew=0.8, label="rule: gave up")
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4)


# ---------------------------------------------------------------- where everything lands


def plot_landings(ds: xr.Dataset, *, share: float = 0.95, ax=None):
    """Draw where every body of an ensemble lands, north up, equal scales, with the ellipse that holds one more of it.

    The ellipses hold with probability `share`, if places are normal (see `sixdof.stats.containment`); a body that came down by
    itself in fewer than 3 flights has none.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_landings(flights)
    """
    need_ensemble(ds, "plot_landings", "body_landing_east", "body_landing_north", "body", *_PIECES)
    ax = axes_or_new(ax, size=fitted_size(*(ds[f"body_landing_{of}"].values for of in ("east", "north"))))
    drawn = 0
    for k in pieces(ds):
        drawn += _draw_places(ax, ds, k, share)
    if not drawn:
        raise ValueError("plot_landings needs at least one flight that came down, and none of these did")
    ax.plot(0.0, 0.0, "s", ms=6.0, color=INK, label="rail", zorder=4)
    ax.plot([], [], color=GREY, lw=LINE, ls=(0, (5, 2)), label=f"{100.0 * share:g} % prediction ellipse (if normal)")
    ax.set(xlabel="landing place east of the rail (m)", ylabel="landing place north of the rail (m)")
    ax.set_aspect("equal", adjustable="datalim")
    box = ax.dataLim
    room = ROOM * max(box.width, box.height)  # equal scales take the usual margins away again
    ax.update_datalim([(box.x0 - room, box.y0 - room), (box.x1 + room, box.y1 + room)])
    ax.autoscale_view()
    legend(ax, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    dress(ax)
    return ax


def _draw_places(ax, ds: xr.Dataset, k: int, share: float) -> int:
    """Draw the landing places of a body where it flew by itself; return how many there are."""
    own = np.flatnonzero(apart(ds, k) & meaningful(ds))
    sub = ds[["body_landing_east", "body_landing_north", "status"]].isel(body=k, flight=own)
    known, _ = places(sub, "plot_landings", "body_landing_east", "body_landing_north")
    if not len(known):
        return 0
    text = f"{ds['body'].values[k]}: {len(known)} of {len(own)} down"
    few = len(known) < FEW  # a body that came loose in a flight or two is not to be lost among hundreds of points
    style = {"marker": "D" if few else "o", "ms": 6.0 if few else 2.8, "mec": INK, "mew": 0.8 if few else 0.0, "alpha": 1.0 if few else 0.6}
    ax.plot(*known.T, ls="", color=_colour(k), label=text, zorder=3.5 if few else 2, **style)
    if len(known) >= LEAST:
        draw_ellipses(ax, [containment(sub, share, x="body_landing_east", y="body_landing_north")], _colour(k))
    return len(known)

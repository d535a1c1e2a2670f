"""What all figures share: colours, axes, labels. Nothing here touches matplotlib's global settings."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

# found by search: any two are 25 or more apart in CIELAB for normal and for dichromatic eyes, 20 from grey and ink, and none is faint on white
CYCLE = ("#03428c", "#a32e16", "#17ac6a", "#b17fbc", "#6a73fa", "#cd880b")
DASHES = ("-", (0, (6, 1.5)), (0, (3, 1.5)), (0, (1, 1.2)), (0, (5, 1.5, 1, 1.5)), (0, (5, 1.5, 1, 1.5, 1, 1.5)))  # colour is never all that tells lines apart
INK, GREY, PALE, BAND = "#262626", "#7a7a7a", "#d9d9d9", "#f3f3f3"
LINE = 1.1  # points
FONT = 8.0  # points
LEGEND_ROW = 1.55  # letters' heights of a legend's row
LAID_OUT = 0.85  # of the height of axes, what the layout of a figure leaves when labels and titles are there
TICKS = (0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)  # of a square-root scale of time, s
WRAP = 46  # characters of a label before it takes a second line


def axes_or_new(ax=None, *, size=(6.4, 4.2)):
    """Return `ax`, or the axes of a new figure (inches) that matplotlib's pyplot will show."""
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=size, layout="constrained")[1]


def need_numbers(ds: xr.Dataset, who: str, *names: str) -> None:
    """Check that variables of a result have a finite number each; ValueError in one sentence where one has none."""
    for name in names:
        if not np.isfinite(ds[name].values).any():
            raise ValueError(f"{who} finds no number in {name} of this result")


def fitted_size(x, y, *, area: float = 24.0, least: float = 0.45) -> tuple[float, float]:
    """Return a figure's size (inches) for places x and y (NaN omitted) on equal scales with room for labels, so that most of it is used.

    area : of the axes, square inches. least : no side is shorter than this share of the other.
    """
    sides = []
    for values in (x, y):
        known = np.asarray(values, dtype=float)[np.isfinite(np.asarray(values, dtype=float))]
        sides.append(max(known.max(initial=0.0) - known.min(initial=0.0), 1e-9))
    wide, high = sides
    ratio = min(max(1.15 * high / (1.35 * wide), least), 1.0 / least)
    return math.sqrt(area / ratio) + 0.8, math.sqrt(area * ratio) + 0.9


def label(variable: xr.DataArray, *, degrees: bool = True, wrap: int = WRAP) -> str:
    """Return "long name (unit)" from a variable's attributes; radians read as degrees unless `degrees` is False."""
    text, units = variable.attrs.get("long_name", str(variable.name)), variable.attrs.get("units", "1")
    units = {"rad": "deg", "rad/s": "deg/s"}.get(units, units) if degrees else units
    return textwrap.fill(text if units == "1" else f"{text} ({units})", wrap)


def shown(variable: xr.DataArray) -> np.ndarray:
    """Return the values as a figure shows them: angles in degrees, all else as it is."""
    angle = variable.attrs.get("units") in ("rad", "rad/s")
    return np.degrees(variable.values) if angle else np.asarray(variable.values, dtype=float)


def unwound(angle: np.ndarray) -> np.ndarray:
    """Return angles in degrees with NaN where they jump by more than half a turn, so that no line is drawn across."""
    out = np.array(angle, dtype=float)
    out[1:][np.abs(np.diff(angle)) > 180.0] = math.nan
    return out


def dress(ax, title: str = "") -> None:
    """Give axes the common look: two thin spines, small ticks, a pale grid behind the lines."""
    ax.spines[["top", "right"]].set_visible(False)
    ax.spines[["left", "bottom"]].set(linewidth=0.6, color=GREY)
    ax.tick_params(labelsize=FONT, width=0.6, length=3.0, color=GREY, labelcolor=INK)
    ax.grid(True, linewidth=0.4, color=PALE)
    ax.set_axisbelow(True)
    for axis in (ax.xaxis, ax.yaxis):
        axis.label.set(fontsize=FONT + 0.5, color=INK)
    if title:
        ax.set_title(title, fontsize=FONT + 1.0, color=INK, loc="left")


def second_axis(ax, text: str, colour: str):
    """Return axes sharing x with a scale of their own on the right, in one colour."""
    other = ax.twinx()
    other.spines[["top", "left", "bottom"]].set_visible(False)
    other.spines["right"].set(linewidth=0.6, color=colour)
    other.tick_params(labelsize=FONT, width=0.6, length=3.0, color=colour, labelcolor=colour)
    other.set_ylabel(text, fontsize=FONT + 0.5, color=colour)
    return other


def widths(count: int) -> list[float]:
    """Return line widths, points, that fall: lines drawn in this order stay visible where they lie on each other."""
    return list(np.linspace(LINE + min(0.6 * (count - 1), 2.0), LINE, count))


def headroom(ax, share: float) -> None:
    """Raise the upper end of the y axis by a share of its span, as room for a legend or labels."""
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + share * (high - low))


def match_headroom(other, ax, before: tuple[float, float]) -> None:
    """Give axes with a scale of their own on the right the room that `ax` got above its limits `before`."""
    now = ax.get_ylim()
    headroom(other, (now[1] - before[1]) / (before[1] - before[0]))


def legend_on_top(ax, columns: int = 3, **options) -> None:
    """Give axes a legend in the upper left corner, in room of its own above everything that is drawn so far; `columns` at most, as many as fit."""
    texts = [str(one.get_label()) for one in options["handles"]] if "handles" in options else ax.get_legend_handles_labels()[1]
    if not texts:
        return
    wide, whole = (side * 72.0 / ax.figure.dpi * LAID_OUT for side in ax.get_window_extent().bounds[2:])
    columns = columns_that_fit(texts, columns, wide)
    height = (LEGEND_ROW * math.ceil(len(texts) / columns) + 0.6) * FONT  # points
    headroom(ax, min(height / max(whole - height, 1.0), 1.5))
    legend(ax, **{"loc": "upper left", "ncols": columns, "columnspacing": 1.2, "borderaxespad": 0.2, **options})


def columns_that_fit(texts: list[str], most: int, wide: float) -> int:
    """Return in how many columns a legend of these texts fits into a width, points: `most` at most, one at least."""
    for columns in range(min(most, len(texts)), 1, -1):
        rows = math.ceil(len(texts) / columns)
        longest = [max(map(len, texts[k : k + rows])) for k in range(0, len(texts), rows)]
        if sum(0.54 * FONT * count + 4.0 * FONT for count in longest) < wide:
            return columns
    return 1


def legend_above(ax, columns: int = 3, **options) -> None:
    """Give axes a legend above them, outside; for axes without a title."""
    legend(ax, **{"loc": "lower left", "bbox_to_anchor": (0.0, 1.0), "ncols": columns, "columnspacing": 1.2, "borderaxespad": 0.2, **options})


def legend_beside(ax, **options) -> None:
    """Give axes a legend to the right of them, outside."""
    legend(ax, **{"loc": "center left", "bbox_to_anchor": (1.0, 0.5), **options})


def shades(count: int) -> list[tuple[float, float, float]]:
    """Return colours of one hue from light to dark, for lines that stand in an order."""
    light, dark = (0.62, 0.76, 0.92), (0.0, 0.13, 0.33)
    return [tuple(np.add(light, share * np.subtract(dark, light))) for share in np.linspace(0.0, 1.0, max(count, 2))[:count]]


def draw_or_say(function, ds, ax, *values) -> None:
    """Draw one panel of an overview, or write in it why it cannot be drawn."""
    try:
        function(ds, *values, ax=ax)
    except ValueError as error:
        blank(ax, str(error))


def draw_ellipses(ax, ellipses, colour: str) -> None:
    """Draw ellipses of `sixdof.stats.containment`, dashed."""
    from matplotlib.patches import Ellipse

    look = {"fill": False, "ec": colour, "lw": LINE, "ls": (0, (5, 2)), "zorder": 3}
    for e in ellipses:
        size = 2.0 * float(e.semi_major), 2.0 * float(e.semi_minor)
        ax.add_patch(Ellipse((float(e.centre_x), float(e.centre_y)), *size, angle=math.degrees(float(e.angle)), **look))


def scale_of_time(ax, end: float) -> None:
    """Give axes a square-root scale of time up to `end`, s: what happens within a second on the rail is seen beside a descent of minutes."""
    ax.set_xscale("function", functions=(lambda t: np.sqrt(np.maximum(t, 0.0)), np.square))
    ax.set_xlim(0.0, end)
    ax.set_xticks([t for t in TICKS if t <= end], [f"{t:g}" for t in TICKS if t <= end])
    ax.xaxis.minorticks_off()
    ax.set_xlabel("time since ignition (s), square-root scale")


def events_above(ax, times: dict[str, float]) -> None:
    """Name moments of a time axis above it, upright, with a pale line down through the axes; call it when limits and title are set."""
    low, high = ax.get_xlim()
    shown = sorted((time, name) for name, time in times.items() if low <= time <= high)
    if not shown:
        return
    point = (high - low) / (ax.get_window_extent().width * 72.0 / ax.figure.dpi * LAID_OUT)
    places = spread_out([time for time, _ in shown], 1.6 * (FONT - 1.0) * point, high)
    where = ax.get_xaxis_transform()
    arrow = {"arrowstyle": "-", "color": GREY, "linewidth": 0.5, "shrinkA": 0.0, "shrinkB": 0.0, "relpos": (0.5, 0.0)}
    for (time, name), place in zip(shown, places, strict=True):
        ax.axvline(time, color=PALE, lw=0.8, zorder=0.5)
        ax.annotate(name, (time, 1.0), (place, 1.03), where, where, arrow, rotation=90, ha="center", va="bottom", fontsize=FONT - 1.0, color=INK, gid="event")
    longest = max(len(name) for _, name in shown)
    ax.set_title(ax.get_title(loc="left"), loc="left", fontsize=FONT + 1.0, color=INK, pad=0.58 * (FONT - 1.0) * longest + 14.0)


def spread_out(places: list[float], least: float, end: float) -> list[float]:
    """Return places, in order, moved apart to the right by as little as makes them `least` apart, and back where they pass the end."""
    out = list(places)
    for k in range(1, len(out)):
        out[k] = max(out[k], out[k - 1] + least)
    for k in range(len(out) - 1, -1, -1):
        out[k] = min(out[k], end if k == len(out) - 1 else out[k + 1] - least)
    return out


def legend(ax, **options) -> None:
    """Give axes a small legend without a frame."""
    ax.legend(**{"fontsize": FONT, "frameon": False, "handlelength": 1.8, **options})


def blank(ax, reason: str) -> None:
    """Say in empty axes why there is nothing to see."""
    ax.set_axis_off()
    centre = {"ha": "center", "va": "center", "transform": ax.transAxes}
    ax.text(0.5, 0.5, textwrap.fill(reason, 40), fontsize=FONT, color=GREY, **centre)

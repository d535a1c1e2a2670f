"""What all figures share: colours, axes, labels. Nothing here touches matplotlib's global settings."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

# the palette of M. Okabe and K. Ito (2002), "Color Universal Design", without its yellow, in an order of our own
CYCLE = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00")
INK, GREY, PALE, BAND = "#262626", "#7a7a7a", "#d9d9d9", "#f3f3f3"
LINE = 1.1  # points
FONT = 8.0  # points
WRAP = 46  # characters of a label before it takes a second line


def axes_or_new(ax=None, *, size=(6.4, 4.2)):
    """Return `ax`, or the axes of a new figure (inches) that matplotlib's pyplot will show."""
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=size, layout="constrained")[1]


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


def footroom(ax, share: float) -> None:
    """Move the lower end of the y axis down by a share of its span, as room for a label; an inverted axis stays inverted."""
    low, high = ax.get_ylim()
    ax.set_ylim(low - share * (high - low), high)


def legend(ax, **options) -> None:
    """Give axes a small legend without a frame."""
    ax.legend(**{"fontsize": FONT, "frameon": False, "handlelength": 1.8, **options})


def blank(ax, reason: str) -> None:
    """Say in empty axes why there is nothing to see."""
    ax.set_axis_off()
    centre = {"ha": "center", "va": "center", "transform": ax.transAxes}
    ax.text(0.5, 0.5, textwrap.fill(reason, 40), fontsize=FONT, color=GREY, **centre)

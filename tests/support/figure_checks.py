"""What every figure must hold: legends that say what is drawn, texts that can be read, labels with units, nothing lost outside.

`complaints(figure)` draws a figure and returns what is wrong with it, one sentence each; an empty list is a good figure. Boxes are pixels of
the drawn figure. A line without a label of its own may say whose companion it is by its gid, "of:<label>": it then has that line's colour.
"""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
from matplotlib.collections import Collection
from matplotlib.colors import same_color, to_rgba
from matplotlib.container import Container
from matplotlib.legend import Legend
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.spines import Spine
from matplotlib.text import Text

from sixdof.plot.style import GREY, INK, PALE

TOUCH = 1.5  # pixels by which boxes of texts may overlap: they are drawn about the letters with some room
SLACK = 1.0  # pixels that a line may pass into a legend's box, or out of the axes: its own width
NEUTRAL = (GREY, INK, PALE)  # of zero lines, limits, marks: they need no entry, and stand for a dash whatever the colour
WITHOUT_UNIT = {  # labels of pure numbers, counts and names
    "Mach number",
    "damping ratio",
    "least |1 + L|",
    "real part of L",
    "imaginary part of L",
    "flights",
}
UNIT = re.compile(r"\([^)]*\)|calibres|derivative|share|factor|coefficient|damping C|critical|^gain p$", re.DOTALL)


def complaints(figure, pure: tuple[str, ...] = ()) -> list[str]:
    """Return what is wrong with a figure. pure : labels of axes that are pure numbers here."""
    figure.canvas.draw()
    axes = [ax for ax in figure.axes if ax.get_visible()]
    found = []
    for ax in axes:
        found += [*_empty(ax), *_units(ax, pure), *_legend_and_lines(ax, figure), *_lost(ax, figure)]
    for legend in _legends(figure):
        found += _struck(legend, axes)
    return found + _overlapping(figure)


# ---------------------------------------------------------------- legends


def _legends(figure) -> list[Legend]:
    own = [child for ax in figure.axes for child in ax.get_children() if isinstance(child, Legend)]
    return own + list(figure.legends)


def twins(ax) -> list:
    """Return the axes that lie on the same place: an axes and those with scales of their own on its right."""
    return [other for other in ax.figure.axes if np.allclose(other.bbox.bounds, ax.bbox.bounds)]


def drawn_lines(ax) -> list[Line2D]:
    """Return the lines of an axes that have something to show."""
    return [line for line in ax.lines if line.get_visible() and _finite(line)]


def _finite(line) -> bool:
    x, y = (np.asarray(v, dtype=float) for v in line.get_data()[:2])
    return bool((np.isfinite(x) & np.isfinite(y)).any())


def colour_of(artist):
    """Return the colour that an entry or an artist shows."""
    if isinstance(artist, Line2D):
        return artist.get_color() if artist.get_linestyle() != "None" else artist.get_markerfacecolor()
    if isinstance(artist, Collection):
        faces = artist.get_facecolor() if len(artist.get_facecolor()) else artist.get_edgecolor()
        return faces[0] if len(faces) else "none"
    return artist.get_facecolor() if isinstance(artist, Patch) and artist.get_fill() else artist.get_edgecolor()


def _style(line: Line2D):
    """Return what a line looks like besides its colour: its dashes and its marker."""
    if line.get_linestyle() == "None":
        return "None", str(line.get_marker())
    return _dashes(line._dash_pattern[1], line.get_linewidth()), str(line.get_marker())  # no public way to read what a tuple set


def _dashes(pattern, width: float):
    """Return dashes in units of the line's width, "-" for none."""
    return "-" if pattern is None else tuple(round(float(dash) / width, 2) for dash in pattern)


def _outline_styles(artist) -> list:
    """Return dashes of the outline of a patch, or of the lines of a collection, such as a contour."""
    if isinstance(artist, Patch):
        return [_dashes(artist._dash_pattern[1], artist.get_linewidth() or 1.0)]
    return [_dashes(pattern, width or 1.0) for (_, pattern), width in zip(artist.get_linestyle(), artist.get_linewidth(), strict=False)]


def _labelled(ax) -> list:
    """Return every artist with a public label on an axes and its twins."""
    out = []
    for own in twins(ax):
        out += [artist for artist in [*own.get_children(), *own.containers] if isinstance(artist, (Line2D, Patch, Collection, Container))]
    return [artist for artist in out if artist.get_label() and not str(artist.get_label()).startswith("_")]


def _legend_and_lines(ax, figure) -> list[str]:
    """Compare a legend with what is drawn: label, colour, dash or marker, both ways."""
    legend = ax.get_legend()
    out = _companions(ax)
    if legend is None:
        return out
    everything = [artist for other in figure.axes for artist in _labelled(other)]
    lines = [line for other in twins(ax) for line in drawn_lines(other)]
    for handle, text in zip(legend.legend_handles, (t.get_text() for t in legend.get_texts())):
        same = [artist for artist in everything if artist.get_label() == text]
        if not same:
            out.append(f"legend entry {text!r} names nothing that is drawn")
        elif isinstance(handle, Line2D):
            children = [child for other in twins(ax) for child in other.get_children() if child is not other.patch]
            outlines = [child for child in children if isinstance(child, (Patch, Collection)) and not isinstance(child, Spine)]
            out += _line_entry(handle, text, [artist for artist in same if isinstance(artist, Line2D)], lines, outlines)
        elif not any(_alike(colour_of(handle), colour_of(artist)) for artist in same if hasattr(artist, "get_facecolor")) and hasattr(same[0], "get_facecolor"):
            out.append(f"legend entry {text!r} has another colour than what it names")
    if not figure.legends:
        shown = {t.get_text() for one in _legends(figure) for t in one.get_texts()}
        missing = {str(artist.get_label()) for artist in _labelled(ax)} - shown
        out += [f"{label!r} is drawn and missing in the legend" for label in sorted(missing)]
    return out


def _line_entry(handle, text: str, same: list, lines: list, outlines: list) -> list[str]:
    if not same:
        return []
    if not any(_alike(colour_of(handle), colour_of(line)) and _style(handle) == _style(line) for line in same):
        return [f"legend entry {text!r} looks otherwise than its line"]
    if any(_finite(line) for line in same):
        return []
    # an entry for a way of drawing: something is drawn with its dashes, and its marker, in its colour, or in any where it is neutral
    neutral = any(same_color(handle.get_color(), one) for one in NEUTRAL)
    like = [line for line in lines if neutral or _alike(colour_of(line), colour_of(handle))]
    dashes, marker = _style(handle)
    drawn = [_style(line) for line in like]
    edged = [one for one in outlines if neutral or any(_alike(edge, colour_of(handle)) for edge in np.atleast_2d(one.get_edgecolor()))]
    drawn += [(own, "None") for one in edged for own in _outline_styles(one)]
    missing = dashes != "None" and all(own != dashes for own, _ in drawn) or marker != "None" and all(own != marker for _, own in drawn)
    return [f"legend entry {text!r} stands for a line or mark that is not drawn"] if missing else []


def _companions(ax) -> list[str]:
    out = []
    for line in ax.lines:
        gid = str(line.get_gid() or "")
        if gid.startswith("of:"):
            owner = [one for one in ax.lines if one.get_label() == gid[3:]]
            if not owner or not same_color(owner[0].get_color(), line.get_color()):
                out.append(f"a companion of {gid[3:]!r} has not its colour")
    return out


def _alike(one, other) -> bool:
    try:
        return bool(np.allclose(to_rgba(one)[:3], to_rgba(other)[:3], atol=0.004))
    except ValueError:
        return True  # an array of colours: of a scale


def _struck(legend: Legend, axes) -> list[str]:
    """Return which lines run through a legend."""
    box = legend.get_window_extent()
    x0, y0, x1, y1 = box.x0 + SLACK, box.y0 + SLACK, box.x1 - SLACK, box.y1 - SLACK
    out = []
    for ax in axes:
        if not ax.bbox.overlaps(box) or ax.name == "3d":
            continue
        for line in drawn_lines(ax):
            if same_color(line.get_color(), PALE):
                continue  # a guide, as pale as the grid
            at = line.get_transform().transform(np.column_stack([np.asarray(v, dtype=float) for v in line.get_data()]))
            if line.get_linestyle() not in ("None", "") and len(at) > 1:
                at = _between(at)
            inside = (at[:, 0] > x0) & (at[:, 0] < x1) & (at[:, 1] > y0) & (at[:, 1] < y1)
            inside &= (at[:, 0] >= ax.bbox.x0) & (at[:, 0] <= ax.bbox.x1) & (at[:, 1] >= ax.bbox.y0) & (at[:, 1] <= ax.bbox.y1)
            if inside.any():
                out.append(f"line {line.get_label()!r} in {ax.get_title(loc='left')!r} runs through the legend")
    return out


def _between(at: np.ndarray) -> np.ndarray:
    """Return points of a broken line some pixels apart."""
    at = np.clip(at, -1e4, 1e4)
    share = np.linspace(0.0, 1.0, 200 if len(at) < 20 else 4, endpoint=False)[:, None, None]
    return (at[:-1] + share * (at[1:] - at[:-1])).reshape(-1, 2)


# ---------------------------------------------------------------- texts


def _texts(figure):
    """Yield every text that is drawn, with its box."""
    renderer = figure.canvas.get_renderer()
    seen = set()
    for ax in [*figure.axes, *(child for parent in figure.axes for child in parent.child_axes)]:
        if not ax.get_visible():
            continue
        if ax.name == "3d":  # lays its axes' texts out by itself
            labels = []
        else:
            labels = [label for axis in (ax.xaxis, ax.yaxis) if ax.axison and axis.get_visible() for label in _axis_texts(axis)]
        for text in [*labels, *ax.texts, ax.title, ax._left_title, ax._right_title]:
            if text.get_visible() and text.get_text().strip() and id(text) not in seen:
                seen.add(id(text))
                yield text, Text.get_window_extent(text, renderer)  # of an annotation without its arrow
    for text in [*figure.texts, *(t for legend in _legends(figure) for t in legend.get_texts()), *([figure._suptitle] if figure._suptitle else [])]:
        if text.get_visible() and text.get_text().strip() and id(text) not in seen:
            seen.add(id(text))
            yield text, Text.get_window_extent(text, renderer)  # of an annotation without its arrow


def _axis_texts(axis) -> list:
    low, high = sorted(axis.get_view_interval())
    out = [axis.label, axis.get_offset_text()]
    room = 1e-9 * (high - low)
    for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
        if low - room <= tick.get_loc() <= high + room:
            out += [label for label in (tick.label1, tick.label2) if label.get_visible()]
    return out


def _overlapping(figure) -> list[str]:
    out = []
    boxes = list(_texts(figure))
    for (one, a), (other, b) in combinations(boxes, 2):
        wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        if wide > TOUCH and high > TOUCH:
            out.append(f"texts {one.get_text()!r} and {other.get_text()!r} overlap by {wide:.0f} x {high:.0f}")
    edge = figure.bbox
    for text, box in boxes:
        if box.x0 < edge.x0 - TOUCH or box.x1 > edge.x1 + TOUCH or box.y0 < edge.y0 - TOUCH or box.y1 > edge.y1 + TOUCH:
            out.append(f"text {text.get_text()!r} leaves the figure")
    return out


# ---------------------------------------------------------------- axes


def _empty(ax) -> list[str]:
    if ax.axison:
        return [] if ax.has_data() else [f"axes {ax.get_title(loc='left')!r} hold no data"]
    return [] if ax.has_data() or ax.texts else ["an axes shows nothing at all"]


def _units(ax, pure) -> list[str]:
    """Hold that an axis of numbers has a label with a unit, on itself or on the axes it shares its scale with."""
    if not ax.axison or ax.name == "3d":
        return []
    out = []
    for axis, shared, name in ((ax.xaxis, ax.get_shared_x_axes(), "x"), (ax.yaxis, ax.get_shared_y_axes(), "y")):
        ticks = [t for t in axis.get_ticklabels() if t.get_visible() and t.get_text()]
        if not axis.get_visible() or not ticks or not all(_number(t.get_text()) for t in ticks):
            continue
        texts = [getattr(other, f"get_{name}label")() for other in shared.get_siblings(ax)]
        if not any(text in WITHOUT_UNIT or text.replace("\n", " ") in pure or UNIT.search(text) for text in texts):
            out.append(f"{name} axis of {ax.get_title(loc='left')!r} has no unit: {texts}")
    return out


def _number(text: str) -> bool:
    return bool(re.fullmatch(r"[-−+]?[\d.,]+(e[-+]?\d+)?|\$\\mathdefault\{.*\}\$", text))


def _lost(ax, figure) -> list[str]:
    """Return which lines leave their axes up or down although they are within them sideways: limits cut what should be seen."""
    if ax.name == "3d" or not ax.axison:
        return []
    out = []
    for line in drawn_lines(ax):
        if line.get_transform() != ax.transData or line.get_gid() == "cut" or not line.get_clip_on():
            continue
        x, y = (np.asarray(v, dtype=float) for v in line.get_data())
        low, high = sorted(ax.get_xlim())
        with np.errstate(invalid="ignore"):
            use = np.isfinite(x) & np.isfinite(y) & (x >= low) & (x <= high)
        if not use.any():
            continue
        at = ax.transData.transform(np.column_stack([x[use], y[use]]))
        over = max(ax.bbox.y0 - at[:, 1].min(), at[:, 1].max() - ax.bbox.y1)
        if over > SLACK:
            out.append(f"line {line.get_label()!r} in {ax.get_title(loc='left')!r} leaves its axes by {over:.0f} pixels")
    return out

"""Labels beside marked points: placed where they meet no other label, no line and no edge, if there is such a place."""

from __future__ import annotations

import math

import numpy as np

from sixdof.plot.style import FONT, GREY, INK

LETTER, ROW = 0.6, 1.3  # width and height of a letter's place over the font's size
NEAR, FAR = 5.0, (12.0, 24.0, 40.0, 60.0)  # points between a mark and its label; beyond the first a leader is drawn
SIDES = ((1, 1), (1, -1), (-1, 1), (-1, -1), (1, 0), (-1, 0), (0, 1), (0, -1))
MEETS_TEXT, MEETS_LINE, LEAVES = 40.0, 3.0, 80.0  # what a place costs: a label hidden, a point of a line covered, a label beyond the frame
CLOSE = 0.9  # rows: marks closer together share a label
MOST_LINES = 3  # of a label of several marks


def place_labels(ax, marks: list[tuple[float, float, str]], *, size: float = FONT - 1.0) -> None:
    """Write a label (a text) beside each mark (x, y, text), data coordinates; those at one place share one. Call it when all else is drawn."""
    marks = [mark for mark in marks if math.isfinite(mark[0]) and math.isfinite(mark[1])]
    ax.figure.draw_without_rendering()  # lays the figure out: only then is it known where anything is
    points = 72.0 / ax.figure.dpi
    frame = np.array(ax.get_window_extent().extents) * points
    dots = ax.transData.transform([(x, y) for x, y, _ in marks]) * points if marks else []
    groups: list[tuple[np.ndarray, tuple[float, float], list[str]]] = []
    for (x, y, text), dot in zip(marks, dots, strict=True):
        near = next((texts for at, _, texts in groups if math.dist(at, dot) < CLOSE * ROW * size), None)
        if near is None:
            groups.append((dot, (x, y), [text]))
        else:
            near.append(text)
    lines = _line_points(ax) * points
    taken: list[np.ndarray] = []
    for dot, at, texts in groups:
        words = texts if len(texts) <= MOST_LINES else [texts[0], f"to {texts[-1]}"]
        wide, high = LETTER * size * max(map(len, words)), ROW * size * len(words)
        (offset, side), box = _best(dot, wide, high, frame, lines, taken)
        taken.append(box)
        arrow = {"arrowstyle": "-", "color": GREY, "linewidth": 0.5, "shrinkA": 1.0, "shrinkB": 2.0} if math.hypot(*offset) > FAR[0] else None
        where = {"ha": {1: "left", -1: "right", 0: "center"}[side[0]], "va": {1: "bottom", -1: "top", 0: "center"}[side[1]]}
        note = ax.annotate("\n".join(words), at, offset, textcoords="offset points", fontsize=size, color=INK, arrowprops=arrow, zorder=6, **where)
        note.set_in_layout(False)


def _line_points(ax) -> np.ndarray:
    """Return points along all lines of the axes, pixels (n, 2)."""
    found = [np.zeros((0, 2))]
    for line in ax.lines:
        at = line.get_transform().transform(np.column_stack([np.asarray(v, dtype=float) for v in line.get_data()]))
        at = at[np.isfinite(at).all(axis=1)]
        if len(at) > 1:
            steps = np.linspace(0.0, len(at) - 1.0, 400)
            found.append(np.column_stack([np.interp(steps, np.arange(len(at)), at[:, k]) for k in (0, 1)]))
    return np.concatenate(found)


def _best(dot, wide, high, frame, lines, taken):
    """Return the cheapest (offset, side) of a label and its box (x0, y0, x1, y1), points."""
    best, least = None, math.inf
    for far in (NEAR, *FAR):
        for side in SIDES:
            offset = far * side[0], far * (side[1] if side[0] == 0 or far > NEAR else 0.4 * side[1])
            x0 = dot[0] + offset[0] - wide * (0.5 - 0.5 * side[0])
            y0 = dot[1] + offset[1] - high * (0.5 - 0.5 * side[1])
            box = np.array([x0, y0, x0 + wide, y0 + high])
            cost = 0.12 * far + sum(MEETS_TEXT for other in taken if _meet(box, other))
            inside = ((lines > box[:2]) & (lines < box[2:])).all(axis=1)
            cost += MEETS_LINE * math.sqrt(inside.sum())
            over = np.maximum([frame[0] - box[0], frame[1] - box[1], box[2] - frame[2], box[3] - frame[3]], 0.0)
            cost += LEAVES * (over > 0.0).any() + over.sum()
            if cost < least:
                best, least = ((offset, side), box), cost
    return best


def _meet(one, other) -> bool:
    return min(one[2], other[2]) > max(one[0], other[0]) and min(one[3], other[3]) > max(one[1], other[1])

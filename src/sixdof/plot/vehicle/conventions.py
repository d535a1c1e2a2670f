"""The picture of the conventions: body axes, fin numbers, signs of deflection and of tilt."""

from __future__ import annotations

import math

from sixdof.plot.style import CYCLE, FONT, GREY, INK, PALE, axes_or_new
from sixdof.vehicle.geometry import outward, ring_angles

BLUE, ORANGE = CYCLE[0], CYCLE[1]


def draw_fin_numbers(count: int = 4, *, phase: float = 0.0, ax=None):
    """Draw a fin set seen from behind: its numbers, and where each is pushed by a positive deflection.

    count : fins; phase : angle of fin 1 clockwise from body +z, rad.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.draw_fin_numbers(3)
    """
    ax = axes_or_new(ax, size=(4.0, 4.2))
    from matplotlib.patches import Circle

    ax.add_patch(Circle((0.0, 0.0), 1.0, facecolor=PALE, edgecolor=INK, linewidth=1.0))
    for number, angle in enumerate(ring_angles(count, phase), start=1):
        y, z = outward(angle)
        # seen from behind: body y to the right, body z downwards; the normal (-cos, -sin) rolls the vehicle clockwise
        right, up = y, -z
        push = -math.cos(angle), math.sin(angle)
        ax.plot([right, 2.2 * right], [up, 2.2 * up], color=INK, linewidth=3.0, solid_capstyle="butt")
        ax.text(2.5 * right, 2.5 * up, str(number), ha="center", va="center", fontsize=FONT + 3, color=INK)
        _arrow(ax, (1.75 * right, 1.75 * up), (1.75 * right + 0.7 * push[0], 1.75 * up + 0.7 * push[1]), ORANGE)
    _arrow(ax, (0.0, 0.0), (0.6, 0.0), BLUE, "y")
    _arrow(ax, (0.0, 0.0), (0.0, -0.6), BLUE, "z")
    ax.text(
        0.0,
        -3.25,
        "seen from behind; arrows at fins: force of a\npositive deflection (all together: roll positive)",
        ha="center",
        va="center",
        fontsize=FONT + 0.5,
        color=INK,
    )
    return _bare(ax, 2.9, (-3.7, 2.9))


def draw_axes(*, ax=None):
    """Draw the vehicle on the rail: body axes, launch azimuth, and what a positive tilt_pitch is.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.draw_axes()
    """
    ax = axes_or_new(ax, size=(4.0, 4.2))
    lean = math.radians(14.0)
    along, across = (math.sin(lean), math.cos(lean)), (math.cos(lean), -math.sin(lean))

    def at(forward, side):
        return forward * along[0] + side * across[0], forward * along[1] + side * across[1]

    outline = [at(*p) for p in ((0, -0.2), (3.4, -0.2), (3.75, -0.14), (3.95, -0.05), (4.0, 0.0), (3.95, 0.05), (3.75, 0.14), (3.4, 0.2), (0, 0.2), (0, -0.2))]
    ax.fill(*zip(*outline), facecolor=PALE, edgecolor=INK, linewidth=1.0)
    for side in (-1.0, 1.0):
        fin = [at(*p) for p in ((0.0, 0.2 * side), (0.0, 0.65 * side), (0.35, 0.65 * side), (0.8, 0.2 * side))]
        ax.fill(*zip(*fin), facecolor="white", edgecolor=INK, linewidth=1.0)
    ax.plot([-1.2, 3.4], [-0.15, -0.15], color=GREY, linewidth=0.8)
    ax.plot([0.0, 0.0], [-0.15, 4.6], color=GREY, linewidth=0.8, linestyle=(0, (4, 3)))
    _arrow(ax, at(2.0, 0.0), at(4.9, 0.0), BLUE, "x")
    _arrow(ax, at(2.0, 0.0), at(2.0, 1.3), BLUE, "z")
    angles = [math.radians(90.0 - k) for k in range(0, 14)]
    ax.plot([3.0 * math.cos(a) for a in angles], [3.0 * math.sin(a) for a in angles], color=ORANGE, linewidth=1.2)
    ax.text(-0.12, 3.05, "tilt_pitch\n> 0", ha="right", va="center", fontsize=FONT + 0.5, color=ORANGE)
    ax.text(3.3, -0.42, "downrange (launch azimuth)", ha="right", va="center", fontsize=FONT + 0.5, color=INK)
    ax.text(-0.12, 4.55, "up", ha="right", va="center", fontsize=FONT + 0.5, color=GREY)
    ax.text(1.95, 0.75, "body y points at you: to the\nright of the launch azimuth", fontsize=FONT, color=INK)
    return _bare(ax, None, (-0.9, 5.0))


def draw_conventions():
    """Return a Figure with both pictures.

    Examples
    --------
    >>> figure = sixdof.plot.draw_conventions()
    """
    import matplotlib.pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(8.0, 4.0), layout="constrained")
    draw_axes(ax=left)
    draw_fin_numbers(ax=right)
    return figure


def _arrow(ax, start, end, colour, text=""):
    ax.annotate("", end, start, arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.4, "shrinkA": 0, "shrinkB": 0})
    if text:
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = math.hypot(dx, dy)
        ax.text(end[0] + 0.22 * dx / length, end[1] + 0.22 * dy / length, text, color=colour, ha="center", va="center", fontsize=FONT + 2)


def _bare(ax, half, height):
    ax.set_aspect("equal")
    ax.set_ylim(*height)
    ax.set_xlim(*((-half, half) if half else (-1.6, 4.0)))
    ax.axis("off")
    return ax

"""The vehicle drawn to scale from the side, with what is in it and where mass and pressure act."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Mount, Nose, Parachute, PointMass, RailGuide
from sixdof.plot.style import CYCLE
from sixdof.vehicle.describe import balance
from sixdof.vehicle.geometry import FinSet, Shape, outward, ring_angles, shape_of
from sixdof.vehicle.mounting import placed_motors

SKIN, EDGE, SEAM, FIN, INK = "#ececec", "#4d4d4d", "#9a9a9a", "#c9c9c9", "#262626"
MOTOR, CANOPY, LOAD, MASS_LOADED, MASS_BURNT, PRESSURE = (CYCLE[5], CYCLE[2], "#666666", CYCLE[0], CYCLE[4], CYCLE[1])
FONT = 8.0  # points
NOSE_POINTS = 200
WIDTH = 11.0  # inches


class Note(NamedTuple):
    """A label and the point its leader comes from."""

    x: float
    z: float
    text: str
    colour: str


def draw_vehicle(mission: Mission, *, ax=None):
    """Draw the whole stack to scale, seen from starboard with the nose to the left and body +z up; metres.

    Shown are the outline, fins at their angles (nearer ones over the body), motors, point masses, packed parachutes,
    guides, and the centres of mass (loaded; first burn over) and of pressure at Mach 0.3, small incidence.
    Returns the axes; makes a figure only where `ax` is None. Guides have no side in the mission: drawn at the bottom.

    Examples
    --------
    >>> ax = sixdof.plot.draw_vehicle(mission)
    """
    check_mission(mission, "draw_vehicle")
    stages = range(len(mission.stage))
    shape = shape_of(mission.stage)
    own = ax is None
    if own:
        import matplotlib.pyplot as plt

        ax = plt.subplots(figsize=(WIDTH, 0.5 * WIDTH), layout="constrained")[1]
    _draw_body(ax, shape)
    for fins in shape.fins:
        _draw_fins(ax, fins)
    above = _draw_inside(ax, mission, shape) + _draw_motors(ax, placed_motors(mission, stages))
    below = _draw_centres(ax, mission, stages, *_extent(shape))
    _dress(ax, mission, shape)
    _label(ax, shape, above, below)
    if own:
        (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
        ax.figure.set_size_inches(WIDTH, 0.92 * WIDTH * (top - bottom) / (right - left) + 1.0)
    return ax


def _extent(shape: Shape) -> tuple[float, float]:
    """Return the lowest and the highest z of the outline, fins included, m."""
    low = high = 0.5 * shape.diameter
    for fins in shape.fins:
        reach = (fins.body_radius + fins.span) * outward(fins.angles())[1]
        low, high = max(low, -reach.min()), max(high, reach.max())
    return -low, high


# ---------------------------------------------------------------- the outside


def _draw_body(ax, shape: Shape) -> None:
    stations, radii = [], []
    for segment in shape.segments:
        count = NOSE_POINTS if isinstance(segment.part, Nose) else 2
        x = segment.x0 + segment.length * np.linspace(0.0, 1.0, count) ** 2  # closer where a blunt tip turns
        stations.append(x)
        radii.append(segment.radius(x))
        ax.fill(*_mirrored(stations[-1], radii[-1]), fc=SKIN, ec=SEAM, lw=0.6, zorder=2)
    ax.fill(*_mirrored(np.concatenate(stations), np.concatenate(radii)), fc="none", ec=EDGE, lw=1.2, zorder=4)


def _mirrored(x: np.ndarray, radius: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.append(x, x[::-1]), np.append(radius, -radius[::-1])


def _draw_fins(ax, fins: FinSet) -> None:
    """Draw every panel's projection: the plate's two faces and, where it stands edge on, the bar between them."""
    for angle in fins.angles():
        y, z = outward(angle)
        x = fins.x0 + fins.points[:, 0]
        out = (fins.body_radius + fins.points[:, 1]) * z
        colour = FIN if y <= 1e-9 else "#dcdcdc"
        order = 5 if y > 1e-9 else 1
        if abs(z) < 0.05:
            half = 0.5 * fins.part.thickness
            if y > 0.0:
                ends = [x.min(), x.max(), x.max(), x.min()]
                ax.fill(ends, [half, half, -half, -half], fc=colour, ec=EDGE, lw=0.8, zorder=order)
            continue
        ax.fill(x, out, fc=colour, ec=EDGE, lw=1.0, zorder=order, hatch="////" if fins.part.control else None)


# ---------------------------------------------------------------- the inside


def _box(ax, x0: float, x1: float, z0: float, z1: float, colour: str, **style) -> None:
    style = {"lw": 1.0, "alpha": 0.45, "zorder": 3, **style}
    ax.fill([x0, x1, x1, x0], [z0, z0, z1, z1], fc=colour, ec=colour, **style)


def _draw_motors(ax, motors) -> list[Note]:
    """Draw every motor; those of one mount share a label."""
    groups: dict[tuple, list] = {}
    for placed in (motor for stage in motors for motor in stage):
        half = 0.5 * placed.motor.diameter
        _box(ax, placed.fore, placed.aft, placed.z - half, placed.z + half, MOTOR)
        groups.setdefault((placed.name, placed.fore), []).append(placed.z + half)
    notes = []
    for (name, fore), tops in groups.items():
        text = name if len(tops) == 1 else f"{len(tops)} x {name}"
        notes.append(Note(fore + 0.02, max(tops), text, INK))
    return notes


def _draw_inside(ax, mission: Mission, shape: Shape) -> list[Note]:
    notes = []
    for fore, stage in zip(shape.stage_x0, mission.stage):
        for part in stage.part:
            if isinstance(part, (PointMass, Parachute)):
                notes.append(_draw_load(ax, part, fore + part.station, shape))
            elif isinstance(part, RailGuide):
                radius, x = float(shape.radius(fore + part.station)), fore + part.station
                _box(ax, x - 0.5 * part.width, x + 0.5 * part.width, -radius, -radius - part.height, EDGE, alpha=1.0, zorder=6)  # before any fin
            elif isinstance(part, Mount):
                _draw_mount(ax, part, fore)
    return notes


def _draw_mount(ax, part: Mount, fore: float) -> None:
    half = 0.5 * part.inner_diameter + part.wall_thickness
    for z in part.ring_radius * outward(ring_angles(part.count, part.clocking))[1]:
        x = np.array([0.0, part.length, part.length, 0.0]) + fore + part.station
        ax.fill(x, [z - half, z - half, z + half, z + half], fc="none", ec=LOAD, lw=0.7, zorder=3)


def _draw_load(ax, part, x: float, shape: Shape) -> Note:
    if isinstance(part, Parachute):
        half = 0.7 * float(shape.radius(x))
        long, z, colour, style = part.packed_length, 0.0, CANOPY, {"hatch": "...", "alpha": 0.35}
    else:
        half, long, z, colour, style = 0.5 * part.diameter, part.length, part.offset_z, LOAD, {}
    if half > 0.0 and long > 0.0:
        _box(ax, x - 0.5 * long, x + 0.5 * long, z - half, z + half, colour, **style)
    else:
        ax.plot([x], [z], marker="s", ms=4.5, color=colour, zorder=6)
        half = 0.0
    return Note(x, z + half, part.name or part.kind, INK)


# ---------------------------------------------------------------- centres and labels


def _draw_centres(ax, mission: Mission, stages, low: float, high: float) -> list[Note]:
    """Draw a tick through the body at each centre, within the outline: odd fins reach further on one side."""
    state = balance(mission, stages)
    ticks = [("cg loaded", state.loaded.centre[0], MASS_LOADED, "-"), ("cg burnt", state.burnt.centre[0], MASS_BURNT, "--"), ("cp", state.cp, PRESSURE, "-")]
    notes = []
    for text, x, colour, style in ticks:
        if math.isfinite(x):
            ax.plot([x, x], [0.8 * low, 0.8 * high], color=colour, ls=style, lw=1.8, zorder=7)
            notes.append(Note(x, 0.8 * low, f"{text} {x:.3f} m", colour))
    return notes


def _dress(ax, mission: Mission, shape: Shape) -> None:
    margin = 0.03 * shape.length
    ax.set_xlim(-margin, shape.length + margin)
    ax.set_aspect("equal", adjustable="box")
    ax.grid(False)
    ax.set_xlabel("station aft of the nose tip (m)")
    ax.set_ylabel("body z (m)")
    if mission.title:
        ax.set_title(mission.title, loc="left", fontsize=FONT + 3)


def _label(ax, shape: Shape, above: list[Note], below: list[Note]) -> None:
    """Write the notes and make room for them: rows above and below, and to the right of the body."""
    ax.figure.draw_without_rendering()  # lays the figure out: only then do the axes know their width
    points = 72.0 * ax.figure.get_size_inches()[0] * ax.get_position().width
    left, right = ax.get_xlim()
    per_point = (right - left) / points
    right = max([right, *(note.x + _width(note, per_point) for note in above + below)])
    per_point = (right - left) / points
    step = 1.8 * FONT * per_point
    low, high = _extent(shape)
    rows = [_write(ax, above, high, step, per_point), _write(ax, below, low, -step, per_point)]
    ax.set(xlim=(left, right), ylim=(low - (rows[1] + 0.8) * step, high + (rows[0] + 0.8) * step))


def _width(note: Note, per_point: float) -> float:
    """Return about how wide a label is, m of the drawing: the font's letters are 0.6 of their height on average."""
    return per_point * FONT * (0.6 * len(note.text) + 1.5)


def _write(ax, notes: list[Note], start: float, step: float, per_point: float) -> int:
    """Write labels like flags on their leaders, in rows from `start` on; return how many rows that took.

    A label stands one row beyond those of all leaders it passes over, so that no leader crosses a label.
    """
    rows: list[tuple[float, int]] = []
    for note in sorted(notes, reverse=True):
        reach = note.x + _width(note, per_point)
        row = 1 + max((row for x, row in rows if x < reach), default=0)
        rows.append((note.x, row))
        level = start + row * step
        ax.plot([note.x, note.x], [note.z, level], color=note.colour, lw=0.6, zorder=8)
        place = (note.x + 0.3 * FONT * per_point, level)
        ax.text(*place, note.text, color=note.colour, fontsize=FONT, va="center", zorder=9)
    return max((row for _, row in rows), default=0)

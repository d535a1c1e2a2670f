"""The outside of the vehicle: the body's radius over its stations, and the planform of its fins.

Stations are metres aft of the front of the stack (the nose tip). Nothing here knows of mass or air.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from sixdof.mission.tables import Fins, Nose, Stage, Transition, Tube
from sixdof.vehicle.profiles import nose_radius

ELLIPSE_POINTS = 721  # a quarter of a degree: the polygon's area is 3e-6 short of the ellipse
QUADRATURE_ORDER = 96  # reaches rounding for every profile here, see `Segment.quadrature`


# ---------------------------------------------------------------- bodies of revolution


@dataclass(frozen=True)
class Segment:
    """One body of revolution between the stations x0 and x1, of radius r0 at its fore and r1 at its aft end (m)."""

    part: Nose | Tube | Transition
    x0: float
    x1: float
    r0: float
    r1: float

    @property
    def length(self) -> float:
        """Length along the axis, m."""
        return self.x1 - self.x0

    def radius(self, x) -> np.ndarray:
        """Return the outer radius (m) at the absolute stations `x` (m), the end values held outside."""
        share = np.clip((np.asarray(x, dtype=float) - self.x0) / self.length, 0.0, 1.0)
        if isinstance(self.part, Nose):
            return nose_radius(self.part, share)
        return self.r0 + (self.r1 - self.r0) * share

    def quadrature(self, fore: float | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Return stations and weights (n,), m: sum(w f(x)) is the integral of f from `fore` (default x0) to x1.

        A nose is taken in x = x0 + L sin^2(pi s^3/2), which makes every profile's end (square roots, powers, the
        3/2-power of the Haack family at its base) smooth in s; then Gauss-Legendre converges to rounding.
        """
        node, weight = _legendre()
        start = 0.0 if fore is None else min(max((fore - self.x0) / self.length, 0.0), 1.0)
        if not isinstance(self.part, Nose):
            share = start + (1.0 - start) * node
            return self.x0 + self.length * share, self.length * (1.0 - start) * weight
        s0 = (2.0 / math.pi * math.asin(math.sqrt(start))) ** (1.0 / 3.0)
        s = s0 + (1.0 - s0) * node
        angle = 0.5 * math.pi * s**3
        slope = 1.5 * math.pi * s**2 * np.sin(2.0 * angle)
        return self.x0 + self.length * np.sin(angle) ** 2, self.length * (1.0 - s0) * weight * slope


@cache
def _legendre() -> tuple[np.ndarray, np.ndarray]:
    """Return Gauss-Legendre nodes and weights on 0..1."""
    node, weight = np.polynomial.legendre.leggauss(QUADRATURE_ORDER)
    return 0.5 * (node + 1.0), 0.5 * weight


# ---------------------------------------------------------------- fins


@dataclass(frozen=True)
class FinSet:
    """A set of equal fins on the body. Lengths in m, area of one exposed panel in m^2.

    points : (k, 2) outline, x aft of the root's leading edge, y out from the body's surface; from the root's leading to
        its trailing edge. On a cone the root follows the surface and y counts from it at every x.
    body_radius : the body's at the station of the panel's area centroid (or the root's end nearest to it), so that
        body_radius + y_mac is the centroid's distance from the axis, on a cone too.
    mac, x_mac_le : mean aerodynamic chord int c^2 dy/area, and how far its leading edge stands aft of the root's,
        int c x_le dy/area; y_mac : distance of the area's centroid from the root.
    midchord_sweep : rad; of the line from mid-root to mid-tip of a trapezoid, else of the area-weighted least-squares
        line through the chords' midpoints.
    """

    part: Fins
    stage: int
    x0: float
    body_radius: float
    points: np.ndarray
    area: float
    root_chord: float
    span: float
    mean_chord: float
    aspect_ratio: float
    mac: float
    y_mac: float
    x_mac_le: float
    midchord_sweep: float

    def chord(self, y) -> np.ndarray:
        """Return the chord (m) at distances `y` (m) from the root, the end values held outside 0..span."""
        return strips(self.points, y)[1]

    def leading_edge(self, y) -> np.ndarray:
        """Return how far (m) the leading edge stands aft of the root's at distances `y` (m) from the root."""
        return strips(self.points, y)[0]

    def angles(self) -> np.ndarray:
        """Return the panels' angles (rad), clockwise from body +z seen from behind: see `outward`."""
        return ring_angles(self.part.count, self.part.clocking)


def ring_angles(count: int, phase: float) -> np.ndarray:
    """Return `count` angles (rad) evenly around the axis, the first at `phase`."""
    return phase + 2.0 * math.pi / count * np.arange(count)


def outward(angle) -> tuple[np.ndarray, np.ndarray]:
    """Return the body y and z components of the unit vector at `angle` (rad), clockwise from +z seen from behind.

    Seen from behind y is right and z is down, so clockwise is the positive sense about x and takes z towards -y.
    """
    return -np.sin(angle), np.cos(angle)


def fin_outline(part: Fins) -> np.ndarray:
    """Return the outline (k, 2) of one panel: x aft of the root's leading edge, y out from the body, m."""
    if part.outline == "ellipse":
        turn = np.linspace(0.0, math.pi, ELLIPSE_POINTS)
        points = np.column_stack([0.5 * part.root_chord * (1.0 - np.cos(turn)), part.semispan * np.sin(turn)])
        points[-1, 1] = 0.0
        return points
    if part.outline == "trapezoid":
        tip = [(part.tip_offset, part.semispan), (part.tip_offset + part.tip_chord, part.semispan)]
        return np.array([(0.0, 0.0), *(tip if part.tip_chord > 0.0 else tip[:1]), (part.root_chord, 0.0)])
    return np.array(part.points, dtype=float)


def polygon_area(points: np.ndarray) -> tuple[float, float, float]:
    """Return area (m^2, positive) and centroid (m, m) of the polygon `points` (k, 2)."""
    x, y = points.T
    ahead = np.roll(points, -1, axis=0).T
    cross = x * ahead[1] - ahead[0] * y
    area = 0.5 * cross.sum()
    centroid = ((x + ahead[0]) * cross).sum(), ((y + ahead[1]) * cross).sum()
    return abs(area), centroid[0] / (6.0 * area), centroid[1] / (6.0 * area)


def strips(points: np.ndarray, y) -> tuple[np.ndarray, np.ndarray]:
    """Return the foremost x and the total chord of the polygon `points` along lines of constant `y`."""
    wanted = np.asarray(y, dtype=float)
    level = np.clip(wanted.ravel(), 0.0, points[:, 1].max() * (1.0 - 1e-12))[:, None]
    x0, y0 = points.T
    x1, y1 = np.roll(points, -1, axis=0).T
    crossed = (np.minimum(y0, y1) <= level) & (level < np.maximum(y0, y1))
    rise = np.where(y1 == y0, 1.0, y1 - y0)
    at = x0 + (x1 - x0) * (level - y0) / rise
    # every strip enters and leaves the polygon in turn, and the crossed edges rise and fall in turn with it
    chord = np.abs((np.where(crossed, at, 0.0) * np.sign(y1 - y0)).sum(axis=1))
    return np.where(crossed, at, np.inf).min(axis=1).reshape(wanted.shape), chord.reshape(wanted.shape)


def _fin_set(part: Fins, stage: int, x0: float, radius: Callable) -> FinSet:
    points = fin_outline(part)
    area, x_area, y_mac = polygon_area(points)
    root, span = float(points[-1, 0]), float(points[:, 1].max())
    y, weight = _between(np.unique(points[:, 1]))
    edge, chord = strips(points, y)
    middle = edge + 0.5 * chord
    if part.outline == "trapezoid":
        slope = (part.tip_offset + 0.5 * part.tip_chord - 0.5 * root) / span
    else:
        share = weight * chord / np.sum(weight * chord)
        off_y, off_x = y - np.sum(share * y), middle - np.sum(share * middle)
        slope = np.sum(share * off_y * off_x) / np.sum(share * off_y**2)
    return FinSet(
        part=part,
        stage=stage,
        x0=x0,
        body_radius=float(radius(x0 + min(max(x_area, 0.0), root))),
        points=points,
        area=float(area),
        root_chord=root,
        span=span,
        mean_chord=float(area / span),
        aspect_ratio=float(2.0 * span**2 / area),
        mac=float(np.sum(weight * chord**2) / area),
        y_mac=float(y_mac),
        x_mac_le=float(np.sum(weight * chord * edge) / area),
        midchord_sweep=math.atan(slope),
    )


def _between(levels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return two Gauss points and weights in every gap of `levels`: exact for cubics, and chords are straight there."""
    gap = np.diff(levels)[:, None]
    node = levels[:-1, None] + gap * (0.5 + np.array([-0.5, 0.5]) / math.sqrt(3.0))
    return node.ravel(), np.broadcast_to(0.5 * gap, node.shape).ravel()


# ---------------------------------------------------------------- the stack


@dataclass(frozen=True)
class Shape:
    """The outside of a stack of stages. `diameter` is the largest (m), `area` = pi d^2/4 (m^2) the reference area.

    stage_x0 : station of each stage's fore end, m; the first is 0.
    """

    segments: tuple[Segment, ...]
    fins: tuple[FinSet, ...]
    length: float
    diameter: float
    area: float
    stage_x0: tuple[float, ...]

    def radius(self, x) -> np.ndarray:
        """Return the body's outer radius (m) at stations `x` (m): 0 off the body, the aft part's at a step."""
        return _body_radius(self.segments, x)


def _body_radius(segments: Sequence[Segment], x) -> np.ndarray:
    station = np.asarray(x, dtype=float)
    radius = np.zeros(station.shape)
    for segment in segments:
        here = (station >= segment.x0) & (station <= segment.x1)
        radius = np.where(here, segment.radius(station), radius)
    return radius


def stage_segments(stage: Stage, fore: float = 0.0) -> tuple[Segment, ...]:
    """Return the bodies of revolution of one stage whose fore end stands at station `fore` (m)."""
    segments = []
    for part in stage.part:
        if not isinstance(part, (Nose, Tube, Transition)):
            continue
        if isinstance(part, Nose):
            r0, r1 = float(nose_radius(part, 0.0)), 0.5 * part.diameter
        elif isinstance(part, Tube):
            r0 = r1 = 0.5 * part.diameter
        else:
            r0, r1 = 0.5 * part.fore_diameter, 0.5 * part.aft_diameter
        segments.append(Segment(part, fore, fore + part.length, r0, r1))
        fore += part.length
    if not segments:
        raise ValueError(f'stage "{stage.name}" has no body: give it a nose, tube or transition')
    return tuple(segments)


def shape_of(stages: Sequence[Stage]) -> Shape:
    """Return the outside of `stages` stacked front first (one stage is a stack of one).

    Raises
    ------
    ValueError
        If a stage has no body, or an ogive is shorter than half its diameter.
    """
    segments: list[Segment] = []
    starts: list[float] = []
    for stage in stages:
        starts.append(segments[-1].x1 if segments else 0.0)
        segments.extend(stage_segments(stage, starts[-1]))
    length = segments[-1].x1

    def radius(x):
        return _body_radius(segments, min(max(x, 0.0), length))

    fins = tuple(
        _fin_set(part, number, starts[number] + part.station, radius) for number, stage in enumerate(stages) for part in stage.part if isinstance(part, Fins)
    )
    diameter = 2.0 * max(max(segment.r0, segment.r1) for segment in segments)
    return Shape(tuple(segments), fins, length, diameter, 0.25 * math.pi * diameter**2, tuple(starts))


def planform(shape: Shape) -> tuple[float, float, float]:
    """Return the body's planform area and its first and second moment about the nose tip (m^2, m^3, m^4), no fins."""
    moments = np.zeros(3)
    for segment in shape.segments:
        x, weight = segment.quadrature()
        width = 2.0 * segment.radius(x)
        moments += [np.sum(weight * width * x**power) for power in range(3)]
    return float(moments[0]), float(moments[1]), float(moments[2])

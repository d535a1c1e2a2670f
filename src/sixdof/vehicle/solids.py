"""Mass, centre and inertia of the simple solids a vehicle is made of, and how they add up.

A `Lump` holds a place as (station, y, z): the station counts AFT, y, z are body coordinates off the axis. Inertia
tensors are in body axes, x FORWARD, so the way from one lump to another is (-(difference of stations), dy, dz);
only `offset` turns one into the other. Off-diagonal elements stand as they do in the tensor, J_xy = -sum m x y.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from sixdof.mission.tables import Nose
from sixdof.vehicle.geometry import Segment, outward, polygon_area


class Lump(NamedTuple):
    """A rigid body: mass (kg), place of its centre (station, y, z) in m, inertia (3, 3) about its centre in kg m^2."""

    mass: float
    place: np.ndarray
    inertia: np.ndarray


NOTHING = Lump(0.0, np.zeros(3), np.zeros((3, 3)))


class Round(NamedTuple):
    """A body of revolution of density 1: volume (m^3), centroid aft of its fore end (m), inertia about it (m^5)."""

    volume: float
    centroid: float
    roll: float
    transverse: float


# ---------------------------------------------------------------- adding up


def offset(place, origin) -> np.ndarray:
    """Return the vector from `origin` to `place`, both (..., 3): (station, y, z), in body axes (x forward)."""
    return (np.asarray(place) - np.asarray(origin)) * np.array([-1.0, 1.0, 1.0])


def parallel_axis(mass, distance) -> np.ndarray:
    """Return the tensor m (|d|^2 E - d d^T), (..., 3, 3), of a point mass (...) at `distance` (..., 3), m, body axes."""
    d = np.asarray(distance, dtype=float)
    square = np.sum(d * d, axis=-1)[..., None, None]
    return np.asarray(mass)[..., None, None] * (square * np.eye(3) - d[..., :, None] * d[..., None, :])


def combine(lumps: Iterable[Lump]) -> Lump:
    """Return the lumps as one body, its inertia about the common centre."""
    held = [lump for lump in lumps if lump.mass > 0.0]
    if not held:
        return NOTHING
    masses, places = np.array([lump.mass for lump in held]), np.array([lump.place for lump in held])
    mass = float(masses.sum())
    place = masses @ places / mass
    # all lumps at once, for a flight does this at every separation
    inertia = sum(lump.inertia for lump in held) + parallel_axis(masses, offset(places, place)).sum(axis=0)
    return Lump(mass, place, inertia)


def on_axis(mass: float, station: float, roll: float, transverse: float) -> Lump:
    """Return an axisymmetric lump on the body axis: inertias in kg m^2."""
    return Lump(mass, np.array([station, 0.0, 0.0]), np.diag([roll, transverse, transverse]))


# ---------------------------------------------------------------- bodies of revolution


def revolution(segment: Segment, wall: float | None = None) -> Round:
    """Return volume, centroid and inertia of a body of revolution of density 1.

    wall : thickness measured normal to the AXIS, m; the hollow has the radius r - wall, and there is none where that
        is negative. None means solid. Ends are open: no base plate, no bulkhead.
    """
    moments = _curved(segment, 0.0, None) if _is_curved(segment) else _frustum(segment.length, segment.r0, segment.r1)
    if wall is not None:
        moments = moments - _hollow(segment, wall)
    volume, first, second, fourth = moments
    centroid = first / volume
    return Round(volume, centroid, 0.5 * fourth, 0.25 * fourth + second - volume * centroid**2)


def _is_curved(segment: Segment) -> bool:
    return isinstance(segment.part, Nose) and segment.part.shape != "cone"


def _hollow(segment: Segment, wall: float) -> np.ndarray:
    """Return the moments of the space inside a wall, about the segment's fore end."""
    r0, r1 = segment.r0 - wall, segment.r1 - wall
    if max(r0, r1) <= 0.0:
        return np.zeros(4)
    if _is_curved(segment):
        return _curved(segment, wall, _station_of_radius(segment, wall) if r0 < 0.0 else None)
    if r0 >= 0.0 and r1 >= 0.0:
        return _frustum(segment.length, r0, r1)
    closed = segment.length * abs(min(r0, r1)) / abs(r1 - r0)  # length of the solid part at the thin end
    if r1 < 0.0:
        return _frustum(segment.length - closed, r0, 0.0)
    return _moved(_frustum(segment.length - closed, 0.0, r1), closed)


def _frustum(length: float, r0: float, r1: float) -> np.ndarray:
    """Return pi times the integrals of r^2, r^2 x, r^2 x^2 and r^4 of a straight-sided body, x from its fore end."""
    return math.pi * np.array(
        [
            length * (r0**2 + r0 * r1 + r1**2) / 3.0,
            length**2 * (r0**2 + 2.0 * r0 * r1 + 3.0 * r1**2) / 12.0,
            length**3 * (r0**2 + 3.0 * r0 * r1 + 6.0 * r1**2) / 30.0,
            length * (r0**4 + r0**3 * r1 + r0**2 * r1**2 + r0 * r1**3 + r1**4) / 5.0,
        ]
    )


def _moved(moments: np.ndarray, by: float) -> np.ndarray:
    """Return the moments with the body moved aft by `by`."""
    volume, first, second, fourth = moments
    return np.array([volume, first + by * volume, second + 2.0 * by * first + by**2 * volume, fourth])


def _curved(segment: Segment, less: float, fore: float | None) -> np.ndarray:
    """Return the moments of a curved profile reduced by `less`, from station `fore` on, by quadrature."""
    x, weight = segment.quadrature(fore)
    radius, aft = segment.radius(x) - less, x - segment.x0
    weight = math.pi * weight * radius**2
    return np.array([weight.sum(), weight @ aft, weight @ aft**2, weight @ radius**2])


def _station_of_radius(segment: Segment, radius: float) -> float:
    """Return the station where a profile that only widens reaches `radius`, by bisection to rounding."""
    low, high = segment.x0, segment.x1
    while True:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            return middle
        if segment.radius(middle) < radius:
            low = middle
        else:
            high = middle


def cylinder(mass: float, length: float, outer: float, inner: float = 0.0) -> tuple[float, float]:
    """Return roll and transverse inertia (kg m^2) of a tube of radii `outer` and `inner` (m) about its centre."""
    squares = outer**2 + inner**2
    return 0.5 * mass * squares, mass * (3.0 * squares + length**2) / 12.0


# ---------------------------------------------------------------- fins


def plate(points: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Return area (m^2), centroid (2,) (m) and second moments int p p^T dA about it (2, 2) of a polygon (k, 2)."""
    area, *centroid = polygon_area(points)
    near = points - centroid
    ahead = np.roll(near, -1, axis=0)
    cross = near[:, 0] * ahead[:, 1] - ahead[:, 0] * near[:, 1]
    both = near + ahead
    second = np.einsum("k,ki,kj->ij", cross, near, near) + np.einsum("k,ki,kj->ij", cross, ahead, ahead)
    second = (second + np.einsum("k,ki,kj->ij", cross, both, both)) / 24.0
    return area, np.array(centroid), second * np.sign(cross.sum())


def fin_panel(mass: float, points: np.ndarray, thickness: float, x0: float, body_radius: float, angle: float) -> Lump:
    """Return one fin: a plate of even thickness standing on the body at `angle` (rad, clockwise from +z from behind).

    points : (k, 2) outline, x aft of the root's leading edge at station `x0`, y out from `body_radius` (m).
    """
    area, centroid, second = plate(points)
    spread = np.zeros((3, 3))  # int p p^T dm / m in the panel's axes: forward, outward, normal
    spread[:2, :2] = second / area * np.array([[1.0, -1.0], [-1.0, 1.0]])
    spread[2, 2] = thickness**2 / 12.0
    y, z = outward(angle)
    axes = np.array([[1.0, 0.0, 0.0], [0.0, y, -z], [0.0, z, y]])  # columns: forward, outward, forward x outward
    inertia = mass * axes @ (np.trace(spread) * np.eye(3) - spread) @ axes.T
    out = body_radius + centroid[1]
    return Lump(mass, np.array([x0 + centroid[0], out * y, out * z]), inertia)


# ---------------------------------------------------------------- propellant


def grain_inertia(mass: float, length: float, outer: float, bore: float) -> tuple[float, float, float, float]:
    """Return A, B of roll = A f + B f^2 and A, B of pitch = A f + B f^2 (kg m^2), f the unburnt fraction.

    A cylinder of fixed outer radius burns from its bore outwards at constant length: with D = Ro^2 - Ri0^2 the bore is
    Ri^2 = Ro^2 - D f and the mass m f, which put into m (Ro^2 + Ri^2)/2 and m (3 (Ro^2 + Ri^2) + L^2)/12 gives both.
    outer, bore : radii of the full grain, m.
    """
    web = outer**2 - bore**2
    return mass * outer**2, -0.5 * mass * web, mass * (6.0 * outer**2 + length**2) / 12.0, -0.25 * mass * web

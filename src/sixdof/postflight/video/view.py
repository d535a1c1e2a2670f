"""A pinhole camera as geometry: places to pixels and back, and what an error of its place, pointing or lens does to a sight.

Frames. World: east, north, up at the launch point, m. Camera: x to the right in the picture, y down in it, z forward along the optical axis, from
the lens's centre. Pixels count right and down from the picture's upper left corner; the axis meets the picture at `centre`. Pointing: the axis has
a bearing b (from north over east) and an elevation e; with no roll the camera's x is level. Roll turns the camera about its axis, positive
clockwise as its user sees it (its right side goes down):

    forward = (sin b cos e, cos b cos e, sin e)
    level = (cos b, -sin b, 0), below = forward x level
    x = level cos(roll) + below sin(roll), y = -level sin(roll) + below cos(roll)

A place at (X, Y, Z) in camera axes, Z > 0, is seen at x = X/Z, y = Y/Z of the plane one focal length away, drawn outwards by the lens's radial
distortion to x (1 + k1 r^2 + k2 r^4), r^2 = x^2 + y^2 (D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37, 1971), and at
the pixel centre + focal x. Closed forms throughout but the distortion backwards, which is Newton's rule on one number.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

# what a camera may be wrong by: small turns about its own axes (rad), its place (m), a share of its focal length
ERRORS = ("turn_x", "turn_y", "turn_z", "east", "north", "height", "focal")
NEWTON = 25  # rounds of the distortion backwards: each doubles the digits
SLOPE = 0.05  # d(drawn)/d(true) of the distortion below which the picture folds over


class View(NamedTuple):
    """A camera. rotation : rows are its axes x, y, z in world axes, (3, 3). place : m, (3,). focal : px. centre, size : px, (2,). k1, k2 : distortion.

    covariance : of ERRORS, (7, 7).
    """

    rotation: np.ndarray
    place: np.ndarray
    focal: float
    centre: np.ndarray
    size: np.ndarray
    k1: float
    k2: float
    covariance: np.ndarray


def rotation_of(bearing: float, elevation: float, roll: float) -> np.ndarray:
    """Return the camera's axes x, y, z as rows, in world axes, (3, 3), for a pointing (rad) as the module says."""
    b, e = bearing, elevation
    forward = np.array([math.sin(b) * math.cos(e), math.cos(b) * math.cos(e), math.sin(e)])
    level = np.array([math.cos(b), -math.sin(b), 0.0])
    below = np.cross(forward, level)
    return np.array([level * math.cos(roll) + below * math.sin(roll), -level * math.sin(roll) + below * math.cos(roll), forward])


def pointing_of(rotation: np.ndarray) -> tuple[float, float, float]:
    """Return bearing (0 to 2 pi), elevation and roll, rad, of a camera's axes: the inverse of `rotation_of`. Straight up or down the roll is 0."""
    x, y, forward = rotation
    elevation = math.asin(min(max(float(forward[2]), -1.0), 1.0))
    if math.hypot(forward[0], forward[1]) < 1e-12:
        bearing = math.atan2(-float(x[1]), float(x[0]))
        return bearing % (2.0 * math.pi), elevation, 0.0
    bearing = math.atan2(float(forward[0]), float(forward[1]))
    return bearing % (2.0 * math.pi), elevation, math.atan2(-float(x[2]), -float(y[2]))


def turned(rotation: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Return axes turned by a rotation vector (rad) about themselves (O. Rodrigues, 1840)."""
    angle = float(np.linalg.norm(turn))
    cross = np.array([[0.0, -turn[2], turn[1]], [turn[2], 0.0, -turn[0]], [-turn[1], turn[0], 0.0]])
    first, second = (1.0, 0.5) if angle < 1e-8 else (math.sin(angle) / angle, (1.0 - math.cos(angle)) / angle**2)
    return (np.eye(3) + first * cross + second * cross @ cross).T @ rotation


def moved(view: View, by: np.ndarray) -> View:
    """Return a camera that is otherwise by `by` of ERRORS, (7,)."""
    return view._replace(rotation=turned(view.rotation, by[:3]), place=view.place + by[3:6], focal=view.focal * math.exp(by[6]))


# ---------------------------------------------------------------- there


def project(view: View, places: np.ndarray) -> np.ndarray:
    """Return the pixels (..., 2) of places (..., 3), m. NaN behind the camera and where the lens's polynomial has folded over."""
    return seen_along(view, np.asarray(places, dtype=float) - view.place)


def seen_along(view: View, ways: np.ndarray) -> np.ndarray:
    """Return the pixels (..., 2) of directions of any length (..., 3), world axes; NaN behind the camera and beyond the fold of the distortion."""
    at = ways @ view.rotation.T
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = np.where(at[..., 2:] > 0.0, at[..., :2] / at[..., 2:], np.nan)
    r2 = np.sum(flat**2, axis=-1, keepdims=True)
    flat = np.where(_never_folds(view, r2), flat * (1.0 + view.k1 * r2 + view.k2 * r2**2), np.nan)
    return view.centre + view.focal * flat


def _never_folds(view: View, r2: np.ndarray) -> np.ndarray:
    """Return where the distortion still grows with the distance from the centre, everywhere up to there."""
    if not (view.k1 or view.k2):
        return np.full(r2.shape, True)
    grid = np.linspace(0.0, 4.0, 401) ** 2
    slope = 1.0 + 3.0 * view.k1 * grid + 5.0 * view.k2 * grid**2
    bad = grid[slope < SLOPE]
    return r2 < (bad[0] if bad.size else math.inf)


def in_picture(view: View, pixels: np.ndarray) -> np.ndarray:
    """Return which pixels (..., 2) lie within the picture."""
    with np.errstate(invalid="ignore"):
        return ((pixels >= 0.0) & (pixels <= view.size)).all(axis=-1)


# ---------------------------------------------------------------- and back


def flattened(view: View, pixels: np.ndarray) -> np.ndarray:
    """Return x, y (..., 2) of pixels in the plane one focal length away, without distortion; NaN where no place is seen so far out."""
    drawn = (np.asarray(pixels, dtype=float) - view.centre) / view.focal
    if not (view.k1 or view.k2):
        return drawn
    radius = np.linalg.norm(drawn, axis=-1, keepdims=True)
    true = radius.copy()
    for _ in range(NEWTON):
        slope = 1.0 + 3.0 * view.k1 * true**2 + 5.0 * view.k2 * true**4
        true = true - (true * (1.0 + view.k1 * true**2 + view.k2 * true**4) - radius) / np.maximum(slope, SLOPE)
    miss = np.abs(true * (1.0 + view.k1 * true**2 + view.k2 * true**4) - radius)
    found = (miss < 1e-9 * (1.0 + radius)) & (true >= 0.0) & _never_folds(view, true**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(found, drawn * np.where(radius > 0.0, true / radius, 1.0), np.nan)


def sights(view: View, pixels: np.ndarray) -> np.ndarray:
    """Return the unit vectors (..., 3), world axes, along which pixels (..., 2) look."""
    flat = flattened(view, pixels)
    way = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1)
    return (way / np.linalg.norm(way, axis=-1, keepdims=True)) @ view.rotation


def sight_slopes(view: View, pixels: np.ndarray) -> np.ndarray:
    """Return d(sight)/d(pixel), (..., 3, 2), 1/px: the error of a reading turned into that of a direction. Closed form."""
    flat = flattened(view, pixels)
    r2 = np.sum(flat**2, axis=-1)[..., None, None]
    outer = flat[..., :, None] * flat[..., None, :]
    lens = np.eye(2) * (1.0 + view.k1 * r2 + view.k2 * r2**2) + outer * (2.0 * view.k1 + 4.0 * view.k2 * r2)
    back = np.linalg.inv(np.where(np.isfinite(lens), lens, np.eye(2))) / view.focal  # d(flat)/d(pixel)
    way = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1)
    long = np.linalg.norm(way, axis=-1)[..., None, None]
    unit = way[..., :, None] / long
    of_flat = (np.eye(3)[:, :2] - unit * np.swapaxes(unit[..., :2, :], -1, -2)) / long
    return view.rotation.T @ (of_flat @ back)


def angles_of(sight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return bearing (0 to 2 pi) and elevation, rad, of directions (..., 3) of any length."""
    return np.arctan2(sight[..., 0], sight[..., 1]) % (2.0 * np.pi), np.arctan2(sight[..., 2], np.hypot(sight[..., 0], sight[..., 1]))


def across(sight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return, of unit sights (..., 3), the level direction to the right and the plumb line as seen, upwards: unit vectors square to the sight and each
    other."""
    level = np.stack([sight[..., 1], -sight[..., 0], np.zeros(sight.shape[:-1])], axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        right = level / np.linalg.norm(level, axis=-1, keepdims=True)
    return right, np.cross(right, sight)

"""Which frames can tell an incidence at all: what a true angle between body and path looks like from where the camera stands.

Let g be the angle between the line of sight and the path. A body at a true angle a from its path lies on a cone about it; seen along the sight, the
widest it can appear to stand off the path is A with

    sin A = sin a/sin g            (the plane of the sight that touches the cone: a right spherical triangle)

for a < g; for a > g it may appear at any angle. Nearly under the camera g is small and the picture exaggerates: a true 0.6 deg looks like 10 deg where
sin g = sin 0.6 deg/sin 10 deg, g = 3.5 deg. Which plane the body's angle lies in (its azimuth about the path) one camera cannot tell: a body that
stands off in the plane of the sight shows nothing of it. So an apparent angle A gives a least true one, asin(sin g sin|A|), and no largest one; were all
planes equally likely, the share q of them holds less than that over sin((1 - q) 90 deg).

The error of A grows as 1/sin g too, for the body looks shorter by sin g: in true angles it is the pixel's error over the body's full length, the same
from everywhere. What is lost nearly under the camera is the factor: 1/sin g has the error cos g/sin^2 g of that of g.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.stats import norm

SEEN = 2.0  # standard deviations that a reading must be away from none
FACTOR_KNOWN = 1.0 / 3.0  # relative error of the amplification up to which a size can be told (this project's choice)
SIDE_KNOWN = np.radians(30.0)  # error of the apparent angle beyond which not even the side is told (this project's choice)
USABLE, SIGN, NOTHING = "usable", "only its sign", "tells nothing"


class Told(NamedTuple):
    """Of every frame, (n,), rad but `amplification` and `verdict`; see the module."""

    to_path: np.ndarray  # g
    to_path_error: np.ndarray
    amplification: np.ndarray  # 1/sin g
    amplification_error: np.ndarray
    seen: np.ndarray  # asin(sin g sin|A|): the part of the incidence that is square to the sight
    seen_error: np.ndarray
    least: np.ndarray  # true incidence, with so many standard deviations of A and of g that it holds for all frames together
    most: np.ndarray  # the same for the share of planes asked for
    detectable: np.ndarray  # a true incidence square to the sight would have to be as large as this to be seen
    verdict: np.ndarray


def steepest(sight: np.ndarray, right: np.ndarray, plumb: np.ndarray, angle: np.ndarray) -> np.ndarray:
    """Return the directions nearest to the vertical, (n, 3), of all that appear at an angle (n,), rad, from the plumb line as seen.

    They all lie in the plane of the sight and of what is seen of them; the vertical's own projection into it is the nearest.
    """
    seen = right * np.sin(angle)[:, None] + plumb * np.cos(angle)[:, None]
    up = sight * sight[:, 2:] + seen * seen[:, 2:]
    up = up * np.where(seen[:, 2:] < 0.0, -1.0, 1.0)  # of a fall: along what is seen, not against it
    with np.errstate(divide="ignore", invalid="ignore"):
        return up / np.linalg.norm(up, axis=1, keepdims=True)


def least_lean(elevation: np.ndarray, apparent: np.ndarray) -> np.ndarray:
    """Return the least true angle from the vertical, signed as what is seen, that appears so: asin(cos(elevation) sin(apparent)), rad."""
    return np.arcsin(np.cos(elevation) * np.sin(apparent))


def least_lean_sure(elevation: np.ndarray, apparent: np.ndarray, error: np.ndarray, sure: float) -> np.ndarray:
    """Return the least true angle from the vertical that appears within `sure` standard deviations of what was read, rad, not signed."""
    low, high = np.abs(apparent) - sure * error, np.abs(apparent) + sure * error
    nearest = np.where((low > 0.0) & (high < np.pi), np.minimum(np.sin(low), np.sin(high)), 0.0)
    return np.arcsin(np.cos(elevation) * np.where(np.isfinite(low), nearest, np.nan))


def standard_deviations(frames: int) -> float:
    """Return how many standard deviations a reading of many frames may err by, that none of them does so by chance in 95 % of cases (C. E. Bonferroni)."""
    return float(norm.isf(0.025 / max(frames, 1)))


def apparent_most(true, to_path):
    """Return the widest that a true angle from the path can appear, rad; a right angle and more (pi) where the sight lies within the cone."""
    ratio = np.sin(true) / np.sin(to_path)
    return np.where(ratio < 1.0, np.arcsin(np.minimum(ratio, 1.0)), np.pi)


def apparent_of(true, azimuth, to_path):
    """Return how a body appears to stand off its path, rad: at a true angle from it, in a plane turned by `azimuth` from that of sight and path.

    azimuth 0: its nose is tilted to where the sight goes on, away from the camera; pi/2: square to the sight. All in rad, arrays broadcast.
    """
    along = np.cos(true) * np.sin(to_path) - np.sin(true) * np.cos(azimuth) * np.cos(to_path)
    return np.arctan2(np.sin(true) * np.sin(azimuth), along)


def told(apparent, apparent_error, sight: np.ndarray, way: np.ndarray, way_error: float, wanted: float, share: float, sure: float = SEEN) -> Told:
    """Return what frames tell of an incidence.

    apparent, apparent_error : (n,) rad. sight, way : unit vectors of the sight and of the path, (n, 3). way_error : standard deviation of the path's
    direction in the plane of the two, rad. wanted : true incidence that a frame should show, rad. share : of the planes that `most` covers.
    sure : standard deviations that the bounds allow for.
    """
    cosine = np.clip(np.einsum("ni,ni->n", sight, way), -1.0, 1.0)
    to_path, size = np.arccos(cosine), np.abs(apparent)
    sine = np.sin(to_path)
    with np.errstate(divide="ignore", invalid="ignore"):
        grows, grows_error = 1.0 / sine, np.abs(cosine) / sine**2 * way_error
        seen = _true(size, sine)
        of_angle = np.hypot(sine * np.cos(size) * apparent_error, np.sqrt(0.5) * sine * np.sin(size) * apparent_error**2)
        seen_error = np.hypot(of_angle, np.sin(size) * np.abs(cosine) * way_error) / np.maximum(np.cos(seen), 1e-2)
        seen_error = np.minimum(seen_error, 0.5 * np.pi)
        aside = np.minimum(to_path, np.pi - to_path)
        low, high = np.sin(np.maximum(aside - sure * way_error, 0.0)), np.sin(np.minimum(aside + sure * way_error, 0.5 * np.pi))
        least = _true(np.maximum(size - sure * apparent_error, 0.0), low)
        covered = np.sin(0.5 * np.pi * (1.0 - share))
        most = np.arcsin(np.minimum(np.sin(_true(np.minimum(size + sure * apparent_error, np.maximum(size, 0.5 * np.pi)), high)) / covered, 1.0))
        detectable = np.arcsin(sine * np.sin(np.minimum(SEEN * apparent_error, 0.5 * np.pi)))
    side = (apparent_error < SIDE_KNOWN) & (detectable <= wanted)
    verdict = np.where(side & (grows_error <= FACTOR_KNOWN * grows), USABLE, np.where(side, SIGN, NOTHING))
    return Told(to_path, np.full(to_path.shape, way_error), grows, grows_error, seen, seen_error, least, most, detectable, verdict)


def _true(apparent: np.ndarray, sine: np.ndarray) -> np.ndarray:
    """Return the least true angle that appears so: beyond a right angle the sight lies within the cone, and the least is the sight's own angle."""
    return np.arcsin(sine * np.where(apparent <= 0.5 * np.pi, np.sin(apparent), 1.0))

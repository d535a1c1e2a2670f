"""Regions that hold a share of scattered places: circle, ellipse, contour of density. Arrays in, metres as given."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import f as f_distribution

from sixdof.study.uncertainty.statistics import Interval, check_share, known_values, quantile_interval

LEAST = 3  # places below this many have no ellipse: the factor divides by n - 2
KINDS = ("normal", "next", "mean")
_CELLS = 8.0  # cells of the density's grid to a kernel's standard deviation
_MOST_CELLS = 1500  # along a side; a far outlier makes the cells larger than the kernel asks for
_FLAT = 1e-6  # standard deviations below this part of the larger one, or of the coordinates' size, are rounding


class Region(NamedTuple):
    """What `containment_contour` found: closed polygons [(k, 2), ...] in m, anticlockwise around places and clockwise
    around holes; their area in m^2, holes taken off; the share of the places inside; flights used and dropped."""

    polygons: list[np.ndarray]
    area: float
    share: float
    used: int
    dropped: int


# ---------------------------------------------------------------- circles


def circular_error(east, north, share: float = 0.5, *, about: tuple[float, float] | None = None, confidence: float = 0.9) -> Interval:
    """Return the radius of the circle that holds `share` of the places, with its interval: 0.5 is the CEP, 0.95 the R95.

    The smallest circle with at least that share of the sample in it: an order statistic, no distribution assumed.

    Parameters
    ----------
    east, north : (flights,) m, NaN where a flight has no place
    about : (east, north) of the centre, the aim, m; None takes the mean place, and then the interval is approximate
        (the mean moves with the flights)
    confidence : of the interval between order statistics (see `quantile_interval`); high is inf for too few flights

    Raises
    ------
    ValueError
        Where no flight has a place, for a share or confidence outside 0..1 or a centre that is not two numbers.
    """
    check_share(share)
    known, _ = known_places(east, north, "circular_error")
    if not len(known):
        raise ValueError("circular_error needs at least one flight that came down, and none of these did")
    centre = known.mean(axis=0) if about is None else np.asarray(about, dtype=float)
    if centre.shape != (2,):
        raise ValueError(f"about = {about!r} must be two numbers, (east, north) in metres")
    distance = np.sort(np.hypot(*(known - centre).T))
    _, low, high = quantile_interval(distance, share, confidence)
    return Interval(float(distance[rank(share, len(known)) - 1]), max(low, 0.0), high)


def rank(share: float, n: int) -> int:
    """Return the number (1 .. n) of the order statistic at or below which at least `share` of n values lie."""
    return min(max(math.ceil(share * n - 1e-9), 1), n)  # 0.55 * 100 must not round up to 56


def normal_circular_error(covariance, bias=(0.0, 0.0), share: float = 0.5) -> float:
    """Return the exact radius about the aim, m, that holds `share` of a normal scatter: what `circular_error` tends to.

    covariance (2, 2) m^2, positive definite; bias (2,) m, mean place seen from the aim. The probability is integrated
    across the short axis in closed form and along the long one numerically, to a relative 1e-9 or so.
    """
    check_share(share)
    covariance, bias = np.asarray(covariance, dtype=float), np.asarray(bias, dtype=float)
    if covariance.shape != (2, 2) or bias.shape != (2,):
        raise ValueError("normal_circular_error takes a covariance of shape (2, 2) and a bias of two numbers")
    (minor2, major2), axes = np.linalg.eigh(covariance)
    if not minor2 > 0.0 or abs(covariance[0, 1] - covariance[1, 0]) > 1e-9 * major2:
        raise ValueError("normal_circular_error needs a symmetric covariance with scatter in every direction")
    off, sigmas = bias @ axes, np.sqrt([minor2, major2])
    # a circle about the aim that holds the one of radius k sigma_major about the mean holds enough
    most = math.hypot(*off) + sigmas[1] * math.sqrt(-2.0 * math.log1p(-share))
    return float(brentq(lambda r: _inside(r, off, sigmas) - share, 0.0, most * (1.0 + 1e-9), xtol=1e-12 * most, rtol=1e-11))


def _inside(radius: float, off, sigmas) -> float:
    """Return the probability within a radius of the origin; mean and deviations are given along (short, long) axis."""
    if radius <= 0.0:
        return 0.0

    def slice_at(angle):
        along, half = radius * math.sin(angle), radius * math.cos(angle)
        across = ndtr((half - off[0]) / sigmas[0]) - ndtr((-half - off[0]) / sigmas[0])
        z = (along - off[1]) / sigmas[1]
        return half * math.exp(-0.5 * z * z) * across

    ends = np.clip((off[1] + sigmas[1] * np.array([-9.0, -3.0, 0.0, 3.0, 9.0])) / radius, -1.0, 1.0)
    edge = math.sqrt(max(1.0 - (off[0] / radius) ** 2, 0.0))  # there the circle cuts the long axis of the scatter
    cuts = np.unique(np.arcsin(np.concatenate([ends, np.clip([-edge, edge], ends[0], ends[-1])])))
    parts = (quad(slice_at, a, b, epsabs=1e-11 * sigmas[1], epsrel=1e-9, limit=200)[0] for a, b in zip(cuts, cuts[1:]))
    return sum(parts) / (sigmas[1] * math.sqrt(2.0 * math.pi))


# ---------------------------------------------------------------- ellipse


def ellipse_factor(n: int, share: float, kind: str = "next") -> float:
    """Return how many sample standard deviations an ellipse reaches to hold what `kind` says with probability `share`.

    n : size of the bivariate normal sample that mean and covariance were estimated from, 3 or more.
    kind : "next" holds ONE new point, k^2 = 2 (n^2 - 1)/(n (n - 2)) F(share; 2, n - 2) (V. Chew, 1966, J. Am. Stat. Assoc.
        61, 605-617); "mean" the true mean, k^2 = 2 (n - 1)/(n (n - 2)) F (H. Hotelling, 1931, Ann. Math. Stat. 2,
        360-378); "normal" that share of a normal distribution with exactly this mean and covariance, k^2 = -2 ln(1 - share),
        which for few flights promises too much.
    """
    check_share(share)
    if kind not in KINDS:
        raise ValueError(f"kind = {kind!r} must be one of {', '.join(KINDS)}")
    if n < LEAST:
        raise ValueError(f"n = {n!r} must be {LEAST} or more: mean and covariance of fewer places say nothing")
    if kind == "normal":
        return math.sqrt(-2.0 * math.log1p(-share))
    scale = n * n - 1.0 if kind == "next" else n - 1.0
    return math.sqrt(2.0 * scale / (n * (n - 2.0)) * f_distribution.ppf(share, 2, n - 2))


def containment_ellipse(east, north, share: float = 0.95, kind: str = "next") -> xr.Dataset:
    """Return the ellipse that holds with probability `share` what `kind` says (see `ellipse_factor`), if places are normal.

    Places on one line, or all the same, make an ellipse without width, or a point.

    Parameters
    ----------
    east, north : (flights,) m, NaN where a flight has no place

    Returns
    -------
    Dataset
        Scalars centre_x, centre_y, semi_major, semi_minor (m), area (m^2), angle (rad, of the long axis from east towards
        north, in (-pi/2, pi/2]), sigma_major, sigma_minor (m), factor, and the counts `used` and `dropped` (no place).

    Raises
    ------
    ValueError
        For a share outside 0..1, an unknown kind or fewer than 3 places.
    """
    known, dropped = known_places(east, north, "containment_ellipse")
    check_share(share)
    _check_count(known, "containment_ellipse")
    factor = ellipse_factor(len(known), share, kind)
    centre, sigmas, axes = _principal(known)
    angle = math.atan2(axes[1, 0], axes[0, 0])
    if not -0.5 * math.pi < angle <= 0.5 * math.pi:
        angle -= math.copysign(math.pi, angle)
    rows = {
        "centre_x": (centre[0], "m", "centre, east"),
        "centre_y": (centre[1], "m", "centre, north"),
        "semi_major": (factor * sigmas[0], "m", "long semi-axis"),
        "semi_minor": (factor * sigmas[1], "m", "short semi-axis"),
        "area": (math.pi * factor**2 * sigmas[0] * sigmas[1], "m^2", "area of the ellipse"),
        "angle": (angle, "rad", "angle of the long axis from east towards north"),
        "sigma_major": (sigmas[0], "m", "standard deviation along the long axis"),
        "sigma_minor": (sigmas[1], "m", "standard deviation along the short axis"),
        "factor": (factor, "1", "semi-axis over standard deviation"),
        "used": (len(known), "1", "flights used"),
        "dropped": (dropped, "1", "flights without a place"),
    }
    entries = {name: ((), value, {"units": units, "long_name": text}) for name, (value, units, text) in rows.items()}
    return xr.Dataset(entries, attrs={"share": share, "kind": kind})


# ---------------------------------------------------------------- contour


def containment_contour(east, north, share: float = 0.95) -> Region:
    """Return the region of highest density that holds `share` of the places; no shape is assumed, it may be in pieces.

    Its border is the level of the kernel density that the share of the sample reaches (R. J. Hyndman, 1996, Am. Statistician
    50, 120-126). Gaussian kernels as wide as D. W. Scott's rule says, n^(-1/6) of the sample's covariance, on a grid along
    the principal axes: the time grows as n, so that a million flights take a second or so.

    Parameters
    ----------
    east, north : (flights,) m, NaN where a flight has no place

    Raises
    ------
    ValueError
        For a share outside 0..1, fewer than 3 places, or places that are all the same or on one line.
    """
    check_share(share)
    known, dropped = known_places(east, north, "containment_contour")
    _check_count(known, "containment_contour")
    centre, sigmas, axes = _principal(known)
    if sigmas[0] <= 1e-12 * max(np.abs(known).max(), 1e-3):
        raise ValueError("containment_contour needs places that differ, and these flights all came down at the same one")
    if sigmas[1] <= _FLAT * sigmas[0]:
        raise ValueError("containment_contour needs places that do not all lie on one line")
    x, y, density, at_places = _density((known - centre) @ axes / sigmas)
    level = np.sort(at_places)[::-1][rank(share, len(known)) - 1]
    from contourpy import LineType, contour_generator  # matplotlib's own; loaded when a contour is asked for

    lines = contour_generator(x, y, density, line_type=LineType.Separate).lines(level)
    polygons = [line * sigmas @ axes.T + centre for line in lines]
    return Region(polygons, sum(map(_area, polygons)), float(np.mean(at_places >= level)), len(known), dropped)


def _density(white: np.ndarray):
    """Return grid (x,), (y,), density (y, x) on it and at the places (n,), of places (n, 2) whose covariance is one.

    The scale of the density is left open. Places are shared out to the four grid points around them, linearly
    (M. C. Jones & H. W. Lotwick, 1984, Appl. Statist. 33, 120-122), and these spread by the kernel.
    """
    n = len(white)
    width = n ** (-1.0 / 6.0)
    # a place has at least its own kernel's peak; n kernels at the border, this far away, reach less: all contours close
    reach = width * (math.sqrt(2.0 * math.log(n)) + 0.5)
    span = np.ptp(white, axis=0) + 2.0 * reach
    step = np.maximum(width / _CELLS, span / _MOST_CELLS)
    first = white.min(axis=0) - np.maximum(reach, 2.0 * step)
    at = (white - first) / step
    shape = (at.max(axis=0) + np.maximum(reach / step, 2.0)).astype(int) + 2
    cell = at.astype(int)
    part = at - cell
    heap = np.zeros(shape[0] * shape[1])
    for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
        weight = np.abs(1 - i - part[:, 0]) * np.abs(1 - j - part[:, 1])
        heap += np.bincount((cell[:, 0] + i) * shape[1] + cell[:, 1] + j, weight, len(heap))
    density = gaussian_filter(heap.reshape(shape), width / step, mode="constant", truncate=6.0)
    x, y = (first[k] + step[k] * np.arange(shape[k]) for k in (0, 1))
    return x, y, density.T, map_coordinates(density, at.T, order=1)


def _area(polygon: np.ndarray) -> float:
    """Return the area inside a closed polygon (k, 2), positive where it runs anticlockwise."""
    x, y = (polygon - polygon[0]).T
    return 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


# ---------------------------------------------------------------- places


def known_places(east, north, who: str) -> tuple[np.ndarray, int]:
    """Return the places (n, 2) in m of the flights that have one, and how many flights were dropped."""
    east, north = np.asarray(east, dtype=float), np.asarray(north, dtype=float)
    if east.shape != north.shape or east.ndim != 1:
        raise ValueError(f"{who} takes east and north of the same flights, one number each, not {east.shape} and {north.shape}")
    has_place = ~(np.isnan(east) | np.isnan(north))
    kept = [known_values(coordinate[has_place], who)[0] for coordinate in (east, north)]
    return np.column_stack(kept), int(np.sum(~has_place))


def _principal(known: np.ndarray):
    """Return the mean (2,), standard deviations (long, short) and the axes as columns of a rotation (2, 2)."""
    (minor2, major2), axes = np.linalg.eigh(np.cov(known, rowvar=False))
    long = axes[:, 1]
    rotation = np.column_stack([long, (-long[1], long[0])])
    # a line of places may round below zero
    return known.mean(axis=0), np.sqrt([max(major2, 0.0), max(minor2, 0.0)]), rotation


def _check_count(known, who):
    if len(known) < LEAST:
        raise ValueError(f"{who} needs at least {LEAST} flights with a place, and this result has {len(known)}")

"""Where flights come down, in numbers: containment ellipse, density contours, radius of a circle."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.stats import f as f_distribution
from scipy.stats import gaussian_kde

from sixdof.study.reading import need_ensemble, outcomes

LEAST = 3  # places below this many have no ellipse: the factor divides by n - 2


def places(ds: xr.Dataset, who: str, x: str = "landing_east", y: str = "landing_north") -> tuple[np.ndarray, int]:
    """Return the places (n, 2) in m of the flights that have one, and how many flights were dropped."""
    need_ensemble(ds, who, x, y)
    both = np.column_stack([outcomes(ds, x), outcomes(ds, y)])
    known = both[np.isfinite(both).all(axis=1)]
    return known, len(both) - len(known)


def ellipse_factor(n: int, share: float) -> float:
    """Return how many sample standard deviations an ellipse reaches to hold ONE new point with probability `share`.

    n : size of the bivariate normal sample that mean and covariance were estimated from, 3 or more.
    V. Chew (1966), J. Am. Stat. Assoc. 61, 605-617: k^2 = 2 (n^2 - 1)/(n (n - 2)) F(share; 2, n - 2).
    """
    return math.sqrt(2.0 * (n * n - 1.0) / (n * (n - 2.0)) * f_distribution.ppf(share, 2, n - 2))


def containment(
    ds: xr.Dataset, share: float = 0.95, *, x: str = "landing_east", y: str = "landing_north"
) -> xr.Dataset:
    """Return the ellipse that holds one more flight's place with probability `share`, if places are bivariate normal.

    It is wider than the sample's own: mean and covariance are known only from these flights (see `ellipse_factor`).

    Returns
    -------
    Dataset
        Scalars centre_x, centre_y, semi_major, semi_minor (m), angle (rad, of the long axis from x towards y, in
        (-pi/2, pi/2]), sigma_major, sigma_minor (m), factor, and the counts `used` and `dropped` (no place).

    Raises
    ------
    ValueError
        For a share outside 0..1, fewer than 3 places, or a result that is no ensemble.
    """
    _check_share(share)
    known, dropped = places(ds, "containment", x, y)
    _check_count(known, "containment")
    (minor2, major2), axes = np.linalg.eigh(np.cov(known, rowvar=False))
    angle = math.atan2(axes[1, 1], axes[0, 1])
    if not -0.5 * math.pi < angle <= 0.5 * math.pi:
        angle -= math.copysign(math.pi, angle)
    sigmas = math.sqrt(max(major2, 0.0)), math.sqrt(max(minor2, 0.0))  # a line of places may round below zero
    factor = ellipse_factor(len(known), share)
    centre = known.mean(axis=0)
    rows = {
        "centre_x": (centre[0], "m", f"centre, {x}"),
        "centre_y": (centre[1], "m", f"centre, {y}"),
        "semi_major": (factor * sigmas[0], "m", "long semi-axis"),
        "semi_minor": (factor * sigmas[1], "m", "short semi-axis"),
        "angle": (angle, "rad", "angle of the long axis from x towards y"),
        "sigma_major": (sigmas[0], "m", "standard deviation along the long axis"),
        "sigma_minor": (sigmas[1], "m", "standard deviation along the short axis"),
        "factor": (factor, "1", "semi-axis over standard deviation"),
        "used": (len(known), "1", "flights used"),
        "dropped": (dropped, "1", "flights without a place"),
    }
    entries = {name: ((), value, {"units": units, "long_name": text}) for name, (value, units, text) in rows.items()}
    return xr.Dataset(entries, attrs={"share": share})


def kernel_contour(
    ds: xr.Dataset,
    shares: Sequence[float] = (0.5, 0.95),
    *,
    x: str = "landing_east",
    y: str = "landing_north",
    points: int = 120,
) -> xr.Dataset:
    """Return the density of places by Gaussian kernels and the levels whose contours hold given shares of the places.

    No shape is assumed: the region above a level is the smallest that holds its share (highest density region,
    R. J. Hyndman, 1996, Am. Statistician 50, 120-126), here its share of the sample itself. Kernel width: D. W. Scott's
    rule, n^(-1/6) of the sample's covariance.

    Returns
    -------
    Dataset
        density (y, x) in 1/m^2 on a grid of `points` by `points`, level (share) falling with the share, used, dropped.

    Raises
    ------
    ValueError
        For a share outside 0..1, fewer than 3 places, places on one line, or a result that is no ensemble.
    """
    for share in shares:
        _check_share(share)
    known, dropped = places(ds, "kernel_contour", x, y)
    _check_count(known, "kernel_contour")
    try:
        kernel = gaussian_kde(known.T)
    except np.linalg.LinAlgError:
        raise ValueError("kernel_contour needs places that do not all lie on one line") from None
    at_places = np.sort(kernel(known.T))[::-1]
    levels = [at_places[rank(share, len(known)) - 1] for share in shares]
    reach = 3.0 * np.sqrt(np.diag(kernel.covariance))  # kernels have died away at three of their standard deviations
    low, high = known.min(axis=0) - reach, known.max(axis=0) + reach
    grid_x, grid_y = np.linspace(low[0], high[0], points), np.linspace(low[1], high[1], points)
    mesh = np.stack(np.meshgrid(grid_x, grid_y)).reshape(2, -1)
    return xr.Dataset(
        {
            "density": (("y", "x"), kernel(mesh).reshape(points, points), {"units": "m^-2", "long_name": "density"}),
            "level": ("share", levels, {"units": "m^-2", "long_name": "density around the share of places"}),
            "used": ((), len(known), {"units": "1", "long_name": "flights used"}),
            "dropped": ((), dropped, {"units": "1", "long_name": "flights without a place"}),
        },
        {
            "x": ("x", grid_x, dict(ds[x].attrs)),
            "y": ("y", grid_y, dict(ds[y].attrs)),
            "share": ("share", list(shares), {"units": "1", "long_name": "share of the places inside"}),
        },
    )


def radius(
    ds: xr.Dataset,
    share: float = 0.5,
    *,
    about: tuple[float, float] | None = None,
    x: str = "landing_east",
    y: str = "landing_north",
) -> float:
    """Return the radius in m of the circle that holds `share` of the places: 0.5 is the CEP, 0.95 is R95.

    about : (x, y) of the circle's centre, the aim, m; None takes the mean place. It is an order statistic: the smallest
    circle with at least that share of the sample in it, no distribution assumed.
    """
    _check_share(share)
    known, _ = places(ds, "radius", x, y)
    if not len(known):
        raise ValueError("radius needs at least one flight that came down, and none of these did")
    centre = known.mean(axis=0) if about is None else np.asarray(about, dtype=float)
    if centre.shape != (2,):
        raise ValueError(f"about = {about!r} must be two numbers, (x, y) in metres")
    return float(np.sort(np.hypot(*(known - centre).T))[rank(share, len(known)) - 1])


def rank(share: float, n: int) -> int:
    """Return the number (1 .. n) of the order statistic at or below which at least `share` of n values lie."""
    return min(max(math.ceil(share * n - 1e-9), 1), n)  # 0.55 * 100 must not round up to 56


def _check_share(share: float) -> None:
    if not 0.0 < share < 1.0:
        raise ValueError(f"share = {share!r} must lie between 0 and 1, such as 0.95")


def _check_count(known: np.ndarray, who: str) -> None:
    if len(known) < LEAST:
        raise ValueError(f"{who} needs at least {LEAST} flights with a place, and this result has {len(known)}")

"""Landing places of each body in each branch of failures, in numbers: circles, an ellipse where they are normal, areas of contours."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr
from scipy.stats import chi2, norm

from sixdof.study.uncertainty.scatter_region import Region, circular_error, containment_contour, containment_ellipse, known_places

ALL, NOMINAL = "all", "nominal"
SHARES = (0.5, 0.9, 0.95, 0.99)
FEW = 10  # landing places below which no contour is drawn, whatever its share
NORMAL_FROM = 20  # landing places from which a test can tell what is not normal
DOUBT = 0.05  # of the test of normality: below it, no ellipse
ELLIPSE = 0.95


def least_for(share: float) -> int:
    """Return from how many landing places on a contour of this share is drawn: so many that one is expected outside of it, and 10 at least."""
    return max(FEW, math.ceil(1.0 / (1.0 - share) - 1e-9))


def members(ds: xr.Dataset, branch: str) -> np.ndarray:
    """Return which flights, bool (flights,), tell of a branch.

    Flights with a failure made certain count in the branches of failures only: "all" and "nominal" are of flights drawn as the mission says.
    """
    drawn = ds["made_certain"].values == ""
    if branch == ALL:
        return drawn
    own = ds["flight_branch"].values == branch
    return own & drawn if branch == NOMINAL else own


def places_in(ds: xr.Dataset, branch: str, body: str) -> np.ndarray:
    """Return the landing places (n, 2), east and north in m, of a body in a branch."""
    own = ds.isel(flight=members(ds, branch)).sel(body=body)
    return known_places(own["landing_east"].values, own["landing_north"].values, "landing")[0]


def contours(ds: xr.Dataset, body: str, branch: str = ALL, shares=SHARES) -> dict[float, Region]:
    """Return the regions of highest density of a body's landing places in a branch, share -> region; those for which there are flights enough."""
    known = places_in(ds, branch, body)
    return {share: region for share in shares if (region := contour_of(known, share)) is not None}


def contour_of(known: np.ndarray, share: float) -> Region | None:
    """Return the contour of places (n, 2), None for too few of them, or for places that are one or on a line."""
    if len(known) < least_for(share):
        return None
    try:
        return containment_contour(*known.T, share)
    except ValueError:  # all at one place, or on one line
        return None


def normality(known: np.ndarray) -> float:
    """Return the probability that normal places (n, 2) look as skewed or as peaked as these or more, NaN for fewer than 20.

    K. V. Mardia (1970), Measures of multivariate skewness and kurtosis with applications, Biometrika 57, 519-530: n b1/6 goes as chi-square of 4
    degrees of freedom, (b2 - 8)/sqrt(64/n) as a normal. The smaller of both probabilities, doubled.
    """
    n = len(known)
    if n < NORMAL_FROM:
        return math.nan
    off = known - known.mean(axis=0)
    covariance = off.T @ off / n
    if not np.linalg.det(covariance) > 1e-12 * np.trace(covariance) ** 2:
        return 0.0
    a, b = np.linalg.solve(np.linalg.cholesky(covariance), off.T)  # of unit covariance: both measures are sums of its moments
    skewness = np.mean(a**3) ** 2 + 3.0 * np.mean(a * a * b) ** 2 + 3.0 * np.mean(a * b * b) ** 2 + np.mean(b**3) ** 2
    kurtosis = np.mean((a * a + b * b) ** 2)
    both = chi2.sf(n * skewness / 6.0, 4), 2.0 * norm.sf(abs(kurtosis - 8.0) / math.sqrt(64.0 / n))
    return float(min(2.0 * min(both), 1.0))


_ENTRIES = {
    "flights": ("flights of the branch in which the body flies by itself", "1"),
    "landed": ("of them, those in which it comes down", "1"),
    "mean_east": ("mean landing place, east of the rail", "m"),
    "mean_north": ("mean landing place, north of the rail", "m"),
    "cep": ("radius about the mean landing place that holds half of them (CEP)", "m"),
    "r95": ("radius about the mean landing place that holds 95 % of them (R95)", "m"),
    "distance_median": ("median distance of the landing place from the rail", "m"),
    "distance_max": ("largest distance of the landing place from the rail", "m"),
    "normality": ("probability of normal places to look as skewed or peaked as these", "1"),
    "ellipse_semi_major": ("long semi-axis of the ellipse that holds one more landing place with 95 %", "m"),
    "ellipse_semi_minor": ("short semi-axis of that ellipse", "m"),
    "ellipse_angle": ("angle of its long axis from east towards north", "rad"),
}


def group_entries(ds: xr.Dataset, branches: list[str]) -> dict:
    """Return the variables along (branch, body), and `contour_area` along (share, branch, body)."""
    bodies = [str(name) for name in ds["body"].values]
    rows = [[_group(ds, branch, body) for body in bodies] for branch in branches]
    areas = [[[_area(places_in(ds, branch, body), share) for body in bodies] for branch in branches] for share in SHARES]
    entries = {name: (("branch", "body"), np.array([[row[name] for row in of] for of in rows]), _attrs(name)) for name in _ENTRIES}
    text = "area of the region of highest density that holds the share of the landing places; NaN for too few of them"
    return entries | {"contour_area": (("share", "branch", "body"), np.array(areas), {"units": "m^2", "long_name": text})}


def _attrs(name: str) -> dict:
    text, units = _ENTRIES[name]
    return {"units": units, "long_name": text}


def _group(ds: xr.Dataset, branch: str, body: str) -> dict[str, float]:
    known = places_in(ds, branch, body)
    out = dict.fromkeys(_ENTRIES, math.nan)
    out["flights"], out["landed"] = int(ds["flies"].isel(flight=members(ds, branch)).sel(body=body).sum()), len(known)
    if not len(known):
        return out
    out["mean_east"], out["mean_north"] = known.mean(axis=0)
    out["cep"], out["r95"] = (circular_error(*known.T, share).estimate for share in (0.5, 0.95))
    distance = np.hypot(*known.T)
    out["distance_median"], out["distance_max"] = np.median(distance), distance.max()
    out["normality"] = normality(known)
    own = ds.isel(flight=members(ds, branch)).sel(body=body)
    mixed = len(set(own["flight_branch"].values[own["flies"].values > 0])) > 1  # of several branches there is no one ellipse, whatever a test says
    if out["normality"] >= DOUBT and not mixed:
        ellipse = containment_ellipse(*known.T, ELLIPSE)
        out["ellipse_semi_major"], out["ellipse_semi_minor"] = float(ellipse.semi_major), float(ellipse.semi_minor)
        out["ellipse_angle"] = float(ellipse.angle)
    return out


def _area(known: np.ndarray, share: float) -> float:
    region = contour_of(known, share)
    return math.nan if region is None else region.area

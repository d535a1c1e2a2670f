"""Where a camera looked, solved from landmarks: places that are known and the pixels at which they are seen.

Directions to two places and the two sights of their pixels fix the three angles of a pointing (H. D. Black, A passive system for determining the
attitude of a satellite, AIAA Journal 2, 1964); of more places the turn that fits best is that of G. Wahba (A least squares estimate of satellite
attitude, SIAM Review 7, 1965), by singular values. From there all that a camera may be wrong by is fitted by least squares: pixels against their
errors, place and focal length against what was given of them. A focal length that was not given is free where there are three landmarks or more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import chi2

from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.video.asking import amount, pair, place_of
from sixdof.postflight.video.view import ERRORS, View, moved, project, sights

RAIL = ("rail foot", "rail tip")  # landmarks whose places the mission knows
FOCAL_SHARES = (0.2, 40.0)  # of the picture's width, between which a free focal length is sought
STEPS = np.array([1e-6] * 3 + [1e-3] * 3 + [1e-6])  # of the differences in ERRORS
NEAREST = 0.2  # deg: landmarks nearer to each other in sight tell no roll


class Landmarks(NamedTuple):
    """What is known of landmarks. place : (n, 3) m. pixel : (n, 2). place_error : (n,) m. pixel_error : (n,) px."""

    names: tuple[str, ...]
    place: np.ndarray
    pixel: np.ndarray
    place_error: np.ndarray
    pixel_error: np.ndarray


class Solved(NamedTuple):
    """A camera whose pointing was solved. residual : (n, 2) px, read less seen. chi2, freedom : of the fit. chance : of a misfit as large by its errors."""

    view: View
    residual: np.ndarray
    chi2: float
    freedom: int
    chance: float


def landmarks_of(given: Any, pixel_error: float, mission: Mission | None) -> Landmarks:
    """Return landmarks as the call has them. Raises ValueError, in one sentence, for anything else."""
    if not isinstance(given, Mapping) or len(given) < 2:
        raise ValueError(f'camera: landmarks must be two or more, {{"mast": {{"place": (east, north, height), "pixel": (x, y)}}, ...}}, not {shown(given)}')
    rows = [_row(str(name), table, pixel_error, mission) for name, table in given.items()]
    return Landmarks(tuple(map(str, given)), *(np.array(column) for column in zip(*rows, strict=True)))


def _row(name: str, table: Any, pixel_error: float, mission: Mission | None):
    who = f"camera: landmark {shown(name)}"
    if not isinstance(table, Mapping) or "pixel" not in table:
        raise ValueError(f'{who} must be a table with place and pixel, such as {{"place": (120.0, 40.0, 8.0), "pixel": (812, 455)}}')
    unknown = [key for key in table if key not in ("place", "pixel", "place_error", "pixel_error")]
    if unknown:
        raise ValueError(f"{who}: there is no key {shown(str(unknown[0]))}; it has place, pixel, place_error and pixel_error")
    pixel = pair(table["pixel"], f"{who}: pixel", "right and down from the picture's upper left corner")
    own = amount(table.get("pixel_error", pixel_error), "1", f"{who}: pixel_error", least=0.0, above=True)
    far = amount(table.get("place_error", 0.0), "m", f"{who}: place_error", least=0.0)
    return _place(name, table, who, mission), pixel, far, own


def _place(name: str, table: Mapping, who: str, mission: Mission | None) -> np.ndarray:
    if "place" in table:
        return place_of(table["place"], f"{who}: place", mission)
    if name not in RAIL or mission is None:
        raise ValueError(f"{who} has no place; give (east, north, height), or with mission= name it {' or '.join(RAIL)}, which the mission places")
    rail = mission.rail
    along = np.array([math.sin(rail.azimuth) * math.cos(rail.elevation), math.cos(rail.azimuth) * math.cos(rail.elevation), math.sin(rail.elevation)])
    return along * (rail.length if name == RAIL[1] else 0.0)


def solve(view: View, known: Landmarks, place_error: np.ndarray, focal_error: float) -> Solved:
    """Return the camera that fits the landmarks best, with the covariance of ERRORS.

    view : with the place; its pointing is not used, nor its focal length where focal_error is infinite (free). place_error : (3,) m.

    Raises ValueError for too few landmarks for what is free, and for landmarks that lie together or that no pointing brings before the camera.
    """
    free_focal = math.isinf(focal_error)
    if free_focal and len(known.names) < 3:
        raise ValueError("camera: two landmarks give the pointing, not the focal length too; give field_of_view or focal_length, or a third landmark")
    _check_apart(view, known)
    start = _started(view, known, free_focal)
    prior = np.concatenate([np.full(3, np.inf), place_error, [focal_error]])
    free = np.flatnonzero(prior > 0.0)
    whiten = _whitening(start, known)

    def residuals(by: np.ndarray) -> np.ndarray:
        full = np.zeros(len(ERRORS))
        full[free] = by
        miss = known.pixel - project(moved(start, full), known.place)
        miss = np.nan_to_num(np.einsum("nij,nj->ni", whiten, miss), nan=1e6)
        held = np.isfinite(prior) & (prior > 0.0)
        return np.concatenate([miss.ravel(), full[held] / prior[held]])

    found = least_squares(residuals, np.zeros(free.size), x_scale=np.where(free < 3, 1e-3, np.where(free < 6, 1.0, 1e-2)), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    by = np.zeros(len(ERRORS))
    by[free] = found.x
    return _solved(moved(start, by), known, found, free, 2 * len(known.names) - 3 - int(free_focal))


def _solved(view: View, known: Landmarks, found, free: np.ndarray, freedom: int) -> Solved:
    """Return the fit with its covariance, made larger where the landmarks miss by more than their errors."""
    information = found.jac.T @ found.jac
    if np.linalg.cond(information / np.sqrt(np.outer(np.diag(information), np.diag(information)))) > 1e12:
        raise ValueError("camera: these landmarks do not fix the pointing; take some that lie further apart in the picture")
    total = 2.0 * float(found.cost)
    covariance = np.zeros((len(ERRORS), len(ERRORS)))
    covariance[np.ix_(free, free)] = np.linalg.inv(information) * max(1.0, total / freedom)
    residual = known.pixel - project(view, known.place)
    return Solved(view._replace(covariance=covariance), residual, total, freedom, float(chi2.sf(total, freedom)))


def _check_apart(view: View, known: Landmarks) -> None:
    ways = known.place - view.place
    far = np.linalg.norm(ways, axis=1)
    if far.min() < 0.1:
        raise ValueError(f"camera: landmark {shown(known.names[int(far.argmin())])} stands where the camera stands")
    unit = ways / far[:, None]
    widest = max(math.degrees(math.acos(min(1.0, float(a @ b)))) for a in unit for b in unit)
    if widest < NEAREST:
        raise ValueError(f"camera: all landmarks lie within {widest:.2f} deg of each other as seen from the camera; take some further apart")


def _whitening(view: View, known: Landmarks) -> np.ndarray:
    """Return for each landmark the matrix that makes its miss one of unit covariance, (n, 2, 2): of reading it and of where it stands."""
    steps = 1e-3 * np.eye(3)
    slopes = np.stack([(project(view, known.place + one) - project(view, known.place - one)) / 2e-3 for one in steps], axis=-1)
    own = np.eye(2) * np.square(known.pixel_error)[:, None, None]
    spread = own + np.square(known.place_error)[:, None, None] * np.nan_to_num(slopes) @ np.swapaxes(np.nan_to_num(slopes), 1, 2)
    return np.linalg.inv(np.linalg.cholesky(spread))


def _started(view: View, known: Landmarks, free_focal: bool) -> View:
    """Return the camera turned so that it sees the landmarks where they were read, as nearly as a turn can; a free focal length is scanned for."""
    tried = [view.focal] if not free_focal else list(view.size[0] * np.geomspace(*FOCAL_SHARES, 160))
    views = [_turned_onto(view._replace(focal=float(focal)), known) for focal in tried]
    misses = [np.linalg.norm(known.pixel - project(one, known.place), axis=1).sum() for one in views]
    if not np.isfinite(misses).any():
        raise ValueError("camera: no pointing brings all landmarks in front of the camera; check the places of camera and landmarks")
    return views[int(np.nanargmin(misses))]


def _turned_onto(view: View, known: Landmarks) -> View:
    """Return the camera with the turn that brings sights onto the ways to the landmarks (Wahba's problem, by singular values)."""
    ways = known.place - view.place
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    own = np.nan_to_num(sights(view, known.pixel) @ view.rotation.T)
    left, _, right = np.linalg.svd(own.T @ ways)
    handed = np.diag([1.0, 1.0, float(np.sign(np.linalg.det(left @ right)))])
    return view._replace(rotation=left @ handed @ right)

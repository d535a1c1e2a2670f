"""What pixels of nose and tail say by themselves: bearing, elevation, apparent lean and path, apparent size, each with its error.

All angles are taken about the line of sight, as one who stands at the camera sees them, so that where the camera points and how its picture is
stretched towards the edges does not matter. At a sight of bearing b and elevation e the level direction to the right is r = (cos b, -sin b, 0) and
the plumb line as seen is p = r x sight. A body whose ends are seen along n (nose) and t (tail) leans by L = atan2((n - t).r, (n - t).p), positive to
the right; a path along which the sight m moves does so by P = atan2(m'.r, m'.p), m' its rate over the frames beside (a parabola fitted to them).

Errors of reading are carried in closed form: with u = r cos L - p sin L, the direction in which a lean grows,

    dL = u.(dn - dt)/|n - t| + tan(e) r.dm,      dP = sum over frames w_j u.dm_j/|m'| + tan(e) r.dm

the last term being the plumb line's own turn, which the difference of the two (the apparent incidence) does not have. Where the frames beside leave a
parabola by far more than their errors, what is left counts as the error.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.postflight.video.landmarks import STEPS
from sixdof.postflight.video.view import ERRORS, View, across, angles_of, moved, sight_slopes, sights

WINDOW = 2  # frames on each side of one that its path is read from
BENT = 4.0  # times the errors' own variance: what is left of a parabola by more is a bend of the path, not noise
NAMES = ("bearing", "elevation", "apparent_lean", "apparent_path", "apparent_incidence", "apparent_size")


class Window(NamedTuple):
    """Of every frame the frames that its path is read from: their numbers (n, k), the weights (n, k), 1/s, that make a rate of what they show, and what
    the parabola leaves of it, (n, k, k). spare : frames of a window beyond those that the parabola needs."""

    rows: np.ndarray
    weights: np.ndarray
    leaves: np.ndarray
    spare: int


class Reading(NamedTuple):
    """What every frame says. value, error : by NAMES, rad, (n,); error of reading alone. camera : d(value)/d(ERRORS), by NAMES, (n, 7).

    sight, right, plumb : unit vectors, (n, 3). rate : of the sight across itself, rad/s, (n,).
    """

    value: dict[str, np.ndarray]
    error: dict[str, np.ndarray]
    camera: dict[str, np.ndarray]
    sight: np.ndarray
    right: np.ndarray
    plumb: np.ndarray
    rate: np.ndarray


def upright(pixel: np.ndarray, time: np.ndarray, readout: float, height: float) -> np.ndarray:
    """Return pixels (n, points, 2) as they were at the frame's own time, that of its middle row: each end moved by its speed over what its row was late."""
    if not readout or time.size < 2:
        return pixel
    out = pixel.copy()
    for k in range(pixel.shape[1]):
        seen = np.isfinite(pixel[:, k]).all(axis=1)
        if np.count_nonzero(seen) > 1:
            own = pixel[seen, k]
            late = readout * (own[:, 1] / height - 0.5)
            out[seen, k] = own - np.gradient(own, time[seen], axis=0) * late[:, None]
    return out


def window_of(time: np.ndarray, seen: np.ndarray, reach: int = WINDOW) -> Window:
    """Return the frames that the path of each is read from: the 2 reach + 1 nearest by number of those that were seen, a parabola through them."""
    known = np.flatnonzero(seen)
    count = min(2 * reach + 1, known.size)
    shape, order = (time.size, max(count, 1)), 3 if count > 3 else 2
    rows, weights, leaves = np.zeros(shape, dtype=int), np.full(shape, np.nan), np.zeros((*shape, shape[1]))
    if count < 2:
        return Window(rows, weights, leaves, 0)
    for place, k in enumerate(known):
        first = min(max(place - reach, 0), known.size - count)
        own = known[first : first + count]
        away = time[own] - time[k]
        scale = np.abs(away).max()
        powers = np.vander(away / scale, order, increasing=True)
        inverse = np.linalg.pinv(powers)
        rows[k], weights[k], leaves[k] = own, inverse[1] / scale, np.eye(count) - powers @ inverse
    return Window(rows, weights, leaves, count - order)


def read(view: View, pixel: np.ndarray, error: np.ndarray, window: Window, balance: float) -> Reading:
    """Return what frames say. pixel : (n, points, 2) of nose and tail or of one point. error : px, (n,). balance : share of the body ahead of the point
    whose path is read."""
    value, aids = angles(sights(view, pixel), window, balance)
    slopes = {name: np.full((pixel.shape[0], len(ERRORS)), np.nan) for name in value}
    for k, step in enumerate(STEPS):
        by = np.zeros(len(ERRORS))
        by[k] = step
        up, down = (angles(sights(moved(view, sign * by), pixel), window, balance)[0] for sign in (1.0, -1.0))
        for name in value:
            slopes[name][:, k] = _wrapped(up[name] - down[name]) / (2.0 * step)
    return Reading(value, _errors(view, pixel, error, window, balance, aids), slopes, aids.sight, aids.right, aids.plumb, aids.rate)


def _wrapped(angle: np.ndarray) -> np.ndarray:
    return (angle + np.pi) % (2.0 * np.pi) - np.pi


class Aids(NamedTuple):
    """Of every frame, (n, 3): the unit sight, what is to its right and along its plumb line, nose less tail. rate : of the sight across itself, (n,)."""

    sight: np.ndarray
    right: np.ndarray
    plumb: np.ndarray
    rate: np.ndarray
    line: np.ndarray


def angles(ways: np.ndarray, window: Window, balance: float) -> tuple[dict[str, np.ndarray], Aids]:
    """Return the angles by NAMES, rad, (n,), of unit sights of nose and tail, or of one point, (n, points, 3), and what they were made from."""
    middle = ways[:, 0] if ways.shape[1] == 1 else (1.0 - balance) * ways[:, 0] + balance * ways[:, 1]
    sight = middle / np.linalg.norm(middle, axis=1, keepdims=True)
    right, plumb = across(sight)
    rate = np.einsum("nk,nki->ni", window.weights, sight[window.rows])
    line = np.full(sight.shape, np.nan) if ways.shape[1] == 1 else ways[:, 0] - ways[:, 1]
    bearing, elevation = angles_of(sight)
    lean, path = _about(line, right, plumb), _about(rate, right, plumb)
    across_rate = np.hypot(_dot(rate, right), _dot(rate, plumb))
    with np.errstate(invalid="ignore"):
        size = 2.0 * np.arcsin(np.minimum(0.5 * np.linalg.norm(line, axis=1), 1.0))
    return dict(zip(NAMES, (bearing, elevation, lean, path, _wrapped(lean - path), size), strict=True)), Aids(sight, right, plumb, across_rate, line)


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.einsum("ni,ni->n", a, b)


def _about(way: np.ndarray, right: np.ndarray, plumb: np.ndarray) -> np.ndarray:
    """Return the angle of directions (n, 3) from the plumb line as seen, positive to the right."""
    return np.arctan2(_dot(way, right), _dot(way, plumb))


def _errors(view: View, pixel: np.ndarray, error: np.ndarray, window: Window, balance: float, aids: Aids) -> dict[str, np.ndarray]:
    """Return the standard deviations that errors of reading, alike and independent in x and y of every point, make of NAMES."""
    slopes = sight_slopes(view, pixel)  # (n, points, 3, 2)
    spread = slopes @ np.swapaxes(slopes, -1, -2) * np.square(error)[:, None, None, None]
    shares = np.array([1.0]) if pixel.shape[1] == 1 else np.array([1.0 - balance, balance])
    middle = np.einsum("p,npij->nij", shares**2, spread)
    right, plumb = aids.right, aids.plumb
    level = np.hypot(aids.sight[:, 0], aids.sight[:, 1])
    lean, path = _about(aids.line, right, plumb), _about(np.einsum("nk,nki->ni", window.weights, aids.sight[window.rows]), right, plumb)
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = (aids.sight[:, 2] / level)[:, None] * right
        of_path = (right * np.cos(path)[:, None] - plumb * np.sin(path)[:, None]) / aids.rate[:, None]
        own = np.sum(np.where(window.rows == np.arange(window.rows.shape[0])[:, None], window.weights, 0.0), axis=1)[:, None]
        others = np.where(window.rows == np.arange(window.rows.shape[0])[:, None], 0.0, window.weights)
        beside = np.einsum("nk,ni,nkij,nj->n", others**2, of_path, middle[window.rows], of_path)
        long = np.hypot(_dot(aids.line, right), _dot(aids.line, plumb))
        of_lean = (right * np.cos(lean)[:, None] - plumb * np.sin(lean)[:, None]) / long[:, None]
    both = pixel.shape[1] == 2
    ends = [of_lean, -of_lean] if both else [np.full(right.shape, np.nan)]
    along = [aids.line / long[:, None], -aids.line / long[:, None]] if both else ends
    variance = {
        "bearing": _variance(middle[:, None], [right / level[:, None]]),
        "elevation": _variance(middle[:, None], [plumb]),
        "apparent_lean": _variance(spread, [end + share * steep for end, share in zip(ends, shares, strict=True)]),
        "apparent_path": _variance(middle[:, None], [own * of_path + steep]) + beside,
        "apparent_incidence": _variance(spread, [end - share * own * of_path for end, share in zip(ends, shares, strict=True)]) + beside,
        "apparent_size": _variance(spread, along),
    }
    bent = (_bends(aids.sight, window, middle) - 1.0) * (_variance(middle[:, None], [own * of_path]) + beside)
    variance["apparent_path"] += bent
    variance["apparent_incidence"] += bent
    return {name: np.sqrt(value) for name, value in variance.items()}


def _bends(sight: np.ndarray, window: Window, middle: np.ndarray) -> np.ndarray:
    """Return what the variance of a path is multiplied by, (n,), where its frames leave a parabola by more than their errors: by how much more."""
    if not window.spare:
        return np.ones(sight.shape[0])
    left = np.einsum("nkl,nli->nki", window.leaves, sight[window.rows])
    own = 0.5 * np.einsum("nii->n", middle)[window.rows]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.sum(np.sum(left**2, axis=2) / own, axis=1) / (2.0 * window.spare)
    return np.where(ratio > BENT, ratio, 1.0)


def _variance(spread: np.ndarray, gradients: list[np.ndarray]) -> np.ndarray:
    """Return g C g summed over points that err by themselves. spread : (n, points, 3, 3). gradients : of every point, (n, 3)."""
    return sum(np.einsum("ni,nij,nj->n", g, spread[:, k], g) for k, g in enumerate(gradients))

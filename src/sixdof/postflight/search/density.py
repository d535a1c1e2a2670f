"""Landing places of weighted flights as a probability on a grid: kernels as wide as a group of places asks for, group by group.

The width follows from the effective number of places: n^(-1/6) standard deviations in each direction, which in two dimensions is both D. W. Scott's rule
(1992, Multivariate Density Estimation, section 6.3) and B. W. Silverman's (1986, Density Estimation for Statistics and Data Analysis, section 4.3.2). It is
right for places of one normal heap and far too wide for heaps apart, so each branch of failures and each hypothesis has its own width, and a group that falls
apart into clusters with room between them is cut into these first.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.signal import fftconvolve
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

APART = 3  # widths of a kernel between two heaps from which on each has a width of its own
LEAST = 5  # places of a heap below which it keeps the width of what it was cut from
REACH = 5.0  # widths of a kernel that are computed; beyond lies 4e-6 of it
ROUNDS = 6  # of cutting


class Heap(NamedTuple):
    """Places that share a kernel: places (n, 2) m, weights (n,), covariance (2, 2) of the kernel, m^2."""

    places: np.ndarray
    weights: np.ndarray
    kernel: np.ndarray


def effective(weights: np.ndarray) -> float:
    """Return the number of equally weighted places that say as much: (sum w)^2 / sum w^2 (L. Kish, 1965)."""
    total = float(weights.sum())
    return total * total / float(weights @ weights) if total > 0.0 else 0.0


def heaps_of(places: np.ndarray, weights: np.ndarray, groups: np.ndarray, floor: float) -> list[Heap]:
    """Return the heaps of places (n, 2) with weights (n,) above 0 in groups (n,), each with its kernel. floor : m, no kernel is narrower."""
    whole = _kernel(places, weights)
    out = []
    for group in np.unique(groups):
        own = groups == group
        fewer = int(own.sum()) < LEAST
        out += _cut(places[own], weights[own], whole if fewer else _kernel(places[own], weights[own]), ROUNDS)
    return [heap._replace(kernel=_at_least(heap.kernel, floor)) for heap in out]


def _kernel(places: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Return the covariance of the kernel, m^2: n^(-1/3) times that of the places, n their effective number; of few, that of the places without weights."""
    if len(places) < 2:
        return np.zeros((2, 2))
    n = effective(weights)
    share = weights / weights.sum() if n >= LEAST else np.full(len(places), 1.0 / len(places))
    off = places - share @ places
    return n ** (-1.0 / 3.0) * (off.T * share) @ off / (1.0 - share @ share)


def _cut(places: np.ndarray, weights: np.ndarray, kernel: np.ndarray, rounds: int) -> list[Heap]:
    """Cut places into heaps more than `APART` kernels apart, and those again by their own narrower kernels."""
    heap = Heap(places, weights, kernel)
    if len(places) < 2 * LEAST or not rounds:
        return [heap]
    spread, axes = np.linalg.eigh(kernel)
    if not spread[1] > 0.0:
        return [heap]
    wide = np.sqrt(np.maximum(spread, 1e-12 * spread[1]))
    label = _clusters((places - places[0]) @ axes / wide)
    if label.max() == 0:
        return [heap]
    count = np.bincount(label)
    out, few = [], count[label] < LEAST
    for number in np.flatnonzero(count >= LEAST):
        own = label == number
        out += _cut(places[own], weights[own], _kernel(places[own], weights[own]), rounds - 1)
    if few.any():  # alone they cannot say how wide they are: as wide as what they were cut from
        out.append(Heap(places[few], weights[few], kernel))
    return out


def _clusters(at: np.ndarray) -> np.ndarray:
    """Return the number (n,) of the cluster of each place (n, 2), in widths of the kernel: cells a width across that are near to each other belong together."""
    cells, inverse = np.unique(np.floor(at).astype(np.int64), axis=0, return_inverse=True)
    pairs = cKDTree(cells).query_pairs(APART + 0.01, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(cells), len(cells)))
    return connected_components(links, directed=False)[1][inverse.ravel()]


def _at_least(kernel: np.ndarray, floor: float) -> np.ndarray:
    spread, axes = np.linalg.eigh(kernel)
    return (axes * np.maximum(spread, floor * floor)) @ axes.T


# ---------------------------------------------------------------- on the grid


def on_grid(heaps: list[Heap], east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return the weight in each cell (north, east) of a grid of equal cells, whose centres are given, m; what lies outside is left out.

    Places are shared out to the four cells about them, linearly (M. C. Jones & H. W. Lotwick, 1984, Applied Statistics 33, 120-122), then spread by the
    kernel; the width that the sharing adds is taken off the kernel.
    """
    cell = float(east[1] - east[0])
    out = np.zeros((north.size, east.size))
    for heap in heaps:
        half = np.ceil(REACH * np.sqrt(np.diag(heap.kernel)) / cell).astype(int) + 1
        at = (heap.places - [east[0], north[0]]) / cell + half
        shape = (north.size + 2 * half[1], east.size + 2 * half[0])
        inside = ((at >= 0.0) & (at < [shape[1] - 1, shape[0] - 1])).all(axis=1)
        if inside.any():
            heap_on = _shared_out(at[inside], heap.weights[inside], shape)
            spread = fftconvolve(heap_on, _cells_of(heap.kernel / cell**2, half), mode="valid")
            out += np.maximum(spread, 0.0)
    return out


def _shared_out(at: np.ndarray, weights: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    cell = at.astype(int)
    part = at - cell
    heap = np.zeros(shape[0] * shape[1])
    for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
        share = np.abs(1 - i - part[:, 0]) * np.abs(1 - j - part[:, 1])
        heap += np.bincount((cell[:, 1] + j) * shape[1] + cell[:, 0] + i, weights * share, heap.size)
    return heap.reshape(shape)


def _cells_of(kernel: np.ndarray, half: np.ndarray) -> np.ndarray:
    """Return a normal kernel of a covariance (cells^2) on (2 half + 1) cells each way, which add up to 1."""
    inverse = np.linalg.inv(kernel - np.eye(2) / 6.0)
    x, y = np.meshgrid(np.arange(-half[0], half[0] + 1), np.arange(-half[1], half[1] + 1))
    found = np.exp(-0.5 * (inverse[0, 0] * x * x + 2.0 * inverse[0, 1] * x * y + inverse[1, 1] * y * y))
    return found / found.sum()

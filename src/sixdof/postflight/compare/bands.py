"""Where a log lies among drawn flights: bands of order statistics, ranks, and what share of instants lies inside."""

from __future__ import annotations

import numpy as np

LEVELS = (0.5, 0.8, 0.9, 0.95)
SHARES = tuple(sorted({0.5, *(0.5 - 0.5 * level for level in LEVELS), *(0.5 + 0.5 * level for level in LEVELS)}))


def left_outside(level: float, count: np.ndarray) -> np.ndarray:
    """Return how many of `count` exchangeable values lie beyond each end of a band of this level: as many as leave it at least the level."""
    return np.floor(0.5 * (1.0 - level) * count + 1e-9).astype(int)


def band(drawn: np.ndarray, shares=SHARES) -> np.ndarray:
    """Return quantiles by order statistics, (shares, ...), of drawn values (flights, ...), NaN where a flight has none.

    Of n values that are exchangeable with a further one, that one lies between the k-th smallest and the k-th largest with probability
    1 - 2k/(n + 1), whatever their distribution (H. A. David & H. N. Nagaraja, 2003, Order Statistics, section 7.2). The ends of a band are the innermost
    that hold what they claim; NaN where n is too small for any.
    """
    ordered = np.sort(drawn, axis=0)  # NaN last
    count = np.isfinite(drawn).sum(axis=0)
    out = np.full((len(shares), *drawn.shape[1:]), np.nan)
    for row, share in enumerate(shares):
        if abs(share - 0.5) < 1e-9:
            out[row] = 0.5 * (_order(ordered, (count + 1) // 2) + _order(ordered, count // 2 + 1))
            continue
        beyond = left_outside(abs(2.0 * share - 1.0), count + 1)
        number = np.where(beyond > 0, beyond if share < 0.5 else count + 1 - beyond, 0)
        out[row] = np.where(number > 0, _order(ordered, number), np.nan)
    return out


def _order(ordered: np.ndarray, number: np.ndarray) -> np.ndarray:
    """Return the order statistic of each column by its number, from 1."""
    at = np.clip(number - 1, 0, len(ordered) - 1)
    return np.take_along_axis(ordered, at[None], axis=0)[0]


def ranks(pool: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the rank of every value among its column's, from 1, ties in the middle, and each column's count, of (curves, ...) with NaN for none."""
    first = np.argsort(np.argsort(pool, axis=0, kind="stable"), axis=0, kind="stable") + 1.0
    count = np.isfinite(pool).sum(axis=0)
    out = np.where(np.isfinite(pool), first, np.nan)
    ordered = np.sort(pool, axis=0)
    tied = (np.diff(ordered, axis=0) == 0.0).any(axis=0)
    for column in zip(*np.nonzero(tied), strict=True):
        values = pool[(slice(None), *column)]
        out[(slice(None), *column)] = np.where(np.isfinite(values), _middle(values), np.nan)
    return out, count


def _middle(values: np.ndarray) -> np.ndarray:
    below = (values[None, :] < values[:, None]).sum(axis=1)
    same = (values[None, :] == values[:, None]).sum(axis=1)
    return below + 0.5 * (same + 1)


def inside(rank: np.ndarray, count: np.ndarray, level: float) -> np.ndarray:
    """Return which values of a pool lie inside the band that all others of it make, bool (curves, ...), of their ranks and the pool's count."""
    beyond = left_outside(level, count)
    return (rank > beyond) & (rank < count - beyond + 1)


def claimed(count: np.ndarray, level: float) -> np.ndarray:
    """Return the probability with which a band of `count` - 1 flights holds a further one: the level, or a little more."""
    return 1.0 - 2.0 * left_outside(level, count) / np.maximum(count, 1)

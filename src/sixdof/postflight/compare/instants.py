"""Which rows of a log are looked at: spread over time, of every rate that shares its time base, more of them in the climb."""

from __future__ import annotations

import numpy as np
import xarray as xr

CLIMB_SHARE = 2.0 / 3.0  # of the instants, for the climb


def measured(variable: xr.DataArray) -> np.ndarray:
    """Return at which rows of `time` a variable of a log was measured, bool (time,): any of its parts."""
    known = np.isfinite(np.asarray(variable.transpose("time", ...).values, dtype=float))
    return known.reshape(known.shape[0], -1).any(axis=1)


def thinned(time: np.ndarray, patterns: list[np.ndarray], points: int, climb_end: float) -> np.ndarray:
    """Return rows (rising) of a log, at most `points` of each pattern of measured rows (bool arrays over time), liftoff and later.

    Variables of different rates share a time base, with NaN between: evenly chosen rows of it would miss the slow ones.
    """
    rows: set[int] = set()
    for pattern in {one.tobytes(): one for one in patterns}.values():
        there = np.flatnonzero(pattern & (time >= 0.0))
        climbing = time[there] <= climb_end
        up, down = there[climbing], there[~climbing]
        most_up = points if not down.size else max(int(points * CLIMB_SHARE), points - down.size)
        rows.update(_spread(time, up, most_up))
        rows.update(_spread(time, down, max(points - min(up.size, most_up), 1)))
    return np.array(sorted(rows), dtype=int)


def _spread(time: np.ndarray, rows: np.ndarray, most: int) -> list[int]:
    """Return at most so many of the rows, the nearest to equal steps of time."""
    if rows.size <= most:
        return [int(row) for row in rows]
    at = np.linspace(time[rows[0]], time[rows[-1]], most)
    right = np.clip(np.searchsorted(time[rows], at), 1, rows.size - 1)
    nearer = np.where(at - time[rows[right - 1]] < time[rows[right]] - at, right - 1, right)
    return [int(rows[k]) for k in np.unique(nearer)]

"""Logs of whole flights: rows of all bodies alike, and the few points of a track that an ensemble keeps."""

from __future__ import annotations

from math import nan

import numpy as np

from sixdof._jit import kernel
from sixdof.core.layout import LOG_COLUMNS, SENSED

READINGS = len(SENSED)


@kernel
def widen(rows: np.ndarray, own: int) -> None:
    """Give rows of a log, written with `own` control fins, places for as many as their width has, NaN for those the body does not have."""
    fins = (rows.shape[1] - LOG_COLUMNS - READINGS) // 3
    if fins == own:
        return
    for r in range(rows.shape[0]):
        row = rows[r]
        for j in range(READINGS - 1, -1, -1):  # from the end, for places overlap
            row[LOG_COLUMNS + 3 * fins + j] = row[LOG_COLUMNS + 3 * own + j]
        for k in range(2, -1, -1):
            for j in range(fins - 1, -1, -1):
                row[LOG_COLUMNS + k * fins + j] = row[LOG_COLUMNS + k * own + j] if j < own else nan


@kernel
def keep_track(log: np.ndarray, columns: np.ndarray, place: np.ndarray, out: np.ndarray) -> None:
    """Fill the points of a track (points, columns) from a log (rows, all columns), NaN where it has fewer rows.

    columns : (columns,) of the log. place : (points,) from 0 to 1 where the points lie in a longer log; all zero for every row of it, or
    every second, third .. so that its end is there.
    """
    rows, points, kept = log.shape[0], out.shape[0], 0
    evenly = points > 0 and place[points - 1] == 0.0
    step = max(-(-rows // points), 1) if evenly and points > 0 else 1
    last = -1
    for k in range(points):
        r = k * step
        if rows > points and not evenly:
            r = int(np.rint(place[k] * (rows - 1)))
        if last < r < rows:
            for j in range(columns.shape[0]):
                out[kept, j] = log[r, columns[j]]
            kept += 1
            last = r
    for k in range(kept, points):
        for j in range(columns.shape[0]):
            out[k, j] = nan

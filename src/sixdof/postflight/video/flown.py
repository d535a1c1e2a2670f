"""Where a simulated flight is at the times of a video's frames: its nose, its tail, its way."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.reading.result import event_values, mission_of, need_flight
from sixdof.vehicle.geometry import stage_segments

UNDER_CANOPY = 4  # of `phase`: from here on the body hangs, and its line is not told
NEEDED = ("east", "north", "height", "velocity", "attitude", "cg", "phase", "event_time")


class Flown(NamedTuple):
    """A flight at n times, east, north, up: nose, tail, centre (of mass), velocity over the ground, (n, 3); NaN outside the flight. length : m, (n,)."""

    nose: np.ndarray
    tail: np.ndarray
    centre: np.ndarray
    velocity: np.ndarray
    length: np.ndarray


def flown_at(flight: xr.Dataset, time: np.ndarray, who: str) -> Flown:
    """Return the front body of a flight (with all that is still joined to it) at times since liftoff, s, (n,).

    Before its first row the vehicle stands as there. Under a canopy nose and tail are NaN. Raises TypeError or ValueError for what is no flight.
    """
    need_flight(flight, who, *NEEDED)
    liftoff = float(event_values(flight, "liftoff")[0])
    if not np.isfinite(liftoff):
        raise ValueError(f"{who}: this flight never lifts off; there is nothing to see")
    rows = flight["time"].values
    at = np.maximum(np.asarray(time, dtype=float) + liftoff, rows[0])
    read = {name: _linear(at, rows, flight[name].values) for name in ("velocity", "attitude", "cg")}
    centre = np.stack([np.interp(at, rows, flight[name].values, right=np.nan) for name in ("east", "north", "height")], axis=1)
    phase = flight["phase"].values[np.minimum(np.searchsorted(rows, at, side="right") - 1, rows.size - 1)]
    axis = np.where((phase < UNDER_CANOPY)[:, None], _forward(read["attitude"]), np.nan)
    length = _lengths(flight, at, who)
    nose = centre + axis * read["cg"][:, None]
    return Flown(nose, nose - axis * length[:, None], centre, read["velocity"], length)


def _linear(at: np.ndarray, rows: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return values (rows, ...) at other times, straight from row to row, NaN past the last."""
    flat = values.reshape(rows.size, -1)
    return np.stack([np.interp(at, rows, column, right=np.nan) for column in flat.T], axis=1).reshape(at.size, *values.shape[1:])


def _forward(q: np.ndarray) -> np.ndarray:
    """Return the body's axis in the world, (n, 3), of attitudes (n, 4), body to world, scalar first."""
    q = q / np.linalg.norm(q, axis=1, keepdims=True)
    w, x, y, z = q.T
    return np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)], axis=1)


def _lengths(flight: xr.Dataset, at: np.ndarray, who: str) -> np.ndarray:
    """Return the length of what flies together, m, (n,): a stage behind a joint counts until it parts."""
    own = stage_lengths(mission_of(flight, who))
    parts = np.atleast_1d(flight["separation_time"].values) if "separation_time" in flight else np.empty(0)
    total = np.full(at.size, own[0])
    joined = np.full(at.size, True)
    for length, parted in zip(own[1:], parts, strict=False):
        joined = joined & ~(at > parted)  # a joint that never parts has NaN
        total = total + length * joined
    return total


def stage_lengths(mission: Mission) -> list[float]:
    """Return the length of every stage's body, m, front first."""
    return [stage_segments(stage)[-1].x1 for stage in mission.stage]

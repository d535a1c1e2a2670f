"""Where a simulated flight is at the times of a video's frames: its nose, its tail, its way."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.postflight.compare.expected import expected
from sixdof.study.reading.result import event_values, mission_of, need_flight
from sixdof.vehicle.geometry import stage_segments

UNDER_CANOPY = 4  # of `phase`: from here on the body hangs, and its line is not told
READ = ("east", "north", "height", "velocity", "attitude", "cg", "phase")


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
    need_flight(flight, who, *READ, "event_time")
    liftoff = float(event_values(flight, "liftoff")[0])
    if not np.isfinite(liftoff):
        raise ValueError(f"{who}: this flight never lifts off; there is nothing to see")
    at = np.asarray(time, dtype=float)
    found = expected(flight, _asked(flight, at))
    centre = np.stack([found[name].values for name in ("east", "north", "height")], axis=1)
    axis = np.where((found["phase"].values < UNDER_CANOPY)[:, None], _forward(found["attitude"].values), np.nan)
    length = _lengths(flight, at + liftoff, who)
    nose = centre + axis * found["cg"].values[:, None]
    return Flown(nose, nose - axis * length[:, None], centre, found["velocity"].values, length)


def _asked(flight: xr.Dataset, time: np.ndarray) -> xr.Dataset:
    """Return an empty log of what is read of a flight at times since liftoff, for `expected`."""
    dims = {name: flight[name].dims for name in READ}
    return xr.Dataset({name: (dims[name], np.full([time.size, *(flight.sizes[dim] for dim in dims[name][1:])], np.nan)) for name in READ}, {"time": time})


def _forward(q: np.ndarray) -> np.ndarray:
    """Return the body's axis in the world, (n, 3), of attitudes (n, 4), body to world, scalar first."""
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

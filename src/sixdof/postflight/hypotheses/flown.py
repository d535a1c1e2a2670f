"""What evidence asks of flights: where a body is at a time, when and how it comes down, when its canopies are out. Times are since liftoff."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.mission.mission import Mission
from sixdof.results.status import Status
from sixdof.study.reading.result import apart

STEP = 0.25  # s to both sides of an instant, between which a velocity is taken
SOUND = 340.0  # m/s
TRACK_RATE, TRACK_POINTS = 5.0, 900  # of the tracks that are looked at: within a metre of the whole timeline but in the burn


class Landing(NamedTuple):
    """Of one body in every flight, (flights,): time (s since liftoff), east and north (m), speed over the ground (m/s); NaN where it does not come down."""

    time: np.ndarray
    east: np.ndarray
    north: np.ndarray
    speed: np.ndarray


class Track(NamedTuple):
    """Of one body in one flight, (rows,): time rising, s since ignition; east, north, height, m."""

    time: np.ndarray
    east: np.ndarray
    north: np.ndarray
    height: np.ndarray


class Flown:
    """Some flights of one mission. ds : as `disperse` gives them, with tracks. tracks : of bodies other than the front one, a list a flight by body number."""

    def __init__(self, ds: xr.Dataset, mission: Mission, tracks: dict[int, Sequence[Track]] | None = None):
        self.ds, self.mission, self._tracks = ds, mission, tracks or {}
        self.liftoff = np.nan_to_num(ds["event_time"].sel(event="liftoff").values[:, 0])
        status = ds["status"].values
        self.stayed, self.lost = status == Status.NO_LIFTOFF, status == Status.DIVERGED
        self.count = status.size

    def landing(self, body: int) -> Landing:
        """Return how a body comes down: by itself, or as part of the one that carries it. What never left the rail has landed there at liftoff."""
        own = [self.ds[name].values[:, body] for name in ("body_landing_time", "body_landing_east", "body_landing_north", "body_landing_ground_speed")]
        if body:
            alone, carrier = apart(self.ds, body), self.landing(carrier_of(self.mission, body))
            own[0] = own[0] - self.liftoff
            return Landing(*(np.where(alone, mine, other) for mine, other in zip(own, carrier, strict=True)))
        own[0] = own[0] - self.liftoff
        return Landing(*(np.where(self.lost, np.nan, np.where(self.stayed, 0.0, each)) for each in own))

    def at(self, body: int, time: np.ndarray | float) -> np.ndarray:
        """Return east, north, height (m), (flights, times, 3), at times since liftoff: on the rail before it, at the landing place after it, NaN if lost."""
        times = np.atleast_1d(np.asarray(time, dtype=float))
        landing, out = self.landing(body), np.full((self.count, times.size, 3), np.nan)
        for i in range(self.count):
            if self.stayed[i]:
                out[i] = 0.0
            elif not self.lost[i]:
                out[i] = _at(self.track(body, i), times + self.liftoff[i])
                down = times >= landing.time[i]
                out[i, down] = landing.east[i], landing.north[i], 0.0
        return out

    def moving(self, body: int, time: float) -> tuple[np.ndarray, np.ndarray]:
        """Return place and velocity, (flights, 3) each, at an instant."""
        three = self.at(body, [time - STEP, time, time + STEP])
        return three[:, 1], (three[:, 2] - three[:, 0]) / (2.0 * STEP)

    def track(self, body: int, flight: int) -> Track:
        """Return the track of a body in one flight."""
        if body in self._tracks:
            return self._tracks[body][flight]
        columns = [self.ds[name].values[flight] for name in ("time", "east", "north", "height")]
        return _rising(*columns)

    def event(self, body: int, name: str) -> np.ndarray:
        """Return when something happened to a body, s since liftoff, (flights,); NaN where it did not."""
        if name not in self.ds["event"].values:
            return np.full(self.count, np.nan)
        return self.ds["event_time"].sel(event=name).values[:, body] - self.liftoff

    def stretched(self, body: int, canopy: str) -> np.ndarray:
        """Return when the lines of a canopy, of a body's first one for "", were stretched, (flights,); NaN where never, or where it was torn off."""
        own = [canopy] if canopy else canopies_of(self.mission, body)
        found = np.full(self.count, np.nan)
        for name in own:
            times = self.event(body, f"line stretch {name}")
            lost = f"canopy_lost: {name}"
            if "failure" in self.ds.dims and lost in self.ds["failure"].values:
                times = np.where(self.ds["failure_happened"].sel(failure=lost).values > 0, np.nan, times)
            found = np.fmin(found, times)
        return found


def carrier_of(mission: Mission, body: int) -> int:
    """Return the number of the body that carries another until it comes loose: the stage ahead of a stage, the stage of a harness."""
    if body < len(mission.stage):
        return body - 1
    names = [part.name for part in canopies(mission)]
    return canopy_stages(mission)[names.index(mission.harness[body - len(mission.stage)].canopy)]


def canopies_of(mission: Mission, body: int) -> list[str]:
    """Return the names of the canopies that a stage carries."""
    return [part.name for part, stage in zip(canopies(mission), canopy_stages(mission), strict=True) if stage == body]


def track_in(flight: xr.Dataset, mission: Mission, body: int) -> Track:
    """Return the track of a body in one flight with its whole timeline: with the body that carries it, then by itself."""
    if body == 0:
        return _rising(*(flight[name].values for name in ("time", "east", "north", "height")))
    own = _rising(*(flight[f"body_{name}"].values[body] for name in ("time", "east", "north", "height")))
    before = track_in(flight, mission, carrier_of(mission, body))
    if not own.time.size:
        return before
    kept = before.time < own.time[0]
    return Track(*(np.concatenate([first[kept], second]) for first, second in zip(before, own, strict=True)))


def _rising(time: np.ndarray, *columns: np.ndarray) -> Track:
    good = np.flatnonzero(np.isfinite(time) & np.isfinite(columns[-1]))
    good = good[np.append(np.diff(time[good]) > 0.0, True)] if good.size else good
    return Track(time[good], *(column[good] for column in columns))


def _at(track: Track, times: np.ndarray) -> np.ndarray:
    if not track.time.size:
        return np.full((times.size, 3), np.nan)
    return np.stack([np.interp(times, track.time, column) for column in track[1:]], axis=1)

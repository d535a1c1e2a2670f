"""How well a flight agrees with a piece of evidence that is a measured number: fixes, packets, sightings, finds, sounds, numbers of a log.

The density of what was observed, given a flight, is normal about what the flight predicts; a share `gross` of such pieces is of a broad density instead, as
wide as any flight reaches (A. E. Beaton & J. W. Tukey 1974 and others: heavy tails keep one outlier from deciding all; the broad densities are this
project's own).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, NamedTuple

import numpy as np
from scipy.special import log_ndtr, logsumexp, ndtr

from sixdof.postflight.hypotheses.flown import SOUND, Flown
from sixdof.postflight.hypotheses.tables import Fix, Heard, LastPacket, Logged, Recovered, Sighting

SOFT = 0.15  # of a threshold of speed: the standard deviation within which it is crossed
UNHEARD = 8.0  # standard deviations that an impact too soft to be heard is taken to miss by, where draws are guided


class Broad(NamedTuple):
    """How far anything may be off: distances (m) and heights (m) that flights reach, and how long they last (s)."""

    reach: float
    ceiling: float
    duration: float

    def place(self, east: float, north: float) -> float:
        """Return the log density of a place, normal about the rail with the reach as standard deviation."""
        return -0.5 * (east**2 + north**2) / self.reach**2 - np.log(2.0 * np.pi * self.reach**2)


class Judge(ABC):
    """One piece of evidence. body : number of the body, None any stage; east, north : its place or the observer's, m from the rail.

    Numbers (flights, columns) are what it is judged by, as `numbers` takes them from flights.
    """

    columns = 0
    needs_track = True
    counted = False  # whether it is a yes or a no

    def __init__(self, piece: Any, bodies: tuple[int, ...], east: float, north: float, broad: Broad):
        self.piece, self.bodies, self.east, self.north, self.broad = piece, bodies, east, north, broad

    @property
    def gross(self) -> float:
        """Return the share of such pieces that say nothing of the flight."""
        return float(getattr(self.piece, "gross", 0.0))

    @abstractmethod
    def numbers(self, flown: Flown) -> np.ndarray:
        """Return what the piece is judged by, (flights, columns), NaN where a flight has no such number."""

    @abstractmethod
    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the log density (flights,) of what was observed if it is no gross error; -inf where a flight has no such number."""

    @abstractmethod
    def log_broad(self) -> float:
        """Return the log density of what was observed if it has nothing to do with the flight."""

    @abstractmethod
    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what flights miss it by, (flights, k), in standard deviations; NaN where a flight has no such number."""

    def tail(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability (flights,) that a flight is missed by as much as this or more, were it what flew and the piece no gross error."""
        from scipy.stats import chi2

        misses = self.residuals(numbers)
        return np.nan_to_num(chi2.sf(np.sum(misses**2, axis=1), misses.shape[1]))

    def wrong(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability (flights,) that the piece says nothing of the flight, were it what flew."""
        return np.exp(_log(self.gross) + self.log_broad() - self.log_likelihood(numbers))

    def log_likelihood(self, numbers: np.ndarray) -> np.ndarray:
        """Return the log density (flights,) with gross errors."""
        return np.logaddexp(np.log1p(-self.gross) + self.log_core(numbers), _log(self.gross) + self.log_broad())


def _log(share: float) -> float:
    return float(np.log(share)) if share > 0.0 else -np.inf


def _normal(misses: np.ndarray, log_sd: np.ndarray | float) -> np.ndarray:
    """Return the log density (flights,) of whitened misses (flights, k). log_sd : sum of the logs of their standard deviations."""
    density = -0.5 * np.sum(misses**2, axis=-1) - log_sd - 0.5 * misses.shape[-1] * np.log(2.0 * np.pi)
    return np.where(np.isfinite(density), density, -np.inf)


def whitened(away: np.ndarray, sd: np.ndarray, rate: np.ndarray, time_error: float) -> tuple[np.ndarray, np.ndarray]:
    """Return differences (n, k) over their standard deviations where an error of time moves all of them along a rate (n, k), and the sum of log sd (n,)."""
    covariance = time_error**2 * rate[:, :, None] * rate[:, None, :] + np.diag(sd**2)
    known = np.isfinite(away).all(axis=1) & np.isfinite(rate).all(axis=1)
    factor = np.linalg.cholesky(np.where(known[:, None, None], covariance, np.eye(sd.size)))
    misses = np.linalg.solve(factor, np.where(known[:, None], away, np.nan)[:, :, None])[:, :, 0]
    return misses, np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1)


class FixJudge(Judge):
    """A place, perhaps a height, at a time."""

    columns = 6
    piece: Fix

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return place and velocity at its time."""
        return np.concatenate(flown.moving(self.bodies[0], self.piece.time), axis=1)

    def _missed(self, numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        piece, many = self.piece, 2 if self.piece.height is None else 3
        away = np.array([self.east, self.north, piece.height or 0.0])[:many] - numbers[:, :many]
        sd = np.array([piece.horizontal_error, piece.horizontal_error, piece.height_error])[:many]
        return whitened(away, sd, numbers[:, 3 : 3 + many], piece.time_error)

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the normal density of the place."""
        return _normal(*self._missed(numbers))

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what the place is off by."""
        return self._missed(numbers)[0]

    def log_broad(self) -> float:
        """Return the density of any place, and of any height."""
        return self.broad.place(self.east, self.north) - (0.0 if self.piece.height is None else np.log(self.broad.ceiling))


class PacketJudge(Judge):
    """Height and climb rate at a time."""

    columns = 2
    piece: LastPacket

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return height and climb rate at its time."""
        place, velocity = flown.moving(self.bodies[0], self.piece.time)
        return np.stack([place[:, 2], velocity[:, 2]], axis=1)

    def _missed(self, numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        piece, wanted = self.piece, [k for k, one in enumerate((self.piece.height, self.piece.climb_rate)) if one is not None]
        away = np.array([piece.height or 0.0, piece.climb_rate or 0.0]) - numbers
        rate = np.stack([numbers[:, 1], np.zeros(numbers.shape[0])], axis=1)
        return whitened(away[:, wanted], np.array([piece.height_error, piece.climb_rate_error])[wanted], rate[:, wanted], piece.time_error)

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the normal density of both."""
        return _normal(*self._missed(numbers))

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what they are off by."""
        return self._missed(numbers)[0]

    def log_broad(self) -> float:
        """Return the density of any height, and of any climb rate between falling and flying at 100 m/s."""
        return -(0.0 if self.piece.height is None else np.log(self.broad.ceiling)) - (0.0 if self.piece.climb_rate is None else np.log(200.0))


class RecoveredJudge(Judge):
    """Where a body was found."""

    columns = 2
    needs_track = False
    piece: Recovered

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return where it comes down."""
        landing = flown.landing(self.bodies[0])
        return np.stack([landing.east, landing.north], axis=1)

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what the place is off by."""
        return (np.array([self.east, self.north]) - numbers) / self.piece.error

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the normal density of the place."""
        return _normal(self.residuals(numbers), 2.0 * np.log(self.piece.error))

    def log_broad(self) -> float:
        """Return the density of any place."""
        return self.broad.place(self.east, self.north)


class LoggedJudge(Judge):
    """A number of the flight. value, error : in SI."""

    columns = 1
    needs_track = False
    piece: Logged
    value, error = 0.0, 1.0

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return the outcome of that name."""
        array = flown.ds[self.piece.quantity]
        values = array.values[:, self.bodies[0]] if "body" in array.dims else array.values
        return np.where(flown.lost, np.nan, values.astype(float))[:, None]

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what it is off by."""
        return (self.value - numbers) / self.error

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the normal density."""
        return _normal(self.residuals(numbers), np.log(self.error))

    def log_broad(self) -> float:
        """Return an even density over twice its size, or forty errors."""
        return -float(np.log(max(2.0 * abs(self.value), 40.0 * self.error)))


class SightingJudge(Judge):
    """Bearing, and perhaps elevation, from a place, of one body or of any stage."""

    piece: Sighting

    @property
    def columns(self) -> int:  # type: ignore[override]
        """Return six a body."""
        return 6 * len(self.bodies)

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return places and velocities of the bodies at its time."""
        return np.concatenate([each for body in self.bodies for each in flown.moving(body, self.piece.time)], axis=1)

    def _each(self, numbers: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        return [self._missed(numbers[:, 6 * k : 6 * k + 6]) for k in range(len(self.bodies))]

    def _missed(self, numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        piece = self.piece
        eye = np.array([self.east, self.north, piece.eye_height])
        first, second = (seen_from(eye, numbers[:, :3] + sign * STEP * numbers[:, 3:]) for sign in (-1.0, 1.0))
        now = seen_from(eye, numbers[:, :3])
        rate = np.stack([turned(second[0] - first[0]), second[1] - first[1]], axis=1) / (2.0 * STEP)
        seen = np.stack([turned(piece.bearing - now[0]), (piece.elevation or 0.0) - now[1]], axis=1)
        level = max(float(np.cos(piece.elevation or 0.0)), 0.05)  # overhead a bearing tells little
        many = 1 if piece.elevation is None else 2
        return whitened(seen[:, :many], np.array([piece.bearing_error / level, piece.elevation_error])[:many], rate[:, :many], piece.time_error)

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the normal density, of any body the mean of theirs."""
        logs = np.stack([_normal(*each) for each in self._each(numbers)])
        return logsumexp(logs, axis=0) - np.log(len(self.bodies))

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what the nearest body is off by."""
        misses = np.stack([each[0] for each in self._each(numbers)])
        return _least(misses)

    def log_broad(self) -> float:
        """Return an even density over the horizon, or over the sky."""
        return float(np.log(1.0 if self.piece.elevation is None else max(np.cos(self.piece.elevation), 0.05)) - np.log(2.0 * np.pi))


STEP = 0.25  # s


def seen_from(eye: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return bearing and elevation, rad, (n,), of places (n, 3) from an eye (3,)."""
    away = places - eye
    return np.arctan2(away[:, 0], away[:, 1]), np.arctan2(away[:, 2], np.hypot(away[:, 0], away[:, 1]))


def turned(angle: np.ndarray) -> np.ndarray:
    """Return an angle within half a turn of 0."""
    return (angle + np.pi) % (2.0 * np.pi) - np.pi


def _least(misses: np.ndarray) -> np.ndarray:
    """Return of misses (bodies, flights, k) those of the body that misses least, (flights, k)."""
    squares = np.sum(misses**2, axis=2)
    nearest = np.argmin(np.where(np.isfinite(squares), squares, np.inf), axis=0)
    return misses[nearest, np.arange(misses.shape[1])]


class HeardJudge(Judge):
    """An impact heard: the landing of a fast body, by the time that sound takes."""

    needs_track = False
    piece: Heard

    @property
    def columns(self) -> int:  # type: ignore[override]
        """Return two a body."""
        return 2 * len(self.bodies)

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return when each landing would be heard, and at which speed it is."""
        found = []
        for body in self.bodies:
            landing = flown.landing(body)
            found += [landing.time + np.hypot(landing.east - self.east, landing.north - self.north) / SOUND, landing.speed]
        return np.stack(found, axis=1)

    def _loud(self, speed: np.ndarray) -> np.ndarray:
        limit = max(self.piece.louder_than, 1e-3)
        return (speed - limit) / (SOFT * limit)

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the density of the time, of every body that is loud enough."""
        times, speeds = numbers[:, ::2], numbers[:, 1::2]
        logs = _normal(((self.piece.time - times) / self.piece.time_error)[:, :, None], np.log(self.piece.time_error)) + log_ndtr(self._loud(speeds))
        return logsumexp(np.where(np.isfinite(logs), logs, -np.inf), axis=1) - np.log(len(self.bodies))

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what the time is off by, of the body nearest to it, and how far it is from being loud enough."""
        times = (self.piece.time - numbers[:, ::2]) / self.piece.time_error
        quiet = UNHEARD * (1.0 - ndtr(self._loud(numbers[:, 1::2])))
        return _least(np.stack([times.T, quiet.T], axis=2))

    def tail(self, numbers: np.ndarray) -> np.ndarray:
        """Return the two-sided tail of the time; next to nothing of what is too quiet."""
        misses = self.residuals(numbers)
        return np.nan_to_num(2.0 * ndtr(-np.abs(misses[:, 0])) * (1.0 - misses[:, 1] / UNHEARD))

    def log_broad(self) -> float:
        """Return an even density over the time that flights last."""
        return -float(np.log(self.broad.duration))

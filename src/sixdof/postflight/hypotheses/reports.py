"""How well a flight agrees with a piece of evidence that is a yes or a no: silence, landed by a time, a canopy seen, looked for or searched in vain."""

from __future__ import annotations

from abc import abstractmethod

import numpy as np
from scipy.special import ndtr

from sixdof.postflight.hypotheses.flown import Flown
from sixdof.postflight.hypotheses.judges import SOFT, Judge, seen_from, turned
from sixdof.postflight.hypotheses.tables import CanopySeen, Landed, NotSeen, Searched, Silence

LOOKS = 9  # instants of the time in which somebody looked
SHARPEST = 0.2  # s: least width of a moment


class Report(Judge):
    """A yes or no whose probability follows from the flight; wrong reports are part of it, so it has no gross errors beside."""

    columns = 1
    needs_track = False
    counted = True

    @abstractmethod
    def probability(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability (flights,) of what was reported; NaN where a flight has no such number."""

    def log_core(self, numbers: np.ndarray) -> np.ndarray:
        """Return the log of the probability, of a half where a flight says nothing."""
        p = self.probability(numbers)
        return np.log(np.clip(np.where(np.isfinite(p), p, 0.5), 1e-12, 1.0))

    def log_broad(self) -> float:
        """Return the log of a half."""
        return -float(np.log(2.0))

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return how unlikely the report is, as so many standard deviations: the root of twice the log of its probability's inverse."""
        return np.sqrt(-2.0 * np.log(np.clip(self.probability(numbers), 1e-12, 1.0)))[:, None]

    def tail(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability of the report."""
        return np.exp(self.log_core(numbers))

    def wrong(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability (flights,) that the report is wrong, were that what flew: of its share of wrong ones, those that are."""
        share = float(getattr(self.piece, "wrong", 0.0))
        return np.where(share > 0.0, 1.0 - self._right(numbers), 0.0)

    def _right(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability that the report is right: P(report) = (1 - w) t + w (1 - t) of a truth t."""
        share, p = float(getattr(self.piece, "wrong", 0.0)), np.exp(self.log_core(numbers))
        truth = np.clip((p - share) / max(1.0 - 2.0 * share, 1e-9), 0.0, 1.0)
        return (1.0 - share) * truth / p


def _told(yes: np.ndarray, reported: bool, wrong: float) -> np.ndarray:
    """Return the probability of a report of what is true with the probability `yes`, if a share of reports is wrong."""
    right = yes if reported else 1.0 - yes
    return (1.0 - wrong) * right + wrong * (1.0 - right)


class SilenceReport(Report):
    """Nothing received."""

    columns = 2
    piece: Silence

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return when and how fast it lands."""
        landing = flown.landing(self.bodies[0])
        return np.stack([landing.time, landing.speed], axis=1)

    def probability(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability of hearing nothing: in the air, on the ground after it, or dead."""
        piece = self.piece
        end = np.inf if piece.end is None else piece.end
        down, speed = numbers[:, 0], numbers[:, 1]
        aloft = np.maximum(np.minimum(down, end) - max(piece.start, 0.0), 0.0)
        share = np.minimum(aloft / min(piece.heard_after, end - piece.start), 1.0)
        intact = ndtr((piece.survives - speed) / max(SOFT * piece.survives, 1e-3))
        on_ground = np.where(down < end, intact * piece.heard_on_ground, 0.0)
        unheard = (1.0 - piece.heard) ** share * (1.0 - on_ground)
        return piece.dead + (1.0 - piece.dead) * unheard


class LandedReport(Report):
    """Landed by a time, or not yet."""

    piece: Landed

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return when it lands; never counts as much later than any time asked for."""
        time = flown.landing(self.bodies[0]).time
        return np.where(flown.lost, np.nan, np.where(np.isfinite(time), time, 1e6))[:, None]

    def probability(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability of the report."""
        down = ndtr((self.piece.time - numbers[:, 0]) / max(self.piece.time_error, SHARPEST))
        return _told(down, self.piece.landed, self.piece.wrong)

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return how far the landing is on the wrong side of the time, in standard deviations."""
        late = (numbers[:, 0] - self.piece.time) / max(self.piece.time_error, SHARPEST)
        return np.maximum(late if self.piece.landed else -late, 0.0)[:, None]


class CanopyReport(Report):
    """A canopy seen, or the body without it."""

    columns = 2
    piece: CanopySeen

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return when its lines are stretched, and when the body lands; never counts as very late."""
        times = flown.stretched(self.bodies[0], self.piece.canopy)
        return np.stack([np.where(flown.lost, np.nan, np.where(np.isfinite(times), times, 1e6)), flown.landing(self.bodies[0]).time], axis=1)

    def probability(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability of what was seen."""
        if self.piece.time is None:
            out = (numbers[:, 0] < 1e5).astype(float)
        else:
            out = ndtr((self.piece.time - numbers[:, 0]) / max(self.piece.time_error, SHARPEST))
        return np.where(np.isfinite(numbers[:, 0]), _told(out, self.piece.seen, self.piece.wrong), np.nan)


class NotSeenReport(Report):
    """Looked for in a direction."""

    needs_track = True
    piece: NotSeen

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return the share of the time in which it was in the air where somebody looked."""
        piece, body = self.piece, self.bodies[0]
        times = np.linspace(piece.start, piece.end, LOOKS)
        places, down = flown.at(body, times), flown.landing(body).time
        eye = np.array([self.east, self.north, piece.eye_height])
        bearing, elevation = (each.reshape(places.shape[:2]) for each in seen_from(eye, places.reshape(-1, 3)))
        seen = (np.abs(turned(bearing - piece.bearing)) <= piece.half_width) & (elevation >= piece.lowest) & (elevation <= piece.highest)
        near = np.linalg.norm(places - eye, axis=2) <= piece.reach
        aloft = (times > 0.0) & ~(times >= down[:, None])
        return np.where(flown.lost, np.nan, (seen & near & aloft).mean(axis=1))[:, None]

    def probability(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability of not seeing it."""
        return 1.0 - self.piece.detection * numbers[:, 0]


class SearchedReport(Report):
    """Searched and not found."""

    columns = 2
    piece: Searched

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return where it comes down."""
        landing = flown.landing(self.bodies[0])
        return np.stack([landing.east, landing.north], axis=1)

    def probability(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability of not finding it."""
        return 1.0 - self.piece.detection * np.where(np.isfinite(numbers[:, 0]), ndtr(self._inside(numbers) / self.piece.edge), 0.0)

    def _inside(self, numbers: np.ndarray) -> np.ndarray:
        """Return how far inside of the searched ground places are, m, (flights,)."""
        if self.piece.radius is not None:
            return self.piece.radius - np.hypot(numbers[:, 0] - self.east, numbers[:, 1] - self.north)
        import shapely

        area, known = shapely.Polygon(self.piece.corners), np.isfinite(numbers[:, 0])
        points = shapely.points(np.where(known, numbers[:, 0], 0.0), np.where(known, numbers[:, 1], 0.0))
        return np.where(shapely.contains(area, points), 1.0, -1.0) * shapely.distance(area.exterior, points)

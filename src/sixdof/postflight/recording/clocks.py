"""The two clocks of a link: when the sender's began anew, how it runs against the receiver's, and what each packet took above the least."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

JUMP = 5.0  # s by which a sender's clock must leap, and stay, to have begun anew: no packet is on its way so long
RECENT = 20  # packets that a leap is judged against
FEWEST, SHORTEST = 10, 5.0  # packets and seconds that a drift is taken from
RESAMPLES = 40  # for the error of a drift


class Clock(NamedTuple):
    """A sender's clock against the receiver's: received = sent + offset + slope (sent - origin) + latency, the least latency counted into the offset, s.

    drift : by how much the sender's clock runs fast, a share, with its standard deviation; NaN where packets are too few to tell it from a latency.
    """

    origin: float
    offset: float
    slope: float
    drift: float
    drift_error: float

    def at_receiver(self, sent: np.ndarray) -> np.ndarray:
        """Return by the receiver's clock when packets were sent, later by the least latency, which one way alone cannot tell from the offset."""
        return sent + self.offset + self.slope * (sent - self.origin)


def sender_runs(sent: np.ndarray, received: np.ndarray) -> np.ndarray:
    """Return for each packet, in the order they came, which run of the sender's clock it is of, from 0.

    A new run begins where received - sent leaps by more than JUMP against the median of the packets before and the next two say the same: a single old packet
    is none. Packets without the sender's clock (NaN) go with those before.
    """
    runs = np.zeros(sent.size, dtype=int)
    known = np.flatnonzero(np.isfinite(sent))
    shift = (received - sent)[known]
    run, begin = 0, 0
    for k in range(1, known.size):
        usual = np.median(shift[max(begin, k - RECENT) : k])
        if abs(shift[k] - usual) > JUMP and (np.abs(shift[k : k + 3] - shift[k]) < JUMP).all():
            run, begin = run + 1, k
        runs[known[k]] = run
    last = 0
    for k in range(sent.size):
        last = runs[k] if np.isfinite(sent[k]) else last
        runs[k] = last
    return runs


def clock_of(sent: np.ndarray, received: np.ndarray) -> Clock:
    """Return the clock of one run: the line below all received - sent that lies nearest to them, s.

    Delays only add, so the line of the fastest packets is the clocks'. It is the edge of the lower convex hull that spans the mean of the times, which
    solves the linear programme of S. B. Moon, P. Skelly, D. Towsley (1999), Estimation and removal of clock skew from network delay measurements, IEEE
    INFOCOM. The error is the standard deviation over resamples of the packets, of a fixed seed. A latency that grows steadily reads as drift: one way cannot
    tell them apart.
    """
    shift = received - sent
    origin = float(sent[0])
    if sent.size < FEWEST or np.ptp(sent) < SHORTEST:
        return Clock(origin, float(shift.min()), 0.0, math.nan, math.nan)
    height, slope = _below(sent - origin, shift)
    random = np.random.default_rng(0)
    others = []
    for _ in range(RESAMPLES):
        rows = np.unique(random.integers(sent.size, size=sent.size))
        others.append(_below(sent[rows] - origin, shift[rows])[1])
    return Clock(origin, height, slope, _fast(slope), float(np.std([_fast(one) for one in others], ddof=1)))


def _fast(slope: float) -> float:
    """Return by how much a clock runs fast whose received - sent grows by `slope` a second of it."""
    return 1.0 / (1.0 + slope) - 1.0


def _below(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Return (height at x = 0, slope) of the line below all points whose summed distance is least."""
    order = np.lexsort((y, x))
    middle = float(x.mean())
    hull: list[tuple[float, float]] = []
    for point in zip(x[order].tolist(), y[order].tolist()):
        while len(hull) > 1 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    for (x0, y0), (x1, y1) in zip(hull, hull[1:]):
        if x0 <= middle <= x1 and x1 > x0:
            slope = (y1 - y0) / (x1 - x0)
            return y0 - slope * x0, slope
    return float(y.min()), 0.0


def _turns_down(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Tell whether b does not lie below the line from a to c."""
    return (b[0] - a[0]) * (c[1] - a[1]) <= (b[1] - a[1]) * (c[0] - a[0])

"""Several firings of a motor: mean, scatter, what the next one will do, outliers; the mean curve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.stats import t as student

from sixdof.study.motor_choice.scatter import SCATTER
from sixdof.study.static_firing.firing import Firing
from sixdof.study.uncertainty.claims import normal_tolerance_factor
from sixdof.study.uncertainty.statistics import Interval, deviation_interval, mean_interval
from sixdof.vehicle.motor import running_impulse

ALIGNMENTS = ("burn_time", "ignition")
GRID = 1200  # points of the mean curve
BEFORE, BEHIND = 0.08, 0.35  # of the burn time, that curves are shown ahead of ignition and behind burnout
OUTLYING = 0.05  # chance of calling an outlier where there is none
COVERED = 0.95  # of all motors, that a tolerance bound is about
MANY = 10**9  # degrees of freedom at which Student is normal
FEWEST = 5  # firings from which on a correlation is more than chance


class Scatter(NamedTuple):
    """Of one quantity over n firings.

    mean, deviation : with intervals at the confidence. own : standard deviation of the motors without that of measuring. bound : below which the lowest 5 %
    of motors lie, at most, NaN for one firing. spread : standard deviation for `[disperse]`, over the mean. assumed : whether it rests on one firing.
    """

    mean: Interval
    deviation: Interval
    own: float
    bound: float
    spread: float
    assumed: bool


def scatter_of(values: np.ndarray, errors: np.ndarray, common: float, usual: float, confidence: float) -> Scatter:
    """Return mean and scatter of one quantity (n,). errors : random ones (n,).

    common : share that all have alike. usual : scatter that stands for that of one firing alone, a share.

    The spread for `[disperse]` is the one of a normal distribution as wide as the prediction for the next motor, at the confidence: Student's t times
    s sqrt(1 + 1/n) (G. J. Hahn & W. Q. Meeker, 1991, Statistical Intervals, ch. 4), so that few firings spread widely, with the common error, by which
    the interval of the mean (Student's) is widened too.
    """
    n, mean = values.size, float(values.mean())
    if n == 1:
        nothing = Interval(math.nan, 0.0, math.inf)
        return Scatter(Interval(mean, -math.inf, math.inf), nothing, math.nan, math.nan, math.hypot(usual, errors[0] / mean, common), True)
    s = float(values.std(ddof=1))
    wide = student.ppf(0.5 + 0.5 * confidence, n - 1) / student.ppf(0.5 + 0.5 * confidence, MANY)
    student_half = mean_interval(values, confidence).high - mean
    half = math.hypot(student_half, float(student.ppf(0.5 + 0.5 * confidence, MANY)) * common * mean)
    return Scatter(
        Interval(mean, mean - half, mean + half),
        deviation_interval(values, confidence),
        math.sqrt(max(s**2 - float(np.mean(errors**2)), 0.0)),
        mean - normal_tolerance_factor(n, COVERED, confidence) * s,
        math.hypot(wide * s * math.sqrt(1.0 + 1.0 / n) / mean, common),
        False,
    )


def outliers(values: np.ndarray) -> np.ndarray:
    """Return which of the values is an outlier, bool (n,): at most one, of three or more (F. E. Grubbs, 1969, Technometrics 11, 1-21, eq. 1)."""
    n = values.size
    out = np.zeros(n, dtype=bool)
    if n < 3 or not values.std() > 0.0:
        return out
    away = np.abs(values - values.mean()) / values.std(ddof=1)
    t = student.ppf(1.0 - OUTLYING / (2.0 * n), n - 2)
    out[np.argmax(away)] = away.max() > (n - 1) / math.sqrt(n) * math.sqrt(t**2 / (n - 2 + t**2))
    return out


def correlation_of(impulse: np.ndarray, burn_time: np.ndarray) -> float:
    """Return the correlation of impulse and burn time, NaN for fewer than five firings."""
    if impulse.size < FEWEST or not (impulse.std() > 0.0 and burn_time.std() > 0.0):
        return math.nan
    return float(np.corrcoef(impulse, burn_time)[0, 1])


def usual_scatter() -> tuple[float, float]:
    """Return the standard deviations of impulse and burn time that a choice of motors draws where nothing is measured."""
    return SCATTER[0], SCATTER[1]


class MeanCurve(NamedTuple):
    """time : s from the beginning of the burn (5 %), (points,). force : N, of the mean. each : of every firing, aligned alike, (firings, points)."""

    time: np.ndarray
    force: np.ndarray
    each: np.ndarray


def mean_curve(firings: Sequence[Firing], alignment: str) -> MeanCurve:
    """Return the mean of the curves, with the mean impulse.

    alignment : "burn_time", each curve from 5 % to 5 % stretched to the mean burn time, its impulse kept, so that ignition and tail-off stay steep; or
    "ignition", each from its first 5 % on.
    """
    starts, lengths = np.array([one.ends[0, 0] for one in firings]), np.array([one.burn_times[0] for one in firings])
    middle = float(lengths.mean())
    time = np.linspace(-BEFORE * middle, (1.0 + BEHIND) * (middle if alignment == "burn_time" else float(lengths.max())), GRID)
    stretch = lengths / middle if alignment == "burn_time" else np.ones(len(firings))
    each = np.array([k * np.interp(start + k * time, one.time, one.force, left=0.0, right=0.0) for one, start, k in zip(firings, starts, stretch, strict=True)])
    force = each.mean(axis=0)
    total = float(np.mean([one.thrust.total for one in firings]))
    return MeanCurve(time, force * (total / running_impulse(time, force)[-1]), each)


def burning_part(curve: MeanCurve, noise: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the mean curve from where it leaves zero to where it is back, s and N: at 0.2 % of its largest or twice the noise (N)."""
    level = max(0.002 * float(curve.force.max()), 2.0 * noise)
    burning = np.flatnonzero(curve.force >= 0.05 * curve.force.max())
    below = np.flatnonzero(curve.force < level)
    first = below[below < burning[0]]
    last = below[below > burning[-1]]
    part = slice(int(first[-1]) if first.size else 0, int(last[0]) + 1 if last.size else curve.force.size)
    return curve.time[part], np.maximum(curve.force[part], 0.0)

"""A damped sinusoid fitted to a series: frequency, damping, their errors, and the chance that noise alone looks so.

y = c0 + c1 t + c2 t^2 + exp(-s t) (a cos w t + b sin w t). For every w and s of a grid the five others follow from a linear fit (variable projection:
G. H. Golub, V. Pereyra, SIAM Journal on Numerical Analysis 10, 1973); from the best of them all seven are fitted by least squares. The lowest variance that
any unbiased estimate of w may have is that of D. C. Rife, R. R. Boorstyn, IEEE Transactions on Information Theory 20, 1974, eq. 17; half of
the information of their complex tone is in a real one.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares

LEAST_SAMPLES = 12
FINE = 6  # frequencies of the grid in 1/duration
DECAYS = (-1.0, 0.0, 0.7, 1.5, 3.0, 6.0)  # s of the grid times the duration
LEAST_CYCLES = 0.8  # in the series
EVEN = 0.01  # spread of the steps over their median, below which samples are even
BLOCK = 2_000_000  # numbers of the grid that are held at a time


class Damped(NamedTuple):
    """A fit. frequency : damped, Hz. natural : of the undamped oscillation, Hz. damping : ratio. decrement : logarithmic. Each with its standard deviation.

    amplitude : at the middle. chance : that noise alone fits as well anywhere on the grid. fitted : (n,). noise : standard deviation of what is left.
    """

    frequency: float
    frequency_error: float
    natural: float
    natural_error: float
    damping: float
    damping_error: float
    decrement: float
    decrement_error: float
    amplitude: float
    chance: float
    noise: float
    fitted: np.ndarray


def fit(time: np.ndarray, values: np.ndarray, error: np.ndarray | None = None, highest: float | None = None) -> Damped:
    """Return the damped sinusoid of values (n,) at rising times (n,), s. error : standard deviations (n,), alike and unknown where None.

    highest : frequency that is looked for, Hz; half the rate of even samples. Raises ValueError for fewer than LEAST_SAMPLES, and what does not vary.
    """
    if time.size < LEAST_SAMPLES:
        raise ValueError(f"{time.size} readings are too few to tell an oscillation from a trend; {LEAST_SAMPLES} or more are needed")
    middle, span = 0.5 * (time[0] + time[-1]), time[-1] - time[0]
    t, weight = time - middle, np.ones(time.size) if error is None else 1.0 / error
    top = 0.5 / float(np.median(np.diff(time))) if highest is None else highest
    if not LEAST_CYCLES / span < top:
        raise ValueError(f"the readings last {span:.2f} s, which is too short for any frequency below {top:.2f} Hz")
    trend = _trend(t, span) * weight[:, None]
    q, _ = np.linalg.qr(trend)
    y = weight * values
    left = y - q @ (q.T @ y)
    if not left @ left > 1e-24 * max(float(y @ y), 1e-300):
        raise ValueError("the readings lie on a parabola; nothing oscillates")
    start, explained = _best_of_grid(t, span, weight, q, left, top)
    found = least_squares(_residuals, _linear_start(start, t, span, weight, y), args=(t, span, weight, y), x_scale="jac", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    return _fitted(found, t, span, weight, error is None, _chance(explained, t.size))


def _best_of_grid(t, span: float, weight, q, left, top: float) -> tuple[tuple[float, float], float]:
    """Return (angular frequency, decay) of the grid that explain most of what a trend leaves, and the share that they explain."""
    frequencies = np.arange(LEAST_CYCLES / span, top + 0.5 / (FINE * span), 1.0 / (FINE * span))
    best, most = (0.0, 0.0), -1.0
    size = max(1, BLOCK // t.size)
    for decay in np.array(DECAYS) / span:
        envelope = np.exp(-decay * t) * weight
        for first in range(0, frequencies.size, size):
            phase = 2.0 * np.pi * frequencies[first : first + size, None] * t
            c, s = (_without(wave(phase) * envelope, q) for wave in (np.cos, np.sin))
            cc, ss, cs = (np.einsum("ft,ft->f", a, b) for a, b in ((c, c), (s, s), (c, s)))
            yc, ys = c @ left, s @ left
            det = cc * ss - cs**2
            with np.errstate(divide="ignore", invalid="ignore"):
                gain = np.where(det > 1e-9 * cc * ss, (ss * yc**2 - 2.0 * cs * yc * ys + cc * ys**2) / det, 0.0)
            k = int(np.argmax(gain))
            if gain[k] > most:
                best, most = (2.0 * math.pi * float(frequencies[first + k]), float(decay)), float(gain[k])
    return best, most / float(left @ left)


def _without(waves: np.ndarray, q: np.ndarray) -> np.ndarray:
    return waves - (waves @ q) @ q.T


def _basis(omega: float, decay: float, t: np.ndarray, span: float) -> np.ndarray:
    envelope = np.exp(-decay * t)
    return np.column_stack([_trend(t, span), envelope * np.cos(omega * t), envelope * np.sin(omega * t)])


def _trend(t: np.ndarray, span: float) -> np.ndarray:
    return np.stack([np.ones(t.size), t / span, (t / span) ** 2], axis=1)


def _linear_start(start: tuple[float, float], t, span: float, weight, y) -> np.ndarray:
    basis = _basis(*start, t, span) * weight[:, None]
    return np.concatenate([start, np.linalg.lstsq(basis, y, rcond=None)[0]])


def _residuals(x: np.ndarray, t, span: float, weight, y) -> np.ndarray:
    return weight * (_basis(x[0], x[1], t, span) @ x[2:]) - y


def _chance(explained: float, count: int) -> float:
    """Return the chance that noise alone is explained so well by the best of some 3 count trials: count/2 independent frequencies, between which it may lie,
    each with a choice of decays."""
    one = max(1.0 - explained, 0.0) ** (0.5 * (count - 5))
    trials = 3.0 * count
    return float(-math.expm1(trials * math.log1p(-min(one, 1.0 - 1e-16))))


def _fitted(found, t, span: float, weight, own_noise: bool, chance: float) -> Damped:
    omega, decay = abs(float(found.x[0])), float(found.x[1])
    freedom = max(t.size - found.x.size, 1)
    scatter = 2.0 * float(found.cost) / freedom
    size = np.maximum(np.linalg.norm(found.jac, axis=0), 1e-300)
    covariance = np.linalg.pinv((found.jac / size).T @ (found.jac / size), hermitian=True) / np.outer(size, size)
    covariance = covariance[:2, :2] * (scatter if own_noise else max(scatter, 1.0))
    radius = math.hypot(omega, decay)
    zeta = decay / radius
    slopes = {  # of (omega, decay)
        "frequency": np.array([1.0, 0.0]) / (2.0 * math.pi),
        "natural": np.array([omega, decay]) / (2.0 * math.pi * radius),
        "damping": np.array([-omega * decay, omega**2]) / radius**3,
        "decrement": 2.0 * math.pi * np.array([-decay / omega**2, 1.0 / omega]),
    }
    sd = {name: math.sqrt(max(float(g @ covariance @ g), 0.0)) for name, g in slopes.items()}
    fitted = _basis(omega, decay, t, span) @ np.array([*found.x[2:6], found.x[6] * math.copysign(1.0, found.x[0])])
    noise = math.sqrt(scatter) * (1.0 if own_noise else float(np.sqrt(np.mean(1.0 / weight**2))))
    return Damped(
        omega / (2.0 * math.pi),
        sd["frequency"],
        radius / (2.0 * math.pi),
        sd["natural"],
        zeta,
        sd["damping"],
        2.0 * math.pi * decay / omega,
        sd["decrement"],
        math.hypot(found.x[5], found.x[6]),
        chance,
        noise,
        fitted,
    )


def sampling_rate(time: np.ndarray) -> float:
    """Return the rate of even samples, Hz; NaN where they are not even: then no frequency looks like another one."""
    steps = np.diff(time)
    step = float(np.median(steps))
    return 1.0 / step if np.abs(steps - step).max() < EVEN * step else math.nan


def aliases(frequency: float, rate: float, count: int = 3) -> np.ndarray:
    """Return the `count` lowest frequencies (Hz) that look like this one in samples at a rate: |f + k rate|, k = 0, -1, 1, ..."""
    turns = np.arange(-count, count + 1)
    return np.sort(np.abs(frequency + turns * rate))[:count]

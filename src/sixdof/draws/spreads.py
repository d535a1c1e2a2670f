"""Quantile functions of the spreads: one uniform number in, one draw out, so that any sampling of (0, 1) and copulas work."""

from __future__ import annotations

import numpy as np

from sixdof.mission.tables import Spread

FARTHEST_CUT = 30.0  # standard deviations: beyond, probabilities are no normal numbers any more
FARTHEST = 8.5  # standard deviations: no draw lies beyond (the smallest uniform is 2^-53), so a cut there cuts nothing


_SHARES = (np.arange(1e5) + 0.5) / 1e5  # whose quantiles stand for a spread: its sd to a ten-thousandth


def spread_of(spread: Spread, name: str) -> Spread:
    """Return how a quantity varies for one stage, joint, canopy ...: the normal spread of its own where it has one."""
    own = spread.of.get(name)
    return spread if own is None else Spread.model_construct(kind="normal", mean=own.mean, sd=own.sd)


def deviation(spread: Spread | None, nominal: float, name: str = "") -> float:
    """Return the standard deviation of a spread, in its own unit; 0 for none. nominal : the draw that changes nothing. name : of one stage, joint ... alone."""
    return 0.0 if spread is None else float(np.std(quantile(spread_of(spread, name), _SHARES, nominal)))


def quantile(spread: Spread, u, nominal: float, least: float | None = None) -> np.ndarray:
    """Return the value below which a share `u` (array, 0..1 exclusive) of a spread's draws lie.

    spread : as a loaded mission holds it, its numbers complete, in order and in SI. nominal : the mean or median where the spread
    leaves it out, and what a Bernoulli spread draws besides its `value`. least : a normal or lognormal spread is cut there,
    renormalised as at its own `low`. Every kind rises with u. Raises ValueError if a cut leaves nothing.
    """
    u = np.asarray(u, dtype=float)
    mean = nominal if spread.mean is None else spread.mean
    if spread.kind == "normal":
        return _normal(spread, u, mean, least)
    if spread.kind == "lognormal":
        return _lognormal(spread, u, nominal if spread.median is None else spread.median, least)
    if spread.kind == "uniform":
        return spread.low + u * (spread.high - spread.low)
    if spread.kind == "triangular":
        return _triangular(spread.low, spread.mode, spread.high, u)
    if spread.kind == "discrete":
        return _discrete(spread, u)
    if spread.kind == "bernoulli":
        return _bernoulli(spread.value, spread.probability, nominal, u)
    if spread.kind == "empirical":
        return _empirical(np.array(spread.values), u)
    return np.full(u.shape, mean)


def _cuts(spread: Spread, least: float | None) -> tuple[float, float]:
    low = -np.inf if spread.low is None else spread.low
    low = low if least is None else max(low, least)
    high = np.inf if spread.high is None else spread.high
    if not low < high:
        raise ValueError(f"no draw lies above {low:g} and below high = {high:g}; raise high")
    return low, high


def _normal(spread: Spread, u: np.ndarray, mean: float, least: float | None) -> np.ndarray:
    from scipy.special import ndtri  # inside, as below: a tenth of a second to import, and a flight as written draws nothing

    low, high = _cuts(spread, least)
    if spread.sd == 0.0:
        return np.full(u.shape, np.clip(mean, low, high))
    a, b = (low - mean) / spread.sd, (high - mean) / spread.sd
    if a < -FARTHEST and b > FARTHEST:
        return mean + spread.sd * ndtri(u)
    return np.clip(mean + spread.sd * _cut_scores(u, a, b), low, high)  # clip: rounding may step over a cut


def _lognormal(spread: Spread, u: np.ndarray, median: float, least: float | None) -> np.ndarray:
    from scipy.special import ndtri

    low, high = _cuts(spread, least)
    if spread.log_sd == 0.0:
        return np.full(u.shape, np.clip(median, low, high))
    a, b = (np.log(cut / median) / spread.log_sd if cut / median > 0.0 else -np.inf for cut in (low, high))
    if a < -FARTHEST and b > FARTHEST:
        return median * np.exp(spread.log_sd * ndtri(u))
    return np.clip(median * np.exp(spread.log_sd * _cut_scores(u, a, b)), low, high)


def _cut_scores(u: np.ndarray, a: float, b: float) -> np.ndarray:
    """Return the quantiles of a standard normal cut at a and b.

    In the lower half of the bell, where probabilities keep their digits: the same as scipy's to 1e-14 up to cuts at 30 standard deviations.
    """
    from scipy.special import ndtr, ndtri

    if a > FARTHEST_CUT or b < -FARTHEST_CUT:
        from scipy.stats import truncnorm  # half a second to import, so only for what needs it

        return truncnorm.ppf(u, a, b)
    if a + b > 0.0:
        return -_cut_scores(1.0 - u, -b, -a)
    low, high = ndtr(a), ndtr(b)
    return ndtri(low + u * (high - low))


def _triangular(low: float, mode: float, high: float, u: np.ndarray) -> np.ndarray:
    rising = low + np.sqrt(u * (high - low) * (mode - low))
    falling = high - np.sqrt((1.0 - u) * (high - low) * (high - mode))
    return np.where(u * (high - low) < mode - low, rising, falling)


def _discrete(spread: Spread, u: np.ndarray) -> np.ndarray:
    """Return the smallest value that at least a share u of the weights does not exceed."""
    values = np.array(spread.values)
    weights = np.array(spread.weights) if spread.weights else np.ones(values.size)
    rising = np.argsort(values, kind="stable")
    shares = np.cumsum(weights[rising])
    return values[rising][np.searchsorted(shares / shares[-1], u, side="left")]


def _bernoulli(value: float, probability: float, nominal: float, u: np.ndarray) -> np.ndarray:
    drawn = u > 1.0 - probability if value >= nominal else u <= probability
    return np.where(drawn, value, nominal)


def _empirical(values: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Return x_k of n values in rising order with k = ceil(n u): the inverse of their distribution, each as often as another."""
    rank = np.ceil(u * values.size).astype(int) - 1
    return values[np.clip(rank, 0, values.size - 1)]  # clip: rounding

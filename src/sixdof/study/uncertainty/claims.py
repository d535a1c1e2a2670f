"""What a number of flights can show: flights needed for a claim, the share shown, a criterion judged.

A claim is "at least this share of all flights is good", made with a confidence: a vehicle that is worse than claimed would
get the claim in at most 1 - confidence of all such ensembles. "Coverage, confidence" is the order of arguments everywhere:
95 % with 99 % is not 99 % with 95 %.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.special import betainc, ndtri
from scipy.stats import nct

from sixdof.study.uncertainty.statistics import check_share, known_values, share_interval

PASS, FAIL, UNDECIDED = "pass", "fail", "undecided"
_ROUNDING = 1e-12  # a confidence met up to this counts as met: 1 - 0.9^2 must be enough for 0.19
_MOST = 2**52  # flights; beyond it a float no longer counts one by one


def flights_needed(coverage: float, confidence: float, failures: int = 0, sides: int = 1) -> int:
    """Return the fewest flights that show "at least `coverage` of all flights" with `confidence`, given some failures.

    S. S. Wilks (1941, 1942), Ann. Math. Stat. 12, 91-96 and 13, 400-409. One side: of N flights `failures` break a limit;
    or, the same, the limit is put at the (failures + 1)-th largest value seen. Two sides: both limits are, the
    (failures + 1)-th smallest and largest. 0.95 and 0.95 take 59 flights without a failure.

    Examples
    --------
    >>> sixdof.stats.flights_needed(0.95, 0.95)
    59
    """
    check_share(coverage, "coverage")
    check_share(confidence, "confidence")
    if not _whole(failures) or failures < 0:
        raise ValueError(f"failures = {failures!r} must be a whole number, 0 or more")
    if sides not in (1, 2):
        raise ValueError(f"sides = {sides!r} must be 1 (a limit) or 2 (a range)")
    allowed = sides * (failures + 1) - 1
    return _fewest(lambda n: _shows(n, allowed, coverage, confidence), allowed + 1)


def coverage_shown(flights: int, failures: int, confidence: float) -> float:
    """Return the largest share of all flights that so many, with so many failures, show to be good with `confidence`.

    The inverse of `flights_needed` on one side, and the lower Clopper-Pearson bound: 59 flights without a failure show
    95 % with 95 %. No flights show 0.

    Examples
    --------
    >>> round(sixdof.stats.coverage_shown(59, 0, 0.95), 3)
    0.95
    """
    if not (_whole(flights) and _whole(failures) and 0 <= failures <= flights):
        raise ValueError(f"flights = {flights!r} and failures = {failures!r} must be whole, with 0 <= failures <= flights")
    return share_interval(flights - failures, flights, confidence, "lower").low


def normal_tolerance_factor(flights: int, coverage: float, confidence: float) -> float:
    """Return k so that mean + k sample standard deviations lies above `coverage` of all flights with `confidence`.

    It needs fewer flights than `flights_needed`, and holds for normal values only. By the noncentral t distribution,
    k = t(confidence; n - 1, z sqrt(n))/sqrt(n) with z the normal quantile of coverage (D. B. Owen, 1968, Technometrics 10,
    445-478).

    Examples
    --------
    >>> round(sixdof.stats.normal_tolerance_factor(50, 0.95, 0.9), 2)
    1.97
    """
    check_share(coverage, "coverage")
    check_share(confidence, "confidence")
    if not _whole(flights) or flights < 2:
        raise ValueError(f"flights = {flights!r} must be a whole number, 2 or more")
    root = math.sqrt(flights)
    return float(nct.ppf(confidence, flights - 1, root * ndtri(coverage))) / root


# ---------------------------------------------------------------- verdicts


class Verdict(NamedTuple):
    """What `judge` found.

    verdict : "pass", "fail" or "undecided"
    share : share of the flights judged that hold the criterion, NaN for none
    low, high : one-sided bounds of the true share; each holds with the confidence by itself
    flights, failures : flights judged, and those of them that do not hold it
    dropped : flights omitted because they were NaN
    more_flights : how many more decide it (pass) if no more of them fail: the fewest possible; 0 once decided
    more_flights_at_this_rate : how many more decide it if failures go on at just the observed rate; inf where that rate
        is the very limit, so that no number decides
    """

    verdict: str
    share: float
    low: float
    high: float
    flights: int
    failures: int
    dropped: int
    more_flights: int
    more_flights_at_this_rate: int | float


def judge(holds, share: float = 0.99, confidence: float = 0.9) -> Verdict:
    """Judge "at least `share` of all flights hold the criterion" from the flights flown.

    Pass if the one-sided lower Clopper-Pearson bound reaches `share`, fail if the upper one lies below it. A vehicle that
    does not keep `share` passes, and one that does keep it fails, in at most 1 - confidence of such ensembles each.
    That holds for one look at a number of flights chosen beforehand. Who flies more until something is decided looks
    again and again, and errs more often: at the very limit of 99 %, judged with 90 % after every 100 flights up to 2000,
    25 % of ensembles pass and 27 % fail. Choose the number first (`flights_needed`), or judge with a higher confidence
    (97 % keeps both below 10 % there).

    Parameters
    ----------
    holds : (flights,) bool, or 1, 0 and NaN for a flight that is not to be judged: it is omitted and counted. A comparison
        such as `ds.apogee_height < ceiling` is False where a flight has no value, so such a flight counts as a failure.
    confidence : 0.5 or more, so that pass and fail exclude each other

    Raises
    ------
    ValueError
        For other values, a share outside 0..1 or a confidence outside 0.5..1.

    Examples
    --------
    >>> sixdof.stats.judge([True] * 60, 0.95, 0.9).verdict
    'pass'
    """
    check_share(share)
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence = {confidence!r} must be at least 0.5 and below 1, such as 0.9")
    known, dropped = known_values(holds, "judge")
    if not np.isin(known, (0.0, 1.0)).all():
        raise ValueError("judge takes True or False for every flight, NaN for one to omit, and finds other numbers")
    n, failures = len(known), int(np.sum(known == 0.0))
    observed, low, _ = share_interval(n - failures, n, confidence, "lower")
    high = share_interval(n - failures, n, confidence, "upper").high
    verdict = PASS if _shows(n, failures, share, confidence) else FAIL if _refutes(n, failures, share, confidence) else UNDECIDED
    more = (0, 0) if verdict != UNDECIDED else _more(n, failures, share, confidence)
    return Verdict(verdict, observed, low, high, n, failures, dropped, *more)


def _more(n, failures, share, confidence) -> tuple[int, int | float]:
    """Return how many more flights decide if none of them fails, and if they fail at the observed rate."""
    none_fails = flights_needed(share, confidence, failures) - n
    if not failures:
        return none_fails, none_fails
    rate = failures / n
    if math.isclose(rate, 1.0 - share, rel_tol=1e-9):
        return none_fails, math.inf
    decides = _shows if rate < 1.0 - share else _refutes
    return none_fails, _fewest(lambda total: decides(total, rate * total, share, confidence), n) - n


# ---------------------------------------------------------------- the rule itself


def _whole(number) -> bool:
    return isinstance(number, int | np.integer) and not isinstance(number, bool)


def _shows(n: float, failures: float, share: float, confidence: float) -> bool:
    """Return whether n flights with so many failures show that `share` of all are good: P[Bin(n, 1 - share) > failures] >= confidence.

    Written as the incomplete beta function, which also takes numbers of failures that are not whole.
    """
    return n > failures and betainc(failures + 1.0, n - failures, 1.0 - share) >= confidence - _ROUNDING


def _refutes(n: float, failures: float, share: float, confidence: float) -> bool:
    """Return whether they show that fewer than `share` are good: P[Bin(n, 1 - share) >= failures] < 1 - confidence."""
    return failures > 0.0 and betainc(failures, n - failures + 1.0, 1.0 - share) < 1.0 - confidence


def _fewest(enough, least: int) -> int | float:
    """Return the smallest whole number, `least` or more, at which `enough` turns true for good; inf where it does not."""
    if enough(least):
        return least
    low, high = least, 2 * least
    while not enough(high):
        low, high = high, 2 * high
        if high > _MOST:
            return math.inf
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high

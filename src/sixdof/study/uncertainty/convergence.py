"""How an ensemble's numbers settle as flights are added, and whether they are precise enough to stop."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.study.uncertainty.statistics import Interval, check_share, deviation_interval, known_values, mean_interval, quantile_interval, share_interval

STATISTICS = ("mean", "deviation", "quantile", "share")


def running(values, statistic: str = "mean", *, q: float | None = None, confidence: float = 0.9, points: int = 50) -> xr.Dataset:
    """Return a statistic of the first 1, 2, ... flights, in their order, with its interval.

    Each interval holds with the confidence by itself, not all of them together.

    Parameters
    ----------
    values : (flights,), NaN where a flight has none: such flights are omitted and counted in `dropped`
    statistic : "mean" (Student's interval), "deviation" (standard; its interval holds for normal values), "quantile"
        (order statistics; give q) or "share" (of values that are true; Clopper-Pearson)
    points : at most so many numbers of flights, spread evenly over their logarithm; the last is all of them

    Returns
    -------
    Dataset
        estimate, low, high (flights), in the units of the values; infinite where too few flights bound nothing.

    Raises
    ------
    ValueError
        Where no flight has a value, for an unknown statistic, a q missing or out of place, or values that do not fit.

    Examples
    --------
    >>> settled = sixdof.stats.running(flights.apogee_height, points=5)
    >>> sorted(settled.data_vars)[:2]
    ['dropped', 'estimate']
    """
    known, dropped = known_values(values, "running")
    _check(known, statistic, q)
    if not len(known):
        raise ValueError(f"running needs at least one flight with a value, and none of {dropped} has one")
    if points < 1:
        raise ValueError(f"points = {points!r} must be 1 or more")
    numbers = np.unique(np.round(np.geomspace(len(known), 1, points)).astype(int))
    found = [_statistic(known[:n], statistic, q, confidence) for n in numbers]
    attrs = getattr(values, "attrs", {})
    units, text = attrs.get("units", "1") if statistic != "share" else "1", attrs.get("long_name", "value")
    title = {"quantile": f"{100.0 * q:g} % quantile" if q else "", "deviation": "standard deviation"}.get(statistic, statistic)
    columns = zip(("estimate", "low", "high"), zip(*found, strict=True), ("", ", lower bound", ", upper bound"), strict=True)
    entries = {name: ("flights", np.array(column), {"units": units, "long_name": f"{text}, {title}{end}"}) for name, column, end in columns}
    entries["dropped"] = ((), dropped, {"units": "1", "long_name": "flights without a value"})
    coords = {"flights": ("flights", numbers, {"units": "1", "long_name": "flights with a value"})}
    return xr.Dataset(entries, coords, attrs={"statistic": statistic, "confidence": confidence} | ({"q": q} if q else {}))


def precise_enough(values, half_width: float, *, statistic: str = "mean", q: float | None = None, confidence: float = 0.9, least: int = 30) -> bool:
    """Return whether both ends of a statistic's interval lie within `half_width` of its estimate: time to stop flying.

    Statistics as in `running`. Stopping as soon as this turns true keeps the confidence only roughly: an ensemble that by
    chance scatters little stops early (Y. S. Chow & H. Robbins, 1965, Ann. Math. Stat. 36, 457-462, show that the loss
    goes as the half width shrinks). It is never true of fewer than `least` values, so that a few equal ones end nothing.

    values : one number per flight. statistic, q, confidence : as for `running`. least : flights before which the answer is no.

    Examples
    --------
    >>> sixdof.stats.precise_enough(flights.apogee_height, 1000.0)
    True
    """
    if not half_width > 0.0:
        raise ValueError(f"half_width = {half_width!r} must be above 0, in the units of the values")
    known, _ = known_values(values, "precise_enough")
    _check(known, statistic, q)
    check_share(confidence, "confidence")
    if len(known) < max(least, 1):
        return False
    estimate, low, high = _statistic(known, statistic, q, confidence)
    return bool(max(high - estimate, estimate - low) <= half_width)


def _check(known, statistic, q):
    if statistic not in STATISTICS:
        raise ValueError(f"statistic = {statistic!r} must be one of {', '.join(STATISTICS)}")
    if (q is None) == (statistic == "quantile"):
        raise ValueError("q goes with statistic quantile, and with no other")
    if statistic == "share" and not np.isin(known, (0.0, 1.0)).all():
        raise ValueError("a share takes True or False for every flight, and these values hold other numbers")


def _statistic(known, statistic, q, confidence) -> Interval:
    if statistic == "quantile":
        return quantile_interval(known, q, confidence)
    if statistic == "share":
        return share_interval(int(known.sum()), len(known), confidence)
    return {"mean": mean_interval, "deviation": deviation_interval}[statistic](known, confidence)

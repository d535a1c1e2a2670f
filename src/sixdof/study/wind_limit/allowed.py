"""What limits by direction say of a wind measured now."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.units import QuantityError, parse
from sixdof.study.reading.result import need_table
from sixdof.study.wind_limit.first_failure import BEYOND

FARTHEST = math.radians(60.0)  # between two directions that a wind may lie between
_SAME = 1e-6  # rad
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


class Allowed(NamedTuple):
    """The wind allowed from a direction, m/s at the reference height.

    low, high : its interval. at_least : whether the limit is a bound, all criteria holding up to the highest wind looked at. criterion : that fails
    first, "" for none. direction : rad, whose limit it is: of the two directions it lies between the one that allows less.
    """

    limit: float
    low: float
    high: float
    at_least: bool
    criterion: str
    direction: float


def need_limits(ds: xr.Dataset, who: str) -> None:
    """Raise ValueError for what is not a Dataset of `wind_limit`; `who` asks."""
    need_table(ds, who, "preflight.wind_limit", "limit", "limit_kind", "binds", "criterion_limit")


def wind_allowed(ds: xr.Dataset, blows_from: float | str) -> Allowed:
    """Return the largest mean wind allowed from a direction that lies among those of `wind_limit`: the lower one of its two neighbours' limits.

    Parameters
    ----------
    ds : what `wind_limit` returned
    blows_from : where the wind comes from, "250 deg" or rad, true

    Raises
    ------
    ValueError
        For another Dataset, no direction, or one that lies between two that are more than 60 deg apart.

    Examples
    --------
    >>> found = sixdof.preflight.wind_limit(mission, "tilt_max < 8 deg in 50 % of flights", directions=["270 deg"], flights=4, winds=3, progress=False)
    >>> sixdof.preflight.wind_allowed(found, "270 deg").limit == found.limit.item()
    True
    """
    need_limits(ds, "wind_allowed")
    try:
        angle = parse(blows_from, "rad")
    except QuantityError as error:
        raise ValueError(f"wind_allowed: blows_from: {error}") from None
    which = min(_neighbours(ds["direction"].values, angle), key=lambda k: float(ds["limit"][k]))
    here = ds.isel(direction=which)
    binds = int(here["binds"])
    return Allowed(
        *(float(here[name]) for name in ("limit", "limit_low", "limit_high")),
        int(here["limit_kind"]) == BEYOND,
        str(ds["criterion"].values[binds]) if binds >= 0 else "",
        float(here["direction"]),
    )


def _neighbours(directions: np.ndarray, angle: float) -> list[int]:
    """Return the numbers of the directions on both sides of an angle, one where it is that direction."""
    clockwise = (directions - angle) % (2.0 * math.pi)
    after, before = int(np.argmin(clockwise)), int(np.argmax(clockwise))
    to_after, to_before = clockwise[after], 2.0 * math.pi - clockwise[before]
    if min(to_after, to_before) < _SAME:
        return [after if to_after < to_before else before]
    if to_after + to_before > FARTHEST + _SAME:
        degrees = math.degrees(angle) % 360.0
        raise ValueError(f"wind_allowed: no limits were made on both sides of {degrees:.0f} deg within 60 deg; give wind_limit this direction")
    return [before, after]


def compass(angle: float) -> str:
    """Return the point of the compass nearest to an angle (rad true), of sixteen."""
    return _POINTS[round(math.degrees(angle) % 360.0 / 22.5) % 16]

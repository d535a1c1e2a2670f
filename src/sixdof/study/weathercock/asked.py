"""What is asked of the climb: criteria in words, read for flights that are followed to the end of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.study.variants.criteria import Criterion, criteria_of

USUAL = "lean at burnout < 10 deg in 95 % of flights"  # of this project: a third of what a range allows a launcher to tilt, twice what drawn rails do
OUTCOMES = ("rail_departure", "burnout")  # first words of outcomes that the climb decides
LEANS = ("lean", "path_lean")
KEPT = ("event_lean", "event_path_lean", "rail_departure_speed", "event_static_margin")  # what every look at the turn reads


def criteria_on_the_climb(criteria, events: Sequence[str]) -> list[Criterion]:
    """Return criteria that limit a number at an event of the climb, such as "lean at burnout < 8 deg in 95 % of flights".

    events : of the climb, by name. Raises ValueError for another criterion, in one sentence.
    """
    found = criteria_of(criteria)
    if not found:
        raise ValueError(f'weathercock needs a criterion, such as "{USUAL}"')
    for one in found:
        of = one.subject
        if of is None or one.limit is None or of.place is not None or of.thing:
            raise ValueError(f'weathercock: criterion "{one}" is no limit on a number at an event of the climb; write, for example, "{USUAL}"')
        if of.event and of.event not in events and of.event != "liftoff":
            raise ValueError(f'weathercock: criterion "{one}": {of.event} is no event of this climb; there are {", ".join(events)}')
        if not of.event and not of.name.startswith(OUTCOMES):
            raise ValueError(f'weathercock: criterion "{one}" is not decided in the climb; flights are followed to {events[-1]}, see sixdof.compare')
    return found


def needed(criteria: Sequence[Criterion]) -> list[str]:
    """Return the variables that flights are to be kept with."""
    return sorted({*KEPT, *(name for one in criteria for name in one.subject.needs)})


def aim(criteria: Sequence[Criterion]) -> tuple[str, str]:
    """Return which angle ("lean" or "path_lean") at which event the turn is shown by: those of the first criterion that speaks of one."""
    for one in criteria:
        if one.subject.event and one.subject.event != "liftoff":
            return (one.subject.name if one.subject.name in LEANS else "lean"), one.subject.event
    return "lean", "burnout"


def attained(one: Criterion, values: np.ndarray) -> float:
    """Return the value that just the share of the flights asked for keeps, for values (flights,); those without one keep none. NaN without flights."""
    sign = -1.0 if one.relation in (">", ">=") else 1.0
    known = np.where(np.isnan(values), math.inf, sign * values)
    if not known.size:
        return math.nan
    place = math.ceil(one.share * known.size - 1e-9) - 1  # so many flights at least must hold it
    return sign * float(np.sort(known)[max(place, 0)])


def excess(criteria: Sequence[Criterion], ds: xr.Dataset) -> float:
    """Return by how much the worst of the criteria is missed by an ensemble, as a share of its limit: 0 or below where all are met."""
    return max(_excess(one, attained(one, one.subject.array(ds).values)) for one in criteria)


def _excess(one: Criterion, value: float) -> float:
    scale = abs(one.limit) or 1.0
    return (one.limit - value if one.relation in (">", ">=") else value - one.limit) / scale

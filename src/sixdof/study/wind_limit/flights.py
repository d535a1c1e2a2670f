"""Flights of a mission in a wind from a direction, judged: what the search for a limit asks again and again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.sweep.sweep import fly_conditions
from sixdof.study.variants.criteria import Criterion
from sixdof.study.wind_limit.climb import cut_short, ended_at, events_needed, time_needed
from sixdof.study.wind_limit.ranks import Judged, judged

DOUBTS = ("time_above_mach_08", "time_beyond_incidence")  # where the model is weak: the most of any flight is told
Case = Mapping[str, Any]


class WindFlights:
    """Flies cases (conditions such as a direction and a rail's elevation) at winds, always the same drawn flights."""

    def __init__(self, mission: Mission, criteria: Sequence[Criterion], cases: Sequence[Case], flights: int, confidence: float, **how: Any) -> None:
        """how : seed, threads, progress, guidance, control, as `fly_conditions` takes them."""
        self.mission, self.criteria, self.cases = mission, list(criteria), list(cases)
        self.flights, self.confidence, self.how = flights, confidence, how
        needed = {name for one in criteria if one.subject is not None for name in one.subject.needs}
        self.events = events_needed(criteria)
        self.keep = None if any(one.function is not None for one in criteria) else sorted({*DOUBTS, *needed, *(["event_time"] if self.events else [])})
        self.doubts = np.zeros(len(DOUBTS))  # s
        self.attrs: dict[str, Any] = {}
        self._short: Mission | None = None  # the mission whose flights end where the criteria are judged

    def __call__(self, points: list[tuple[int, float]]) -> list[Judged]:
        """Return what was judged at each (case, wind in m/s). The first call is flown to the end, the others no farther than they need."""
        conditions = [{**self.cases[case], "wind.speed": wind} for case, wind in points]
        found = self._flown(self._short or self.mission, conditions)
        if self._short is not None:
            late = [k for k, one in enumerate(found) if cut_short(one, self.events).any()]
            for k, whole in zip(late, self._flown(self.mission, [conditions[k] for k in late]), strict=True):
                found[k] = whole
        elif self.events:
            self._short = ended_at(self.mission, max(time_needed(one, self.events) for one in found))
        return [judged(self.criteria, one, self.confidence) for one in found]

    def _flown(self, mission: Mission, conditions: list[dict[str, Any]]) -> list[xr.Dataset]:
        """Return the flights under each condition."""
        if not conditions:
            return []
        ds = fly_conditions(mission, conditions, self.flights, keep=self.keep, who="wind_limit", **self.how)
        self.attrs = self.attrs or dict(ds.attrs)
        self.doubts = np.maximum(self.doubts, [np.nanmax(ds[name].values, initial=0.0) for name in DOUBTS])
        return [ds.isel(condition=k) for k in range(len(conditions))]

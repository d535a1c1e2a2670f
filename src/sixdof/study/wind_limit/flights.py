"""Flights of a mission in a wind from a direction, judged: what the search for a limit asks again and again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.sweep.sweep import fly_conditions
from sixdof.study.variants.criteria import Criterion
from sixdof.study.wind_limit.ranks import Judged, judged

DOUBTS = ("time_above_mach_08", "time_beyond_incidence")  # where the model is weak: kept of every flight
_OF_THE_WIND = ("lean", "path_lean")  # measured in the wind's plane, in calm in that of the direction written


class WindFlights:
    """Flies cases (dictionaries of conditions, such as a direction and a rail's elevation) at winds, always the same drawn flights."""

    def __init__(
        self, mission: Mission, criteria: Sequence[Criterion], cases: Sequence[Mapping[str, Any]], flights: int, confidence: float, **how: Any
    ) -> None:
        """how : seed, threads, progress, guidance, control, as `fly_conditions` takes them."""
        self.mission, self.criteria, self.cases = mission, list(criteria), list(cases)
        self.flights, self.confidence, self.how = flights, confidence, how
        needed = {name for one in criteria if one.subject is not None for name in one.subject.needs}
        self.keep = None if any(one.function is not None for one in criteria) else sorted({*DOUBTS, *needed})
        self.doubt = np.zeros(len(DOUBTS))  # s, the most of any flight in a wind that holds, or fails, whatever was flown
        self.attrs: dict[str, Any] = {}

    def __call__(self, points: list[tuple[int, float]]) -> list[Judged]:
        """Return what was judged at each (case, wind in m/s); a calm that is the same for several cases is flown once."""
        keys = [self._key(case, wind) for case, wind in points]
        once = list(dict.fromkeys(keys))
        ds = fly_conditions(self.mission, [dict(key) for key in once], self.flights, keep=self.keep, who="wind_limit", **self.how)
        self.attrs = self.attrs or dict(ds.attrs)
        found = {key: self._judged(ds.isel(condition=k)) for k, key in enumerate(once)}
        return [found[key] for key in keys]

    def _key(self, case: int, wind: float) -> tuple:
        condition = dict(self.cases[case]) | {"wind.speed": wind}
        if wind == 0.0 and self.keep is not None and not any(one.subject.name in _OF_THE_WIND for one in self.criteria):
            condition.pop("wind.blows_from", None)
        return tuple(condition.items())

    def _judged(self, ensemble: xr.Dataset) -> Judged:
        worst = [np.nanmax(ensemble[name].values, initial=0.0) for name in DOUBTS]
        self.doubt = np.maximum(self.doubt, worst)
        return judged(self.criteria, ensemble, self.confidence)



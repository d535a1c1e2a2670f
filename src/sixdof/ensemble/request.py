"""What an ensemble is to fly: the arguments of `disperse`, checked."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.given import check_draws
from sixdof.draws.numbers import LAST_FLIGHT, LAST_SEED
from sixdof.draws.sampling import SAMPLINGS
from sixdof.draws.table import draw_table
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown


class EnsembleRequest(NamedTuple):
    """What is to be flown. given : the table of draws where there is one. tracked : flights numbered below it keep their track."""

    mission: Mission
    flights: int
    seed: int
    first: int
    sampling: str
    given: xr.Dataset | None
    tracked: int | None

    @property
    def total(self) -> int | None:
        """Return how many flights the draws depend on, None where they do not."""
        return self.flights if self.sampling == "latin" else None

    @property
    def numbers(self) -> np.ndarray:
        """The numbers of the flights, rising."""
        return self.first + np.arange(self.flights) if self.given is None else self.given["flight"].values

    def table(self, rows: slice) -> xr.Dataset:
        """Return the draws of some of the flights, counted from the first."""
        if self.given is not None:
            return self.given.isel(flight=rows)
        start, count = self.first + rows.start, rows.stop - rows.start
        return draw_table(self.mission, self.seed, start, count, sampling=self.sampling, total=self.total)


def checked_request(mission, flights, seed, first, sampling, draws, tracks) -> EnsembleRequest:
    """Return what `disperse` was asked for, checked."""
    check_mission(mission, "disperse")
    if draws is not None:
        draws = check_draws(mission, draws)
        rows = draws.sizes["flight"]
        if flights is not None and whole(flights, "flights", 1) > rows:
            raise ValueError(f"flights = {flights} is more than the {rows} rows of draws")
        draws = draws.sortby("flight").isel(flight=slice(0, flights))
        seed, first, sampling = int(draws.attrs["seed"]), int(draws["flight"][0]), "given"
        flights = draws.sizes["flight"]
    elif not isinstance(sampling, str) or sampling not in SAMPLINGS:
        raise ValueError(f"sampling = {shown(sampling)} must be one of {', '.join(SAMPLINGS)}")
    first, seed = whole(first, "first", 0, LAST_FLIGHT), whole(seed, "seed", 0, LAST_SEED)
    flights = whole(flights, "flights", 1, LAST_FLIGHT - first + 1 if draws is None else None)
    request = EnsembleRequest(mission, flights, seed, first, sampling, draws, None)
    request.table(slice(0, 1))  # a seed or a spread that cannot be is said before anything is flown
    return request._replace(tracked=_tracked(tracks, request))


def _tracked(tracks, request: EnsembleRequest) -> int | None:
    """Return the number below which flights keep their track."""
    if isinstance(tracks, str) and tracks in ("all", "none"):
        return None if tracks == "all" else 0
    count = whole(tracks, 'tracks ("all", "none" or a number)', 0)
    if request.given is None or not count:
        return request.first + count if count else 0
    return int(request.numbers[min(count, request.flights) - 1]) + 1


def whole(value, name: str, least: int, most: int | None = None) -> int:
    """Return the argument `name`, a whole number from `least` to `most`. Raises ValueError for what is not one."""
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or not least <= value <= (value if most is None else most):
        span = f"of {least} or more" if most is None else f"from {least} to {most}"
        raise ValueError(f"{name} = {shown(value)} must be a whole number {span}")
    return int(value)

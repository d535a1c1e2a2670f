"""Ballast for a wanted static margin: from the margin of drawn flights, and what it costs."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.numbers import check_numbers
from sixdof.flight.fly import fly
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import parse, shown
from sixdof.study.reading.result import meaningful
from sixdof.study.sweep.ballast import ballasted, nose_station
from sixdof.study.sweep.sweep import fly_conditions
from sixdof.study.weathercock.drawn import climb_events, of_the_climb, without_paths
from sixdof.vehicle.geometry import shape_of

MOST = 0.25  # of the mass at liftoff
FIRST = 0.01  # of the mass at liftoff: the first amount that is tried
CLOSE = 0.01  # calibres: a margin found is more than what is wanted by no more
STEPS = 12  # of the search
TAIL_SHARE = 0.98  # of the last stage's length: where ballast in the tail goes, around the motor mount
IN_FLIGHT = "flight"  # the least margin of a flight
LEAST_IN_FLIGHT = "static_margin_min"
_CALIBRES = re.compile(r"\s*([0-9.]+(?:[eE][-+]?[0-9]+)?)\s*(?:cal|calibres?|calibers?)?\s*")


def ballast(
    mission: Mission,
    margin: float | str = "2 calibres",
    at: str = "rail_departure",
    place: str | Mapping[str, Any] | None = None,
    flights: int = 40,
    *,
    share: float = 0.95,
    most: float | str | None = None,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return the ballast with which a vehicle has a wanted static margin in a share of its drawn flights, and what that costs.

    The margin is the kernel's own, fins at neutral, of the same drawn flights for every amount: their scatter of mass, balance point and aerodynamics is in
    it. Ballast in the nose raises it; where it is larger than wanted, ballast in the tail lowers it to what is wanted (less margin turns less into the wind).

    Parameters
    ----------
    margin : static margin wanted, calibres: a number, or text such as "2 calibres".
    at : event of the climb ("rail_departure", "burnout", ...), or "flight": the least of the whole climb faster than 20 m/s.
    place : "nose" (two thirds of its length aft of the tip), "tail" (the aft end of the last stage), or a table such as {"stage": "whinchat", "station":
        "430 mm"}. None: the nose where the margin is too small, the tail where it is too large.
    flights : drawn flights 0, 1, ... of `seed`; failures do not happen in them, draws of the mission's own numbers (paths) stay as written.
    share : of the flights that must have the margin, above 0 and below 1.
    most : largest amount tried, kg or text with a unit; None: a quarter of the mass at liftoff.
    seed, threads, guidance, control : as in `sixdof.disperse`. progress : say on standard error what is being flown.

    Returns
    -------
    Dataset
        `ballast_mass` (kg; NaN where nothing up to `most` does it, 0 where none is needed), `ballast_station` (m aft of the fore end of the stage in attribute
        `stage`). `mass_tried`, `margin_tried` (tried): what was flown, and the margin that the share of flights keeps. Of the vehicle without and with it
        (variant): `margin` (variant, flight), calibres; `apogee`, `departure_speed`, `liftoff_mass`, of the flight as written. Where nothing does it, "with"
        is the amount that comes nearest. Attributes say what was asked.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission, a margin, an event of the climb, or a place.
    MissionError, FlightError, LawError
        As `sixdof.disperse` and `sixdof.fly`.

    Examples
    --------
    >>> found = sixdof.workshop.ballast(mission, "2.2 calibres", flights=6, progress=False)
    >>> bool(found.ballast_mass > 0.0)
    True
    """
    check_mission(mission, "ballast")
    check_numbers("ballast", None, seed)
    wanted, laws = _calibres(margin), {"guidance": guidance, "control": control}
    if not 0.0 < share < 1.0:
        raise ValueError(f"ballast: share = {shown(share)} must be between 0 and 1, such as 0.95")
    if isinstance(flights, bool) or not isinstance(flights, int) or flights < 1:
        raise ValueError(f"ballast: flights = {shown(flights)} must be a whole number from 1 on")
    plain, left_out = without_paths(mission)
    nominal = fly(plain, **laws)
    key = _variable(nominal, at)
    top = MOST * float(nominal["mass"][0]) if most is None else float(parse(most, "kg"))
    search = _Search(plain, nominal, key, share, flights, seed, {**laws, "threads": threads}, progress)
    stage, station, called = _place(mission, place, search.value(0.0, 0, 0.0) < wanted)
    amount, met = _amount(search, wanted, stage, station, top)
    return _found(search, plain, nominal, laws, amount, met, stage, station).assign_attrs(
        title=mission.title,
        mission=mission.to_toml(),
        wanted=wanted,
        share=share,
        at_event=at,
        place=called,
        stage=mission.stage[stage].name,
        most=top,
        seed=str(seed),
        met=int(met),
        left_as_written=", ".join(left_out),
    )


# ---------------------------------------------------------------- what is asked


def _calibres(margin: float | str) -> float:
    found = _CALIBRES.fullmatch(margin) if isinstance(margin, str) else None
    number = margin if isinstance(margin, (int, float)) and not isinstance(margin, bool) else float(found[1]) if found else math.nan
    if not 0.0 < number < 20.0:
        raise ValueError(f'ballast: margin = {shown(margin)} is not a static margin from 0 to 20 calibres; write "2 calibres"')
    return float(number)


def _variable(nominal: xr.Dataset, at: str) -> str:
    """Return the event that the margin is asked at, "" for the least of the flight. Raises ValueError for what is no event of the climb."""
    events = climb_events(nominal)
    if "rail_departure" not in events:
        raise ValueError("ballast: the flight as written does not leave the rail, so it has no margin to change; choose a stronger motor")
    if at == IN_FLIGHT:
        return ""
    if at not in events:
        raise ValueError(f"ballast: at = {shown(at)} is no event of the climb; {suggestion(str(at), (*events, IN_FLIGHT), 'known are')}")
    return at


def _place(mission: Mission, place: Any, too_small: bool) -> tuple[int, float, str]:
    """Return stage, station and name of where the ballast goes."""
    names = [stage.name for stage in mission.stage]
    if place is None:
        place = "nose" if too_small else "tail"
    if place == "nose":
        return 0, nose_station(mission), "the nose"
    if place == "tail":
        last = len(names) - 1
        return last, TAIL_SHARE * shape_of([mission.stage[last]]).length, f"the tail of {names[last]}"
    if not isinstance(place, Mapping) or set(place) != {"stage", "station"} or place["stage"] not in names:
        hint = f'{{"stage": "{names[-1]}", "station": "300 mm"}}'
        raise ValueError(f'ballast: place = {shown(place)} is neither "nose" nor "tail" nor a station of a stage such as {hint}')
    station = float(parse(place["station"], "m"))
    return names.index(place["stage"]), station, f"{place['stage']}, {1000.0 * station:.0f} mm"


# ---------------------------------------------------------------- the search


@dataclass
class _Search:
    """Flies the same draws with any amount of ballast. tried : amount -> margins (flights,); `key` is the event, "" for the least of the flight."""

    mission: Mission
    nominal: xr.Dataset
    key: str
    share: float
    flights: int
    seed: int
    options: dict
    progress: bool
    tried: dict[float, np.ndarray] = field(default_factory=dict)

    def margins(self, amount: float, stage: int, station: float) -> np.ndarray:
        """Return the margins (flights,) with an amount (kg), NaN of flights whose outcomes mean nothing."""
        if amount not in self.tried:
            if self.progress:
                print(f"sixdof: ballast of {1000.0 * amount:.0f} g", file=sys.stderr)
            short = ballasted(of_the_climb(self.mission, self.nominal), amount, stage, station)
            name = f"event_{LEAST_IN_FLIGHT.removesuffix('_min')}" if self.key else LEAST_IN_FLIGHT
            ds = fly_conditions(short, [{}], self.flights, seed=self.seed, keep=[name], progress=False, who="ballast", **self.options).isel(condition=0)
            values = ds[name].isel(body=0) if "body" in ds[name].dims else ds[name]
            values = values.sel(event=self.key).values if self.key else values.values
            self.tried[amount] = np.where(meaningful(ds), values, np.nan)
        return self.tried[amount]

    def value(self, amount: float, stage: int, station: float) -> float:
        """Return the margin that the share of the flights has at least, with an amount (kg) of ballast; -inf where none means anything."""
        values = self.margins(amount, stage, station)
        known = np.where(np.isfinite(values), values, -np.inf)  # a flight that tumbles has no margin
        return float(np.quantile(known, 1.0 - self.share, method="lower"))


def _amount(search: _Search, wanted: float, stage: int, station: float, top: float) -> tuple[float, bool]:
    """Return the amount (kg) that gives the wanted margin and True; the one that comes nearest and False where none up to `top` does."""

    def short(amount: float) -> float:
        return search.value(amount, stage, station) - wanted

    low, start = 0.0, short(0.0)
    if abs(start) <= CLOSE:
        return 0.0, True
    high = min(FIRST / MOST * top, top)
    while short(high) * start > 0.0:
        if high >= top:
            return min(search.tried, key=lambda amount: abs(short(amount))), False
        low, high = high, min(2.0 * high, top)
    for _ in range(STEPS):
        good = max(low, high, key=lambda amount: short(amount) >= 0.0)
        if short(good) <= CLOSE:
            break
        between = low + (high - low) * _share(short(low), short(high))
        if (short(between) >= 0.0) == (short(high) >= 0.0):
            high = between
        else:
            low = between
    return max(low, high, key=lambda amount: short(amount) >= 0.0), True


def _share(low: float, high: float) -> float:
    """Return where between two ends a line through them is zero, a little towards the end that is enough: what is searched is nearly straight."""
    return min(max(low / (low - high) + math.copysign(0.01, high), 0.03), 0.97) if math.isfinite(low) and math.isfinite(high) else 0.5


def _found(search: _Search, mission: Mission, nominal: xr.Dataset, laws: Mapping, amount: float, met: bool, stage: int, station: float) -> xr.Dataset:
    """Return the Dataset of a search: what was tried, and the vehicle without and with the ballast."""
    after = fly(ballasted(mission, amount, stage, station), **laws) if amount else nominal
    tried = sorted(search.tried)
    both = [search.tried[0.0], search.margins(amount, stage, station)]
    calibres = {"units": "1", "long_name": "static margin, calibres"}

    def of(name: str, units: str, text: str):
        values = [float(np.ravel(ds[name].values)[0]) for ds in (nominal, after)]
        return "variant", values, {"units": units, "long_name": text}

    parts = {
        "ballast_mass": ((), amount if met else math.nan, {"units": "kg", "long_name": "mass of the ballast, NaN where none does it"}),
        "ballast_station": ((), station, {"units": "m", "long_name": "station of the ballast in its stage"}),
        "mass_tried": ("tried", tried, {"units": "kg", "long_name": "mass of ballast flown"}),
        "margin_tried": (
            "tried",
            [search.value(one, stage, station) for one in tried],
            {**calibres, "long_name": "static margin that the share of flights has at least, calibres"},
        ),
        "margin": (("variant", "flight"), np.array(both), calibres),
        "ballast": ("variant", [0.0, amount], {"units": "kg", "long_name": "mass of the ballast"}),
        "apogee": of("apogee_height", "m", "apogee above ground, flight as written"),
        "departure_speed": of("rail_departure_speed", "m/s", "speed at rail departure, flight as written"),
        "liftoff_mass": of("mass", "kg", "mass at liftoff, flight as written"),
    }
    return xr.Dataset(parts, {"variant": ["without", "with"], "flight": ("flight", np.arange(search.flights))})

"""What helps against the turn: each cure flown on the same draws, the smallest of it that meets the criteria found, and what it costs."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

from sixdof.flight.fly import fly
from sixdof.mission.errors import MissionError
from sixdof.mission.mission import Mission
from sixdof.results.status import FlightError
from sixdof.study.reading.practice import LEAST_MARGIN
from sixdof.study.sweep.ballast import ballasted
from sixdof.study.variants.motors import motor_variants
from sixdof.study.weathercock.changes import LIVE, fin_variants, with_semispan, with_tilt
from sixdof.study.weathercock.flights import Flights, middle, turns

MOST_BALLAST = 0.25  # of the mass at liftoff
MOST_FINS, LEAST_FINS = 1.6, 0.6  # times the semispan
MOST_RAIL = 3.0  # times the length
MOST_TILT = math.radians(10.0)  # common practice stays within 20 deg of the vertical, wind and all
HALVINGS = 6  # of the range of a cure, to find the smallest that does
SCOUTED = (1.0, 0.5, 0.25)  # of a range, looked at first


class Cure(NamedTuple):
    """What is changed. make : amount -> mission, of the one it is given. top : largest amount tried; NaN for what is all or nothing. says : amount -> words."""

    name: str
    make: Callable[[Mission, float], Mission]
    top: float
    says: Callable[[float], str]


class Found(NamedTuple):
    """What came of a cure at `amount`. meets : the criteria, stable. value : of the first criterion's share of the flights. turn : change of the mean turn,
    rad. The rest, of the flight as written: changes of apogee (m), mass at liftoff (kg), margin (calibres) and speed (m/s) at rail departure."""

    name: str
    says: str
    meets: bool
    amount: float
    value: float
    turn: float
    apogee: float
    mass: float
    margin: float
    speed: float


class Written(NamedTuple):
    """Numbers of a flight as written: apogee (m), mass at liftoff (kg), margin (calibres) and speed (m/s) at rail departure."""

    apogee: float
    mass: float
    margin: float
    speed: float


def written(mission: Mission, laws: Mapping) -> Written:
    """Fly a mission as written and return its numbers, NaN of one that diverges."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            ds = fly(mission, **laws)
        except FlightError:
            return Written(*[math.nan] * 4)
    return Written(float(ds["apogee_height"]), float(ds["mass"][0]), float(ds["rail_departure_margin"]), float(ds["rail_departure_speed"]))


def possible(mission: Mission, mass: float, motors, stage) -> Iterator[Cure]:
    """Yield the cures that a mission may have. mass : at liftoff, kg. motors, stage : as `motor_variants` takes them; None for no other motors."""
    grams = MOST_BALLAST * mass
    yield Cure("ballast in the nose", ballasted, grams, lambda m: f"add {1000.0 * m:.0f} g in the nose")
    last = mission.stage[-1].name or "the vehicle"
    yield Cure("larger fins", _fins(MOST_FINS), MOST_FINS - 1.0, lambda x: f"make the fins of {last} {1.0 + x:.2f} times as wide (semispan)")
    yield Cure("smaller fins", _fins(LEAST_FINS), 1.0 - LEAST_FINS, lambda x: f"make the fins of {last} {1.0 - x:.2f} times as wide (semispan)")
    length = mission.rail.length
    yield Cure("longer rail", lambda m, x: m.change({"rail.length": length + x}), (MOST_RAIL - 1.0) * length, lambda x: f"use a rail of {length + x:.1f} m")
    yield Cure("rail tilted away from the wind", with_tilt, MOST_TILT, lambda x: f"tilt the rail {math.degrees(x):.1f} deg further away from the wind")
    yield Cure("rail tilted into the wind", lambda m, x: with_tilt(m, -x), MOST_TILT, lambda x: f"tilt the rail {math.degrees(x):.1f} deg into the wind")
    if LIVE in fin_variants(mission):
        yield Cure("live fins from the rail", lambda m, _: fin_variants(m)[LIVE], math.nan, lambda _: "make the fins live as the vehicle leaves the rail")
    if motors is not None:
        for name in motor_variants(mission, motors, stage=stage, nominal=False):
            yield Cure(f"motor {name}", _motor(motors, stage, name), math.nan, lambda _, name=name: f"fly the motor {name}")


def _fins(top: float) -> Callable[[Mission, float], Mission]:
    return lambda mission, x: with_semispan(mission, 1.0 + math.copysign(x, top - 1.0))


def _motor(motors: str | Path, stage, name: str) -> Callable[[Mission, float], Mission]:
    """Return what puts a motor in; a mission that is followed to the end of its climb is followed so much longer as the motor burns."""

    def change(mission: Mission, _: float) -> Mission:
        other = motor_variants(mission, motors, stage=stage, nominal=False)[name]
        return other.change({"solver.time_limit": other.solver.time_limit + float(max(other.motor[name].thrust_curve.time))})

    return change


def tried(flights: Flights, mission: Mission, cure: Cure, laws: Mapping, before: Written, base_turn: float, name: str, event: str) -> Found | None:
    """Return what a cure does: the smallest amount that meets the criteria, or the most of it; None where the mission has no room for it.

    mission : whole, for what the cure costs. base_turn : mean turn without it, rad.
    """
    flown: dict[float, tuple[float, float, float]] = {}

    def missed(amount: float) -> float:
        if amount not in flown:
            flown[amount] = _look(flights, cure, amount, name, event)
        return flown[amount][0]

    try:
        amount = math.nan if math.isnan(cure.top) else smallest(missed, cure.top)
        missed(amount)
    except (MissionError, ValueError):
        return None
    after = written(cure.make(mission, amount), laws)
    least = LEAST_MARGIN if cure.name == "smaller fins" else -math.inf if LIVE in fin_variants(mission) else 0.0  # what tumbles is not cured
    meets = flown[amount][0] <= 0.0 and after.margin >= least
    _, value, turn = flown[amount]
    return Found(cure.name, cure.says(amount), meets, amount, value, turn - base_turn, *(new - old for new, old in zip(after, before, strict=True)))


def _look(flights: Flights, cure: Cure, amount: float, name: str, event: str) -> tuple[float, float, float]:
    """Return by how much the criteria are missed with so much of a cure, the value that the share of flights keeps, and the mean turn."""
    ds = flights.fly(cure.make(flights.short, amount), [flights.base])
    return float(flights.excesses(ds)[0]), flights.worst(ds), float(middle(turns(ds.isel(condition=0), name, [event])[:, 0]))


def smallest(missed: Callable[[float], float], top: float) -> float:
    """Return the smallest amount up to `top` found at which `missed` is 0 or below, to a 64th of the range; where there is none, that of the least."""
    looked = {share * top: missed(share * top) for share in SCOUTED}
    good = [amount for amount, value in looked.items() if value <= 0.0]
    if not good:
        return min(looked, key=looked.get)
    high = min(good)
    low = max([amount for amount in looked if amount < high], default=0.0)
    while high - low > top / 2**HALVINGS:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if missed(middle) <= 0.0 else (middle, high)
    return high

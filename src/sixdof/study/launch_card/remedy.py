"""The smallest change that turns a no into a yes: along each thing that can be changed at the field, a root on the criterion that fails.

All changes fly the same draws in the same wind. Each is stepped as it can be set (whole degrees, tenths of a metre ...), and what is named has been
flown as it is named. How large a change is, is said as a share of its reach, the largest that is practicable on a launch day (`Lever.reach`): half of
what the rail may be tilted counts as much as half of the ballast that may be carried. The shares are this project's measure, not practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from sixdof.mission.errors import MissionError
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Mount
from sixdof.study.launch_card.measured_wind import ReferenceWind
from sixdof.study.launch_card.safety import MOST_TILT
from sixdof.study.launch_card.settings import direction
from sixdof.study.launch_card.verdict import Judged, failing
from sixdof.study.sweep.ballast import ballasted
from sixdof.vehicle.describe import totals

Condition = Mapping[str, Any]
Trial = tuple[Mission, Condition]
Fly = Callable[[Sequence[Trial]], list[list[Judged]]]

LONGER = 2.0  # times its length: the longest rail that is fetched for a launch day
BALLAST_SHARE = 0.1  # of the mass at liftoff: the most ballast in the nose
AZIMUTH_STEP, ELEVATION_STEP = math.radians(5.0), math.radians(0.5)  # as a rail is set by hand
SPEED_STEP, LENGTH_STEP, MASS_STEP = 0.2, 0.1, 0.01  # m/s, m, kg
_TOUCHES = 1e-9
REACH = (
    "Reach is what counts as practicable on the day, this project's measure: the rail turned half round, up to 20 deg from the vertical, or twice as "
    "long; a tenth of the liftoff mass as ballast in the nose; no wind at all; another motor of the file counts as 100 %."
)


class Change(NamedTuple):
    """A change and what came of it. amount : in `unit`; effort : over its reach, 1 for a motor. holds : whether it is a go with it.

    Where none of a lever's steps holds, amount and effort are those of its full reach. trial : what was flown.
    """

    name: str
    text: str
    amount: float
    unit: str
    effort: float
    holds: bool
    trial: Trial


class Lever(NamedTuple):
    """One thing that can be changed in one direction: `steps` of it at most, `reach` steps being the largest that is practicable either way.

    looks : the numbers of steps tried first. trial, text, amount : of a number of steps, 1 or more.
    """

    name: str
    steps: int
    reach: float
    looks: tuple[int, ...]
    trial: Callable[[int], Trial]
    text: Callable[[int], str]
    amount: Callable[[int], float]
    unit: str


def changes(mission: Mission, wind: ReferenceWind, before: Sequence[Judged], fly: Fly) -> list[Change]:
    """Return the smallest change along each lever that makes a go in a wind, the smallest first; those that do not help last.

    before : the criteria as they are judged without a change; one of them fails. fly : judges trials, each a mission and a condition for the
    flights, on the draws of `before`.
    """
    every = list(levers(mission, wind))
    looks = [(number, k) for number, lever in enumerate(every) for k in lever.looks]
    flown = dict(zip(looks, fly([every[number].trial(k) for number, k in looks]), strict=True))
    found: dict[str, Change] = {}
    for number, lever in enumerate(every):
        tried = {0: list(before)} | {k: judged for (own, k), judged in flown.items() if own == number}
        change = _smallest(lever, tried, fly)
        if lever.name not in found or _rank(change) < _rank(found[lever.name]):
            found[lever.name] = change
    return sorted([*found.values(), *_motors(mission, wind, fly)], key=_rank)


def _goes(found: Sequence[Judged]) -> bool:
    return all(one.enough for one in found)


def _rank(change: Change) -> tuple[bool, float]:
    return not change.holds, change.effort


def _smallest(lever: Lever, tried: dict[int, list[Judged]], fly: Fly) -> Change:
    """Return the smallest number of steps that makes a go, between the last look that fails and the first that does not.

    The root is looked for by the chord through the slack of what fails, kept inside the bracket, and ends at whole steps; `tried` grows.
    """
    holding = [k for k in sorted(tried) if _goes(tried[k])]
    if not holding:
        return _change(lever, max(tried), False)
    high = holding[0]
    low = max(k for k in tried if k < high)
    while high - low > 1:
        a, b = _slack(tried[low]), _slack(tried[high])
        guess = low + (high - low) * (a / (a - b) if a < 0.0 < b else 0.5)
        middle = min(max(math.ceil(guess - _TOUCHES), low + 1), high - 1)
        (tried[middle],) = fly([lever.trial(middle)])
        low, high = (low, middle) if _goes(tried[middle]) else (middle, high)
    return _change(lever, high, True)


def _slack(found: Sequence[Judged]) -> float:
    """Return how far the criterion that is missed by most, or else the one held by least, is from its limit, over that limit."""
    worst = failing(found)
    return worst.slack if worst is not None else min(one.slack for one in found)


def _change(lever: Lever, k: int, holds: bool) -> Change:
    return Change(lever.name, lever.text(k), lever.amount(k), lever.unit, k / lever.reach, holds, lever.trial(k))


# ---------------------------------------------------------------- what can be changed


def levers(mission: Mission, wind: ReferenceWind) -> Iterator[Lever]:
    """Yield what can be changed at the field without another motor: rail azimuth, rail elevation, waiting for less wind, ballast, a longer rail."""
    now = {"wind.speed": wind.speed, "wind.blows_from": wind.blows_from}
    yield from _azimuths(mission, now)
    yield from _elevations(mission, now)
    yield from _waits(mission, now, wind)
    yield from _ballasts(mission, now)
    yield from _rails(mission, now)


def _azimuths(mission: Mission, now: Condition) -> Iterator[Lever]:
    half, azimuth = round(math.pi / AZIMUTH_STEP), mission.rail.azimuth
    if mission.rail.elevation >= 0.5 * math.pi - 0.5 * ELEVATION_STEP:
        return  # upright, it points nowhere
    for sign in (1.0, -1.0):

        def turned(k: int, sign: float = sign) -> float:
            return sign * k * AZIMUTH_STEP

        yield Lever(
            "rail azimuth",
            half,
            half,
            (6, 18, half) if sign > 0.0 else (6, 18),
            lambda k, turned=turned: (mission, {**now, "rail.azimuth": (azimuth + turned(k)) % (2.0 * math.pi)}),
            lambda k, turned=turned: f"turn the rail {abs(math.degrees(turned(k))):.0f} deg, to lean to {direction(azimuth + turned(k))} true",
            turned,
            "rad",
        )


def _elevations(mission: Mission, now: Condition) -> Iterator[Lever]:
    elevation, reach = mission.rail.elevation, MOST_TILT / ELEVATION_STEP
    for sign, room in ((1.0, 0.5 * math.pi - elevation), (-1.0, elevation - (0.5 * math.pi - MOST_TILT))):
        steps = math.floor(room / ELEVATION_STEP + _TOUCHES)
        if steps < 1:
            continue

        def moved(k: int, sign: float = sign) -> float:
            return sign * k * ELEVATION_STEP

        yield Lever(
            "rail elevation",
            steps,
            reach,
            tuple(sorted({min(6, steps), min(16, steps), steps})),
            lambda k, moved=moved: (mission, {**now, "rail.elevation": min(elevation + moved(k), 0.5 * math.pi)}),
            lambda k, moved=moved: f"{_raised(moved(k))} the rail {abs(math.degrees(moved(k))):.1f} deg, to {math.degrees(elevation + moved(k)):.1f} deg",
            moved,
            "rad",
        )


def _raised(moved: float) -> str:
    return "raise" if moved > 0.0 else "lower"


def _waits(mission: Mission, now: Condition, wind: ReferenceWind) -> Iterator[Lever]:
    speed = now["wind.speed"]
    steps = math.ceil(speed / SPEED_STEP - _TOUCHES)
    if steps < 1:
        return

    def less(k: int) -> float:
        return max(speed - k * SPEED_STEP, 0.0)

    yield Lever(
        "less wind",
        steps,
        speed / SPEED_STEP,
        tuple(sorted({max(1, steps // 3), max(1, 2 * steps // 3), steps})),
        lambda k: (mission, {**now, "wind.speed": less(k)}),
        lambda k: f"wait for less than {less(k) / wind.factor:.1f} m/s at {wind.hand:g} m, {less(k):.1f} m/s at {wind.height:g} m",
        lambda k: less(k) - speed,
        "m/s",
    )


def _ballasts(mission: Mission, now: Condition) -> Iterator[Lever]:
    most = BALLAST_SHARE * totals(mission, range(len(mission.stage)))[0].mass
    steps = math.floor(most / MASS_STEP)
    if steps < 1:
        return
    yield Lever(
        "ballast",
        steps,
        most / MASS_STEP,
        tuple(sorted({max(1, steps // 3), steps})),
        lambda k: (ballasted(mission, k * MASS_STEP), now),
        lambda k: f"put {1e3 * k * MASS_STEP:.0f} g of ballast into the nose",
        lambda k: k * MASS_STEP,
        "kg",
    )


def _rails(mission: Mission, now: Condition) -> Iterator[Lever]:
    length = mission.rail.length
    steps = math.floor((LONGER - 1.0) * length / LENGTH_STEP + _TOUCHES)
    if steps < 1:
        return
    yield Lever(
        "longer rail",
        steps,
        (LONGER - 1.0) * length / LENGTH_STEP,
        tuple(sorted({max(1, steps // 3), steps})),
        lambda k: (mission.change({"rail.length": length + k * LENGTH_STEP}), now),
        lambda k: f"take a rail with {length + k * LENGTH_STEP:.1f} m of guided run, {k * LENGTH_STEP:.1f} m more",
        lambda k: k * LENGTH_STEP,
        "m",
    )


def _motors(mission: Mission, wind: ReferenceWind, fly: Fly) -> list[Change]:
    """Return each other motor of the mission file that fits the mount lit on the rail, flown once; as an effort each counts as much as a full reach."""
    now = {"wind.speed": wind.speed, "wind.blows_from": wind.blows_from}
    last = len(mission.stage) - 1
    places = [place for place, part in enumerate(mission.stage[last].part) if isinstance(part, Mount)]
    if len(places) != 1:
        return []
    own = mission.stage[last].part[places[0]].motor
    trials: dict[str, Trial] = {}
    for name in mission.motor:
        if name == own:
            continue
        try:
            trials[name] = mission.change({f"stage.{last}.part.{places[0]}.motor": name}), now
        except MissionError:  # it does not fit the mount
            continue
    found = fly(list(trials.values())) if trials else []
    return [
        Change("another motor", f"fly {name} in {mission.stage[last].name}", 1.0, "1", 1.0, _goes(judged), trial)
        for (name, trial), judged in zip(trials.items(), found, strict=True)
    ]

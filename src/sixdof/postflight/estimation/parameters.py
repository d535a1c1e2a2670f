"""Which numbers are estimated: names as in `[disperse]`, "aero.drag of drayhorse" for one stage, paths; with what is known of each before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.packed import nominal_value, things
from sixdof.draws.quantities import control_fin_count, known_item
from sixdof.draws.spreads import deviation, quantile, spread_of
from sixdof.mission.errors import suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.paths import PathItem
from sixdof.mission.tables import Spread
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.units import QuantityError, parse, parse_difference, shown
from sixdof.postflight.estimation.problem import Prior

CONTINUOUS = ("normal", "lognormal", "uniform", "triangular", "empirical")
# of the day or of the motor that was burnt, so that every flight has its own
OWN = ("wind.", "air.", "rail.", "ignition.", "motor.impulse", "motor.burn_time")
COUNTED = ("wind.member", "turbulence.wind_at_20_ft")  # no number that a flight without turbulence changes smoothly with
OF_FINS = ("servo.", "gain.", "aero.control_force")  # mean nothing to a vehicle that steers nothing
SCALES = {"1": 0.1, "rad": 0.02, "m": 0.01, "m/s": 1.0, "s": 0.1, "K": 3.0, "Pa": 500.0}  # by unit, where nothing is known before: what a step is measured by
SHARES = (np.arange(2000) + 0.5) / 2000  # whose quantiles stand for a spread: its mean to a thousandth of its deviation
WIDE = 1e-8  # precision that stands for knowing nothing: a standard deviation of ten thousand scales
CLOCK = Dispersible("log.clock", "s", "offset", "what is added to the times of a log, so that they count from the flight's liftoff")
CLOCK_REACH = 5.0  # standard deviations of a log's time of liftoff
REACH = 30.0  # scales: as far as an estimate may go where nothing else bounds it


class Parameter(NamedTuple):
    """One number that is estimated.

    name : as in `[disperse]`, or a path. thing : the stage, joint ... it is of alone, "" for all. log : name of the log whose flight has it, "" of all
    flights. mean, sd : before the flight, SI; sd infinite where nothing is known. scale : what its z is measured in. low, high : that it may take. asked : it
    was asked for; if not it is carried along, for the mission says that it is uncertain. daily : it is of one flight's day or motor, not of the vehicle.
    """

    name: str
    thing: str
    log: str
    item: Dispersible
    mean: float
    sd: float
    scale: float
    low: float
    high: float
    asked: bool = True
    daily: bool = False

    @property
    def label(self) -> str:
        """What it is called in the result."""
        return self.name + (f" of {self.thing}" if self.thing else "") + (f" in {self.log}" if self.log else "")


def parameters_of(mission: Mission, wanted: Any, priors: Any, own: Any, logs: Sequence[str], who: str) -> list[Parameter]:
    """Return what is estimated: shared ones first, then those that every flight has for itself. Raises ValueError for names and priors that cannot be."""
    names = [wanted] if isinstance(wanted, str) else list(wanted) if isinstance(wanted, Sequence) else []
    if not names or not all(isinstance(name, str) for name in names):
        raise ValueError(f'{who}: parameters must be a list of names as in [disperse], such as ["aero.drag", "motor.impulse"], not {shown(wanted)}')
    given = {} if priors is None else priors
    if not isinstance(given, Mapping):
        raise ValueError(f'{who}: priors must be a dictionary such as {{"aero.drag": "8 %"}}, not {shown(priors)}')
    read = {name: _named(mission, name, who) for name in names}
    strange = [name for name in given if name not in read]
    if strange:
        raise ValueError(f"{who}: priors: {shown(strange[0])} is not estimated; {suggestion(strange[0], list(read), 'parameters')}")
    separate = _own_of(names, own, who)
    _refuse_twice(read, who)
    found = [_parameter(mission, name, read[name], given, who)._replace(daily=name in separate) for name in read]
    return spread_over(found, logs)


def carried(mission: Mission, asked: Sequence[Parameter], logs: Sequence[str]) -> list[Parameter]:
    """Return what else the mission disperses by a continuous spread and under a name of its own: it is uncertain too, and is estimated along with the rest."""
    taken = {(one.name, one.thing) for one in asked}
    found = []
    for name, spread in mission.disperse.items():
        if name not in DISPERSIBLE or name in COUNTED or spread.kind not in CONTINUOUS or (name, "") in taken:
            continue
        if name in ("wind.speed", "wind.blows_from") and not mission.air.one_wind:
            continue
        item = DISPERSIBLE[name]
        for thing in [str(each) for each in things(mission, item.each)]:
            mean, sd = moments(mission, name, thing, item)
            if (name, thing) in taken or not sd > 0.0 or not np.isfinite(mean):
                continue
            low, high = _cuts(spread, item)
            found.append(Parameter(name, thing if item.each else "", "", item, mean, sd, sd, max(low, mean - REACH * sd), min(high, mean + REACH * sd), False))
            found[-1] = found[-1]._replace(daily=name.startswith(OWN))
    return spread_over(found, logs)


def clocks_of(logs: Mapping[str, xr.Dataset]) -> list[Parameter]:
    """Return a parameter for the clock of each log whose time of liftoff is known to its `liftoff_error` only."""
    found = []
    for name, log in logs.items():
        sd = float(log.attrs.get("liftoff_error", np.nan))
        if np.isfinite(sd) and sd > 0.0:
            found.append(Parameter(CLOCK.name, "", name if len(logs) > 1 else "", CLOCK, 0.0, sd, sd, -CLOCK_REACH * sd, CLOCK_REACH * sd, False, True))
    return found


def spread_over(found: Sequence[Parameter], logs: Sequence[str]) -> list[Parameter]:
    """Return parameters of several logs: those of the vehicle once, those of the day for every log."""
    if len(logs) == 1:
        return list(found)
    return [*(one for one in found if not one.daily), *(one._replace(log=log) for log in logs for one in found if one.daily)]


def _named(mission: Mission, written: str, who: str) -> tuple[str, str, Dispersible]:
    """Return name, thing and what it is."""
    name, _, thing = (part.strip() for part in written.partition(" of "))
    if name in COUNTED:
        raise ValueError(f"{who}: {name} cannot be estimated from a log: flights of the fit have no turbulence, and members are no continuous number")
    try:
        item = known_item(mission, name)
    except ValueError as error:
        raise ValueError(f"{who}: parameters: {str(error).removeprefix('disperse.')}") from None
    if name.startswith(OF_FINS) and not control_fin_count(mission):
        raise ValueError(f"{who}: {name} means nothing to this vehicle: it has no control fins; leave it out")
    if name in ("wind.speed", "wind.blows_from") and not mission.air.one_wind:
        raise ValueError(f"{who}: the mission's wind has no one speed and direction: estimate wind.factor and wind.turn, or its levels by their paths")
    known = [str(each) for each in things(mission, item.each)]
    if item.each and not known:
        raise ValueError(f"{who}: {name} is of a {item.each}, and this mission has none; leave it out")
    if thing and (not item.each or thing not in known):
        hint = suggestion(thing, known, f"{item.each}s") if item.each else f'omit "of {thing}"'
        raise ValueError(f'{who}: "{written}" names nothing of this mission; {hint}')
    return name, thing, item


def _own_of(names: Sequence[str], own: Any, who: str) -> set[str]:
    """Return the names that every flight has for itself."""
    if own is None:
        return {name for name in names if name.startswith(OWN)}
    given = [own] if isinstance(own, str) else list(own)
    strange = [name for name in given if name not in names]
    if strange:
        raise ValueError(f"{who}: own: {shown(strange[0])} is not estimated; {suggestion(strange[0], list(names), 'parameters')}")
    return set(given)


def _refuse_twice(read: Mapping[str, tuple[str, str, Dispersible]], who: str) -> None:
    seen: dict[str, str] = {}
    for name, thing, _ in read.values():
        if name in seen and (not thing or not seen[name]):
            raise ValueError(f'{who}: {name} is asked for as a whole and of "{thing or seen[name]}" alone; keep one of the two')
        seen[name] = thing


def _parameter(mission: Mission, written: str, named: tuple[str, str, Dispersible], given: Mapping[str, Any], who: str) -> Parameter:
    """Return a parameter with its prior: the one given, or the mission's spread."""
    name, thing, item = named
    spread = mission.disperse.get(name)
    mean, sd = moments(mission, name, thing, item)
    if written in given:
        mean, sd = _given(given[written], item, mean, f"{who}: priors: {written}")
    elif spread is None:
        size = "5 %" if item.unit == "1" else f"{SCALES.get(item.unit, 1.0):g} {item.unit}"
        told = f'priors={{"{written}": "{size}"}} (its standard deviation), or "none"'
        raise ValueError(f"{who}: nothing is known of {written} before the flight, it is not in [disperse]; give {told}")
    if not np.isfinite(mean):
        raise ValueError(f"{who}: {written} has no value in the mission to start from; give one in the mission file")
    if sd == 0.0:
        raise ValueError(f'{who}: {written} has no spread (standard deviation 0): nothing could move it; give a larger one in priors, or "none"')
    scale = sd if np.isfinite(sd) else max(SCALES.get(item.unit, 0.0), 0.1 * abs(mean)) or 1.0
    low, high = _cuts(spread, item)
    if not low <= mean <= high:
        raise ValueError(f"{who}: {written}: its prior mean {mean:g} is not between {low:g} and {high:g}")
    return Parameter(name, thing, "", item, mean, sd, scale, max(low, mean - REACH * scale), min(high, mean + REACH * scale))


def moments(mission: Mission, name: str, thing: str, item: Dispersible) -> tuple[float, float]:
    """Return mean and standard deviation of what a mission draws of a quantity (of one thing, or of the first); its own value and 0 where it draws nothing."""
    spread, nominal = mission.disperse.get(name), float(nominal_value(mission, item))
    if spread is None:
        return nominal, 0.0
    known = thing or (str(things(mission, item.each)[0]) if item.each else "")
    mean, sd = float(np.mean(quantile(spread_of(spread, known), SHARES, nominal, item.least))), deviation(spread, nominal, known)
    return (0.0 if abs(mean) < 1e-9 * sd else mean), sd  # rounding of the quantiles' sum


def _given(value: Any, item: Dispersible, mean: float, where: str) -> tuple[float, float]:
    """Return mean and standard deviation of a prior as given: a standard deviation, (mean, sd), {"mean": ..., "sd": ...} or "none"."""
    if value is None or value == "none":
        return mean, np.inf
    if isinstance(value, Mapping) and set(value) <= {"mean", "sd"} and "sd" in value:
        value = (value.get("mean", mean), value["sd"])
    try:
        if isinstance(value, tuple | list) and len(value) == 2:
            own = parse_difference(value[0], item.unit) if item.role == "offset" else parse(value[0], item.unit)
            return float(own), abs(float(parse_difference(value[1], item.unit)))
        return mean, abs(float(parse_difference(value, item.unit)))
    except (QuantityError, TypeError) as error:
        raise ValueError(f'{where}: {error}; write a standard deviation, [mean, sd], or "none"') from None


def _cuts(spread: Spread | None, item: Dispersible) -> tuple[float, float]:
    """Return what a parameter may take: where its spread is cut, where draws have no meaning, where a path's key ends."""
    low = -np.inf if spread is None or spread.low is None else spread.low
    high = np.inf if spread is None or spread.high is None else spread.high
    if item.least is not None:
        low = max(low, item.least)
    return (max(low, _end(item, -1.0)), min(high, _end(item, 1.0))) if isinstance(item, PathItem) else (low, high)


def _end(item: PathItem, way: float) -> float:
    """Return where a path's number ends: at 0 where its key refuses what is below (its limits have no holes), else nowhere."""
    own = item.own or 0.0
    try:
        item.check(own + way * (abs(own) + 1.0) * 1e3)
        return way * np.inf
    except QuantityError:
        return 0.0 if way < 0.0 and own >= 0.0 else way * np.inf


# ---------------------------------------------------------------- as the fit takes them


def prior_of(mission: Mission, parameters: Sequence[Parameter]) -> Prior:
    """Return the prior of all parameters in z, correlated as the mission's [[correlation]] says of those it names."""
    count = len(parameters)
    known = np.array([np.isfinite(one.sd) for one in parameters])
    together = np.eye(count)
    for a, one in enumerate(parameters):
        for b in range(a):
            together[a, b] = together[b, a] = _coefficient(mission, one, parameters[b])
    precision = WIDE * np.eye(count)
    if known.any():
        precision[np.ix_(known, known)] = np.linalg.inv(together[np.ix_(known, known)])
    low, high = (np.array([(getattr(one, end) - one.mean) / one.scale for one in parameters]) for end in ("low", "high"))
    return Prior(precision, low, high)


def _coefficient(mission: Mission, one: Parameter, other: Parameter) -> float:
    """Return the correlation of two parameters before the flight."""
    if one.log != other.log or one.thing != other.thing:
        return 0.0
    for group in mission.correlation:
        if one.name in group.of and other.name in group.of and (not group.only or not one.thing or one.thing in group.only):
            if group.coefficient is not None:
                return float(group.coefficient)
            return float(group.matrix[group.of.index(one.name)][group.of.index(other.name)])
    return 0.0


def values_of(parameters: Sequence[Parameter], z: np.ndarray) -> np.ndarray:
    """Return the values of parameters (SI) of z."""
    return np.array([one.mean + one.scale * own for one, own in zip(parameters, z, strict=True)])

"""Whether what is drawn about is something the mission could hold: an offset is added to its number, a factor multiplies it.

The commonest slip is to write the number itself where an offset or a factor is meant: `rail.elevation = { mean = "84 deg" }` adds
84 deg to the rail's own elevation. Only the centre of a spread (mean, median, mode, the middle of a uniform one, each of given values) is judged: its
tails may reach over a limit, such as a rail that leans to the other side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from sixdof.mission import tables
from sixdof.mission.checks.air import MOST_TEMPERATURE_OFFSET, PRESSURE_RATIO_LIMITS
from sixdof.mission.checks.bodies import Stack
from sixdof.mission.checks.within import SPECIFIC_IMPULSE, specific_impulse
from sixdof.mission.errors import Problem
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible

TURN = math.pi / 4.0  # rad: how far a thrust line, a joint or a fin may stand askew, as `cant`
TINY = 1e-6  # of a factor on what must be more than 0


class Reach(NamedTuple):
    """One number of the mission that draws move: what it is, its own value, and its limits, SI."""

    of: str
    own: float
    low: float
    high: float


def draw_limit_problems(mission: tables.MissionTables) -> Iterator[Problem]:
    """Yield what is drawn about a number that `mission` could not hold; paths start from the mission."""
    stack = Stack(mission.stage)
    if not all(stack.bodies):
        return  # a fault of its own
    for name, spread in mission.disperse.items():
        item = DISPERSIBLE.get(name)
        if item is None:
            continue
        for key, centre in centres(spread):
            for reach in _REACHES.get(name, _positive if item.role == "factor" else _anywhere)(mission, stack):
                made = reach.own * centre if item.role == "factor" else reach.own + centre if item.role == "offset" else centre
                if not reach.low - 1e-9 <= made <= reach.high + 1e-9:
                    yield Problem(("disperse", name, *key), centre, _said(item, reach, centre, made), _hint(item))
                    break


def centres(spread: tables.Spread) -> Iterator[tuple[tuple, float]]:
    """Yield (key, number) of what a spread draws about, as far as it says so itself."""
    if spread.kind in ("discrete", "empirical"):
        picked = range(len(spread.values)) if spread.kind == "discrete" else [len(spread.values) // 2]
        yield from ((("values", i), spread.values[i]) for i in picked)
    elif spread.kind == "uniform" and None not in (spread.low, spread.high):
        yield ("low",), 0.5 * (spread.low + spread.high)
    else:
        key = {"lognormal": "median", "triangular": "mode", "bernoulli": "value"}.get(spread.kind, "mean")
        if getattr(spread, key) is not None:
            yield (key,), getattr(spread, key)
    yield from ((("of", name, "mean"), own.mean) for name, own in spread.of.items() if own.mean is not None)


def _said(item: Dispersible, reach: Reach, centre: float, made: float) -> str:
    def shown(number: float) -> str:
        return f"{math.degrees(number):.6g} deg" if item.unit == "rad" else f"{number:.6g}"

    unit = {"rad": "", "1": ""}.get(item.unit, f" {item.unit}") if item.role != "factor" else ""
    span = f"from {shown(reach.low)} to {shown(reach.high)}" if math.isfinite(reach.high) else "more than 0"
    if item.role == "factor":
        return f"it is a factor {item.doc}: {reach.of} is {reach.own:.4g}, times {centre:.4g} {made:.4g}, and can be {span}"
    if item.role == "offset":
        return f"it is an offset {item.doc}: {reach.of} is {shown(reach.own)}{unit}, with it {shown(made)}{unit}, and can be {span}{unit}"
    return f"it is the {item.doc}, which can be {span}{unit}"


def _hint(item: Dispersible) -> str:
    if item.role == "factor":
        return "a factor is about 1; leave it out to draw about the mission's own number"
    return "an offset is about 0; leave it out to draw about the mission's own number" if item.role == "offset" else "check its unit"


# ---------------------------------------------------------------- what each name moves


def _anywhere(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    return iter(())


def _positive(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    yield Reach("the factor of the nominal flight", 1.0, TINY, math.inf)


def _fixed(of: str, low: float, high: float, own: float = 0.0) -> Callable[[Any, Any], Iterator[Reach]]:
    return lambda mission, stack: iter([Reach(of, own, low, high)])


def _each_radius(of: str) -> Callable[[Any, Stack], Iterator[Reach]]:
    """Return the reach of what lies across the axis: within each stage's body."""

    def reach(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
        for stage, bodies in zip(mission.stage, stack.bodies):
            radius = max(max(body.r0, body.r1) for body in bodies)
            yield Reach(f'{of} of "{stage.name}"', 0.0, -radius, radius)

    return reach


def _centre_of_mass(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    """A measured centre of mass stays in the body; of one that is built up only the shift is known here: half the body at most."""
    for stage, length in zip(mission.stage, stack.length):
        cg = stage.measured.cg if stage.measured is not None else None
        if cg is not None:
            yield Reach(f'the dry centre of mass of "{stage.name}"', cg, 0.0, length)
        else:
            yield Reach(f'the shift of the dry centre of mass of "{stage.name}"', 0.0, -0.5 * length, 0.5 * length)


def _centre_of_pressure(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    half = 0.5 * sum(stack.length)
    yield Reach("the shift of the centre of pressure", 0.0, -half, half)


def _impulse(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    used = dict.fromkeys(part.motor for stage in mission.stage for part in stage.part if isinstance(part, tables.Mount))
    for name in used:
        if name in mission.motor:
            most = SPECIFIC_IMPULSE[1]  # a motor that burns badly has less than any
            yield Reach(f'the specific impulse of "{name}", s,', specific_impulse(mission.motor[name]), TINY, most)


def _cant(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    for stage in mission.stage:
        for part in stage.part:
            if isinstance(part, tables.Fins):
                yield Reach(f'the cant of the fins "{part.name}"', part.cant, -TURN, TURN)


def _ignition(mission: tables.MissionTables, stack: Stack) -> Iterator[Reach]:
    for stage in mission.stage:
        yield Reach(f'the ignition delay of "{stage.name}"', stage.ignition.delay, 0.0, math.inf)


# factors that may be 0: without drag a vehicle flies in a vacuum, without gains by itself
_MAY_BE_NONE = (
    "aero.drag",
    "aero.normal_force",
    "aero.damping",
    "aero.control_force",
    "canopy.drag",
    "canopy.fill_time",
    "gain.pitch",
    "gain.yaw",
    "gain.roll",
    "harness.strength",
    "joint.impulse",
)
_REACHES: dict[str, Callable[[tables.MissionTables, Stack], Iterator[Reach]]] = {
    "wind.blows_from": _fixed("the direction", -2.0 * math.pi, 2.0 * math.pi),
    "air.temperature": _fixed("the shift of the whole column", -MOST_TEMPERATURE_OFFSET, MOST_TEMPERATURE_OFFSET),
    "air.pressure": _fixed("the share of the nominal pressure", *PRESSURE_RATIO_LIMITS, own=1.0),
    "motor.impulse": _impulse,
    "motor.tilt_y": _fixed("the thrust line's turn", -TURN, TURN),
    "motor.tilt_z": _fixed("the thrust line's turn", -TURN, TURN),
    "motor.offset_y": _each_radius("the thrust line's distance from the axis"),
    "motor.offset_z": _each_radius("the thrust line's distance from the axis"),
    "vehicle.cg": _centre_of_mass,
    "vehicle.cg_y": _each_radius("the distance from the axis"),
    "vehicle.cg_z": _each_radius("the distance from the axis"),
    "aero.cp": _centre_of_pressure,
    "aero.fin_cant": _cant,
    "rail.elevation": lambda mission, stack: iter([Reach("the rail's elevation", mission.rail.elevation, 0.0, 0.5 * math.pi)]),
    "rail.azimuth": lambda mission, stack: iter([Reach("the rail's azimuth", mission.rail.azimuth, -2.0 * math.pi, 2.0 * math.pi)]),
    "servo.centring": lambda mission, stack: iter([Reach("a fin's neutral angle", 0.0, -mission.servo.deflection_limit, mission.servo.deflection_limit)]),
    "ignition.delay": _ignition,
    "joint.tilt_y": _fixed("the joint's turn", -TURN, TURN),
    "joint.tilt_z": _fixed("the joint's turn", -TURN, TURN),
} | dict.fromkeys(_MAY_BE_NONE, _anywhere)

"""Checks of the vehicle's geometry: bodies that join, and parts that sit in or on them.

Only what is certain is a fault: inside a nose, whose curve is not computed here, its base is taken for its radius.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sixdof.mission import tables
from sixdof.mission.checks.within import ROUNDING, root_chord
from sixdof.mission.errors import Problem

JOIN = 1e-6  # m: diameters spelled in different units are equal to this


@dataclass(frozen=True)
class BodySection:
    """A body of revolution from station x0 to x1 of its stage, of radius r0 fore and r1 aft, m."""

    loc: tuple
    part: tables.Part
    x0: float
    x1: float
    r0: float
    r1: float

    def radius(self, x: float) -> float:
        """Return the radius (m) at a station of the stage; that of its base for all of a nose."""
        share = min(max((x - self.x0) / (self.x1 - self.x0), 0.0), 1.0)
        return self.r1 if isinstance(self.part, tables.Nose) else self.r0 + (self.r1 - self.r0) * share


class Stack:
    """The stages one behind the other: `bodies`, `length` and `start` (station of the fore end), each by stage, m."""

    def __init__(self, stages: Sequence[tables.Stage]):
        self.stages = tuple(stages)
        self.bodies = [_bodies(i, stage) for i, stage in enumerate(stages)]
        self.length = [bodies[-1].x1 if bodies else 0.0 for bodies in self.bodies]
        self.start = [sum(self.length[:i]) for i in range(len(self.length))]

    def radii(self, stage: int, fore: float, aft: float) -> list[float]:
        """Return the radii (m) at the ends of every body's share of the stretch fore..aft of a stage."""
        found = []
        for body in self.bodies[stage]:
            a, b = max(fore, body.x0), min(aft, body.x1)
            if a < b:
                found += [body.radius(a), body.radius(b)]
        return found


def _bodies(number: int, stage: tables.Stage) -> list[BodySection]:
    found: list[BodySection] = []
    fore = 0.0
    for j, part in enumerate(stage.part):
        if isinstance(part, tables.Nose):
            r0, r1 = 0.0, 0.5 * part.diameter
        elif isinstance(part, tables.Tube):
            r0 = r1 = 0.5 * part.diameter
        elif isinstance(part, tables.Transition):
            r0, r1 = 0.5 * part.fore_diameter, 0.5 * part.aft_diameter
        else:
            continue
        found.append(BodySection(("stage", number, "part", j), part, fore, fore + part.length, r0, r1))
        fore += part.length
    return found


def stage_problems(stack: Stack) -> Iterator[Problem]:
    """Yield what is wrong with the geometry of the stages; paths start from the mission."""
    yield from _joints(stack)
    for i, stage in enumerate(stack.stages):
        if not stack.bodies[i]:
            hint = "add parts of kind nose, tube or transition"
            yield Problem(("stage", i, "part"), None, "the stage has no body", hint)
            continue
        yield from _stations(stack, i, stage)
        yield from _body_centre(stack, i, stage)
        fins = [(("stage", i, "part", j), part) for j, part in enumerate(stage.part) if isinstance(part, tables.Fins)]
        for loc, part in fins:
            yield from _fins_on_body(stack, i, loc, part)
        yield from _fins_apart(stack, i, fins)
        for j, part in enumerate(stage.part):
            if isinstance(part, tables.Mount):
                yield from _mount_in_body(stack, i, ("stage", i, "part", j), part)


def _called(part: tables.Part) -> str:
    return f'the {part.kind} "{part.name}"' if part.name else f"the {part.kind}"


# ---------------------------------------------------------------- bodies of revolution


def _joints(stack: Stack) -> Iterator[Problem]:
    """The nose comes first and only there; each body begins with the diameter the one before ends with."""
    every = [body for bodies in stack.bodies for body in bodies]
    for body in every[1:]:
        if isinstance(body.part, tables.Nose):
            message = "a nose stands behind another body"
            yield Problem((*body.loc, "kind"), "nose", message, "only the first body of the first stage is a nose")
    if stack.bodies[0] and not isinstance(every[0].part, tables.Nose):
        message = f"the first body is a {every[0].part.kind}"
        yield Problem((*every[0].loc, "kind"), every[0].part.kind, message, "the first stage begins with a nose")
    for fore, aft in zip(every, every[1:]):
        if isinstance(aft.part, tables.Nose) or abs(fore.r1 - aft.r0) <= JOIN:
            continue
        key = "fore_diameter" if isinstance(aft.part, tables.Transition) else "diameter"
        ending = f"{_called(fore.part)} before it, which ends with {2.0 * fore.r1:g} m"
        message = f"{2.0 * aft.r0:g} m does not meet {ending}"
        yield Problem((*aft.loc, key), 2.0 * aft.r0, message, "make them equal or put a transition between")


def _stations(stack: Stack, i: int, stage: tables.Stage) -> Iterator[Problem]:
    length = stack.length[i]
    for j, part in enumerate(stage.part):
        if isinstance(part, (tables.RailGuide, tables.PointMass, tables.Parachute)) and not -ROUNDING <= part.station <= length + ROUNDING:
            message = f"{part.station:g} m is not on the stage's body, 0 to {length:g} m"
            yield Problem(("stage", i, "part", j, "station"), part.station, message, _FROM)
    cg = stage.measured.cg if stage.measured is not None else None
    if cg is not None and cg > length + ROUNDING:
        message = f"{cg:g} m is not in the stage's body, 0 to {length:g} m"
        yield Problem(("stage", i, "measured", "cg"), cg, message, _FROM)


MOST_OUTSIDE = 3.0  # vehicle lengths: a boattail can move the centre of a body without fins off it, not further


def _body_centre(stack: Stack, i: int, stage: tables.Stage) -> Iterator[Problem]:
    """A measured centre of pressure lies near the body: mostly a question of units."""
    if stage.measured is None or stage.measured.body_curve is None:
        return
    length = stack.start[i] + stack.length[i]
    for row, centre in enumerate(stage.measured.body_curve.centre):
        if abs(centre) > MOST_OUTSIDE * length:
            loc = ("stage", i, "measured", "body_curve", "centre", row)
            message = f"{centre:g} m is far off the body, 0 to {length:g} m"
            yield Problem(loc, None, message, 'it counts aft from the nose tip; a CSV may name the unit, "centre (mm)"')
            return


_FROM = "stations count aft from the stage's fore end"


# ---------------------------------------------------------------- fins


def _fins_on_body(stack: Stack, i: int, loc: tuple, fins: tables.Fins) -> Iterator[Problem]:
    chord = root_chord(fins)
    fore, aft, length = fins.station, fins.station + chord, stack.length[i]
    first = stack.bodies[i][0].part
    if fore < -ROUNDING or aft > length + ROUNDING:
        message = f"the root, {fore:g} to {aft:g} m, is not on the stage's body, 0 to {length:g} m"
        hint = f"{_FROM}; this root fits at {max(length - chord, 0.0):g} m or less"
        yield Problem((*loc, "station"), fore, message, hint)
        return
    if fore <= ROUNDING and i == 0 and isinstance(first, tables.Nose):
        message = f"the root begins at {fore:g} m, on the tip of the nose, where the body has no radius"
        yield Problem((*loc, "station"), fore, message, "put the fins further aft")
    around = 2.0 * math.pi * max(stack.radii(i, fore, aft))
    if fins.count * fins.thickness > around:
        message = f"{fins.count} fins {fins.thickness:g} m thick do not fit around {around:.4g} m of circumference"
        yield Problem((*loc, "count"), fins.count, message, "take fewer or thinner fins")


def _fins_apart(stack: Stack, i: int, fins: list[tuple[tuple, tables.Fins]]) -> Iterator[Problem]:
    """No panel of one set stands in a panel of another: roots overlap and angles are closer than they are thick."""
    for n, (_, one) in enumerate(fins):
        for loc, other in fins[n + 1 :]:
            fore = max(one.station, other.station)
            aft = min(one.station + root_chord(one), other.station + root_chord(other))
            radii = stack.radii(i, fore, aft)
            if aft <= fore + ROUNDING or not radii:
                continue
            gap = _least_angle(one, other) * max(radii)
            if gap < 0.5 * (one.thickness + other.thickness) - ROUNDING:
                message = f"a panel stands in one of {_called(one)} between {fore:g} and {aft:g} m"
                hint = "move one set along the body or change its clocking"
                yield Problem((*loc, "station"), other.station, message, hint)


def _least_angle(one: tables.Fins, other: tables.Fins) -> float:
    """Return the least angle (rad) between a panel of one set and a panel of the other."""
    turn = 2.0 * math.pi
    gaps = ((one.clocking + turn * a / one.count - other.clocking - turn * b / other.count) % turn for a in range(one.count) for b in range(other.count))
    return min(min(gap, turn - gap) for gap in gaps)


# ---------------------------------------------------------------- mounts


def _mount_in_body(stack: Stack, i: int, loc: tuple, mount: tables.Mount) -> Iterator[Problem]:
    fore, aft, length = mount.station, mount.station + mount.length, stack.length[i]
    if aft > length + ROUNDING:
        message = f"the mount, {fore:g} to {aft:g} m, is not in the stage's body, 0 to {length:g} m"
        hint = f"{_FROM}; a motor may stand out by protrusion"
        yield Problem((*loc, "station"), fore, message, hint)
        return
    reach = mount.ring_radius + 0.5 * mount.inner_diameter + mount.wall_thickness
    room = min(stack.radii(i, fore, aft))
    if reach > room + JOIN:
        key = "ring_radius" if mount.ring_radius > 0.0 else "inner_diameter"
        message = f"the mount reaches {reach:g} m from the axis, but the body's radius there is {room:g} m"
        yield Problem((*loc, key), getattr(mount, key), message, "take a narrower mount or a wider body")

"""Worded cautions about a mission as it is written: numbers that can be, and that are mostly slips of typing."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

import numpy as np

from sixdof.mission.checks.draw_limits import centres
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Mount, Nose, Parachute
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.study.probes.columns import G0
from sixdof.vehicle.describe import UNSTABLE, balance
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe
from sixdof.vehicle.motor import BURN_SHARE, break_points

# common practice among builders, not law and not physics
LEAST_ELEVATION = math.radians(60.0)  # of the rail
# of this project
LIKELY_MASS = 0.5, 2.0  # of the measured mass over that of the parts
LIKELY_CENTRE = 0.2  # of the stage's length: between the measured centre of mass and that of the parts
SLENDER_NOSE, SLENDER = 12.0, 60.0  # lengths over diameters, of a nose and of the whole vehicle
LEAST_DESCENT = 1.5  # m/s under one canopy
WIDE_FIN = 5.0  # diameters of its body: the exposed span of one panel
LEAST_OPENING = 50.0  # m above ground at which the last canopy is to be deployed
LIKELY_FACTOR = 0.7, 1.4  # that a dispersed factor is drawn about
LIKELY_SCATTER = 0.5  # standard deviation of a dispersed factor
TAIL = 0.5  # of a thrust curve: the share of its time that may lie behind the last 5 % of its peak
INSIDE = 1.0  # calibres that a nozzle may end ahead of the aft end of its stage
_DENSITY = 1.225  # kg/m^3, of the standard at sea level


def mission_cautions(mission: Mission) -> list[str]:
    """Return a sentence for everything in a mission that could be, and mostly is a slip of typing or of units.

    What cannot be is refused when a mission is loaded; what a flight shows (speed off the rail, margins, loads) is cautioned on the
    page of the flight. Raises TypeError for what is not a mission.
    """
    check_mission(mission, "mission_cautions")
    return [said for check in _CHECKS for said in check(mission)]


def balance_cautions(mission: Mission) -> list[str]:
    """Return a sentence for every configuration that is unstable as built; the page of a flight has its own, of the margin as flown."""
    said = []
    for count in range(len(mission.stage), 0, -1):
        state = balance(mission, range(count))
        least = min(state.margin_loaded, state.margin_burnt)
        if not least >= UNSTABLE:
            names = " + ".join(stage.name for stage in mission.stage[:count])
            said.append(
                f'"{names}" is UNSTABLE: its static margin is {least:.3g} calibres; move mass forward, enlarge the tail fins or make fins ahead of them smaller'
            )
    return said


def _rail(mission: Mission) -> Iterator[str]:
    rail, length = mission.rail, shape_of(mission.stage).length
    if rail.elevation < LEAST_ELEVATION:
        yield (
            f"the rail stands {math.degrees(rail.elevation):.3g} deg above the horizontal "
            "(common practice stays within 30 deg of the vertical): a bare number is in radians"
        )
    if rail.length < length:
        yield f"the rail, {rail.length:.3g} m, is shorter than the vehicle, {length:.3g} m: it is guided over a part of its length only"


def _slenderness(mission: Mission) -> Iterator[str]:
    for stage in mission.stage:
        for part in stage.part:
            if isinstance(part, Nose) and part.length > SLENDER_NOSE * part.diameter:
                yield f"the nose is {part.length / part.diameter:.3g} times as long as it is wide: check its length, {part.length:g} m"
    shape = shape_of(mission.stage)
    if shape.length > SLENDER * shape.diameter:
        yield f"the vehicle is {shape.length / shape.diameter:.3g} times as long as it is wide: check the lengths of its parts, {shape.length:.3g} m together"


def _fins(mission: Mission) -> Iterator[str]:
    for stage in mission.stage:
        wide = WIDE_FIN * shape_of([stage]).diameter
        for part in stage.part:
            if isinstance(part, Fins) and part.semispan is not None and part.semispan > wide:  # an outline is measured, not typed
                yield f'one panel of the fins "{part.name}" spans {part.semispan:.3g} m, {WIDE_FIN * part.semispan / wide:.3g} diameters of the body: check it'


def _heights(mission: Mission) -> Iterator[str]:
    for recovery in mission.recovery:
        if recovery.height is not None and recovery.height < LEAST_OPENING:
            yield f'"{recovery.canopy}" is deployed at {recovery.height:.3g} m above the ground: it may not fill before the ground is there'


def _measured(mission: Mission) -> Iterator[str]:
    shape = shape_of(mission.stage)
    for number, stage in enumerate(mission.stage):
        if stage.measured is None:
            continue
        built = airframe(shape, number, stage.model_copy(update={"measured": None}))
        mass, cg = stage.measured.mass, stage.measured.cg
        if mass is not None and not LIKELY_MASS[0] <= mass / built.mass <= LIKELY_MASS[1]:
            yield f'the measured mass of "{stage.name}" is {1e3 * mass:.4g} g, and its parts make {1e3 * built.mass:.4g} g: check its unit, or the parts'
        length = shape_of([stage]).length
        own = built.place[0] - shape.stage_x0[number]
        if cg is not None and abs(cg - own) > LIKELY_CENTRE * length:
            yield f'the measured centre of mass of "{stage.name}" is at {cg:.3f} m, and that of its parts at {own:.3f} m: stations count from its fore end'


def _canopies(mission: Mission) -> Iterator[str]:
    shape = shape_of(mission.stage)
    for number, stage in enumerate(mission.stage):
        mass = airframe(shape, number, stage).mass
        for part in stage.part:
            if isinstance(part, Parachute):
                area = 0.25 * math.pi * part.diameter**2 * part.drag_coefficient
                speed = math.sqrt(2.0 * mass * G0 / (_DENSITY * area))
                if speed < LEAST_DESCENT:
                    yield f'under "{part.name}" alone the stage "{stage.name}" comes down at {speed:.2g} m/s: check its diameter, {part.diameter:g} m'


def _gains(mission: Mission) -> Iterator[str]:
    if any(isinstance(part, Fins) and part.control for stage in mission.stage for part in stage.part):
        return
    pilot = mission.autopilot
    sets = [pilot, *pilot.schedule, *([pilot.with_booster] if pilot.with_booster else [])]
    if any(value for each in sets for channel in (each.pitch, each.yaw, each.roll) for value in channel.model_dump().values()):
        yield "the autopilot has gains, and no fins have control = true: nothing steers"


def _names(mission: Mission) -> Iterator[str]:
    for stage in mission.stage:
        for name, count in Counter(part.name for part in stage.part if part.name).items():
            if count > 1:
                yield f'{count} parts of the stage "{stage.name}" are called "{name}": paths and tables cannot tell them apart'


def _nozzles(mission: Mission) -> Iterator[str]:
    """Yield motors that end inside the body: it was lengthened behind its motor, or a mount was left where it stood."""
    for stage in mission.stage:
        shape = shape_of([stage])
        for part in stage.part:
            if isinstance(part, Mount):
                short = shape.length - (part.station + part.length + part.protrusion)
                if short > INSIDE * shape.diameter:
                    yield f'the motor "{part.motor}" ends {short:.3g} m inside the body of "{stage.name}": its jet would blow into the airframe'


def _curves(mission: Mission) -> Iterator[str]:
    for name, motor in mission.motor.items():
        time, force = break_points(motor.thrust_curve)
        level = BURN_SHARE * force.max()
        above = np.flatnonzero(force >= level)[-1]  # never the last point: break_points ends at zero
        last = np.interp(level, force[[above + 1, above]], time[[above + 1, above]])  # on the line: a curve of few points has long ones
        if time[-1] - last > TAIL * time[-1]:
            yield (
                f'the thrust curve of "{name}" stays below 5 % of its peak from {last:.3g} s to its end at {time[-1]:.3g} s, '
                "and burnout is there: cut off what is noise"
            )


def _factors(mission: Mission) -> Iterator[str]:
    for name, spread in mission.disperse.items():
        item = DISPERSIBLE.get(name)
        if item is None or item.role != "factor" or spread.kind == "bernoulli":
            continue
        found = [centre for _, centre in centres(spread)]
        middle = sum(found) / len(found) if found else 1.0
        if not LIKELY_FACTOR[0] <= middle <= LIKELY_FACTOR[1]:
            yield f"{name} is drawn about {middle:.3g}, and is a factor {item.doc}: 1 is the mission's own number"


def _scatters(mission: Mission) -> Iterator[str]:
    for name, spread in mission.disperse.items():
        item = DISPERSIBLE.get(name)
        if item is not None and item.role == "factor" and spread.kind == "normal" and spread.sd is not None and spread.sd > LIKELY_SCATTER:
            yield (
                f"{name} is drawn with a standard deviation of {100.0 * spread.sd:.3g} %: a factor's is a share of 1; of {spread.sd:g} per cent "
                f'write "{spread.sd:g} %"'
            )


_CHECKS = (_rail, _slenderness, _fins, _measured, _canopies, _heights, _gains, _names, _nozzles, _curves, _factors, _scatters)

"""Checks within one table: keys that need each other, that exclude each other, or whose order is wrong.

Those of the air are in `air.py`, those of the flight computer's tables in `flight.py`, those of what is dispersed in `spreads.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from sixdof.core.constants import G0
from sixdof.mission import tables
from sixdof.mission.checks.common import missing, problem_of, unused
from sixdof.mission.errors import Problem, suggestion
from sixdof.mission.files import curves
from sixdof.mission.tables.base import check_of
from sixdof.mission.tables.materials import MATERIALS
from sixdof.mission.tables.vehicle import _Made
from sixdof.mission.units import example, shown

GRAIN_SHARE = 0.95  # of the motor's diameter: the largest grain its case leaves room for
PROPELLANT_DENSITY = 400.0, 3000.0  # kg/m^3: beyond these no solid propellant has ever been
SPECIFIC_IMPULSE = 50.0, 400.0  # s: beyond these a solid motor's numbers are in the wrong units (black powder has some 70 s, composites up to 270 s)
LARGEST_CANOPY = 50.0  # m: the largest that ever brought a rocket down have some 45 m
FINEST_TOLERANCE = 1e-9  # m: below it rounding decides, and a flight takes minutes
LEAST_SHEAR_MODULUS = 1e6  # Pa: rubber's
LONGEST_NOSE = 100.0  # diameters: no nose is a tenth of it
ROUNDING = 1e-9  # m: sums of lengths spelled in other units may round up
CONDITIONS = (  # of a rule
    "tilt_below",
    "speed_above",
    "speed_below",
    "height_above",
    "height_below",
    "booster",
    "after",
    "before",
)

# ---------------------------------------------------------------- motors, measured curves


@check_of(tables.ThrustCurve)
def _thrust_curve(curve: tables.ThrustCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.THRUST.flaws((curve.time, curve.thrust)))


@check_of(tables.DragCurve)
def _drag_curve(curve: tables.DragCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.DRAG.flaws((curve.mach, curve.coefficient)))


@check_of(tables.AxialCurve)
def _axial_curve(curve: tables.AxialCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.AXIAL.flaws((curve.mach, curve.incidence, curve.coefficient)))


@check_of(tables.Measured)
def _measured(measured: tables.Measured) -> Iterator[Problem]:
    if measured.axial_curve is not None and measured.drag_curve is not None:
        message = "axial_curve already holds the coefficient at incidence 0"
        yield Problem(("drag_curve",), None, message, "give one of the two")


@check_of(tables.BodyCurve)
def _body_curve(curve: tables.BodyCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.BODY.flaws((curve.mach, curve.slope, curve.centre)))


@check_of(tables.PanelCurve)
def _panel_curve(curve: tables.PanelCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.PANEL.flaws((curve.mach, curve.slope, curve.centre)))


@check_of(tables.RollDampingCurve)
def _roll_damping_curve(curve: tables.RollDampingCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.ROLL_DAMPING.flaws((curve.mach, curve.damping)))


@check_of(tables.RollForcingCurve)
def _roll_forcing_curve(curve: tables.RollForcingCurve) -> Iterator[Problem]:
    yield from map(problem_of, curves.ROLL_FORCING.flaws((curve.mach, curve.forcing)))


@check_of(tables.Motor)
def _motor(motor: tables.Motor) -> Iterator[Problem]:
    most = GRAIN_SHARE * motor.diameter
    if motor.bore_diameter >= most:
        message = f"{motor.bore_diameter:g} m leaves no propellant: the grain is at most {most:g} m across"
        hint = "give the diameter of the hole through the grain"
        yield Problem(("bore_diameter",), motor.bore_diameter, message, hint)
        return
    if motor.grain_length is not None and motor.grain_length > motor.length + ROUNDING:
        message = f"{motor.grain_length:g} m is more than the motor's length, {motor.length:g} m"
        yield Problem(("grain_length",), motor.grain_length, message, "the grain lies inside the case")
    elif (motor.grain_station or 0.0) + (motor.grain_length or 0.0) > motor.length + ROUNDING:
        message = f"the grain would end behind the case, which is {motor.length:g} m long"
        yield Problem(("grain_station",), motor.grain_station, message, "it counts aft from the motor's fore end")
    yield from _propellant(motor)


def _propellant(motor: tables.Motor) -> Iterator[Problem]:
    least, most = PROPELLANT_DENSITY
    length = motor.length if motor.grain_length is None else motor.grain_length
    volume = 0.25 * math.pi * ((GRAIN_SHARE * motor.diameter) ** 2 - motor.bore_diameter**2) * length
    density = motor.propellant_mass / volume
    # without grain_length the grain may fill a small part of the case, so only "too dense" is certain
    if density > most or (density < least and motor.grain_length is not None):
        message = f"{motor.propellant_mass:g} kg in a grain of {volume * 1e6:.4g} cm^3 is {density:.4g} kg/m^3"
        hint = f"solid propellant has {least:g} to {most:g}; check mass, diameter, bore_diameter and grain_length"
        yield Problem(("propellant_mass",), motor.propellant_mass, message, hint)
    specific = specific_impulse(motor)
    least, most = SPECIFIC_IMPULSE
    if not least <= specific <= most:
        time, impulse = motor.thrust_curve.time, specific * motor.propellant_mass * G0
        message = f"{impulse:.4g} N s in {time[-1] - time[0]:.4g} s from {motor.propellant_mass:g} kg is a specific impulse of {specific:.4g} s"
        hint = f"solid motors have {least:g} to {most:g} s; check the units of the curve's time and thrust, and propellant_mass"
        yield Problem(("thrust_curve",), None, message, hint)


def specific_impulse(motor: tables.Motor) -> float:
    """Return the impulse of the curve as written over the propellant's weight, s."""
    time, thrust = motor.thrust_curve.time, motor.thrust_curve.thrust
    impulse = sum(0.5 * (f0 + f1) * (t1 - t0) for t0, t1, f0, f1 in zip(time, time[1:], thrust, thrust[1:]))
    return impulse / (motor.propellant_mass * G0)


# ---------------------------------------------------------------- parts

_WITH_VOLUME = (tables.Nose, tables.Tube, tables.Transition, tables.Fins, tables.RailGuide, tables.Mount)


@check_of(_Made)
def _made(part: _Made) -> Iterator[Problem]:
    given = [key for key in ("mass", "material", "density") if getattr(part, key) is not None]
    if not isinstance(part, _WITH_VOLUME):
        yield from unused(part, ("material", "density"), f"a {part.kind}, which has its mass,")
        return
    if not given:
        hint = f"a {part.kind} needs mass, material or density: write e.g. mass = {example('kg')}"
        yield Problem(("mass",), None, "missing", hint)
    elif part.mass is not None and part.density is not None:
        yield Problem(("density",), None, "mass and density say the same thing twice", "keep one of them")
    if part.material is not None and part.material not in MATERIALS:
        hint = suggestion(part.material, tuple(MATERIALS), "known materials (or write density)")
        yield Problem(("material",), part.material, f"unknown material {shown(part.material)}", hint)


def _wall(part, radius: float, where: str) -> Iterator[Problem]:
    if part.wall_thickness is not None and part.wall_thickness > radius + ROUNDING:
        message = f"{part.wall_thickness:g} m is more than the radius{where}, {radius:g} m"
        yield Problem(("wall_thickness",), part.wall_thickness, message, "make it thinner, or leave it out for a solid part")


@check_of(tables.Nose)
def _nose(nose: tables.Nose) -> Iterator[Problem]:
    if nose.length > LONGEST_NOSE * nose.diameter:
        message = f"{nose.length:g} m is {nose.length / nose.diameter:.3g} times its diameter"
        yield Problem(("length",), nose.length, message, f"a bare number is in m; write e.g. {example('m')}")
    own = {"power": "exponent", "haack": "haack_c", "parabola": "fullness", "secant-ogive": "ogive_radius"}
    others = [key for shape, key in own.items() if shape != nose.shape]
    yield from unused(nose, others, f'shape "{nose.shape}"')
    yield from _wall(nose, 0.5 * nose.diameter, "")
    if nose.shape != "secant-ogive":
        return
    yield from missing(nose, ("ogive_radius",), 'shape "secant-ogive"')
    radius = 0.5 * nose.diameter
    least = (radius**2 + nose.length**2) / (2.0 * radius)
    if nose.ogive_radius is not None and nose.ogive_radius < least * (1.0 - ROUNDING):
        message = f"{nose.ogive_radius:g} m is too small: the nose would bulge beyond its base"
        hint = f"it must be at least {least:.6g} m (the tangent ogive's)"
        yield Problem(("ogive_radius",), nose.ogive_radius, message, hint)


@check_of(tables.Tube)
def _tube(tube: tables.Tube) -> Iterator[Problem]:
    yield from _wall(tube, 0.5 * tube.diameter, "")


@check_of(tables.Transition)
def _transition(part: tables.Transition) -> Iterator[Problem]:
    yield from _wall(part, 0.5 * min(part.fore_diameter, part.aft_diameter), " of its narrow end")


@check_of(tables.Fins)
def _fins(fins: tables.Fins) -> Iterator[Problem]:
    used = {"trapezoid": ("root_chord", "tip_chord", "semispan"), "ellipse": ("root_chord", "semispan"), "polygon": ("points",)}
    why = f'outline "{fins.outline}"'
    keys = used[fins.outline]
    free = ("tip_offset",) if fins.outline == "trapezoid" else ()
    yield from missing(fins, keys, why)
    every = ("root_chord", "tip_chord", "semispan", "tip_offset", "points")
    yield from unused(fins, [key for key in every if key not in keys + free], why)
    if fins.outline == "polygon" and fins.points:
        yield from _polygon(fins.points)
    yield from _stiffness(fins)
    chord = root_chord(fins)
    if chord is not None and chord > 0.0:
        yield from _on_chord(fins, chord)


def _stiffness(fins: tables.Fins) -> Iterator[Problem]:
    if fins.shear_modulus is not None and fins.shear_modulus < LEAST_SHEAR_MODULUS:
        message = f"{fins.shear_modulus:g} Pa is softer than rubber"
        yield Problem(("shear_modulus",), fins.shear_modulus, message, 'a bare number is in Pa; write e.g. "4.1 GPa"')


def root_chord(fins: tables.Fins) -> float | None:
    """Return the root chord (m) of a fin set, None where its outline does not say."""
    if fins.outline == "polygon":
        return fins.points[-1][0] if fins.points else None
    return fins.root_chord


def _on_chord(fins: tables.Fins, chord: float) -> Iterator[Problem]:
    if fins.thickness >= chord:
        message = f"{fins.thickness:g} m is not less than the root chord, {chord:g} m"
        yield Problem(("thickness",), fins.thickness, message, f"a bare number is in m; write e.g. {example('m')}")
    if fins.control and fins.hinge is None:
        hint = f"a control fin needs the place of its hinge, 0 to {chord:g} m aft of the root's leading edge"
        yield Problem(("hinge",), None, "missing", hint)
    if fins.panel_curve is not None:
        yield from _centre_on_panel(fins, chord)
    if fins.hinge is not None and fins.hinge > chord + ROUNDING:
        message = f"{fins.hinge:g} m is behind the root chord, which is {chord:g} m"
        yield Problem(("hinge",), fins.hinge, message, "it counts aft from the root's leading edge")


def _centre_on_panel(fins: tables.Fins, chord: float) -> Iterator[Problem]:
    """A measured centre of pressure lies on the panel: mostly a question of units."""
    reach = max(chord, fins.tip_offset + (fins.tip_chord or 0.0), *(x for x, _ in fins.points))
    fore = min(0.0, fins.tip_offset, *(x for x, _ in fins.points))
    for row, centre in enumerate(fins.panel_curve.centre):
        if not fore - ROUNDING <= centre <= reach + ROUNDING:
            message = f"{centre:g} m is not on the panel, {fore:g} to {reach:g} m"
            hint = 'it counts aft from the root\'s leading edge; a CSV may name the unit, "centre (mm)"'
            yield Problem(("panel_curve", "centre", row), None, message, hint)
            return


def _polygon(points) -> Iterator[Problem]:
    if len(points) < 3 or not any(y > 0.0 for _, y in points):
        yield Problem(("points",), None, "the polygon has no area", "write three or more points, not all at y = 0")
        return
    if points[0] != (0.0, 0.0):
        message = f"the polygon starts at [{points[0][0]:g}, {points[0][1]:g}]"
        yield Problem(("points", 0), points[0], message, "it must start at [0, 0], the root's leading edge")
    if points[-1][1] != 0.0 or points[-1][0] <= 0.0:
        message = f"the polygon ends at [{points[-1][0]:g}, {points[-1][1]:g}]"
        last = ("points", len(points) - 1)
        yield Problem(last, points[-1], message, "it must end at [root chord, 0], the root's trailing edge")
    crossing = _crossing(points)
    if crossing is not None:
        first, second = crossing
        message = f"the edges after points {first + 1} and {second + 1} cross"
        yield Problem(("points",), None, message, "list the points in order around the fin")


def _crossing(points) -> tuple[int, int] | None:
    """Return the numbers of two edges of the closed polygon that cross, or None."""

    def side(a, b, c) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    edges = list(zip(points, points[1:] + points[:1]))
    for i, (a, b) in enumerate(edges):
        for j in range(i + 2, len(edges) - (i == 0)):
            c, d = edges[j]
            if side(a, b, c) * side(a, b, d) < 0.0 and side(c, d, a) * side(c, d, b) < 0.0:
                return i, j
    return None


@check_of(tables.Mount)
def _mount(mount: tables.Mount) -> Iterator[Problem]:
    if mount.count == 1:
        return
    outer = mount.inner_diameter + 2.0 * mount.wall_thickness
    apart = 2.0 * mount.ring_radius * math.sin(math.pi / mount.count)
    if apart < outer - ROUNDING:
        least = 0.5 * outer / math.sin(math.pi / mount.count)
        ring = f"a ring of radius {mount.ring_radius:g} m"
        message = f"{mount.count} tubes of {outer:g} m outside diameter do not fit on {ring}"
        yield Problem(("ring_radius",), mount.ring_radius, message, f"it must be at least {least:.6g} m")


@check_of(tables.Solver)
def _solver(solver: tables.Solver) -> Iterator[Problem]:
    if 0.0 < solver.tolerance < FINEST_TOLERANCE:
        message = f"{solver.tolerance:g} m is finer than rounding allows"
        yield Problem(("tolerance",), solver.tolerance, message, f'write "1 um", {FINEST_TOLERANCE:g} m at the least, or 0 for steps of one length')


@check_of(tables.Stage)
def _stage(stage: tables.Stage) -> Iterator[Problem]:
    if not stage.name.strip():
        yield Problem(("name",), stage.name, "a stage needs a name", 'write e.g. name = "booster"')


@check_of(tables.Parachute)
def _parachute(canopy: tables.Parachute) -> Iterator[Problem]:
    if not canopy.name.strip():
        yield Problem(("name",), canopy.name, "a parachute needs a name", 'write e.g. name = "main"')
    if canopy.diameter > LARGEST_CANOPY:
        message = f"{canopy.diameter:g} m is more than {LARGEST_CANOPY:g} m, and no canopy is"
        yield Problem(("diameter",), canopy.diameter, message, 'a bare number is in m; write e.g. "90 cm"')
    if canopy.reefing_ratio is None:
        yield from unused(canopy, ("reefing_time",), "a canopy without reefing_ratio")
    elif canopy.reefing_time == 0.0:
        hint = 'reefing_ratio needs the time from line stretch to full opening: write e.g. reefing_time = "4 s"'
        yield Problem(("reefing_time",), None, "missing", hint)


# ---------------------------------------------------------------- rules, recovery


@check_of(tables.Rule)
def _rule(rule: tables.Rule) -> Iterator[Problem]:
    if rule.when == "time" or rule.when.endswith("_through"):
        if rule.threshold is None:
            is_time = rule.when == "time"
            what, sample = ("the time since ignition", "3 s") if is_time else ("the height above ground", "150 m")
            hint = f'when = "{rule.when}" needs {what}: write e.g. threshold = "{sample}"'
            yield Problem(("threshold",), None, "missing", hint)
    else:
        yield from unused(rule, ("threshold",), f'when = "{rule.when}"')
    if rule.when == "ignition":
        yield from missing(rule, ("stage",), 'when = "ignition"')
    elif rule.when not in ("burnout", "separation"):
        yield from unused(rule, ("stage",), f'when = "{rule.when}"')
    if rule.action in ("deploy", "ignite"):
        yield from missing(rule, ("target",), f'action "{rule.action}"')
    elif rule.action != "separate":
        yield from unused(rule, ("target",), f'action "{rule.action}"')
    yield from _conditions(rule)


_RANGES = (
    ("speed_above", "speed_below", "m/s", "no speed is above the one and below the other"),
    ("height_above", "height_below", "m", "no height is above the one and below the other"),
    ("after", "before", "s", "no time is after the one and before the other"),
)


def _conditions(rule: tables.Rule) -> Iterator[Problem]:
    """Conditions that are never all met, or never when the rule would act."""
    for low, high, unit, hint in _RANGES:
        least, most = getattr(rule, low), getattr(rule, high)
        if least is not None and most is not None and least >= most:
            yield Problem((low,), least, f"{least:g} {unit} is not less than {high}, {most:g} {unit}", hint)
    above, below, through = rule.height_above, rule.height_below, rule.threshold
    if rule.when == "falling_through" and None not in (above, through) and above >= through:
        message = f"{above:g} m is not below the threshold, {through:g} m"
        yield Problem(("height_above",), above, message, "the vehicle is lower once it has fallen through it: lower it")
    if rule.when == "climbing_through" and None not in (below, through) and below <= through:
        message = f"{below:g} m is not above the threshold, {through:g} m"
        hint = 'the vehicle is higher once it has climbed through it; for the way down write when = "falling_through"'
        yield Problem(("height_below",), below, message, hint)
    if rule.timeout is not None:
        yield from _patience(rule)


def _patience(rule: tables.Rule) -> Iterator[Problem]:
    if all(getattr(rule, name) is None for name in CONDITIONS):
        yield from unused(rule, ("timeout",), "a rule without conditions")
    elif rule.when == "liftoff" and rule.after is not None and rule.delay + rule.timeout < rule.after:
        message = f"{rule.timeout:g} s is over before {rule.after:g} s after liftoff"
        yield Problem(("timeout",), rule.timeout, message, "the rule can never act: raise it, or lower after")


@check_of(tables.Recovery)
def _recovery(recovery: tables.Recovery) -> Iterator[Problem]:
    if recovery.when == "falling_through":
        yield from missing(recovery, ("height",), 'when = "falling_through"')
    else:
        yield from unused(recovery, ("height",), f'when = "{recovery.when}"')


@check_of(tables.Failure)
def _failure(failure: tables.Failure) -> Iterator[Problem]:
    if failure.kind == "late_apogee":
        yield from missing(failure, ("late_by",), 'kind "late_apogee"')
    else:
        yield from unused(failure, ("late_by",), f'kind "{failure.kind}"')

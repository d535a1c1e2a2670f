"""The vehicle in words and numbers: parts, totals, motors, and how stable it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.page import table
from sixdof.vehicle.aero.table import aero_table, component_table
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import PartMass, airframe, mass_at, mass_table, part_masses
from sixdof.vehicle.motor import motor_facts
from sixdof.vehicle.stability import least_stable_plane
from sixdof.world.report import air_lines

MACH = 0.3  # at which normal force and centre of pressure are shown
UNSTABLE, LOW, USUAL = 0.0, 1.0, 3.0  # calibres, common practice


class Totals(NamedTuple):
    """A configuration's mass (kg), centre (station, y, z) in m and inertia (3, 3) about it in kg m^2."""

    mass: float
    centre: np.ndarray
    inertia: np.ndarray


class Balance(NamedTuple):
    """Where mass and normal force of a stack sit. slope: CN_alpha as flown, 1/rad; cp: its station, m.

    Both at small incidence in the plane where cp lies foremost, downwash included (vehicle/stability.py). Margins are (cp -
    cg)/diameter, in calibres; cp and margins are nan where there is no normal force to speak of. burnt: the aft stage's
    propellant gone. plane: direction of that plane, rad (0: the velocity leans towards body z), nan where all are alike.
    """

    loaded: Totals
    burnt: Totals
    slope: float
    cp: float
    margin_loaded: float
    margin_burnt: float
    plane: float


def totals(mission: Mission, stages: Sequence[int]) -> tuple[Totals, Totals]:
    """Return the stack loaded, and with the propellant of its aft stage burnt."""
    table = mass_table(mission, stages)
    return Totals(*mass_at(table, 1.0)), Totals(*mass_at(table, 0.0))


def balance(mission: Mission, stages: Sequence[int], mach: float = MACH) -> Balance:
    """Return masses, centre of pressure at small incidence and static margins of the stack at a Mach number.

    stages : numbers of the stages that fly together, front first. mach : at which slope and centre of pressure stand.

    Examples
    --------
    >>> state = sixdof.aero.balance(mission, [0])
    >>> bool(state.margin_loaded < state.margin_burnt)
    True
    """
    loaded, burnt = totals(mission, stages)
    aero = aero_table(mission, stages)
    plane = least_stable_plane(aero, [mach])
    cp = float(plane.centre[0])
    margins = [(cp - each.centre[0]) / aero.length for each in (loaded, burnt)]
    turned = math.atan2(plane.side[0], plane.down[0]) % math.pi if plane.differs(aero.length)[0] else math.nan
    return Balance(loaded, burnt, float(plane.slope[0]), cp, *margins, turned)


def margin_word(calibres: float) -> str:
    """Return what a static margin in calibres means, by common practice (about 1 to 2, not above 3 to 4)."""
    if not calibres >= UNSTABLE:
        return "unstable"
    if calibres < LOW:
        return "low"
    return "usual" if calibres <= USUAL else "overstable: turns into the wind"


# ---------------------------------------------------------------- text


def describe(mission: Mission) -> str:
    """Return the vehicle as a readable table: parts, totals loaded and burnt, motors, normal force, static margin, and the air it meets.

    Every configuration that flies is totalled: the whole stack, then what is left after each aft stage has gone. Raises TypeError
    for anything but a mission, MissionError for an impossible air, such as a sounding whose heights and pressures do not fit together.
    """
    check_mission(mission, "describe")
    whole = range(len(mission.stage))
    shape = shape_of(mission.stage)
    lines = [mission.title or "Vehicle", ""]
    lines += [
        f"Length {shape.length:.3f} m, largest diameter {1e3 * shape.diameter:.1f} mm, reference area {1e4 * shape.area:.2f} cm^2.",
        f"Stations are metres aft of the nose tip. Normal force at Mach {MACH:g}, on the reference area.",
        "",
    ]
    lines += part_lines(mission, whole) + measured_lines(mission, whole)
    for count in range(len(mission.stage), 0, -1):
        lines += ["", *_configuration_lines(mission, range(count))]
    return "\n".join(lines + motor_lines(mission) + air_lines(mission)) + "\n"


def part_lines(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return the table of parts: mass, centre, length, and what each adds to the normal force."""
    force = component_table(mission, stages, MACH)[:-1]  # the total has a line of its own
    parts = part_masses(mission, stages)
    rows = [["part", "kind", "mass kg", "cg m", "length m", "CN slope /rad", "cp m"], *(_part_cells(row, force) for row in parts)]
    rows += [[name, "", "", "", "", f"{slope:.3f}", _station(slope, cp)] for name, slope, cp in force]
    head, *below = table(rows, words=2, set_in="")
    lines = []
    for number, line in enumerate(below):
        if number < len(parts) and (number == 0 or parts[number].stage != parts[number - 1].stage):
            lines += [*([""] if lines else []), f'stage "{mission.stage[parts[number].stage].name}"', head, "-" * len(head)]
        lines.append(line)
    return lines


def _part_cells(row: PartMass, force: list) -> list[str]:
    """Return one row, its normal force taken out of `force` where a component has the part's name."""
    cells = [row.name, row.kind, f"{row.mass:.4f}", f"{row.station:.3f}", f"{row.length:.3f}"]
    found = None if row.kind in ("case", "propellant") else next((each for each in force if each[0] == row.name), None)
    if found is None:
        return [*cells, "", ""]
    force.remove(found)
    return [*cells, f"{found[1]:.3f}", _station(*found[1:])]


def _station(slope: float, cp: float) -> str:
    return f"{cp:.3f}" if abs(slope) > 1e-9 and math.isfinite(cp) else "-"


def measured_lines(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return a line for every stage whose measurements stand in place of the sum of its parts."""
    shape = shape_of([mission.stage[index] for index in stages])
    lines = []
    for number, index in enumerate(stages):
        stage = mission.stage[index]
        if stage.measured is None or all(getattr(stage.measured, key) is None for key in _WEIGHED):
            continue
        used = airframe(shape, number, stage)
        built = airframe(shape, number, stage.model_copy(update={"measured": None}))
        lines.append(
            f'stage "{stage.name}" without motors: parts {built.mass:.4f} kg at {built.place[0]:.3f} m, '
            f"measured and used {used.mass:.4f} kg at {used.place[0]:.3f} m"
        )
    return ["", *lines] if lines else []


_WEIGHED = ("mass", "cg", "inertia_roll", "inertia_pitch", "inertia_yaw")


def _configuration_lines(mission: Mission, stages: Sequence[int]) -> list[str]:
    state = balance(mission, stages)
    names = " + ".join(mission.stage[index].name for index in stages)
    lines = [f"Configuration: {names}"]
    for word, each, margin in (("loaded", state.loaded, state.margin_loaded), ("burnt", state.burnt, state.margin_burnt)):
        roll, pitch, yaw = np.diag(each.inertia)
        off = 1e3 * math.hypot(each.centre[1], each.centre[2])
        lines.append(
            f"  {word:<8}mass {each.mass:.4f} kg, cg {each.centre[0]:.4f} m and {off:.2f} mm off the axis, "
            f"inertia roll {roll:.4g}, pitch {pitch:.4g}, yaw {yaw:.4g} kg m^2"
        )
        lines.append(f"  {'':<8}static margin {_calibres(margin)}")
    cp = f"{state.cp:.4f} m" if math.isfinite(state.cp) else "nowhere"
    lines.append(f"  CN slope {state.slope:.3f} /rad, centre of pressure {cp} (as flown, small incidence, Mach {MACH:g})")
    if math.isfinite(state.plane):
        where = f"{math.degrees(state.plane):.0f} deg from body z towards y"
        lines.append(f"  Its fins do not hold it alike in all planes: these are of the least stable one, cross flow {where}")
    return lines


def _calibres(margin: float) -> str:
    """Return a margin with its word; the thresholds are common practice, not a rule."""
    shown = f"{margin:.2f} calibres" if math.isfinite(margin) else "none"
    return f"{shown} ({margin_word(margin)}; common practice: {LOW:g} to {USUAL:g})"


def motor_lines(mission: Mission) -> list[str]:
    """Return what each motor's data sheet would say."""
    lines = [""] if mission.motor else []
    for name, motor in mission.motor.items():
        fact = motor_facts(motor)
        lines += [
            f'Motor "{name}": class {fact.class_letter} ({fact.class_limits[0]:g} to {fact.class_limits[1]:g} N s), '
            f"{fact.total_impulse:.1f} N s in {fact.burn_time:.2f} s (5 % of peak)",
            f"  average {fact.average_thrust:.1f} N, peak {fact.peak_thrust:.1f} N, "
            f"specific impulse {fact.specific_impulse:.1f} s, "
            f"propellant {fact.propellant_mass:.4f} kg of {fact.loaded_mass:.4f} kg",
        ]
    return lines

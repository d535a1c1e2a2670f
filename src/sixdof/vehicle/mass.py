"""The mass table of a stack of stages: everything but propellant as one rigid body, and the propellant as grains.

Signs: places are (station, y, z) with the station counted AFT, inertia tensors are in body axes with x FORWARD. A
mass aft of the centre and on +z therefore has x < 0 and z > 0 and adds a positive J_xz = -sum m x z. See `solids`.

What the mission leaves open is filled in so:
- the mass of fins and mounts is that of the whole set; a fin is a plate of even thickness, whatever its section;
- `wall_thickness` omitted means solid; walls are measured normal to the axis and the ends are open;
- a guide has no side in the mission: it counts as a point on the axis; from a density it is width x width x height;
- a packed parachute is a cylinder that fills the body at its station, which is that of its centre.

Motors and grains: see `mounting`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from sixdof.core.columns import GRAIN_COLUMNS, GrainColumn
from sixdof.core.types import Mass
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Measured, Mount, Nose, Parachute, PointMass, RailGuide, Stage, Transition, Tube
from sixdof.mission.tables.materials import MATERIALS
from sixdof.vehicle.geometry import FinSet, Segment, Shape, shape_of, stage_segments
from sixdof.vehicle.mounting import case_lump, grain_row, grain_size, placed_motors, ring
from sixdof.vehicle.solids import Lump, combine, cylinder, fin_panel, on_axis, revolution


class PartMass(NamedTuple):
    """One row of the mass build-up: `stage` an index into mission.stage, `station` its centre's in the stack, m."""

    stage: int
    name: str
    kind: str
    mass: float
    station: float
    length: float


# ---------------------------------------------------------------- parts


def _mass_of(part, volume: float) -> float:
    """Return the part's mass: as given, else its density times `volume` (m^3)."""
    if part.mass is not None:
        return part.mass
    return (MATERIALS[part.material] if part.density is None else part.density) * volume


def _body(segment: Segment) -> Lump:
    wall = segment.part.wall_thickness
    solid = revolution(segment, wall)
    mass = _mass_of(segment.part, solid.volume)
    each = mass / solid.volume
    return on_axis(mass, segment.x0 + solid.centroid, each * solid.roll, each * solid.transverse)


def _fins(fins: FinSet) -> Lump:
    part = fins.part
    mass = _mass_of(part, part.count * fins.area * part.thickness) / part.count
    return combine(fin_panel(mass, fins.points, part.thickness, fins.x0, fins.body_radius, angle) for angle in fins.angles())


def _point(part: PointMass, fore: float, shape: Shape) -> Lump:
    roll, transverse = cylinder(part.mass, part.length, 0.5 * part.diameter)
    place = np.array([fore + part.station, part.offset_y, part.offset_z])
    return Lump(part.mass, place, np.diag([roll, transverse, transverse]))


def _parachute(part: Parachute, fore: float, shape: Shape) -> Lump:
    station = fore + part.station
    roll, transverse = cylinder(part.mass, part.packed_length, _room(shape, station))
    return on_axis(part.mass, station, roll, transverse)


def _room(shape: Shape, station: float) -> float:
    """Return the radius inside the body at a station: less the wall, where there is one."""
    for segment in shape.segments:
        if segment.x0 <= station <= segment.x1:
            return max(float(segment.radius(station)) - (segment.part.wall_thickness or 0.0), 0.0)
    return 0.0


def _guide(part: RailGuide, fore: float, shape: Shape) -> Lump:
    return on_axis(_mass_of(part, part.width**2 * part.height), fore + part.station, 0.0, 0.0)


def _mount(part: Mount, fore: float, shape: Shape) -> Lump:
    inner = 0.5 * part.inner_diameter
    outer = inner + part.wall_thickness
    volume = math.pi * (outer**2 - inner**2) * part.length
    mass = _mass_of(part, part.count * volume) / part.count
    roll, transverse = cylinder(mass, part.length, outer, inner)
    middle = fore + part.station + 0.5 * part.length
    inertia = np.diag([roll, transverse, transverse])
    return combine(Lump(mass, np.array([middle, y, z]), inertia) for y, z in ring(part))


_INSIDE: dict[type, Callable[[object, float, Shape], Lump]] = {PointMass: _point, Parachute: _parachute, RailGuide: _guide, Mount: _mount}


def part_lumps(shape: Shape, number: int, stage: Stage) -> list[tuple[object, Lump]]:
    """Return every part of the `number`-th stage of the stack with its lump, placed in the stack, without motors."""
    bodies = iter(stage_segments(stage, shape.stage_x0[number]))
    fins = iter([each for each in shape.fins if each.stage == number])
    rows = []
    for part in stage.part:
        if isinstance(part, (Nose, Tube, Transition)):
            lump = _body(next(bodies))
        elif isinstance(part, Fins):
            lump = _fins(next(fins))
        else:
            lump = _INSIDE[type(part)](part, shape.stage_x0[number], shape)
        rows.append((part, lump))
    return rows


# ---------------------------------------------------------------- stages


def airframe(shape: Shape, number: int, stage: Stage) -> Lump:
    """Return the `number`-th stage of the stack without its motors, its measurements in place of the build-up.

    A measured mass scales the build-up's inertia, a measured cg moves the stage along the axis as it is, a measured
    moment of inertia replaces its element of the diagonal; products and the cg off the axis stay those of the build-up.

    Raises
    ------
    ValueError
        If the inertia that results is that of no body.
    """
    built = combine(lump for _, lump in part_lumps(shape, number, stage))
    if stage.measured is None:
        return built
    return _measured(built, stage.measured, shape.stage_x0[number], stage.name)


def _measured(built: Lump, measured: Measured, fore: float, name: str) -> Lump:
    moments = (measured.inertia_roll, measured.inertia_pitch, measured.inertia_yaw)
    mass = built.mass if measured.mass is None else measured.mass
    place, inertia = built.place.copy(), built.inertia * (mass / built.mass)
    if measured.cg is not None:
        place[0] = fore + measured.cg
    for axis, moment in enumerate(moments):
        if moment is not None:
            inertia[axis, axis] = moment
    principal = np.linalg.eigvalsh(inertia)
    impossible = principal[0] <= 0.0 or principal[2] > (principal[0] + principal[1]) * (1.0 + 1e-9)
    if impossible and moments != (None, None, None):
        shown = ", ".join(f"{value:.4g}" for value in np.diag(inertia))
        raise ValueError(
            f'stage "{name}": the measured inertia (roll, pitch, yaw = {shown} kg m^2) is that of no body; each must be less than the sum of the other two'
        )
    return Lump(mass, place, inertia)


# ---------------------------------------------------------------- tables


def mass_table(mission: Mission, stages: Sequence[int], shape: Shape | None = None) -> Mass:
    """Return the mass table of the stack `stages` (indices into mission.stage, front first).

    Motor cases are in `dry`, and so is the propellant of every stage but the last, whose motors burn: it is a row of
    `grain` each, in the order of the mounts. Stations are measured from the fore end of the first stage of the stack. shape : of
    these stages, where it is there already.

    Raises
    ------
    ValueError
        If measured moments of inertia are those of no body, or an ogive is shorter than half its diameter.

    Examples
    --------
    >>> table = sixdof.parts.mass_table(mission, [0])
    >>> round(sixdof.parts.mass_at(table, 1.0)[0], 2)
    2.18
    """
    shape = shape_of([mission.stage[index] for index in stages]) if shape is None else shape
    return table_of([lump for each in stage_lumps(mission, stages, shape) for lump in each], grain_rows(mission, stages, shape))


def stage_lumps(mission: Mission, stages: Sequence[int], shape: Shape | None = None) -> list[list[Lump]]:
    """Return what does not burn of every stage of a stack: its airframe, its motor cases, and propellant that is not ignited.

    Only the aft stage's motors burn; a stage in front of it flies with full grains. shape : of these stages, where it is there already.
    """
    shape = shape_of([mission.stage[index] for index in stages]) if shape is None else shape
    motors = placed_motors(mission, stages, shape)
    found = []
    for number, index in enumerate(stages):
        lumps = [airframe(shape, number, mission.stage[index])]
        lumps += [case_lump(placed) for placed in motors[number]]
        if number < len(stages) - 1:
            lumps += [full_grain(placed) for placed in motors[number]]
        found.append(lumps)
    return found


def grain_rows(mission: Mission, stages: Sequence[int], shape: Shape | None = None) -> np.ndarray:
    """Return the rows (motors, GRAIN_COLUMNS) of the propellant that burns: the aft stage's."""
    rows = [grain_row(placed) for placed in placed_motors(mission, stages, shape)[-1]]
    return np.array(rows, dtype=float).reshape(-1, GRAIN_COLUMNS)


def full_grain(placed) -> Lump:
    """Return an unlit motor's propellant as a lump."""
    row = grain_row(placed)
    roll, pitch = row[GrainColumn.ROLL_A] + row[GrainColumn.ROLL_B], row[GrainColumn.PITCH_A] + row[GrainColumn.PITCH_B]
    return Lump(float(row[GrainColumn.MASS]), row[[GrainColumn.X, GrainColumn.Y, GrainColumn.Z]], np.diag([roll, pitch, pitch]))


def table_of(lumps: Sequence[Lump], grain: np.ndarray) -> Mass:
    """Return the mass table of lumps that do not burn and grains that do."""
    dry = combine(lumps)
    i = dry.inertia
    return Mass(
        dry=float(dry.mass),
        cg_x=float(dry.place[0]),
        cg_y=float(dry.place[1]),
        cg_z=float(dry.place[2]),
        ixx=float(i[0, 0]),
        iyy=float(i[1, 1]),
        izz=float(i[2, 2]),
        ixy=float(i[0, 1]),
        ixz=float(i[0, 2]),
        iyz=float(i[1, 2]),
        grain=grain,
    )


def mass_at(mass: Mass, unburnt) -> tuple[float, np.ndarray, np.ndarray]:
    """Return mass (kg), centre (station, y, z) (m) and inertia (3, 3) about it (kg m^2) at a propellant fraction.

    unburnt : 1 loaded .. 0 burnt out; one number for all grains or one for each.

    Examples
    --------
    >>> mass, centre, inertia = sixdof.parts.mass_at(sixdof.parts.mass_table(mission, [0]), 1.0)
    >>> round(mass, 2), centre.shape, inertia.shape
    (2.18, (3,), (3, 3))
    """
    inertia = np.array([[mass.ixx, mass.ixy, mass.ixz], [mass.ixy, mass.iyy, mass.iyz], [mass.ixz, mass.iyz, mass.izz]])
    lumps = [Lump(mass.dry, np.array([mass.cg_x, mass.cg_y, mass.cg_z]), inertia)]
    for row, f in zip(mass.grain, np.broadcast_to(unburnt, len(mass.grain))):
        roll = row[GrainColumn.ROLL_A] * f + row[GrainColumn.ROLL_B] * f**2
        pitch = row[GrainColumn.PITCH_A] * f + row[GrainColumn.PITCH_B] * f**2
        lumps.append(Lump(row[GrainColumn.MASS] * f, row[[GrainColumn.X, GrainColumn.Y, GrainColumn.Z]], np.diag([roll, pitch, pitch])))
    return combine(lumps)


def part_masses(mission: Mission, stages: Sequence[int]) -> list[PartMass]:
    """Return the mass build-up of the stack in rows: parts as built (before any measurement), cases, propellant.

    Examples
    --------
    >>> rows = sixdof.parts.part_masses(mission, [0])
    >>> rows[0].kind
    'nose'
    """
    shape = shape_of([mission.stage[index] for index in stages])
    motors = placed_motors(mission, stages, shape)
    rows = []
    for number, index in enumerate(stages):
        for part, lump in part_lumps(shape, number, mission.stage[index]):
            name = part.name or part.kind
            rows.append(PartMass(index, name, part.kind, float(lump.mass), float(lump.place[0]), _length(part)))
        for placed in motors[number]:
            case, grain = case_lump(placed), grain_row(placed)
            length = grain_size(placed.motor)[0]
            rows.append(PartMass(index, placed.name, "case", case.mass, float(case.place[0]), placed.motor.length))
            mass, station = float(grain[GrainColumn.MASS]), float(grain[GrainColumn.X])
            rows.append(PartMass(index, placed.name, "propellant", mass, station, length))
    return rows


def _length(part) -> float:
    """Return the length of a part along the axis, m: for fins that of the root."""
    if isinstance(part, Fins):
        return part.points[-1][0] if part.outline == "polygon" else part.root_chord
    if isinstance(part, RailGuide):
        return part.width
    return part.packed_length if isinstance(part, Parachute) else part.length

"""Which motors go into a mount, which of them with an adapter, and why the others do not: geometry and limits, before anything is flown.

A motor sits with its aft end where the mount says, so a shorter one leaves room ahead and a longer one reaches forward. One that is
narrower than the mount by more than SNUG needs an adapter, whose mass flies. What an adapter weighs that nobody has weighed is an
estimate: a paper-phenolic sleeve of 1 mm around the motor, and plywood rings of 6 mm, two of them, three from 250 mm on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

from sixdof.mission.errors import MissionError, suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Motor, Mount, Parachute, PointMass, Stage, Tube
from sixdof.mission.tables.materials import MATERIALS
from sixdof.mission.units import shown
from sixdof.study.motor_choice.facts import amount
from sixdof.study.variants.motors import motor_of, mount_number
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe
from sixdof.vehicle.motor import motor_facts

SNUG = 1.5e-3  # m of diameter between motor and mount that needs no adapter: labels and tape take it up (common practice)
SLEEVE, RING = 1e-3, 6e-3  # m: wall of an adapter's sleeve, thickness of its rings
LONG = 0.25  # m: from here on an adapter has three rings
ADAPTER = "motor adapter"  # the part that flies
ROUNDING = 1e-9
LIMITS = {"propellant_mass": "kg", "total_impulse": "N*s", "loaded_mass": "kg"}  # what a range may limit, of all motors of the vehicle together


class Fit(NamedTuple):
    """One motor held against the mount of a stage. Lengths in m, masses in kg.

    reasons : why it does not go in, a sentence each; () if it does. motor : None where a file says too little. adapter : in words, "" for none.
    room_ahead : from the motor's fore end to what is in front of it. fin_clearance : least radial room between the mount and the wall beside fins; NaN
    where no fin is beside the motor. vehicle_impulse (N s), vehicle_propellant : of all motors of the vehicle with this one in. mission : with the
    motor and its adapter in the mount, None for one that does not fit.
    """

    name: str
    reasons: tuple[str, ...]
    motor: Motor | None = None
    adapter: str = ""
    adapter_mass: float = 0.0
    room_ahead: float = math.nan
    fin_clearance: float = math.nan
    vehicle_impulse: float = math.nan
    vehicle_propellant: float = math.nan
    mission: Mission | None = None


def millimetres(length: float) -> str:
    return f"{1e3 * length:.4g} mm"


def fit_of_file(mission: Mission, file: Path, which: int, adapter_mass: float | None, limits: Mapping[str, float]) -> Fit:
    """Return how the motor of a CSV file fits stage `which`; a file that cannot be read does not fit, and says why."""
    try:
        holding = mission.change({f"motor.{file.stem}": motor_of(mission, file)})
    except MissionError as error:
        return Fit(file.stem, tuple(str(fault) for fault in error.faults))
    return fit_of(holding, file.stem, which, adapter_mass, limits)


def fit_of(mission: Mission, name: str, which: int, adapter_mass: float | None, limits: Mapping[str, float]) -> Fit:
    """Return how motor `name` of a mission fits the only mount of stage `which`.

    adapter_mass : as weighed, of one motor; None estimates it. limits : most of LIMITS, SI, of all motors of the vehicle.
    """
    stage, motor = mission.stage[which], mission.motor[name]
    place = mount_number(stage)
    mount = stage.part[place]
    reasons = [*_diameter(stage, mount, motor), *_length(stage, mount, motor), *_in_the_way(stage, mount, motor)]
    total = _together(mission, name, which, mount)
    reasons += _beyond(total, limits)
    adapter, mass = _adapter(mount, motor, adapter_mass)
    room, clearance = _room_ahead(stage, mount, motor)[0], _fin_clearance(stage, mount, motor)
    found = Fit(name, tuple(reasons), motor, adapter, mass, room, clearance, total["total_impulse"], total["propellant_mass"])
    if reasons:
        return found
    try:
        mounted = mission.change({f"stage.{which}.part.{place}.motor": name})
        return found._replace(mission=_with_adapter(mounted, which, mount, motor, mass) if mass else mounted)
    except MissionError as error:
        return found._replace(reasons=tuple(str(fault) for fault in error.faults))


def limits_of(given: Mapping[str, object] | None) -> dict[str, float]:
    """Return limits in SI. Raises ValueError for what cannot be limited and for what is no quantity of it."""
    found = {}
    for name, value in (given or {}).items():
        if name not in LIMITS:
            raise ValueError(f"choose_motor: limits: there is no {shown(name)}; {suggestion(str(name), tuple(LIMITS), 'limits')}")
        found[name] = amount(value, LIMITS[name], f"limits: {name}")
    return found


# ---------------------------------------------------------------- what does not go in


def _diameter(stage: Stage, mount: Mount, motor: Motor) -> Iterator[str]:
    if motor.diameter <= mount.inner_diameter + ROUNDING:
        return
    shape = shape_of([stage])
    wall = max((part.wall_thickness or 0.0 for part in stage.part if isinstance(part, Tube)), default=0.0)
    inside = 2.0 * (float(min(shape.radius(x) for x in (mount.station, mount.station + mount.length))) - wall)
    most = inside - 2.0 * mount.wall_thickness
    wide = f"the body holds a mount of up to {millimetres(most)}" if mount.count == 1 and motor.diameter <= most else "and no mount of this body holds it"
    yield f"its diameter, {millimetres(motor.diameter)}, is more than the mount's {millimetres(mount.inner_diameter)}; {wide}"


def _length(stage: Stage, mount: Mount, motor: Motor) -> Iterator[str]:
    over = motor.length - (mount.length + mount.protrusion)
    if over <= ROUNDING:
        return
    room, ahead = _room_ahead(stage, mount, motor)
    free = room + over
    could = f"a mount {millimetres(over)} longer would hold it" if room >= -ROUNDING else "no longer mount holds it"
    yield (
        f"its length, {millimetres(motor.length)}, is {millimetres(over)} more than the mount holds with its protrusion, "
        f"{millimetres(mount.length + mount.protrusion)}; {millimetres(max(free, 0.0))} are free ahead of the mount, to {ahead}: {could}"
    )


def _in_the_way(stage: Stage, mount: Mount, motor: Motor) -> Iterator[str]:
    """Yield what is packed where the motor is to sit: canopies, and masses that would go into the mount's bore."""
    fore, aft = _stretch(mount, motor)
    fore = max(fore, mount.station)  # ahead of the mount its length is what is wrong
    for part in stage.part:
        start, end = _extent(part)
        if start < aft - ROUNDING and end > fore + ROUNDING and _in_the_bore(part, mount):
            yield f'the {part.kind} "{part.name or part.kind}" sits at {millimetres(start)} to {millimetres(end)}, where the motor goes'


def _in_the_bore(part, mount: Mount) -> bool:
    return isinstance(part, Parachute) or (isinstance(part, PointMass) and 0.0 < part.diameter <= mount.inner_diameter and part.length > 0.0)


def _together(mission: Mission, name: str, which: int, mount: Mount) -> dict[str, float]:
    """Return what LIMITS limit, of all motors of the vehicle with this one in."""
    names = [name] * mount.count
    names += [p.motor for i, stage in enumerate(mission.stage) if i != which for p in stage.part if isinstance(p, Mount) for _ in range(p.count)]
    facts = [motor_facts(mission.motor[each]) for each in names]
    return {key: sum(getattr(each, key) for each in facts) for key in LIMITS}


def _beyond(total: Mapping[str, float], limits: Mapping[str, float]) -> Iterator[str]:
    """Yield the limits that the motors of the whole vehicle exceed."""
    for key, most in limits.items():
        if total[key] > most * (1.0 + ROUNDING):
            unit = LIMITS[key].replace("*", " ")
            yield f"the {key.replace('_', ' ')} of all motors of the vehicle, {total[key]:.4g} {unit}, is over the limit of {most:.4g} {unit}"


# ---------------------------------------------------------------- rooms


def _stretch(mount: Mount, motor: Motor) -> tuple[float, float]:
    """Return the stations of the motor's fore and aft end, of the stage."""
    aft = mount.station + mount.length + mount.protrusion
    return aft - motor.length, aft


def _extent(part) -> tuple[float, float]:
    """Return where something packed begins and ends; (inf, -inf) for all else."""
    if isinstance(part, Parachute):
        half = 0.5 * part.packed_length
    elif isinstance(part, PointMass):
        half = 0.5 * part.length
    else:
        return math.inf, -math.inf
    return part.station - half, part.station + half


def _room_ahead(stage: Stage, mount: Mount, motor: Motor) -> tuple[float, str]:
    """Return the room from the motor's fore end to what is packed ahead of the mount, and what that is."""
    fore, _ = _stretch(mount, motor)
    ends = [(0.0, "the fore end of the stage")]
    for part in stage.part:
        if isinstance(part, Parachute | PointMass) and part.station < mount.station:
            ends.append((_extent(part)[1], f'the {part.kind} "{part.name or part.kind}"'))
    end, ahead = max(ends, key=lambda each: each[0])
    return fore - end, ahead


def _fin_clearance(stage: Stage, mount: Mount, motor: Motor) -> float:
    fore, aft = _stretch(mount, motor)
    shape, rooms = shape_of([stage]), []
    wall = max((part.wall_thickness or 0.0 for part in stage.part if isinstance(part, Tube)), default=0.0)
    outer = mount.ring_radius + 0.5 * mount.inner_diameter + mount.wall_thickness
    for part, fins in ((fins.part, fins) for fins in shape.fins):
        start, end = part.station, part.station + fins.root_chord
        if start < aft and end > min(fore, mount.station):
            rooms.append(min(float(shape.radius(x)) for x in (start, end)) - wall - outer)
    return min(rooms, default=math.nan)


# ---------------------------------------------------------------- adapters


def _adapter(mount: Mount, motor: Motor, weighed: float | None) -> tuple[str, float]:
    """Return the adapter a motor needs in words, and the mass of all of them (one for each tube of the mount), kg."""
    gap = mount.inner_diameter - motor.diameter
    if gap <= SNUG:
        return "", 0.0
    length = min(motor.length, mount.length)
    mass = weighed if weighed is not None else estimated_adapter_mass(mount.inner_diameter, motor.diameter, length)
    known = "as weighed" if weighed is not None else "estimated: weigh it"
    many, each = (f"{mount.count} adapters", " each") if mount.count > 1 else ("an adapter", "")
    size = f"{millimetres(motor.diameter)} to {millimetres(mount.inner_diameter)}, {millimetres(length)} long"
    return f"{many} from {size}, {1e3 * mass:.0f} g{each} ({known})", mount.count * mass


def estimated_adapter_mass(bore: float, motor: float, length: float) -> float:
    """Return what an adapter of a sleeve and rings weighs, kg; bore, motor : diameters, length : of the adapter, m."""
    wall = min(SLEEVE, 0.25 * (bore - motor))
    sleeve = math.pi * (motor + wall) * wall * length * MATERIALS["paper-phenolic"]
    rings = 0.25 * math.pi * (bore**2 - (motor + 2.0 * wall) ** 2) * RING * MATERIALS["plywood"]
    return sleeve + (3 if length >= LONG else 2) * rings


def _with_adapter(mission: Mission, which: int, mount: Mount, motor: Motor, mass: float) -> Mission:
    """Return the mission with the mass of an adapter in the mount, added to what was measured of the stage without it."""
    length, stage = min(motor.length, mount.length), mission.stage[which]
    station = mount.station + mount.length - 0.5 * length
    part = {"kind": "mass", "name": ADAPTER, "mass": mass, "station": station, "length": length, "diameter": mount.inner_diameter}
    if stage.measured is None:
        return mission.add(f"stage.{which}.part", part)
    bare, measured = airframe(shape_of([stage]), 0, stage), stage.measured.model_dump(exclude_none=True)
    total, cg = bare.mass + mass, float(bare.place[0])
    own = mass * (length**2 / 12.0 + mount.inner_diameter**2 / 16.0) + bare.mass * mass / total * (station - cg) ** 2
    new = {"mass": total, "cg": (bare.mass * cg + mass * station) / total}
    new |= {key: measured.get(key, 0.0) + own for key in ("inertia_pitch", "inertia_yaw")}
    measured |= {key: value for key, value in new.items() if key in measured}
    return mission.change({f"stage.{which}.measured": None}).add(f"stage.{which}.part", part).change({f"stage.{which}.measured": measured})

"""The tables of the vehicle: motors, parts, stages.

Stations are metres aft of the fore end of the stage (the nose tip of a stage with a nose).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StrictBool

from sixdof.mission.tables.base import Table, key
from sixdof.mission.tables.charge import Charge
from sixdof.mission.tables.materials import MATERIALS
from sixdof.mission.units import (
    Cant,
    Density,
    Direction,
    Force,
    HingeStiffness,
    Incidence,
    Inertia,
    Length,
    Mass,
    NonNegativeAngle,
    NonNegativeForce,
    NonNegativeImpulse,
    NonNegativeLength,
    NonNegativeNumber,
    NonNegativeTime,
    Number,
    PositiveForce,
    PositiveLength,
    PositiveNumber,
    PositiveShare,
    Pressure,
    Share,
    SlopePerAngle,
    Time,
    Torque,
    quantity,
)

# ---------------------------------------------------------------- motors


class ThrustCurve(Table):
    """Thrust against time since ignition, straight lines between the points (s, N)."""

    time: tuple[Time, ...] = key("time since ignition of each point, rising from 0", [0.0, 0.05, 1.2, 1.4])
    thrust: tuple[Force, ...] = key("thrust at each point, straight lines between them", [0, 180, 150, 0])


class Motor(Table):
    """A solid motor. Stations inside the motor are measured aft from its fore end.

    The grain is a cylinder burning from its bore outwards.
    """

    thrust_curve: ThrustCurve = key("thrust against time: a table, or the path of a two-column CSV with units in its header")
    propellant_mass: Mass = key("mass of the propellant", "118 g")
    case_mass: Mass = key("mass of all that does not burn", "150 g")
    length: PositiveLength = key("length of the motor, nozzle included", "190 mm")
    diameter: PositiveLength = key("outer diameter", "38 mm")
    nozzle_exit_diameter: NonNegativeLength = key(
        "diameter of the nozzle's exit, for the thrust's growth as the air gets thinner; no correction if 0", "12 mm", default=0.0
    )
    bore_diameter: NonNegativeLength = key("diameter of the grain's bore, from which it burns outwards; solid if 0", "11 mm", default=0.0)
    grain_length: PositiveLength | None = key("length of the propellant grain; 0.9 of the motor's if omitted", "104 mm", default=None)
    grain_station: NonNegativeLength | None = key("fore end of the grain, aft of the motor's fore end; in the middle if omitted", "28 mm", default=None)
    reference_pressure: Pressure = key("air pressure at which the thrust curve was measured", "101.325 kPa", default=101325.0)


# ---------------------------------------------------------------- vehicle parts


class _Made(Table):
    """A part with a mass: given, or from a material or density and its geometry."""

    name: str = key("what the part is called in results and in changes", "tail", default="")
    mass: Mass | None = key("mass as weighed; from material or density and its shape if omitted", "130 g", default=None)
    material: str | None = key(
        "material: its density stands for the mass where neither mass nor density is given, its typical stiffness and heat (`keys materials`) for studies",
        "fibreglass",
        default=None,
        json_schema_extra={"enum": sorted(MATERIALS)},
    )
    density: Density | None = key("density, in place of the material's", "1850 kg/m^3", default=None)


class Nose(_Made):
    """Fore end of the body.

    The power shape takes `exponent`, haack takes `haack_c` (over 2/3 it would bulge beyond its base), parabola takes `fullness`,
    secant-ogive takes `ogive_radius`.
    """

    kind: Literal["nose"] = key("kind of part", "nose", default="nose")
    shape: Literal["cone", "tangent-ogive", "secant-ogive", "ellipsoid", "parabola", "power", "haack"] = key(
        "shape of the outline", "haack", default="tangent-ogive"
    )
    length: PositiveLength = key("length along the axis", "280 mm")
    diameter: PositiveLength = key("outer diameter of its base", "75 mm")
    wall_thickness: PositiveLength | None = key("wall thickness, normal to the axis (radially), not to the surface; solid if omitted", "2 mm", default=None)
    exponent: quantity("1", above=0.0, most=1.0) = key("exponent of the power shape", 0.5, default=0.5)
    haack_c: quantity("1", least=0.0, most=2.0 / 3.0) = key(
        "constant of the haack shape; 0: least drag for length and diameter, 1/3: for length and volume", 0.333, default=0.0
    )
    fullness: Share = key("fullness of the parabola: 0 a cone, 1 tangent to the body", 0.75, default=1.0)
    ogive_radius: PositiveLength | None = key("radius of the secant ogive's arc", "1.6 m", default=None)


class Tube(_Made):
    """A cylinder of the body."""

    kind: Literal["tube"] = key("kind of part", "tube", default="tube")
    length: PositiveLength = key("length along the axis", "420 mm")
    diameter: PositiveLength = key("outer diameter", "75 mm")
    wall_thickness: PositiveLength | None = key("wall thickness, normal to the axis (radially), not to the surface; solid if omitted", "1.2 mm", default=None)


class Transition(_Made):
    """A conical change of diameter, either way."""

    kind: Literal["transition"] = key("kind of part", "transition", default="transition")
    length: PositiveLength = key("length along the axis", "80 mm")
    fore_diameter: PositiveLength = key("outer diameter of its fore end", "75 mm")
    aft_diameter: PositiveLength = key("outer diameter of its aft end", "98 mm")
    wall_thickness: PositiveLength | None = key("wall thickness, normal to the axis (radially), not to the surface; solid if omitted", "1.5 mm", default=None)


class PanelCurve(Table):
    """Measured normal force of one fin panel alone against Mach, in place of theory."""

    mach: tuple[NonNegativeNumber, ...] = key("Mach numbers of the points, rising", [0.3, 0.6, 0.9])
    slope: tuple[SlopePerAngle, ...] = key("CN_alpha on the panel's own exposed area", [3.1, 3.3, 3.8])
    centre: tuple[Length, ...] = key("where it acts, aft of the root's leading edge", ["31 mm", "31 mm", "33 mm"])


class RollDampingCurve(Table):
    """Measured roll damping of a whole set of fins against Mach, in place of theory."""

    mach: tuple[NonNegativeNumber, ...] = key("Mach numbers of the points, rising", [0.3, 0.6, 0.9])
    damping: tuple[Number, ...] = key("C_l_p, per p d/(2V), on the area pi d^2/4 and the length d of the body at the fins; negative", [-9.1, -9.6, -10.8])


class RollForcingCurve(Table):
    """Measured rolling moment of a whole set of fins at small deflections against Mach, in place of theory."""

    mach: tuple[NonNegativeNumber, ...] = key("Mach numbers of the points, rising", [0.3, 0.6, 0.9])
    forcing: tuple[SlopePerAngle, ...] = key(
        "C_l per deflection of every fin, slots included, on the area pi d^2/4 and the length d of the body at the fins", [12.4, 13.1, 14.9]
    )


class Fins(_Made):
    """A set of equal fins.

    Deflections, like `cant`, are positive where the fin alone rolls the vehicle positive about x. Fins are numbered clockwise seen from
    behind. Measured curves replace the theory of the set's normal force and rolling moments.
    """

    kind: Literal["fins"] = key("kind of part", "fins", default="fins")
    count: int = key("number of fins, evenly around the body", 4, ge=2, le=16, strict=True)
    station: Length = key("station of the root's leading edge", "1.2 m")
    outline: Literal["trapezoid", "ellipse", "polygon"] = key(
        "trapezoid: root_chord, tip_chord, semispan, tip_offset; ellipse: root_chord, semispan; polygon: points", "trapezoid", default="trapezoid"
    )
    root_chord: PositiveLength | None = key("chord at the body", "80 mm", default=None)
    tip_chord: NonNegativeLength | None = key("chord at the tip (trapezoid)", "45 mm", default=None)
    semispan: PositiveLength | None = key("span of one exposed panel, from the body to the tip", "48 mm", default=None)
    tip_offset: Length = key("leading edge of the tip aft of the root's (trapezoid)", "25 mm", default=0.0)
    points: tuple[tuple[Length, NonNegativeLength], ...] = key(
        "corners of a polygon: aft of the root's leading edge, out from the body; the first and the last on the body",
        [["0 mm", "0 mm"], ["30 mm", "50 mm"], ["80 mm", "0 mm"]],
        default=(),
    )
    thickness: PositiveLength = key("thickness of the panel", "3 mm")
    section: Literal["flat", "rounded", "double-wedge", "airfoil"] = key(
        "section across the chord: square edges, rounded edges, double wedge, or airfoil", "rounded", default="flat"
    )
    cant: Cant = key("fixed deflection of every fin, positive where it alone rolls the vehicle positive about x", "0.2 deg", default=0.0)
    clocking: Direction = key("angle of fin 1 around the body from body +z, clockwise seen from behind", "45 deg", default=0.0)
    control: StrictBool = key("whether servos deflect the fins", True, default=False)
    hinge: NonNegativeLength | None = key("hinge axis, aft of the root's leading edge (control fins)", "34 mm", default=None)
    root_gap: NonNegativeLength = key("slot between the fin and the body", "0.5 mm", default=0.0)
    shear_modulus: Pressure | None = key("shear modulus of the panel as measured, for flutter; typical of its material if omitted", "4.1 GPa", default=None)
    hinge_stiffness: HingeStiffness | None = key(
        "moment per angle that shaft, linkage and the holding servo put against the fin's turning about its hinge (control fins), for flutter",
        "30 N*m/rad",
        default=None,
    )
    hinge_play: NonNegativeAngle = key("free play of the fin about its hinge, from stop to stop (control fins), for flutter", "0.2 deg", default=0.0)
    panel_curve: PanelCurve | None = key("measured normal force of one panel in place of theory, or the path of a three-column CSV", default=None)
    roll_damping_curve: RollDampingCurve | None = key("measured roll damping of the set in place of theory, or the path of a two-column CSV", default=None)
    roll_forcing_curve: RollForcingCurve | None = key(
        "measured rolling moment of the set per deflection in place of theory, or the path of a two-column CSV", default=None
    )


class RailGuide(_Made):
    """A rail button or launch lug, which runs in the rail; the vehicle needs two or more."""

    kind: Literal["rail_guide"] = key("kind of part", "rail_guide", default="rail_guide")
    station: NonNegativeLength = key("station of its middle", "760 mm")
    width: PositiveLength = key("width of its frontal area", "9 mm", default=0.008)
    height: PositiveLength = key("height of its frontal area, out from the body", "10 mm", default=0.008)
    strength: PositiveForce | None = key(
        "load across the rail that the guide with its screw carries; studies of loads ask for it, no flight does", "250 N", default=None
    )


class PointMass(_Made):
    """Electronics, battery, ballast: a mass at a place, with an optional size (a uniform cylinder around that
    place)."""

    kind: Literal["mass"] = key("kind of part", "mass", default="mass")
    mass: Mass = key("mass as weighed", "250 g")
    station: Length = key("station of its middle", "560 mm")
    offset_y: Length = key("its place off the axis along body y", "5 mm", default=0.0)
    offset_z: Length = key("its place off the axis along body z", "-5 mm", default=0.0)
    length: NonNegativeLength = key("length of the cylinder it fills, for its inertia; a point if 0", "90 mm", default=0.0)
    diameter: NonNegativeLength = key("diameter of the cylinder it fills, for its inertia", "55 mm", default=0.0)


class Mount(_Made):
    """A tube (or a ring of tubes) that holds a motor."""

    kind: Literal["mount"] = key("kind of part", "mount", default="mount")
    motor: str = key("name of the motor it holds, of a table [motor.NAME]", "dune-h")
    station: NonNegativeLength = key("station of its fore end", "930 mm")
    length: PositiveLength = key("length of the tube", "205 mm")
    inner_diameter: PositiveLength = key("inner diameter of the tube", "38.4 mm")
    wall_thickness: PositiveLength = key("wall thickness of the tube", "1 mm", default=0.001)
    protrusion: Length = key("how far the motor's aft end stands aft of the mount's", "10 mm", default=0.0)
    count: int = key("number of equal tubes with a motor each", 3, default=1, ge=1, le=19, strict=True)
    ring_radius: NonNegativeLength = key("radius of the ring on which several tubes stand", "30 mm", default=0.0)
    clocking: Direction = key("angle of the first tube around the body from body +z, clockwise seen from behind", "30 deg", default=0.0)


class Parachute(_Made):
    """A canopy and its lines, packed until it is deployed."""

    kind: Literal["parachute"] = key("kind of part", "parachute", default="parachute")
    name: str = key("what the canopy is called; [[recovery]] says by it when it is deployed", "main")
    mass: Mass = key("mass as weighed, lines included", "130 g")
    station: NonNegativeLength = key("station of its middle, packed", "850 mm")
    diameter: PositiveLength = key("diameter of the disc that `drag_coefficient` refers to", "125 cm")
    drag_coefficient: PositiveNumber = key("drag coefficient on the disc of `diameter`", 0.8, default=0.8)
    fill_time: NonNegativeTime = key("from line stretch to a full canopy", "0.6 s", default=0.5)
    packed_length: NonNegativeLength = key("length of the packed canopy, for its inertia", "130 mm", default=0.0)
    deployment_delay: NonNegativeTime = key("from the deployment command to line stretch, until which the body flies on as it was", "0.4 s", default=0.0)
    opening_force_coefficient: PositiveNumber = key(
        "peak load over steady drag where the mass is large (Knacke's Cx); it makes no drag of its own", 1.7, default=1.7
    )
    strength: PositiveForce | None = key("load at which canopy or lines fail and the canopy is lost; never if omitted", "1.4 kN", default=None)
    reefing_ratio: PositiveShare | None = key("share of the drag area while reefed; not reefed if omitted", "30 %", default=None)
    reefing_time: NonNegativeTime = key("from line stretch to the end of reefing", "3 s", default=0.0)


Part = Annotated[Nose | Tube | Transition | Fins | RailGuide | PointMass | Mount | Parachute, Field(discriminator="kind")]


class DragCurve(Table):
    """Measured axial-force coefficient at zero incidence against Mach, on the reference area."""

    mach: tuple[NonNegativeNumber, ...] = key("Mach numbers of the points, rising", [0.3, 0.6, 0.9])
    coefficient: tuple[NonNegativeNumber, ...] = key("axial-force coefficient at zero incidence on the reference area", [0.42, 0.4, 0.47])


class AxialCurve(Table):
    """Measured axial-force coefficient against Mach and incidence (motor off), on the reference area: one entry for each point.

    Incidences go up to 90 deg. Beyond the last one, and beyond 80 deg, the force falls as the square of the cosine.
    """

    mach: tuple[NonNegativeNumber, ...] = key("Mach number of each point", [0.3, 0.3, 0.8, 0.8])
    incidence: tuple[Incidence, ...] = key(
        "incidence (angle of attack) of each point; every Mach number has the same, 0 among them", ["0 deg", "10 deg", "0 deg", "10 deg"]
    )
    coefficient: tuple[Number, ...] = key("axial-force coefficient of each point on the reference area", [0.42, 0.4, 0.45, 0.44])


class BodyCurve(Table):
    """Measured normal force of the body without fins at small incidence against Mach, in place of theory; nose first only."""

    mach: tuple[NonNegativeNumber, ...] = key("Mach numbers of the points, rising", [0.3, 0.6, 0.9])
    slope: tuple[SlopePerAngle, ...] = key("CN_alpha of the body without fins on the reference area", [2.0, 2.1, 2.3])
    centre: tuple[Length, ...] = key("where it acts, a station from the nose tip", ["130 mm", "130 mm", "140 mm"])


class Measured(Table):
    """Measurements of the finished stage without its motors; each replaces what the parts add up to.

    The curves are those of the vehicle that flies with this stage as its last, the stages in front of it standing on it, on that
    vehicle's reference area.
    """

    mass: Mass | None = key("mass of the finished stage without motors", "1.21 kg", default=None)
    cg: NonNegativeLength | None = key("station of its centre of mass", "610 mm", default=None)
    inertia_roll: Inertia | None = key("moment of inertia about the axis", "0.0011 kg*m^2", default=None)
    inertia_pitch: Inertia | None = key("moment of inertia about body y through the centre of mass", "0.12 kg*m^2", default=None)
    inertia_yaw: Inertia | None = key("moment of inertia about body z through the centre of mass", "0.12 kg*m^2", default=None)
    drag_curve: DragCurve | None = key("axial force at zero incidence against Mach, motor off, or the path of a two-column CSV", default=None)
    drag_curve_powered: DragCurve | None = key("the same while the motor burns", default=None)
    axial_curve: AxialCurve | None = key("axial force against Mach and incidence, or the path of a three-column CSV", default=None)
    body_curve: BodyCurve | None = key("normal force of the body without fins, or the path of a three-column CSV", default=None)


# ---------------------------------------------------------------- stages


class Joint(Table):
    """How a stage is joined to the one in front of it, and how the two separate."""

    impulse: NonNegativeImpulse = key("impulse of the charge or spring at separation, on either side", "4 N*s", default=0.0)
    retention_force: NonNegativeForce | None = key(
        "tension along the axis at which the stages separate by themselves, 0 for a slip fit; only on command if omitted", "400 N", default=None
    )
    delay: NonNegativeTime = key("from the command to separation", "20 ms", default=0.0)
    bending_strength: Torque | None = key(
        "bending moment that the coupler or slip fit carries; studies of loads ask for it, no flight does", "60 N*m", default=None
    )


class Ignition(Table):
    """How a stage's motors are ignited."""

    delay: NonNegativeTime = key("from the ignition command to the start of the thrust curve", "0.15 s", default=0.0)


class Harness(Table):
    """The recovery harness that holds the pieces of a stage together after the ejection of a canopy has separated the airframe.

    The ejection throws the pieces apart until the harness stops them; stiffness/length is its spring rate. Stiffness and strength do not
    follow from each other.
    """

    canopy: str = key("name of the canopy whose ejection separates the airframe", "drogue")
    separation_station: Length = key("station where the airframe separates, in the stage of the canopy", "700 mm")
    length: PositiveLength = key("length of the harness, unstretched", "5 m")
    strength: PositiveForce = key("tension at which it breaks", "2.2 kN")
    stiffness: PositiveForce = key(
        "tension over strain (modulus times section); the default is a nylon webbing of a fifth elongation under 2 kN", "11 kN", default=10e3
    )
    impulse: NonNegativeImpulse = key("impulse of the ejection, which throws the pieces apart; from `charge` where that is given", "5 N*s", default=0.0)
    charge: Charge | None = key("the charge, its bay and pins, from which the impulse follows; impulse itself if omitted", default=None)
    bending_strength: Torque | None = key(
        "bending moment that the slip fit at separation_station carries; studies of loads ask for it, no flight does", "40 N*m", default=None
    )
    width: PositiveLength | None = key(
        "width of the webbing, by which it bears on the edge of the tube it leaves; studies ask for it, no flight does", "14 mm", default=None
    )
    canopy_on: Literal["fore", "aft"] = key("the piece that keeps the canopy if the harness breaks", "fore", default="fore")
    tumbling_drag: PositiveNumber = key("drag coefficient of the other piece, which then tumbles, on its side area", 1.0, default=1.0)


class Stage(Table):
    """One stage: its bodies of revolution in order from the front, then everything in and on them.

    Stations are measured aft from the stage's own fore end (the nose tip of a stage with a nose). One may be given by another part of the
    stage: `station = { aft_of = "sampler bay", gap = "10 mm" }` puts a part's fore end there, `fore_of` its aft end at the other's fore end,
    `flush_fore` and `flush_aft` put both fore ends, or both aft ends, in one plane, `gap` away from it.
    """

    name: str = key("what the stage is called", "sandpiper")
    roughness: NonNegativeLength = key("roughness height of the surface, for its friction", "20 um", default=20e-6)
    part: tuple[Part, ...] = key("the parts: bodies of revolution in order from the front, then all else")
    measured: Measured | None = key("measurements of the finished stage in place of what its parts add up to", default=None)
    joint: Joint = key("how it is joined to the stage in front of it; the front stage has none", factory=Joint)
    ignition: Ignition = key("how its motors are ignited", factory=Ignition)
    hanging_drag: PositiveNumber = key(
        "drag coefficient of the body on its side area as it hangs under a canopy; common practice: 0.5 to 1.2", 1.0, default=1.0
    )

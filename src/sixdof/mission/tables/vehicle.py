"""The tables of the vehicle: motors, parts, stages.

Stations are metres aft of the fore end of the stage (the nose tip of a stage with a nose).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StrictBool

from sixdof.mission.tables.base import Table
from sixdof.mission.units import (
    Cant,
    Density,
    Direction,
    Force,
    Incidence,
    Inertia,
    Length,
    Mass,
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
    quantity,
)

# ---------------------------------------------------------------- motors


class ThrustCurve(Table):
    """Thrust against time since ignition, straight lines between the points (s, N)."""

    time: tuple[Time, ...]
    thrust: tuple[Force, ...]


class Motor(Table):
    """A solid motor. In the file `thrust_curve` is the path of a two-column CSV; loading puts its numbers here.

    Stations inside the motor are measured aft from its fore end. The grain is a cylinder burning from its bore
    outwards.
    """

    thrust_curve: ThrustCurve
    propellant_mass: Mass
    case_mass: Mass
    length: PositiveLength
    diameter: PositiveLength
    nozzle_exit_diameter: NonNegativeLength = 0.0
    bore_diameter: NonNegativeLength = 0.0
    grain_length: PositiveLength | None = None
    grain_station: NonNegativeLength | None = None
    reference_pressure: Pressure = 101325.0


# ---------------------------------------------------------------- vehicle parts


class _Made(Table):
    """A part with a mass: given, or from a material or density and its geometry."""

    name: str = ""
    mass: Mass | None = None
    material: str | None = None
    density: Density | None = None


class Nose(_Made):
    """Fore end of the body. `wall_thickness` left out means solid; it is measured normal to the axis (radially), not to the surface.

    shape "power" takes `exponent` (over 0 to 1), "haack" takes `haack_c` (0: least drag for length and diameter, 1/3:
    for length and volume; over 2/3 it would bulge beyond its base), "parabola" takes `fullness` (0 cone .. 1 tangent),
    "secant-ogive" takes `ogive_radius`.
    """

    kind: Literal["nose"] = "nose"
    shape: Literal["cone", "tangent-ogive", "secant-ogive", "ellipsoid", "parabola", "power", "haack"] = "tangent-ogive"
    length: PositiveLength
    diameter: PositiveLength
    wall_thickness: PositiveLength | None = None
    exponent: quantity("1", above=0.0, most=1.0) = 0.5
    haack_c: quantity("1", least=0.0, most=2.0 / 3.0) = 0.0
    fullness: Share = 1.0
    ogive_radius: PositiveLength | None = None


class Tube(_Made):
    """A cylinder of the body."""

    kind: Literal["tube"] = "tube"
    length: PositiveLength
    diameter: PositiveLength
    wall_thickness: PositiveLength | None = None


class Transition(_Made):
    """A conical change of diameter, either way. `wall_thickness` is measured normal to the axis (radially), not to the surface."""

    kind: Literal["transition"] = "transition"
    length: PositiveLength
    fore_diameter: PositiveLength
    aft_diameter: PositiveLength
    wall_thickness: PositiveLength | None = None


class PanelCurve(Table):
    """Measured normal force of one fin panel alone against Mach, in place of theory.

    slope : CN_alpha on the panel's own exposed area, 1/rad; centre : where it acts, aft of the root's leading edge. In
    the file it may be the path of a three-column CSV.
    """

    mach: tuple[NonNegativeNumber, ...]
    slope: tuple[SlopePerAngle, ...]
    centre: tuple[Length, ...]


class RollDampingCurve(Table):
    """Measured roll damping of a whole set of fins against Mach, in place of theory.

    damping : C_l_p, per p d/(2V), on the area pi d^2/4 and the length d of the body at the fins; negative. In the file it may
    be the path of a two-column CSV.
    """

    mach: tuple[NonNegativeNumber, ...]
    damping: tuple[Number, ...]


class RollForcingCurve(Table):
    """Measured rolling moment of a whole set of fins at small deflections against Mach, in place of theory.

    forcing : C_l, 1/rad of the same deflection of every fin, slots included, on the area and length of `RollDampingCurve`. In
    the file it may be the path of a two-column CSV.
    """

    mach: tuple[NonNegativeNumber, ...]
    forcing: tuple[SlopePerAngle, ...]


class Fins(_Made):
    """A set of equal fins. `station` is that of the root's leading edge.

    outline "trapezoid": root_chord, tip_chord, semispan, tip_offset (leading edge of the tip aft of the root's);
    "ellipse": root_chord, semispan; "polygon": points [[x aft of the root's leading edge, y out from the body], ...], first
    and last on the body (y = 0). `semispan` is that of one exposed panel. Fin 1 sits at `clocking` clockwise from body +z, seen from
    behind. `cant` and every deflection are positive where the fin alone rolls the vehicle positive about x. `hinge` is
    measured aft from the root's leading edge. `root_gap` is the slot between a hinged fin and the body. `panel_curve`
    replaces the theory of the panel's normal force by measurements, `roll_damping_curve` and `roll_forcing_curve` that of the set's rolling
    moments.
    """

    kind: Literal["fins"] = "fins"
    count: int = Field(ge=2, le=16, strict=True)
    station: Length
    outline: Literal["trapezoid", "ellipse", "polygon"] = "trapezoid"
    root_chord: PositiveLength | None = None
    tip_chord: NonNegativeLength | None = None
    semispan: PositiveLength | None = None
    tip_offset: Length = 0.0
    points: tuple[tuple[Length, NonNegativeLength], ...] = ()
    thickness: PositiveLength
    section: Literal["flat", "rounded", "double-wedge", "airfoil"] = "flat"
    cant: Cant = 0.0
    clocking: Direction = 0.0
    control: StrictBool = False
    hinge: NonNegativeLength | None = None
    root_gap: NonNegativeLength = 0.0
    panel_curve: PanelCurve | None = None
    roll_damping_curve: RollDampingCurve | None = None
    roll_forcing_curve: RollForcingCurve | None = None


class RailGuide(_Made):
    """A rail button or launch lug, which runs in the rail; the vehicle needs two or more. `width` x `height` is its frontal area."""

    kind: Literal["rail_guide"] = "rail_guide"
    station: NonNegativeLength
    width: PositiveLength = 0.008
    height: PositiveLength = 0.008


class PointMass(_Made):
    """Electronics, battery, ballast: a mass at a place, with an optional size (a uniform cylinder around that
    place)."""

    kind: Literal["mass"] = "mass"
    mass: Mass
    station: Length
    offset_y: Length = 0.0
    offset_z: Length = 0.0
    length: NonNegativeLength = 0.0
    diameter: NonNegativeLength = 0.0


class Mount(_Made):
    """A tube (or a ring of tubes) that holds a motor.

    `station` is its fore end; the motor's aft end stands `protrusion` behind its aft end.
    """

    kind: Literal["mount"] = "mount"
    motor: str
    station: NonNegativeLength
    length: PositiveLength
    inner_diameter: PositiveLength
    wall_thickness: PositiveLength = 0.001
    protrusion: Length = 0.0
    count: int = Field(default=1, ge=1, le=19, strict=True)
    ring_radius: NonNegativeLength = 0.0
    clocking: Direction = 0.0


class Parachute(_Made):
    """A canopy and its lines. `drag_coefficient` is on a disc of `diameter`.

    `deployment_delay` is from the deployment command to line stretch, until which the body flies on as it was, `fill_time` from line stretch to full.
    `opening_force_coefficient` is the peak of the
    load over the steady drag where the mass is large (Knacke's Cx); it makes no drag of its own. `strength` is the load at which
    canopy or lines fail and the canopy is lost. A reefed canopy has `reefing_ratio` of its drag area until `reefing_time` after line
    stretch.
    """

    kind: Literal["parachute"] = "parachute"
    name: str
    mass: Mass
    station: NonNegativeLength
    diameter: PositiveLength
    drag_coefficient: PositiveNumber = 0.8
    fill_time: NonNegativeTime = 0.5
    packed_length: NonNegativeLength = 0.0
    deployment_delay: NonNegativeTime = 0.0
    opening_force_coefficient: PositiveNumber = 1.7
    strength: PositiveForce | None = None
    reefing_ratio: PositiveShare | None = None
    reefing_time: NonNegativeTime = 0.0


Part = Annotated[Nose | Tube | Transition | Fins | RailGuide | PointMass | Mount | Parachute, Field(discriminator="kind")]


class DragCurve(Table):
    """Measured axial-force coefficient at zero incidence against Mach (motor off), on the reference area.

    In the file it may be the path of a two-column CSV.
    """

    mach: tuple[NonNegativeNumber, ...]
    coefficient: tuple[NonNegativeNumber, ...]


class AxialCurve(Table):
    """Measured axial-force coefficient against Mach and incidence (motor off), on the reference area: one entry a point.

    Every Mach number has the same incidences, 0 among them, up to 90 deg. In the file it may be the path of a three-column
    CSV. Beyond the last incidence, and beyond 80 deg, the force falls as the square of the cosine.
    """

    mach: tuple[NonNegativeNumber, ...]
    incidence: tuple[Incidence, ...]
    coefficient: tuple[Number, ...]


class BodyCurve(Table):
    """Measured normal force of the body without fins at small incidence against Mach, in place of theory; nose first only.

    slope : CN_alpha on the reference area, 1/rad; centre : where it acts, a station from the nose tip. In the file it
    may be the path of a three-column CSV.
    """

    mach: tuple[NonNegativeNumber, ...]
    slope: tuple[SlopePerAngle, ...]
    centre: tuple[Length, ...]


class Measured(Table):
    """Measurements of the finished stage without its motors; each overrides the build-up.

    cg is a station of the stage, inertias are about the cg. The curves are those of the vehicle that flies with this
    stage as its last, the stages in front of it standing on it, on that vehicle's reference area.
    """

    mass: Mass | None = None
    cg: NonNegativeLength | None = None
    inertia_roll: Inertia | None = None
    inertia_pitch: Inertia | None = None
    inertia_yaw: Inertia | None = None
    drag_curve: DragCurve | None = None
    drag_curve_powered: DragCurve | None = None
    axial_curve: AxialCurve | None = None
    body_curve: BodyCurve | None = None


# ---------------------------------------------------------------- stages


class Joint(Table):
    """How a stage is joined to the one in front of it, and how the two separate.

    `impulse` is that of the charge or spring at separation, on either side. `retention_force` is the tension along the axis at which it
    separates by itself (0 for a slip fit); left out, it holds until it is commanded. `delay` is from the command to separation.
    """

    impulse: NonNegativeImpulse = 0.0
    retention_force: NonNegativeForce | None = None
    delay: NonNegativeTime = 0.0


class Ignition(Table):
    """How a stage's motors are ignited: `delay` is from the command to the start of the thrust curve."""

    delay: NonNegativeTime = 0.0


class Harness(Table):
    """The recovery harness (shock harness) that holds the pieces of a stage together after the ejection of a canopy has separated the airframe.

    `separation_station` is the station where the airframe separates, in the stage that carries `canopy`. `impulse` of the ejection throws the pieces
    apart, until the harness stops them: `stiffness` is its tension over its strain (modulus times section), so that stiffness/length is
    its spring rate, and `strength` the tension at which it breaks; the one does not follow from the other. Left out, the stiffness is
    10 kN, a nylon webbing of a fifth elongation under 2 kN. If the harness breaks, the piece `canopy_on` keeps the canopy;
    `tumbling_drag` is the drag coefficient of the other, which tumbles, on its side area.
    """

    canopy: str
    separation_station: Length
    length: PositiveLength
    strength: PositiveForce
    stiffness: PositiveForce = 10e3
    impulse: NonNegativeImpulse = 0.0
    canopy_on: Literal["fore", "aft"] = "fore"
    tumbling_drag: PositiveNumber = 1.0


class Stage(Table):
    """One stage: its bodies of revolution in order from the front, then everything in and on them.

    Stations are measured aft from the stage's own fore end (the nose tip of a stage with a nose). `joint` is the one at the
    stage's fore end: the front stage has none. `hanging_drag` is the drag coefficient of the body on its side area as it hangs under a
    canopy (common practice: 0.5 to 1.2).
    """

    name: str
    roughness: NonNegativeLength = 20e-6
    part: tuple[Part, ...]
    measured: Measured | None = None
    joint: Joint = Field(default_factory=Joint)
    ignition: Ignition = Field(default_factory=Ignition)
    hanging_drag: PositiveNumber = 1.0

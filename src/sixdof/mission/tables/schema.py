"""The mission: what the user wrote, checked. Every class is frozen; every float is SI or radians after loading.

The classes mirror the tables of the mission file one to one: `[rail] length = "3 m"` is `mission.rail.length == 3.0`.
Limits of one value stand here with its type; checks within one table live in `table_checks.py`, checks across tables
(does the motor fit its mount?) in `checks.py`. Every class runs its checks however it is built.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, ValidationError, ValidationInfo, field_validator, model_validator

from sixdof.mission.errors import MissionError, raise_problems
from sixdof.mission.place import failure_name
from sixdof.mission.tables.air import Air, AirTurbulence, Gust, Levels, Sounding, Wind, WindMember
from sixdof.mission.tables.base import Table
from sixdof.mission.tables.flight import (
    Accelerometer,
    AttitudeProfile,
    Autopilot,
    Barometer,
    Detection,
    Estimator,
    Gains,
    GainSet,
    Guidance,
    Magnetometer,
    Notch,
    RateGyro,
    SatelliteReceiver,
    Sensors,
    Servo,
    ServoFailure,
    Waypoint,
)
from sixdof.mission.tables.vehicle import (
    AxialCurve,
    BodyCurve,
    Cord,
    DragCurve,
    Fins,
    Guide,
    Ignition,
    Joint,
    Measured,
    Motor,
    Mount,
    Nose,
    PanelCurve,
    Parachute,
    Part,
    PointMass,
    RollDampingCurve,
    RollForcingCurve,
    Stage,
    ThrustCurve,
    Transition,
    Tube,
)
from sixdof.mission.units import (
    Direction,
    Elevation,
    Frequency,
    Latitude,
    Length,
    NonNegativeLength,
    NonNegativeNumber,
    NonNegativeSpeed,
    NonNegativeTime,
    Number,
    PositiveLength,
    PositiveTime,
    Share,
    Tilt,
    Written,
    checked,
    shown,
)

__all__ = [
    "Accelerometer",
    "Air",
    "AirTurbulence",
    "AttitudeProfile",
    "Autopilot",
    "AxialCurve",
    "Barometer",
    "BodyCurve",
    "Cord",
    "Correlation",
    "Detection",
    "DragCurve",
    "Estimator",
    "Failure",
    "Fins",
    "Gains",
    "GainSet",
    "Guidance",
    "Guide",
    "Gust",
    "Ignition",
    "Joint",
    "Levels",
    "Magnetometer",
    "Measured",
    "Mission",
    "Motor",
    "Mount",
    "Nose",
    "Notch",
    "PanelCurve",
    "Parachute",
    "Part",
    "PointMass",
    "Rail",
    "RateGyro",
    "Record",
    "Recovery",
    "RollDampingCurve",
    "RollForcingCurve",
    "Rule",
    "SatelliteReceiver",
    "Sensors",
    "Servo",
    "ServoFailure",
    "Site",
    "Solver",
    "Sounding",
    "Spread",
    "Stage",
    "Table",
    "ThrustCurve",
    "Transition",
    "Trigger",
    "Tube",
    "Waypoint",
    "Wind",
    "WindMember",
]

# ---------------------------------------------------------------- site, rail


class Site(Table):
    """Where the rail stands. `altitude` is the ground's height above mean sea level.

    earth "flat": gravity straight down, its size by latitude and height; the Earth turns. "wgs84": the ellipsoid with J2, heights
    and wind along the local vertical (altitude counts as height above the ellipsoid).
    """

    name: str = ""
    latitude: Latitude
    longitude: Direction = 0.0
    altitude: Length = 0.0
    earth: Literal["flat", "wgs84"] = "flat"


class Rail(Table):
    """The launch rail. `elevation` is its angle above the horizontal, `azimuth` where it leans to, degrees true."""

    length: PositiveLength
    elevation: Elevation = 1.5707963267948966
    azimuth: Direction = 0.0
    friction: NonNegativeNumber = 0.1


# ---------------------------------------------------------------- rules, recovery, failures


Trigger = Literal["time", "liftoff", "rail_departure", "burnout", "apogee", "climbing_through", "falling_through", "separation", "ignition"]


class Rule(Table):
    """When `when` is sensed, wait `delay`, then do `action` (unless an inhibit holds at that moment).

    Rules belong to the flight computer in the front stage. `threshold` is the time since ignition for "time" (s) or the height
    above ground for climbing_through and falling_through (m). `stage` says whose ignition, burnout or separation is meant;
    left out, the first stage to burn out or to separate.

    "light" lights the motors of the stage `target`; "separate" parts the stage `target` with all behind it (left out: the last
    stage); "deploy" opens the canopy `target`.

    Conditions are checked when the delay has run out: `tilt_below`, `speed_above`, `speed_below`, `height_above`,
    `height_below` (above ground), `booster` still "attached" or "gone", and the window from `after` to `before` since liftoff.
    Where one is not met the rule waits until all are, `patience` at most (left out: for ever).
    """

    name: str = ""
    when: Trigger
    threshold: float | None = None
    delay: NonNegativeTime = 0.0
    stage: str = ""
    action: Literal["enable_fins", "disable_fins", "deploy", "guide_profile", "guide_waypoints", "guide_hold", "separate", "light"]
    target: str = ""
    tilt_below: Tilt | None = None
    speed_above: NonNegativeSpeed | None = None
    speed_below: NonNegativeSpeed | None = None
    height_above: NonNegativeLength | None = None
    height_below: NonNegativeLength | None = None
    booster: Literal["attached", "gone"] | None = None
    after: NonNegativeTime | None = None
    before: NonNegativeTime | None = None
    patience: NonNegativeTime | None = None

    @field_validator("threshold", mode="before")
    @classmethod
    def _to_si(cls, value: Any, info: ValidationInfo) -> float | None:
        when = info.data.get("when")
        if value is None or when is None:
            return None
        return checked(value, "s" if when == "time" else "m", least=0.0)


class Recovery(Table):
    """When a canopy opens: at `when` (+ delay), and in any case `backup_time` after liftoff if given.

    The altimeter of the stage that carries the canopy does this. `motor_delay` is another, redundant trigger: the pyrotechnic
    delay of that stage's motor after its burnout.
    """

    canopy: str
    when: Literal["apogee", "falling_through", "burnout", "liftoff", "separation"] = "apogee"
    height: NonNegativeLength | None = None
    delay: NonNegativeTime = 0.0
    backup_time: NonNegativeTime | None = None
    motor_delay: NonNegativeTime | None = None


class Failure(Table):
    """Something that goes wrong in a share `probability` of the flights.

    `of` names the stage of no_ignition, no_separation and late_apogee (its computer or altimeter notices apogee `late_by` too
    late), the canopy of no_canopy (its charge does not fire), cord_parts and canopy_lost (it is torn off as it opens).
    """

    kind: Literal["no_ignition", "no_separation", "late_apogee", "no_canopy", "cord_parts", "canopy_lost"]
    of: str
    probability: Share
    late_by: PositiveTime | None = None

    @property
    def name(self) -> str:
        """What the failure is called in results and in `Mission.change`."""
        return failure_name(self.kind, self.of)


# ---------------------------------------------------------------- dispersion, recording


class Spread(Table):
    """How one quantity varies from flight to flight. Numbers take the unit of the quantity they disperse.

    "normal": mean, sd (optionally cut at low, high); "uniform": low, high; "triangular": low, mode, high; "fixed": mean;
    "lognormal": median, log_sd, the standard deviation of the natural logarithm (optionally cut); "discrete": one of `values`, as
    often as its entry of `weights` says (left out: all equally); "bernoulli": `value` in a share `probability` of the flights, else
    the mission's own; "empirical": one of the values measured: `data` is the path of a CSV with a column `column`, or of a past
    ensemble (.nc, .zarr) with a variable of that name; loading puts its numbers into `values`, in rising order.

    A mean or median left out is the mission's own value (or 1 for a factor, 0 for an offset); one that takes a number of the mission
    beyond its limits is refused. `unit` is that of bare numbers in
    `values`. low and high cut a normal or lognormal spread, whose density keeps its form between them: a draw that the mission
    cannot hold (a fin without span, say) is an error, so cut where one is possible. Inside a mission all numbers are SI.

    A spread goes by a name of `dispersible.py`, or by the dotted path of any number of the mission as `Mission.change` takes it,
    whose draws replace that number: the tables of the vehicle and the air are made anew for every such draw.
    """

    kind: Literal["normal", "uniform", "triangular", "fixed", "lognormal", "discrete", "bernoulli", "empirical"] = "normal"
    mean: Written = None
    sd: Written = None
    low: Written = None
    mode: Written = None
    high: Written = None
    median: Written = None
    log_sd: NonNegativeNumber | None = None
    value: Written = None
    probability: Share | None = None
    values: tuple[Written, ...] = ()
    weights: tuple[NonNegativeNumber, ...] = ()
    unit: str = ""
    data: str = ""
    column: str = ""


class Correlation(Table):
    """Dispersed quantities that go together: `coefficient` of a pair, or the `matrix` of several, row by row as in `of`.

    A Gaussian copula: the coefficient is that of the normal scores (the quantities mapped to normal ones, quantile by quantile), and
    each quantity keeps the distribution of its spread. The rank correlation (Spearman) is 6/pi asin(coefficient/2), nearer to zero
    by 0.019 at most (K. Pearson, "On further methods of determining correlation", 1907); the correlation of the quantities
    themselves is the coefficient where all are normal and nearer to zero elsewhere: no correction for it is made. What is drawn one
    by one (by stage, joint, canopy ...) goes together thing by thing. The first of `of` has the draws it has alone.
    """

    of: tuple[str, ...]
    coefficient: Number | None = None
    matrix: tuple[tuple[Number, ...], ...] = ()


class Record(Table):
    """What is kept: `rate` of the log of one flight, and how many points of each track an ensemble keeps.

    Points of a track stand closer at its start, or, with a `track_rate`, evenly; a flight too long for `track_points` then keeps
    every second, third ... of them.
    """

    rate: Frequency = 50.0
    track_points: int = Field(default=64, ge=0, le=16384, strict=True)
    track_rate: Frequency | None = None


class Solver(Table):
    """The integration: steps a tick of the flight computer, and the time at which a flight is given up.

    With a `tolerance` the step is chosen by its error instead: the longest, up to a tick, that errs by no more than it (position;
    speeds count with 1 s, angles with the vehicle's length), such as "1 um".
    """

    steps_per_tick: int = Field(default=2, ge=1, le=64, strict=True)
    tolerance: NonNegativeLength = 0.0
    time_limit: PositiveTime = 900.0


class _Told(type(Table)):
    """Makes `Mission(...)` tell its faults as `load_mission` does. Validation itself does not come through here."""

    def __call__(cls, *args: Any, **tables: Any) -> Any:
        from sixdof.mission.translate import problems_from  # that module imports this one

        if args:
            raise TypeError(f"Mission takes its tables by name, such as rail=Rail(length=3.0), not {shown(args[0])}; a file is read by load_mission(path)")
        try:
            return super().__call__(**tables)
        except ValidationError as error:
            faults = [problem.at(tables) for problem in problems_from(error, tables)]
        raise MissionError(faults)


class Mission(Table, metaclass=_Told):
    """The whole mission. Load one with `sixdof.load_mission(path)` or build it from these classes.

    Raises
    ------
    MissionError
        Holding a sentence for each fault. (The classes of single tables raise pydantic.ValidationError.)
    """

    title: str = ""
    site: Site
    air: Air = Field(default_factory=Air)
    rail: Rail
    motor: dict[str, Motor]
    stage: tuple[Stage, ...]
    cord: tuple[Cord, ...] = ()
    servo: Servo = Field(default_factory=Servo)
    sensors: Sensors | None = None
    estimator: Estimator = Field(default_factory=Estimator)
    guidance: Guidance = Field(default_factory=Guidance)
    autopilot: Autopilot = Field(default_factory=Autopilot)
    detection: Detection = Field(default_factory=Detection)
    rule: tuple[Rule, ...] = ()
    recovery: tuple[Recovery, ...] = ()
    failure: tuple[Failure, ...] = ()
    disperse: dict[str, Spread] = Field(default_factory=dict)
    correlation: tuple[Correlation, ...] = ()
    record: Record = Field(default_factory=Record)
    solver: Solver = Field(default_factory=Solver)

    @field_validator("disperse", mode="before")
    @classmethod
    def _join_names(cls, value: Any) -> Any:
        from sixdof.mission.tables.disperse import joined

        return joined(value)

    @field_validator("disperse", mode="after")
    @classmethod
    def _spreads_to_si(cls, value: dict[str, Spread], info: ValidationInfo) -> dict[str, Spread]:
        from sixdof.mission.tables.disperse import to_si

        return to_si(value, info.data)

    @model_validator(mode="after")
    def _check_across_tables(self):
        from sixdof.mission.checks.across import problems_of  # that module imports this one

        raise_problems(problems_of(self), self)
        return self

    def change(self, changes: dict[str, Any], *, shift: bool | None = None) -> Mission:
        """Return a new, checked mission with some values changed.

        changes : dotted path -> value, such as `{"rail.length": "3 m", "stage.0.part.tail.span": "70 mm"}`. Stages and
        parts go by number or name (a part without a name by its kind), rules by name, recoveries and cords by canopy,
        failures by what they are ("no_ignition: booster"). Of a mission of one stage "part.tail.span" is enough. A table as value
        replaces the one there; None leaves a key or table out again, as if it had not been written: `{"air.wind": None}`.

        shift : what becomes of the stations behind a nose, tube or transition whose length changes. True: what is in the fore half
        of that body keeps its distance to the body's fore end, what is in its aft half or behind it keeps its distance to the aft
        end (fins, guides, mounts, masses, canopies, and cords by parts_at). False: all stations stay. None: they stay, with a
        warning that names what was left.

        Raises
        ------
        MissionError
            If a path leads nowhere or the changed mission has faults.
        """
        from sixdof.mission.edit import changed

        return changed(self, changes, shift)

    def add(self, where: str, table: Any, *, after: str | int | None = None, before: str | int | None = None, shift: bool | None = None) -> Mission:
        """Return a new, checked mission with one more part, recovery, rule, stage, cord, failure, waypoint ...

        `mission.add("part", {"kind": "tube", "length": "20 cm", ...}, after="sampler bay", shift=True)`

        where : the list it goes into, a path as for `change`: "part" (of the only stage), "stage.booster.part", "recovery", "rule",
        "stage", "guidance.waypoint". table : as in a mission file, or a class of `sixdof.mission.tables.schema`. after, before : number or
        name of the entry it stands beside; at the end if both are left out. A nose, tube or transition stands where its place in
        the list says; all other parts stand where their station says.

        shift : True moves what stands behind a new piece of body aft by its length, False leaves it, None leaves it with a warning.

        Raises
        ------
        MissionError
            If the path or the neighbour is none, or the new mission has faults.
        """
        from sixdof.mission.edit import added

        return added(self, where, table, after, before, shift)

    def remove(self, *paths: str, shift: bool | None = None) -> Mission:
        """Return a new, checked mission without the parts, recoveries, rules, stages or tables at some paths.

        `mission.remove("part.main", "recovery.main")`: what belongs together goes in one call, because the mission is checked after it.

        shift : True moves what stood behind a removed piece of body fore by its length, False leaves it, None leaves it with a
        warning. What sat in that piece must go too, or be moved before.

        Raises
        ------
        MissionError
            If a path leads nowhere, a piece of body still holds parts, or the new mission has faults.
        """
        from sixdof.mission.edit import removed

        return removed(self, paths, shift)

    def to_toml(self) -> str:
        """Return the mission as the text of a self-contained mission file; loading it gives an equal mission."""
        from sixdof.mission.edit import toml_of

        return toml_of(self)

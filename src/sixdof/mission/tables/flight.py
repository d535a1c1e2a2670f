"""The tables of the flight computer: servos, sensors, estimator, guidance, gains."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from sixdof.mission.tables.base import Table
from sixdof.mission.units import (
    Acceleration,
    AccelerometerNoise,
    Angle,
    AngularAcceleration,
    AngularRate,
    Direction,
    Frequency,
    GyroNoise,
    Length,
    NonNegativeAcceleration,
    NonNegativeAngle,
    NonNegativeAngularRate,
    NonNegativeFrequency,
    NonNegativeLength,
    NonNegativeNumber,
    NonNegativeSpeed,
    NonNegativeTime,
    PositiveAngle,
    PositiveLength,
    PositiveNumber,
    PositiveTime,
    Pressure,
    Share,
    SpecificForce,
    Torque,
    Travel,
)

# ---------------------------------------------------------------- servos


class ServoFailure(Table):
    """A servo that fails at `time` since ignition: "stuck" holds its angle, "dead" lets the fin float and carry no load."""

    fin: int = Field(ge=1, le=64, strict=True)
    kind: Literal["stuck", "dead"] = "stuck"
    time: NonNegativeTime = 0.0


class Servo(Table):
    """The actuator of every control fin: transport delay, second order, limits, play, load. `deflection_limit` is the stop either way.

    `rate_limit` is the speed without load and `stall_torque` the torque at the fin where it stands still: the torque-speed line of
    the data sheet. Left out, the air's moment does not slow it. `dead_band` is the smallest change of command it takes, `resolution`
    the step of its command, `backlash` the play between servo and fin.
    """

    natural_frequency: Frequency = 10.0
    damping: PositiveNumber = 0.7
    rate_limit: AngularRate = 6.98
    deflection_limit: Travel = 0.262
    acceleration_limit: AngularAcceleration | None = None
    delay: NonNegativeTime = 0.0
    backlash: NonNegativeAngle = 0.0
    dead_band: NonNegativeAngle = 0.0
    resolution: NonNegativeAngle = 0.0
    stall_torque: Torque | None = None
    failure: tuple[ServoFailure, ...] = ()


# ---------------------------------------------------------------- sensors and estimate


class RateGyro(Table):
    """Three rate gyros. bias, scale, misalignment: standard deviations from flight to flight; noise: rad/s per sqrt(Hz).

    lag: time constant of their (or their filter's) first-order lag.
    """

    bias: NonNegativeAngularRate = 0.0
    noise: GyroNoise = 0.0
    scale: NonNegativeNumber = 0.0
    misalignment: NonNegativeAngle = 0.0
    range: AngularRate = 35.0
    lag: NonNegativeTime = 0.0


class Accelerometer(Table):
    """Three accelerometers; as the gyros, in m/s^2 and m/s^2 per sqrt(Hz)."""

    bias: NonNegativeAcceleration = 0.0
    noise: AccelerometerNoise = 0.0
    scale: NonNegativeNumber = 0.0
    misalignment: NonNegativeAngle = 0.0
    range: Acceleration = 157.0


class Barometer(Table):
    """Height from air pressure. bias and noise as heights (standard deviations), lag: first-order time constant."""

    rate: Frequency = 50.0
    bias: NonNegativeLength = 0.0
    noise: NonNegativeLength = 0.0
    lag: NonNegativeTime = 0.0


class SatelliteReceiver(Table):
    """Position and velocity fixes. A fix tells of `latency` ago; above a specific force or a speed the receiver is silent."""

    rate: Frequency = 5.0
    latency: NonNegativeTime = 0.0
    position_noise: NonNegativeLength = 0.0
    velocity_noise: NonNegativeSpeed = 0.0
    specific_force_limit: Acceleration | None = None
    speed_limit: NonNegativeSpeed | None = None


class Magnetometer(Table):
    """The Earth's field in body axes. dip: below the horizontal; declination: east of true north; errors as shares of the field."""

    dip: Angle = 1.1
    declination: Direction = 0.0
    bias: NonNegativeNumber = 0.0
    noise: NonNegativeNumber = 0.0


class Sensors(Table):
    """The flight computer's sensors. Without this table the computer is told the truth. Receiver and magnetometer are fitted if named."""

    gyro: RateGyro = Field(default_factory=RateGyro)
    accelerometer: Accelerometer = Field(default_factory=Accelerometer)
    barometer: Barometer = Field(default_factory=Barometer)
    receiver: SatelliteReceiver | None = None
    magnetometer: Magnetometer | None = None


class Estimator(Table):
    """The built-in estimator: gyros integrated from the rail, accelerations integrated and pulled towards barometer and receiver.

    heading: standard deviation of the heading set on the rail. The gains are the share of a difference that is taken over at each
    sample (magnetic: at each tick); baro_velocity in 1/s.
    """

    heading: NonNegativeAngle = 0.0
    baro_position: Share = 0.05
    baro_velocity: NonNegativeFrequency = 0.05
    fix_position: Share = 0.1
    fix_velocity: Share = 0.1
    magnetic: Share = 0.0


class Detection(Table):
    """How flight computer and altimeters notice the phases of flight, from what they sense.

    Liftoff: a specific force along the axis over liftoff_specific_force, or a height over liftoff_height. Ignition: a specific force
    over ignition_specific_force. Burnout: one below burnout_specific_force (drag alone makes it negative) for burnout_debounce. Apogee, of a
    flight that has left the rail: by "velocity" no longer upward, or by "barometer" apogee_drop below its highest reading, for
    apogee_debounce.
    """

    liftoff_specific_force: Acceleration = 20.0
    liftoff_height: PositiveLength = 10.0
    ignition_specific_force: Acceleration = 20.0
    burnout_specific_force: SpecificForce = 0.0
    burnout_debounce: NonNegativeTime = 0.0
    apogee: Literal["velocity", "barometer"] = "velocity"
    apogee_drop: PositiveLength = 3.0
    apogee_debounce: NonNegativeTime = 0.0


# ---------------------------------------------------------------- guidance


class AttitudeProfile(Table):
    """Commanded attitude, the last one held. tilt_pitch is positive where the nose leans downrange, tilt_yaw to the right of the
    launch azimuth. An angle left out is zero throughout.

    over: "time" since liftoff, "height" above ground (then `height` holds the points), or "mode_time", time since this guidance mode
    began. join: "line" between the points, or "smooth" (level at each point).
    """

    over: Literal["time", "height", "mode_time"] = "time"
    join: Literal["line", "smooth"] = "line"
    time: tuple[NonNegativeTime, ...] = (0.0,)
    height: tuple[NonNegativeLength, ...] = ()
    tilt_pitch: tuple[Angle, ...] = (0.0,)
    tilt_yaw: tuple[Angle, ...] = (0.0,)
    roll: tuple[Angle, ...] = (0.0,)

    @model_validator(mode="before")
    @classmethod
    def _fill_angles(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        points = data.get("height") if data.get("over") == "height" else data.get("time")
        if not isinstance(points, (list, tuple)):
            return data
        zeros = (0.0,) * len(points)
        return {"tilt_pitch": zeros, "tilt_yaw": zeros, "roll": zeros} | data


class Waypoint(Table):
    """A place in the air to fly through, from the rail's foot. It is left when captured, passed, or after `timeout`."""

    east: Length
    north: Length
    height: PositiveLength
    radius: PositiveLength = 20.0
    timeout: PositiveTime = 60.0


class Guidance(Table):
    """What attitude the vehicle should have, and its limits. `mode` holds at the start; event rules change it.

    "profile": the autopilot's attitude profile; "waypoints": nose towards the current waypoint, leaning beyond the line of sight by
    `lead` times the angle between velocity and line of sight; "hold": the rail's direction, or that of the moment a rule says hold.
    slew_limit: how fast the goal may turn. incidence_limit, tilt_limit, load_limit (specific force across the axis) bound what
    waypoints ask for. after_last: after the last waypoint "hold" its direction, stand "upright", or fly the "profile".
    minimum_height: no waypoint may lie at or below it. rate_feedforward: the turning rate of the commanded attitude is given to the control law.
    """

    mode: Literal["profile", "waypoints", "hold"] = "profile"
    waypoint: tuple[Waypoint, ...] = ()
    slew_limit: AngularRate | None = None
    lead: NonNegativeNumber = 1.0
    incidence_limit: PositiveAngle = 0.17
    tilt_limit: PositiveAngle = 0.7
    load_limit: Acceleration | None = None
    after_last: Literal["hold", "upright", "profile"] = "hold"
    minimum_height: PositiveLength = 50.0
    rate_feedforward: bool = Field(default=False, strict=True)


# ---------------------------------------------------------------- gains


class Gains(Table):
    """Fin angle per attitude error (p), per integral of it (i, 1/s), per body rate (d, s), per goal rate (f, s).

    In a cascade p is the rate asked for per attitude error (1/s), d the fin angle per rate error (s), i per its integral.
    """

    p: NonNegativeNumber = 0.0
    i: NonNegativeFrequency = 0.0
    d: NonNegativeTime = 0.0
    f: NonNegativeTime = 0.0


class GainSet(Table):
    """The gains of the three channels, at one point of the schedule if there is one (`at`: Pa or Mach, as the schedule says)."""

    at: NonNegativeNumber | None = None
    pitch: Gains = Field(default_factory=Gains)
    yaw: Gains = Field(default_factory=Gains)
    roll: Gains = Field(default_factory=Gains)


class Notch(Table):
    """The structural filter of pitch and yaw: demands near `frequency` (the first bending mode's) pass with the factor `depth` only.

    width: the damping ratio of its denominator; a wider notch forgives a wrong frequency and costs more phase below it.
    """

    frequency: Frequency
    depth: Share = 0.1
    width: PositiveNumber = 0.5


class Autopilot(Table):
    """The flight computer: its tick rate, the attitude profile, its gains and its mixer.

    Gains hold at `gain_reference_q` (dynamic pressure); at another q they are multiplied by gain_reference_q/q, limited to
    `gain_scale_limits`; left out, they are not scaled. `schedule` runs over `schedule_over`, straight lines between its points, and takes
    the place of pitch, yaw, roll. `with_booster` are the gains while a booster is attached (the same ones if left out).
    integral_limit bounds the integral's part of a demand, demand_limit the demand, rate_limit what a cascade may ask for.
    derivative: of the measured "rate", or of the "error" (then through a filter of time constant `filter`).
    priority: which demand keeps its travel when fins reach their stops. known_failed: numbers of fins the mixer does without.
    computation_delay: from the reading of the sensors to the command's leaving for the servos. notch: a filter against bending.
    """

    rate: Frequency = 100.0
    computation_delay: NonNegativeTime = 0.0
    notch: Notch | None = None
    profile: AttitudeProfile = Field(default_factory=AttitudeProfile)
    structure: Literal["pid", "cascade"] = "pid"
    derivative: Literal["rate", "error"] = "rate"
    filter: NonNegativeTime = 0.0
    pitch: Gains = Field(default_factory=Gains)
    yaw: Gains = Field(default_factory=Gains)
    roll: Gains = Field(default_factory=Gains)
    schedule: tuple[GainSet, ...] = ()
    schedule_over: Literal["dynamic_pressure", "mach"] = "dynamic_pressure"
    with_booster: GainSet | None = None
    gain_reference_q: Pressure | None = None
    gain_scale_limits: tuple[PositiveNumber, PositiveNumber] = (0.2, 3.0)
    integral_limit: PositiveAngle = 0.087
    demand_limit: PositiveAngle | None = None
    rate_limit: AngularRate | None = None
    priority: Literal["roll", "pitch"] = "roll"
    known_failed: tuple[int, ...] = ()

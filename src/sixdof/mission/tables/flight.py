"""The tables of the flight computer: servos, sensors, estimator, guidance, gains."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import model_validator

from sixdof.mission.tables.base import Table, key
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
    """A servo that fails in flight."""

    fin: int = key("number of the control fin, counted from 1", 2, ge=1, le=64, strict=True)
    kind: Literal["stuck", "dead"] = key("stuck: it holds its angle; dead: the fin floats and carries no load", "dead", default="stuck")
    time: NonNegativeTime = key("when it fails, since ignition", "1.5 s", default=0.0)


class Servo(Table):
    """The actuator of every control fin: transport delay, second order, limits, play, load.

    `rate_limit` and `stall_torque` are the ends of the torque-speed line of the data sheet.
    """

    natural_frequency: Frequency = key("natural frequency of its second-order response", "14 Hz", default=10.0)
    damping: PositiveNumber = key("damping ratio of its second-order response", 0.7, default=0.7)
    rate_limit: AngularRate = key("speed without load", "450 deg/s", default=6.98)
    deflection_limit: Travel = key("largest deflection either way", "12 deg", default=0.262)
    acceleration_limit: AngularAcceleration | None = key("largest angular acceleration; not limited if omitted", "20000 deg/s^2", default=None)
    delay: NonNegativeTime = key("transport delay from the command", "8 ms", default=0.0)
    backlash: NonNegativeAngle = key("play between servo and fin, from stop to stop", "0.15 deg", default=0.0)
    dead_band: NonNegativeAngle = key("smallest change of command it answers", "0.05 deg", default=0.0)
    resolution: NonNegativeAngle = key("step of its command", "0.02 deg", default=0.0)
    stall_torque: Torque | None = key(
        "torque at the fin at which it stands still, speed falling in a line to it; the air's moment does not slow it if omitted", "0.8 N*m", default=None
    )
    failure: tuple[ServoFailure, ...] = key("servos that fail in flight", default=())


# ---------------------------------------------------------------- sensors and estimate


class RateGyro(Table):
    """Three rate gyros along the body axes."""

    bias: NonNegativeAngularRate = key("standard deviation of the bias from flight to flight", "0.05 deg/s", default=0.0)
    noise: GyroNoise = key("noise density", "0.01 deg/s/sqrt(Hz)", default=0.0)
    scale: NonNegativeNumber = key("standard deviation of the scale factor's error from flight to flight", "0.3 %", default=0.0)
    misalignment: NonNegativeAngle = key("standard deviation of each axis's misalignment from flight to flight", "0.2 deg", default=0.0)
    range: AngularRate = key("largest rate it reads", "2000 deg/s", default=35.0)
    lag: NonNegativeTime = key("time constant of its (or its filter's) first-order lag", "2 ms", default=0.0)


class Accelerometer(Table):
    """Three accelerometers along the body axes."""

    bias: NonNegativeAcceleration = key("standard deviation of the bias from flight to flight", "0.05 m/s^2", default=0.0)
    noise: AccelerometerNoise = key("noise density", "0.0015 m/s^2/sqrt(Hz)", default=0.0)
    scale: NonNegativeNumber = key("standard deviation of the scale factor's error from flight to flight", "0.3 %", default=0.0)
    misalignment: NonNegativeAngle = key("standard deviation of each axis's misalignment from flight to flight", "0.2 deg", default=0.0)
    range: Acceleration = key("largest specific force it reads", "157 m/s^2", default=157.0)


class Barometer(Table):
    """A barometric altimeter: height from air pressure."""

    rate: Frequency = key("readings per second", "50 Hz", default=50.0)
    bias: NonNegativeLength = key("standard deviation of the bias from flight to flight, as a height", "0.5 m", default=0.0)
    noise: NonNegativeLength = key("standard deviation of a reading, as a height", "0.3 m", default=0.0)
    lag: NonNegativeTime = key("time constant of its first-order lag", "30 ms", default=0.0)


class SatelliteReceiver(Table):
    """A satellite receiver: position and velocity fixes."""

    rate: Frequency = key("fixes per second", "10 Hz", default=5.0)
    latency: NonNegativeTime = key("age of what a fix tells", "80 ms", default=0.0)
    position_noise: NonNegativeLength = key("standard deviation of a position, each axis", "1 m", default=0.0)
    velocity_noise: NonNegativeSpeed = key("standard deviation of a velocity, each axis", "0.1 m/s", default=0.0)
    specific_force_limit: Acceleration | None = key("specific force above which it is silent; none if omitted", "120 m/s^2", default=None)
    speed_limit: NonNegativeSpeed | None = key("speed above which it is silent; none if omitted", "500 m/s", default=None)


class Magnetometer(Table):
    """A magnetometer: the Earth's field in body axes."""

    dip: Angle = key("angle of the Earth's field below the horizontal", "64 deg", default=1.1)
    declination: Direction = key("angle of the field east of true north", "11 deg", default=0.0)
    bias: NonNegativeNumber = key("standard deviation of the bias from flight to flight, as a share of the field", 0.01, default=0.0)
    noise: NonNegativeNumber = key("standard deviation of a reading, as a share of the field", 0.01, default=0.0)


class Sensors(Table):
    """The flight computer's sensors."""

    gyro: RateGyro = key("three rate gyros", factory=RateGyro)
    accelerometer: Accelerometer = key("three accelerometers", factory=Accelerometer)
    barometer: Barometer = key("barometric altimeter", factory=Barometer)
    receiver: SatelliteReceiver | None = key("satellite receiver; not fitted if omitted", default=None)
    magnetometer: Magnetometer | None = key("magnetometer; not fitted if omitted", default=None)


class Estimator(Table):
    """The built-in estimator: gyros integrated from the rail, accelerations integrated and pulled towards barometer and receiver.

    heading: standard deviation of the heading set on the rail. The gains are the share of a difference that is taken over at each
    sample (magnetic: at each tick); baro_velocity in 1/s.
    """

    heading: NonNegativeAngle = key("standard deviation of the heading set on the rail", "1 deg", default=0.0)
    baro_position: Share = key("share of the difference to the barometer that the height takes over at each reading", 0.02, default=0.05)
    baro_velocity: NonNegativeFrequency = key("share of the same difference that the climb rate takes over", "0.02 1/s", default=0.05)
    fix_position: Share = key("share of the difference to a fix that the position takes over", 0.1, default=0.1)
    fix_velocity: Share = key("share of the difference to a fix that the velocity takes over", 0.2, default=0.1)
    magnetic: Share = key("share of the heading's difference to the magnetometer taken over at each tick", 0.001, default=0.0)


class Detection(Table):
    """How flight computer and altimeters notice the phases of flight, from what they sense.

    Apogee counts only of a flight that has left the rail.
    """

    liftoff_specific_force: Acceleration = key("liftoff: specific force along the axis above this", "20 m/s^2", default=20.0)
    liftoff_height: PositiveLength = key("liftoff: or height above this", "10 m", default=10.0)
    ignition_specific_force: Acceleration = key("ignition of a stage: specific force along the axis above this", "20 m/s^2", default=20.0)
    burnout_specific_force: SpecificForce = key("burnout: specific force along the axis below this (drag alone makes it negative)", "0 m/s^2", default=0.0)
    burnout_debounce: NonNegativeTime = key("burnout: for so long", "50 ms", default=0.0)
    apogee: Literal["velocity", "barometer"] = key(
        "apogee: the estimated velocity is no longer upward, or the barometer falls", "barometer", default="velocity"
    )
    apogee_drop: PositiveLength = key("apogee by barometer: so far below its highest reading", "4 m", default=3.0)
    apogee_debounce: NonNegativeTime = key("apogee: for so long", "0.1 s", default=0.0)


# ---------------------------------------------------------------- guidance


class AttitudeProfile(Table):
    """Commanded attitude over time or height, the last one held.

    tilt_pitch is positive where the nose leans downrange, tilt_yaw where it leans to the right of the launch azimuth.
    """

    over: Literal["time", "height", "mode_time"] = key(
        "what the points are over: time since liftoff, height above ground, or time since this guidance mode began", "height", default="time"
    )
    join: Literal["line", "smooth"] = key("line: straight between the points; smooth: level at each point", "smooth", default="line")
    time: tuple[NonNegativeTime, ...] = key("times of the points, rising", ["0 s", "2 s", "4 s"], default=(0.0,))
    height: tuple[NonNegativeLength, ...] = key("heights of the points above ground, rising (over = height)", ["0 m", "100 m", "300 m"], default=())
    tilt_pitch: tuple[Angle, ...] = key("commanded lean downrange at each point; upright throughout if omitted", ["0 deg", "0 deg", "5 deg"], default=(0.0,))
    tilt_yaw: tuple[Angle, ...] = key(
        "commanded lean to the right of the launch azimuth at each point; upright throughout if omitted", ["0 deg", "0 deg", "2 deg"], default=(0.0,)
    )
    roll: tuple[Angle, ...] = key("commanded roll angle at each point; 0 throughout if omitted", ["0 deg", "0 deg", "90 deg"], default=(0.0,))

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
    """A place in the air to fly through. It is left when captured, passed, or after `timeout`. Results number waypoints from 1."""

    name: str = key("by which dotted paths find it; without one they take its place in the list, from 0", "ridge", default="")
    east: Length = key("east of the rail's foot", "40 m")
    north: Length = key("north of the rail's foot", "11 m")
    height: PositiveLength = key("height above ground", "850 m")
    radius: PositiveLength = key("distance within which it counts as captured", "12 m", default=20.0)
    timeout: PositiveTime = key("given up after this time as the current waypoint", "12 s", default=60.0)


class Guidance(Table):
    """What attitude is commanded, and its limits; event rules change the mode in flight."""

    mode: Literal["profile", "waypoints", "hold"] = key(
        "at the start: fly the attitude profile, point at the current waypoint, or hold the direction of the rail", "profile", default="profile"
    )
    waypoint: tuple[Waypoint, ...] = key("places to fly through, in order", default=())
    slew_limit: AngularRate | None = key("how fast the commanded attitude may turn; not limited if omitted", "60 deg/s", default=None)
    lead: NonNegativeNumber = key("lean beyond the line of sight, times the angle between velocity and line of sight", 2.0, default=1.0)
    incidence_limit: PositiveAngle = key("largest incidence (angle of attack) that waypoints may ask for", "10 deg", default=0.17)
    tilt_limit: PositiveAngle = key("largest tilt that waypoints may ask for", "40 deg", default=0.7)
    load_limit: Acceleration | None = key("largest specific force across the axis that waypoints may ask for; not limited if omitted", "60 m/s^2", default=None)
    after_last: Literal["hold", "upright", "profile"] = key(
        "after the last waypoint: hold its direction, stand upright, or fly the profile", "hold", default="hold"
    )
    minimum_height: PositiveLength = key("no waypoint may lie at or below this height", "50 m", default=50.0)
    rate_feedforward: bool = key("whether the control law is given the turning rate of the commanded attitude", True, default=False, strict=True)


# ---------------------------------------------------------------- gains


class Gains(Table):
    """Gains of one channel of the control law."""

    p: NonNegativeNumber = key("fin angle per attitude error; in a cascade the commanded rate per attitude error (1/s)", 0.35, default=0.0)
    i: NonNegativeFrequency = key("fin angle per integral of the attitude error; in a cascade of the rate error", "0.1 1/s", default=0.0)
    d: NonNegativeTime = key("fin angle per body rate; in a cascade per rate error", "0.09 s", default=0.0)
    f: NonNegativeTime = key("fin angle per commanded rate (feedforward)", "0.02 s", default=0.0)


class GainSet(Table):
    """The gains of the three channels, at one point of the schedule if there is one."""

    at: NonNegativeNumber | None = key("point of the schedule: Mach number or dynamic pressure (Pa), as schedule_over says", 0.33, default=None)
    pitch: Gains = key("gains in pitch", factory=Gains)
    yaw: Gains = key("gains in yaw", factory=Gains)
    roll: Gains = key("gains in roll", factory=Gains)


class Notch(Table):
    """The structural filter of pitch and yaw."""

    frequency: Frequency = key("frequency it takes out, that of the first bending mode", "35 Hz")
    depth: Share = key("factor that is left at this frequency", 0.1, default=0.1)
    width: PositiveNumber = key("damping ratio of its denominator; wider forgives a wrong frequency and costs more phase below it", 0.5, default=0.5)


class Autopilot(Table):
    """The flight computer: its tick rate, the attitude profile, its gains and its mixer."""

    rate: Frequency = key("ticks of the flight computer per second", "100 Hz", default=100.0)
    computation_delay: NonNegativeTime = key("from the reading of the sensors to the command's leaving for the servos", "2 ms", default=0.0)
    notch: Notch | None = key("filter of pitch and yaw against bending; none if omitted", default=None)
    profile: AttitudeProfile = key("commanded attitude over time or height", factory=AttitudeProfile)
    structure: Literal["pid", "cascade"] = key("pid on the attitude error, or a cascade of attitude and rate loops", "cascade", default="pid")
    derivative: Literal["rate", "error"] = key("of the measured body rate, or of the attitude error", "error", default="rate")
    filter: NonNegativeTime = key("time constant of the filter of the error's derivative", "5 ms", default=0.0)
    pitch: Gains = key("gains in pitch", factory=Gains)
    yaw: Gains = key("gains in yaw", factory=Gains)
    roll: Gains = key("gains in roll", factory=Gains)
    schedule: tuple[GainSet, ...] = key("gains point by point, straight lines between them, in place of pitch, yaw and roll", default=())
    schedule_over: Literal["dynamic_pressure", "mach"] = key("what the schedule runs over", "mach", default="dynamic_pressure")
    with_booster: GainSet | None = key("gains while a booster is attached; the same ones if omitted", default=None)
    gain_reference_q: Pressure | None = key(
        "dynamic pressure at which the gains hold; elsewhere they are multiplied by gain_reference_q/q; never scaled if omitted", "5 kPa", default=None
    )
    gain_scale_limits: tuple[PositiveNumber, PositiveNumber] = key("least and largest factor of this scaling", [0.4, 2.5], default=(0.2, 3.0))
    integral_limit: PositiveAngle = key("largest part of a demand that the integral may have", "3 deg", default=0.087)
    demand_limit: PositiveAngle | None = key("largest demand of a channel; not limited if omitted", "8 deg", default=None)
    rate_limit: AngularRate | None = key("largest rate that a cascade may command; not limited if omitted", "120 deg/s", default=None)
    priority: Literal["roll", "pitch"] = key("the demand that is kept where fins reach their stops", "pitch", default="roll")
    known_failed: tuple[int, ...] = key("numbers of control fins that the mixer does without", [2], default=())

"""What the flight computer senses with, and how it notices the phases of a flight."""

from __future__ import annotations

import math

from sixdof.autopilot.optional import or_else
from sixdof.core import types as ct
from sixdof.core.computer.sensors import HISTORY, Barometer, Gnss, Inertial, Magnetometer, Sensors
from sixdof.mission import tables
from sixdof.mission.mission import Mission


def sensors_table(mission: Mission) -> Sensors:
    """Return the sensors' constants; a mission without the table `sensors` has ideal ones."""
    ideal = mission.sensors is None
    s = tables.Sensors() if ideal else mission.sensors
    period = 1.0 / mission.autopilot.rate

    def ticks(rate: float) -> int:
        return max(1, round(1.0 / (rate * period)))

    receiver = s.receiver or tables.SatelliteReceiver()
    latency = round(receiver.latency / period)
    if latency >= HISTORY:
        raise ValueError(f"sensors.receiver.latency = {receiver.latency:g} s must be less than {HISTORY} ticks, {HISTORY * period:g} s")
    compass = s.magnetometer or tables.Magnetometer()
    level = math.cos(compass.dip)
    field = ct.Vec3(level * math.sin(compass.declination), level * math.cos(compass.declination), -math.sin(compass.dip))
    return Sensors(
        ideal=1 if ideal else 0,
        gyro=Inertial(s.gyro.bias, s.gyro.noise, s.gyro.scale, s.gyro.misalignment, s.gyro.range),
        accelerometer=Inertial(s.accelerometer.bias, s.accelerometer.noise, s.accelerometer.scale, s.accelerometer.misalignment, s.accelerometer.range),
        magnetometer=Magnetometer(compass.bias, compass.noise, field, 1 if s.magnetometer else 0),
        barometer=Barometer(s.barometer.bias, s.barometer.noise, s.barometer.lag, ticks(s.barometer.rate)),
        gnss=Gnss(
            receiver.position_noise,
            receiver.velocity_noise,
            latency,
            ticks(receiver.rate) if s.receiver else 0,
            or_else(receiver.specific_force_limit, math.inf),
            or_else(receiver.speed_limit, math.inf),
        ),
        gyro_lag=0.0 if ideal else s.gyro.lag,
    )


def detection_table(mission: Mission) -> ct.Detection:
    """Return how the flight computer notices the phases of a flight."""
    d = mission.detection
    return ct.Detection(
        d.liftoff_specific_force,
        d.liftoff_height,
        d.ignition_specific_force,
        d.burnout_specific_force,
        d.burnout_debounce,
        1 if d.apogee == "barometer" else 0,
        d.apogee_drop,
        d.apogee_debounce,
    )

"""The actuators' constants, and what fails of them."""

from __future__ import annotations

import math

import numpy as np

from sixdof.autopilot.optional import or_else
from sixdof.core import types as ct
from sixdof.core.actuator import DEAD, ISSUED, STUCK
from sixdof.mission.mission import Mission


def servo_table(mission: Mission) -> ct.Servo:
    """Return the actuators' constants (rad, s).

    Raises
    ------
    ValueError
        If the transport delay is longer than the ticks whose commands are kept.
    """
    servo, period = mission.servo, 1.0 / mission.autopilot.rate
    delay = servo.delay + mission.autopilot.computation_delay
    if delay > (ISSUED - 2) * period:
        raise ValueError(
            f"servo.delay and autopilot.computation_delay, together {delay:g} s, must be at most {ISSUED - 2} ticks of the autopilot, "
            f"{(ISSUED - 2) * period:g} s"
        )
    return ct.Servo(
        frequency=2.0 * math.pi * servo.natural_frequency,
        damping=servo.damping,
        rate_limit=servo.rate_limit,
        acceleration_limit=or_else(servo.acceleration_limit, math.inf),
        travel=servo.deflection_limit,
        delay=delay,
        backlash=servo.backlash,
        dead_band=servo.dead_band,
        resolution=servo.resolution,
        stall_torque=or_else(servo.stall_torque, math.inf),
    )


def fin_failure_table(mission: Mission, controls: int) -> np.ndarray:
    """Return kind and time of each fin's failure (controls, 2), zeros for sound ones."""
    out = np.zeros((controls, 2))
    for failure in mission.servo.failure:
        if failure.fin <= controls:
            out[failure.fin - 1] = (STUCK if failure.kind == "stuck" else DEAD), failure.time
    return out

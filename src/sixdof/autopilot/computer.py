"""The flight computer's constants: sensors, guidance, gains, mixer and event rules as arrays."""

from __future__ import annotations

import math

from sixdof.autopilot.gains import gains_table
from sixdof.autopilot.guidance import guidance_table
from sixdof.autopilot.mixer import mixer_table
from sixdof.autopilot.rules import rules_table
from sixdof.autopilot.sensors import detection_table, sensors_table
from sixdof.autopilot.servo import fin_failure_table
from sixdof.core import types as ct
from sixdof.core.computer.estimator import Estimator
from sixdof.mission.mission import Mission
from sixdof.vehicle.geometry import Shape
from sixdof.world.gravity import EARTH_RATE


def computer_table(mission: Mission, stages, shape: Shape | None = None) -> ct.Computer:
    """Return the flight computer of a stack of stages: sensors, guidance, gains, mixer and event rules as arrays."""
    autopilot = mission.autopilot
    mixer = mixer_table(mission, stages, shape)
    latitude = mission.site.latitude
    return ct.Computer(
        period=1.0 / autopilot.rate,
        steps_per_tick=mission.solver.steps_per_tick,
        azimuth=mission.rail.azimuth,
        guidance=guidance_table(mission),
        gains=gains_table(mission),
        mixer=mixer,
        roll_first=1 if autopilot.priority == "roll" else 0,
        rules=rules_table(mission, stages),
        sensors=sensors_table(mission),
        estimator=Estimator(
            mission.estimator.heading,
            mission.estimator.baro_position,
            mission.estimator.baro_velocity,
            mission.estimator.fix_position,
            mission.estimator.fix_velocity,
            mission.estimator.magnetic,
        ),
        earth_rate=ct.Vec3(0.0, EARTH_RATE * math.cos(latitude), EARTH_RATE * math.sin(latitude)),
        booster=1.0 if len(stages) > 1 else 0.0,
        detection=detection_table(mission),
        failure=fin_failure_table(mission, mixer.shape[0]),
    )

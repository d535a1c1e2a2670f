"""From the mission's autopilot, servo, rules and recovery to the flight computer's constants."""

from __future__ import annotations

import math

import numpy as np

from sixdof.core import types as ct
from sixdof.core.layout import GAINS
from sixdof.mission.schema import Mission, Parachute
from sixdof.vehicle.geometry import shape_of

_TRIGGERS = {
    "time": ct.TRIGGER_TIME,
    "liftoff": ct.TRIGGER_LIFTOFF,
    "rail_departure": ct.TRIGGER_RAIL,
    "burnout": ct.TRIGGER_BURNOUT,
    "apogee": ct.TRIGGER_APOGEE,
    "climbing_through": ct.TRIGGER_CLIMBING,
    "falling_through": ct.TRIGGER_FALLING,
}
_ACTIONS = {"enable_fins": ct.ACTION_ENABLE, "disable_fins": ct.ACTION_DISABLE, "deploy": ct.ACTION_DEPLOY}


def servo_table(mission: Mission) -> ct.Servo:
    """Return the actuators' constants (rad, s)."""
    servo = mission.servo
    return ct.Servo(
        frequency=2.0 * math.pi * servo.natural_frequency,
        damping=servo.damping,
        rate_limit=servo.rate_limit,
        acceleration_limit=servo.acceleration_limit or math.inf,
        travel=servo.travel,
    )


def computer_table(mission: Mission, stages) -> ct.Computer:
    """Return the flight computer of a stack of stages: profile, gains, mixer and event rules as arrays."""
    autopilot, profile = mission.autopilot, mission.autopilot.profile
    rows = np.column_stack([profile.time, profile.tilt_pitch, profile.tilt_yaw, profile.roll]).astype(float)
    mixer = mixer_table(mission, stages)
    return ct.Computer(
        period=1.0 / autopilot.rate,
        steps_per_tick=mission.solver.steps_per_tick,
        azimuth=mission.rail.azimuth,
        profile=np.ascontiguousarray(rows),
        gains=gains_table(mission),
        mixer=mixer,
        rules=rules_table(mission),
        has_fins=mixer.shape[0] > 0,
    )


def gains_table(mission: Mission) -> np.ndarray:
    """Return the built-in control law's gains in the order of layout.GAINS."""
    autopilot = mission.autopilot
    values = []
    for channel in (autopilot.roll, autopilot.pitch, autopilot.yaw):
        values += [channel.p, channel.i, channel.d]
    values += [autopilot.gain_pressure or 0.0, *autopilot.gain_scale_limits, autopilot.integral_limit]
    assert len(values) == len(GAINS)
    return np.array(values, dtype=float)


def control_fins(shape) -> list[tuple[int, int, float]]:
    """Return (set, panel, angle clockwise from body +z) of every control fin, in the order of the actuators."""
    found = []
    for number, fins in enumerate(shape.fins):
        if fins.part.control:
            step = 2.0 * math.pi / fins.part.count
            found += [(number, i, fins.part.phase + i * step) for i in range(fins.part.count)]
    return found


def mixer_table(mission: Mission, stages) -> np.ndarray:
    """Return fin angle per roll, pitch and yaw demand (fins, 3).

    A fin at angle phi behind the mid-length of its stack makes, per unit angle, roll 1, pitch -sin(phi), yaw cos(phi)
    (body axes: force along n = (0, -cos phi, -sin phi) at x < 0 gives M_y = x (-F_z), M_z = x F_y); ahead of it the
    last two change sign. The mixer is the least-squares inverse of that geometry, scaled so that a demand of 1 rad in
    one channel moves the fin that works best in it by 1 rad.
    """
    shape = shape_of([mission.stage[i] for i in stages])
    fins = control_fins(shape)
    if not fins:
        return np.zeros((0, 3))
    effect = np.empty((3, len(fins)))
    for k, (number, _, angle) in enumerate(fins):
        lever = -1.0 if shape.fins[number].x0 > 0.5 * shape.length else 1.0
        effect[:, k] = 1.0, lever * math.sin(angle), -lever * math.cos(angle)
    inverse = np.linalg.pinv(effect)
    inverse[np.abs(inverse) < 1e-12] = 0.0
    largest = np.abs(inverse).max(axis=0)
    return np.ascontiguousarray(inverse / np.where(largest > 0.0, largest, 1.0))


def canopies(mission: Mission) -> list[Parachute]:
    """Return the parachutes of all stages in file order; their index is the target of a deploy rule."""
    return [part for stage in mission.stage for part in stage.part if part.kind == "parachute"]


def canopy_table(mission: Mission) -> np.ndarray:
    """Return drag area (m^2) and fill time (s) of every canopy."""
    rows = [[p.drag_coefficient * math.pi * p.diameter**2 / 4.0, p.fill_time] for p in canopies(mission)]
    return np.array(rows, dtype=float).reshape(-1, ct.CANOPY_COLUMNS)


def rules_table(mission: Mission) -> np.ndarray:
    """Return the event rules as rows of types.RULE_*: the mission's own, then those its recovery stands for."""
    index = {part.name: i for i, part in enumerate(canopies(mission))}
    rows = []
    for rule in mission.rule:
        rows.append(
            [
                _TRIGGERS[rule.when],
                rule.threshold or 0.0,
                rule.delay,
                _ACTIONS[rule.action],
                index.get(rule.target, 0),
                math.inf if rule.tilt_below is None else rule.tilt_below,
                -math.inf if rule.speed_above is None else rule.speed_above,
                math.inf if rule.speed_below is None else rule.speed_below,
            ]
        )
    for entry in mission.recovery:
        free = [ct.ACTION_DEPLOY, index[entry.canopy], math.inf, -math.inf, math.inf]
        rows.append([_TRIGGERS[entry.when], entry.height or 0.0, entry.delay, *free])
        if entry.backup_time is not None:
            rows.append([ct.TRIGGER_LIFTOFF, 0.0, entry.backup_time, *free])
    return np.ascontiguousarray(np.array(rows, dtype=float).reshape(-1, ct.RULE_COLUMNS))

"""The flight computer of the independent flight: rules, attitude profile, PID, mixer, once a tick, with matrices."""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial.transform import Rotation

from sixdof.core import layout as la
from sixdof.core import types as ct

LIFTOFF_FORCE, LIFTOFF_HEIGHT = 20.0, 10.0  # m/s^2, m: what the computer takes for liftoff


def frame_matrix(azimuth):
    """Return the launch frame's axes as columns in east, north, up: up, right of the azimuth, downrange."""
    s, c = math.sin(azimuth), math.cos(azimuth)
    return np.array([[0.0, c, s], [0.0, -s, c], [1.0, 0.0, 0.0]])


class FlightComputer:
    """State of the computer, its actuators' commands and the canopies it has released."""

    def __init__(self, model, draw):
        self.model, self.draw, self.computer = model, draw, model.computer
        self.frame = frame_matrix(model.computer.azimuth)
        s = model.servo
        self.servo = s._replace(frequency=s.frequency * draw.servo_speed, rate_limit=s.rate_limit * draw.servo_rate)
        g = model.computer.gains
        self.gains = [
            factor * g[first : first + 3]
            for first, factor in ((la.G_ROLL, draw.gain_roll), (la.G_PITCH, draw.gain_pitch), (la.G_YAW, draw.gain_yaw))
        ]
        self.integral = np.zeros(3)
        self.seen = {}
        self.armed = {}
        self.fired = {}
        self.enabled = False
        self.opened = [-1.0] * len(model.canopy)

    def tick(self, t, r, v, turn, w, felt):
        """Return the fin commands, centring errors included. felt: specific force, body axes."""
        self._notice(t, r, v, felt)
        self._rules(t, r, v, turn)
        wanted = self.goal(t)
        demand = self._control(r, v, turn, w, wanted)
        travel = self.servo.travel
        return np.clip(self.computer.mixer @ demand, -travel, travel) + self.draw.centring[: len(self.computer.mixer)]

    def goal(self, t):
        """Return the wanted attitude, body -> world."""
        p = self.computer.profile
        since = t - self.seen["liftoff"] if "liftoff" in self.seen else -1.0
        pitch, yaw, roll = (np.interp(since, p[:, 0], p[:, i]) for i in (1, 2, 3))
        return self.frame @ Rotation.from_euler("ZYX", [yaw, -pitch, roll]).as_matrix()

    def _notice(self, t, r, v, felt):
        if "liftoff" not in self.seen:
            if felt[0] > LIFTOFF_FORCE or r[2] > LIFTOFF_HEIGHT:
                self.seen["liftoff"] = t
            return
        if np.linalg.norm(r) > self.model.rail.aft_travel:
            self.seen.setdefault("rail", t)
        if felt[0] < 0.0:
            self.seen.setdefault("burnout", t)
        if v[2] < 0.0:
            self.seen.setdefault("apogee", t)

    def _due(self, trigger, threshold, t, height):
        noticed = {
            ct.TRIGGER_LIFTOFF: "liftoff",
            ct.TRIGGER_RAIL: "rail",
            ct.TRIGGER_BURNOUT: "burnout",
            ct.TRIGGER_APOGEE: "apogee",
        }
        if trigger in noticed:
            return noticed[trigger] in self.seen
        if trigger == ct.TRIGGER_TIME:
            return t >= threshold
        if trigger == ct.TRIGGER_CLIMBING:
            return "liftoff" in self.seen and height >= threshold
        return "apogee" in self.seen and height <= threshold

    def _rules(self, t, r, v, turn):
        tilt = math.acos(min(max(turn[2, 0], -1.0), 1.0))  # the nose's angle from the vertical
        speed = np.linalg.norm(v)
        for i, rule in enumerate(self.computer.rules):
            if i in self.fired:
                continue
            if i not in self.armed and not self._due(int(rule[ct.RULE_TRIGGER]), rule[ct.RULE_THRESHOLD], t, r[2]):
                continue
            self.armed.setdefault(i, t)
            action = int(rule[ct.RULE_ACTION])
            wait = rule[ct.RULE_DELAY] + (self.draw.canopy_delay if action == ct.ACTION_DEPLOY else 0.0)
            if t < self.armed[i] + wait - 1e-9 or tilt > rule[ct.RULE_TILT_BELOW]:
                continue
            if not rule[ct.RULE_SPEED_ABOVE] <= speed <= rule[ct.RULE_SPEED_BELOW]:
                continue
            self.fired[i] = t
            if action == ct.ACTION_DEPLOY:
                target = int(rule[ct.RULE_TARGET])
                self.opened[target] = t if self.opened[target] < 0.0 else self.opened[target]
            else:
                self.enabled = action == ct.ACTION_ENABLE

    def _control(self, r, v, turn, w, wanted):
        if not self.enabled:
            self.integral[:] = 0.0
            return np.zeros(3)
        turned = Rotation.from_matrix(turn.T @ wanted).as_rotvec()
        angle = np.linalg.norm(turned)
        error = turned * (
            math.sin(0.5 * angle) / (0.5 * angle) if angle > 0.0 else 1.0
        )  # twice the sine of half the angle
        g, world = self.computer.gains, self.model.world
        scale = 1.0
        if g[la.G_PRESSURE] > 0.0:
            column = world.air[:, ct.AIR_DENSITY]
            density = np.interp((r[2] - world.air_z0) * world.air_per_metre, np.arange(len(column)), column)
            pressure = 0.5 * density * (v @ v)
            scale = min(max(g[la.G_PRESSURE] / max(pressure, 1.0), g[la.G_LOW]), g[la.G_HIGH])
        demand = np.zeros(3)
        for i, (p, k, d) in enumerate(self.gains):
            limit = g[la.G_LIMIT]
            self.integral[i] = min(max(self.integral[i] + k * error[i] * self.computer.period, -limit), limit)
            demand[i] = scale * (p * error[i] + self.integral[i] - d * w[i])
        return demand

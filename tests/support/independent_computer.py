"""The flight computer of the independent flight: rules, profile, control law, mixer, servo commands, with matrices.

The computer is told the truth, and the attitude profile or a held attitude is its goal; sensors, estimator and
waypoints have tests of their own.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial.transform import Rotation

from sixdof.core import types as ct
from sixdof.core.columns import AirColumn
from sixdof.core.computer import guidance as gu
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, Gain, RuleColumn

ROUNDING = 1e-9  # s: sums of times


def frame_matrix(azimuth):
    """Return the launch frame's axes as columns in east, north, up: up, right of the azimuth, downrange."""
    s, c = math.sin(azimuth), math.cos(azimuth)
    return np.array([[0.0, c, s], [0.0, -s, c], [1.0, 0.0, 0.0]])


def rail_matrix(elevation, azimuth):
    """Return the attitude of the vehicle at rest: body x up the rail, body y horizontal to the right of the azimuth."""
    ce, se = math.cos(elevation), math.sin(elevation)
    line = np.array([ce * math.sin(azimuth), ce * math.cos(azimuth), se])
    right = np.array([math.cos(azimuth), -math.sin(azimuth), 0.0])
    return np.column_stack([line, right, np.cross(line, right)])


def twice_sine(turned):
    """Return a rotation vector stretched to twice the sine of half its angle, the computer's measure of an error."""
    angle = np.linalg.norm(turned)
    return turned * (math.sin(0.5 * angle) / (0.5 * angle) if angle > 0.0 else 1.0)


class FlightComputer:
    """State of the computer, the commands it has issued and the canopies it has released."""

    def __init__(self, model, draw, delays, burnout):
        self.model, self.draw, self.computer = model, draw, model.computer
        self.delays, self.true_burnout = delays, burnout
        self.frame = frame_matrix(model.computer.azimuth)
        s = model.servo
        self.servo = s._replace(frequency=s.frequency * draw.servo_speed, rate_limit=s.rate_limit * draw.servo_rate)
        g, rows = model.computer.gains, int(model.computer.gains[Gain.ROWS])
        first = GAIN_HEAD + (rows * GAIN_ROW if model.computer.booster else 0)
        self.schedule = g[first : first + rows * GAIN_ROW].reshape(rows, GAIN_ROW)
        self.factor = np.array([draw.gain_roll, draw.gain_pitch, draw.gain_yaw])
        self.integral, self.filtered, self.last_error, self.cut = np.zeros(3), np.zeros(3), np.zeros(3), False
        self.last_goal, self.goal_rate = None, np.zeros(3)
        self.held = rail_matrix(model.rail.elevation, model.rail.azimuth)
        self.slewed = self.held
        self.mode, self.mode_since = None, 0.0
        self.next_mode = int(model.computer.guidance.start_mode)
        self.issued = []  # commands, one array a tick
        self.seen = {}
        self.ignitions, self.burnouts = [], []  # times, in their order
        self.quiet_since, self.sinking_since, self.highest = None, None, -math.inf
        self.armed, self.fired, self.acted, self.given_up = {}, {}, {}, {}
        self.enabled = False
        self.opened = [-1.0] * len(model.canopy)  # times of release

    def tick(self, t, r, v, turn, w, felt):
        """Return the mixer's fin commands; what the servos take goes to `issued`. felt: specific force, body axes."""
        self._notice(t, r, v, felt)
        self._rules(t, r, v, turn)
        wanted = self.goal(t, r[2], turn)
        command = self._mix(self._control(r, v, turn, w, wanted))
        self._issue(command)
        return command

    def target(self, late):
        """Return what the servos go to after the last tick: the command of the delay ago, or the one before it."""
        whole = int(self.servo.delay / self.computer.period + 1e-9)
        k = len(self.issued) - 1 - whole - (1 if late else 0)
        sent = self.issued[k] if k >= 0 else np.zeros(len(self.computer.mixer))
        return sent + self.draw.centring[: len(self.computer.mixer)]

    @property
    def late_by(self):
        """The part of a tick that remains of the delay, s."""
        period = self.computer.period
        return max(self.servo.delay - int(self.servo.delay / period + 1e-9) * period, 0.0)

    def _issue(self, command):
        servo, wanted = self.servo, command.copy()
        if servo.resolution > 0.0:
            wanted = np.floor(wanted / servo.resolution + 0.5) * servo.resolution
        if self.issued:
            small = np.abs(wanted - self.issued[-1]) <= servo.dead_band
            wanted = np.where(small, self.issued[-1], wanted)
        self.issued.append(np.clip(wanted, -servo.travel, servo.travel))

    # ---------------------------------------------------------------- guidance

    def goal(self, t, height, turn):
        """Return the wanted attitude, body -> world; the rate it turns at goes into `goal_rate`."""
        guidance = self.computer.guidance
        if self.mode != self.next_mode:
            self.mode, self.mode_since = self.next_mode, t
            if self.mode == gu.HOLD_DIRECTION and "liftoff" in self.seen:
                self.held = turn.copy()
        if self.mode == gu.WAYPOINTS:
            raise ValueError("the independent flight knows no waypoints")
        since = t - self.seen["liftoff"] if "liftoff" in self.seen else -1.0
        over = {gu.BY_TIME: since, gu.BY_HEIGHT: height, gu.BY_MODE_TIME: t - self.mode_since}[guidance.over]
        pitch, yaw, roll = self._profile(over)
        goal = self.frame @ Rotation.from_euler("ZYX", [yaw, -pitch, roll]).as_matrix()
        goal = self.held if self.mode == gu.HOLD_DIRECTION else goal
        to_go = Rotation.from_matrix(self.slewed.T @ goal).as_rotvec()
        most = guidance.slew * self.computer.period
        if np.linalg.norm(to_go) > most:
            goal = self.slewed @ Rotation.from_rotvec(to_go * most / np.linalg.norm(to_go)).as_matrix()
        self.slewed = goal
        if guidance.feed_rate and "liftoff" in self.seen:
            turned = Rotation.from_matrix(self.last_goal.T @ goal).as_rotvec()
            self.goal_rate = twice_sine(turned) / self.computer.period
        self.last_goal = goal
        return goal

    def _profile(self, over):
        guidance = self.computer.guidance
        x, angles = guidance.profile[:, 0], guidance.profile[:, 1:]
        if not guidance.smooth:
            return [np.interp(over, x, a) for a in angles.T]
        i = int(np.clip(np.searchsorted(x, over, side="right") - 1, 0, max(len(x) - 2, 0)))
        span = x[i + 1] - x[i] if len(x) > 1 else 1.0
        f = min(max((over - x[i]) / span, 0.0), 1.0)
        return angles[i] + (3.0 * f**2 - 2.0 * f**3) * (angles[min(i + 1, len(x) - 1)] - angles[i])

    # ---------------------------------------------------------------- what has happened

    def _notice(self, t, r, v, felt):
        how = self.computer.detection
        if "liftoff" not in self.seen:
            if not (felt[0] > how.liftoff_specific_force or r[2] > how.liftoff_height):
                return
            self.seen["liftoff"] = t
            self.ignitions.append(t)
        if np.linalg.norm(r) > self.model.rail.aft_travel:
            self.seen.setdefault("rail", t)
        self._notice_burns(t, felt[0], how)
        if "rail" in self.seen:
            self._notice_apogee(t, r[2], v[2], how)

    def _notice_burns(self, t, force, how):
        """Burns alternate: one goes on until its thrust has been away for long enough, the next starts with a push."""
        if len(self.burnouts) == len(self.ignitions):
            if force > how.ignition_specific_force and "apogee" not in self.seen:  # a canopy pulls too
                self.ignitions.append(t)
            return
        self.quiet_since = None if force >= how.burnout_specific_force else t if self.quiet_since is None else self.quiet_since
        if self.quiet_since is not None and t - self.quiet_since > how.burnout_debounce - ROUNDING:
            self.burnouts.append(t)
            self.quiet_since = None

    def _notice_apogee(self, t, height, climb, how):
        sinking = climb < 0.0
        if how.by_barometer:  # an ideal one
            self.highest = max(self.highest, height)
            sinking = self.highest - height > how.apogee_drop
        self.sinking_since = None if not sinking else t if self.sinking_since is None else self.sinking_since
        if self.sinking_since is not None and t - self.sinking_since > how.apogee_debounce - ROUNDING:
            self.seen.setdefault("apogee", t)

    def _due(self, rule, t, height):
        threshold, order = rule[RuleColumn.THRESHOLD], int(rule[RuleColumn.ORDER])
        return {
            ct.TRIGGER_TIME: t >= threshold,
            ct.TRIGGER_LIFTOFF: "liftoff" in self.seen,
            ct.TRIGGER_RAIL: "rail" in self.seen,
            ct.TRIGGER_BURNOUT: len(self.burnouts) > order,
            ct.TRIGGER_IGNITION: len(self.ignitions) > order,
            ct.TRIGGER_APOGEE: "apogee" in self.seen,
            ct.TRIGGER_CLIMBING: "liftoff" in self.seen and height >= threshold,
            ct.TRIGGER_FALLING: "apogee" in self.seen and height <= threshold,
            ct.TRIGGER_SEPARATION: False,  # a vehicle of one stage
            ct.TRIGGER_EJECTION: t >= self.true_burnout - ROUNDING,
            ct.TRIGGER_NEVER: False,
        }[int(rule[RuleColumn.TRIGGER])]

    def _held_back(self, rule, since, height, speed, tilt):
        """Return whether a rule's conditions keep it from firing; since : liftoff, s, -1 before it."""
        wanted = rule[RuleColumn.BOOSTER]
        return not (
            tilt <= rule[RuleColumn.TILT_BELOW]
            and rule[RuleColumn.SPEED_ABOVE] <= speed <= rule[RuleColumn.SPEED_BELOW]
            and rule[RuleColumn.HEIGHT_ABOVE] <= height <= rule[RuleColumn.HEIGHT_BELOW]
            and rule[RuleColumn.AFTER] <= since <= rule[RuleColumn.BEFORE]
            and (wanted < 0.0 or wanted == self.computer.booster)
        )

    def _rules(self, t, r, v, turn):
        tilt = math.acos(min(max(turn[2, 0], -1.0), 1.0))  # the nose's angle from the vertical
        since = t - self.seen["liftoff"] if "liftoff" in self.seen else -1.0
        for i, rule in enumerate(self.computer.rules):
            if i in self.fired or i in self.given_up or not (i in self.armed or self._due(rule, t, r[2])):
                continue
            waited = t - self.armed.setdefault(i, t) - self.delays[i]
            if waited < -ROUNDING:
                continue
            if not self._held_back(rule, since, r[2], np.linalg.norm(v), tilt):
                self.fired[i], self.acted[i] = t, self._act(int(rule[RuleColumn.ACTION]), int(rule[RuleColumn.TARGET]), t)
            elif waited > rule[RuleColumn.TIMEOUT] - ROUNDING or since > rule[RuleColumn.BEFORE]:
                self.given_up[i] = t

    def _act(self, action, target, t):
        """Do what a rule says; return whether that was still to do."""
        if action == ct.ACTION_DEPLOY:
            new = self.opened[target] < 0.0
            self.opened[target] = t if new else self.opened[target]
        elif action == ct.ACTION_GUIDE:
            new, self.next_mode = self.next_mode != target, target
        else:
            new, self.enabled = self.enabled != (action == ct.ACTION_ENABLE), action == ct.ACTION_ENABLE
        return float(new)

    def rule_table(self):
        """Return (rules, 4): when each was armed, when it fired, whether it acted, when it gave up; -1 where not."""
        columns = self.armed, self.fired, self.acted, self.given_up
        return np.array([[c.get(i, -1.0) for c in columns] for i in range(len(self.delays))]).reshape(-1, 4)

    # ---------------------------------------------------------------- control

    def _surroundings(self, r, v):
        """Return (dynamic pressure, Mach number) as the computer reckons: speed over the ground, the mission's air."""
        world = self.model.world
        rows = np.arange(len(world.air))
        at = (r[2] - world.air_z0) * world.air_per_metre
        density, sound = (np.interp(at, rows, world.air[:, k]) for k in (AirColumn.DENSITY, AirColumn.SOUND))
        return 0.5 * density * (v @ v), math.sqrt(v @ v) / sound

    def _control(self, r, v, turn, w, wanted):
        """Return the demands of roll, pitch and yaw."""
        error = twice_sine(Rotation.from_matrix(turn.T @ wanted).as_rotvec())
        if not self.enabled:
            self.integral[:] = self.filtered[:] = 0.0
            self.last_error = error  # still noted, so that its change does not kick as the fins go live
            return np.zeros(3)
        g, period = self.computer.gains, self.computer.period
        pressure, mach = self._surroundings(r, v)
        over = {0.0: 0.0, 1.0: pressure, 2.0: mach}[g[Gain.OVER]]
        at, *columns = self.schedule.T
        now = np.array([np.interp(over, at, column) for column in columns]).reshape(3, 4)  # channels, then p, i, d, f
        p, i, d, f = now.T * self.factor
        scale = 1.0
        if g[Gain.PRESSURE] > 0.0:
            scale = min(max(g[Gain.PRESSURE] / max(pressure, 1.0), g[Gain.LOW]), g[Gain.HIGH])
        if g[Gain.CASCADE]:
            error = np.clip(p * error + self.goal_rate, -g[Gain.RATE_LIMIT], g[Gain.RATE_LIMIT]) - w
            p, d = d, np.zeros(3)
        growth = i * error * period
        growth[self.cut & (growth * self.integral > 0.0)] = 0.0  # a fin at its stop: no further in
        self.integral = np.clip(self.integral + growth, -g[Gain.INTEGRAL], g[Gain.INTEGRAL])
        slope = (error - self.last_error) / period if g[Gain.ON_ERROR] else -w
        # a first-order lag, stepped backwards: T x' + x = d slope
        lag = g[Gain.FILTER]
        self.filtered = (lag * self.filtered + period * d * slope) / (lag + period)
        self.last_error = error.copy()
        demand = scale * (p * error + self.integral + self.filtered + f * self.goal_rate)
        return np.clip(demand, -g[Gain.DEMAND_LIMIT], g[Gain.DEMAND_LIMIT])

    def _mix(self, demand):
        """Return the fins' angles: what comes first has all the travel, the rest is scaled down to what is left."""
        mixer, travel = self.computer.mixer, self.servo.travel
        roll, lean = mixer[:, :1] @ demand[:1], mixer[:, 1:] @ demand[1:]
        first, second = (roll, lean) if self.computer.roll_first else (lean, roll)
        most = np.abs(first).max(initial=0.0)
        first_share = min(1.0, travel / most) if most > 0.0 else 1.0
        first = first * first_share
        room = np.where(second > 0.0, travel - first, travel + first)
        moved = second != 0.0
        second_share = min(1.0, (room[moved] / np.abs(second[moved])).min(initial=1.0))
        second_share = max(second_share, 0.0)
        self.cut = first_share < 1.0 or second_share < 1.0
        return first + second_share * second

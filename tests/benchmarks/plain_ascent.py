"""The ascent of a vehicle of one stage in Python with scipy's solve_ivp, as one would write it who knows both: the yardstick for a library's worth.

Plain floats in the derivative (numpy costs more than it saves on three numbers), tables as lists looked up by their uniform index, the
servos' angles and rates among the states, one solve_ivp from tick to tick (the fins' commands change there), terminal events for guides
that leave the rail and for apogee. The physics are the kernel's. Of the flight computer it knows what the one-stage demo asks for: ideal
sensors, an attitude profile over the time since liftoff, one gain per channel scaled with dynamic pressure, rules that switch the fins.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from math import sqrt

import numpy as np
from plain_loads import PlainVehicle, tilted, times
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from sixdof.core.computer.columns import GAIN_HEAD, Gain, GainRow, RuleColumn
from sixdof.core.types import ACTION_DISABLE, ACTION_ENABLE, TRIGGER_APOGEE, TRIGGER_LIFTOFF, TRIGGER_TIME

METHOD, TOLERANCE = "RK23", 1e-4  # a step or two a tick: faster than RK45 here, and the apogee is right to a tenth of a millimetre
INSTANT = 1e-9
HOLD, ON_RAIL, PIVOT, FREE = range(4)


class PlainComputer:
    """The flight computer: phases, the rules of the fins, profile, attitude loop, mixer."""

    def __init__(self, model, draw):
        self.model, self.computer, self.detection = model, model.computer, model.computer.detection
        gains = self.gains = model.computer.gains.tolist()
        guidance, sensors = model.computer.guidance, model.computer.sensors
        more = gains[Gain.CASCADE] or gains[Gain.ON_ERROR] or gains[Gain.ROWS] > 1.0 or not sensors.ideal or guidance.slew < math.inf
        if more or guidance.over or guidance.smooth or guidance.feed_rate or guidance.start_mode:
            raise SystemExit("the ascent in plain Python knows the flight computer of the one-stage demo alone: this mission wants more")
        factors = draw.gain_roll, draw.gain_pitch, draw.gain_yaw
        first = GAIN_HEAD + GainRow.ROLL_P
        self.pid = [[gains[first + 4 * c + i] * factors[c] for i in range(3)] for c in range(3)]
        self.profile, self.mixer = guidance.profile.tolist(), model.computer.mixer.tolist()
        self.rules = [row for row in model.computer.rules.tolist() if int(row[RuleColumn.ACTION]) in (ACTION_ENABLE, ACTION_DISABLE)]
        self.frame = launch_frame(model.computer.azimuth)
        self.liftoff, self.enabled, self.cut = None, False, False
        self.integral, self.filtered = [0.0] * 3, [0.0] * 3
        self.fired: set[int] = set()
        self.issued = [[0.0] * len(self.mixer)]

    def tick(self, t, y, felt_x, pressure) -> None:
        """Append what the servos are told at t to `issued`."""
        if self.liftoff is None and (felt_x > self.detection.liftoff_specific_force or y[2] > self.detection.liftoff_height):
            self.liftoff = t
        since = -1.0 if self.liftoff is None else t - self.liftoff
        for i, row in enumerate(self.rules):
            trigger = int(row[RuleColumn.TRIGGER])
            waited = {TRIGGER_LIFTOFF: since, TRIGGER_TIME: t - row[RuleColumn.THRESHOLD], TRIGGER_APOGEE: -1.0}[trigger]
            if i not in self.fired and waited >= 0.0 and waited >= row[RuleColumn.DELAY] - INSTANT:
                self.fired.add(i)
                self.enabled = int(row[RuleColumn.ACTION]) == ACTION_ENABLE
        wanted = times(self.frame, tilted(*self._profile(since)))
        self.issued.append(self._mix(self._demand(times((y[6], -y[7], -y[8], -y[9]), wanted), y[10:13], pressure)))

    def _profile(self, since):
        rows = self.profile
        i = bisect_right([row[0] for row in rows], since) - 1
        if i < 0 or i == len(rows) - 1:
            return rows[max(i, 0)][1:]
        f = (since - rows[i][0]) / (rows[i + 1][0] - rows[i][0])
        return [a + f * (b - a) for a, b in zip(rows[i][1:], rows[i + 1][1:])]

    def _demand(self, e, rates, pressure):
        if not self.enabled:
            self.integral, self.filtered = [0.0] * 3, [0.0] * 3
            return [0.0] * 3
        g, period, k = self.gains, self.computer.period, 2.0 if e[0] >= 0.0 else -2.0
        scale = min(max(g[Gain.PRESSURE] / max(pressure, 1.0), g[Gain.LOW]), g[Gain.HIGH]) if g[Gain.PRESSURE] > 0.0 else 1.0
        out = []
        for c, (error, rate, (p, i, d)) in enumerate(zip((k * e[1], k * e[2], k * e[3]), rates, self.pid)):
            step = i * error * period
            if not (self.cut and step * self.integral[c] > 0.0):
                self.integral[c] = min(max(self.integral[c] + step, -g[Gain.INTEGRAL]), g[Gain.INTEGRAL])
            self.filtered[c] += period / (g[Gain.FILTER] + period) * (-d * rate - self.filtered[c])
            demand = scale * (p * error + self.integral[c] + self.filtered[c])
            out.append(min(max(demand, -g[Gain.DEMAND_LIMIT]), g[Gain.DEMAND_LIMIT]))
        return out

    def _mix(self, demand):
        travel = self.model.servo.travel
        rolls = [row[0] * demand[0] for row in self.mixer]
        leans = [row[1] * demand[1] + row[2] * demand[2] for row in self.mixer]
        first, second = (rolls, leans) if self.computer.roll_first else (leans, rolls)
        share = min([1.0] + [travel / abs(a) for a in first if a])
        rest = min([1.0] + [max((math.copysign(travel, b) - share * a) / b, 0.0) for a, b in zip(first, second) if b])
        self.cut = share < 1.0 or rest < 1.0
        servo, last, out = self.model.servo, self.issued[-1], []
        for a, b, before in zip(first, second, last):
            angle = share * a + rest * b
            if servo.resolution > 0.0:
                angle = math.floor(angle / servo.resolution + 0.5) * servo.resolution
            out.append(before if len(self.issued) > 1 and abs(angle - before) <= servo.dead_band else min(max(angle, -travel), travel))
        return out


class PlainAscent:
    """One ascent from the rail to apogee; `apogee` is (time, east, north, height) then."""

    def __init__(self, model, draw):
        self.model, self.vehicle, self.computer = model, PlainVehicle(model, draw), PlainComputer(model, draw)
        rail, q = model.rail, times(launch_frame(draw.azimuth), tilted(0.5 * math.pi - draw.elevation, 0.0, 0.0))
        ce, se = math.cos(draw.elevation), math.sin(draw.elevation)
        self.line = np.array([ce * math.sin(draw.azimuth), ce * math.cos(draw.azimuth), se])
        _, cg, *_ = self.vehicle.body(0.0)
        turn = self.vehicle.matrix(*q)
        start = turn @ np.array([rail.base_x - cg[0], cg[1], cg[2]])
        self.guide = np.array([cg[0] - rail.aft_x, -cg[1], -cg[2]])
        self.centring = draw.centring.tolist()
        self.fins = list(self.centring)
        self.y = np.concatenate([start, [0.0] * 3, q, turn.T @ self.vehicle.earth, self.fins, [0.0] * len(self.fins)])
        self.t, self.phase, self.apogee, self.targets, self.evaluations = 0.0, HOLD, None, list(self.fins), 0
        self.curve = self.vehicle.time[1:]

    def fly(self):
        servo, period, number = self.vehicle.servo, self.model.computer.period, 0
        whole = int(servo.delay / period + 1e-9)
        late = max(servo.delay - whole * period, 0.0)
        while self.apogee is None and self.t < self.model.time_limit:
            self._tick()
            issued = self.computer.issued
            for due, ticks in ([(self.t + late, whole + 1)] if late > 0.0 else []) + [((number + 1) * period, whole)]:
                sent = issued[-1 - ticks] if ticks < len(issued) - 1 else [0.0] * len(self.fins)
                self.targets = [a + b for a, b in zip(self.centring, sent)]
                while self.t < due - INSTANT and self.apogee is None:
                    i = bisect_right(self.curve, self.t + INSTANT)
                    self._advance(min([due, *self.curve[i : i + 1]]))
                self.t = due if self.apogee is None else self.t
            number += 1
        return self.apogee

    def _tick(self):
        y = self.y.tolist()
        load = self.vehicle.loads(self.t, y, self.fins)
        felt = 0.0 if self.phase == HOLD else load.force[0] / load.mass
        if self.phase == HOLD:
            felt = load.matrix[6] * load.gravity
        elif self.phase != FREE:
            a = np.array(self._rate(self.t, self.y)[3:6]) + [0.0, 0.0, load.gravity] + 2.0 * np.cross(self.vehicle.earth, self.y[3:6])
            felt = float(a @ load.matrix[0::3])
        self.computer.tick(self.t, y, felt, 0.5 * load.density * (y[3] ** 2 + y[4] ** 2 + y[5] ** 2))
        self.vehicle.hinge = load.hinge

    def _advance(self, stop):
        """Go on to `stop`, or to the event that ends the phase."""
        if self.phase == HOLD:
            self._wait(stop)
            return
        gap = {ON_RAIL: self._fore_gap, PIVOT: self._aft_gap, FREE: _climb}[self.phase]
        found = solve_ivp(self._rate, (self.t, stop), self.y, METHOD, rtol=TOLERANCE, atol=TOLERANCE, events=gap, first_step=stop - self.t)
        self.t, self.y = float(found.t[-1]), found.y[:, -1]
        self.evaluations += found.nfev
        self.y[6:10] /= sqrt(self.y[6:10] @ self.y[6:10])
        n = len(self.fins)
        self.fins = self.vehicle.with_play(self.fins, self.y[13 : 13 + n].tolist())
        if found.status == 1:
            self.phase += 1
            if self.phase > FREE:
                self.apogee = (self.t, *self.y[:3].tolist())

    def _wait(self, stop):
        """Stand on the rail until the pull along it turns positive."""
        if self._pull(stop, self.y) > 0.0:
            stop = brentq(self._pull, self.t, stop, args=(self.y,)) if self._pull(self.t, self.y) < 0.0 else self.t
            self.phase = ON_RAIL
        self.t = stop

    def _pull(self, t, y):
        a = self.vehicle.acceleration(y.tolist(), self.vehicle.loads(t, y.tolist(), self.fins))
        along = a @ self.line
        aside = a - along * self.line
        return along - self.model.rail.friction * sqrt(aside @ aside)

    def _rate(self, t, y):
        """Return dy/dt in the present phase."""
        values = y.tolist()
        n = len(self.fins)
        angles, rates = self.vehicle.servo_rates(values[13 : 13 + n], values[13 + n :], self.targets)
        if self.phase == ON_RAIL:
            return [*values[3:6], *(self._pull(t, y) * self.line).tolist(), *[0.0] * 7, *angles, *rates]
        fins = self.vehicle.with_play(self.fins, values[13 : 13 + n])
        load = self.vehicle.loads(t, values, fins)
        if self.phase == PIVOT:
            return [*values[3:6], *self._pivot(values, load), *angles, *rates]
        return self.vehicle.free_rate(values, load) + angles + rates

    def _pivot(self, y, load):
        """Return the rates of v, q, w with the aft guide held to the rail's line: the forces across it that leave it no acceleration."""
        m, inverse, friction = np.array(load.matrix).reshape(3, 3), np.array(load.inverse), self.model.rail.friction
        free = self.vehicle.free_rate(y, load)
        arm = np.array([load.cg[0] - self.model.rail.aft_x, -load.cg[1], -load.cg[2]])
        rate, down = np.array(load.rate), -m.T @ self.line
        a0, turn0 = m.T @ free[3:6], np.array(free[10:13])
        e = np.linalg.svd(down[None])[2][1:]  # two directions across the rail, body axes
        point = a0 + np.cross(turn0, arm) + np.cross(rate, np.cross(rate, arm))
        answer = [f / load.mass + np.cross(inverse @ np.cross(arm, f), arm) for f in (*e, down)]
        system, drag = e @ np.array(answer[:2]).T, 0.0
        for _ in range(4):  # friction comes from the forces, and turns the vehicle too
            across = np.linalg.solve(system, -e @ (point + drag * answer[2]))
            drag = friction * sqrt(across @ across)
        f = across @ e + drag * down
        return [*(m @ (a0 + f / load.mass)).tolist(), *free[6:10], *(turn0 + inverse @ np.cross(arm, f)).tolist()]

    def _travel(self, y):
        rail = self.model.rail
        return float((y[:3] + self.vehicle.matrix(*y[6:10]) @ self.guide) @ self.line) - (rail.base_x - rail.aft_x)

    def _fore_gap(self, t, y):
        return self.model.rail.fore_travel - self._travel(y)

    def _aft_gap(self, t, y):
        return self.model.rail.aft_travel - self._travel(y)

    _fore_gap.terminal = _aft_gap.terminal = True


def launch_frame(azimuth):
    """Return the quaternion of the launch frame (up, right of the azimuth, downrange) -> east, north, up."""
    return times((math.cos(0.5 * azimuth), 0.0, 0.0, -math.sin(0.5 * azimuth)), (0.5, -0.5, -0.5, -0.5))


def _climb(t, y):
    return y[5]


_climb.terminal, _climb.direction = True, -1.0

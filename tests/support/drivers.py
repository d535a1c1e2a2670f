"""Drivers of parts of the core for tests: a body let go in any state, a fall, loads, an actuator, a whole flight."""

from __future__ import annotations

import models
import numpy as np

from sixdof._jit import borrow, fixed, kernel, lend
from sixdof.core.actuator import keep_fins, move_fins
from sixdof.core.body import body_at, burn_segment
from sixdof.core.columns import FIN_ROWS, MOTOR_ROWS, CanopyColumn, FinRow, StageColumn
from sixdof.core.computer.columns import RULE_COLUMNS, RuleColumn
from sixdof.core.computer.rules import start_notice
from sixdof.core.computer.tick import decide
from sixdof.core.constants import CANOPY, FREE, NO
from sixdof.core.flight import fly as fl
from sixdof.core.flight.canopy import Rig, opening_load
from sixdof.core.flight.rk4 import rk4_step
from sixdof.core.forces.loads import loads
from sixdof.core.layout import SENSED, Sensed
from sixdof.core.leg.drawing import draw_model
from sixdof.core.leg.work import make_events, make_log, make_summary, make_work
from sixdof.core.observe import _watch_fall
from sixdof.core.types import Quat, State, Vec3

TIME = 0
R, V, Q, W = slice(1, 4), slice(4, 7), slice(7, 11), slice(11, 14)  # of a row of `let_go`
AT_REST = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@kernel
def _state_of(row):
    return State(Vec3(row[0], row[1], row[2]), Vec3(row[3], row[4], row[5]), Quat(row[6], row[7], row[8], row[9]), Vec3(row[10], row[11], row[12]))


@kernel
def _coast(model, draw, work, start, segment, h, every, out):
    drawn = fixed(draw_model(model, draw, work))
    burn = burn_segment(model.thrust, segment, 0.0, draw.impulse, draw.burn_time)
    s = _state_of(start)
    t = burn.start
    rig = Rig(work.canopy, work.deployed, 0.0, 0.0, 0.0)
    for i in range(out.shape[0]):
        out[i, 0] = t
        out[i, 1], out[i, 2], out[i, 3] = s.r.x, s.r.y, s.r.z
        out[i, 4], out[i, 5], out[i, 6] = s.v.x, s.v.y, s.v.z
        out[i, 7], out[i, 8], out[i, 9], out[i, 10] = s.q.w, s.q.x, s.q.y, s.q.z
        out[i, 11], out[i, 12], out[i, 13] = s.w.x, s.w.y, s.w.z
        for _ in range(every):
            start, middle, end = body_at(t, burn, drawn.grains), body_at(t + 0.5 * h, burn, drawn.grains), body_at(t + h, burn, drawn.grains)
            s = rk4_step(FREE, t, s, h, s, NO, borrow(start), borrow(middle), borrow(end), rig, drawn, work.fins, work.seen)
            t += h


def let_go(model, draw, start, *, h, until, rows=1, segment=0):
    """Return (rows + 1, 14) of time, position, velocity, quaternion and rates of free flight by the kernel's own step.

    start : 13 numbers at the start of the thrust curve's `segment` (past the last: burnt out), which must last.
    """
    every = round(until / rows / h)
    out = np.empty((rows + 1, 14))
    work = make_work(model)
    work.fins[FinRow.CARRIED] = 1.0
    _coast(lend(model), lend(draw), lend(work), np.array(start, dtype=float), segment, until / rows / every, every, out)
    return out


@kernel
def _fall(model, draw, work, start, opened, h, every, out):
    drawn = fixed(draw_model(model, draw, work))
    body = body_at(0.0, burn_segment(model.thrust, model.thrust.time.shape[0], 0.0, 1.0, 1.0), drawn.grains)
    s = _state_of(start)
    rig = Rig(work.canopy, opened, model.tumble_area, model.tumble_area, model.leg.nose_x)
    for i in range(out.shape[0]):
        t = i * every * h
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = t, s.r.x, s.r.y, s.r.z
        out[i, 4], out[i, 5], out[i, 6] = s.v.x, s.v.y, s.v.z
        for _ in range(every):
            s = rk4_step(CANOPY, t, s, h, s, NO, borrow(body), borrow(body), borrow(body), rig, drawn, work.fins, work.seen)
            t += h


def fall(model, draw, *, height, speed, h, until, rows=1):
    """Return (rows + 1, 7) of time, position, velocity of a fall under canopies released at its start; speed is downwards."""
    every = round(until / rows / h)
    out = np.empty((rows + 1, 7))
    start = np.array(AT_REST)
    start[2], start[5] = height, -speed
    _fall(lend(model), lend(draw), lend(make_work(model)), start, np.zeros(len(model.canopy)), until / rows / every, every, out)
    return out


@kernel
def _loads(model, draw, work, start, segment, out):
    drawn = fixed(draw_model(model, draw, work))
    burn = burn_segment(model.thrust, segment, 0.0, draw.impulse, draw.burn_time)
    load = loads(_state_of(start), body_at(burn.start, burn, drawn.grains), drawn, work.fins, FinRow.START, work.seen)
    out[0], out[1], out[2] = load.force.x, load.force.y, load.force.z
    out[3], out[4], out[5] = load.moment.x, load.moment.y, load.moment.z


def loads_at(model, draw, *, flow=(0.0, 0.0, 0.0), rates=(0.0, 0.0, 0.0), fins=(), carried=None, segment=1 << 30):
    """Return force and moment (6,) in body axes at the launch point.

    flow : velocity through still air, m/s. carried : share of its load that each fin carries.
    """
    work = make_work(model)
    work.fins[0, : len(fins)] = fins
    work.fins[FinRow.CARRIED] = 1.0 if carried is None else carried
    out = np.empty(6)
    start = np.array([0.0, 0.0, 0.0, *flow, 1.0, 0.0, 0.0, 0.0, *rates], dtype=float)  # body axes along world axes
    _loads(lend(model), lend(draw), lend(work), start, segment, out)
    return out


@kernel
def _fall_clocks(model, draw, work, start, ticks, period):
    drawn = fixed(draw_model(model, draw, work))
    body = body_at(0.0, burn_segment(model.thrust, model.thrust.time.shape[0], 0.0, 1.0, 1.0), drawn.grains)
    load = loads(_state_of(start), body, drawn, work.fins, FinRow.START, work.seen)
    for _ in range(ticks):
        _watch_fall(work.tally, drawn, load, period, True)


def fall_clocks(model, draw, *, flow, ticks, period):
    """Return the tally of a body that falls for some ticks with the velocity `flow` through still air, m/s, body axes."""
    work = make_work(model)
    start = np.array([0.0, 0.0, 0.0, *flow, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], dtype=float)  # body axes along world axes
    _fall_clocks(lend(model), lend(draw), lend(work), start, ticks, period)
    return work.tally


@kernel
def _servo(servo, target, hinge, health, h, fins, motors, out):
    for i in range(out.shape[0]):
        out[i, 0], out[i, 1], out[i, 2] = motors[0, 0], motors[1, 0], fins[0, 0]
        move_fins(fins, motors, target, health, hinge, servo, h)
        keep_fins(fins, motors)


def servo_response(servo, target, *, h, steps, angle=0.0, rate=0.0, hinge=0.0, fin=None):
    """Return (steps + 1, 3) of one actuator on its way to a target: the motor's angle and rate, the fin's angle."""
    out = np.empty((steps + 1, 3))
    fins, motors = np.full((FIN_ROWS, 1), float(angle if fin is None else fin)), np.zeros((MOTOR_ROWS, 1))
    motors[0], motors[1] = angle, rate
    _servo(servo, np.array([float(target)]), np.array([float(hinge)]), np.zeros(1), h, fins, motors, out)
    return out


def nose_of(rows):
    """Return the body's x axis in world axes, (n, 3), of rows of `let_go`."""
    w, x, y, z = rows[:, Q].T
    return np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)], axis=1)


@kernel
def _opening(row, released, times, pressures, out):
    for i in range(times.shape[0]):
        out[i] = opening_load(times[i], row, released, pressures[i])


def opening_loads(row, released, times, pressures):
    """Return the pull (N) of a canopy (a row of types.CANOPY_*) at times and dynamic pressures (n,)."""
    times, pressures = np.broadcast_arrays(np.asarray(times, dtype=float), np.asarray(pressures, dtype=float))
    out = np.empty(times.shape)
    _opening(np.array(row, dtype=float), float(released), times.copy(), pressures.copy(), out)
    return out


@kernel
def _sequence(script, attached, burnt, computer, work, out):
    sensed = work.sensed
    for i in range(script.shape[0]):
        for k in range(sensed.shape[0]):
            sensed[k] = script[i, k]
        for k in range(work.stage.shape[0]):
            if script[i, Sensed.TIME] >= burnt[k]:
                work.stage[k, StageColumn.BURNOUT] = burnt[k]
        decide(sensed, AFT_TRAVEL, computer, attached[i], work)
        out[i] = sensed[Sensed.ENABLED]


AFT_TRAVEL = 2.0  # m, of the sequences' rail


class Sequence:
    """What the flight computer notices and does on readings over `ticks` ticks, without any physics.

    readings : values or arrays (ticks,) by name: force (along the axis, m/s^2), height (m, also the barometer's unless `baro`
    is given), climb (m/s), lean (nose's angle from the vertical, rad). attached : stages behind the front one, (ticks,) or a
    number, first value: at the start. burnt : true burnout of each stage, s. Left: `time` (ticks,), `rules` (rules, 4),
    `live` (ticks,) whether the fins are, and the scratch arrays of `work`.
    """

    def __init__(self, rules, *, ticks=1000, period=0.01, stages=3, canopies=1, attached=0.0, burnt=(), delays=None, detection=None, fails=(), **readings):
        model = models.model(canopy=np.array([models.canopy(1.0)] * canopies), leg=models.alone()._replace(stages=stages))
        table = np.array(rules, dtype=float).reshape(-1, RULE_COLUMNS)
        computer = model.computer._replace(rules=table, detection=detection or models.detection())
        self.work = work = make_work(model._replace(computer=computer))
        self.time = period * np.arange(ticks)
        attached = np.broadcast_to(np.asarray(attached, dtype=float), ticks).copy()
        work.rule_delay[:] = table[:, RuleColumn.DELAY] if delays is None else delays
        work.canopy[list(fails), CanopyColumn.FAILS] = 1.0
        work.rules[:], work.deployed[:], work.stage[:, [StageColumn.IGNITE, StageColumn.SEPARATE, StageColumn.BURNOUT]] = -1.0, -1.0, -1.0
        _start(work.notice, attached[0])
        out = np.empty(ticks)
        ends = np.full(stages, np.inf)
        ends[: len(burnt)] = burnt
        _sequence(self._script(readings, attached), attached, ends, computer, work, out)
        self.rules, self.opened, self.stage, self.live = work.rules, work.deployed, work.stage, out > 0.5
        self.notice = work.notice

    def _script(self, readings, attached):
        found = {"force": 0.0, "height": 0.0, "climb": 0.0, "lean": 0.0} | readings
        script = np.zeros((len(self.time), len(SENSED)))
        script[:, Sensed.TIME], script[:, Sensed.BOOSTER] = self.time, attached > 0.0
        script[:, Sensed.SPECIFIC_FORCE_X], script[:, Sensed.HEIGHT], script[:, Sensed.VELOCITY_UP] = found["force"], found["height"], found["climb"]
        script[:, Sensed.BARO_HEIGHT] = found.get("baro", found["height"])
        # launch frame and body axes alike but for a turn about the third axis
        script[:, Sensed.FRAME_W] = 1.0
        half = 0.5 * np.asarray(found["lean"])
        script[:, Sensed.Q_W], script[:, Sensed.Q_Z] = np.cos(half), np.sin(half)
        return script


@kernel
def _start(notice, attached):
    start_notice(notice, attached)


class Flown:
    """One leg by the kernel, from the rail: status, end, rows of the log, events, summary, and its scratch arrays.

    tables : this flight's canopies (rows of types.CANOPY_*) and delays of rules, the model's own by default. stage :
    {(stage, layout.ST_*): value} of Work.stage, zeros by default.
    """

    def __init__(self, model, draw, *, rows=20000, tables=None, stage=None):
        log, self.events, self.summary = make_log(model, rows), make_events(model), make_summary()
        self.work = work = make_work(model)
        if tables is not None:
            work.canopy[:], work.rule_delay[:] = tables
        for place, value in (stage or {}).items():
            work.stage[place] = value
        self.status, self.end, n = fl.fly(lend(model), lend(draw), lend(work), log, self.events, self.summary)
        self.log = log[:n]
        self.opened, self.rules, self.passed = work.deployed, work.rules, work.passed

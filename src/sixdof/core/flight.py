"""`fly`: one flight from ignition to the ground. The one place that integrates; a single flight and a million run this code."""

from __future__ import annotations

from math import inf, isfinite, nan
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.actuator import move_fins
from sixdof.core.algebra import cross, launch_frame, to_body
from sixdof.core.body import body_at, burn_segment
from sixdof.core.computer import (
    NOTICE_SIZE, attitude_control, attitude_guidance, mix, notice_phases, run_rules, sense,
)  # fmt: skip
from sixdof.core.craft import drawn_gains, make_craft, state_at_rest
from sixdof.core.draw import draw_of
from sixdof.core.descent import drag_area, fall_step, falling_rate, longest_fall_step
from sixdof.core.layout import (
    ABOVE_AIR, DIVERGED, E_APOGEE, E_BURNOUT, E_DISABLED, E_ENABLED, E_FORE_GUIDE, E_LANDING, E_LIFTOFF, E_RAIL,
    EVENT_COLUMNS, EVENTS, LANDED_OK, LOG_COLUMNS, MEMORY_SIZE, NO_LIFTOFF, OUT_OF_TIME, SENSED, SUMMARY, X_APOGEE,
    X_APOGEE_EAST, X_APOGEE_NORTH, X_APOGEE_TIME, X_BURNOUT_HEIGHT, X_BURNOUT_SPEED, X_FLIGHT_TIME, X_LANDING_EAST,
    X_LANDING_NORTH, X_LANDING_SPEED, X_MIN_MARGIN, X_OPENING_SPEED, X_RAIL_INCIDENCE, X_RAIL_MARGIN, X_RAIL_SPEED,
    X_SATURATION,
)  # fmt: skip
from sixdof.core.loads import END, START, air_at, loads
from sixdof.core.motion import CANOPY, FREE, HOLD, LANDED, ON_RAIL, PIVOT, rail_pull, state_rate
from sixdof.core.observe import incidence_of, static_margin, watch, write_event, write_log
from sixdof.core.step import (
    GAP_AFT, GAP_CLIMB, GAP_FORE, GAP_GROUND, GAP_SLIP, MOST_TRIES, NO, NO_GAP, ROOT_SHARE, YES, gap, keep_fins, liftoff_time,
    next_bracket, rk4_step,
)  # fmt: skip
from sixdof.core.types import SEEN_COLUMNS, Quat, State, Vec3

FALL_STRIDE = 5  # ticks of the flight computer between looks at the rules under a canopy (20 Hz at 100 Hz)
INSTANT = 1e-9  # s: two moments closer than this are one


class Work(NamedTuple):
    """Scratch arrays of one thread, made by `make_work`; a flight fills them anew."""

    sensed: np.ndarray
    memory: np.ndarray
    gains: np.ndarray
    command: np.ndarray  # roll, pitch, yaw demand
    fin_command: np.ndarray  # (controls,)
    fins: np.ndarray  # (3, controls): angles at start, middle, end of a step
    rates: np.ndarray  # (3, controls)
    notice: np.ndarray
    rules: np.ndarray  # (rules, 2)
    switches: np.ndarray
    opened: np.ndarray  # (canopies,)
    tally: np.ndarray
    air: np.ndarray
    seen: np.ndarray  # (panels, SEEN_COLUMNS)


def make_work(model) -> Work:
    """Return the scratch arrays for flights of `model`; one set a thread."""
    controls = model.computer.mixer.shape[0]
    return Work(
        np.zeros(len(SENSED)), np.zeros(MEMORY_SIZE), np.zeros(model.computer.gains.shape[0]), np.zeros(3),
        np.zeros(controls), np.zeros((3, controls)), np.zeros((3, controls)), np.zeros(NOTICE_SIZE),
        np.zeros((model.computer.rules.shape[0], 2)), np.zeros(1), np.zeros(model.canopy.shape[0]), np.zeros(4),
        np.zeros_like(model.world.air), np.zeros((model.aero.panel.shape[0], SEEN_COLUMNS)),
    )  # fmt: skip


def make_log(model, rows: int) -> np.ndarray:
    """Return an empty log of `rows` rows for flights of `model` (0 rows: nothing is logged)."""
    return np.empty((rows, LOG_COLUMNS + 3 * model.computer.mixer.shape[0]))


def make_events(model) -> np.ndarray:
    """Return an empty event table: rows layout.EVENTS, then the openings of the canopies."""
    return np.empty((len(EVENTS) + model.canopy.shape[0], len(EVENT_COLUMNS)))


def make_summary() -> np.ndarray:
    """Return an empty row of outcomes (layout.SUMMARY)."""
    return np.empty(len(SUMMARY))


@kernel
def _reset(work, draw, events, summary):
    work.sensed[:] = 0.0
    work.sensed[19] = work.sensed[23] = 1.0  # frame and goal: unit quaternions until they are known
    work.memory[:] = 0.0
    work.command[:] = 0.0
    work.rates[:] = 0.0
    for i in range(work.fin_command.shape[0]):
        work.fin_command[i] = draw.centring[i]
        work.fins[0, i] = work.fins[1, i] = work.fins[2, i] = draw.centring[i]
    work.notice[:] = -1.0
    work.rules[:] = -1.0
    work.switches[:] = 0.0
    work.opened[:] = -1.0
    work.tally[:] = 0.0
    events[:] = nan
    summary[:] = 0.0
    for i in (X_RAIL_SPEED, X_RAIL_INCIDENCE, X_RAIL_MARGIN, X_BURNOUT_SPEED, X_BURNOUT_HEIGHT, X_OPENING_SPEED):
        summary[i] = nan
    summary[X_MIN_MARGIN] = inf


@kernel
def _tick(t, s, force, craft, frame, model, draw, work):
    """Run the flight computer once; return the goal's (tilt_pitch, tilt_yaw, roll). force: specific force, body axes, m/s^2."""
    computer = model.computer
    density = air_at(model.world, s.r.z).density
    sense(t, s, force, density, frame, computer.period, work.switches[0], work.notice, work.sensed)
    notice_phases(work.sensed, craft.rail.aft_travel, work.notice)
    run_rules(
        computer.rules, work.rules, work.sensed, work.notice, draw.canopy_delay, work.switches, work.opened
    )
    sense(t, s, force, density, frame, computer.period, work.switches[0], work.notice, work.sensed)
    angles = attitude_guidance(work.sensed, computer.profile)
    attitude_control(t, work.sensed, work.memory, work.gains, work.command)
    limited = mix(work.command, computer.mixer, craft.servo.travel, work.fin_command)
    if work.switches[0] > 0.5:
        work.tally[2] += 1.0
        work.tally[3] += limited
    for i in range(work.fin_command.shape[0]):
        work.fin_command[i] += draw.centring[i]
    return angles


@kernel
def _rate(phase, t, s, body, craft, load, model, draw, work):
    """Return the state's rate at a tick, in any phase."""
    if phase == HOLD:
        zero = Vec3(0.0, 0.0, 0.0)
        return State(zero, zero, Quat(0.0, 0.0, 0.0, 0.0), zero)
    if phase == CANOPY:
        area = drag_area(t, model.canopy, work.opened, model.tumble_area, draw.canopy_drag)
        return falling_rate(s, craft, body.mass, body.thrust, area)
    return state_rate(phase, s, body, craft, load)


@helper
def felt_force(s, rate, craft, load):
    """Return the specific force (what an accelerometer at the centre of mass reads), body axes, m/s^2."""
    c = cross(craft.world.earth_rate, s.v)
    a = Vec3(rate.v.x + 2.0 * c.x, rate.v.y + 2.0 * c.y, rate.v.z + 2.0 * c.z + load.gravity)
    return to_body(load.matrix, a)


@helper
def _gap_kind(phase, apogee_passed, s):
    """Return the event to look for in this phase, NO_GAP for none."""
    if phase == ON_RAIL:
        return GAP_FORE
    if phase == PIVOT:
        return GAP_AFT
    if not apogee_passed:
        return GAP_CLIMB
    return GAP_GROUND


@kernel
def _cut_step(kind, phase, t, s, h, burn, grains, body, craft, work):
    """Return (h, state, body) at the moment inside a step where the event function of `kind` crosses zero."""
    low, high = 0.0, h
    g_low = gap(kind, s, body, craft)
    x, s1, body1 = h, s, body
    g_high, last, g = -1.0, 0, -1.0
    for i in range(MOST_TRIES):
        if i > 0:
            x = (low * g_high - high * g_low) / (g_high - g_low)
            if not (low < x < high):
                x = 0.5 * (low + high)
        move_fins(work.fins, work.rates, work.fin_command, craft.servo, x)
        body1 = body_at(t + x, burn, grains)
        half = body_at(t + 0.5 * x, burn, grains)
        s1 = rk4_step(phase, s, x, s, NO, body, half, body1, craft, work.fins)
        g = gap(kind, s1, body1, craft)
        if i == 0:
            g_high = g
            continue
        low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, g, last)
        if high - low < ROOT_SHARE * h or g == 0.0:
            break
    return x, s1, body1


@kernel
def fly(model, draw, work, log, events, summary):
    """Fly once; return (status, time, rows of the log written).

    Parameters
    ----------
    model, draw : Model, Draw
    work : Work
        Scratch, see `make_work`.
    log : (rows, columns) float64
        Filled every model.log_every ticks until it is full; see `make_log`.
    events : (events, EVENT_COLUMNS), summary : (SUMMARY,) float64
        Filled; what did not happen is NaN.
    """
    _reset(work, draw, events, summary)
    drawn_gains(model.computer.gains, draw, work.gains)
    craft = make_craft(model, draw, work.air, work.seen)
    grains = craft.grains
    frame = launch_frame(model.computer.azimuth)
    period = model.computer.period
    longest = period / model.computer.steps_per_tick
    segments = model.thrust.time.shape[0]

    s = state_at_rest(craft, draw)
    segment = np.int64(0)
    burn = burn_segment(model.thrust, segment, draw.impulse, draw.burn_time)
    body = body_at(0.0, burn, grains)
    t, tick, phase, rows, next_log = 0.0, np.int64(0), HOLD, 0, 0
    apogee_passed = False
    status = -1
    area = 0.0
    load = loads(s, body, craft, work.fins, START)

    while status < 0:
        # ------------------------------------------------------------ the flight computer's tick
        load = loads(s, body, craft, work.fins, START)
        if not (isfinite(s.r.z) and isfinite(s.v.x + s.v.y + s.v.z) and isfinite(s.w.x + s.w.y + s.w.z)):
            status = DIVERGED
            break
        k1 = _rate(phase, t, s, body, craft, load, model, draw, work)
        force = felt_force(s, k1, craft, load)
        angles = _tick(t, s, force, craft, frame, model, draw, work)
        if work.switches[0] > 0.5:
            write_event(events[E_ENABLED], t, s, body, craft, load, frame)
        elif events[E_ENABLED, 0] >= 0.0:
            write_event(events[E_DISABLED], t, s, body, craft, load, frame)
        for c in range(work.opened.shape[0]):
            if work.opened[c] >= 0.0 and phase >= FREE:
                if phase == FREE:
                    phase = CANOPY
                    summary[X_OPENING_SPEED] = load.air_speed
                write_event(events[len(EVENTS) + c], t, s, body, craft, load, frame)
        climbing = not apogee_passed
        watch(summary, phase, climbing, s, body, craft, load, force, frame, work.sensed, work.switches[0], period, work.tally)
        if phase == CANOPY:
            area = drag_area(t, model.canopy, work.opened, model.tumble_area, draw.canopy_drag)
        if tick >= next_log and rows < log.shape[0]:
            write_log(
                log[rows], t, phase, s, body, craft, load, force, frame, angles, work.sensed, work.fins, work.fin_command, area
            )
            rows += 1
            next_log = tick + model.log_every

        # ------------------------------------------------------------ steps to the next tick
        tick += FALL_STRIDE if phase == CANOPY else 1
        t_tick = tick * period
        fresh = YES
        while t < t_tick:
            stop = t_tick
            breaks = burn.burning > 0.5
            if breaks:
                t_break = model.thrust.time[segment + 1] * draw.burn_time
                if t_break < stop:
                    stop = t_break
            most = longest
            if phase == CANOPY:
                now = drag_area(t, model.canopy, work.opened, model.tumble_area, draw.canopy_drag)
                soon = drag_area(t + longest, model.canopy, work.opened, model.tumble_area, draw.canopy_drag)
                most = min(FALL_STRIDE * period, longest_fall_step(s, craft, body.mass, max(now, soon)))
            t_next = t + most
            if t_next > stop - INSTANT:
                t_next = stop
            h = t_next - t

            if h > 0.0:
                middle, end = body, body
                if breaks:
                    middle = body_at(t + 0.5 * h, burn, grains)
                    end = body_at(t_next, burn, grains)

                if phase == HOLD:
                    pull = rail_pull(s, end, craft, loads(s, end, craft, work.fins, START))
                    if pull > 0.0:
                        t_next = liftoff_time(t, t_next, s, body, end, craft, work.fins)
                        end = body_at(t_next, burn, grains)
                        phase = ON_RAIL
                        write_event(events[E_LIFTOFF], t_next, s, end, craft, load, frame)
                    elif not breaks:
                        status = NO_LIFTOFF
                elif phase == CANOPY:
                    s1 = fall_step(
                        t, s, h, craft, body, middle, end, model.canopy, work.opened, model.tumble_area, draw.canopy_drag
                    )
                    if s1.v.z <= 0.0 and not apogee_passed:
                        apogee_passed = True
                        f = clip_share(s.v.z, s1.v.z)
                        _note_apogee(summary, events, t + f * h, s1, end, craft, load, frame)
                    if s1.r.z <= 0.0 and s1.v.z < 0.0:
                        low, high = 0.0, h
                        g_low, g_high, last = s.r.z, s1.r.z, 0
                        for _ in range(MOST_TRIES):
                            x = (low * g_high - high * g_low) / (g_high - g_low)
                            s1 = fall_step(
                                t, s, x, craft, body, middle, end, model.canopy, work.opened, model.tumble_area,
                                draw.canopy_drag,
                            )  # fmt: skip
                            low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, s1.r.z, last)
                            if high - low < ROOT_SHARE * h or s1.r.z == 0.0:
                                break
                        t_next = t + x
                        status = LANDED_OK
                    s = s1
                else:
                    move_fins(work.fins, work.rates, work.fin_command, craft.servo, h)
                    s1 = rk4_step(phase, s, h, k1, fresh, body, middle, end, craft, work.fins)
                    kind = _gap_kind(phase, apogee_passed, s)
                    if phase == ON_RAIL and gap(GAP_SLIP, s1, end, craft) < 0.0:
                        # thrust no longer carries the weight: it stops where it is
                        s1 = State(s.r, Vec3(0.0, 0.0, 0.0), s.q, s.w)
                        phase = HOLD
                        kind = NO_GAP
                    if kind != NO_GAP and gap(kind, s1, end, craft) <= 0.0 and not (kind == GAP_GROUND and s1.v.z > 0.0):
                        x, s1, end = _cut_step(kind, phase, t, s, h, burn, grains, body, craft, work)
                        t_next = t + x
                        seen = loads(s1, end, craft, work.fins, END)
                        if kind == GAP_FORE:
                            phase = PIVOT
                            write_event(events[E_FORE_GUIDE], t_next, s1, end, craft, seen, frame)
                        elif kind == GAP_AFT:
                            phase = FREE
                            write_event(events[E_RAIL], t_next, s1, end, craft, seen, frame)
                            v = s1.v
                            summary[X_RAIL_SPEED] = (v.x * v.x + v.y * v.y + v.z * v.z) ** 0.5
                            summary[X_RAIL_INCIDENCE] = incidence_of(seen)
                            summary[X_RAIL_MARGIN] = static_margin(craft, seen.mach, end.cg)
                        elif kind == GAP_CLIMB:
                            apogee_passed = True
                            _note_apogee(summary, events, t_next, s1, end, craft, seen, frame)
                        else:
                            status = LANDED_OK
                    s = s1
                    keep_fins(work.fins, work.rates)
                body = end
            t = t_next
            fresh = NO
            if breaks and t >= t_break - INSTANT:
                segment += 1
                burn = burn_segment(model.thrust, segment, draw.impulse, draw.burn_time)
                body = body_at(t, burn, grains)
                if segment >= segments - 1:
                    load = loads(s, body, craft, work.fins, START)
                    write_event(events[E_BURNOUT], t, s, body, craft, load, frame)
                    summary[X_BURNOUT_SPEED] = load.air_speed
                    summary[X_BURNOUT_HEIGHT] = s.r.z
            if status >= 0:
                break
        if status < 0 and t >= model.time_limit:
            status = OUT_OF_TIME
        if status < 0 and s.r.z > (model.world.air.shape[0] - 1) / model.world.air_per_metre + model.world.air_z0:
            status = ABOVE_AIR

    # ---------------------------------------------------------------- the end
    if status == LANDED_OK:
        phase = LANDED
        load = loads(s, body, craft, work.fins, START)
        write_event(events[E_LANDING], t, s, body, craft, load, frame)
        summary[X_LANDING_EAST], summary[X_LANDING_NORTH] = s.r.x, s.r.y
        summary[X_LANDING_SPEED] = (s.v.x * s.v.x + s.v.y * s.v.y + s.v.z * s.v.z) ** 0.5
        if rows < log.shape[0]:
            angles = attitude_guidance(work.sensed, model.computer.profile)
            force = felt_force(s, _rate(HOLD, t, s, body, craft, load, model, draw, work), craft, load)
            write_log(
                log[rows], t, phase, s, body, craft, load, force, frame, angles, work.sensed, work.fins, work.fin_command, area
            )
            rows += 1
    else:
        summary[X_LANDING_EAST] = summary[X_LANDING_NORTH] = summary[X_LANDING_SPEED] = nan
    if not apogee_passed:
        summary[X_APOGEE] = summary[X_APOGEE_TIME] = summary[X_APOGEE_EAST] = summary[X_APOGEE_NORTH] = nan
    summary[X_FLIGHT_TIME] = t
    summary[X_SATURATION] = work.tally[3] / max(work.tally[2], 1.0)
    if summary[X_MIN_MARGIN] == inf:
        summary[X_MIN_MARGIN] = nan
    return status, t, rows


@helper
def clip_share(a, b):
    """Return where between 0 and 1 a quantity going linearly from a to b crosses zero."""
    return a / (a - b) if a > b else 0.0


@kernel
def _note_apogee(summary, events, t, s, body, craft, load, frame):
    summary[X_APOGEE], summary[X_APOGEE_TIME] = s.r.z, t
    summary[X_APOGEE_EAST], summary[X_APOGEE_NORTH] = s.r.x, s.r.y
    write_event(events[E_APOGEE], t, s, body, craft, load, frame)


@kernel
def fly_block(model, draws, rows, first, count, fins, work, log, events, summary, status):
    """Fly `count` flights whose packed draws start at row `first`; fill events (count, ...), summary and status.

    rows : (count,) number of log rows written; log : (count, rows, columns), which may have 0 rows.
    """
    for i in range(count):
        code, _, n = fly(model, draw_of(draws[first + i], fins), work, log[i], events[i], summary[i])
        status[i] = code
        rows[i] = n

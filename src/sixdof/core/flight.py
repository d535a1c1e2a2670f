"""`fly`: one flight from ignition to the ground. The one place that integrates; a single flight and a million run this code."""

from __future__ import annotations

from math import inf, isfinite, nan, sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.actuator import (
    CARRIED, FIN_ROWS, ISSUED, MOTOR_ROWS, fail_fins, keep_fins, move_fins, pick_targets, switch_delay,
)  # fmt: skip
from sixdof.core.algebra import cross, fill, launch_frame, to_body
from sixdof.core.body import body_at, burn_segment
from sixdof.core.computer import NOTICE_SIZE, SW_FINS, SW_MODE, SWITCHES, run_tick, sense
from sixdof.core.craft import chance_of, drawn_gains, make_craft, rail_attitude, state_at_rest
from sixdof.core.descent import drag_area, fall_step, falling_rate, longest_fall_step, reach_ground
from sixdof.core.draw import draw_of
from sixdof.core.estimator import ESTIMATE_SIZE, align
from sixdof.core.guidance import PASSED_MISS, PASSED_TIME, WP_RADIUS, start_guidance
from sixdof.core.layout import (
    ABOVE_AIR, DEMAND_SIZE, DIVERGED, E_APOGEE, E_BURNOUT, E_DISABLED, E_ENABLED, E_FORE_GUIDE, E_LANDING, E_LIFTOFF, E_RAIL,
    EVENT_COLUMNS, EVENTS, GOAL_SIZE, LANDED_OK, LAW_FAILED, LOG_COLUMNS, MEMORY_SIZE, NO_LIFTOFF, OUT_OF_TIME, S_FRAME_W,
    S_GOAL_W, SENSED, SUMMARY, X_APOGEE, X_APOGEE_EAST, X_APOGEE_NORTH, X_APOGEE_TIME, X_BURNOUT_HEIGHT, X_BURNOUT_SPEED,
    X_CAPTURED, X_FLIGHT_TIME, X_LANDING_EAST, X_LANDING_NORTH, X_LANDING_SPEED, X_MIN_MARGIN, X_MISS, X_OPENING_SPEED,
    X_RAIL_INCIDENCE, X_RAIL_MARGIN, X_RAIL_SPEED,
)  # fmt: skip
from sixdof.core.loads import END, START, loads
from sixdof.core.motion import CANOPY, FREE, HOLD, LANDED, ON_RAIL, PIVOT, rail_pull, state_rate
from sixdof.core.observe import TALLY_SIZE, finish, incidence_of, static_margin, watch, watch_servos, write_event, write_log
from sixdof.core.sensors import CONSTANTS, HISTORY, draw_constants
from sixdof.core.step import (
    GAP_AFT, GAP_CLIMB, GAP_FORE, GAP_GROUND, GAP_SLIP, MOST_TRIES, NO, ROOT_SHARE, YES, gap, liftoff_time,
    next_bracket, rk4_step,
)  # fmt: skip
from sixdof.core.types import PANEL_CONTROL, SEEN_COLUMNS, SEEN_HINGE, Quat, State, Vec3

ONE, FALL_STRIDE = np.int64(1), np.int64(5)  # ticks of the flight computer between looks at the rules under a canopy (20 Hz at 100 Hz)
INSTANT = 1e-9  # s: two moments closer than this are one


class Work(NamedTuple):
    """Scratch arrays of one thread, made by `make_work`; a flight fills them anew (but for laws and guidance_gains)."""

    sensed: np.ndarray
    goal: np.ndarray  # what a guidance law of the user's own writes
    command: np.ndarray  # what the control law writes
    memory: np.ndarray  # of the control law
    guidance_memory: np.ndarray
    gains: np.ndarray
    guidance_gains: np.ndarray  # of a guidance law of the user's own
    laws: np.ndarray  # (2,) int64: addresses of the user's guidance and control laws, 0: the built-in one
    fin_command: np.ndarray  # (controls,)
    issued: np.ndarray  # (ISSUED, controls): commands of the last ticks
    targets: np.ndarray  # (controls,): what the servos now go to
    fins: np.ndarray  # (FIN_ROWS, controls): angles at start, middle, end of a step, share of its load each fin carries
    motors: np.ndarray  # (MOTOR_ROWS, controls)
    health: np.ndarray  # (controls,): failure in force
    hinge: np.ndarray  # (controls,)
    estimate: np.ndarray
    history: np.ndarray
    constants: np.ndarray
    notice: np.ndarray
    rules: np.ndarray  # (rules, 2)
    switches: np.ndarray
    opened: np.ndarray  # (canopies,)
    passed: np.ndarray  # (waypoints, 2): time and miss distance
    tally: np.ndarray
    air: np.ndarray
    seen: np.ndarray  # (panels, SEEN_COLUMNS)


class LawSize(NamedTuple):
    """How much memory a law of the user's own wants, and its gains."""

    memory: int = MEMORY_SIZE
    gains: np.ndarray | None = None


def _gains(size: LawSize) -> np.ndarray:
    return np.zeros(0) if size.gains is None else np.array(size.gains, dtype=float)


def make_work(model, guidance: LawSize = LawSize(), control: LawSize | None = None) -> Work:
    """Return the scratch arrays for flights of `model`; one set a thread. guidance, control : of the user's own laws."""
    controls = model.computer.mixer.shape[0]
    gains = np.zeros_like(model.computer.gains) if control is None else _gains(control)
    return Work(
        sensed=np.zeros(len(SENSED)),
        goal=np.zeros(GOAL_SIZE),
        command=np.zeros(DEMAND_SIZE),
        memory=np.zeros(MEMORY_SIZE if control is None else max(control.memory, 1)),
        guidance_memory=np.zeros(max(guidance.memory, MEMORY_SIZE)),
        gains=gains,
        guidance_gains=_gains(guidance),
        laws=np.zeros(2, dtype=np.int64),
        fin_command=np.zeros(controls),
        issued=np.zeros((ISSUED, controls)),
        targets=np.zeros(controls),
        fins=np.zeros((FIN_ROWS, controls)),
        motors=np.zeros((MOTOR_ROWS, controls)),
        health=np.zeros(controls),
        hinge=np.zeros(controls),
        estimate=np.zeros(ESTIMATE_SIZE),
        history=np.zeros((HISTORY, 6)),
        constants=np.zeros(CONSTANTS),
        notice=np.zeros(NOTICE_SIZE),
        rules=np.zeros((model.computer.rules.shape[0], 2)),
        switches=np.zeros(SWITCHES),
        opened=np.zeros(model.canopy.shape[0]),
        passed=np.zeros((model.computer.guidance.waypoint.shape[0], 2)),
        tally=np.zeros(TALLY_SIZE),
        air=np.zeros_like(model.world.air),
        seen=np.zeros((model.aero.panel.shape[0], SEEN_COLUMNS)),
    )


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
def _reset(work, model, draw, chance, q, r, events, summary):
    """Clear the scratch arrays and start the flight computer on the rail."""
    fill(work.sensed, 0.0)
    fill(work.goal, 0.0)
    fill(work.command, 0.0)
    fill(work.memory, 0.0)
    fill(work.fin_command, 0.0)
    fill(work.tally, 0.0)
    fill(work.hinge, 0.0)
    fill(work.health, 0.0)
    work.sensed[S_FRAME_W] = work.sensed[S_GOAL_W] = work.goal[0] = 1.0  # unit quaternions until they are known
    for table in (work.issued, work.motors, work.history, work.seen):
        for i in range(table.shape[0]):
            fill(table[i], 0.0)
    for i in range(work.fin_command.shape[0]):
        work.targets[i] = work.motors[0, i] = draw.centring[i]
        for k in range(3):
            work.fins[k, i] = draw.centring[i]
        work.fins[CARRIED, i] = 1.0
    fill(work.notice, -1.0)
    for i in range(work.rules.shape[0]):
        fill(work.rules[i], -1.0)
    fill(work.switches, 0.0)
    work.switches[SW_MODE] = float(model.computer.guidance.start_mode)
    fill(work.opened, -1.0)
    for i in range(work.passed.shape[0]):
        fill(work.passed[i], nan)
    # the computer knows the rail as it should stand, not as it was drawn
    start_guidance(work.guidance_memory, rail_attitude(model.rail.elevation, model.rail.azimuth))
    if work.laws[0] != 0:
        fill(work.guidance_memory, 0.0)
    draw_constants(model.computer.sensors, chance, work.constants)
    align(work.estimate, q, r, model.computer.estimator, work.constants, chance)
    for i in range(events.shape[0]):
        fill(events[i], nan)
    fill(summary, 0.0)
    for i in (X_RAIL_SPEED, X_RAIL_INCIDENCE, X_RAIL_MARGIN, X_BURNOUT_SPEED, X_BURNOUT_HEIGHT, X_OPENING_SPEED, X_MISS):
        summary[i] = nan
    summary[X_MIN_MARGIN] = inf


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
    """Return the event to look for in this phase."""
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
        move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, craft.servo, x)
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
    craft = make_craft(model, draw, work.air, work.seen)
    chance = chance_of(draw)
    s = state_at_rest(craft, draw)
    _reset(work, model, draw, chance, s.q, s.r, events, summary)
    if work.laws[1] == 0:
        drawn_gains(model.computer.gains, draw, work.gains)
    grains = craft.grains
    frame = launch_frame(model.computer.azimuth)
    period = model.computer.period
    longest = period / model.computer.steps_per_tick
    segments = model.thrust.time.shape[0]
    _, late_seconds = switch_delay(craft.servo, period)
    stride = ONE

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
        fail_fins(t, model.computer.failure, work.health, work.fins)
        load = loads(s, body, craft, work.fins, START)
        if not (isfinite(s.r.z) and isfinite(s.v.x + s.v.y + s.v.z) and isfinite(s.w.x + s.w.y + s.w.z)):
            status = DIVERGED
            break
        k1 = _rate(phase, t, s, body, craft, load, model, draw, work)
        force = felt_force(s, k1, craft, load)
        if run_tick(t, tick, stride, s, force, load.matrix, craft, frame, model, draw, chance, work) != 0:
            status = LAW_FAILED
            break
        _feel_hinges(model.aero.panel, work)
        phase = _after_tick(phase, t, s, body, craft, load, frame, events, summary, work)
        watch(summary, phase, not apogee_passed, t, s, body, craft, load, force, frame, period, events, work)
        if phase == CANOPY:
            area = drag_area(t, model.canopy, work.opened, model.tumble_area, draw.canopy_drag)
        if tick >= next_log and rows < log.shape[0]:
            write_log(log[rows], t, phase, s, body, craft, load, force, frame, area, work)
            rows += 1
            next_log = tick + model.log_every

        # ------------------------------------------------------------ steps to the next tick
        stride = FALL_STRIDE if phase == CANOPY else ONE
        t_switch = t + late_seconds
        pick_targets(work.issued, tick, YES if late_seconds > 0.0 else NO, craft.servo, period, draw.centring, work.targets)
        switched = late_seconds <= 0.0
        tick += stride
        t_tick = tick * period
        fresh = YES
        while t < t_tick:
            stop = t_tick
            breaks = burn.burning > 0.5
            if breaks:
                t_break = model.thrust.time[segment + 1] * draw.burn_time
                if t_break < stop:
                    stop = t_break
            if not switched and t_switch < stop:
                stop = t_switch
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
                    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, craft.servo, t_next - t)
                    keep_fins(work.fins, work.motors)
                elif phase == CANOPY:
                    s1 = fall_step(
                        t, s, h, craft, body, middle, end, model.canopy, work.opened, model.tumble_area, draw.canopy_drag
                    )
                    if s1.v.z <= 0.0 and not apogee_passed:
                        apogee_passed = True
                        f = clip_share(s.v.z, s1.v.z)
                        _note_apogee(summary, events, t + f * h, s1, end, craft, load, frame)
                    if s1.r.z <= 0.0 and s1.v.z < 0.0:
                        x, s1 = reach_ground(
                            t, s, h, s1.r.z, craft, body, middle, end, model.canopy, work.opened, model.tumble_area,
                            draw.canopy_drag,
                        )  # fmt: skip
                        t_next = t + x
                        status = LANDED_OK
                    s = s1
                else:
                    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, craft.servo, h)
                    s1 = rk4_step(phase, s, h, k1, fresh, body, middle, end, craft, work.fins)
                    kind = _gap_kind(phase, apogee_passed, s)
                    if (phase == ON_RAIL or phase == PIVOT) and gap(GAP_SLIP, s1, end, craft) < 0.0:
                        kind = GAP_SLIP  # thrust no longer carries the weight
                    if gap(kind, s1, end, craft) <= 0.0 and not (kind == GAP_GROUND and s1.v.z > 0.0):
                        x, s1, end = _cut_step(kind, phase, t, s, h, burn, grains, body, craft, work)
                        t_next = t + x
                        seen = loads(s1, end, craft, work.fins, END)
                        if kind == GAP_SLIP and phase == PIVOT:
                            status = NO_LIFTOFF  # half off the rail and falling back: nothing flies from there
                        elif kind == GAP_SLIP:
                            phase = HOLD
                            s1 = State(s1.r, Vec3(0.0, 0.0, 0.0), s1.q, s1.w)
                        elif kind == GAP_FORE:
                            phase = PIVOT
                            write_event(events[E_FORE_GUIDE], t_next, s1, end, craft, seen, frame)
                        elif kind == GAP_AFT:
                            phase = FREE
                            write_event(events[E_RAIL], t_next, s1, end, craft, seen, frame)
                            v = s1.v
                            summary[X_RAIL_SPEED] = sqrt(v.x * v.x + v.y * v.y + v.z * v.z)
                            summary[X_RAIL_INCIDENCE] = incidence_of(seen)
                            summary[X_RAIL_MARGIN] = static_margin(craft, seen.mach, end.cg)
                        elif kind == GAP_CLIMB:
                            apogee_passed = True
                            _note_apogee(summary, events, t_next, s1, end, craft, seen, frame)
                        else:
                            status = LANDED_OK
                    s = s1
                    watch_servos(work, craft.servo, t_next - t)
                    keep_fins(work.fins, work.motors)
                body = end
            t = t_next
            fresh = NO
            if not switched and t >= t_switch - INSTANT:
                switched = True
                pick_targets(work.issued, tick - stride, NO, craft.servo, period, draw.centring, work.targets)
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

    if status == LANDED_OK:
        phase = LANDED
        load = loads(s, body, craft, work.fins, START)
        write_event(events[E_LANDING], t, s, body, craft, load, frame)
        if rows < log.shape[0]:
            force = felt_force(s, _rate(HOLD, t, s, body, craft, load, model, draw, work), craft, load)
            sense(t, tick, stride, s, force, load.matrix, model, frame, chance, work)
            write_log(log[rows], t, phase, s, body, craft, load, force, frame, area, work)
            rows += 1
    _close(status == LANDED_OK, apogee_passed, t, s, model.computer.guidance.waypoint, summary, work)
    return status, t, rows


@kernel
def _feel_hinges(panel, work):
    """Gather each control fin's hinge moment from what its panel did."""
    for p in range(panel.shape[0]):
        control = int(panel[p, PANEL_CONTROL])
        if control >= 0:
            work.hinge[control] = work.seen[p, SEEN_HINGE]


@kernel
def _after_tick(phase, t, s, body, craft, load, frame, events, summary, work):
    """Note what the flight computer has just switched; return the phase, which changes as the first canopy opens."""
    if work.switches[SW_FINS] > 0.5:
        write_event(events[E_ENABLED], t, s, body, craft, load, frame)
    elif events[E_ENABLED, 0] >= 0.0:
        write_event(events[E_DISABLED], t, s, body, craft, load, frame)
    for c in range(work.opened.shape[0]):
        if work.opened[c] >= 0.0 and phase >= FREE:
            if phase == FREE:
                phase = CANOPY
                summary[X_OPENING_SPEED] = load.air_speed
            write_event(events[len(EVENTS) + c], t, s, body, craft, load, frame)
    return phase


@kernel
def _close(landed, apogee_passed, t, s, waypoint, summary, work):
    """Fill the outcomes that are known only at the end of a flight."""
    speed = sqrt(s.v.x * s.v.x + s.v.y * s.v.y + s.v.z * s.v.z)
    summary[X_LANDING_EAST] = s.r.x if landed else nan
    summary[X_LANDING_NORTH] = s.r.y if landed else nan
    summary[X_LANDING_SPEED] = speed if landed else nan
    if not apogee_passed:
        summary[X_APOGEE] = summary[X_APOGEE_TIME] = summary[X_APOGEE_EAST] = summary[X_APOGEE_NORTH] = nan
    summary[X_FLIGHT_TIME] = t
    finish(summary, work)
    for k in range(work.passed.shape[0]):
        if isfinite(work.passed[k, PASSED_TIME]):
            miss = work.passed[k, PASSED_MISS]
            summary[X_MISS] = miss if not isfinite(summary[X_MISS]) else max(summary[X_MISS], miss)
            if miss <= waypoint[k, WP_RADIUS]:
                summary[X_CAPTURED] += 1.0


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
def fly_row(model, row, fins, work, log, events, summary, passed):
    """Fly one row of packed draws (see core.draw); return (status, rows of the log written).

    passed : (waypoints, 2), filled with time and miss distance of each waypoint. The rest as in `fly`.
    """
    code, _, rows = fly(model, draw_of(row, fins), work, log, events, summary)
    for k in range(passed.shape[0]):
        passed[k, PASSED_TIME], passed[k, PASSED_MISS] = work.passed[k, PASSED_TIME], work.passed[k, PASSED_MISS]
    return code, rows

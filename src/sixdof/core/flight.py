"""`fly`: one flight from ignition to the ground. The one place that integrates; a single flight and a million run this code."""

from __future__ import annotations

from math import inf, isfinite, isnan, nan, sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.actuator import ISSUED, fail_fins, keep_fins, move_fins, pick_targets, switch_delay
from sixdof.core.algebra import (
    add,
    cross,
    fill,
    launch_frame,
    matrix_of,
    norm,
    put_quaternion,
    put_vector,
    quaternion_at,
    scale,
    sub,
    to_body,
    to_world,
    vector_at,
)
from sixdof.core.body import body_at, burn_segment, gather_grains
from sixdof.core.columns import (
    FIN_ROWS,
    HANDOVER_COLUMNS,
    MOTOR_ROWS,
    SEEN_COLUMNS,
    STAGE_COLUMNS,
    TALLY_COLUMNS,
    TRACE_COLUMNS,
    TURBULENCE_COLUMNS,
    CanopyColumn,
    FinRow,
    Handover,
    MotorRow,
    PanelColumn,
    SeenColumn,
    StageColumn,
    TraceColumn,
)
from sixdof.core.computer.columns import (
    ERROR_COLUMNS,
    ESTIMATE_COLUMNS,
    FIX_COLUMNS,
    NOTICED_COLUMNS,
    RULE_STATES,
    SWITCHES,
    PassedColumn,
    RuleColumn,
    Switch,
    WaypointColumn,
)
from sixdof.core.computer.estimator import align
from sixdof.core.computer.guidance import start_guidance
from sixdof.core.computer.sensors import HISTORY, draw_constants
from sixdof.core.computer.tick import run_tick, sense, start_notice
from sixdof.core.craft import chance_of, drawn_gains, make_craft, rail_attitude, state_at_rest
from sixdof.core.descent import (
    QUIET_TURN,
    Rig,
    canopy_area,
    fall_step,
    falling_rate,
    flown_area,
    hanging_area,
    line_stretch,
    longest_fall_step,
    next_change,
    opens,
    pull_canopies,
    reach_ground,
)
from sixdof.core.forces.loads import climb_of, height_of, level_wind, loads
from sixdof.core.forces.stability import static_margin
from sixdof.core.forces.turbulence import FOOT, advance_gust, arrive, blow, start_turbulence
from sixdof.core.layout import (
    ABOVE_AIR,
    BY_COMMAND,
    BY_DRAG,
    BY_UPPER_MOTOR,
    CORD_PARTED,
    DEMAND_SIZE,
    DIVERGED,
    E_APOGEE,
    E_BURNOUT,
    E_DISABLED,
    E_DRAG_PARTING,
    E_ENABLED,
    E_FORE_GUIDE,
    E_LANDING,
    E_LIFTOFF,
    E_RAIL,
    EVENT_COLUMNS,
    EVENTS,
    GOAL_SIZE,
    LANDED_OK,
    LOG_COLUMNS,
    MEMORY_SIZE,
    NO_LIFTOFF,
    NOT_IGNITED,
    OUT_OF_TIME,
    PARTED,
    S_FRAME_W,
    S_GOAL_W,
    SENSED,
    SUMMARY,
    X_APOGEE,
    X_APOGEE_EAST,
    X_APOGEE_NORTH,
    X_APOGEE_TIME,
    X_BURNOUT_HEIGHT,
    X_BURNOUT_SPEED,
    X_CAPTURED,
    X_FLIGHT_TIME,
    X_LANDING_EAST,
    X_LANDING_NORTH,
    X_LANDING_SPEED,
    X_MIN_MARGIN,
    X_MISS,
    X_OPENING_SPEED,
    X_RAIL_INCIDENCE,
    X_RAIL_MARGIN,
    X_RAIL_SPEED,
)
from sixdof.core.motion import CANOPY, FREE, HOLD, LANDED, ON_RAIL, PIVOT, rail_pull, state_rate
from sixdof.core.observe import finish, incidence_of, joint_force, watch, watch_servos, write_event, write_log
from sixdof.core.step import GAP_AFT, GAP_CLIMB, GAP_FORE, GAP_GROUND, GAP_SLIP, MOST_TRIES, NO, ROOT_SHARE, YES, gap, liftoff_time, next_bracket, rk4_step
from sixdof.core.types import Quat, State, Vec3

ONE, FALL_STRIDE = np.int64(1), np.int64(5)  # ticks of the flight computer between its looks in a quiet descent under canopies (20 Hz at 100 Hz)
INSTANT = 1e-9  # s: two moments closer than this are one
MOST_HALVINGS = 8  # of a step whose error is controlled
TRACE_ROWS = 512  # ticks after a parting at which time, nose and base (world axes, m) are kept


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
    rules: np.ndarray  # (rules, RULE_STATES)
    rule_delay: np.ndarray  # (rules,) this flight's
    switches: np.ndarray
    stage: np.ndarray  # (stages, STAGE_COLUMNS)
    canopy: np.ndarray  # (canopies, CANOPY_COLUMNS) this flight's
    opened: np.ndarray  # (canopies,): time of release, -1 before, LOST
    pull: np.ndarray  # (canopies,): largest opening load, N
    hand: np.ndarray  # what the leg before hands over, and this one to the next (columns.Handover)
    turbulence: np.ndarray  # state of the gusts, see core.turbulence
    trial: np.ndarray  # (FIN_ROWS + MOTOR_ROWS, controls) scratch of the step control
    gust: np.ndarray  # (3, 3) at the start, middle and end of a step, east, north and up, m/s
    trace: np.ndarray  # (TRACE_ROWS, TRACE_COLUMNS): where the body's ends are after a parting
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
        estimate=np.zeros(ESTIMATE_COLUMNS),
        history=np.zeros((HISTORY, FIX_COLUMNS)),
        constants=np.zeros(ERROR_COLUMNS),
        notice=np.zeros(NOTICED_COLUMNS),
        rules=np.zeros((model.computer.rules.shape[0], RULE_STATES)),
        rule_delay=model.computer.rules[:, RuleColumn.DELAY].copy(),
        switches=np.zeros(SWITCHES),
        stage=np.zeros((model.leg.stages, STAGE_COLUMNS)),
        canopy=model.canopy.copy(),
        opened=np.zeros(model.canopy.shape[0]),
        pull=np.zeros(model.canopy.shape[0]),
        hand=np.zeros(HANDOVER_COLUMNS),
        turbulence=np.zeros(TURBULENCE_COLUMNS),
        trial=np.zeros((FIN_ROWS + MOTOR_ROWS, controls)),
        gust=np.zeros((3, 3)),
        trace=np.zeros((TRACE_ROWS, TRACE_COLUMNS)),
        passed=np.zeros((model.computer.guidance.waypoint.shape[0], 2)),
        tally=np.zeros(TALLY_COLUMNS),
        air=np.zeros_like(model.world.air),
        seen=np.zeros((model.aero.panel.shape[0], SEEN_COLUMNS)),
    )


def make_log(model, rows: int) -> np.ndarray:
    """Return an empty log of `rows` rows for flights of `model` (0 rows: nothing is logged)."""
    return np.empty((rows, LOG_COLUMNS + 3 * model.computer.mixer.shape[0] + len(SENSED)))


def make_events(model) -> np.ndarray:
    """Return an empty event table of one body.

    Rows: layout.EVENTS, the releases of the canopies, their line stretches, ignition and burnout of each stage but the last, the
    parting of each but the front one.
    """
    return np.empty((len(EVENTS) + 2 * model.canopy.shape[0] + 3 * (model.leg.stages - 1), len(EVENT_COLUMNS)))


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
        work.targets[i] = work.motors[MotorRow.ANGLE_START, i] = draw.centring[i]
        work.fins[FinRow.START, i] = work.fins[FinRow.MIDDLE, i] = work.fins[FinRow.END, i] = draw.centring[i]
        work.fins[FinRow.CARRIED, i] = 1.0
    start_notice(work.notice, float(model.leg.last - model.leg.first))
    for i in range(work.rules.shape[0]):
        fill(work.rules[i], -1.0)
    for i in range(work.stage.shape[0]):
        work.stage[i, StageColumn.IGNITE] = work.stage[i, StageColumn.SEPARATE] = work.stage[i, StageColumn.BURNOUT] = -1.0
    fill(work.pull, 0.0)
    start_turbulence(work.turbulence, chance)
    blow(work.gust, work.turbulence, 0.0, 0.0)
    fill(work.switches, 0.0)
    work.switches[Switch.MODE] = float(model.computer.guidance.start_mode)
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
def _rate(phase, t, s, body, craft, load, rig):
    """Return the state's rate at a tick, in any phase."""
    if phase == HOLD:
        zero = Vec3(0.0, 0.0, 0.0)
        return State(zero, zero, Quat(0.0, 0.0, 0.0, 0.0), zero)
    if phase == CANOPY:
        return falling_rate(s, craft, body, canopy_area(t, rig), hanging_area(t, rig), rig.fore_x, FinRow.START)
    return state_rate(phase, s, body, craft, load)


@helper
def felt_force(s, rate, craft, load):
    """Return the specific force (what an accelerometer at the centre of mass reads), body axes, m/s^2."""
    c = cross(craft.world.earth_rate, s.v)
    g = load.gravity
    a = Vec3(rate.v.x + 2.0 * c.x - g.x, rate.v.y + 2.0 * c.y - g.y, rate.v.z + 2.0 * c.z - g.z)
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
def _step_error(phase, t, s, h, burn, grains, body, craft, tick_end, span, work):
    """Return by how much one step of h and two of h/2 differ: m, with 1 s on speeds and the vehicle's length on angles."""
    fins, motors = work.trial[:FIN_ROWS], work.trial[FIN_ROWS:]
    middle, end = body_at(t + 0.5 * h, burn, grains), body_at(t + h, burn, grains)
    whole = half = s
    for part in range(3):  # the whole step, then its halves
        if part < 2:
            for i in range(FIN_ROWS):
                for j in range(fins.shape[1]):
                    fins[i, j] = work.fins[i, j]
            for i in range(MOTOR_ROWS):
                for j in range(fins.shape[1]):
                    motors[i, j] = work.motors[i, j]
        else:
            keep_fins(fins, motors)
        length = h if part == 0 else 0.5 * h
        start = t if part < 2 else t + 0.5 * h
        move_fins(fins, motors, work.targets, work.health, work.hinge, craft.servo, length)
        blow(work.gust, work.turbulence, 1.0 - (tick_end - start) / span, 1.0 - (tick_end - start - length) / span)
        if part == 0:
            whole = rk4_step(phase, s, length, s, NO, body, middle, end, craft, fins)
        else:
            first = body if part == 1 else middle
            last = middle if part == 1 else end
            half = rk4_step(phase, half, length, s, NO, first, body_at(start + 0.5 * length, burn, grains), last, craft, fins)
    q = sqrt((whole.q.w - half.q.w) ** 2 + (whole.q.x - half.q.x) ** 2 + (whole.q.y - half.q.y) ** 2 + (whole.q.z - half.q.z) ** 2)
    reach = craft.rail.base_x
    return norm(sub(whole.r, half.r)) + norm(sub(whole.v, half.v)) + reach * (2.0 * q + norm(sub(whole.w, half.w)))


@kernel
def _trusted_step(phase, t, s, h, burn, grains, body, craft, tick_end, span, tolerance, work):
    """Return the longest of h, h/2, h/4 .. whose error, by halving it, is within the tolerance (m a step)."""
    for _ in range(MOST_HALVINGS):
        # the error of the halves is a fifteenth of the difference, that of the whole step sixteen times as much
        if _step_error(phase, t, s, h, burn, grains, body, craft, tick_end, span, work) * 16.0 / 15.0 <= tolerance:
            break
        h *= 0.5
    return h


@kernel
def _cut_step(kind, phase, t, s, h, burn, grains, body, craft, work):
    """Return (h, state, body) at the moment inside a step where the event function of `kind` crosses zero."""
    low, high = 0.0, h
    g_low = gap(kind, s, craft)
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
        g = gap(kind, s1, craft)
        if i == 0:
            g_high = g
            continue
        low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, g, last)
        if high - low < ROOT_SHARE * h or g == 0.0:
            break
    return x, s1, body1


@helper
def _ignition_time(row):
    """Return when the motor of a stage (row of Work.stage) lights by what was commanded so far, inf if it does not."""
    if row[StageColumn.IGNITE] < 0.0 or row[StageColumn.NO_IGNITION] > 0.5:
        return inf
    return row[StageColumn.IGNITE] + row[StageColumn.IGNITION_DELAY]


@kernel
def _parting(leg, stage):
    """Return (time, stage behind the joint, cause) of the next parting by what was commanded so far, time inf if there is none.

    A joint parts on command, and by the gas of the motor ahead of it if that lights first.
    """
    when, which, cause = inf, 0, 0
    for k in range(leg.first + 1, leg.last + 1):
        if (
            stage[k, StageColumn.SEPARATE] >= 0.0
            and stage[k, StageColumn.NO_SEPARATION] < 0.5
            and stage[k, StageColumn.SEPARATE] + stage[k, StageColumn.SEPARATION_DELAY] < when
        ):
            when, which, cause = stage[k, StageColumn.SEPARATE] + stage[k, StageColumn.SEPARATION_DELAY], k, BY_COMMAND
        upper = _ignition_time(stage[k - 1])
        if upper < when:
            when, which, cause = upper, k, BY_UPPER_MOTOR
    return when, which, cause


@helper
def segment_at(t, lit, thrust, burn_time):
    """Return the segment of the thrust curve that time t lies in, -1 before ignition."""
    segment = np.int64(-1)
    if lit != NOT_IGNITED:
        segment = np.int64(0)
        while segment < thrust.time.shape[0] - 1 and t >= lit + thrust.time[segment + 1] * burn_time - INSTANT:
            segment += 1
    return segment


@kernel
def _handed_state(hand):
    """Return the State that the leg before left."""
    return State(vector_at(hand, Handover.POSITION), vector_at(hand, Handover.VELOCITY), quaternion_at(hand, Handover.ATTITUDE), vector_at(hand, Handover.RATE))


@kernel
def _hand_state(hand, s):
    put_vector(hand, Handover.POSITION, s.r)
    put_vector(hand, Handover.VELOCITY, s.v)
    put_quaternion(hand, Handover.ATTITUDE, s.q)
    put_vector(hand, Handover.RATE, s.w)


@kernel
def _write_trace(trace, i, t, s, body, leg):
    """Note where the body's nose and base are at a tick after a parting."""
    if i < 0 or i >= trace.shape[0]:
        return
    m = matrix_of(s.q)
    nose = add(s.r, to_world(m, Vec3(body.cg.x - leg.nose_x, -body.cg.y, -body.cg.z)))
    base = add(s.r, to_world(m, Vec3(body.cg.x - leg.base_x, -body.cg.y, -body.cg.z)))
    row = trace[i]
    row[TraceColumn.TIME] = t
    put_vector(row, TraceColumn.NOSE, nose)
    put_vector(row, TraceColumn.BASE, base)


@kernel
def _snatched(t, canopy, opened):
    """Return the canopy released at t whose cord does not stand the charge that throws the pieces apart, or -1."""
    for c in range(canopy.shape[0]):
        if opened[c] == t and canopy[c, CanopyColumn.SNATCH] > canopy[c, CanopyColumn.HARNESS_STRENGTH]:
            return c
    return -1


@kernel
def fly(model, draw, work, log, events, summary):
    """Fly one leg; return (status, time, rows of the log written).

    A leg is one body from rest on the rail, or from where the leg before parted (work.hand[Handover.GOES_ON] = 1), to the ground, or to
    its own parting: then the status is PARTED or CORD_PARTED and work.hand says where it ended and what parted. `core.legs` puts
    the legs of a flight together.

    Parameters
    ----------
    model, draw : Model, Draw
    work : Work
        Scratch, see `make_work`; what is drawn for single canopies, rules and stages is in it.
    log : (rows, columns) float64
        Filled every model.log_every ticks until it is full; see `make_log`.
    events : (events, EVENT_COLUMNS), summary : (SUMMARY,) float64
        Filled; what did not happen is NaN.
    """
    craft = make_craft(model, draw, work.air, work.seen, work.gust)
    chance = chance_of(draw)
    hand, leg, thrust = work.hand, model.leg, model.thrust
    goes_on = hand[Handover.GOES_ON] > 0.5
    s = state_at_rest(craft, draw)
    if goes_on:
        s = _handed_state(hand)
    else:
        _reset(work, model, draw, chance, s.q, s.r, events, summary)
        fill(hand, 0.0)
        hand[Handover.PHASE], hand[Handover.CLIMBING] = float(HOLD), 1.0
        hand[Handover.IGNITED] = NOT_IGNITED if work.stage[leg.last, StageColumn.NO_IGNITION] > 0.5 else 0.0
    if work.laws[1] == 0:
        drawn_gains(model.computer.gains, draw, work.gains)
    grains = craft.grains
    frame = launch_frame(model.computer.azimuth)
    period = model.computer.period
    longest = period / model.computer.steps_per_tick
    segments = thrust.time.shape[0]
    _, late_seconds = switch_delay(craft.servo, period)

    t, tick, phase = hand[Handover.TIME], np.int64(hand[Handover.TICK]), np.int64(hand[Handover.PHASE])
    t_tick, t_switch, switched = hand[Handover.TICK_END], hand[Handover.SWITCH], hand[Handover.SWITCHED] > 0.5
    stride = max(np.int64(hand[Handover.STRIDE]), ONE)
    rows, next_log = 0, int(hand[Handover.NEXT_LOG])
    first_trace = tick if goes_on else np.int64(-1)
    apogee_passed = hand[Handover.CLIMBING] < 0.5
    lit = hand[Handover.IGNITED]
    segment = segment_at(t, lit, thrust, draw.burn_time)
    burn = burn_segment(thrust, segment, lit, draw.impulse, draw.burn_time)
    body = body_at(t, burn, grains)
    status = -1
    area = 0.0
    load = loads(s, body, craft, work.fins, FinRow.START)
    rig = Rig(work.canopy, work.opened, model.tumble_area, hand[Handover.DRAG_AREA], leg.nose_x)
    k1 = _rate(phase, t, s, body, craft, load, rig)
    t_stretch = _next_stretch(phase, events, work)
    t_part, which, cause = _parting(leg, work.stage)
    cord = np.int64(-1)
    ticking = t >= t_tick - INSTANT
    gusty = craft.world.turbulence.on > 0 or craft.world.gusts.shape[0] > 0

    while status < 0:
        # ------------------------------------------------------------ the flight computer's tick
        fresh = NO
        if ticking:
            fail_fins(t, model.computer.failure, work.health, work.fins)
            if gusty:
                if t == 0.0:  # the gust on the pad
                    _foresee_gust(np.int64(-1), 0.0, s, load, craft, chance, work)
                arrive(work.turbulence)
                blow(work.gust, work.turbulence, 0.0, 0.0)
            load = loads(s, body, craft, work.fins, FinRow.START)
            if not (isfinite(s.r.z) and isfinite(s.v.x + s.v.y + s.v.z) and isfinite(s.w.x + s.w.y + s.w.z)):
                status = DIVERGED
                break
            k1 = _rate(phase, t, s, body, craft, load, rig)
            force = felt_force(s, k1, craft, load)
            ended = run_tick(t, tick, stride, s, force, load.matrix, craft, frame, model, chance, work)
            if ended != 0:
                status = ended
                break
            _feel_hinges(model.aero.panel, work)
            _after_tick(phase, t, s, body, craft, load, frame, events, work)
            t_stretch = _next_stretch(phase, events, work)
            if t >= t_stretch - INSTANT:
                rig = _stretch(phase, t, s, body, craft, load, frame, rig, events, summary, work)
                phase, t_stretch = CANOPY, _next_stretch(CANOPY, events, work)
            watch(summary, phase, not apogee_passed, t, s, body, craft, load, force, frame, period, events, work)
            if phase == CANOPY:
                area = canopy_area(t, rig) + hanging_area(t, rig)
            if phase >= FREE:
                cord = _snatched(t, work.canopy, work.opened)
            if tick >= next_log and rows < log.shape[0]:
                write_log(log[rows], t, phase, s, body, craft, load, force, frame, area, leg, work)
                rows += 1
                next_log = tick + model.log_every
            t_part, which, cause = _parting(leg, work.stage)
            if phase == FREE:
                if first_trace >= 0:
                    _write_trace(work.trace, tick - first_trace, t, s, body, leg)
                tension = -joint_force(leg, craft.aero, load, force, craft.drag)
                if tension > (leg.hold if leg.hold < inf else 0.0):  # False for NaN: no joint
                    write_event(events[E_DRAG_PARTING], t, s, body, craft, load, frame, work.sensed)
                    if tension > leg.hold and work.stage[leg.last, StageColumn.NO_SEPARATION] < 0.5 and t < t_part:
                        t_part, which, cause = t, leg.last, BY_DRAG

            stride = ONE
            if phase == CANOPY and norm(s.w) * FALL_STRIDE * period < QUIET_TURN and not opens(t, work.canopy, work.opened):
                stride = FALL_STRIDE
            if gusty:
                _foresee_gust(tick, stride * period, s, load, craft, chance, work)
            t_switch = t + late_seconds
            pick_targets(work.issued, tick, YES if late_seconds > 0.0 else NO, craft.servo, period, draw.centring, work.targets)
            switched = late_seconds <= 0.0
            tick += stride
            t_tick = tick * period
            fresh = YES
        ticking = True

        # ------------------------------------------------------------ steps to the next tick
        while t < t_tick:
            if phase >= FREE and t >= t_part - INSTANT:
                status = PARTED
                break
            if cord >= 0:
                status = CORD_PARTED
                break
            if t >= t_stretch - INSTANT:
                load = loads(s, body, craft, work.fins, FinRow.START)
                rig = _stretch(phase, t, s, body, craft, load, frame, rig, events, summary, work)
                phase, t_stretch = CANOPY, _next_stretch(CANOPY, events, work)
            stop = t_tick
            t_break = inf
            if segment < 0:
                t_break = max(_ignition_time(work.stage[leg.last]), t)
            elif burn.burning > 0.5:
                t_break = lit + thrust.time[segment + 1] * draw.burn_time
            breaks = burn.burning > 0.5
            stop = min(stop, t_break)
            if not switched and t_switch < stop:
                stop = t_switch
            if phase >= FREE:
                stop = min(stop, t_part, t_stretch)
            most = longest
            if phase == CANOPY:
                stop = min(stop, next_change(t, work.canopy, work.opened))
                soon = stop - INSTANT  # seen from before a jump; a canopy that disreefs between two looks fills within a step
                lines = max(canopy_area(t, rig), canopy_area(soon, rig))
                airframe = max(hanging_area(t, rig), hanging_area(soon, rig))
                most = min(FALL_STRIDE * period, longest_fall_step(s, craft, body, lines, airframe, rig.fore_x))
            elif model.tolerance > 0.0 and phase != HOLD:
                most = _trusted_step(phase, t, s, stop - t, burn, grains, body, craft, t_tick, stride * period, model.tolerance, work)
            t_next = t + most
            if t_next > stop - INSTANT:
                t_next = stop
            h = t_next - t

            happened, t_happened = -1, -1.0
            if h > 0.0:
                middle, end = body, body
                if gusty or model.tolerance > 0.0:
                    span = stride * period
                    blow(work.gust, work.turbulence, 1.0 - (t_tick - t) / span, 1.0 - (t_tick - t_next) / span)
                if breaks:
                    middle = body_at(t + 0.5 * h, burn, grains)
                    end = body_at(t_next, burn, grains)

                if phase == HOLD:
                    pull = rail_pull(s, end, craft, loads(s, end, craft, work.fins, FinRow.START))
                    if pull > 0.0:
                        t_next = liftoff_time(t, t_next, s, body, end, craft, work.fins)
                        end = body_at(t_next, burn, grains)
                        phase, happened = ON_RAIL, E_LIFTOFF
                    elif not breaks:
                        status = NO_LIFTOFF
                    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, craft.servo, t_next - t)
                    keep_fins(work.fins, work.motors)
                elif phase == CANOPY:
                    s1 = fall_step(t, s, h, craft, body, middle, end, rig)
                    climb = climb_of(craft.world, s1.r, s1.v)
                    if climb <= 0.0 and not apogee_passed:
                        apogee_passed, happened = True, E_APOGEE
                        t_happened = t + clip_share(climb_of(craft.world, s.r, s.v), climb) * h
                    height = height_of(craft.world, s1.r)
                    if height <= 0.0 and climb < 0.0:
                        x, s1 = reach_ground(t, s, h, height, craft, body, middle, end, rig)
                        t_next = t + x
                        status = LANDED_OK
                    cord, lost = pull_canopies(t_next, s1, craft, rig, work.pull)
                    if lost > 0:  # what is left falls broadside
                        rig = Rig(work.canopy, work.opened, model.tumble_area, model.tumble_area, leg.nose_x)
                    s = s1
                else:
                    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, craft.servo, h)
                    s1 = rk4_step(phase, s, h, k1, fresh, body, middle, end, craft, work.fins)
                    kind = _gap_kind(phase, apogee_passed, s)
                    if (phase == ON_RAIL or phase == PIVOT) and gap(GAP_SLIP, s1, craft) < 0.0:
                        kind = GAP_SLIP  # thrust no longer carries the weight
                    if gap(kind, s1, craft) <= 0.0 and not (kind == GAP_GROUND and climb_of(craft.world, s1.r, s1.v) > 0.0):
                        x, s1, end = _cut_step(kind, phase, t, s, h, burn, grains, body, craft, work)
                        t_next = t + x
                        if kind == GAP_SLIP and phase == PIVOT:
                            status = NO_LIFTOFF  # half off the rail and falling back: nothing flies from there
                        elif kind == GAP_SLIP:
                            phase = HOLD
                            s1 = State(s1.r, Vec3(0.0, 0.0, 0.0), s1.q, s1.w)
                        elif kind == GAP_FORE:
                            phase, happened = PIVOT, E_FORE_GUIDE
                        elif kind == GAP_AFT:
                            phase, happened = FREE, E_RAIL
                        elif kind == GAP_CLIMB:
                            apogee_passed, happened = True, E_APOGEE
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
            burnt = -1
            if t_break < inf and t >= t_break - INSTANT:
                if segment < 0:
                    lit = t
                segment += 1
                burn = burn_segment(thrust, segment, lit, draw.impulse, draw.burn_time)
                body = body_at(t, burn, grains)
                if segment == 0:
                    burnt = leg.ignition_row
                elif segment >= segments - 1:
                    burnt = leg.burnout_row
                    work.stage[leg.last, StageColumn.BURNOUT] = t
            for i in range(2):
                row = happened if i == 0 else burnt
                if row >= 0:
                    load = loads(s, body, craft, work.fins, FinRow.START)
                    write_event(events[row], t if t_happened < 0.0 else t_happened, s, body, craft, load, frame, work.sensed)
                    _note(row, t if t_happened < 0.0 else t_happened, s, body, craft, load, summary)
            if status >= 0:
                break
        if status < 0 and t >= model.time_limit:
            status = OUT_OF_TIME
        top = (model.world.air.shape[0] - 1) / model.world.air_per_metre + model.world.air_z0
        if status < 0 and height_of(model.world, s.r) > top:
            status = ABOVE_AIR

    hand[Handover.TIME], hand[Handover.TICK], hand[Handover.PHASE], hand[Handover.IGNITED] = t, float(tick), float(phase), lit
    hand[Handover.TICK_END], hand[Handover.SWITCH], hand[Handover.SWITCHED] = t_tick, t_switch, 1.0 if switched else 0.0
    hand[Handover.NEXT_LOG], hand[Handover.CLIMBING] = float(next_log), 0.0 if apogee_passed else 1.0
    hand[Handover.MASS], hand[Handover.TURNING], hand[Handover.STRIDE], hand[Handover.DRAG_AREA] = body.mass, norm(s.w), float(stride), rig.before
    _hand_state(hand, s)
    hand[Handover.GOES_ON] = 1.0 if status == PARTED or status == CORD_PARTED else 0.0
    if status == PARTED:
        hand[Handover.CAUSE], hand[Handover.WHICH] = float(cause), float(which)
        load = loads(s, body, craft, work.fins, FinRow.START)
        write_event(events[leg.parting_row + which - 1], t, s, body, craft, load, frame, work.sensed)
    elif status == CORD_PARTED:
        hand[Handover.WHICH] = float(cord)
    elif status == LANDED_OK:
        phase = LANDED
        load = loads(s, body, craft, work.fins, FinRow.START)
        write_event(events[E_LANDING], t, s, body, craft, load, frame, work.sensed)
        if rows < log.shape[0]:
            k1 = _rate(HOLD, t, s, body, craft, load, rig)
            force = felt_force(s, k1, craft, load)
            sense(t, tick, stride, s, force, load.matrix, model, frame, chance, work)
            write_log(log[rows], t, phase, s, body, craft, load, force, frame, area, leg, work)
            rows += 1
    if hand[Handover.GOES_ON] < 0.5:
        _close(status == LANDED_OK, apogee_passed, t, s, model.computer.guidance.waypoint, summary, work)
    return status, t, rows


@kernel
def _foresee_gust(tick, seconds, s, load, craft, chance, work):
    """Work out the gust that will blow `seconds` from now, at the next tick."""
    east, north = level_wind(craft, 20.0 * FOOT)
    w20 = craft.world.turbulence.w20 if craft.world.turbulence.w20 >= 0.0 else sqrt(east * east + north * north)
    way = sub(s.v, load.wind)
    speed = norm(way)
    way = scale(way, 1.0 / max(speed, 1e-6))
    climb = climb_of(craft.world, s.r, s.v)
    advance_gust(work.turbulence, craft.world, w20, load.height, climb, speed, way, seconds, tick, chance)


@kernel
def _feel_hinges(panel, work):
    """Gather each control fin's hinge moment from what its panel did."""
    for p in range(panel.shape[0]):
        control = int(panel[p, PanelColumn.CONTROL])
        if control >= 0:
            work.hinge[control] = work.seen[p, SeenColumn.HINGE]


@kernel
def _after_tick(phase, t, s, body, craft, load, frame, events, work):
    """Note what the flight computer has just switched and released."""
    if work.switches[Switch.FINS] > 0.5:
        write_event(events[E_ENABLED], t, s, body, craft, load, frame, work.sensed)
    elif events[E_ENABLED, 0] >= 0.0:
        write_event(events[E_DISABLED], t, s, body, craft, load, frame, work.sensed)
    for c in range(work.opened.shape[0]):
        if work.opened[c] >= 0.0 and phase >= FREE:
            write_event(events[len(EVENTS) + c], t, s, body, craft, load, frame, work.sensed)


@kernel
def _next_stretch(phase, events, work):
    """Return when lines not stretched so far will be, by what was released, inf if none will; on the rail none are."""
    soon, canopies = inf, work.opened.shape[0]
    if phase >= FREE:
        for c in range(canopies):
            if isnan(events[len(EVENTS) + canopies + c, 0]):
                soon = min(soon, line_stretch(c, work.canopy, work.opened))
    return soon


@kernel
def _stretch(phase, t, s, body, craft, load, frame, rig, events, summary, work):
    """Note the lines that are stretched at t; return what the body hangs by, which begins with the drag area it flew with."""
    canopies = work.opened.shape[0]
    for c in range(canopies):
        if t >= line_stretch(c, work.canopy, work.opened) - INSTANT:
            write_event(events[len(EVENTS) + canopies + c], t, s, body, craft, load, frame, work.sensed)
    if not isfinite(summary[X_OPENING_SPEED]):
        summary[X_OPENING_SPEED] = load.air_speed
    if phase == CANOPY:  # it hangs already, or is a piece that tumbled so far
        return rig
    return Rig(work.canopy, work.opened, rig.hanging, flown_area(craft, body, load), rig.fore_x)


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
        if isfinite(work.passed[k, PassedColumn.TIME]):
            miss = work.passed[k, PassedColumn.MISS]
            summary[X_MISS] = miss if not isfinite(summary[X_MISS]) else max(summary[X_MISS], miss)
            if miss <= waypoint[k, WaypointColumn.RADIUS]:
                summary[X_CAPTURED] += 1.0


@helper
def clip_share(a, b):
    """Return where between 0 and 1 a quantity going linearly from a to b crosses zero."""
    return a / (a - b) if a > b else 0.0


@kernel
def _note(row, t, s, body, craft, load, summary):
    """Note the outcomes that belong to an event: departure from the rail, the first burnout, apogee."""
    if row == E_RAIL:
        summary[X_RAIL_SPEED] = norm(s.v)
        summary[X_RAIL_INCIDENCE] = incidence_of(load)
        summary[X_RAIL_MARGIN] = static_margin(craft, load.mach, body.cg)
    elif row == E_BURNOUT:
        summary[X_BURNOUT_SPEED] = load.air_speed
        summary[X_BURNOUT_HEIGHT] = load.height
    elif row == E_APOGEE:
        summary[X_APOGEE], summary[X_APOGEE_TIME] = load.height, t
        summary[X_APOGEE_EAST], summary[X_APOGEE_NORTH] = s.r.x, s.r.y


@kernel
def mass_now(model, draw, t, lit):
    """Return mass, centre of mass (station, y, z) and inverse inertia (xx, yy, zz, xy, xz, yz) of a body at t, lit at `lit`."""
    grains = gather_grains(model.mass, draw.mass, draw.inertia, draw.cg_x, draw.cg_y, draw.cg_z)
    segment = segment_at(t, lit, model.thrust, draw.burn_time)
    body = body_at(t, burn_segment(model.thrust, segment, lit, draw.impulse, draw.burn_time), grains)
    j = body.inverse
    return body.mass, body.cg.x, body.cg.y, body.cg.z, j.xx, j.yy, j.zz, j.xy, j.xz, j.yz

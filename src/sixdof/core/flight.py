"""`fly`: one flight from ignition to the ground. The one place that integrates; a single flight and a million run this code."""

from __future__ import annotations

from math import inf, isfinite, isnan, nan, sqrt

import numpy as np

from sixdof._jit import borrow, helper, kernel
from sixdof.core.actuator import fail_fins, keep_fins, move_fins, pick_targets, switch_delay
from sixdof.core.algebra import cross, fill, launch_frame, norm, scale, sub, to_body
from sixdof.core.body import Body, body_at, burn_segment, segment_at
from sixdof.core.columns import FinRow, Handover, MotorRow, PanelColumn, SeenColumn, StageColumn
from sixdof.core.computer.columns import PassedColumn, Slot, Switch, WaypointColumn
from sixdof.core.computer.estimator import align
from sixdof.core.computer.guidance import start_guidance
from sixdof.core.computer.sensors import Chance, draw_constants
from sixdof.core.computer.tick import run_tick, sense, start_notice
from sixdof.core.constants import INSTANT
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
from sixdof.core.draw import Draw
from sixdof.core.forces.loads import Loads, climb_of, height_of, level_wind, loads
from sixdof.core.forces.stability import static_margin
from sixdof.core.forces.turbulence import FOOT, advance_gust, arrive, blow, start_turbulence
from sixdof.core.layout import BY_DRAG, EVENTS, NOT_IGNITED, Commanded, Ending, Event, EventColumn, Outcome, Sensed
from sixdof.core.leg.drawing import chance_of, draw_model, drawn_gains, rail_attitude, state_at_rest
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.handover import hand_over_state, handed_state, write_trace
from sixdof.core.leg.staging import broken_harness, ignition_time, next_separation
from sixdof.core.leg.stepping import cut_step, trusted_step
from sixdof.core.leg.work import Work
from sixdof.core.motion import CANOPY, FREE, HOLD, LANDED, ON_RAIL, PIVOT, rail_pull, state_rate
from sixdof.core.observe import finish, incidence_of, joint_force, watch, watch_servos, write_event, write_log
from sixdof.core.step import GAP_AFT, GAP_CLIMB, GAP_FORE, GAP_GROUND, GAP_SLIP, NO, YES, gap, liftoff_time, rk4_step
from sixdof.core.types import Model, Quat, State, Vec3

ONE, FALL_STRIDE = np.int64(1), np.int64(5)  # ticks of the flight computer between its looks in a quiet descent under canopies (20 Hz at 100 Hz)


@kernel
def _reset(work: Work, model: Model, draw: Draw, chance: Chance, q: Quat, r: Vec3, events: np.ndarray, summary: np.ndarray) -> None:
    """Clear the scratch arrays and start the flight computer on the rail."""
    fill(work.sensed, 0.0)
    fill(work.commanded, 0.0)
    fill(work.command, 0.0)
    fill(work.memory, 0.0)
    fill(work.fin_command, 0.0)
    fill(work.tally, 0.0)
    fill(work.hinge, 0.0)
    fill(work.health, 0.0)
    work.sensed[Sensed.FRAME_W] = work.sensed[Sensed.COMMANDED_W] = work.commanded[Commanded.Q_W] = 1.0  # unit quaternions until they are known
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
    fill(work.deployed, -1.0)
    for i in range(work.passed.shape[0]):
        fill(work.passed[i], nan)
    # the computer knows the rail as it should stand, not as it was drawn
    start_guidance(work.guidance_memory, rail_attitude(model.rail.elevation, model.rail.azimuth))
    if work.laws[Slot.GUIDANCE] != 0:
        fill(work.guidance_memory, 0.0)
    draw_constants(model.computer.sensors, chance, work.constants)
    align(work.estimate, q, r, model.computer.estimator, work.constants, chance)
    for i in range(events.shape[0]):
        fill(events[i], nan)
    fill(summary, 0.0)
    for i in (
        Outcome.RAIL_DEPARTURE_SPEED,
        Outcome.RAIL_DEPARTURE_INCIDENCE,
        Outcome.RAIL_DEPARTURE_MARGIN,
        Outcome.BURNOUT_AIRSPEED,
        Outcome.BURNOUT_HEIGHT,
        Outcome.OPENING_AIRSPEED,
        Outcome.WAYPOINT_MISS_MAX,
    ):
        summary[i] = nan
    summary[Outcome.STATIC_MARGIN_MIN] = inf


@kernel
def _rate(phase: int, t: float, s: State, body: Body, drawn: DrawnModel, load: Loads, rig: Rig) -> State:
    """Return the state's rate at a tick, in any phase."""
    if phase == HOLD:
        zero = Vec3(0.0, 0.0, 0.0)
        return State(zero, zero, Quat(0.0, 0.0, 0.0, 0.0), zero)
    if phase == CANOPY:
        return falling_rate(s, drawn, body, canopy_area(t, rig), hanging_area(t, rig), rig.fore_x, FinRow.START)
    return state_rate(phase, s, body, drawn, load)


@helper
def felt_force(s: State, rate: State, drawn: DrawnModel, load: Loads) -> Vec3:
    """Return the specific force (what an accelerometer at the centre of mass reads), body axes, m/s^2."""
    c = cross(drawn.world.earth_rate, s.v)
    g = load.gravity
    a = Vec3(rate.v.x + 2.0 * c.x - g.x, rate.v.y + 2.0 * c.y - g.y, rate.v.z + 2.0 * c.z - g.z)
    return to_body(load.matrix, a)


@helper
def _gap_kind(phase: int, apogee_passed: bool, s: State) -> int:
    """Return the event to look for in this phase."""
    if phase == ON_RAIL:
        return GAP_FORE
    if phase == PIVOT:
        return GAP_AFT
    if not apogee_passed:
        return GAP_CLIMB
    return GAP_GROUND


@kernel
def fly(model: Model, draw: Draw, work: Work, log: np.ndarray, events: np.ndarray, summary: np.ndarray) -> tuple[int, float, int]:
    """Fly one leg; return (status, time, rows of the log written).

    A leg is one body from rest on the rail, or from where the leg before separated (work.handover[Handover.GOES_ON] = 1), to the ground, or to
    its own separation: then the status is Ending.SEPARATED or Ending.HARNESS_BROKEN and work.handover says where it ended and what
    separated. `flight.runner` puts the legs of a flight together.

    Parameters
    ----------
    model, draw : Model, Draw, lent (see `_jit.lend`)
    work : Work, lent
        Scratch, see `make_work`; what is drawn for single canopies, rules and stages is in it.
    log : (rows, columns) float64
        Filled every model.log_every ticks until it is full; see `make_log`.
    events : (events, EVENT_COLUMNS), summary : (OUTCOMES,) float64
        Filled; what did not happen is NaN.
    """
    drawn = borrow(draw_model(model, draw, work.air, work.gust))
    chance = chance_of(draw)
    handover, leg, thrust = work.handover, model.leg, model.thrust
    goes_on = handover[Handover.GOES_ON] > 0.5
    s = state_at_rest(drawn, draw)
    if goes_on:
        s = handed_state(handover)
    else:
        _reset(work, model, draw, chance, s.q, s.r, events, summary)
        fill(handover, 0.0)
        handover[Handover.PHASE], handover[Handover.CLIMBING] = float(HOLD), 1.0
        handover[Handover.IGNITED] = NOT_IGNITED if work.stage[leg.last, StageColumn.NO_IGNITION] > 0.5 else 0.0
    if work.laws[Slot.CONTROL] == 0:
        drawn_gains(model.computer.gains, draw, work.gains)
    grains = drawn.grains
    frame = launch_frame(model.computer.azimuth)
    period = model.computer.period
    longest = period / model.computer.steps_per_tick
    segments = thrust.time.shape[0]
    _, late_seconds = switch_delay(drawn.servo, period)

    t, tick, phase = handover[Handover.TIME], np.int64(handover[Handover.TICK]), np.int64(handover[Handover.PHASE])
    t_tick, t_switch, switched = handover[Handover.TICK_END], handover[Handover.SWITCH], handover[Handover.SWITCHED] > 0.5
    stride = max(np.int64(handover[Handover.STRIDE]), ONE)
    rows, next_log = 0, int(handover[Handover.NEXT_LOG])
    first_trace = tick if goes_on else np.int64(-1)
    apogee_passed = handover[Handover.CLIMBING] < 0.5
    ignited = handover[Handover.IGNITED]
    segment = segment_at(t, ignited, thrust, draw.burn_time)
    burn = burn_segment(thrust, segment, ignited, draw.impulse, draw.burn_time)
    body = body_at(t, burn, grains)
    status = -1
    area = 0.0
    load = loads(s, body, drawn, work.fins, FinRow.START, work.seen)
    rig = Rig(work.canopy, work.deployed, model.tumble_area, handover[Handover.DRAG_AREA], leg.nose_x)
    k1 = _rate(phase, t, s, body, drawn, load, rig)
    t_stretch = _next_stretch(phase, events, work)
    t_separation, which, cause = next_separation(leg, work.stage)
    harness = np.int64(-1)
    ticking = t >= t_tick - INSTANT
    gusty = drawn.world.turbulence.on > 0 or drawn.world.gusts.shape[0] > 0

    while status < 0:
        # ------------------------------------------------------------ the flight computer's tick
        fresh = NO
        if ticking:
            fail_fins(t, model.computer.failure, work.health, work.fins)
            if gusty:
                if t == 0.0:  # the gust on the pad
                    _foresee_gust(np.int64(-1), 0.0, s, load, drawn, chance, work)
                arrive(work.turbulence)
                blow(work.gust, work.turbulence, 0.0, 0.0)
            load = loads(s, body, drawn, work.fins, FinRow.START, work.seen)
            if not (isfinite(s.r.z) and isfinite(s.v.x + s.v.y + s.v.z) and isfinite(s.w.x + s.w.y + s.w.z)):
                status = Ending.DIVERGED
                break
            k1 = _rate(phase, t, s, body, drawn, load, rig)
            force = felt_force(s, k1, drawn, load)
            ended = run_tick(t, tick, stride, s, force, load.matrix, drawn, frame, model, chance, work)
            if ended != 0:
                status = ended
                break
            _feel_hinges(model.aero.panel, work)
            _after_tick(phase, t, s, body, drawn, load, frame, events, work)
            t_stretch = _next_stretch(phase, events, work)
            if t >= t_stretch - INSTANT:
                rig = _stretch(phase, t, s, body, drawn, load, frame, rig, events, summary, work)
                phase, t_stretch = CANOPY, _next_stretch(CANOPY, events, work)
            watch(summary, phase, not apogee_passed, t, s, body, drawn, load, force, frame, period, events, work)
            if phase == CANOPY:
                area = canopy_area(t, rig) + hanging_area(t, rig)
            if phase >= FREE:
                harness = broken_harness(t, work.canopy, work.deployed)
            if tick >= next_log and rows < log.shape[0]:
                write_log(log[rows], t, phase, s, body, drawn, load, force, frame, area, leg, work)
                rows += 1
                next_log = tick + model.log_every
            t_separation, which, cause = next_separation(leg, work.stage)
            if phase == FREE:
                if first_trace >= 0:
                    write_trace(work.trace, tick - first_trace, t, s, body, leg)
                tension = -joint_force(leg, drawn.aero, load, force, drawn.drag)
                if tension > (leg.retention_force if leg.retention_force < inf else 0.0):  # False for NaN: no joint
                    write_event(events[Event.DRAG_SEPARATION], t, s, body, drawn, load, frame, work.sensed)
                    if tension > leg.retention_force and work.stage[leg.last, StageColumn.NO_SEPARATION] < 0.5 and t < t_separation:
                        t_separation, which, cause = t, leg.last, BY_DRAG

            stride = ONE
            if phase == CANOPY and norm(s.w) * FALL_STRIDE * period < QUIET_TURN and not opens(t, work.canopy, work.deployed):
                stride = FALL_STRIDE
            if gusty:
                _foresee_gust(tick, stride * period, s, load, drawn, chance, work)
            t_switch = t + late_seconds
            pick_targets(work.issued, tick, YES if late_seconds > 0.0 else NO, drawn.servo, period, draw.centring, work.targets)
            switched = late_seconds <= 0.0
            tick += stride
            t_tick = tick * period
            fresh = YES
        ticking = True

        # ------------------------------------------------------------ steps to the next tick
        while t < t_tick:
            if phase >= FREE and t >= t_separation - INSTANT:
                status = Ending.SEPARATED
                break
            if harness >= 0:
                status = Ending.HARNESS_BROKEN
                break
            if t >= t_stretch - INSTANT:
                load = loads(s, body, drawn, work.fins, FinRow.START, work.seen)
                rig = _stretch(phase, t, s, body, drawn, load, frame, rig, events, summary, work)
                phase, t_stretch = CANOPY, _next_stretch(CANOPY, events, work)
            stop = t_tick
            t_break = inf
            if segment < 0:
                t_break = max(ignition_time(work.stage[leg.last]), t)
            elif burn.burning > 0.5:
                t_break = ignited + thrust.time[segment + 1] * draw.burn_time
            breaks = burn.burning > 0.5
            stop = min(stop, t_break)
            if not switched and t_switch < stop:
                stop = t_switch
            if phase >= FREE:
                stop = min(stop, t_separation, t_stretch)
            most = longest
            if phase == CANOPY:
                stop = min(stop, next_change(t, work.canopy, work.deployed))
                soon = stop - INSTANT  # seen from before a jump; a canopy that disreefs between two looks fills within a step
                lines = max(canopy_area(t, rig), canopy_area(soon, rig))
                airframe = max(hanging_area(t, rig), hanging_area(soon, rig))
                most = min(FALL_STRIDE * period, longest_fall_step(s, drawn, body, lines, airframe, rig.fore_x))
            elif model.tolerance > 0.0 and phase != HOLD:
                most = trusted_step(phase, t, s, stop - t, burn, grains, body, drawn, t_tick, stride * period, model.tolerance, work)
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
                    pull = rail_pull(s, end, drawn, loads(s, end, drawn, work.fins, FinRow.START, work.seen))
                    if pull > 0.0:
                        t_next = liftoff_time(t, t_next, s, body, end, drawn, work.fins, work.seen)
                        end = body_at(t_next, burn, grains)
                        phase, happened = ON_RAIL, Event.LIFTOFF
                    elif not breaks:
                        status = Ending.NO_LIFTOFF
                    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, drawn.servo, t_next - t)
                    keep_fins(work.fins, work.motors)
                elif phase == CANOPY:
                    s1 = fall_step(t, s, h, drawn, body, middle, end, rig)
                    climb = climb_of(drawn.world, s1.r, s1.v)
                    if climb <= 0.0 and not apogee_passed:
                        apogee_passed, happened = True, Event.APOGEE
                        t_happened = t + clip_share(climb_of(drawn.world, s.r, s.v), climb) * h
                    height = height_of(drawn.world, s1.r)
                    if height <= 0.0 and climb < 0.0:
                        x, s1 = reach_ground(t, s, h, height, drawn, body, middle, end, rig)
                        t_next = t + x
                        status = Ending.LANDED
                    harness, lost = pull_canopies(t_next, s1, drawn, rig, work.pull)
                    if lost > 0:  # what is left falls broadside
                        rig = Rig(work.canopy, work.deployed, model.tumble_area, model.tumble_area, leg.nose_x)
                    s = s1
                else:
                    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, drawn.servo, h)
                    s1 = rk4_step(phase, s, h, k1, fresh, body, middle, end, drawn, work.fins, work.seen)
                    kind = _gap_kind(phase, apogee_passed, s)
                    if (phase == ON_RAIL or phase == PIVOT) and gap(GAP_SLIP, s1, drawn) < 0.0:
                        kind = GAP_SLIP  # thrust no longer carries the weight
                    if gap(kind, s1, drawn) <= 0.0 and not (kind == GAP_GROUND and climb_of(drawn.world, s1.r, s1.v) > 0.0):
                        x, s1, end = cut_step(kind, phase, t, s, h, burn, grains, body, drawn, work)
                        t_next = t + x
                        if kind == GAP_SLIP and phase == PIVOT:
                            status = Ending.NO_LIFTOFF  # half off the rail and falling back: nothing flies from there
                        elif kind == GAP_SLIP:
                            phase = HOLD
                            s1 = State(s1.r, Vec3(0.0, 0.0, 0.0), s1.q, s1.w)
                        elif kind == GAP_FORE:
                            phase, happened = PIVOT, Event.FORE_GUIDE_LEAVES
                        elif kind == GAP_AFT:
                            phase, happened = FREE, Event.RAIL_DEPARTURE
                        elif kind == GAP_CLIMB:
                            apogee_passed, happened = True, Event.APOGEE
                        else:
                            status = Ending.LANDED
                    s = s1
                    watch_servos(work, drawn.servo, t_next - t)
                    keep_fins(work.fins, work.motors)
                body = end
            t = t_next
            fresh = NO
            if not switched and t >= t_switch - INSTANT:
                switched = True
                pick_targets(work.issued, tick - stride, NO, drawn.servo, period, draw.centring, work.targets)
            burnt = -1
            if t_break < inf and t >= t_break - INSTANT:
                if segment < 0:
                    ignited = t
                segment += 1
                burn = burn_segment(thrust, segment, ignited, draw.impulse, draw.burn_time)
                body = body_at(t, burn, grains)
                if segment == 0:
                    burnt = leg.ignition_row
                elif segment >= segments - 1:
                    burnt = leg.burnout_row
                    work.stage[leg.last, StageColumn.BURNOUT] = t
            for i in range(2):
                row = happened if i == 0 else burnt
                if row >= 0:
                    load = loads(s, body, drawn, work.fins, FinRow.START, work.seen)
                    write_event(events[row], t if t_happened < 0.0 else t_happened, s, body, drawn, load, frame, work.sensed)
                    _note(row, t if t_happened < 0.0 else t_happened, s, body, drawn, load, summary)
            if status >= 0:
                break
        if status < 0 and t >= model.time_limit:
            status = Ending.OUT_OF_TIME
        top = (model.world.air.shape[0] - 1) / model.world.air_per_metre + model.world.air_z0
        if status < 0 and height_of(model.world, s.r) > top:
            status = Ending.ABOVE_AIR

    handover[Handover.TIME], handover[Handover.TICK], handover[Handover.PHASE], handover[Handover.IGNITED] = t, float(tick), float(phase), ignited
    handover[Handover.TICK_END], handover[Handover.SWITCH], handover[Handover.SWITCHED] = t_tick, t_switch, 1.0 if switched else 0.0
    handover[Handover.NEXT_LOG], handover[Handover.CLIMBING] = float(next_log), 0.0 if apogee_passed else 1.0
    handover[Handover.MASS], handover[Handover.TURNING], handover[Handover.STRIDE], handover[Handover.DRAG_AREA] = (
        body.mass,
        norm(s.w),
        float(stride),
        rig.before,
    )
    hand_over_state(handover, s)
    handover[Handover.GOES_ON] = 1.0 if status == Ending.SEPARATED or status == Ending.HARNESS_BROKEN else 0.0
    if status == Ending.SEPARATED:
        handover[Handover.CAUSE], handover[Handover.WHICH] = float(cause), float(which)
        load = loads(s, body, drawn, work.fins, FinRow.START, work.seen)
        write_event(events[leg.separation_row + which - 1], t, s, body, drawn, load, frame, work.sensed)
    elif status == Ending.HARNESS_BROKEN:
        handover[Handover.WHICH] = float(harness)
    elif status == Ending.LANDED:
        phase = LANDED
        load = loads(s, body, drawn, work.fins, FinRow.START, work.seen)
        write_event(events[Event.LANDING], t, s, body, drawn, load, frame, work.sensed)
        if rows < log.shape[0]:
            k1 = _rate(HOLD, t, s, body, drawn, load, rig)
            force = felt_force(s, k1, drawn, load)
            sense(t, tick, stride, s, force, load.matrix, model, frame, chance, work)
            write_log(log[rows], t, phase, s, body, drawn, load, force, frame, area, leg, work)
            rows += 1
    if handover[Handover.GOES_ON] < 0.5:
        _close(status == Ending.LANDED, apogee_passed, t, s, model.computer.guidance.waypoint, summary, work)
    return status, t, rows


@kernel
def _foresee_gust(tick: int, seconds: float, s: State, load: Loads, drawn: DrawnModel, chance: Chance, work: Work) -> None:
    """Work out the gust that will blow `seconds` from now, at the next tick."""
    east, north = level_wind(drawn, 20.0 * FOOT)
    w20 = drawn.world.turbulence.w20 if drawn.world.turbulence.w20 >= 0.0 else sqrt(east * east + north * north)
    way = sub(s.v, load.wind)
    speed = norm(way)
    way = scale(way, 1.0 / max(speed, 1e-6))
    climb = climb_of(drawn.world, s.r, s.v)
    advance_gust(work.turbulence, drawn.world, w20, load.height, climb, speed, way, seconds, tick, chance)


@kernel
def _feel_hinges(panel: np.ndarray, work: Work) -> None:
    """Gather each control fin's hinge moment from what its panel did."""
    for p in range(panel.shape[0]):
        control = int(panel[p, PanelColumn.CONTROL])
        if control >= 0:
            work.hinge[control] = work.seen[p, SeenColumn.HINGE]


@kernel
def _after_tick(phase: int, t: float, s: State, body: Body, drawn: DrawnModel, load: Loads, frame: Quat, events: np.ndarray, work: Work) -> None:
    """Note what the flight computer has just switched and deployed."""
    if work.switches[Switch.FINS] > 0.5:
        write_event(events[Event.FINS_ENABLED], t, s, body, drawn, load, frame, work.sensed)
    elif events[Event.FINS_ENABLED, EventColumn.TIME] >= 0.0:
        write_event(events[Event.FINS_DISABLED], t, s, body, drawn, load, frame, work.sensed)
    for c in range(work.deployed.shape[0]):
        if work.deployed[c] >= 0.0 and phase >= FREE:
            write_event(events[len(EVENTS) + c], t, s, body, drawn, load, frame, work.sensed)


@kernel
def _next_stretch(phase: int, events: np.ndarray, work: Work) -> float:
    """Return when lines not stretched so far will be, by what was deployed, inf if none will; on the rail none are."""
    soon, canopies = inf, work.deployed.shape[0]
    if phase >= FREE:
        for c in range(canopies):
            if isnan(events[len(EVENTS) + canopies + c, EventColumn.TIME]):
                soon = min(soon, line_stretch(c, work.canopy, work.deployed))
    return soon


@kernel
def _stretch(
    phase: int, t: float, s: State, body: Body, drawn: DrawnModel, load: Loads, frame: Quat, rig: Rig, events: np.ndarray, summary: np.ndarray, work: Work
) -> Rig:
    """Note the lines that are stretched at t; return what the body hangs by, which begins with the drag area it flew with."""
    canopies = work.deployed.shape[0]
    for c in range(canopies):
        if t >= line_stretch(c, work.canopy, work.deployed) - INSTANT:
            write_event(events[len(EVENTS) + canopies + c], t, s, body, drawn, load, frame, work.sensed)
    if not isfinite(summary[Outcome.OPENING_AIRSPEED]):
        summary[Outcome.OPENING_AIRSPEED] = load.air_speed
    if phase == CANOPY:  # it hangs already, or is a piece that tumbled so far
        return rig
    return Rig(work.canopy, work.deployed, rig.hanging, flown_area(drawn, body, load), rig.fore_x)


@kernel
def _close(landed: bool, apogee_passed: bool, t: float, s: State, waypoint: np.ndarray, summary: np.ndarray, work: Work) -> None:
    """Fill the outcomes that are known only at the end of a flight."""
    speed = sqrt(s.v.x * s.v.x + s.v.y * s.v.y + s.v.z * s.v.z)
    summary[Outcome.LANDING_EAST] = s.r.x if landed else nan
    summary[Outcome.LANDING_NORTH] = s.r.y if landed else nan
    summary[Outcome.LANDING_GROUND_SPEED] = speed if landed else nan
    if not apogee_passed:
        summary[Outcome.APOGEE_HEIGHT] = summary[Outcome.APOGEE_TIME] = summary[Outcome.APOGEE_EAST] = summary[Outcome.APOGEE_NORTH] = nan
    summary[Outcome.FLIGHT_TIME] = t
    finish(summary, work)
    for k in range(work.passed.shape[0]):
        if isfinite(work.passed[k, PassedColumn.TIME]):
            miss = work.passed[k, PassedColumn.MISS]
            summary[Outcome.WAYPOINT_MISS_MAX] = miss if not isfinite(summary[Outcome.WAYPOINT_MISS_MAX]) else max(summary[Outcome.WAYPOINT_MISS_MAX], miss)
            if miss <= waypoint[k, WaypointColumn.RADIUS]:
                summary[Outcome.WAYPOINTS_CAPTURED] += 1.0


@helper
def clip_share(a: float, b: float) -> float:
    """Return where between 0 and 1 a quantity going linearly from a to b crosses zero."""
    return a / (a - b) if a > b else 0.0


@kernel
def _note(row: int, t: float, s: State, body: Body, drawn: DrawnModel, load: Loads, summary: np.ndarray) -> None:
    """Note the outcomes that belong to an event: departure from the rail, the first burnout, apogee."""
    if row == Event.RAIL_DEPARTURE:
        summary[Outcome.RAIL_DEPARTURE_SPEED] = norm(s.v)
        summary[Outcome.RAIL_DEPARTURE_INCIDENCE] = incidence_of(load)
        summary[Outcome.RAIL_DEPARTURE_MARGIN] = static_margin(drawn, load.mach, body.cg)
    elif row == Event.BURNOUT:
        summary[Outcome.BURNOUT_AIRSPEED] = load.air_speed
        summary[Outcome.BURNOUT_HEIGHT] = load.height
    elif row == Event.APOGEE:
        summary[Outcome.APOGEE_HEIGHT], summary[Outcome.APOGEE_TIME] = load.height, t
        summary[Outcome.APOGEE_EAST], summary[Outcome.APOGEE_NORTH] = s.r.x, s.r.y

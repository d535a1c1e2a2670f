"""From one tick to the next: how far a step goes, the step in each phase, and what is noted at its end."""

from __future__ import annotations

from math import inf

import numpy as np

from sixdof._jit import kernel
from sixdof.core.actuator import keep_fins, move_fins, pick_targets
from sixdof.core.body import body_at, burn_segment
from sixdof.core.columns import StageColumn
from sixdof.core.constants import CANOPY, FREE, HOLD, INSTANT, NO, ON_RAIL, PIVOT, YES
from sixdof.core.flight.canopy import Rig, drag_areas, longest_fall_step, next_change, pull_canopies
from sixdof.core.flight.events import AFT_GUIDE, APOGEE, FORE_GUIDE, GROUND, LIFTOFF, SLIP, cut_short, gap, look_again, note_event, note_outcome, stretch_lines
from sixdof.core.flight.record import Flight, Setup
from sixdof.core.flight.rk4 import rk4_step
from sixdof.core.flight.tolerance import trusted_step
from sixdof.core.forces.loads import climb_of
from sixdof.core.forces.turbulence import blow
from sixdof.core.lanes import larger, smaller
from sixdof.core.layout import Ending, Event
from sixdof.core.leg.staging import ignition_time
from sixdof.core.observe import watch_servos
from sixdof.core.types import State, Vec3

FALL_STRIDE = np.int64(5)  # ticks of the flight computer between its looks in a quiet descent under canopies (20 Hz at 100 Hz)


@kernel
def step(flight: Flight, setup: Setup) -> None:
    """Take the flight one step on: to the next tick, or to what comes before it."""
    if flight.phase >= FREE and flight.t >= flight.t_separation - INSTANT:
        flight.status = Ending.SEPARATED
        return
    if flight.harness >= 0:
        flight.status = Ending.HARNESS_BROKEN
        return
    if flight.t >= flight.t_stretch - INSTANT:
        look_again(flight, setup)
        stretch_lines(flight, setup)
    flight.happened = np.int64(-1)
    choose_step(flight, setup)
    if flight.t_next > flight.t:
        prepare_step(flight, setup)
        if flight.phase == HOLD:
            hold(flight, setup)
        elif flight.phase == CANOPY:
            hang(flight, setup)
        else:
            coast(flight, setup)
        if flight.burn.burning > 0.5:
            flight.body = flight.end
    arrive_there(flight, setup)


# ---------------------------------------------------------------- before the step


@kernel
def choose_step(flight: Flight, setup: Setup) -> None:
    """Choose where the step ends: at the tick, a kink of the thrust curve, a switch of the servos, a separation, line stretch, or sooner."""
    t, model, work = flight.t, setup.model, setup.work
    flight.t_break = inf
    if flight.segment < 0:
        flight.t_break = max(ignition_time(work.stage[model.leg.last]), t)
    elif flight.burn.burning > 0.5:
        flight.t_break = flight.ignited + model.thrust.time[flight.segment + 1] * setup.draw.burn_time
    stop = min(flight.t_tick, flight.t_break)
    if flight.switched == NO:
        stop = min(stop, flight.t_switch)
    if flight.phase >= FREE:
        stop = min(stop, flight.t_separation, flight.t_stretch)
    most = setup.longest
    if flight.phase == CANOPY:
        stop = min(stop, next_change(t, work.canopy, work.deployed))
        most = _longest_hanging(stop, flight, setup)
    elif model.tolerance > 0.0 and flight.phase != HOLD:
        most = trusted_step(stop - t, flight, setup)
    flight.t_next = t + most
    if flight.t_next > stop - INSTANT:
        flight.t_next = stop


@kernel
def _longest_hanging(stop: float, flight: Flight, setup: Setup) -> float:
    """Return the longest step under canopies, whose areas are largest at its start or just before `stop`."""
    t, rig, soon = flight.t, flight.rig, stop - INSTANT  # seen from before a jump; a canopy that disreefs between two looks fills within a step
    lines, airframe = drag_areas(t, rig)
    later_lines, later_airframe = drag_areas(soon, rig)
    lines, airframe = larger(lines, later_lines), larger(airframe, later_airframe)
    return smaller(FALL_STRIDE * setup.period, longest_fall_step(flight.s, setup.drawn, flight.body, lines, airframe, rig.fore_x))


@kernel
def prepare_step(flight: Flight, setup: Setup) -> None:
    """Work out the gusts of the step, and mass and thrust at its middle and its end."""
    work, t, t_next = setup.work, flight.t, flight.t_next
    if setup.gusty == YES or setup.model.tolerance > 0.0:
        span = flight.stride * setup.period
        blow(work.gust, work.turbulence, 1.0 - (flight.t_tick - t) / span, 1.0 - (flight.t_tick - t_next) / span)
    if flight.burn.burning > 0.5:  # otherwise nothing changes: all three are one (see `_next_segment`)
        flight.middle = body_at(t + 0.5 * (t_next - t), flight.burn, setup.drawn.grains)
        flight.end = body_at(t_next, flight.burn, setup.drawn.grains)


# ---------------------------------------------------------------- the step in each phase


@kernel
def hold(flight: Flight, setup: Setup) -> None:
    """Take a step at rest on the rail: liftoff is where the pull along it turns positive."""
    work = setup.work
    short = gap(LIFTOFF, flight.s, flight, setup)
    if short < 0.0:
        cut_short(LIFTOFF, short, flight, setup)
        flight.phase, flight.happened = ON_RAIL, Event.LIFTOFF
    elif flight.burn.burning < 0.5:
        flight.status = Ending.NO_LIFTOFF
    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, setup.drawn.servo, flight.t_next - flight.t)
    keep_fins(work.fins, work.motors)


@kernel
def coast(flight: Flight, setup: Setup) -> None:
    """Take a step on the rail or in free flight, with thrust or without."""
    work, drawn, phase = setup.work, setup.drawn, flight.phase
    move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, drawn.servo, flight.t_next - flight.t)
    s1 = rk4_step(
        phase,
        flight.t,
        flight.s,
        flight.t_next - flight.t,
        flight.rate,
        flight.fresh,
        flight.body,
        flight.middle,
        flight.end,
        flight.rig,
        drawn,
        work.fins,
        work.seen,
    )
    kind = GROUND if flight.apogee_passed == YES else APOGEE
    if phase != FREE:
        kind = FORE_GUIDE if phase == ON_RAIL else AFT_GUIDE
        if gap(SLIP, s1, flight, setup) < 0.0:
            kind = SLIP  # thrust no longer carries the weight
    g = gap(kind, s1, flight, setup)
    if g <= 0.0 and not (kind == GROUND and climb_of(drawn.world, s1.r, s1.v) > 0.0):
        s1 = cut_short(kind, g, flight, setup)
        _leave(kind, flight)
        if kind == SLIP:
            s1 = State(s1.r, Vec3(0.0, 0.0, 0.0), s1.q, s1.w)
    flight.s = s1
    watch_servos(work, drawn.servo, flight.t_next - flight.t)
    keep_fins(work.fins, work.motors)


@kernel
def _leave(kind: int, flight: Flight) -> None:
    """Go over to the phase that begins with an event."""
    if kind == SLIP and flight.phase == PIVOT:
        flight.status = Ending.NO_LIFTOFF  # half off the rail and falling back: nothing flies from there
    elif kind == SLIP:
        flight.phase = HOLD
    elif kind == FORE_GUIDE:
        flight.phase, flight.happened = PIVOT, Event.FORE_GUIDE_LEAVES
    elif kind == AFT_GUIDE:
        flight.phase, flight.happened = FREE, Event.RAIL_DEPARTURE
    elif kind == APOGEE:
        flight.apogee_passed, flight.happened = YES, Event.APOGEE
    else:
        flight.status = Ending.LANDED


@kernel
def hang(flight: Flight, setup: Setup) -> None:
    """Take a step under canopies."""
    work, drawn, t, h = setup.work, setup.drawn, flight.t, flight.t_next - flight.t
    s1 = rk4_step(CANOPY, t, flight.s, h, flight.rate, NO, flight.body, flight.middle, flight.end, flight.rig, drawn, work.fins, work.seen)
    climb = climb_of(drawn.world, s1.r, s1.v)
    if flight.apogee_passed == NO and climb <= 0.0:
        s1 = cut_short(APOGEE, climb, flight, setup)
        flight.apogee_passed, flight.happened = YES, Event.APOGEE
    height = gap(GROUND, s1, flight, setup)
    if height <= 0.0 and climb < 0.0:
        s1 = cut_short(GROUND, height, flight, setup)
        flight.status = Ending.LANDED
    flight.harness, lost = pull_canopies(flight.t_next, s1, drawn, flight.rig, work.pull)
    if lost > 0:  # what is left falls broadside
        flight.rig = Rig(work.canopy, work.deployed, flight.rig.hanging, flight.rig.hanging, flight.rig.fore_x)
    flight.s = s1


# ---------------------------------------------------------------- after the step


@kernel
def arrive_there(flight: Flight, setup: Setup) -> None:
    """Move the clock; switch the servos' targets and the segment of the thrust curve where they are due; note what happened."""
    work, draw, t = setup.work, setup.draw, flight.t_next
    flight.t, flight.fresh = t, NO
    if flight.switched == NO and t >= flight.t_switch - INSTANT:
        flight.switched = YES
        pick_targets(work.issued, flight.tick - flight.stride, NO, setup.drawn.servo, setup.period, draw.centring, work.targets)
    burnt = np.int64(-1)
    if flight.t_break < inf and t >= flight.t_break - INSTANT:
        burnt = _next_segment(flight, setup)
    for row in (flight.happened, burnt):
        if row >= 0:
            look_again(flight, setup)
            note_event(row, t, flight, setup)
            note_outcome(row, t, flight, setup)


@kernel
def _next_segment(flight: Flight, setup: Setup) -> int:
    """Go over to the next segment of the thrust curve; return the row of ignition or burnout in the event table, -1 for a kink."""
    leg, thrust, draw = setup.model.leg, setup.model.thrust, setup.draw
    if flight.segment < 0:
        flight.ignited = flight.t
    flight.segment += 1
    flight.burn = burn_segment(thrust, flight.segment, flight.ignited, draw.impulse, draw.burn_time)
    flight.body = flight.middle = flight.end = body_at(flight.t, flight.burn, setup.drawn.grains)
    if flight.segment == 0:
        return leg.ignition_row
    if flight.segment >= thrust.time.shape[0] - 1:
        setup.work.stage[leg.last, StageColumn.BURNOUT] = flight.t
        return leg.burnout_row
    return np.int64(-1)

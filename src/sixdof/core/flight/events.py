"""What cuts a step short, when exactly it happens, and what is noted of it."""

from __future__ import annotations

from math import isfinite

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.actuator import move_fins
from sixdof.core.algebra import dot, norm
from sixdof.core.body import body_at
from sixdof.core.columns import FinRow
from sixdof.core.constants import CANOPY, HOLD, INSTANT, NO
from sixdof.core.flight.canopy import Rig, flown_area, line_stretch, next_stretch
from sixdof.core.flight.held import rail_pull
from sixdof.core.flight.rail import guide_travel
from sixdof.core.flight.record import Flight, Setup
from sixdof.core.flight.rk4 import rk4_step
from sixdof.core.forces.loads import climb_of, height_of, loads
from sixdof.core.forces.stability import static_margin
from sixdof.core.layout import EVENTS, Event, Outcome
from sixdof.core.observe import incidence_of, write_event
from sixdof.core.types import State

# what a step may be cut short for: each is a quantity that goes from positive to negative
LIFTOFF, FORE_GUIDE, AFT_GUIDE, SLIP, APOGEE, GROUND = (np.int64(i) for i in range(6))
ROOT_SHARE = 1e-12  # of a step: how closely an event is located
MOST_TRIES = 60


# ---------------------------------------------------------------- when


@kernel
def gap(kind: int, s: State, flight: Flight, setup: Setup) -> float:
    """Return the event function of `kind` in state s: positive before, negative after. Mass and thrust are those of `flight.end`."""
    drawn = setup.drawn
    if kind == LIFTOFF:
        return -rail_pull(s, flight.end, drawn, loads(s, flight.end, drawn, setup.work.fins, FinRow.START, setup.work.seen))
    if kind == FORE_GUIDE:
        return drawn.rail.fore_travel - guide_travel(s, drawn)
    if kind == AFT_GUIDE:
        return drawn.rail.aft_travel - guide_travel(s, drawn)
    if kind == SLIP:
        return dot(s.v, drawn.rail_line)
    if kind == APOGEE:
        return climb_of(drawn.world, s.r, s.v)
    return height_of(drawn.world, s.r)


@kernel
def trial(x: float, flight: Flight, setup: Setup) -> State:
    """Return the state x seconds into the present step, the servos, `flight.middle` and `flight.end` moved there too."""
    work, burn, grains = setup.work, flight.burn, setup.drawn.grains
    flight.middle = body_at(flight.t + 0.5 * x, burn, grains)
    flight.end = body_at(flight.t + x, burn, grains)
    if flight.phase == HOLD:
        return flight.s
    if flight.phase != CANOPY:
        move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, setup.drawn.servo, x)
    s = flight.s
    return rk4_step(flight.phase, flight.t, s, x, s, NO, flight.body, flight.middle, flight.end, flight.rig, setup.drawn, work.fins, work.seen)


@helper
def next_bracket(low: float, high: float, g_low: float, g_high: float, x: float, g: float, last: int) -> tuple[float, float, float, float, int]:
    """Return the bracket narrowed by g at x (Illinois rule: halve the value at an end kept twice), and which end moved."""
    if g > 0.0:
        if last > 0:
            g_high *= 0.5
        return x, high, g, g_high, 1
    if last < 0:
        g_low *= 0.5
    return low, x, g_low, g, -1


@kernel
def cut_short(kind: int, g_end: float, flight: Flight, setup: Setup) -> State:
    """End the present step where the event function of `kind`, g_end at its end, crosses zero; return the state there."""
    length = flight.t_next - flight.t
    low, high, g_high, last = 0.0, length, g_end, 0
    s1 = trial(0.0, flight, setup)
    x, g_low = 0.0, gap(kind, s1, flight, setup)
    for _ in range(MOST_TRIES):
        if g_low <= 0.0:  # it has happened already
            break
        x = (low * g_high - high * g_low) / (g_high - g_low)
        if not (low < x < high):
            x = 0.5 * (low + high)
        s1 = trial(x, flight, setup)
        g = gap(kind, s1, flight, setup)
        low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, g, last)
        if high - low < ROOT_SHARE * length or g == 0.0:
            break
    flight.t_next = flight.t + x
    return s1


# ---------------------------------------------------------------- what is noted


@kernel
def note_event(row: int, t: float, flight: Flight, setup: Setup) -> None:
    """Fill a row of the event table as the flight stands."""
    write_event(setup.events[row], t, flight.s, flight.body, setup.drawn, flight.load, setup.frame, setup.work.sensed)


@kernel
def note_outcome(row: int, t: float, flight: Flight, setup: Setup) -> None:
    """Note the outcomes that belong to an event: departure from the rail, the first burnout, apogee."""
    load, summary = flight.load, setup.summary
    if row == Event.RAIL_DEPARTURE:
        summary[Outcome.RAIL_DEPARTURE_SPEED] = norm(flight.s.v)
        summary[Outcome.RAIL_DEPARTURE_INCIDENCE] = incidence_of(load)
        summary[Outcome.RAIL_DEPARTURE_MARGIN] = static_margin(setup.drawn, load.mach, flight.body.cg)
    elif row == Event.BURNOUT:
        summary[Outcome.BURNOUT_AIRSPEED] = load.air_speed
        summary[Outcome.BURNOUT_HEIGHT] = load.height
    elif row == Event.APOGEE:
        summary[Outcome.APOGEE_HEIGHT], summary[Outcome.APOGEE_TIME] = load.height, t
        summary[Outcome.APOGEE_EAST], summary[Outcome.APOGEE_NORTH] = flight.s.r.x, flight.s.r.y


@kernel
def look_again(flight: Flight, setup: Setup) -> None:
    """Work out the loads as the flight stands, between two ticks."""
    flight.load = loads(flight.s, flight.body, setup.drawn, setup.work.fins, FinRow.START, setup.work.seen)


# ---------------------------------------------------------------- lines stretched


@kernel
def stretch_lines(flight: Flight, setup: Setup) -> None:
    """Note the lines that are stretched now; the body hangs by them from here, beginning with the drag area it flew with."""
    work, t = setup.work, flight.t
    canopies = work.deployed.shape[0]
    for c in range(canopies):
        if t >= line_stretch(c, work.canopy, work.deployed) - INSTANT:
            note_event(len(EVENTS) + canopies + c, t, flight, setup)
    if not isfinite(setup.summary[Outcome.OPENING_AIRSPEED]):
        setup.summary[Outcome.OPENING_AIRSPEED] = flight.load.air_speed
    if flight.phase != CANOPY:  # otherwise it hangs already, or is a piece that tumbled so far
        flown = flown_area(setup.drawn, flight.body, flight.load)
        flight.rig = Rig(work.canopy, work.deployed, flight.rig.hanging, flown, flight.rig.fore_x)
        flight.phase = CANOPY
    flight.t_stretch = next_stretch(flight.phase, setup.events, work.canopy, work.deployed)

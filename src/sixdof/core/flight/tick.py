"""One tick of the flight computer in a flight: what is felt, decided, watched, logged, and what the next tick will find."""

from __future__ import annotations

from math import inf, isfinite

import numpy as np

from sixdof._jit import kernel
from sixdof.core.actuator import fail_fins, pick_targets
from sixdof.core.algebra import norm, scale, sub
from sixdof.core.columns import FinRow, PanelColumn, SeenColumn, StageColumn
from sixdof.core.computer.columns import Switch
from sixdof.core.computer.tick import run_tick
from sixdof.core.constants import CANOPY, FREE, INSTANT, NO, YES
from sixdof.core.flight.canopy import QUIET_TURN, drag_areas, next_stretch, opens
from sixdof.core.flight.events import note_event, stretch_lines
from sixdof.core.flight.free import felt_force
from sixdof.core.flight.record import Flight, Setup
from sixdof.core.flight.rk4 import rate_at_tick
from sixdof.core.flight.step import FALL_STRIDE
from sixdof.core.forces.loads import calm_loads, climb_of, level_wind, loads
from sixdof.core.forces.turbulence import FOOT, advance_gust, arrive, blow
from sixdof.core.lanes import larger, select, sqrt
from sixdof.core.layout import BY_DRAG, EVENTS, Ending, Event, EventColumn
from sixdof.core.leg.handover import write_trace
from sixdof.core.leg.staging import broken_harness, next_separation
from sixdof.core.observe import joint_force, watch, write_log

ONE = np.int64(1)


@kernel
def tick(flight: Flight, setup: Setup) -> None:
    """Run the flight computer once, note what an observer sees, and say when its next look is."""
    feel(flight, setup)
    s, work = flight.s, setup.work
    if not (isfinite(s.r.z) and isfinite(s.v.x + s.v.y + s.v.z) and isfinite(s.w.x + s.w.y + s.w.z)):
        flight.status = Ending.DIVERGED
        return
    ended = run_tick(flight.t, flight.tick, flight.stride, s, flight.force, flight.load.matrix, setup.drawn, setup.frame, setup.model, setup.chance, work)
    if ended != 0:
        flight.status = ended
        return
    _feel_hinges(flight.phase, setup.model.aero.panel, work.seen, work.hinge)
    note_commands(flight, setup)
    flight.t_stretch = next_stretch(flight.phase, setup.events, work.canopy, work.deployed)
    if flight.t >= flight.t_stretch - INSTANT:
        stretch_lines(flight, setup)
    observe(flight, setup)
    flight.t_separation, flight.which, flight.cause = next_separation(setup.model.leg, work.stage)
    if flight.phase == FREE:
        watch_joint(flight, setup)
    look_ahead(flight, setup)


@kernel
def feel(flight: Flight, setup: Setup) -> None:
    """Work out what acts on the vehicle at this tick, and what an accelerometer feels of it."""
    work, drawn, t = setup.work, setup.drawn, flight.t
    fail_fins(t, setup.model.computer.failure, work.health, work.fins)
    if setup.gusty == YES:
        if t == 0.0:  # the gust on the pad
            _foresee_gust(np.int64(-1), 0.0, flight, setup)
        arrive(work.turbulence)
        blow(work.gust, work.turbulence, 0.0, 0.0)
    if flight.phase == CANOPY:  # the air turns it no more: what its panels feel is not worked out
        flight.load = calm_loads(flight.s, drawn)
    else:
        flight.load = loads(flight.s, flight.body, drawn, work.fins, FinRow.START, work.seen)
    flight.rate = rate_at_tick(flight.phase, t, flight.s, flight.body, drawn, flight.load, flight.rig)
    flight.force = felt_force(flight.s, flight.rate, drawn, flight.load)


@kernel
def _feel_hinges(phase: int, panel: np.ndarray, seen: np.ndarray, hinge: np.ndarray) -> None:
    """Gather each control fin's hinge moment from what its panel did; under canopies it counts as none."""
    for p in range(panel.shape[0]):
        control = int(panel[p, PanelColumn.CONTROL])
        if control >= 0:
            hinge[control] = 0.0 if phase == CANOPY else seen[p, SeenColumn.HINGE]


@kernel
def note_commands(flight: Flight, setup: Setup) -> None:
    """Note what the flight computer has just switched and deployed."""
    work, events = setup.work, setup.events
    if work.switches[Switch.FINS] > 0.5:
        note_event(Event.FINS_ENABLED, flight.t, flight, setup)
    elif events[Event.FINS_ENABLED, EventColumn.TIME] >= 0.0:
        note_event(Event.FINS_DISABLED, flight.t, flight, setup)
    for c in range(work.deployed.shape[0]):
        if work.deployed[c] >= 0.0 and flight.phase >= FREE:
            note_event(len(EVENTS) + c, flight.t, flight, setup)


@kernel
def observe(flight: Flight, setup: Setup) -> None:
    """Watch the extremes of the flight, look at the harnesses and write a row of the log."""
    t, s, body, load, force, phase = flight.t, flight.s, flight.body, flight.load, flight.force, flight.phase
    drawn, frame, work, log = setup.drawn, setup.frame, setup.work, setup.log
    watch(setup.summary, phase, flight.apogee_passed == NO, t, s, body, drawn, load, force, frame, setup.period, setup.events, work)
    if phase == CANOPY:
        lines, airframe = drag_areas(t, flight.rig)
        flight.area = lines + airframe
    if phase >= FREE:
        flight.harness = broken_harness(t, work.canopy, work.deployed)
    if flight.tick >= flight.next_log and flight.rows < log.shape[0]:
        write_log(log[flight.rows], t, phase, s, body, drawn, load, force, frame, flight.area, setup.model.leg, work)
        flight.rows += 1
        flight.next_log = flight.tick + setup.model.log_every


@kernel
def watch_joint(flight: Flight, setup: Setup) -> None:
    """Keep the trace after a separation; note where drag pulls the next joint open, which separates it if nothing holds it."""
    leg, work, drawn, t = setup.model.leg, setup.work, setup.drawn, flight.t
    if flight.first_trace >= 0:
        write_trace(work.trace, flight.tick - flight.first_trace, t, flight.s, flight.body, leg)
    tension = -joint_force(leg, drawn, flight.load, flight.force)
    if tension > (leg.retention_force if leg.retention_force < inf else 0.0):  # False for NaN: no joint
        note_event(Event.DRAG_SEPARATION, t, flight, setup)
        if tension > leg.retention_force and work.stage[leg.last, StageColumn.NO_SEPARATION] < 0.5 and t < flight.t_separation:
            flight.t_separation, flight.which, flight.cause = t, leg.last, BY_DRAG


@kernel
def look_ahead(flight: Flight, setup: Setup) -> None:
    """Say when the next tick is, which gust it will find, and what the servos go to until then."""
    work, t = setup.work, flight.t
    flight.stride = ONE
    quiet = norm(flight.s.w) * FALL_STRIDE * setup.period < QUIET_TURN
    if flight.phase == CANOPY and quiet and not opens(t, work.canopy, work.deployed):
        flight.stride = FALL_STRIDE
    if setup.gusty == YES:
        _foresee_gust(flight.tick, flight.stride * setup.period, flight, setup)
    flight.t_switch = t + setup.late
    late = YES if setup.late > 0.0 else NO
    pick_targets(work.issued, flight.tick, late, setup.drawn.servo, setup.period, setup.draw.centring, work.targets)
    flight.switched = NO if setup.late > 0.0 else YES
    flight.tick += flight.stride
    flight.t_tick = flight.tick * setup.period
    flight.fresh = YES


@kernel
def _foresee_gust(number: int, seconds: float, flight: Flight, setup: Setup) -> None:
    """Work out the gust that will blow `seconds` from now, at the tick after the tick `number`."""
    drawn, s, load = setup.drawn, flight.s, flight.load
    east, north = level_wind(drawn, 20.0 * FOOT)
    w20 = select(drawn.wind.at_20_ft >= 0.0, drawn.wind.at_20_ft, sqrt(east * east + north * north))
    way = sub(s.v, load.wind)
    speed = norm(way)
    way = scale(way, 1.0 / larger(speed, 1e-6))
    climb = climb_of(drawn.world, s.r, s.v)
    advance_gust(setup.work.turbulence, drawn.world, w20, load.height, climb, speed, way, seconds, number, setup.chance)

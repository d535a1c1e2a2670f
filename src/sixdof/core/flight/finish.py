"""The end of a leg: what it hands over to the next, and the outcomes that are known only now."""

from __future__ import annotations

from math import isfinite, nan

import numpy as np

from sixdof._jit import kernel
from sixdof.core.algebra import norm
from sixdof.core.columns import Handover
from sixdof.core.computer.columns import PassedColumn, WaypointColumn
from sixdof.core.computer.sensing import sense
from sixdof.core.constants import LANDED, NO
from sixdof.core.flight.events import look_again, note_event
from sixdof.core.flight.free import felt_force
from sixdof.core.flight.held import held_rate
from sixdof.core.flight.record import FLYING, Flight, Setup
from sixdof.core.forces.loads import height_of
from sixdof.core.layout import Ending, Event, Outcome
from sixdof.core.leg.handover import hand_over_state
from sixdof.core.observe import finish_watch, write_log


@kernel
def judge(flight: Flight, setup: Setup) -> None:
    """End a leg that has taken too long, or has left the air there are tables of."""
    world = setup.model.world
    top = (world.air.shape[0] - 1) / world.air_per_metre + world.air_z0
    if flight.status == FLYING and flight.t >= setup.model.time_limit:
        flight.status = Ending.OUT_OF_TIME
    if flight.status == FLYING and height_of(world, flight.s.r) > top:
        flight.status = Ending.ABOVE_AIR


@kernel
def finish(flight: Flight, setup: Setup) -> None:
    """Close a leg by how it ended."""
    hand_over(flight, setup)
    if flight.status == Ending.SEPARATED:
        look_again(flight, setup)
        note_event(setup.model.leg.separation_row + flight.which - 1, flight.t, flight, setup)
    elif flight.status == Ending.LANDED:
        flight.phase = LANDED
        look_again(flight, setup)
        note_event(Event.LANDING, flight.t, flight, setup)
        if flight.rows < setup.log.shape[0]:
            log_landing(flight, setup)
    if setup.work.handover[Handover.GOES_ON] < 0.5:
        close_outcomes(flight, setup.summary, setup.model.computer.guidance.waypoint, setup.work.passed)
        finish_watch(setup.summary, setup.work)


@kernel
def hand_over(flight: Flight, setup: Setup) -> None:
    """Write down where the leg stands, for the next one and for whoever asks."""
    handover = setup.work.handover
    hand_over_state(handover, flight.s)
    handover[Handover.TIME], handover[Handover.TICK], handover[Handover.PHASE] = flight.t, float(flight.tick), float(flight.phase)
    handover[Handover.IGNITED], handover[Handover.MASS] = flight.ignited, flight.body.mass
    handover[Handover.TICK_END], handover[Handover.SWITCH], handover[Handover.SWITCHED] = flight.t_tick, flight.t_switch, float(flight.switched)
    handover[Handover.NEXT_LOG], handover[Handover.CLIMBING] = float(flight.next_log), 1.0 if flight.apogee_passed == NO else 0.0
    handover[Handover.TURNING], handover[Handover.STRIDE], handover[Handover.DRAG_AREA] = norm(flight.s.w), float(flight.stride), flight.rig.before
    handover[Handover.GOES_ON] = 0.0
    if flight.status == Ending.SEPARATED:
        handover[Handover.GOES_ON] = 1.0
        handover[Handover.CAUSE], handover[Handover.WHICH] = float(flight.cause), float(flight.which)
    elif flight.status == Ending.HARNESS_BROKEN:
        handover[Handover.GOES_ON] = 1.0
        handover[Handover.WHICH] = float(flight.harness)


@kernel
def log_landing(flight: Flight, setup: Setup) -> None:
    """Write the last row of the log: the body at rest on the ground, as its sensors see it."""
    work, drawn, model, s, load = setup.work, setup.drawn, setup.model, flight.s, flight.load
    flight.rate = held_rate()
    flight.force = felt_force(s, flight.rate, drawn, load)
    sense(flight.t, flight.tick, flight.stride, s, flight.force, load.matrix, model, setup.frame, setup.chance, work)
    write_log(setup.log[flight.rows], flight.t, flight.phase, s, flight.body, drawn, load, flight.force, setup.frame, flight.area, model.leg, work)
    flight.rows += 1


@kernel
def close_outcomes(flight: Flight, summary: np.ndarray, waypoint: np.ndarray, passed: np.ndarray) -> None:
    """Fill the outcomes that are known only at the end of a flight."""
    landed, s = flight.status == Ending.LANDED, flight.s
    summary[Outcome.LANDING_EAST] = s.r.x if landed else nan
    summary[Outcome.LANDING_NORTH] = s.r.y if landed else nan
    summary[Outcome.LANDING_GROUND_SPEED] = norm(s.v) if landed else nan
    if flight.apogee_passed == NO:
        summary[Outcome.APOGEE_HEIGHT] = summary[Outcome.APOGEE_TIME] = summary[Outcome.APOGEE_EAST] = summary[Outcome.APOGEE_NORTH] = nan
    summary[Outcome.FLIGHT_TIME] = flight.t
    for k in range(passed.shape[0]):
        if isfinite(passed[k, PassedColumn.TIME]):
            miss, worst = passed[k, PassedColumn.MISS], summary[Outcome.WAYPOINT_MISS_MAX]
            summary[Outcome.WAYPOINT_MISS_MAX] = max(worst, miss) if isfinite(worst) else miss
            if miss <= waypoint[k, WaypointColumn.RADIUS]:
                summary[Outcome.WAYPOINTS_CAPTURED] += 1.0

"""The start of a leg: scratch cleared, the vehicle at rest on the rail or as the leg before left it."""

from __future__ import annotations

from math import inf, nan

import numpy as np

from sixdof._jit import borrow, kernel
from sixdof.core.algebra import fill
from sixdof.core.body import body_at, burn_segment, segment_at
from sixdof.core.columns import AirframeColumn, FinRow, Handover, MotorRow, StageColumn
from sixdof.core.computer.columns import Slot, Switch
from sixdof.core.computer.estimator import align
from sixdof.core.computer.guidance import start_guidance
from sixdof.core.computer.rules import start_notice
from sixdof.core.computer.sensors import draw_constants
from sixdof.core.constants import HOLD, NO, YES
from sixdof.core.flight.canopy import Rig, next_stretch
from sixdof.core.flight.held import held_rate
from sixdof.core.flight.record import FLYING, Flight, Setup
from sixdof.core.forces.loads import loads
from sixdof.core.forces.turbulence import blow, start_turbulence
from sixdof.core.layout import NOT_IGNITED, Commanded, Outcome, Sensed
from sixdof.core.leg.drawing import drawn_gains, rail_attitude, state_at_rest
from sixdof.core.leg.handover import handed_state
from sixdof.core.leg.staging import next_separation
from sixdof.core.types import State, Vec3

NOT_KNOWN = (  # outcomes of what may not happen
    Outcome.RAIL_DEPARTURE_SPEED,
    Outcome.RAIL_DEPARTURE_INCIDENCE,
    Outcome.RAIL_DEPARTURE_MARGIN,
    Outcome.BURNOUT_AIRSPEED,
    Outcome.BURNOUT_HEIGHT,
    Outcome.OPENING_AIRSPEED,
    Outcome.WAYPOINT_MISS_MAX,
)


@kernel
def begin(setup: Setup) -> Flight:
    """Return the leg as it starts: at rest on the rail, or from where the leg before separated (Handover.GOES_ON = 1)."""
    model, draw, work = setup.model, setup.draw, setup.work
    handover = work.handover
    s = state_at_rest(setup.drawn, draw)
    if handover[Handover.GOES_ON] > 0.5:
        s = handed_state(handover)
    else:
        _clear(setup)
        _start_computer(setup)
        align(work.estimate, s.q, s.r, model.computer.estimator, work.constants, setup.chance)
        fill(handover, 0.0)
        handover[Handover.PHASE], handover[Handover.CLIMBING] = float(HOLD), 1.0
        handover[Handover.IGNITED] = NOT_IGNITED if work.stage[model.leg.last, StageColumn.NO_IGNITION] > 0.5 else 0.0
    if work.laws[Slot.CONTROL] == 0:
        drawn_gains(model.computer.gains, draw, work.gains)
    return _taken_up(s, setup)


@kernel
def _taken_up(s: State, setup: Setup) -> Flight:
    """Return the leg in state s as Work.handover tells of it."""
    model, draw, drawn, work = setup.model, setup.draw, setup.drawn, setup.work
    handover, airframe = work.handover, work.airframe
    t, tick, phase = handover[Handover.TIME], np.int64(handover[Handover.TICK]), np.int64(handover[Handover.PHASE])
    ignited = handover[Handover.IGNITED]
    segment = segment_at(t, ignited, model.thrust, draw.burn_time)
    burn = burn_segment(model.thrust, segment, ignited, draw.impulse, draw.burn_time)
    body = body_at(t, burn, drawn.grains)
    load = loads(s, borrow(body), drawn, work.fins, FinRow.START, work.seen)
    rig = Rig(work.canopy, work.deployed, airframe[AirframeColumn.HANGING_AREA], handover[Handover.DRAG_AREA], airframe[AirframeColumn.NOSE_X])
    t_separation, which, cause = next_separation(model.leg, work.stage)
    switched = YES if handover[Handover.SWITCHED] > 0.5 else NO
    apogee_passed = YES if handover[Handover.CLIMBING] < 0.5 else NO
    first_trace = tick if handover[Handover.GOES_ON] > 0.5 else np.int64(-1)
    zero = Vec3(0.0, 0.0, 0.0)
    return Flight(
        status=FLYING,
        phase=phase,
        t=t,
        tick=tick,
        stride=max(np.int64(handover[Handover.STRIDE]), np.int64(1)),
        t_tick=handover[Handover.TICK_END],
        t_switch=handover[Handover.SWITCH],
        switched=switched,
        s=s,
        rate=held_rate(),
        fresh=NO,
        load=load,
        force=zero,
        apogee_passed=apogee_passed,
        body=body,
        middle=body,
        end=body,
        burn=burn,
        segment=segment,
        ignited=ignited,
        rig=rig,
        area=0.0,
        t_stretch=next_stretch(phase, setup.events, work.canopy, work.deployed),
        t_separation=t_separation,
        which=np.int64(which),
        cause=np.int64(cause),
        harness=np.int64(-1),
        t_next=t,
        t_break=inf,
        happened=np.int64(-1),
        rows=np.int64(0),
        next_log=np.int64(handover[Handover.NEXT_LOG]),
        first_trace=first_trace,
    )


@kernel
def _clear(setup: Setup) -> None:
    """Clear the scratch arrays, the event table and the outcomes; fins stand where they are centred."""
    work, events, summary = setup.work, setup.events, setup.summary
    for row in (work.sensed, work.commanded, work.command, work.memory, work.fin_command, work.tally, work.hinge, work.health, work.pull, work.switches):
        fill(row, 0.0)
    fill(work.deployed, -1.0)
    for table in (work.issued, work.motors, work.history, work.seen):
        for i in range(table.shape[0]):
            fill(table[i], 0.0)
    for i in range(work.fin_command.shape[0]):
        work.targets[i] = work.motors[MotorRow.ANGLE_START, i] = setup.draw.centring[i]
        work.fins[FinRow.START, i] = work.fins[FinRow.NEXT, i] = setup.draw.centring[i]
        work.fins[FinRow.CARRIED, i] = 1.0
    for i in range(work.rules.shape[0]):
        fill(work.rules[i], -1.0)
    for i in range(work.stage.shape[0]):
        work.stage[i, StageColumn.IGNITE] = work.stage[i, StageColumn.SEPARATE] = work.stage[i, StageColumn.BURNOUT] = -1.0
    for table in (work.passed, events):
        for i in range(table.shape[0]):
            fill(table[i], nan)
    fill(summary, 0.0)
    for i in NOT_KNOWN:
        summary[i] = nan
    summary[Outcome.STATIC_MARGIN_MIN] = inf


@kernel
def _start_computer(setup: Setup) -> None:
    """Start the flight computer on the rail, its sensors' errors drawn, and the air's turbulence."""
    model, work, chance = setup.model, setup.work, setup.chance
    work.sensed[Sensed.FRAME_W] = work.sensed[Sensed.COMMANDED_W] = work.commanded[Commanded.Q_W] = 1.0  # unit quaternions until they are known
    start_notice(work.notice, float(model.leg.last - model.leg.first))
    start_turbulence(work.turbulence, chance)
    blow(work.gust, work.turbulence, 0.0, 0.0)
    work.switches[Switch.MODE] = float(model.computer.guidance.start_mode)
    # the computer knows the rail as it should stand, not as it was drawn
    start_guidance(work.guidance_memory, rail_attitude(model.rail.elevation, model.rail.azimuth))
    if work.laws[Slot.GUIDANCE] != 0:
        fill(work.guidance_memory, 0.0)
    draw_constants(model.computer.sensors, chance, work.constants)

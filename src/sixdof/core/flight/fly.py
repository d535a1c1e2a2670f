"""`fly`: one leg of a flight. The one place that integrates; a single flight and a million run this code."""

from __future__ import annotations

import numpy as np

from sixdof._jit import fixed, kernel, record
from sixdof.core.actuator import switch_delay
from sixdof.core.algebra import launch_frame
from sixdof.core.constants import INSTANT, NO, YES
from sixdof.core.draw import Draw
from sixdof.core.flight.begin import begin
from sixdof.core.flight.finish import finish, judge
from sixdof.core.flight.record import FLYING, Setup
from sixdof.core.flight.step import step
from sixdof.core.flight.tick import tick
from sixdof.core.leg.drawing import chance_of, draw_model
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.work import Work
from sixdof.core.types import Model


@kernel
def fly(model: Model, draw: Draw, work: Work, log: np.ndarray, events: np.ndarray, summary: np.ndarray) -> tuple[int, float, int]:
    """Fly one leg; return (status, time, rows of the log written).

    A leg is one body from rest on the rail, or from where the leg before separated (work.handover[Handover.GOES_ON] = 1), to the ground, or to
    its own separation: then the status is Ending.SEPARATED or Ending.HARNESS_BROKEN and work.handover says where it ended and what
    separated. `core.whole.flights` puts the legs of a flight together.

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
    drawn = fixed(draw_model(model, draw, work))
    setup = fixed(setup_of(model, draw, drawn, work, log, events, summary))
    flight = record(begin(setup))
    while flight.status == FLYING:
        if flight.t >= flight.t_tick - INSTANT:
            tick(flight, setup)
        while flight.status == FLYING and flight.t < flight.t_tick:
            step(flight, setup)
        judge(flight, setup)
    finish(flight, setup)
    return flight.status, flight.t, flight.rows


@kernel
def setup_of(model: Model, draw: Draw, drawn: DrawnModel, work: Work, log: np.ndarray, events: np.ndarray, summary: np.ndarray) -> Setup:
    """Return what stays the same while a leg is flown."""
    computer = model.computer
    _, late = switch_delay(drawn.servo, computer.period)
    gusty = YES if drawn.world.turbulence.on > 0 or drawn.world.gusts.shape[0] > 0 else NO
    return Setup(
        model=model,
        draw=draw,
        drawn=drawn,
        work=work,
        log=log,
        events=events,
        summary=summary,
        chance=chance_of(draw),
        frame=launch_frame(computer.azimuth),
        period=computer.period,
        longest=computer.period / computer.steps_per_tick,
        late=late,
        gusty=gusty,
    )

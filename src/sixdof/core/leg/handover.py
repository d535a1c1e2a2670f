"""What one leg of a flight hands over to the next, and where the bodies' ends are after a separation."""

from __future__ import annotations

import numpy as np

from sixdof._jit import kernel
from sixdof.core.algebra import add, arm, matrix_of, put_quaternion, put_vector, quaternion_at, to_world, vector_at
from sixdof.core.body import Body
from sixdof.core.columns import Handover, TraceColumn
from sixdof.core.types import Leg, State


@kernel
def handed_state(handover: np.ndarray) -> State:
    """Return the State that the leg before left."""
    return State(
        vector_at(handover, Handover.POSITION),
        vector_at(handover, Handover.VELOCITY),
        quaternion_at(handover, Handover.ATTITUDE),
        vector_at(handover, Handover.RATE),
    )


@kernel
def hand_over_state(handover: np.ndarray, s: State) -> None:
    put_vector(handover, Handover.POSITION, s.r)
    put_vector(handover, Handover.VELOCITY, s.v)
    put_quaternion(handover, Handover.ATTITUDE, s.q)
    put_vector(handover, Handover.RATE, s.w)


@kernel
def write_trace(trace: np.ndarray, i: int, t: float, s: State, body: Body, leg: Leg) -> None:
    """Note where the body's nose and base are at a tick after a separation."""
    if i < 0 or i >= trace.shape[0]:
        return
    m = matrix_of(s.q)
    nose = add(s.r, to_world(m, arm(body.cg, leg.nose_x)))
    base = add(s.r, to_world(m, arm(body.cg, leg.base_x)))
    row = trace[i]
    row[TraceColumn.TIME] = t
    put_vector(row, TraceColumn.NOSE, nose)
    put_vector(row, TraceColumn.BASE, base)

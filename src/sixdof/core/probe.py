"""The kernel's physics without a flight: its aerodynamics in a wind tunnel, and its state's rate at any moment.

Studies use this, so that what they report is what a flight feels.
"""

from __future__ import annotations

from math import cos, sin

import numpy as np

from sixdof._jit import fixed, kernel
from sixdof.core.algebra import put_vector, quaternion_at, vector_at
from sixdof.core.body import body_at, burn_segment, segment_at
from sixdof.core.columns import CONDITION_COLUMNS, POINT_COLUMNS, ConditionColumn, FinRow, GustColumn, PointColumn, RateColumn, TunnelColumn
from sixdof.core.draw import Draw
from sixdof.core.flight.free import free_rate
from sixdof.core.forces.aerodynamics import air_loads, flow_of
from sixdof.core.forces.loads import inline_loads
from sixdof.core.leg.drawing import draw_model
from sixdof.core.leg.work import Work
from sixdof.core.types import Air, Model, State, Station, Vec3


@kernel
def probe(model: Model, draw: Draw, work: Work, conditions: np.ndarray, out: np.ndarray, panels: np.ndarray) -> None:
    """Fill out (n, TunnelColumn) with force (N) and moment (N m) of the air, body axes, for conditions (n, CONDITION_COLUMNS + controls).

    panels : (n, panels, SEEN_COLUMNS), filled with what each panel did (load, hinge moment, stall ..).

    Moments are about the body axis at the station ConditionColumn.CG.
    """
    drawn = fixed(draw_model(model, draw, work))
    for i in range(conditions.shape[0]):
        row = conditions[i]
        for j in range(work.fins.shape[1]):
            work.fins[FinRow.START, j] = row[CONDITION_COLUMNS + j]
            work.fins[FinRow.CARRIED, j] = 1.0
        side = row[ConditionColumn.SPEED] * sin(row[ConditionColumn.INCIDENCE])
        u = Vec3(row[ConditionColumn.SPEED] * cos(row[ConditionColumn.INCIDENCE]), side * sin(row[ConditionColumn.ROLL]), side * cos(row[ConditionColumn.ROLL]))
        rate = Vec3(row[ConditionColumn.RATE_X], row[ConditionColumn.RATE_Y], row[ConditionColumn.RATE_Z])
        air = Air(row[ConditionColumn.DENSITY], 0.0, row[ConditionColumn.SOUND], row[ConditionColumn.VISCOSITY], 0.0)
        flow = flow_of(drawn.aero, u, rate, air)
        load = air_loads(drawn, flow, Station(row[ConditionColumn.CG], 0.0, 0.0), row[ConditionColumn.BURNING], work.fins, FinRow.START, work.seen)
        put_vector(out[i], TunnelColumn.FORCE, load.force)
        put_vector(out[i], TunnelColumn.MOMENT, load.moment)
        for p in range(panels.shape[1]):
            for j in range(panels.shape[2]):
                panels[i, p, j] = work.seen[p, j]


@kernel
def rates_at(model: Model, draw: Draw, work: Work, moments: np.ndarray, out: np.ndarray) -> None:
    """Fill out (n, RATE_COLUMNS) with the free-flight rates at moments (n, POINT_COLUMNS + 2 controls): those `fly` integrates."""
    drawn = fixed(draw_model(model, draw, work))
    for i in range(moments.shape[0]):
        row, to = moments[i], out[i]
        for j in range(work.fins.shape[1]):
            work.fins[FinRow.START, j] = row[POINT_COLUMNS + j]
            work.fins[FinRow.CARRIED, j] = row[POINT_COLUMNS + work.fins.shape[1] + j]
        put_vector(work.gust[FinRow.START], GustColumn.EAST, vector_at(row, PointColumn.GUST))
        t, ignited = row[PointColumn.TIME], row[PointColumn.IGNITED]
        segment = segment_at(t, ignited, model.thrust, draw.burn_time)
        body = body_at(t, burn_segment(model.thrust, segment, ignited, draw.impulse, draw.burn_time), drawn.grains)
        s = State(
            vector_at(row, PointColumn.POSITION),
            vector_at(row, PointColumn.VELOCITY),
            quaternion_at(row, PointColumn.ATTITUDE),
            vector_at(row, PointColumn.RATE),
        )
        load = inline_loads(s, body, drawn, work.fins, FinRow.START, work.seen)
        rate = free_rate(s, body, drawn, load)
        put_vector(to, RateColumn.ACCELERATION, rate.v)
        put_vector(to, RateColumn.TURNING, rate.w)
        put_vector(to, RateColumn.AIR, load.velocity)
        to[RateColumn.DYNAMIC_PRESSURE], to[RateColumn.MACH], to[RateColumn.MASS], to[RateColumn.CG] = load.pressure, load.mach, body.mass, body.cg.x
        put_vector(to, RateColumn.UP, load.up)

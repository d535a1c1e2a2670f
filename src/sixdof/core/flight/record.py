"""The two NamedTuples that a leg of a flight goes by: what stays the same, and where it stands."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.body import Body, Burn
from sixdof.core.computer.sensors import Chance
from sixdof.core.draw import Draw
from sixdof.core.flight.canopy import Rig
from sixdof.core.forces.loads import Loads
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.work import Work
from sixdof.core.types import Model, Quat, State, Vec3

FLYING = np.int64(-1)  # the status of a leg that goes on; otherwise how it ended (layout.Ending)


class Setup(NamedTuple):
    """What stays the same while a leg is flown; kernels have it by reference."""

    model: Model
    draw: Draw
    drawn: DrawnModel
    work: Work
    log: np.ndarray  # (rows, columns)
    events: np.ndarray  # (events, EVENT_COLUMNS)
    summary: np.ndarray  # (OUTCOMES,)
    chance: Chance
    frame: Quat  # launch frame -> world
    period: float  # of the flight computer, s
    longest: float  # step, s
    late: float  # s of a tick after which the servos take up a command
    gusty: int  # YES where the air is turbulent or gusts are given


class Flight(NamedTuple):
    """Where a leg stands: a record that tick and step write (see `_jit.record`)."""

    status: int  # FLYING, or how it ended
    phase: int
    t: float
    # the flight computer's clock
    tick: int  # number of the next tick
    stride: int  # ticks from the last one to the next
    t_tick: float  # when the next one is
    t_switch: float  # when the servos take up the last command, and whether they have
    switched: int
    # the rigid body, and what acts on it as of the last tick
    s: State
    rate: State
    fresh: int  # YES: `rate` is that of `s`
    load: Loads
    force: Vec3  # specific, body axes, m/s^2
    apogee_passed: int
    # mass and thrust: now, and at the middle and end of a step
    body: Body
    middle: Body
    end: Body
    burn: Burn
    segment: int  # of the thrust curve, -1 before ignition
    ignited: float  # time of ignition, or NOT_IGNITED
    # recovery
    rig: Rig
    area: float  # drag area as of the last tick, for the log, m^2
    t_stretch: float  # when the next lines are stretched
    # what ends the leg
    t_separation: float
    which: int  # stage behind the joint that separates
    cause: int
    harness: int  # canopy whose harness has failed, -1
    # the present step
    t_next: float
    t_break: float  # next kink of the thrust curve, or ignition
    happened: int  # row of the event table of what ended the step early, -1
    # what is logged
    rows: int
    next_log: int  # tick
    first_trace: int  # tick of a separation, -1 before

"""Bodies let go under canopies, or about to be, in worlds made by hand."""

from __future__ import annotations

import math
from typing import NamedTuple

import models
import numpy as np
from models import G0, RHO

from sixdof._jit import lend
from sixdof.core.columns import Handover
from sixdof.core.constants import CANOPY
from sixdof.core.flight import fly as fl
from sixdof.core.layout import NOT_IGNITED, Outcome
from sixdof.core.leg.work import Work, make_events, make_log, make_summary, make_work

NOSE_UP, NOSE_DOWN = (math.sqrt(0.5), 0.0, -math.sqrt(0.5), 0.0), (math.sqrt(0.5), 0.0, math.sqrt(0.5), 0.0)


class Fell(NamedTuple):
    """What a fall leaves: status, rows of the log, largest pulls of the canopies, scratch arrays, events, outcomes."""

    status: int
    log: np.ndarray
    pull: np.ndarray
    work: Work
    events: np.ndarray
    summary: np.ndarray


def fall(
    canopies,
    *,
    mass,
    height=2000.0,
    speed=0.0,
    hanging=0.0,
    flown=0.0,
    world=None,
    opened=None,
    time_limit=400.0,
    phase=CANOPY,
    attitude=NOSE_UP,
    rates=(0.0, 0.0, 0.0),
    climbing=False,
    inertia=(0.012, 1.2, 1.2, 0.0, 0.0, 0.0),
    cg=1.0,
    **parts,
):
    """Let a body fall from a height at a speed downwards, its canopies released at t = 0 (opened: when each of them was).

    phase : CANOPY, or FREE before line stretch. flown : drag area up to line stretch, of a body that is past it. rates : body axes, rad/s.
    """
    model = models.model(
        world=world or models.world(),
        mass=models.mass(dry=mass, inertia=inertia, cg=cg),
        canopy=np.array(canopies, dtype=float),
        tumble_area=hanging,
        time_limit=time_limit,
        **parts,
    )
    work, log = make_work(model), make_log(model, 60000)
    hand = work.handover
    hand[[Handover.GOES_ON, Handover.PHASE, Handover.IGNITED, Handover.DRAG_AREA]] = 1.0, float(phase), NOT_IGNITED, flown
    hand[Handover.POSITION + 2], hand[Handover.VELOCITY + 2], hand[Handover.CLIMBING] = height, -speed, float(climbing)
    hand[Handover.ATTITUDE : Handover.ATTITUDE + 4], hand[Handover.RATE : Handover.RATE + 3] = attitude, rates
    work.deployed[:] = 0.0 if opened is None else opened
    summary, events = make_summary(), make_events(model)
    summary[:], events[:] = 0.0, np.nan
    summary[Outcome.OPENING_AIRSPEED] = np.nan
    status, _, rows = fl.fly(lend(model), lend(models.draw()), lend(work), log, events, summary)
    return Fell(status, log[:rows], work.pull.copy(), work, events, summary)


def terminal(mass, area, density=RHO):
    """Return the speed at which the drag on an area is the weight, m/s."""
    return math.sqrt(2.0 * mass * G0 / (density * area))

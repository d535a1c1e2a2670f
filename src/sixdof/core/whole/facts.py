"""What is noted of a flight's joints, canopies, rules and bodies: the numbers of its results."""

from __future__ import annotations

from math import inf, isfinite, nan, sqrt

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import CanopyColumn, Column, Handover, Tally, width
from sixdof.core.constants import CANOPY
from sixdof.core.layout import EVENTS, Descent, Ending, Event, EventColumn
from sixdof.core.leg.work import Work
from sixdof.core.types import LOST
from sixdof.core.whole.dividing import is_stretched
from sixdof.core.whole.tables import OwnRuleColumn, RiggingColumn, Staging

NOSE_CONE = 0.7853981633974483  # rad, 45 deg: mean incidence over the last seconds within which a body comes down nose first, or tail first
HALF_TURN = 3.141592653589793
TUMBLES = 1.5707963267948966  # rad: range of incidence over the last seconds beyond which it tumbles (ours)
NOT_DOWN, UNDER_CANOPY, NOSE_FIRST, TAIL_FIRST, TUMBLING, BROADSIDE = (np.int64(way) for way in Descent)  # numpy integers: kernels store them
UNREACHED = -1.0  # BodyFact.STATUS of a body that never came to be


class BodyFact(Column):
    """Where, when, how fast and how a body came down (results/registry.py says more)."""

    TIME = "s"
    EAST = "m"
    NORTH = "m"
    GROUND_SPEED = "m/s"
    ENERGY = "J"
    MASS = "kg"
    FALL_TIME = "s"
    DESCENT = "1"
    STATUS = "1"
    INCIDENCE = "rad"
    FALLING = "s", "times of the fall without a canopy, as Tally.FALL_INCIDENCE and on", 4


class JointFact(Column):
    """How a joint separated."""

    TIME = "s"
    CAUSE = "1"
    SPEED = "m/s"
    BY_DRAG_TIME = "s", "from when drag alone would have separated it"
    GAP_MIN = "m"
    RECONTACT = "1"


class CanopyFact(Column):
    """How a canopy opened."""

    OPENING_LOAD = "N"
    SNATCH_LOAD = "N"
    DEPLOYMENT_AIRSPEED = "m/s"
    STRETCH_AIRSPEED = "m/s"


BODY_FACT_COLUMNS, JOINT_FACT_COLUMNS, CANOPY_FACT_COLUMNS = width(BodyFact), width(JointFact), width(CanopyFact)


@helper
def last_incidence(tally: np.ndarray) -> tuple[float, float, float]:
    """Return (mean, least, largest) incidence over the last 1.5 to 3 s of a fall without a canopy, rad; NaN without one."""
    ticks, before = tally[Tally.TICKS], tally[Tally.TICKS_BEFORE]
    least, most = inf, -inf
    if ticks > 0.0:
        least, most = tally[Tally.LEAST], tally[Tally.MOST]
    if before > 0.0:
        least, most = min(least, tally[Tally.LEAST_BEFORE]), max(most, tally[Tally.MOST_BEFORE])
    if ticks + before == 0.0:
        return nan, nan, nan
    return (tally[Tally.INCIDENCE] + tally[Tally.INCIDENCE_BEFORE]) / (ticks + before), least, most


@kernel
def descent_of(canopy: np.ndarray, first: int, last: int, work: Work) -> int:
    """Return how a body came down (Descent). canopy : Staging.canopy. first, last : stages of the body."""
    if work.handover[Handover.PHASE] == CANOPY:
        for c in range(canopy.shape[0]):
            if first <= canopy[c, RiggingColumn.STAGE] <= last and is_stretched(work, c):
                return UNDER_CANOPY
        return TUMBLING
    mean, least, largest = last_incidence(work.tally)
    if largest - least > TUMBLES:
        return TUMBLING
    if NOSE_CONE < mean < HALF_TURN - NOSE_CONE:
        return BROADSIDE
    return NOSE_FIRST if mean <= NOSE_CONE else TAIL_FIRST


@kernel
def body_facts(staging: Staging, first: int, last: int, status: int, work: Work, events: np.ndarray, out: np.ndarray) -> None:
    """Fill `out` (BodyFact) for a body that has come to its end; events : its table."""
    hand = work.handover
    for j in range(out.shape[0]):
        out[j] = nan
    mass = hand[Handover.MASS]
    out[BodyFact.DESCENT], out[BodyFact.STATUS], out[BodyFact.MASS] = float(NOT_DOWN), float(status), mass
    for j in range(4):
        out[BodyFact.FALLING + j] = work.tally[Tally.FALL_INCIDENCE + j]
    if status != Ending.LANDED:
        return
    row = events[Event.LANDING]
    square = row[EventColumn.VELOCITY_EAST] ** 2 + row[EventColumn.VELOCITY_NORTH] ** 2 + row[EventColumn.VELOCITY_UP] ** 2
    out[BodyFact.TIME], out[BodyFact.EAST], out[BodyFact.NORTH] = row[EventColumn.TIME], row[EventColumn.EAST], row[EventColumn.NORTH]
    out[BodyFact.GROUND_SPEED] = sqrt(square)
    out[BodyFact.ENERGY] = 0.5 * mass * square
    out[BodyFact.FALL_TIME] = row[EventColumn.TIME] - events[Event.APOGEE, EventColumn.TIME]
    out[BodyFact.DESCENT] = float(descent_of(staging.canopy, first, last, work))
    if hand[Handover.PHASE] != CANOPY:
        out[BodyFact.INCIDENCE], _, _ = last_incidence(work.tally)


@kernel
def rule_facts(staging: Staging, first: int, last: int, work: Work, out: np.ndarray) -> None:
    """Fill `out` (rules, RULE_STATES) of the rules that a body's own flight computer ran; NaN for what did not happen."""
    for r in range(staging.rule.shape[0]):
        if first <= staging.rule[r, OwnRuleColumn.OWNER] <= last:
            for j in range(out.shape[1]):
                out[r, j] = nan if work.rules[r, j] < 0.0 else work.rules[r, j]


@kernel
def canopy_facts(staging: Staging, work: Work, events: np.ndarray, snatch: np.ndarray, out: np.ndarray, failure: np.ndarray) -> None:
    """Fill `out` (canopies, CanopyFact) for the canopies a body carries; failure : notes those it lost by load."""
    canopies = staging.canopy.shape[0]
    for c in range(canopies):
        deployed, stretched = events[len(EVENTS) + c], events[len(EVENTS) + canopies + c]
        if work.canopy[c, CanopyColumn.FAILS] > 0.5 or not isfinite(deployed[EventColumn.TIME]):
            continue
        out[c, CanopyFact.OPENING_LOAD] = work.pull[c] if isfinite(stretched[EventColumn.TIME]) else nan
        out[c, CanopyFact.SNATCH_LOAD] = snatch[c]
        out[c, CanopyFact.DEPLOYMENT_AIRSPEED], out[c, CanopyFact.STRETCH_AIRSPEED] = deployed[EventColumn.AIRSPEED], stretched[EventColumn.AIRSPEED]
        if work.deployed[c] == LOST:
            note_failure(staging.canopy[c, RiggingColumn.LOST], failure)


@helper
def note_failure(number: float, failure: np.ndarray) -> None:
    """Note that a failure (by its number, -1: none such) has happened by load."""
    if number >= 0.0:
        failure[int(number)] = 1.0


@kernel
def separation_facts(hand: np.ndarray, speed: float, events: np.ndarray, out: np.ndarray) -> None:
    """Fill `out` (JointFact) as a joint separates; the body's row of drag separation is cleared for the next joint."""
    out[JointFact.TIME], out[JointFact.CAUSE], out[JointFact.SPEED] = hand[Handover.TIME], hand[Handover.CAUSE], speed
    out[JointFact.BY_DRAG_TIME] = events[Event.DRAG_SEPARATION, EventColumn.TIME]
    for j in range(events.shape[1]):
        events[Event.DRAG_SEPARATION, j] = nan

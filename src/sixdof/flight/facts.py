"""What is gathered of a flight while it goes on, and computed of its bodies when they are down."""

from __future__ import annotations

import math

import numpy as np

from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.core.columns import CanopyColumn, Handover, Tally
from sixdof.core.constants import CANOPY
from sixdof.core.layout import Ending, Event
from sixdof.core.observe import last_incidence
from sixdof.draws.flight_draw import FlightDraw
from sixdof.flight.body import AHEAD, BEHIND, FlyingBody, is_stretched
from sixdof.flight.plan import Plan
from sixdof.flight.separation import gap_history
from sixdof.results.facts import BODY_FACTS, CANOPY_FACTS, JOINT_FACTS
from sixdof.results.status import Descent

NOSE_CONE = math.radians(45.0)  # mean incidence over the last seconds within which a body comes down nose first, or tail first
TUMBLES = math.radians(90.0)  # range of incidence over the last seconds beyond which it tumbles (ours)


class FlightFacts:
    """What is gathered while a flight goes on."""

    def __init__(self, plan: Plan):
        self.plan = plan
        self.joint = np.full((plan.count, len(JOINT_FACTS)), np.nan)
        self.joint[:, JOINT_FACTS.index("separation_cause")] = self.joint[:, JOINT_FACTS.index("recontact")] = 0.0
        self.gaps = [np.zeros((0, 3)) for _ in range(plan.count)]
        self.canopy = np.full((len(plan.canopies), len(CANOPY_FACTS)), np.nan)
        self.snatch = np.full(len(plan.canopies), np.nan)
        self.broken: set[str] = set()
        self.traces: dict[tuple[int, str], np.ndarray] = {}

    def separated(self, k: int, hand: np.ndarray, speed: float, events: np.ndarray) -> None:
        """Note how a joint separated; its row of drag separation is cleared for the next joint."""
        self.joint[k, :3] = hand[Handover.TIME], hand[Handover.CAUSE], speed
        self.joint[k, JOINT_FACTS.index("drag_separation_time")] = events[Event.DRAG_SEPARATION, 0]
        events[Event.DRAG_SEPARATION] = np.nan

    def snatched(self, body: FlyingBody) -> None:
        """Note what the ejections of the canopies a body still carries would snatch their harnesses with."""
        for c in self.plan.harnesses:
            if body.first <= self.plan.canopy_stage[c] <= body.last and body.work.deployed[c] < 0.0:
                self.snatch[c] = body.work.canopy[c, CanopyColumn.SNATCH]

    def still_joined(self, body: FlyingBody) -> None:
        """Note the drag at the aft joint of a body that never separated there."""
        if body.last > body.first:
            self.joint[body.last, JOINT_FACTS.index("drag_separation_time")] = body.events[Event.DRAG_SEPARATION, 0]

    def work_out_gaps(self) -> None:
        """Compute how the gap at each joint went, from the traces of the bodies on either side."""
        for (k, side), behind in self.traces.items():
            ahead = self.traces.get((k, AHEAD))
            if side != BEHIND or ahead is None:
                continue
            found = gap_history(ahead, behind, self.plan.radii[k - 1] + self.plan.radii[k])
            self.gaps[k] = found.rows
            self.joint[k, JOINT_FACTS.index("gap_min") :] = found.least, found.recontact

    def canopies(self, body: FlyingBody) -> None:
        """Note deployment and loads of the canopies a body carries, and those it lost by load."""
        work, plan, speed = body.work, self.plan, ly.EVENT_COLUMNS.index("airspeed")
        for c, name in enumerate(plan.canopies):
            row, stretched = (body.events[len(ly.EVENTS) + c + more] for more in (0, len(plan.canopies)))
            if work.canopy[c, CanopyColumn.FAILS] > 0.5 or not np.isfinite(row[0]):
                continue
            pull = work.pull[c] if np.isfinite(stretched[0]) else math.nan
            self.canopy[c] = pull, self.snatch[c], row[speed], stretched[speed]
            if work.deployed[c] == ct.LOST:
                self.broken.add(f"canopy_lost: {name}")

    def failures(self, draw: FlightDraw) -> np.ndarray:
        """Return 1 for everything that went wrong, drawn or by load, (failures,)."""
        happened = np.array([name in self.broken for name in self.plan.names], dtype=float)
        happened[: len(draw.failure)] = np.maximum(happened[: len(draw.failure)], draw.failure)
        return happened


def body_facts(body: FlyingBody, plan: Plan) -> np.ndarray:
    """Return where, when, how fast and how a body came down (BODY_FACTS)."""
    facts = np.full(len(BODY_FACTS), np.nan)
    hand = body.work.handover
    facts[BODY_FACTS.index("descent")], facts[BODY_FACTS.index("body_status")] = Descent.NOT_DOWN, body.status
    facts[BODY_FACTS.index("body_landing_mass")] = hand[Handover.MASS]
    facts[BODY_FACTS.index("time_falling_incidence") :] = body.work.tally[Tally.FALL_INCIDENCE : Tally.FALL_CRISIS + 1]
    if body.status != Ending.LANDED:
        return facts
    row = dict(zip(ly.EVENT_COLUMNS, body.events[Event.LANDING]))
    speed = math.hypot(row["velocity_east"], row["velocity_north"], row["velocity_up"])
    fall = row["time"] - body.events[Event.APOGEE, 0]
    energy = 0.5 * hand[Handover.MASS] * speed**2
    facts[:8] = row["time"], row["east"], row["north"], speed, energy, hand[Handover.MASS], fall, descent_of(body, plan)
    if hand[Handover.PHASE] != CANOPY:
        facts[BODY_FACTS.index("descent_incidence")] = last_incidence(body.work.tally)[0]
    return facts


def descent_of(body: FlyingBody, plan: Plan) -> Descent:
    """Return how a body came down."""
    if body.work.handover[Handover.PHASE] == CANOPY:
        own = [c for c, stage in enumerate(plan.canopy_stage) if stage in range(body.first, body.last + 1)]
        return Descent.UNDER_CANOPY if any(is_stretched(body.work, c) for c in own) else Descent.TUMBLING
    mean, least, largest = last_incidence(body.work.tally)
    if largest - least > TUMBLES:
        return Descent.TUMBLING
    if NOSE_CONE < mean < math.pi - NOSE_CONE:
        return Descent.BROADSIDE
    return Descent.NOSE_FIRST if mean <= NOSE_CONE else Descent.TAIL_FIRST


def rule_facts(plan: Plan, stages, state: np.ndarray, out: np.ndarray) -> None:
    """Fill the facts of the rules that a body's own flight computer ran."""
    for i, each in enumerate(plan.triggers):
        if each.owner in stages:
            out[i] = np.where(state[i] < 0.0, np.nan, state[i])

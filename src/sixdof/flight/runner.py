"""One flight, segment by segment: the stack, what goes on after each separation, what stays behind, to the ground.

The kernel does all the integration, a segment at a time; between segments bodies are divided, and what the flight computer knows passes on.
"""

from __future__ import annotations

import math

import numpy as np

from sixdof._jit import lend
from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.core.columns import CanopyColumn, Handover, StageColumn
from sixdof.core.constants import CANOPY, FREE
from sixdof.core.flight.fly import fly
from sixdof.core.layout import NOT_IGNITED, OUTCOMES, Ending
from sixdof.core.leg.work import Work, make_events, make_log, make_summary, make_work
from sixdof.draws.flight_draw import NEUTRAL_MASS, OF_JOINT, FlightDraw
from sixdof.flight.body import AHEAD, BEHIND, FlyingBody, copy_of, is_stretched, pass_on, wide_log
from sixdof.flight.facts import FlightFacts, body_facts, rule_facts
from sixdof.flight.laws import Laws
from sixdof.flight.plan import Plan
from sixdof.flight.separation import divide
from sixdof.results.facts import BODY_FACTS, CANOPY_FACTS, JOINT_FACTS, RULE_FACTS, Flown
from sixdof.results.status import UNREACHED, Descent


class FlightRunner:
    """Flies single draws of one mission; not shared between threads (`Plan` and `Laws` are).

    log_rows : rows there is room for in a log. columns : those of layout.LOG that a log keeps (None: all, and fins and readings).
    """

    def __init__(self, plan: Plan, laws: Laws, log_rows: int, columns: list[int] | None = None):
        self.plan, self.laws, self.log_rows, self.columns = plan, laws, log_rows, columns
        self.works: dict[tuple, Work] = {}
        model = plan.model(0, plan.count - 1)
        self.logs: dict[int, np.ndarray] = {}
        self.fins = model.computer.mixer.shape[0]
        self.failed: Work | None = None  # scratch of a flight whose law failed

    def _work(self, body: int, first: int, last: int) -> Work:
        """Return scratch arrays for a body, made once."""
        key = (body, first, last)
        if key not in self.works:
            model = self.plan.model(first, last)
            self.works[key] = self.laws.make_work(model) if first == 0 else make_work(model)
        return self.works[key]

    def _log(self, model: ct.Model) -> np.ndarray:
        controls = model.computer.mixer.shape[0]
        if controls not in self.logs:
            self.logs[controls] = make_log(model, self.log_rows)
        return self.logs[controls]

    def shapes(self) -> dict[str, tuple[int, ...]]:
        """Return the shapes of the arrays of a Flown."""
        plan, model = self.plan, self.plan.model(0, self.plan.count - 1)
        bodies = len(plan.bodies)
        return {
            "events": (bodies, *make_events(model).shape),
            "summary": (len(OUTCOMES),),
            "passed": self._work(0, 0, plan.count - 1).passed.shape,
            "body": (bodies, len(BODY_FACTS)),
            "joint": (plan.count - 1, len(JOINT_FACTS)),
            "rule": (len(plan.triggers), len(RULE_FACTS)),
            "canopy": (len(plan.canopies), len(CANOPY_FACTS)),
            "failure": (len(plan.names),),
        }

    def run(self, draw: FlightDraw, *, log_others: bool = True) -> Flown:
        """Fly once. log_others : keep the logs of the other bodies too, not of the front one alone."""
        plan = self.plan
        last = plan.count - 1
        whole = plan.model(0, last)
        work = self._work(0, 0, last)
        plan.prepare(work, draw)
        work.handover[Handover.GOES_ON] = 0.0
        facts = FlightFacts(plan)
        front = FlyingBody(0, 0, last, work, make_events(whole), make_summary())
        waiting, landed = [front], []
        while waiting:
            body = waiting.pop(0)
            logged = body is front or log_others
            while self._segment(body, draw, facts, waiting, logged):
                pass
            landed.append(body)
        facts.work_out_gaps()
        return self._flown(landed, facts, draw)

    def _segment(self, body: FlyingBody, draw: FlightDraw, facts: FlightFacts, waiting: list[FlyingBody], logged: bool) -> bool:
        """Fly one segment of a body; return whether it goes on as another. What separated from it waits."""
        if body.model is None:
            body.model, body.draw = self.plan.segment(body.first, body.last, draw, body.index)
        if body.whole:
            self.plan.load_harnesses(body.work, body.first, body.last, draw)
            facts.snatched(body)
        body.work.trace[:] = np.nan
        log = self._log(body.model)
        code, _, rows = fly(lend(body.model), lend(body.draw), lend(body.work), log if logged else log[:0], body.events, body.summary)
        if rows:
            body.log.append(wide_log(log[:rows], self.fins) if self.columns is None else log[:rows, self.columns])
        if self.laws.overran(body.work):
            code = Ending.LAW_NONSENSE
        body.status = code
        if code in (Ending.LAW_FAILED, Ending.LAW_NONSENSE):
            self.failed = body.work
        if body.since is not None:
            facts.traces[body.since] = body.work.trace.copy()
        if code == Ending.SEPARATED:
            self._separate(body, draw, facts, waiting)
            return True
        if code == Ending.HARNESS_BROKEN:
            self._fail_harness(body, draw, facts, waiting)
            return True
        return False

    def _separate(self, body: FlyingBody, draw: FlightDraw, facts: FlightFacts, waiting: list[FlyingBody]) -> None:
        """Divide a body at a joint: `body` goes on as what is ahead of it, what is behind waits its turn."""
        plan, hand, k = self.plan, body.work.handover, int(body.work.handover[Handover.WHICH])
        stack, stack_draw = body.model, body.draw
        fore = plan.segment(body.first, k - 1, draw, body.index)
        aft = plan.segment(k, body.last, draw, k)
        charge = plan.mission.stage[k].joint.impulse * draw.joint[k, OF_JOINT.index("impulse")]
        turn = [draw.joint[k, OF_JOINT.index(name)] for name in ("tilt_y", "tilt_z")]
        halves = divide(hand, (stack, stack_draw), fore, aft, charge if hand[Handover.CAUSE] == ly.BY_COMMAND else 0.0, turn)
        facts.separated(k, hand, halves.speed, body.events)

        other = self._work(k, k, body.last)
        pass_on(body.work, other)
        other.laws[:] = 0
        other.handover[:] = halves.aft
        behind = FlyingBody(k, k, body.last, other, body.events.copy(), body.summary.copy(), *aft, (k, BEHIND))
        waiting.append(behind)

        ahead = self._work(body.index, body.first, k - 1)
        pass_on(body.work, ahead)
        ahead.handover[:] = halves.fore
        body.work, body.last = ahead, k - 1
        (body.model, body.draw), body.since = fore, (k, AHEAD)
        for work, stages, model in ((ahead, range(body.first, k), fore[0]), (other, range(k, behind.last + 1), aft[0])):
            hangs = any(is_stretched(work, c) for c, stage in enumerate(plan.canopy_stage) if stage in stages)
            work.handover[Handover.PHASE] = float(CANOPY if hangs else FREE)
            work.handover[Handover.DRAG_AREA] = min(work.handover[Handover.DRAG_AREA], model.tumble_area)  # a part has no more than it can have
        for each, stage in enumerate(plan.canopy_stage):  # a command reaches no canopy on the other side
            work = ahead if stage >= k else other
            work.canopy[each, CanopyColumn.FAILS] = 1.0
            work.deployed[each] = min(work.deployed[each], ct.LOST) if work.deployed[each] >= 0.0 else work.deployed[each]

    def _fail_harness(self, body: FlyingBody, draw: FlightDraw, facts: FlightFacts, waiting: list[FlyingBody]) -> None:
        """Divide a body whose harness has failed: `body` keeps the canopy, the loose piece waits its turn."""
        plan, c = self.plan, int(body.work.handover[Handover.WHICH])
        facts.broken.add(f"harness_breaks: {plan.canopies[c]}")
        body.since = None
        stage = plan.canopy_stage[c]
        other = copy_of(body.work)
        other.laws[:] = 0
        body.model, fallen = plan.piece_models(c, body, draw)
        # masses are this flight's already
        body.draw = body.draw._replace(**NEUTRAL_MASS)
        body.whole = False
        for work, piece in ((body.work, body.model), (other, fallen)):  # what is left falls as it is: it separates and burns no more
            work.handover[Handover.PHASE], work.handover[Handover.DRAG_AREA] = float(CANOPY), piece.tumble_area
            work.handover[Handover.IGNITED] = NOT_IGNITED
            work.stage[:, StageColumn.NO_SEPARATION] = work.stage[:, StageColumn.NO_IGNITION] = 1.0
        loose = FlyingBody(plan.count + plan.harnesses[c], stage, stage, other, body.events.copy(), body.summary.copy(), fallen, body.draw, whole=False)
        for each, kept in enumerate(plan.on_kept_piece(c)):
            for work, has in ((body.work, kept), (other, not kept)):
                if not has:
                    work.canopy[each, CanopyColumn.FAILS] = 1.0
                    work.deployed[each] = ct.LOST if work.deployed[each] >= 0.0 else work.deployed[each]
                work.canopy[each, CanopyColumn.HARNESS_SHARE] = work.canopy[each, CanopyColumn.SNATCH] = 0.0
                work.canopy[each, CanopyColumn.HARNESS_STRENGTH] = math.inf
        waiting.append(loose)

    # ---------------------------------------------------------------- facts

    def _flown(self, bodies: list[FlyingBody], facts: FlightFacts, draw: FlightDraw) -> Flown:
        plan, front = self.plan, bodies[0]
        names = plan.bodies
        events = np.full((len(names), *front.events.shape), np.nan)
        rows = np.full((len(names), len(BODY_FACTS)), np.nan)
        rows[:, BODY_FACTS.index("descent")], rows[:, BODY_FACTS.index("body_status")] = Descent.NOT_DOWN, UNREACHED
        width = ly.LOG_COLUMNS + 3 * self.fins + len(ly.SENSED) if self.columns is None else len(self.columns)
        logs = [np.zeros((0, width))] * len(names)
        of_rule = np.full((len(plan.triggers), len(RULE_FACTS)), np.nan)
        for body in bodies:
            stages = range(body.index, body.last + 1) if body.index < plan.count else (body.index,)
            for k in stages:  # stages that never separated share the fate of the body they are in
                events[k], rows[k] = body.events, body_facts(body, plan)
                if body.log:
                    logs[k] = np.concatenate(body.log)
            if body.index < plan.count:
                rule_facts(plan, stages, body.work.rules, of_rule)
                facts.still_joined(body)
            facts.canopies(body)
        hand = front.work.handover
        return Flown(
            front.status,
            float(hand[Handover.TIME]),
            events,
            front.summary,
            front.work.passed.copy(),
            rows,
            facts.joint[1:],
            of_rule,
            facts.canopy,
            facts.failures(draw),
            logs,
            facts.gaps[1:],
        )

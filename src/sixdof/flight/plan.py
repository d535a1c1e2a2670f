"""What a mission may fly as: the tables of every body it may divide into, and what one draw makes of them."""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from typing import NamedTuple

import numpy as np

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.autopilot.rules import triggers
from sixdof.core import types as ct
from sixdof.core.columns import GRAIN_COLUMNS, CanopyColumn, Handover, StageColumn
from sixdof.core.computer.columns import RuleColumn
from sixdof.core.draw import Draw
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.leg.work import Work
from sixdof.draws.flight_draw import NEUTRAL_MASS, OF_CANOPY, OF_HARNESS, OF_JOINT, OF_MASS, OF_STAGE, FlightDraw, stage_draw
from sixdof.flight.body import FlyingBody
from sixdof.flight.harness import Cut, cut_of, extended
from sixdof.flight.model import build_model, hanging_areas
from sixdof.flight.separation import Bend, bent_lump, bent_model
from sixdof.mission.mission import Mission
from sixdof.results.names import body_names, canopy_names, failure_names
from sixdof.vehicle.geometry import Shape, shape_of
from sixdof.vehicle.mass import grain_rows, stage_lumps, table_of
from sixdof.vehicle.solids import Lump, combine
from sixdof.world.build import wind_rows

MOST_KEPT = 8  # plans of missions flown lately: some 100 kB each
_kept: OrderedDict[tuple, tuple[Mission, tuple, Plan]] = OrderedDict()
_keeping = threading.Lock()


class StackMasses(NamedTuple):
    """Stages that fly together: stations of their fore ends, the lumps of each (dry first, then unlit grains), what burns."""

    starts: tuple[float, ...]
    lumps: list[list[Lump]]
    grain: np.ndarray


class Plan:
    """The tables of every body a mission may fall into, made when they are first needed."""

    def __init__(self, mission: Mission, log_rate: float | None = None):
        self.mission, self.log_rate = mission, log_rate
        self.count = len(mission.stage)
        self.models: dict[tuple[int, int], ct.Model] = {}
        self.triggers = triggers(mission)
        self.names, self.bodies = failure_names(mission), body_names(mission)
        self.canopies = canopy_names(mission)
        self.canopy_stage = canopy_stages(mission)
        self.harnesses = {self.canopies.index(harness.canopy): k for k, harness in enumerate(mission.harness)}
        self.shapes: dict[tuple[int, int], Shape] = {}
        self.radii = [0.5 * self.shape(k, k).diameter for k in range(self.count)]
        self.cuts: dict[tuple[int, int, int], Cut] = {}
        self.stacks: dict[tuple[int, int], StackMasses] = {}
        self.hanging = hanging_areas(mission, range(self.count))
        self.winds = [wind_rows(mission, k) for k in range(len(mission.air.wind.member))]
        self.model(0, self.count - 1)

    def shape(self, first: int, last: int) -> Shape:
        """Return the outside of the stages first .. last flying together."""
        if (first, last) not in self.shapes:
            self.shapes[first, last] = shape_of(self.mission.stage[first : last + 1])
        return self.shapes[first, last]

    def model(self, first: int, last: int) -> ct.Model:
        """Return the model of the stages first .. last flying together."""
        if (first, last) not in self.models:
            self.models[first, last] = build_model(self.mission, stages=range(first, last + 1), log_rate=self.log_rate, shape=self.shape(first, last))
        return self.models[first, last]

    def stack(self, first: int, last: int) -> StackMasses:
        """Return what the separation of the stages first .. last needs of them, undrawn."""
        if (first, last) not in self.stacks:
            stages = range(first, last + 1)
            shape = self.shape(first, last)
            lumps = []
            for k, own in zip(stages, stage_lumps(self.mission, stages, shape)):
                grains = 0 if k == last else self._grains(k)
                lumps.append([combine(own[: len(own) - grains]), *own[len(own) - grains :]])
            self.stacks[first, last] = StackMasses(shape.stage_x0, lumps, grain_rows(self.mission, stages, shape))
        return self.stacks[first, last]

    def _grains(self, stage: int) -> int:
        """Return how many grains a stage carries."""
        return sum(part.count for part in self.mission.stage[stage].part if part.kind == "mount")

    def segment(self, first: int, last: int, draw: FlightDraw, body: int) -> tuple[ct.Model, Draw]:
        """Return model and draw of one segment.

        Each stage has draws of its own, so those of mass are worked into a stack's mass table; thrust and air of a stack take
        the draw of its last stage, whose motor burns.
        """
        model = self._drawn_air(self.model(first, last), draw)
        hanging = self.hanging[first : last + 1] * draw.stage[first : last + 1, OF_STAGE.index("hanging_drag")]
        model = model._replace(tumble_area=float(hanging.sum()))
        controls = model.computer.mixer.shape[0] if first == 0 else 0
        found = stage_draw(draw, last, controls, body)
        if controls < model.computer.mixer.shape[0]:
            found = found._replace(centring=np.zeros(model.computer.mixer.shape[0]))
        if last == first:
            return model, found
        bend = self._bend(first, last, draw)
        model = self._drawn_stack(model, first, last, draw, bend)
        model, shift = bent_model(model, bend[-1])
        return model, found._replace(**NEUTRAL_MASS, **{name: getattr(found, name) + more for name, more in shift.items()})

    def _drawn_air(self, model: ct.Model, draw: FlightDraw) -> ct.Model:
        world, (member, w20) = model.world, draw.air
        wind = self.winds[int(member)] if self.winds else world.wind
        return model._replace(world=world._replace(wind=wind, turbulence=world.turbulence._replace(w20=float(w20))))

    def _bend(self, first: int, last: int, draw: FlightDraw) -> list[Bend]:
        """Return how each stage of a stack is turned and moved by the tilt of the joints ahead of it."""
        starts = self.stack(first, last).starts
        bends = [Bend(0.0, 0.0, 0.0, 0.0)]
        for k in range(first + 1, last + 1):
            y, z = draw.joint[k, OF_JOINT.index("tilt_y")], draw.joint[k, OF_JOINT.index("tilt_z")]
            b, x = bends[-1], starts[k - first]
            bends.append(Bend(b.turn_y + y, b.turn_z + z, b.moment_y + y * x, b.moment_z + z * x))
        return bends

    def _drawn_stack(self, model: ct.Model, first: int, last: int, draw: FlightDraw, bend: list[Bend]) -> ct.Model:
        stack = self.stack(first, last)
        lumps = []
        for k, (dry, *grains), turned in zip(range(first, last + 1), stack.lumps, bend):
            lumps += [bent_lump(lump, turned) for lump in (_drawn_lump(dry, draw.stage[k]), *grains)]
        ahead = sum(lump.mass for lump in lumps[:-1])
        return model._replace(mass=table_of(lumps, stack.grain), leg=model.leg._replace(fore_mass=float(ahead)))

    def prepare(self, work: Work, draw: FlightDraw) -> None:
        """Fill in `work` what this flight's draw says of stages, canopies and rules."""
        mission = self.mission
        happens = dict(zip(self.names, draw.failure))
        for k, stage in enumerate(mission.stage):
            row = work.stage[k]
            row[StageColumn.IGNITION_DELAY] = max(stage.ignition.delay + draw.stage[k, OF_STAGE.index("ignition_delay")], 0.0)
            row[StageColumn.NO_IGNITION] = happens.get(f"no_ignition: {stage.name}", 0.0)
            row[StageColumn.SEPARATION_DELAY] = stage.joint.delay + draw.joint[k, OF_JOINT.index("delay")]
            row[StageColumn.NO_SEPARATION] = happens.get(f"no_separation: {stage.name}", 0.0)
        work.canopy[:] = self.model(0, self.count - 1).canopy
        for c, name in enumerate(self.canopies):
            row = work.canopy[c]
            row[CanopyColumn.DRAG_AREA] *= draw.canopy[c, OF_CANOPY.index("drag")]
            row[CanopyColumn.FILL_TIME] *= draw.canopy[c, OF_CANOPY.index("fill_time")]
            row[CanopyColumn.FAILS] = happens.get(f"no_deployment: {name}", 0.0)
            if happens.get(f"canopy_lost: {name}", 0.0):
                row[CanopyColumn.STRENGTH] = 0.0
            if c in self.harnesses:
                parts = bool(happens.get(f"harness_breaks: {name}", 0.0))
                which = self.harnesses[c]
                strength = self.mission.harness[which].strength * draw.harness[which, OF_HARNESS.index("strength")]
                row[CanopyColumn.HARNESS_STRENGTH] = 0.0 if parts else strength
        self._delays(work, draw, happens)

    def _delays(self, work: Work, draw: FlightDraw, happens: dict) -> None:
        late = {f.of: f.late_by for f in self.mission.failure if f.kind == "late_apogee" and happens[f.name]}
        for i, each in enumerate(self.triggers):
            delay = each.row[RuleColumn.DELAY]
            if i < len(self.mission.rule):
                delay += draw.rule[i]
            if each.row[RuleColumn.ACTION] == ct.ACTION_DEPLOY:
                delay += draw.canopy[int(each.row[RuleColumn.TARGET]), OF_CANOPY.index("delay")]
            if each.row[RuleColumn.TRIGGER] == ct.TRIGGER_APOGEE:
                delay += late.get(self.mission.stage[each.owner].name, 0.0)
            work.rule_delay[i] = delay

    def load_harnesses(self, work: Work, first: int, last: int, draw: FlightDraw) -> None:
        """Fill in `work` what the harnesses of the stages first .. last, flying together, carry as their canopies are ejected."""
        unlit = {k for k in range(first, last) if work.stage[k, StageColumn.IGNITE] < 0.0 or work.stage[k, StageColumn.NO_IGNITION] > 0.5}
        if work.stage[last, StageColumn.NO_IGNITION] > 0.5:
            unlit.add(last)
        for c, which in self.harnesses.items():
            if not first <= self.canopy_stage[c] <= last:
                continue
            harness, row = self.mission.harness[which], work.canopy[c]
            kept, loose = self.piece_masses(c, first, last, unlit, draw)
            if kept <= 0.0 or loose <= 0.0:  # the airframe parts where nothing is ahead: nothing flies off
                row[CanopyColumn.HARNESS_SHARE] = row[CanopyColumn.SNATCH] = 0.0
                continue
            rate = harness.stiffness * draw.harness[which, OF_HARNESS.index("stiffness")] / harness.length
            reduced = kept * loose / (kept + loose)
            row[CanopyColumn.HARNESS_SHARE] = loose / (kept + loose)
            # the pieces fly apart at impulse/reduced mass until the harness has taken that energy up as a spring
            row[CanopyColumn.SNATCH] = harness.impulse * math.sqrt(rate / reduced)

    def cut(self, canopy: int, first: int, last: int) -> Cut:
        """Return how a canopy's ejection divides the stages first .. last flying together."""
        key = canopy, first, last
        if key not in self.cuts:
            self.cuts[key] = cut_of(
                self.mission, self.canopy_stage[canopy], self.mission.harness[self.harnesses[canopy]].separation_station, first, last, self.shape(first, last)
            )
        return self.cuts[key]

    def piece_masses(self, canopy: int, first: int, last: int, unlit: set[int], draw: FlightDraw) -> tuple[float, float]:
        """Return the masses of the `pieces`, kg."""
        cut, drawn = self.cut(canopy, first, last), draw.stage[first : last + 1, OF_STAGE.index("mass")]
        held = cut.masses[0] @ drawn
        for k in unlit:
            held = held + cut.masses[1][:, k - first]
        return tuple(held) if self.mission.harness[self.harnesses[canopy]].canopy_on == "fore" else tuple(held[::-1])

    def pieces(self, canopy: int, first: int, last: int, unlit: set[int], draw: FlightDraw) -> tuple[Lump, Lump]:
        """Return the two pieces that a canopy's ejection makes of a body: the one that keeps the canopy, and the loose one.

        unlit : stages whose propellant is still there.
        """
        cut, mass = self.cut(canopy, first, last), draw.stage[:, OF_STAGE.index("mass")]
        sides = []
        for dry, grains in ((cut.fore, cut.fore_grains), (cut.aft, cut.aft_grains)):
            lumps = [Lump(lump.mass * mass[k], lump.place, lump.inertia * mass[k]) for k, lump in dry]
            sides.append(combine(lumps + [lump for k, lump in grains if k in unlit]))
        return tuple(sides) if self.mission.harness[self.harnesses[canopy]].canopy_on == "fore" else tuple(reversed(sides))

    def on_kept_piece(self, canopy: int) -> list[bool]:
        """Return which canopies stay with the piece that keeps `canopy` when its harness has failed."""
        harness, stage = self.mission.harness[self.harnesses[canopy]], self.canopy_stage[canopy]
        found = []
        for each, own in enumerate(canopies(self.mission)):
            fore = own.station < harness.separation_station
            found.append(each == canopy or (self.canopy_stage[each] == stage and fore == (harness.canopy_on == "fore")))
        return found

    def piece_models(self, canopy: int, body: FlyingBody, draw: FlightDraw) -> tuple[ct.Model, ct.Model]:
        """Return the models of the two pieces of a body whose harness has failed, the one that keeps the canopy first.

        Each has the drag of its side area whichever way it turns; that which keeps the canopy hangs from it by its fore end.
        """
        first, last = body.first, body.last
        unlit = {k for k in range(first, last) if body.work.stage[k, StageColumn.BURNOUT] < 0.0}
        if body.work.handover[Handover.IGNITED] == NOT_IGNITED:
            unlit.add(last)
        cut, which, stage = self.cut(canopy, first, last), self.harnesses[canopy], self.canopy_stage[canopy]
        harness, ends = self.mission.harness[which], (0.0, cut.at)
        sides = tuple(zip(cut.areas, ends)) if harness.canopy_on == "fore" else tuple(zip(cut.areas, ends))[::-1]
        drags = (
            self.mission.stage[stage].hanging_drag * draw.stage[stage, OF_STAGE.index("hanging_drag")],
            harness.tumbling_drag * draw.harness[which, OF_HARNESS.index("tumbling_drag")],
        )
        none = np.zeros((0, GRAIN_COLUMNS))
        return tuple(
            body.model._replace(mass=table_of([extended(lump)], none), tumble_area=float(drag * area), leg=body.model.leg._replace(nose_x=fore_end))
            for lump, drag, (area, fore_end) in zip(self.pieces(canopy, first, last, unlit, draw), drags, sides)
        )


def plan_of(mission: Mission, log_rate: float | None = None) -> Plan:
    """Return the plan of a mission, the one made before if this very mission was flown lately. Threads may share it.

    A mission is frozen, so the same object has the same tables; its dictionary of motors, which Python cannot freeze, is looked at.
    """
    key, motors = (id(mission), log_rate), tuple(mission.motor.values())
    with _keeping:
        known = _kept.get(key)  # it keeps the mission too: the id is nobody else's as long
        if known is not None and len(known[1]) == len(motors) and all(a is b for a, b in zip(known[1], motors)):
            _kept.move_to_end(key)
            return known[2]
    plan = Plan(mission, log_rate)
    with _keeping:
        _kept[key] = mission, motors, plan
        _kept.move_to_end(key)
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return plan


def _drawn_lump(lump: Lump, row: np.ndarray) -> Lump:
    """Return a stage's dry lump with its draw: mass (inertia goes with it), centre, inertia."""
    mass, x, y, z, inertia = (row[OF_STAGE.index(name)] for name in OF_MASS)
    return Lump(lump.mass * mass, lump.place + np.array([x, y, z]), lump.inertia * (mass * inertia))

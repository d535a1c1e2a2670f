"""One flight from its legs: the stack, what goes on after each parting, what stays behind, to the ground.

`Plan` holds the tables of every body a mission may fall into; `Flier.fly` flies one draw. The kernel `core.flight.fly` does
all the integration, a leg at a time; between legs this module divides bodies and hands the flight computer's memory over.
"""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from sixdof.autopilot.build import canopies, canopy_stages, triggers
from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.core.draw import Draw
from sixdof.core.flight import INSTANT, Work, fly, make_events, make_log, make_summary, make_work
from sixdof.core.motion import CANOPY, FREE
from sixdof.core.observe import T_FALL_CRISIS, T_FALL_INCIDENCE, last_incidence
from sixdof.flight.laws import Laws
from sixdof.flight.model import build_model, hanging_areas
from sixdof.flight.parting import Bend, bent_lump, bent_model, gap_history, part
from sixdof.mission.mission import Mission
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import full_grain, grain_rows, part_lumps, stage_lumps, table_of
from sixdof.vehicle.mounting import case_lump, placed_motors
from sixdof.vehicle.solids import Lump, combine
from sixdof.world.build import wind_rows

BODY_FACTS = (
    "body_landing_time",
    "body_landing_east",
    "body_landing_north",
    "body_landing_ground_speed",
    "body_landing_energy",
    "body_landing_mass",
    "fall_time",
    "descent",
    "body_status",
    "descent_incidence",
    "time_falling_incidence",
    "time_falling_mach",
    "time_falling_reynolds",
    "time_falling_crisis",
)
JOINT_FACTS = ("separation_time", "separation_cause", "separation_speed", "drag_separation_time", "gap_min", "recontact")
RULE_FACTS = ("rule_armed", "rule_fired", "rule_acted", "rule_given_up")
CANOPY_FACTS = ("opening_load", "snatch_load", "deployment_airspeed", "line_stretch_airspeed")
NOT_DOWN, UNDER_CANOPY, NOSE_FIRST, TAIL_FIRST, TUMBLING, BROADSIDE = range(6)  # `descent`
NOSE_CONE = math.radians(45.0)  # mean incidence over the last seconds within which a body comes down nose first, or tail first
TUMBLES = math.radians(90.0)  # range of incidence over the last seconds beyond which it tumbles (ours)
LEAST_GYRATION = 0.01  # m, of a loose piece
OTHER_BODY = 1 << 32  # added to the number of the flight: another body's altimeter has other noise
UNREACHED = -1  # status of a body that never came to be
AHEAD, BEHIND = "ahead", "behind"  # sides of a joint


# ---------------------------------------------------------------- names


def body_names(mission: Mission) -> list[str]:
    """Return the bodies of a mission: its stages, then what may come loose where a harness parts."""
    stages = canopy_stages(mission)
    names = [part.name for part in canopies(mission)]
    loose = [f"{mission.stage[stages[names.index(harness.canopy)]].name}: loose by {harness.canopy}" for harness in mission.harness]
    return [stage.name for stage in mission.stage] + loose


def joint_names(mission: Mission) -> list[str]:
    """Return the joints of a mission, each by the stage behind it."""
    return [stage.name for stage in mission.stage[1:]]


def rule_names(mission: Mission) -> list[str]:
    """Return what every row of the event rules is called; a name given twice gets a number."""
    names: list[str] = []
    for each in triggers(mission):
        count = sum(name == each.name or name.startswith(f"{each.name} (") for name in names)
        names.append(f"{each.name} ({count + 1})" if count else each.name)
    return names


def canopy_names(mission: Mission) -> list[str]:
    """Return the canopies of a mission."""
    return [part.name for part in canopies(mission)]


def failure_names(mission: Mission) -> list[str]:
    """Return everything that may go wrong: what the mission names, and what loads may break."""
    names = [failure.name for failure in mission.failure]
    by_load = [f"harness_breaks: {harness.canopy}" for harness in mission.harness]
    by_load += [f"canopy_lost: {part.name}" for part in canopies(mission) if part.strength is not None]
    return names + [name for name in by_load if name not in names]


def event_names(mission: Mission) -> list[str]:
    """Return the rows of a body's event table."""
    stages = [stage.name for stage in mission.stage]
    lit = [f"{what} {name}" for name in stages[:-1] for what in ("ignition", "burnout")]
    opened = [f"deployment {name}" for name in canopy_names(mission)]
    stretched = [f"line stretch {name}" for name in canopy_names(mission)]
    return [*ly.EVENTS, *opened, *stretched, *lit, *(f"separation {name}" for name in stages[1:])]


# ---------------------------------------------------------------- what one flight is given and what it leaves


class FlightDraw(NamedTuple):
    """One flight's departures from the mission. Factors are 1 and offsets 0 in the nominal flight.

    common : (len(COMMON),) fields of core.draw.Draw that all bodies share. stage : (stages, len(OF_STAGE)). joint : (stages,
    len(OF_JOINT)), row 0 not used. canopy : (canopies, len(OF_CANOPY)). harness : (harnesses, len(OF_HARNESS)). rule : ([[rule]] entries,). failure : (failures,)
    1 where it happens. centring : (control fins,). air : (len(OF_AIR),) what stands in place of the mission's own. path : (paths,)
    numbers of the mission that were drawn, in the order of `ensemble.drawn.path_names`: a `Plan` knows nothing of them, and must be
    that of the mission with these numbers (`ensemble.drawn.drawn_mission`).
    """

    common: np.ndarray
    stage: np.ndarray
    joint: np.ndarray
    canopy: np.ndarray
    harness: np.ndarray
    rule: np.ndarray
    failure: np.ndarray
    centring: np.ndarray
    air: np.ndarray
    path: np.ndarray


OF_STAGE = (
    "impulse",
    "burn_time",
    "tilt_y",
    "tilt_z",
    "offset_y",
    "offset_z",
    "mass",
    "cg_x",
    "cg_y",
    "cg_z",
    "inertia",
    "drag",
    "normal_force",
    "cp",
    "cant",
    "ignition_delay",
    "hanging_drag",
)
OF_JOINT = ("impulse", "delay", "tilt_y", "tilt_z")
OF_CANOPY = ("drag", "delay", "fill_time")
OF_HARNESS = ("strength", "stiffness", "tumbling_drag")
OF_AIR = ("member", "wind_at_20_ft")  # which forecast of the wind; m/s, -1: the mean wind's own there
COMMON = tuple(name for name in Draw._fields[:-1] if name not in OF_STAGE)
OF_MASS = ("mass", "cg_x", "cg_y", "cg_z", "inertia")
_NEUTRAL = {"mass": 1.0, "inertia": 1.0}


class Flown(NamedTuple):
    """What one flight leaves.

    events : (bodies, events, EVENT_COLUMNS). summary : (SUMMARY,) of the front body. passed : (waypoints, 2). body : (bodies,
    BODY_FACTS). joint : (joints, JOINT_FACTS). rule : (rules, RULE_FACTS). canopy : (canopies, CANOPY_FACTS). failure :
    (failures,). logs : a table for each body (`wide_log`), empty where nothing was logged. gaps : (n, 3) for each joint: time, gap
    along the axis, clearance.
    """

    status: int
    time: float
    events: np.ndarray
    summary: np.ndarray
    passed: np.ndarray
    body: np.ndarray
    joint: np.ndarray
    rule: np.ndarray
    canopy: np.ndarray
    failure: np.ndarray
    logs: list[np.ndarray]
    gaps: list[np.ndarray]


@dataclass
class _Body:
    """One body on its way: which stages it has, its scratch arrays, its model where that is not the stages' own."""

    index: int
    first: int
    last: int
    work: Work
    events: np.ndarray
    summary: np.ndarray
    model: ct.Model | None = None
    draw: Draw | None = None
    since: tuple[int, str] | None = None  # the joint whose parting began the present leg, and the side of it
    log: list[np.ndarray] = field(default_factory=list)
    status: int = UNREACHED
    whole: bool = True  # no harness of it has parted


class _Stack(NamedTuple):
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
        self.radii = [0.5 * shape_of([stage]).diameter for stage in mission.stage]
        self.cuts: dict[tuple[int, int, int], _Cut] = {}
        self.stacks: dict[tuple[int, int], _Stack] = {}
        self.hanging = hanging_areas(mission, range(self.count))
        self.winds = [wind_rows(mission, k) for k in range(len(mission.air.wind.member))]
        self.model(0, self.count - 1)

    def model(self, first: int, last: int) -> ct.Model:
        """Return the model of the stages first .. last flying together."""
        if (first, last) not in self.models:
            self.models[first, last] = build_model(self.mission, stages=range(first, last + 1), log_rate=self.log_rate)
        return self.models[first, last]

    def stack(self, first: int, last: int) -> _Stack:
        """Return what the parting of the stages first .. last needs of them, undrawn."""
        if (first, last) not in self.stacks:
            stages = range(first, last + 1)
            lumps = []
            for k, own in zip(stages, stage_lumps(self.mission, stages)):
                grains = 0 if k == last else self._grains(k)
                lumps.append([combine(own[: len(own) - grains]), *own[len(own) - grains :]])
            starts = shape_of([self.mission.stage[k] for k in stages]).stage_x0
            self.stacks[first, last] = _Stack(starts, lumps, grain_rows(self.mission, stages))
        return self.stacks[first, last]

    def _grains(self, stage: int) -> int:
        """Return how many grains a stage carries."""
        return sum(part.count for part in self.mission.stage[stage].part if part.kind == "mount")

    # ---------------------------------------------------------------- this flight's tables

    def leg(self, first: int, last: int, draw: FlightDraw, body: int) -> tuple[ct.Model, Draw]:
        """Return model and draw of one leg.

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
        neutral = {name: _NEUTRAL.get(name, 0.0) for name in OF_MASS}
        return model, found._replace(**neutral, **{name: getattr(found, name) + more for name, more in shift.items()})

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
            row[ly.ST_LIGHT_DELAY] = max(stage.ignition.delay + draw.stage[k, OF_STAGE.index("ignition_delay")], 0.0)
            row[ly.ST_NO_IGNITION] = happens.get(f"no_ignition: {stage.name}", 0.0)
            row[ly.ST_PART_DELAY] = stage.joint.delay + draw.joint[k, OF_JOINT.index("delay")]
            row[ly.ST_NO_PARTING] = happens.get(f"no_separation: {stage.name}", 0.0)
        work.canopy[:] = self.model(0, self.count - 1).canopy
        for c, name in enumerate(self.canopies):
            row = work.canopy[c]
            row[ct.CANOPY_DRAG_AREA] *= draw.canopy[c, OF_CANOPY.index("drag")]
            row[ct.CANOPY_FILL_TIME] *= draw.canopy[c, OF_CANOPY.index("fill_time")]
            row[ct.CANOPY_FAILS] = happens.get(f"no_deployment: {name}", 0.0)
            if happens.get(f"canopy_lost: {name}", 0.0):
                row[ct.CANOPY_STRENGTH] = 0.0
            if c in self.harnesses:
                parts = bool(happens.get(f"harness_breaks: {name}", 0.0))
                which = self.harnesses[c]
                strength = self.mission.harness[which].strength * draw.harness[which, OF_HARNESS.index("strength")]
                row[ct.CANOPY_CORD_STRENGTH] = 0.0 if parts else strength
        self._delays(work, draw, happens)

    def _delays(self, work: Work, draw: FlightDraw, happens: dict) -> None:
        late = {f.of: f.late_by for f in self.mission.failure if f.kind == "late_apogee" and happens[f.name]}
        for i, each in enumerate(self.triggers):
            delay = each.row[ct.RULE_DELAY]
            if i < len(self.mission.rule):
                delay += draw.rule[i]
            if each.row[ct.RULE_ACTION] == ct.ACTION_DEPLOY:
                delay += draw.canopy[int(each.row[ct.RULE_TARGET]), OF_CANOPY.index("delay")]
            if each.row[ct.RULE_TRIGGER] == ct.TRIGGER_APOGEE:
                delay += late.get(self.mission.stage[each.owner].name, 0.0)
            work.rule_delay[i] = delay

    def load_harnesses(self, work: Work, first: int, last: int, draw: FlightDraw) -> None:
        """Fill in `work` what the harnesses of the stages first .. last, flying together, carry as their canopies are ejected."""
        unlit = {k for k in range(first, last) if work.stage[k, ly.ST_LIGHT] < 0.0 or work.stage[k, ly.ST_NO_IGNITION] > 0.5}
        if work.stage[last, ly.ST_NO_IGNITION] > 0.5:
            unlit.add(last)
        for c, which in self.harnesses.items():
            if not first <= self.canopy_stage[c] <= last:
                continue
            harness, row = self.mission.harness[which], work.canopy[c]
            kept, loose = self.piece_masses(c, first, last, unlit, draw)
            if kept <= 0.0 or loose <= 0.0:  # the airframe parts where nothing is ahead: nothing flies off
                row[ct.CANOPY_CORD_SHARE] = row[ct.CANOPY_SNATCH] = 0.0
                continue
            rate = harness.stiffness * draw.harness[which, OF_HARNESS.index("stiffness")] / harness.length
            reduced = kept * loose / (kept + loose)
            row[ct.CANOPY_CORD_SHARE] = loose / (kept + loose)
            # the pieces fly apart at impulse/reduced mass until the harness has taken that energy up as a spring
            row[ct.CANOPY_SNATCH] = harness.impulse * math.sqrt(rate / reduced)

    def cut(self, canopy: int, first: int, last: int) -> _Cut:
        """Return how a canopy's ejection divides the stages first .. last flying together."""
        key = canopy, first, last
        if key not in self.cuts:
            self.cuts[key] = _cut(self.mission, self.canopy_stage[canopy], self.mission.harness[self.harnesses[canopy]].separation_station, first, last)
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
        """Return which canopies stay with the piece that keeps `canopy` when its harness has parted."""
        harness, stage = self.mission.harness[self.harnesses[canopy]], self.canopy_stage[canopy]
        found = []
        for each, own in enumerate(canopies(self.mission)):
            fore = own.station < harness.separation_station
            found.append(each == canopy or (self.canopy_stage[each] == stage and fore == (harness.canopy_on == "fore")))
        return found

    def piece_models(self, canopy: int, body: _Body, draw: FlightDraw) -> tuple[ct.Model, ct.Model]:
        """Return the models of the two pieces of a body whose harness has parted, the one that keeps the canopy first.

        Each has the drag of its side area whichever way it turns; that which keeps the canopy hangs from it by its fore end.
        """
        first, last = body.first, body.last
        unlit = {k for k in range(first, last) if body.work.stage[k, ly.ST_BURNOUT] < 0.0}
        if body.work.hand[ly.H_LIT] == ly.UNLIT:
            unlit.add(last)
        cut, which, stage = self.cut(canopy, first, last), self.harnesses[canopy], self.canopy_stage[canopy]
        harness, ends = self.mission.harness[which], (0.0, cut.at)
        sides = tuple(zip(cut.areas, ends)) if harness.canopy_on == "fore" else tuple(zip(cut.areas, ends))[::-1]
        drags = (
            self.mission.stage[stage].hanging_drag * draw.stage[stage, OF_STAGE.index("hanging_drag")],
            harness.tumbling_drag * draw.harness[which, OF_HARNESS.index("tumbling_drag")],
        )
        none = np.zeros((0, ct.GRAIN_COLUMNS))
        return tuple(
            body.model._replace(mass=table_of([_extended(lump)], none), tumble_area=float(drag * area), leg=body.model.leg._replace(nose_x=fore_end))
            for lump, drag, (area, fore_end) in zip(self.pieces(canopy, first, last, unlit, draw), drags, sides)
        )


MOST_KEPT = 8  # plans of missions flown lately: some 100 kB each
_kept: OrderedDict[tuple, tuple[Mission, tuple, Plan]] = OrderedDict()
_keeping = threading.Lock()


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


def stage_draw(draw: FlightDraw, stage: int, controls: int, body: int = 0) -> Draw:
    """Return the kernel's draw of a body that consists of one stage; controls : how many control fins it has."""
    fields = dict(zip(COMMON, draw.common)) | dict(zip(OF_STAGE, draw.stage[stage]))
    del fields["ignition_delay"], fields["hanging_drag"]
    fields["flight"] += body * OTHER_BODY
    return Draw(**{name: float(value) for name, value in fields.items()}, centring=np.array(draw.centring[:controls]))


def _extended(lump: Lump) -> Lump:
    """Return a piece that can turn: one of nothing but point masses on the axis has no inertia, and gets that of a small ball."""
    least = lump.mass * LEAST_GYRATION**2
    return lump._replace(inertia=lump.inertia + np.diag(np.maximum(least - np.diag(lump.inertia), 0.0)))


def _drawn_lump(lump: Lump, row: np.ndarray) -> Lump:
    """Return a stage's dry lump with its draw: mass (inertia goes with it), centre, inertia."""
    mass, x, y, z, inertia = (row[OF_STAGE.index(name)] for name in OF_MASS)
    return Lump(lump.mass * mass, lump.place + np.array([x, y, z]), lump.inertia * (mass * inertia))


class _Cut(NamedTuple):
    """What lies ahead of a station of a body and behind it.

    (stage, lump) of what does not burn and of full grains; side areas, m^2; masses (2: fore, aft; stages) of what does not burn
    and of full grains, kg; the station itself, of the stages together.
    """

    fore: list[tuple[int, Lump]]
    aft: list[tuple[int, Lump]]
    fore_grains: list[tuple[int, Lump]]
    aft_grains: list[tuple[int, Lump]]
    areas: tuple[float, float]
    masses: tuple[np.ndarray, np.ndarray]
    at: float


def _cut(mission: Mission, stage: int, station: float, first: int, last: int) -> _Cut:
    """Return the stages first .. last divided at a station of `stage`."""
    stages = range(first, last + 1)
    shape = shape_of([mission.stage[k] for k in stages])
    motors = placed_motors(mission, stages, shape)
    dry = [(k, lump) for number, k in enumerate(stages) for _, lump in part_lumps(shape, number, mission.stage[k])]
    dry += [(k, case_lump(placed)) for k, each in zip(stages, motors) for placed in each]
    grains = [(k, full_grain(placed)) for k, each in zip(stages, motors) for placed in each]
    at = shape.stage_x0[stage - first] + station

    def side(rows, fore: bool):
        return [row for row in rows if (row[1].place[0] < at) == fore]

    def masses(rows):
        return np.array([[sum(lump.mass for k, lump in side(rows, fore) if k == stage) for stage in stages] for fore in (True, False)])

    areas = _side_area(shape, at, True), _side_area(shape, at, False)
    sides = side(dry, True), side(dry, False), side(grains, True), side(grains, False)
    return _Cut(*sides, areas, (masses(dry), masses(grains)), float(at))


def _side_area(shape, station: float, fore: bool) -> float:
    """Return the body's side area ahead of a station (m^2), or behind it."""
    x = np.linspace(0.0, station, 513) if fore else np.linspace(station, shape.length, 513)
    width = 2.0 * np.array([shape.radius(float(each)) for each in x])
    return float(np.sum(0.5 * (width[1:] + width[:-1]) * np.diff(x)))


# ---------------------------------------------------------------- flying


class Flier:
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
            "summary": (len(ly.SUMMARY),),
            "passed": self._work(0, 0, plan.count - 1).passed.shape,
            "body": (bodies, len(BODY_FACTS)),
            "joint": (plan.count - 1, len(JOINT_FACTS)),
            "rule": (len(plan.triggers), len(RULE_FACTS)),
            "canopy": (len(plan.canopies), len(CANOPY_FACTS)),
            "failure": (len(plan.names),),
        }

    def fly(self, draw: FlightDraw, *, log_others: bool = True) -> Flown:
        """Fly once. log_others : keep the logs of the other bodies too, not of the front one alone."""
        plan = self.plan
        last = plan.count - 1
        whole = plan.model(0, last)
        work = self._work(0, 0, last)
        plan.prepare(work, draw)
        work.hand[ly.H_GOES_ON] = 0.0
        facts = _Facts(plan)
        front = _Body(0, 0, last, work, make_events(whole), make_summary())
        waiting, landed = [front], []
        while waiting:
            body = waiting.pop(0)
            logged = body is front or log_others
            while self._leg(body, draw, facts, waiting, logged):
                pass
            landed.append(body)
        facts.work_out_gaps()
        return self._flown(landed, facts, draw)

    def _leg(self, body: _Body, draw: FlightDraw, facts: _Facts, waiting: list[_Body], logged: bool) -> bool:
        """Fly one leg of a body; return whether it goes on as another. What parted from it waits."""
        if body.model is None:
            body.model, body.draw = self.plan.leg(body.first, body.last, draw, body.index)
        if body.whole:
            self.plan.load_harnesses(body.work, body.first, body.last, draw)
            facts.snatched(body)
        body.work.trace[:] = np.nan
        log = self._log(body.model)
        code, _, rows = fly(body.model, body.draw, body.work, log if logged else log[:0], body.events, body.summary)
        if rows:
            body.log.append(wide_log(log[:rows], self.fins) if self.columns is None else log[:rows, self.columns])
        if self.laws.overran(body.work):
            code = ly.LAW_NONSENSE
        body.status = code
        if code in (ly.LAW_FAILED, ly.LAW_NONSENSE):
            self.failed = body.work
        if body.since is not None:
            facts.traces[body.since] = body.work.trace.copy()
        if code == ly.PARTED:
            self._part(body, draw, facts, waiting)
            return True
        if code == ly.CORD_PARTED:
            self._come_loose(body, draw, facts, waiting)
            return True
        return False

    def _part(self, body: _Body, draw: FlightDraw, facts: _Facts, waiting: list[_Body]) -> None:
        """Divide a body at a joint: `body` goes on as what is ahead of it, what is behind waits its turn."""
        plan, hand, k = self.plan, body.work.hand, int(body.work.hand[ly.H_WHICH])
        stack, stack_draw = body.model, body.draw
        fore = plan.leg(body.first, k - 1, draw, body.index)
        aft = plan.leg(k, body.last, draw, k)
        charge = plan.mission.stage[k].joint.impulse * draw.joint[k, OF_JOINT.index("impulse")]
        turn = [draw.joint[k, OF_JOINT.index(name)] for name in ("tilt_y", "tilt_z")]
        halves = part(hand, (stack, stack_draw), fore, aft, charge if hand[ly.H_CAUSE] == ly.BY_COMMAND else 0.0, turn)
        facts.parted(k, hand, halves.speed, body.events)

        other = self._work(k, k, body.last)
        hand_over(body.work, other)
        other.laws[:] = 0
        other.hand[:] = halves.aft
        behind = _Body(k, k, body.last, other, body.events.copy(), body.summary.copy(), *aft, (k, BEHIND))
        waiting.append(behind)

        ahead = self._work(body.index, body.first, k - 1)
        hand_over(body.work, ahead)
        ahead.hand[:] = halves.fore
        body.work, body.last = ahead, k - 1
        (body.model, body.draw), body.since = fore, (k, AHEAD)
        for work, stages, model in ((ahead, range(body.first, k), fore[0]), (other, range(k, behind.last + 1), aft[0])):
            hangs = any(_stretched(work, c) for c, stage in enumerate(plan.canopy_stage) if stage in stages)
            work.hand[ly.H_PHASE] = float(CANOPY if hangs else FREE)
            work.hand[ly.H_DRAG_AREA] = min(work.hand[ly.H_DRAG_AREA], model.tumble_area)  # a part has no more than it can have
        for each, stage in enumerate(plan.canopy_stage):  # a command reaches no canopy on the other side
            work = ahead if stage >= k else other
            work.canopy[each, ct.CANOPY_FAILS] = 1.0
            work.opened[each] = min(work.opened[each], ct.LOST) if work.opened[each] >= 0.0 else work.opened[each]

    def _come_loose(self, body: _Body, draw: FlightDraw, facts: _Facts, waiting: list[_Body]) -> None:
        """Divide a body whose harness has parted: `body` keeps the canopy, the loose piece waits its turn."""
        plan, c = self.plan, int(body.work.hand[ly.H_WHICH])
        facts.broken.add(f"harness_breaks: {plan.canopies[c]}")
        body.since = None
        stage = plan.canopy_stage[c]
        other = _copy(body.work)
        other.laws[:] = 0
        body.model, fallen = plan.piece_models(c, body, draw)
        # masses are this flight's already
        body.draw = body.draw._replace(**{name: _NEUTRAL.get(name, 0.0) for name in OF_MASS})
        body.whole = False
        for work, piece in ((body.work, body.model), (other, fallen)):  # what is left falls as it is: it parts and burns no more
            work.hand[ly.H_PHASE], work.hand[ly.H_DRAG_AREA] = float(CANOPY), piece.tumble_area
            work.hand[ly.H_LIT] = ly.UNLIT
            work.stage[:, ly.ST_NO_PARTING] = work.stage[:, ly.ST_NO_IGNITION] = 1.0
        loose = _Body(plan.count + plan.harnesses[c], stage, stage, other, body.events.copy(), body.summary.copy(), fallen, body.draw, whole=False)
        for each, kept in enumerate(plan.on_kept_piece(c)):
            for work, has in ((body.work, kept), (other, not kept)):
                if not has:
                    work.canopy[each, ct.CANOPY_FAILS] = 1.0
                    work.opened[each] = ct.LOST if work.opened[each] >= 0.0 else work.opened[each]
                work.canopy[each, ct.CANOPY_CORD_SHARE] = work.canopy[each, ct.CANOPY_SNATCH] = 0.0
                work.canopy[each, ct.CANOPY_CORD_STRENGTH] = math.inf
        waiting.append(loose)

    # ---------------------------------------------------------------- facts

    def _flown(self, bodies: list[_Body], facts: _Facts, draw: FlightDraw) -> Flown:
        plan, front = self.plan, bodies[0]
        names = plan.bodies
        events = np.full((len(names), *front.events.shape), np.nan)
        rows = np.full((len(names), len(BODY_FACTS)), np.nan)
        rows[:, BODY_FACTS.index("descent")], rows[:, BODY_FACTS.index("body_status")] = NOT_DOWN, UNREACHED
        width = ly.LOG_COLUMNS + 3 * self.fins + len(ly.SENSED) if self.columns is None else len(self.columns)
        logs = [np.zeros((0, width))] * len(names)
        of_rule = np.full((len(plan.triggers), len(RULE_FACTS)), np.nan)
        for body in bodies:
            stages = range(body.index, body.last + 1) if body.index < plan.count else (body.index,)
            for k in stages:  # stages that never parted share the fate of the body they are in
                events[k], rows[k] = body.events, _body_facts(body, plan)
                if body.log:
                    logs[k] = np.concatenate(body.log)
            if body.index < plan.count:
                _rule_facts(plan, stages, body.work.rules, of_rule)
                facts.still_joined(body)
            facts.canopies(body)
        hand = front.work.hand
        return Flown(
            front.status,
            float(hand[ly.H_TIME]),
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


def _body_facts(body: _Body, plan: Plan) -> np.ndarray:
    """Return where, when, how fast and how a body came down (BODY_FACTS)."""
    facts = np.full(len(BODY_FACTS), np.nan)
    hand = body.work.hand
    facts[BODY_FACTS.index("descent")], facts[BODY_FACTS.index("body_status")] = NOT_DOWN, body.status
    facts[BODY_FACTS.index("body_landing_mass")] = hand[ly.H_MASS]
    facts[BODY_FACTS.index("time_falling_incidence") :] = body.work.tally[T_FALL_INCIDENCE : T_FALL_CRISIS + 1]
    if body.status != ly.LANDED_OK:
        return facts
    row = dict(zip(ly.EVENT_COLUMNS, body.events[ly.E_LANDING]))
    speed = math.hypot(row["velocity_east"], row["velocity_north"], row["velocity_up"])
    fall = row["time"] - body.events[ly.E_APOGEE, 0]
    energy = 0.5 * hand[ly.H_MASS] * speed**2
    facts[:8] = row["time"], row["east"], row["north"], speed, energy, hand[ly.H_MASS], fall, _descent(body, plan)
    if hand[ly.H_PHASE] != CANOPY:
        facts[BODY_FACTS.index("descent_incidence")] = last_incidence(body.work.tally)[0]
    return facts


def _descent(body: _Body, plan: Plan) -> int:
    if body.work.hand[ly.H_PHASE] == CANOPY:
        own = [c for c, stage in enumerate(plan.canopy_stage) if stage in range(body.first, body.last + 1)]
        return UNDER_CANOPY if any(_stretched(body.work, c) for c in own) else TUMBLING
    mean, least, largest = last_incidence(body.work.tally)
    if largest - least > TUMBLES:
        return TUMBLING
    if NOSE_CONE < mean < math.pi - NOSE_CONE:
        return BROADSIDE
    return NOSE_FIRST if mean <= NOSE_CONE else TAIL_FIRST


def _stretched(work: Work, canopy: int) -> bool:
    """Return whether a canopy pulls at the end of a leg: it has been released and its lines are stretched."""
    released = work.opened[canopy]
    return released >= 0.0 and released + work.canopy[canopy, ct.CANOPY_WAIT] <= work.hand[ly.H_TIME] + INSTANT


def _rule_facts(plan: Plan, stages, state: np.ndarray, out: np.ndarray) -> None:
    """Fill the facts of the rules that a body's own flight computer ran."""
    for i, each in enumerate(plan.triggers):
        if each.owner in stages:
            out[i] = np.where(state[i] < 0.0, np.nan, state[i])


class _Facts:
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

    def parted(self, k: int, hand: np.ndarray, speed: float, events: np.ndarray) -> None:
        """Note how a joint parted; its row of drag parting is cleared for the next joint."""
        self.joint[k, :3] = hand[ly.H_TIME], hand[ly.H_CAUSE], speed
        self.joint[k, JOINT_FACTS.index("drag_separation_time")] = events[ly.E_DRAG_PARTING, 0]
        events[ly.E_DRAG_PARTING] = np.nan

    def snatched(self, body: _Body) -> None:
        """Note what the ejections of the canopies a body still carries would snatch their harnesses with."""
        for c in self.plan.harnesses:
            if body.first <= self.plan.canopy_stage[c] <= body.last and body.work.opened[c] < 0.0:
                self.snatch[c] = body.work.canopy[c, ct.CANOPY_SNATCH]

    def still_joined(self, body: _Body) -> None:
        """Note the drag at the aft joint of a body that never parted there."""
        if body.last > body.first:
            self.joint[body.last, JOINT_FACTS.index("drag_separation_time")] = body.events[ly.E_DRAG_PARTING, 0]

    def work_out_gaps(self) -> None:
        """Work out how the gap at each joint went, from the traces of the bodies on either side."""
        for (k, side), behind in self.traces.items():
            ahead = self.traces.get((k, AHEAD))
            if side != BEHIND or ahead is None:
                continue
            found = gap_history(ahead, behind, self.plan.radii[k - 1] + self.plan.radii[k])
            self.gaps[k] = found.rows
            self.joint[k, JOINT_FACTS.index("gap_min") :] = found.least, found.recontact

    def canopies(self, body: _Body) -> None:
        """Note deployment and loads of the canopies a body carries, and those it lost by load."""
        work, plan, speed = body.work, self.plan, ly.EVENT_COLUMNS.index("airspeed")
        for c, name in enumerate(plan.canopies):
            row, stretched = (body.events[len(ly.EVENTS) + c + more] for more in (0, len(plan.canopies)))
            if work.canopy[c, ct.CANOPY_FAILS] > 0.5 or not np.isfinite(row[0]):
                continue
            pull = work.pull[c] if np.isfinite(stretched[0]) else math.nan
            self.canopy[c] = pull, self.snatch[c], row[speed], stretched[speed]
            if work.opened[c] == ct.LOST:
                self.broken.add(f"canopy_lost: {name}")

    def failures(self, draw: FlightDraw) -> np.ndarray:
        """Return 1 for everything that went wrong, drawn or by load, (failures,)."""
        happened = np.array([name in self.broken for name in self.plan.names], dtype=float)
        happened[: len(draw.failure)] = np.maximum(happened[: len(draw.failure)], draw.failure)
        return happened


# ---------------------------------------------------------------- from one body's scratch arrays to another's

_OF_FINS = ("fin_command", "issued", "targets", "fins", "motors", "health", "hinge")  # last axis: control fins, front stage first
_OWN = ("laws", "guidance_gains", "gains", "memory", "air", "seen", "trace", "hand", "trial")


def hand_over(source: Work, target: Work) -> None:
    """Copy what a flight computer and its servos know from one body to another; fins that are not there are left out."""
    for name, values in source._asdict().items():
        mine = getattr(target, name)
        if name in _OF_FINS:
            kept = min(values.shape[-1], mine.shape[-1])
            mine[..., :kept] = values[..., :kept]
        elif name not in _OWN:
            mine[...] = values
    if source.memory.shape == target.memory.shape:
        target.memory[:] = source.memory


def _copy(work: Work) -> Work:
    return Work(*(values.copy() for values in work))


def wide_log(rows: np.ndarray, fins: int) -> np.ndarray:
    """Return rows of a body's log with places for `fins` control fins, NaN for those the body does not have."""
    readings = len(ly.SENSED)
    own = (rows.shape[1] - ly.LOG_COLUMNS - readings) // 3
    wide = np.full((len(rows), ly.LOG_COLUMNS + 3 * fins + readings), np.nan)
    wide[:, : ly.LOG_COLUMNS] = rows[:, : ly.LOG_COLUMNS]
    for k in range(3):
        first = ly.LOG_COLUMNS + k * fins
        wide[:, first : first + own] = rows[:, ly.LOG_COLUMNS + k * own : ly.LOG_COLUMNS + (k + 1) * own]
    wide[:, ly.LOG_COLUMNS + 3 * fins :] = rows[:, ly.LOG_COLUMNS + 3 * own :]
    return wide

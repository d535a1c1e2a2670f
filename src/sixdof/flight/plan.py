"""What a mission may fly as: the tables of every body it may divide into, the same for all flights."""

from __future__ import annotations

import threading
from collections import OrderedDict

import numpy as np

from sixdof._jit import lend, lend_all
from sixdof.autopilot.canopies import canopy_stages
from sixdof.autopilot.rules import triggers
from sixdof.core import types as ct
from sixdof.core.columns import PanelColumn
from sixdof.core.draw import Draw, FlightDraw
from sixdof.core.leg.work import Work, make_work
from sixdof.core.types import Mass
from sixdof.core.whole.segment import fit_segment, load_first, prepare_first
from sixdof.core.whole.tables import LUMP_COLUMNS, Staging
from sixdof.flight.model import build_model
from sixdof.flight.staging import staging_of
from sixdof.mission.mission import Mission
from sixdof.results.names import body_names, canopy_names, failure_names
from sixdof.vehicle.geometry import Shape, shape_of

MOST_KEPT = 64  # plans of missions flown lately: some 100 kB each
_kept: OrderedDict[tuple, tuple[Mission, tuple, Plan]] = OrderedDict()
_keeping = threading.Lock()


class Plan:
    """The tables of every body a mission may fall into, made when they are first needed."""

    def __init__(self, mission: Mission, log_rate: float | None = None):
        self.mission, self.log_rate = mission, log_rate
        self.count = len(mission.stage)
        self.models: dict[tuple[int, int], ct.Model] = {}
        self.triggers = triggers(mission)
        self.names, self.bodies, self.canopies = failure_names(mission), body_names(mission), canopy_names(mission)
        self.canopy_stage = canopy_stages(mission)
        self.shapes: dict[tuple[int, int], Shape] = {}
        self._staging = self._lent = None
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

    @property
    def stacks(self) -> list[tuple[int, int]]:
        """The stages (first, last) of every body that the stages may make."""
        return [(first, last) for first in range(self.count) for last in range(first, self.count)]

    @property
    def staging(self) -> Staging:
        """The tables of stages, joints, canopies and harnesses, lent to the kernels."""
        if self._staging is None:
            self._staging = lend(staging_of(self.mission, {key: self.shape(*key) for key in self.stacks}))
        return self._staging

    def lent_models(self):
        """Return the models as the kernels take them: by the number of a body, first * stages + last, the whole stack's where there is none."""
        rows = {key: self.model(*key) for key in self.stacks}
        if self._lent is None or any(rows[key] is not model for key, model in self._lent[0].items()):
            whole = rows[0, self.count - 1]
            self._lent = rows, lend_all(rows.get(divmod(number, self.count), whole) for number in range(self.count**2))
        return self._lent[1]

    @property
    def most_lumps(self) -> int:
        """How many lumps a body consists of at most."""
        staging = self.staging
        return int(max(np.diff(staging.lump_first).max(initial=0), np.diff(staging.cut_first).max(initial=0)))

    def prepare(self, work: Work, draw: FlightDraw) -> None:
        """Fill in `work` what a draw says of stages, canopies and rules."""
        prepare_first(self.staging, lend(self.model(0, self.count - 1)), packed_one(draw), lend(work))

    def load_harnesses(self, work: Work, first: int, last: int, draw: FlightDraw) -> None:
        """Fill in `work` what the harnesses of the stages first .. last, flying together, carry as their canopies are ejected."""
        load_first(self.staging, first, last, packed_one(draw), lend(work), np.zeros(self.count), np.zeros(len(self.canopies)))

    def segment(self, first: int, last: int, draw: FlightDraw) -> tuple[ct.Model, Draw]:
        """Return the model of the stages first .. last with what a draw makes of their mass and drag, and the draw of thrust and air."""
        model = self.model(first, last)
        work = make_work(model)
        numbers = fit_segment(self.staging, lend(model), packed_one(draw), np.zeros((self.most_lumps, LUMP_COLUMNS)), lend(work))
        *mass, fore_mass, hanging_area, _ = work.airframe.tolist()
        panel = model.aero.panel.copy()
        panel[:, PanelColumn.CANT] = work.cant
        model = model._replace(
            mass=Mass(*mass, work.grain), aero=model.aero._replace(panel=panel), leg=model.leg._replace(fore_mass=fore_mass), tumble_area=hanging_area
        )
        return model, Draw(*map(float, numbers), work.centring)


def packed_one(draw: FlightDraw) -> FlightDraw:
    """Return one flight's draw as packed draws of one."""
    return FlightDraw(*(np.array(a[None], dtype=float) for a in draw))


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

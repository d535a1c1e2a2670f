"""One nominal flight by the shipped kernel, ready to be flown again and again: whole, or of one stage up to apogee."""

from __future__ import annotations

import math

import numpy as np

from sixdof._jit import lend
from sixdof.core.flight.fly import fly
from sixdof.core.layout import Outcome
from sixdof.core.leg.work import make_events, make_log, make_summary, make_work
from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.packed import kernel_draw, nominal_draw
from sixdof.flight.laws import bind
from sixdof.flight.model import build_model
from sixdof.flight.plan import plan_of
from sixdof.flight.runner import FlightRunner, blank_block


class WholeFlight:
    """Every body of a mission to the ground, so many nominal flights in one call of the kernel, as ensembles fly them."""

    def __init__(self, mission, count: int):
        self.plan, nominal = plan_of(mission), nominal_draw(mission)
        self.runner = FlightRunner(self.plan, bind(None, None), 0)
        self.draws = FlightDraw(*(np.repeat(a[None], count, axis=0) for a in nominal))
        self.block = blank_block(self.plan, count, self.runner.track)
        self.flown = self.runner.run(nominal, log_others=False)

    def fly(self) -> None:
        self.runner.fly(self.draws, self.block)


class Ascent:
    """A vehicle of one stage from the rail to the tick after its apogee, the kernel alone."""

    def __init__(self, mission):
        self.model, self.draw = build_model(mission), kernel_draw(mission)
        self.work, self.log = make_work(self.model), make_log(self.model, 0)
        self.events, self.summary = make_events(self.model), make_summary()
        self.lent = lend(self.model), lend(self.draw), lend(self.work)
        self.fly()
        period = self.model.computer.period
        limit = (math.floor(self.summary[Outcome.APOGEE_TIME] / period) + 1) * period - 1e-6
        self.model = self.model._replace(time_limit=limit)
        self.lent = lend(self.model), *self.lent[1:]

    def fly(self) -> None:
        fly(*self.lent, self.log, self.events, self.summary)

    @property
    def apogee(self) -> np.ndarray:
        """Time, east, north and height of the apogee."""
        return self.summary[[Outcome.APOGEE_TIME, Outcome.APOGEE_EAST, Outcome.APOGEE_NORTH, Outcome.APOGEE_HEIGHT]]

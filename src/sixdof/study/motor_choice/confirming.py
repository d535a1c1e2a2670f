"""Measurements that the straight lines of `measurement.py` say would change the answer, flown: every flight again with the number measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.table import make_draws
from sixdof.ensemble.run import disperse
from sixdof.mission.mission import Mission
from sixdof.results.dataset import input_name
from sixdof.study.motor_choice.deciding import best_of, standing_of, values_of
from sixdof.study.motor_choice.measurement import Flip, Probe, Question, verdict_number
from sixdof.study.motor_choice.thrust_to_weight import thrust_to_weight

HALVINGS = 4  # of the way from the median to the end of the draws
TRIED = 4  # measurements that are flown at most


class Flyer:
    """Flies motors with one input measured, and picks the best one again. options : of `disperse`, with flights and seed."""

    def __init__(
        self,
        question: Question,
        missions: Mapping[str, Mission],
        ensembles: Mapping[str, xr.Dataset],
        numbers: Mapping[str, Mapping[str, float]],
        options: Mapping[str, Any],
    ):
        self.question, self.missions, self.ensembles, self.numbers = question, missions, ensembles, numbers
        self.options = {key: value for key, value in options.items() if key not in ("flights", "seed")}
        self.flights, self.seed = options["flights"], options["seed"]

    def answer(self, probe: Probe, value: float) -> str:
        """Return the name of the best motor with an input measured, "" for none."""
        flown = {name: self._flown(name, probe, value) if probe.motor in ("", name) else ds for name, ds in self.ensembles.items()}
        question = self.question
        verdicts = [
            [verdict_number(int((~one.holds(ds)[0]).sum()), ds.sizes["flight"], one.share, question.confidence) for one in question.criteria]
            for ds in flown.values()
        ]
        worth = values_of(flown, self.numbers, question.wishes)
        best = best_of([standing_of(np.array(row)) for row in verdicts], worth, question.wishes)
        return "" if best is None else question.names[best]

    def _flown(self, name: str, probe: Probe, value: float) -> xr.Dataset:
        mission = self.missions[name]
        table = measured_draws(make_draws(mission, self.flights, seed=self.seed), probe.name, value)
        ds = disperse(mission, draws=table, tracks="none", progress=False, **self.options).load()
        return ds.assign({name: ("flight", values) for name, values in thrust_to_weight(mission, ds).items()})


def measured_draws(table: xr.Dataset, name: str, value: float) -> xr.Dataset:
    """Return a table of draws with one input, such as "vehicle_mass[drayhorse]", the same in all flights."""
    stem, _, thing = name.partition("[")
    own = next(one for one in table.data_vars if input_name(str(one)) == stem)
    drawn = table[own].copy(deep=True)
    if thing:
        dim = next(dim for dim in drawn.dims if dim != "flight")
        drawn.loc[{dim: _label(table[dim].values, thing.removesuffix("]"))}] = value
    else:
        drawn[:] = value
    return table.assign({own: drawn})


def _label(labels: np.ndarray, text: str):
    return next(label for label in labels.tolist() if str(label) == text)


def confirmed(flyer: Flyer, flips: Sequence[Flip], base: str) -> list[Flip]:
    """Return flips, the first one that flights bear out in front with the number they give, those that they do not omitted.

    Those that turn a verdict alone are left as they are.
    """
    asked, others = [flip for flip in flips if not flip.verdict], [flip for flip in flips if flip.verdict]
    for tried, flip in enumerate(asked[:TRIED]):
        known = flip.value == flip.probe.middle
        end = flip.value if known else flip.probe.low if flip.below else flip.probe.high
        to = flyer.answer(flip.probe, end)
        if to != base:
            value, to = (end, to) if known else _halved(flyer, flip, base, end, to)
            share = 1.0 if known else flyer.question.beyond(flip.probe, value, flip.below)
            return [replace(flip, value=value, to=to, share=share, flown=True), *asked[tried + 1 :], *others]
    return [*asked[TRIED:], *others]


def _halved(flyer: Flyer, flip: Flip, base: str, end: float, to: str) -> tuple[float, str]:
    """Return where flights change the answer between the median and the end of the draws, and the best motor there."""
    near, far = flip.probe.middle, end
    for _ in range(HALVINGS):
        middle = 0.5 * (near + far)
        best = flyer.answer(flip.probe, middle)
        near, far, to = (middle, far, to) if best == base else (near, middle, best)
    return far, to

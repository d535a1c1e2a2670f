"""Which single measurement would change the answer, estimated from the flights flown.

A measurement replaces what is drawn of one input by one number in every flight. What an outcome would then be follows from a straight line through all
measurable inputs of the ensemble: flight by flight, the outcome moved along the slope from the number drawn to the number measured. What counts (waypoints
captured, a flag, a function) has a share of flights instead, which moves along its own line. At every such number the criteria are judged again, as
`judge_criteria` does, and the best motor is picked again. `confirming.py` then flies what is found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import xarray as xr

from sixdof.study.motor_choice.deciding import best_of, standing_of
from sixdof.study.motor_choice.preference import Wish
from sixdof.study.uncertainty.claims import FAIL, PASS, judge
from sixdof.study.uncertainty.inputs import inputs_of
from sixdof.study.variants.criteria import Criterion
from sixdof.study.variants.judging import VERDICTS

# what can be measured before the flight, and how; the wind on the day
MEASURABLE = {
    "vehicle_mass": "weigh it",
    "vehicle_cg": "balance it",
    "vehicle_inertia": "swing it",
    "aero_drag": "drag of a flight, or of a wind tunnel",
    "aero_normal_force": "normal force in a wind tunnel",
    "aero_cp": "centre of pressure in a wind tunnel",
    "aero_fin_cant": "measure the fins' cant",
    "motor_impulse": "test firings of the lot",
    "motor_burn_time": "test firings of the lot",
    "canopy_drag": "drop it with a weight",
    "wind_speed": "the wind on the day",
}
OF_MOTOR = ("motor_impulse", "motor_burn_time")  # each motor has its own
ENDS, POINTS = (0.01, 0.99), 41  # quantiles of an input between which it is looked at, and at how many numbers
SURE = 3.0  # standard errors from zero of a slope that counts: of twenty inputs one is beyond two by chance
FEW = 12  # an outcome of so few different values counts something


@dataclass(frozen=True)
class Probe:
    """One measurement. name : the input's. motor : whose it is, "" of all. units, middle (median), low, high : of the input."""

    name: str
    motor: str
    units: str
    middle: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.name} of {self.motor}" if self.motor else self.name

    @property
    def stem(self) -> str:
        return self.name.partition("[")[0]


class Question:
    """The decision as a function of one input: ensembles by motor, criteria, wishes, judged with one confidence.

    numbers : (motors, wishes), what each is worth. chosen : the stage of the motor.
    """

    def __init__(
        self, ensembles: Mapping[str, xr.Dataset], criteria: Sequence[Criterion], wishes: Sequence[Wish], numbers: np.ndarray, confidence: float, chosen: str
    ):
        self.names, self.criteria, self.wishes = list(ensembles), list(criteria), list(wishes)
        self.numbers, self.confidence, self.chosen = numbers, confidence, chosen
        self.inputs = {name: _measurable(ds) for name, ds in ensembles.items()}
        self.moved = {name: self._lines(ensembles[name], self.inputs[name]) for name in self.names}

    def _lines(self, ds: xr.Dataset, inputs: xr.Dataset) -> list:
        held = [_criterion_line(one, ds, inputs) for one in self.criteria]
        worth = [None if wish.subject is None else _Line.through(wish.subject.array(ds).values, inputs) for wish in self.wishes]
        return [*held, *worth]

    def flights_needed(self) -> int:
        """Return the fewest flights from which all slopes can be told apart."""
        return 2 * (1 + max(len(inputs.data_vars) for inputs in self.inputs.values()))

    def probes(self) -> list[Probe]:
        """Return every measurement that can be asked about."""
        found = []
        for name, v in self.inputs[self.names[0]].data_vars.items():
            own = name.partition("[")[0] in OF_MOTOR and ("[" not in name or name.endswith(f"[{self.chosen}]"))
            low, middle, high = np.quantile(v.values, (ENDS[0], 0.5, ENDS[1]))
            found += [Probe(str(name), motor, v.attrs.get("units", "1"), middle, low, high) for motor in (self.names if own else [""])]
        return found

    def beyond(self, probe: Probe, value: float, below: bool) -> float:
        """Return the share of the draws of an input at a number or beyond it."""
        drawn = self.inputs[self.names[0]][probe.name].values
        return float(np.mean(drawn <= value if below else drawn >= value))

    def answer(self, probe: Probe | None = None, value: float = np.nan) -> tuple[int | None, np.ndarray]:
        """Return the number of the best motor and all verdicts (motors, criteria) with an input measured, or with none."""
        verdicts = np.zeros((len(self.names), len(self.criteria)), dtype=int)
        worth = self.numbers.copy()
        for k, name in enumerate(self.names):
            lines = self.moved[name]
            at = (probe.name, value) if probe is not None and probe.motor in ("", name) else None
            for c, one in enumerate(self.criteria):
                verdicts[k, c] = verdict_number(lines[c].failures(at), lines[c].flights, one.share, self.confidence)
            for j, line in enumerate(lines[len(self.criteria) :]):
                if line is not None:
                    worth[k, j] = line.median(at)
        return best_of([standing_of(row) for row in verdicts], worth, self.wishes), verdicts


@cache
def verdict_number(failures: int, flights: int, share: float, confidence: float) -> int:
    """Return the flag of the verdict on so many failures."""
    return VERDICTS.index(judge(np.arange(flights) >= failures, share, confidence).verdict)


def _measurable(ds: xr.Dataset) -> xr.Dataset:
    try:
        found = inputs_of(ds)
    except ValueError:  # nothing is drawn
        return xr.Dataset()
    return found[[name for name in found.data_vars if str(name).partition("[")[0] in MEASURABLE]]


class _Line:
    """An outcome (flights,) and its slopes along the inputs. limit, above : of a criterion; share : whether the outcome is 1 where one is met."""

    def __init__(self, values: np.ndarray, inputs: xr.Dataset, slopes: dict[str, float]):
        self.values, self.inputs, self.slopes = values, inputs, slopes
        self.flights = values.size
        self.limit, self.above, self.strict, self.share = np.nan, False, False, False

    @classmethod
    def through(cls, values: np.ndarray, inputs: xr.Dataset) -> _Line:
        known = np.isfinite(values)
        columns = np.column_stack([inputs[name].values for name in inputs.data_vars]) if inputs.data_vars else np.empty((values.size, 0))
        slopes = dict.fromkeys(map(str, inputs.data_vars), 0.0)
        if columns.shape[1] and known.sum() >= 2 * (columns.shape[1] + 1):
            x = columns[known] - columns[known].mean(axis=0)
            scale = np.where(x.std(axis=0) > 0.0, x.std(axis=0), 1.0)
            slopes = dict(zip(slopes, map(float, _sure_slopes(x / scale, values[known] - values[known].mean()) / scale), strict=True))
        return cls(values, inputs, slopes)

    def at(self, measured: tuple[str, float] | None) -> np.ndarray:
        if measured is None or measured[0] not in self.slopes:
            return self.values
        name, value = measured
        return self.values + self.slopes[name] * (value - self.inputs[name].values)

    def median(self, measured) -> float:
        values = self.at(measured)
        return float(np.median(values[np.isfinite(values)])) if np.isfinite(values).any() else np.nan

    def failures(self, measured) -> int:
        values = self.at(measured)
        if self.share:
            return round(float(self.flights * (1.0 - np.clip(values.mean(), 0.0, 1.0))))
        compare = (np.greater if self.strict else np.greater_equal) if self.above else (np.less if self.strict else np.less_equal)
        return int(self.flights - compare(values, self.limit).sum())  # comparisons with NaN are False


def _sure_slopes(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the least-squares slopes of y (n,) along columns x (n, k) about their means, 0 for those that may be chance."""
    inverse = np.linalg.pinv(x.T @ x, rcond=1e-10)
    slopes = inverse @ (x.T @ y)
    left = y - x @ slopes
    error = np.sqrt(np.clip(np.diag(inverse), 0.0, None) * (left @ left) / (len(y) - 1 - x.shape[1]))
    return np.where(np.abs(slopes) > SURE * error, slopes, 0.0)


def _criterion_line(one: Criterion, ds: xr.Dataset, inputs: xr.Dataset) -> _Line:
    values = None if one.subject is None or one.words else one.subject.array(ds).values
    if values is None or np.unique(values[np.isfinite(values)]).size <= FEW:
        line = _Line.through(one.holds(ds)[0].astype(float), inputs)
        line.share = True
        return line
    line = _Line.through(values, inputs)
    line.limit, line.above, line.strict = one.limit, one.relation in (">", ">="), one.relation in ("<", ">")
    return line


@dataclass(frozen=True)
class Flip:
    """Where a measurement changes the answer, or a verdict. value : the number nearest the median at which it does.

    to : the best motor there, "" for none. verdict : "" where the best motor changes, else whose verdict turns from pass to fail or back, in words.
    share : of the draws that lie there or beyond. below : whether it is a number below the median. flown : whether flights with the number
    measured say so too.
    """

    probe: Probe
    value: float
    to: str
    share: float
    below: bool
    verdict: str = ""
    flown: bool = False


def flips_of(question: Question) -> list[Flip]:
    """Return every measurement that would give another best motor as far as its draws reach, the likeliest first, then those that turn a verdict.

    One that does so at the median already, because what is known scatters no longer, is one flip whatever side: its share is 1.
    """
    base, found = question.answer(), []
    for probe in question.probes():
        sides = [flip for below in (True, False) for flip in _flip(question, probe, base, below)]
        known = [replace(flip, share=1.0) for flip in sides if flip.value == probe.middle]
        found += known[:1] + [flip for flip in sides if flip.value != probe.middle]
    return sorted(found, key=lambda flip: (bool(flip.verdict), -flip.share))


def _flip(question: Question, probe: Probe, base: tuple[int | None, np.ndarray], below: bool) -> list[Flip]:
    """Return the number from which the best motor changes, or where it never does the first at which a verdict turns; at most one."""
    turned: list[Flip] = []
    for value in np.linspace(probe.middle, probe.low if below else probe.high, POINTS // 2 + 1):
        best, verdicts = question.answer(probe, float(value))
        flip = Flip(probe, float(value), "" if best is None else question.names[best], question.beyond(probe, value, below), below)
        if best != base[0]:
            return [flip]
        if not turned and (which := np.argwhere(np.abs(_settled(verdicts) - _settled(base[1])) == 2)).size:
            k, c = which[0]
            word = VERDICTS[int(verdicts[k, c])]
            turned = [replace(flip, verdict=f"{question.names[k]} {'passes' if word == PASS else 'fails'} {question.criteria[c].what}")]
    return turned


def _settled(verdicts: np.ndarray) -> np.ndarray:
    """Return 1 for pass, -1 for fail, 0 for undecided."""
    return np.where(verdicts == VERDICTS.index(PASS), 1, np.where(verdicts == VERDICTS.index(FAIL), -1, 0))

"""The straight lines along which a measurement moves an outcome, against closed forms and against a decision worked out here."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.stats import linregress

from sixdof.study.motor_choice.measurement import _Line, _sure_slopes, flips_of, verdict_number
from sixdof.study.variants.judging import VERDICTS

RNG = np.random.default_rng(7)
X = RNG.normal(1.0, 0.05, 200)
OTHER = RNG.normal(0.0, 1.0, 200)


def inputs(**columns):
    attrs = {"units": "1", "role": "factor"}
    return xr.Dataset({name: ("flight", values, attrs) for name, values in columns.items()})


def test_slope__of_one_column_is_that_of_a_regression():
    y = 3.0 - 20.0 * X + RNG.normal(0.0, 0.2, 200)
    found = _sure_slopes((X - X.mean())[:, None], y - y.mean())
    assert found[0] == pytest.approx(linregress(X, y).slope, rel=1e-9)


def test_slope__that_may_be_chance_is_none():
    """Of what an outcome does not depend on, a slope lies beyond three standard errors in a quarter of a per cent of cases."""
    x = np.column_stack([X - X.mean(), OTHER - OTHER.mean()])
    y = 5.0 * X + RNG.normal(0.0, 0.05, 200)
    found = _sure_slopes(x, y - y.mean())
    assert found[0] == pytest.approx(5.0, rel=0.05) and found[1] == 0.0


def test_line__moves_every_flight_to_the_number_measured():
    """An outcome that is 100 - 40 x and nothing else is 100 - 40 x of the number measured, in every flight."""
    line = _Line.through(100.0 - 40.0 * X, inputs(aero_drag=X, vehicle_mass=OTHER))
    assert line.at(("aero_drag", 1.1)) == pytest.approx(np.full(200, 56.0), abs=1e-9)
    assert line.median(("aero_drag", 0.9)) == pytest.approx(64.0)
    line.limit, line.above, line.strict = 58.0, True, True
    assert (line.failures(("aero_drag", 1.0)), line.failures(("aero_drag", 1.06))) == (0, 200)
    assert line.failures(None) == int((100.0 - 40.0 * X <= 58.0).sum())


def test_verdict__by_the_binomial_limits():
    """59 flights without a failure show 95 % with 95 % (Wilks, 1941), 58 do not."""
    assert VERDICTS[verdict_number(0, 59, 0.95, 0.95)] == "pass" and VERDICTS[verdict_number(0, 58, 0.95, 0.95)] == "undecided"


class Thresholds:
    """A question whose best motor changes at numbers known beforehand: of one input from 0.9 down, of another from 1.05 up."""

    def __init__(self):
        from sixdof.study.motor_choice.measurement import Probe

        self.names = ["a", "b"]
        self.asked = [Probe("aero_drag", "", "1", 1.0, 0.8, 1.2), Probe("vehicle_mass", "", "1", 1.0, 0.9, 1.1), Probe("aero_cp", "", "m", 0.0, -1.0, 1.0)]

    def probes(self):
        return self.asked

    def beyond(self, probe, value, below):
        return abs(value - (probe.low if below else probe.high))

    def answer(self, probe=None, value=np.nan):
        turned = probe is not None and ((probe.name == "aero_drag" and value <= 0.9) or (probe.name == "vehicle_mass" and value >= 1.05))
        return int(turned), np.zeros((2, 0), dtype=int)


def test_flips__are_found_where_they_are():
    """The grid has twenty steps from the median to either end: numbers are found to a step."""
    found = flips_of(Thresholds())
    assert [(flip.probe.name, flip.below, flip.to) for flip in found] == [("aero_drag", True, "b"), ("vehicle_mass", False, "b")]
    assert found[0].value == pytest.approx(0.9, abs=0.2 / 20 + 1e-9) and found[0].value <= 0.9
    assert found[1].value == pytest.approx(1.05, abs=0.1 / 20 + 1e-9) and found[1].value >= 1.05

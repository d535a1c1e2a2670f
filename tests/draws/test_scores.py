"""Draws in score space, against what `make_draws` draws of the same seed and against the spreads' own closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from draw_missions import staged
from scipy.special import ndtr

from sixdof.draws.scores import draws_from_scores, score_columns, scores_of
from sixdof.draws.table import make_draws
from sixdof.mission.tables import Correlation, Spread

SPREADS = {
    "wind.speed": Spread(kind="lognormal", median=4.0, log_sd=0.3),
    "motor.impulse": Spread(sd=0.02),
    "aero.drag": Spread(sd=0.08),
    "rule.delay": Spread(kind="uniform", low=0.0, high=0.02),
}


def mission():
    return staged(SPREADS, correlation=[Correlation(of=["motor.impulse", "aero.drag"], matrix=[[1.0, 0.6], [0.6, 1.0]])])


def test_draws_from_scores__are_those_of_the_seed():
    m = mission()
    table, drawn = draws_from_scores(m, scores_of(m, 7, 3, 50), np.arange(3, 53), 7), make_draws(m, 50, seed=7, first=3)
    for name in SPREADS:
        assert table[name].values == pytest.approx(drawn[name].values, rel=1e-12), name  # there and back through the normal distribution
    assert table.attrs["seed"] == "7"


def test_draws_from_scores__a_score_is_its_spreads_quantile():
    m = mission()
    columns = score_columns(m)
    scores = np.zeros((3, len(columns)))
    speed = columns.index(("wind.speed", ""))
    scores[:, speed] = [-1.0, 0.0, 2.0]
    table = draws_from_scores(m, scores, np.arange(3))
    assert table["wind.speed"].values == pytest.approx(4.0 * np.exp(0.3 * np.array([-1.0, 0.0, 2.0])))
    assert table["rule.delay"].values == pytest.approx(0.02 * ndtr(np.zeros(table["rule.delay"].shape)))


def test_draws_from_scores__bad_input():
    m = mission()
    with pytest.raises(ValueError, match="have the shape"):
        draws_from_scores(m, np.zeros((2, 1)), np.arange(2))
    bad = np.zeros((2, len(score_columns(m))))
    bad[1, 0] = np.nan
    with pytest.raises(ValueError, match="flight 6 are not all finite"):
        draws_from_scores(m, bad, np.array([5, 6]))

"""Twin experiments: flights of the kernel with known parameters, noise laid on, estimated back; the scatter of the estimates is what they say of themselves."""

from __future__ import annotations

import numpy as np
import pytest
from flown_logs import noisy_log, true_flight
from scipy.stats import binom, chi2

import sixdof

TRUTH = {"aero.drag": 1.06, "motor.impulse": 0.985, "wind.speed": 5.0}
COUNT = 60
ERRORS = {"height": 0.8, "velocity": 0.25, "specific_force": 0.3}


@pytest.mark.slow
def test_twins__estimates_scatter_as_the_cramer_rao_bound_says(demo_mission):
    """60 logs of one flight, each with its own white noise; no prior of what is asked for.

    The misses, over the covariance that each estimate says, add up to chi-square with 3 x 60 degrees (ends of 99.8 %); the covariance is that of the bound;
    90 % intervals cover as often as they say (ends of 99.8 % of the binomial of each parameter).
    """
    kept = {name: demo_mission.disperse[name] for name in TRUTH}
    mission = demo_mission.change({"disperse": kept, "correlation": []})
    flight = true_flight(mission, TRUTH)[1]
    square, inside = 0.0, np.zeros(3)
    for seed in range(COUNT):
        log = noisy_log(flight, np.arange(0.0, 6.0, 0.1), seed, ERRORS, stated=("height", "velocity"))
        found = sixdof.postflight.estimate(mission, log, list(TRUTH), priors=dict.fromkeys(TRUTH, "none"), robust=False, progress=False)
        miss = found.estimate.values - np.array(list(TRUTH.values()))
        square += miss @ np.linalg.solve(found.covariance.values, miss)
        inside += (found.low.values < list(TRUTH.values())) & (found.high.values > list(TRUTH.values()))
        assert found.attrs["converged"]
        np.testing.assert_allclose(found.sd.values, found.cramer_rao.values, rtol=0.5)  # the colour of one series' residuals, estimated: white within this
    print("sum of squares", square, "of", 3 * COUNT, "inside", inside / COUNT)
    assert chi2.ppf(0.001, 3 * COUNT) < square < chi2.ppf(0.999, 3 * COUNT)
    assert (inside >= binom.ppf(0.001, COUNT, 0.9)).all()

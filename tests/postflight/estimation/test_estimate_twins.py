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


@pytest.mark.slow
def test_twins__with_noise_of_the_computer_and_all_that_is_dispersed(demo_mission):
    """24 flights of the demo, each with draws of its own of everything, turbulence in the air, and logs with noise: 90 % intervals cover.

    Turbulence is no part of the fit; what it does is coloured and correlated between columns. Of 4 x 24 intervals, those of one flight going together, 75 % at
    least must hold: three standard errors of 24 independent flights below 90 % are 72 %.
    """
    mission = demo_mission.change({"air.turbulence": {"wind_at_20_ft": "6 m/s"}})
    names = ["aero.drag", "motor.impulse", "wind.speed", "aero.cp"]
    draws = sixdof.stats.make_draws(mission, 24, seed=9)
    inside = np.zeros(4)
    for number in range(24):
        flight = sixdof.fly(mission, flight=number, seed=9)
        log = noisy_log(flight, np.arange(0.0, 8.0, 0.1), number, ERRORS)
        found = sixdof.postflight.estimate(mission, log, names, progress=False)
        truth = np.array([float(draws[name][number]) for name in names])
        inside += (found.low.values < truth) & (found.high.values > truth)
    print("inside", inside / 24.0)
    assert inside.sum() / 96.0 > 0.75

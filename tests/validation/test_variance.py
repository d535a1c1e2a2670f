"""The spread of an ensemble against the closed form of a drag-free vertical shot with constant thrust.

Burnout: v = (F/mu) ln(m0/m1) - g t, h = (F/mu) (t - (m1/mu) ln(m0/m1)) - g t^2/2 (K. E. Tsiolkovsky's equation and its integral), then a
coast to h + v^2/2g; g is taken as it is at half the height. The variance of the apogee to first order is sum (dh/dx)^2 sd^2.
"""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.vehicle.describe import totals
from sixdof.world.gravity import normal_gravity

THRUST, BURN, SD = 180.0, 1.2, {"motor.impulse": 0.01, "vehicle.mass": 0.015}
FLIGHTS = 512


@pytest.fixture(scope="module")
def shot(demo_mission):
    """The demo without drag, wind, friction and control, straight up, its motor of constant thrust."""
    return demo_mission.change(
        {
            "motor.playa-h.thrust_curve": {"time": [0.0, BURN, BURN + 1e-6], "thrust": [THRUST, THRUST, 0.0]},
            "motor.playa-h.nozzle_exit_diameter": 0.0,
            "rail.elevation": "90 deg",
            "rail.friction": 0.0,
            "rule": [],
            "solver.time_limit": "12 s",
            "air.wind": {},
            "record.track_points": 0,
            "disperse": {"aero.drag": {"kind": "fixed", "mean": 0.0}} | {name: {"sd": sd} for name, sd in SD.items()},
        }
    )


def apogee(mission, impulse, mass):
    """Closed form of the climb, m, for factors on impulse and dry mass."""
    loaded, burnt = totals(mission, [0])
    m1 = burnt.mass * mass
    m0, mu, thrust = m1 + loaded.mass - burnt.mass, (loaded.mass - burnt.mass) / BURN, THRUST * impulse
    g = normal_gravity(mission.site.latitude, mission.site.altitude + 250.0)
    ratio = np.log(m0 / m1)
    v = thrust / mu * ratio - g * BURN
    h = thrust / mu * (BURN - m1 / mu * ratio) - 0.5 * g * BURN**2
    return h + v**2 / (2.0 * g)


def test_apogee__of_each_flight_is_the_closed_form(shot):
    """Heights start from that of the centre of mass on the pad. Left out: the Earth's turning, gravity's course over the climb, 2e-5 of it."""
    ds = sixdof.disperse(shot, 32, seed=3, progress=False)
    expected = apogee(shot, ds.motor_impulse.values, ds.vehicle_mass.values)
    pad = ds.apogee_height.values - expected
    assert pad == pytest.approx(float(sixdof.fly(shot.change({"solver.time_limit": "900 s"})).height[0]), abs=0.03)


@pytest.mark.parametrize(("sampling", "tolerance"), [("random", 4.0 / np.sqrt(2.0 * FLIGHTS)), ("sobol", 0.02)])
def test_variance__is_that_of_linear_propagation(shot, sampling, tolerance):
    """A sample's standard deviation errs by 1/sqrt(2 n); four of those at random, far less by a Sobol sequence. Curvature adds 1e-4."""
    ds = sixdof.disperse(shot, FLIGHTS, seed=3, sampling=sampling, progress=False)
    step = 1e-4
    slopes = [(apogee(shot, 1.0 + step * a, 1.0 + step * b) - apogee(shot, 1.0 - step * a, 1.0 - step * b)) / (2.0 * step) for a, b in ((1.0, 0.0), (0.0, 1.0))]
    expected = np.hypot(*(slope * sd for slope, sd in zip(slopes, SD.values())))
    assert float(ds.apogee_height.std(ddof=1)) == pytest.approx(expected, rel=tolerance)


@pytest.mark.slow
def test_mean__converges_faster_by_a_sobol_sequence_than_at_random(shot):
    """A smooth outcome of two inputs: errors of the mean of 64 flights over five seeds, against a large Sobol sample."""
    true = float(sixdof.disperse(shot, 1024, seed=99, sampling="sobol", progress=False).apogee_height.mean())
    error = {
        sampling: np.sqrt(
            np.mean([(float(sixdof.disperse(shot, 64, seed=seed, sampling=sampling, progress=False).apogee_height.mean()) - true) ** 2 for seed in range(5)])
        )
        for sampling in ("random", "sobol")
    }
    assert error["sobol"] < 0.2 * error["random"]

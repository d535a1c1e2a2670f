"""Margins over an ensemble: each flight is its own linearisation, and what is said of them is what counting says."""

from __future__ import annotations

import math
import os
import re
import signal

import numpy as np
import pytest
import scipy.stats
import xarray as xr
from plain_gains import two_stages

import sixdof
from sixdof.draws.table import make_draws
from sixdof.mission.errors import MissionError
from sixdof.results.status import Status
from sixdof.study.loops.linear import linearise
from sixdof.study.loops.margins import margins
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.uncertainty import margin_spread as module
from sixdof.study.uncertainty.margin_spread import margin_spread, robust_margins, spread_report, worst_draws
from sixdof.study.uncertainty.robust_margins import _chance

# the same arithmetic in another order: plants as sums of modes, good to 1e-9 by construction; dB and rad of size 1 to 50
SAME = 1e-8
NAMES = ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "distance", "growth")


def at_actuator(models, **options):
    return margins(models, broken_at="actuator", **options).sel(broken_at="actuator")


def assert_same(spread, i, found):
    one = spread.isel(flight=i, point=slice(0, found.sizes["point"])).sel(channel=found["channel"])
    for name in NAMES:
        np.testing.assert_allclose(one[name].values, found[name].values, rtol=0.0, atol=SAME, err_msg=name)
    assert (one["stable"].values == found["stable"].values).all()
    np.testing.assert_array_equal(one["time"].values, found["time"].values)


@pytest.fixture(scope="module")
def spread(demo_mission):
    return margin_spread(demo_mission, 6, seed=5, points=3, progress=False)


def test_spread__flight_is_its_own_linearisation(spread, demo_mission):
    for i in (0, 4):
        assert_same(spread, i, at_actuator(linearise(demo_mission, points=3, flight=i, seed=5)))


def test_spread__without_dispersion_every_flight_is_nominal(demo_mission):
    calm = demo_mission.change({"disperse": {}})
    found = margin_spread(calm, 3, points=4, progress=False)
    nominal = at_actuator(linearise(calm, points=4))
    for i in range(3):
        assert_same(found, i, nominal)
    assert "none beyond chance" in spread_report(found)  # nothing was drawn, so nothing is to blame
    assert worst_draws(found).sizes["input"] == 0


def test_spread__two_stages_and_dispersed_paths(stack_mission):
    # a path makes new tables for each flight, as fly makes them
    mission = two_stages(stack_mission).change({"disperse": {"servo.speed": {"sd": 0.1}, "autopilot.pitch.p": {"sd": 0.1}}, "failure": []})
    found = margin_spread(mission, 2, seed=2, points=3, channels="pitch", progress=False)
    assert_same(found, 1, at_actuator(linearise(mission, points=3, flight=1, seed=2), channels="pitch"))
    assert np.ptp(found["autopilot_pitch_p"].values) > 0.0


def test_spread__draws_gains_and_bending(demo_mission):
    table = make_draws(demo_mission, 4, seed=9)
    bending = BendingMode(45.0, 0.01, 1.2)
    found = margin_spread(
        demo_mission, draws=table.isel(flight=[1, 3]), points=3, channels=("yaw", "pitch"), bending=bending, gains={"autopilot.pitch.d": 0.05}, progress=False
    )
    other = demo_mission.change({"autopilot.pitch.d": 0.05})
    assert list(found["flight"].values) == [1, 3] and list(found["channel"].values) == ["yaw", "pitch"]
    assert_same(found, 1, at_actuator(linearise(other, points=3, flight=3, seed=9), channels=("yaw", "pitch"), bending=bending))
    np.testing.assert_array_equal(found["servo_speed"].values, table["servo.speed"].values[[1, 3]])


def test_spread__inputs_are_those_of_disperse(spread, demo_mission):
    ensemble = sixdof.disperse(demo_mission, 6, seed=5, progress=False, tracks="none")
    for name in ("servo_speed", "aero_cp", "servo_centring"):
        np.testing.assert_array_equal(spread[name].values, ensemble[name].values)
        assert spread[name].attrs["disperses"] == ensemble[name].attrs["disperses"]
    np.testing.assert_array_equal(spread["status"].values, ensemble["status"].values)


def test_spread__a_flight_that_does_not_fly_is_a_row(demo_mission):
    table = make_draws(demo_mission, 3, seed=5)
    table["motor.impulse"].values[1] = 0.01  # cannot lift the vehicle
    found = margin_spread(demo_mission, draws=table, points=3, progress=False)
    assert found["status"].values[1] == Status.NO_LIFTOFF
    assert all(np.isnan(found[name].values[1]).all() for name in (*NAMES, "time"))
    assert_same(found, 2, at_actuator(linearise(demo_mission, points=3, flight=2, seed=5)))
    robust = robust_margins(found)
    assert int(robust["used"]) == 2 and int(robust["dropped"]) == 1 and np.isnan(robust["met"].values[1]).all()


def test_spread__threads_change_nothing(spread, demo_mission, monkeypatch):
    monkeypatch.setattr(module, "WORKERS", 1)
    monkeypatch.setattr(module, "TOGETHER", 6)
    again = margin_spread(demo_mission, 6, seed=5, points=3, progress=False)
    for name in NAMES:
        np.testing.assert_allclose(again[name].values, spread[name].values, rtol=0.0, atol=SAME)  # batches of other sizes sum in other orders


def test_spread__ctrl_c_returns_what_is_there(demo_mission, monkeypatch):
    fly = module.TrackRunner.run

    def interrupted(self, draw, number):
        if number == 15:
            os.kill(os.getpid(), signal.SIGINT)
        return fly(self, draw, number)

    monkeypatch.setattr(module.TrackRunner, "run", interrupted)
    found = margin_spread(demo_mission, 80, points=2, channels="pitch", progress=False)
    assert 0 < found.sizes["flight"] < 80 and found.attrs["interrupted"] == f"{found.sizes['flight']} of 80 flights are finished"
    assert np.isfinite(found["distance"].values).all() and found["servo_speed"].sizes == {"flight": found.sizes["flight"]}


# ---------------------------------------------------------------- what is said of them


def by_hand(gain, phase=None, status=None):
    """Return a spread of given gain margins (flights, points, channels), all else ample; inputs: a driver and a bystander."""
    gain = np.asarray(gain, dtype=float)
    n, points, channels = gain.shape
    dims, there = ("flight", "point", "channel"), np.isfinite(gain).all(axis=2)

    def ample(value):
        return np.where(np.isfinite(gain), value, np.nan)

    entries = {
        "gain_margin_db": (dims, gain, {"units": "dB"}),
        "gain_reduction_db": (dims, ample(np.inf), {"units": "dB"}),
        "phase_margin": (dims, ample(1.0) if phase is None else np.asarray(phase, float), {"units": "rad"}),
        "delay_margin": (dims, ample(0.05), {"units": "s"}),
        "distance": (dims, gain / 20.0, {"units": "1"}),
        "growth": (dims, ample(-1.0), {"units": "1/s"}),
        "stable": (dims, np.isfinite(gain) & (gain > 0.0)),
        "status": ("flight", np.zeros(n, int) if status is None else np.asarray(status)),
        "servo_speed": ("flight", gain.min(axis=(1, 2)) / 10.0, {"units": "1", "role": "factor", "disperses": "servo.speed"}),
        "aero_cp": ("flight", 1e-3 * (np.arange(n) * 7 % n), {"units": "m", "role": "offset", "disperses": "aero.cp"}),
    }
    along = np.where(there, np.arange(points) * 1.0, np.nan)
    coords = {"flight": np.arange(n), "channel": ["pitch", "yaw"][:channels], "time": (dims[:2], along), "mach": (dims[:2], 0.1 * along)}
    coords["incidence"] = dims[:2], 0.0 * along
    return xr.Dataset(entries, coords, {"title": "by hand", "gain_db": 6.0, "phase": math.radians(45.0)})


def test_robust__probability_is_what_counting_gives():
    gain = np.full((10, 2, 2), 8.0)
    gain[0, 0, 0] = 5.0  # one flight fails in pitch at point 0, two in yaw at point 1, one of them the same
    gain[0, 1, 1] = gain[3, 1, 1] = 5.9
    found = robust_margins(by_hand(gain))
    np.testing.assert_allclose(found["probability"].values, [[0.9, 1.0], [1.0, 0.8]])
    np.testing.assert_allclose(found["channel_probability"].values, [0.9, 0.8])
    assert float(found["flight_probability"]) == 0.8
    # Clopper and Pearson, 8 of 10, 95 %: the beta quantiles 0.4439 and 0.9748, as in any table of exact binomial intervals
    assert float(found["flight_probability_low"]) == pytest.approx(0.4439, abs=5e-5)
    assert float(found["flight_probability_high"]) == pytest.approx(0.9748, abs=5e-5)
    np.testing.assert_array_equal(found["worst_gain_margin_db"].values[0], [5.0, 5.9])
    assert robust_margins(by_hand(gain), gain_db=5.0)["flight_probability"] == 1.0


def test_robust__wilks_number():
    # 59 flights without a failure show 95 % with 95 %: S. S. Wilks (1941); 1 - 0.95^59 > 0.95
    found = robust_margins(by_hand(np.full((59, 1, 1), 9.0)))
    assert float(found["share_shown"]) >= 0.95 and int(found["flights_needed"]) == 59
    assert float(robust_margins(by_hand(np.full((58, 1, 1), 9.0)))["share_shown"]) < 0.95


def test_robust__phase_stability_and_divergence_count():
    gain = np.full((5, 2, 1), 9.0)
    phase = np.full((5, 2, 1), 1.0)
    phase[1, 0] = 0.7  # 40 deg
    gain[2, 1] = 0.0  # unstable
    gain[3], phase[3] = np.nan, np.nan
    found = robust_margins(by_hand(gain, phase, [0, 0, 0, Status.DIVERGED, 0]))
    np.testing.assert_array_equal(found["met"].values[:, 0], [1.0, 0.0, 0.0, 0.0, 1.0])
    np.testing.assert_allclose(found["probability"].values[:, 0], [3 / 5, 3 / 5])  # at each point one fails beside the one that diverged
    assert "diverged" in spread_report(by_hand(gain, phase, [0, 0, 0, Status.DIVERGED, 0]))


def test_worst__names_flights_and_the_input_that_drives_them():
    gain = np.linspace(7.0, 12.0, 20)[np.random.default_rng(4).permutation(20)][:, None, None] * np.ones((1, 3, 2))
    gain[:, 1, 1] -= 1.0
    spread = by_hand(gain)
    worst = worst_draws(spread, 3)
    order = np.argsort(gain[:, 1, 1])[:3]
    np.testing.assert_array_equal(worst["flight"].values, order)
    assert (worst["channel"].values == "yaw").all() and (worst["time"].values == 1.0).all()
    drawn = spread["servo_speed"].values
    np.testing.assert_allclose(worst["deviation"].sel(input="servo_speed"), ((drawn - drawn.mean()) / drawn.std(ddof=1))[order])
    assert float(worst["correlation"].sel(input="servo_speed")) == pytest.approx(1.0)
    text = spread_report(spread)
    assert f"flight {order[0]}: servo.speed {drawn[order[0]]:.3g} (" in text
    assert "servo.speed +1.00" in text.splitlines()[-1] and "aero.cp" not in text.splitlines()[-1]


def test_worst__an_input_that_acts_by_its_size_is_found():
    """The distance falls with |cant|: on either side of zero the loop is worse, and the plain rank correlation sees nothing."""
    cant = np.linspace(-1.0, 1.0, 40)[np.random.default_rng(2).permutation(40)]
    spread = by_hand(np.broadcast_to((12.0 - 5.0 * np.abs(cant))[:, None, None], (40, 3, 2)).copy())
    spread["aero_cp"] = ("flight", cant, spread["aero_cp"].attrs)
    spread["servo_speed"] = ("flight", np.random.default_rng(3).normal(1.0, 0.1, 40), spread["servo_speed"].attrs)
    worst = worst_draws(spread, 2)
    assert abs(float(worst["correlation"].sel(input="aero_cp"))) < 0.2
    assert float(worst["magnitude_correlation"].sel(input="aero_cp")) == pytest.approx(-1.0, abs=0.01)  # pairs of equal size are ties
    text = spread_report(spread)
    assert "|aero.cp| -1.00" in text.splitlines()[-1]
    assert f"flight {int(worst['flight'][0])}: aero.cp " in text


def test_report__few_flights_have_a_limit_below_one(spread):
    """Six flights: t = r sqrt(4/(1 - r^2)) has Student's distribution of 4 degrees; no r is beyond 1."""
    found = re.search(r"none beyond chance \(([\d.]+)\)|: .* [+-][\d.]+$", spread_report(spread).splitlines()[-1])
    assert found and (found[1] is None or 0.9 < float(found[1]) < 1.0)
    tests = 2 * worst_draws(spread).sizes["input"]
    limit = _chance(6, tests)
    assert scipy.stats.t.sf(limit * math.sqrt(4.0 / (1.0 - limit**2)), 4) == pytest.approx(0.5 * 0.05 / tests, rel=1e-9)
    assert _chance(3, tests) == 1.0


def test_worst__unstable_ones_by_their_growth():
    gain = np.full((4, 1, 1), 9.0)
    gain[1], gain[3] = 0.0, 0.0
    spread = by_hand(gain)
    spread["growth"].values[1], spread["growth"].values[3] = 0.5, 2.0
    assert list(worst_draws(spread, 2)["flight"].values) == [3, 1]


def test_robust__points_of_stalled_fins_say_nothing():
    """Beyond 15 deg of incidence nothing is linear: a point without margin there is not counted, and the report says so."""
    gain = np.full((4, 3, 1), 8.0)
    gain[1, 2] = 0.0
    spread = by_hand(gain)
    assert float(robust_margins(spread)["flight_probability"]) == 0.75
    spread["incidence"][1, 2] = math.radians(16.0)
    assert float(robust_margins(spread)["flight_probability"]) == 1.0
    assert float(robust_margins(spread)["worst_gain_margin_db"].min()) == 8.0
    assert "1 flight had points beyond 15 deg" in spread_report(spread)


def test_report__of_real_flights(spread):
    text = spread_report(spread, gain_db=3.0, phase=0.3)
    assert "over 6 flights" in text and "3 dB and 17.19 deg" in text
    met = robust_margins(spread, gain_db=3.0, phase=0.3)
    assert f"all      met by {100.0 * float(met['flight_probability']):.1f} %" in text


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"flights": 0}, "flights = 0"),
        ({"seed": -1}, "seed"),
        ({"points": 0}, "points = 0"),
        ({"points": 2.5}, "points = 2.5"),
        ({"channels": "pich"}, "channels = "),
        ({"channels": ()}, "channels = "),
        ({"gain_db": -1.0}, "gain_db = -1"),
        ({"phase": 45}, "phase = 45"),
    ],
)
def test_spread__refuses(demo_mission, options, said):
    with pytest.raises(ValueError, match=said):
        margin_spread(demo_mission, **{"flights": 2, "progress": False, **options})


def test_spread__refuses_others(demo_mission, spread):
    with pytest.raises(TypeError, match="gains must be"):
        margin_spread(demo_mission, 2, gains=3)
    with pytest.raises(MissionError, match="autopilot"):
        margin_spread(demo_mission, 2, gains={"autopilot.pich.p": 1.0})
    with pytest.raises(ValueError, match="2 rows"):
        margin_spread(demo_mission, 3, draws=make_draws(demo_mission, 2))
    with pytest.raises(ValueError, match="loops.margin_spread"):
        robust_margins(spread[["distance"]])
    with pytest.raises(ValueError, match="count = 0"):
        worst_draws(spread, 0)
    with pytest.raises(ValueError, match="phase = 50"):
        robust_margins(spread, phase=50.0)

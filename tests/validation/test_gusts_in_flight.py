"""Turbulence and discrete gusts felt by a whole flight: the demo, flown as a user flies it.

The strengths wanted are those of MIL-F-8785C, sec. 3.7.3, written down here again.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

import sixdof
from sixdof.core.columns import TurbulenceColumn
from sixdof.core.constants import CANOPY, FREE
from sixdof.core.layout import Log
from sixdof.core.types import Turbulence
from sixdof.draws.packed import nominal_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.flight.laws import bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan
from sixdof.flight.runner import FlightRunner

FOOT = 0.3048
CALM = {"air.wind.profile": "uniform", "air.wind.speed": 4.0, "air.wind.blows_from": "270 deg", "record.rate": 100.0, "disperse": {}}
STRONG = {"air.turbulence": {"wind_at_20_ft": 8.0}}


@pytest.fixture(scope="module")
def mission(demo_mission):
    """The demo in a wind of 4 m/s towards east at all heights, every tick logged."""
    return demo_mission.change(CALM)


@pytest.fixture(scope="module")
def rough(mission):
    return mission.change(STRONG)


def runner_of(mission):
    plan = Plan(mission)
    return FlightRunner(plan, bind(None, None), log_rows(plan.model(0, plan.count - 1)))


def level_strength(height, w20):
    """sigma_u = sigma_v below 1000 ft (MIL-F-8785C, 3.7.3.4), m/s."""
    feet = np.clip(height / FOOT, 10.0, 1000.0)
    return 0.1 * w20 / (0.177 + 0.000823 * feet) ** 0.4


# ---------------------------------------------------------------- turbulence


def test_turbulence__has_the_standards_strength_along_flights(rough):
    """Both level components of 300 flights at four moments of the climb below 1000 ft: chi-square limits of 1e-6 either way."""
    flights = 300
    runner, draws = runner_of(rough), pack_draws(rough, draw_table(rough, 21, 0, flights))
    moments = (0.0, 1.0, 2.0, 3.5)
    found = np.empty((flights, len(moments), 2))
    for i in range(flights):
        log = runner.run(one_draw(draws, i)).logs[0]
        rows = log[np.searchsorted(log[:, Log.TIME], np.array(moments) - 1e-6)]
        assert (rows[:, Log.HEIGHT] < 1000.0 * FOOT).all()
        gust = rows[:, [Log.WIND_EAST, Log.WIND_NORTH]] - [4.0, 0.0]
        found[i] = gust / level_strength(rows[:, Log.HEIGHT], 8.0)[:, None]
    limits = chi2.ppf([1e-6, 1.0 - 1e-6], flights)
    squares = (found**2).sum(axis=0)
    assert (squares > limits[0]).all() and (squares < limits[1]).all()
    assert np.abs(found.mean(axis=0)).max() < 4.9 / np.sqrt(flights)  # 1e-6 either way
    assert np.abs((found[..., 0] * found[..., 1]).mean(axis=0)).max() < 4.9 / np.sqrt(flights)


def test_turbulence__shakes_the_vehicle(mission, rough):
    """Nothing else varies over these flights: loads across the axis grow, and places of landing scatter."""
    still, shaken = sixdof.fly(mission), sixdof.disperse(rough, 30, seed=2, progress=False)
    assert float(shaken["load_factor_max"].median()) > 1.1 * float(still["load_factor_max"])
    assert float(shaken["apogee_height"].std()) > 0.2 and float(shaken["landing_north"].std()) > 2.0  # m


def replaced(mission, **parts):
    """A FlightRunner of a mission whose world has other parts."""
    runner = runner_of(mission)
    ((key, model),) = runner.plan.models.items()
    runner.plan.models[key] = model._replace(world=model.world._replace(**parts))
    return runner


def test_turbulence__without_strength_is_none_to_the_bit(mission, demo_path):
    """No wind at 20 ft, nothing aloft, a gust of no speed: the numbers drawn leave no trace, in sensors' noise neither."""
    noisy = sixdof.load_mission(demo_path.parent / "waypoints.toml").change({"disperse": {}})
    assert noisy.sensors is not None
    silent = {"turbulence": Turbulence(1, 0.0), "gusts": np.array([[0.0, 0.0, 0.0, 80.0, 60.0, 0.0]])}
    for each in (mission, noisy):
        draw = one_draw(pack_draws(each, draw_table(each, 6, 2, 1)), 0)
        off, on = runner_of(each).run(draw), replaced(each, **silent).run(draw)
        for name in ("logs", "events", "summary", "body"):
            np.testing.assert_array_equal(getattr(off, name), getattr(on, name))
        assert len(off.logs[0]) > 1000


def test_turbulence__off_leaves_the_gusts_at_zero(mission):
    runner = runner_of(mission)
    runner.run(nominal_draw(mission))
    (work,) = runner.works.values()
    assert (work.gust == 0.0).all() and (work.turbulence[TurbulenceColumn.NOW :] == 0.0).all()


def test_turbulence__is_that_of_its_flight(rough):
    """Again the same bits, in an ensemble of one or two threads too; another number of the flight is another turbulence."""
    first = sixdof.fly(rough, flight=3, seed=5)
    assert first.drop_attrs().identical(sixdof.fly(rough, flight=3, seed=5).drop_attrs())
    other = sixdof.fly(rough, flight=4, seed=5)
    shorter = min(first.sizes["time"], other.sizes["time"])
    same = first["wind_east"].values[:shorter] == other["wind_east"].values[:shorter]
    assert same.mean() < 0.01
    one, two = (sixdof.disperse(rough, 12, seed=5, threads=n, progress=False) for n in (1, 2))
    assert one.drop_attrs().identical(two.drop_attrs())
    for name in ("apogee_height", "landing_east", "landing_north", "incidence_max"):
        assert float(one[name].sel(flight=3)) == float(first[name]), name
    assert len(np.unique(one["apogee_height"].values)) == 12  # nothing but the turbulence differs


def test_turbulence__takes_its_strength_from_the_mean_wind(demo_mission):
    """Of a power law at 20 ft. The gust on the pad, in proportion to it, and a whole flight in the same wind everywhere."""
    base = demo_mission.change({"disperse": {}, "air.wind.blows_from": "270 deg", "record.rate": 100.0})
    wind = base.air.wind
    own, given = (sixdof.fly(base.change({"air.turbulence": {} if w20 is None else {"wind_at_20_ft": w20}})) for w20 in (None, 10.0))
    still = sixdof.fly(base)
    pads = [float(ds["wind_north"][0]) for ds in (own, given)]  # the mean wind blows east
    w20 = wind.speed * (20.0 * FOOT / wind.reference_height) ** wind.exponent
    assert abs(float(still["wind_north"][0])) < 1e-12 and abs(pads[1]) > 0.1
    assert pads[0] / pads[1] == pytest.approx(w20 / 10.0, rel=2.5e-3)  # the wind table's own error
    uniform = base.change({"air.wind.profile": "uniform", "air.turbulence": {}})
    told = uniform.change({"air.turbulence.wind_at_20_ft": wind.speed})
    assert float(sixdof.fly(uniform)["apogee_height"]) == pytest.approx(float(sixdof.fly(told)["apogee_height"]), abs=1e-9)


# ---------------------------------------------------------------- discrete gusts

PULSE = {"speed": 5.0, "blows_from": "180 deg", "height": 80.0, "length": 60.0}  # towards north
RISE = {"speed": 3.0, "blows_from": "0 deg", "height": 250.0, "length": 100.0, "shape": "rise"}


def blowing(height):
    """North component of both gusts, m/s: (U/2)(1 - cos(2 pi s/length)) and (V/2)(1 - cos(pi s/length))."""
    pulse, rise = (np.clip((height - gust["height"]) / gust["length"], 0.0, 1.0) for gust in (PULSE, RISE))
    return 2.5 * (1.0 - np.cos(2.0 * np.pi * pulse)) - 1.5 * (1.0 - np.cos(np.pi * rise))


@pytest.fixture(scope="module")
def gusty(mission):
    return sixdof.fly(mission.change({"air.gust": [PULSE, RISE]}))


SLOPE = 2.5 * 2.0 * np.pi / PULSE["length"]  # steepest, 1/s


def test_gust__each_tick_feels_what_the_tick_before_foresaw(gusty):
    time, height = gusty["time"].values, gusty["height"].values
    ahead = height[:-1] + gusty["velocity"].values[:-1, 2] * np.diff(time)
    free = (gusty["phase"].values[1:] == FREE) & (gusty["phase"].values[:-1] == FREE)
    assert gusty["wind_north"].values[1:][free] == pytest.approx(blowing(ahead)[free], abs=1e-11)


def test_gust__is_felt_at_its_heights(gusty):
    """Against the height where the vehicle is: within two ticks' way of it on the steepest slope, and both are met whole."""
    free = (gusty["phase"] == FREE).values
    height, found, speed = (gusty[name].values[free] for name in ("height", "wind_north", "airspeed"))
    assert (np.abs(found - blowing(height)) < SLOPE * 0.02 * speed + 1e-9).all()
    assert found.max() > 4.9 and found.min() < -2.99


def test_gust__is_felt_again_under_the_canopy(gusty):
    """A look every 0.05 s: two of them at the steady speed, on the steepest slope."""
    hanging = (gusty["phase"] == CANOPY).values
    height, found, speed = (gusty[name].values[hanging] for name in ("height", "wind_north", "airspeed"))
    low = height < 240.0  # below the rise, which it is leaving as the drogue opens
    assert (np.abs(found - blowing(height))[low] < SLOPE * 0.1 * speed[low]).all()
    assert found[height < 140.0].max() > 4.9


def test_gust__is_felt_as_a_canopy_opens(mission):
    """Opened late, at 34 m/s, on the steep side of a gust: a look later the gust is that of the place, to a tick's way."""
    late = mission.change({"recovery.drogue.delay": "6 s"})
    first = int(np.argmax((sixdof.fly(late)["phase"] == CANOPY).values))
    at = float(sixdof.fly(late)["height"][first])
    ds = sixdof.fly(late.change({"air.gust": [PULSE | {"height": at - 20.0}]}))
    row = ds.isel(time=int(np.argmax((ds["phase"] == CANOPY).values)) + 1)
    there = blowing(float(row["height"]) + PULSE["height"] - at + 20.0)
    assert float(row["wind_north"]) == pytest.approx(there, abs=SLOPE * 0.01 * 34.0)


def test_gust__moves_the_flight(mission, gusty):
    """A wind of 5 m/s to the north over 60 m of the descent, less the 3 m/s to the south above: metres of drift."""
    calm = sixdof.fly(mission)
    moved = float(gusty["landing_north"] - calm["landing_north"])
    assert abs(moved) > 5.0
    assert calm["wind_north"].values == pytest.approx(0.0, abs=1e-12) and calm["wind_east"].values == pytest.approx(4.0, abs=1e-12)


def test_gust__upward_lifts(mission):
    """6 m/s up over the height where the canopy hangs: it falls that much slower there."""
    lifted = sixdof.fly(mission.change({"air.gust": [{"upward": 3.0, "height": 60.0, "length": 60.0, "blows_from": 0.0}]}))
    calm = sixdof.fly(mission)

    def climb_at(ds, height):
        below = ds.isel(time=(ds["phase"] == CANOPY).values & (ds["height"] < height).values)
        return float(below["velocity"][0, 2])

    assert climb_at(lifted, 90.0) - climb_at(calm, 90.0) == pytest.approx(3.0, abs=0.15)  # it follows with 0.7 s, 3 m, of lag


def test_discrete_gust__has_the_standards_shape(demo_mission):
    """(V/2)(1 - cos(pi x/d)): 0.1464466, 0.5, 0.8535534 of V at x/d = 1/4, 1/2, 3/4 (reference/turbulence_wind.md, computed)."""
    still = demo_mission.change({"air.wind.speed": 0.0, "record.rate": "100 Hz"})
    for shape, at in (("rise", {0.25: 0.1464466, 0.5: 0.5, 0.75: 0.8535534, 2.0: 1.0}), ("pulse", {0.125: 0.1464466, 0.5: 1.0, 2.0: 0.0})):
        gust = {"speed": "8 m/s", "blows_from": "270 deg", "height": "100 m", "length": "100 m", "shape": shape}
        ds = sixdof.fly(still.change({"air.gust": [gust]}))
        climb = ds.where(ds.time < ds.apogee_time, drop=True)
        blown = np.interp([100.0 + 100.0 * x for x in at], climb.height, climb.wind_east)
        # linear between ticks 1 m apart: (pi/100)^2/8 of the speed
        np.testing.assert_allclose(blown, 8.0 * np.array(list(at.values())), atol=0.02)


def test_discrete_gust__is_felt_at_its_height_as_a_canopy_opens(demo_mission):
    """From that tick on the flight computer looks every fifth tick; the gust is computed for the tick that comes, not for the next one."""
    gust = {"speed": "8 m/s", "blows_from": "270 deg", "height": "60 m", "length": "200 m"}
    early = [{"name": "early", "when": "climbing_through", "threshold": "140 m", "action": "deploy", "target": "main"}]
    ds = sixdof.fly(demo_mission.change({"air.wind.speed": 0.0, "air.gust": [gust], "rule": early, "record.rate": "100 Hz"}))
    climb = ds.where((ds.time < ds.apogee_time) & (ds.height > 70.0) & (ds.height < 250.0), drop=True)
    assert (climb["phase"] == 4.0).any()
    x = (climb.height.values - 60.0) / 200.0
    # a tick ahead the height is taken from the present climb rate, which the canopy brakes by some 300 m/s^2: up to 0.4 m in 50 ms
    np.testing.assert_allclose(climb.wind_east.values, 4.0 * (1.0 - np.cos(2.0 * np.pi * x)), atol=0.1)


def test_gust__on_the_round_earth_blows_from_where_it_says(demo_mission):
    """Local east lies within 2e-5 rad of the launch point's over the demo's flight: the same push to a part in ten thousand."""
    windy = demo_mission.change({"air.wind.speed": 0.0, "air.gust": [{"speed": "8 m/s", "blows_from": "200 deg", "height": "60 m", "length": "300 m"}]})
    flat, ball = (sixdof.fly(windy.change({"site.earth": earth})) for earth in ("flat", "wgs84"))
    for axis in ("wind_east", "wind_north"):
        n = min(flat.sizes["time"], ball.sizes["time"])
        np.testing.assert_allclose(ball[axis].values[: n - 100], flat[axis].values[: n - 100], atol=0.01)
    assert abs(float(flat.wind_north.max())) > 5.0


def test_gust__that_blows_nothing_is_refused(demo_mission):
    with pytest.raises(sixdof.MissionError, match="the gust blows nothing"):
        demo_mission.change({"air.gust": [{"height": "50 m", "length": "10 m"}]})

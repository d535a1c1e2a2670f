"""Deployments about apogee: flown where asked, on the mission's own draws, with loads as a falling mass under a filling canopy has them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from scipy.integrate import solve_ivp
from strangers import stranger

import sixdof
from sixdof.study.reading.result import event_values
from sixdof.study.recovery.deployment import _longest, deployment
from sixdof.study.recovery.deployment_flights import TimedFlights, unbreakable
from sixdof.workshop import deployment as public

TICK = 0.01  # s, of both demos' computers


@pytest.fixture(scope="module")
def sampler():
    """The one-stage demo with strengths, a harness, and its canopy commanded at apogee without a delay."""
    mission = sixdof.load_mission("configs/sampler.toml")
    strengths = {"part.drogue.strength": "60 N", "part.main.strength": "600 N", "recovery.drogue.delay": 0.0, "disperse.canopy.delay": None}
    harness = {"canopy": "drogue", "separation_station": "700 mm", "length": "4 m", "strength": "900 N", "impulse": "3 N*s", "width": "12 mm"}
    return mission.change(strengths).add("harness", harness)


@pytest.fixture(scope="module")
def found(sampler):
    return deployment(sampler, offsets=[-3.0, "-1 s", 0.0, 1.0, 5.0], flights=4, seed=2)


# ---------------------------------------------------------------- flown where asked, on the same draws


def test_offsets__are_flown_to_the_tick(found):
    late = (found["offset_flown"] - found["offset"]).values
    assert (late > -1e-9).all() and (late < TICK + 1e-9).all()


def test_apogee__is_that_of_the_missions_own_flights(stack_mission):
    """The flight in which the canopy never comes out has the same bits up to apogee: no draw, no noise has moved."""
    own = sixdof.disperse(stack_mission, 3, seed=4, progress=False)
    for canopy, body in (("drogue", 0), ("booster main", 1)):
        timed = TimedFlights(unbreakable(stack_mission, [canopy]), canopy, 3, 4, progress=False)
        np.testing.assert_array_equal(timed.apogee, event_values(own, "apogee", body=body))


def test_deployment__at_a_flights_own_time_is_that_flight(sampler):
    """Asked for where the mission itself deploys (half a tick before, so that rounding cannot make it the next one): the same loads and speeds."""
    own = sixdof.disperse(sampler, 2, seed=3, progress=False)
    timed = TimedFlights(unbreakable(sampler, ["drogue"]), "drogue", 2, 3, progress=False)
    at = event_values(own, "deployment drogue") - timed.apogee - 0.5 * TICK
    again = timed.fly(np.sort(at))  # to 8 s after filling: the fall has settled to 2 %
    order = np.argsort(at)
    for flight in range(2):
        row = int(np.flatnonzero(order == flight)[0]) * 2 + flight
        for name, close in (("opening_load", 0.02), ("snatch_load", 1e-12), ("line_stretch_airspeed", 1e-12)):
            assert again[name].values[row, 0] == pytest.approx(own[name].values[flight, 0], rel=close)


def test_deployment__at_apogee_is_the_missions_own_where_that_has_no_delay(found):
    """The demo's computer knows the truth: it deploys within a tick or two, in which a fall gains 0.2 m/s; the loads agree to the 2 % of settling."""
    own, flown = found.sel(canopy="drogue"), found.sel(canopy="drogue", offset=0.0)
    assert (own["own_offset_flown"] > 0.0).all() and (own["own_offset_flown"] < 2.0 * TICK + 1e-9).all()
    for name, close in (("deployment_airspeed", 0.2), ("line_stretch_airspeed", 0.2), ("harness_load", 1e-9)):
        assert (abs(own[f"own_{name}"] - flown[name]) < close).all()
    assert (abs(own["own_opening_load"] / flown["opening_load"] - 1.0) < 0.03).all()


def test_offsets__are_flown_whatever_deploys_the_canopy(sampler):
    """A rule instead of a recovery; draws of the recovery's own delay and of the canopy's strength, which would be laid over what is set."""
    ruled = sampler.remove("recovery.drogue").add("rule", {"name": "out", "when": "apogee", "action": "deploy", "target": "drogue", "delay": "0.4 s"})
    drawn = {"disperse.recovery.drogue.delay": {"kind": "uniform", "low": 0.3, "high": 0.9}, "disperse.stage.0.part.drogue.strength": {"sd": "5 N"}}
    for mission, least in ((ruled, 0.4), (sampler.change(drawn), 0.3)):
        flown = deployment(mission, offsets=[-60.0, -1.0, 2.0], flights=2)
        late = (flown["offset_flown"] - flown["offset"]).sel(offset=[-1.0, 2.0]).values
        assert (late > -1e-9).all() and (late < TICK + 1e-9).all() and (flown["own_offset_flown"] > least).all()
        assert np.isnan(flown["offset_flown"].sel(offset=-60.0)).all()  # before its liftoff


# ---------------------------------------------------------------- physics


@pytest.fixture(scope="module")
def arc(sampler):
    """Straight up and down without drag, in calm air: (mission, its flights at offsets)."""
    calm = {
        "air.wind": None,
        "rail.elevation": "90 deg",
        "disperse": {name: {"kind": "uniform", "low": 0.0, "high": 1e-9} for name in ("aero.drag", "aero.normal_force")},
        "stage.0.hanging_drag": 1e-6,
    }
    still = sampler.change({**calm, "autopilot.profile": None, "rule": [], "part.drogue.fill_time": "0.4 s", "part.drogue.reefing_ratio": None})
    at = np.array([-2.0, 1.0, 3.0, 5.0])
    return still, at, TimedFlights(unbreakable(still, ["drogue"]), "drogue", 1, 0, progress=False).fly(at)


def test_airspeed__about_apogee_of_a_drag_free_arc_is_g_t(arc):
    """v = hypot(g t, v_h): g of the site 9.80 m/s^2 to 0.3 % (latitude, height), to the tick; what sideways speed there is stands in the result."""
    _, at, ds = arc
    flown = event_values(ds, "deployment drogue") - event_values(ds, "apogee")
    flown[0] = at[0]  # deployed before, its canopy makes an apogee of its own
    sideways = np.hypot(event_values(ds, "apogee", "velocity_east"), event_values(ds, "apogee", "velocity_north"))[-1]
    assert sideways < 0.5
    np.testing.assert_allclose(ds["deployment_airspeed"].values[:, 0], np.hypot(9.80 * flown, sideways), rtol=5e-3, atol=9.8 * TICK)


def test_opening_load__of_a_finite_mass_by_an_independent_integration(arc):
    """m v' = m g - q A(t), A = CdS (t/t_f)^2 from line stretch on, F = q Cx A(t): scipy against the kernel, to 4e-3 (here density stays what it was)."""
    mission, at, ds = arc
    part = next(one for one in mission.stage[0].part if one.name == "drogue")
    area = part.drag_coefficient * math.pi * part.diameter**2 / 4.0
    for row in np.flatnonzero(at > 0.0):
        event = {name: float(event_values(ds, "line stretch drogue", name)[row]) for name in ("airspeed", "dynamic_pressure", "velocity_up")}
        density, mass = 2.0 * event["dynamic_pressure"] / event["airspeed"] ** 2, float(ds["body_landing_mass"].values[row, 0])
        mass = mass if math.isfinite(mass) else float(sixdof.fly(mission)["mass"][-1])

        def rate(t, v, density=density, mass=mass):
            return [9.80 - 0.5 * density * v[0] ** 2 * area * min(t / part.fill_time, 1.0) ** 2 / mass]

        t = np.linspace(0.0, 25.0 * part.fill_time, 25001)  # 1,000 to the filling; after it the load goes to the weight
        v = solve_ivp(rate, t[[0, -1]], [event["airspeed"]], t_eval=t, rtol=1e-9, atol=1e-9).y[0]
        factor = np.where(t <= part.fill_time + 1e-9, part.opening_force_coefficient, 1.0)
        load = np.max(0.5 * density * v**2 * factor * area * np.minimum(t / part.fill_time, 1.0) ** 2)
        assert float(ds["opening_load"].values[row, 0]) == pytest.approx(load, rel=4e-3)


def test_opening_load__of_an_infinite_mass_is_knackes():
    """T. W. Knacke, NWC TP 6575 (1991): D0 1.5 m, CD0 0.75, Cx 1.7, 25 m/s at sea level: steady drag 507.3641 N, opening force 862.5190 N."""
    from sixdof.core.columns import CANOPY_COLUMNS, CanopyColumn
    from sixdof.core.flight.canopy import opening_load

    row = np.zeros(CANOPY_COLUMNS)
    row[CanopyColumn.DRAG_AREA] = 0.75 * math.pi * 1.5**2 / 4.0
    row[CanopyColumn.FILL_TIME], row[CanopyColumn.REEFING_RATIO], row[CanopyColumn.OPENING_COEFFICIENT] = 0.5, 1.0, 1.7
    pressure = 0.5 * 1.225 * 25.0**2
    assert opening_load(0.5, row, 0.0, pressure) == pytest.approx(862.5190, abs=1e-4)
    assert opening_load(1.0, row, 0.0, pressure) == pytest.approx(507.3641, abs=1e-4)


def test_loads__grow_away_from_apogee_and_are_those_of_the_kernel(found):
    one = found.sel(canopy="drogue")
    middle = one["opening_load"].sel(offset=0.0)
    assert (one["opening_load"].sel(offset=5.0) > 3.0 * middle).all() and (one["opening_load"].sel(offset=-3.0) > 2.0 * middle).all()
    np.testing.assert_allclose(one["opening_load_share"], one["opening_load"] / 60.0)
    np.testing.assert_allclose(one["harness_load_share"], one["harness_load"] / 900.0)
    assert (one["harness_load"] >= one["snatch_load"] - 1e-9).all() and (one["zipper_index"] > 0.0).all()


def test_reefing__lowers_the_load_of_a_late_deployment(sampler):
    late = {"offsets": [5.0], "flights": 2, "seed": 2}
    reefed = sampler.change({"part.drogue.reefing_ratio": "20 %", "part.drogue.reefing_time": "3 s"})
    assert (deployment(reefed, **late)["opening_load"] < 0.8 * deployment(sampler, **late)["opening_load"]).all()


# ---------------------------------------------------------------- window, failures, page


def test_window__is_the_longest_run_of_offsets():
    at = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    assert _longest(np.array([True, False, True, True, False]), at) == (0.0, 1.0)
    assert _longest(np.array([True, True, True, False, True]), at) == (-2.0, 0.0)
    assert np.isnan(_longest(np.zeros(5, bool), at)).all()


def test_window__of_the_time_alone_leaves_the_snatch_out(sampler):
    """A cord that the charge alone loads with more than half its strength: no time is right, and the opening's own window stays."""
    thin = deployment(sampler.change({"harness.drogue.strength": "300 N"}), offsets=[0.0, 5.0], flights=2, seed=2).sel(canopy="drogue")
    assert np.isnan(thin["window_low"]) and float(thin["timing_window_low"]) == float(thin["timing_window_high"]) == 0.0
    assert (thin["harness_load_share"] > 0.5).all() and (thin["harness_opening_share"] < 0.5).all()
    assert "no timer does" in " ".join(str(sixdof.report(thin.expand_dims("canopy"))).split())


def test_window__by_hand(found):
    one = found.sel(canopy="drogue")
    loads = np.stack([one[name].values for name in ("opening_load_share", "harness_load_share", "zipper_index")])
    np.testing.assert_allclose(one["below_share"], (loads < 0.5).all(axis=0).mean(axis=1))
    assert float(one["window_low"]) <= 0.0 <= float(one["window_high"]) < 5.0


def test_failures__late_apogee():
    late = stranger("slender").change({"recovery.streamer.backup_time": None, "recovery.streamer.motor_delay": None})
    found = deployment(late, offsets=[0.0], flights=2, failing=1)
    moved = found["failing_offset_flown"].sel(failure="late_apogee: needlegrass") - found["own_offset_flown"].min("flight")  # one of which is late too
    assert (abs(moved - 3.0) < 0.5).all()  # late_by of that mission, each flight's own noticing beside it


@pytest.mark.slow
def test_failures__a_drogue_that_never_comes(stack_mission):
    lost = stack_mission.add("failure", {"kind": "no_deployment", "of": "drogue", "probability": "1 %"})
    main = deployment(lost, "main", offsets=[0.0], flights=2, failing=1)
    fast = main["failing_opening_load"].sel(failure="no_deployment: drogue").max()
    assert float(fast) > float(main["own_opening_load"].max())
    page = str(sixdof.report(main))
    assert "main" in page and 'no harness load and no zipper index: the mission has no [[harness]] of "main"' in " ".join(page.split())


def test_page__answers_first(found):
    page = str(sixdof.report(found))
    text = " ".join(page.split())
    assert "It may come out from" in text and "as written it comes out" in text and "5 s late" in text and "3 s early" in text
    assert "common practice" in text and "not a clearance to fly" in text
    assert max(map(len, page.splitlines())) <= 130
    alone = found.assign({name: np.nan * found[name] for name in ("window_low", "window_high")})
    assert "By what the time itself changes" in " ".join(str(sixdof.report(alone)).split())
    weak = found.assign(below_share=0.5 * found["below_share"], window_low=np.nan * found["window_low"])
    assert "No time is right" in str(sixdof.report(weak))


def test_deployment__says_what_is_missing(sampler):
    bare = sampler.remove("recovery.drogue", "recovery.main", "harness.drogue")
    with pytest.raises(ValueError, match='nothing deploys the canopy "drogue"'):
        deployment(bare)
    with pytest.raises(ValueError, match="has no parachute"):
        deployment(bare.remove("part.drogue", "part.main"))
    for wrong, match in (
        ({"canopy": "drog"}, "there is no canopy .drog."),
        ({"offsets": [1.0, 0.0]}, "rising"),
        ({"offsets": "3 s"}, "list of times"),
        ({"canopy": 3}, "must be the name of a canopy"),
        ({"canopy": []}, "must be the name of a canopy"),
        ({"load_share": 2.0}, "at most 1"),
    ):
        with pytest.raises((ValueError, TypeError), match=match):
            deployment(sampler, **wrong)
    assert public is deployment


def test_measures__drive_criteria(sampler):
    found = sixdof.compare({"as written": sampler}, 3, criteria=["opening_load_share of drogue < 90 %", "zipper_index of drogue < 0.5"], progress=False)
    assert isinstance(found, xr.Dataset) and "opening_load_share" in found

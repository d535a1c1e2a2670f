"""`compare_log` from call to page: a log that is a drawn flight, one with drag four standard deviations off, a late clock, feet; two stages; bad input."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from scipy.stats import kstest
from strangers import stranger

import sixdof
from sixdof.postflight.compare.expected import expected
from sixdof.postflight.compare.reading import burns_of, motors_of
from sixdof.study.sweep.timelines import each_draw

NOISE = {"height": 1.0, "velocity": 0.3, "specific_force": 1.0, "body_rate": 0.02, "tilt": 0.01}


def log_in(flight: xr.Dataset, names=tuple(NOISE), rate: float = 20.0, seed: int = 0, stage: str = "") -> xr.Dataset:
    """Return a flight as a log of the contract: rows from liftoff on, white noise that it tells."""
    time = np.arange(0.0, float(flight["time"][-1]), 1.0 / rate)
    blank = {name: (flight[name].dims, np.full((time.size, *flight[name].shape[1:]), np.nan)) for name in names}
    coords = {"time": time} | {name: flight[name] for name in ("axis", "quaternion", "fin") if name in flight.coords}
    log = expected(flight, xr.Dataset(blank, coords, {"stage": stage})).assign_attrs(kind="flight log", stage=stage, liftoff_time=0.0, liftoff_error=0.01)
    rng = np.random.default_rng(seed)
    for name in log.data_vars:
        log[name].values[...] += NOISE[name] * rng.standard_normal(log[name].shape)
        log[name].attrs["error"] = NOISE[name]
    return log


@pytest.fixture(scope="module")
def ensemble(demo_mission):
    return sixdof.disperse(demo_mission, 40, seed=1, progress=False)


@pytest.fixture(scope="module")
def flight(demo_mission):
    return sixdof.fly(demo_mission, seed=7, flight=4)


@pytest.fixture(scope="module")
def found(ensemble, flight):
    """One drawn flight as two logs: as it was, and with its heights in feet."""
    right, feet = log_in(flight), log_in(flight, ("height", "velocity"))
    feet = feet.assign(height=(3.2808 * feet.height).assign_attrs(feet.height.attrs))
    return sixdof.postflight.compare_log(ensemble, {"right": right, "feet": feet}, points=60, progress=False)


def test_log__that_is_a_drawn_flight_holds_as_far_as_it_goes(found):
    one = found.sel(log="right")
    assert one.log_holds.item() == 1 and one.log_p_value.item() > 0.05
    assert one.log_holds_to_mach.item() == one.log_mach.item() < 0.4
    page = str(sixdof.report(found))
    assert "right: the model holds as far as this log goes" in page and "NOTHING IS SAID ABOVE MACH 0.3" in page and "nan" not in page


def test_band__is_the_flights_and_residual_the_logs(found):
    """Second statement: the sum of median and residual; quantiles that rise; ranks between 0 and 1."""
    np.testing.assert_allclose((found.residual + found.band.sel(share=0.5)).values, found.logged.values, atol=1e-9)
    assert (np.diff(found.band.values, axis=1) >= 0.0)[np.isfinite(np.diff(found.band.values, axis=1))].all()
    rank = found["rank"].values[np.isfinite(found["rank"].values)]
    assert rank.min() > 0.0 and rank.max() < 1.0
    burn = found.segment.values[found.segment_group.values == "motor"]
    assert list(burn) == ["thistledown burns", "coast behind thistledown"]


def test_scalars__of_the_log_are_the_flights_outcomes(found, flight, ensemble):
    one = found.sel(scalar="right: apogee_height")
    assert float(one.scalar_logged) == pytest.approx(float(flight.apogee_height), abs=4.0)  # the largest of noise of 1 m
    assert float(one.scalar_median) == pytest.approx(float(ensemble.apogee_height.median()), abs=6.0)
    burnout = found.scalar_logged.sel(scalar="right: burnout_time[thistledown]")
    assert float(burnout) == pytest.approx(float(flight.event_time.sel(event="burnout")[0]), abs=0.1)


def test_feet__are_found_and_named_by_their_factor(found):
    """A flight that deviates from the mean deviates 3.28 times as far in feet: the factor comes out all the same, within its own error."""
    first = found.isel(candidate=int(np.flatnonzero(found.candidate_log.values == "feet")[0]))
    assert found.log_holds.sel(log="feet").item() == 0 and str(first.candidate.item()) == "feet: height, its scale"
    error = float(first.candidate_amount_error)
    assert abs(float(first.candidate_amount) - 2.2808) < 2.0 * error < 1.5
    assert str(first.candidate_remark.item()) == "values are in ft and were read as m"
    page = str(sixdof.report(found))
    assert "feet: THE MODEL DOES NOT HOLD" in page and "feet: height, its scale" in page


def test_burns__of_a_log_are_those_of_the_stages_it_flew_with(stack_mission):
    """Second statement: ignition and burnout of the flight's own events."""
    flight = sixdof.fly(stack_mission)
    when = flight.event_time.isel(body=0)
    zero = float(when.sel(event="liftoff"))
    motors = motors_of(stack_mission, "")
    assert motors == ["drayhorse", "whinchat"] and motors_of(stack_mission, "drayhorse") == ["drayhorse"]
    first, second = burns_of(flight, "", motors)
    assert first == pytest.approx((0.0, float(when.sel(event="burnout")) - zero))
    assert second == pytest.approx((float(when.sel(event="ignition whinchat")) - zero, float(when.sel(event="burnout whinchat")) - zero))
    assert motors_of(stranger("stack"), "bulrush") == ["tussock", "bulrush"]


@pytest.mark.parametrize(
    "change, says",
    [
        ({"log": 3.0}, "compare_log: log = 3 must be a flight log as read_log gives it"),
        ({"log": []}, "compare_log: there is no log in the list"),
        ({"branch": "no_such"}, 'compare_log: branch "no_such": the mission has no [[failure]] entries'),
        ({"branch": ""}, 'compare_log: branch = "" must be nominal'),
        ({"flights": 5}, "compare_log: flights = 5 must be a whole number of 20 or more"),
        ({"clock_error": "2 m"}, "compare_log: clock_error:"),
        ({"confidence": 1.5}, "compare_log: confidence = 1.5 must lie between 0 and 1"),
    ],
)
def test_bad_input__is_one_sentence(demo_mission, demo_flight, change, says):
    given = {"log": log_in(demo_flight, ("height",), rate=1.0), "flights": 20, "progress": False} | change
    with pytest.raises((ValueError, TypeError)) as caught:
        sixdof.postflight.compare_log(demo_mission, given.pop("log"), **given)
    assert str(caught.value).startswith(says) and "\n" not in str(caught.value)


def test_bad_input__a_log_with_nothing_in_common(demo_mission, demo_flight):
    log = log_in(demo_flight, ("height",), rate=1.0).rename(height="smell")
    with pytest.raises(ValueError, match="the log holds nothing after liftoff that a flight of this mission has too; it holds smell"):
        sixdof.postflight.compare_log(demo_mission, log, flights=20, progress=False)


def test_bad_input__a_branch_that_few_took(ensemble, demo_flight):
    few = ensemble.assign(branch=("flight", ["no_deployment"] * 25 + ["nominal"] * 15))
    log = log_in(demo_flight, ("height",), rate=1.0)
    with pytest.raises(ValueError, match='15 flights of the branch "nominal" are too few'):
        sixdof.postflight.compare_log(few, log, progress=False)
    with pytest.raises(ValueError, match='none of 40 flights took the branch "other"; they took no_deployment, nominal'):
        sixdof.postflight.compare_log(few, log, branch="other", progress=False)


def test_bad_input__flights_with_weights(ensemble, demo_flight):
    weighted = ensemble.assign(weight=("flight", np.full(40, 1.0 / 40.0)))
    with pytest.raises(ValueError, match="these flights have weights .* and a log is ranked among flights that count alike: give the mission"):
        sixdof.postflight.compare_log(weighted, log_in(demo_flight, ("height",), rate=1.0), progress=False)


# ---------------------------------------------------------------- simulation-based, slow


@pytest.mark.slow
def test_calibration__ranks_p_and_coverage_of_many_drawn_logs(demo_mission):
    """Each of 40 further flights as a log against the same 120: p and ranks uniform, coverage on the mean as claimed."""
    logs = {f"{k}": log_in(sixdof.fly(demo_mission, seed=7, flight=k), seed=k) for k in range(40)}
    ds = sixdof.postflight.compare_log(demo_mission, logs, flights=120, points=100, progress=False)
    p = ds.log_p_value.values
    assert kstest(p, "uniform").pvalue > 0.01 and np.mean(p < 0.05) < 0.2
    up = ds.channel.values[[name.endswith("velocity[up]") for name in ds.channel.values]]
    ranks = [float(row[np.isfinite(row)][30]) for row in ds["rank"].sel(channel=up).values]
    assert kstest(ranks, "uniform").pvalue > 0.01
    whole = ds.sel(segment="whole flight", channel=up)
    error = whole.coverage.std("channel") / math.sqrt(len(up))
    assert (np.abs(whole.coverage.mean("channel") - whole.coverage_claimed[0]) < 3.5 * error).all()
    print("p", np.round(np.sort(p), 3), "coverage", whole.coverage.mean("channel").values)


@pytest.mark.slow
def test_drag__four_standard_deviations_off_is_named_first(demo_mission):
    table = sixdof.stats.make_draws(demo_mission, 10, seed=99)
    table["aero.drag"].values[...] = 1.0 + 4.0 * demo_mission.disperse["aero.drag"].sd
    logs = {f"{k}": log_in(flight, seed=k) for k, flight in enumerate(each_draw(demo_mission, table, lambda flight: flight))}
    ds = sixdof.postflight.compare_log(demo_mission, logs, flights=150, points=200, progress=False)
    first = {str(log): str(ds.candidate.values[ds.candidate_log.values == log][0]) for log in ds.log.values}
    print(first, ds.log_p_value.values)
    assert sum(name == "aero_drag" for name in first.values()) >= 7
    assert np.mean(ds.log_p_value.values < 0.25) >= 0.6  # the band of ten variables is wide: drag alone does not always leave it


@pytest.mark.slow
def test_clock__a_tenth_of_a_second_late_is_named_as_clock_or_burn_time(demo_mission):
    """Both move a curve alike: one to five of eight name the clock first, the others the burn time, which the page says."""
    logs = {}
    for k in range(8):
        log = log_in(sixdof.fly(demo_mission, seed=99, flight=k), seed=k)
        logs[f"{k}"] = log.assign_coords(time=log.time + 0.1)
    ds = sixdof.postflight.compare_log(demo_mission, logs, flights=150, points=200, progress=False)
    rows = [int(np.flatnonzero(ds.candidate_log.values == log)[0]) for log in ds.log.values]
    named = [k for k in rows if "offset" in str(ds.candidate.values[k])]
    print(ds.candidate.values[rows], ds.candidate_amount.values[rows], ds.log_p_value.values)
    assert named and all("offset" in name or name == "motor_burn_time" for name in map(str, ds.candidate.values[rows]))
    assert np.mean(ds.candidate_amount.values[named]) == pytest.approx(0.1, abs=0.04)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["slender", "canard", "stack"])
def test_foreign_vehicle__runs_and_says_loudly_above_mach_08(name):
    mission = stranger(name)
    own = mission.change({f"failure.{k}.probability": 0.0 for k in range(len(mission.failure))})
    ds = sixdof.postflight.compare_log(mission, log_in(sixdof.fly(own, seed=5, flight=1), ("height", "velocity", "specific_force")), flights=30, progress=False)
    page = str(sixdof.report(ds))
    fast = ds.log_mach.item() >= 0.8
    assert ("ABOVE MACH 0.8 THE AIR OF THIS MODEL IS AN ESTIMATE" in page) == fast and ("NOTHING IS SAID ABOVE" in page) != fast and "nan" not in page
    motors = [stage.name for stage in mission.stage][::-1]
    assert [f"{motor} burns" in ds.segment.values for motor in motors] == [True] * len(motors)


@pytest.mark.slow
def test_booster__has_a_log_of_its_own(stack_mission):
    own = stack_mission.change({f"failure.{k}.probability": 0.0 for k in range(len(stack_mission.failure))})
    flight = sixdof.fly(own, seed=5, flight=1)
    logs = {"upper": log_in(flight), "lower": log_in(flight, ("height",), stage="drayhorse")}
    ds = sixdof.postflight.compare_log(stack_mission, logs, flights=40, progress=False)
    assert "lower: height" in ds.channel.values and set(ds.log.values) == {"upper", "lower"}
    assert "All logs together" in str(sixdof.report(ds))

"""`estimate` on flights whose truth is known, back into the mission, held back, kept; and one sentence for what it cannot."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from flown_logs import noisy_log, true_flight

import sixdof
from sixdof.postflight.estimation.channels import at_times, turn_between
from sixdof.postflight.estimation.flown import Flights, clock_at, ending, fitted, quiet
from sixdof.postflight.estimation.parameters import clocks_of, parameters_of, prior_of
from sixdof.postflight.estimation.telling import inseparable, stretches
from sixdof.study.sweep.timelines import each_draw

VEHICLES = Path(__file__).parents[2] / "vehicles"
TRUTH = {"aero.drag": 1.12, "motor.impulse": 0.98}
TIME = np.arange(0.0, 5.0, 0.1)


@pytest.fixture(scope="module")
def few_mission(demo_mission):
    """The demo with little dispersed."""
    kept = {name: demo_mission.disperse[name] for name in ("aero.drag", "motor.impulse", "vehicle.mass")}
    return demo_mission.change({"disperse": kept, "correlation": []})


@pytest.fixture(scope="module")
def canard():
    """A vehicle whose computer has sensors with noise."""
    return sixdof.load_mission(VEHICLES / "canard.toml")


@pytest.fixture(scope="module")
def logs(few_mission):
    """Two logs of the vehicle with more drag than its build-up; the second motor is a weaker one."""
    flights = [true_flight(few_mission, TRUTH | change)[1] for change in ({}, {"motor.impulse": 0.95})]
    return {name: noisy_log(flight, TIME, seed) for seed, (name, flight) in enumerate(zip(("first", "second"), flights, strict=True), 1)}


@pytest.fixture(scope="module")
def found(few_mission, logs):
    return sixdof.postflight.estimate(few_mission, logs["first"], list(TRUTH), progress=False)


def test_estimate__finds_the_truth_within_its_errors(found):
    """The known error of height holds; that of velocity, which the log does not state, is found: 0.3 m/s within three standard errors of 50 readings."""
    miss = (found.estimate.values - np.array(list(TRUTH.values()))) / found.sd.values
    assert (np.abs(miss) < 3.0).all()
    noise = found.noise.sel(log="log")
    assert float(noise.sel(channel="height")) == 1.0
    assert (np.abs(noise.sel(channel=["velocity east", "velocity north", "velocity up"]).values / 0.3 - 1.0) < 3.0 / np.sqrt(100.0)).all()
    assert found.attrs["converged"] and float(found.turn_step[-1]) < 0.02
    assert (found.rms_after.values < found.rms_before.values + 0.1).all() and found.rms_before.sel(channel="velocity up").item() > 1.0


def test_estimate__what_is_carried_along_widens_it(found, few_mission, logs):
    """Mass is not asked for: as if it were known, drag is known better; thrust hangs on it, and the page says so."""
    alone = sixdof.postflight.estimate(few_mission, logs["first"], list(TRUTH), carry=False, progress=False)
    assert "carried" not in alone.dims and list(found.carried.values) == ["vehicle.mass of thistledown"]
    assert (alone.sd.values < 0.8 * found.sd.values).all()
    assert "motor.impulse hangs on what was not asked for: vehicle.mass of thistledown" in str(sixdof.report(found)).replace("\n    ", " ")


def test_estimate__page_answers_first_and_says_how_far_the_data_reach(found):
    lines = str(sixdof.report(found)).splitlines()
    first = next(line for line in lines if line.strip())
    assert first.startswith("Thistledown") and any(line.startswith("  ANSWER: aero.drag is 1.") for line in lines[:5])
    page = str(sixdof.report(found)).replace("\n    ", " ")
    assert "up to Mach 0." in page and "Beyond: no data." in page and "ABOVE MACH" not in page
    loud = found.assign(mach_most=found.mach_most + 1.0)
    assert "IS ABOVE MACH 0.8" in str(sixdof.report(loud)) and "TURBULENCE" not in page
    noisy = found.assign(flown_sd=0.5 * found.sd).assign_attrs(noisy=16)
    assert "so much of each standard deviation: 50 % of aero.drag, 50 % of motor.impulse." in str(sixdof.report(noisy)).replace("\n    ", " ")
    assert "A calculation, not a clearance to fly" in page and "nan" not in page


@pytest.mark.slow
def test_estimate__goes_on_where_it_was_interrupted(few_mission, logs, found, tmp_path, monkeypatch):
    """Interrupted at its third question: one sentence; the same call ends with the same bits; the file is no other estimate's."""
    keep, calls, ask = tmp_path / "turns.json", [], Flights.__call__

    def asked(self, questions):
        calls.append(len(questions))
        if len(calls) == 4:
            raise KeyboardInterrupt
        return ask(self, questions)

    monkeypatch.setattr(Flights, "__call__", asked)
    with pytest.raises(KeyboardInterrupt, match=r"estimate: interrupted; .*turns.json holds the turns so far"):
        sixdof.postflight.estimate(few_mission, logs["first"], list(TRUTH), keep=keep, progress=False)
    again = sixdof.postflight.estimate(few_mission, logs["first"], list(TRUTH), keep=keep, progress=False)
    for name in ("estimate", "covariance", "turn_step", "residual_after"):
        np.testing.assert_array_equal(again[name].values, found[name].values)
    with pytest.raises(ValueError, match="is of another estimate"):
        sixdof.postflight.estimate(few_mission, logs["second"], list(TRUTH), keep=keep, progress=False)


# ---------------------------------------------------------------- several flights


@pytest.mark.slow
def test_estimate__several_flights_share_the_vehicle_and_have_motors_of_their_own(few_mission, logs):
    both = sixdof.postflight.estimate(few_mission, logs, list(TRUTH), carry=False, progress=False)
    assert list(both.parameter.values) == ["aero.drag", "motor.impulse in first", "motor.impulse in second"]
    miss = (both.estimate.values - [1.12, 0.98, 0.95]) / both.sd.values
    assert (np.abs(miss) < 3.0).all() and list(both.daily.values) == [0, 1, 1]
    mission = sixdof.postflight.with_estimated(few_mission, both)
    assert mission.disperse["motor.impulse"] == few_mission.disperse["motor.impulse"]  # the next motor is another one
    assert mission.disperse["aero.drag"].mean == float(both.estimate[0]) and mission.disperse["aero.drag"].sd == float(both.sd[0])
    again = sixdof.postflight.with_estimated(few_mission, both, log="second")
    assert again.disperse["motor.impulse"].mean == float(both.estimate[2])


@pytest.mark.slow
def test_hold_back__the_other_flight_predicts_better_than_the_prior(few_mission, logs):
    held = sixdof.postflight.hold_back(few_mission, logs, list(TRUTH), progress=False)
    assert held.sizes == {"log": 2, "channel": 4, "parameter": 1}
    assert (np.abs(held.estimate.values - 1.12) < 3.0 * held.sd.values).all()
    assert (held.narrowed.sel(channel="height").values < 1.0).all()
    assert "each held back once and predicted from the others" in str(sixdof.report(held))
    with pytest.raises(ValueError, match="hold_back: one flight is held back and the others are asked: give two logs or more"):
        sixdof.postflight.hold_back(few_mission, logs["first"], list(TRUTH), progress=False)


# ---------------------------------------------------------------- back into the mission


def test_with_estimated__the_next_draws_have_its_means_spreads_and_correlation(few_mission, found):
    """4000 draws: means within four standard errors, deviations within 5 %, the correlation within 0.03 (three standard errors and its factor 0.999)."""
    mission = sixdof.postflight.with_estimated(few_mission, found, log="log", carried=True)
    draws = sixdof.stats.make_draws(mission, 4000, seed=3)
    names = ["aero.drag", "motor.impulse", "vehicle.mass"]
    values = np.array([draws[name].values for name in names])
    mean = np.append(found.estimate.values, found.carried_estimate.values)
    sd = np.append(found.sd.values, found.carried_sd.values)
    assert (np.abs(values.mean(axis=1) - mean) < 4.0 * sd / np.sqrt(4000.0)).all()
    np.testing.assert_allclose(values.std(axis=1), sd, rtol=0.05)
    together = np.corrcoef(values)
    assert abs(together[0, 1] - float(found.correlation[0, 1])) < 0.05
    np.testing.assert_allclose(together[:2, 2], found.carried_correlation.values[:, 0], atol=0.03)


def test_estimate_toml__is_the_same_as_with_estimated(few_mission, found):
    text = sixdof.postflight.estimate_toml(found, log="log", carried=True)
    assert text.startswith("# estimated from flight logs (log): 200 readings from 0.0 to 4.9 s after liftoff")
    tables = tomllib.loads(text)
    read = few_mission.change({f"disperse.{name}": spread for name, spread in tables["disperse"].items()} | {"correlation": tables["correlation"]})
    made = sixdof.postflight.with_estimated(few_mission, found, log="log", carried=True)
    for name in made.disperse:
        assert read.disperse[name].mean == pytest.approx(made.disperse[name].mean, rel=1e-7)
        assert read.disperse[name].sd == pytest.approx(made.disperse[name].sd, rel=1e-7)
    np.testing.assert_allclose(read.correlation[0].matrix, made.correlation[0].matrix, atol=1e-7)


def test_with_estimated__one_stage_alone_and_what_is_of_the_day(stack_mission, found):
    """By hand: drag of one stage goes into `of`, groups that named it lose that stage; an estimate of the day alone has nothing for the next flight."""
    stage = stack_mission.stage[0].name
    one = found.isel(parameter=[0], parameter_2=[0]).drop_dims(["carried", "carried_2"]).assign(thing=("parameter", [stage]))
    mission = sixdof.postflight.with_estimated(stack_mission, one)
    assert mission.disperse["aero.drag"].of[stage].mean == float(found.estimate[0])
    assert mission.disperse["aero.drag"].sd == stack_mission.disperse["aero.drag"].sd
    with pytest.raises(ValueError, match="all that was estimated is of one flight's day"):
        sixdof.postflight.with_estimated(stack_mission, one.assign(daily=("parameter", [1])))


# ---------------------------------------------------------------- the mission that the fit flies


def test_quiet__takes_the_noise_and_leaves_the_rest(canard):
    mission = canard.change({"air.turbulence": {"wind_at_20_ft": "5 m/s"}})
    calm = quiet(mission)
    assert calm.air.turbulence is None and calm.sensors.gyro.noise == 0.0 and calm.sensors.barometer.bias == 0.0
    assert calm.sensors.gyro.range == mission.sensors.gyro.range and calm.sensors.barometer.lag == mission.sensors.barometer.lag
    assert calm.servo == mission.servo and calm.disperse == mission.disperse


def test_fitted__flies_the_same_whatever_the_seed(canard):
    """Nothing is drawn in flight any more: two seeds of the noise give the same bits, which they do not of the vehicle as it is."""
    own = ending(fitted(canard, parameters_of(canard, ["aero.drag"], None, None, ["log"], "test")), 0.5)
    noisy = canard.change({"solver.time_limit": own.mission.solver.time_limit})
    for mission, same in ((own.mission, True), (noisy, False)):
        one, other = (each_draw(mission, own.held.assign_attrs(seed=seed), lambda flight: flight.velocity.values)[0] for seed in ("1", "2"))
        assert np.array_equal(one, other) == same


def test_fitted__paths_are_estimated_too(few_mission):
    """A path of the mission: the length of the rail, as it is drawn by [disperse]."""
    parameters = parameters_of(few_mission, ["rail.length"], {"rail.length": "5 cm"}, None, ["log"], "test")
    own = fitted(few_mission, parameters)
    assert own.mission.disperse["rail.length"].mean == few_mission.rail.length and list(own.held) == ["motor.impulse", "vehicle.mass", "aero.drag"]


def test_clock__of_each_log_is_carried_by_its_error_of_liftoff(logs):
    """Only where a log states it; at one standard deviation its times are so much later, those of the other log are not."""
    given = {"first": logs["first"].assign_attrs(liftoff_error=0.02), "second": logs["second"]}
    (clock,) = clocks_of(given)
    assert (clock.log, clock.mean, clock.sd, clock.asked, clock.daily) == ("first", 0.0, 0.02, False, True)
    assert clock_at([clock], "first", np.ones(1)) == 0.02 and clock_at([clock], "second", np.ones(1)) == 0.0
    np.testing.assert_allclose(at_times(given["first"], 0.02).time.values, TIME + 0.02)


@pytest.mark.slow
def test_clock__found_late_is_no_drag(few_mission, logs):
    """Times 40 ms short of the truth, liftoff known to 25 ms: the clock takes it, within three standard deviations; as if it were known, drag is off."""
    late = logs["first"].assign_coords(time=logs["first"].time - 0.04)
    free = sixdof.postflight.estimate(few_mission, late.assign_attrs(liftoff_error=0.025), list(TRUTH), between=(0.2, 4.9), progress=False)
    clock = free.sel(carried="log.clock")
    assert abs(float(clock.carried_estimate) - 0.04) < 3.0 * float(clock.carried_sd) < 0.03
    assert (np.abs(free.estimate.values - list(TRUTH.values())) < 3.0 * free.sd.values).all()
    held = sixdof.postflight.estimate(few_mission, late, list(TRUTH), between=(0.2, 4.9), progress=False)
    assert float(held.estimate[0]) < TRUTH["aero.drag"] - 0.05  # a clock that is short looks like less drag


def test_prior__is_correlated_as_the_mission_says(demo_mission):
    kept = {name: demo_mission.disperse[name] for name in ("aero.drag", "aero.cp")}
    mission = demo_mission.change({"disperse": kept, "correlation": [{"of": ["aero.drag", "aero.cp"], "coefficient": 0.6}]})
    prior = prior_of(mission, parameters_of(mission, ["aero.drag", "aero.cp"], None, None, ["log"], "test"))
    np.testing.assert_allclose(np.linalg.inv(prior.precision), [[1.0, 0.6], [0.6, 1.0]])


def test_turn_between__attitudes_is_the_small_rotation():
    """A turn of 0.2 rad about body z of an attitude that is itself turned; the same attitude with the other sign is no turn."""
    first = np.array([[np.cos(0.4), np.sin(0.4), 0.0, 0.0]])
    turn = np.array([np.cos(0.1), 0.0, 0.0, np.sin(0.1)])
    w, x, y, z = first[0]
    second = np.array([[w * turn[0], x * turn[0], -x * turn[3], w * turn[3]]])
    np.testing.assert_allclose(turn_between(first, second), [[0.0, 0.0, 0.2]], atol=1e-12)
    np.testing.assert_allclose(turn_between(first, -first), 0.0, atol=1e-12)


# ---------------------------------------------------------------- sentences


def told(found: xr.Dataset, **changes) -> str:
    return "\n".join(inseparable(found.drop_dims(["carried", "carried_2"]).assign(changes)))


def test_page__unconverged_first_and_what_stands_out_once_a_log(found):
    """A fit that did not end says so before its answer; residuals that are too large are one sentence, however many columns have them."""
    lines = str(sixdof.report(found.assign_attrs(converged=0))).splitlines()
    first = next(k for k, line in enumerate(lines) if "NOT CONVERGED" in line)
    assert first < next(k for k, line in enumerate(lines) if "ANSWER" in line)
    loud = str(sixdof.report(found.assign(known_error=found.noise / 2.0))).replace("\n    ", " ")
    assert loud.count("larger than stated errors and flown noise make them") == 1 and "velocity up (2.0)" in loud and "height (2.0)" in loud


def test_inseparable__drag_and_thrust(found):
    """The direction of both up together is not seen: their ratio is known. Of one up and one down, their product."""
    seen = {"direction_information": ("direction", [0.2, 50.0])}
    half = np.sqrt(0.5)
    up = told(found, direction_part=(("direction", "parameter"), [[half, half], [half, -half]]), **seen)
    assert up.startswith(
        "aero.drag and motor.impulse cannot be told apart by this log: +5.7 % of aero.drag with +1.8 % of motor.impulse changes next to nothing"
    )
    assert up.endswith("only their ratio is known.")
    down = told(found, direction_part=(("direction", "parameter"), [[half, -half], [half, half]]), **seen)
    assert "-1.8 % of motor.impulse" in down and down.endswith("only their product is known.")
    alone = told(found, direction_part=(("direction", "parameter"), [[0.0, 1.0], [1.0, 0.0]]), **seen)
    assert alone == "motor.impulse cannot be told from this log: more was known before the flight than the data say."


def test_stretches__name_where_a_log_stands_out(found):
    bad = found.residual_after.copy()
    bad[0, 0, 20:25] = 8.0  # height, 2.0 to 2.4 s, 8 m at 1 m of noise
    log, channel, first, last, count, most = stretches(found.assign(residual_after=bad))[0]
    assert (log, channel, count) == ("log", "height", 5)
    assert (first, last, most) == pytest.approx((2.0, 2.4, 8.0))


WRONG = [
    (["aero.drga"], {}, 'estimate: parameters: "aero.drga" cannot be dispersed'),
    ([], {}, "estimate: parameters must be a list of names"),
    (["aero.drag"], {"priors": {"aero.drag": "5 kg"}}, "estimate: priors: aero.drag: "),
    (["aero.drag"], {"priors": {"aero.cp": "5 mm"}}, 'estimate: priors: "aero.cp" is not estimated'),
    (["aero.drag of attic"], {}, 'estimate: "aero.drag of attic" names nothing of this mission'),
    (["aero.drag", "aero.drag of thistledown"], {}, "estimate: aero.drag is asked for as a whole and of"),
    (["servo.speed"], {}, "estimate: nothing is known of servo.speed before the flight, it is not in [disperse]; give priors="),
    (["wind.member"], {}, "estimate: wind.member cannot be estimated from a log"),
    (["aero.drag"], {"use": ["mach"]}, 'estimate: use: the log measures no "mach" that a flight answers there'),
    (["aero.drag"], {"between": ("3 s", "2 s")}, "estimate: between: 3 s is not before 2 s"),
    (["aero.drag"], {"between": ("30 s", "40 s")}, "estimate: between 30 s and 40 s the log holds no two instants"),
    (["aero.drag"], {"starts": 0}, "estimate: starts = 0 must be a whole number, 1 or more"),
    (["aero.drag"], {"own": ["aero.cp"]}, 'estimate: own: "aero.cp" is not estimated'),
]


@pytest.mark.parametrize("names, options, says", WRONG, ids=[str(k) for k in range(len(WRONG))])
def test_estimate__says_in_one_sentence_what_is_wrong(few_mission, logs, names, options, says):
    with pytest.raises(ValueError) as caught:
        sixdof.postflight.estimate(few_mission, logs["first"], names, progress=False, **options)
    assert str(caught.value).startswith(says) and "\n" not in str(caught.value)


def test_estimate__a_passive_vehicle_has_no_control_to_estimate(logs):
    mission = sixdof.load_mission(VEHICLES / "slender.toml")
    with pytest.raises(ValueError, match="estimate: aero.control_force means nothing to this vehicle: it has no control fins; leave it out"):
        sixdof.postflight.estimate(mission, logs["first"], ["aero.control_force"], progress=False)


def test_estimate__what_is_no_log(few_mission):
    with pytest.raises(TypeError, match="estimate: the log must be a Dataset as sixdof.postflight.read_log gives it"):
        sixdof.postflight.estimate(few_mission, {"log": 3}, ["aero.drag"])
    with pytest.raises(ValueError, match="estimate: the log has no coordinate time"):
        sixdof.postflight.estimate(few_mission, xr.Dataset(), ["aero.drag"])

"""Linear models along a flight: what the Dataset holds, where the models are taken, what is refused, and systems made of them."""

from __future__ import annotations

import warnings

import control
import numpy as np
import pytest

import sixdof
from sixdof.draws.packed import one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.study.loops.linear import CHANNELS, DEMANDS, STEP, linearise, state_space
from sixdof.study.loops.linear_slopes import GUSTS, STATES

FINS = ("fin_1", "fin_2", "fin_3", "fin_4")


@pytest.fixture(scope="module")
def models(demo_mission):
    return linearise(demo_mission, points=12)


# ---------------------------------------------------------------- what it holds


def test_models__dims_names_units(models):
    assert dict(models.sizes) == {"point": 12, "rate_of": 10, "state": 10, "input": 10, "fin": 4, "axis": 3, "channel": 3, "plane": 2}
    assert models.state.values.tolist() == models.rate_of.values.tolist() == list(STATES)
    assert models.input.values.tolist() == [*DEMANDS, *FINS, *GUSTS]
    for name in (*models.data_vars, "time", "mach", "dynamic_pressure"):
        assert models[name].attrs["units"] and models[name].attrs["long_name"], name
    assert np.isfinite(models.state_matrix).all() and np.isfinite(models.input_matrix).all()
    assert (np.diff(models.time) > 0.0).all() and (models.step_error < 1e-4).all()


def test_models__mission_loads_again_and_gives_the_same(models):
    mission = sixdof.parts.loads_mission(models.attrs["mission"])
    assert models.attrs["title"] == mission.title
    assert linearise(mission, points=12).drop_attrs().identical(models.drop_attrs())


def test_models__trim_is_that_of_the_flight(models, demo_mission, demo_flight):
    fine = sixdof.fly(demo_mission.change({"record.rate": "100 Hz"})).sel(time=models.time, method="nearest")
    for name in ("height", "airspeed", "mach", "dynamic_pressure", "mass", "cg", "thrust", "tilt", "incidence_pitch", "fin_angle"):
        # the log of the same flight, rows 10 ms apart, in single precision at most
        np.testing.assert_allclose(models[name].values, fine[name].values, rtol=2e-6, atol=1e-7, err_msg=name)
    assert (models.stages == 1).all() and (models.booster == 0).all()
    assert (models.gain_factor == 1.0).all() and float(models.servo_factor) == 1.0


def test_models__demands_are_fins_by_the_mixer(models):
    """In the demo all fins turn alike for roll, and pitch and yaw are opposite pairs: the mixer's own columns."""
    b = models.input_matrix
    roll = b.sel(input=list(FINS)).sum("input")
    assert np.allclose(b.sel(input="roll_demand"), roll, rtol=1e-12, atol=1e-9)
    pitch = b.sel(input=list(FINS)) * [-1.0, -1.0, 1.0, 1.0]
    assert np.allclose(b.sel(input="pitch_demand"), pitch.sum("input"), rtol=1e-9, atol=1e-9)
    for k, channel in enumerate(CHANNELS):
        found = b.sel(rate_of="pqr"[k], input=f"{channel}_demand")
        assert (found > 0.0).all() and np.array_equal(found, models.effectiveness.sel(channel=channel))


def test_models__are_each_its_own(models, demo_mission):
    """A model is that of its moment, alone or in a row with others."""
    alone = linearise(demo_mission, at=float(models.time[5]))
    assert alone.sizes["point"] == 1 and float(alone.time[0]) == float(models.time[5])
    for name in ("state_matrix", "input_matrix", "short_period_frequency", "trim_rate"):
        assert np.array_equal(alone[name].values[0], models[name].values[5]), name


# ---------------------------------------------------------------- where


def test_at__times_to_a_tick_each_once(demo_mission):
    ds = linearise(demo_mission, at=[5.004, 2.0, 5.0, 1.006])
    assert ds.time.values == pytest.approx([1.01, 2.0, 5.0], abs=1e-9)


def test_mach__going_up_and_coming_down(demo_mission):
    ds = linearise(demo_mission, mach=[0.2, 0.3])
    assert ds.sizes["point"] == 4
    up = ds.thrust.values > 0.0
    assert up.tolist() == [True, True, False, False]
    # a row a tick: half a tick of 100 m/s^2 going up, 25 m/s^2 coming down, over 346 m/s
    assert ds.mach.values == pytest.approx([0.2, 0.3, 0.3, 0.2], abs=0.0016)


def test_dynamic_pressure__going_up_and_coming_down(demo_mission):
    ds = linearise(demo_mission, dynamic_pressure=3000.0)
    assert ds.sizes["point"] == 2 and ds.dynamic_pressure.values == pytest.approx([3000.0] * 2, rel=0.02)


def test_points__span_the_time_of_live_fins(models, demo_mission):
    times = models.time.values
    assert times[0] == pytest.approx(0.41) and times[-1] == pytest.approx(9.17)
    assert np.diff(times) == pytest.approx(np.full(11, (times[-1] - times[0]) / 11), abs=0.011)  # to a tick
    assert linearise(demo_mission, points=1).sizes["point"] == 1


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"at": 30.0}, r"at = 30 s is outside the free climb faster than 20 m/s, 0\.\d+ s to 9\.\d+ s"),
        ({"at": -1.0}, r"at = -1 s is outside"),
        ({"at": []}, r"at = \[\] must be a number or a row of numbers"),
        ({"at": "2 s"}, r'at = "2 s" must be a number or a row of numbers'),
        ({"mach": 2.0}, r"mach = 2 is never passed: with live fins this flight has 0\.05\d* to 0\.31\d*"),
        ({"mach": float("nan")}, r"mach = nan must be a number"),
        ({"dynamic_pressure": 1e6}, r"dynamic_pressure = 1e\+06 is never passed"),
        ({"at": 1.0, "mach": 0.2}, r"takes one of at, mach and dynamic_pressure, and was given at and mach"),
        ({"points": 0}, r"points = 0 must be a whole number from 1 up"),
        ({"points": 2.5}, r"points = 2\.5 must be a whole number"),
        ({"step": 0.1}, r"step = 0\.1 must be between 1e-9 and 1e-2; 1e-05 suits"),
        ({"flight": -1}, r"flight = -1 must be a whole number from 0"),
        ({"flight": 1, "seed": 0.5}, r"seed = 0\.5 must be a whole number from 0"),
    ],
)
def test_wrong__one_sentence(demo_mission, given, said):
    with pytest.raises(ValueError, match=rf"^linearise:? {said}"):
        linearise(demo_mission, **given)


def test_wrong__no_mission_and_no_flight(demo_mission):
    with pytest.raises(TypeError):
        linearise("sampler.toml")
    with pytest.raises(ValueError, match="never|rail"):
        linearise(demo_mission.change({"stage.thistledown.part.air sampler.mass": "60 kg"}))


# ---------------------------------------------------------------- other vehicles, other draws


def test_no_control__still_has_models(demo_mission, models):
    ds = linearise(demo_mission.change({"stage.thistledown.part.tail.control": False}), points=4)
    assert ds.input.values.tolist() == [*DEMANDS, *GUSTS] and ds.sizes["fin"] == 0
    assert not ds.effectiveness.values.any() and (ds.short_period_frequency > 1.0).all()
    assert state_space(ds, 1, "roll").ninputs == 1


def test_stack__before_and_after_parting(stack_mission):
    ds = linearise(stack_mission, at=[1.0, 1.4, 2.0, 3.0])
    assert ds.stages.values.tolist() == [2, 2, 1, 1] and ds.booster.values.tolist() == [1, 1, 0, 0]
    assert float(ds.mass[1] - ds.mass[2]) > 1.0 and (ds.thrust.values > 0.0).tolist() == [True, False, False, True]
    assert (ds.short_period_frequency[1] != ds.short_period_frequency[2]).all()


def test_draw__of_a_flight_is_that_flight(demo_mission):
    first, again, other = (linearise(demo_mission, at=3.0, seed=7, flight=k) for k in (3, 3, 4))
    assert first.identical(again)
    assert float(abs(first.mass - other.mass)[0]) > 1e-4 and not np.array_equal(first.state_matrix, other.state_matrix)
    assert float(first.servo_factor) != 1.0 and (first.gain_factor != 1.0).all()
    draw = one_draw(pack_draws(demo_mission, draw_table(demo_mission, 7, 3, 1)), 0)
    assert linearise(demo_mission, at=3.0, draw=draw).identical(first)
    flight = sixdof.fly(demo_mission, flight=3, seed=7).sel(time=3.0, method="nearest")
    assert float(first.height[0]) == pytest.approx(float(flight.height), rel=1e-6)
    with pytest.raises(ValueError, match="takes one of flight and draw, and was given both"):
        linearise(demo_mission, at=3.0, draw=draw, flight=3)


def test_failed_servo__moves_nothing(demo_mission, models):
    """Stuck from 2 s on: its own column is zero from then, and the demands do with three fins."""
    stuck = linearise(demo_mission.change({"servo.failure": [{"fin": 2, "time": "2 s"}]}), at=[1.5, 2.5])
    roll = stuck.input_matrix.sel(rate_of="p", input="roll_demand").values
    fins = stuck.input_matrix.sel(rate_of="p", input=list(FINS)).values
    assert roll[0] == pytest.approx(fins[0].sum(), rel=1e-12)
    assert roll[1] == pytest.approx(fins[1][[0, 2, 3]].sum(), rel=1e-12)
    assert fins[0][1] > 100.0
    dead = linearise(demo_mission.change({"servo.failure": [{"fin": 2, "kind": "dead", "time": "2 s"}]}), at=2.5)
    assert not dead.input_matrix.sel(input="fin_2").values[:, 3:6].any()
    three = dead.state_matrix.sel(rate_of="p", state="p") / stuck.state_matrix.sel(rate_of="p", state="p")[1]
    assert float(three[0]) == pytest.approx(0.75, abs=0.02)  # roll damping of three fins in four, at nearly the same speed


def test_all_servos_failed__demands_are_zero(demo_mission):
    ds = linearise(demo_mission.change({"servo.failure": [{"fin": k} for k in (1, 2, 3, 4)]}), at=3.0)
    assert not ds.input_matrix.sel(input=list(DEMANDS)).values.any() and not ds.effectiveness.values.any()


def test_gusts__of_the_flight_are_flown_in(demo_mission):
    """Every component, the updraught as well: Mach number and pressure are those that the flight had."""
    gust = {"speed": "6 m/s", "blows_from": "30 deg", "upward": "8 m/s", "height": "200 m", "length": "100 m", "shape": "rise"}
    mission = demo_mission.change({"air.gust": [gust], "record.rate": "100 Hz"})
    ds = linearise(mission, at=[4.0, 5.0])
    flight = sixdof.fly(mission).sel(time=ds.time, method="nearest")
    assert ds.mach.values == pytest.approx(flight.mach.values, rel=1e-6)
    assert ds.dynamic_pressure.values == pytest.approx(flight.dynamic_pressure.values, rel=1e-6)
    bare = linearise(demo_mission, at=[4.0, 5.0])
    assert float(np.abs(ds.dynamic_pressure / bare.dynamic_pressure - 1.0).min()) > 0.05


def test_kink__is_warned_of_with_its_time(demo_mission):
    """At 0.41 s the flight stands beside a kink: a step of a thousandth of the speed reaches across it, the usual one does not."""
    with pytest.warns(UserWarning, match=r"^linearise: at 0\.41 s a derivative changes by \d+ % as the step is halved"):
        rough = linearise(demo_mission, at=[0.41, 3.0], step=1e-3)
    assert rough.step_error.values[0] > 0.1 > 1e-3 > rough.step_error.values[1]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fine = linearise(demo_mission, at=[0.41, 3.0], step=STEP)
    assert (fine.step_error < 1e-4).all()


# ---------------------------------------------------------------- systems


@pytest.mark.parametrize(
    ("channel", "states", "inputs"),
    [
        ("roll", ["p", "roll_angle"], ["roll_demand"]),
        ("pitch", ["w", "q", "pitch_angle"], ["pitch_demand", "gust_w"]),
        ("yaw", ["v", "r", "yaw_angle"], ["yaw_demand", "gust_v"]),
        ("full", list(STATES), [*DEMANDS, *FINS, *GUSTS]),
    ],
)
def test_state_space__names_and_numbers(models, channel, states, inputs):
    system = state_space(models, -2, channel)
    assert isinstance(system, control.StateSpace) and system.isctime()
    assert system.state_labels == system.output_labels == states and system.input_labels == inputs
    one = models.isel(point=-2)
    for i, rate in enumerate(states):
        assert system.A[i].tolist() == [float(one.state_matrix.sel(rate_of=rate, state=s)) for s in states]
        assert system.B[i].tolist() == [float(one.input_matrix.sel(rate_of=rate, input=u)) for u in inputs]
    assert np.array_equal(system.C, np.eye(len(states))) and not system.D.any()


def test_state_space__modes_are_those_of_the_dataset(models):
    system = state_space(models, 4, "pitch")
    frequency, damping, _ = control.damp(system, doprint=False)
    pair = frequency > 0.5 * float(models.short_period_frequency[4, 0])
    assert frequency[pair] == pytest.approx([float(models.short_period_frequency[4, 0])] * 2, rel=0.01)  # gravity's part
    assert damping[pair] == pytest.approx([float(models.short_period_damping[4, 0])] * 2, rel=0.05)
    fall = control.damp(state_space(models, 4, "roll"), doprint=False)[2].real.min()
    assert -1.0 / fall == pytest.approx(float(models.roll_time_constant[4]), rel=5e-3)  # turned in the stream, an incidence rolls it a little


@pytest.mark.parametrize(
    ("point", "channel", "said"),
    [
        (12, "roll", "point = 12 must be a whole number from 0 to 11"),
        (True, "roll", "point = true must be a whole number"),
        (1.0, "roll", "point = 1 must be a whole number"),
        (0, "pich", 'channel = "pich" must be "full", "roll", "pitch" or "yaw"'),
    ],
)
def test_state_space__wrong(models, point, channel, said):
    with pytest.raises(ValueError, match=f"^state_space: {said}"):
        state_space(models, point, channel)


def test_state_space__of_what_is_none(demo_flight):
    with pytest.raises(ValueError, match="finds no state_matrix, input_matrix"):
        state_space(demo_flight)

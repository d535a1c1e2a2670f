"""Maps over two gains: a cell is what margins and a flight of the changed mission are."""

from __future__ import annotations

import math
import os
import signal

import numpy as np
import pytest
from plain_gains import two_stages

import sixdof
from sixdof.autopilot.gains import gains_table
from sixdof.results.status import Status
from sixdof.study.loops import blocks, many_loops
from sixdof.study.loops.linear import linearise
from sixdof.study.loops.loop import loops_of
from sixdof.study.loops.margins import margins
from sixdof.study.loops.sampled_plant import sampled_plant
from sixdof.study.reading.control_metrics import control_metrics
from sixdof.study.reading.oscillation import NONE
from sixdof.study.tuning import gain_map as module
from sixdof.study.tuning.gain_map import _Axis, _pairs, gain_map

SAME = 1e-8  # the same arithmetic by modes (good to 1e-9) in place of matrices; dB and rad of size 1 to 50
P, D = "autopilot.pitch.p", "autopilot.pitch.d"
FLOWN = ("error_rms", "error_peak", "saturation_share", "rate_limit_share", "reversals")


@pytest.fixture(autouse=True)
def no_oscillation(monkeypatch):
    monkeypatch.setattr("sixdof.study.reading.control_metrics.strongest_oscillation", lambda *_: NONE)  # takes seconds; no map has it


@pytest.fixture(scope="module")
def models(demo_mission):
    return linearise(demo_mission, points=4)


@pytest.fixture(scope="module")
def found(demo_mission, models):
    return gain_map(demo_mission, P, [0.2, 0.35, 1.1], D, [0.02, 0.09], models=models, progress=False)


def worst(models, channel, **gains):
    one = margins(models, gains={k.replace("_", "."): v for k, v in gains.items()}, channels=channel, broken_at="actuator").isel(broken_at=0, channel=0)
    names = ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "distance")
    return {name: np.fmin.reduce(one[name].values) for name in names} | {"growth": one["growth"].values.max(), "stable": one["stable"].values.all()}


def assert_cell(cell, expected):
    for name, value in expected.items():
        np.testing.assert_allclose(cell[name].values, value, rtol=0.0, atol=SAME, err_msg=name)


def test_map__margins_are_those_of_the_changed_gains(found, models):
    for p in (0.2, 1.1):
        for d in (0.02, 0.09):
            assert_cell(found.sel(pitch_p=p, pitch_d=d), worst(models, "pitch", autopilot_pitch_p=p, autopilot_pitch_d=d))
    assert found["pitch_p"].attrs["designed"] == 0.35 and found["pitch_d"].attrs["designed"] == 0.09
    assert found["pitch_d"].attrs["units"] == "s" and found["pitch_p"].attrs["path"] == P


@pytest.mark.parametrize(("p", "d"), [(0.2, 0.02), (1.1, 0.02), (0.35, 0.09)])
def test_map__flown_cell_is_that_flight(found, demo_mission, p, d):
    live = control_metrics(sixdof.fly(demo_mission.change({P: p, D: d}))).sel(phase="live")
    cell = found.sel(pitch_p=p, pitch_d=d)
    for name in FLOWN:
        expected = live[name]
        expected = expected.sel(channel="pitch") if "channel" in expected.dims else expected
        assert float(cell[name]) == float(expected), name  # the same bits, and the same sums over them
    assert int(cell["status"]) == Status.LANDED


def test_map__beyond_the_critical_gain_is_unstable(demo_mission):
    # without an integral all of the law is proportional to p and d, so the loop meets -1 where both are multiplied by the gain margin
    mission = demo_mission.change({"autopilot.pitch.i": 0.0})
    models = linearise(mission, points=1)
    critical = 10.0 ** (float(margins(models, channels="pitch", broken_at="actuator")["gain_margin_db"].item()) / 20.0)
    own = mission.autopilot.pitch
    factors = np.array([0.99, 1.01]) * critical
    found = gain_map(mission, P, factors * own.p, D, factors * own.d, models=models, flown=False)
    assert bool(found["stable"][0, 0]) and not bool(found["stable"][1, 1])
    assert float(found["gain_margin_db"][0, 0]) == pytest.approx(-20.0 * math.log10(0.99), abs=1e-6) and float(found["distance"][1, 1]) == 0.0


def test_map__two_channels_at_once(demo_mission, models):
    both = gain_map(demo_mission, (P, "autopilot.yaw.p"), [0.3, 0.6], (D, "autopilot.yaw.d"), [0.05, 0.09], models=models, progress=False)
    assert dict(both.sizes) == {"pitch_p_and_yaw_p": 2, "pitch_d_and_yaw_d": 2} and both.attrs["channel"] == "pitch, yaw"
    gains = {"autopilot_pitch_p": 0.6, "autopilot_yaw_p": 0.6, "autopilot_pitch_d": 0.05, "autopilot_yaw_d": 0.05}
    each = [worst(models, channel, **gains) for channel in ("pitch", "yaw")]
    cell = both.isel(pitch_p_and_yaw_p=1, pitch_d_and_yaw_d=0)
    assert float(cell["distance"]) == pytest.approx(min(one["distance"] for one in each), abs=SAME)
    live = control_metrics(sixdof.fly(demo_mission.change({k.replace("_", "."): v for k, v in gains.items()}))).sel(phase="live")
    assert float(cell["error_rms"]) == float(live["error_rms"].sel(channel=["pitch", "yaw"]).max())


def test_map__a_drawn_flight_of_two_stages(stack_mission):
    stack_mission = two_stages(stack_mission)
    models = linearise(stack_mission, points=2, flight=3, seed=4)
    found = gain_map(stack_mission, P, [0.9], D, [0.1, 0.15], models=models, flight=3, seed=4, progress=False)
    live = control_metrics(sixdof.fly(stack_mission.change({D: 0.1}), flight=3, seed=4)).sel(phase="live")
    assert float(found["error_rms"][0, 0]) == float(live["error_rms"].sel(channel="pitch"))
    assert_cell(found.isel(pitch_p=0, pitch_d=1), worst(models, "pitch", autopilot_pitch_d=0.15))


def test_map__threads_change_nothing(found, demo_mission, models):
    again = gain_map(demo_mission, P, [0.2, 0.35, 1.1], D, [0.02, 0.09], models=models, threads=3, progress=False)
    for name in FLOWN:
        np.testing.assert_array_equal(again[name].values, found[name].values)


def test_map__schedule_and_roll(demo_mission):
    gains = {"pitch": {"p": 0.3, "d": 0.08}, "yaw": {"p": 0.3, "d": 0.08}, "roll": {"p": 0.03, "d": 0.004}}
    mission = demo_mission.change(
        {
            "autopilot.schedule": [{"at": 500.0, **gains}, {"at": 5000.0, **gains}],
            "autopilot.gain_reference_q": None,
            **{f"autopilot.{name}": {} for name in gains},
        }
    )
    models = linearise(mission, points=2)
    found = gain_map(mission, "autopilot.schedule[1].pitch.p", [0.5], "autopilot.schedule[0].roll.d", [0.01], models=models, channel="pitch", flown=False)
    other = mission.change({"autopilot.schedule[1].pitch.p": 0.5, "autopilot.schedule[0].roll.d": 0.01})
    expected = margins(models, gains=other, channels="pitch", broken_at="actuator")["distance"].min()
    assert float(found["distance"][0, 0]) == pytest.approx(float(expected), abs=SAME)
    with pytest.raises(ValueError, match="autopilot.pitch.p changes nothing"):
        gain_map(mission, P, [0.5], "autopilot.schedule[0].roll.d", [0.01])


def test_pairs__are_the_missions_that_change_makes(demo_mission):
    axes = _Axis(demo_mission, (P, "autopilot.yaw.p"), [0.1, 0.7], "x"), _Axis(demo_mission, "autopilot.roll.i", [0.2, 0.3], "y")
    pairs = _pairs(demo_mission, *axes)
    other = demo_mission.change({P: 0.7, "autopilot.yaw.p": 0.7, "autopilot.roll.i": 0.2})
    assert pairs[2] == other
    np.testing.assert_array_equal(gains_table(pairs[2]), gains_table(other))
    assert demo_mission.autopilot.pitch.p == 0.35  # what was given is as it was


def test_map__a_flight_that_fails_is_nan(demo_mission, models):
    # a vehicle that cannot lift off: status says it, margins of the given models are there all the same
    weak = demo_mission.change({"disperse": {"motor.impulse": {"kind": "fixed", "mean": 0.01}}})
    found = gain_map(weak, P, [0.3], D, [0.1], models=models, flight=0, progress=False)
    assert int(found["status"].item()) == Status.NO_LIFTOFF
    assert all(np.isnan(found[name].item()) for name in FLOWN) and np.isfinite(found["distance"].item())


def test_map__ctrl_c_returns_what_is_there(demo_mission, models, monkeypatch):
    fly, count = module._GainRunner.run, iter(range(100))

    def interrupted(self, mission):
        if next(count) == 7:
            os.kill(os.getpid(), signal.SIGINT)
        return fly(self, mission)

    monkeypatch.setattr(module._GainRunner, "run", interrupted)
    values = np.linspace(0.1, 0.9, 6)
    found = gain_map(demo_mission, P, values, D, values, models=models.isel(point=[0]), threads=1, progress=False)
    flown = found["status"].values >= 0
    assert found.attrs["interrupted"] == f"{flown.sum()} of 36 pairs are flown" and 0 < flown.sum() < 36
    assert np.isfinite(found["error_rms"].values[flown]).all() and np.isnan(found["error_rms"].values[~flown]).all()


def test_modes__are_the_plant(stack_mission, monkeypatch):
    late = stack_mission.change({"servo.delay": "13 ms", "sensors": {"gyro": {"lag": "4 ms"}}})
    models = linearise(late, points=2)
    plant = sampled_plant(models, late, "pitch")
    assert plant.ticks == 1 and plant.vehicle.b[:, :, 1].any() and "pitch_last_rate" in plant.sensors.states
    whole, z = plant.vehicle.only(("pitch_command", "pitch_command_before"), ("pitch_angle", "pitch_rate")), np.exp(1j * np.linspace(0.02, 3.1, 50))
    assert plant.moved.a.dtype == complex
    by_modes = blocks.response(plant.moved, z * np.ones((2, 1)))
    for point in range(2):
        exact = [whole.c[point] @ np.linalg.solve(one * np.eye(5) - whole.a[point], whole.b[point]) for one in z]
        np.testing.assert_allclose(by_modes[:, :, point], np.moveaxis(exact, 0, -1), rtol=1e-9)  # what modes promise
    # modes that cannot be told apart: the plant itself is asked, and the margins are the same
    found = many_loops.many_margins(loops_of(models, late, "pitch"))
    monkeypatch.setattr(blocks, "EXACT", 0.0)
    other = loops_of(models, late, "pitch")
    for name, values in many_loops.many_margins(other).items():
        np.testing.assert_allclose(values, found[name], rtol=0.0, atol=SAME)
    assert other.plant.moved.a.dtype == float


@pytest.mark.parametrize(
    ("arguments", "error", "said"),
    [
        (("autopilot.pitch.q", [0.1], D, [0.1]), ValueError, "is not a gain"),
        (("autopilot.rate", [0.1], D, [0.1]), ValueError, "is not a gain"),
        ((3, [0.1], D, [0.1]), TypeError, "path_x = 3"),
        ((P, [0.1], (), [0.1]), TypeError, "path_y"),
        ((P, [0.1], P, [0.1]), ValueError, "in both paths"),
        ((P, [-0.1], D, [0.1]), ValueError, "autopilot.pitch.p = -0.1 must be at least 0"),
        ((P, [], D, [0.1]), ValueError, "values_x must be"),
        ((P, [0.1, math.nan], D, [0.1]), ValueError, "values_x must be"),
        ((P, [0.1], D, [0.1, 0.1]), ValueError, "values_y must be"),
        ((P, "ab", D, [0.1]), ValueError, "values_x must be"),
        ((P, np.linspace(0, 1, 200), D, np.linspace(0, 1, 200)), ValueError, "are more than"),
        (("autopilot.with_booster.pitch.p", [0.1], D, [0.1]), ValueError, 'no "autopilot.with_booster"'),
    ],
)
def test_map__refuses(demo_mission, arguments, error, said):
    with pytest.raises(error, match=said):
        gain_map(demo_mission, *arguments, flown=False)


def test_map__refuses_options(demo_mission, models):
    for options, said in (
        ({"channel": "pich"}, "channel"),
        ({"points": 0}, "points = 0"),
        ({"threads": 0}, "threads = 0"),
        ({"models": 3}, "sixdof.loops.linearise"),
        ({"flight": -1}, "flight = -1"),
    ):
        with pytest.raises(ValueError, match=said):
            gain_map(demo_mission, P, [0.1], D, [0.1], flown=False, **options)

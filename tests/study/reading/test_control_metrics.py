"""Control metrics of one flight: against signals of known frequency and damping, and against the flight's own outcomes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from results_by_hand import flight_by_hand

import sixdof
from sixdof.study.reading.control_metrics import CHANNELS, channel_error, closest_approach, control_metrics, control_report
from sixdof.study.reading.oscillation import reversals, strongest_oscillation

STEP = 0.02  # s, of a log at 50 Hz
EXACT = 1e-9  # relative: the pencil of a clean signal is exact, its conditioning costs a few digits
NOISY = 0.05  # relative: noise of 2 % of the amplitude


def ring(frequency, damping, *, seconds=4.0, amplitude=1.0, phase=0.3):
    """Return a decaying sinusoid of a damped frequency (Hz): poles -damping w0 +- 2 pi frequency i."""
    t = np.arange(0.0, seconds, STEP)
    decay = 2.0 * math.pi * frequency * damping / math.sqrt(1.0 - damping * damping)
    return amplitude * np.exp(-decay * t) * np.sin(2.0 * math.pi * frequency * t + phase)


@given(frequency=st.floats(0.6, 10.0), damping=st.floats(0.0, 0.4), phase=st.floats(0.0, 6.2))
@settings(max_examples=40, deadline=None)
def test_oscillation__a_ring_down_exactly(frequency, damping, phase):
    found = strongest_oscillation(ring(frequency, damping, phase=phase), STEP)
    assert found.frequency == pytest.approx(frequency, rel=1e-6)
    assert found.damping == pytest.approx(damping, abs=1e-6)
    assert found.share == pytest.approx(1.0, abs=0.3)  # the energy of one sine, which a phase may cut


def test_oscillation__logarithmic_decrement_agrees():
    """delta = ln(x1/x2) of successive peaks, damping = delta/sqrt(4 pi^2 + delta^2) (any vibration text)."""
    signal = ring(1.25, 0.12, phase=0.0)  # a period is 40 samples, so that peaks repeat on the grid
    delta = math.log(signal[10] / signal[50])
    assert strongest_oscillation(signal, STEP).damping == pytest.approx(delta / math.hypot(2.0 * math.pi, delta), rel=EXACT)


def test_oscillation__the_stronger_of_two_under_noise_and_a_trend():
    rng = np.random.default_rng(4)
    signal = ring(3.0, 0.05) + ring(7.0, 0.1, amplitude=0.3) + 0.02 * rng.normal(size=200) + 0.1
    found = strongest_oscillation(signal, STEP)
    assert found.frequency == pytest.approx(3.0, rel=NOISY)
    assert found.damping == pytest.approx(0.05, abs=0.01)


def test_oscillation__a_growing_one_has_negative_damping():
    found = strongest_oscillation(ring(2.0, 0.05)[::-1], STEP)
    assert found.damping == pytest.approx(-0.05, rel=1e-6) and found.frequency == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize(
    "signal",
    [
        np.zeros(200),
        np.full(200, 3.0),
        np.exp(-np.linspace(0.0, 5.0, 200)),
        ring(2.0, 0.1)[:20],
        np.full(200, np.nan),
        np.random.default_rng(1).normal(size=200),
        np.zeros(0),
        np.linspace(-1.0, 1.0, 200),
    ],
    ids=["nothing", "constant", "decay", "short", "nan", "noise", "empty", "line"],
)
def test_oscillation__nan_where_there_is_none(signal):
    assert all(math.isnan(value) for value in strongest_oscillation(signal, STEP))


def test_crossings__count_only_clear_ones():
    assert reversals(np.sin(np.linspace(0.1, 6.0 * math.pi - 0.1, 300)), 0.1) == 5
    assert reversals(0.05 * np.sin(np.linspace(0.1, 60.0, 300)), 0.1) == 0
    assert reversals(np.array([1.0, 0.05, -0.05, 1.0]), 0.1) == 0


def test_closest_approach__between_two_rows():
    path = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [10.0, 10.0, 0.0]])
    assert closest_approach(path, np.array([0.0, 1.0, 2.0]), (4.0, 0.0, 3.0)) == pytest.approx((3.0, 0.4), rel=1e-12)
    assert all(math.isnan(x) for x in closest_approach(path[:1], np.zeros(1), (1.0, 0.0, 0.0)))


# ---------------------------------------------------------------- whole flights


@pytest.fixture(scope="module")
def demo_waypoints(demo_path):
    return sixdof.load_mission(demo_path.with_name("waypoints.toml")).change({"record.rate": "100 Hz"})


@pytest.fixture(scope="module")
def waypoint_flight(demo_waypoints):
    return sixdof.fly(demo_waypoints)


def test_metrics__agree_with_the_outcomes_of_the_flight(waypoint_flight):
    """The outcomes are summed tick by tick in the kernel; the log at the tick rate holds the same numbers."""
    found, ds = control_metrics(waypoint_flight), waypoint_flight
    live = found.sel(phase="live")
    for name, outcome in (("tilt_error_rms", "tilt_error_rms"), ("tilt_error_peak", "tilt_error_max"), ("saturation_share", "saturation_share")):
        assert float(live[name]) == pytest.approx(float(ds[outcome]), rel=0.01, abs=1e-3), name
    for phase in ("boost", "coast"):
        assert float(found["tilt_error_rms"].sel(phase=phase)) == pytest.approx(float(ds[f"tilt_error_{phase}_rms"]), rel=0.01)
    # servos go on below 20 m/s, which the metrics omit
    assert 0.0 < float(live["fin_travel"].sum()) <= float(ds["fin_travel_total"]) * (1.0 + 1e-9)
    assert 0.0 < float(live["servo_energy"].sum()) <= float(ds["servo_energy"]) * 1.02
    assert float(live["load_factor_peak"]) == pytest.approx(float(ds["load_factor_max"]), rel=0.05)


def test_metrics__the_burn_of_an_upper_stage_is_boost(demo_path):
    """The sustainer of the two-stage demo is guided while its own motor burns, long after the booster's burnout."""
    stack = sixdof.load_mission(demo_path.with_name("two-stage.toml"))
    ds = sixdof.fly(stack.change({"record.rate": stack.autopilot.rate}))
    found, burns = control_metrics(ds), ds["thrust"].values > 0.0
    live = (ds["time"].values >= float(ds.event_time.isel(body=0).sel(event="fins_enabled"))) & (ds["airspeed"].values > 20.0)
    live &= ds["time"].values <= float(ds.apogee_time)
    error = ds["tilt_error"].values
    for phase, rows in (("boost", live & burns), ("coast", live & ~burns)):
        assert rows.sum() > 100
        wanted = float(np.sqrt(np.mean(error[rows] ** 2)))  # from the thrust in the log, not from the events
        assert float(found["tilt_error_rms"].sel(phase=phase)) == pytest.approx(wanted, rel=0.01)
        assert float(ds[f"tilt_error_{phase}_rms"]) == pytest.approx(wanted, rel=0.01)


def test_metrics__waypoints_in_truth_and_belief(waypoint_flight):
    found = control_metrics(waypoint_flight)
    apart = np.abs(found["waypoint_true_miss"].values - found["waypoint_miss"].values)
    assert (found["waypoint_true_miss"].values < found["waypoint_radius"].values).all()
    assert (apart <= float(waypoint_flight["position_error_max"])).all()  # belief and truth differ by the estimate's error
    assert (np.diff(found["waypoint_true_time"].values) > 0.0).all()


def test_metrics__every_variable_says_its_unit(waypoint_flight):
    found = control_metrics(waypoint_flight)
    for name, values in found.data_vars.items():
        assert values.attrs["long_name"] and "units" in values.attrs, name
        assert set(values.dims) <= {"phase", "channel", "fin", "waypoint_number"}


def test_metrics__a_known_oscillation_in_the_log(demo_mission):
    """A pitch rate that rings at 2 Hz with a damping ratio of 0.1 in the coast, put into a log by hand."""
    ds = flight_by_hand(demo_mission).interp(time=np.arange(0.0, 40.0, STEP), kwargs={"fill_value": "extrapolate"})
    ds = ds.assign(waypoint_miss=("waypoint_number", []), waypoint_time=("waypoint_number", []))
    rate = np.zeros((ds.sizes["time"], 3))
    coast = (ds["time"].values > 2.0) & (ds["time"].values <= 6.0)
    rate[coast, 1] = ring(2.0, 0.1, seconds=5.0)[: coast.sum()]
    ds["body_rate"] = (("time", "axis"), rate)
    ds = ds.assign_coords(axis=["x", "y", "z"])
    ds["event_time"].loc[{"event": "fins_disabled"}] = 6.0
    found = control_metrics(ds)
    assert float(found["frequency"].sel(phase="coast", channel="pitch")) == pytest.approx(2.0, rel=1e-3)
    assert float(found["damping"].sel(phase="coast", channel="pitch")) == pytest.approx(0.1, rel=1e-2)
    for channel in ("yaw", "roll"):
        assert np.isnan(found["frequency"].sel(channel=channel)).all()
    # a sine of 2 Hz over 4 s crosses zero 16 times, the last ones below 0.02 rad/s: exp(-0.1 2 pi 2 t) = 0.02 at 3.1 s
    assert 11 <= float(found["reversals"].sel(phase="coast", channel="pitch")) <= 13
    assert np.degrees(float(found["tilt_error_rms"].sel(phase="live"))) == 0.0


def test_metrics__fins_of_a_stage_that_has_gone_count_while_they_were_there(demo_mission):
    """Two of four fins go at 3 s (NaN from then on); until then all move at the rate limit, after that the others stand still."""
    ds = flight_by_hand(demo_mission)
    ds = ds.assign(waypoint_miss=("waypoint_number", []), waypoint_time=("waypoint_number", [])).assign_coords(axis=["x", "y", "z"])
    time = ds["time"].values
    angle = demo_mission.servo.rate_limit * np.minimum(time, 3.0)
    angles = np.column_stack([angle] * 4)
    angles[time > 3.0, 2:] = np.nan
    ds["fin_angle"] = (("time", "fin"), angles)
    ds["fin_command"] = (("time", "fin"), np.where(np.isnan(angles), np.nan, 0.0))
    ds["fin_command"].values[time > 4.0, 0] = demo_mission.servo.deflection_limit
    live = control_metrics(ds).sel(phase="live")
    # rows every 0.5 s from 1.0 s (live from 0.6 s) to 10.0 s: 19 of them, 12 after 4 s; 4 of 18 moves before the fins go
    assert float(live["saturation_share"]) == pytest.approx(12.0 / 19.0, rel=EXACT)
    assert float(live["rate_limit_share"]) == pytest.approx(16.0 / (4.0 * 4.0 + 2.0 * 14.0), rel=EXACT)
    assert live["fin_travel"].values == pytest.approx(np.full(4, 2.0 * demo_mission.servo.rate_limit), rel=EXACT)


def test_channel_error__short_way_round(demo_mission):
    ds = flight_by_hand(demo_mission)
    ds["roll"].values[:], ds["commanded_roll"].values[:] = math.pi - 0.1, -math.pi + 0.1
    assert channel_error(ds, "roll") == pytest.approx(0.2, rel=1e-12)


def test_report__a_page(waypoint_flight, demo_flight, demo_mission):
    page = control_report(waypoint_flight)
    assert "nan" not in page and max(map(len, page.splitlines())) < 110
    for word in (*CHANNELS, "damping ratio", "waypoints", "within its radius of 8 m", "by its own estimate"):
        assert word in page
    assert "waypoints" not in control_report(demo_flight).splitlines()
    passive = demo_mission.change({"rule": []})
    assert "the fins were never live" in control_report(sixdof.fly(passive))


def test_metrics__need_one_flight(demo_ensemble):
    with pytest.raises(ValueError, match="control_metrics takes one flight"):
        control_metrics(demo_ensemble)

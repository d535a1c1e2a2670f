"""The rest before launch: biases whose standard errors are true over many rests, noise densities, the Earth's turning, the rail's angle."""

from __future__ import annotations

import log_signals as ls
import numpy as np
import pytest

import sixdof

BIAS = np.array([0.012, -0.007, 0.003])  # rad/s
DENSITY = 3e-4  # rad/s/sqrt(Hz)
RATE = 100.0


def rows_with(rng, *, rest=3.0, bias=BIAS, drift=0.0):
    """Return rows whose gyros have a bias and white noise of a density, and drift by a random walk (rad/s/sqrt(s))."""
    rows = ls.table(rate=RATE, end=6.0, noise=0.2)
    rows = {name: values[int((ls.REST - rest) * RATE) :] for name, values in rows.items()}
    count = rows["t"].size
    walk = np.cumsum(rng.standard_normal((count, 3)), axis=0) * drift / np.sqrt(RATE)
    gyro = ls.rates(rows["t"]) + bias + DENSITY * np.sqrt(RATE) * rng.standard_normal((count, 3)) + walk
    return rows | dict(zip(("gx", "gy", "gz"), gyro.T))


def test_bias__lies_within_its_standard_error_as_often_as_it_should():
    """White noise over 16 rests of three axes: chi-squared of 48 is within four of its own deviations (10) of 48; the error told is the larger of two."""
    rng = np.random.default_rng(11)
    found = [sixdof.postflight.gyro_bias(sixdof.postflight.read_log(rows_with(rng), ls.columns())) for _ in range(16)]
    off = np.array([(one["bias"].values - BIAS) / one["bias_error"].values for one in found])
    assert 48.0 - 39.0 < (off**2).sum() < 48.0 + 39.0
    density = np.mean([one["noise_density"].values for one in found])
    # 2.9 s of 100 Hz, 16 rests, 3 axes: 13,000 differences tell a deviation to 0.8 %
    assert density == pytest.approx(DENSITY, rel=0.03)
    white = DENSITY / np.sqrt(np.mean([one.attrs["rest_end"] - one.attrs["rest_start"] for one in found]))
    assert np.mean([one["bias_error"].values for one in found]) == pytest.approx(white, rel=0.05)


def test_bias__of_drifting_gyros_has_a_larger_error_than_white_noise_says():
    rng = np.random.default_rng(5)
    rest = 3.0
    rows = ls.table(rate=RATE, end=10.0, noise=0.2)
    long = {name: np.concatenate([np.tile(values[:200], 10), values]) for name, values in rows.items()}
    long["t"] = np.arange(long["t"].size) / RATE
    long["n"] = np.arange(long["t"].size, dtype=float)
    walk = np.cumsum(rng.standard_normal((long["t"].size, 3)), axis=0) * 0.002 / np.sqrt(RATE)
    gyro = 0.003 * rng.standard_normal((long["t"].size, 3)) + walk
    found = sixdof.postflight.gyro_bias(sixdof.postflight.read_log(long | dict(zip(("gx", "gy", "gz"), gyro.T)), ls.columns()))
    white = 0.003 / np.sqrt(found.attrs["readings"])
    assert (found["bias_error"].values > 2.0 * white).all() and found.attrs["rest_end"] - found.attrs["rest_start"] > 15.0 > rest


def test_remove_bias__takes_off_what_was_found_and_says_so():
    rows = rows_with(np.random.default_rng(2))
    with_it, without = (sixdof.postflight.read_log(rows, ls.columns(), remove_bias=one) for one in (False, True))
    found = sixdof.postflight.gyro_bias(with_it)
    np.testing.assert_allclose(
        (with_it["body_rate"] - without["body_rate"]).values, np.broadcast_to(found["bias"].values, with_it["body_rate"].shape), atol=1e-15
    )
    assert without["body_rate"].attrs == with_it["body_rate"].attrs
    assert f"x {np.degrees(found['bias'].values[0]):+.3f} +- {np.degrees(found['bias_error'].values[0]):.3f}" in without["finding"].values[0]
    assert without["finding"].values[0].endswith("is taken off: corrected.")
    assert "It is still in the log: integrated over 10 s it turns the attitude by 6.9 deg" in str(sixdof.report(with_it))
    assert "what is left after taking it off" in str(sixdof.report(without))


def test_remove_bias__without_a_rest_says_why_not():
    rows = rows_with(np.random.default_rng(2), rest=0.6)
    log = sixdof.postflight.read_log(rows, ls.columns(), remove_bias=True)
    assert "no rest before liftoff tells the gyros' bias, and it is not taken off: kept" in log["finding"].values[-1]
    with pytest.raises(ValueError, match="no rest of 1 s"):
        sixdof.postflight.gyro_bias(log)


def test_rest__leaves_the_handling_before_it_out():
    rows = rows_with(np.random.default_rng(4))
    handled = rows["t"] < 1.0
    shaken = rows | {"gy": rows["gy"] + handled * 2.0 * np.sin(9.0 * rows["t"])}
    found = sixdof.postflight.gyro_bias(sixdof.postflight.read_log(shaken, ls.columns()))
    assert found.attrs["rest_start"] > 1.0 - ls.LIFTOFF - 0.6
    assert (np.abs(found["bias"].values - BIAS) < 5.0 * found["bias_error"].values).all()


def test_earth_rate__is_taken_off_with_a_mission_and_whether_it_counts_is_said(demo_mission):
    """On a vertical rail at latitude phi a gyro along the nose reads the Earth's rate times sin phi: 7.292e-5 rad/s is the sidereal day's."""
    mission = demo_mission.change({"rail.elevation": "90 deg", "site.latitude": "30 deg"})
    rows = ls.table(rate=RATE, end=10.0, noise=1e-3)  # gyros of 3e-6 rad/s a sample
    turning = 2.0 * np.pi / 86164.0905
    log = sixdof.postflight.read_log(rows | {"gx": rows["gx"] + turning * 0.5}, ls.columns(), mission)
    found = sixdof.postflight.gyro_bias(log)
    assert found["earth_rate"].values[0] == pytest.approx(0.5 * turning, rel=1e-5)
    assert np.linalg.norm(found["earth_rate"].values) == pytest.approx(turning, rel=1e-5)
    assert abs(float(found["bias"][0])) < 5.0 * float(found["bias_error"][0])
    assert found.attrs["earth_counts"] == 1 and "counts beside the standard error and is taken off" in str(sixdof.report(found))
    poor = sixdof.postflight.gyro_bias(sixdof.postflight.read_log(rows_with(np.random.default_rng(1)), ls.columns()))
    assert poor.attrs["earth_counts"] == 0 and "is lost in the standard error; without a mission" in str(sixdof.report(poor))


def test_accelerometer__at_rest_tells_its_scale_and_the_rail(demo_mission):
    """At 84 deg the body's axis feels g sin 84 deg and the third axis -g cos 84 deg, here with a scale of 1.01."""
    rows = ls.table(noise=0.5)
    gravity = 9.80665 * 1.01
    rest = rows["t"] < ls.LIFTOFF
    leaning = {"ax": np.where(rest, rows["ax"] - ls.G + gravity * np.sin(np.radians(84.0)), rows["ax"])}
    leaning["az"] = np.where(rest, rows["az"] - gravity * np.cos(np.radians(84.0)), rows["az"])
    log = sixdof.postflight.read_log(rows | leaning, ls.columns())
    found = sixdof.postflight.gyro_bias(log)
    assert abs(float(found["force_scale"]) - 1.01) < 5.0 * float(found["force_scale_error"]) < 0.005
    assert abs(float(found["rail_elevation"]) - np.radians(84.0)) < 5.0 * float(found["rail_elevation_error"]) < np.radians(0.2)


def test_one_gyro_alone__has_a_bias_alone():
    columns = ls.columns(body_rate={"columns": ["gx", "", ""]})
    found = sixdof.postflight.gyro_bias(sixdof.postflight.read_log(rows_with(np.random.default_rng(3)), columns))
    assert np.isfinite(found["bias"].values).tolist() == [True, False, False]

"""Readings that are none, and units that physics contradicts: found, said, and a good log is left as it is."""

from __future__ import annotations

import log_signals as ls
import numpy as np
import pytest

import sixdof

G = ls.G


@pytest.fixture(scope="module")
def rows():
    return ls.table()


@pytest.fixture(scope="module")
def plain(rows):
    return read(rows)


def read(rows, how=None, **more):
    return sixdof.postflight.read_log(rows, ls.columns(**(how or {})), **more)


def kinds(log):
    return set(log["finding_kind"].values) if "finding" in log else set()


def about(log, kind):
    """Return sentence, what was done and count of the only finding of a kind."""
    (k,) = np.flatnonzero(log["finding_kind"].values == kind)
    return str(log["finding"].values[k]), str(log["finding_done"].values[k]), int(log["finding_count"].values[k])


# ---------------------------------------------------------------- readings


@pytest.mark.parametrize("seed", range(6))
def test_good_log__is_left_as_it_is(seed):
    rows = ls.table(seed=seed)
    log = read(rows)
    assert "finding" not in log
    np.testing.assert_array_equal(log["height"].values, rows["alt"])
    np.testing.assert_array_equal(log["specific_force"].values[:, 0], rows["ax"])
    np.testing.assert_array_equal(log["body_rate"].values[:, 1], rows["gy"])


@pytest.mark.parametrize("limit", [None, "5 rad/s"])
def test_saturated_gyro__is_found_with_every_reading_on_its_flat_top(limit, rows):
    cut = rows | {"gx": np.clip(rows["gx"], -5.0, 5.0)}
    log = read(cut, {"body_rate": {"limit": limit}} if limit else {})
    text, done, count = about(log, "saturated")
    flat = np.abs(rows["gx"]) >= 5.0
    assert done == "dropped" and count == flat.sum() and "at 5 rad/s" in text and "x axis" in text
    np.testing.assert_array_equal(np.isnan(log["body_rate"].values[:, 0]), flat)
    assert np.isfinite(log["body_rate"].values[:, 1:]).all()
    assert "integrated through the saturated stretch" in str(sixdof.report(log))


def test_saturated_accelerometer__still_tells_liftoff(rows, plain):
    log = read(rows | {"ax": np.clip(rows["ax"], -50.0, 50.0)})
    assert about(log, "saturated")[2] == ((rows["ax"] >= 50.0).sum())
    assert log.attrs["liftoff_time"] == plain.attrs["liftoff_time"]


def test_rounded_top_of_a_coarse_sensor__is_no_flat_top(rows):
    coarse = rows | {name: np.round(rows[name] / 0.05) * 0.05 for name in ("gx", "gy", "gz", "ax", "ay", "az")}
    assert "finding" not in read(coarse)


def test_frozen_barometer__is_found_and_its_first_reading_kept(rows):
    held = rows["alt"].copy()
    held[800:1100] = held[800]
    log = read(rows | {"alt": held})
    text, done, count = about(log, "frozen")
    assert done == "dropped" and count == 299 and "frozen for 2.99 s" in text
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(log["height"].values)), np.arange(801, 1100))


def test_column_that_never_changes__is_said(rows):
    text, done, _ = about(read(rows | {"alt": np.full(rows["t"].size, 3.0)}), "constant")
    assert "the same in all 2500 readings" in text and done == "kept"


def test_spikes__are_dropped_one_by_one(rows):
    alt, vz, gx = rows["alt"].copy(), rows["vz"].copy(), rows["gx"].copy()
    alt[[300, 900]] += 150.0
    vz[901] = -400.0
    gx[1200] = 120.0
    log = read(rows | {"alt": alt, "vz": vz, "gx": gx})
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(log["height"].values)), [300, 900])
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(log["velocity"].values[:, 2])), [901])
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(log["body_rate"].values[:, 0])), [1200])
    assert kinds(log) == {"spike"}


@pytest.mark.parametrize(("push", "length"), [(-60.0, 0.3), (40.0, 0.1), (-25.0, 0.6)])
def test_barometer__pulled_by_the_charge_is_dropped_there_alone(push, length, rows):
    t = rows["t"]
    there = (t > ls.APOGEE + 1.0) & (t < ls.APOGEE + 1.0 + length)
    log = read(rows | {"alt": rows["alt"] + push * there})
    text, done, _ = about(log, "barometer")
    assert "as an ejection charge makes it" in text and done == "dropped"
    np.testing.assert_array_equal(np.isnan(log["height"].values), there)


def test_barometer__pulled_about_mach_1_is_dropped_there_alone():
    """A push four times as strong: 360 m/s at burnout."""
    rows = ls.table(push=4.0 * ls.PUSH, end=60.0)
    up = ls.motion(rows["t"], 4.0 * ls.PUSH)[1]
    pulled = (up > 0.9 * 340.0) & (up < 1.02 * 340.0)
    good = read(rows)
    assert about(good, "barometer")[1] == "kept" and "within" in about(good, "barometer")[0]
    log = read(rows | {"alt": rows["alt"] - 90.0 * pulled})
    text, done, _ = about(log, "barometer")
    assert done == "dropped" and "shocks at its port" in text
    assert np.isnan(log["height"].values[pulled]).all()
    assert np.isfinite(log["height"].values[up < 0.7 * 340.0]).all()


def test_barometer__in_doubt_of_its_unit_loses_nothing(rows):
    log = read(rows | {"alt": rows["alt"] / 0.3048})
    assert kinds(log) == {"unit"} and np.isfinite(log["height"]).all()


# ---------------------------------------------------------------- units

UNITS = {
    "feet named metres": ({"alt": 1 / 0.3048}, {}, "height", "feet named metres"),
    "metres named feet": ({}, {"height": {"unit": "ft"}}, "height", "metres named feet"),
    "g named m/s^2": ({"ax": 1 / G, "ay": 1 / G, "az": 1 / G}, {}, "specific_force", "g named m/s^2"),
    "m/s^2 named g": ({}, {"specific_force": {"unit": "g"}}, "specific_force", "m/s^2 named g"),
    "thousandths of g": ({"ax": 1e3 / G, "ay": 1e3 / G, "az": 1e3 / G}, {}, "specific_force", "thousandths of g named m/s^2"),
    "deg/s named rad/s": ({"gx": 57.3, "gy": 57.3, "gz": 57.3}, {}, "body_rate", "degrees a second named rad/s"),
    "ft/s named m/s": ({"vz": 1 / 0.3048}, {}, "velocity", "ft/s named m/s"),
    "km/h named m/s": ({"vz": 3.6}, {}, "velocity", "km/h named m/s"),
    "mph named m/s": ({"vz": 1 / 0.44704}, {}, "velocity", "mph named m/s"),
    "down": ({"vz": -1.0}, {}, "velocity", "counts downward"),
    "backward": ({"ax": -1.0}, {}, "specific_force", "the wrong way round"),
}


@pytest.mark.parametrize("case", UNITS)
def test_wrong_unit__is_said_and_never_changed(case, rows):
    factors, how, name, text = UNITS[case]
    log = read(rows | {column: factor * rows[column] for column, factor in factors.items()}, how)
    found = [str(one) for one, of in zip(log["finding"].values, log["finding_of"].values) if of == name]
    assert any(text in one for one in found), found
    assert set(log["finding_done"].values) == {"kept"}
    assert f"units of {name}" in str(sixdof.report(log)) or ", " in str(sixdof.report(log))


def test_gravity_taken_off__is_said(rows):
    assert "gravity has been taken off" in about(read(rows | {"ax": rows["ax"] - G}), "unit")[0]


def test_height_alone__tells_its_unit_by_the_arc(rows):
    columns = ls.columns()
    columns["read"] = {"height": columns["read"]["height"]}
    log = sixdof.postflight.read_log(rows | {"alt": rows["alt"] / 0.3048}, columns)
    assert "bends with 3.3" in about(log, "unit")[0]


@pytest.mark.parametrize(("factor", "text"), [(57.29578, "degrees named radians"), (1 / 57.29578, "radians named degrees")])
def test_rates__are_held_against_the_attitude(factor, text, rows):
    """A body that rolls at 3 rad/s: its quaternion turns by 0.03 rad a row."""
    t = rows["t"]
    angle = 3.0 * np.clip(t - ls.LIFTOFF, 0.0, None)
    up = np.sqrt(0.5)  # nose up
    q = np.column_stack([up * np.cos(angle / 2), up * np.sin(angle / 2), -up * np.cos(angle / 2), up * np.sin(angle / 2)])
    columns = ls.columns()
    columns["read"]["attitude"] = {"columns": ["qw", "qx", "qy", "qz"]}
    noise = 0.003 * np.random.default_rng(1).standard_normal((3, t.size))
    rolled = {"gx": 3.0 * (t > ls.LIFTOFF) + noise[0], "gy": noise[1], "gz": noise[2]} | dict(zip(("qw", "qx", "qy", "qz"), q.T))
    assert "finding" not in sixdof.postflight.read_log(rows | rolled, columns)
    log = sixdof.postflight.read_log(rows | rolled | {"gx": factor * rolled["gx"]}, columns)
    assert text in about(log, "unit")[0]


@pytest.mark.parametrize(("value", "text"), [(87_600.0, "Pa named hPa"), (30.0, "its unit")])
def test_pressure__that_no_place_has_is_said(value, text, rows):
    columns = ls.columns()
    columns["read"]["pressure"] = {"column": "p", "unit": "hPa"}
    log = sixdof.postflight.read_log(rows | {"p": value * (1.0 - rows["alt"] / 8500.0)}, columns)
    assert text in about(log, "unit")[0]


# ---------------------------------------------------------------- liftoff


def only(*names):
    columns = ls.columns()
    return columns | {"read": {name: columns["read"][name] for name in names}}


@pytest.mark.parametrize(("names", "by"), [(("specific_force", "height"), "specific force"), (("velocity", "height"), "climb rate"), (("height",), "height")])
def test_liftoff__lies_within_its_uncertainty(names, by):
    """Over ten seeds and phases of the rows: the error in standard deviations scatters by about one, and by three at most in ten."""
    off = []
    for seed in range(10):
        rows = ls.table(rate=40.0 + 2.0 * seed, end=14.0, seed=seed)
        log = sixdof.postflight.read_log(rows, only(*names))
        assert log.attrs["liftoff_by"] == by
        off.append((log.attrs["liftoff_time"] - ls.LIFTOFF) / log.attrs["liftoff_error"])
    assert np.abs(off).max() < 3.0 and np.sqrt(np.mean(np.square(off))) < 1.3


def test_liftoff__of_the_computers_own_notice_and_as_given(rows):
    columns = only() | {"read": {"phase": {"column": "state", "states": {"PAD": "held", "BOOST": "free"}}, "temperature": {"column": "temp", "unit": "degC"}}}
    states = rows | {"state": np.where(rows["t"] > 3.2, "Boost", "pad"), "temp": 20.0 + 0.1 * rows["gx"]}
    log = sixdof.postflight.read_log(states, columns)
    assert abs(log.attrs["liftoff_time"] - 3.2) < 0.02 and "comes later than liftoff" in log.attrs["liftoff_by"]
    given = sixdof.postflight.read_log(states, columns, liftoff="3.0 s")
    assert given.attrs["liftoff_time"] == 3.0 and given.attrs["liftoff_error"] == 0.0
    assert set(np.unique(given["phase"])) == {0.0, 3.0}


def test_liftoff__is_not_a_bump_on_the_way_to_the_rail(rows):
    ax = rows["ax"].copy()
    ax[120:126] += 40.0  # 60 ms, 2.4 m/s: a knock
    assert abs(read(rows | {"ax": ax}).attrs["liftoff_time"] - ls.LIFTOFF) < 0.02


def test_liftoff__of_a_log_that_begins_in_flight_is_refused_and_can_be_given(rows):
    late = {name: values[450:] for name, values in rows.items()}
    with pytest.raises(ValueError, match="no liftoff is found in the log"):
        read(late)
    log = read(late, liftoff=ls.LIFTOFF)
    assert log["time"].values[0] == pytest.approx(1.503)
    assert "no rest of a second before liftoff" in str(sixdof.report(log))


def test_states__without_a_meaning_are_said(rows):
    columns = ls.columns()
    columns["read"]["phase"] = {"column": "state", "states": {"pad": "held", "up": "free"}}
    log = sixdof.postflight.read_log(rows | {"state": np.where(rows["t"] < 3.0, "PAD", np.where(rows["t"] < 9.0, "UP", "DROGUE"))}, columns)
    assert '"DROGUE"' in about(log, "state")[0] and np.isnan(log["phase"].values[-1])

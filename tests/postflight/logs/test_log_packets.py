"""Rows of a log: whatever the radio and the computer did to their order and clocks, the log is the same, and what happened is said."""

from __future__ import annotations

import log_signals as ls
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import sixdof

RATE, END = 50.0, 20.0


@pytest.fixture(scope="module")
def rows():
    return ls.table(rate=RATE, end=END)


@pytest.fixture(scope="module")
def plain(rows):
    return read(rows)


def read(rows, how=None, **more):
    return sixdof.postflight.read_log(rows, ls.columns(**(how or {})), **more)


def taken(rows, index):
    return {name: values[index] for name, values in rows.items()}


def said(log, kind):
    """Return the sentence of the only finding of a kind."""
    (one,) = [text for text, word in zip(log["finding"].values, log["finding_kind"].values) if word == kind]
    return str(one)


def same(log, plain):
    np.testing.assert_allclose(log["time"].values, plain["time"].values, atol=1e-9)
    for name in ("height", "velocity", "specific_force", "body_rate"):
        np.testing.assert_array_equal(log[name].values, plain[name].values)


def test_clean_rows__have_no_finding(plain):
    assert "finding" not in plain and plain.sizes["time"] == RATE * END


@pytest.mark.slow
@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.randoms(use_true_random=False))
def test_packets__in_any_order_give_the_same_log(random):
    rows = ls.table(rate=10.0, end=14.0)
    order = list(range(140))
    random.shuffle(order)
    same(read(taken(rows, np.array(order))), read(rows))


@pytest.mark.parametrize("turn", [1, 37, 500, 999])
def test_packets__of_a_late_first_half_are_put_in_order_by_their_counter(turn, rows, plain):
    same(read(taken(rows, np.roll(np.arange(1000), turn))), plain)


def test_repeated_packets__are_dropped_and_counted(rows, plain):
    log = read(taken(rows, np.sort(np.append(np.arange(1000), np.arange(200, 260)))))
    same(log, plain)
    assert "60 rows that repeat another: dropped" in said(log, "repeat")
    assert int(log["finding_count"].sum()) == 60


def test_late_packets__are_put_in_order(rows, plain):
    order = np.arange(1000)
    order[[100, 103]], order[[300, 301]] = order[[103, 100]], order[[301, 300]]
    log = read(taken(rows, order))
    same(log, plain)
    assert "put in order: corrected" in said(log, "order") and "0.06 s at most" in said(log, "order")


def test_gap__is_told_with_its_place_and_what_the_counter_says_is_lost(rows):
    log = read(taken(rows, np.delete(np.arange(1000), slice(400, 450))))
    where = float(ls.clock(RATE)[399]) - log.attrs["liftoff_time"]
    assert said(log, "gap") == f"{where:.2f} to {where + 1.02:.2f} s: no rows for 1.02 s: kept."
    assert "50 packets by the counter never came, 5 % of all, at most 50 together" in said(log, "lost")


def test_counter_that_wraps__loses_nothing(rows):
    wrapped = rows | {"n": np.mod(rows["n"], 256.0)}
    assert "finding" not in read(wrapped, {"counter": {"column": "n", "wraps": 256}})
    assert "finding" not in read(wrapped)  # guessed: it falls from near a power of two
    lost = read(taken(wrapped, np.delete(np.arange(1000), slice(400, 450))), {"counter": {"column": "n", "wraps": 256}})
    assert "50 packets" in said(lost, "lost")


def after_reset(rows, *, off=0.7, counter=True):
    """Return rows of a log whose computer starts anew at 12 s, its clock from 0.2 s again."""
    t = rows["t"]
    out = taken(rows, (t < 12.0) | (t > 12.0 + off))
    out["rx"] = out["t"] * (1.0 + 90e-6) + 500.0
    behind = out["t"] > 12.0
    out["t"] = np.where(behind, out["t"] - out["t"][behind][0] + 0.2, out["t"])
    out["n"] = out["n"] if counter else np.where(behind, out["n"] - out["n"][behind][0], out["n"])
    return out


@pytest.mark.parametrize(
    ("by", "counter", "how", "more", "within"),
    [
        ("the packet counter", True, {}, {}, 1e-6),
        ("the other clock", False, {"second_clock": {"column": "rx"}}, {}, 1e-3),  # 90 ppm of it
        ("what was given", False, {}, {"reset_gap": "0.72 s"}, 1e-6),
    ],
)
def test_reset_in_flight__goes_on_by(by, counter, how, more, within, rows):
    out = after_reset(rows, counter=counter)
    true = rows["t"][(rows["t"] < 12.0) | (rows["t"] > 12.7)]
    log = read(out, how, **more)
    assert by in said(log, "reset") and said(log, "reset").endswith("corrected.")
    np.testing.assert_allclose(log["time"].values + log.attrs["liftoff_time"], true, atol=within)


def test_reset_in_flight__cuts_where_nothing_tells_how_long(rows):
    log = read(after_reset(rows, counter=False))
    assert said(log, "reset").endswith("cut.") and "reset_gap says it" in said(log, "reset")
    assert log["time"].values[-1] < 12.0 - log.attrs["liftoff_time"]
    assert "CUT:" in str(sixdof.report(log))


def leaning(t):
    """Return the attitude of a body that leans over to the north by up to 80 deg, in body axes of the flight: rows of quaternions, nose up at rest."""
    lean = np.radians(80.0) * np.clip((t - ls.LIFTOFF) / 10.0, 0.0, 1.0)
    half = 0.5 * (np.pi / 2.0 - lean)  # from east-north-up with the nose to the north, up by the rest
    first = np.array([np.cos(np.pi / 4), 0.0, 0.0, np.sin(np.pi / 4)])  # nose to the north
    pitch = np.column_stack([np.cos(half), np.zeros_like(t), -np.sin(half), np.zeros_like(t)])
    w, x, y, z = first
    a, b, c, d = pitch.T
    return np.column_stack([w * a - z * d, w * b - z * c, w * c + z * b, w * d + z * a])


@pytest.mark.parametrize("clock_too", [True, False])
def test_attitude__behind_a_reset_is_cut(clock_too, rows):
    q = leaning(rows["t"])
    q[rows["t"] > 12.0] = leaning(np.zeros(1))
    out = rows | dict(zip(("qw", "qx", "qy", "qz"), q.T))
    columns = ls.columns()
    columns["read"]["attitude"] = {"columns": ["qw", "qx", "qy", "qz"]}
    log = sixdof.postflight.read_log(after_reset(out) if clock_too else out, columns)
    ahead = log["time"].values + log.attrs["liftoff_time"] < 12.0
    np.testing.assert_allclose(log["tilt"].values[ahead], np.radians(80.0) * np.clip((rows["t"][rows["t"] < 12.0] - ls.LIFTOFF) / 10.0, 0.0, 1.0), atol=1e-6)
    assert np.isnan(log["attitude"].values[~ahead]).all() and np.isnan(log["tilt"].values[~ahead]).all()
    assert ("starts again with the clock" if clock_too else "jumps to upright") in said(log, "attitude")


@pytest.mark.parametrize(("bits", "unit", "scale"), [(16, "ms", 1e3), (32, "us", 1e6)])
def test_clock__that_wraps_goes_on(bits, unit, scale, rows, plain):
    counts = np.round(rows["t"] * scale) + 2.0**bits - 10.0 * scale
    log = read(rows | {"t": np.mod(counts, 2.0**bits)}, {"clock": {"column": "t", "unit": unit}})
    np.testing.assert_allclose(log["time"].values, plain["time"].values, atol=1.1 / scale)
    assert "the clock wraps" in said(log, "wrap")


def test_clock__past_midnight_goes_on(rows, plain):
    log = read(rows | {"t": np.mod(rows["t"] + 86_390.0, 86_400.0)})
    np.testing.assert_allclose(log["time"].values, plain["time"].values, atol=1e-6)


def test_clock__of_coarse_steps_is_spread(rows, plain):
    log = read(rows | {"t": np.floor(rows["t"] * 2.0) / 2.0})
    assert "spread evenly" in said(log, "clock")
    middle = slice(50, -50)
    # 25 rows each half second; the rows' own times stand 6 ms from where they are spread to
    np.testing.assert_allclose((log["time"].values + log.attrs["liftoff_time"])[middle], rows["t"][middle], atol=0.0061)


def test_second_clock__drift_is_told_with_its_error(rows):
    rng = np.random.default_rng(3)
    late = 0.004 * rng.standard_normal(1000)
    log = read(rows | {"rx": rows["t"] * (1.0 + 400e-6) + 12.5 + late}, {"second_clock": {"column": "rx"}})
    text = said(log, "drift")
    drift, error = float(text.split("gains ")[1].split(" ")[0]), float(text.split("+- ")[1].split(" ")[0])
    # least squares: sd of a slope is sd / (span sqrt(n / 12)), 22 ppm here
    assert error == pytest.approx(0.004 / (END * np.sqrt(1000 / 12.0)) * 1e6, rel=0.1)
    assert abs(drift - 400.0) < 4.0 * error
    assert "scatter of 4" in said(log, "clock") and "+12.50" in said(log, "clock")


def test_second_clock__that_jumps_or_is_none_is_told(rows):
    jump = read(rows | {"rx": rows["t"] + 3.25 * (rows["t"] > 11.0)}, {"second_clock": {"column": "rx"}})
    assert any("jumps against the other by +3.25 s" in text for text in jump["finding"].values)
    other = read(rows | {"rx": 1000.0 * rows["t"]}, {"second_clock": {"column": "rx"}})
    assert "runs 1000 times as fast" in said(other, "clock")


def test_log__without_times_that_rise_is_one_sentence(rows):
    with pytest.raises(ValueError, match="fewer than two rows with a time"):
        read(rows | {"t": np.full(1000, np.nan)})
    with pytest.raises(ValueError, match="the clock stands still"):
        read(rows | {"t": np.zeros(1000)})

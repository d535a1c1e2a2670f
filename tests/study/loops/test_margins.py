"""Margins as a table: dims, units, what they refuse, unstable loops, the worst point, the report, and coupled loops without coupling."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr

from sixdof.study.loops.linear import CHANNELS, OF_CHANNEL, linearise
from sixdof.study.loops.linear_slopes import STATES
from sixdof.study.loops.loop import BREAKS, flown_mission
from sixdof.study.loops.margins import POINT_COORDS, coupled_margins, holds, margin_report, margins, worst_point
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.uncertainty.margin_spread import margin_spread

OPENED = (
    "gain_margin_db",
    "gain_reduction_db",
    "phase_margin",
    "delay_margin",
    "distance",
    "disk_margin",
    "crossover",
    "phase_crossover",
    "distance_frequency",
)
WHOLE = ("bandwidth", "closed_loop_peak", "growth", "stable")
UNITS = {
    "gain_margin_db": "dB",
    "gain_reduction_db": "dB",
    "phase_margin": "rad",
    "delay_margin": "s",
    "distance": "1",
    "disk_margin": "1",
    "crossover": "rad/s",
    "phase_crossover": "rad/s",
    "distance_frequency": "rad/s",
    "bandwidth": "rad/s",
    "closed_loop_peak": "1",
    "growth": "1/s",
    "stable": "1",
}
LOUD = {f"autopilot.pitch.{name}": value for name, value in (("p", 3.5), ("i", 1.0), ("d", 0.9))}  # ten times the demo's: unstable


@pytest.fixture(scope="module")
def models(demo_mission):
    return linearise(demo_mission, points=5)


@pytest.fixture(scope="module")
def found(models):
    return margins(models)


# ---------------------------------------------------------------- the table


def test_margins__dims_names_units(models, found):
    assert set(found.data_vars) == {*OPENED, *WHOLE}
    for name in found.data_vars:
        assert found[name].dims == (("point", "channel", "broken_at") if name in OPENED else ("point", "channel"))
        assert found[name].attrs["units"] == UNITS[name] and found[name].attrs["long_name"]
    assert list(found.channel.values) == list(CHANNELS) and list(found.broken_at.values) == list(BREAKS)
    for name in POINT_COORDS:
        xr.testing.assert_identical(found[name].variable, models[name].variable)
    assert found.attrs["title"] == models.attrs["title"] and found.attrs["mission"] == models.attrs["mission"]


def test_margins__are_of_one_another(found):
    """The disk holds real gains: 1 + L at a gain margin k is 1 - 1/k away, and 2 |1 + L|/|1 - L| there is 2 (k - 1)/(k + 1)."""
    k = 10.0 ** (found.gain_margin_db / 20.0)
    assert (found.distance <= (1.0 - 1.0 / k).fillna(np.inf) + 1e-9).all()
    assert (found.disk_margin <= (2.0 * (k - 1.0) / (k + 1.0)).fillna(np.inf) + 1e-9).all()
    assert (found.distance <= (2.0 * np.sin(0.5 * found.phase_margin)).fillna(np.inf) + 1e-9).all()
    assert (found.delay_margin <= (found.phase_margin / found.crossover).fillna(np.inf) + 1e-9).all()
    assert found.stable.all() and (found.growth <= 0.1).all()


def test_margins__of_a_part_are_the_same(models, found):
    part = margins(models, channels="yaw", broken_at=("rate", "actuator"))
    assert dict(part.sizes) == {"point": 5, "channel": 1, "broken_at": 2}
    same = found.sel(channel=["yaw"], broken_at=["rate", "actuator"])
    for name in OPENED:
        assert part[name].values == pytest.approx(same[name].values, rel=1e-12, nan_ok=True)
    one = margins(models.isel(point=[3]))
    assert one.gain_margin_db.values == pytest.approx(found.gain_margin_db.values[[3]], rel=1e-9, nan_ok=True)


def test_margins__closed_loop_numbers(models, found):
    """Bandwidth and peak against a fine grid of the closed loop by python-control."""
    from sixdof.study.loops.loop import closed_response

    system = closed_response(models, 2)
    w = np.geomspace(0.1, 300.0, 4000)
    follow = np.abs(system(np.exp(1j * w * system.dt))[system.output_labels.index("pitch_angle"), system.input_labels.index("pitch_goal")])
    last = w[np.flatnonzero(follow >= math.sqrt(0.5))[-1]]
    # taken from a grid of ratio 1.035: the crossing by straight lines, the peak as it stands there
    assert float(found.bandwidth[2, 1]) == pytest.approx(last, rel=5e-3)
    assert float(found.closed_loop_peak[2, 1]) == pytest.approx(follow.max(), rel=1e-2)


@pytest.mark.parametrize("factor", [0.6, 1.3])
def test_margins__a_drawn_servo_speed_is_that_of_faster_or_slower_servos(demo_mission, factor):
    """One channel alone, the coupled loops and an ensemble's, each against the mission whose servos are that much quicker by its own numbers."""
    own = demo_mission.servo.natural_frequency
    drawn = demo_mission.change({"disperse": {"servo.speed": {"kind": "fixed", "mean": factor}}})
    written = demo_mission.change({"servo.natural_frequency": own * factor, "disperse": {}})
    one, other = linearise(drawn, points=3, flight=0), linearise(written, points=3)
    for judge in (margins, coupled_margins):
        a, b, unchanged = judge(one), judge(other), judge(other, demo_mission.change({"disperse": {}}))
        for name in ("gain_margin_db", "phase_margin", "delay_margin", "distance"):
            # the same arithmetic but for the rounding of one product; margins are found to 1e-9 and better
            np.testing.assert_allclose(a[name], b[name], rtol=1e-7, atol=1e-9, err_msg=name)
        assert np.abs(b.phase_margin - unchanged.phase_margin).max() > math.radians(2.0)  # it does matter
    spread = margin_spread(drawn, 1, points=3, progress=False)
    same = margin_spread(written, 1, points=3, progress=False)
    for name in ("gain_margin_db", "phase_margin", "delay_margin", "distance"):
        np.testing.assert_allclose(spread[name], same[name], rtol=1e-7, atol=1e-8, err_msg=name)


# ---------------------------------------------------------------- whose gains


def test_gains__come_in_four_ways(demo_mission, models, found):
    changes = {"autopilot.pitch.p": 0.5}
    ways = changes, demo_mission.change(changes), SimpleNamespace(changes=changes)
    tables = [margins(models, gains, channels="pitch") for gains in ways]
    for table in tables:
        assert flown_mission(table.assign(models.data_vars), None, "test").autopilot.pitch.p == 0.5
        assert table.gain_margin_db.values == pytest.approx(tables[0].gain_margin_db.values, rel=1e-12, nan_ok=True)
    assert not np.allclose(tables[0].phase_margin.values, found.sel(channel=["pitch"]).phase_margin.values, rtol=1e-3)
    assert flown_mission(models, None, "test") == demo_mission


def test_gains__twice_the_gain_is_six_decibels_less(models, found):
    own = flown_mission(models, None, "test").autopilot.pitch
    twice = margins(models, {f"autopilot.pitch.{name}": 2.0 * getattr(own, name) for name in "pid"}, channels="pitch", broken_at="actuator")
    was = found.gain_margin_db.sel(channel="pitch", broken_at="actuator").values
    assert twice.gain_margin_db.values[:, 0, 0] == pytest.approx(was - 20.0 * math.log10(2.0), rel=1e-10)


@pytest.mark.parametrize("gains", [0.5, "loud", [1.0], SimpleNamespace(changes=3)])
def test_gains__that_are_none(models, gains):
    text = r'margins: gains must be a Mission, what `tune` returns, or changes such as \{"autopilot.pitch.p": 0.5\}, not'
    with pytest.raises(TypeError, match=text):
        margins(models, gains)


@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({"channels": "heave"}, 'margins: channels has "heave"; it may have roll, pitch, yaw'),
        ({"channels": ()}, "margins: channels is empty"),
        ({"broken_at": ("actuator", "servo")}, 'margins: broken_at has "servo"; it may have actuator, attitude, rate'),
        ({"broken_at": []}, "margins: broken_at is empty"),
    ],
)
def test_names__that_there_are_not(models, more, text):
    with pytest.raises(ValueError, match=text):
        margins(models, **more)


def test_models__that_are_none(found):
    for call in (margins, coupled_margins):
        with pytest.raises(ValueError, match="needs the result of sixdof.loops.linearise and finds no state_matrix"):
            call(found)


# ---------------------------------------------------------------- unstable


@pytest.fixture(scope="module")
def unstable(models):
    return margins(models, LOUD)


def test_unstable__has_no_margin(unstable):
    bad = ~unstable.stable.sel(channel="pitch")
    assert bad.any() and (unstable.growth.sel(channel="pitch").where(bad) > 0.1).any() and unstable.stable.sel(channel="yaw").all()
    for name in OPENED[:6]:
        assert (unstable[name].sel(channel="pitch").values[bad.values] == 0.0).all()
    for name in ("bandwidth", "closed_loop_peak"):
        assert np.isnan(unstable[name].sel(channel="pitch").values[bad.values]).all()


def test_unstable__a_swing_that_grows_slowly_is_no_drift(models, found):
    """Just above its critical gain the loop grows by less than what is allowed to a drift, and is unstable all the same."""
    own = flown_mission(models, None, "test").autopilot.pitch
    k = 1.001 * 10.0 ** (float(found.gain_margin_db.sel(channel="pitch", broken_at="actuator")[2]) / 20.0)
    over = margins(models.isel(point=[2]), {f"autopilot.pitch.{name}": k * getattr(own, name) for name in "pid"}, channels="pitch")
    assert 0.0 < float(over.growth.squeeze()) < 0.1 and not over.stable.any() and (over.gain_margin_db == 0.0).all()


def test_unstable__in_the_report(unstable):
    text = margin_report(unstable)
    k = int(np.flatnonzero(~unstable.stable.sel(channel="pitch").values)[0])
    assert f"pitch  UNSTABLE from {float(unstable.time[k]):.2f} s (Mach {float(unstable.mach[k]):.2f})" in text
    assert "UNSTABLE" not in text.split("yaw")[1] and "NOT met" in text and "pitch at " in text
    assert not holds(unstable).sel(channel="pitch").values[k]


def test_unstable__coupled(models):
    both = coupled_margins(models, LOUD)
    assert not both.stable.all() and (both.distance.values[~both.stable.values] == 0.0).all()
    assert (both.gain_margin_db.values[~both.stable.values] == 0.0).all()


# ---------------------------------------------------------------- in words


def test_worst_point(found):
    worst = worst_point(found)
    assert set(worst) == {"value", "point", "time", "mach", "channel", "broken_at"}
    assert worst["value"] == float(found.distance.min())
    assert worst["value"] == float(found.distance.isel(point=worst["point"]).sel(channel=worst["channel"], broken_at=worst["broken_at"]))
    assert worst["time"] == float(found.time[worst["point"]]) and worst["mach"] == float(found.mach[worst["point"]])
    assert set(worst_point(found.sel(channel="roll", broken_at="rate"), "phase_margin")) == {"value", "point", "time", "mach", "channel", "broken_at"}
    assert worst_point(found.assign(distance=found.distance * np.nan)) == {}
    with pytest.raises(ValueError, match="worst_point needs the result of sixdof.loops.margins and finds no phase"):
        worst_point(found, "phase")


def test_margin_report__names_places_and_verdict(found):
    text = margin_report(found)
    lines = text.splitlines()
    assert lines[0] == found.attrs["title"]
    assert lines[1] == f"margins of the attitude loops from {float(found.time.min()):.2f} s to {float(found.time.max()):.2f} s"
    for channel in CHANNELS:
        for where in BREAKS:
            one = found.sel(channel=channel, broken_at=where)
            row = next(line for line in lines if line.split()[:2] == [channel, where])
            assert f"{float(one.gain_margin_db.min()):.1f} dB" in row and f"{math.degrees(one.phase_margin.min()):.1f} deg" in row
            at = one.isel(point=int(np.argmin(one.distance.values)))
            assert row.endswith(f"{float(at.time):.2f} s, Mach {float(at.mach):.2f}")
    assert "required: 6 dB and 45 deg at the actuator: NOT met" in lines[-1]
    assert margin_report(found, gain_db=1.0, phase=0.1).endswith("required: 1 dB and 5.72958 deg at the actuator: met everywhere")
    assert margin_report(found.sel(broken_at=["rate"])).endswith("not looked at")


def test_holds__counts_gain_both_ways_and_phase(found):
    at = found.sel(broken_at="actuator")
    wanted = (at.gain_margin_db >= 9.0) & (at.gain_reduction_db >= 9.0) & (at.phase_margin >= math.radians(40.0))
    met = holds(found, 9.0, math.radians(40.0))
    assert met.dims == ("point", "channel") and met.dtype == bool
    assert (met.values == wanted.values).all() and met.values.any() and not met.values.all()
    weak = found.copy(deep=True)
    weak.gain_reduction_db[:] = 3.0
    assert not holds(weak, 4.0, 0.0).any()


# ---------------------------------------------------------------- coupled


def uncoupled(models):
    """Return the models with everything between the channels taken away, and a body that does not turn."""
    out = models.copy(deep=True)
    a, b = np.zeros_like(out.state_matrix.values), np.zeros_like(out.input_matrix.values)
    names = list(out["input"].values)
    for states, inputs in OF_CHANNEL.values():
        rows, columns = [STATES.index(s) for s in states], [names.index(i) for i in inputs]
        a[:, np.ix_(rows, rows)[0], rows] = out.state_matrix.values[:, np.ix_(rows, rows)[0], rows]
        b[:, np.ix_(rows, columns)[0], columns] = out.input_matrix.values[:, np.ix_(rows, columns)[0], columns]
    out["state_matrix"].values, out["input_matrix"].values = a, b
    out["body_rate"].values = np.zeros_like(out.body_rate.values)
    return out


@pytest.mark.parametrize("changes", [{}, {"sensors.gyro.lag": 0.006, "servo.delay": 0.008}], ids=["ideal", "gyro"])
def test_coupled__without_coupling_is_each_alone(models, changes):
    apart = uncoupled(models)
    both, single = coupled_margins(apart, changes), margins(apart, changes, broken_at="actuator").squeeze("broken_at")
    # roots to 1e-13 and one solve of a larger matrix
    for name in ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "crossover"):
        assert both[name].values == pytest.approx(single[name].values, rel=1e-8, nan_ok=True), name
    # the least singular value of a diagonal is its least entry; each is refined from its own grid, to 1e-6 of the place
    for name in ("distance", "disk_margin"):
        assert both[name].values == pytest.approx(single[name].min("channel").values, rel=1e-6), name
    # neutral modes of what no channel holds (speed, height) count in the coupled model: none grows
    assert both.growth.values == pytest.approx(np.maximum(single.growth.max("channel").values, 0.0), abs=1e-6)


def test_coupled__dims_and_units(models):
    both = coupled_margins(models, bending=BendingMode(35.0))
    assert list(both.channel.values) == list(CHANNELS)
    for name in ("distance", "disk_margin", "growth", "stable"):
        assert both[name].dims == ("point",) and both[name].attrs["units"] and both[name].attrs["long_name"]
    for name in ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "crossover"):
        assert both[name].dims == ("point", "channel") and both[name].attrs["long_name"].endswith("the other loops closed")
    # three simultaneous changes bear no more than one
    alone = margins(models, broken_at="actuator", bending=BendingMode(35.0)).disk_margin.values[..., 0]
    assert (both.disk_margin.values[:, None] <= 1.001 * alone).all()

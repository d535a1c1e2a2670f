"""`probe.rates_at` is what `fly` integrates: Runge-Kutta steps over it, from a row of a flight's log, fly the flight's next rows.

The flights log a row a tick; two steps a tick, as the kernel takes them, over stretches without a break of the thrust curve and without
a delay of the servos, which would split steps. Fins stand still (servos that failed on the rail): nothing else moves within a tick.
"""

from __future__ import annotations

import numpy as np
import pytest

from sixdof._jit import lend
from sixdof.core import probe
from sixdof.core.columns import POINT_COLUMNS, RATE_COLUMNS, PointColumn, RateColumn
from sixdof.core.layout import NOT_IGNITED, Log
from sixdof.core.leg.work import make_work
from sixdof.draws.packed import nominal_draw
from sixdof.study.loops.linear_flight import fly_track, moments_at

STEPS = 2  # a tick: solver.steps_per_tick as it is by default
# relative to positions of 1,000 m, speeds of 100 m/s, attitudes of 1: some fifty steps of some hundred roundings each
ROUNDING = 1e-12
STILL = [{"fin": fin} for fin in (1, 2, 3, 4)]  # stuck from the start


def track_of(mission):
    return fly_track(mission, nominal_draw(mission), "test")


def rows_between(track, first, last):
    time = track.log[:, Log.TIME]
    return np.flatnonzero((time > first - 1e-9) & (time < last + 1e-9))


def rates_of(moments, rows):
    """Return what the kernel says of moments, all of one leg."""
    (leg,) = set(moments.leg.tolist())
    model, draw = moments.legs[leg]
    if not model.computer.mixer.shape[0]:
        rows = rows[:, :POINT_COLUMNS]
    out = np.empty((len(rows), RATE_COLUMNS))
    probe.rates_at(lend(model), lend(draw), lend(make_work(model)), np.ascontiguousarray(rows), out)
    return out


def turning(q, w):
    """Return dq/dt = q (0, w)/2 of a quaternion, scalar first (Stevens, Lewis, Johnson 2016, eq. 1.8-15)."""
    return 0.5 * np.concatenate([[-q[1:] @ w], q[0] * w + np.cross(q[1:], w)])


def turned(q, v):
    """Return a body-axis vector in world axes."""
    return v + 2.0 * np.cross(q[1:], np.cross(q[1:], v) + q[0] * v)


def slope(moments, row):
    model = moments.legs[moments.leg[0]][0]
    rate, out = rates_of(moments, row[None])[0], np.zeros_like(row)
    q, w = row[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4], row[PointColumn.RATE : PointColumn.RATE + 3]
    conjugate = q * [1.0, -1.0, -1.0, -1.0]
    out[PointColumn.TIME] = 1.0
    out[PointColumn.POSITION : PointColumn.POSITION + 3] = row[PointColumn.VELOCITY : PointColumn.VELOCITY + 3]
    out[PointColumn.VELOCITY : PointColumn.VELOCITY + 3] = rate[RateColumn.ACCELERATION : RateColumn.ACCELERATION + 3]
    out[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] = turning(q, w - turned(conjugate, np.array(model.world.earth_rate)))
    out[PointColumn.RATE : PointColumn.RATE + 3] = rate[RateColumn.TURNING : RateColumn.TURNING + 3]
    return out


def stepped(moments, row, h, gusts):
    """Return the moment a classical Runge-Kutta step later; gusts : (3, 3) at its start, middle and end."""
    wind = slice(PointColumn.GUST, PointColumn.GUST + 3)

    def at(k, reach, gust):
        moved = row + reach * k
        moved[wind] = gust
        return slope(moments, moved)

    first = at(row, 0.0, gusts[0])
    second = at(first, 0.5 * h, gusts[1])
    third = at(second, 0.5 * h, gusts[1])
    fourth = at(third, h, gusts[2])
    out = row + h / 6.0 * (first + 2.0 * (second + third) + fourth)
    out[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] /= np.linalg.norm(out[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4])
    return out


def flown(moments, gusts=None):
    """Return the rows that steps over `rates_at` reach at the times of the moments, from the first one on; gusts : (n, 3)."""
    gusts = np.zeros((len(moments.row), 3)) if gusts is None else gusts
    out = [moments.row[0]]
    for k in range(len(moments.row) - 1):
        row, h = out[-1], (moments.row[k + 1, 0] - moments.row[k, 0]) / STEPS
        for i in range(STEPS):
            shares = (i + np.array([0.0, 0.5, 1.0])[:, None]) / STEPS
            row = stepped(moments, row, h, gusts[k] + shares * (gusts[k + 1] - gusts[k]))
        out.append(row)
    return np.array(out)


SCALE = np.array([1.0, 1.0, *[1e3] * 3, *[1e2] * 3, *[1.0] * 4, *[1.0] * 3])  # time, lit, place, velocity, attitude, rates


def agree(rows, moments):
    kept = slice(0, PointColumn.GUST)
    return np.abs((rows[:, kept] - moments.row[:, kept]) / SCALE).max()


@pytest.fixture(scope="module")
def still(demo_mission):
    return demo_mission.change({"servo.failure": STILL})


def test_rates__fly_the_flight_under_thrust_and_coasting(still):
    track = track_of(still)
    breaks = track.plan.segment(0, 0, track.draw)[0].thrust.time
    assert not ((breaks > 0.42) & (breaks < 0.58)).any() and track.log[rows_between(track, 0.5, 0.5), Log.THRUST] > 50.0
    for window in ((0.42, 0.58), (4.0, 4.2)):
        moments = moments_at(track, rows_between(track, *window))
        assert agree(flown(moments), moments) < ROUNDING


def test_rates__with_moving_fins_are_the_slope_of_the_log(demo_mission):
    """Fins that turn between ticks: what velocity and rates grow by over a tick, by the trapezoidal rule, at two rates of the computer.

    Its error is tick^2/12 of the second derivative of a rate, so it falls as the square: 16 times as the ticks shrink to a quarter.
    """
    worst = []
    for rate, steps in ((100.0, 2), (400.0, 2)):
        track = track_of(demo_mission.change({"autopilot.rate": rate, "solver.steps_per_tick": steps}))
        moments = moments_at(track, rows_between(track, 2.1, 4.5))
        rates = rates_of(moments, moments.row)
        errors = []
        for at, to in ((PointColumn.VELOCITY, RateColumn.ACCELERATION), (PointColumn.RATE, RateColumn.TURNING)):
            value, said = moments.row[:, at : at + 3], rates[:, to : to + 3]
            errors.append(np.abs(np.diff(value, axis=0) * rate - 0.5 * (said[1:] + said[:-1])).max() / np.abs(said).max())
        worst.append(errors)
    coarse, fine = np.array(worst)
    assert (fine < 1e-3).all(), worst
    assert coarse / fine == pytest.approx(16.0, rel=0.3), worst  # servos get their commands 7.5 ms earlier: the flights are not the same


def test_rates__fly_through_gusts(still):
    """Turbulence and a discrete gust with an updraught, as the log tells of them: felt at ticks and linear between."""
    gust = {"speed": "3 m/s", "blows_from": "20 deg", "upward": "2 m/s", "height": "300 m", "length": "60 m"}
    mission = still.change({"air.gust": [gust], "air.turbulence": {"wind_at_20_ft": "8 m/s"}})
    track = track_of(mission)
    rows = rows_between(track, 3.6, 3.9)
    moments = moments_at(track, rows)
    velocity, log = moments.row[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3], moments.log
    q = moments.row[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4]
    # what the log says of the air: its incidences are angles off the axis in two planes
    along = np.stack([np.ones(len(rows)), np.tan(log[:, Log.INCIDENCE_YAW]), np.tan(log[:, Log.INCIDENCE_PITCH])], axis=1)
    through = along * (log[:, Log.AIRSPEED] / np.linalg.norm(along, axis=1))[:, None]
    calm = rates_of(moments, moments.row)[:, RateColumn.AIR : RateColumn.AIR + 3]
    gusts = np.array([turned(q[i], calm[i] - through[i]) for i in range(len(rows))])
    east = np.array([velocity[i] - turned(q[i], through[i]) for i in range(len(rows))])
    assert east[:, :2] == pytest.approx(log[:, [Log.WIND_EAST, Log.WIND_NORTH]], abs=1e-11)
    assert np.abs(gusts).max(axis=0).min() > 0.3  # m/s, every component
    # gusts read off the log carry its rounding, 1e-14 of 100 m/s, through stiff loads: a hundred times ROUNDING
    assert agree(flown(moments, gusts), moments) < 100.0 * ROUNDING
    assert agree(flown(moments), moments) > 1e-6


def test_rates__of_a_fin_that_carries_nothing(demo_mission):
    failures = [{"fin": 1, "kind": "dead"}, *STILL[1:]]
    track = track_of(demo_mission.change({"servo.failure": failures, "servo.natural_frequency": "9 Hz"}))
    moments = moments_at(track, rows_between(track, 4.0, 4.2))
    share = moments.row[:, POINT_COLUMNS + 4 :]
    assert np.array_equal(share, np.tile([0.0, 1.0, 1.0, 1.0], (len(share), 1)))
    assert agree(flown(moments), moments) < ROUNDING
    whole = moments._replace(row=np.concatenate([moments.row[:, : POINT_COLUMNS + 4], np.ones_like(share)], axis=1))
    assert agree(flown(whole), moments) > 1e-6


def test_rates__of_two_stages_before_and_after_ignition(stack_mission):
    track = track_of(stack_mission.change({"servo.failure": STILL, "servo.delay": "0 s"}))
    time = track.log[:, Log.TIME]
    parted, lit = time[track.joined == 1][0], track.lit[-1]
    assert parted < 2.0 < lit
    for first, last in ((0.56, 0.74), (1.2, 1.4), (parted, parted + 0.2), (lit - 0.1, lit - 0.01), (lit + 0.37, lit + 0.58)):
        moments = moments_at(track, rows_between(track, first, last))
        assert agree(flown(moments), moments) < ROUNDING
    burning = moments_at(track, rows_between(track, lit + 0.37, lit + 0.58))
    assert burning.log[:, Log.THRUST].min() > 50.0
    unlit = burning._replace(row=burning.row.copy())
    unlit.row[:, PointColumn.IGNITED] = NOT_IGNITED
    mass = [rates_of(each, each.row)[0, RateColumn.MASS] for each in (unlit, burning)]
    assert mass[0] - mass[1] > 0.01 and agree(flown(unlit), burning) > 1e-6


def test_rates__of_a_vehicle_without_control(demo_mission):
    track = track_of(demo_mission.change({"stage.thistledown.part.tail.control": False}))
    assert track.fins == 0
    moments = moments_at(track, rows_between(track, 4.0, 4.1))
    assert agree(flown(moments), moments) < ROUNDING


def test_rates__say_what_the_log_says(demo_mission, demo_flight):
    track = track_of(demo_mission)
    moments = moments_at(track, rows_between(track, 0.5, 8.0))
    said, log = rates_of(moments, moments.row), moments.log
    for column, known in (
        (RateColumn.DYNAMIC_PRESSURE, Log.DYNAMIC_PRESSURE),
        (RateColumn.MACH, Log.MACH),
        (RateColumn.MASS, Log.MASS),
        (RateColumn.CG, Log.CG),
    ):
        assert said[:, column] == pytest.approx(log[:, known], rel=1e-12)  # the same formulas from the log's own bits
    assert np.linalg.norm(said[:, RateColumn.AIR : RateColumn.AIR + 3], axis=1) == pytest.approx(log[:, Log.AIRSPEED], rel=1e-12)
    assert said[:, RateColumn.UP : RateColumn.UP + 3] == pytest.approx(np.tile([0.0, 0.0, 1.0], (len(said), 1)))
    at = demo_flight.sel(time=moments.row[:, 0], method="nearest")
    assert float(np.abs(at.mass.values - said[:, RateColumn.MASS]).max()) < 0.01  # kg: the flight as users see it, half a tick of burning

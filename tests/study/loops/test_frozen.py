"""One channel of a frozen model under the real law and servos: linear where it should be, and what the servos' limits do to it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_gains import waypoints

import sixdof
from sixdof.study.loops.frozen import FrozenLoop, fin_groups, simulate_frozen, step_map
from sixdof.study.loops.linear import linearise
from sixdof.study.loops.loop import closed_response

control = pytest.importorskip("control")

PERFECT = {"backlash": 0.0, "dead_band": 0.0, "resolution": 0.0}
SMALL = 1e-3  # rad: far from every limit; the law's error 2 sin(e/2) is e to within e^2/24 = 4e-8
LINEAR = 2e-7  # of the largest value: that 4e-8, through the law's gains and the loop's peak; steps are so fine that they add less
EVERYTHING = {"sensors.gyro.lag": 0.004, "guidance.rate_feedforward": True, "autopilot.computation_delay": 0.003}


@pytest.fixture(scope="module")
def models(demo_path):
    return linearise(waypoints(demo_path.parent), at=[4.8, 7.0])


@pytest.fixture(scope="module")
def three(demo_path):
    """The same vehicle with three fins: in yaw two of them move by half of the demand."""
    mission = waypoints(demo_path.parent, **{"stage.0.part.tail.count": 3, "stage.0.part.tail.clocking": 0.0})
    return linearise(mission, at=[4.8])


def linear(models, channel, time, gains, gust):
    """The closed loop's own answer to the goal and the gust: python-control's, of the exact sampled matrices."""
    loop = closed_response(models, 0, channel, gains=gains)
    given = np.zeros((loop.ninputs, time.size))
    given[loop.input_labels.index(f"{channel}_goal")] = SMALL
    for k, name in enumerate(loop.input_labels):
        if name.startswith("gust"):
            given[k] = gust
    out = control.forced_response(loop, time, given)[1]
    return {name: out[loop.output_labels.index(f"{channel}_{name}")] for name in ("angle", "rate", "demand", "fin")}


@pytest.mark.parametrize("channel", ["roll", "pitch", "yaw"])
@pytest.mark.parametrize("gains", [None, EVERYTHING], ids=["demo", "lag, delay and feed"])
def test_simulate_frozen__without_imperfections_it_is_the_linear_loop(models, channel, gains):
    gust = 0.0 if channel == "roll" else 0.01
    flown = simulate_frozen(models, 0, channel, gains=gains, duration=1.5, goal=SMALL, gust=gust, servo=PERFECT, steps=20)
    expected = linear(models, channel, flown["time"].values, gains, gust)
    for name, values in expected.items():
        assert np.abs(flown[name].values - values).max() < LINEAR * np.abs(values).max(), name


def test_simulate_frozen__three_fins(three):
    flown = simulate_frozen(three, 0, "yaw", duration=1.0, goal=SMALL, servo=PERFECT, steps=20)
    expected = linear(three, "yaw", flown["time"].values, None, 0.0)
    assert np.abs(flown["angle"].values - expected["angle"]).max() < LINEAR * np.abs(expected["angle"]).max()


def test_fin_groups(models, three):
    mission = sixdof.mission.load.loads_mission(three.attrs["mission"])
    share, weight = fin_groups(three, mission, 0, "yaw")
    assert share.tolist() == [0.5, 1.0]  # cos 120 deg and cos 0
    # both slanted fins turn the vehicle by cos 120 deg of what the upright one does, and move by half: 2 (1/2)(1/2) against 1; the air at
    # each fin differs a little as the vehicle flies at an incidence
    assert share * weight == pytest.approx([1.0 / 3.0, 2.0 / 3.0], rel=0.01)
    assert share @ weight == pytest.approx(1.0)
    share, weight = fin_groups(models, sixdof.mission.load.loads_mission(models.attrs["mission"]), 0, "pitch")
    assert share.tolist() == [1.0] and weight == pytest.approx([1.0])


def test_step_map__is_of_fourth_order():
    rng = np.random.default_rng(1)
    a, b, g = rng.normal(size=(3, 3)), rng.normal(size=3), np.zeros(3)

    def after(count):
        h, x = 1.0 / count, np.ones(3)
        step = step_map(a, b, g, h)
        for k in range(count):
            x = step @ np.concatenate([x, np.cos(h * (k + np.array([0.0, 0.5, 1.0]))), [0.0]])
        return x

    coarse, middle, fine = (after(n) for n in (8, 16, 32))
    # an error of order h^4 falls to a sixteenth; higher orders move that by some per cent at such steps
    assert np.linalg.norm(coarse - middle) / np.linalg.norm(middle - fine) == pytest.approx(16.0, rel=0.25)


def test_bench__goes_on_where_it_stopped(models):
    bench = FrozenLoop(models, 0, "pitch")
    bench.begin(0.02)
    whole = bench.run(40)[1]
    bench.begin(0.02)
    parts = np.concatenate([bench.run(15)[1], bench.run(25)[1]])
    assert np.array_equal(whole, parts)


def test_bench__the_fin_stays_within_the_play(models):
    bench = FrozenLoop(models, 0, "pitch", servo={"dead_band": 0.0})
    bench.begin(0.05)
    half, behind = 0.5 * bench.servo.backlash, []
    for _ in range(200):
        bench.run(1)
        behind.append(bench.controller.motors[0, 0] - bench.controller.fins[0, 0])
    assert max(np.abs(behind)) == pytest.approx(half, rel=1e-12)  # reached, and never passed
    assert min(behind) < 0.0 < max(behind)


def test_simulate_frozen__commands_come_in_steps(models):
    resolution, band = math.radians(0.07), math.radians(0.2)
    flown = simulate_frozen(models, 0, "pitch", goal=0.05, duration=2.0, servo={"resolution": resolution, "dead_band": band})
    command = flown["command"].values
    steps = command / resolution
    assert np.abs(steps - np.round(steps)).max() < 1e-9  # rounding
    change = np.abs(np.diff(command))
    assert (change[change > 0.0] > band).all() and (change > 0.0).sum() > 5 and (change == 0.0).sum() > 5


def test_simulate_frozen__the_law_holds_against_a_servo_off_centre(models):
    off = math.radians(0.5)
    flown = simulate_frozen(models, 0, "pitch", duration=40.0, centring=off, servo=PERFECT)
    # its integral takes all of it: what is left after 40 s of a slow mode of some seconds is below a thousandth
    assert float(flown["command"][-1]) == pytest.approx(-off, rel=1e-3)
    assert abs(float(flown["fin"][-1])) < 1e-3 * off and abs(float(flown["angle"][-1])) < 1e-3 * off


def test_simulate_frozen__fins_end_at_their_stops(models):
    flown = simulate_frozen(models, 0, "pitch", start=0.9, duration=1.0)
    travel = sixdof.mission.load.loads_mission(models.attrs["mission"]).servo.deflection_limit
    assert float(np.abs(flown["fin"]).max()) == travel - 0.5 * math.radians(0.3)  # half of the play behind the motor
    assert float(np.abs(flown["rate"]).max()) > 0.1


def test_simulate_frozen__a_goal_of_time(models):
    flown = simulate_frozen(models, 0, "pitch", duration=2.0, goal=lambda t: 0.01 if t >= 1.0 else 0.0, servo=PERFECT)
    assert not flown["angle"].sel(time=slice(0.0, 0.99)).any()
    assert float(flown["angle"][-1]) > 0.005
    assert flown["fin"].attrs == {"units": "rad", "long_name": "fin angle"}


def test_simulate_frozen__an_end_where_the_attitude_runs_away(models):
    turned = models.assign(input_matrix=-models["input_matrix"])  # fins the wrong way round
    flown = simulate_frozen(turned, 0, "pitch", start={"q": 0.5}, duration=20.0)
    assert 10 < flown.sizes["time"] < 2000 and float(np.abs(flown["angle"]).max()) < 0.5 * math.pi


@pytest.mark.parametrize(
    ("words", "given"),
    [
        ("one channel flies at a time", {"channel": "full"}),
        ("whole number from 0 to 1", {"point": 2}),
        ("duration = 0", {"duration": 0}),
        ("steps = 0", {"steps": 0}),
        ('start has "v"', {"start": {"v": 1.0}}),
        ("finite", {"start": math.nan}),
        ('servo has no "slack"', {"servo": {"slack": 1.0}}),
        ("backlash = -1", {"servo": {"backlash": -1.0}}),
        ("at most 62 ticks", {"servo": {"delay": 1.0}}),
        ("no gust acts on the roll", {"channel": "roll", "gust": 1.0}),
        ("goal is nan", {"goal": math.nan}),
        ("centring = 1", {"centring": 1.0}),
    ],
)
def test_simulate_frozen__bad_input(models, words, given):
    with pytest.raises(ValueError, match=words):
        simulate_frozen(models, **{"point": 0, **given})


def test_simulate_frozen__no_models(demo_flight):
    with pytest.raises(ValueError, match="linearise"):
        simulate_frozen(demo_flight)

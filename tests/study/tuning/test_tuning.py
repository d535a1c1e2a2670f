"""`tune` and its parts: exact pole placement, what the numbers of a design mean, gains that hold what is asked, in words and as TOML."""

from __future__ import annotations

import math
import tomllib

import control
import numpy as np
import pytest

import sixdof
from sixdof.study.loops.linear import linearise
from sixdof.study.loops.loop import closed_response, open_loop
from sixdof.study.loops.margins import holds, margins
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.tuning.limits import LAGS, improved, lags_at
from sixdof.study.tuning.problem import Demands, make_problem
from sixdof.study.tuning.tune import Specification, tune

DEMANDS = Demands(6.0, math.radians(45.0), 1.1547, 0.16, 5.0, math.radians(3.0), 2.0, 0.5)
CHANGES = {
    "pid": {"autopilot.gain_reference_q": None},
    "filtered": {"autopilot.gain_reference_q": None, "autopilot.filter": "20 ms"},
    "error": {"autopilot.gain_reference_q": None, "autopilot.derivative": "error", "autopilot.filter": "30 ms"},
    "cascade": {"autopilot.gain_reference_q": None, "autopilot.structure": "cascade"},
    "notch": {"autopilot.gain_reference_q": None, "autopilot.notch": {"frequency": "20 Hz"}},
}


@pytest.fixture(scope="module")
def demo_models(demo_mission):
    return linearise(demo_mission, points=8)


@pytest.fixture(scope="module")
def tuned(demo_mission):
    return tune(demo_mission, points=16)


def problem_of(models, mission, channels=("pitch",), demands=DEMANDS):
    return make_problem([models], mission, channels, demands, [np.ones((models.sizes["point"], 1))], None)


# ---------------------------------------------------------------- the problem


@pytest.mark.parametrize("structure", CHANGES)
@pytest.mark.parametrize("integral", [0.0, 0.5])
def test_placed__the_closed_loop_has_the_poles_asked_for(demo_mission, demo_models, structure, integral):
    """The poles are those of python-control's closed loop: exact but for the rounding of an eigenvalue problem."""
    mission = demo_mission.change(CHANGES[structure])
    problem = problem_of(demo_models, mission, demands=DEMANDS._replace(integral=integral))
    point = int(np.argmax(demo_models["dynamic_pressure"].values))
    for frequency, damping in ((22.0, 0.3), (16.0, 0.3), (14.0, 0.2), (30.0, 0.1)):
        p, i, d = problem.placed(frequency, damping)
        if p[point] > 0.0 and d[point] > 0.0:  # positive gains can place this pair in this structure
            break
    assert p[point] > 0.0 and d[point] > 0.0
    gains = {"p": p[point], "i": i[point], "d": d[point]}
    poles = closed_response(demo_models, point, "pitch", gains=mission.change({"autopilot.pitch": gains})).poles()
    wanted = np.exp(frequency / mission.autopilot.rate * (-damping + 1j * math.sqrt(1.0 - damping**2)))
    assert np.abs(poles - wanted).min() < 1e-8


def test_slowness__of_a_first_order_lag_is_its_time_constant(demo_mission, demo_models):
    """2 T sum e_k^2 = 2 T/(1 - exp(-2 T/tau)) for e_k = exp(-k T/tau): tau for T << tau. The grid's cells cost 1 %."""
    problem = problem_of(demo_models, demo_mission)
    period, tau = problem.gains.period, 0.4
    fall = math.exp(-period / tau)
    error = (1.0 - 1.0 / problem.z) / (1.0 - fall / problem.z)  # of a unit step, per step
    assert problem._slowness(error) == pytest.approx(2.0 * period / (1.0 - fall**2), rel=0.01)


@pytest.mark.parametrize("seed", range(12))
def test_answer__is_never_more_than_both_margins(demo_mission, demo_models, seed):
    """On its axes the ellipse touches the required margins, so its measure cannot exceed theirs.

    But for the grid's cells, 4 % wide: half of one is up to 0.05 of the requirement near the critical point.
    """
    p, d, ratio = np.exp(np.random.default_rng(seed).uniform(np.log([0.02, 0.005, 0.5]), np.log([2.0, 0.3, 3.0])))
    mission = demo_mission.change({"autopilot.gain_reference_q": None, "autopilot.pitch": {"p": p, "i": ratio * p, "d": d}})
    found = margins(demo_models, mission, channels="pitch", broken_at="actuator").squeeze(drop=True)
    each = np.ones(demo_models.sizes["point"])
    answer = problem_of(demo_models, mission).answer(p * each, ratio * p * each, d * each)
    stable = found["stable"].values
    for values, required in ((found["gain_margin_db"], 6.0), (found["gain_reduction_db"], 6.0), (found["phase_margin"], math.radians(45.0))):
        most = np.minimum(np.nan_to_num(values.values / required, nan=99.0), 99.0)
        assert (answer.margin <= 1.02 * most + 0.05)[stable].all()


@pytest.mark.parametrize("channel", ["pitch", "yaw", "roll"])
def test_answer__against_python_control(demo_mission, demo_models, channel):
    """Every measure of a design from python-control's own responses of the same loop: ellipse, speed, stiffness, peak, gust.

    Tolerance: the cells of the grid, 4 % wide, and time responses of 40 s for what is an integral over all frequencies.
    """
    point, gains = 3, {"pitch": (0.5, 0.6, 0.09), "yaw": (0.5, 0.6, 0.09), "roll": (0.03, 0.03, 0.005)}[channel]
    mission = demo_mission.change({"autopilot.gain_reference_q": None, f"autopilot.{channel}": dict(zip("pid", gains))})
    problem = problem_of(demo_models, mission, (channel,))
    found = problem.answer(*(value * np.ones(problem.points) for value in gains))

    opened = open_loop(demo_models, point, channel, gains=mission)
    size, phase, _ = control.frequency_response(opened, np.geomspace(0.1, 0.999 * np.pi / opened.dt, 4000))
    behind = np.mod(np.squeeze(phase), 2.0 * np.pi) - np.pi
    ellipse = np.hypot(20.0 * np.log10(np.squeeze(size)) / DEMANDS.gain_db, behind / DEMANDS.phase).min()
    assert found.margin[point] == pytest.approx(ellipse, rel=0.03)

    closed = closed_response(demo_models, point, channel, gains=mission)
    time = np.arange(0.0, 40.0, closed.dt)

    def answer(given, seen):
        out = control.step_response(closed[closed.output_labels.index(seen), closed.input_labels.index(given)], time)
        return np.squeeze(out.outputs)

    follows = answer(f"{channel}_goal", f"{channel}_angle")
    assert found.speed[point] == pytest.approx(0.5 / (closed.dt * ((1.0 - follows) ** 2).sum()), rel=0.05)
    leans = answer(f"{channel}_demand_added", f"{channel}_angle")
    assert found.stiffness[point] == pytest.approx(0.5 / (closed.dt * (leans**2).sum()), rel=0.05)

    frequency = np.geomspace(0.1, 0.999 * np.pi / closed.dt, 4000)

    def most(given, seen, power=0):
        size, _, _ = control.frequency_response(closed[closed.output_labels.index(seen), closed.input_labels.index(given)], frequency)
        return (np.squeeze(size) * frequency**power).max()

    assert found.peak[point] == pytest.approx(DEMANDS.peak / most(f"{channel}_goal", f"{channel}_angle"), rel=0.02)
    room = [DEMANDS.travel / (answer(f"{channel}_goal", f"{channel}_demand")[0] * DEMANDS.step)]
    if channel != "roll":
        gust = {"pitch": "gust_w", "yaw": "gust_v"}[channel]
        room += [limit / (DEMANDS.gust * most(gust, f"{channel}_demand", power)) for limit, power in ((DEMANDS.travel, 0), (DEMANDS.rate, 1))]
    assert found.servo[point] == pytest.approx(min(room), rel=0.02)


@pytest.mark.parametrize("structure", CHANGES)
def test_answer__first_kick_of_a_step(demo_mission, demo_models, structure):
    """With no gust the servos' room is travel over what the law gives at once to a step of the goal: by hand, and python-control's closed loop.

    p + i T; on the error's change d/(Tf + T) more; in a cascade p (d + i T).
    """
    mission = demo_mission.change(CHANGES[structure] | {"autopilot.pitch": {"p": 0.5, "i": 0.6, "d": 0.05}})
    problem = problem_of(demo_models, mission, demands=DEMANDS._replace(gust=0.0))
    each, period = np.ones(problem.points), 0.01
    room = problem.answer(0.5 * each, 0.6 * each, 0.05 * each).servo
    by_hand = {"cascade": 0.5 * (0.05 + 0.6 * period), "error": 0.5 + 0.6 * period + 0.05 / 0.04}.get(structure, 0.5 + 0.6 * period)
    if structure != "notch":
        assert room == pytest.approx(DEMANDS.travel / (by_hand * DEMANDS.step), rel=1e-9)
    closed = closed_response(demo_models, 2, "pitch", gains=mission)
    first = closed.D[closed.output_labels.index("pitch_demand"), closed.input_labels.index("pitch_goal")]
    assert room[2] == pytest.approx(DEMANDS.travel / (first * DEMANDS.step), rel=1e-9)


# ---------------------------------------------------------------- what tune returns


def test_tune__holds_what_is_asked_on_the_flight_it_makes(tuned):
    models = linearise(tuned.mission, points=23)  # other moments than those it was designed on
    met = holds(margins(models, broken_at=("actuator",)), 6.0 - 0.2, math.radians(45.0 - 1.5))  # between rows and points a little is lost
    assert tuned.met and bool(met.all())
    assert not bool(holds(tuned.margins_before).all())


def test_tune__gains_are_three_digits_and_pitch_is_yaw(tuned):
    for row in tuned.mission.autopilot.schedule:
        assert row.pitch == row.yaw
        for value in (row.pitch.p, row.pitch.d, row.roll.p, row.roll.d):
            assert value == float(f"{value:.3g}") > 0.0


def test_tune__is_quicker_where_there_was_room(tuned):
    """The demo's gains are slow in pitch (bandwidth about 1 rad/s): with the margins asked for there is room for several times that."""
    before, now = (float(found["bandwidth"].sel(channel="pitch").median()) for found in (tuned.margins_before, tuned.margins))
    assert now > 3.0 * before


def test_fragment__loads_and_makes_the_same_autopilot(tuned, demo_mission):
    table = tomllib.loads(tuned.fragment())
    assert list(table) == ["autopilot"]
    gone = {"autopilot.pitch": {}, "autopilot.yaw": {}, "autopilot.roll": {}}
    again = demo_mission.change(gone | {f"autopilot.{key}": value for key, value in table["autopilot"].items()})
    assert again.autopilot == tuned.mission.autopilot
    assert "not a clearance to fly" in tuned.fragment()


def test_save__writes_once(tuned, tmp_path):
    path = tuned.save(tmp_path / "gains.toml")
    assert path.read_text() == tuned.fragment()
    with pytest.raises(FileExistsError):
        tuned.save(path)


def test_report__says_what_was_found(tuned):
    text = str(tuned)
    for part in ("6 dB, 45 deg", "pitch and yaw", "before", "hold at every point", "servo", "never a clearance"):
        assert part in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 120
    assert "meets 6 dB" in repr(tuned)


def test_limits__a_faster_servo_brings_the_most(tuned):
    """The demo's servo is slow (9 Hz) and its ticks are fast: nothing else comes near."""
    gained = tuned.limits["distance"] - tuned.limits["distance"].sel(part="as it is")
    assert set(gained["part"].values) == {"as it is", "servo", "sample_rate"}  # no delay, ideal gyros, no notch: nothing to better
    assert (gained.sel(part="servo") > gained.sel(part="sample_rate")).all() and (gained.sel(part="servo") > 0.05).all()


def test_lags__by_hand(demo_mission):
    """Hold w T/2, delay w tau, second-order servo atan(2 z x/(1 - x^2)), first-order gyro atan(w tau)."""
    mission = demo_mission.change({"servo.delay": "8 ms", "autopilot.computation_delay": "2 ms", "sensors.gyro.lag": "3 ms"})
    w, x, z = 20.0, 20.0 / (2.0 * math.pi * 9.0), 0.75
    wanted = {"servo": math.atan(2.0 * z * x / (1.0 - x * x)), "delay": w * 0.010, "hold": 0.5 * w * 0.01, "gyro_lag": math.atan(w * 0.003), "notch": 0.0}
    assert lags_at(mission, w, "pitch") == pytest.approx([wanted[name] for name in LAGS], abs=1e-12)


def test_schedule__is_that_of_the_mission(tuned):
    table = tuned.schedule()
    rows = tuned.mission.autopilot.schedule
    assert table["row"].values == pytest.approx([row.at for row in rows])
    assert table["p"].sel(channel="roll").values == pytest.approx([row.roll.p for row in rows])


# ---------------------------------------------------------------- other ways to ask


@pytest.mark.slow
@pytest.mark.parametrize("schedule", ["dynamic_pressure", "scale", "none"])
def test_tune__schedules(demo_mission, schedule):
    found = tune(demo_mission, {"schedule": schedule, "rows": 4}, points=12)
    autopilot = found.mission.autopilot
    assert (len(autopilot.schedule) == 4) == (schedule == "dynamic_pressure")
    assert (autopilot.gain_reference_q is not None) == (schedule == "scale")
    assert found.met
    # one set of gains holds its margins over a tenfold range of q by being slow
    slowest = min(design.answer.speed.min() for design in found.designs)
    assert (slowest < 0.5) == (schedule == "none")


@pytest.mark.slow
@pytest.mark.parametrize("structure", ["cascade", "error", "notch"])
def test_tune__structures(demo_mission, structure):
    changes = CHANGES[structure] | {"autopilot.gain_reference_q": "5 kPa"}
    if structure == "cascade":
        changes |= {f"autopilot.{c}": {"p": 3.0, "d": "0.05 s"} for c in ("pitch", "yaw", "roll")}
    found = tune(demo_mission.change(changes), points=12)
    assert found.met and found.mission.autopilot.structure == ("cascade" if structure == "cascade" else "pid")


@pytest.mark.slow
def test_tune__bandwidth_asked_for(demo_mission):
    """A slower loop may keep more margin: the search spends what is not needed for speed on the worst margin."""
    fast, slow = tune(demo_mission, points=12), tune(demo_mission, {"bandwidth": 1.0}, points=12)
    least = [min(d.answer.margin.min() for d in found.designs) for found in (fast, slow)]
    assert least[1] > least[0] + 0.1
    assert min(d.answer.speed.min() for d in slow.designs) > 0.9


@pytest.mark.slow
def test_tune__bending_is_borne(demo_mission):
    """A lightly damped mode whose peak would pass the critical point: what is found with it in mind is stable with it."""
    mode = BendingMode(21.0, 0.01, modal_mass=0.7, shape_at_fins=1.0, slope_at_gyro=4.0)
    blind, seeing = tune(demo_mission, points=10), tune(demo_mission, points=10, bending=mode)
    assert not margins(blind.models, broken_at=("actuator",), bending=mode)["stable"].all()
    assert seeing.margins["stable"].all()


@pytest.mark.slow
def test_tune__flights_that_must_hold_too(demo_mission):
    """Designed on the drawn flights that come closest to the critical point, more of the ensemble meets the requirement."""
    from sixdof.study.uncertainty.margin_spread import margin_spread, robust_margins, worst_draws

    found = tune(demo_mission, points=16)
    spread = margin_spread(found.mission, 40, seed=1, progress=False)
    again = tune(demo_mission, points=16, flights=worst_draws(spread, 4)["flight"].values, seed=1)
    assert again.met and len(again.drawn) == 4
    shares = [float(robust_margins(each)["flight_probability"]) for each in (spread, margin_spread(again.mission, 40, seed=1, progress=False))]
    assert shares[1] > max(shares[0], 0.9)
    assert "drawn flight" in str(again)


def test_tune__only_the_channels_named(demo_mission):
    found = tune(demo_mission, Specification(channels=("roll",), schedule="scale"), points=8)
    own, new = demo_mission.autopilot, found.mission.autopilot
    assert new.pitch == own.pitch and new.yaw == own.yaw and new.roll != own.roll


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ({"phase_margin": 50.0}, "did you mean"),
        ({"phase_margin_deg": 120.0}, "must be at most 90"),
        ({"gain_margin_db": -6.0}, "must be a number above 0"),
        ({"bandwidth": "fast"}, "must be a number above 0"),
        ({"schedule": "height"}, "schedule"),
        ({"rows": 1}, "whole number from 2"),
        ({"channels": ("pitch", "heave")}, "must name some of"),
        ({"integral": math.nan}, "from 0 up"),
    ],
)
def test_specification__faults(demo_mission, spec, said):
    with pytest.raises(ValueError, match=said):
        tune(demo_mission, spec)


@pytest.mark.parametrize("flights", [[-1], ["3"], 2.5, [2**33]])
def test_tune__flights_that_are_none(demo_mission, flights):
    with pytest.raises(ValueError, match="flights? = "):
        tune(demo_mission, flights=flights)


def test_tune__what_is_no_specification(demo_mission):
    with pytest.raises(TypeError, match="must be a Specification or a dictionary"):
        tune(demo_mission, 6.0)


def test_tune__a_vehicle_without_control_fins(demo_mission):
    changes = {"stage.thistledown.part.tail.control": False, "stage.thistledown.part.tail.hinge": None}
    with pytest.raises(ValueError, match="no control fins"):
        tune(demo_mission.change(changes))


def test_tune__reversed_controls_on_a_stack():
    """With live fins on the stack, pitch demands turn it the wrong way (vortices on the booster's fins): no gains can hold that."""
    mission = sixdof.load_mission("configs/two-stage.toml").change({"rule.fins on.booster": None})
    with pytest.raises(ValueError, match="the wrong way"):
        tune(mission, points=12)


# ---------------------------------------------------------------- its figure


def test_plot_tuning__how_far_the_gain_may_fall_has_the_colour_of_its_set(tuned):
    import matplotlib.pyplot as plt

    from sixdof.plot.loops.linear import MOST_GAIN
    from sixdof.plot.loops.tuning import NEW, OLD, plot_tuning

    gain = plot_tuning(tuned).axes[0]
    for found, colour in ((tuned.margins_before, OLD), (tuned.margins, NEW)):
        falls = found["gain_reduction_db"].sel(channel="pitch", broken_at="actuator").values
        (line,) = [line for line in gain.lines if line.get_color() == colour and line.get_gid() != "margin"]
        np.testing.assert_array_equal(line.get_ydata(), np.where(falls <= MOST_GAIN, falls, np.nan))
    plt.close("all")


@pytest.mark.parametrize("hertz", [14.0, 20.0, 26.0])
def test_limits__a_servo_that_is_fast_already_can_still_be_made_faster(hertz):
    """What is asked of the faster servo is a sound mission, whose steps are fine enough for it."""
    mission = sixdof.load_mission("configs/sampler.toml").change({"servo.natural_frequency": f"{hertz} Hz", "autopilot.rate": "100 Hz"})
    better = mission.change(improved(mission, "servo"))
    assert better.servo.natural_frequency == pytest.approx(4.0 * mission.servo.natural_frequency)

"""Figures of linear models and loops: what they draw is what the studies and python-control say."""

from __future__ import annotations

import math

import control
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse

import sixdof
from sixdof import plot
from sixdof.plot.loops.linear import MOST_GAIN
from sixdof.plot.loops.loop import frequencies, s_plane
from sixdof.plot.loops.loop_closed import closed_poles, critical_factors, in_order
from sixdof.study.loops.linear import linearise
from sixdof.study.loops.loop import closed_response, open_loop
from sixdof.study.loops.margins import margins, worst_point
from sixdof.study.loops.sampled_plant import BendingMode

COUNT = 8


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def models(demo_mission):
    return linearise(demo_mission, points=COUNT)


@pytest.fixture(scope="module")
def found(models):
    return margins(models)


def lines(ax):
    return {line.get_label(): line for line in ax.lines if not line.get_label().startswith("_")}


def place(models, point):
    return f"{float(models.time[point]):.2f} s, Mach {float(models.mach[point]):.2f}"


# ---------------------------------------------------------------- along the flight


def test_modes__are_those_of_the_models_with_units(models):
    (frequency, damping), (roll, effect) = plot.plot_modes(models)
    assert lines(frequency)["yaw"].get_ydata() == pytest.approx(models.short_period_frequency.sel(plane="yaw").values / (2.0 * math.pi), rel=1e-12)
    assert np.array_equal(lines(damping)["pitch"].get_ydata(), models.short_period_damping.sel(plane="pitch"))
    assert np.array_equal(lines(roll)["roll"].get_ydata(), models.roll_time_constant)
    assert np.array_equal(lines(effect)["pitch"].get_ydata(), models.effectiveness.sel(channel="pitch"))
    assert [ax.get_ylabel().split("(")[-1][:2] for ax in (frequency, roll)] == ["Hz", "s)"] and "rad/s" in effect.get_ylabel()
    (other,) = [ax for ax in effect.figure.axes if ax.get_ylabel().startswith("roll")]
    assert np.array_equal(lines(other)["roll"].get_ydata(), models.effectiveness.sel(channel="roll"))


def test_modes__mach_stands_above_the_times_of_the_ticks(models):
    ax = plot.plot_modes(models)[0, 0]
    ax.figure.canvas.draw()
    (above,) = ax.child_axes
    assert above.get_xlabel() == "Mach"
    written = {tick: text.get_text() for tick, text in zip(above.get_xticks(), above.get_xticklabels()) if text.get_text()}
    assert len(written) > 3
    for time, text in written.items():
        assert text == f"{np.interp(time, models.time, models.mach):.2f}"


def test_modes__statically_unstable_stretches_are_shaded(models):
    unstable = models.copy(deep=True)
    unstable["short_period_frequency"][2:4, 0] = np.nan
    ax = plot.plot_modes(unstable)[0, 0]
    (shaded,) = [patch for patch in ax.patches if patch.get_label() == f"{models.plane.values[0]} statically unstable"]
    time = models.time.values
    assert [shaded.get_x(), shaded.get_x() + shaded.get_width()] == pytest.approx([0.5 * (time[1] + time[2]), 0.5 * (time[3] + time[4])])


def test_margins__of_three_channels_with_the_requirement(found):
    gain, phase, distance = plot.plot_margins(found)
    for name in ("pitch", "yaw", "roll"):
        one = found.sel(channel=name, broken_at="actuator")
        assert np.array_equal(lines(gain)[name].get_ydata(), one.gain_margin_db)
        assert lines(phase)[name].get_ydata() == pytest.approx(np.degrees(one.phase_margin.values), rel=1e-12)
        assert np.array_equal(lines(distance)[name].get_ydata(), one.distance)
    assert set(lines(gain)["required: 6 dB"].get_ydata()) == {6.0}
    assert lines(phase)["required: 45 deg"].get_ydata() == pytest.approx([45.0, 45.0])
    assert gain.get_ylabel() == "gain margin (dB)" and phase.get_ylabel() == "phase margin (deg)"


def test_margins__gain_sets_over_each_other_and_unstable_shaded(models, found):
    wild = margins(models, {"autopilot.pitch.p": 3.5, "autopilot.pitch.d": 0.9})
    bad = ~wild.stable.sel(channel="pitch").values
    assert bad.any() and not bad.all()
    axes = plot.plot_margins({"before": found, "after": wild}, channel="pitch")
    for name, one in (("before", found), ("after", wild)):
        assert np.array_equal(lines(axes[2])[name].get_ydata(), one.distance.sel(channel="pitch", broken_at="actuator"))
    # whose instability it is says the legend, and the tint of its own line
    assert "after unstable" in [text.get_text() for text in axes[0].get_legend().get_texts()]
    assert {to_hex(patch.get_facecolor()) for patch in axes[0].patches} == {to_hex(lines(axes[0])["after"].get_color())}
    edges = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in axes[0].patches]
    for time, is_bad in zip(models.time.values, bad):
        assert any(low <= time <= high for low, high in edges) == is_bad


def test_margins__the_gain_reduction_has_the_colour_of_its_own_margin(models, found):
    """Whatever colours are asked for: the dashed line of a set is in its colour, and holds its numbers, not the other set's."""
    wild = margins(models, {"autopilot.pitch.p": 1.5})
    for colours in ((), ("#a32e16", "#03428c")):
        gain = plot.plot_margins({"before": found, "after": wild}, channel="pitch", colours=colours)[0]
        for name, one in (("before", found), ("after", wild)):
            less = one.gain_reduction_db.sel(channel="pitch", broken_at="actuator").values
            (dashed,) = [line for line in gain.lines if line.get_gid() == f"of:{name}"]
            np.testing.assert_array_equal(dashed.get_ydata(), np.where(less <= MOST_GAIN, less, np.nan))
            assert to_hex(dashed.get_color()) == to_hex(lines(gain)[name].get_color())


def test_margins__what_they_do_not_hold(found):
    with pytest.raises(ValueError, match=r"plot_margins: channel = .*pych.* must be one of roll, pitch, yaw"):
        plot.plot_margins(found, channel="pych")
    with pytest.raises(ValueError, match=r"broken_at = .*nose.* must be one of actuator, attitude, rate"):
        plot.plot_margins(found, broken_at="nose")
    with pytest.raises(ValueError, match="plot_margins needs the result of sixdof.loops.margins"):
        plot.plot_margins(found[["stable"]])
    with pytest.raises(ValueError, match="found is empty"):
        plot.plot_margins({})


# ---------------------------------------------------------------- opened


def test_bode__the_loop_of_python_control_in_db_and_degrees(models):
    size, phase = plot.plot_bode(models, [2, 5], "yaw", broken_at="rate")
    loop = open_loop(models, 2, "yaw", broken_at="rate")
    (name,) = [name for name in lines(size) if name.startswith(place(models, 2))]
    w, gain = lines(size)[name].get_data()
    values = loop(np.exp(1j * w * loop.dt))
    # 1e-6: the transfer function at a point and on a grid are solved for by two routes
    assert gain == pytest.approx(20.0 * np.log10(np.abs(values)), abs=1e-6)
    assert np.exp(1j * np.radians(lines(phase)[name].get_ydata())) == pytest.approx(values / np.abs(values), abs=1e-6)
    assert size.get_ylabel() == "gain (dB)" and phase.get_ylabel() == "phase (deg)" and "rad/s" in phase.get_xlabel()
    assert [ax.get_xlabel() for ax in size.child_axes] == ["Hz"]


def test_bode__the_worst_of_all_points_stands_out_with_its_margins(models, found):
    size, phase = plot.plot_bode(models)
    worst = worst_point(found.sel(channel="pitch", broken_at="actuator"))["point"]
    curves = {name: line for name, line in lines(size).items() if "Mach" in name}
    assert len(curves) == 5
    (name,) = [name for name in curves if "worst" in name]
    assert name.startswith(place(models, worst))
    assert curves[name].get_linewidth() > max(line.get_linewidth() for other, line in curves.items() if other != name)
    assert len({str(line.get_color()) for line in curves.values()}) == 5
    one = found.sel(channel="pitch", broken_at="actuator").isel(point=worst)
    marks = {round(line.get_xdata()[0], 9): line.get_ydata() for line in size.lines if line.get_gid() == "margin"}
    # 1e-6: the grid holds the study's own crossover
    assert marks[round(float(one.phase_crossover), 9)] == pytest.approx([0.0, -float(one.gain_margin_db)], abs=1e-6)
    assert f"{float(one.gain_margin_db):.1f} dB" in [text.get_text() for text in size.texts]
    (mark,) = [line.get_ydata() for line in phase.lines if line.get_gid() == "margin"]
    # 0.5 deg: the curve is straight between two frequencies of the grid here
    assert abs(mark[1] - mark[0]) == pytest.approx(math.degrees(float(one.phase_margin)), abs=0.5)


def test_nyquist__disk_bars_and_closest_approach(models, found):
    ax = plot.plot_nyquist(models, 3)
    disk = next(patch for patch in ax.patches if patch.get_label().startswith("disk"))
    assert isinstance(disk, Circle)
    low, high = disk.center[0] - disk.radius, disk.center[0] + disk.radius
    assert low * high == pytest.approx(1.0, rel=1e-12)  # symmetric: the same factor up and down
    # what the disk has to hold: the unit circle meets it 45 deg from -1, and it reaches past a factor of 2 (6 dB)
    assert abs(np.exp(1j * math.radians(135.0)) - disk.center[0]) == pytest.approx(disk.radius, rel=1e-12)
    assert high > -0.5 and low < -2.0
    (mark,) = [line for line in ax.lines if line.get_gid() == "margin"]
    x, y = mark.get_data()
    distance = float(found.distance.sel(channel="pitch", broken_at="actuator")[3])
    assert math.hypot(x[1] - x[0], y[1] - y[0]) == pytest.approx(distance, rel=1e-6)  # the grid holds the study's frequency
    assert "rad/s" in ax.texts[0].get_text() and "Hz" in ax.texts[0].get_text()


def test_nichols__ellipse_of_the_requirement_and_the_loop_beside_it(models):
    ax = plot.plot_nichols(models, [1, 4], required=(8.0, math.radians(50.0)))
    ellipse = next(patch for patch in ax.patches if isinstance(patch, Ellipse))
    assert ellipse.center == (-180.0, 0.0) and (ellipse.width, ellipse.height) == pytest.approx((100.0, 16.0))
    name = next(name for name in lines(ax) if name.startswith(place(models, 4)))
    phase, gain = lines(ax)[name].get_data()
    w = frequencies(open_loop(models, 4), margins(models.isel(point=[4]), channels="pitch", broken_at="actuator").isel(point=0, channel=0, broken_at=0))
    answer = control.frequency_response(open_loop(models, 4), w)
    assert 10.0 ** (gain / 20.0) * np.exp(1j * np.radians(phase)) == pytest.approx(answer.magnitude * np.exp(1j * answer.phase), rel=1e-9)


def test_frequencies__a_narrow_resonance_is_drawn_to_its_top(models):
    loop = open_loop(models, 3, bending=BendingMode(30.0, 0.002, 2.0, 0.3, -0.8))
    w = frequencies(loop)
    size = np.abs(control.frequency_response(loop, w).magnitude)
    near = np.linspace(0.99, 1.01, 4001) * 2.0 * math.pi * 30.0
    top = control.frequency_response(loop, near).magnitude.max()
    # 1 %: forty frequencies over a resonance; three hundred even ones miss most of it
    assert size[(w > near[0]) & (w < near[-1])].max() == pytest.approx(top, rel=0.01)
    even = control.frequency_response(loop, np.geomspace(0.1, 300.0, 300)).magnitude
    assert even[-40:].max() < 0.9 * top


# ---------------------------------------------------------------- closed


def test_poles__are_those_of_python_control(models):
    # a small system: a root locus by polynomials loses digits with every order
    loop = control.ss([[0.9, 0.1], [-0.2, 0.8]], [[0.0], [0.1]], [[1.0, 0.3]], [[0.0]], 0.01)
    factors = np.geomspace(0.1, 4.0, 9)
    other = control.root_locus_map(loop, gains=factors).loci
    assert np.sort_complex(closed_poles(loop, factors)) == pytest.approx(np.sort_complex(other), abs=1e-12)


def test_poles__of_a_flown_loop_are_roots_of_python_controls_locus(models):
    loop, factors = open_loop(models, 3), [0.5, 1.0, 2.0]
    ours, other = closed_poles(loop, factors), control.root_locus_map(loop, gains=factors).loci
    for mine, theirs in zip(ours, other):
        moving = mine[np.abs(mine - 1.0) > 0.05]
        moving = moving[np.abs(moving) > 0.3]
        assert len(moving) >= 3
        # 1e-5: clusters of poles at 0 and 1 cost a polynomial of order 12 its digits
        assert np.abs(moving[:, None] - theirs[None, :]).min(axis=1).max() < 1e-5


def test_poles__of_a_factor_are_those_of_gains_changed_by_it(models, demo_mission):
    own = demo_mission.autopilot.pitch
    changed = closed_response(models, 3, gains={f"autopilot.pitch.{name}": 1.7 * getattr(own, name) for name in "pid"})
    poles = closed_poles(open_loop(models, 3), [1.7])[0]
    theirs = changed.poles()
    fast = theirs[np.abs(theirs) > 1e-3]  # delays: zero to within the root of the rounding
    assert np.abs(fast[:, None] - poles[None, :]).min(axis=1).max() < 1e-7  # pairs at 1 are accurate to the root of the rounding


def test_root_locus__limits_are_the_margins(models, found):
    loop = open_loop(models, 3)
    factors = np.geomspace(0.05, 8.0, 200)
    limits = critical_factors(loop, factors, in_order(closed_poles(loop, factors)))
    one = found.sel(channel="pitch", broken_at="actuator").isel(point=3)
    factor, s = limits[-1]
    assert 20.0 * math.log10(factor) == pytest.approx(float(one.gain_margin_db), abs=1e-6)
    assert s.imag == pytest.approx(float(one.phase_crossover), rel=1e-6) and abs(s.real) < 1e-6
    assert -20.0 * math.log10(limits[0][0]) == pytest.approx(float(one.gain_reduction_db), abs=1e-6) and limits[0][0] < 1.0


def test_root_locus__marks_and_axes(models):
    ax = plot.plot_root_locus(models, 3)
    marks = {line.get_gid(): line for line in ax.lines if line.get_gid()}
    loop = open_loop(models, 3)
    s = s_plane(closed_poles(loop, [1.0])[0], loop.dt)
    assert set(np.round(marks["today"].get_ydata(), 9)) == set(np.round(s.imag[s.imag >= -1e-9], 9))
    assert abs(marks["limit"].get_xdata()[0]) < 1e-6
    assert place(models, 3) in ax.get_title(loc="left") and "1/s" in ax.get_xlabel() and "rad/s" in ax.get_ylabel()
    with pytest.raises(ValueError, match="factors must be two or more positive numbers"):
        plot.plot_root_locus(models, factors=[2.0, 1.0])


def test_steps__are_those_of_the_closed_loop(models):
    angle, fin = plot.plot_steps(models, [1, 6], size_deg=3.0, duration=1.0)
    system = closed_response(models, 6)
    time = np.arange(101) * system.dt
    answer = control.step_response(system[["pitch_angle", "pitch_fin"], "pitch_goal"], time).outputs
    for ax, values in ((angle, answer[0, 0]), (fin, answer[1, 0])):
        name = next(name for name in lines(ax) if name.startswith(place(models, 6)))
        assert lines(ax)[name].get_ydata() == pytest.approx(3.0 * values, abs=1e-12)
    assert set(lines(angle)["commanded"].get_ydata()) == {3.0}
    assert angle.get_ylabel() == "pitch angle (deg)" and fin.get_xlabel().endswith("(s)")
    with pytest.raises(ValueError, match=r"duration = .*-1.* must be a number of seconds above 0"):
        plot.plot_steps(models, duration=-1.0)


def test_disturbances__gust_and_offset_in_degrees(models):
    axes = plot.plot_disturbances(models, 4, "yaw", gust=2.0, offset_deg=0.5, duration=0.8)
    system = closed_response(models, 4, "yaw")
    time = np.arange(81) * system.dt
    for column, name, size in ((0, "gust_v", math.degrees(2.0)), (1, "yaw_demand_added", 0.5)):
        answer = control.step_response(system[["yaw_angle", "yaw_fin"], name], time).outputs
        for row in range(2):
            assert axes[row, column].lines[0].get_ydata() == pytest.approx(size * answer[row, 0], abs=1e-12)
    assert "2 m/s" in axes[0, 0].get_title(loc="left") and "0.5 deg" in axes[0, 1].get_title(loc="left")


def test_disturbances__no_gust_rolls(models):
    axes = plot.plot_disturbances(models, 4, "roll", duration=0.3)
    assert "no gust" in axes[0, 0].texts[0].get_text() and axes[0, 1].lines


# ---------------------------------------------------------------- flown


def test_responses__goal_angle_error_and_the_busiest_fin(demo_mission, demo_flight):
    other = sixdof.fly(demo_mission.change({"autopilot.pitch.p": 0.5}))
    angle, error, fin = plot.plot_responses({"before": demo_flight, "after": other})
    up = other.sel(time=slice(None, float(other.apogee_time)))
    assert lines(angle)["after"].get_ydata() == pytest.approx(np.degrees(up.tilt_pitch.values), abs=1e-12)
    assert [line for line in angle.lines if line.get_gid() == "of:after"][0].get_ydata() == pytest.approx(np.degrees(up.commanded_pitch.values))
    assert lines(error)["after"].get_ydata() == pytest.approx(np.degrees((up.commanded_pitch - up.tilt_pitch).values), abs=1e-9)
    busiest = int(np.abs(np.diff(up.fin_command.values, axis=0)).sum(axis=0).argmax())
    assert lines(fin)[f"after: fin {busiest + 1}"].get_ydata() == pytest.approx(np.degrees(up.fin_command[:, busiest].values), abs=1e-12)
    stops = sorted(line.get_ydata()[0] for line in fin.lines if len(line.get_ydata()) == 2)
    assert stops == pytest.approx([-12.0, 12.0])  # travel of the demo's servo
    with pytest.raises(ValueError, match="flights must be a dictionary"):
        plot.plot_responses(demo_flight)


# ---------------------------------------------------------------- all of them

OF_POINTS = ["plot_bode", "plot_nyquist", "plot_nichols", "plot_steps", "plot_disturbances"]


@pytest.mark.parametrize("name", [*OF_POINTS, "plot_root_locus"])
def test_figures__refuse_what_there_is_not(models, name):
    draw = getattr(plot, name)
    with pytest.raises(ValueError, match=rf"{name}: point = 99 must be a whole number from 0 to {COUNT - 1}"):
        draw(models, 99)
    with pytest.raises(ValueError, match=rf"{name}: channel = .*nod.* must be one of roll, pitch, yaw"):
        draw(models, 0, "nod")
    with pytest.raises(ValueError, match="loops.linearise"):
        draw(models[["mach"]], 0)
    with pytest.raises(TypeError, match=f"{name}: gains must be"):
        draw(models, 0, gains=3.0)


@pytest.mark.parametrize("name", OF_POINTS[:3])
def test_figures__refuse_a_place_to_open_that_there_is_not(models, name):
    with pytest.raises(ValueError, match=rf"{name}: broken_at = .*nose.* must be one of actuator, attitude, rate"):
        getattr(plot, name)(models, 0, broken_at="nose")


def test_figures__say_that_a_loop_is_unstable(models):
    size, _ = plot.plot_bode(models, [3], gains={"autopilot.pitch.p": 8.0})
    assert [name for name in lines(size) if name.endswith("UNSTABLE")]
    assert not [line for line in size.lines if line.get_gid() == "margin"]


def test_figures__on_axes_that_are_given(models, found):
    figure = Figure()
    axes = figure.subplots(3, 4)
    assert list(plot.plot_bode(models, 1, axes=axes[0, :2])) == list(axes[0, :2])
    assert plot.plot_nyquist(models, 1, ax=axes[0, 2]) is axes[0, 2]
    assert list(plot.plot_margins(found, axes=axes[:, 3])) == list(axes[:, 3])
    with pytest.raises(ValueError, match="plot_bode: axes holds 1 axes and the figure needs 2"):
        plot.plot_bode(models, 1, axes=axes[0, 0])


def test_figures__points_given_as_one_number_or_from_the_end(models):
    ax = plot.plot_nichols(models, -1)
    assert [name for name in lines(ax) if "Mach" in name] == [place(models, COUNT - 1)]
    with pytest.raises(ValueError, match="points is empty"):
        plot.plot_nichols(models, [])

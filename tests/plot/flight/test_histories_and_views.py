"""Figures against time and from all sides: what is drawn is what the flight holds, by a second statement of each quantity."""

from __future__ import annotations

import math

import matplotlib.pyplot as plt
import numpy as np
import pytest

from sixdof import plot
from sixdof.plot.labels import place_labels
from sixdof.plot.style import columns_that_fit, fitted_size, spread_out

G0 = 9.80665


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def line(ax, text: str):
    return next(one for one in ax.lines if one.get_label() == text)


def test_height__whole_flight_and_its_top(demo_flight):
    ax = plot.plot_height(demo_flight)
    assert ax.lines[0].get_ydata().max() == pytest.approx(float(demo_flight["apogee_height"]), abs=0.5)  # the log has a row each 20 ms
    assert ax.lines[0].get_xdata()[-1] == demo_flight["time"].values[-1]
    assert plot.plot_height(demo_flight, whole=False).lines[0].get_xdata()[-1] == pytest.approx(float(demo_flight["apogee_time"]), abs=0.03)


def test_height__events_are_named_once_each_above_the_axes(demo_flight):
    ax = plot.plot_height(demo_flight)
    names = [text.get_text() for text in ax.texts]
    assert names[0] == "liftoff" and names[-1] == "landing" and "burnout" in names and len(set(names)) == len(names)
    assert not plot.plot_height(demo_flight, events=False).texts


def test_speed__upwards_is_the_slope_of_the_height(demo_flight):
    up = line(plot.plot_speed(demo_flight), "upwards")
    time, height = (demo_flight[name].values[: len(up.get_xdata())] for name in ("time", "height"))
    slope = np.gradient(height, time)
    assert np.abs(up.get_ydata() - slope)[5:-5].max() < 1.0  # m/s: the log's rows are 20 ms apart, the ignition transient within them


def test_acceleration__is_one_g_at_rest_and_the_right_scale_says_so(demo_flight):
    ax = plot.plot_acceleration(demo_flight)
    along, across = (ax.lines[k].get_ydata() for k in (0, 1))
    assert math.hypot(along[0], across[0]) == pytest.approx(G0, rel=0.25) or demo_flight["thrust"].values[0] > 0.0
    beside = ax.child_axes[0]
    ax.figure.canvas.draw()
    assert beside.get_ylim()[1] == pytest.approx(ax.get_ylim()[1] / G0)


def test_acceleration__in_the_coast_is_drag_over_mass(demo_flight):
    """Thrust gone, what an accelerometer reads along the axis is less than nothing: the air alone pulls."""
    ax = plot.plot_acceleration(demo_flight)
    time, along = line(ax, "along the axis, forward positive").get_data()
    burnout = float(demo_flight["event_time"].isel(body=0).sel(event="burnout"))
    coast = (time > burnout + 0.2) & (time < float(demo_flight["apogee_time"]) - 2.0)
    assert coast.any() and (along[coast] < 0.0).all()


def test_thrust__area_is_the_impulse_that_the_speed_took(stack_flight):
    ax = plot.plot_thrust(stack_flight)
    time, thrust = line(ax, "thrust").get_data()
    assert thrust[-1] == 0.0 and time[-1] < float(stack_flight["apogee_time"])
    mass = line(ax.figure.axes[1], "mass").get_ydata()
    assert (np.diff(mass) <= 1e-9).all() and np.diff(mass).min() < -0.5  # it burns, and drops its booster


def test_behind__is_the_path_turned_into_the_rails_plane(stack_flight, stack_mission):
    ax = plot.plot_behind(stack_flight)
    azimuth = stack_mission.rail.azimuth
    position = stack_flight["east"].values + 1j * stack_flight["north"].values
    across = (position * np.exp(1j * azimuth)).real  # east and north turned so that the azimuth points up the page
    drawn = np.concatenate([one.get_xdata() for one in ax.lines if one.get_label() in ("up to apogee", "after apogee")])
    assert drawn.min() == pytest.approx(across.min(), abs=1e-9) and drawn.max() == pytest.approx(across.max(), abs=1e-9)


def test_path__shadow_lies_on_the_ground_below(stack_flight):
    ax = plot.plot_path(stack_flight)
    lines = [one for one in ax.lines if one.get_label() == "whinchat" or one.get_gid() == "of:whinchat"]
    path, shadow = lines
    np.testing.assert_array_equal(path.get_data_3d()[:2], shadow.get_data_3d()[:2])
    assert not np.any(shadow.get_data_3d()[2]) and shadow.get_color() == path.get_color()
    with pytest.raises(ValueError, match="axes in three dimensions"):
        plot.plot_path(stack_flight, ax=plt.figure().subplots())


def test_map__scales_of_degrees_meet_the_landing_places(stack_flight):
    """The flight's own latitude and longitude of each landing stand where the scales along top and right say."""
    ax = plot.plot_map(stack_flight)
    ax.figure.canvas.draw()
    top, right = ax.child_axes
    for k in (0, 1):
        east, north = (float(stack_flight[f"body_landing_{of}"][k]) for of in ("east", "north"))
        for value, beside, of, get in ((east, top, "longitude", "get_xlim"), (north, right, "latitude", "get_ylim")):
            share = (value - getattr(ax, get)()[0]) / np.ptp(getattr(ax, get)())
            low, high = getattr(beside, get)()
            # 1e-7 deg is a centimetre; a straight scale over a kilometre or two is good to some centimetres
            assert low + share * (high - low) == pytest.approx(float(stack_flight[f"body_landing_{of}"][k]), abs=1e-6)


def test_map__of_an_ensemble_has_a_point_a_landing(demo_ensemble):
    ax = plot.plot_map(demo_ensemble)
    assert len(ax.lines[0].get_xdata()) == int(np.isfinite(demo_ensemble["body_landing_east"].isel(body=0)).sum())


# ---------------------------------------------------------------- placing


def test_spread_out__keeps_distance_order_and_end():
    out = spread_out([0.0, 0.1, 0.2, 5.0, 9.9, 10.0], 1.0, 10.0)
    assert out == pytest.approx([0.0, 1.0, 2.0, 5.0, 9.0, 10.0])


def test_fitted_size__follows_the_shape_within_bounds():
    tall, wide = fitted_size([0.0, 100.0], [0.0, 500.0]), fitted_size([0.0, 500.0], [0.0, 10.0])
    assert tall[1] > tall[0] and wide[0] > wide[1] > 2.0
    assert all(np.isfinite(fitted_size([np.nan], [np.nan])))


def test_columns__as_many_as_fit():
    texts = ["ten letters"] * 6
    assert columns_that_fit(texts, 3, 1000.0) == 3 and columns_that_fit(texts, 3, 100.0) == 1 and columns_that_fit([], 3, 100.0) == 1


def test_labels__of_close_marks_are_one_and_none_meet():
    ax = plt.subplots(figsize=(5.0, 4.0), layout="constrained")[1]
    ax.plot([0.0, 1.0, 2.0], [0.0, 5.0, 0.0])
    place_labels(ax, [(0.0, 0.0, "liftoff"), (0.001, 0.001, "rail left"), (0.1, 0.5, "burnout"), (1.0, 5.0, "apogee"), (np.nan, 1.0, "never")])
    ax.figure.canvas.draw()
    assert [text.get_text() for text in ax.texts] == ["liftoff\nrail left", "burnout", "apogee"]
    boxes = [text.get_window_extent() for text in ax.texts]
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])


@pytest.mark.parametrize(
    ("name", "lacks"), [("plot_height", "height"), ("plot_thrust", "mass"), ("plot_behind", "east"), ("plot_track", "height"), ("plot_path", "body_east")]
)
def test_figures__of_nothing_but_nan_say_so(name, lacks, demo_flight):
    with pytest.raises(ValueError, match=f"{name} finds no number in {lacks} of this result"):
        getattr(plot, name)(demo_flight.assign({lacks: np.nan * demo_flight[lacks]}))

"""Figures of control: what they draw, and what they say where there is nothing to draw."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Circle

import sixdof
from sixdof import plot


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def waypoint_flight(demo_path):
    return sixdof.fly(sixdof.load_mission(demo_path.with_name("waypoints.toml")))


def lines(ax):
    return {line.get_label(): line for line in ax.lines}


def test_attitude_error__is_goal_minus_truth_in_degrees(demo_flight):
    found = lines(plot.plot_attitude_error(demo_flight))
    up = demo_flight.sel(time=slice(None, float(demo_flight.apogee_time)))
    assert found["pitch"].get_ydata() == pytest.approx(np.degrees((up.commanded_pitch - up.tilt_pitch).values), abs=1e-9)
    assert found["nose to commanded direction"].get_ydata() == pytest.approx(np.degrees(up.tilt_error.values), abs=1e-12)
    assert {"yaw", "roll"} <= set(found)


def test_demands__with_the_stops(demo_flight):
    found = lines(plot.plot_demands(demo_flight))
    assert found["stop of a fin"].get_ydata() == pytest.approx([-12.0, -12.0], abs=1e-12)  # travel of the demo's servo
    assert np.ptp(found["pitch"].get_ydata()) > 1.0


def test_estimate_error__on_two_scales(waypoint_flight):
    ax = plot.plot_estimate_error(waypoint_flight)
    assert set(lines(ax)) == {"position (m)", "velocity (m/s)"}
    other = [a for a in ax.figure.axes if a is not ax]
    assert len(other) == 1 and "attitude" in other[0].get_ylabel()


def test_estimate_error__ideal_sensors_have_none(demo_flight):
    with pytest.raises(ValueError, match="sensors of this mission are ideal"):
        plot.plot_estimate_error(demo_flight)


def test_waypoints__circles_at_their_places_with_their_radii(waypoint_flight):
    above, beside = plot.plot_waypoints(waypoint_flight)
    for ax in (above, beside):
        assert [c.radius for c in ax.patches if isinstance(c, Circle)] == [8.0, 10.0]
        assert ax.get_aspect() == 1.0
    assert [c.center for c in above.patches] == [(24.0, 8.0), (64.0, 22.0)]
    assert [c.center[1] for c in beside.patches] == [310.0, 440.0]
    assert [text.get_text()[:3] for text in above.texts] == ["1: ", "2: "] and all(text.get_text().endswith(" m") for text in above.texts)


def test_waypoints__on_axes_that_are_given(waypoint_flight):
    axes = Figure().subplots(1, 2)
    assert plot.plot_waypoints(waypoint_flight, axes=axes) is axes


def test_waypoints__none(demo_flight):
    with pytest.raises(ValueError, match="this mission has none"):
        plot.plot_waypoints(demo_flight)


def test_control__an_overview_says_what_it_cannot_draw(demo_flight, waypoint_flight):
    words = [text.get_text() for ax in plot.plot_control(demo_flight).axes for text in ax.texts]
    assert any("ideal" in word for word in words)
    words = [text.get_text() for ax in plot.plot_control(waypoint_flight).axes for text in ax.texts]
    assert not words


@pytest.mark.parametrize("name", ["plot_attitude_error", "plot_demands", "plot_estimate_error", "plot_waypoints", "plot_control"])
def test_figures__take_one_flight(demo_ensemble, name):
    with pytest.raises(ValueError, match="takes one flight"):
        getattr(plot, name)(demo_ensemble)

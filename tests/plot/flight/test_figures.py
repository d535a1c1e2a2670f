"""Figures: axes back, labels with units, nothing global changed, clear sentences for results that lack something."""

from __future__ import annotations

import subprocess
import sys

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from results_by_hand import ensemble_by_hand, flight_by_hand

from sixdof import plot
from sixdof.plot.style import axes_or_new, label, shown, unwound
from sixdof.results.status import Status

OF_FLIGHT = [plot.plot_track, plot.plot_ground_track, plot.plot_tilt, plot.plot_fins, plot.plot_margin, plot.plot_mach]


def apogees(ds, *, ax=None):
    return plot.plot_histogram(ds, "apogee_height", ax=ax)


OF_ENSEMBLE = [apogees, plot.plot_fan, plot.plot_landing]
LABELS = {
    "plot_track": ("downrange distance (m)", "height above ground (m)"),
    "plot_ground_track": ("position east of the rail (m)", "position north of the rail (m)"),
    "plot_tilt": ("time since ignition (s)", "tilt, roll (deg)"),
    "plot_fins": ("time since ignition (s)", "fin angle (deg)"),
    "plot_margin": ("time since ignition (s)", "static margin, calibres"),
    "plot_mach": ("time since ignition (s)", "Mach number"),
    "apogees": ("apogee above ground (m)", "flights"),
    "plot_fan": ("time since ignition (s)", "height above ground (m)"),
    "plot_landing": ("landing place east of the rail (m)", "landing place north of the rail (m)"),
}


@pytest.fixture(autouse=True)
def unchanged():
    before = dict(plt.rcParams)
    yield
    assert dict(plt.rcParams) == before
    plt.close("all")


@pytest.fixture(scope="module")
def flight(demo_mission):
    return flight_by_hand(demo_mission)


@pytest.fixture(scope="module")
def ensemble(demo_mission):
    return ensemble_by_hand(demo_mission, np.random.default_rng(6).normal(size=(30, 2)) * (80.0, 40.0))


@pytest.mark.parametrize("function", [*OF_FLIGHT, *OF_ENSEMBLE], ids=lambda f: f.__name__)
def test_figure__draws_on_given_axes_and_labels_them(function, flight, ensemble):
    ds = flight if function in OF_FLIGHT else ensemble
    figure = Figure(layout="constrained")  # outside pyplot: nothing may be opened there
    ax = figure.subplots()
    assert function(ds, ax=ax) is ax
    assert plt.get_fignums() == []
    assert (ax.get_xlabel(), ax.get_ylabel()) == LABELS[function.__name__]
    figure.canvas.draw()


@pytest.mark.parametrize("function", [*OF_FLIGHT, *OF_ENSEMBLE], ids=lambda f: f.__name__)
def test_figure__opens_one_of_its_own_without_axes(function, demo_flight, demo_ensemble):
    ax = function(demo_flight if function in OF_FLIGHT else demo_ensemble)
    assert isinstance(ax, Axes) and len(plt.get_fignums()) == 1
    ax.figure.canvas.draw()


@pytest.mark.parametrize("function", [plot.plot_flight, plot.plot_ensemble], ids=lambda f: f.__name__)
def test_overview__draws_every_panel(function, demo_flight, demo_ensemble):
    ds = demo_flight if function is plot.plot_flight else demo_ensemble
    figure = function(ds)
    assert isinstance(figure, Figure) and len(figure.axes) >= 6
    assert all(ax.axison for ax in figure.axes) and figure.get_suptitle().startswith(ds.attrs["title"])
    figure.canvas.draw()
    box = figure.get_tightbbox()  # inches: nothing sticks out of the page
    assert box.x0 >= 0.0 and box.y0 >= 0.0
    assert box.x1 <= figure.get_figwidth() and box.y1 <= figure.get_figheight()


@pytest.mark.parametrize("function", [*OF_FLIGHT, plot.plot_flight], ids=lambda f: f.__name__)
def test_flight_figure__refuses_an_ensemble(function, ensemble):
    with pytest.raises(ValueError, match=r"takes one flight and this is an ensemble of 30"):
        function(ensemble)
    with pytest.raises(ValueError, match=r"needs the timeline of a flight"):
        function(ensemble.drop_vars(["time", "height"]).isel(flight=0))


@pytest.mark.parametrize("function", [*OF_ENSEMBLE, plot.plot_ensemble], ids=lambda f: f.__name__)
def test_ensemble_figure__refuses_a_flight(function, flight):
    with pytest.raises(ValueError, match=r"takes an ensemble \(dim flight\)"):
        function(flight)


def test_fan__needs_tracks(demo_mission):
    bare = ensemble_by_hand(demo_mission, np.eye(4)[:, :2], points=0)
    with pytest.raises(ValueError, match="record.track_points above 0"):
        plot.plot_fan(bare)


def test_overview__says_in_a_panel_what_is_missing(demo_mission):
    bare = ensemble_by_hand(demo_mission, np.random.default_rng(1).normal(size=(5, 2)), points=0)
    texts = [t.get_text() for ax in plot.plot_ensemble(bare).axes for t in ax.texts]
    assert any("record.track_points" in " ".join(t.split()) for t in texts)


def test_fins__needs_control_fins(flight):
    with pytest.raises(ValueError, match="needs control fins"):
        plot.plot_fins(flight.isel(fin=slice(0, 0)))


def test_margin__needs_airspeed(flight):
    with pytest.raises(ValueError, match="faster than 5 m/s"):
        plot.plot_margin(flight.assign(airspeed=0.0 * flight["airspeed"]))


def test_margin__leaves_out_the_rest_of_the_flight(flight):
    line = plot.plot_margin(flight).lines[0]
    assert line.get_xdata().min() > 0.1 and line.get_xdata().max() == 10.0  # held until 0.1 s, apogee at 10 s


def test_histogram__angles_in_degrees_and_failed_flights_left_out(ensemble):
    ds = ensemble.copy(deep=True)
    ds["incidence_max"].values[:] = np.radians(np.linspace(1.0, 5.0, 30))
    ds["status"].values[0] = Status.DIVERGED
    ax = plot.plot_histogram(ds, "incidence_max")
    assert ax.get_xlabel().endswith("(deg)") and ax.get_ylabel() == "flights (1 without a value)"
    assert sum(bar.get_height() for bar in ax.patches) == 29
    marks = [line.get_xdata()[0] for line in ax.lines]
    kept = np.linspace(1.0, 5.0, 30)[1:]
    assert marks == pytest.approx(np.quantile(kept, (0.05, 0.5, 0.95)), rel=1e-9)


def test_histogram__one_value_only(ensemble):
    ax = plot.plot_histogram(ensemble.assign(apogee_height=0.0 * ensemble["apogee_height"]), "apogee_height")
    assert [bar.get_height() for bar in ax.patches] == [30]


@pytest.mark.parametrize(
    ("name", "words"), [("apogee_heights", "did you mean 'apogee_height'"), ("event_time", "one number per flight"), ("bad", "no flight with")]
)
def test_histogram__says_what_is_wrong(ensemble, name, words):
    ds = ensemble.assign(bad=np.nan * ensemble["apogee_height"])
    with pytest.raises(ValueError, match=words):
        plot.plot_histogram(ds, name)


def test_landing__counts_flights_without_a_place_and_keeps_equal_scales(ensemble):
    ds = ensemble.copy(deep=True)
    ds["landing_east"].values[0] = np.nan
    ax = plot.plot_landing(ds)
    assert ax.get_aspect() == 1.0
    assert [t.get_text() for t in ax.texts] == ["1 flight without a landing place"]
    assert len(ax.lines[0].get_xdata()) == 29


def test_track__labels_every_event_or_its_group(flight):
    text = " ".join(t.get_text() for t in plot.plot_track(flight).texts)
    for name in ("liftoff", "apogee", "landing", "deployment main"):
        assert name in text
    assert plot.plot_track(flight).get_aspect() == 1.0


def test_label__long_name_and_unit(flight):
    assert label(flight["height"]) == "height above ground (m)"
    assert label(flight["roll"]) == "roll angle (deg)" and label(flight["roll"], degrees=False) == "roll angle (rad)"
    assert label(flight["mach"]) == "Mach number"
    assert shown(flight["tilt_pitch"])[-1] == pytest.approx(np.degrees(0.1), rel=1e-12)


def test_unwound__breaks_the_line_at_a_jump_of_the_angle():
    assert np.isnan(unwound(np.array([170.0, 179.0, -179.0, -170.0]))).tolist() == [False, False, True, False]


def test_axes_or_new__keeps_what_is_given():
    ax = Figure().subplots()
    assert axes_or_new(ax) is ax


def test_import__does_not_load_matplotlib():
    code = "import sys, sixdof.plot; print('matplotlib' in sys.modules, 'plot_fan' in dir(sixdof.plot))"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.split() == ["False", "True"]


def test_plot__unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="plot_nothing"):
        plot.plot_nothing

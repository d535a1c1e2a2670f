"""Figures of how sure numbers are: what is drawn is what the statistics say, in the units that the labels name."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from results_by_hand import ensemble_by_hand

from sixdof.plot.style import CYCLE
from sixdof.plot.uncertainty.statistics import plot_convergence, plot_quantiles
from sixdof.results.status import Status
from sixdof.study.uncertainty.statistics import mean_interval, quantile_interval

FLIGHTS = 120
BOTH = [plot_convergence, plot_quantiles]


@pytest.fixture(autouse=True)
def unchanged():
    before = dict(plt.rcParams)
    yield
    assert dict(plt.rcParams) == before
    plt.close("all")


@pytest.fixture
def ensemble(demo_mission):
    ds = ensemble_by_hand(demo_mission, np.zeros((FLIGHTS, 2)), points=0)
    rng = np.random.default_rng(11)
    ds["apogee_height"].values[:] = rng.normal(600.0, 30.0, FLIGHTS)
    ds["incidence_max"].values[:] = rng.normal(0.1, 0.02, FLIGHTS)  # rad
    ds["status"].values[:2] = Status.DIVERGED
    ds["apogee_height"].values[:2] = 1e9  # must not be seen
    return ds


def drawn():
    figure = Figure(layout="constrained")  # outside pyplot: nothing may be opened there
    return figure, figure.subplots()


def texts(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


@pytest.mark.parametrize("function", BOTH)
def test_figure__draws_on_given_axes(function, ensemble):
    figure, ax = drawn()
    assert function(ensemble, "apogee_height", ax=ax) is ax
    assert plt.get_fignums() == []
    figure.canvas.draw()
    assert [text.get_text() for text in ax.texts] == ["2 flights without a value"]


@pytest.mark.parametrize("function", BOTH)
def test_figure__opens_one_of_its_own_without_axes(function, ensemble):
    ax = function(ensemble, "apogee_height")
    assert isinstance(ax, Axes) and len(plt.get_fignums()) == 1
    ax.figure.canvas.draw()


def test_plot_convergence__ends_at_the_quantiles_of_all_flights(ensemble):
    _, ax = drawn()
    plot_convergence(ensemble, "apogee_height", (0.5, 0.9), confidence=0.8, ax=ax)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("flights", "apogee above ground (m)")
    assert texts(ax) == ["50 % of the flights below", "90 % of the flights below", "80 % confidence interval"]
    for line, band, q in zip(ax.lines, ax.collections, (0.5, 0.9), strict=False):
        estimate, low, high = quantile_interval(ensemble["apogee_height"].values[2:], q, 0.8)
        assert (line.get_xdata()[-1], line.get_ydata()[-1]) == (FLIGHTS - 2, estimate)
        corners = band.get_paths()[0].vertices
        assert sorted(set(corners[corners[:, 0] == FLIGHTS - 2, 1])) == sorted({low, high})
    assert [to_hex(line.get_color()) for line in ax.lines[:2]] == list(CYCLE[:2])
    assert ax.lines[0].get_linestyle() != ax.lines[1].get_linestyle()


def test_plot_convergence__band_begins_where_both_ends_are_bounded(ensemble):
    _, ax = drawn()
    plot_convergence(ensemble, "apogee_height", 0.5, ax=ax)
    # 0.5^4 is above 5 % and 0.5^5 below: the smallest and the largest of five bound the median with 90 %
    assert ax.collections[0].get_paths()[0].vertices[:, 0].min() == 5.0


def test_plot_convergence__mean_of_an_angle_in_degrees(ensemble):
    _, ax = drawn()
    plot_convergence(ensemble, "incidence_max", None, ax=ax)
    assert "(deg)" in ax.get_ylabel() and texts(ax)[0] == "mean"
    mean = mean_interval(ensemble["incidence_max"].values[2:]).estimate
    assert ax.lines[0].get_ydata()[-1] == pytest.approx(np.degrees(mean), rel=1e-12)


def test_plot_quantiles__draws_distribution_and_intervals(ensemble):
    figure, ax = drawn()
    plot_quantiles(ensemble, "incidence_max", (0.01, 0.5), ax=ax)
    assert "(deg)" in ax.get_xlabel() and ax.get_ylabel() == "share of the flights at or below (%)"
    assert texts(ax) == [f"share of {FLIGHTS - 2} flights", "90 % confidence interval at each value", "quantiles 1, 50 % and their confidence intervals"]
    values = np.sort(np.degrees(ensemble["incidence_max"].values[2:]))
    step = ax.lines[0]
    assert step.get_xdata() == pytest.approx(np.r_[values[0], values], rel=1e-12)
    assert step.get_ydata() == pytest.approx(100.0 * np.arange(FLIGHTS - 1) / (FLIGHTS - 2))
    bars = ax.containers[0].lines[2][0].get_segments()
    found = quantile_interval(values, np.array([0.01, 0.5]))
    assert bars[1][:, 0] == pytest.approx([found.low[1], found.high[1]], rel=1e-12)
    assert found.low[0] == -np.inf and bars[0][0, 0] < ax.get_xlim()[0] < values[0]  # runs out of the axes
    figure.canvas.draw()


def test_plot_quantiles__of_equal_values_and_of_one_flight(ensemble):
    for ds in (ensemble.isel(flight=[5]), ensemble.assign(apogee_height=0.0 * ensemble["apogee_height"] + 7.0)):
        figure, ax = drawn()
        plot_quantiles(ds, "apogee_height", ax=ax)
        plot_convergence(ds, "apogee_height", ax=figure.add_subplot())
        figure.canvas.draw()


@pytest.mark.parametrize("function", BOTH)
def test_figure__says_what_is_wrong(function, ensemble):
    with pytest.raises(ValueError, match="takes an ensemble"):
        function(ensemble.isel(flight=3), "apogee_height")
    with pytest.raises(ValueError, match="did you mean 'apogee_height'"):
        function(ensemble, "apogee_heigth")
    with pytest.raises(ValueError, match="takes one number per flight"):
        function(ensemble, "event_time")
    with pytest.raises(ValueError, match="no flight with a value|needs at least one flight with a value"):
        function(ensemble.isel(flight=[0, 1]), "apogee_height")
    assert plt.get_fignums() == []

"""Tornado and scatter matrix: what is drawn is what was computed, labels with units, clear sentences for bad input."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
import xarray as xr
from scipy.stats import spearmanr

from sixdof.plot.uncertainty.sensitivity import plot_scatter_matrix, plot_tornado
from sixdof.results.status import Status
from sixdof.study.uncertainty.sensitivity import swings


@pytest.fixture
def ds():
    """200 flights: an apogee in m that rises with impulse and falls with drag, an incidence in rad, a wind direction."""
    rng = np.random.default_rng(1)
    n = 200
    impulse, drag, blows_from = rng.normal(1.0, 0.02, n), rng.normal(1.0, 0.05, n), rng.normal(4.7, 0.3, n)
    apogee = 600.0 + 2000.0 * (impulse - 1.0) - 300.0 * (drag - 1.0) + rng.normal(0.0, 3.0, n)
    return xr.Dataset(
        {
            "motor_impulse": ("flight", impulse, {"role": "factor", "units": "1"}),
            "aero_drag": ("flight", drag, {"role": "factor", "units": "1"}),
            "wind_blows_from": ("flight", blows_from, {"role": "value", "units": "rad"}),
            "servo_speed": ("flight", np.ones(n), {"role": "factor", "units": "1"}),
            "apogee_height": ("flight", apogee, {"units": "m", "long_name": "apogee above ground"}),
            "incidence_max": ("flight", 0.1 + np.cos(blows_from) ** 2, {"units": "rad", "long_name": "largest incidence"}),
            "status": ("flight", np.zeros(n, dtype=np.int8)),
            "branch": ("flight", np.where(np.arange(n) % 4, "nominal", "no main")),
        }
    )


@pytest.fixture(autouse=True)
def close():
    yield
    plt.close("all")


def test_tornado__bars_are_the_swings_largest_on_top(ds):
    ax = plot_tornado(ds, "apogee_height")
    table = swings(ds, "apogee_height")
    names = [text.get_text().split(",")[0] for text in ax.get_yticklabels()]
    assert names == list(table["input"].values) == ["motor_impulse", "aero_drag", "wind_blows_from"]
    assert ax.get_ylim()[0] > ax.get_ylim()[1]  # row 0 on top
    widths = {(round(bar.get_y() + 0.5 * bar.get_height()), round(bar.get_width(), 9)) for bar in ax.patches}
    assert widths == {(k, round(float(table[end][k]), 9)) for k in range(3) for end in ("at_low", "at_high")}
    assert ax.get_xlabel() == "change of apogee above ground (m)"
    assert f"mean {float(ds['apogee_height'].mean()):.4g} m" in ax.get_title(loc="left") and "200 flights" in ax.get_title(loc="left")


def test_tornado__angles_in_degrees_and_few_bars(ds):
    figure, ax = plt.subplots()
    assert plot_tornado(ds, "incidence_max", ax, most=1) is ax
    bar = max(bar.get_width() for bar in ax.patches)
    assert bar == pytest.approx(np.degrees(float(swings(ds, "incidence_max")["at_high"][0])))
    label = ax.get_yticklabels()[0].get_text()
    low, high = np.degrees(np.quantile(ds["wind_blows_from"], [0.05, 0.95]))
    assert label == f"wind_blows_from, {low:.3g} to {high:.3g} deg"
    assert ax.get_xlabel() == "change of largest incidence (deg)" and "2 smaller omitted" in ax.get_title(loc="left")
    colours = {bar.get_facecolor() for bar in ax.patches}
    assert len(colours) == 1  # a direction has no lower and upper end
    assert figure.axes == [ax]


def test_scatter_matrix__panels_show_each_against_each(ds):
    axes = plot_scatter_matrix(ds, ["apogee_height", "incidence_max"], ["motor_impulse"])
    assert axes.shape == (3, 3)
    points = axes[2, 1].lines[0]
    np.testing.assert_array_equal(points.get_xdata(), np.degrees(ds["incidence_max"].values))
    np.testing.assert_array_equal(points.get_ydata(), ds["motor_impulse"].values)
    assert sum(bar.get_height() for bar in axes[1, 1].patches) == 200
    expected = spearmanr(ds["apogee_height"], ds["motor_impulse"]).statistic
    assert axes[0, 2].texts[0].get_text() == f"{expected:+.2f}"
    assert [ax.get_xlabel().replace("\n", " ") for ax in axes[2]] == ["apogee height (m)", "incidence max (deg)", "motor impulse"]
    assert axes[2, 0].get_xlim() == axes[0, 0].get_xlim()


def test_scatter_matrix__takes_the_drivers_where_no_inputs_are_named(ds):
    axes = plot_scatter_matrix(ds, "apogee_height")
    assert axes.shape == (4, 4)
    assert axes[3, 1].get_xlabel().replace("\n", " ") == "motor impulse"


@pytest.mark.parametrize("by", ["status", "branch"])
def test_scatter_matrix__colours_by_status_or_branch(ds, by):
    ds["status"].values[:30] = Status.OUT_OF_TIME
    ds["status"].values[30:40] = Status.DIVERGED
    ds["apogee_height"].values[30:40] = 1e9  # means nothing: must not stretch the axes
    axes = plot_scatter_matrix(ds, ["apogee_height"], ["motor_impulse"], by=by)
    texts = [text.get_text() for text in axes[0, 0].figure.legends[0].get_texts()]
    expected = {"status": ["landed, 160 flights", "out of time, 30 flights", "diverged, 10 flights"], "branch": ["nominal, 150 flights", "no main, 50 flights"]}
    assert texts == expected[by]
    assert len({line.get_color() for line in axes[1, 0].lines}) == len(texts)
    assert axes[1, 0].get_xlim()[1] < 1000.0
    # of stacked histograms each group has its own height: together all flights with an apogee
    assert sum(bar.get_height() for bar in axes[0, 0].patches) == 190


def test_figures__leave_global_settings_alone(ds):
    before = dict(plt.rcParams)
    plot_tornado(ds, "apogee_height")
    plot_scatter_matrix(ds, ["apogee_height"], ["aero_drag"])
    assert dict(plt.rcParams) == before


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda ds: plot_tornado(ds, "apogee_hight"), "did you mean 'apogee_height'"),
        (lambda ds: plot_tornado(ds.isel(flight=0), "apogee_height"), "takes an ensemble"),
        (lambda ds: plot_tornado(ds, "apogee_height", most=0), "most = 0 must be 1 or more"),
        (lambda ds: plot_scatter_matrix(ds, ["apogee_height"], ["servo_speed"]), "'servo_speed' is not an input that varies here; use some"),
        (lambda ds: plot_scatter_matrix(ds, ["apogee_height"], []), "2 to 10 outcomes and inputs together, and was given 1"),
        (lambda ds: plot_scatter_matrix(ds, ["apogee_height"], by="colour"), 'must be "status" or "branch"'),
        (lambda ds: plot_scatter_matrix(ds, []), "needs an outcome"),
    ],
)
def test_figures__say_what_is_wrong(ds, call, words):
    with pytest.raises(ValueError, match=words):
        call(ds)

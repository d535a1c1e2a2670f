"""Figures of robustness: what is drawn is what the Datasets say."""

from __future__ import annotations

import math

import matplotlib.pyplot as plt
import numpy as np
import pytest
import xarray as xr
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from sixdof.plot import plot_gain_map, plot_margin_spread
from sixdof.plot.style import CYCLE
from sixdof.study.uncertainty.margin_spread import margin_spread


@pytest.fixture(autouse=True)
def unchanged():
    before = dict(plt.rcParams)
    yield
    assert dict(plt.rcParams) == before
    plt.close("all")


@pytest.fixture(scope="module")
def spread(demo_mission):
    return margin_spread(demo_mission, 7, seed=1, points=4, channels=("pitch", "yaw"), progress=False)


@pytest.fixture
def found():
    x, y = np.array([0.1, 0.2, 0.4, 0.8]), np.array([0.01, 0.02, 0.03])
    gain = 12.0 - 10.0 * x[:, None] + 0.0 * y
    stable = np.ones(gain.shape, dtype=bool)
    stable[3, 2] = False
    rms = np.where(stable, np.radians(1.0) + 0.05 * x[:, None] * np.ones(3), math.radians(90.0))
    dims = ("pitch_p", "pitch_d")
    return xr.Dataset(
        {
            "gain_margin_db": (dims, gain),
            "gain_reduction_db": (dims, np.full(gain.shape, np.inf)),
            "phase_margin": (dims, np.radians(10.0 * gain)),
            "distance": (dims, gain / 20.0, {"long_name": "distance"}),
            "stable": (dims, stable),
            "error_rms": (dims, rms, {"units": "rad", "long_name": "error"}),
            "status": (dims, np.zeros(gain.shape, int)),
        },
        {
            "pitch_p": ("pitch_p", x, {"long_name": "pitch p", "designed": 0.35}),
            "pitch_d": ("pitch_d", y, {"long_name": "pitch d", "units": "s", "designed": 0.02}),
        },
    )


def lines(ax):
    return {line.get_label(): line for line in ax.get_lines()}


def test_spread__median_band_requirement_and_worst(spread):
    axes = plot_margin_spread(spread, "yaw", worst=2)
    one = spread.sel(channel="yaw")
    gain = np.fmin(one["gain_margin_db"].values, one["gain_reduction_db"].values)
    drawn = lines(axes[0])
    x, y = drawn["median"].get_data()
    k = 30
    at = np.sort([np.interp(x[k], t, g) for t, g in zip(one["time"].values, gain)])
    assert y[k] == pytest.approx(at[3], abs=1e-9)  # the middle one of seven
    assert drawn["required: 6 dB"].get_ydata()[0] == 6.0 and lines(axes[1])["required: 45 deg"].get_ydata()[0] == pytest.approx(45.0)
    first = int(np.argmin(one["distance"].min("point").values))
    np.testing.assert_allclose(drawn[f"flight {first}"].get_ydata(), np.minimum(gain[first], 30.0))
    np.testing.assert_allclose(lines(axes[1])[f"flight {first}"].get_ydata(), np.degrees(one["phase_margin"].values[first]))
    assert to_hex(drawn[f"flight {first}"].get_color()) == CYCLE[1] and "time" in axes[0].get_xlabel()
    axes[0].figure.canvas.draw()


def test_spread__given_axes_mach_and_requirement(spread):
    figure = Figure(layout="constrained")
    axes = figure.subplots(1, 2)
    drawn = plot_margin_spread(spread, over="mach", gain_db=8.0, phase=0.5, worst=0, axes=axes)
    assert list(drawn) == list(axes) and plt.get_fignums() == []
    assert drawn[0].get_xlabel() == "Mach number" and "required: 8 dB" in lines(drawn[0])
    assert not [name for name in lines(drawn[0]) if name.startswith("flight")]
    figure.canvas.draw()


def test_map__colours_contours_hatching_and_own_point(found):
    axes = plot_gain_map(found)
    assert len(axes) == 2
    for ax, values in zip(axes, (found["distance"].values, np.degrees(found["error_rms"].values))):
        mesh = ax.collections[0]
        np.testing.assert_allclose(np.asarray(mesh.get_array()).reshape(3, 4), values.T)
        sound = values[found["stable"].values]
        assert mesh.get_clim() == pytest.approx((sound.min(), sound.max()))  # the unstable pair does not set the colours
        hatched = [patch for patch in ax.patches if isinstance(patch, Rectangle) and patch.get_hatch()]
        assert len(hatched) == 1 and hatched[0].contains_point(ax.transData.transform((0.8, 0.03)))
        own = lines(ax)["the mission's own"]
        assert (own.get_xdata()[0], own.get_ydata()[0]) == (0.35, 0.02)
    # 12 - 10 p = 6 at p = 0.6; 10 (12 - 10 p) = 45 at p = 0.75: margins are straight lines of p, so contours are where they should be
    places = [path.vertices[:, 0] for ax in axes for each in ax.collections[1:] for path in each.get_paths() if len(path.vertices)]
    assert {round(float(place[0]), 6) for place in places if np.ptp(place) < 1e-9} == {0.6, 0.75}
    labels = [ax.get_ylabel() for ax in axes[0].figure.axes]
    assert "error (deg)\nbright is good: less" in labels and "distance\nbright is good: more" in labels
    assert axes[0].collections[0].get_cmap()(1.0) == axes[1].collections[0].get_cmap()(0.0)  # one sense for good
    axes[0].figure.canvas.draw()


def test_map__a_few_outliers_do_not_set_the_colours():
    x = np.linspace(0.1, 1.0, 7)
    error = np.radians(np.linspace(1.0, 2.0, 49).reshape(7, 7))
    error[6, 6] = np.radians(60.0)  # 1 of 49: above the 95 % quantile
    dims, ample = ("a", "b"), np.full((7, 7), 50.0)
    entries = {
        "gain_margin_db": (dims, ample),
        "gain_reduction_db": (dims, ample),
        "phase_margin": (dims, np.full((7, 7), 1.0)),
        "stable": (dims, np.ones((7, 7), bool)),
        "error_rms": (dims, error, {"units": "rad"}),
    }
    ax = plot_gain_map(xr.Dataset(entries, {"a": x, "b": x}))[0]
    low, high = ax.collections[0].get_clim()
    assert low == pytest.approx(1.0) and 1.9 < high < 2.0
    assert not ax.patches and "the mission's own" not in lines(ax)


def test_map__order_of_values_does_not_matter(found):
    a, b = plot_gain_map(found, "distance")[0], plot_gain_map(found.isel(pitch_p=[2, 0, 3, 1]), "distance")[0]
    np.testing.assert_array_equal(a.collections[0].get_array(), b.collections[0].get_array())


def test_figures__refuse(spread, found):
    for options, said in (({"channel": "roll"}, "channel = "), ({"over": "height"}, "over = "), ({"gain_db": -1.0}, "gain_db"), ({"axes": [None]}, "needs 2")):
        with pytest.raises(ValueError, match=said):
            plot_margin_spread(spread, **options)
    with pytest.raises(ValueError, match="loops.margin_spread"):
        plot_margin_spread(found)
    with pytest.raises(ValueError, match="finds no flight"):
        plot_margin_spread(spread.assign(distance=spread["distance"] * np.nan))
    for options, said in (({"variables": ["error"]}, "variables has"), ({"phase": 45.0}, "phase = 45"), ({"variables": []}, "at least one")):
        with pytest.raises(ValueError, match=said):
            plot_gain_map(found, **options)
    with pytest.raises(ValueError, match="two values"):
        plot_gain_map(found.isel(pitch_p=[0]), "distance")

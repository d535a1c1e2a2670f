"""Figures of limit cycles: what is drawn is what the studies found."""

from __future__ import annotations

import math

import matplotlib.pyplot as plt
import numpy as np
import pytest
from plain_gains import waypoints

from sixdof.plot import plot_describing, plot_limit_cycle, plot_limit_cycles
from sixdof.study.loops.frozen import simulate_frozen
from sixdof.study.loops.limit_cycle import limit_cycle_curves, limit_cycles
from sixdof.study.loops.linear import linearise


@pytest.fixture(scope="module")
def models(demo_path):
    return linearise(waypoints(demo_path.parent), at=[7.0])


@pytest.fixture(scope="module")
def studied(models):
    """The simulated channel, the predicted cycles and the curves of backlash and dead band."""
    return simulate_frozen(models, start=0.01, duration=12.0), limit_cycles(models), limit_cycle_curves(models)


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def lines(ax):
    return {line.get_label(): line for line in ax.lines if not line.get_label().startswith("_")}


def test_plot_limit_cycle__lines_and_bands(studied):
    flown, cycles, _ = studied
    ax = plot_limit_cycle(flown, cycles)
    drawn = lines(ax)
    assert set(drawn) == {"command", "fin", "attitude"}
    count = drawn["attitude"].get_xdata().size
    assert np.array_equal(drawn["attitude"].get_ydata(), np.degrees(flown["angle"].values[-count:]))
    together = cycles.where((cycles["imperfection"] == "all") & cycles["stable"], drop=True)
    one = together.isel(cycle=int(together["fin_amplitude"].values.argmax()))
    # eight periods of the cycle that is shown, to a tick
    assert np.ptp(drawn["fin"].get_xdata()) == pytest.approx(8.0 / float(one["frequency"]), abs=0.011)
    edges = sorted(line.get_ydata()[0] for line in ax.lines if line.get_linestyle() == "--")
    sizes = [math.degrees(float(one[name])) for name in ("fin_amplitude", "attitude_amplitude")]
    assert edges[-1] - edges[0] == pytest.approx(2.0 * max(sizes), rel=0.5)  # about means that are not quite the same
    assert "all together" in ax.get_title(loc="left")


def test_plot_limit_cycle__a_cycle_by_number_and_none(studied):
    flown, cycles, _ = studied
    assert "backlash" in plot_limit_cycle(flown, cycles, cycle=1).get_title(loc="left")
    ax = plot_limit_cycle(flown)
    assert lines(ax)["fin"].get_xdata().size == flown.sizes["time"] and "no limit cycle" in ax.get_title(loc="left")
    assert "no limit cycle" in plot_limit_cycle(flown, cycles.isel(cycle=slice(0, 0))).get_title(loc="left")
    with pytest.raises(ValueError, match="cycle = 99"):
        plot_limit_cycle(flown, cycles, cycle=99)
    with pytest.raises(ValueError, match="simulate_frozen"):
        plot_limit_cycle(cycles)


def test_plot_describing__marks_lie_on_the_loop_and_on_a_curve(studied):
    _, cycles, curves = studied
    ax = plot_describing(curves, cycles)
    assert "-1/N, backlash" in lines(ax) and "-1/N, dead band, between levels" in lines(ax)
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    assert len(marks) == cycles.sizes["cycle"]
    curve = lines(ax)["-1/N, backlash"]
    at = [float(values[0]) for values in marks[1].get_data()]  # the stable cycle of backlash
    off = np.hypot(curve.get_xdata() - at[0], curve.get_ydata() - at[1])
    assert np.nanmin(off) < 0.5  # deg and dB: half the distance of two points of the curve
    assert [line.get_markerfacecolor() == "white" for line in marks] == (~cycles["stable"].values).tolist()
    with pytest.raises(ValueError, match="limit_cycle_curves"):
        plot_describing(cycles)


def test_plot_limit_cycles__both(studied):
    figure = plot_limit_cycles(*studied)
    assert len(figure.axes) == 2 and "Thistledown" in figure.get_suptitle()
    figure.canvas.draw()

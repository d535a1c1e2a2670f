"""Figures of an ensemble's causes and times: what is drawn is what the flights hold, sorted and counted by hand."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest

from sixdof import plot


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def test_static_margins__in_the_order_of_time_with_their_quantiles(demo_ensemble):
    ds = demo_ensemble
    ax = plot.plot_static_margins(ds)
    names = [text.get_text() for text in ax.get_yticklabels()]
    assert names[-1] == "smallest in the climb" and names.index("rail departure") < names.index("burnout")
    row = names.index("burnout")
    values = ds["event_static_margin"].isel(body=0).sel(event="burnout").values
    wide = next(one for one in ax.lines if list(one.get_ydata()) == [row, row])
    assert list(wide.get_xdata()) == pytest.approx(np.quantile(values, [0.05, 0.95]))
    assert ax.get_xlabel() == "static margin (calibres)"


def test_rule_times__count_and_quantiles(demo_ensemble):
    ds = demo_ensemble.copy(deep=True)
    first = str(ds["rule"].values[0])
    ds["rule_fired"].values[:10, 0] = np.nan
    ax = plot.plot_rule_times(ds)
    names = [text.get_text() for text in ax.get_yticklabels()]
    assert f"{first}, 30 of 40" in names
    row = names.index(f"{first}, 30 of 40")
    wide = next(one for one in ax.lines if list(one.get_ydata()) == [row, row])
    assert list(wide.get_xdata()) == pytest.approx(np.quantile(ds["rule_fired"].values[10:, 0], [0.05, 0.95]))


@pytest.mark.parametrize("function", [plot.plot_static_margins, plot.plot_rule_times], ids=lambda f: f.__name__)
def test_figures__refuse_a_flight(function, demo_flight):
    with pytest.raises(ValueError, match=r"takes an ensemble \(dim flight\)"):
        function(demo_flight)


def test_rule_times__without_any_rule_that_fired(demo_ensemble):
    with pytest.raises(ValueError, match="no rule that fired"):
        plot.plot_rule_times(demo_ensemble.assign(rule_fired=np.nan * demo_ensemble["rule_fired"]))

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


def test_weathercock__a_point_a_flight_and_medians_of_equal_shares(demo_ensemble):
    ds = demo_ensemble
    ax = plot.plot_weathercock(ds)
    points, medians = ax.lines[:2]
    tilt = np.degrees(ds["event_tilt"].isel(body=0).sel(event="burnout").values)
    np.testing.assert_allclose(points.get_xdata(), ds["wind_speed"].values)
    np.testing.assert_allclose(points.get_ydata(), tilt)
    order = np.argsort(ds["wind_speed"].values)[:5]  # 40 flights in 8 shares
    assert medians.get_xdata()[0] == pytest.approx(np.median(ds["wind_speed"].values[order])) and len(medians.get_xdata()) == 8
    assert medians.get_ydata()[0] == pytest.approx(np.median(tilt[order]))
    assert ax.get_ylabel() == "tilt from the vertical at burnout (deg)"


def test_weathercock__without_a_drawn_wind_takes_what_it_did_at_the_rail(demo_ensemble):
    ds = demo_ensemble.drop_vars("wind_speed")
    points = plot.plot_weathercock(ds, event="apogee").lines[0]
    np.testing.assert_allclose(points.get_xdata(), np.degrees(ds["rail_departure_incidence"].values))
    with pytest.raises(ValueError, match="event = 'lunch' must be one of liftoff"):
        plot.plot_weathercock(ds, event="lunch")


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


@pytest.mark.parametrize("function", [plot.plot_weathercock, plot.plot_static_margins, plot.plot_rule_times], ids=lambda f: f.__name__)
def test_figures__refuse_a_flight(function, demo_flight):
    with pytest.raises(ValueError, match=r"takes an ensemble \(dim flight\)"):
        function(demo_flight)


def test_rule_times__without_any_rule_that_fired(demo_ensemble):
    with pytest.raises(ValueError, match="no rule that fired"):
        plot.plot_rule_times(demo_ensemble.assign(rule_fired=np.nan * demo_ensemble["rule_fired"]))

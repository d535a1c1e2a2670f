"""Figures of separation, of every body, of what fired and of landing places: what they draw, and what they say without it."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse
from results_by_hand import staged_ensemble, staged_flight

from sixdof import plot
from sixdof.core.layout import Ending
from sixdof.results.status import Status
from sixdof.study.uncertainty.scatter import containment

OF_FLIGHT = [plot.plot_separation, plot.plot_bodies, plot.plot_timeline]


@pytest.fixture(autouse=True)
def unchanged():
    before = dict(plt.rcParams)
    yield
    assert dict(plt.rcParams) == before
    plt.close("all")


@pytest.fixture
def flight(demo_mission):
    return staged_flight(demo_mission)


@pytest.fixture
def ensemble(demo_mission):
    return staged_ensemble(demo_mission)


def lines(ax):
    return {line.get_label(): line for line in ax.lines}


def texts(ax):
    return [text.get_text() for text in ax.texts]


# ---------------------------------------------------------------- separation


def test_separation__gap_and_clearance_since_separation(flight):
    """By hand the gap opens at 4 m/s from 2.1 s on, and the clearance is a centimetre less; ignition at 3.0 s."""
    ax = Figure().subplots()
    assert plot.plot_separation(flight, ax=ax) is ax and plt.get_fignums() == []
    gap = lines(ax)["booster: gap along the axis"]
    assert gap.get_ydata() == pytest.approx(4.0 * gap.get_xdata(), abs=1e-9)
    clearance = lines(ax)["booster: clearance, smallest 0.030 m"]
    assert gap.get_ydata() - clearance.get_ydata() == pytest.approx(0.01, abs=1e-9)
    mark = next(line for line in ax.lines if line.get_linestyle() == ":")
    assert mark.get_xdata()[0] == pytest.approx(0.9, abs=1e-9) and texts(ax) == ["ignition thistledown"]
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("time since separation (s)", "gap, clearance (m), logarithmic beyond 0.1 m")


def test_separation__far_apart_is_left_out(flight):
    flight["clearance"].values[:] *= 10.0
    flight["gap"].values[:] *= 10.0
    shown = lines(plot.plot_separation(flight))["booster: gap along the axis"].get_ydata()
    assert 8.0 < shown.max() < 10.2  # up to the last row within 10 m; rows are 1.2 m apart, and the clearance 10 cm less


def test_separation__marks_where_the_pieces_touch(flight):
    flight["clearance"].values[0, 5:8] = -0.02
    found = lines(plot.plot_separation(flight))["booster: the bodies touch"]
    assert found.get_ydata().tolist() == [-0.02] * 3


def test_separation__needs_stages_that_part(flight, demo_flight):
    with pytest.raises(ValueError, match="needs stages that separate"):
        plot.plot_separation(demo_flight)
    flight["gap_time"].values[:] = np.nan
    with pytest.raises(ValueError, match="needs stages that separate"):
        plot.plot_separation(flight)


# ---------------------------------------------------------------- bodies


def test_bodies__a_path_each_and_a_mark_for_each_event(flight):
    over_time, above = plot.plot_bodies(flight)
    found = lines(over_time)
    assert found["booster"].get_xdata()[0] == 2.1 and "thistledown: loose by main" not in found
    assert np.nanmax(found["thistledown"].get_ydata()) == 300.0
    marks = {(m.get_marker(), float(m.get_xdata()[0])) for m in over_time.lines if m.get_marker() != "None" and len(m.get_xdata())}
    wanted = {("D", 2.1), ("*", 3.0), ("^", 18.0), ("^", 8.0), ("v", 18.5), ("v", 90.0), ("v", 8.3), ("x", 120.0), ("x", 50.0)}
    assert marks == wanted
    assert above.get_aspect() == 1.0 and "rail" in lines(above)
    landings = {(float(m.get_xdata()[0]), float(m.get_ydata()[0])) for m in above.lines if m.get_marker() == "x"}
    assert landings == {(360.0, 480.0), (150.0, 200.0)}


def test_bodies__on_axes_that_are_given(flight):
    axes = Figure().subplots(1, 2)
    assert plot.plot_bodies(flight, axes=axes) is axes and plt.get_fignums() == []


def test_bodies__that_never_parted_are_not_drawn_twice(flight):
    flight["separation_time"].values[:] = np.nan
    assert "booster" not in lines(plot.plot_bodies(flight)[0])


def test_bodies__of_one_stage(demo_flight):
    found = lines(plot.plot_bodies(demo_flight)[0])
    assert found["thistledown"].get_ydata() == pytest.approx(demo_flight["height"].values, abs=1e-12)


# ---------------------------------------------------------------- timeline


def test_timeline__a_row_for_each_event_and_rule(flight):
    ax = plot.plot_timeline(flight)
    rows = [text.get_text() for text in ax.get_yticklabels()]
    assert rows[:4] == ["liftoff", "rail departure", "burnout", "separation booster"]
    assert set(flight["rule"].values) <= set(rows) and rows.count("apogee") == 1
    assert "8.00" in texts(ax) and "18.00" in texts(ax)  # of booster and front stage, in one row
    assert texts(ax).count("2.10") == 1  # of the past they share once
    low, high = ax.get_xlim()
    assert low == 0.0 and high > 120.0


def test_timeline__says_what_rules_did(flight):
    """One rule waits in vain to the end, one gives up; hollow where another had done it before."""
    flight["rule_fired"].loc[{"rule": ["fins on", "second fire"]}] = np.nan
    flight["rule_given_up"].loc[{"rule": "second fire"}] = 4.25
    ax = plot.plot_timeline(flight)
    assert "never fired" in texts(ax) and "4.25" in texts(ax)
    rows = [text.get_text() for text in ax.get_yticklabels()]
    hollow = {rows[int(m.get_ydata()[0])] for m in ax.lines if len(m.get_xdata()) == 1 and m.get_markerfacecolor() == "white"}
    assert hollow == {"deploy drogue: backup", "deploy booster canopy: backup"}
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert {"thistledown", "booster", "rule: already done", "rule: gave up"} <= set(legend)


def test_timeline__rules_that_were_never_armed_have_no_row(flight):
    flight["rule_armed"].loc[{"rule": "second fire"}] = flight["rule_fired"].loc[{"rule": "second fire"}] = np.nan
    assert "second fire" not in [text.get_text() for text in plot.plot_timeline(flight).get_yticklabels()]


def test_timeline__nothing_to_show(flight):
    for name in ("event_time", "rule_armed", "rule_fired"):
        flight[name].values[:] = np.nan
    with pytest.raises(ValueError, match="no event came"):
        plot.plot_timeline(flight)


@pytest.mark.parametrize("function", OF_FLIGHT, ids=lambda f: f.__name__)
def test_flight_figures__refuse_an_ensemble(function, ensemble):
    with pytest.raises(ValueError, match="takes one flight and this is an ensemble of 20"):
        function(ensemble)


# ---------------------------------------------------------------- landing places


def test_landings__places_and_ellipse_of_every_body(ensemble):
    ensemble["separation_time"].values[15:] = np.nan  # those boosters lie where the front stage lies: not theirs
    ax = plot.plot_landings(ensemble)
    found = lines(ax)
    assert len(found["thistledown: 20 of 20 down"].get_xdata()) == 20
    booster = found["booster: 15 of 15 down"]
    assert booster.get_xdata().tolist() == ensemble["body_landing_east"].sel(body="booster").values[:15].tolist()
    own = ensemble.sel(body="booster").isel(flight=slice(0, 15))
    e = containment(own, 0.95, x="body_landing_east", y="body_landing_north")
    drawn = [p for p in ax.patches if isinstance(p, Ellipse)]
    assert len(drawn) == 2 and ax.get_aspect() == 1.0
    assert (drawn[1].width, drawn[1].height) == pytest.approx((2.0 * float(e.semi_major), 2.0 * float(e.semi_minor)), rel=1e-12)


def test_landings__few_have_no_ellipse_and_failed_ones_no_place(ensemble):
    ensemble["body_status"].loc[{"body": "thistledown: loose by main", "flight": [3, 4]}] = Ending.LANDED
    ensemble["status"].values[0] = Status.DIVERGED
    ensemble["body_landing_east"].loc[{"body": "booster", "flight": 7}] = np.nan
    for way in ("east", "north"):
        ensemble[f"body_landing_{way}"].loc[{"body": "thistledown: loose by main", "flight": [3, 4]}] = 50.0
    ax = plot.plot_landings(ensemble)
    assert {"thistledown: 19 of 19 down", "booster: 18 of 19 down", "thistledown: loose by main: 2 of 2 down"} <= set(lines(ax))
    assert sum(isinstance(p, Ellipse) for p in ax.patches) == 2


def test_landings__need_an_ensemble_that_came_down(ensemble, flight):
    with pytest.raises(ValueError, match="takes an ensemble"):
        plot.plot_landings(flight)
    ensemble["body_landing_east"].values[:] = np.nan
    with pytest.raises(ValueError, match="at least one flight that came down"):
        plot.plot_landings(ensemble)
    with pytest.raises(ValueError, match="share = 1.5"):
        plot.plot_landings(ensemble.assign(body_landing_east=ensemble["body_landing_north"] * 2.0), share=1.5)


def test_real_flight__every_figure(demo_flight, demo_ensemble):
    for ax in (plot.plot_timeline(demo_flight), plot.plot_bodies(demo_flight)[0], plot.plot_landings(demo_ensemble)):
        ax.figure.canvas.draw()

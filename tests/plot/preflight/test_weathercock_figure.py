"""The page of figures of the turn into the wind: what its panels show is what the study found."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from figure_checks import complaints

import sixdof
from sixdof import plot


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def found(demo_mission):
    asked = "lean at burnout < 3 deg in 75 % of flights"
    return sixdof.preflight.weathercock(demo_mission, asked, 4, winds=[0.0, 8.0], maps=False, cures=False, threads=1, progress=False)


def axes_of(figure, title):
    return next(ax for ax in figure.axes if ax.get_title(loc="left").startswith(title))


def test_page__holds_what_every_figure_must(found):
    assert complaints(plot.plot_weathercock(found)) == []


def test_over_wind__means_of_the_flights_and_the_theory(found):
    ax = axes_of(plot.plot_weathercock(found), "turn into the wind")
    lines = {line.get_label(): line.get_ydata() for line in ax.lines}
    own = np.degrees(found.turn.sel(fins="locked", event="burnout").mean("flight"))
    np.testing.assert_allclose(lines["fins locked"], own)
    np.testing.assert_allclose(lines["wind triangle"], np.degrees(found.triangle))


def test_causes__bars_add_up_to_the_turn(found):
    ax = axes_of(plot.plot_weathercock(found), "what causes it")
    widths = [bar.get_width() for bar in ax.patches][: found.sizes["cause"] + 1]
    assert sum(widths[:-1]) == pytest.approx(widths[-1], abs=1e-9)


def test_panels__without_numbers_say_why(found):
    texts = {text.get_text() for ax in plot.plot_weathercock(found, panels=[["thrust", "margin", "cures"]]).axes for text in ax.texts}
    assert any("maps" in text for text in texts) and any("cure" in text for text in texts)


def test_page__has_no_empty_panels_for_what_was_not_flown(found):
    figure = plot.plot_weathercock(found)
    assert len(figure.axes) == 5 and all(ax.has_data() for ax in figure.axes)


def test_page__of_something_else(demo_flight):
    with pytest.raises(ValueError, match="plot_weathercock needs the result of sixdof.preflight.weathercock and finds no turn"):
        plot.plot_weathercock(demo_flight)


def test_panels__are_those_asked_for(found):
    figure = plot.plot_weathercock(found, panels=[["wind", "causes"], ["events", "cures"]])
    titles = [ax.get_title(loc="left") for ax in figure.axes if ax.get_title(loc="left")]
    assert len(figure.axes) == 4 and titles[0].startswith("turn into the wind") and any("causes" in title for title in titles)
    assert figure.get_size_inches()[0] < 10.0
    for wrong in ([["wind", "nonsense"]], [["wind"], ["events", "cures"]], []):
        with pytest.raises(ValueError, match="panels must be rows, equally long, of wind, events"):
            plot.plot_weathercock(found, panels=wrong)

"""What is said of wind limits: a wind measured now, the pages, the rail that is taken; on tables made by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.variants.criteria import criterion
from sixdof.study.wind_limit.allowed import compass, wind_allowed
from sixdof.study.wind_limit.first_failure import Flown
from sixdof.study.wind_limit.rail_for_wind import rail_for_wind
from sixdof.study.wind_limit.ranks import Judged
from sixdof.study.wind_limit.search import close_in
from sixdof.study.wind_limit.table import limits_of
from sixdof.study.wind_limit.wind_limit import wind_limit

CRITERIA = ["rail_departure_incidence < 12 deg in 80 % of flights", "tilt_max < 9 deg in 80 % of flights"]
SAID = {
    "title": "Invented",
    "flights": 10,
    "seed": "0",
    "confidence": 0.9,
    "highest": 8.0,
    "turbulence": "grows",
    "reference_height": 10.0,
    "share_at_2_m": 0.77,
    "level_by_level": 0,
    "wind_speed": 4.0,
    "wind_blows_from": math.radians(100.0),
    "rail_elevation": math.radians(86.0),
    "rail_azimuth": math.radians(75.0),
    "criteria_source": "given",
    "time_above_mach_08": 0.0,
    "time_beyond_incidence": 0.0,
}
NEED = np.array([[6, 8, 10], [6, 8, 10]])


def flown_by_hand(*rows):
    """Flights of one direction: (wind, flights that hold criterion 1, criterion 2); slack in flights, as of flags."""
    one = Flown(NEED, 10)
    for wind, *holding in rows:
        slack = np.array([[count - need + 0.5 for need in needs] for count, needs in zip(holding, NEED, strict=True)])
        one.add(wind, Judged(np.array(holding), slack, np.full(2, math.nan)))
    return one


def by_hand(*flown, degrees, **said):
    return limits_of(flown, np.radians(degrees), [criterion(text) for text in CRITERIA]).assign_attrs(SAID | said)


FALLS = ((0.0, 10, 10), (4.0, 10, 9), (8.0, 2, 9))  # criterion 1 fails between 4 and 8 m/s
NEVER = ((0.0, 10, 5), (4.0, 10, 4), (8.0, 10, 3))
ALWAYS = ((0.0, 10, 10), (4.0, 10, 10), (8.0, 10, 10))
AGAIN = ((0.0, 10, 10), (4.0, 10, 6), (8.0, 10, 9))


def flat(ds):
    return " ".join(str(sixdof.report(ds)).split())


# ---------------------------------------------------------------- the table


def test_limits_of__each_kind_and_each_criterion_alone():
    ds = by_hand(flown_by_hand(*FALLS), flown_by_hand(*NEVER), flown_by_hand(*ALWAYS), degrees=[90.0, 135.0, 180.0])
    assert ds.limit_kind.values.tolist() == [0, 1, 2] and ds.binds.values.tolist() == [0, 1, -1]
    assert ds.limit.values.tolist() == pytest.approx([4.0 + 4.0 * 2.5 / 8.0, 0.0, 8.0])  # linear in flights: 2.5 above, 5.5 below the half between
    assert ds.criterion_limit.values[:, 0].tolist() == [ds.limit.values[0], math.inf, math.inf]
    assert math.isinf(ds.limit_high.values[2]) and ds.limit_low.values[2] == 8.0
    assert ds.resolution.values.tolist() == [4.0, 0.0, 0.0]
    assert ds.share.values[0, :, 1].tolist() == [1.0, 0.9, 0.9]


# ---------------------------------------------------------------- a wind measured now


def test_wind_allowed__the_lower_of_two_neighbours():
    ds = by_hand(flown_by_hand(*FALLS), flown_by_hand(*ALWAYS), degrees=[90.0, 135.0])
    between, on = wind_allowed(ds, "120 deg"), wind_allowed(ds, "135 deg")
    assert (between.limit, between.at_least, between.criterion) == (float(ds.limit[0]), False, CRITERIA[0])
    assert (on.limit, on.at_least, on.criterion) == (8.0, True, "")


def test_wind_allowed__across_north():
    ds = by_hand(flown_by_hand(*ALWAYS), flown_by_hand(*FALLS), degrees=[10.0, 340.0])
    assert wind_allowed(ds, "355 deg").limit == float(ds.limit[1]) and wind_allowed(ds, "370 deg").limit == 8.0


@pytest.mark.parametrize(("blows_from", "words"), [("200 deg", "no limits were made on both sides of 200 deg"), ("5 m", "blows_from")])
def test_wind_allowed__what_it_cannot_say(blows_from, words):
    with pytest.raises(ValueError, match=words):
        wind_allowed(by_hand(flown_by_hand(*FALLS), flown_by_hand(*ALWAYS), degrees=[90.0, 135.0]), blows_from)


def test_wind_allowed__takes_wind_limits_alone(demo_ensemble):
    with pytest.raises(ValueError, match="preflight.wind_limit"):
        wind_allowed(demo_ensemble, "90 deg")


def test_compass__sixteen_points():
    assert [compass(math.radians(angle)) for angle in (0.0, 359.0, 11.0, 12.0, 202.5, 315.0)] == ["N", "N", "N", "NNE", "SSW", "NW"]


# ---------------------------------------------------------------- the page


def test_page__table_and_what_to_make_of_it():
    text = flat(by_hand(flown_by_hand(*FALLS), flown_by_hand(*ALWAYS), degrees=[90.0, 135.0]))
    assert "E, 90 deg 5.2 11" in text and "SE, 135 deg >= 8.0 >= 17 8.0 or more none" in text
    assert "From SE, 135 deg all criteria hold up to the highest wind looked at, 8.0 m/s: a bound, not a limit." in text
    assert "The mission's own mean wind, 4.0 m/s from 100 deg, is below the limit, 5.2 m/s from E, 90 deg, but within its interval." in text
    assert "an anemometer held at 2 m reads 0.77 of it" in text and text.endswith(LAST_LINE) and "20 mph" in text


def test_page__fails_in_calm_and_holds_again():
    text = flat(by_hand(flown_by_hand(*NEVER), flown_by_hand(*AGAIN), degrees=[90.0, 135.0]))
    assert "From E, 90 deg criterion 2 fails in calm already: wind is not the reason" in text
    assert "From SE, 135 deg the criteria fail from 2.5 m/s on and hold again at 8.0 m/s" in text


def test_page__too_few_flights_says_how_many_are_enough():
    text = flat(by_hand(flown_by_hand(*FALLS), degrees=[90.0]))
    assert "too few" in text and "14 flights are enough" in text  # 0.8^14 = 0.044 is below 5 %, 0.8^13 = 0.055 is not


def test_page__where_the_model_is_weak():
    text = flat(by_hand(flown_by_hand(*FALLS), degrees=[90.0], time_above_mach_08=3.14, time_beyond_incidence=0.5, criteria_source="common practice"))
    assert "above Mach 0.8 for up to 3.1 s" in text and "beyond 15 deg of incidence for up to 0.5 s" in text and "those of common practice" in text


def test_page__one_wind_at_all_heights_is_none():
    said = "one wind at all heights, which no wind is"
    assert said in flat(by_hand(flown_by_hand(*FALLS), degrees=[90.0], share_at_2_m=1.0)) and said not in flat(by_hand(flown_by_hand(*FALLS), degrees=[90.0]))


def test_page__levels_are_scaled_together():
    text = flat(by_hand(flown_by_hand(*FALLS), flown_by_hand(*ALWAYS), degrees=[90.0, 135.0], level_by_level=1))
    assert "all levels are scaled and turned together" in text and "The sounding's or table's own mean wind, 4.0 m/s" in text


# ---------------------------------------------------------------- rails


def test_close_in__only_cases_that_are_asked_for():
    flown, asked = [flown_by_hand(*FALLS), flown_by_hand(*FALLS)], []

    def fly(points):
        asked.extend(points)
        return [Judged(np.array([9, 9]), np.full((2, 3), 0.5), np.full(2, math.nan)) for _ in points]

    close_in(fly, flown, (1,), 0.5, lambda _: [1])
    assert asked and {case for case, _ in asked} == {1}


@pytest.fixture(scope="module")
def rails(demo_mission):
    few = {"elevations": ["86 deg", "78 deg"], "flights": 8, "winds": 3, "seed": 1, "progress": False}
    return rail_for_wind(demo_mission, CRITERIA[0], directions=["255 deg", "75 deg"], **few)


def test_rail_for_wind__each_setting_is_the_limit_of_a_mission_that_says_it(demo_mission, rails):
    """The same flights with the rail written into the mission; what could not be best was read between winds of the grid."""
    for wind, up, towards, within in ((255.0, 78.0, 255.0, 0.25), (75.0, 86.0, 75.0, 0.7)):
        leaning = demo_mission.change({"rail.elevation": f"{up} deg", "rail.azimuth": f"{towards} deg"})
        alone = wind_limit(leaning, CRITERIA[0], directions=[f"{wind} deg"], flights=8, winds=3, tolerance=0.25, seed=1, progress=False)
        here = rails.limit.sel(direction=math.radians(wind), rail_elevation=math.radians(up), rail_azimuth=math.radians(towards), method="nearest")
        assert abs(float(here) - float(alone.limit[0])) <= within


def test_rail_for_wind__into_the_wind_is_best_from_either_side(demo_mission, rails):
    best = np.degrees(rails.best_azimuth.values)
    assert best.tolist() == pytest.approx([255.0, 75.0]) and (rails.gain.values > 0.0).all()
    assert float(rails.all_round_limit) >= float(rails.all_round_as_written) == pytest.approx(float(rails.limit_as_written.min()))
    least = rails.limit.min("direction")  # of each setting, from whichever side
    assert max(float(least.max()), float(rails.all_round_as_written)) - float(rails.all_round_limit) <= rails.attrs["tolerance"]
    if float(rails.all_round_elevation) != demo_mission.rail.elevation:
        assert float(least.sel(rail_elevation=rails.all_round_elevation, rail_azimuth=rails.all_round_azimuth)) == float(rails.all_round_limit)


def test_rail_for_wind__page_knows_which_criteria_are_about_the_landing(rails):
    said = "None of the criteria is about the landing"
    for text in ("landing within 600 m of the rail in 95 % of flights", "every piece lands in the field in 95 % of flights"):
        named = rails.assign_coords(criterion=[text, *rails.criterion.values[1:]])
        assert said in flat(rails) and said not in flat(named)


def test_rail_for_wind__page_says_what_is_gained(rails):
    text = flat(rails)
    assert "In a wind from WSW, 255 deg a rail 78.0 deg up towards 255 deg, into the wind, allows" in text and "more than the rail as written" in text
    assert "None of the criteria is about the landing" in text and text.endswith(LAST_LINE)


def test_rail_for_wind__says_the_setting_that_allows_most(rails):
    """The one taken turns the rail least of those within the tolerance; what the most would add is said where it can be read in m/s."""
    for k in range(rails.sizes["direction"]):
        here = rails.isel(direction=k)
        largest = max(float(here.limit.max()), float(here.limit_as_written))
        assert float(here.most_limit) == pytest.approx(largest) and float(here.most_limit) >= float(here.best_limit) >= largest - 0.25
    more = (rails.most_limit - rails.best_limit).values
    page = " ".join(str(sixdof.report(rails)).split())
    assert page.count("comes from turning it further") == int((more > 0.05).sum())


def test_rail_for_wind__nothing_gained_leaves_the_rail_as_it_is(demo_mission):
    found = rail_for_wind(demo_mission, "rail_departure_incidence < 80 deg in 50 % of flights", elevations=["84 deg"], flights=2, winds=2, progress=False)
    assert float(found.gain[0]) == 0.0 and float(found.best_elevation[0]) == demo_mission.rail.elevation
    assert "nothing is gained" in flat(found)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"elevations": "84 deg"}, "must be a list"),
        ({"azimuths": ["3 m"]}, "azimuths"),
        ({"elevations": []}, "one or more"),
        ({"elevations": ["95 deg"]}, "95 deg is not"),
    ],
)
def test_rail_for_wind__bad_angles_are_answered_with_a_sentence(demo_mission, change, words):
    with pytest.raises(ValueError, match=words):
        rail_for_wind(demo_mission, CRITERIA[0], flights=2, progress=False, **change)

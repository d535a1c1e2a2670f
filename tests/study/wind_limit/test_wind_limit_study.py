"""`wind_limit` on flights: its table, its words for bad input, its air; few flights, for the numbers are held by tests/validation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from results_by_hand import ensemble_by_hand

from sixdof.ensemble.run import disperse
from sixdof.mission.errors import MissionError
from sixdof.study.reading.practice import SAFETY_CODE_WIND
from sixdof.study.sweep.conditions import reference_height
from sixdof.study.variants.criteria import criterion, own_criterion
from sixdof.study.wind_limit.air import share_at, wind_as_written, wind_mission, with_sounding
from sixdof.study.wind_limit.climb import events_needed
from sixdof.study.wind_limit.practice import wanted_of, wind_criteria
from sixdof.study.wind_limit.ranks import flights_to_hold, judged
from sixdof.study.wind_limit.wind_limit import directions_of, wind_limit

FEW = {"flights": 10, "winds": 3, "seed": 2, "progress": False, "threads": 1}
INCIDENCE = "rail_departure_incidence < 12 deg in 80 % of flights"
MORNING = {
    "height": ["0 m", "100 m", "1 km", "3 km"],
    "temperature": ["14 degC", "16 degC", "9 degC", "-6 degC"],
    "speed": ["2 m/s", "5 m/s", "9 m/s", "15 m/s"],
    "blows_from": ["250 deg", "255 deg", "280 deg", "290 deg"],
}


@pytest.fixture(scope="module")
def found(demo_mission):
    return wind_limit(demo_mission, [INCIDENCE, "apogee_height < 5 km in 80 % of flights"], directions=["75 deg", "255 deg"], **FEW)


# ---------------------------------------------------------------- the table


def test_wind_limit__share_and_value_at_every_wind_are_those_of_the_same_flights_dispersed(demo_mission, found):
    """The flights at one of the winds flown again, one by one, as an ensemble of a mission that says this wind."""
    at = int(np.nanargmax(found.wind[0].values))
    speed = float(found.wind[0, at])
    wind = {"air.wind.speed": speed, "air.wind.blows_from": "75 deg", "disperse.wind.speed": None, "disperse.wind.blows_from": None}
    again = disperse(wind_mission(demo_mission, "grows", False).change(wind), 10, seed=2, tracks="none", progress=False)
    ordered = np.sort(again.rail_departure_incidence.values)
    assert float(found.value[0, at, 0]) == pytest.approx(ordered[7], rel=1e-12)  # the 8th of 10: 80 %
    assert float(found.share[0, at, 0]) == np.mean(again.rail_departure_incidence.values < math.radians(12.0))


def test_wind_limit__limit_lies_between_winds_flown_that_hold_and_fail(found):
    for one in found.direction.values:
        here = found.sel(direction=one)
        below = here.wind.values <= float(here.limit)
        assert (here.share.values[below, 0] >= 0.8).all()
        first = np.flatnonzero(here.share.values[:, 0] < 0.8)[0]
        assert 0.0 < float(here.wind[first]) - float(here.limit) <= found.attrs["tolerance"] + 1e-9


def test_wind_limit__interval_kind_and_what_binds(found):
    assert (found.limit_low <= found.limit).all() and (found.limit <= found.limit_high).all()
    assert found.limit_kind.values.tolist() == [0, 0] and found.binds.values.tolist() == [0, 0]
    assert np.isinf(found.criterion_limit.values[:, 1]).all() and (found.criterion_limit.values[:, 0] == found.limit.values).all()
    assert found.limit_kind.attrs["flag_meanings"].split()[2] == "beyond_highest"


def test_wind_limit__attributes_say_what_it_rests_on(demo_mission, found):
    said = found.attrs
    assert (said["flights"], said["seed"], said["highest"], said["reference_height"]) == (10, "2", SAFETY_CODE_WIND, 10.0)
    assert said["criteria"].split("\n")[0] == INCIDENCE and said["criteria_source"] == "given"
    assert said["share_at_2_m"] == pytest.approx(0.2**demo_mission.air.wind.exponent) and said["wind_speed"] == demo_mission.air.wind.speed


def test_wind_limit__flag_by_bisection_on_the_share(demo_mission):
    """A function and the same number as a criterion: the share is the same, so both have the limit in the same bracket."""
    own = own_criterion("little incidence", lambda ds: ds.rail_departure_incidence.values < math.radians(12.0), 0.8)
    one, other = (wind_limit(demo_mission, each, directions=["255 deg"], **FEW) for each in (own, INCIDENCE))
    assert abs(float(one.limit[0]) - float(other.limit[0])) <= 0.2 and np.isnan(one.value).all() and math.isnan(float(one.bound[0]))


def test_wind_limit__flights_cut_short_say_the_same_as_whole_ones(demo_mission, monkeypatch):
    short = wind_limit(demo_mission, "lean at burnout < 3 deg in 80 % of flights", directions=["255 deg"], **FEW)
    monkeypatch.setattr("sixdof.study.wind_limit.flights.events_needed", lambda criteria: None)
    whole = wind_limit(demo_mission, "lean at burnout < 3 deg in 80 % of flights", directions=["255 deg"], **FEW)
    assert (short.limit.values == whole.limit.values).all() and np.array_equal(short.value.values, whole.value.values, equal_nan=True)


@pytest.mark.parametrize(
    ("text", "events"),
    [
        ("lean at burnout < 3 deg", ["burnout"]),
        ("rail_departure_speed > 20 m/s", ["rail_departure"]),
        ("tilt at ignition whinchat < 20 deg", ["ignition whinchat"]),
        ("tilt at landing < 20 deg", None),
        ("landing within 300 m of the rail", None),
        ("mach_max < 0.8", None),
        ("status is landed", None),
        ("tilt at burnout of drayhorse < 3 deg", None),
    ],
)
def test_events_needed__only_of_what_is_settled_in_the_climb_of_the_front_body(text, events):
    assert events_needed([criterion(text)]) == events


@pytest.mark.parametrize(
    ("text", "holding", "value", "slack"),
    [("apogee_height > 250 m in 75 % of flights", 5, 200.0, -50.0), ("apogee_height < 650 m in 75 % of flights", 6, 600.0, 50.0)],
)
def test_judged__the_flight_that_decides_and_one_without_a_value(demo_mission, text, holding, value, slack):
    """Of 100, 200, ... 700 m and one without a value, which is the worst either way, 75 % are the six best: 200 m is the sixth from above, 600 m from below."""
    ds = ensemble_by_hand(demo_mission, np.zeros((8, 2)), points=0)
    ds["apogee_height"].values[:] = [300.0, 100.0, np.nan, 700.0, 500.0, 600.0, 200.0, 400.0]
    found = judged([criterion(text)], ds, 0.9)
    assert (found.holding[0], found.value[0], found.slack[0, 1]) == (holding, value, slack)


# ---------------------------------------------------------------- criteria of common practice


def test_wind_criteria__of_stages_and_a_field(demo_mission, stack_mission):
    assert [str(criterion(text)) for text in wind_criteria(demo_mission)] == wind_criteria(demo_mission)
    texts = wind_criteria(stack_mission, field="600 m")
    assert "tilt at ignition whinchat < 20 deg in 95 % of flights" in texts and "landing of drayhorse within 600 m of the rail in 95 % of flights" in texts


# ---------------------------------------------------------------- the air


def test_wanted_of__a_field_counts_beside_one_s_own_criteria(demo_mission, demo_path):
    square = demo_path.parent / "lake-orrin-field.geojson"
    texts = [str(one) for one in wanted_of(demo_mission, INCIDENCE, square)]
    assert texts[0] == INCIDENCE and len(texts) == 2 and "every piece lands in Lake Orrin" in texts[1]
    assert [str(one) for one in wanted_of(demo_mission, INCIDENCE, 600.0)][1:] == ["landing within 600 m of the rail in 95 % of flights"]


def test_wind_mission__turbulence_follows_the_wind_whatever_the_file_says(demo_mission):
    assert demo_mission.air.turbulence is None and wind_mission(demo_mission, "grows", False).air.turbulence.wind_at_20_ft is None
    fixed = demo_mission.change({"air.turbulence": {"wind_at_20_ft": "3 m/s"}, "disperse.turbulence.wind_at_20_ft": {"sd": "1 m/s", "low": 0.0}})
    grows = wind_mission(fixed, "grows", False)
    assert grows.air.turbulence.wind_at_20_ft is None and "turbulence.wind_at_20_ft" not in grows.disperse
    assert wind_mission(fixed, "as written", False) is fixed and wind_mission(fixed, "none", False).air.turbulence is None


def test_wind_mission__leaves_out_failures_that_are_not_certain(stack_mission):
    assert stack_mission.failure and not wind_mission(stack_mission, "none", False).failure
    certain = stack_mission.change({f"failure.{stack_mission.failure[0].name}.probability": 1.0})
    assert [one.name for one in wind_mission(certain, "none", False).failure] == [stack_mission.failure[0].name]
    assert len(wind_mission(stack_mission, "none", True).failure) == len(stack_mission.failure)


def test_wind_limit__of_a_mission_without_any_wind(demo_mission):
    """Its turbulence follows from the winds that are asked for; the limit is that of the mission that only draws its wind."""
    uniform = demo_mission.change({"air.wind": {"profile": "uniform", "speed": 0.0}, "disperse.wind.blows_from": None})
    bare = uniform.change({"air.wind": None, "disperse.wind.speed": None})
    drawn, found = (wind_limit(one, INCIDENCE, directions=["75 deg"], **FEW) for one in (uniform, bare))
    assert found.limit_kind.item() == 0 and found.limit.item() == drawn.limit.item()


def test_with_sounding__stands_in_place_of_wind_temperature_and_draws_of_the_wind(stack_mission):
    morning = with_sounding(stack_mission, MORNING)
    assert morning.air.sounded_wind and morning.air.temperature is None and morning.air.pressure == stack_mission.air.pressure
    assert {"wind.speed", "wind.blows_from"} & {*morning.disperse} == set() and {*morning.disperse} < {*stack_mission.disperse}
    assert reference_height(morning) == 10.0 and wind_as_written(morning)[0] == pytest.approx(2.3, rel=0.01)
    assert share_at(morning, 100.0) == pytest.approx(5.0 / wind_as_written(morning)[0], rel=1e-9)


def test_with_sounding__without_wind_leaves_the_missions(demo_mission):
    bare = with_sounding(demo_mission, {name: MORNING[name] for name in ("height", "temperature")})
    assert bare.air.wind == demo_mission.air.wind and bare.disperse == demo_mission.disperse and bare.air.sounding is not None


def test_with_sounding__takes_correlations_of_what_is_gone_along(demo_mission):
    together = demo_mission.change({"correlation": [{"of": ["wind.speed", "air.temperature"], "coefficient": 0.5}]})
    assert with_sounding(together, MORNING).correlation == ()


def test_wind_limit__of_a_sounding_scales_it_as_a_whole(demo_mission):
    """All levels times two at twice the wind: a table says the same as the sounding written out, to the bit."""
    morning = with_sounding(demo_mission, MORNING)
    found = wind_limit(morning, INCIDENCE, directions=["250 deg"], turbulence="none", **FEW)
    speed = float(found.wind[0, 1])
    scale, turn = speed / wind_as_written(morning)[0], 250.0 - math.degrees(wind_as_written(morning)[1])
    levels = MORNING | {
        "speed": [float(text.split()[0]) * scale for text in MORNING["speed"]],
        "blows_from": [f"{float(text.split()[0]) + turn} deg" for text in MORNING["blows_from"]],
    }
    again = disperse(with_sounding(demo_mission, levels), 10, seed=2, tracks="none", progress=False)
    assert float(found.value[0, 1, 0]) == pytest.approx(np.sort(again.rail_departure_incidence.values)[7], rel=1e-9)


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"criteria": "apogee < 5 m"}, 'there is no outcome "apogee"'),
        ({"criteria": "tilt at burn out < 5 deg"}, 'there is no event "burn out"'),
        ({"criteria": []}, "wind_limit needs criteria"),
        ({"field": "no such place"}, 'is not a quantity; write a number and a unit, for example "75 mm"; a file of GeoJSON ends in .geojson or .json'),
        ({"criteria": None, "field": "-5 m"}, "is not a distance"),
        ({"directions": []}, "one or more"),
        ({"directions": "255 deg"}, 'a list such as ["255 deg"'),
        ({"directions": ["10 m"]}, "directions"),
        ({"directions": 0}, "1 to 360"),
        ({"directions": [0.0, "360 deg"]}, "each a different one"),
        ({"flights": 1}, "flights = 1 must be a whole number, 2 or more"),
        ({"winds": 2.5}, "winds = 2.5 must be a whole number"),
        ({"highest": "0 m/s"}, "highest"),
        ({"highest": "9 m"}, "highest"),
        ({"tolerance": 0.0}, "tolerance"),
        ({"confidence": 1.5}, "confidence"),
        ({"turbulence": "some"}, "must be one of grows, as written, none"),
    ],
)
def test_wind_limit__bad_input_is_answered_with_a_sentence(demo_mission, change, words):
    with pytest.raises(ValueError) as caught:
        wind_limit(demo_mission, **({"criteria": INCIDENCE} | change))
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_wind_limit__a_sounding_calm_at_10_m_cannot_be_scaled(demo_mission):
    calm = with_sounding(demo_mission, MORNING | {"speed": ["0 m/s", "0 m/s", "3 m/s", "4 m/s"]})
    with pytest.raises(ValueError, match="calm and cannot be scaled"):
        wind_limit(calm, INCIDENCE, directions=1, **FEW)


def test_wind_limit__what_is_no_mission_or_sounding(demo_mission, tmp_path):
    with pytest.raises(TypeError):
        wind_limit("sampler.toml")
    with pytest.raises(MissionError):
        with_sounding(demo_mission, tmp_path / "nothing.csv")


def test_directions_of__a_number_goes_round_from_north():
    assert np.degrees(directions_of(4)).tolist() == pytest.approx([0.0, 90.0, 180.0, 270.0])
    assert np.degrees(directions_of(["-90 deg"])).tolist() == pytest.approx([270.0])


def test_flights_to_hold__all_of_ten_for_99_per_cent():
    assert flights_to_hold(10, 0.99, 0.9)[1] == 10

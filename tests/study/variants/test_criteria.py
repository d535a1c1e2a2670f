"""Criteria in words: what they mean, that they read back as they are written, and one sentence for every slip."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from results_by_hand import ensemble_by_hand, staged_ensemble

from sixdof.core import layout
from sixdof.core.layout import OUTCOMES
from sixdof.results.status import Status
from sixdof.study.variants.criteria import criteria_of, criterion, own_criterion
from sixdof.study.variants.subjects import Subject, subject

PLACES = np.array([[0.0, 0.0], [30.0, 40.0], [300.0, 400.0], [120.0, -40.0]])
UNITS = {"apogee_height": ("m", "ft", "km"), "rail_departure_speed": ("m/s", "mph"), "tilt_max": ("deg", "rad"), "dynamic_pressure_max": ("Pa", "kPa")}


@pytest.fixture
def flights(demo_mission):
    return ensemble_by_hand(demo_mission, PLACES, points=0)


# ---------------------------------------------------------------- what they mean


@pytest.mark.parametrize(
    ("text", "relation", "limit", "share"),
    [
        ("rail_departure_speed > 15 m/s in 99 % of flights", ">", 15.0, 0.99),
        ("tilt at burnout < 15 deg in 95 % of flights", "<", math.radians(15.0), 0.95),
        ("apogee_height ≤ 1 km in 99.9 %", "<=", 1000.0, 0.999),
        ("gap_min of booster >= 2 in in 0.5 of all flights", ">=", 0.0508, 0.5),
        ("saturation_share < 5 %", "<", 0.05, 0.99),
        ("landing within 500 m of the rail in 90 % of flights", "within", 500.0, 0.9),
    ],
)
def test_criterion__relation_limit_share(text, relation, limit, share):
    found = criterion(text)
    assert (found.relation, found.share) == (relation, share)
    assert found.limit == pytest.approx(limit, rel=1e-15)


def test_holds__an_outcome_against_its_limit(flights):
    flights["apogee_height"].values[:] = 100.0, 200.0, 300.0, np.nan
    for relation, wanted in {"<": (1, 0, 0, 0), "<=": (1, 1, 0, 0), ">": (0, 0, 1, 0), ">=": (0, 1, 1, 0)}.items():
        holds, missing = criterion(f"apogee_height {relation} 200 m").holds(flights)
        assert holds.tolist() == [bool(one) for one in wanted] and missing == 1  # NaN never holds


def test_holds__a_failed_flight_does_not(flights):
    flights["status"].values[1] = Status.DIVERGED
    holds, missing = criterion("apogee_height > 0.1 m").holds(flights)
    assert holds.tolist() == [True, False, True, True] and missing == 1


def test_holds__at_an_event_in_degrees(flights):
    column = list(flights["event"].values).index("burnout")
    flights["event_tilt"].values[:, 0, column] = np.radians([1.0, 14.9, 15.1, np.nan])
    holds, missing = criterion("tilt at burnout < 15 deg").holds(flights)
    assert holds.tolist() == [True, True, False, False] and missing == 1


def test_holds__landing_within(flights):
    assert criterion("landing within 50 m of the rail").holds(flights)[0].tolist() == [True, True, False, False]
    assert criterion("landing within 1 m of (120 m, -40 m)").holds(flights)[0].tolist() == [False, False, False, True]


def test_holds__flags_by_their_words(flights):
    flights["status"].values[:] = Status.LANDED, Status.OUT_OF_TIME, Status.DIVERGED, Status.NO_LIFTOFF
    assert criterion("status is landed").holds(flights) == (pytest.approx([1, 0, 0, 0]), 0)
    assert criterion("status is landed or out_of_time").holds(flights)[0].tolist() == [True, True, False, False]
    assert criterion("status is not diverged").holds(flights)[0].tolist() == [True, True, False, True]


def test_holds__bodies_joints_canopies(demo_mission):
    ds = staged_ensemble(demo_mission, 20)
    distance = np.hypot(ds["body_landing_east"].values[:, 1], ds["body_landing_north"].values[:, 1])
    assert np.array_equal(criterion("landing of booster within 100 m of the rail").holds(ds)[0], distance <= 100.0)
    assert criterion("landing_ground_speed of booster < 9.5 m/s").holds(ds)[0].all()
    assert not criterion("landing_ground_speed of booster < 8.5 m/s").holds(ds)[0].any()
    assert criterion("gap_min of booster > 29 mm").holds(ds)[0].all()
    assert criterion("opening_load of main < 91 N").holds(ds)[0].all()
    assert criterion("descent of booster is under_canopy").holds(ds)[0].all()
    assert criterion("height at separation booster of booster > 0 m").holds(ds)[1] == 0
    # a booster that another variant has and this one has not: no value, so never held
    assert criterion("landing_ground_speed of tail < 9 m/s").holds(ds) == (pytest.approx(np.zeros(20)), 20)


def test_subject__unit_and_name_for_axes(flights):
    array = subject("tilt at burnout").array(flights)
    assert array.attrs == {"units": "rad", "long_name": "angle of the nose from the vertical at burnout"}
    assert array.dims == ("flight",)
    assert subject("landing").array(flights).values.tolist() == np.hypot(*PLACES.T).tolist()


def test_own_criterion__a_function(flights):
    own = own_criterion("low and slow", lambda ds: (ds.apogee_height < 1.5) & (ds.airspeed_max < 1.5), "75 %")
    assert str(own) == "low and slow in 75 % of flights"
    assert own.holds(flights)[0].tolist() == [True, True, False, False]


@pytest.mark.parametrize("result", [1.0, np.ones(4), np.ones(3, dtype=bool)])
def test_own_criterion__wants_a_bool_a_flight(flights, result):
    with pytest.raises(ValueError, match='criterion "mine": its function must return one bool per flight'):
        own_criterion("mine", lambda ds: result).holds(flights)


# ---------------------------------------------------------------- round trip


@st.composite
def written(draw):
    name = draw(st.sampled_from([*UNITS, "landing", "status", "tilt at burnout", "landing_ground_speed of my booster"]))
    share = draw(st.integers(1, 99_999)) / 1000.0
    number = draw(st.floats(1e-3, 1e6))
    condition = {
        "landing": f"landing within {number!r} m of {draw(st.sampled_from(['the rail', '(1 m, -2.5 km)', '( 3 m , 4 ft )']))}",
        "status": f"status {draw(st.sampled_from(['is', 'is not']))} "
        f"{' or '.join(draw(st.sets(st.sampled_from(['landed', 'diverged', 'above_air']), min_size=1)))}",
    }.get(name)
    if condition is None:
        unit = draw(st.sampled_from(UNITS.get(name, ("deg",) if " at " in name else ("m/s",))))
        condition = f"{name} {draw(st.sampled_from(['<', '<=', '>', '>=', '≤', '≥']))} {number!r} {unit}"
    return f"{condition} in {share!r} %{draw(st.sampled_from(['', ' of flights', ' of all flights', '  of the  flights']))}", share


@given(written())
def test_criterion__reads_back_as_it_is_written(case):
    text, share = case
    found = criterion(text)
    assert found.share == pytest.approx(share / 100.0, rel=1e-12)
    assert criterion(str(found)) == found
    assert str(criterion(str(found))) == str(found)


@given(st.text(max_size=40))
def test_criterion__any_text_is_one_or_gets_one_sentence(text):
    try:
        criterion(text)
    except ValueError as error:
        assert str(error).startswith('criterion "') and "\n" not in str(error)


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("apogee_heigth < 5 m", 'there is no outcome "apogee_heigth"; did you mean "apogee_height"?'),
        ("apogee_height < 5", '"5" has no unit'),
        ("apogee_height < 5 kg", '"5 kg" has the wrong unit'),
        ("tilt < 5 deg", 'write, for example, "tilt at apogee"'),
        ("tlt at apogee < 5 deg", 'no column of the event table "tlt"; did you mean "tilt"?'),
        ("apogee_height of booster < 4 m", 'omit "of booster"'),
        ("body_landing_ground_speed < 4 m/s", 'write "landing_ground_speed of <body>"'),
        ("landing < 5 m", "a landing is a place"),
        ("apogee_height is landed", "apogee_height is a number"),
        ("status < 4", 'status is a flag; write "status is landed"'),
        ("status is landd", 'there is no status "landd"; did you mean "landed"?'),
        ("apogee_height < 5 m in all flights", '"in all" says no share'),
        ("apogee_height < 5 m in 99 of flights", "is not between 0 and 1"),
        ("apogee_height < 5 m in 100 % of flights", "no number of flights shows"),
        ("apogee_height < 5 m in 0 % of flights", "is not between 0 and 1"),
        ("landing within 5 m of here", '"here" is not a place'),
        ("landing within -3 m of the rail", "is not a distance"),
        ("apogee_height within 5 m of the rail", "only a landing"),
        ("fly well", "no condition is found"),
        ("apogee_height < 5 m < 7 m", "no condition is found"),
    ],
)
def test_criterion__one_sentence_for_a_slip(text, said):
    with pytest.raises(ValueError) as caught:
        criterion(text)
    assert said in str(caught.value) and f'criterion "{text}": ' in str(caught.value) and "\n" not in str(caught.value)


def test_criteria__one_or_many_but_none_twice():
    assert criteria_of("apogee_height < 1 km") == [criterion("apogee_height < 1 km in 99 % of flights")]
    with pytest.raises(ValueError, match="is given twice"):
        criteria_of(["apogee_height < 1 km", "apogee_height  < 1 km in 99 %"])
    with pytest.raises(ValueError, match="a criterion is text"):
        criteria_of([3])


def test_subject__every_scalar_outcome_is_one():
    assert [subject(name) for name in OUTCOMES] == [Subject(name) for name in OUTCOMES]
    assert [subject(f"{name} at apogee").needs for name in layout.EVENT_COLUMNS] == [(f"event_{name}",) for name in layout.EVENT_COLUMNS]

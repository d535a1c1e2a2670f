"""Tables of draws that somebody edited or made, and those read back from an ensemble."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from draw_missions import EVERYTHING, FAILURES, GUSTY, mission, staged

import sixdof
from sixdof.draws.given import check_draws, draws_of
from sixdof.draws.packed import pack_draws
from sixdof.draws.table import draw_table, make_draws

SEED = 20_241
OF_OTHER_AIR = {"wind.member", "turbulence.wind_at_20_ft"}  # that mission has neither


@pytest.mark.parametrize("made", [mission, staged])
@pytest.mark.parametrize("sampling", ["random", "latin", "sobol"])
def test_check_draws__an_untouched_table_stays_as_it_is(made, sampling):
    m = made({name: spread for name, spread in EVERYTHING.items() if name not in OF_OTHER_AIR}, failure=FAILURES)
    drawn = make_draws(m, 6, seed=SEED, sampling=sampling)
    found = check_draws(m, drawn)
    assert found.attrs == {"seed": str(SEED), "sampling": "given"}
    drawn.attrs = found.attrs
    assert found.identical(drawn)
    for one, other in zip(pack_draws(m, found), pack_draws(m, drawn)):
        np.testing.assert_array_equal(one, other)


def test_check_draws__a_table_made_with_numpy_is_put_into_form():
    """Order, dims, dtype, things in another order, flights not numbered, no attributes."""
    m = staged()
    mass = xr.DataArray(np.arange(1, 7).reshape(3, 2), dims=("stage", "flight"), coords={"stage": ["lower", "upper", "middle"]})
    table = xr.Dataset({"vehicle.mass": mass, "wind.speed": ("flight", np.array([3, 4]))})
    found = check_draws(m, table)
    assert list(found.data_vars) == ["wind.speed", "vehicle.mass"]
    assert found["vehicle.mass"].dims == ("flight", "stage") and found["vehicle.mass"].dtype == np.float64
    np.testing.assert_array_equal(found["vehicle.mass"], [[3, 5, 1], [4, 6, 2]])
    assert list(found["flight"].values) == [0, 1] and list(found["stage"].values) == ["upper", "middle", "lower"]
    assert found["wind.speed"].attrs == draw_table(staged({"wind.speed": EVERYTHING["wind.speed"]}), 0, 0, 1)["wind.speed"].attrs
    assert found.attrs == {"seed": "0", "sampling": "given"}
    assert list(pack_draws(m, found).common[:, 0].shape) == [2]


def test_check_draws__one_stage_may_be_named_or_not():
    m = mission()
    for dims, values in ((("flight",), [1.0, 2.0]), (("flight", "stage"), [[1.0], [2.0]])):
        found = check_draws(m, xr.Dataset({"vehicle.mass": (dims, np.array(values))}))
        assert found["vehicle.mass"].dims == ("flight",)
        np.testing.assert_array_equal(found["vehicle.mass"], [1.0, 2.0])


GUSTS = {"air": GUSTY}


def table(name="wind.speed", values=(3.0, 4.0), dims=("flight",), flights=(10, 11), **attrs):
    return xr.Dataset({name: (dims, np.array(values))}, {"flight": list(flights)}, attrs)


WRONG = [  # table, the mission's tables, sentence
    (table("wind.sped"), {}, 'disperse."wind.sped" cannot be dispersed; use one of wind.speed'),
    (table("rail.lenght"), {}, '"rail.lenght" cannot be dispersed: there is no "lenght"; did you mean "length"?'),
    (table("rail.length"), {}, '"rail.length" is a path that the mission does not disperse; add it'),
    (table(values=[3.0, np.nan]), {}, "flight 11: wind.speed = nan is not finite; give every flight a number"),
    (table(values=[-3.0, 4.0]), {}, "flight 10: wind.speed = -3 is less than 0; a draw of it is 0 or more"),
    (table(values=["a", "b"]), {}, '"wind.speed" of the table of draws holds no numbers'),
    (table(dims=("flight", "stage"), values=[[1.0, 2.0], [1.0, 2.0]]), {}, '"wind.speed" of the table of draws has the dims flight, stage; it needs flight'),
    (table("servo.centring"), {}, '"servo.centring" of the table of draws has the dims flight; it needs flight, fin'),
    (table("servo.centring", dims=("flight", "fin"), values=np.zeros((2, 3))), {}, "must have, along fin, 1, 2, 3, 4"),
    (table(flights=(7, 7)), {}, "flight 7 comes 2 times in the table of draws"),
    (table(flights=(-1, 7)), {}, "must hold whole numbers from 0 to 4294967295"),
    (table(flights=(0.5, 7)), {}, "must hold whole numbers from 0"),
    (xr.Dataset({"wind.speed": 3.0}), {}, "has no flights: its variables need a dim flight"),
    (table(seed="x"), {}, "the attribute seed = 'x' of the table of draws must be a whole number"),
    (table(seed=1.5), {}, "the attribute seed = 1.5"),
    (table("failure_drawn", dims=("flight", "failure"), values=np.zeros((2, 1))), {}, "the mission has no [[failure]]; drop it"),
    (table("failure_drawn", dims=("flight", "failure"), values=np.full((2, 5), 0.5)), {"failure": FAILURES}, "flight 10: failure_drawn = 0.5 is neither"),
    (table("wind.member", values=[0.0, 1.5]), GUSTS, "flight 11: wind.member = 1.5 is not a whole number; it is counted from 0"),
    (table("wind.member", values=[0.0, 5.0]), GUSTS, "flight 11: wind.member = 5 is not a member; they are counted from 0 to 4"),
    (table("wind.member", values=[0.0, 1.0]), {}, '"wind.member" of the table of draws does not fit the mission: its wind has no members'),
    (table(), GUSTS, "its wind has no single speed and direction to replace; drop it"),
    (table("turbulence.wind_at_20_ft"), {}, "it has no turbulence; drop it"),
    (np.zeros(3), {}, "is an xarray.Dataset as sixdof.stats.make_draws returns it, not a ndarray"),
]


@pytest.mark.parametrize("wrong, tables, sentence", WRONG, ids=[row[2][:40] for row in WRONG])
def test_check_draws__what_is_wrong_is_one_sentence(wrong, tables, sentence):
    with pytest.raises(ValueError) as caught:
        check_draws(mission(**tables), wrong)
    assert sentence in str(caught.value) and "\n" not in str(caught.value)


def test_check_draws__of_a_path(demo_mission):
    span = "stage.thistledown.part.tail.semispan"
    m = demo_mission.change({"disperse": {span: {"sd": "0.5 mm"}}})
    found = check_draws(m, table(span, values=[0.04, 0.05]))
    np.testing.assert_array_equal(pack_draws(m, found).path, [[0.04], [0.05]])
    with pytest.raises(ValueError, match="^flight 11: .*span = -0.04 must be more than 0 m"):
        check_draws(m, table(span, values=[0.04, -0.04]))


# ---------------------------------------------------------------- back from an ensemble


@pytest.fixture(scope="module")
def stacked(demo_mission):
    """Two stages, so that there are things to draw one by one, failures, and a path."""
    from staged import stack

    spreads = {
        "vehicle.mass": {"sd": "1 %"},
        "rule.delay": {"kind": "uniform", "low": "0 s", "high": "0.1 s"},
        "wind.speed": {"sd": 1.0, "low": 0},
        "servo.centring": {"sd": "0.1 deg"},
        "rail.friction": {"kind": "uniform", "low": 0.05, "high": 0.1},
    }
    failures = [{"kind": "no_deployment", "of": "booster main", "probability": 0.4}]
    return stack(demo_mission, failures=failures, changes={"disperse": spreads})


@pytest.mark.parametrize("sampling", ["random", "sobol"])
def test_rows_of__are_the_draws_the_ensemble_flew(stacked, tmp_path, sampling):
    flown = sixdof.disperse(stacked, 4, seed=SEED, sampling=sampling, threads=1, progress=False, out=tmp_path / "a.nc")
    drawn = make_draws(stacked, 4, seed=SEED, sampling=sampling)
    read = sixdof.open_result(tmp_path / "a.nc")
    for ds in (flown, read):
        back = draws_of(ds, stacked)
        for name in drawn.variables:
            np.testing.assert_array_equal(back[name], drawn[name], err_msg=name)
        assert back.attrs == {"seed": str(SEED), "sampling": "given"}
    one = draws_of(read.sel(flight=2), stacked)
    for a, b in zip(pack_draws(stacked, one), pack_draws(stacked, drawn)):
        np.testing.assert_array_equal(a[0], b[2])


def test_rows_of__says_what_is_not_there(stacked, demo_ensemble, demo_flight, demo_mission):
    with pytest.raises(ValueError, match='holds no draws of "rule.delay", which the mission disperses'):
        draws_of(demo_ensemble, stacked)
    with pytest.raises(ValueError, match="takes flights of an ensemble"):
        draws_of(demo_flight, demo_mission)

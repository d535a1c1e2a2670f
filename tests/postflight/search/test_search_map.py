"""Maps of hand-made flights: a known normal, clusters, bodies that do not come down or do not differ, Bayes by hand, exports read again."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.postflight import next_strips, search_geojson, search_gpx, search_kml, search_map, with_walked


def flights_of(east, north, **more) -> xr.Dataset:
    """Return flights of landing places, (flights,) of one body or (bodies, flights)."""
    places = {"body_landing_east": np.atleast_2d(east).T, "body_landing_north": np.atleast_2d(north).T}
    ds = xr.Dataset({name: (("flight", "body"), values) for name, values in places.items()})
    return ds.assign_coords(body=["nose", "booster"][: ds.sizes["body"]]).assign({name: ("flight", values) for name, values in more.items()})


@pytest.fixture(scope="module")
def normal():
    draw = np.random.default_rng(5)
    return flights_of(400.0 + 60.0 * draw.standard_normal(4000), 100.0 + 60.0 * draw.standard_normal(4000))


@pytest.fixture(scope="module")
def found(normal):
    return search_map(normal, cell="10 m")


def whole(ds):
    return (ds["in_area"] + ds["outside"] + ds["unplaced"]).values


def test_map__of_a_normal_holds_what_chi_square_says(found):
    """Areas are those of the normal widened by its kernels, 1 + n^(-1/3); sampling moves them by some 2 %."""
    assert whole(found) == pytest.approx(1.0, abs=1e-12)
    wide = 60.0**2 * (1.0 + 4000.0 ** (-1.0 / 3.0))
    for share in (0.5, 0.75, 0.9, 0.95):
        assert float(found["area"].sel(share=share).item()) == pytest.approx(-2.0 * math.pi * wide * math.log1p(-share), rel=0.05)
    assert math.hypot(float(found["mean_east"].item()) - 400.0, float(found["mean_north"].item()) - 100.0) < 4.0


def test_map__keeps_tight_clusters_tight():
    draw = np.random.default_rng(6)
    east = np.concatenate([20.0 * draw.standard_normal(200), 3000.0 + 20.0 * draw.standard_normal(200)])
    one = search_map(flights_of(east, 20.0 * draw.standard_normal(400)), cell="10 m")
    both = 2.0 * 2.0 * math.pi * (20.0**2 * (1.0 + 200.0 ** (-1.0 / 3.0))) * math.log(10.0)
    assert float(one["area"].sel(share=0.9).item()) == pytest.approx(both, rel=0.15)  # of the sample; one kernel for both would make it 40 times as large


def test_map__weights_move_it_and_outside_is_told(normal):
    weight = np.exp((normal["body_landing_east"].values[:, 0] - 400.0) / 60.0)  # of a normal: moves its mean by one standard deviation
    tilted = search_map(normal.assign(weight=("flight", weight)), cell="10 m", extent=(-200, 1000, -400, 600))
    assert float(tilted["mean_east"].item()) == pytest.approx(460.0, abs=6.0)
    half = search_map(normal, cell="10 m", extent=(400, 1000, -400, 600))
    assert float(half["outside"].item()) == pytest.approx(0.5, abs=0.03) and whole(half) == pytest.approx(1.0, abs=1e-12)


def test_map__bodies_that_are_not_down_or_all_at_one_place():
    east = np.full((50, 2), 120.0)
    east[:10, 1] = np.nan
    ds = flights_of(east.T, np.full((2, 50), 40.0))
    one = search_map(ds, cell="10 m")
    assert one["unplaced"].values == pytest.approx([0.0, 0.2]) and whole(one) == pytest.approx(1.0, abs=1e-12)
    # kernels are no narrower than a cell; the edge of so few cells is rough
    assert float(one["area"].sel(share=0.95, body="nose")) == pytest.approx(2.0 * math.pi * 10.0**2 * math.log(20.0), rel=0.15)
    assert math.hypot(float(one["best_east"][0]) - 120.0, float(one["best_north"][0]) - 40.0) < 10.0
    with pytest.raises(ValueError, match="booster does not come down in any of these flights"):
        search_map(ds.where(ds["body"] != "booster"), "booster")
    with pytest.raises(ValueError, match='there is no body "nosecone"; did you mean "nose"'):
        search_map(ds, "nosecone")


def test_map__a_recovered_body_is_not_searched_for():
    two = flights_of(*np.random.default_rng(5).normal(300.0, 20.0, (2, 2, 50)))
    known = {"evidence_kind": ("evidence", ["fix", "recovered"]), "evidence_body": ("evidence", ["", "booster"])}
    found = search_map(two.assign(known), cell="10 m")
    assert "booster" not in found["body"].values and "booster was recovered, as the evidence says" in found.attrs["finding"]
    assert list(search_map(two.assign(known), "booster", cell="10 m")["body"].values) == ["booster"]


def test_walked__by_hand(found):
    """Half of the map searched with a detection of 0.6: each side by Bayes."""
    middle = float(found["east"].values[20] + 5.0)
    left = float(found["prior"].values[0][:, :21].sum())
    walked = with_walked(found, {"area": [(-5e3, -5e3), (middle, -5e3), (middle, 5e3), (-5e3, 5e3)], "detection": 0.6})
    assert float(walked["found_by_now"].item()) == pytest.approx(0.6 * left, rel=1e-9)
    assert float(walked["probability"].values[0][:, :21].sum()) == pytest.approx(0.4 * left / (1.0 - 0.6 * left), rel=1e-9)
    assert float(walked["outside"].item()) == pytest.approx(float(found["outside"].item()) / (1.0 - 0.6 * left), rel=1e-9)


def test_walked__track_sweeps_its_length_and_searchers_count_as_said(found):
    track = {"track": [(300.0, 60.0), (520.0, 140.0), (380.0, 160.0)], "sweep_width": 12.0, "searcher": "A"}
    once = with_walked(found, track)
    length = math.hypot(220.0, 80.0) + math.hypot(140.0, 20.0)
    assert float(once["search_area"].item()) == pytest.approx(12.0 * length, rel=0.05)  # less what lies in both passes at the corner
    again, other = with_walked(once, track), with_walked(once, track | {"searcher": "B"})
    assert np.allclose(again["missed"], once["missed"]) and np.allclose(other["missed"], once["missed"] ** 2)


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(st.floats(200, 600), st.floats(-100, 300), st.floats(0.05, 0.95)), min_size=1, max_size=3))
def test_walked__conserves_probability_in_any_order(found, spots):
    searches = [{"area": [(x, y), (x + 80, y), (x + 80, y + 60)], "detection": d} for x, y, d in spots]
    one, other = with_walked(found, searches), found
    for search in reversed(searches):
        other = with_walked(other, search)
    assert whole(one) == pytest.approx(1.0, abs=1e-12) and np.allclose(one["probability"], other["probability"], rtol=1e-12, atol=0.0)
    dark = one["missed"].values == 1.0
    with np.errstate(invalid="ignore"):
        rise = one["probability"].values / found["probability"].values
    assert np.nanmax(rise) <= np.nanmax(rise[dark]) * (1.0 + 1e-12)


def test_strips__find_what_a_search_of_them_finds_and_never_more_than_the_best(found):
    plan = next_strips(found, hours=2, sweep_width="10 m", progress=False)
    assert (plan["moment_expected"] <= plan["moment_best_swept"] + 1e-9).all() and (plan["moment_best_swept"] <= plan["moment_best"] + 1e-9).all()
    assert float(plan["moment_expected"][-1]) > 0.7 * float(plan["moment_best_swept"][-1])  # measured: 0.9
    assert float(with_walked(found, plan)["found_by_now"].item()) == pytest.approx(
        float(plan["moment_expected"][-1]), rel=1e-3
    )  # strips are kept to the centimetre
    assert float(plan["hour_found"].sum()) == pytest.approx(float(plan["moment_expected"][-1]), rel=1e-9)
    assert (plan["strip_end"].values <= 7200.0 + 1e-6).all()
    with pytest.raises(ValueError, match="no strip lies within"):
        next_strips(found, hours="5 min", sweep_width="10 m", start=(9e3, 0.0), progress=False)


@pytest.mark.parametrize(
    ("search", "words"),
    [
        ({"area": [(0, 0), (9, 0), (9, 9)], "cover": "gras", "spacing": 5}, 'there is no cover "gras"; did you mean "grass"'),
        ({"area": [(0, 0), (9, 0), (9, 9)], "cover": "grass"}, "nothing says how thoroughly"),
        ({"area": [(0, 0), (9, 9), (9, 0), (0, 9)], "detection": 0.5}, "is no simple polygon"),
        ({"track": [(0, 0), (9, 0)], "cover": "grass", "coverage": 1}, "coverage is about an area"),
        ({"area": [(0, 0), (9, 0), (9, 9)], "detection": 1}, "must be below 1"),
        ({"aera": []}, '"aera" is no key of a search; did you mean "area"'),
    ],
)
def test_walked__says_what_is_wrong(found, search, words):
    with pytest.raises(ValueError, match=words):
        with_walked(found, search)


def test_exports__are_read_again(demo_ensemble, tmp_path):
    from fastkml.validator import validate

    ds = search_map(demo_ensemble, cell="25 m", last_fix=(200.0, 100.0))
    walked = with_walked(ds, [{"area": [(0, 0), (300, 0), (300, 200)], "cover": "grass", "spacing": 15}, {"track": [(0, 0), (200, 90)], "cover": "open"}])
    plan = next_strips(walked, hours=1, cover="open", progress=False)
    for name, write in (("a.geojson", search_geojson), ("a.kml", search_kml), ("a.gpx", search_gpx)):
        write(plan, tmp_path / name)
        with pytest.raises(FileExistsError):
            write(plan, tmp_path / name)
    assert validate(file_to_validate=tmp_path / "a.kml")
    assert with_walked(ds, tmp_path / "a.geojson")["found_by_now"].values == pytest.approx(walked["found_by_now"].values, rel=1e-4)  # 7 decimals, centimetres
    again = with_walked(walked, tmp_path / "a.gpx", cover="open", searchers=2)
    rest = (1.0 - walked["found_by_now"].values) * (1.0 - plan["moment_found"].values[-1])
    assert 1.0 - again["found_by_now"].values == pytest.approx(rest, rel=1e-4)


def test_walked__properties_that_a_phone_writes_are_not_read(demo_ensemble):
    found = search_map(demo_ensemble, cell="50 m")
    ring = [[[-117.0, 38.0], [-116.999, 38.0], [-116.999, 38.001], [-117.0, 38.0]]]
    feature = {
        "type": "Feature",
        "properties": {"cover": "grass", "spacing": 10, "fid": 3, "stroke": "#ff0000"},
        "geometry": {"type": "Polygon", "coordinates": ring},
    }
    assert with_walked(found, feature).sizes["search"] == 1
    feature["properties"]["covr"] = "grass"
    with pytest.raises(ValueError, match="'?\"?covr\"?'? is no key of a search"):
        with_walked(found, feature)

"""Where it lands, of ensembles written by hand and of flights: counts, circles, ellipses, contours, branches, the page."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from landing_by_hand import a_field, box, feature, flown, ring, scattered

import sixdof
from sixdof.preflight import landing, lands_in_field
from sixdof.results.status import Status
from sixdof.study.landing.field import in_metres
from sixdof.study.landing.groups import contours, least_for, normality
from sixdof.study.landing.strata import certain, strata_of
from sixdof.study.uncertainty.scatter import containment

# Clopper-Pearson limits of 5 of 100 with 95 %, computed with scipy 1.17.1 and mpmath 1.4.1
FIVE_OF_HUNDRED = (0.0164318792, 0.1128349111)
OUTSIDE, NO_GO = "a piece lands outside the field", "a piece lands in a no-go area"


# ---------------------------------------------------------------- probabilities


def test_probability__is_counted_with_its_interval(demo_mission):
    places = np.zeros((100, 2))
    places[:5] = (1500.0, 0.0)
    ds = landing(flown(demo_mission, places), field=a_field(demo_mission.site), confidence=0.95)
    one = ds.sel(limit=OUTSIDE)
    assert float(one.probability) == 0.05 and int(one.exceeding) == 5
    assert (float(one.probability_low), float(one.probability_high)) == pytest.approx(FIVE_OF_HUNDRED, abs=1e-9)
    assert list(ds["branch"].values) == ["all", "nominal"]


def test_limits__each_and_any_by_hand(demo_mission):
    """Ten flights, each limit not kept by flights known beforehand."""
    site = demo_mission.site
    places = np.array([[0, 0], [500, 500], [-500, 0], [1200, 0], [0, 0], [0, -900], [300, 0], [301, 0], [0, 0], [0, 0]], dtype=float)
    more = [feature("Polygon", [box(site, 450, 450, 550, 550)], role="no_go")]
    more += [feature("LineString", ring(site, (-560.0, -50.0), (-560.0, 50.0))[:2], role="people")]
    apogee = np.full((10, 1, 1), 400.0)
    apogee[8] = 700.0
    ds = landing(flown(demo_mission, places, apogee), field=a_field(site, *more), people_distance="75 m", ceiling="600 m", waiver="1000 m")
    which = {str(name): np.flatnonzero(ds["exceeded"].sel(limit=name).values).tolist() for name in ds["limit"].values}
    assert which == {
        OUTSIDE: [3],
        NO_GO: [1],
        "a piece lands nearer than 75 m to people": [2],
        "a piece climbs above 600 m": [8],
        "a piece leaves the waiver": [3],
        "any of these": [1, 2, 3, 8],
    }
    nearest = ds["people_distance_quantile"].sel(branch="all", quantile=0.0).values
    assert nearest == pytest.approx([60.0], abs=0.01)


def test_body__that_does_not_come_down_and_flight_that_cannot_be_told(demo_mission):
    ensemble = flown(demo_mission, [[0.0, 0.0], [math.nan, math.nan], [0.0, 0.0], [0.0, 0.0]])
    ensemble["status"].values[2:] = Status.DIVERGED, Status.NO_LIFTOFF
    ds = landing(ensemble, field=a_field(demo_mission.site), ceiling="1 km")
    assert ds.sizes["flight"] == 3 and ds.attrs["never_left_the_rail"] == 1
    assert ds["exceeded"].sel(limit=OUTSIDE).values.tolist() == [0, 1, 1]
    assert ds["exceeded"].sel(limit="a piece climbs above 1000 m").values.tolist() == [0, 0, 1]
    page = sixdof.report(ds)
    assert "1 flight never left the rail" in page and "1 flight cannot be told" in page and "1 body does not come down" in page


# ---------------------------------------------------------------- places in numbers


def test_circles_and_ellipse__of_normal_places(demo_mission):
    places = scattered(300)
    ensemble = flown(demo_mission, places)
    ds = landing(ensemble).sel(branch="all").isel(body=0)
    distance = np.sort(np.hypot(*(places - places.mean(axis=0)).T))
    assert (float(ds.cep), float(ds.r95)) == pytest.approx((distance[149], distance[284]))  # the 150th and the 285th of 300
    assert (float(ds.mean_east), float(ds.mean_north)) == pytest.approx(tuple(places.mean(axis=0)))
    assert (float(ds.distance_median), float(ds.distance_max)) == pytest.approx((np.median(np.hypot(*places.T)), np.hypot(*places.T).max()))
    e = containment(ensemble, 0.95, x="landing_east", y="landing_north")
    assert float(ds.normality) > 0.05
    found = float(ds.ellipse_semi_major), float(ds.ellipse_semi_minor), float(ds.ellipse_angle)
    assert found == pytest.approx((float(e.semi_major), float(e.semi_minor), float(e.angle)))


def test_contour__of_normal_places(demo_mission):
    """The region of highest density of a normal is an ellipse of pi k^2 s1 s2, k^2 = -2 ln(1 - share)."""
    ds = landing(flown(demo_mission, scattered(4000))).sel(branch="all").isel(body=0)
    for share in (0.5, 0.9):
        exact = -2.0 * math.pi * math.log(1.0 - share) * 200.0 * 60.0
        assert float(ds.contour_area.sel(share=share)) == pytest.approx(exact, rel=0.06)  # the share of 4000 is known to 1 % of it, the kernel widens by some


def test_ellipse__is_left_out_for_places_that_are_not_normal(demo_mission):
    two = np.concatenate([scattered(60), scattered(60) + (1500.0, 0.0)])
    ds = landing(flown(demo_mission, two)).sel(branch="all").isel(body=0)
    assert float(ds.normality) < 0.01 and math.isnan(float(ds.ellipse_semi_major))
    mixed = flown(demo_mission, scattered(200))
    mixed["branch"] = ("flight", np.where(np.arange(200) < 40, "late_apogee: it", "nominal"))
    found = landing(mixed).isel(body=0)
    assert np.isfinite(found.ellipse_semi_major.sel(branch=["nominal", "late_apogee: it"]).values).all()
    assert math.isnan(float(found.ellipse_semi_major.sel(branch="all"))) and "none: several branches" in sixdof.report(landing(mixed))
    few = landing(flown(demo_mission, scattered(19))).sel(branch="all").isel(body=0)
    assert math.isnan(float(few.normality)) and math.isnan(float(few.ellipse_semi_major))


def test_normality__is_that_of_mardias_two_measures():
    """Against their definition, the sums over all pairs of places, and the probabilities of a sample that is normal."""
    from scipy.stats import chi2, norm

    places = np.random.default_rng(5).gamma(2.0, size=(50, 2))
    off = places - places.mean(axis=0)
    inner = off @ np.linalg.inv(off.T @ off / 50.0) @ off.T
    skew, peak = (inner**3).sum() / 50.0**2, (np.diag(inner) ** 2).mean()
    expected = 2.0 * min(chi2.sf(50.0 * skew / 6.0, 4), 2.0 * norm.sf(abs((peak - 8.0) / math.sqrt(64.0 / 50.0))))
    assert normality(places) == pytest.approx(min(expected, 1.0), rel=1e-9)
    refused = np.mean([normality(scattered(200, seed)) < 0.05 for seed in range(400)])
    assert 0.01 < refused < 0.09  # 5 % of normal samples, and three standard errors of 400; the test is somewhat cautious for few places


@pytest.mark.parametrize(("share", "least"), [(0.5, 10), (0.9, 10), (0.95, 20), (0.99, 100)])
def test_contour__needs_so_many_places(demo_mission, share, least):
    assert least_for(share) == least
    fewer, enough = (landing(flown(demo_mission, scattered(n))) for n in (least - 1, least))
    assert math.isnan(float(fewer.contour_area.sel(share=share, branch="all").item())) and share not in contours(fewer, str(fewer["body"].values[0]))
    assert float(enough.contour_area.sel(share=share, branch="all").item()) > 0.0


def test_places__are_in_degrees_too(demo_mission):
    ds = landing(flown(demo_mission, [[0.0, 0.0], [700.0, -300.0], [1.0, 2.0]]))
    east, north = in_metres(demo_mission.site, ds.landing_latitude.values[:, 0], ds.landing_longitude.values[:, 0])
    assert np.allclose(np.column_stack([east, north]), [[0.0, 0.0], [700.0, -300.0], [1.0, 2.0]], atol=1e-5)


# ---------------------------------------------------------------- branches, with failures made certain


@pytest.fixture(scope="module")
def ensemble(stack_mission):
    return sixdof.disperse(stack_mission, 30, seed=3, progress=False)


@pytest.fixture(scope="module")
def staged(ensemble, stack_mission):
    """30 flights of the two-stage demo and 4 of each failure, held to a field that pieces leave now and then."""
    field = a_field(stack_mission.site)
    return landing(ensemble, field=field, failing=4, criteria="landing within 1200 m of the rail in 60 % of flights", progress=False)


def test_strata__are_weighted(staged, stack_mission):
    """The probability is the sum of each stratum's own share times its weight, counted anew here."""
    strata, number, out = strata_of(stack_mission), staged["stratum"].values, staged["exceeded"].sel(limit=OUTSIDE).values
    flown_weight = sum(weight for k, weight in enumerate(strata.weights) if (number == k).any())
    expected = sum(weight * out[number == k].mean() for k, weight in enumerate(strata.weights) if (number == k).any()) / flown_weight
    assert float(staged.probability.sel(limit=OUTSIDE)) == pytest.approx(expected)
    assert 0.0 < expected < 1.0 and staged.sizes["flight"] == 30 + 4 * len(stack_mission.failure)
    assert float(staged["branch_probability"].sel(branch=staged["branch"].values[1:]).sum()) == pytest.approx(1.0)
    assert float(staged["branch_probability"].sel(branch="no_ignition: whinchat")) == pytest.approx(strata.weights[1], rel=0.2)


def test_branches__take_flights_with_a_failure_made_certain_and_all_does_not(staged):
    drawn = staged["made_certain"].values == ""
    assert drawn.sum() == 30 and len(set(staged["flight"].values)) == staged.sizes["flight"]
    body = str(staged["body"].values[0])
    assert int(staged.flights.sel(branch="all", body=body)) == 30
    for name in staged["branch"].values[2:]:
        own = (staged["flight_branch"].values == name) & (staged["flies"].sel(body=body).values > 0)
        assert int(staged.flights.sel(branch=name, body=body)) == own.sum()
    assert (staged.sel(branch="no_separation: drayhorse").flights.values[1:] == 0).all()  # no other body flies by itself


def test_flight__with_a_failure_made_certain_flies_again(staged, stack_mission):
    number = int(staged["flight"].values[staged["made_certain"].values == "no_ignition: whinchat"][3])
    again = sixdof.fly(certain(stack_mission, 0), flight=number, seed=3)
    place = staged.sel(flight=number)
    assert place["landing_east"].values[0] == float(again["body_landing_east"].values[0])
    assert str(place["flight_branch"].values).startswith("no_ignition: whinchat")


def test_page__of_branches(staged):
    page = sixdof.report(staged)
    flat = " ".join(page.split())
    assert flat.startswith("Where it lands: Whinchat on Drayhorse")
    assert "4 flights more with each of these made certain" in flat and "Fay, Proschan & Brittain" in flat
    for words in ("How probable it is that", "Criteria, by the flights as drawn", "Branches of failures", "Landing places", "Area of the contour"):
        assert f"\n{words}" in page
    assert "drayhorse, no_deployment: booster main" in page
    assert max(map(len, page.splitlines())) <= 160
    assert "clearance to fly" in page.splitlines()[-1]


def test_criteria__are_judged_by_flights_as_drawn(staged, ensemble):
    near = np.hypot(ensemble.landing_east, ensemble.landing_north) <= 1200.0
    assert float(staged["observed"].item()) == pytest.approx(float(near.mean()))
    assert staged["criterion"].values.tolist() == ["landing within 1200 m of the rail in 60 % of flights"]


def test_ensemble__and_mission_give_the_same(demo_mission, demo_ensemble):
    field = a_field(demo_mission.site)
    flown_here, given = landing(demo_mission, 40, field=field, seed=7, progress=False), landing(demo_ensemble, field=field)
    for name in ("landing_east", "probability", "probability_high", "contour_area", "branch_exceeded"):
        assert np.array_equal(flown_here[name].values, given[name].values, equal_nan=True), name


def test_result__is_stored_and_read(staged, tmp_path):
    sixdof.save(staged, tmp_path / "landing.nc")
    read = xr.open_dataset(tmp_path / "landing.nc").load()
    assert sixdof.report(read) == sixdof.report(staged)


# ---------------------------------------------------------------- the field as a criterion


def test_criterion__holds_where_landing_says_so(staged, ensemble, stack_mission):
    keeps = lands_in_field(a_field(stack_mission.site), "80 %")
    expected = staged["exceeded"].sel(limit=OUTSIDE).values[:30] == 0
    assert (keeps.holds(ensemble)[0] == expected).all() and keeps.share == 0.8
    compared = sixdof.compare({"as written": stack_mission}, 6, seed=3, criteria=keeps, progress=False)
    judged = sixdof.stats.judge_criteria(compared, keeps)
    assert float(judged.observed.item()) == pytest.approx(expected[:6].mean())


# ---------------------------------------------------------------- cautions and faults


def test_page__says_where_the_model_is_less_sure(staged, ensemble):
    """Counted anew from the ensemble: bodies that come down by themselves and not under a canopy, and times above Mach 0.8."""
    down = np.isfinite(staged["landing_east"].values[:30])
    falling = int((down & (ensemble["descent"].values != 1)).any(axis=1).sum())
    assert staged.attrs["falling"] == falling and staged.attrs["beyond_incidence"] == int((ensemble.time_beyond_incidence > 0.0).sum())
    page = sixdof.report(staged)
    assert ("comes down without a canopy" in page) == (falling > 0) and "beyond 15 deg of incidence in the climb" in page


def test_landing__of_what_never_leaves_the_rail_says_so(demo_mission):
    mass = next(part.name for part in demo_mission.stage[0].part if part.kind == "mass")
    stuck = demo_mission.change({f"stage.0.part.{mass}.mass": "80 kg"})
    with pytest.raises(ValueError, match="none of the flights left the rail"):
        landing(stuck, 2, waiver="500 m", progress=False, threads=1)
    card = sixdof.preflight.launch_card(stuck, "apogee_height > 1 m in 50 % of flights", flights=2, directions=0, progress=False, threads=1)
    assert "100.0 % of flights did not leave the rail" in sixdof.report(card)


def test_caution__where_the_rail_stands_outside(demo_mission):
    field = feature("Polygon", [box(demo_mission.site, 100, 100, 900, 900)])
    assert "the rail stands outside the field" in sixdof.report(landing(flown(demo_mission, scattered(5)), field=field))


def test_landing__says_what_is_wrong(demo_mission, demo_flight, demo_ensemble):
    cases = [
        (ValueError, "takes many flights", lambda: landing(demo_flight)),
        (TypeError, "say how many flights", lambda: landing(demo_mission)),
        (TypeError, "takes a mission or an ensemble", lambda: landing("configs/sampler.toml")),
        (TypeError, "is flown already", lambda: landing(demo_ensemble, 40)),
        (ValueError, "this one has none", lambda: landing(demo_ensemble, failing=5)),
        (ValueError, "must be a number of flights", lambda: landing(demo_ensemble, failing=-1)),
        (ValueError, "needs people", lambda: landing(demo_ensemble, people_distance="200 m")),
        (ValueError, 'people_distance = "200" has no unit', lambda: landing(demo_ensemble, people_distance="200")),
        (ValueError, "ceiling = -3", lambda: landing(demo_ensemble, ceiling=-3.0)),
        (ValueError, "confidence", lambda: landing(demo_ensemble, confidence=95.0)),
        (ValueError, "needs the result of sixdof.preflight.landing", lambda: sixdof.preflight.landing_kml(demo_ensemble)),
        (ValueError, "there is no branch 'none'", lambda: sixdof.preflight.landing_geojson(landing(demo_ensemble), branches=["none"])),
    ]
    for kind, words, call in cases:
        with pytest.raises(kind, match=words):
            call()

"""Ballast for a margin: against the mass that statics needs, and that drawn flights with it have what was asked for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strangers import stranger

import sixdof
from sixdof.study.as_built.ballast import ballast
from sixdof.study.sweep.ballast import ballasted, nose_station
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe

QUIET = {"progress": False, "threads": 1}


@pytest.fixture(scope="module")
def found(demo_mission):
    return ballast(demo_mission, "2.2 calibres", flights=20, **QUIET)


def test_ballast__of_one_flight_is_that_of_statics(demo_mission):
    """Nothing drawn: m (x - x_b) = M dx with the cg and mass that the flight has as it leaves the rail; the centre of pressure hardly moves with the speed."""
    plain = demo_mission.change({"disperse": {}, "correlation": [], "failure": []})
    ds = ballast(plain, 2.5, flights=1, share=0.5, **QUIET)
    flight = sixdof.fly(plain)
    at = float(flight["event_time"].isel(body=0).sel(event="rail_departure"))
    mass, cg = (float(np.interp(at, flight["time"], flight[name])) for name in ("mass", "cg"))
    calibre = shape_of(plain.stage).diameter
    shift = (2.5 - float(flight["rail_departure_margin"])) * calibre
    wanted = mass * shift / (cg - shift - nose_station(plain))
    assert float(ds["ballast_mass"]) == pytest.approx(wanted, rel=0.04)  # 0.01 calibres of 0.6, and the slower exit
    assert float(sixdof.fly(ballasted(plain, float(ds["ballast_mass"])))["rail_departure_margin"]) == pytest.approx(2.5, abs=0.011)


def test_ballast__is_kept_by_the_share_of_an_ensemble(demo_mission, found):
    """Flown as an ensemble of the mission with the mass in it: 19 of 20 flights have what was asked for."""
    heavier = ballasted(demo_mission, float(found["ballast_mass"])).change({"failure": []})
    flights = sixdof.disperse(heavier, 20, seed=0, progress=False)
    margins = np.sort(flights["rail_departure_margin"].values)
    assert margins[0] == pytest.approx(2.2, abs=0.012) and (margins >= 2.2 - 1e-9).mean() >= 0.95
    assert float(found["apogee"][1]) == pytest.approx(float(sixdof.fly(heavier)["apogee_height"]), rel=1e-9)
    assert found["apogee"][1] < found["apogee"][0] and found["departure_speed"][1] < found["departure_speed"][0]
    assert float(np.diff(found["liftoff_mass"].values)[0]) == pytest.approx(float(found["ballast_mass"]), rel=1e-6)


def test_ballast__where_the_margin_is_too_large_goes_into_the_tail():
    mission = stranger("slender")
    ds = ballast(mission, "1.5 calibres", flights=6, **QUIET)
    assert ds.attrs["place"] == "the tail of needlegrass" and ds.attrs["met"] == 1
    low = float(ds["margin_tried"].values[list(ds["mass_tried"].values).index(float(ds["ballast_mass"]))])
    assert 1.5 <= low <= 1.51 and float(ds["margin_tried"][0]) > 2.0
    assert "It has more than that" in sixdof.report(ds)


def test_ballast__that_does_not_suffice_says_so(demo_mission):
    ds = ballast(demo_mission, 3.0, flights=4, most="50 g", **QUIET)
    assert ds.attrs["met"] == 0 and math.isnan(float(ds["ballast_mass"])) and float(ds["ballast"][1]) == pytest.approx(0.05)
    page = " ".join(sixdof.report(ds).split())
    assert "Nothing in the nose" in page and "up to 50 g were flown" in page and "Larger fins" in page


def test_ballast__none_where_the_margin_is_there(found, demo_mission):
    asked = float(found["margin_tried"][0])
    ds = ballast(demo_mission, asked, flights=20, **QUIET)
    assert float(ds["ballast_mass"]) == 0.0 and "None is needed" in sixdof.report(ds)


@pytest.mark.parametrize(("name", "at"), [pytest.param("stack", "flight", marks=pytest.mark.slow), pytest.param("canard", "burnout", marks=pytest.mark.slow)])
def test_ballast__of_vehicles_nobody_tuned(name, at):
    mission = stranger(name)
    ds = ballast(mission, 2.6, at, flights=2, **QUIET)
    page = sixdof.report(ds)
    assert "static margin of 2.6 calibres" in page and "not a clearance to fly" in page
    assert ds.attrs["met"] in (0, 1) and np.isfinite(ds["margin_tried"].values).all()


@pytest.mark.slow
def test_ballast__at_a_station_of_ones_own(stack_mission):
    """In the booster's fore end: it stands behind the stack's balance point, so it lowers the margin, and a higher one is out of reach."""
    place = {"stage": "drayhorse", "station": "400 mm"}
    ds = ballast(stack_mission, 3.5, place=place, flights=1, most="30 g", **QUIET)
    assert ds.attrs["stage"] == "drayhorse" and float(ds["ballast_station"]) == pytest.approx(0.4) and ds.attrs["met"] == 0
    assert float(ds["ballast"][1]) == 0.0


def test_ballasted__weighed_and_swung_is_as_if_measured_with_it(demo_mission):
    """Parallel axes by hand: 100 g at 300 mm on 1.9 kg at 700 mm and 0.2 kg m^2."""
    table = {"mass": "1.9 kg", "cg": "700 mm", "inertia_pitch": 0.2, "inertia_yaw": 0.2, "inertia_roll": 0.002}
    heavier = ballasted(demo_mission.change({"stage.0.measured": table}), 0.1, 0, 0.3).stage[0].measured
    assert (heavier.mass, heavier.cg) == pytest.approx((2.0, 0.68))
    assert heavier.inertia_pitch == pytest.approx(0.2 + 1.9 * 0.02**2 + 0.1 * 0.38**2) and heavier.inertia_roll == pytest.approx(0.002)
    plain = ballasted(demo_mission, 0.1, 0, 0.9)
    before, after = (airframe(shape_of(one.stage), 0, one.stage[0]) for one in (demo_mission, plain))
    assert after.mass == pytest.approx(before.mass + 0.1) and plain.stage[0].part[-1].name == "ballast"


def test_ballast__refuses_what_cannot_be(demo_mission):
    for arguments, said in (
        ({"margin": "2 mm"}, 'margin = "2 mm" is not a static margin'),
        ({"margin": -1.0}, "margin = -1 is not a static margin"),
        ({"at": "landing"}, 'at = "landing" is no event of the climb'),
        ({"place": "fins"}, 'place = "fins" is neither "nose" nor "tail"'),
        ({"share": 1.0}, "share = 1 must be between 0 and 1"),
        ({"flights": 0}, "flights = 0 must be a whole number"),
    ):
        with pytest.raises(ValueError, match=f"ballast: {said}".replace("(", r"\(")):
            ballast(demo_mission, **{"flights": 1, **QUIET, **arguments})
    with pytest.raises(TypeError, match="ballast: mission must be"):
        ballast("sampler.toml")


@pytest.mark.filterwarnings("ignore:.*rail")
def test_ballast__of_a_vehicle_that_stays_on_the_rail_is_refused(demo_mission):
    heavy = demo_mission.change({"stage.0.part.air sampler.mass": "60 kg"})
    with pytest.raises(ValueError, match="does not leave the rail"):
        sixdof.workshop.ballast(heavy, flights=2, progress=False)

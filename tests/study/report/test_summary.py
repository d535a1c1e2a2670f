"""The page about a flight or an ensemble: what it says, and what it warns of."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from results_by_hand import ensemble_by_hand, flight_by_hand

from sixdof.results.status import Descent, Status
from sixdof.study.reading.page import LAST_LINE, bearing_of
from sixdof.study.reading.result import downrange, height_bands, quantiles
from sixdof.study.report.cautions import cautions, wind_at_departure
from sixdof.study.report.summary import summarise


@pytest.fixture
def flight(demo_mission):
    """A flight by hand that gives no caution."""
    ds = flight_by_hand(demo_mission)
    ds["rail_departure_speed"].values[()] = 20.0  # the wind is 4 m/s
    ds["rail_departure_incidence"].values[()] = 0.1
    ds["static_margin_min"].values[()] = 2.0
    ds["saturation_share"].values[()] = 0.0
    ds["time_above_mach_08"].values[()] = ds["time_beyond_incidence"].values[()] = 0.0
    ds["landing_east"].values[()], ds["landing_north"].values[()] = -30.0, 40.0
    return ds


@pytest.fixture
def ensemble(demo_mission):
    ds = ensemble_by_hand(demo_mission, np.random.default_rng(5).normal(size=(20, 2)) * 100.0)
    ds["wind_speed"] = ("flight", np.full(20, 1.0))
    return ds.assign(rail_departure_speed=20.0 + 0.0 * ds["rail_departure_speed"])


def test_summarise__way_and_energy_of_a_vehicle_of_one_body(flight, ensemble):
    page = summarise(flight)
    assert "energy at the ground              J                 10" in page and "  comes down under a canopy\n" in page
    flight["descent"].values[:], flight["descent_incidence"].values[:] = Descent.TAIL_FIRST, np.radians(150.0)
    assert "  comes down tail first at 150 deg of incidence\n" in summarise(flight)
    ensemble["descent"].values[:3] = Descent.BROADSIDE
    assert "comes down under a canopy in 17, broadside in 3 of 20 flights" in summarise(ensemble)


def test_summarise__a_flight_without_cautions(flight):
    page = summarise(flight)
    assert "departure speed                   m/s             20.0" in page
    assert "50 m from the rail, bearing 323 deg true" in page  # 3-4-5 triangle: 360 - atan(3/4) = 323.13 deg
    assert Status.LANDED.sentence in page and page.endswith(LAST_LINE)
    assert "Mach above 0.8: never" in page and "no cautions raised" in page
    assert cautions(flight) == []


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("rail_departure_speed", 15.9, "less than 4 times the wind there, 3.98 times"),
        ("rail_departure_incidence", np.radians(15.1), "beyond 15 deg"),
        ("static_margin_min", 0.9, "below 1 calibre, 0.9 calibres"),
        ("static_margin_min", 3.1, "above 3 calibres"),
        ("saturation_share", 0.2, "for more than 10 %"),
        ("opening_airspeed", np.nan, "no canopy opened"),
        ("status", Status.OUT_OF_TIME, "no landing was reached"),
    ],
)
def test_cautions__one_for_each_check(flight, name, value, words):
    flight[name].values[()] = value
    found = cautions(flight)
    assert len(found) == 1 and words in found[0]
    assert words.split()[0] in summarise(flight)


def test_summarise__landing_place_in_latitude_and_longitude(flight, ensemble):
    assert "bearing 323 deg true, 38.00000 N, 117.00000 W" in summarise(flight)
    south = flight.assign(body_landing_latitude=("body", [-12.345678]), body_landing_longitude=("body", [170.0]))
    assert "323 deg true, 12.34568 S, 170.00000 E" in summarise(south)
    old = flight.drop_vars(["body_landing_latitude", "body_landing_longitude"])  # a file written before there were such variables
    assert "bearing 323 deg true\n" in summarise(old)
    ensemble["body_landing_longitude"].values[:] = np.where(np.arange(20) < 10, 179.99, -179.97)[:, None]  # across the date line
    assert "deg true, 38.00000 N, 179.99000 W" in " ".join(summarise(ensemble).split())


def test_cautions__descent_rate(flight):
    flight["event_velocity_up"].loc[{"event": "landing"}] = -6.2
    assert "descent rate at landing is above 6.1 m/s, 6.2 m/s" in cautions(flight)[0]


def test_summarise__time_beyond_the_model_is_said_plainly(flight):
    flight["time_above_mach_08"].values[()] = 1.25
    flight["time_beyond_incidence"].values[()] = 0.5
    page = " ".join(summarise(flight).split())
    assert "Mach above 0.8: for 1.25 s" in page and "incidence beyond 15 deg in the climb: for 0.50 s" in page


def test_summarise__an_ensemble_shows_quantiles_and_counts(ensemble):
    ensemble["status"].values[3] = Status.DIVERGED
    ensemble["apogee_height"].values[3] = 1e12  # means nothing, and must not be shown
    ensemble["time_above_mach_08"].values[:] = 0.0
    ensemble["time_above_mach_08"].values[:5] = 2.0
    page = " ".join(summarise(ensemble).split())
    good = np.delete(ensemble["apogee_height"].values, 3)
    assert quantiles(ensemble, "apogee_height") == pytest.approx(np.quantile(good, (0.05, 0.5, 0.95)), rel=1e-12)
    assert "apogee above ground m 1 2 2 " in page  # 1.05, 1.5 and 1.95 without decimals, half to even
    assert "19 of 20 flights (95.0 %): The vehicle came back" in page and "1 of 20 flights (5.0 %): The motion" in page
    assert "Mach above 0.8: in 4 of 19 flights (21 %), for up to 2.00 s" in page
    assert "1 flight without a landing place omitted" in page
    assert "seed 1" in page and "for normally distributed landing places" in page


def test_summarise__flights_that_all_failed(ensemble):
    ensemble["status"].values[:] = Status.NO_LIFTOFF
    page = summarise(ensemble)
    assert "no flight came down" in page and "not judged" in page and "nan" not in page


def test_summarise__real_results(demo_flight, demo_ensemble):
    for ds in (demo_flight, demo_ensemble):
        page = summarise(ds)
        assert "nan" not in page and max(len(line) for line in page.splitlines()) < 120
    assert "40 flights, seed 7" in summarise(demo_ensemble)


def test_summarise__needs_outcomes():
    with pytest.raises(ValueError, match="holds no outcomes"):
        summarise(xr.Dataset({"x": 1.0}))


def test_wind_at_departure__flight_and_ensemble_agree(demo_flight, demo_mission, demo_ensemble):
    own = wind_at_departure(demo_flight)[0]
    wind, height = demo_mission.air.wind, float(demo_flight["event_height"].isel(body=0).sel(event="rail_departure"))
    # power law; the log interpolates between rows 0.02 s apart, about 0.4 m on the rail, which bends by less than 1e-3
    assert own == pytest.approx(wind.speed * (height / wind.reference_height) ** wind.exponent, rel=1e-3)
    ratio = wind_at_departure(demo_ensemble) / demo_ensemble["wind_speed"].values
    assert ratio == pytest.approx(np.full(40, own / wind.speed), rel=0.01)  # they leave at almost the same height


@pytest.mark.parametrize(("east", "north", "wanted"), [(0, 1, 0), (1, 0, 90), (0, -1, 180), (-1, 0, 270)])
def test_bearing_of__compass(east, north, wanted):
    assert bearing_of(east, north) == pytest.approx(wanted, abs=1e-12)


def test_downrange__along_the_rail(demo_mission):
    ds = flight_by_hand(demo_mission)
    assert downrange(ds).values == pytest.approx(3.0 * ds["time"].values, abs=1e-9)
    with pytest.raises(ValueError, match="attribute `mission` is missing"):
        downrange(ds.drop_attrs())


def test_height_bands__hold_landed_flights_at_the_ground_and_drop_failed_ones(demo_mission):
    ds = ensemble_by_hand(demo_mission, np.zeros((5, 2)))
    ds["status"].values[0] = Status.DIVERGED
    ds["time"].values[1, -1] = ds["height"].values[1, -1] = np.nan  # a shorter track
    bands = height_bands(ds, (0.0, 0.5, 1.0), points=30)
    assert (int(bands["used"]), int(bands["dropped"])) == (4, 1)
    low, middle, high = bands["height"].values
    assert (low <= middle).all() and (middle <= high).all()
    assert float(bands["time"][-1]) == 42.0 and low[-1] == 0.0
    top = 400.0 * 7 / 15 * 8 / 15  # the points of an arc next to its middle
    assert high.max() <= top + 1e-9


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("time_transonic", "Mach 0.8 to 1.2: for 0.75 s"),
        ("time_stalled", "a fin stalled in the climb: for 0.75 s"),
        ("time_beyond_reynolds", "Reynolds number outside 5e5 to 1e8 in the climb: for 0.75 s"),
    ],
)
def test_summarise__every_clock_of_validity(flight, name, words):
    before = " ".join(summarise(flight.assign({name: 0.0 * flight[name]})).split())
    assert words.partition(":")[0] + ": never" in before
    flight[name].values[()] = 0.75
    assert words in " ".join(summarise(flight).split())


def test_summarise__hinge_moment_against_the_stall_torque(demo_mission):
    """A moment of 1 N m (every outcome by hand is 1) of a stall torque of 4 N m is 25 %."""
    assert "stall torque" not in summarise(flight_by_hand(demo_mission))
    page = summarise(flight_by_hand(demo_mission.change({"servo.stall_torque": "4 N*m"})))
    assert "of the servos' stall torque     %               25.0" in page


def test_summarise__estimate(demo_mission):
    assert "ideal sensors: the flight computer is told the truth" in summarise(flight_by_hand(demo_mission))
    page = summarise(flight_by_hand(demo_mission.change({"sensors.gyro.bias": 0.01})))
    assert "attitude error, largest           deg            57.30" in page and "ideal" not in page  # 1 rad


def test_summarise__waypoints(demo_mission):
    point = {"east": 1.0, "north": 2.0, "height": 90.0, "radius": 7.5}
    mission = demo_mission.change({"guidance.waypoint": [point, point]})
    ds = flight_by_hand(mission).assign(waypoint_miss=("waypoint_number", [3.25, np.nan]))
    page = summarise(ds)
    assert "captured, of 2" in page and "flight computer's own estimate" in page
    assert "miss distance of 1, radius 7.5 m  m                3.2" in page
    assert "miss distance of 2, radius 7.5 m  m               none" in page
    flights = ensemble_by_hand(mission, np.zeros((3, 2)))
    flights["waypoint_miss"] = (("flight", "waypoint_number"), [[1.0, 2.0], [2.0, 2.0], [3.0, np.nan]])
    assert "miss distance of 1, radius 7.5 m  m                1.1       2.0       2.9" in summarise(flights)


def test_summarise__of_no_dataset():
    with pytest.raises(TypeError, match="summarise: ds must be a Dataset that sixdof made, .*, not 3"):
        summarise(3)

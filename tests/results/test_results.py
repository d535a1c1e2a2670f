"""From what flights leave to Datasets and files: variables where the registry says, names along dims, nothing lost on disk."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from pyproj import Geod
from results_by_hand import JOINT_FACTS, RULE_TIMES, STAGE_FACTS, STAGE_TIMES, staged_ensemble, staged_flight, staged_flown, staged_mission

from sixdof.core import layout
from sixdof.core.layout import Ending
from sixdof.draws.table import draw_table
from sixdof.results.dataset import branch_names, open_result, save
from sixdof.results.names import body_names, event_names
from sixdof.results.registry import READING_UNITS, REGISTRY
from sixdof.results.status import UNREACHED, Descent


@pytest.fixture(scope="module")
def flight(demo_mission):
    return staged_flight(demo_mission)


@pytest.fixture(scope="module")
def ensemble(demo_mission):
    spread = {"rule.delay": {"kind": "uniform", "low": 0.0, "high": 0.2}, "wind.speed": {"sd": 1.0}}
    return staged_ensemble(demo_mission, disperse=spread)


@pytest.mark.parametrize("which", ["flight", "ensemble"])
def test_dataset__follows_the_registry(which, request):
    ds = request.getfixturevalue(which)
    lead = ("flight",) if which == "ensemble" else ()
    known = [name for name in ds.data_vars if "disperses" not in ds[name].attrs]
    assert set(known) <= set(REGISTRY)
    for name in known:
        assert ds[name].dims == (*lead, *REGISTRY[name].dims), name
        assert (ds[name].attrs["long_name"], ds[name].attrs["units"]) == (REGISTRY[name].long_name, REGISTRY[name].units), name
    if which == "flight":
        nothing_of = {"failure_drawn", "waypoint_time", "waypoint_miss"}  # draws are an ensemble's; this mission has no waypoints
        assert set(known) == set(REGISTRY) - nothing_of
    order = [name for name in REGISTRY if name in known]
    assert list(ds.data_vars)[: len(order)] == order  # inputs follow


def test_flight__facts_stand_at_their_names(flight):
    for body, facts in STAGE_FACTS.items():
        for name, value in facts.items():
            np.testing.assert_equal(float(flight[name].sel(body=body)), float(value))
        for event, time in STAGE_TIMES[body].items():
            assert float(flight["event_time"].sel(body=body, event=event)) == time
    for name, value in JOINT_FACTS.items():
        assert float(flight[name].sel(joint="booster")) == value
    for rule, (armed, fired, acted) in RULE_TIMES.items():
        found = [float(flight[f"rule_{name}"].sel(rule=rule)) for name in ("armed", "fired", "acted")]
        assert found == [armed, fired, acted]
    assert float(flight["snatch_load"].sel(canopy="main")) == 140.0
    assert float(flight["event_height"].sel(body="booster", event="landing")) == pytest.approx(300.0 * 70.0 / 102.0, rel=1e-12)


@pytest.mark.parametrize("earth", ["flat", "wgs84"])
@pytest.mark.parametrize("make", [staged_flight, staged_ensemble])
def test_impact__in_latitude_and_longitude(demo_mission, make, earth):
    """Against geodesics from the site (PROJ), which lie 1250 m below the ground; what never comes down has no place."""
    site = demo_mission.site
    ds = make(demo_mission, site=site.model_dump() | {"earth": earth})
    latitude, longitude = ds["body_landing_latitude"].values, ds["body_landing_longitude"].values
    assert ds["body_landing_latitude"].attrs["units"] == "degrees_north" and ds["body_landing_longitude"].attrs["units"] == "degrees_east"
    east, north = ds["body_landing_east"].values, ds["body_landing_north"].values
    assert (np.isnan(latitude) == np.isnan(east)).all() and np.isnan(latitude[..., 2]).all()
    there = np.isfinite(east)
    start = np.full(there.sum(), np.degrees(site.longitude)), np.full(there.sum(), np.degrees(site.latitude))
    bearing, _, distance = Geod(ellps="WGS84").inv(*start, longitude[there], latitude[there])
    lowered = 1.0 - site.altitude / 6.37e6  # 0.1 m of 500 m; the radius of curvature varies by 0.3 % of that
    assert distance == pytest.approx(lowered * np.hypot(east, north)[there], abs=1e-3)
    turned = bearing - np.degrees(np.arctan2(east, north)[there])
    assert (turned + 180.0) % 360.0 - 180.0 == pytest.approx(np.zeros(there.sum()), abs=1e-3)


def test_flight__columns_of_fins_and_readings(flight):
    """The log by hand holds 1 to 12 in the columns of four fins' angles, commands, moments, and 100, 101, ... in the readings."""
    for name, first in (("fin_angle", 1.0), ("fin_command", 5.0), ("hinge_moment", 9.0)):
        assert (flight[name].values == first + np.arange(4.0)).all()
    assert (flight["sensed"].values == 100.0 + np.arange(len(layout.SENSED))).all()
    assert list(flight["reading"].values) == list(layout.SENSED)
    assert (flight["sensed"].sel(reading="height") == 100.0 + layout.SENSED.index("height")).all()


@pytest.mark.parametrize(
    ("reading", "unit"),
    [
        ("time_since_liftoff", "s"),
        ("north", "m"),
        ("velocity_up", "m/s"),
        ("q_w", "1"),
        ("rate_x", "rad/s"),
        ("specific_force_z", "m/s^2"),
        ("dynamic_pressure", "Pa"),
        ("mach", "1"),
        ("commanded_rate_z", "rad/s"),
        ("commanded_w", "1"),
        ("period", "s"),
        ("booster", "1"),
        ("baro_height", "m"),
        ("fix_east", "m"),
        ("fix_velocity_up", "m/s"),
        ("fix_age", "s"),
        ("field_x", "1"),
    ],
)
def test_readings__have_units(reading, unit):
    assert READING_UNITS[layout.SENSED.index(reading)] == unit


def test_flight__tracks_of_all_bodies(flight):
    """The front body's track is the timeline; the shorter ones end in NaN, and a piece that never came loose has none."""
    assert flight["body_height"].sel(body="thistledown").values == pytest.approx(flight["height"].values, abs=0.0)
    rows = np.isfinite(flight["body_time"]).sum("row")
    assert list(rows.values) == [61, 25, 0]
    assert float(flight["body_time"].sel(body="booster").min()) == 2.1
    assert float(flight["clearance"].sel(joint="booster")[0]) == pytest.approx(0.03, abs=1e-12)  # 4 x 0.01 - 0.01
    assert flight["body_status"].values.tolist() == [0, 0, -1]


@pytest.mark.parametrize("name", ["descent", "separation_cause", "body_status", "status", "recontact", "failure_happened", "rule_acted"])
def test_flags__say_what_they_mean(flight, name):
    attrs = flight[name].attrs
    words = attrs["flag_meanings"].split()
    assert flight[name].dtype == np.int8 and attrs["flag_values"].dtype == np.int8
    assert len(words) == len(attrs["flag_values"]) and set(np.atleast_1d(flight[name].values)) <= set(attrs["flag_values"])
    meaning = dict(zip(attrs["flag_values"].tolist(), words))
    wanted = {
        "descent": {Descent.UNDER_CANOPY: "under_canopy", Descent.TUMBLING: "tumbling"},
        "separation_cause": {layout.BY_DRAG: "drag", layout.BY_UPPER_MOTOR: "upper_motor"},
        "body_status": {UNREACHED: "never_separated", Ending.OUT_OF_TIME: "out_of_time"},
        "status": {Ending.LANDED: "landed", Ending.DIVERGED: "diverged"},
    }
    assert wanted.get(name, {0: "no", 1: "yes"}).items() <= meaning.items()


@pytest.mark.parametrize("which", ["flight", "ensemble"])
def test_file__gives_everything_back(which, request, tmp_path):
    ds = request.getfixturevalue(which)
    again = open_result(save(ds, tmp_path / "result.nc"))
    assert again.identical(ds)
    for name in ("branch", "body", "event", "joint", "rule", "canopy", "failure"):
        assert again[name].dtype.kind == ds[name].dtype.kind == "U", name
    with xr.open_dataset(tmp_path / "result.nc") as plain:  # by anybody's xarray, without this library
        assert plain["descent"].attrs["flag_meanings"].split()[1] == "under_canopy"


def test_branch__names_of_what_happened():
    names = ["no_ignition: dart", "harness_breaks: main"]
    found = branch_names(names, [[0, 0], [1, 0], [1, 1]])
    assert found.tolist() == ["nominal", "no_ignition: dart", "no_ignition: dart + harness_breaks: main"] and found.dtype.kind == "U"
    assert branch_names(names, [0, 1]).shape == () and str(branch_names(names, [0, 1])) == "harness_breaks: main"
    assert branch_names([], np.zeros((3, 0))).tolist() == ["nominal"] * 3
    assert branch_names(names, np.zeros((0, 2))).shape == (0,)


def test_inputs__drawn_for_some_rules_stand_at_their_names(ensemble):
    mission_rules = ["fins on", "fins off", "drop booster", "second fire"]
    drawn = ensemble["rule_delay"]
    assert drawn.dims == ("flight", "rule") and drawn.attrs["disperses"] == "rule.delay"
    recoveries = [name for name in ensemble["rule"].values if name not in mission_rules]
    assert np.isnan(drawn.sel(rule=recoveries)).all() and len(recoveries) == 5
    assert float(drawn.sel(rule=mission_rules).min()) > 0.0
    assert ensemble["wind_speed"].dims == ("flight",)


def test_inputs__are_the_table_of_draws(demo_mission):
    spread = {"joint.impulse": {"sd": 0.1}, "vehicle.mass": {"sd": 0.02}, "canopy.drag": {"sd": 0.1}, "servo.centring": {"sd": 0.005}}
    ds = staged_ensemble(demo_mission, flights=5, disperse=spread)
    table = draw_table(staged_mission(demo_mission, disperse=spread), 1, 0, 5)
    for name in spread:
        own = ds[name.replace(".", "_")]
        assert own.values.tolist() == table[name].values.tolist() and own.dims == table[name].dims, name
    assert list(ds["stage"].values) == ["thistledown", "booster"] and list(ds["fin"].values) == [1, 2, 3, 4]


def test_ensemble__failures_that_are_drawn_only_are_no_variable(ensemble):
    """Return whether a failure was drawn is told by `failure_happened`, with those that a load caused."""
    assert "failure" not in ensemble.data_vars
    assert list(ensemble["failure"].values) == ["no_ignition: thistledown", "no_deployment: drogue", "harness_breaks: main", "canopy_lost: booster canopy"]


def test_one_stage__has_no_joints_failures_and_waypoints(demo_flight, demo_ensemble):
    for ds in (demo_flight, demo_ensemble):
        assert not {"joint", "failure", "waypoint_number", "gap_row"} & {*ds.dims, *ds.coords, *ds.data_vars}
        assert ds.sizes["body"] == 1 and not {"gap", "separation_time", "failure_happened", "waypoint_miss"} & set(ds.data_vars)
    assert str(demo_flight["branch"].values) == "nominal"
    rows = np.stack([demo_flight["sensed"].sel(reading=name).values for name in ("east", "north", "height")])
    assert np.isfinite(rows).all()


def test_staged_flown__is_as_long_as_the_names(demo_mission):
    """The results by hand have the shapes that flights have."""
    mission = staged_mission(demo_mission)
    flown = staged_flown(mission)
    assert flown.events.shape == (len(body_names(mission)), len(event_names(mission)), len(layout.EVENT_COLUMNS))

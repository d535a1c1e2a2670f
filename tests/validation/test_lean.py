"""The signed lean at events, held against the mission's own numbers: the rail's direction, the wind's, and the motion around the event."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strangers import stranger

import sixdof


def at(flight, name: str, event: str) -> float:
    return float(flight[f"event_{name}"].sel(event=event).isel(body=0))


@pytest.mark.parametrize("earth", ["flat", "wgs84"])
@pytest.mark.parametrize(("blows_from", "azimuth", "latitude"), [(270.0, 90.0, 41.0), (200.0, 250.0, -35.0), (10.0, 350.0, 60.0)])
def test_liftoff__has_the_rails_own_lean(blows_from, azimuth, latitude, earth):
    mission = sixdof.load_mission("configs/sampler.toml")
    mission = mission.change(
        {"air.wind.blows_from": f"{blows_from} deg", "rail.azimuth": f"{azimuth} deg", "rail.elevation": "82 deg", "site.latitude": f"{latitude} deg"}
        | {"site.earth": earth}
    )
    flight = sixdof.fly(mission)
    along = math.cos(math.radians(82.0)) * math.cos(math.radians(azimuth - blows_from))
    assert at(flight, "lean", "liftoff") == pytest.approx(math.atan2(along, math.sin(math.radians(82.0))), abs=1e-6)
    assert at(flight, "path_lean", "liftoff") == 0.0  # at rest it has no path


def test_veer__is_that_of_the_wind_at_10_m():
    """The slender vehicle's wind backs with height and is told at 10 m: its direction there is the one written."""
    mission = stranger("slender").change({"air.wind.blows_from": "90 deg"})
    flight = sixdof.fly(mission)
    rail = mission.rail
    along = math.cos(rail.elevation) * math.cos(rail.azimuth - math.radians(90.0))
    assert at(flight, "lean", "liftoff") == pytest.approx(math.atan2(along, math.sin(rail.elevation)), abs=1e-4)  # the wind's table is that fine


@pytest.mark.parametrize("event", ["rail_departure", "burnout"])
def test_nose_and_path__of_the_timeline_around_the_event(event):
    mission = sixdof.load_mission("configs/two-stage.toml")
    flight = sixdof.fly(mission)
    comes_from = mission.air.wind.blows_from
    upwind = np.array([math.sin(comes_from), math.cos(comes_from)])
    w, x, y, z = flight.attitude.values.T
    nose = np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)], axis=1)
    when, time = at(flight, "time", event), flight.time.values
    there = np.array([np.interp(when, time, each) for each in nose.T])
    # the timeline is read linearly over 20 ms: 1e-4 rad at an angular acceleration of 2 rad/s^2
    assert at(flight, "lean", event) == pytest.approx(math.atan2(there[:2] @ upwind, there[2]), abs=2e-4)
    velocity = np.array([at(flight, f"velocity_{axis}", event) for axis in ("east", "north", "up")])
    assert at(flight, "path_lean", event) == pytest.approx(math.atan2(velocity[:2] @ upwind, velocity[2]), abs=1e-12)


def test_criteria__speak_of_it():
    mission = sixdof.load_mission("configs/sampler.toml")
    calm = {name: mission.change({"disperse.wind.speed": None, "air.wind.speed": speed}) for name, speed in (("calm", 0.0), ("windy", 9.0))}
    compared = sixdof.compare(calm, 6, seed=1, criteria="lean at burnout < 0 deg in 50 % of flights", progress=False, threads=1)
    judged = sixdof.stats.judge_criteria(compared)
    assert judged.observed.sel(variant="calm").item() == 1.0  # the rail leans downwind, and it falls over that way
    assert judged.observed.sel(variant="windy").item() == 0.0


def test_calm_air__leans_by_the_direction_written():
    mission = sixdof.load_mission("configs/sampler.toml").change({"air.wind.speed": 0.0})
    flight = sixdof.fly(mission)
    along = math.cos(mission.rail.elevation) * math.cos(mission.rail.azimuth - mission.air.wind.blows_from)
    assert at(flight, "lean", "liftoff") == pytest.approx(math.atan2(along, math.sin(mission.rail.elevation)), abs=1e-6)


@pytest.mark.parametrize("flight", [0, 3])
@pytest.mark.parametrize("name", ["two-stage", "stack"])
def test_drawn_flights__lean_by_their_own_wind_at_every_event_of_the_climb(name, flight):
    """Two and three stages, the latter in the south on odd fins: the wind as drawn, attitude and velocity as the timeline has them."""
    mission = sixdof.load_mission("configs/two-stage.toml") if name == "two-stage" else stranger("stack")
    flown = sixdof.fly(mission, flight=flight, seed=2)
    drawn = sixdof.stats.make_draws(mission, 1, seed=2, first=flight)
    if mission.air.one_wind:  # told at 10 m, without veer
        assert mission.air.wind.reference_height == 10.0 and mission.air.wind.veer == 0.0
        comes_from = float(drawn["wind.blows_from"][0])
        upwind = np.array([math.sin(comes_from), math.cos(comes_from)])
    else:  # rows of height, speed and direction, between them linear in components
        height, speed, direction = np.array(mission.air.wind.table).T
        towards = [np.interp(10.0, height, -speed * np.sin(direction)), np.interp(10.0, height, -speed * np.cos(direction))]
        upwind = -np.array(towards) / np.hypot(*towards)
    w, x, y, z = flown.attitude.values.T
    nose = np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)], axis=1)
    apogee = at(flown, "time", "apogee")
    events = [str(event) for event in flown.event.values if 0.0 < at(flown, "time", str(event)) < 0.9 * apogee and "deployment" not in str(event)]
    assert sum("separation" in event for event in events) == len(mission.stage) - 1 and any("ignition" in event for event in events)
    for event in events:
        when = at(flown, "time", event)
        there = np.array([np.interp(when, flown.time.values, each) for each in nose.T])
        # read linearly over 20 ms: within 2e-3 rad even as the sustainer is caught; the veer of the wind's table below 10 m is that small too
        assert at(flown, "lean", event) == pytest.approx(math.atan2(there[:2] @ upwind, there[2]), abs=2e-3), event
        velocity = np.array([at(flown, f"velocity_{axis}", event) for axis in ("east", "north", "up")])
        if np.linalg.norm(velocity) > 1.0:
            assert at(flown, "path_lean", event) == pytest.approx(math.atan2(velocity[:2] @ upwind, velocity[2]), abs=2e-4), event

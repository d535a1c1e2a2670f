"""Flights through a drawn member of the forecasts and a drawn turbulence: the same as flights of a mission that has only these."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof import disperse, fly

SEED = 11
WINDS = ((6.0, 0.0), (-4.0, 3.0), (0.0, -8.0))  # east and north, m/s: where the air moves to


def with_members(mission, winds, spreads=None):
    members = [{"height": [0.0, 2000.0], "east": [east, 1.5 * east], "north": [north, 1.5 * north]} for east, north in winds]
    return mission.change({"air.wind": {"profile": "members", "member": members}, "disperse": spreads or {}})


def where(ds):
    return np.array([ds["body_landing_east"].values[..., 0], ds["body_landing_north"].values[..., 0]])


def test_members__a_flight_flies_through_the_one_it_drew(demo_mission):
    flights = disperse(with_members(demo_mission, WINDS, {"wind.member": {"kind": "uniform", "low": 0, "high": 2}}), 8, seed=SEED, threads=2, progress=False)
    drawn = flights["wind_member"].values.astype(int)
    assert set(drawn) == {0, 1, 2}
    alone = [where(fly(with_members(demo_mission, [wind]))) for wind in WINDS]
    for k, place in zip(drawn, where(flights).T):
        np.testing.assert_array_equal(place, alone[k])
    assert np.linalg.norm(alone[0] - alone[1]) > 50.0  # m: the winds are told apart


def test_members__the_nominal_flight_flies_through_the_first(demo_mission):
    spread = {"wind.member": {"kind": "uniform", "low": 0, "high": 2}}
    nominal = where(fly(with_members(demo_mission, WINDS, spread)))
    np.testing.assert_array_equal(nominal, where(fly(with_members(demo_mission, WINDS[:1]))))


def test_members__every_body_of_a_flight_feels_the_same_one(staged_wind):
    both, one = staged_wind
    np.testing.assert_array_equal(both["body_landing_east"].values, one["body_landing_east"].values)
    assert both.sizes["body"] > 1


@pytest.fixture
def staged_wind():
    from pathlib import Path

    from sixdof import load_mission

    mission = load_mission(Path(__file__).parents[2] / "configs" / "two-stage.toml")
    spread = {"wind.member": {"kind": "fixed", "mean": 1}}
    return (fly(with_members(mission, WINDS, spread), flight=0, seed=SEED), fly(with_members(mission, WINDS[1:2]), flight=0, seed=SEED))


def test_turbulence__its_drawn_wind_replaces_the_missions(demo_mission):
    own = demo_mission.change({"disperse": {}, "air.turbulence": {"wind_at_20_ft": "15 knot"}})
    spread = {"kind": "uniform", "low": "20 knot", "high": "45 knot"}
    drawn = own.change({"disperse": {"turbulence.wind_at_20_ft": spread}})
    flights = disperse(drawn, 2, seed=SEED, threads=1, progress=False)
    winds = flights["turbulence_wind_at_20_ft"].values
    for k in range(2):
        same = own.change({"air.turbulence.wind_at_20_ft": float(winds[k])})
        np.testing.assert_array_equal(where(flights)[:, k], where(fly(same, flight=k, seed=SEED)))
    assert np.linalg.norm(where(flights)[:, 0] - where(fly(own, flight=0, seed=SEED))) > 0.1  # m

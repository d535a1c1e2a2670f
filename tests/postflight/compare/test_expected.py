"""What a flight would have logged, against closed forms: a body turning about a fixed axis, straight lines, angles that go round."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from sixdof.postflight.compare.expected import expected

LIFTOFF = 0.3


def flight_of(time, **columns) -> xr.Dataset:
    """Return as much of a flight as is read of it; columns : name -> (time, ...) values."""
    dims = {1: ("time",), 2: ("time", "axis")}
    found = {name: ("time", "quaternion") if name == "attitude" else dims[np.ndim(values)] for name, values in columns.items()}
    ds = xr.Dataset(
        {name: (found[name], np.asarray(values, dtype=float)) for name, values in columns.items()}, {"time": np.asarray(time), "body": ["front", "behind"]}
    )
    ds["event_time"] = (("body", "event"), [[LIFTOFF, 5.0], [np.nan, 9.0]])
    return ds.assign_coords(event=["liftoff", "landing"])


def log_of(time, dims=("time",), name="height", **attrs) -> xr.Dataset:
    shape = [len(time), *(3 if d == "axis" else 4 for d in dims[1:])]
    return xr.Dataset({name: (dims, np.zeros(shape), attrs)}, {"time": np.asarray(time)})


def test_expected__is_aligned_liftoff_to_liftoff_and_ends_with_the_flight():
    time = np.linspace(0.0, 5.0, 11)
    found = expected(flight_of(time, height=10.0 * time), log_of([-2.0, 0.0, 1.05, 4.7, 4.8]))
    assert found.height.values[:4] == pytest.approx([0.0, 10.0 * LIFTOFF, 10.0 * 1.35, 50.0])
    assert np.isnan(found.height.values[4])


def test_expected__feels_the_turning_at_the_sensors_place():
    # a body that turns about its y axis at the rate a t: at r ahead of the centre of mass the force is f + a x r + w x (w x r)
    time, a, ahead, aside = np.linspace(0.0, 2.0, 201), 3.0, 0.4, 0.05
    w = a * time
    zero = np.zeros_like(time)
    flight = flight_of(time, body_rate=np.stack([zero, w, zero], 1), specific_force=np.stack([zero + 7.0, zero, zero], 1), cg=zero + 1.0)
    log = log_of([0.5, 1.2], ("time", "axis"), "specific_force", sensor_station=1.0 - ahead, sensor_y=aside)
    t = np.array([0.5, 1.2]) + LIFTOFF
    by_hand = np.stack([7.0 - (a * t) ** 2 * ahead, 0.0 * t, -a * ahead + 0.0 * t], 1)  # an arm along the axis of turning feels nothing of it
    assert expected(flight, log).specific_force.values == pytest.approx(by_hand, abs=1e-4)  # straight lines of w^2 at 10 ms: a^2 h^2/8


def test_expected__goes_the_shorter_way_round():
    flight = flight_of([0.0, 1.0, 2.0], roll=np.radians([170.0, -170.0, -150.0]))
    found = expected(flight, log_of([0.5 - LIFTOFF, 1.5 - LIFTOFF], name="roll"))["roll"].values
    assert np.degrees(np.abs(found)) == pytest.approx([180.0, 160.0])


def test_expected__attitudes_stay_unit_quaternions_whatever_their_sign():
    half = np.radians([0.0, 20.0])
    q = np.stack([np.cos(half), np.sin(half), 0 * half, 0 * half], 1) * np.array([[1.0], [-1.0]])
    found = expected(flight_of([0.0, 1.0], attitude=q), log_of([0.5 - LIFTOFF], ("time", "quaternion"), "attitude")).attitude.values[0]
    assert np.abs(found) == pytest.approx([np.cos(np.radians(10.0)), np.sin(np.radians(10.0)), 0.0, 0.0])


def test_expected__states_are_those_of_the_row_before():
    flight = flight_of([0.0, 1.0, 2.0], phase=[1.0, 3.0, 4.0])
    assert expected(flight, log_of(np.array([0.99, 1.0, 1.9, 2.0]) - LIFTOFF, name="phase")).phase.values == pytest.approx([1.0, 3.0, 3.0, 4.0])


def test_expected__another_stage_goes_with_the_stack_until_it_separates():
    flight = flight_of(
        [0.0, 1.0, 2.0, 3.0], height=[0.0, 10.0, 40.0, 90.0], **{n: [0.0] * 4 for n in ("east", "north", "airspeed", "tilt", "incidence", "mach")}
    )
    for name in ("time", "height", "east", "north", "airspeed", "tilt", "incidence", "mach"):
        track = {"time": [1.5, 2.5, np.nan], "height": [25.0, 35.0, np.nan]}.get(name, [0.0, 0.0, np.nan])
        flight[f"body_{name}"] = (("body", "row"), [[np.nan] * 3, track])
    log = log_of(np.array([1.0, 2.0, 2.6]) - LIFTOFF).assign_attrs(stage="behind")
    found = expected(flight, log).height.values
    assert found[:2] == pytest.approx([10.0, 30.0])
    assert np.isnan(found[2])
    with pytest.raises(ValueError, match="no such body; it has 'front', 'behind'"):
        expected(flight, log.assign_attrs(stage="middle"))

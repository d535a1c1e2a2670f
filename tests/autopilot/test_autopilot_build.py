"""From a mission to the flight computer's constants: each against what the mission, the world or the flown vehicle says."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.autopilot.computer import computer_table
from sixdof.autopilot.guidance import guidance_table, load_slope
from sixdof.autopilot.sensors import sensors_table
from sixdof.mission.tables import SatelliteReceiver, Sensors
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.world.build import world_table

STELLAR_DAY = 86164.0989  # s, one turn of the Earth against inertial space (IERS Conventions 2010)
LIMIT = 1.0  # m/s^2: so little that cross-flow, which guidance leaves out, adds a per cent only


@pytest.mark.parametrize("latitude", [-70.0, 0.0, 40.0])
def test_earth_rate__is_the_axis_in_the_launch_points_axes_and_the_worlds(demo_mission, latitude):
    mission = demo_mission.change({"site.latitude": f"{latitude} deg"})
    rate = np.array(computer_table(mission, [0]).earth_rate)
    assert np.array_equal(rate, world_table(mission).earth_rate)
    # the axis points to the pole star: due north at its latitude's height, below the horizon in the south
    p = math.radians(latitude)
    east, north, up = np.array([[0.0, 1.0, 0.0], [-math.sin(p), 0.0, math.cos(p)], [math.cos(p), 0.0, math.sin(p)]])  # at longitude zero
    axis = np.array([0.0, 0.0, 2.0 * math.pi / STELLAR_DAY])
    assert rate == pytest.approx([east @ axis, north @ axis, up @ axis], rel=1e-7, abs=1e-20)  # WGS-84 gives seven digits


@pytest.mark.parametrize("rate", [100.0, 250.0])
def test_receiver__latency_of_n_periods_is_n_ticks(demo_mission, rate):
    """n/rate is no exact binary number, and half of them lie below it."""
    quiet = demo_mission.change({"autopilot.rate": rate})
    for n in range(1, 101):
        sensors = Sensors(receiver=SatelliteReceiver(latency=n / rate))
        assert sensors_table(quiet.model_copy(update={"sensors": sensors})).gnss.latency == n


@pytest.fixture(scope="module")
def limited(demo_path):
    return sixdof.load_mission(demo_path.with_name("waypoints.toml")).change({"guidance.load_limit": LIMIT})


@pytest.fixture(scope="module")
def burnt_mass(limited):
    """Weighed in a flight, after its burnout."""
    flight = sixdof.fly(limited)
    burnt = float(flight.mass.sel(time=float(flight.apogee_time), method="nearest"))
    assert burnt < 0.97 * float(flight.mass[0])
    return burnt


def test_load_slope__is_that_of_the_burnt_vehicle(limited, burnt_mass):
    """The normal force is measured in the tunnel."""
    angle = math.radians(0.01)
    tunnel = wind_tunnel(limited, mach=0.3, incidence=angle)
    across = math.hypot(float(tunnel.C_Y), float(tunnel.C_Z)) * tunnel.reference_area
    # viscous cross-flow adds 4e-4 at 0.01 deg
    assert load_slope(limited) == pytest.approx(across / angle / burnt_mass, rel=1e-3)


def test_load_limit__is_the_load_at_the_incidence_that_guidance_allows(limited, burnt_mass):
    """Held at the largest incidence that the waypoints may ask for, the burnt vehicle feels the limit."""
    table, pressure = guidance_table(limited), 12_000.0
    incidence = table.most_load / (table.load_slope * pressure)
    tunnel = wind_tunnel(limited, mach=0.3, incidence=incidence)
    force = math.hypot(float(tunnel.C_Y), float(tunnel.C_Z)) * pressure * tunnel.reference_area
    assert 0.2 < math.degrees(incidence) < 0.4
    assert force / burnt_mass == pytest.approx(LIMIT, rel=0.02)  # and 1.3 % at 0.3 deg

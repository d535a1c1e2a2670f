"""Choices that several tests look at: the two-stage demo's boosters, and a vehicle of three fins whose motors differ in impulse alone."""

from __future__ import annotations

import matplotlib.pyplot as plt
import pytest

import sixdof

CRITERIA = [
    "rail_departure_speed > 30 m/s in 95 % of flights",
    "waypoints_captured >= 2 in 60 % of flights",
    "landing of drayhorse within 1 km of the rail in 60 % of flights",
]
PRICES = {"mesa-i": {"price": 48}, "mesa-j": {"price": 61}, "mesa-j-slow": {"price": 66}}


@pytest.fixture(scope="session")
def boosters(stack_path, stack_mission):
    """The shipped motors in the two-stage demo; of the sustainer's motors one needs an adapter, of the other the mission says nothing."""
    options = {"flights": 12, "seed": 3, "columns": PRICES, "confirm": False, "progress": False}
    return sixdof.preflight.choose_motor(stack_mission, stack_path.parent / "motors", CRITERIA, "most apogee_height", **options)


@pytest.fixture(scope="session")
def plain(demo_path):
    """A vehicle without control and without anything drawn but drag: what it does is monotone in its motor and in its drag."""
    mission = sixdof.load_mission("tests/vehicles/slender.toml")
    quick = {"site.earth": "flat", "solver.time_limit": "30 s"}  # some 8 s past the apogee
    return mission.change({"failure": [], "correlation": [], "disperse": {"aero.drag": {"sd": "10 %"}}, "air.gust": [], **quick})


@pytest.fixture(scope="session")
def ladder(tmp_path_factory):
    """Three motors of one size and burn time, of 100, 104 and 130 % of an impulse; the smallest is called as the mission's own."""
    paths, folder = [], tmp_path_factory.mktemp("ladder")
    for name, factor in (("wick-i", 1.0), ("middle", 1.04), ("large", 1.3)):
        rows = "\n".join(f"{t}, {factor * f}" for t, f in ((0.0, 0.0), (0.05, 305.0), (1.3, 250.0), (1.6, 0.0)))
        text = f"# propellant_mass = 226 g\n# case_mass = 186 g\n# length = 330 mm\n# diameter = 38 mm\ntime (s), thrust (N)\n{rows}\n"
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text)
    return paths


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")

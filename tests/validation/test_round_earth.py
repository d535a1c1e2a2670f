"""The round Earth: places against PROJ, gravity against WGS-84, flights in a vacuum against orbits, conserved energy.

Sources: PROJ (pyproj) for geodetic coordinates; NIMA TR8350.2 (third edition) for the ellipsoid and its normal gravity, as tabulated in
test_wgs84_gravity.py; W. A. Heiskanen, H. Moritz (1967), Physical Geodesy, for zonal harmonics; Kepler orbits by universal variables;
scipy's DOP853 in inertial axes. The formulas stand in earths.py, and nothing of them is the library's.
"""

from __future__ import annotations

import models
import numpy as np
import pytest
from earths import Places, cartesian, kepler, level_ellipsoid, local_axes, potential, pull, somewhere, surroundings, turned
from scipy.integrate import solve_ivp
from test_wgs84_gravity import TABLE

from sixdof import fly
from sixdof.core.columns import AirColumn
from sixdof.flight.rigid_body import fly_body
from sixdof.world.build import globe_at
from sixdof.world.geodesy import place_on_earth

# NIMA TR8350.2, tables 3.1 and 3.3; J2 as in NASA/TM-2015-218675, table 73
A, E2, GM, RATE, J2 = 6_378_137.0, 0.00669437999014, 3.986004418e14, 7.292115e-5, 0.00108262982
SPHERE = 6_371_007.1809  # m, of the area of WGS-84
ROUNDING = 2e-8  # m: twenty units in the last place of the Earth's radius
LAUNCH = (0.6, -2.0, 1250.0)


# ---------------------------------------------------------------- places


def test_height__all_over_the_globe():
    """From -200 m to 40 km, poles too; Bowring's closed form was promised to 1e-7 m."""
    latitude, longitude, height = somewhere(4000)
    found = Places(cartesian(latitude, longitude, height), LAUNCH)
    assert np.abs(found.height - (height - LAUNCH[2])).max() < ROUNDING
    assert (found.fall == found.height).all()


def test_local_axes__all_over_the_globe():
    """Up to 2e-13 rad (Bowring's one round), east to rounding but within metres of the poles, where it has no direction."""
    latitude, longitude, height = somewhere(4000)
    found, axes = Places(cartesian(latitude, longitude, height), LAUNCH), local_axes(latitude, longitude)
    assert np.abs(found.up - axes[:, 2]).max() < 1e-12
    off_pole = np.abs(latitude) < np.radians(89.99)
    assert np.abs(found.east - axes[:, 0])[off_pole].max() < 1e-13


def test_wind_and_air__go_by_local_axes_and_height():
    """A thousand kilometres away: 3 m/s to the local east, 4 to the north; a density that is linear in height."""
    world = models.world(wind=(3.0, 4.0))._replace(globe=globe_at(*LAUNCH), ground=LAUNCH[2])
    world.air[1, AirColumn.DENSITY] = 0.0  # 100 km above the first row, which stands at -1000 m
    latitude, longitude, height = somewhere(500, lowest=1250.0)
    near = np.hypot(latitude - LAUNCH[0], longitude - LAUNCH[1]) < 0.5
    latitude, longitude, height = latitude[near], longitude[near], height[near]
    assert near.sum() > 20
    wind, density = surroundings(world, cartesian(latitude, longitude, height), *LAUNCH)
    axes = local_axes(latitude, longitude)
    assert np.abs(wind - 3.0 * axes[:, 0] - 4.0 * axes[:, 1]).max() < 1e-11
    assert density == pytest.approx(models.RHO * (1.0 - (height - LAUNCH[2] + 1000.0) / 1e5), abs=1e-12)


# ---------------------------------------------------------------- gravity


def test_gravity__is_the_gradient_of_the_potential_with_j2():
    latitude, longitude, height = somewhere(1000)
    place = cartesian(latitude, longitude, height)
    assert np.abs(Places(place, LAUNCH).gravity - pull(place, GM, A, {2: J2}, RATE)).max() < 1e-13  # m/s^2


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]:g}deg")
def test_gravity__of_wgs84_is_missed_by_the_fourth_harmonic(row):
    """J4 = -2.371e-6 is omitted: it adds 5 g J4 P4, at most 1.2e-4 m/s^2 (at the poles). With it and J6 the table is met."""
    latitude, surface, aloft = np.radians(row[0]), row[1], row[4]
    harmonics = level_ellipsoid(J2, E2)
    assert harmonics[4] == pytest.approx(-2.37091222e-6, rel=1e-6) and harmonics[6] == pytest.approx(6.08347e-9, rel=1e-5)  # GRS80's
    place = cartesian(latitude, -1.0, np.array([0.0, 1e4]))
    ours = Places(place, LAUNCH).gravity
    assert np.linalg.norm(ours, axis=1) == pytest.approx([surface, aloft], abs=1.2e-4)
    rest = {n: j for n, j in harmonics.items() if n > 2}
    whole = ours + pull(place, GM, A, {2: J2} | rest, RATE) - pull(place, GM, A, {2: J2}, RATE)
    # the table aloft is a series that omits 2 f^2 h/a, 4 (h/a)^3, f (h/a)^2: at 10 km 3.5e-7, 1.5e-7, 0.8e-7 m/s^2
    assert np.linalg.norm(whole[1]) == pytest.approx(aloft, abs=8e-7)
    assert np.linalg.norm(whole[0]) == pytest.approx(surface, abs=5e-10)  # printed with ten decimals


def test_gravity__of_the_level_ellipsoid_is_along_the_local_vertical():
    """All harmonics together make the surface level (to 1e-11 rad); J2 alone leaves gravity 6.4e-6 rad off the vertical."""
    latitude, longitude, height = somewhere(1000, lowest=0.0, highest=0.0)
    place = cartesian(latitude, longitude, height)
    found, harmonics = Places(place, LAUNCH), level_ellipsoid(J2, E2)
    whole = found.gravity + pull(place, GM, A, harmonics, RATE) - pull(place, GM, A, {2: J2}, RATE)

    def lean(gravity):
        return np.linalg.norm(np.cross(gravity, found.up), axis=1) / np.linalg.norm(gravity, axis=1)

    assert lean(whole).max() < 1e-11
    assert lean(found.gravity).max() == pytest.approx(6.35e-6, abs=0.1e-6)  # 5/2 J4 max|dP4/dlatitude| of g: below


# ---------------------------------------------------------------- flights in a vacuum

STONE = {"mass": 2.0, "inertia": [0.1, 0.2, 0.2], "density": 0.0}
THROWN = {  # latitude, longitude (rad), velocity north, east, down (m/s): up to 35 km high, 300 km wide
    "north-west": (0.7, -2.1, (900.0, -1500.0, -800.0)),
    "east on the equator": (0.0, 3.1, (0.0, 1800.0, -700.0)),
    "over the pole": (1.56, 0.4, (1200.0, 0.0, -750.0)),
    "straight up, south": (-0.9, 1.0, (0.0, 0.0, -790.0)),
}


def throw(name, earth):
    latitude, longitude, velocity = THROWN[name]
    return fly_body(earth=earth, height=500.0, latitude=latitude, longitude=longitude, velocity=velocity, duration=600.0, **STONE)


def started(name, origin, rate):
    """Position and velocity in inertial axes that coincide with the Earth's at the start; origin : of the point 500 m up."""
    latitude, longitude, (north, east, down) = THROWN[name]
    velocity = np.array([east, north, -down]) @ local_axes(latitude, longitude)
    return velocity + np.cross([0.0, 0.0, rate], origin)


def velocity_of(ds):
    """Velocity over the ground (n, 3), Earth-fixed axes."""
    north, east, down = ds["velocity"].values.T
    local = np.stack([east, north, -down], axis=1)
    return np.einsum("nj,njk->nk", local, local_axes(ds["latitude"].values, ds["longitude"].values))


@pytest.mark.parametrize("name", THROWN)
@pytest.mark.parametrize(("earth", "rate"), [("sphere", RATE), ("sphere at rest", 0.0)])
def test_stone__flies_a_kepler_orbit(name, earth, rate):
    ds = throw(name, earth)
    latitude, longitude, _ = THROWN[name]
    origin = (SPHERE + 500.0) * local_axes(latitude, longitude)[2]
    start = started(name, origin, rate)
    assert 100.0 < float(ds["time"][-1]) < 200.0 and ds.attrs["end"] == "landing"
    up = local_axes(ds["latitude"].values, ds["longitude"].values)[:, 2]
    place, velocity = (SPHERE + ds["height"].values[:, None]) * up, velocity_of(ds)
    for i in np.linspace(0, ds.sizes["time"] - 1, 12).astype(int):
        t = float(ds["time"][i])
        r, v = kepler(origin, start, GM, t)
        assert np.abs(turned(r, -rate * t) - place[i]).max() < ROUNDING
        assert np.abs(turned(v - np.cross([0.0, 0.0, rate], r), -rate * t) - velocity[i]).max() < 1e-9  # m/s


@pytest.mark.parametrize("name", THROWN)
def test_stone__over_wgs84_against_an_integration_in_inertial_axes(name):
    ds = throw(name, "wgs84")
    latitude, longitude, _ = THROWN[name]
    origin = cartesian(latitude, longitude, 500.0)

    def rate(_, y):
        return np.concatenate([y[3:], pull(y[None, :3], GM, A, {2: J2}, 0.0)[0]])

    start, end = np.concatenate([origin, started(name, origin, RATE)]), float(ds["time"][-1])
    for share in (0.5, 1.0):
        i = round(share * (ds.sizes["time"] - 1))
        t = float(ds["time"][i]) if share < 1.0 else end
        there = solve_ivp(rate, (0.0, t), start, method="DOP853", rtol=1e-13, atol=1e-9).y[:3, -1]
        last = ds.isel(time=i)
        found = cartesian(float(last["latitude"]), float(last["longitude"]), float(last["height"]))
        assert np.abs(turned(there, -RATE * t) - found).max() < 1e-7  # m: DOP853 at a relative 1e-13 of 6.4e6 m, some steps


@pytest.mark.parametrize("name", THROWN)
def test_stone__keeps_its_energy_in_the_turning_axes(name):
    """Jacobi's integral v^2/2 - U with J2 and the centrifugal part; without J2 in U it would swing by hundreds of J/kg."""
    ds = throw(name, "wgs84")
    place = cartesian(*(ds[key].values for key in ("latitude", "longitude", "height")))
    kinetic = 0.5 * (ds["velocity"].values ** 2).sum(axis=1)
    energy = kinetic - potential(place, GM, A, {2: J2}, RATE)
    assert np.ptp(energy) < 2e-6  # J/kg of 6e7: rounding of the potential is 7e-9, of the place 1e-8 m times g
    assert np.ptp(kinetic - potential(place, GM, A, {}, RATE)) > 100.0


# ---------------------------------------------------------------- the turning Earth, closed forms


@pytest.mark.parametrize("latitude", [0.0, np.radians(45.0), np.radians(-70.0)])
def test_drop__lands_east(latitude):
    """(Omega cos(lat)/3) sqrt(8 h^3/g) (Landau and Lifshitz, Mechanics, sec. 39), to terms of h/R: 1000 m, 2e-4."""
    height = 1000.0
    last = fly_body(earth="wgs84", height=height, latitude=latitude, longitude=1.0, **STONE).isel(time=-1)
    gravity = np.linalg.norm(pull(cartesian(latitude, 1.0, 0.0), GM, A, {2: J2}, RATE))
    parallel = np.hypot(*cartesian(latitude, 1.0, 0.0)[:2])
    wanted = RATE * np.cos(latitude) / 3.0 * np.sqrt(8.0 * height**3 / gravity)
    assert (float(last["longitude"]) - 1.0) * parallel == pytest.approx(wanted, rel=5e-4)


@pytest.mark.parametrize("latitude", [0.0, np.radians(38.0)])
def test_eastbound__weighs_less(latitude):
    """Eoetvoes (1919): moving east takes 2 Omega v cos(lat) off gravity, moving west adds it; 10 s, to terms of g t^2/R: 2e-4."""
    speed, time = 300.0, 10.0
    east, west = (fly_body(earth="wgs84", height=5000.0, latitude=latitude, velocity=(0.0, way * speed, 0.0), duration=time, **STONE) for way in (1.0, -1.0))
    apart = float(east["height"][-1] - west["height"][-1])
    assert apart == pytest.approx(2.0 * RATE * speed * np.cos(latitude) * time**2, rel=5e-4)


# ---------------------------------------------------------------- a flight


def test_tilt__is_from_the_local_vertical(demo_mission):
    """The demo drifts 400 m: the vertical there leans 6e-5 rad from the launch point's."""
    mission = demo_mission.change({"site.earth": "wgs84"})
    ds, site = fly(mission), mission.site
    places = np.radians(place_on_earth(site, ds["east"].values, ds["north"].values, ds["height"].values))
    up = local_axes(*places)[:, 2] @ local_axes(site.latitude, site.longitude).T
    w, x, y, z = ds["attitude"].values.T
    nose = np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)], axis=1)
    lean = np.arctan2(np.linalg.norm(np.cross(nose, up), axis=1), np.einsum("ni,ni->n", nose, up))
    assert np.abs(up[-1] - [0.0, 0.0, 1.0]).max() > 5e-5
    assert ds["tilt"].values == pytest.approx(lean, abs=2e-8)  # rad: an arc cosine near 1 gives half of float64's digits

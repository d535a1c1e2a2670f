"""Sensors turned, off the axis, in any unit: the same log. Heights and places against tables and geodesics made elsewhere."""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import log_signals as ls
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sixdof
from sixdof.postflight.logs.columns.mapping import axes_matrix
from sixdof.postflight.logs.columns.tables import Ground
from sixdof.postflight.logs.columns.units import amount, amount_of_error
from sixdof.postflight.logs.places import heights, local_places

SIGNS = list(itertools.product("+-", repeat=3))
EVERY_WAY = [" ".join(s + a for s, a in zip(signs, order)) for order in itertools.permutations("xyz") for signs in SIGNS]
FACTORS = {
    "alt": {"m": 1.0, "ft": 0.3048, "km": 1000.0, "yd": 0.9144},
    "vz": {"m/s": 1.0, "ft/s": 0.3048, "km/h": 1 / 3.6, "mph": 0.44704, "knots": 1852.0 / 3600.0},
    "a": {"m/s^2": 1.0, "g": 9.80665, "mg": 9.80665e-3, "ft/s^2": 0.3048},
    "g": {"rad/s": 1.0, "deg/s": np.pi / 180.0, "dps": np.pi / 180.0, "mdps": np.pi / 180e3, "rpm": np.pi / 30.0},
    "t": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0},
}


def right_handed(way: str) -> bool:
    """Tell by the cross product of the first two whether three named axes are a right-handed set."""
    x, y, z = (np.eye(3)["xyz".index(word[1])] * (1.0 if word[0] == "+" else -1.0) for word in way.split())
    return bool(np.allclose(np.cross(x, y), z))


ROTATIONS = [way for way in EVERY_WAY if right_handed(way)]


def in_sensor_axes(body: np.ndarray, way: str, turned: float = 0.0) -> np.ndarray:
    """Return what a sensor reads whose axes go along the body's as named, its board turned about the roll axis besides."""
    c, s = np.cos(turned), np.sin(turned)
    board = np.column_stack([body[:, 0], c * body[:, 1] + s * body[:, 2], -s * body[:, 1] + c * body[:, 2]])
    out = np.empty_like(board)
    for k, (sign, axis) in enumerate(way.split()):
        out[:, "xyz".index(axis)] = board[:, k] if sign == "+" else -board[:, k]
    return out


def test_axes__are_24_rotations_and_no_mirror_image():
    assert len(ROTATIONS) == 24
    for way in EVERY_WAY:
        if way in ROTATIONS:
            np.testing.assert_allclose(axes_matrix(way) @ axes_matrix(way).T, np.eye(3))
        else:
            with pytest.raises(ValueError, match="mirror image"):
                axes_matrix(way)


@pytest.mark.slow
@settings(max_examples=7, deadline=None)
@given(
    st.sampled_from(ROTATIONS),
    st.sampled_from(ROTATIONS),
    st.floats(-3.0, 3.0),
    *(st.sampled_from(sorted(FACTORS[name])) for name in ("alt", "vz", "a", "g", "t")),
    st.integers(0, 2**16),
)
def test_log__is_the_same_for_any_axes_units_and_order(way, gyro_way, turned, alt, vz, a, g, t, seed):
    rows = ls.table(rate=20.0, end=16.0)
    plain = sixdof.postflight.read_log(rows, ls.columns())
    force, rate = (np.column_stack([rows[f"{stem}{axis}"] for axis in "xyz"]) for stem in "ag")
    force, rate = in_sensor_axes(force, way), in_sensor_axes(rate, gyro_way, turned)
    ugly = {"t": rows["t"] / FACTORS["t"][t], "n": rows["n"], "alt": rows["alt"] / FACTORS["alt"][alt], "vz": -rows["vz"] / FACTORS["vz"][vz]}
    ugly |= {f"a{axis}": force[:, k] / FACTORS["a"][a] for k, axis in enumerate("xyz")}
    ugly |= {f"g{axis}": rate[:, k] / FACTORS["g"][g] for k, axis in enumerate("xyz")}
    order = np.random.default_rng(seed).permutation(rows["t"].size)
    columns = ls.columns(
        clock={"column": "t", "unit": t},
        height={"unit": alt},
        velocity={"unit": vz, "columns": ["", "", "-vz"]},
        specific_force={"unit": a, "axes": way},
        body_rate={"unit": g, "axes": gyro_way, "turned": turned},
    )
    log = sixdof.postflight.read_log({name: values[order] for name, values in ugly.items()}, columns)
    np.testing.assert_allclose(log["time"].values, plain["time"].values, atol=1e-9)
    for name in ("height", "velocity", "specific_force", "body_rate"):
        np.testing.assert_allclose(log[name].values, plain[name].values, rtol=1e-11, atol=1e-9)


@pytest.mark.parametrize("off", [(0.0, 0.022), (-0.03, 0.0), (0.015, -0.04)])
def test_accelerometer__beside_the_roll_axis_is_moved_onto_it(off):
    """Rates in closed form; what turning adds at the sensor by the text-book formula with their exact derivative."""
    rows = ls.table(noise=0.0)
    t, w, dw = rows["t"], ls.rates(rows["t"]), ls.rate_changes(rows["t"])
    arm = np.array([0.0, *off])
    force = np.column_stack([rows[f"a{axis}"] for axis in "xyz"])
    there = in_sensor_axes(force + np.cross(dw, arm) + np.cross(w, np.cross(w, arm)), "-z +y +x")
    columns = ls.columns(specific_force={"axes": "-z +y +x", "station": "450 mm", "off_axis": list(off)})
    log = sixdof.postflight.read_log(rows | dict(zip(("ax", "ay", "az"), there.T)), columns)
    smooth = np.abs(t - ls.LIFTOFF) > 0.03  # the rates have a corner at liftoff
    # central differences of rates miss by h^2/6 of the third derivative, 8 rad/s * (2.1 rad/s)^3, times 5 cm: 6e-5 m/s^2
    assert np.abs(log["specific_force"].values - force)[smooth].max() < 1e-4
    assert log["specific_force"].attrs["sensor_station"] == 0.45
    assert "what turning adds there, by the log's own rates, is taken off" in log["finding"].values[0]
    without = {**columns, "read": {name: one for name, one in columns["read"].items() if name != "body_rate"}}
    alone = sixdof.postflight.read_log(rows | dict(zip(("ax", "ay", "az"), there.T)), without)
    assert "no rates to tell" in alone["finding"].values[0] and [alone["specific_force"].attrs[name] for name in ("sensor_y", "sensor_z")] == list(off)
    assert "sensor_y" not in log["specific_force"].attrs


def test_station__lever_arm_of_a_flight_is_in_the_log(demo_flight, demo_mission):
    """A log made at a station: what turning adds is r (w_y^2 + w_z^2) along the body, r ahead of the centre of mass."""
    at, here = (
        sixdof.postflight.read_log(*sixdof.postflight.log_of(demo_flight, what=["specific_force", "body_rate"], station=station), demo_mission)
        for station in (0.2, None)
    )
    flown = at["time"].values + at.attrs["liftoff_time"] > 2.05
    w = at["body_rate"].values[flown]
    arm = demo_flight["cg"].values[-flown.sum() :] - 0.2
    extra = (at["specific_force"] - here["specific_force"]).values[flown]
    np.testing.assert_allclose(extra[:, 0], -arm * (w[:, 1] ** 2 + w[:, 2] ** 2), atol=1e-9)


def test_attitude__by_heading_elevation_and_roll_or_in_north_east_down():
    """The nose north-east, 60 deg up: its unit vector in east, north, up; and a roll about it leaves it."""
    rows = ls.table(rate=20.0)
    n = rows["t"].size
    columns = ls.columns()
    columns["read"]["attitude"] = {"columns": ["hd", "el", "ro"], "unit": "deg"}
    log = sixdof.postflight.read_log(rows | {"hd": np.full(n, 45.0), "el": np.full(n, 60.0), "ro": np.linspace(0.0, 300.0, n)}, columns)
    w, x, y, z = log["attitude"].values.T
    nose = np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)])
    np.testing.assert_allclose(nose, np.outer([np.sqrt(0.125), np.sqrt(0.125), np.sqrt(0.75)], np.ones(n)), atol=1e-12)
    np.testing.assert_allclose(log["tilt"].values, np.radians(30.0), atol=1e-12)
    # the same body's quaternion from north, east, down (yaw 45, pitch 60 deg), by hand
    c, s, a, b = np.cos(np.pi / 8), np.sin(np.pi / 8), np.cos(np.pi / 6), np.sin(np.pi / 6)
    roll = np.radians(rows["t"] * 0.0)
    quaternion = {"qw": c * a + roll, "qx": -s * b + roll, "qy": c * b + roll, "qz": s * a + roll}
    columns["read"]["attitude"] = {"columns": list(quaternion), "frame": "north east down"}
    other = sixdof.postflight.read_log(rows | quaternion, columns)
    np.testing.assert_allclose(other["attitude"].values[0], log["attitude"].values[0], atol=1e-12)


# ---------------------------------------------------------------- heights and places

DATA = Path(__file__).parents[2] / "validation" / "data" / "atmosphere_ussa1976.csv"


@pytest.mark.parametrize("base_km", [0, 1, 2])
def test_heights__of_pressures_are_those_of_the_standard_atmosphere(base_km):
    """Pressures over geometric altitude from the table (six or seven digits: 1e-7 of the pressure is 1 mm), taken from a ground at one of its rows."""
    table = csv.DictReader(line for line in DATA.read_text().splitlines() if not line.startswith("#"))
    rows = [row for row in table if row["altitude_kind"] == "geometric" and base_km <= 1e-3 * float(row["Z_geometric_m"]) <= 20.0]
    altitude, pressure = (np.array([float(row[name]) for row in rows]) for name in ("Z_geometric_m", "p_Pa"))
    found = heights(pressure, pressure[0], None, Ground())
    assert altitude.size > 7
    # the lowest pressures are some 5000 Pa with seven digits: 5e-8 of it is 0.4 mm; the ground's digits move all heights alike
    np.testing.assert_allclose(found, altitude - altitude[0], atol=0.02)


def test_heights__of_a_warm_day_stretch_with_the_temperature():
    """Near the ground a height is R T / g times the logarithm of the pressure ratio: 20 K more than standard stretch it by 20 / 288."""
    pressure = np.array([101325.0, 100000.0])
    cold, warm = (heights(pressure, 101325.0, None, Ground(temperature=t))[1] for t in (288.15, 308.15))
    assert warm / cold == pytest.approx(308.15 / 288.15, rel=3e-4)  # the lapse below the top of the layer
    assert np.isnan(heights(np.array([np.nan, 0.0, 5e6]), 101325.0, None, Ground())).all()


@pytest.mark.parametrize("earth", ["flat", "wgs84"])
def test_places__are_those_of_geodesics_and_of_earth_fixed_coordinates(earth, demo_mission):
    pyproj = pytest.importorskip("pyproj")
    site = demo_mission.change({"site.earth": earth, "site.altitude": 0.0}).site
    latitude = site.latitude + np.array([0.0, 0.01, -0.02, 0.003])
    longitude = site.longitude + np.array([0.0, 0.02, 0.001, -0.015])
    height = np.array([0.0, 500.0, 1200.0, 80.0])
    east, north = local_places(site, latitude, longitude, height)
    if earth == "flat":
        lon0, lat0 = (np.full(4, np.degrees(each)) for each in (site.longitude, site.latitude))
        azimuth, _, length = pyproj.Geod(ellps="WGS84").inv(lon0, lat0, np.degrees(longitude), np.degrees(latitude))
        expected = length * np.sin(np.radians(azimuth)), length * np.cos(np.radians(azimuth))
    else:
        to_ecef = pyproj.Transformer.from_crs("EPSG:4979", "EPSG:4978")
        at = np.array(to_ecef.transform(np.degrees(latitude), np.degrees(longitude), height))
        origin = np.array(to_ecef.transform(np.degrees(site.latitude), np.degrees(site.longitude), 0.0))
        sl, cl, so, co = np.sin(site.latitude), np.cos(site.latitude), np.sin(site.longitude), np.cos(site.longitude)
        expected = np.array([[-so, co, 0.0], [-sl * co, -sl * so, cl]]) @ (at - origin[:, None])
    np.testing.assert_allclose([east, north], expected, atol=2e-4)  # pyproj's Earth-fixed coordinates to a tenth of a millimetre


def test_heights__map_goes_before_the_mission_and_carries_the_pressure_error(demo_mission):
    """Hydrostatics: 8 Pa are 8 / (rho g) m near the ground; the map's 20 K more stretch the mission's heights as they stretch a standard day's."""
    time = np.arange(-2.0, 2.0, 0.05)
    site = demo_mission.site
    table = {"t": time, "p": np.where(time < 0.0, 101325.0, 101325.0 - 60.0 * time**2), "lat": 0.0 * time + site.latitude}
    table["lon"] = 0.0 * time + site.longitude
    read = {"pressure": {"column": "p", "error": "0.08 mb"}, "latitude": {"column": "lat", "unit": "rad", "error": "10 ft"}}
    read["longitude"] = {"column": "lon", "unit": "rad", "error": 3.0}
    logs = []
    for kelvin in (288.15, 308.15):
        columns = {"clock": {"column": "t"}, "ground": {"temperature": kelvin, "pressure": 101325.0}, "read": read}
        logs.append(sixdof.postflight.read_log(table, columns, demo_mission.change({"site.altitude": 0.0}), liftoff=0.0))
    assert float(logs[1].height[-1] / logs[0].height[-1]) == pytest.approx(308.15 / 288.15, rel=3e-4)
    assert logs[0].height.attrs["error"] == pytest.approx(8.0 / (1.225 * 9.80665), rel=4e-3)
    assert (logs[0].north.attrs["error"], logs[0].east.attrs["error"]) == pytest.approx((3.048, 3.0))
    assert "column map" in logs[0].attrs["height_by"]


@pytest.mark.parametrize(("text", "unit", "si"), [("2000 dps", "rad/s", np.radians(2000.0)), ("16 g", "m/s**2", 156.9064), ("0.08 mb", "Pa", 8.0)])
def test_amount__takes_the_spellings_of_a_log(text, unit, si):
    assert amount(text, unit) == pytest.approx(si)
    assert amount_of_error("2 degC", "K") == pytest.approx(2.0)


def test_places__of_another_site_are_one_sentence(demo_mission):
    time = np.arange(-2.0, 3.0, 0.1)
    table = {"t": time, "lat": np.full_like(time, -31.0), "lon": np.full_like(time, 136.0), "alt": np.zeros_like(time)}
    read = {name: {"column": name[:3], "unit": unit} for name, unit in (("latitude", "deg"), ("longitude", "deg"), ("altitude", "m"))}
    with pytest.raises(ValueError, match=r"the log's places lie \d+ km from the rail at .* take the mission that was flown there"):
        sixdof.postflight.read_log(table, {"clock": {"column": "t", "unit": "s"}, "read": read}, demo_mission, liftoff=0.0)

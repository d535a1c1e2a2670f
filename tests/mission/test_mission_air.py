"""Soundings and forecasts of the wind from files, what the mission holds of them, and what is dispersed of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from sound_mission import TEXT

from sixdof.mission.errors import MissionError
from sixdof.mission.files.level_files import cf_unit, read_members, read_sounding
from sixdof.mission.load import loads_mission

KNOT = 1852.0 / 3600.0  # m/s, exact by definition
FOOT = 0.3048
ROUNDING = 1e-12
WIND = '[air.wind]\nspeed = "4 m/s"\nblows_from = "270 deg"\n'
SPREAD = '"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }'


def text(air: str, disperse: str = "", site: str = 'altitude = "500 m"') -> str:
    """The text of a mission with other tables of the air."""
    assert WIND in TEXT and SPREAD in TEXT
    return TEXT.replace(WIND, air).replace(SPREAD, disperse).replace("[site]", f"[site]\n{site}")


def faults(air: str, folder, **more):
    with pytest.raises(MissionError) as caught:
        loads_mission(text(air, **more), folder)
    return caught.value.faults


# ---------------------------------------------------------------- soundings from CSV

SONDE = """# invented
pressure (hPa); geopotential height (ft); Temperature (degC); RH (%); wind speed (knot); wind direction (deg); quality
950, 2000, 20, 50, 10, 350, good
700, 10000, 2, 40, 30, 020, good
500, 19000, -15, 10, 50, 090, poor
""".replace(", ", "; ")


def test_sounding__from_csv_ends_up_in_the_mission(tmp_path):
    (tmp_path / "sonde.csv").write_text(SONDE)
    mission = loads_mission(text('[air]\nsounding = "sonde.csv"\n'), tmp_path)
    found = mission.air.sounding
    assert found.pressure == (95_000.0, 70_000.0, 50_000.0)
    assert found.geopotential_height == pytest.approx((2000.0 * FOOT, 10_000.0 * FOOT, 19_000.0 * FOOT), rel=ROUNDING)
    assert found.temperature == pytest.approx((293.15, 275.15, 258.15), rel=ROUNDING)
    assert found.relative_humidity == pytest.approx((0.5, 0.4, 0.1), rel=ROUNDING)
    assert found.speed == pytest.approx((10.0 * KNOT, 30.0 * KNOT, 50.0 * KNOT), rel=ROUNDING)
    assert found.blows_from == pytest.approx(np.radians([350.0, 20.0, 90.0]), rel=ROUNDING)
    assert (found.height, found.altitude, found.dew_point, found.east) == ((), (), (), ())
    assert loads_mission(mission.to_toml()) == mission  # without the file
    assert "sonde.csv" not in mission.to_toml()


def test_sounding__components_and_dew_points_with_other_names(tmp_path):
    (tmp_path / "a.csv").write_text("alt, t, td, u, v\n600, 280, 275, 1, -2\n2600, 270, 260, 3, 4\n")
    found = loads_mission(text('[air]\nsounding = "a.csv"\npressure = 95000\n'), tmp_path).air
    assert (found.sounding.east, found.sounding.north) == ((1.0, 3.0), (-2.0, 4.0))
    assert (found.sounding.dew_point, found.pressure) == ((275.0, 260.0), 95_000.0)


def test_sounding__in_the_mission_file_and_by_change(tmp_path):
    (tmp_path / "sonde.csv").write_text(SONDE)
    mission = loads_mission(text("", "motor.burn_time = { sd = 0.1 }"), tmp_path)
    changed = mission.change({"air.sounding": str(tmp_path / "sonde.csv")})
    assert changed.air.sounding == loads_mission(text('[air]\nsounding = "sonde.csv"\n'), tmp_path).air.sounding
    inline = loads_mission(text('[air]\nsounding = { height = ["0 ft", "3000 ft"], temperature = ["15 degC", "9 degC"] }\n'))
    assert inline.air.sounding.temperature == pytest.approx((288.15, 282.15), rel=ROUNDING)
    assert inline.air.sounded_wind is False and inline.air.one_wind is True


def test_sounding__without_wind_leaves_that_of_the_mission(tmp_path):
    (tmp_path / "a.csv").write_text("altitude, temperature\n600, 280\n2600, 270\n")
    mission = loads_mission(text(f'[air]\nsounding = "a.csv"\n{WIND}', SPREAD), tmp_path)
    assert mission.air.wind.speed == 4.0 and mission.air.one_wind


@pytest.mark.parametrize(
    ("body", "place", "message", "hint"),
    [
        ("altitude, temperature\n600, 280\n500, 270\n", "line 3", "500 m follows 600 m", "must rise"),
        ("altitude, temperature\n600, 20\n900, 18\n", "line 2", "20 K is not a temperature", "temperature (degC)"),
        ("pressure, temperature\n950, 280\n900, 278\n", "line 2", "950 Pa is not a pressure of the lowest level", "pressure (hPa)"),
        ("altitude, temperature, rh\n600, 280, 50\n900, 278, 40\n", "line 2", "50 is not 0 to 1", "relative_humidity (%)"),
        ("altitude, temperature, speed, from\n0, 280, 5, 1\n900, 278, 5, 250\n", "line 3", "250 rad is more than", "(deg)"),
        ("altitude, temperature, speed\n0, 280, 5\n900, 278, 5\n", "", "column blows_from: missing", "go together"),
        ("altitude, temperature, u, v, speed, from\n0, 280, 1, 1, 5, 1\n9, 278, 1, 1, 5, 1\n", "", "both say what the wind is", "one"),
        ("temperature\n280\n278\n", "", "column altitude: missing", "one of height, altitude, geopotential_height, pressure"),
        ("altitude, speed, from\n0, 5, 1\n900, 5, 1\n", "", "column temperature: missing", 'profile "table"'),
        ("altitude, temperature\n600, 280\n", "", "there is one level", "two or more"),
        ("altitude, temperature\n600, 280\n900, -\n", "line 3", 'column temperature: "-" is not a number', "in the header"),
        ("600, 280\n900, 270\n", "line 1", "the header names no known column", "temperature (K)"),
        ("", "", "holds no numbers", "temperature (K)"),
    ],
)
def test_sounding__faults_of_a_csv_come_with_file_and_line(tmp_path, body, place, message, hint):
    (tmp_path / "a.csv").write_text(body)
    (fault,) = faults('[air]\nsounding = "a.csv"\npressure = 95000\n', tmp_path)
    assert (fault.file, fault.key, fault.place) == (str(tmp_path / "a.csv"), "air.sounding", place)
    assert message in fault.message and hint in fault.hint


def test_sounding__a_broken_file_hides_what_only_it_could_tell(tmp_path):
    """Turbulence may follow from the sounding's wind, and how many members there are only their file knows."""
    (tmp_path / "a.csv").write_text("nonsense\n")
    air = '[air]\nsounding = "a.csv"\n[air.turbulence]\n[air.wind]\nprofile = "members"\nmember = "a.csv"\n'
    found = faults(air, tmp_path, disperse='wind.member = { kind = "uniform", low = 0, high = 99 }')
    assert [fault.key for fault in found] == ["air.sounding", "air.wind.member"]


def test_sounding__a_file_that_is_not_there(tmp_path):
    (tmp_path / "sonde.nc").write_bytes(b"")
    (fault,) = faults('[air]\nsounding = "sound.nc"\n', tmp_path)
    assert str(fault) == 'air, key sounding: there is no file "sound.nc"; did you mean "sonde.nc"?'


# ---------------------------------------------------------------- forecasts from CSV

FORECASTS = "member, height (m), speed (m/s), blows_from (deg)\ncontrol, 10, 3, 270\np01, 10, 4, 250\ncontrol, 900, 8, 300\np01, 1200, 9, 310\n"


def test_members__from_csv_row_by_row(tmp_path):
    (tmp_path / "f.csv").write_text(FORECASTS)
    air = '[air.wind]\nprofile = "members"\nmember = "f.csv"\n'
    mission = loads_mission(text(air, 'wind.member = { kind = "uniform", low = 0, high = 1 }'), tmp_path)
    control, first = mission.air.wind.member
    assert (control.name, control.height, control.speed) == ("control", (10.0, 900.0), (3.0, 8.0))
    assert (first.name, first.height) == ("p01", (10.0, 1200.0))
    assert first.blows_from == pytest.approx(np.radians([250.0, 310.0]), rel=ROUNDING)
    assert loads_mission(mission.to_toml()) == mission
    calmer = mission.change({"air.wind.member.p01.speed": [1.0, 2.0]})
    assert calmer.air.wind.member[1].speed == (1.0, 2.0) and calmer.air.wind.member[0] == control


@pytest.mark.parametrize(
    ("old", "new", "place", "message"),
    [
        ("control, 900", "control, 5", "line 4", "5 m follows 10 m"),
        ("member, ", "run, ", "line 1", "there is no column member"),
        ("control, 900, 8, 300\n", "", "", "there is one level"),
        (", 9, 310", ", 9, x", "line 5", 'column blows_from: "x" is not a number'),
    ],
)
def test_members__faults_of_a_csv(tmp_path, old, new, place, message):
    (tmp_path / "f.csv").write_text(FORECASTS.replace(old, new))
    (fault,) = faults('[air.wind]\nprofile = "members"\nmember = "f.csv"\n', tmp_path)
    assert (fault.key, fault.place) == ("air.wind.member", place) and message in fault.message


# ---------------------------------------------------------------- netCDF

PLEV = np.array([500.0, 700.0, 850.0, 925.0])  # hPa, from above, as many files have them
HEIGHT = np.array([5600.0, 3050.0, 1480.0, 780.0])
TEMPERATURE = np.array([258.0, 275.0, 284.0, 289.0])
EAST, NORTH = np.array([20.0, 12.0, 6.0, 3.0]), np.array([1.0, -2.0, 2.0, 4.0])


def profile(**more) -> xr.Dataset:
    """A profile over pressure, found by standard names under names that say nothing."""
    entries = {
        "a": ("plev", HEIGHT, {"standard_name": "geopotential_height", "units": "m"}),
        "b": ("plev", TEMPERATURE - 273.15, {"standard_name": "air_temperature", "units": "degC"}),
        "c": ("plev", EAST, {"standard_name": "eastward_wind", "units": "m s-1"}),
        "d": ("plev", NORTH, {"standard_name": "northward_wind", "units": "m s**-1"}),
        "e": ("plev", np.array([10.0, 30.0, np.nan, 60.0]), {"standard_name": "relative_humidity", "units": "%"}),
    }
    coords = {"plev": ("plev", PLEV, {"standard_name": "air_pressure", "units": "hPa"})}
    return xr.Dataset({name: entry for name, entry in (entries | more).items() if entry is not None}, coords)


def written(tmp_path, ds: xr.Dataset, name="p.nc", **options):
    ds.to_netcdf(tmp_path / name, **options)
    return tmp_path / name


@pytest.mark.parametrize("name, options", [("p.nc", {}), ("old.nc", {"format": "NETCDF3_CLASSIC"}), ("no-suffix", {})])
def test_netcdf__by_standard_names_whatever_the_variables_are_called(tmp_path, name, options):
    found = read_sounding(written(tmp_path, profile(), name, **options))
    assert set(found) == {"pressure", "geopotential_height", "temperature", "relative_humidity", "east", "north"}
    assert found["pressure"] == pytest.approx((92_500.0, 85_000.0, 70_000.0, 50_000.0), rel=ROUNDING)  # from below
    assert found["geopotential_height"] == tuple(HEIGHT[::-1])
    assert found["temperature"] == pytest.approx(TEMPERATURE[::-1], rel=ROUNDING)
    assert (found["east"], found["north"]) == (tuple(EAST[::-1]), tuple(NORTH[::-1]))
    assert found["relative_humidity"] == pytest.approx((0.6, 0.0, 0.3, 0.1))  # where it alone is missing the air counts as dry


def test_netcdf__sounding_ends_up_in_the_mission(tmp_path):
    written(tmp_path, profile())
    mission = loads_mission(text('[air]\nsounding = "p.nc"\n'), tmp_path)
    assert mission.air.sounding.east == tuple(EAST[::-1])
    assert loads_mission(mission.to_toml()) == mission


def test_netcdf__by_common_names_of_a_weather_service(tmp_path):
    """Geopotential instead of height, speed and direction instead of components, one time and place, an unlimited many of others."""
    dims = ("time", "level", "latitude", "longitude")
    ds = xr.Dataset(
        {
            "z": (dims, 9.80665 * HEIGHT[None, :, None, None], {"units": "m2 s-2"}),
            "t": (dims, TEMPERATURE[None, :, None, None].astype(np.float32), {"units": "K"}),
            "wspd": (dims, np.hypot(EAST, NORTH)[None, :, None, None], {"units": "knots"}),
            "wdir": (dims, np.array([270.0, 280.0, 250.0, 0.0])[None, :, None, None], {"units": "degrees"}),
            "q": (dims, np.array([1e-3, 2e-3, 5e-3, 8e-3])[None, :, None, None], {"units": "kg kg-1"}),
            "t2m": (("time",), np.array([299.0]), {"standard_name": "air_temperature", "units": "K"}),
            "soil": (("depth",), np.array([280.0, 281.0]), {"units": "K"}),
        },
        {
            "level": ("level", PLEV, {"units": "millibars"}),
            "time": ("time", [7], {"units": "hours since 2030-01-01"}),
            "latitude": [38.0],
            "longitude": [-117.0],
        },
    )
    found = read_sounding(written(tmp_path, ds))
    assert found["geopotential_height"] == pytest.approx(HEIGHT[::-1], rel=ROUNDING)
    assert found["temperature"] == pytest.approx(TEMPERATURE[::-1], rel=ROUNDING)
    assert found["pressure"] == pytest.approx(100.0 * PLEV[::-1], rel=ROUNDING)
    assert found["speed"] == pytest.approx(KNOT * np.hypot(EAST, NORTH)[::-1], rel=1e-9)
    assert found["blows_from"] == pytest.approx(np.radians([0.0, 250.0, 280.0, 270.0]), rel=ROUNDING)
    assert found["specific_humidity"] == (8e-3, 5e-3, 2e-3, 1e-3)


def test_netcdf__height_is_above_the_ground_and_altitude_above_the_sea(tmp_path):
    for standard, key in (("height", "height"), ("altitude", "altitude"), ("height_above_mean_sea_level", "altitude")):
        ds = profile(a=("plev", HEIGHT / 1000.0, {"standard_name": standard, "units": "km"}))
        assert read_sounding(written(tmp_path, ds))[key] == pytest.approx(HEIGHT[::-1], rel=ROUNDING)


def test_netcdf__direction_the_wind_goes_to_is_turned_round(tmp_path):
    ds = profile(
        c=("plev", np.hypot(EAST, NORTH), {"standard_name": "wind_speed", "units": "m s-1"}),
        d=("plev", np.degrees(np.arctan2(EAST, NORTH)), {"standard_name": "wind_to_direction", "units": "degree"}),
    )
    found = read_sounding(written(tmp_path, ds))
    came = -np.array(found["speed"]) * np.exp(1j * np.array(found["blows_from"]))  # north + i east
    np.testing.assert_allclose(came, (NORTH + 1j * EAST)[::-1], atol=1e-9)


def test_netcdf__levels_below_the_ground_are_left_out(tmp_path):
    ds = profile(b=("plev", np.where(PLEV > 900.0, np.nan, TEMPERATURE), {"standard_name": "air_temperature", "units": "K"}))
    assert read_sounding(written(tmp_path, ds))["temperature"] == tuple(TEMPERATURE[2::-1])


K = {"units": "K"}
NETCDF_FAULTS = {
    "no temperature": ({"b": None}, "holds no profile of temperature", "standard_name air_temperature"),
    "many times": (
        {"b": (("time", "plev"), np.tile(TEMPERATURE, (24, 1)), {"standard_name": "air_temperature", **K})},
        'variable "b" has the dimensions time (24), plev (4)',
        "select the time",
    ),
    "no units": ({"b": ("plev", TEMPERATURE, {"standard_name": "air_temperature"})}, 'variable "b" has no units', "attribute units"),
    "units of another kind": ({"b": ("plev", TEMPERATURE, {"standard_name": "air_temperature", "units": "m"})}, 'units "m" has the wrong unit', "degC"),
    "units nobody knows": ({"b": ("plev", TEMPERATURE, {"standard_name": "air_temperature", "units": "blorp"})}, "unknown unit", "degC"),
    "two of a kind": ({"b2": ("plev", TEMPERATURE, {"standard_name": "air_temperature", **K})}, "'b' and 'b2' could both be temperature", "drop one"),
    "nothing whole": ({"c": ("plev", EAST * np.nan, {"standard_name": "eastward_wind", "units": "m/s"})}, "missing at every level", "numbers"),
    "text": ({"b": ("plev", ["x"] * 4, {"standard_name": "air_temperature", **K})}, 'variable "b" holds no numbers', "give numbers"),
    "no temperature of air": ({"b": ("plev", TEMPERATURE - 273.15, {"standard_name": "air_temperature", **K})}, "column temperature: 15.85 K", "(degC)"),
    "two levels at one height": (
        {"a": ("plev", np.array([5600.0, 1480.0, 1480.0, 780.0]), {"standard_name": "altitude", "units": "m"})},
        "1480 m follows 1480 m",
        "must rise",
    ),
}


@pytest.mark.parametrize(("change", "message", "hint"), NETCDF_FAULTS.values(), ids=NETCDF_FAULTS)
def test_netcdf__faults_are_one_sentence(tmp_path, change, message, hint):
    written(tmp_path, profile(**change))
    (fault,) = faults('[air]\nsounding = "p.nc"\n', tmp_path)
    assert (fault.file, fault.key) == (str(tmp_path / "p.nc"), "air.sounding")
    assert message in fault.message and hint in fault.hint and "\n" not in str(fault)


@pytest.mark.parametrize("head", [b"CDF\x01", b"\x89HDF\r\n\x1a\n"])
@pytest.mark.parametrize("cut", [8, 700, 3000])
def test_netcdf__a_damaged_file_is_one_sentence(tmp_path, head, cut):
    whole = written(tmp_path, profile()).read_bytes()
    (tmp_path / "bad.nc").write_bytes(head + whole[len(head) : cut] + b"\xff" * 50)
    (fault,) = faults('[air]\nsounding = "bad.nc"\n', tmp_path)
    assert "damaged" in fault.message or "no profile" in fault.message


def ensemble(dim="number", **coords) -> xr.Dataset:
    spread = np.array([0.0, 1.0, -2.0])[:, None]
    attrs = [{"standard_name": name, "units": "m s-1"} for name in ("eastward_wind", "northward_wind")]
    ds = profile(c=((dim, "plev"), EAST + spread, attrs[0]), d=(("plev", dim), (NORTH - spread).T, attrs[1]))
    return ds.assign_coords(coords)


@pytest.mark.parametrize(
    ("dim", "coords", "names"),
    [
        ("number", {"number": [0, 1, 2]}, ["0", "1", "2"]),
        ("realization", {}, ["0", "1", "2"]),
        ("member", {"member": ["control", "p1", "p2"]}, ["control", "p1", "p2"]),
        ("run", {"run": ("run", [4, 5, 6], {"standard_name": "realization"})}, ["4", "5", "6"]),
    ],
)
def test_netcdf__members_by_their_dimension(tmp_path, dim, coords, names):
    found = read_members(written(tmp_path, ensemble(dim, **coords)))
    assert [each["name"] for each in found] == names
    for each, add in zip(found, (0.0, 1.0, -2.0)):
        assert set(each) == {"name", "geopotential_height", "east", "north"}  # heights are the same for all
        assert each["east"] == tuple((EAST + add)[::-1]) and each["north"] == tuple((NORTH - add)[::-1])


def test_netcdf__members_end_up_in_the_mission_and_a_sounding_is_one(tmp_path):
    written(tmp_path, ensemble(number=[0, 1, 2]))
    mission = loads_mission(text('[air.wind]\nprofile = "members"\nmember = "p.nc"\n'), tmp_path)
    assert [each.name for each in mission.air.wind.member] == ["0", "1", "2"]
    assert loads_mission(mission.to_toml()) == mission
    (fault,) = faults('[air]\nsounding = "p.nc"\n', tmp_path)
    assert "holds 3 members, and a sounding is one" in fault.message and 'profile "members"' in fault.hint


def test_netcdf__members_over_pressure_alone_say_no_height(tmp_path):
    written(tmp_path, ensemble(number=[0, 1, 2]).drop_vars("a"))
    (fault,) = faults('[air.wind]\nprofile = "members"\nmember = "p.nc"\n', tmp_path)
    assert "column altitude: missing" in fault.message and "height, altitude, geopotential_height" in fault.hint


@pytest.mark.parametrize(
    ("text", "spelled"),
    [
        ("m s-1", "m s^-1"),
        ("m s**-1", "m s**-1"),
        ("m2 s-2", "m^2 s^-2"),
        ("degrees", "deg"),
        ("degree_Celsius", "degC"),
        ("kg kg**-1", "1"),
        ("hPa", "hPa"),
        ("%", "%"),
        (" K ", "K"),
        ("millibars", "hPa"),
    ],
)
def test_cf_unit__spellings(text, spelled):
    assert cf_unit(text) == spelled


# ---------------------------------------------------------------- what is dispersed

MEMBERS = '[air.wind]\nprofile = "members"\n' + "".join(f"[[air.wind.member]]\nheight = [0, 900]\neast = [{k}, 2]\nnorth = [0, 0]\n" for k in range(3))


@pytest.mark.parametrize(
    ("spread", "key", "message", "hint"),
    [
        ('{ kind = "uniform", low = 0, high = 3 }', "high", "there is no member 3", "0 to 2"),
        ('{ kind = "uniform", low = 0, high = 1.5 }', "high", "1.5 is not a whole number", "from 0"),
        ('{ kind = "uniform", low = -1, high = 2 }', "low", "must be at least 0", "the value itself"),
        ('{ kind = "fixed", mean = 7 }', "mean", "there is no member 7", "0 to 2"),
        ("{ sd = 1 }", "kind", "one as often as another", 'kind = "uniform", low = 0, high = 2'),
    ],
)
def test_disperse__of_members(spread, key, message, hint):
    with pytest.raises(MissionError) as caught:
        loads_mission(text(MEMBERS, f"wind.member = {spread}"))
    (fault,) = caught.value.faults
    assert fault.key == f"disperse.wind.member.{key}"
    assert message in fault.message and hint in fault.hint


@pytest.mark.parametrize("spread", ['{ kind = "uniform", low = 0, high = 2 }', '{ kind = "fixed", mean = 1 }'])
def test_disperse__of_members_that_are_there(spread):
    assert "wind.member" in loads_mission(text(MEMBERS, f"wind.member = {spread}")).disperse


CALM = "[air.wind]\nspeed = 0\n"
TURBULENCE = "[air.turbulence]\n"
ITS_WIND = "turbulence.wind_at_20_ft"


@pytest.mark.parametrize(
    ("air", "disperse", "key"),
    [
        (TURBULENCE + CALM, "", "air.turbulence.wind_at_20_ft"),
        (TURBULENCE + '[air.wind]\nprofile = "table"\ntable = [[0, 0, 1], [9, 0, 2]]\n', "", "air.turbulence.wind_at_20_ft"),
        (TURBULENCE + MEMBERS.replace("[0, 2]", "[0, 0]").replace("[1, 2]", "[0, 0]").replace("[2, 2]", "[0, 0]"), "", "air.turbulence.wind_at_20_ft"),
        (TURBULENCE + CALM, f'{ITS_WIND} = {{ sd = "1 m/s" }}', f"disperse.{ITS_WIND}.mean"),
        (TURBULENCE + "aloft = 2\n" + CALM, f'{ITS_WIND} = {{ sd = "1 m/s" }}', f"disperse.{ITS_WIND}.mean"),
    ],
)
def test_turbulence__needs_something_to_follow_from(air, disperse, key):
    with pytest.raises(MissionError) as caught:
        loads_mission(text(air, disperse))
    (fault,) = caught.value.faults
    assert fault.key == key and "missing" in fault.message


@pytest.mark.parametrize(
    ("air", "disperse"),
    [
        (TURBULENCE + WIND, ""),
        (TURBULENCE + CALM, 'wind.speed = { mean = "3 m/s", sd = "1 m/s" }'),
        (TURBULENCE + 'wind_at_20_ft = "15 knot"\n' + CALM, f'{ITS_WIND} = {{ sd = "1 m/s" }}'),
        (TURBULENCE + CALM, f'{ITS_WIND} = {{ mean = "15 knot", sd = "1 m/s" }}'),
        (TURBULENCE + CALM, f'{ITS_WIND} = {{ kind = "uniform", low = "15 knot", high = "45 knot" }}'),
        (TURBULENCE + "aloft = 2\n" + CALM, ""),
        (TURBULENCE + MEMBERS, ""),
        (TURBULENCE + "[air]\nsounding = { altitude = [0, 5000], temperature = [288, 255], east = [0, 1], north = [0, 0] }\n", ""),
    ],
)
def test_turbulence__that_follows_from_something(air, disperse):
    mission = loads_mission(text(air, disperse))
    assert mission.air.turbulence is not None
    assert loads_mission(mission.to_toml()) == mission


def test_air__everything_survives_the_round_trip():
    air = (
        '[air.wind]\nprofile = "power"\nspeed = 3\nveer = "12 deg/km"\n[air.turbulence]\naloft = 1\n'
        '[[air.gust]]\nspeed = 5\nblows_from = "9 deg"\nheight = 100\nlength = 30\nshape = "rise"\n'
    )
    mission = loads_mission(text(air, site='earth = "wgs84"\nlongitude = "-117 deg"'))
    assert mission.air.wind.veer == pytest.approx(math.radians(0.012), rel=ROUNDING)
    assert (mission.site.earth, mission.air.gust[0].shape) == ("wgs84", "rise")
    assert loads_mission(mission.to_toml()) == mission

"""A simulated flight, written as a log in ugly units and axes and read back, is the flight again, to rounding."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof

AXES = "+y -x +z"
WHAT = ("pressure", "specific_force", "body_rate", "altitude", "latitude", "longitude", "velocity", "attitude", "phase")
UNITS = {"pressure": "inHg", "specific_force": "g", "body_rate": "dps", "velocity": "ft/s", "altitude": "ft"}
LEAD = 2.0


def sensed(flight, *names):
    return flight["sensed"].sel(reading=list(names)).transpose("time", "reading").values


@pytest.fixture(scope="module")
def written(demo_flight, tmp_path_factory):
    path = tmp_path_factory.mktemp("logs") / "flight.csv"
    sixdof.postflight.log_of(demo_flight, path, what=WHAT, units=UNITS, axes=AXES, lead=LEAD, clock="ms")
    return path


@pytest.fixture(scope="module")
def read(written, demo_mission):
    return sixdof.postflight.read_log(written, f"{written}.toml", demo_mission)


@pytest.fixture(scope="module")
def flown(demo_flight, read):
    """Return the rows of the log that the flight has too, by number."""
    rows = read["time"].values + read.attrs["liftoff_time"] > LEAD - 1e-6
    assert rows.sum() == demo_flight.sizes["time"]
    return rows


@pytest.mark.parametrize(
    ("name", "readings", "within"),
    # a column in inches of mercury has 16 digits of some 26 inHg, a micron of height is 1e-11 of it; degrees of latitude have 1e-14 deg, 1 nm
    [
        ("height", ("baro_height",), 1e-6),
        ("fix_height", ("fix_height",), 1e-8),
        ("east", ("fix_east",), 1e-6),
        ("north", ("fix_north",), 1e-6),
        ("velocity", ("fix_velocity_east", "fix_velocity_north", "fix_velocity_up"), 1e-10),
        ("specific_force", ("specific_force_x", "specific_force_y", "specific_force_z"), 1e-10),
        ("body_rate", ("rate_x", "rate_y", "rate_z"), 1e-10),
    ],
)
def test_reading__comes_back_in_si_and_body_axes(name, readings, within, read, flown, demo_flight):
    told, true = read[name].values[flown], np.squeeze(sensed(demo_flight, *readings))
    after = demo_flight["time"].values > 0.0  # the first row of a flight is the instant of ignition, at which nothing pushes yet
    assert np.abs(told - true)[after].max() < within


def test_attitude__comes_back_up_to_its_sign(read, flown, demo_flight):
    told, true = read["attitude"].values[flown], sensed(demo_flight, "q_w", "q_x", "q_y", "q_z")
    assert np.abs(np.abs((told * true).sum(axis=1)) - 1.0).max() < 1e-12
    assert np.abs(read["tilt"].values[flown] - demo_flight["tilt"].values).max() < 1e-6  # ideal sensors; arccos in the flight loses half the digits


def test_phase__comes_back(read, flown, demo_flight):
    assert (read["phase"].values[flown] == demo_flight["phase"].values).all()


def test_liftoff__is_that_of_the_flight(read, demo_flight):
    true = float(demo_flight["event_time"].sel(event="liftoff").squeeze())
    assert abs(read.attrs["liftoff_time"] - LEAD - true) < 3.0 * read.attrs["liftoff_error"]
    assert read.attrs["liftoff_by"] == "specific force"
    assert read.attrs["liftoff_error"] < 0.02


def test_clean_log__has_no_finding(read):
    assert "finding" not in read
    assert 0 not in read.sizes.values()


def test_log__follows_the_contract(read, demo_flight):
    assert read.attrs["kind"] == "flight log" and read.attrs["stage"] == ""
    assert (np.diff(read["time"].values) > 0.0).all() and read["time"].dtype == np.float64 and read["time"].values[0] < 0.0
    for name in set(read) & set(demo_flight) - {"fin_angle", "phase"}:
        assert read[name].dims == demo_flight[name].dims
        assert {key: read[name].attrs[key] for key in ("units", "long_name")} == {key: demo_flight[name].attrs[key] for key in ("units", "long_name")}
    assert all("source" in read[name].attrs for name in read)


def test_page__says_what_is_in_it(read):
    page = str(sixdof.report(read))
    assert "Nothing was found wrong" in page and "Apogee by the barometer 58" in page and "87" not in page.splitlines()[0]


def test_saved__is_the_same_log(read, tmp_path):
    read.to_netcdf(tmp_path / "log.nc")
    import xarray as xr

    with xr.open_dataset(tmp_path / "log.nc") as again:
        assert str(sixdof.report(again.load())) == str(sixdof.report(read))

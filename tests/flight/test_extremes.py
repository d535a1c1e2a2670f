"""Odd but legal missions fly, or end with a status: never a NaN that travels, an infinity, or an error from inside."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

import sixdof
from sixdof.stats import Status

POINT = {"kind": "mass"}
CHANGES = {
    "rail flat": {"rail.elevation": "0 deg"},
    "rail almost flat": {"rail.elevation": "1 deg"},
    "rail vertical": {"rail.elevation": "90 deg"},
    "calm": {"air.wind.speed": 0.0},
    "hurricane": {"air.wind.speed": "60 m/s", "disperse": {}},
    "nearly at the pole": {"site.latitude": "89.98 deg", "site.earth": "wgs84"},
    "date line": {"site.longitude": "180 deg", "site.earth": "wgs84"},
    "high site": {"site.altitude": "4000 m", "air.pressure": "61 kPa"},
    "gains far too high": {"autopilot.pitch.p": 20.0, "autopilot.yaw.p": 20.0},
    "severe turbulence": {"air.turbulence": {"wind_at_20_ft": "25 m/s", "aloft": "10 m/s"}},
    "gust": {"air.gust": [{"speed": "30 m/s", "height": "50 m", "length": "10 m"}]},
    "slow computer": {"autopilot.rate": "20 Hz"},
    "fast computer": {"autopilot.rate": "1000 Hz"},
    "no time": {"solver.time_limit": "2 s"},
    "step as fine as it may be": {"solver.tolerance": 1e-9},
}
STATIONS = {"tail heavy": (2.0, 1.2), "far too heavy": (40.0, 0.6), "nose heavy": (1.0, 0.05)}


def check(ds):
    assert Status(int(ds["status"])) in Status
    for name, values in ds.data_vars.items():
        if values.dtype.kind == "f":
            assert not np.isinf(values.values).any(), name
    for name in ("height", "velocity", "attitude", "body_rate", "mach", "airspeed", "mass"):
        assert np.isfinite(ds[name].values).all(), name
    assert np.linalg.norm(ds["attitude"].values, axis=1) == pytest.approx(1.0, abs=1e-9)


def fly(mission):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # ends that are not landings warn, as they should
        return sixdof.fly(mission)


@pytest.mark.parametrize("name", CHANGES)
def test_extreme_conditions(demo_mission, name):
    check(fly(demo_mission.change(CHANGES[name])))


@pytest.mark.parametrize("name", STATIONS)
def test_extreme_masses(demo_mission, name):
    mass, station = STATIONS[name]
    parts = [part.model_dump() for part in demo_mission.stage[0].part]
    ds = fly(demo_mission.change({"stage.0.part": [*parts, POINT | {"mass": mass, "station": station}]}))
    check(ds)
    if name == "far too heavy":
        assert Status(int(ds["status"])) is Status.NO_LIFTOFF


def test_no_fins__tumbles_and_comes_down(demo_mission):
    parts = [part.model_dump() for part in demo_mission.stage[0].part if part.kind != "fins"]
    ds = fly(demo_mission.change({"stage.0.part": parts, "rule": []}))
    check(ds)
    assert float(ds.incidence_max) > 0.5 and float(ds.apogee_height) < 300.0

"""Air and wind over height as a Dataset."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.study.aero.air import air_against_height


def test_air_against_height__demo(demo_mission):
    ds = air_against_height(demo_mission)
    assert ds.sizes == {"height": 301, "member": 1}
    assert all({"units", "long_name"} <= set(variable.attrs) for variable in ds.data_vars.values())
    ground = ds.sel(height=0.0)
    assert float(ground["temperature"]) == pytest.approx(297.15) and float(ground["pressure"]) == pytest.approx(87_600.0)
    assert float(ground["density"]) == pytest.approx(87_600.0 / (287.053 * 297.15), rel=1e-5)
    assert float(ground["density_altitude"]) > 1250.0 and float(ground["relative_humidity"]) == 0.0  # warm, and the standard is dry
    # the warm column is the standard's, shifted by one constant
    shift = ds["temperature"] - ds["standard_temperature"]
    np.testing.assert_allclose(shift, shift[0], rtol=1e-9)
    at_ten = ds.sel(height=10.0, member="")
    assert float(at_ten["wind_speed"]) == pytest.approx(4.0) and np.degrees(float(at_ten["wind_from"])) == pytest.approx(255.0)


def test_air_against_height__members_and_heights_of_ones_own(demo_mission):
    members = [{"name": name, "height": [0.0, 100.0], "east": [0.0, 0.0], "north": [speed, speed]} for name, speed in (("a", -2.0), ("b", 5.0))]
    mission = demo_mission.change({"air.wind": {"profile": "members", "member": members}, "disperse": {}})
    ds = air_against_height(mission, [0.0, 50.0])
    assert list(ds["member"].values) == ["a", "b"]
    np.testing.assert_allclose(ds["wind_speed"], [[2.0, 2.0], [5.0, 5.0]])
    np.testing.assert_allclose(np.degrees(ds["wind_from"]), [[0.0, 0.0], [180.0, 180.0]], atol=1e-9)

"""`column_map`: what headers say, and what they do not."""

from __future__ import annotations

import tomllib

import log_signals as ls
import numpy as np
import pandas as pd
import pytest

import sixdof

HEADS = {
    "time (ms)": ("clock", "ms"),
    "timestamp_us": ("clock", "us"),
    "baro (ft)": ("height", "ft"),
    "Altitude [m]": ("height", "m"),
    "alt_ft": ("height", "ft"),
    "baro (hPa)": ("pressure", "hPa"),
    "press_pa": ("pressure", "pa"),
    "GPS altitude (m)": ("altitude", "m"),
    "alt msl (ft)": ("altitude", "ft"),
    "lat": ("latitude", "deg"),
    "longitude (deg)": ("longitude", "deg"),
    "ax_g": ("specific_force (x)", "g"),
    "accel y (m/s^2)": ("specific_force (y)", "m/s^2"),
    "gz_dps": ("body_rate (z)", "dps"),
    "gyro x [deg/s]": ("body_rate (x)", "deg/s"),
    "roll rate (rad/s)": ("body_rate (x)", "rad/s"),
    "mag z (uT)": ("magnetic_field (z)", ""),
    "velocity (m/s)": ("velocity (up)", "m/s"),
    "vn (ft/s)": ("velocity (north)", "ft/s"),
    "temp (degC)": ("temperature", "degC"),
    "temp_c": ("temperature", "c"),
    "q0": ("attitude (1)", ""),
    "tilt (deg)": ("tilt", "deg"),
    "fin 2 cmd (deg)": ("fin_command (2)", "deg"),
    "servo3 (deg)": ("fin_angle (3)", "deg"),
    "packet": ("counter", ""),
    "rx time (s)": ("second_clock", "s"),
}


@pytest.mark.parametrize("head", HEADS)
def test_heading__is_taken_for(head):
    columns = {head: np.arange(5.0)} | ({} if HEADS[head][0] == "clock" else {"t": np.arange(5.0)})
    (one,) = [each for each in sixdof.postflight.column_map(columns).taken if each.heading == head]
    assert (one.what, one.unit) == HEADS[head]


@pytest.mark.parametrize("head", ["rssi", "battery (V)", "baro (V)", "state", "comment", "servo current (A)"])
def test_heading__that_says_nothing_is_left(head):
    columns = {"t": np.arange(5.0), head: np.array(["a", "b", "c", "d", "e"]) if head in ("state", "comment") else np.arange(5.0) + 7.5}
    found = sixdof.postflight.column_map(columns)
    assert found.left == (head,) and found["read"] == {}


@pytest.mark.parametrize(("values", "unit"), [(np.arange(0, 400, 20), "ms"), (np.arange(0, 400_000, 20_000), "us"), (np.arange(20) * 0.02, "s")])
def test_clock__without_a_unit_is_told_by_its_steps(values, unit):
    found = sixdof.postflight.column_map({"time": np.asarray(values, dtype=float), "alt": np.zeros(20)})
    assert found["clock"]["unit"] == unit
    assert "no unit in the header" in str(sixdof.report(found))


def test_proposal__reads_the_log_and_is_a_file(tmp_path):
    rows = pd.DataFrame(ls.table()).rename(columns={"t": "time (s)", "alt": "baro (m)", "gx": "gx (rad/s)", "gy": "gy (rad/s)", "gz": "gz (rad/s)"})
    rows.to_csv(tmp_path / "log.csv", index=False)
    proposed = sixdof.postflight.column_map(tmp_path / "log.csv")
    by_default = sixdof.postflight.read_log(tmp_path / "log.csv")
    (tmp_path / "map.toml").write_text(str(proposed))
    assert tomllib.loads(str(proposed)) == dict(proposed)
    for log in (sixdof.postflight.read_log(tmp_path / "log.csv", proposed), sixdof.postflight.read_log(tmp_path / "log.csv", tmp_path / "map.toml")):
        assert log.drop_attrs().identical(by_default.drop_attrs())
    assert {"height", "velocity", "specific_force", "body_rate"} <= set(by_default)
    page = str(sixdof.report(proposed))
    assert "baro (m)" in page and "height" in page and "axes, station and off_axis" in page


def test_log__without_a_clock_is_one_sentence():
    with pytest.raises(ValueError, match="no column of the table looks like a clock"):
        sixdof.postflight.column_map({"alt": np.zeros(5), "rssi": np.zeros(5)})

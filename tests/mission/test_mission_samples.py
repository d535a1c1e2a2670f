"""Measured values to draw from: columns of CSV files and variables of past ensembles, read when a mission is loaded."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from sound_mission import TEXT

from sixdof.mission.errors import MissionError
from sixdof.mission.load import build_mission, load_mission, loads_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Spread

IMPULSE = 'motor.impulse = { sd = "2 %" }'
SPAN = "stage.dart.part.tail.semispan"


def text(spread: str) -> str:
    return TEXT.replace(IMPULSE, spread)


def empirical(name: str, data: str, column: str) -> str:
    return text(f'{name} = {{ kind = "empirical", data = "{data}", column = "{column}" }}')


def faults(written: str, folder):
    with pytest.raises(MissionError) as caught:
        loads_mission(written, folder)
    return caught.value.faults


def test_csv__column_is_found_by_name_converted_and_sorted(tmp_path):
    (tmp_path / "fins.csv").write_text("number, Span (mm), mass (g)\n1, 60.2, 30\n2, 59.8, 31  # the bent one\n3, 60, 30\n")
    (tmp_path / "demo.toml").write_text(empirical(SPAN, "fins.csv", "Span"))
    mission = load_mission(tmp_path / "demo.toml")
    spread = mission.disperse[SPAN]
    assert spread.values == pytest.approx((0.0598, 0.06, 0.0602), rel=1e-15)
    assert (spread.kind, spread.data, spread.column, spread.unit) == ("empirical", "", "", "")
    assert loads_mission(mission.to_toml()) == mission  # self-contained: the file may go


def test_csv__without_a_unit_is_si(tmp_path):
    (tmp_path / "x.csv").write_text("impulse;other\n1.02;5\n0.97;5\n")
    assert loads_mission(empirical("motor.impulse", "x.csv", "impulse"), tmp_path).disperse["motor.impulse"].values == (0.97, 1.02)


def test_csv__differences_of_temperature_are_no_temperatures(tmp_path):
    (tmp_path / "x.csv").write_text("t (degC)\n20\n")
    (fault,) = faults(empirical("air.temperature", "x.csv", "t"), tmp_path)
    assert fault.key == "disperse.air.temperature.unit" and "not a difference" in fault.message


WRONG = [
    ("a,b\n1,2\n", "c", "line 1: there is no column c; the header has a, b"),
    ("1,2\n", "c", "line 1: there is no header; write a first line that names the columns, such as c"),
    ("c\n", "c", "holds no numbers; write the column c below the header"),
    ("", "c", "holds no numbers"),
    ("c\n1\nnan\n", "c", "line 3: column c: nan is not finite; write a finite number"),
    ("c\n1\nx\n", "c", 'line 3: column c: "x" is not a number'),
]


@pytest.mark.parametrize("written, column, sentence", WRONG)
def test_csv__faults_say_file_line_and_key(tmp_path, written, column, sentence):
    (tmp_path / "x.csv").write_text(written)
    (fault,) = faults(empirical("motor.impulse", "x.csv", column), tmp_path)
    assert fault.key == "disperse.motor.impulse.data" and fault.file == str(tmp_path / "x.csv")
    assert sentence in str(fault) and "\n" not in str(fault)


def test_csv__units_that_do_not_fit(tmp_path):
    (tmp_path / "x.csv").write_text("c (kg)\n1\n")
    (fault,) = faults(empirical(SPAN, "x.csv", "c"), tmp_path)
    assert fault.key == f"disperse.{SPAN}.unit" and '"kg" has the wrong unit' in fault.message


def test_csv__values_that_the_mission_cannot_hold(tmp_path):
    (tmp_path / "x.csv").write_text("c (mm)\n60\n-1\n")
    (fault,) = faults(empirical(SPAN, "x.csv", "c"), tmp_path)
    assert fault.key == f"disperse.{SPAN}.values[1]" and "must be more than 0 m" in fault.message


def past(**variables) -> xr.Dataset:
    entries = {name: ("flight", values, {"units": unit}) for name, (values, unit) in variables.items()}
    return xr.Dataset(entries, {"flight": np.arange(10, 10 + len(next(iter(variables.values()))[0]))})


@pytest.mark.parametrize("suffix", ["nc", "zarr"])
def test_ensemble__variable_by_its_name_or_that_of_the_input(tmp_path, suffix):
    ds = past(apogee_height=([812.0, 790.5, 801.25], "m"), wind_speed=([4.0, 3.0, 5.0], "m s-1"), share=([90.0, 110.0, 100.0], "%"))
    ds["wind_speed"].attrs["disperses"] = "wind.speed"
    path = tmp_path / f"past.{suffix}"
    if suffix == "nc":
        ds.to_netcdf(path)
    else:
        ds.to_zarr(path, consolidated=False, zarr_format=3)
    for name, column, wanted in (
        ("wind.speed", "wind.speed", (3.0, 4.0, 5.0)),
        ("wind.speed", "wind_speed", (3.0, 4.0, 5.0)),
        ("motor.impulse", "share", (0.9, 1.0, 1.1)),
        ("rail.length", "apogee_height", (790.5, 801.25, 812.0)),
    ):
        spread = f'{name} = {{ kind = "empirical", data = "past.{suffix}", column = "{column}" }}'
        taken = TEXT.replace('"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }', "").replace(IMPULSE, spread)
        assert loads_mission(taken, tmp_path).disperse[name].values == pytest.approx(wanted, rel=1e-15)


def test_ensemble__faults_are_one_sentence(tmp_path):
    ds = past(apogee_height=([812.0, math.nan, 801.25], "m"), mass=([1.0, 2.0, 3.0], "kg"))
    ds["event_time"] = (("flight", "event"), np.zeros((3, 2)))
    ds["branch"] = ("flight", np.array(["a", "b", "c"]))
    ds.to_netcdf(tmp_path / "past.nc")
    (tmp_path / "broken.nc").write_bytes(b"CDF\x01 and no more")
    for data, column, sentence in (
        ("past.nc", "apogee_height", 'variable "apogee_height" is nan in flight 11; leave such flights out'),
        ("past.nc", "apogee_heigth", 'there is no variable "apogee_heigth"; did you mean "apogee_height"?'),
        ("past.nc", "event_time", "has the dimensions flight (3), event (2); a spread is drawn from one number per flight"),
        ("past.nc", "branch", "holds no numbers"),
        ("broken.nc", "apogee_height", "cannot be read as a past ensemble"),
        ("gone.nc", "apogee_height", 'there is no file "gone.nc"'),
    ):
        (fault,) = faults(empirical("motor.impulse", data, column), tmp_path)
        assert fault.key == "disperse.motor.impulse.data" and sentence in str(fault) and "\n" not in str(fault)


def test_build__reads_data_of_spreads_made_in_python(tmp_path):
    (tmp_path / "x.csv").write_text("c\n1.1\n0.9\n")
    mission = loads_mission(TEXT)
    tables = {name: getattr(mission, name) for name in Mission.model_fields}
    spreads = {"motor.impulse": Spread(kind="empirical", data="x.csv", column="c")}
    assert build_mission(folder=tmp_path, **{**tables, "disperse": spreads}).disperse["motor.impulse"].values == (0.9, 1.1)
    with pytest.raises(ValueError, match="was not read; load_mission, loads_mission and build read files"):
        Mission(**{**tables, "disperse": spreads})


def test_unit__is_that_of_bare_numbers_only():
    spread = 'motor.offset_y = { kind = "discrete", values = [1, "2 cm", 3], unit = "mm", weights = [1, 1, 2] }'
    found = loads_mission(text(spread)).disperse["motor.offset_y"]
    assert found.values == pytest.approx((0.001, 0.02, 0.003), rel=1e-15) and found.weights == (1.0, 1.0, 2.0)


def test_members__drawn_by_weight():
    from test_mission_air import MEMBERS

    spread = 'wind.member = { kind = "discrete", values = [0, 1], weights = [3, 1] }'
    wind = '[air.wind]\nspeed = "4 m/s"\nblows_from = "270 deg"\n'
    plain = TEXT.replace('"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }', spread)
    assert wind in plain
    assert loads_mission(plain.replace(wind, f"{MEMBERS}\n")).disperse["wind.member"].values == (0.0, 1.0)
    with pytest.raises(MissionError, match="there is no member 7"):
        loads_mission(plain.replace(wind, f"{MEMBERS}\n").replace("values = [0, 1]", "values = [0, 7]"))


def test_correlation__is_held_and_written(tmp_path):
    written = TEXT.replace(IMPULSE, f"{IMPULSE}\nmotor.burn_time = {{ sd = 0.03 }}")
    groups = '\n[[correlation]]\nof = ["motor.impulse", "motor.burn_time"]\ncoefficient = "-60 %"\n'
    mission = loads_mission(written + groups)
    assert mission.correlation[0].coefficient == -0.6
    assert loads_mission(mission.to_toml()) == mission
    assert mission.change({"correlation.0.coefficient": 0.2}).correlation[0].coefficient == 0.2

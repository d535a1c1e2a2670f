"""What is refused: scripts, stages, windows and failures that cannot be, each in one sentence."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from rehearsed import profile
from staged import stack

import sixdof

TIME = [0.0, 1.0, 2.0]
BAD = {
    "no time": ({"height": [0.0, 1.0]}, "there is no column time; give the seconds since ignition"),
    "unknown": ({"time": TIME, "heigth": TIME}, '"heigth" is nothing a flight computer senses; did you mean "height"?'),
    "unsorted": ({"time": [0.0, 2.0, 1.0]}, "time goes from 2 s to 1 s in row 3; it must rise"),
    "twice the same": ({"time": [0.0, 1.0, 1.0]}, "time goes from 1 s to 1 s in row 3"),
    "nan": ({"time": TIME, "height": [0.0, np.nan, 2.0]}, "height is nan at 1 s; leave such rows out"),
    "nan time": ({"time": [0.0, np.nan, 2.0]}, "time is nan in row 2"),
    "lengths": ({"time": TIME, "height": [0.0, 1.0]}, "height has 2 values and time has 3"),
    "one row": ({"time": [0.0]}, "there are 1 rows, and it takes two or more"),
    "words": ({"time": TIME, "height": ["a", "b", "c"]}, "height holds something that is not a number"),
    "two dimensions": ({"time": TIME, "height": np.zeros((3, 2))}, "height has 2 dimensions"),
    "before ignition": ({"time": [-1.0, 1.0]}, "time begins at -1 s; it counts from ignition"),
    "between ticks": ({"time": [1.001, 1.009]}, "less than two ticks of the flight computer, 0.01 s each"),
    "too long": ({"time": [0.0, 1000.0]}, "time goes on to 1000 s, after solver.time_limit = 900 s"),
    "half a booster": ({"time": TIME, "booster": [1.0, 0.5, 0.0]}, "booster must be the number of stages attached behind"),
    "part of an attitude": ({"time": TIME, "q_w": [1.0] * 3}, "there is no column q_x; an attitude takes q_w, q_x, q_y, q_z"),
    "no quaternion": ({"time": TIME} | {f"q_{part}": [1.0 if part == "w" else 0.0, 0.0, 0.0] for part in "wxyz"}, "at 1 s has the length 0, and it must be 1"),
    "no table": (3.0, "must be a table of columns, a Dataset, or the path of a CSV or netCDF file, not float"),
}


@pytest.fixture(scope="module")
def mission(demo_mission):
    return stack(demo_mission, failures=[{"kind": "no_separation", "of": "booster", "probability": 0.1}])


@pytest.mark.parametrize("case", BAD)
def test_script__one_sentence(mission, case):
    script, text = BAD[case]
    with pytest.raises(ValueError) as caught:
        sixdof.rehearse(mission, script)
    assert text in str(caught.value) and str(caught.value).startswith("script") and "\n" not in str(caught.value)


def test_script__a_dataset_of_columns(mission):
    columns = profile()
    ds = xr.Dataset({name: ("time", values) for name, values in columns.items() if name != "time"}, {"time": columns["time"]})
    found = sixdof.rehearse(mission, ds)
    assert found["rule_fired"].values == pytest.approx(sixdof.rehearse(mission, columns)["rule_fired"].values, nan_ok=True)


def test_script__columns_the_computer_works_out_are_not_read(mission):
    odd = dict.fromkeys(("mode", "enabled", "commanded_w", "dynamic_pressure", "time_since_liftoff"), np.full(4001, np.nan))
    a, b = (sixdof.rehearse(mission, profile(**extra)) for extra in ({}, odd))
    assert a.drop_attrs(deep=False).identical(b.drop_attrs(deep=False))


FILES = {
    "unknown.csv": ("time (s), heigth (m)\n0, 0\n1, 1\n", 'line 1: "heigth" is nothing a flight computer senses; did you mean "height"?'),
    "headless.csv": ("0, 0\n1, 1\n", "line 1: the columns have no names; name each column in the first line"),
    "untimed.csv": ("height (m), specific_force_x\n0, 0\n1, 1\n", "there is no column time"),
    "unit.csv": ("time (s), height (kg)\n0, 0\n1, 1\n", 'column height: unit "kg" has the wrong unit'),
    "words.csv": ("time, height\n0, a\n1, 1\n", 'line 2: column height: "a" is not a number'),
    "nan.csv": ("time, height\n0, nan\n1, 1\n", "line 2: column height: nan is not finite"),
    "back.csv": ("time, height\n0, 0\n2, 1\n1, 1\n", "back.csv: time goes from 2 s to 1 s in row 3"),
    "empty.csv": ("", "holds no numbers"),
    "broken.nc": ("nothing", "broken.nc: this is not a netCDF file"),
}


@pytest.mark.parametrize("name", FILES)
def test_file__one_sentence(mission, tmp_path, name):
    text, want = FILES[name]
    (tmp_path / name).write_text(text)
    with pytest.raises(ValueError) as caught:
        sixdof.rehearse(mission, str(tmp_path / name))
    assert want in str(caught.value) and name in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["none.csv", "none.nc"])
def test_file__missing(mission, tmp_path, name):
    with pytest.raises(ValueError, match="there is no such file"):
        sixdof.rehearse(mission, tmp_path / name)


def test_recording__of_an_ensemble(mission, demo_ensemble):
    with pytest.raises(ValueError, match="this is an ensemble; fly one of its flights again"):
        sixdof.rehearse(mission, demo_ensemble)


def test_recording__of_another_stage(mission, demo_flight):
    with pytest.raises(ValueError, match="what the computer of thistledown sensed, not booster's; leave the script out"):
        sixdof.rehearse(mission, demo_flight, stage="booster")


ASKED = {
    "stage": ({"stage": "boster"}, "there is no stage 'boster'; did you mean \"booster\"?"),
    "law of an altimeter": ({"stage": "booster", "control": lambda *_: None}, "booster has an altimeter and steers nothing"),
    "failure": ({"failures": ["no_deployment: main"]}, '"no_deployment: main" is not one of'),
    "rule": ({"expect": {"ligth": (0, 1)}}, "there is no rule 'ligth'; did you mean \"light\"?"),
    "rule of another": ({"expect": {"deploy booster main: apogee": (0, 1)}}, "is run by booster, not by thistledown; rehearse with stage='booster'"),
    "window": ({"expect": {"light": 3.0}}, "the window of 'light' must be (earliest, latest) in seconds, or None, not 3"),
    "window turned round": ({"expect": {"light": (2.0, 1.0)}}, "begins at 2 s, after its end at 1 s"),
}


@pytest.mark.parametrize("case", ASKED)
def test_asked__one_sentence(mission, case):
    options, text = ASKED[case]
    with pytest.raises(ValueError) as caught:
        sixdof.rehearse(mission, profile(), **options)
    assert text in str(caught.value)


def test_asked__a_stage_without_an_altimeter(demo_mission):
    recovery = [entry.model_dump() for entry in demo_mission.recovery]
    bare = stack(demo_mission, changes={"recovery": recovery})
    with pytest.raises(ValueError, match="booster has nothing to rehearse, for no .*recovery.* names a canopy of it"):
        sixdof.rehearse(bare, profile(), stage="booster")

"""CSV columns: headers, separators, units; every fault names file and line."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sixdof.mission.errors import MissionError
from sixdof.mission.files import curves
from sixdof.mission.files.table_csv import read_columns
from sixdof.mission.load import loads_mission

POUND_FORCE = 0.45359237 * 9.80665  # N, exact by definition (NIST SP 811, 2008, appendix B.8)
ROUNDING = 4e-16  # relative: the product above is itself rounded
WANTED = ((0.0, 0.5, 1.0), (0.0, 10.0, 0.0))  # s, N


@pytest.mark.parametrize(
    "text",
    [
        "0,0\n0.5,10\n1,0\n",
        "0;0\n0.5;10\n1;0",
        "0\t0\n0.5\t10\n1\t0\n",
        "0 0\n0.5   10\n 1 0\n",
        "# invented\n\ntime, thrust\n0,0\n0.5, 10 # peak\n\n1,0\n",
        "time (s), thrust (N)\r\n0,0\r\n0.5,10\r\n1,0\r\n",
        "time (ms), thrust (N)\n0,0\n500,10\n1000,0\n",
        "t [s], F [N]\n0,0\n0.5,10\n1,0\n",
        "t (ms) F [kN]\n0 0\n500 0.01\n1000 0\n",
        "t F\n0 0\n0.5 10\n1 0\n",
        "thrust (N); chamber (bar); time (s)\n0;0;0\n10;30;0.5\n0;0;1\n",
        '"time","thrust"\n"0","0"\n"0.5","10"\n"1","0"\n',
        "time,thrust\n0,0,\n0.5,10,\n1,0,\n",
        "\ufefftime,thrust\n0,0\n0.5,10\n1,0\n",
    ],
)
def test_read_columns__spellings_of_one_curve(tmp_path, text):
    file = tmp_path / "curve.csv"
    file.write_bytes(text.encode())
    time, thrust = read_columns(file, [("time", "s"), ("thrust", "N")])
    assert (time, thrust) == WANTED
    assert read_columns(file, curves.THRUST.columns, curves.THRUST.flaws) == (time, thrust)


def test_read_columns__units_of_the_header(tmp_path):
    file = tmp_path / "curve.csv"
    file.write_text("time (ms), thrust (lbf)\n0, 0\n250, 3\n")
    time, thrust = read_columns(file, curves.THRUST.columns)
    assert time == (0.0, 0.25)
    assert thrust == pytest.approx((0.0, 3.0 * POUND_FORCE), rel=ROUNDING)


NUMBERS = st.floats(-1e9, 1e9)


@given(st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=20), st.sampled_from(",;\t "))
def test_read_columns__written_floats_come_back(tmp_path_factory, rows, mark):
    file = tmp_path_factory.mktemp("csv") / "curve.csv"
    file.write_text("\n".join(f"{a!r}{mark}{b!r}" for a, b in rows))
    assert read_columns(file, [("time", "s"), ("thrust", "N")]) == tuple(zip(*rows))


@pytest.mark.parametrize(
    ("text", "line", "message", "hint"),
    [
        ("time, force_n\n0,0\n1,1\n", 1, "there is no column thrust", "time, force_n"),
        ("time (m), thrust (N)\n0,0\n1,1\n", 1, 'unit "m" has the wrong unit', '"0.3 s"'),
        ("time (blorp), thrust\n0,0\n1,1\n", 1, 'unknown unit "blorp"', '"0.3 s"'),
        ("0,0,5\n1,1,5\n", 1, "3 columns and no header", "time (s), thrust (N)"),
        ("time,thrust\n0,0\n\n0.5,ten\n1,0\n", 4, 'column thrust: "ten" is not a number', "in the header"),
        ("0;0\n0,5;10\n1;0\n", 2, '"0,5" is not a number', "point for the decimals"),
        ("0,0\n0.5\n1,0\n", 2, "there is no thrust", "every line"),
        ("0,0\n0.5,nan\n1,0\n", 2, "nan is not finite", "finite number"),
        ("0,0\n0.5,inf\n1,0\n", 2, "inf is not finite", "finite number"),
        ("0,0\n0.5,10\n0.5,9\n1,0\n", 3, "0.5 s follows 0.5 s", "must rise"),
        ("-0.1,0\n0.5,10\n", 1, "-0.1 s is before ignition", "from ignition"),
        ("0,0\n0.5,10\n1,-2\n", 3, "-2 N is negative", "0 N or more"),
        ("0,0\n0.5,0\n", None, "every thrust is 0 N", "more than 0 N"),
        ("0.5,10\n", None, "has 1 point", "two or more points"),
        ("time,thrust\n", None, "has 0 points", "two or more points"),
        ("# nothing\n", None, "holds no numbers", "time (s), thrust (N)"),
    ],
)
def test_read_columns__faults_name_file_and_line(tmp_path, text, line, message, hint):
    file = tmp_path / "curve.csv"
    file.write_text(text)
    with pytest.raises(MissionError) as caught:
        read_columns(file, curves.THRUST.columns, curves.THRUST.flaws)
    fault = caught.value.faults[0]
    assert fault.file == str(file)
    assert message in fault.message
    assert hint in fault.hint
    assert str(fault).startswith(f"{file}: line {line}: " if line else f"{file}: {fault.message}")


def test_read_columns__several_faults_together_but_not_thousands(tmp_path):
    file = tmp_path / "curve.csv"
    file.write_text("0,x\ny,1\n")
    with pytest.raises(MissionError) as caught:
        read_columns(file, curves.THRUST.columns)
    assert [fault.place for fault in caught.value.faults] == ["line 1", "line 2"]
    file.write_text("0,x\n" * 5000)
    with pytest.raises(MissionError) as caught:
        read_columns(file, curves.THRUST.columns)
    assert len(caught.value.faults) == 10


def test_read_columns__files_that_are_no_text(tmp_path):
    binary, wide = tmp_path / "a.csv", tmp_path / "b.csv"
    binary.write_bytes(b"0,0\n\0\0\n")
    wide.write_bytes("0,0\n1,ä\n".encode("latin-1"))
    for file, message in ((binary, "not text"), (wide, "line 2: is not UTF-8"), (tmp_path, "is a folder"), (tmp_path / "no", "no such file")):
        with pytest.raises(MissionError) as caught:
            read_columns(file, curves.THRUST.columns)
        assert message in str(caught.value)
        assert str(caught.value).startswith(f"{file}: ")


def test_mission__curves_from_files_end_up_inside(tmp_path, broken):
    (tmp_path / "winds.csv").write_text("height (ft), speed (km/h), blows_from (deg)\n0, 7.2, 180\n1000, 36, 270\n")
    (tmp_path / "drag.csv").write_text("mach, ca\n0, 0.4\n0.9, 0.5\n")
    (tmp_path / "motor.csv").write_text("time (ms), thrust (N)\n0,0\n100,250\n1000,230\n1200,0\n")
    mission = loads_mission(
        broken(
            ('speed = "4 m/s"\nblows_from = "270 deg"', 'profile = "table"\ntable = "winds.csv"'),
            ("{ time = [0.0, 0.1, 1.0, 1.2], thrust = [0.0, 250.0, 230.0, 0.0] }", '"motor.csv"'),
            ('name = "dart"', 'name = "dart"\nmeasured = { drag_curve = "drag.csv" }'),
            ('"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }', ""),
        ),
        tmp_path,
    )
    assert mission.air.wind.table == ((0.0, 2.0, math.pi), (304.8, 10.0, 1.5 * math.pi))
    assert mission.stage[0].measured.drag_curve.coefficient == (0.4, 0.5)
    assert mission.motor["D240"].thrust_curve.time == (0.0, 0.1, 1.0, 1.2)
    assert loads_mission(mission.to_toml()) == mission


def test_mission__wind_directions_without_a_unit_are_radians(tmp_path, broken):
    (tmp_path / "winds.csv").write_text("height, speed, blows_from\n0, 2, 1.5\n10, 3, 270\n")
    with pytest.raises(MissionError) as caught:
        loads_mission(
            broken(
                ('speed = "4 m/s"\nblows_from = "270 deg"', 'profile = "table"\ntable = "winds.csv"'),
                ('"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }', ""),
            ),
            tmp_path,
        )
    (fault,) = caught.value.faults
    assert fault.file == str(tmp_path / "winds.csv") and fault.key == "air.wind.table" and fault.place == "line 3"
    assert "blows_from (deg)" in fault.hint


def test_mission__a_broken_csv_and_other_faults_come_together(tmp_path, broken):
    (tmp_path / "motor.csv").write_text("0,0\n1,x\n")
    with pytest.raises(MissionError) as caught:
        loads_mission(broken(("{ time = [0.0, 0.1, 1.0, 1.2], thrust = [0.0, 250.0, 230.0, 0.0] }", '"motor.csv"'), ('"3 m"', '"3 kg"')), tmp_path)
    assert [fault.key for fault in caught.value.faults] == ["motor.D240.thrust_curve", "rail.length"]


def test_mission__a_csv_that_is_not_there(tmp_path, broken):
    (tmp_path / "motor-d.csv").write_text("0,0\n1,1\n")
    old = "{ time = [0.0, 0.1, 1.0, 1.2], thrust = [0.0, 250.0, 230.0, 0.0] }"
    with pytest.raises(MissionError) as caught:
        loads_mission(broken((old, '"motor_d.csv"')), tmp_path)
    (fault,) = caught.value.faults
    assert str(fault) == ('motor "D240", key thrust_curve: there is no file "motor_d.csv"; did you mean "motor-d.csv"?')

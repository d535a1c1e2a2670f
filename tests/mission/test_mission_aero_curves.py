"""Measured aerodynamic curves in the mission file: read, kept, and every fault a sentence with its place."""

from __future__ import annotations

import math

import pytest

from sixdof.mission.errors import MissionError
from sixdof.mission.load import loads_mission

HINGE = 'hinge = "35 mm"\n'
NAME = 'name = "dart"'


def _with(broken, panel: str = "", body: str = "") -> str:
    changes = [(HINGE, f"{HINGE}panel_curve = {panel}\n")] if panel else []
    return broken(*changes, *([(NAME, f"{NAME}\nmeasured = {{ body_curve = {body} }}")] if body else []))


def test_csv__units_and_names_of_columns(tmp_path, broken):
    (tmp_path / "panel.csv").write_text("Mach; CN_alpha (1/deg); centre (mm)\n0; 0.04; 20\n2; 0.05; 30\n")
    (tmp_path / "body.csv").write_text("centre (cm), mach, slope\n20, 0, 2\n35, 2.5, 2.8\n")
    mission = loads_mission(_with(broken, '"panel.csv"', '"body.csv"'), tmp_path)
    panel, body = mission.stage[0].part[2].panel_curve, mission.stage[0].measured.body_curve
    assert panel.slope == pytest.approx((0.04 * 180 / math.pi, 0.05 * 180 / math.pi), rel=1e-12)
    assert panel.centre == (0.02, 0.03) and panel.mach == (0.0, 2.0)
    assert body.slope == (2.0, 2.8) and body.centre == pytest.approx((0.2, 0.35))
    assert loads_mission(mission.to_toml()) == mission


FAULTS = {
    "not rising": ("0, 2, 0.02\n0, 2, 0.02\n", "line 2: column mach", "must rise"),
    "one point": ("0, 2, 0.02\n", "has 1 point", "two or more"),
    "negative Mach": ("-1, 2, 0.02\n1, 2, 0.02\n", "line 1: column mach: -1 is negative", "0 or more"),
    "no lift": ("0, 2, 0.02\n1, 0, 0.02\n", "line 2: column slope: 0 1/rad is not more than 0", "grows with its incidence"),
    "two columns": ("0, 2\n1, 2\n", "has 2 columns and no header", "mach, slope (1/rad), centre (m)"),
    "slope in another unit": ("mach, slope (1/m), centre\n0, 2, 0\n1, 2, 0\n", "column slope: unit", "1/deg"),
    "no number": ("0, 2, 0.02\n1, 2, x\n", 'line 2: column centre: "x" is not a number', "point for the decimals"),
}


@pytest.mark.parametrize("rows, message, hint", FAULTS.values(), ids=FAULTS)
def test_csv__faults(tmp_path, broken, rows, message, hint):
    (tmp_path / "panel.csv").write_text(rows)
    with pytest.raises(MissionError) as caught:
        loads_mission(_with(broken, '"panel.csv"'), tmp_path)
    (fault,) = caught.value.faults
    assert fault.file == str(tmp_path / "panel.csv") and message in str(fault) and hint in str(fault)


def test_csv__not_there(tmp_path, broken):
    (tmp_path / "panels.csv").write_text("0, 2, 0.02\n1, 2, 0.02\n")
    with pytest.raises(MissionError, match='did you mean "panels.csv"'):
        loads_mission(_with(broken, '"panel.csv"'), tmp_path)


def test_panel__centre_in_millimetres(broken):
    with pytest.raises(MissionError) as caught:
        loads_mission(_with(broken, "{ mach = [0, 1], slope = [2, 2], centre = [20, 30] }"))
    (fault,) = caught.value.faults
    assert fault.key == "stage[0].part[2].panel_curve.centre[0]"
    assert "20 m is not on the panel, 0 to 0.09 m" in fault.message and "centre (mm)" in fault.hint


def test_body__centre_in_millimetres_and_columns_of_unequal_length(broken):
    with pytest.raises(MissionError, match="300 m is far off the body"):
        loads_mission(_with(broken, body="{ mach = [0, 1], slope = [2, 2], centre = [300, 300] }"))
    with pytest.raises(MissionError, match=r"differ in length \(mach 2, slope 2, centre 1\)"):
        loads_mission(_with(broken, body="{ mach = [0, 1], slope = [2, 2], centre = [0.3] }"))


def test_body__a_misspelt_key(broken):
    with pytest.raises(MissionError, match='did you mean "slope"'):
        loads_mission(_with(broken, body="{ mach = [0, 1], slpe = [2, 2], slope = [2, 2], centre = [0.3, 0.3] }"))


# ---------------------------------------------------------------- roll of a set of fins


def _rolling(broken, damping: str, forcing: str = "") -> str:
    lines = [f"roll_damping_curve = {damping}", f"roll_forcing_curve = {forcing}"][: 2 if forcing else 1]
    return broken((HINGE, HINGE + "\n".join(lines) + "\n"))


def test_roll__csv_and_back_to_text(tmp_path, broken):
    (tmp_path / "damping.csv").write_text("C_l_p; mach\n-3; 0\n-5; 1\n")
    (tmp_path / "forcing.csv").write_text("mach, forcing (1/deg)\n0, 0.1\n1, 0.2\n")
    mission = loads_mission(_rolling(broken, '"damping.csv"', '"forcing.csv"'), tmp_path)
    fins = mission.stage[0].part[2]
    assert fins.roll_damping_curve.mach == (0.0, 1.0) and fins.roll_damping_curve.damping == (-3.0, -5.0)
    assert fins.roll_forcing_curve.forcing == pytest.approx((0.1 * 180 / math.pi, 0.2 * 180 / math.pi), rel=1e-12)
    assert loads_mission(mission.to_toml()) == mission


ROLL_FAULTS = {
    "positive damping": ("0, -3\n1, 5\n", "damping", "line 2: column damping: 5 is not less than 0", "against the roll"),
    "negative forcing": ("0, 3\n1, -3\n", "forcing", "line 2: column forcing: -3 1/rad is not more than 0", "rolls the vehicle positive"),
    "one point": ("0, -3\n", "damping", "has 1 point", "two or more"),
    "not rising": ("1, -3\n1, -3\n", "damping", "line 2: column mach", "must rise"),
    "negative Mach": ("-1, -3\n1, -3\n", "damping", "line 1: column mach: -1 is negative", "0 or more"),
    "one column": ("0\n1\n", "damping", "no header", "mach, damping"),
}


@pytest.mark.parametrize("rows, key, message, hint", ROLL_FAULTS.values(), ids=ROLL_FAULTS)
def test_roll__csv_faults(tmp_path, broken, rows, key, message, hint):
    (tmp_path / "roll.csv").write_text(rows)
    with pytest.raises(MissionError) as caught:
        loads_mission(broken((HINGE, f'{HINGE}roll_{key}_curve = "roll.csv"\n')), tmp_path)
    (fault,) = caught.value.faults
    assert fault.file == str(tmp_path / "roll.csv") and message in str(fault) and hint in str(fault)


def test_roll__in_the_mission_file(broken):
    with pytest.raises(MissionError, match=r"differ in length \(mach 2, damping 1\)"):
        loads_mission(_rolling(broken, "{ mach = [0, 1], damping = [-3] }"))
    with pytest.raises(MissionError) as caught:
        loads_mission(_rolling(broken, "{ mach = [0, 1], damping = [-3, 0] }"))
    (fault,) = caught.value.faults
    assert fault.key == "stage[0].part[2].roll_damping_curve.damping[1]" and "0 is not less than 0" in fault.message


# ---------------------------------------------------------------- axial force over incidence


def _axial(broken, curve: str, more: str = "") -> str:
    return broken((NAME, f"{NAME}\nmeasured = {{ axial_curve = {curve}{more} }}"))


def test_axial__csv_in_degrees_and_back_to_text(tmp_path, broken):
    (tmp_path / "axial.csv").write_text("alpha (deg); Mach; CA\n0; 0.3; 0.4\n20; 0.3; 0.45\n0; 1; 0.5\n20; 1; 0.6\n")
    mission = loads_mission(_axial(broken, '"axial.csv"'), tmp_path)
    curve = mission.stage[0].measured.axial_curve
    assert curve.mach == (0.3, 0.3, 1.0, 1.0) and curve.coefficient == (0.4, 0.45, 0.5, 0.6)
    assert curve.incidence == pytest.approx((0.0, math.radians(20.0)) * 2)
    assert loads_mission(mission.to_toml()) == mission


AXIAL_FAULTS = {
    "hole": ("0.3,0,0.4\n0.3,0.2,0.5\n1,0,0.4\n", "there is no point at mach 1, 11.46 deg", "the same incidences"),
    "twice": ("0.3,0,0.4\n0.3,0.2,0.5\n0.3,0.2,0.5\n", "line 3: column incidence: mach 0.3, 11.46 deg comes twice", "once"),
    "degrees": ("0.3,0,0.4\n0.3,20,0.5\n", "line 2: column incidence: 20 rad is out of range", "incidence (deg)"),
    "negative": ("-0.3,0,0.4\n-0.3,0.2,0.5\n", "line 1: column mach: -0.3 is negative", "0 or more"),
    "no zero": ("0.3,0.1,0.4\n0.3,0.2,0.5\n", "there are no two incidences, one of them 0", "for every mach"),
    "one": ("0.3,0,0.4\n1,0,0.4\n", "there are no two incidences, one of them 0", "for every mach"),
    "thrust at 0": ("0.3,0,0\n0.3,0.2,0.5\n", "line 1: column coefficient: 0 at incidence 0", "a multiple"),
    "two columns": ("0.3,0\n0.3,0.2\n", "has 2 columns and no header", "mach, incidence (rad), coefficient"),
}


@pytest.mark.parametrize("rows, message, hint", AXIAL_FAULTS.values(), ids=AXIAL_FAULTS)
def test_axial__csv_faults(tmp_path, broken, rows, message, hint):
    (tmp_path / "axial.csv").write_text(rows)
    with pytest.raises(MissionError) as caught:
        loads_mission(_axial(broken, '"axial.csv"'), tmp_path)
    (fault,) = caught.value.faults
    assert fault.file == str(tmp_path / "axial.csv") and message in str(fault) and hint in str(fault)


def test_axial__in_the_mission_file(broken):
    with pytest.raises(MissionError, match=r"differ in length \(mach 2, incidence 2, coefficient 1\)"):
        loads_mission(_axial(broken, "{ mach = [0, 0], incidence = [0, 0.1], coefficient = [0.4] }"))
    good = "{ mach = [0, 0], incidence = [0, '10 deg'], coefficient = [0.4, 0.5] }"
    assert loads_mission(_axial(broken, good)).stage[0].measured.axial_curve.incidence[1] == pytest.approx(math.radians(10.0))
    with pytest.raises(MissionError, match="axial_curve already holds the coefficient at incidence 0"):
        loads_mission(_axial(broken, good, ", drag_curve = { mach = [0, 1], coefficient = [0.4, 0.5] }"))

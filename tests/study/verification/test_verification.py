"""`verify`: its table, and that it fails where something is wrong."""

from __future__ import annotations

import csv
import math
import time

import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof import cli
from sixdof.study.verification import closed_forms, nasa_cases
from sixdof.study.verification import verify as verification
from sixdof.study.verification.checks import Check
from sixdof.study.verification.verify import table_of_checks, verification_text

MOST_SECONDS = 20.0  # warm; it takes one


@pytest.fixture(scope="module")
def verified():
    nasa_cases.fly_case(1)  # loads the kernels
    began = time.perf_counter()
    ds = sixdof.verify()
    assert time.perf_counter() - began < MOST_SECONDS
    return ds


def check(reference=1.0, ours=1.0, limit=0.1, quantity="speed"):
    return Check("a case", quantity, reference, ours, limit, "m/s", "a book")


def test_verify__nothing_is_missed(verified):
    assert verified.passed.all(), verification_text(verified)


def test_verify__covers_all_ten_cases_and_every_closed_form(verified):
    names = set(verified.case.values)
    assert {f"NASA case {n}: {title}" for n, (title, _) in nasa_cases.CASES.items()} <= names
    assert len(names) == 10 + 12  # one function of CASES makes two tops


def test_verify__every_row_says_what_it_is_and_where_from(verified):
    for name in ("case", "quantity", "unit", "source"):
        assert all(len(text) > 0 for text in verified[name].values.tolist()), name
    assert (np.char.str_len(verified.source.values.astype(str)) > 15).all()
    assert (verified.limit > 0.0).all() and np.isfinite(verified.ours).all()
    np.testing.assert_array_equal(verified.difference, verified.ours - verified.reference)
    rows = list(zip(verified.case.values, verified.quantity.values))
    assert len(set(rows)) == len(rows)


def test_verify__computed_values_are_not_called_published(verified):
    for number in nasa_cases.CASES:
        rows = verified.where(verified.case == f"NASA case {number}: {nasa_cases.CASES[number][0]}", drop=True)
        said = "published" if number in nasa_cases.PUBLISHED else "independently computed"
        assert all(said in source for source in rows.source.values)


def test_verify__survives_a_file(verified, tmp_path):
    verified.to_netcdf(tmp_path / "v.nc")
    again = xr.load_dataset(tmp_path / "v.nc")
    np.testing.assert_array_equal(again.ours, verified.ours)
    assert again.source.values.tolist() == verified.source.values.tolist()


@pytest.mark.parametrize("ours, passed", [(1.1, True), (0.9, True), (1.2, False), (0.8, False), (math.nan, False), (math.inf, False)])
def test_check__passes_within_its_limit(ours, passed):
    assert check(ours=ours, limit=0.1 + 1e-12).passed is passed
    assert bool(table_of_checks([check(ours=ours, limit=0.1 + 1e-12)]).passed[0]) is passed


def test_text__marks_and_lists_what_is_missed():
    text = verification_text(table_of_checks([check(), check(ours=2.0, quantity="height"), check(ours=math.nan, quantity="time")]))
    marked = [line for line in text.splitlines() if line.endswith(verification.MISS)]
    assert [line.split()[0] for line in marked] == ["height", "time"]
    assert "1 of 3 quantities are within their limits. 2 MISSED:" in text and "  a case: height" in text
    assert verification.MISS not in verification_text(table_of_checks([check()]))
    assert "from a book" in text


# ------------------------------------------------------------------ errors of physics are noticed


def missed(checks):
    return {check.name.split(":")[0] for check in checks if not check.passed}


@pytest.mark.parametrize(
    "name, value, cases",
    [
        ("J2", 0.0, {"NASA case 1", "NASA case 6", "NASA case 7", "NASA case 8", "NASA case 9", "NASA case 10", "NASA case 3"}),
        ("GM", 3.986004418e14 * 1.00001, {"NASA case 1", "NASA case 4", "NASA case 9"}),
        ("EARTH_RATE", -7.292115e-5, {"NASA case 1", "NASA case 5", "NASA case 10"}),
    ],
)
def test_wrong_earth__is_missed(monkeypatch, name, value, cases):
    monkeypatch.setattr(f"sixdof.flight.passive.{name}", value)
    assert cases <= missed(nasa_cases.nasa_checks())


def test_wrong_air_and_damping__are_missed(monkeypatch):
    plain = sixdof.flight.rigid_body._plain
    monkeypatch.setattr("sixdof.flight.rigid_body._plain", lambda *a: plain(*a)._replace(roll=2.0 * plain(*a).roll))  # p b/V for p b/(2V)
    assert missed(nasa_cases.nasa_checks()) == {"NASA case 3"}
    monkeypatch.setattr("sixdof.flight.rigid_body._plain", plain)
    rows = sixdof.flight.rigid_body._wind_rows
    monkeypatch.setattr("sixdof.flight.rigid_body._wind_rows", lambda wind: -rows(wind))  # from for to
    assert missed(nasa_cases.nasa_checks()) == {"NASA case 7", "NASA case 8"}


def test_wrong_constants__are_missed_by_closed_forms(monkeypatch):
    monkeypatch.setattr("sixdof.flight.passive.EARTH_RATE", -7.292115e-5)
    assert missed(closed_forms.closed_form_checks()) == {"Coriolis deflection at 45 deg latitude"}
    monkeypatch.undo()
    monkeypatch.setattr("sixdof.flight.passive.J2", -0.00108262982)
    assert missed(closed_forms.closed_form_checks()) == {"dragless flight over WGS-84", "normal gravity"}


# ------------------------------------------------------------------ the command


def read(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_command__prints_the_table_and_writes_it(capsys, tmp_path):
    out = tmp_path / "table.csv"
    assert cli.main(["verify", "--out", str(out)]) == 0
    printed = capsys.readouterr().out
    rows = read(out)
    assert f"{len(rows)} of {len(rows)} quantities are within their limits." in printed
    assert list(rows[0]) == list(verification.COLUMNS)
    assert all(float(row["ours"]) - float(row["reference"]) == float(row["difference"]) for row in rows)
    assert {row["passed"] for row in rows} == {"yes"}
    assert cli.main(["verify", "--out", str(out)]) == 2  # it exists
    assert "exists" in capsys.readouterr().err
    assert max(map(len, printed.splitlines()[:-1])) <= 118


def test_command__exit_code_of_a_miss(monkeypatch, capsys, tmp_path):
    out = tmp_path / "table.csv"
    monkeypatch.setattr(verification, "nasa_checks", lambda: [check(ours=2.0)])
    monkeypatch.setattr(verification, "closed_form_checks", lambda: [check(quantity="height")])
    assert cli.main(["verify", "--out", str(out)]) == 1
    assert "1 MISSED" in capsys.readouterr().out
    assert [row["passed"] for row in read(out)] == ["no", "yes"]

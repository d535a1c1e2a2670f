"""Fuzzed CSV files: every reader gives finite numbers that pass its own check, or clear faults with their lines."""

from __future__ import annotations

import pytest
from fuzz_batch import run_apart, run_here
from fuzz_judge import attempt

from sixdof.mission.files import curves
from sixdof.mission.files.table_csv import read_columns

SEED, LIMIT = 12, 60.0


@pytest.mark.parametrize(("name", "count"), [("tables.columns", 60), ("tables.flown", 20), ("tables.script", 15)])
def test_some(name, count, tmp_path):
    ends = run_here(name, SEED, count, tmp_path)
    assert ends.total() == count and len(ends) > 1


@pytest.mark.slow
@pytest.mark.parametrize(("name", "count"), [("tables.columns", 4000), ("tables.flown", 1000), ("tables.script", 500)])
def test_many(name, count):
    ends, bad = run_apart(name, SEED, count, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == count and len(ends) > 1


CELLS = {"digits without an end": ("9" * 400, "is not finite"), "beyond all reason": ("1e300", "is far too large"), "infinite": ("-inf", "is not finite")}


@pytest.mark.parametrize("name", CELLS)
def test_found__a_number_nobody_means(tmp_path, name):
    cell, sentence = CELLS[name]
    path = tmp_path / "thrust.csv"
    path.write_text(f"time (ms), thrust (lbf)\n0, 0\n{cell}, 20\n")
    how, error = attempt(lambda: read_columns(path, curves.THRUST.columns, curves.THRUST.flaws))
    assert how == "refused" and "line 3" in str(error) and sentence in str(error)


def test_found__a_heading_without_an_end(tmp_path):
    path = tmp_path / "thrust.csv"
    path.write_text(f"{'x' * 3000}, thrust (lbf)\n0, 0\n1, 20\n")
    how, error = attempt(lambda: read_columns(path, curves.THRUST.columns))
    assert how == "refused" and "there is no column time" in str(error)

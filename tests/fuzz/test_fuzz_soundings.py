"""Fuzzed soundings and forecasts: air and wind of finite numbers, or clear faults; damaged netCDF neither crashes nor sticks."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest
from fuzz_batch import run_apart, run_here
from fuzz_judge import attempt
from fuzz_soundings import FORMS, file_of, profile

from sixdof.mission.files.level_files import read_members, read_sounding
from sixdof.results.dataset import open_result

SEED, LIMIT = 13, 60.0


@pytest.mark.parametrize(("name", "count"), [("soundings.read", 30), ("soundings.flown", 10)])
def test_some(name, count, tmp_path):
    ends = run_here(name, SEED, count, tmp_path)
    assert ends.total() == count and len(ends) > 1


@pytest.mark.slow
@pytest.mark.parametrize(("name", "count"), [("soundings.read", 4000), ("soundings.flown", 500)])
def test_many(name, count):
    ends, bad = run_apart(name, SEED, count, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == count and len(ends) > 1


@pytest.mark.parametrize("form", FORMS)
def test_found__a_damaged_file_is_read_afresh_once_it_is_sound(tmp_path, form):
    path, sound = tmp_path / "p.nc", file_of("profile", form)
    expected = None
    for cut in (len(sound), len(sound) // 2, len(sound) - 40, len(sound)):
        path.write_bytes(sound[:cut])
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a file left open warns
            how, found = attempt(lambda: read_sounding(path))
        if cut == len(sound):
            assert how == "done" and found == (expected or found)
            expected = found


@pytest.mark.parametrize("empty", ["plev", "time", "number"])
def test_found__a_dimension_without_entries(tmp_path, empty):
    ds = profile() if empty == "plev" else profile().expand_dims({empty: 1})
    ds.isel({empty: slice(0, 0)}).to_netcdf(tmp_path / "p.nc")
    how, error = attempt(lambda: read_sounding(tmp_path / "p.nc"))
    assert how == "refused" and str(tmp_path / "p.nc") in str(error)


def test_found__a_standard_name_that_is_no_text(tmp_path):
    ds = profile()
    ds["b"].attrs["standard_name"] = [1.0, 2.0]
    ds.to_netcdf(tmp_path / "p.nc")
    how, error = attempt(lambda: read_sounding(tmp_path / "p.nc"))
    assert how == "refused" and "holds no profile of temperature" in str(error)


def test_found__heights_of_no_level(tmp_path):
    path = tmp_path / "f.csv"
    path.write_text("member, height (m), speed (m/s), blows_from (deg)\na, 10, 3, 270\na, 1e9, 4, 250\n")
    how, error = attempt(lambda: read_members(path))
    assert how == "refused" and "1e+09 m is not a height of a level" in str(error)


@pytest.mark.slow
def test_found__a_damaged_file_on_which_the_file_library_hangs(monkeypatch):
    """A file of case 2104; it waits for the time that reading may take."""
    monkeypatch.setattr("sixdof.mission.files.incoming.START", 5.0)
    path = Path(__file__).parent / "data" / "hanging_sounding.netcdf4"
    how, error = attempt(lambda: read_sounding(path))
    assert how == "refused" and "is damaged" in str(error)
    with pytest.raises(ValueError, match="is damaged"):
        open_result(path)

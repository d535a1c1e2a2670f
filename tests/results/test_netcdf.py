"""Results as xarray's users take them: opened any number of times, through every common method, written by `save` or by xarray itself."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
import warnings

import netCDF4
import numpy as np
import pytest
import xarray as xr
from results_by_hand import staged_ensemble, staged_flight
from scipy.io import netcdf_file

import sixdof
from sixdof.results.store_disk import Lock

# opens, loads, closes and forgets one file in a random order, as notebooks do
OPENING = """
    import gc, random, sys
    import xarray as xr
    p = xr.open_dataset(sys.argv[1]); q = xr.open_dataset(sys.argv[1]); q.close(); xr.open_dataset(sys.argv[1]).close(); p.close()
    chance, held = random.Random(int(sys.argv[2])), []
    for _ in range(60):
        if chance.random() < 0.5 or not held:
            held.append(xr.open_dataset(sys.argv[1]) if chance.random() < 0.7 else xr.load_dataset(sys.argv[1]))
        else:
            one = held.pop(chance.randrange(len(held)))
            assert {str(name) for name in one["body"].values} >= {"thistledown", "booster"}
            if chance.random() < 0.8:
                one.close()
        if chance.random() < 0.2:
            gc.collect()
    print("done")
"""


def by_save(ds, path):
    sixdof.save(ds, path)


def by_xarray(ds, path):
    ds.to_netcdf(path)


@pytest.fixture(scope="module")
def flight(demo_mission):
    return staged_flight(demo_mission)


@pytest.fixture(scope="module")
def ensemble(demo_mission):
    return staged_ensemble(demo_mission, disperse={"wind.speed": {"sd": 1.0}, "vehicle.mass": {"sd": 0.01}})


@pytest.mark.parametrize("seeds", [range(1), pytest.param(range(1, 21), marks=pytest.mark.slow)])
@pytest.mark.parametrize(("which", "write"), [pytest.param("flight", by_save, marks=pytest.mark.slow), ("ensemble", by_xarray)])
def test_netcdf__is_opened_any_number_of_times(request, tmp_path, write, which, seeds):
    """In a process of its own: strings as names of dims made the netCDF library crash at the third opening."""
    ds = request.getfixturevalue(which)
    write(ds if which == "flight" else ds.isel(flight=slice(0, 3)), tmp_path / "a.nc")
    for seed in seeds:
        command = [sys.executable, "-c", textwrap.dedent(OPENING), str(tmp_path / "a.nc"), str(seed)]
        found = subprocess.run(command, capture_output=True, text=True, check=False)
        assert found.returncode == 0 and found.stdout == "done\n", found.stderr


def test_netcdf__keeps_letters_of_any_language(ensemble, tmp_path):
    names = ["þistledown", "träger", "断片"]
    ds = ensemble.assign_coords(body=names[: ensemble.sizes["body"]]).assign_attrs(title="Grüße")
    found = sixdof.open_result(sixdof.save(ds, tmp_path / "a.nc"))
    assert found.attrs["title"] == "Grüße" and found["body"].values.tolist() == names[: ensemble.sizes["body"]]
    assert found["body"].dtype.kind == "U"


@pytest.mark.parametrize("make", ["demo_ensemble", "ensemble"])
def test_xarray__common_methods_work(request, make):
    ds = request.getfixturevalue(make)
    assert not [dim for dim, size in ds.sizes.items() if size == 0]
    numbers = ds[[name for name, v in ds.data_vars.items() if v.dtype.kind == "f"]]
    n = ds.sizes["flight"]
    assert len(ds["apogee_height"].to_dataframe()) == n and len(numbers.drop_dims(set(numbers.dims) - {"flight"}).to_dataframe()) == n
    assert len(ds[["body_landing_ground_speed"]].to_dataframe()) == n * ds.sizes["body"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # what never happened has no quantile
        assert numbers.quantile([0.1, 0.9], dim="flight").sizes["quantile"] == 2
        assert numbers.mean("flight")["apogee_height"].size == 1
    assert sum(part.sizes["flight"] for _, part in ds.groupby("branch")) == n
    halves = [ds.isel(flight=slice(0, n // 2)), ds.isel(flight=slice(n // 2, None))]
    assert xr.concat(halves, "flight", data_vars="minimal", coords="minimal", compat="equals", join="exact").identical(ds)


@pytest.mark.parametrize("which", ["flight", "ensemble"])
def test_zarr__that_xarray_wrote_is_a_result(request, tmp_path, which):
    ds = request.getfixturevalue(which)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # zarr warns of its own format
        ds.to_zarr(tmp_path / "a.zarr")
    found = sixdof.open_result(tmp_path / "a.zarr")
    assert found.load().identical(ds) and set(found.dims) == set(ds.dims)
    with pytest.raises(sixdof.StoreError, match="holds no digests to check it against"):
        sixdof.open_result(tmp_path / "a.zarr", check=True)


def test_zarr__of_another_program_is_none(tmp_path):
    xr.Dataset({"x": ("flight", np.arange(3.0))}).to_zarr(tmp_path / "a.zarr", zarr_format=3, consolidated=False)
    with pytest.raises(sixdof.StoreError, match="is not an ensemble of this library: another program wrote it"):
        sixdof.open_result(tmp_path / "a.zarr")


# ---------------------------------------------------------------- what is replaced


def text_file(path):
    path.write_text("precious")


def pipe(path):
    os.mkfifo(path)


def foreign_netcdf(path):
    with netCDF4.Dataset(path, "w") as file:
        file.title = "somebody's"


def classic_netcdf(path):
    with netcdf_file(path, "w") as file:
        file.source = "sixdof 0.1.0, it says"


def link_to_text(path):
    path.with_name("mine.txt").write_text("precious")
    path.symlink_to(path.with_name("mine.txt"))


OTHERS = [text_file, pipe, foreign_netcdf, classic_netcdf, link_to_text]


@pytest.mark.parametrize("make", OTHERS)
def test_overwrite__spares_what_is_none_of_ours(demo_mission, ensemble, tmp_path, make):
    """`save`, and an ensemble written as netCDF, before anything is flown."""
    path = tmp_path / "a.nc"
    make(path)
    before = os.lstat(path), None if make is pipe else path.read_bytes()
    with pytest.raises(FileExistsError, match="so it is not overwritten") as error:
        sixdof.save(ensemble, path, overwrite=True)
    with pytest.raises(FileExistsError, match="so it is not overwritten"):
        sixdof.disperse(demo_mission, 10**6, out=path, overwrite=True, progress=False)
    assert "\n" not in str(error.value)
    after = os.lstat(path), None if make is pipe else path.read_bytes()
    assert (before[0].st_ino, before[0].st_mtime_ns, before[1]) == (after[0].st_ino, after[0].st_mtime_ns, after[1])
    assert len(list(tmp_path.iterdir())) <= 2


def test_overwrite__of_an_own_file_damaged_or_not(ensemble, tmp_path):
    path = sixdof.save(ensemble, tmp_path / "a.nc")
    assert sixdof.open_result(sixdof.save(ensemble.isel(flight=[0]), path, overwrite=True)).sizes["flight"] == 1
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) // 2])
    with pytest.raises(ValueError, match="is damaged"):
        sixdof.open_result(path)
    assert sixdof.open_result(sixdof.save(ensemble, path, overwrite=True)).identical(ensemble)


def test_save__of_a_table_without_a_source_may_be_replaced(tmp_path):
    ds = xr.Dataset({"x": ("k", np.arange(3.0))})
    sixdof.save(ds, tmp_path / "a.nc")
    assert sixdof.save(ds, tmp_path / "a.nc", overwrite=True).is_file()


def test_save__refuses_the_name_of_a_zarr_folder(ensemble, tmp_path):
    with pytest.raises(ValueError, match="names a zarr folder, and this is written as netCDF; end the name in .nc"):
        sixdof.save(ensemble, tmp_path / "a.zarr")


def test_save__clears_what_a_killed_one_left(ensemble, tmp_path):
    (tmp_path / "a.nc.partial-0123").write_bytes(b"half")
    (tmp_path / "a.nc.partial.txt").write_bytes(b"somebody's")
    sixdof.save(ensemble, tmp_path / "a.nc")
    assert sorted(os.listdir(tmp_path)) == ["a.nc", "a.nc.partial.txt"]


def test_save__while_another_writes(ensemble, tmp_path):
    with Lock(tmp_path / "a.nc"), pytest.raises(sixdof.StoreError, match="is being written by another process"):
        sixdof.save(ensemble, tmp_path / "a.nc")
    assert not list(tmp_path.iterdir())


FULL = """
    import resource, sys
    import numpy as np, xarray as xr
    import sixdof
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))  # no file may grow beyond, as on a disk that is full
    try:
        sixdof.save(xr.Dataset({"x": ("k", np.random.default_rng(1).random(10**6))}), sys.argv[1])
    except sixdof.StoreError as error:
        print(error)
"""


@pytest.mark.skipif(os.name != "posix", reason="no such limit on this system")
def test_full_disk__is_one_sentence_and_leaves_nothing(tmp_path):
    command = [sys.executable, "-c", textwrap.dedent(FULL), str(tmp_path / "a.nc")]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    assert found.returncode == 0 and "a.nc cannot be written: " in found.stdout and len(found.stdout.splitlines()) == 1, found.stderr
    assert not list(tmp_path.iterdir())

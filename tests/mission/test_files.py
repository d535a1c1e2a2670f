"""Files that somebody sent cannot stop the program, fill its memory or run code: each ends in one sentence, at once."""

from __future__ import annotations

import json
import os
import pickle
import threading
import time

import netCDF4
import numpy as np
import pytest
import zarr

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.mission.files import incoming as files
from sixdof.mission.files.incoming import FileFault, check_zarr, read_apart

AT_ONCE = 10.0  # s, the start of another interpreter on a busy machine included


def spread(path, column="x") -> dict:
    return {"disperse": {"motor.impulse": {"kind": "empirical", "data": str(path), "column": column}}}


READERS = {
    "a mission": lambda mission, path: sixdof.load_mission(path),
    "a thrust curve": lambda mission, path: mission.change({f"motor.{next(iter(mission.motor))}.thrust_curve": str(path)}),
    "a wind table": lambda mission, path: mission.change({"air.wind": {"profile": "table", "table": str(path)}}),
    "a sounding": lambda mission, path: mission.change({"air.wind": None, "air.sounding": str(path)}),
    "a column of samples": lambda mission, path: mission.change(spread(path)),
    "a netCDF column of samples": lambda mission, path: mission.change(spread(path)),
    "a result": lambda mission, path: sixdof.open_result(path),
    "a script": lambda mission, path: sixdof.rehearse(mission, path),
}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
@pytest.mark.parametrize("what", READERS)
def test_pipe__that_nobody_writes_to_does_not_hang(demo_mission, tmp_path, what):
    path = tmp_path / ("pipe.nc" if "netCDF" in what else "pipe.csv")
    os.mkfifo(path)
    assert_refused(READERS[what], demo_mission, path, path, "is not an ordinary file")


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="no such device on this system")
@pytest.mark.parametrize("what", READERS)
def test_device__that_never_ends_is_not_read(demo_mission, what):
    assert_refused(READERS[what], demo_mission, "/dev/zero", None, "is not an ordinary file|cannot be read")


def assert_refused(read, mission, path, pipe, words: str) -> None:
    """Assert that reading a path ends in one sentence. A pipe gets a writer late, so that a test that fails ends too."""
    late = threading.Timer(2.0 * AT_ONCE, lambda: os.close(os.open(pipe, os.O_RDWR))) if pipe else None
    if late:
        late.daemon = True
        late.start()
    begun = time.monotonic()
    with pytest.raises((MissionError, ValueError), match=words):
        read(mission, path)
    assert time.monotonic() - begun < AT_ONCE
    if late:
        late.cancel()


def test_table__of_a_gigabyte_is_not_read(demo_mission, tmp_path):
    with open(tmp_path / "large.csv", "wb") as file:
        file.truncate(10**9)  # takes no room on the disk
    with pytest.raises(MissionError, match="holds 1000 MB, more than the 200 MB that such a file may have"):
        READERS["a thrust curve"](demo_mission, tmp_path / "large.csv")


# ---------------------------------------------------------------- zarr


class Payload:
    """What a pickle does as it is read: it makes a file."""

    def __init__(self, path):
        self.path = path

    def __reduce__(self):
        return os.mkdir, (self.path,)


def version_2(folder, marker) -> None:
    """Write by hand an ensemble as a zarr store of version 2 whose numbers go through a pickle."""
    (folder / "x").mkdir(parents=True)
    (folder / ".zgroup").write_text('{"zarr_format": 2}')
    array = {
        "zarr_format": 2,
        "shape": [3],
        "chunks": [3],
        "dtype": "|O",
        "compressor": None,
        "fill_value": None,
        "order": "C",
        "filters": [{"id": "pickle", "protocol": 5}],
    }
    (folder / "x" / ".zarray").write_text(json.dumps(array))
    (folder / "x" / ".zattrs").write_text('{"_ARRAY_DIMENSIONS": ["flight"]}')
    (folder / "x" / "0").write_bytes(pickle.dumps(Payload(str(marker))))


@pytest.mark.parametrize("read", ["a column of samples", "a result"])
def test_zarr__of_version_2_runs_nothing(demo_mission, tmp_path, read):
    version_2(tmp_path / "x.zarr", tmp_path / "was here")
    with pytest.raises((MissionError, sixdof.StoreError), match="is a zarr store of version 2, which is not read"):
        READERS[read](demo_mission, tmp_path / "x.zarr")
    assert not (tmp_path / "was here").exists()


def test_zarr__of_version_3_with_an_array_of_version_2_inside(tmp_path):
    group = zarr.open_group(tmp_path / "x.zarr", mode="w", zarr_format=3)
    group.create_array("x", data=np.arange(3.0))
    version_2(tmp_path / "old", tmp_path / "was here")
    (tmp_path / "old" / "x").rename(tmp_path / "x.zarr" / "y")
    with pytest.raises(FileFault, match="version 2"):
        check_zarr(tmp_path / "x.zarr")


@pytest.mark.parametrize("codecs", [[{"name": "numcodecs.pickle", "configuration": {}}], [{"name": "bytes"}, {"name": "somebody.codec"}], "pickle"])
def test_zarr__with_a_codec_that_is_not_known(tmp_path, codecs):
    group = zarr.open_group(tmp_path / "x.zarr", mode="w", zarr_format=3)
    group.create_array("x", data=np.arange(3.0))
    file = tmp_path / "x.zarr" / "x" / "zarr.json"
    file.write_text(json.dumps(json.loads(file.read_text()) | {"codecs": codecs}))
    with pytest.raises(FileFault, match="holds the array x in the codec .*, which is not read"):
        check_zarr(tmp_path / "x.zarr")


def test_zarr__with_a_link_or_a_pipe_in_it(tmp_path):
    group = zarr.open_group(tmp_path / "x.zarr", mode="w", zarr_format=3)
    group.create_array("x", data=np.arange(3.0))
    (tmp_path / "elsewhere").write_text("mine")
    (tmp_path / "x.zarr" / "x" / "c" / "1").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(FileFault, match="holds 1, which is not an ordinary file"):
        check_zarr(tmp_path / "x.zarr")


# ---------------------------------------------------------------- netCDF


def profile(path, levels: int, **options) -> None:
    with netCDF4.Dataset(path, "w") as file:
        file.createDimension("level", levels)
        for name, units in (("altitude", "m"), ("temperature", "K")):
            variable = file.createVariable(name, "f8", ("level",), zlib=True, **options)
            variable.units = units
            variable[:] = np.linspace(0.0, 1e4, levels) if name == "altitude" else np.full(levels, 280.0)


def test_netcdf__small_file_of_hundreds_of_megabytes(demo_mission, tmp_path):
    with netCDF4.Dataset(tmp_path / "p.nc", "w") as file:
        file.createDimension("level", 30_000_000)
        file.createVariable("temperature", "f8", ("level",), zlib=True, chunksizes=(10_000_000,))[:1] = 280.0
    assert (tmp_path / "p.nc").stat().st_size < 1e6
    with pytest.raises(MissionError, match="unpacks to more than 64 MB"):
        READERS["a sounding"](demo_mission, tmp_path / "p.nc")


def test_netcdf__that_unpacks_to_more_than_there_is_memory(demo_mission, tmp_path):
    with netCDF4.Dataset(tmp_path / "p.nc", "w") as file:
        file.createDimension("flight", 10**12)
        file.createVariable("apogee_height", "f8", ("flight",), zlib=True, chunksizes=(10**6,))[:1] = 280.0
    for read in ("a result", "a netCDF column of samples"):
        with pytest.raises((MissionError, ValueError), match="unpacks to more than"):
            READERS[read](demo_mission, tmp_path / "p.nc")


def test_netcdf__nothing_in_the_working_folder_stands_in_for_a_library(tmp_path, monkeypatch):
    profile(tmp_path / "p.nc", 5)
    for name in ("netCDF4", "numpy", "json"):
        (tmp_path / f"{name}.py").write_text(f"open({str(tmp_path / 'was here')!r}, 'w')\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    read_apart(tmp_path / "p.nc")
    assert not (tmp_path / "was here").exists()


def test_netcdf__whose_library_hangs(tmp_path, monkeypatch):
    profile(tmp_path / "p.nc", 5)
    monkeypatch.setattr(files, "_READ", "import time; time.sleep(600)")
    monkeypatch.setattr(files, "START", 0.5)
    begun = time.monotonic()
    with pytest.raises(ValueError, match="is not a netCDF file, or is damaged; give a file that sixdof.save wrote") as error:
        sixdof.open_result(tmp_path / "p.nc")
    assert time.monotonic() - begun < AT_ONCE and "\n" not in str(error.value)


def test_netcdf__whose_library_crashes(demo_mission, tmp_path, monkeypatch):
    profile(tmp_path / "p.nc", 5)
    monkeypatch.setattr(files, "_READ", "import os; os.abort()")
    for read in ("a sounding", "a netCDF column of samples", "a result"):
        with pytest.raises((MissionError, ValueError), match="is not a netCDF file, or is damaged"):
            READERS[read](demo_mission, tmp_path / "p.nc")

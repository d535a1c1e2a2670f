"""Ensembles on disk: nothing lost by kill, full disk, damage or Ctrl-C; the same bits as in memory; no mixing of what differs."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import textwrap
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from same_bits import same
from staged import stack
from test_store_growth import flights as flights_by_hand

import sixdof
from sixdof.ensemble import run, targets
from sixdof.results.store import Store
from sixdof.results.store_disk import NOT_FLOWN, StoreError, locked

FLIGHTS, SEED = 24, 11


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch):
    """Chunks of 8 flights, the smallest there are."""
    monkeypatch.setattr(targets, "CHUNK_SECONDS", 0.0)


@pytest.fixture(scope="module")
def in_memory(demo_mission):
    return sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, progress=False)


def fly(mission, out, flights=FLIGHTS, **arguments):
    return sixdof.disperse(mission, flights, seed=SEED, out=out, progress=False, **arguments)


def chunk_files(store: Path) -> list[Path]:
    return sorted(file for file in store.rglob("*") if file.is_file() and file.parent.name == "c" or file.parent.parent.name == "c")


# ---------------------------------------------------------------- what is written


def test_store__holds_the_bits_of_an_ensemble_in_memory(demo_mission, in_memory, tmp_path):
    found = fly(demo_mission, tmp_path / "a.zarr")
    assert same(found, in_memory)
    assert "interrupted" not in found.attrs
    assert sixdof.report(found) == sixdof.report(in_memory)


def test_store__of_two_stages(demo_mission, tmp_path):
    failing = [{"kind": "no_separation", "of": "booster", "probability": 0.5}]
    mission = stack(demo_mission, failures=failing).change({"disperse": {"motor.impulse": {"sd": 0.02}, "joint.impulse": {"sd": 0.1}}})
    found = fly(mission, tmp_path / "a.zarr", 20)
    assert same(found, sixdof.disperse(mission, 20, seed=SEED, progress=False))
    assert set(found.groupby("branch").groups) == {"nominal", "no_separation: booster"}


def test_store__is_read_by_anybody(demo_mission, in_memory, tmp_path):
    fly(demo_mission, tmp_path / "a.zarr")
    with xr.open_zarr(tmp_path / "a.zarr", consolidated=False, chunks=None) as plain:
        assert plain.apogee_height.attrs["units"] == "m"
        np.testing.assert_array_equal(plain.apogee_height, in_memory.apogee_height)


def test_netcdf__is_made_of_the_store(demo_mission, in_memory, tmp_path):
    found = fly(demo_mission, tmp_path / "a.nc")
    assert same(found, in_memory)
    assert [file.name for file in tmp_path.iterdir()] == ["a.nc"]


def test_store__becomes_a_netcdf_file_by_save(demo_mission, in_memory, tmp_path):
    path = sixdof.save(fly(demo_mission, tmp_path / "a.zarr"), tmp_path / "b.nc")
    assert same(sixdof.open_result(path), in_memory)


# ---------------------------------------------------------------- tracks


def test_tracks__none_and_the_first(demo_mission, in_memory, tmp_path):
    none = fly(demo_mission, tmp_path / "a.zarr", tracks="none")
    assert "point" not in none.dims and same(none, in_memory.drop_dims("point"))
    few = fly(demo_mission, tmp_path / "b.zarr", tracks=3)
    assert np.isfinite(few.height[:3, 0]).all() and np.isnan(few.height[3:]).all()
    np.testing.assert_array_equal(few.height[:3], in_memory.height[:3])


def test_tracks__at_a_rate(demo_mission):
    mission = demo_mission.change({"record.track_rate": 5.0, "record.track_points": 1000})
    ds = sixdof.disperse(mission, 2, seed=SEED, progress=False)
    time_ = ds.time[0].values[np.isfinite(ds.time[0])]
    np.testing.assert_allclose(np.diff(time_)[:-1], 0.2, atol=0.041)  # a change of the computer's interval shifts a row by ticks; the last is the landing
    assert time_[-1] == pytest.approx(float(ds.flight_time[0]), abs=0.2)
    short = sixdof.disperse(mission.change({"record.track_points": 50}), 2, seed=SEED, progress=False).time[0]
    rows = short.values[np.isfinite(short)]
    steps = np.diff(rows)
    assert len(rows) <= 50 and steps[0] == pytest.approx(0.2 * round(steps[0] / 0.2)) and rows[-1] > time_[-1] - steps[0]


@pytest.mark.parametrize("tracks", [-1, 2.5, "some", True])
def test_tracks__wrong_ones_are_one_sentence(demo_mission, tracks):
    with pytest.raises(ValueError, match="tracks"):
        sixdof.disperse(demo_mission, 2, tracks=tracks, progress=False)


# ---------------------------------------------------------------- nothing lost

KILLED = """
    import os, signal, sys, threading
    import sixdof
    from sixdof.ensemble import targets
    from sixdof.results.store import Store

    targets.CHUNK_SECONDS = 0.0
    write, count = Store.write, 0

    def dying(self, k, ds):
        global count
        count += 1
        if count == {after}:  # somewhere within the writing of a chunk
            threading.Timer({within}, lambda: os.kill(os.getpid(), signal.SIGKILL)).start()
        write(self, k, ds)

    Store.write = dying
    sixdof.disperse(sixdof.load_mission({mission!r}), {flights}, seed={seed}, out={out!r}, progress=False)
"""


@pytest.mark.parametrize(("after", "within"), [(2, 0.0), pytest.param(3, 0.03, marks=pytest.mark.slow)])
def test_kill__loses_nothing_that_was_finished(demo_mission, demo_path, in_memory, tmp_path, after, within):
    """kill -9 as a chunk is being written: the chunks before it are readable, and the same call goes on to the same bits."""
    out = tmp_path / "a.zarr"
    code = KILLED.format(after=after, within=within, mission=str(demo_path), flights=FLIGHTS, seed=SEED, out=str(out))
    died = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], capture_output=True, check=False)
    assert died.returncode == -signal.SIGKILL, died.stderr.decode()
    left = sixdof.open_result(out, check=True)
    assert (after - 1) * 8 <= left.sizes["flight"] < FLIGHTS and "the same call goes on" in left.attrs["interrupted"]
    assert same(left, in_memory.sel(flight=left.flight.values))
    begun = left.sizes["flight"]
    flown = []
    target = targets.OnDisk.take

    def counting(self, rows, part):
        flown.append(rows.stop - rows.start)
        target(self, rows, part)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(targets.OnDisk, "take", counting)
        assert same(fly(demo_mission, out), in_memory)
    assert sum(flown) == FLIGHTS - begun  # no more than what was missing


class Disk:
    """A disk that counts its files, and is full from a number of them on."""

    def __init__(self, monkeypatch, room=10**9):
        import zarr.storage._local as local

        self.files, self.room, self.put = 0, room, local._put
        monkeypatch.setattr(local, "_put", self)

    def __call__(self, path, value, exclusive=False):
        self.files += 1
        if self.files > self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        return self.put(path, value, exclusive)


@pytest.fixture(scope="module")
def files_written(demo_mission, tmp_path_factory):
    """Return how many files it takes to make the store, and to write all of it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(targets, "CHUNK_SECONDS", 0.0)
        disk, made, create = Disk(patch), [], Store.create

        def counted(*arguments):
            store = create(*arguments)
            made.append(disk.files)
            return store

        patch.setattr(Store, "create", counted)
        fly(demo_mission, tmp_path_factory.mktemp("whole") / "a.zarr")
    return made[0], disk.files


@pytest.mark.parametrize(("of", "share", "flights"), [("making", 0.0, 0), ("making", 0.6, 0), ("chunks", 0.5, 8), ("chunks", 0.99, 16)])
def test_full_disk__is_one_sentence_and_nothing_is_lost(demo_mission, in_memory, files_written, tmp_path, of, share, flights):
    """Wherever it happens: as the store is made, within a chunk, at the very last file, which is a digest."""
    out, (making, all_) = tmp_path / "a.zarr", files_written
    room = int(share * making) if of == "making" else int(making + share * (all_ - making))
    with pytest.MonkeyPatch.context() as patch:
        Disk(patch, room)
        with pytest.raises(StoreError, match="No space left on device.*call again to go on") as error:
            fly(demo_mission, out)
    assert "\n" not in str(error.value)
    if flights:
        left = sixdof.open_result(out, check=True)
        assert same(left, in_memory.sel(flight=left.flight.values)) and left.sizes["flight"] == flights
    else:
        assert not list(tmp_path.iterdir())
    assert same(fly(demo_mission, out), in_memory)


@pytest.mark.parametrize("harm", ["flip", *(pytest.param(harm, marks=pytest.mark.slow) for harm in ("cut", "delete"))])
def test_damage__is_found_and_flown_again(demo_mission, in_memory, tmp_path, capsys, harm):
    out = tmp_path / "a.zarr"
    fly(demo_mission, out)
    file = next(file for file in chunk_files(out) if "apogee_time" in file.parts and file.name == "2")
    raw = bytearray(file.read_bytes())
    if harm == "flip":
        raw[len(raw) // 2] ^= 0x10
        file.write_bytes(raw)
    elif harm == "cut":
        file.write_bytes(raw[: len(raw) // 2])
    else:
        file.unlink()
    with pytest.raises(StoreError, match="damaged at flights 16 to 23"):
        sixdof.open_result(out, check=True)
    assert same(fly(demo_mission, out), in_memory)
    assert "1 of 3 chunks" in capsys.readouterr().err
    assert same(sixdof.open_result(out, check=True), in_memory)


def test_interrupt__keeps_the_flights_of_chunks_begun(demo_mission, in_memory, tmp_path, monkeypatch):
    """Ctrl-C after some flights of the one chunk that there is."""
    monkeypatch.setattr(targets, "CHUNK_SECONDS", 1e6)
    out, take = tmp_path / "a.zarr", targets.OnDisk.take

    def interrupting(self, rows, part):
        take(self, rows, part)
        if rows.start >= 8:
            signal.raise_signal(signal.SIGINT)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(targets.OnDisk, "take", interrupting)
        left = fly(demo_mission, out, threads=1)
    assert 8 <= left.sizes["flight"] < FLIGHTS and f"of {FLIGHTS} flights" in left.attrs["interrupted"]
    assert same(left, in_memory.sel(flight=left.flight.values))
    with xr.open_zarr(out, consolidated=False, chunks=None) as plain:
        assert int((plain.status == NOT_FLOWN).sum()) == FLIGHTS - left.sizes["flight"]
    assert same(fly(demo_mission, out), in_memory)


def test_netcdf__unfinished_is_readable_under_its_name(demo_mission, in_memory, files_written, tmp_path):
    out = tmp_path / "a.nc"
    with pytest.MonkeyPatch.context() as patch:
        Disk(patch, sum(files_written) // 2)
        with pytest.raises(StoreError):
            fly(demo_mission, out)
    left = sixdof.open_result(out)
    assert 0 < left.sizes["flight"] < FLIGHTS and not out.exists()
    assert same(fly(demo_mission, out), in_memory)


# ---------------------------------------------------------------- going on, and not mixing


def test_store__a_larger_number_of_flights_adds_to_it(demo_mission, in_memory, tmp_path):
    out = tmp_path / "a.zarr"
    first = fly(demo_mission, out, 13).load()
    more = fly(demo_mission, out)
    assert same(more, in_memory) and same(first, in_memory.isel(flight=slice(0, 13)))
    assert same(fly(demo_mission, out, 10), in_memory.isel(flight=slice(0, 10)))
    assert same(sixdof.open_result(out, check=True), in_memory)  # a smaller number takes nothing away


@pytest.mark.parametrize(
    ("changes", "arguments", "words"),
    [
        ({"air.wind.exponent": 0.2}, {}, r"air\.wind\.exponent is 0\.16 there, 0\.2 now"),
        pytest.param({}, {"first": 3}, "first flight is 0 there, 3 now", marks=pytest.mark.slow),
        pytest.param({}, {"tracks": "none"}, "tracks is all there, 0 now", marks=pytest.mark.slow),
        ({}, {"sampling": "sobol"}, "sampling is random there, sobol now"),
    ],
)
def test_store__refuses_another_ensemble_saying_what_differs(demo_mission, tmp_path, changes, arguments, words):
    out = tmp_path / "a.zarr"
    kept = fly(demo_mission, out, 8).load()
    with pytest.raises(StoreError, match=words):
        fly(demo_mission.change(changes), out, 8, **arguments)
    assert same(sixdof.open_result(out, check=True), kept)
    replaced = fly(demo_mission.change(changes), out, 8, overwrite=True, **arguments)
    assert "interrupted" not in replaced.attrs


def test_store__refuses_another_version_or_law(demo_mission, tmp_path, monkeypatch):
    out = tmp_path / "a.zarr"
    fly(demo_mission, out, 8)
    with pytest.raises(StoreError, match="control is built in there, calm .* now"):
        fly(demo_mission, out, 8, control=calm)
    monkeypatch.setattr("sixdof.ensemble.identity.code_hash", lambda: "another")  # of the code, which results name too
    with pytest.raises(StoreError, match=r"sixdof is .* there, .*\(code another\) now"):
        fly(demo_mission, out, 8)


def calm(t, sensed, memory, gains, command):
    command[:] = 0.0


def test_store__one_writer_at_a_time(demo_mission, tmp_path):
    out = tmp_path / "a.zarr"
    fly(demo_mission, out, 8)
    code = f"import filelock, time; lock = filelock.FileLock({str(out) + '.lock'!r}); lock.acquire(); print('held', flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline().strip() == "held"
        with pytest.raises(StoreError, match="being written by another process"):
            fly(demo_mission, out, 16)
        other.kill()
    assert fly(demo_mission, out, 16).sizes["flight"] == 16


def test_store__that_another_process_is_making_is_left_alone(demo_mission, tmp_path):
    """Before there is anything under its name, and whatever its maker has begun."""
    out = tmp_path / "a.zarr"
    (tmp_path / "a.zarr.making-0123" / "apogee_height").mkdir(parents=True)
    with locked(out), pytest.raises(StoreError, match="being written by another process"):
        fly(demo_mission, out, 8)
    assert [file.name for file in tmp_path.iterdir()] == ["a.zarr.making-0123"]
    fly(demo_mission, out, 8)
    assert [file.name for file in tmp_path.iterdir()] == ["a.zarr"]


def precious(path):
    path.mkdir()
    (path / "diary.txt").write_text("precious")


def foreign_zarr(path):
    xr.Dataset({"x": ("flight", np.arange(3.0))}).to_zarr(path, zarr_format=3, consolidated=False)


def other_version(path):
    path.mkdir()
    (path / "zarr.json").write_text("{}")


def own_with_a_diary(path):
    Store.create(path, flights_by_hand([0]), np.arange(4), 4, {"mission": ""})
    (path / "diary.txt").write_text("precious")


def link_to_own(path):
    Store.create(path.with_name("own"), flights_by_hand([0]), np.arange(4), 4, {"mission": ""})
    path.symlink_to(path.with_name("own"))


@pytest.mark.parametrize("make", [precious, foreign_zarr, other_version, own_with_a_diary, link_to_own])
def test_overwrite__spares_folders_that_are_not_all_ours(demo_mission, tmp_path, make):
    path = tmp_path / "mine.zarr"
    make(path)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(StoreError, match="not overwritten") as error:
        fly(demo_mission, path, 10**6, overwrite=True)
    assert "\n" not in str(error.value) and sorted(tmp_path.rglob("*")) == before


def test_overwrite__of_a_store_that_xarray_wrote(demo_mission, in_memory, tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # zarr warns of its own format
        in_memory.to_zarr(tmp_path / "a.zarr")
    with pytest.raises(StoreError, match="is not an ensemble that can be gone on with"):
        fly(demo_mission, tmp_path / "a.zarr", 8)
    assert fly(demo_mission, tmp_path / "a.zarr", 8, overwrite=True).sizes["flight"] == 8


@pytest.mark.parametrize("overwrite", [pytest.param(False, marks=pytest.mark.slow), True])
def test_netcdf__killed_between_its_two_names(demo_mission, in_memory, tmp_path, overwrite):
    """The file is there, and so is the store it was made of, and half a copy: the same call clears them."""
    out = tmp_path / "a.nc"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sixdof.results.store_disk.remove", lambda path: None)
        fly(demo_mission, out)
    (tmp_path / "a.nc.partial-0123").write_bytes(b"half")
    (tmp_path / "a.nc.unfinished.removing-0123").mkdir()
    assert len(list(tmp_path.iterdir())) == 4
    assert same(fly(demo_mission, out, overwrite=overwrite), in_memory)
    assert [file.name for file in tmp_path.iterdir()] == ["a.nc"]


def test_store__variables_stand_in_the_order_of_the_registry(demo_mission, in_memory, tmp_path):
    found = fly(demo_mission, tmp_path / "a.zarr")
    assert list(found.variables) == list(in_memory.variables) and next(iter(found.data_vars)) == "apogee_height"
    assert list(sixdof.open_result(sixdof.save(found, tmp_path / "b.nc")).data_vars) == list(in_memory.data_vars)


def test_store__other_folders_are_left_alone(demo_mission, tmp_path):
    (tmp_path / "mine.zarr").mkdir()
    (tmp_path / "mine.zarr" / "diary.txt").write_text("precious")
    for overwrite in (False, True):
        with pytest.raises(StoreError, match="is not an ensemble of this library|no zarr store"):
            fly(demo_mission, tmp_path / "mine.zarr", 8, overwrite=overwrite)
    assert (tmp_path / "mine.zarr" / "diary.txt").read_text() == "precious"
    with pytest.raises(StoreError, match="is not an ensemble of this library"):
        sixdof.open_result(tmp_path / "mine.zarr")
    with pytest.raises(FileNotFoundError):
        sixdof.open_result(tmp_path / "nothing.zarr")


# ---------------------------------------------------------------- until


def until_precise(ds):
    return float(ds.apogee_height.std() / np.sqrt(ds.sizes["flight"])) < 2.0


def test_until__stops_at_the_same_flight_everywhere(demo_mission, tmp_path, monkeypatch):
    monkeypatch.setattr(run, "FIRST_LOOK", 10)
    monkeypatch.setattr(targets, "CHUNK_SECONDS", 0.3)  # chunks of another size in each run, as the machine has time
    seen = []

    def noted(ds):
        seen.append(ds.sizes["flight"])
        return until_precise(ds)

    one = sixdof.disperse(demo_mission, 2000, seed=SEED, until=noted, threads=1, progress=False)
    assert seen == list(run._looks(2000))[: len(seen)] and len(seen) > 2
    assert one.sizes["flight"] == seen[-1] < 2000 and until_precise(one)
    stored = fly(demo_mission, tmp_path / "a.zarr", 2000, until=until_precise, threads=2)
    assert same(stored, one)
    assert same(fly(demo_mission, tmp_path / "a.zarr", 2000, until=until_precise), one)
    assert same(one, sixdof.disperse(demo_mission, seen[-1], seed=SEED, progress=False))


# ---------------------------------------------------------------- memory


@pytest.mark.slow
def test_memory__stays_flat(demo_mission, tmp_path):
    """Peak memory of four times as many flights on disk is the same to a few megabytes: chunks come and go."""
    code = """
        import resource, sys
        import sixdof
        from sixdof.ensemble import targets
        targets.CHUNK_SECONDS = 1.0
        mission = sixdof.load_mission(sys.argv[1]).change({"solver.time_limit": 1.0})
        sixdof.disperse(mission, int(sys.argv[3]), out=sys.argv[2], tracks="none", progress=False)
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)
    """
    peaks = []
    for flights in (5000, 20000):
        arguments = [sys.executable, "-c", textwrap.dedent(code), str(DEMO), str(tmp_path / f"{flights}.zarr"), str(flights)]
        peaks.append(float(subprocess.run(arguments, capture_output=True, text=True, check=True).stdout))
    assert peaks[1] - peaks[0] < 25.0  # MB; 15,000 flights more in memory would be 75


DEMO = Path(__file__).parents[2] / "configs" / "sampler.toml"

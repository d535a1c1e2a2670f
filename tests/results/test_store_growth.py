"""A store that grows or shrinks, its process ended after any of its writes: what was finished is readable, and the same call goes on."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import textwrap

import numpy as np
import pytest
import xarray as xr
import zarr.storage._local as local

import sixdof
from sixdof.results.store import Store
from sixdof.results.store_disk import NOT_FLOWN, StoreError, clear_leftovers, remove
from sixdof.results.store_reading import open_store

CHUNK, BEFORE, AFTER = 4, 10, 19  # the last chunk of both is cut short
IDENTITY = {"mission": "length = 1.0", "seed": "1"}


def flights(numbers) -> xr.Dataset:
    """Return a small ensemble: what a store is made of, without a flight."""
    numbers = np.asarray(numbers)
    return xr.Dataset(
        {
            "apogee_height": ("flight", 100.0 + numbers, {"units": "m"}),
            "status": ("flight", np.zeros(numbers.size, dtype=np.int8), {"units": "1"}),
            "branch": ("flight", np.array([f"way {n % 3}" for n in numbers])),
            "body_landing_time": (("flight", "body"), numbers[:, None] + np.arange(2.0)),
        },
        {"flight": numbers, "body": ["dart", "booster"]},
        {"source": "sixdof 0, by hand", "title": "small"},
    )


def made(path, count: int) -> Store:
    """Return a store of so many flights, all of them written."""
    store = Store.create(path, flights([0]), np.arange(count), CHUNK, IDENTITY)
    fill(store, count)
    return store


def fill(store: Store, count: int) -> None:
    numbers = np.arange(count)
    for k in np.flatnonzero(~store.done):
        store.write(int(k), flights(numbers[store.rows(int(k))]))


def again(path, count: int) -> Store:
    store = Store.reopen(path, IDENTITY, flights([0]), np.arange(count))
    for _ in store.damaged():
        pass
    store.extend(np.arange(count))
    return store


class Ended(Exception):
    """The process ends here."""


class Ending:
    """A disk that takes so many writes and no more."""

    def __init__(self, monkeypatch, writes: int):
        self.left, self.put = writes, local._put
        monkeypatch.setattr(local, "_put", self)

    def __call__(self, *arguments, **options):
        if self.left == 0:
            raise Ended
        self.left -= 1
        return self.put(*arguments, **options)


def ended_after(writes: int, work) -> bool:
    """Do some work that ends after so many writes; return whether it did end there."""
    with pytest.MonkeyPatch.context() as patch:
        Ending(patch, writes)
        try:
            work()
        except Ended:
            return True
    return False


def assert_holds(path, count: int, least: int) -> None:
    """Assert that the flights a store shows are those of an ensemble of `count`, the first `least` among them."""
    found = open_store(path)
    numbers = found["flight"].values
    assert numbers.size >= least and numbers.max(initial=-1) < count and (numbers[:least] == np.arange(least)).all()
    assert found.identical(flights(numbers).assign_attrs(found.attrs)) and list(found.data_vars) == ["apogee_height", "status", "branch", "body_landing_time"]


@pytest.mark.parametrize("finished", [BEFORE, 8])
def test_growing__ended_after_any_write(tmp_path, finished):
    made(tmp_path / "kept", finished)
    path = tmp_path / "a.zarr"
    writes = 0
    while True:
        shutil.rmtree(path, ignore_errors=True)
        shutil.copytree(tmp_path / "kept", path)
        cut = ended_after(writes, lambda: again(path, AFTER))
        assert_holds(path, AFTER, finished)
        store = again(path, AFTER)
        assert store.done.sum() >= finished // CHUNK  # no more is flown again than a chunk that was cut short
        fill(store, AFTER)
        assert_holds(path, AFTER, AFTER)
        open_store(path, check=True)
        if not cut:
            break
        writes += 1
    assert writes > 5


def test_shrinking__ended_after_any_write(tmp_path):
    made(tmp_path / "kept", AFTER)
    path = tmp_path / "a.zarr"
    writes = 0
    while True:
        shutil.rmtree(path, ignore_errors=True)
        shutil.copytree(tmp_path / "kept", path)
        cut = ended_after(writes, lambda: again(path, AFTER).truncate(BEFORE))
        assert_holds(path, AFTER, 8)
        store = again(path, BEFORE)
        fill(store, store.flights)
        assert_holds(path, AFTER, BEFORE)
        open_store(path, check=True)
        if not cut:
            break
        writes += 1
    assert writes > 5 and store.flights == BEFORE


def test_growing__flights_written_of_a_chunk_begun_stay_readable(tmp_path):
    store = made(tmp_path / "a.zarr", BEFORE)
    store.extend(np.arange(AFTER))
    assert_holds(tmp_path / "a.zarr", AFTER, BEFORE)
    open_store(tmp_path / "a.zarr", check=True)
    assert store.done.tolist() == [True, True, False, False, False]
    assert (store.arrays["status"][BEFORE:] == NOT_FLOWN).all()


# ---------------------------------------------------------------- damage to what describes the flights


@pytest.mark.parametrize("name", ["apogee_height", "branch", "body", "flight", "chunk_digest"])
def test_metadata__of_one_array_lost_is_said_and_mended(tmp_path, name):
    path = tmp_path / "a.zarr"
    made(path, BEFORE)
    (path / name / "zarr.json").unlink()
    with pytest.raises(StoreError, match=f"{name}/zarr.json is not there; the call that made the ensemble mends it"):
        open_store(path)
    store = again(path, BEFORE)
    if name == "chunk_digest":  # nothing says which flights were sound: they are flown again
        fill(store, BEFORE)
    assert store.done.all()
    assert_holds(path, BEFORE, BEFORE)
    open_store(path, check=True)


def test_names_and_attributes__changed_are_found_and_mended(tmp_path):
    path = tmp_path / "a.zarr"
    for harm in ("units", "title", "booster"):
        made(path, BEFORE)
        file = next(
            file
            for file in [path / "zarr.json", path / "apogee_height" / "zarr.json", *(path / "body" / "c").iterdir()]
            if harm.encode() in file.read_bytes() or file.parent.name == "c"
        )
        raw = file.read_bytes()
        file.write_bytes(raw.replace(harm.encode(), harm[::-1].encode()) if harm.encode() in raw else raw[:-9])
        with pytest.raises(StoreError, match="is damaged"):
            open_store(path, check=True)
        again(path, BEFORE)
        assert_holds(path, BEFORE, BEFORE)
        open_store(path, check=True)
        remove(path)


def test_leftovers__of_killed_runs_are_cleared(tmp_path):
    path = tmp_path / "a.zarr"
    made(path, BEFORE)
    (path / "apogee_height" / "c" / "0.1234.partial").write_bytes(b"half")
    for name in ("a.zarr.making-1234", "a.zarr.removing-1234"):
        (tmp_path / name / "apogee_height").mkdir(parents=True)
    (tmp_path / "a.zarr.txt").write_text("somebody's")
    clear_leftovers(path)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.zarr", "a.zarr.txt"]
    assert not list(path.rglob("*.partial"))
    assert_holds(path, BEFORE, BEFORE)


# ---------------------------------------------------------------- two at a time, and the end of a process

RACING = """
    import sys, time
    import sixdof
    from sixdof.ensemble import targets
    targets.CHUNK_SECONDS = 0.0
    mission = sixdof.load_mission({mission!r}).change({{"solver.time_limit": 1.0}})
    sixdof.disperse(mission, 8, seed=3, progress=False)
    print("ready", flush=True)
    sys.stdin.readline()
    try:
        print(sixdof.disperse(mission, 24, seed=3, out=sys.argv[1], progress=False).sizes["flight"])
    except sixdof.StoreError as error:
        print(error)
"""


def started(code: str, *arguments) -> subprocess.Popen:
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), *arguments], **pipes)


@pytest.mark.slow
@pytest.mark.parametrize("rounds", [8])
def test_two_processes__that_start_the_same_store(demo_path, tmp_path, rounds):
    """One makes it, or one after the other; the other says that it is being written; what there is in the end is whole."""
    for number in range(rounds):
        out = tmp_path / f"{number}.zarr"
        both = [started(RACING.format(mission=str(demo_path)), str(out)) for _ in range(2)]
        for each in both:
            assert each.stdout.readline() == "ready\n", each.stderr.read()
        for each in both:
            each.stdin.write("go\n")
            each.stdin.flush()
        said = [each.communicate()[0].strip() for each in both]
        assert all(text == "24" or text.endswith("is being written by another process; wait for it, or give another name") for text in said), said
        assert "24" in said
        assert sixdof.open_result(out, check=True).sizes["flight"] == 24
        assert [each.name for each in tmp_path.glob(f"{number}.*")] == [out.name]


ENDING = """
    import os, signal, sys
    import sixdof
    from sixdof.ensemble import targets
    from sixdof.results.store import Store
    targets.CHUNK_SECONDS = 0.0
    write = Store.write

    def noted(self, k, ds):
        if k == 1:
            os.kill(os.getpid(), signal.SIGTERM)
        write(self, k, ds)

    Store.write = noted
    mission = sixdof.load_mission({mission!r}).change({{"solver.time_limit": 1.0}})
    sixdof.disperse(mission, 4000, seed=3, out=sys.argv[1], progress=False)
    print("went on")
"""


def test_terminated__puts_away_what_it_has_and_ends(demo_path, tmp_path):
    out = tmp_path / "a.zarr"
    process = started(ENDING.format(mission=str(demo_path)), str(out))
    said, errors = process.communicate()
    assert process.returncode == -signal.SIGTERM and not said, errors
    found = sixdof.open_result(out, check=True)
    assert 16 <= found.sizes["flight"] < 4000
    assert not list(tmp_path.rglob("*.partial")) and [each.name for each in tmp_path.iterdir()] == ["a.zarr"]


KILLED = """
    import os, signal, sys
    import zarr.storage._local as local
    import sixdof
    from sixdof.ensemble import targets
    targets.CHUNK_SECONDS = 0.0
    mission = sixdof.load_mission({mission!r}).change({{"solver.time_limit": 1.0}})
    put, left = local._put, int(sys.argv[2])

    def counted(*arguments, **options):
        global left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return put(*arguments, **options)

    local._put = counted
    sixdof.disperse(mission, 24, seed=3, out=sys.argv[1], progress=False)
"""


@pytest.mark.slow
@pytest.mark.parametrize("writes", [1, 40, 90, 130, 131, 132, 133, 134, 140, 200])
def test_growing__a_real_ensemble_killed(demo_path, tmp_path, writes):
    mission = sixdof.load_mission(demo_path).change({"solver.time_limit": 1.0})
    out = tmp_path / "a.zarr"
    whole = sixdof.disperse(mission, 24, seed=3, progress=False)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sixdof.ensemble.targets.CHUNK_SECONDS", 0.0)
        sixdof.disperse(mission, 12, seed=3, out=out, progress=False)
        process = started(KILLED.format(mission=str(demo_path)), str(out), str(writes))
        assert process.communicate() is not None and process.returncode == -signal.SIGKILL
        left = sixdof.open_result(out)
        assert left.sizes["flight"] >= 12 and np.array_equal(left["apogee_height"], whole["apogee_height"].sel(flight=left["flight"]), equal_nan=True)
        found = sixdof.disperse(mission, 24, seed=3, out=out, progress=False)
    assert np.array_equal(found["apogee_height"], whole["apogee_height"], equal_nan=True) and os.listdir(tmp_path) == ["a.zarr"]

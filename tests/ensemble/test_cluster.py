"""Ensembles flown by a dask.distributed cluster: the same bits as on one's own cores, workers that die included."""

from __future__ import annotations

import os
import signal
import threading

import pytest
from distributed import Client, LocalCluster
from same_bits import same

import sixdof
from sixdof.ensemble import targets, workers

FLIGHTS, SEED = 48, 11

pytestmark = pytest.mark.filterwarnings("ignore")  # distributed's own, as workers come and go


@pytest.fixture(scope="module")
def client():
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, memory_limit=None) as cluster, Client(cluster) as client:
        yield client


@pytest.fixture(scope="module")
def in_memory(demo_mission):
    return sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, progress=False)


def test_cluster__gives_the_bits_of_threads(demo_mission, in_memory, client, tmp_path):
    assert same(sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, client=client, progress=False), in_memory)
    stored = sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, client=client, out=tmp_path / "a.zarr", progress=False)
    assert same(stored, in_memory)


def test_cluster__a_killed_worker_loses_nothing(demo_mission, in_memory, client, monkeypatch):
    """kill -9 of a worker as it flies: the cluster starts another, which flies what the dead one had."""
    monkeypatch.setattr(workers, "REMOTE_BATCH", 4)
    pids, take, done = list(client.run(os.getpid).values()), targets.InMemory.take, []

    def killing(self, rows, part):
        take(self, rows, part)
        done.append(rows)
        if len(done) == 2:
            os.kill(pids[0], signal.SIGKILL)

    monkeypatch.setattr(targets.InMemory, "take", killing)
    assert same(sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, client=client, progress=False), in_memory)
    client.wait_for_workers(2, timeout=60)
    assert set(client.run(os.getpid).values()) != set(pids)


def lazy(t, sensed, memory, gains, command):
    command[:] = 0.0


def test_cluster__flies_plain_python_laws(demo_mission, client):
    alone = sixdof.disperse(demo_mission, 2, seed=SEED, control=lazy, client=client, progress=False)
    assert float(alone.apogee_height[1]) == float(sixdof.fly(demo_mission, flight=1, seed=SEED, control=lazy).apogee_height)


class Elsewhere:
    """A client whose one worker has another version of this library, or that has no worker."""

    def __init__(self, answers):
        self.answers = answers

    def run(self, function):
        return self.answers

    def get_executor(self, **_):
        pytest.fail("flew")


@pytest.mark.parametrize(("answers", "words"), [({"tcp://lab:1": "other"}, "tcp://lab:1 have another version of sixdof"), ({}, "no workers")])
def test_cluster__that_cannot_fly_the_same_is_refused(demo_mission, answers, words):
    with pytest.raises(ValueError, match=words):
        sixdof.disperse(demo_mission, 2, client=Elsewhere(answers), progress=False)


def test_client__of_another_kind_is_refused(demo_mission):
    with pytest.raises(TypeError, match="dask.distributed Client, not int"):
        sixdof.disperse(demo_mission, 2, client=3, progress=False)


def test_interrupt__on_a_cluster(demo_mission, client, monkeypatch):
    take = targets.InMemory.take
    assert threading.current_thread() is threading.main_thread()

    def interrupting(self, rows, part):
        take(self, rows, part)
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(targets.InMemory, "take", interrupting)
    ds = sixdof.disperse(demo_mission, 400, seed=SEED, client=client, progress=False)
    assert 0 < ds.sizes["flight"] < 400 and "interrupted" in ds.attrs

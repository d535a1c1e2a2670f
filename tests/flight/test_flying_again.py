"""A mission flown again does not make its tables again, and the bits are the same."""

from __future__ import annotations

import threading

import pytest

import sixdof
from sixdof.flight import plan
from sixdof.flight.plan import MOST_KEPT, Plan, plan_of


@pytest.fixture
def made(monkeypatch):
    """The missions whose tables are made from now on; nothing is kept from before."""
    kept, found = Plan, []

    class Counted(kept):
        def __init__(self, mission, *args, **options):
            found.append(mission)
            super().__init__(mission, *args, **options)

    monkeypatch.setattr(plan, "Plan", Counted)
    monkeypatch.setattr(plan, "_kept", type(plan._kept)())
    return found


def bare(ds):
    return ds.drop_attrs(deep=False)


def test_again__no_tables_are_made_and_the_bits_are_the_same(demo_mission, made):
    first, other = sixdof.fly(demo_mission), sixdof.fly(demo_mission, flight=3, seed=4)
    assert bare(sixdof.fly(demo_mission)).identical(bare(first))
    assert bare(sixdof.fly(demo_mission, flight=3, seed=4)).identical(bare(other))
    assert len(made) == 1
    fresh = demo_mission.change({})
    assert bare(sixdof.fly(fresh)).identical(bare(first)) and len(made) == 2


def test_again__a_changed_mission_has_tables_of_its_own(demo_mission, made):
    before = sixdof.fly(demo_mission)
    assert float(sixdof.fly(demo_mission.change({"rail.length": "4 m"})).rail_departure_speed) > float(before.rail_departure_speed)
    mission = demo_mission.change({})
    sixdof.fly(mission)
    name, motor = next(iter(mission.motor.items()))
    mission.motor[name] = motor.model_copy(update={"propellant_mass": 0.5 * motor.propellant_mass})  # a dictionary lets it happen
    assert float(sixdof.fly(mission).apogee_height) != float(before.apogee_height)
    assert len(made) == 4


def test_again__ensembles_and_linear_models_make_tables_once(demo_mission, made):
    """Each logs at a rate of its own, so that it has a set of tables beside that of `fly`."""
    mission = demo_mission.change({})
    for _ in range(2):
        sixdof.disperse(mission, 2, seed=1, threads=1, progress=False)
        sixdof.loops.linearise(mission, points=2)
    assert len(made) == 2


def test_again__few_are_kept(demo_mission, made):
    for _ in range(MOST_KEPT + 2):
        plan_of(demo_mission.change({}))
    assert len(plan._kept) == MOST_KEPT


def test_again__threads_share_one(demo_mission):
    wanted, found = float(sixdof.fly(demo_mission, flight=1).apogee_height), []
    threads = [threading.Thread(target=lambda: found.append(float(sixdof.fly(demo_mission, flight=1).apogee_height))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [wanted] * 4

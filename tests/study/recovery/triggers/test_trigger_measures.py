"""Gaps and backups that beat, as measures in criteria."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof

BACKUP, APOGEE = "deploy drogue: backup", "deploy drogue: apogee"


@pytest.fixture(scope="module")
def mission():
    return sixdof.load_mission("configs/sampler.toml")


def test_gap__is_that_of_the_times_at_which_rules_fired(mission):
    ds = sixdof.disperse(mission, 5, seed=2, progress=False)
    gap = np.abs(ds.rule_fired.sel(rule=BACKUP) - ds.rule_fired.sel(rule=APOGEE)).values
    asked = np.sort(gap)[2]
    holds, missing = sixdof.stats.criterion(f"trigger_gap_min of drogue >= {asked - 1e-6} s in 90 % of flights").holds(ds)
    assert np.array_equal(holds, gap >= asked - 1e-6) and missing == 0
    assert sixdof.stats.criterion("trigger_gap_min of main > 1 s").holds(ds)[1] == 5  # nothing backs it up


def test_gap__of_a_timer_that_the_ground_stops_is_that_of_when_it_would_have_fired(mission):
    never = mission.change({"recovery.drogue.backup_time": "100 s"})
    ds = sixdof.disperse(never, 4, seed=2, progress=False)
    assert np.isnan(ds.rule_fired.sel(rule=BACKUP).values).any()
    due = ds.rule_armed.sel(rule=BACKUP) + 100.0 + ds.canopy_delay.sel(canopy="drogue")
    gap = (due - ds.rule_fired.sel(rule=APOGEE)).values
    for more, share in ((-0.1, 4), (0.1, 0)):  # a tick of the computer at most between what was due and what fired
        holds = [sixdof.stats.criterion(f"trigger_gap_min of drogue > {one + more} s").holds(ds)[0][k] for k, one in enumerate(gap)]
        assert sum(holds) == share


def test_backup_beats__where_it_acts_and_apogee_is_noticed_later(mission):
    early = mission.change({"recovery.drogue.backup_time": 11.0})
    ds = sixdof.disperse(early, 6, seed=2, progress=False)
    sound = sixdof.disperse(mission, 6, seed=2, progress=False).rule_fired.sel(rule=APOGEE).values
    beaten = ds.rule_fired.sel(rule=BACKUP).values < sound - 1e-9
    assert beaten.sum() > 0
    holds, _ = sixdof.stats.criterion("backup_beats of drogue < 0.5 in 99 % of flights").holds(ds)
    assert np.array_equal(holds, ~beaten)


def test_backup_beats__is_none_where_apogee_is_drawn_late(mission):
    late = mission.add("failure", {"kind": "late_apogee", "of": "thistledown", "probability": 1.0, "late_by": "8 s"})
    ds = sixdof.disperse(late, 4, seed=2, progress=False)
    assert (ds.rule_acted.sel(rule=BACKUP) > 0).all()
    assert sixdof.stats.criterion("backup_beats of drogue < 0.5 in 99 % of flights").holds(ds)[0].all()


def test_compare__judges_timers_by_their_gap(mission):
    two = {"16 s": mission, "12.5 s": mission.change({"recovery.drogue.backup_time": "12.5 s"})}
    found = sixdof.compare(two, 8, seed=1, criteria="trigger_gap_min of drogue > 1 s in 70 % of flights", progress=False)
    judged = sixdof.stats.judge_criteria(found)
    assert judged.observed.isel(criterion=0).values.tolist()[0] == 1.0 > judged.observed.isel(criterion=0).values[1]

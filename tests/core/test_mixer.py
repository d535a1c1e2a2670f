"""The fin mixer: pure moments with 3 to 6 fins and with failed ones, and what gives way when the travel runs out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.autopilot.build import mixer_table
from sixdof.core.control import mix

TRAVEL = 0.2
EXACT = 1e-12


def effect_of(count, phase, failed=()):
    """Return roll, pitch and yaw moment per fin angle (3, fins) of equal fins behind the centre of mass.

    A fin at phi = phase + 2 pi k/n is pushed along n = (0, -cos phi, -sin phi) at x < 0: M_y = -x F_z and M_z = x F_y give
    -sin phi and cos phi per unit of |x|; all fins roll alike.
    """
    phi = phase + 2.0 * math.pi * np.arange(count) / count
    effect = np.stack([np.ones(count), -np.sin(phi), np.cos(phi)])
    effect[:, [k - 1 for k in failed]] = 0.0
    return effect


def table(mission, count, phase, failed=()):
    changed = mission.change({
        "stage.0.part.tail.count": count, "stage.0.part.tail.phase": phase, "autopilot.known_failed": list(failed),
    })  # fmt: skip
    return mixer_table(changed, [0])


CASES = [(3, 0.0, ()), (4, 0.0, ()), (4, math.pi / 4, ()), (5, 0.3, ()), (6, 0.0, ()), (4, 0.0, (2,)), (4, math.pi / 4, (3,)),
         (5, 0.0, (1, 3)), (6, 0.1, (1, 4, 5))]  # fmt: skip


@pytest.mark.parametrize(("count", "phase", "failed"), CASES)
def test_mixer__each_demand_makes_its_moment_alone(demo_mission, count, phase, failed):
    mixer = table(demo_mission, count, phase, failed)
    moments = effect_of(count, phase, failed) @ mixer
    assert np.abs(moments - np.diag(np.diag(moments))).max() < EXACT
    assert (np.diag(moments) > 0.1).all()
    assert np.abs(mixer).max(axis=0) == pytest.approx(np.ones(3), abs=EXACT)  # a demand of 1 moves its best fin by 1
    assert not mixer[[k - 1 for k in failed]].any()


def test_mixer__two_fins_left_of_three_do_what_they_can(demo_mission):
    """Three moments from two fins: least squares, and the failed one stays out of it."""
    mixer = table(demo_mission, 3, 0.0, (2,))
    assert np.isfinite(mixer).all() and not mixer[1].any() and mixer[[0, 2]].any(axis=0).all()


def mixed(mixer, demands, roll_first=1, travel=TRAVEL):
    fins = np.empty(len(mixer))
    cut = mix(np.array(demands, dtype=float), mixer, travel, roll_first, fins)
    return fins, cut


# steps of 0.01 rad: the share of a demand of 1e-100 cannot be told from the fins' angles
demands = st.tuples(*(st.integers(-60, 60).map(lambda k: 0.01 * k) for _ in range(3)))
PLUS = np.array([[1.0, 0.0, 1.0], [1.0, -1.0, 0.0], [1.0, 0.0, -1.0], [1.0, 1.0, 0.0]])
THREE = np.array([[1.0, 0.0, 1.0], [1.0, -1.0, -0.5], [1.0, 1.0, -0.5]])


@given(demands=demands, roll_first=st.sampled_from([0, 1]), mixer=st.sampled_from([PLUS, THREE]))
@settings(deadline=None)
def test_mix__what_comes_first_gets_its_travel_and_the_other_keeps_its_direction(demands, roll_first, mixer):
    fins, cut = mixed(mixer, demands, roll_first)
    assert np.abs(fins).max() <= TRAVEL * (1.0 + EXACT)
    roll, lean = mixer[:, 0] * demands[0], mixer[:, 1:] @ demands[1:]
    first, second = (roll, lean) if roll_first else (lean, roll)
    first_share = min(1.0, TRAVEL / max(np.abs(first).max(), 1e-300))
    left = fins - first_share * first
    size = float(second @ second)
    share = float(left @ second) / size if size > 0.0 else 1.0
    assert left == pytest.approx(share * second, abs=1e-12)
    assert -EXACT <= share <= 1.0 + EXACT
    if share < 1.0 - 1e-9 and size > 0.0:  # not a bit more would have fitted
        assert np.abs(first_share * first + (share + 1e-6) * second).max() > TRAVEL
    assert cut == float(first_share < 1.0 or share < 1.0 - EXACT) or abs(share - 1.0) < 1e-9


def test_mix__worked_example():
    """Roll 0.15 first leaves 0.05 for a pitch of 0.2; pitch 0.2 first leaves nothing for roll on the fins it needs."""
    fins, cut = mixed(PLUS, (0.15, 0.2, 0.0), 1)
    assert fins == pytest.approx([0.15, 0.10, 0.15, 0.20], abs=EXACT) and cut == 1.0
    fins, cut = mixed(PLUS, (0.15, 0.2, 0.0), 0)
    assert fins == pytest.approx([0.0, -0.2, 0.0, 0.2], abs=EXACT) and cut == 1.0
    fins, cut = mixed(PLUS, (0.05, 0.1, 0.0), 1)
    assert fins == pytest.approx([0.05, -0.05, 0.05, 0.15], abs=EXACT) and cut == 0.0


def test_mix__more_than_the_travel_of_the_first_alone():
    fins, cut = mixed(PLUS, (0.5, 0.1, 0.1), 1)
    assert fins == pytest.approx(np.full(4, TRAVEL), abs=EXACT) and cut == 1.0


@pytest.mark.parametrize("priority", ["roll", "pitch"])
def test_priority__of_the_mission_reaches_the_kernel(demo_mission, priority):
    from sixdof.model import build_model

    model = build_model(demo_mission.change({"autopilot.priority": priority}))
    assert model.computer.roll_first == (priority == "roll")

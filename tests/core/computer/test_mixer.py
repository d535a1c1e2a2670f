"""The fin mixer: pure moments with 3 to 6 fins and with failed ones, and what gives way when the travel runs out."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from canards import with_canards
from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.autopilot.mixer import deflection_arms, mixer_table
from sixdof.core.computer.control import mix
from sixdof.flight.model import build_model
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.vehicle.mass import mass_at, mass_table

TRAVEL = 0.2
EXACT = 1e-12
SMALL = 1e-5  # rad: sin e cos e, and the sine of the angle


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
    changed = mission.change({"stage.0.part.tail.count": count, "stage.0.part.tail.clocking": phase, "autopilot.known_failed": list(failed)})
    return mixer_table(changed, [0])


CASES = [
    (3, 0.0, ()),
    (4, 0.0, ()),
    (4, math.pi / 4, ()),
    (5, 0.3, ()),
    (6, 0.0, ()),
    (4, 0.0, (2,)),
    (4, math.pi / 4, (3,)),
    (5, 0.0, (1, 3)),
    (6, 0.1, (1, 4, 5)),
]


@pytest.mark.parametrize(("count", "phase", "failed"), CASES)
def test_mixer__each_demand_makes_its_moment_alone(demo_mission, count, phase, failed):
    mixer = table(demo_mission, count, phase, failed)
    moments = effect_of(count, phase, failed) @ mixer
    assert np.abs(moments - np.diag(np.diag(moments))).max() < EXACT
    assert (np.diag(moments) > 0.1).all()
    assert np.abs(mixer).max(axis=0) == pytest.approx(np.ones(3), abs=EXACT)  # a demand of 1 moves its best fin by 1
    assert not mixer[[k - 1 for k in failed]].any()


def felt(mission, cg):
    """Return the moments (C_l, C_m, C_n; demand) about `cg` that small demands make through the mixer, without wakes, in the tunnel."""
    model = build_model(mission)
    model = model._replace(aero=model.aero._replace(wake_pair=model.aero.wake_pair[:0], wake=model.aero.wake[:0]))
    mixer, out = model.computer.mixer, np.empty((3, 3))
    still = wind_tunnel(mission, model=model, cg=cg)
    for demand in range(3):
        flow = wind_tunnel(mission, model=model, cg=cg, fin_angle=xr.DataArray(SMALL * mixer[:, demand], dims="fin"))
        out[:, demand] = [float(flow[name] - still[name]) for name in ("C_l", "C_m", "C_n")]
    return out / SMALL


AHEAD = [
    {"count": 3},
    {"count": 4},
    {"count": 4, "clocking": math.pi / 4},
    {"count": 5, "clocking": 0.2},
    {"station": 0.68},
    {"count": 3, "station": 0.68},  # behind the middle of the vehicle, and still ahead of its centre of mass
]
BEHIND = [
    {"station": 0.8},
    {"count": 3, "station": 0.8},
    {"station": 0.64, "root_chord": 0.3, "tip_chord": 0.2, "tip_offset": 0.35},  # its root begins ahead of the middle, its load acts far behind
    {"count": 5, "station": 0.64, "root_chord": 0.3, "tip_chord": 0.2, "tip_offset": 0.35},
]


@pytest.mark.parametrize(("fins", "ahead"), [*((f, True) for f in AHEAD), *((f, False) for f in BEHIND)])
def test_mixer__control_fins_anywhere_make_the_moment_that_is_asked_for(demo_mission, fins, ahead):
    """A positive demand makes a positive moment of its own kind alone, whether the fins stand ahead of the centre of mass or behind it."""
    mission = with_canards(demo_mission, **fins)
    cg = mass_at(mass_table(mission, [0]), 0.5)[1][0]
    assert (deflection_arms(mission, [0])[-1] > 0.0) is ahead
    moments = felt(mission, cg)
    assert (np.diag(moments) > 0.0).all(), moments
    assert np.abs(moments - np.diag(np.diag(moments))).max() < 1e-4 * np.diag(moments).max()


def test_mixer__the_load_decides_and_not_the_root(demo_mission):
    """Two sets whose roots begin at the same place, ahead of the middle of the vehicle; one is swept back behind the centre of mass."""
    swept = {"station": 0.64, "root_chord": 0.3, "tip_chord": 0.2, "tip_offset": 0.35}
    straight = {"station": 0.64, "root_chord": 0.06, "tip_chord": 0.04, "tip_offset": 0.0}
    pitch = [mixer_table(with_canards(demo_mission, **fins), [0])[:, 1] for fins in (swept, straight)]
    assert pitch[0] == pytest.approx(-pitch[1], abs=EXACT)


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
    from sixdof.flight.model import build_model

    model = build_model(demo_mission.change({"autopilot.priority": priority}))
    assert model.computer.roll_first == (priority == "roll")

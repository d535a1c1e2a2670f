"""Invariants of the whole aerodynamic model, through the wind tunnel: mirrors, quarter turns, pressure, continuity,
stability.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from two_stages import on_booster

import sixdof
from sixdof.core.columns import WAKE_COLUMNS
from sixdof.flight.model import build_model
from sixdof.study.aero.tunnel import wind_tunnel

SAME = 1e-9  # of the largest coefficient: order of operations
# largest change between flows 1 deg apart from 0 to 180 deg, share of the sweep's largest C_Z or C_m: forces 0.051
# (the stack's booster fins stalling at 16 deg), moments 0.083 (the demo at 30 deg and Mach 0.3, the stack at 150 deg and
# Mach 1: stall)
JUMP_FORCE, JUMP_MOMENT = 0.055, 0.09
# between Mach numbers 0.01 apart: 0.075 (the stack at 150 deg about Mach 1.19), 0.023 below 90 deg but for C_n at 60
# deg, 0.032
JUMP_MACH = 0.08
MISSION = sixdof.load_mission(Path(__file__).parents[2] / "configs" / "sampler.toml")
STACK = on_booster(MISSION, clocking=np.pi / 4)
VEHICLES = {name: (m, build_model(m)) for name, m in {"demo": MISSION, "stack": STACK}.items()}
FORCES = ("C_X", "C_Y", "C_Z", "C_l", "C_m", "C_n")
machs, incidences, turns = st.floats(0.05, 3.0), st.floats(0.0, np.pi), st.floats(-np.pi, np.pi)
rates = st.tuples(*[st.floats(-0.02, 0.02)] * 3)
angles = st.lists(st.floats(-0.2, 0.2), min_size=4, max_size=4)
vehicles = st.sampled_from(list(VEHICLES))


def tunnel(name, fins, **flow):
    mission, model = VEHICLES[name]
    ds = wind_tunnel(mission, model=model, fin_angle=xr.DataArray(np.asarray(fins, dtype=float), dims="fin"), **flow)
    return np.array([float(ds[f]) for f in FORCES])


@settings(max_examples=60, deadline=None)
@given(vehicles, machs, incidences, turns, rates, angles)
def test_mirror__port_for_starboard(name, mach, incidence, roll, rate, fins):
    """The flow mirrored in the x-z plane: side force, rolling and yawing moment change sign, nothing else does.

    Fins at 45, 135, 225, 315 deg change places 1-4, 2-3, and a fin's angle, positive where it rolls, its sign.
    """
    p, q, r = rate
    one = tunnel(name, fins, mach=mach, incidence=incidence, roll=roll, rate=(p, q, r))
    other = tunnel(name, [-fins[3], -fins[2], -fins[1], -fins[0]], mach=mach, incidence=incidence, roll=-roll, rate=(-p, q, -r))
    np.testing.assert_allclose(other, one * [1, -1, 1, -1, 1, -1], atol=SAME * max(np.abs(one).max(), 1.0))


@settings(max_examples=60, deadline=None)
@given(vehicles, machs, incidences, turns, angles)
def test_quarter_turn__of_a_cruciform(name, mach, incidence, roll, fins):
    """The flow turned by 90 deg about the axis, and every fin's angle given to the next fin: the force turns with it."""
    one = tunnel(name, fins, mach=mach, incidence=incidence, roll=roll)
    # roll + 90 deg: the velocity that leaned towards z leans towards y, where fin 4 stands next to fin 1
    other = tunnel(name, [fins[1], fins[2], fins[3], fins[0]], mach=mach, incidence=incidence, roll=roll + np.pi / 2)
    x, y, z, l, m, n = one
    expected = [x, z, -y, l, n, -m]
    np.testing.assert_allclose(other, expected, atol=SAME * max(np.abs(one).max(), 1.0))


@settings(max_examples=20, deadline=None)
@given(incidences, turns, st.floats(0.0, 2 * np.pi))
def test_body_of_revolution__knows_no_direction(incidence, roll, turn):
    mission, model = VEHICLES["demo"]
    bare = model._replace(aero=model.aero._replace(panel=model.aero.panel[:0]))
    one, other = (wind_tunnel(mission, model=bare, mach=0.5, incidence=incidence, roll=angle) for angle in (roll, roll + turn))
    for force in (lambda d: np.hypot(d.C_Y, d.C_Z), lambda d: np.hypot(d.C_m, d.C_n), lambda d: d.C_X):
        assert float(force(one)) == pytest.approx(float(force(other)), abs=1e-9)
    # no component across the plane of the flow
    assert abs(float(one.C_Y * np.cos(roll) - one.C_Z * np.sin(roll))) < 1e-9


@settings(max_examples=20, deadline=None)
@given(incidences, turns, angles)
def test_force__vanishes_with_dynamic_pressure(incidence, roll, fins):
    mission, model = VEHICLES["stack"]
    fins = xr.DataArray(np.array(fins), dims="fin")
    for mach, most in ((1e-3, 5.0), (1e-5, 5e-4)):  # N: 0.07 Pa and 7e-6 Pa on some 0.3 m^2
        ds = wind_tunnel(mission, model=model, mach=mach, incidence=incidence, roll=roll, fin_angle=fins)
        for name in FORCES:
            value = float(ds[name] * ds.dynamic_pressure * ds.reference_area)
            assert np.isfinite(value) and abs(value) < most


@pytest.mark.parametrize("name", VEHICLES)
@pytest.mark.parametrize("deflection", [0.0, 0.1])
def test_continuity__in_incidence_from_0_to_180_deg(name, deflection):
    """No step anywhere: halving the spacing halves the largest change, which is stated."""
    mission, model = VEHICLES[name]
    for mach in (0.3, 1.0, 2.0):
        changes = {}
        for count in (181, 361):
            sweep = xr.DataArray(np.linspace(0.0, np.pi, count), dims="incidence")
            roll = xr.DataArray(np.radians([0.0, 20.0, 45.0]), dims="roll")
            ds = wind_tunnel(mission, model=model, mach=mach, incidence=sweep, roll=roll, fin_angle=deflection)
            for force in FORCES:
                values = ds[force].transpose("incidence", "roll").values
                scale = np.abs(ds[["C_Z", "C_m"][FORCES.index(force) >= 3]]).max().item()
                changes.setdefault(force, []).append(np.abs(np.diff(values, axis=0)).max() / scale)
        for force, (coarse, fine) in changes.items():
            assert coarse < (JUMP_FORCE if force in FORCES[:3] else JUMP_MOMENT), (force, mach)
            assert fine < 0.6 * coarse or fine < 0.003, (force, mach)


@pytest.mark.parametrize("name", VEHICLES)
@pytest.mark.parametrize("degrees", [0.0, 10.0, 60.0, 150.0])
def test_continuity__in_mach(name, degrees):
    mission, model = VEHICLES[name]
    mach = xr.DataArray(np.arange(0.05, 3.5, 0.01), dims="mach")
    ds = wind_tunnel(mission, model=model, mach=mach, incidence=np.radians(degrees), roll=0.3, fin_angle=0.05)
    for force in FORCES:
        scale = max(np.abs(ds[force]).max().item(), 0.02 * np.abs(ds["C_m"]).max().item(), 0.1)
        assert np.abs(np.diff(ds[force])).max() < JUMP_MACH * scale, force


def test_static_stability__sign_is_that_of_the_margin():
    """Nose up in a stable vehicle is pushed down about the centre of mass; about a point behind the centre of
    pressure, up.
    """
    for name, (mission, model) in VEHICLES.items():
        small = np.radians(1.0)
        flow = wind_tunnel(mission, model=model, mach=0.3, incidence=small)
        assert float(flow.C_m) < 0.0 and float(flow.C_Z) < 0.0, name
        centre = float(flow.moment_centre + flow.C_m / flow.C_Z * model.aero.length)
        behind = wind_tunnel(mission, model=model, mach=0.3, incidence=small, cg=centre + 0.1)
        assert float(behind.C_m) > 0.0
        assert float(wind_tunnel(mission, model=model, mach=0.3, incidence=small, cg=centre).C_m) == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(vehicles, machs, st.floats(0.0, 0.2), turns, rates)
def test_rates__are_damped(name, mach, incidence, roll, rate):
    """The moment that a rate adds opposes it, at small incidence and unstalled."""
    still = tunnel(name, np.zeros(4), mach=mach, incidence=incidence, roll=roll)
    moved = tunnel(name, np.zeros(4), mach=mach, incidence=incidence, roll=roll, rate=rate)
    work = ((moved - still)[3:] * np.array(rate)).sum()
    assert work <= 1e-12


def test_vortices__are_none_in_backward_flight():
    mission, model = VEHICLES["stack"]
    alone = model._replace(aero=model.aero._replace(wake_pair=model.aero.wake_pair[:0], wake=model.aero.wake[:0]))
    assert model.aero.wake_pair.shape == (1, WAKE_COLUMNS)
    both = [wind_tunnel(mission, model=m, incidence=2.5, roll=0.3, fin_angle=0.1) for m in (model, alone)]
    for force in FORCES:
        assert float(both[0][force]) == float(both[1][force])

"""Symmetries and signs that the aerodynamic loads of any vehicle like the demo must have."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from drivers import loads_at
from hypothesis import given, settings
from hypothesis import strategies as st
from independent_vehicle import Vehicle
from two_stages import on_booster

import sixdof
from sixdof.core import types as ct
from sixdof.core.columns import AirColumn, PanelColumn
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

ROUNDING = 1e-10  # of the largest force or moment in play: sums in another order, sines of the panels' angles
MISSION = sixdof.load_mission(Path(__file__).parents[3] / "configs" / "sampler.toml")
DRAW = kernel_draw(MISSION)._replace(wind_scale=0.0)
STILL = build_model(MISSION)
STILL = STILL._replace(world=STILL.world._replace(earth_rate=ct.Vec3(0.0, 0.0, 0.0)))
PANELS = 4

speeds = st.floats(-150.0, 150.0)
flows = st.tuples(speeds, speeds, speeds)
turns = st.tuples(*[st.floats(-20.0, 20.0)] * 3)
deflections = st.tuples(*[st.floats(-0.2, 0.2)] * PANELS)


def load(flow, rates=(0.0, 0.0, 0.0), fins=(0.0,) * PANELS):
    return loads_at(STILL, DRAW, flow=flow, rates=rates, fins=fins)


def assert_same(found, expected, flow, rates):
    v2 = sum(x * x for x in flow) + sum(x * x for x in rates)
    scale = 0.5 * 1.3 * v2 * 0.1 + 1e-12  # N and N m: dynamic pressure on the side area, arms of about a metre
    assert found == pytest.approx(expected, abs=ROUNDING * scale, rel=ROUNDING)


def turned(a):
    """Return a vector turned by 90 deg about body x."""
    return a[0], -a[2], a[1]


@given(flow=flows, rates=turns, fins=deflections)
@settings(max_examples=150, deadline=None)
def test_mirror__forces_mirrored(flow, rates, fins):
    """Across the x-z plane: y forces and x, z moments change sign; a panel's twin deflects the other way."""
    phi = np.arctan2(STILL.aero.panel[:, PanelColumn.SIN], STILL.aero.panel[:, PanelColumn.COS])
    twin = [int(np.argmin(np.abs(np.exp(1j * phi) - np.exp(-1j * p)))) for p in phi]
    mirrored = load((flow[0], -flow[1], flow[2]), (-rates[0], rates[1], -rates[2]), [-fins[i] for i in twin])
    assert_same(mirrored * [1, -1, 1, -1, 1, -1], load(flow, rates, fins), flow, rates)


@given(flow=flows, rates=turns, fins=deflections)
@settings(max_examples=150, deadline=None)
def test_quarter_turn__forces_turned(flow, rates, fins):
    found = load(turned(flow), turned(rates), (fins[-1], *fins[:-1]))
    base = load(flow, rates, fins)
    assert_same(found, [*turned(base[:3]), *turned(base[3:])], flow, rates)


@given(fins=deflections)
@settings(max_examples=20, deadline=None)
def test_no_flow__no_force(fins):
    assert np.abs(load((0.0, 0.0, 0.0), fins=fins)).max() < 1e-9  # N: 1e-12 m^2/s^2 keep the kernel's divisions finite


@given(flow=flows)
@settings(max_examples=60, deadline=None)
def test_air__takes_energy_from_a_body_that_does_not_turn(flow):
    """With fins straight and no rates the force never points along the motion: F . u <= 0."""
    assert load(flow)[:3] @ np.array(flow) <= 1e-9


@given(scale=st.floats(1.0, 3.0), flow=flows)
@settings(max_examples=30, deadline=None)
def test_density__forces_in_proportion(scale, flow):
    """At the same Reynolds number all forces go with the density."""
    air = STILL.world.air.copy()
    air[:, [AirColumn.DENSITY, AirColumn.VISCOSITY]] *= scale
    dense = STILL._replace(world=STILL.world._replace(air=air))
    found = loads_at(dense, DRAW, flow=flow, fins=[0.0] * 4) / scale
    assert_same(found, loads_at(STILL, DRAW, flow=flow, fins=[0.0] * 4), flow, (0,))


# ------------------------------------------------------------------ stated a second time in numpy

BURNT_OUT = 100.0  # s
STACK = build_model(on_booster(MISSION))
STACK = STACK._replace(world=STACK.world._replace(earth_rate=ct.Vec3(0.0, 0.0, 0.0)))
SHAPED = np.linspace(1.0, 0.4, 9) * np.ones((len(STILL.aero.body), 1))  # axial force over the sine of incidence
VARIANTS = {"demo": STILL, "shaped": STILL._replace(aero=STILL.aero._replace(axial_shape=SHAPED)), "stack": STACK}
SAME = 1e-7  # of the largest force or moment in play: the kernel's series of the sine, 1e-8 at 0.6 rad


@pytest.mark.parametrize("name", VARIANTS)
@given(
    flow=st.tuples(*[st.floats(-150.0, 250.0).map(lambda v: round(v, 6))] * 3), rates=turns, fins=deflections, shares=st.tuples(*[st.floats(0.0, 1.0)] * PANELS)
)
@settings(max_examples=60, deadline=None)
def test_loads__as_stated_a_second_time(name, flow, rates, fins, shares):
    """Any flow, also stalled and backwards; the stack's front fins shed vortices onto those of the booster."""
    model, draw = VARIANTS[name], DRAW._replace(cp=0.01, cant=0.01, normal_force=1.1, drag=0.9)
    found = loads_at(model, draw, flow=flow, rates=rates, fins=fins, carried=shares)
    still, turn = np.zeros(3), np.eye(3)
    force, moment, _ = Vehicle(model, draw).loads(BURNT_OUT, still, np.array(flow), turn, np.array(rates), np.array(fins), np.array(shares))
    v2 = sum(x * x for x in flow) + sum(x * x for x in rates)
    assert found == pytest.approx(np.concatenate([force, moment]), abs=SAME * (0.5 * 1.3 * v2 * 0.1 + 1e-3))


def test_stack__sheds_vortices():
    assert len(STACK.aero.wake_pair) == 1 and np.abs(STACK.aero.wake).max() > 0.0


@pytest.mark.parametrize("speed", [20.0, 100.0, 250.0])
@pytest.mark.parametrize("fin", [*range(PANELS), "all"])
def test_positive_deflection__rolls_positive(fin, speed):
    angles = [0.05 if fin in (i, "all") else 0.0 for i in range(PANELS)]
    found = load((speed, 0.0, 0.0), fins=angles)
    assert found[3] > 0.0
    if fin == "all":
        assert np.abs(found[[1, 2, 4, 5]]).max() < 1e-9 * found[3]


@pytest.mark.parametrize("channel, moment", [(0, 3), (1, 4), (2, 5)])
def test_mixer__positive_demand_gives_positive_moment(channel, moment):
    demand = np.zeros(3)
    demand[channel] = 0.05
    found = load((100.0, 0.0, 0.0), fins=STILL.computer.mixer @ demand)
    others = [i for i in (3, 4, 5) if i != moment]
    assert found[moment] > 0.0
    assert np.abs(found[others]).max() < 1e-9 * found[moment]


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_rates__damped(axis):
    rates = [0.0, 0.0, 0.0]
    rates[axis] = 1.0
    assert load((100.0, 0.0, 0.0), rates)[3 + axis] < 0.0


@pytest.mark.parametrize("side", [1, 2])
def test_incidence__turns_the_nose_into_the_wind(side):
    """Moving towards +z the nose must go towards +z, a negative M_y; towards +y a positive M_z."""
    flow = [100.0, 0.0, 0.0]
    flow[side] = 5.0
    found = load(flow)
    assert found[side] < 0.0
    assert (found[5] > 0.0) if side == 1 else (found[4] < 0.0)


def test_backwards__drag_points_forward():
    assert load((-80.0, 0.0, 0.0))[0] > 0.0 > load((80.0, 0.0, 0.0))[0]

"""Flights with a closed form: drag, boost, burning mass, jet damping, rail, canopy. The kernel's steps against them.

Numbers: the formula beside each, evaluated with mpmath 1.4.1 at 40 digits; g = 9.80665 m/s^2, density 1.225 kg/m^3.
Drag: m dv/dt = -m g - k v^2 (any text). Jet damping: W. T. Thomson, Introduction to Space Dynamics (1961), ch. 7.
"""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import AT_REST, Flown, R, V, W, fall, let_go

from sixdof.core import types as ct
from sixdof.core.layout import Event, Outcome

UP = (math.sqrt(0.5), 0.0, -math.sqrt(0.5), 0.0)  # body x points up
STEP = 1e-3  # s: RK4 leaves 1e-11 of a coast of 10 s
EXACT = 1e-9  # relative: RK4's error at STEP, and the twelve printed digits
TINY_SHIFT = 3e-8  # relative: the kernel adds 1e-12 m^2/s^2 to V^2, felt where the speed goes through zero
CD, DIAMETER = 0.5, 0.1  # k = rho CD S/2 = 0.002405281875405 kg/m


def dragging(*, mass, thrust=None, gravity=models.G0, grains=()):
    """A vehicle with constant axial force coefficient and nothing across the axis."""
    return models.model(
        world=models.world(gravity=gravity), aero=models.aero(slopes=(), ca=CD), mass=models.mass(dry=mass, grains=grains), thrust=thrust or models.thrust()
    )


def grain(mass, *, x=1.0, roll=0.0, pitch=0.0):
    """A motor whose own inertia goes down in proportion to its propellant."""
    return (mass, x, 0.0, 0.0, roll, 0.0, pitch, 0.0)


def going_up(speed):
    return [0.0, 0.0, 0.0, 0.0, 0.0, speed, *UP, 0.0, 0.0, 0.0]


# ------------------------------------------------------------------ drag and gravity


@pytest.mark.parametrize(
    "t, speed, height", [(2.0, 113.7432767802, 262.218629313), (5.0, 71.92348681814, 537.9430102757), (8.0, 38.07135636298, 701.6010946894)]
)
def test_vertical_coast__speed_and_height(t, speed, height):
    row = let_go(dragging(mass=5.0), models.draw(), going_up(150.0), h=STEP, until=t)[-1]
    assert row[V][2] == pytest.approx(speed, rel=EXACT)
    assert row[R][2] == pytest.approx(height, rel=EXACT)


def test_vertical_coast__apogee():
    """h = (m/2k) ln(1 + k v0^2/(m g)) at t = sqrt(m/(k g)) atan(v0 sqrt(k/(m g)))."""
    row = let_go(dragging(mass=5.0), models.draw(), going_up(150.0), h=STEP, until=11.79392552104)[-1]
    assert row[R][2] == pytest.approx(772.9924406705, rel=EXACT)
    assert abs(row[V][2]) < 1e-7  # m/s: g times the time's last digit


def test_vertical_fall__tail_first():
    """v = vt sqrt(1 - exp(-2 g h/vt^2)): from apogee back to the ground."""
    start = [0.0, 0.0, 772.9924406705, 0.0, 0.0, 0.0, *UP, 0.0, 0.0, 0.0]
    row = let_go(dragging(mass=5.0), models.draw(), start, h=STEP, until=13.34640544334)[-1]
    assert row[R][2] == pytest.approx(0.0, abs=1e-6)
    assert row[V][2] == pytest.approx(-103.4183438096, rel=EXACT)


@pytest.mark.parametrize(
    "t, speed, height", [(1.0, 40.06432406654, 20.06437702052), (2.0, 79.3662822529, 79.87388132916), (3.0, 117.2004519908, 178.3064900509)]
)
def test_vertical_boost__constant_mass(t, speed, height):
    """v = vT tanh(k vT t/m), h = (m/k) ln cosh(k vT t/m), vT = sqrt((T - m g)/k)."""
    model = dragging(mass=10.0, thrust=models.thrust((0.0, 10.0), (500.0, 500.0)))
    row = let_go(model, models.draw(), going_up(0.0), h=STEP, until=t)[-1]
    assert row[V][2] == pytest.approx(speed, rel=TINY_SHIFT)
    assert row[R][2] == pytest.approx(height, rel=TINY_SHIFT)


def test_vacuum_range__45_degrees():
    v = 150.0 * math.sqrt(0.5)
    model = models.model(world=models.world(density=0.0))
    row = let_go(model, models.draw(), [0.0, 0.0, 0.0, v, 0.0, v, *AT_REST[6:]], h=1e-2, until=21.63144747248)[-1]
    assert row[R] == pytest.approx([2294.3614792, 0.0, 0.0], abs=1e-7)  # a parabola: RK4 is exact; seven digits printed


# ------------------------------------------------------------------ burning mass

BURN = {"time": (0.0, 3.0), "force": (4000.0 / 3.0, 4000.0 / 3.0), "propellant": 2.0}  # 2000 m/s exhaust, 12 kg to 10 kg


def test_rocket_equation__with_gravity():
    """v = ve ln(m0/mf) - g t; h = ve t (1 - ln R/(R - 1)) - g t^2/2."""
    model = models.model(world=models.world(density=0.0), mass=models.mass(dry=10.0, grains=[grain(2.0)]), thrust=models.thrust(**BURN))
    row = let_go(model, models.draw(), going_up(0.0), h=STEP, until=3.0)[-1]
    assert row[V][2] == pytest.approx(335.2231635879, rel=EXACT)
    assert row[R][2] == pytest.approx(486.2233711814, rel=EXACT)


def test_rocket_equation__vacuum_apogee_of_a_whole_flight():
    """486.22 m and 335.22 m/s at 3 s give 6215.731888661 m at 37.18324948763 s; the rail turns nothing in a vacuum."""
    model = models.model(
        world=models.world(density=0.0),
        mass=models.mass(dry=10.0, grains=[grain(2.0)]),
        thrust=models.thrust(**BURN),
        rail=ct.Rail(math.pi / 2, 0.0, 0.0, 1.0, 2.0, 1.8, 2.0),
        time_limit=38.0,
    )
    flown = Flown(model, models.draw())
    # the pad holds the vehicle until thrust exceeds weight: at once here. The rail starts 1 m below the cg at (0, 0, 1)
    assert flown.summary[Outcome.APOGEE_HEIGHT] - 1.0 == pytest.approx(6215.731888661, rel=EXACT)
    assert flown.summary[Outcome.APOGEE_TIME] == pytest.approx(37.18324948763, rel=EXACT)


@pytest.mark.parametrize(
    "t, speed, height", [(1.0, 113.4268876012, 56.39455862984), (2.0, 228.0081671739, 227.2481939532), (3.0, 338.0380581869, 510.8914826512)]
)
def test_burning_mass_with_drag__no_gravity(t, speed, height):
    """v = sqrt(T/k) tanh[(sqrt(T k)/mdot) ln(m0/m)]."""
    model = dragging(mass=10.0, gravity=0.0, thrust=models.thrust(**BURN), grains=[grain(2.0)])
    row = let_go(model, models.draw(), going_up(0.0), h=STEP, until=t)[-1]
    assert row[V][2] == pytest.approx(speed, rel=TINY_SHIFT)
    assert row[R][2] == pytest.approx(height, rel=TINY_SHIFT)


# ------------------------------------------------------------------ jet damping


def rate_left(*, inertia, motor, exit_x=1.0, exit_radius=0.0, axis=1):
    """Return w/w0 after 3 s of burning, turning about one axis in empty space; the centre of mass stays at 1 m."""
    model = models.model(
        world=models.world(density=0.0, gravity=0.0),
        mass=models.mass(dry=10.0, inertia=(*inertia, 0.0, 0.0, 0.0), grains=[motor]),
        thrust=models.thrust(**BURN, exit_x=exit_x, exit_radius=exit_radius),
    )
    rates = [0.0, 0.0, 0.0]
    rates[axis] = 0.3
    row = let_go(model, models.draw(), [*AT_REST[:10], *rates], h=STEP, until=3.0)[-1]
    return row[W][axis] / 0.3


@pytest.mark.parametrize("axis", [1, 2])
def test_jet_damping__inertia_burns_off_with_the_mass(axis):
    """I = m k^2: w/w0 = (m/m0)^(l^2/k^2 - 1), l 1.1 m, k 0.5 m."""
    left = rate_left(inertia=(0.01, 2.5, 2.5), motor=grain(2.0, pitch=0.5), exit_x=2.1, axis=axis)
    assert left == pytest.approx(0.4965283099502, rel=EXACT)


def test_jet_damping__constant_inertia():
    """exp(-mdot l^2 t/I), I 3 kg m^2."""
    assert rate_left(inertia=(0.01, 3.0, 3.0), motor=grain(2.0), exit_x=2.1) == pytest.approx(0.4463434006257, rel=EXACT)


def test_jet_damping__spin_rises():
    """(m/m0)^((r_e/r_b)^2 - 1): gas from 0.012 m takes less spin along than the grain at 0.035 m gives up."""
    left = rate_left(inertia=(10.0 * 0.035**2, 2.5, 2.5), motor=grain(2.0, roll=2.0 * 0.035**2), exit_radius=0.012 * math.sqrt(2.0), axis=0)
    assert left == pytest.approx(1.174555140115, rel=EXACT)


# ------------------------------------------------------------------ rail


def on_rail(*, elevation, friction, length=3.0):
    model = models.model(
        world=models.world(density=0.0),
        mass=models.mass(dry=10.0),
        thrust=models.thrust((0.0, 10.0), (500.0, 500.0)),
        rail=ct.Rail(elevation, 0.0, friction, length, length + 1.0, 1.8, 2.0),
        time_limit=1.0,
    )
    flown = Flown(model, models.draw(elevation=elevation))
    return np.linalg.norm(flown.events[Event.FORE_GUIDE_LEAVES, 4:7])


def test_rail__vertical_exit_speed():
    """v = sqrt(2 (T/m - g) L)."""
    assert on_rail(elevation=math.pi / 2, friction=0.0) == pytest.approx(15.52933031396, rel=1e-11)


def test_rail__inclined_with_friction():
    """Constant acceleration T/m - g (sin e + mu cos e), by Coulomb's law with the weight's part across the rail."""
    e, mu = math.radians(60.0), 0.1
    pull = 50.0 - models.G0 * (math.sin(e) + mu * math.cos(e))
    assert on_rail(elevation=e, friction=mu) == pytest.approx(math.sqrt(2.0 * pull * 3.0), rel=1e-11)


def test_rail__no_friction_without_load_across():
    assert on_rail(elevation=math.pi / 2, friction=0.3) == pytest.approx(15.52933031396, rel=1e-11)


# ------------------------------------------------------------------ canopy

AREA = 1.5 * math.pi * 0.6**2  # drag coefficient 1.5, diameter 1.2 m
TERMINAL = 6.869426437624  # sqrt(2 m g/(rho Cd A)), 5 kg


def canopied(world=None):
    return models.model(world=world or models.world(), mass=models.mass(dry=5.0), canopy=np.array([models.canopy(AREA)]), tumble_area=0.0)


def test_canopy__terminal_speed():
    row = fall(canopied(), models.draw(), height=500.0, speed=6.0, h=STEP, until=12.0)[-1]
    assert -row[V][2] == pytest.approx(TERMINAL, rel=1e-12)  # what is left of 0.9 m/s after 17 time constants of the square


@pytest.mark.parametrize(
    "t, speed, fallen", [(0.1, 19.12866718412, 2.36803961186), (0.5, 9.303402239633, 7.399993370415), (1.0, 7.384015155839, 11.44261928046)]
)
def test_canopy__slowing_down(t, speed, fallen):
    """v = vt coth(u0 + g t/vt), fallen = (vt^2/g) ln(sinh u/sinh u0), from 30 m/s."""
    row = fall(canopied(), models.draw(), height=100.0, speed=30.0, h=1e-4, until=t)[-1]
    assert -row[V][2] == pytest.approx(speed, rel=EXACT)
    assert 100.0 - row[R][2] == pytest.approx(fallen, rel=EXACT)


def test_canopy__isothermal_air():
    """t = (2H/vt)(1 - exp(-h/2H)), quasi-steady.

    Slowing down itself makes the vehicle faster by the share vt(h)^2/(4 g H): (vt/2g)(exp(h/2H) - 1) = 0.0214 s early.
    """
    scale = 8434.5
    z = np.arange(0.0, 1011.0)  # a metre a row: straight lines between rows err by 2e-9
    air = np.column_stack([1.225 * np.exp(-z / scale), *(np.full_like(z, c) for c in (101325.0, 340.0, 1.8e-5, models.G0))])
    world = models.world()._replace(air=np.ascontiguousarray(air), air_z0=0.0, air_per_metre=1.0)
    start = TERMINAL * math.exp(1000.0 / (2.0 * scale))
    row = fall(canopied(world), models.draw(), height=1000.0, speed=start, h=5e-3, until=141.3417780067)[-1]
    early = -row[R][2] / TERMINAL  # s
    expected = TERMINAL / (2.0 * models.G0) * (math.exp(1000.0 / (2.0 * scale)) - 1.0)
    assert early == pytest.approx(expected, abs=1e-4)  # s: the start at the quasi-steady speed costs 5e-5
    assert early < 0.01 * (145.5725611272 - 141.3417780067)  # constant density would be far off

"""Flow from ahead to behind: moments base first, fins trailing edge first, energy, and where a falling body settles.

Second statements: slender-body theory as the momentum of the cross flow in slabs of air, summed apart from the library; the
mirror image of a fin flown forwards; the balance of energy; trim and speed by L. H. Jorgensen (NASA TR R-474, 1977) in closed
form against the kernel's own fall.
"""

from __future__ import annotations

import math
from pathlib import Path

import models
import numpy as np
import pytest
import xarray as xr
from drivers import R, V, W, let_go, nose_of
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from tunnel import coefficients
from two_stages import on_booster

import sixdof
from sixdof.core.columns import AirColumn, FinColumn
from sixdof.flight.model import build_model
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Transition, Tube
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.vehicle.aero.body import backward_moments
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.geometry import shape_of

MISSION = sixdof.load_mission(Path(__file__).parents[2] / "configs" / "sampler.toml")
STACK = on_booster(MISSION, clocking=np.pi / 4)
VEHICLES = {name: (m, build_model(m)) for name, m in {"demo": MISSION, "stack": STACK}.items()}
CROSS = 0.828  # eta Cdc of the bodies of this file, at every cross-flow Mach number


def table_of(*parts):
    stage = Stage.model_construct(name="one", part=parts, roughness=2e-5)
    aero = aero_table(Mission.model_construct(motor={}, stage=(stage,)), [0])
    aero.cross[:] = CROSS
    return aero


def cone_cylinder(d=1.0):
    return Nose(mass=1.0, shape="cone", length=3.0 * d, diameter=d), Tube(mass=1.0, length=9.0 * d, diameter=d)


# ---------------------------------------------------------------- the body base first


@pytest.mark.parametrize(
    "stage",
    [
        cone_cylinder(),
        (
            Nose(mass=1.0, shape="tangent-ogive", length=0.3, diameter=0.08),
            Tube(mass=1.0, length=0.5, diameter=0.08),
            Transition(mass=1.0, length=0.1, fore_diameter=0.08, aft_diameter=0.12),
            Tube(mass=1.0, length=0.4, diameter=0.12),
        ),
        (
            Nose(mass=1.0, shape="cone", length=0.3, diameter=0.1),
            Tube(mass=1.0, length=0.6, diameter=0.1),
            Transition(mass=1.0, length=0.1, fore_diameter=0.1, aft_diameter=0.07),
        ),
        (Tube(mass=1.0, length=0.5, diameter=0.1),),
    ],
)
def test_backward__couple_about_the_tip_is_that_of_slabs_of_air(stage):
    """Sign and size. A slab of air at rest takes on the cross flow's momentum, rho S v a metre, where it meets the base, more
    where the section grows on its way to the nose, and gives it back where the section shrinks: force in the same places,
    normal to the axis, nose down behind the tip. Of the force, what would be given back has left with the flow.

    The sum over slabs converges as 1/n: 2e-4 at 10,000 slabs.
    """
    shape = shape_of([Stage.model_construct(name="one", part=stage)])
    edges = np.linspace(0.0, shape.length, 10001)
    sections = math.pi * shape.radius(0.5 * (edges[1:] + edges[:-1])) ** 2
    change = np.diff(np.r_[0.0, sections[::-1]])  # along the way of the air, from the base
    gained, moment = np.maximum(change, 0.0).sum(), -np.sum(change * edges[:0:-1])
    s0, s1, s2 = backward_moments(shape)
    assert s0 == pytest.approx(2.0 * gained / shape.area, rel=2e-4)
    assert -s1 == pytest.approx(2.0 * moment / shape.area, rel=2e-4)
    aero = table_of(*stage)
    aero.cross[:] = 0.0
    a = 0.02
    found = coefficients(aero, 0.3, math.pi - a, cg=0.0)
    per = math.sin(a) * math.cos(a) * math.cos(0.5 * a)
    assert -found[2] == pytest.approx(2.0 * gained / shape.area * per, rel=2e-4)
    assert found[4] * shape.diameter == pytest.approx(2.0 * moment / shape.area * per, rel=2e-4)


def test_backward__turns_the_base_away_from_the_flow():
    """About any place ahead of 0.8 of the length a cone-cylinder base first is turned nose first; about its base, not."""
    aero = table_of(*cone_cylinder())
    aero.cross[:] = 0.0
    for cg, sign in ((3.0, -1.0), (6.0, -1.0), (9.5, -1.0), (10.5, 1.0)):
        assert np.sign(coefficients(aero, 0.3, math.radians(160.0), cg=cg)[4]) == sign


# ---------------------------------------------------------------- fins trailing edge first


@pytest.mark.parametrize("mach", [0.3, 0.9, 1.1, 2.0])
@pytest.mark.parametrize("points", [[(0.0, 0.0), (0.05, 0.08), (0.11, 0.08), (0.12, 0.0)], [(0.0, 0.0), (0.09, 0.06), (0.13, 0.06), (0.1, 0.0)]])
def test_fins__backwards_are_their_mirror_image_forwards(mach, points):
    """The same panels, mirrored about station 1 m: the loads of flow from behind are those of flow from ahead, mirrored."""
    root = points[-1][0]
    mirrored = [(root - x, y) for x, y in reversed(points)]

    def fins_alone(outline, station):
        part = Fins(mass=0.1, count=4, station=station, thickness=0.003, outline="polygon", points=outline)
        aero = table_of(Tube(mass=1.0, length=2.0, diameter=0.1), part)
        aero.cross[:] = 0.0
        for column in (FinColumn.KB, FinColumn.DB):  # what goes over onto the body is taken at its size of forward flow
            aero.fin[:, :, column] = 0.0
        return aero._replace(body=np.zeros_like(aero.body))

    a = 0.05
    ahead = coefficients(fins_alone(mirrored, 2.0 - 0.7 - root), mach, a, cg=1.0)
    behind = coefficients(fins_alone(points, 0.7), mach, math.pi - a, cg=1.0)
    assert behind[2] == pytest.approx(ahead[2], rel=1e-9)
    assert behind[4] == pytest.approx(-ahead[4], rel=1e-9)


def test_fins__rectangle_backwards_acts_a_quarter_chord_from_its_trailing_edge():
    part = Fins(mass=0.1, count=4, station=1.5, root_chord=0.2, tip_chord=0.2, semispan=0.1, tip_offset=0.0, thickness=0.003)
    aero = table_of(Tube(mass=1.0, length=2.0, diameter=0.1), part)
    aero.cross[:] = 0.0
    found = coefficients(aero._replace(body=np.zeros_like(aero.body)), 0.3, math.pi - 1e-3, cg=0.0)
    assert found[4] / found[2] * 0.1 == pytest.approx(1.5 + 0.75 * 0.2, abs=1e-6)  # carry-over with it


# ---------------------------------------------------------------- through 90 degrees


@pytest.mark.parametrize("name", VEHICLES)
@pytest.mark.parametrize("mach", [0.1, 0.9])
def test_broadside__value_and_slope_are_continuous(name, mach):
    """Differences over 0.05 deg on both sides of broadside and of the ends of the take-over: no kink.

    A kink as sin 2a' has at 90 deg would change a difference by 4 of the body's own 4 per rad; second differences of the
    smooth curve are below 0.3 per rad.
    """
    mission, model = VEHICLES[name]
    step = math.radians(0.05)
    for degrees in (80.2, 90.0, 99.8):
        angles = math.radians(degrees) + step * np.arange(-2, 3)
        ds = wind_tunnel(mission, model=model, mach=mach, incidence=xr.DataArray(angles, dims="a"), roll=0.3)
        for force in ("C_X", "C_Y", "C_Z"):
            slope = np.diff(ds[force].values) / step
            assert np.abs(np.diff(slope)).max() < 0.3, (degrees, force)


# ---------------------------------------------------------------- energy


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(list(VEHICLES)),
    st.floats(0.05, 2.0),
    st.floats(0.0, math.pi),
    st.floats(-math.pi, math.pi),
    st.tuples(*[st.floats(-1.0, 1.0)] * 3),
    st.floats(-3.0, 0.0),
)
def test_air__takes_energy_from_every_motion(name, mach, incidence, roll, direction, size):
    """Fins straight, p d/2V up to 1: F . u + M . w <= 0, tumbling in any way, from any side."""
    mission, model = VEHICLES[name]
    rate = np.array(direction) * 10.0**size
    ds = wind_tunnel(mission, model=model, mach=mach, incidence=incidence, roll=roll, rate=tuple(rate))
    force, moment = (np.array([float(ds[c]) for c in names]) for names in (("C_X", "C_Y", "C_Z"), ("C_l", "C_m", "C_n")))
    across = math.sin(incidence)
    flow = np.array([math.cos(incidence), across * math.sin(roll), across * math.cos(roll)])
    assert force @ flow + 2.0 * moment @ rate <= 1e-9


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.02, 0.5), st.floats(0.02, 0.2)), min_size=1, max_size=5), st.floats(0.05, 0.4))
def test_backward__moments_of_any_shape_damp(tubes, nose):
    """S0 S2 >= S1^2: no turning motion about any place gets energy out of the force base first."""
    parts = [Nose(mass=1.0, length=nose, diameter=tubes[0][1], shape="cone")]
    for (length, d), (_, following) in zip(tubes, [*tubes[1:], tubes[-1]]):
        parts.append(Tube(mass=1.0, length=length, diameter=d))
        if following != d:
            parts.append(Transition(mass=1.0, length=0.05, fore_diameter=d, aft_diameter=following))
    s0, s1, s2 = backward_moments(shape_of([Stage.model_construct(name="one", part=tuple(parts))]))
    assert s0 * s2 >= s1**2 * (1.0 - 1e-12)


def falling(mass, cg, inertia, d):
    """Return a model of the cone-cylinder of diameter d with this mass (kg), centre (m) and pitch inertia (kg m^2)."""
    aero = table_of(*cone_cylinder(d))
    tensor = (0.02 * inertia, inertia, inertia, 0.0, 0.0, 0.0)
    return models.model(world=models.world(), aero=aero, mass=models.mass(dry=mass, cg=cg, inertia=tensor))


def energy(model, rows):
    """Return the mechanical energy of rows of `let_go`, J."""
    inertia = np.array([model.mass.ixx, model.mass.iyy, model.mass.izz])
    gravity = model.world.air[0, AirColumn.GRAVITY]
    return model.mass.dry * (0.5 * (rows[:, V] ** 2).sum(axis=1) + gravity * rows[:, R][:, 2]) + 0.5 * rows[:, W] ** 2 @ inertia


def test_tumbling__a_fall_in_still_air_loses_energy_all_the_time():
    model = falling(1.0, 0.7, 0.12, 0.1)
    start = [0.0, 0.0, 3000.0, 30.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 3.0, 25.0, 4.0]
    rows = let_go(model, models.draw(), start, h=2e-3, until=8.0, rows=800)
    left = energy(model, rows)
    assert (np.diff(left) < 0.0).all()
    assert left[-1] < left[0] - 1000.0  # J: what it weighs times a hundred metres


# ---------------------------------------------------------------- where a falling body settles


def trim_by_jorgensen(d, cg):
    """Return (incidence beyond 90 deg at which the moment about cg vanishes and a small turn is undone, normal force there)."""
    base, planform, volume = math.pi / 4.0, 10.5, 2.5 * math.pi  # of the cone-cylinder, in d
    x_m, x_c = cg / d, (1.5 * 2.0 + 9.0 * 7.5) / 10.5

    def normal(a):
        b = math.pi - a
        return math.sin(2.0 * b) * math.cos(0.5 * b), CROSS * planform / base * math.sin(a) ** 2

    def moment(a):
        potential, viscous = normal(a)
        return -(volume - base * x_m) / base * potential + viscous * (x_m - x_c)

    trim = brentq(moment, math.radians(100.0), math.radians(175.0))
    assert moment(trim - 0.01) > 0.0 > moment(trim + 0.01)
    return trim, sum(normal(trim))


def test_fall__settles_where_jorgensen_says():
    """A body without fins, its centre of mass behind its middle, let go tail first: incidence and speed of its glide.

    After a minute it glides steadily: air force and weight balance. 0.3 deg: the last of the swing.
    """
    d, cg, mass = 0.1, 0.74, 0.6
    model = falling(mass, cg, 0.05, d)
    trim, normal = trim_by_jorgensen(d, cg)
    half = 0.5 * math.radians(-70.0)  # nose up, leaning
    start = [0.0, 0.0, 3000.0, 0.0, 0.0, -10.0, math.cos(half), 0.0, math.sin(half), 0.0, 0.0, 0.0, 0.0]
    rows = let_go(model, models.draw(), start, h=2.5e-3, until=60.0, rows=600)[-50:]
    speed = np.linalg.norm(rows[:, V], axis=1)
    incidence = np.arccos(np.sum(nose_of(rows) * rows[:, V], axis=1) / speed)
    assert np.degrees(incidence.mean()) == pytest.approx(math.degrees(trim), abs=0.3)
    axial = coefficients(model.aero, speed.mean() / 340.0, trim, cg=cg)[0]
    density, gravity = model.world.air[0, [AirColumn.DENSITY, AirColumn.GRAVITY]]
    weight = 0.5 * density * model.aero.area * math.hypot(normal, axial)
    assert speed.mean() == pytest.approx(math.sqrt(mass * gravity / weight), rel=0.01)

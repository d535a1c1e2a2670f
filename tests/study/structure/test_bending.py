"""Section loads under inertia relief: beams in closed form, the kernel's own sums, a second statement of a drawn flight, walls."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from independent_loads import moments_ahead
from strangers import FILES, stranger

import sixdof
from sixdof.draws.packed import nominal_draw
from sixdof.study.structure.loads.bending import sections_of
from sixdof.study.structure.loads.bending_air import Along, Section, point_load
from sixdof.study.structure.loads.bending_beam import beam_of
from sixdof.study.structure.loads.bending_flights import asked_flights, each_one
from sixdof.study.structure.loads.bending_instants import Instants, aft_instants, free_rows, instants_of
from sixdof.study.structure.loads.bending_mass import Points, Spread, ahead_of
from sixdof.study.structure.loads.bending_sections import buckling_stress, walls_at
from sixdof.vehicle.geometry import shape_of

LENGTH, STATIONS = 2.0, np.linspace(0.0, 2.0, 41)


# ---------------------------------------------------------------- beams in closed form


def rod(masses, ends, pieces: int = 20000) -> Points:
    """Return rods of even density between stations as points."""
    mass, x = [], []
    for m, (a, b) in zip(masses, ends):
        mass.append(np.full(pieces, m / pieces))
        x.append(a + (b - a) * (np.arange(pieces) + 0.5) / pieces)
    x = np.concatenate(x)
    return Points(np.concatenate(mass), np.column_stack([x, 0.0 * x, 0.0 * x]), np.zeros((len(x), 3)))


def nothing(stations) -> Section:
    return Section(*(np.zeros((1, len(stations))) for _ in range(4)))


def free_beam(points: Points, loads: list[tuple[float, float]]):
    """Return the section loads of a free rod under forces along body y, (station, N), none along the axis."""
    mass, x = points.mass.sum(), points.place[:, 0]
    centre = points.mass @ x / mass
    inertia = points.mass @ (x - centre) ** 2
    total = sum(f for _, f in loads)
    about = sum(f * (centre - s) for s, f in loads)  # M_z = X F_y
    section = sum((point_load(STATIONS, np.array([s]), np.array([[0.0, f, 0.0]])) for s, f in loads), nothing(STATIONS))
    model = SimpleNamespace(thrust=SimpleNamespace(exit_x=LENGTH), mass=SimpleNamespace(grain=np.zeros((0, 8))))
    still = {name: np.zeros((1, 3)) for name in Instants._fields} | {name: np.zeros(1) for name in ("row", "density", "sound", "unburnt", "flow")}
    moving = {"turning": np.array([[0.0, 0.0, about / inertia]]), "force": np.array([[0.0, total / mass, 0.0]])}
    which = {"model": model, "draw": SimpleNamespace(offset_y=0.0, offset_z=0.0), "first": 0, "last": 0}
    at = Instants(**(still | moving | which | {"mass": np.array([mass]), "cg": np.array([centre])}))
    empty = ahead_of(Points(np.zeros(1), np.zeros((1, 3)), np.zeros((1, 3))), STATIONS)
    spread = Spread(ahead_of(points, STATIONS), empty, np.zeros(2))
    air = Along(section, np.array([[0.0, total, 0.0, 0.0, 0.0, about]]), np.zeros((1, 0)))
    return beam_of(at, air, np.ones((1, len(STATIONS))), spread, STATIONS, LENGTH)


def test_beam__free_rod_under_a_force_at_its_end():
    beam = free_beam(rod([3.0], [(0.0, LENGTH)]), [(0.0, 10.0)])
    x = STATIONS
    # d'Alembert on a uniform rod pushed at one end: inertia F/L (4 - 6 x/L), so M = F x (1 - x/L)^2 and V = F (1 - 4 x/L + 3 (x/L)^2)
    assert beam.moment_z[0] == pytest.approx(10.0 * x * (1.0 - x / LENGTH) ** 2, abs=2e-3)  # the rod is 20000 points
    assert beam.shear_y[0, 1:] == pytest.approx(10.0 * (1.0 - 4.0 * x / LENGTH + 3.0 * (x / LENGTH) ** 2)[1:], abs=2e-3)
    assert beam.moment_z.max() == pytest.approx(4.0 / 27.0 * 10.0 * LENGTH, rel=2e-3)  # at x = L/3


def test_beam__free_rod_under_a_spread_load():
    # q = q0 (1 - x/L)^2 on a uniform rod: M = q0 x^2 (1 - x/L)^2/12
    edges = np.linspace(0.0, LENGTH, 2001)
    middle = 0.5 * (edges[1:] + edges[:-1])
    loads = list(zip(middle, 6.0 * (1.0 - middle / LENGTH) ** 2 * np.diff(edges)))
    beam = free_beam(rod([1.7], [(0.0, LENGTH)]), loads)
    assert beam.moment_z[0] == pytest.approx(6.0 * STATIONS**2 * (1.0 - STATIONS / LENGTH) ** 2 / 12.0, abs=1e-3)


def test_beam__two_rods_and_the_joint_between_them():
    """Rods of 2 kg and 1 kg over 0.5 m and 1.5 m: the joint's moment from the fore rod alone, as a rigid body with its own centre and inertia."""
    (m1, l1), (m2, l2), force = (2.0, 0.5), (1.0, 1.5), 8.0
    beam = free_beam(rod([m1, m2], [(0.0, l1), (l1, LENGTH)]), [(0.0, force)])
    centre = (m1 * 0.5 * l1 + m2 * (l1 + 0.5 * l2)) / (m1 + m2)
    inertia = m1 * (l1**2 / 12.0 + (centre - 0.5 * l1) ** 2) + m2 * (l2**2 / 12.0 + (l1 + 0.5 * l2 - centre) ** 2)
    turn, across = force * centre / inertia, force / (m1 + m2)
    own = across + turn * (centre - 0.5 * l1)
    expected = force * l1 - m1 * own * 0.5 * l1 - m1 * l1**2 / 12.0 * turn
    assert beam.moment_z[0, np.searchsorted(STATIONS, l1)] == pytest.approx(expected, rel=1e-3)
    assert expected > 0.5


# ---------------------------------------------------------------- the kernel's own sums


def each_section(mission, numbers=1, seed=4):
    """Return [(beam, air, instants, one)] of every configuration of drawn flights."""
    found = []

    def look(one):
        for at in instants_of(one.track, free_rows(one.track.log)[::3]):
            stations = np.linspace(0.0, one.plan.shape(0, at.last).length, 31)
            found.append((*sections_of(one, at, stations), at, one))

    each_one(asked_flights("test", mission, numbers, seed, 0), look)
    return found


@pytest.mark.parametrize("name", ["demo", "stack demo", *FILES])
def test_loads__add_up_to_the_kernels_own_and_nothing_is_left_at_the_aft_end(name, demo_mission, stack_mission):
    """Air along the body: the tunnel's force and moment. With the motor's: mass times the specific force that the flight logged, and what turns it."""
    mission = {"demo": demo_mission, "stack demo": stack_mission}.get(name) or stranger(name)
    found = each_section(mission)
    assert len(found) == len(mission.stage)  # every stack that flew, down to the front stage
    for beam, air, spread, at, one in found:
        whole, arm = air.load, one.plan.shape(0, at.last).length - at.cg
        last = [part[:, -1] for part in air.section]
        size, turn = np.abs(whole[:, 1:3]).max(), np.abs(whole[:, 4:]).max() + np.abs(whole[:, 1:3]).max() * 0.1
        assert np.abs(last[0] - whole[:, 1]).max() < 1e-7 * size and np.abs(last[1] - whole[:, 2]).max() < 1e-7 * size
        assert np.abs(last[2] + arm * whole[:, 2] - whole[:, 4]).max() < 1e-5 * turn
        assert np.abs(last[3] - arm * whole[:, 1] - whole[:, 5]).max() < 1e-5 * turn
        held = at.mass[:, None] * at.force
        assert np.abs(held - whole[:, :3] - at.push)[:, 1:].max() < 1e-6 * size  # along the axis viscosity and pressure by other laws leave a little
        assert np.abs((held - whole[:, :3] - at.push)[:, 0]).max() < 1e-5 * np.abs(held).max()
        assert beam.shear[:, -1].max() < 1e-6 * size
        assert beam.moment[:, -1].max() < 2e-3 * beam.moment.max()  # gyroscopic terms of jet damping and of the grains in roll
        mass = spread.dry.m[-1] + at.unburnt * spread.grain.m[-1]
        assert mass == pytest.approx(at.mass, rel=1e-12)
        assert (spread.dry.x[-1] + at.unburnt * spread.grain.x[-1]) / mass == pytest.approx(at.cg, abs=1e-7)


@pytest.mark.parametrize("name", ["stack demo", "stack"])
def test_loads__of_stages_left_behind_add_up_as_well(name, stack_mission):
    """Boosters that fly on by themselves, tumbling or not, until their canopies are out."""
    mission = stack_mission if name == "stack demo" else stranger(name)

    def look(one):
        found = []
        for stage in range(1, one.plan.count):
            at = aft_instants(one.plan, one.draw, one.flown, stage)
            length = one.plan.shape(stage, stage).length
            found.append((at, length, sections_of(one, at, np.linspace(0.0, length, 21))))
        return found

    (found,) = each_one(asked_flights("test", mission, 1, 4, 0), look)
    assert len(found) == len(mission.stage) - 1
    for at, length, (beam, air, spread) in found:
        held = at.mass[:, None] * at.force
        size = np.abs(air.load[:, :3]).max()
        assert np.abs(held - air.load[:, :3] - at.push).max() < 1e-5 * size
        assert beam.shear[:, -1].max() < 1e-5 * size and beam.moment[:, -1].max() < 2e-3 * beam.moment.max()
        assert spread.dry.m[-1] + at.unburnt * spread.grain.m[-1] == pytest.approx(at.mass, rel=1e-12)
        assert (beam.moment[:, -1] < 1e-3 * size * length).all()


def test_loads__of_a_dead_fin_and_of_a_stuck_one(demo_mission):
    """A fin that floats carries nothing and sheds no vortex: the sums stay those that the flight logged."""
    failures = [{"kind": "dead", "fin": 2, "time": "2.5 s"}, {"kind": "stuck", "fin": 3, "time": "3 s"}]
    mission = demo_mission.change({"servo.failure": failures})
    ((beam, air, _, at, _),) = each_section(mission)
    dead = at.carried[:, 1] == 0.0
    assert dead.any() and not dead.all()
    assert (np.abs(at.mass[:, None] * at.force - air.load[:, :3] - at.push)[:, 1:] < 1e-6 * np.abs(air.load[:, 1:3]).max()).all()
    assert beam.moment[:, -1].max() < 1e-3 * beam.moment.max()


def test_moment__is_that_of_a_second_statement(demo_mission):
    """Ahead of fins and motor: rods by hand, the air's nose and cross flow, rates differenced from the log of a flight in calm air as written."""
    mission = demo_mission.change({"air.wind.speed": "6 m/s", "record.rate": "100 Hz"})
    station = 0.55
    time, moment = moments_ahead(mission, sixdof.fly(mission), station)
    draw = nominal_draw(mission)
    asked = asked_flights("test", mission, 1, 0, 0)._replace(rows=[(0, False, draw)])

    def look(one):
        (at,) = instants_of(one.track, free_rows(one.track.log))
        beam, _, _ = sections_of(one, at, np.array([0.0, station, one.plan.shape(0, 0).length]))
        return one.track.log[at.row, 0], np.column_stack([beam.moment_y[:, 1], beam.moment_z[:, 1]])

    ((own_time, own),) = each_one(asked, look)
    both = np.isin(np.round(time, 4), np.round(own_time, 4)) & (time < own_time[-1])
    ours = own[np.searchsorted(own_time, time[both] - 1e-6)]
    biggest = np.linalg.norm(ours, axis=1).max()
    miss = np.linalg.norm(ours - moment[both], axis=1)
    # differences of rates smear corners of 10 ms; at the largest moments, held for longer, the two agree
    assert np.median(miss) < 0.01 * biggest
    peak = np.linalg.norm(ours, axis=1) > 0.8 * biggest
    assert np.median(miss[peak]) < 0.02 * biggest and peak.sum() > 3


# ---------------------------------------------------------------- walls


def test_walls__thin_tube_and_its_buckling():
    radius, wall = 0.05, 0.0005
    bent, pressed = buckling_stress(radius, wall, 10e9)
    # r/t = 100: phi = 10/16, 1 - exp(-phi) = 0.46474; E t/(r sqrt(3 (1 - 0.09))) = 60.523 MPa
    assert float(bent) == pytest.approx((1.0 - 0.731 * 0.46474) * 60.523e6, rel=1e-4)
    assert float(pressed) == pytest.approx((1.0 - 0.901 * 0.46474) * 60.523e6, rel=1e-4)


def test_walls__modulus_of_a_thin_tube(demo_mission):
    shape = shape_of(demo_mission.stage)
    walls = walls_at(demo_mission, shape, [0.6])
    radius, wall = 0.0375, 0.0012
    assert float(walls.modulus[0]) == pytest.approx(math.pi * (radius - 0.5 * wall) ** 2 * wall, rel=0.02)  # pi r^2 t
    assert float(walls.area[0]) == pytest.approx(2.0 * math.pi * (radius - 0.5 * wall) * wall, rel=1e-9)
    assert float(walls.strength[0]) == 220e6


# ---------------------------------------------------------------- the study


@pytest.fixture(scope="module")
def bent(stack_mission):
    return sixdof.workshop.bending(stack_mission, 2)


def test_bending__of_the_stack_and_after_separation(bent):
    assert bent["configuration"].values.tolist() == ["whinchat + drayhorse", "whinchat", "drayhorse"]
    bent = bent.isel(configuration=slice(2))
    stack, alone = bent.isel(configuration=0), bent.isel(configuration=1)
    assert (stack["moment_time"] < alone["moment_time"]).where(np.isfinite(alone["moment_time"]), True).all()
    assert float(stack["station"][-1]) > float(alone["station"][-1])
    assert bent["moment_source"].sum("source").values[:2] == pytest.approx(np.ones((2, 2)), abs=1e-9)
    assert float(alone["moment_source"].sel(source="the rest")[:2].max()) < 0.01  # air and fins make it
    assert (bent["bending_moment"].max("point") <= bent["moment_max"] + 1e-9).where(np.isfinite(bent["moment_max"]), True).all()


def test_bending__branches_stand_behind_the_drawn_flights(bent, stack_mission):
    forced = bent["forced"].values == 1
    assert forced.sum() == 2 * len(stack_mission.failure) and not forced[:2].any()
    stays = bent["branch"].values == "no_separation: drayhorse"
    assert np.isnan(bent["moment_max"].values[stays, 1:]).all() and np.isfinite(bent["moment_max"].values[stays, 0]).all()


def test_bending__joint_is_told_what_it_should_carry(bent, stack_mission):
    drawn = bent["joint_moment"].values[:2]
    assert bent["joint_required"].values == pytest.approx(1.5 * drawn.max(axis=0))  # of two flights 95 % are both: an order statistic
    strong = stack_mission.change({"stage.1.joint.bending_strength": "20 N*m", "harness.drogue.bending_strength": "12 N*m"})
    found = sixdof.workshop.bending(strong, 2, failing=0, progress=False)
    assert found["joint_share"].sel(joint="joint of drayhorse").values == pytest.approx(found["joint_moment"].sel(joint="joint of drayhorse").values / 20.0)
    assert found["joint_moment"].values == pytest.approx(drawn[:2])  # the keys fly nothing


def test_bending__of_an_ensemble_is_that_of_its_own_flights(demo_mission):
    flights = sixdof.disperse(demo_mission, 3, seed=9, progress=False)
    again = sixdof.workshop.bending(demo_mission, 3, seed=9)
    assert sixdof.workshop.bending(flights)["moment_max"].values == pytest.approx(again["moment_max"].values, rel=1e-12)


def test_bending__refuses(demo_mission):
    with pytest.raises(ValueError, match="flights = 0 must be a whole number of 1 or more"):
        sixdof.workshop.bending(demo_mission, 0)
    with pytest.raises(ValueError, match="none of 1 flights leaves the rail"):
        sixdof.workshop.bending(demo_mission.change({"stage.0.part.0.mass": "90 kg"}), 1)
    with pytest.raises(ValueError, match="bending takes an ensemble"):
        sixdof.workshop.bending(sixdof.fly(demo_mission))


def test_history__is_of_the_fastest_drawn_flight(bent):
    fastest = int(bent["fastest"])
    assert fastest == int(np.argmax(bent["airspeed_max"].values[:2]))
    assert float(bent["history_moment"].max()) == pytest.approx(float(bent["moment_max"][fastest, :2].max()))
    assert (np.diff(bent["history_time"].values) > 0.0).all()

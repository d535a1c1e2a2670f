"""Separation, ignition and what follows, against conservation laws and closed forms."""

from __future__ import annotations

import math

import dividing_by_hand
import models
import numpy as np
import pytest
import staged
from dividing_by_hand import flown_gap, matrix
from hypothesis import given, settings
from hypothesis import strategies as st
from masses import mass_now
from scipy.spatial.transform import Rotation

from sixdof.core.algebra import matrix_of
from sixdof.core.columns import HANDOVER_COLUMNS, GrainColumn, Handover
from sixdof.core.layout import NOT_IGNITED, Event, Log
from sixdof.core.types import Vec3
from sixdof.core.whole.gap import segment_distance
from sixdof.core.whole.stack import Bend, shift_y, shift_z, turn_of
from sixdof.draws.flight_draw import OF_JOINT, OF_STAGE
from sixdof.draws.packed import nominal_draw
from sixdof.flight.plan import Plan
from sixdof.flight.separation import divide
from sixdof.results.facts import BODY_FACTS, JOINT_FACTS
from sixdof.results.names import event_names
from sixdof.vehicle.mass import mass_at

ROUNDING = 1e-12  # a handful of float64 operations
G0 = 9.80665


@pytest.fixture(scope="module")
def stack(demo_mission):
    return staged.stack(demo_mission)


# ------------------------------------------------------------------ momentum and energy across a joint


def handed(rng, lit=0.0, t=30.0):
    """A stack somewhere in flight, turning, its booster burnt out at t = 30 s."""
    hand = np.zeros(HANDOVER_COLUMNS)
    hand[Handover.TIME], hand[Handover.IGNITED] = t, lit
    hand[Handover.POSITION : Handover.POSITION + 3] = rng.uniform(-100.0, 800.0, 3)
    hand[Handover.VELOCITY : Handover.VELOCITY + 3] = rng.uniform(-100.0, 200.0, 3)
    q = rng.normal(size=4)
    hand[Handover.ATTITUDE : Handover.ATTITUDE + 4] = q / np.linalg.norm(q)
    hand[Handover.RATE : Handover.RATE + 3] = rng.uniform(-3.0, 3.0, 3)
    return hand


def body_of(model, unburnt):
    mass, _, inertia = mass_at(model.mass, unburnt)
    return mass, inertia


def momenta(hand, mass, inertia, earth):
    """Linear momentum, angular momentum about the world's origin and kinetic energy in a frame momentarily without rotation.

    The rate w is against inertial space, the velocity over the turning ground: v + W x r is the inertial one.
    """
    turn = matrix(hand[Handover.ATTITUDE : Handover.ATTITUDE + 4])
    r, w = hand[Handover.POSITION : Handover.POSITION + 3], turn @ hand[Handover.RATE : Handover.RATE + 3]
    v = hand[Handover.VELOCITY : Handover.VELOCITY + 3] + np.cross(earth, r)
    spin = turn @ inertia @ turn.T @ w
    return mass * v, np.cross(r, mass * v) + spin, 0.5 * mass * v @ v + 0.5 * w @ spin


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("impulse", [0.0, 4.0])
def test_separation__keeps_momentum_and_adds_the_work_of_the_impulse(stack, seed, impulse):
    plan, rng = Plan(stack), np.random.default_rng(seed)
    draw = nominal_draw(stack)
    draw.stage[:, OF_STAGE.index("mass")] = rng.uniform(0.9, 1.1, 2)
    draw.stage[:, OF_STAGE.index("cg_x")] = rng.uniform(-0.02, 0.02, 2)
    draw.stage[:, OF_STAGE.index("cg_y")] = rng.uniform(-0.003, 0.003, 2)
    legs = [plan.segment(*key, draw) for key in ((0, 1), (0, 0), (1, 1))]
    hand = handed(rng)
    halves = divide(hand, *legs, impulse, (0.0, 0.0))
    earth = np.array(legs[0][0].world.earth_rate)

    stage_draws = [draw.stage[k] for k in (0, 1)]
    whole = momenta(hand, *body_of(legs[0][0], 0.0), earth)
    pieces = []
    for given_, (model, _), own, unburnt in zip((halves.fore, halves.aft), legs[1:], stage_draws, (1.0, 0.0)):
        # a single stage's draw of mass is applied by the kernel: here by hand
        mass, inertia = own[OF_STAGE.index("mass")], own[OF_STAGE.index("inertia")]
        table = model.mass._replace(
            dry=model.mass.dry * mass,
            cg_x=model.mass.cg_x + own[OF_STAGE.index("cg_x")],
            cg_y=model.mass.cg_y + own[OF_STAGE.index("cg_y")],
            **{k: getattr(model.mass, k) * mass * inertia for k in ("ixx", "iyy", "izz", "ixy", "ixz", "iyz")},
        )
        pieces.append(momenta(given_, *body_of(model._replace(mass=table), unburnt), earth))
    for i in range(2):
        scale = np.abs(whole[i]).max()
        np.testing.assert_allclose(pieces[0][i] + pieces[1][i], whole[i], rtol=0, atol=1e-11 * scale)
    # an impulse's work is itself times the mean of the speeds, before and after, at which the bodies draw apart where it acts
    speeds = [_apart_on_the_axis(divide(hand, *legs, j, (0.0, 0.0)), legs) for j in (0.0, impulse)]
    work = impulse * 0.5 * sum(speeds)
    assert pieces[0][2] + pieces[1][2] - whole[2] == pytest.approx(work, abs=1e-11 * whole[2])
    m0, m1 = mass_now(*legs[1], 30.0, NOT_IGNITED)[0], mass_now(*legs[2], 30.0, 0.0)[0]
    assert speeds[1] - speeds[0] == pytest.approx(impulse * (1.0 / m0 + 1.0 / m1), rel=0.02)  # centres nearly on the axis


def _apart_on_the_axis(halves, legs):
    """Relative speed along the stack's axis of the points on it that the impulse acts on."""
    along = []
    for hand, (model, draw), lit in ((halves.fore, legs[1], NOT_IGNITED), (halves.aft, legs[2], 0.0)):
        turn = matrix(hand[Handover.ATTITUDE : Handover.ATTITUDE + 4])
        _, _, y, z = mass_now(model, draw, 30.0, lit)[:4]
        rate = hand[Handover.RATE : Handover.RATE + 3] - turn.T @ np.array(model.world.earth_rate)
        along.append((turn.T @ hand[Handover.VELOCITY : Handover.VELOCITY + 3] + np.cross(rate, [0.0, -y, -z]))[0])
    return along[0] - along[1]


def test_stack__is_its_stages_at_every_moment(stack):
    """What falls apart weighs what held together: mass and centre, with every stage's own draw and a tilted joint."""
    plan = Plan(stack)
    draw = nominal_draw(stack)
    draw.stage[:, OF_STAGE.index("mass")] = 1.07, 0.94
    draw.stage[:, OF_STAGE.index("cg_x")] = 0.01, -0.02
    draw.joint[1, OF_JOINT.index("tilt_y")] = 0.01
    whole, fore, aft = (plan.segment(*key, draw) for key in ((0, 1), (0, 0), (1, 1)))
    start = plan.shape(0, 1).stage_x0[1]
    for t in (0.0, 0.4, 1.1, 30.0):
        m, x, y, z = mass_now(*whole, t, 0.0)[:4]
        m0, x0, y0, z0 = mass_now(*fore, t, NOT_IGNITED)[:4]
        m1, x1, y1, z1 = mass_now(*aft, t, 0.0)[:4]
        assert m == pytest.approx(m0 + m1, rel=ROUNDING)
        assert m * x == pytest.approx(m0 * x0 + m1 * (x1 + start), rel=ROUNDING)
        # a turn of the booster about y by a moves what lies s behind the joint by + s a along z
        assert m * z == pytest.approx(m0 * z0 + m1 * (z1 + 0.01 * x1), rel=1e-9, abs=1e-12)
        assert m * y == pytest.approx(m0 * y0 + m1 * y1, abs=1e-12)


def test_tilted_joint__turns_thrust_fins_and_the_parted_booster(stack):
    plan, draw = Plan(stack), nominal_draw(stack)
    draw.joint[1, OF_JOINT.index("tilt_z")] = 0.02
    model, kernel_draw = plan.segment(0, 1, draw)
    plain, _ = plan.segment(0, 1, nominal_draw(stack))
    assert kernel_draw.tilt_z == 0.02 and kernel_draw.tilt_y == 0.0
    lever = model.thrust.exit_x - plan.shape(0, 1).stage_x0[1]
    assert kernel_draw.offset_y == pytest.approx(-0.02 * lever)
    cant = model.aero.panel[:, 5] - plain.aero.panel[:, 5]
    sustainer = cant[: len(plan.model(0, 0).aero.panel)]
    assert not sustainer.any() and np.abs(cant).max() == pytest.approx(0.02 * math.cos(0.785 % (math.pi / 2)), rel=1e-3)
    hand = handed(np.random.default_rng(1))
    halves = divide(hand, (model, kernel_draw), plan.segment(0, 0, draw), plan.segment(1, 1, draw), 0.0, (0.0, 0.02))
    nose, tail = (matrix(h[Handover.ATTITUDE : Handover.ATTITUDE + 4])[:, 0] for h in (halves.fore, halves.aft))
    assert math.acos(nose @ tail) == pytest.approx(0.02, rel=1e-9)
    assert (tail - nose) @ matrix(hand[Handover.ATTITUDE : Handover.ATTITUDE + 4])[:, 1] == pytest.approx(0.02, rel=1e-4)  # towards +y


def test_turn__is_the_rotation_by_its_vector():
    turn = np.array(matrix_of(turn_of(0.3, -0.2))).reshape(3, 3)
    np.testing.assert_allclose(turn, dividing_by_hand.turning(0.3, -0.2), atol=ROUNDING)
    np.testing.assert_allclose(turn, Rotation.from_rotvec([0.0, 0.3, -0.2]).as_matrix(), atol=ROUNDING)
    bend = Bend(0.1, 0.0, 0.05, 0.0)
    assert (shift_y(bend, 0.5), shift_z(bend, 0.5)) == (0.0, 0.0)  # at the joint itself


# ------------------------------------------------------------------ two stages in a vacuum: the rocket equation


def in_vacuum(key, model):
    """Next to no air (none at all has no unit Reynolds number), no weight, no turning Earth."""
    return models.world(density=1e-12, gravity=0.0)


def test_two_stages__ideal_delta_v(stack):
    """Tsiolkovsky's equation for both burns: the gas leaves at impulse over propellant mass throughout."""
    mission = stack.change({"rail.friction": 0.0, "stage.booster.joint.impulse": 0.0, "solver.time_limit": 12.0})
    plan = Plan(mission)
    free = {"world": in_vacuum, "thrust": lambda key, model: model.thrust._replace(exit_area=0.0)}
    flown = staged.flown(mission, **free)
    speed = {}
    names = event_names(mission)
    for name in ("burnout", "burnout thistledown"):
        row = flown.events[0, names.index(name)]
        speed[name] = math.hypot(*row[4:7])
    expected = 0.0
    for key, name in (((0, 1), "burnout"), ((0, 0), "burnout thistledown")):
        model = plan.model(*key)
        full, empty = (mass_at(model.mass, f)[0] for f in (1.0, 0.0))
        expected += model.thrust.total_impulse / model.mass.grain[:, GrainColumn.MASS].sum() * math.log(full / empty)
        # thrust is straight lines over steps of RK4: the integral of thrust/mass is exact to the fourth order
        assert speed[name] == pytest.approx(expected, rel=1e-7)
    after = flown.events[0, names.index("separation booster")]
    assert math.hypot(*after[4:7]) == pytest.approx(speed["burnout"], rel=1e-9)  # coasting


# ------------------------------------------------------------------ bodies after separation


def test_coast__of_the_parted_bodies_follows_the_closed_form(stack):
    """Straight up with drag alone: h = vt^2/(2 g) ln(1 + v^2/vt^2), vt^2 = 2 m g/(rho CA S), for both bodies."""
    mission = staged.coasting(stack)
    area, rho = math.pi * 0.1**2 / 4.0, 1.225
    coefficients = {(0, 1): 0.3, (0, 0): 0.5, (1, 1): 0.9}
    flown = staged.flown(
        mission, world=lambda *_: models.world(density=rho), aero=staged.fixed_axial(lambda key, model: coefficients[key] * area / model.aero.area)
    )
    names = event_names(mission)
    for body, key in ((0, (0, 0)), (1, (1, 1))):
        start = flown.events[body, names.index("separation booster")]
        joint = dict(zip(JOINT_FACTS, flown.joint[0]))
        top = flown.events[body, names.index("apogee")]
        mass = flown.body[body, 5]
        terminal2 = 2.0 * mass * G0 / (rho * coefficients[key] * area)
        # at the separation each body gets its share of the impulse
        push = 3.0 / mass * (1.0 if body == 0 else -1.0)
        v = start[6] + push
        assert joint["separation_cause"] == 1.0
        trace = top[3] - start[3]
        centre = _centre_offset(mission, body)
        assert trace - centre == pytest.approx(terminal2 / (2.0 * G0) * math.log1p(v**2 / terminal2), abs=2e-3)


def _centre_offset(mission, body):
    """How far the body's centre lies above that of the stack as they part, vertically."""
    plan = Plan(mission)
    draw = nominal_draw(mission)
    t = 30.0
    x = mass_now(*plan.segment(0, 1, draw), t, 0.0)[1]
    lit, key = ((NOT_IGNITED, (0, 0)), (0.0, (1, 1)))[body]
    own = mass_now(*plan.segment(*key, draw), t, lit)[1]
    return x - own - (plan.shape(0, 1).stage_x0[1] if body else 0.0)


@settings(max_examples=8, deadline=None)
@given(ballistic=st.floats(0.002, 0.02), mass=st.floats(0.7, 1.4))
def test_bodies__of_equal_ballistic_coefficient_stay_together(demo_mission, ballistic, mass):
    """Without an impulse, CA S/m alike for both: drag slows them alike and no gap opens."""
    mission = staged.coasting(staged.stack(demo_mission, joint={"impulse": 0.0}))
    draw = staged.drawn(mission, stage=[(1, OF_STAGE.index("mass"), mass)])
    plan = Plan(mission)
    weights = {key: mass_now(*plan.segment(*key, draw), 30.0, 0.0 if key[1] else NOT_IGNITED)[0] for key in ((0, 0), (1, 1), (0, 1))}
    flown = staged.flown(mission, draw, world=lambda *_: models.world(), aero=staged.fixed_axial(lambda key, model: ballistic * weights[key] / model.aero.area))
    gap = flown.gaps[0][:, 1]
    # 5 s at some 100 m/s: rounding of positions, and RK4's error, which both bodies share
    assert len(gap) > 100 and np.abs(gap).max() < 1e-7
    assert flown.joint[0, JOINT_FACTS.index("recontact")] == 0.0


def test_bodies__of_unequal_ballistic_coefficient_part_or_collide(demo_mission):
    mission = staged.coasting(staged.stack(demo_mission, joint={"impulse": 0.0}))
    for ratio, met in ((4.0, 0.0), (0.25, 1.0)):
        light = {(0, 1): 0.5, (0, 0): 0.5, (1, 1): 0.5 * ratio}
        flown = staged.flown(mission, world=lambda *_: models.world(), aero=staged.fixed_axial(lambda key, model: light[key]))
        assert flown.joint[0, JOINT_FACTS.index("recontact")] == met


def test_joint__parts_by_drag_when_it_holds_no_tension(demo_mission):
    """The booster, dragged more for its mass, comes off by itself as soon as the thrust no longer pushes; nothing commands it."""
    rules = [{"name": "late", "when": "burnout", "delay": 9.0, "action": "separate"}, staged.NEVER_LIT]
    held = staged.flown(staged.stack(demo_mission, rules=rules))
    slipped = staged.flown(staged.stack(demo_mission, rules=rules, joint={"retention_force": 0.0, "impulse": 0.0}))
    facts = dict(zip(JOINT_FACTS, slipped.joint[0]))
    assert facts["separation_cause"] == 2.0 and facts["separation_time"] == facts["drag_separation_time"]
    assert dict(zip(JOINT_FACTS, held.joint[0]))["drag_separation_time"] == pytest.approx(facts["drag_separation_time"], abs=1e-9)
    burnout = slipped.events[1, Event.BURNOUT, 0]  # the booster burns the rest of its tail alone
    assert abs(facts["separation_time"] - burnout) < 0.2  # in the tail of the thrust curve or just after


def test_joint_force__is_newtons_second_law_of_the_fore_stages(demo_mission):
    """Coasting straight up in air of one density: the joint pushes the fore stages by D_f - m_f D/m, D the stack's whole drag."""
    mission = staged.coasting(staged.stack(demo_mission))
    plan = Plan(mission)
    fore = plan.model(0, 1).leg.fore_mass
    total, own = 0.8, 0.15

    def leg(key, model):
        return model.leg._replace(fore_axial=np.full_like(model.leg.fore_axial, own))

    flown = staged.flown(mission, world=lambda *_: models.world(), aero=staged.fixed_axial(lambda key, model: total), leg=leg)
    log = flown.logs[0]
    burnt, separated = flown.events[0, Event.BURNOUT, 0], flown.joint[0, 0]
    rows = log[(log[:, Log.TIME] > burnt + 0.05) & (log[:, Log.TIME] < separated - 0.01)]
    pressure, mass = rows[:, Log.DYNAMIC_PRESSURE], rows[:, Log.MASS]
    area = plan.model(0, 1).aero.area
    assert len(rows) > 10
    np.testing.assert_allclose(rows[:, Log.JOINT_FORCE], pressure * area * (own - total * fore / mass), rtol=1e-9)
    # the booster has most of the drag and not most of the mass: it is pulled off
    assert (rows[:, Log.JOINT_FORCE] < 0.0).all()


def test_upper_motor__parts_the_stack_that_nobody_parted(demo_mission):
    rules = [{"name": "light", "when": "burnout", "delay": 0.4, "action": "ignite", "target": "thistledown"}]
    flown = staged.flown(staged.stack(demo_mission, rules=rules))
    facts = dict(zip(JOINT_FACTS, flown.joint[0]))
    assert facts["separation_cause"] == 3.0
    lit = flown.events[0, event_names(staged.stack(demo_mission, rules=rules)).index("ignition thistledown"), 0]
    assert lit == facts["separation_time"]


# ------------------------------------------------------------------ the gap


def test_segment_distance__against_a_dense_search():
    rng = np.random.default_rng(3)
    p0, p1, q0, q1 = rng.normal(size=(4, 40, 3))
    s = np.linspace(0.0, 1.0, 201)
    a = p0[:, None] + s[:, None] * (p1 - p0)[:, None]
    b = q0[:, None] + s[:, None] * (q1 - q0)[:, None]
    dense = np.linalg.norm(a[:, :, None] - b[:, None], axis=-1).min(axis=(1, 2))
    found = np.array([segment_distance(*(Vec3(*map(float, end[i])) for end in (p0, p1, q0, q1))) for i in range(40)])
    np.testing.assert_allclose(found, dense, atol=0.02)  # half a step of the search
    assert (found <= dense + 1e-12).all()


def traces(separation, aside):
    """Two bodies of 1 m straight up one above the other, drawing apart and moving aside as given (n,)."""
    n = len(separation)
    ahead, behind = np.zeros((n, 7)), np.zeros((n, 7))
    ahead[:, 0] = behind[:, 0] = np.arange(n) * 0.01
    ahead[:, 3], ahead[:, 6] = 2.0, 1.0
    behind[:, 3], behind[:, 6] = 1.0 - separation, -separation
    behind[:, 1] = behind[:, 4] = aside
    return ahead, behind


def test_gap__a_body_that_catches_up_is_flagged_and_one_that_passes_aside_is_not():
    back = np.concatenate([np.linspace(0.0, 0.3, 30), np.linspace(0.3, -0.5, 30)])
    straight = flown_gap(*traces(back, np.zeros(60)), 0.1)
    assert straight.recontact == 1.0 and straight.least < 0.0
    passing = flown_gap(*traces(back, np.linspace(0.0, 1.0, 60)), 0.1)
    assert passing.recontact == 0.0 and passing.least > 0.0
    apart = flown_gap(*traces(np.linspace(0.0, 2.0, 60), np.zeros(60)), 0.1)
    assert apart.recontact == 0.0 and apart.rows[-1, 1] == pytest.approx(2.0)


def test_gap__an_aft_body_that_turns_over_strikes_with_its_base():
    """Two rods of 1 m: the lower, its centre c below the upper's base, turns through a full half turn, then is driven up.

    Its nearer end lies c - cos(a)/2 below the base while it stands on the axis, whichever end that is; it strikes at c = 1/2.
    """
    n = 200
    turn = np.concatenate([np.zeros(20), np.linspace(0.0, math.pi, 100), np.full(80, math.pi)])
    centre = np.concatenate([np.linspace(0.5, 1.2, 20), np.full(100, 1.2), np.linspace(1.2, 0.45, 80)])
    ahead, behind = np.zeros((n, 7)), np.zeros((n, 7))
    ahead[:, 0] = behind[:, 0] = 0.01 * np.arange(n)
    ahead[:, 3], ahead[:, 6] = 2.0, 1.0
    for end, columns in ((0.5, slice(1, 4)), (-0.5, slice(4, 7))):
        behind[:, columns] = np.column_stack([end * np.sin(turn), np.zeros(n), 1.0 - centre + end * np.cos(turn)])
    found = flown_gap(ahead, behind, 0.1)
    clearance = centre - 0.5 * np.abs(np.cos(turn))
    on_axis = np.abs(np.sin(turn)) < 1e-9
    np.testing.assert_allclose(found.rows[on_axis, 2], clearance[on_axis], atol=1e-12)
    assert (found.rows[~on_axis, 2] >= clearance[~on_axis] - 1e-12).all()
    assert found.recontact == 1.0 and found.least == pytest.approx(-0.05, abs=1e-12)
    # held a hand's breadth off it has not struck
    clear = flown_gap(ahead, behind - np.r_[0.0, 0.0, 0.0, 0.15, 0.0, 0.0, 0.15], 0.1)
    assert clear.recontact == 0.0 and clear.least == pytest.approx(0.1, abs=1e-12)


def test_fall_time__is_from_each_bodys_own_apogee_to_its_landing(demo_mission):
    """The highest row of each body's log, to the spacing of its rows, and its last."""
    flown = staged.flown(staged.stack(demo_mission), log_every=1)
    for k, log in enumerate(flown.logs[:2]):
        t, height = log[:, Log.TIME], log[:, Log.HEIGHT]
        facts = dict(zip(BODY_FACTS, flown.body[k]))
        assert facts["fall_time"] == pytest.approx(t[-1] - t[np.argmax(height)], abs=0.051)  # s: five ticks under a canopy
        burnout = flown.events[k, Event.BURNOUT, 0]
        assert t[-1] - burnout > facts["fall_time"] + 1.0  # the other moment that could be meant

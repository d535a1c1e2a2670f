"""Linear models against the textbook: stability and control derivatives, kinematics, modes; and against flights let go beside one another.

Body-axis derivatives: B. Etkin, L. D. Reid, Dynamics of Flight, 3rd ed. 1996, sections 4.9, 5.1, 5.3; R. C. Nelson, Flight Stability and
Automatic Control, 2nd ed. 1998, sections 3.5, 4.2, 5.2. For a body of revolution with fins, in its own axes, S the reference area and d
the reference length: Z_w = -q S CN_alpha/(m V), M_w = q S CN_alpha (x_cg - x_cp)/(I V), M_q = q S d^2 C_m_q/(2 V I), L_p likewise.
"""

from __future__ import annotations

from typing import NamedTuple

import models as tables
import numpy as np
import pytest
from masses import mass_now
from scipy.linalg import expm

from sixdof._jit import lend
from sixdof.core import layout as ly
from sixdof.core import probe
from sixdof.core.columns import POINT_COLUMNS, RATE_COLUMNS, BodyColumn, FinColumn, PointColumn, RateColumn
from sixdof.core.layout import NOT_IGNITED, Log
from sixdof.core.leg.work import make_work
from sixdof.draws.packed import nominal_draw
from sixdof.study.loops.linear import models_along
from sixdof.study.loops.linear_flight import Moments, fly_track, moments_at, pick_rows
from sixdof.study.loops.linear_slopes import STATES, slopes
from sixdof.vehicle.derivatives import at_mach, derivatives

BURNING, COASTING = 0.7, 3.0  # s since ignition

# ---------------------------------------------------------------- the textbook's derivatives of a flown point


class Textbook(NamedTuple):
    """Body-axis derivatives of one point: per m/s, per rad/s, per rad of demand (SI)."""

    z_w: float
    z_q: float
    m_w: float
    m_q: float  # of the air alone
    l_p: float
    effect: tuple[float, float, float]  # roll, pitch, yaw
    jet: tuple[float, float]  # what burning adds to L_p and M_q
    inertia: float  # in pitch and yaw, kg m^2
    cross_flow: tuple[float, float]  # planform of the body, m^2, and how far its centroid lies behind the centre of mass, m


class Point(NamedTuple):
    """A linear model of a flown point and what it was made of."""

    model: object
    textbook: Textbook


def track_of(mission):
    return fly_track(mission, nominal_draw(mission), "test")


def point_of(mission, at):
    track = track_of(mission)
    rows = pick_rows(track, "test", at=at)
    moments = moments_at(track, rows)
    model, draw = moments.legs[0]
    return Point(models_along(track, rows).isel(point=0), textbook_of(model, draw, moments, slopes(moments, 1e-5).base[0]))


def mass_at(model, draw, t):
    """Return mass, station of the centre of mass, roll and pitch inertia."""
    mass, cg, _, _, xx, yy, *_ = mass_now(model, draw, t, 0.0)
    return mass, cg, 1.0 / xx, 1.0 / yy  # of the inverse tensor: products of inertia are zero in the demo


def textbook_of(model, draw, moments, base):
    aero, t = model.aero, moments.row[0, PointColumn.TIME]
    speed = np.linalg.norm(base[RateColumn.AIR : RateColumn.AIR + 3])
    mach, qs, d = base[RateColumn.MACH], base[RateColumn.DYNAMIC_PRESSURE] * aero.area, aero.length
    mass, cg, roll, pitch = mass_at(model, draw, t)
    found = derivatives(aero, [mach], cg)
    body, fin = at_mach(aero, aero.body, [mach])[0], at_mach(aero, aero.fin, [mach])[0, 0]
    slope = fin[FinColumn.SLOPE]
    # the rate's own lift: q moves the body and the fins across the stream in proportion to their way from the centre of mass
    half = 0.5 * 4.0 * slope * (fin[FinColumn.KW] + fin[FinColumn.KB])
    z_q = qs / (mass * speed) * (body[BodyColumn.S0] * cg - body[BodyColumn.S1] + half * (cg - fin[FinColumn.X]))
    # a fin's share of a demand times the part of its load that lies in the plane, summed over the fins
    mixer, angles = model.computer.mixer, np.deg2rad([45.0, 135.0, 225.0, 315.0])
    turn = qs * slope * (fin[FinColumn.DW] * (cg - fin[FinColumn.X]) + fin[FinColumn.DB] * (cg - fin[FinColumn.XB]))
    effect = (
        qs * d * found.fin_roll_forcing[0, 0] * mixer[:, 0].mean() / roll,
        turn * (np.sin(angles) * mixer[:, 1]).sum() / pitch,
        -turn * (np.cos(angles) * mixer[:, 2]).sum() / pitch,
    )
    return Textbook(
        z_w=-qs * found.slope[0] / (mass * speed),
        z_q=z_q,
        m_w=qs * found.slope[0] * (cg - found.centre[0]) / (pitch * speed),
        m_q=qs * d**2 * found.pitch_damping[0] / (2.0 * speed * pitch),
        l_p=qs * d**2 * found.fin_roll_damping[0, 0] / (2.0 * speed * roll),
        effect=effect,
        jet=jet_damping(model, draw, t),
        inertia=pitch,
        cross_flow=(aero.plan0, aero.plan1 / aero.plan0 - cg),
    )


def jet_damping(model, draw, t):
    """Return -(mdot k^2 + dI/dt)/I, 1/s, of a burning motor in roll and in pitch.

    W. T. Thomson, Introduction to Space Dynamics, 1961, section 7.7: k^2 is the square of the way to the exit, or for roll the mean square
    radius of the exit disc, R^2/2, as the gas leaves turning with it.
    """
    before, now, after = (mass_at(model, draw, t + h) for h in (-1e-3, 0.0, 1e-3))
    flow, thrust = (before[0] - after[0]) / 2e-3, model.thrust
    squares = 0.5 * thrust.exit_radius**2, (thrust.exit_x - now[1]) ** 2
    return tuple(-(flow * k2 + (after[i] - before[i]) / 2e-3) / now[i] for i, k2 in ((2, squares[0]), (3, squares[1])))


def entries(point):
    """Return A's element of (rate of, state) by names."""
    a = point.model["state_matrix"]
    return lambda rate, state: float(a.sel(rate_of=rate, state=state))


@pytest.fixture(scope="module")
def calm(demo_mission):
    """Straight up in still air: nothing but the Earth's rotation makes an incidence."""
    return demo_mission.change({"air.wind.speed": 0.0, "rail.elevation": "90 deg", "autopilot.profile.tilt_pitch": [0.0, 0.0, 0.0]})


# ---------------------------------------------------------------- no incidence: the textbook to three places and more


@pytest.fixture(scope="module", params=[BURNING, COASTING], ids=["burning", "coasting"])
def straight(calm, request):
    return point_of(calm, request.param)


def leaning(point):
    """Return the tolerance of a derivative at a small incidence a: cross-flow drag grows with |a| and is 4.9 |a| of Z_w in its plane."""
    a = float(np.hypot(point.model.incidence_pitch, point.model.incidence_yaw))
    assert a < 2e-4
    return 6.0 * a + 1e-6  # the table of masses is differenced over 2 ms in a burn: 1e-7


def test_derivatives__no_incidence(straight):
    a, book, close = entries(straight), straight.textbook, leaning(straight)
    speed = float(straight.model.airspeed)
    assert a("w", "w") == pytest.approx(book.z_w, rel=close) and a("v", "v") == pytest.approx(book.z_w, rel=close)
    assert a("q", "w") == pytest.approx(book.m_w, rel=close) and a("r", "v") == pytest.approx(-book.m_w, rel=close)
    for rate in ("q", "r"):
        assert a(rate, rate) == pytest.approx(book.m_q + book.jet[1], rel=close)
    assert a("p", "p") == pytest.approx(book.l_p + book.jet[0], rel=1e-5)
    # the centre of mass moves in turning axes: w' = q u .., and the lift of the rate itself, a thousandth of it
    assert a("w", "q") == pytest.approx(speed + book.z_q, rel=1e-6) and a("v", "r") == pytest.approx(-speed - book.z_q, rel=1e-6)
    # (u and the air speed differ by the incidence's square)


def test_modes__no_incidence(straight):
    """Short period and roll (Etkin and Reid 1996, eq. 6.3,15; Nelson 1998, eqs. 4.67 and 5.42): Zq is omitted there, 0.14 % of V."""
    book, model, close = straight.textbook, straight.model, leaning(straight)
    speed, m_q = float(model.airspeed), book.m_q + book.jet[1]
    frequency = np.sqrt(book.z_w * m_q - book.m_w * speed)
    damping = -(book.z_w + m_q) / (2.0 * frequency)
    share = abs(book.z_q) / speed  # of the frequency's square; its sign is that of a shorter arm
    assert model.short_period_frequency.values == pytest.approx([frequency] * 2, rel=0.51 * share + close)
    assert model.short_period_damping.values == pytest.approx([damping] * 2, rel=0.51 * share + close)
    exact = np.sqrt(book.z_w * m_q - book.m_w * (speed + book.z_q))
    assert model.short_period_frequency.values == pytest.approx([exact] * 2, rel=close)
    assert float(model.roll_time_constant) == pytest.approx(-1.0 / (book.l_p + book.jet[0]), rel=1e-5)
    pair = np.roots([1.0, -book.z_w - m_q, exact**2])
    assert model.divergence.values == pytest.approx([pair.real.max()] * 2, rel=close)


def test_effectiveness__no_incidence(straight):
    assert straight.model.effectiveness.values == pytest.approx(straight.textbook.effect, rel=1e-6)  # sin d and d at 1e-5 apart, a^2


# ---------------------------------------------------------------- as the demo flies: a lean into the wind, 1 to 3 degrees


def test_cross_flow__is_what_an_incidence_adds(demo_mission):
    """Drag across a cylinder, c (rho/2) A |w| w (Allen and Perkins 1951): its slope is twice as large in the plane of the incidence.

    It acts at the planform's centroid; c is 1.2 below the critical Reynolds number, less where the stream gets round the ends of a body.
    """
    point = point_of(demo_mission, COASTING)
    a, book, model = entries(point), point.textbook, point.model
    area, behind = book.cross_flow
    incidence, speed = float(model.incidence_pitch), float(model.airspeed)
    assert 0.02 < abs(incidence) < 0.05 and abs(float(model.incidence_yaw)) < 1e-4
    within, across = a("w", "w") - book.z_w, a("v", "v") - book.z_w
    assert within == pytest.approx(2.0 * across, rel=0.02)  # c itself falls with the cross-flow's own Reynolds number
    drag = -across * float(model.mass) * speed / (float(model.dynamic_pressure) * area * abs(np.sin(incidence)))
    assert 0.7 < drag < 1.2
    arm = behind * float(model.mass) / book.inertia
    for extra in ((a("q", "w") - book.m_w) / within, -(a("r", "v") + book.m_w) / across):
        assert extra == pytest.approx(arm, rel=0.03)  # sin a cos a of the potential part and of the fins bends as well


@pytest.mark.parametrize("at", [BURNING, COASTING])
def test_modes__of_the_demo_as_it_flies(demo_mission, at):
    """What cross-flow does at 1 to 2 degrees: 14 % of Z_w at most, 5 % of M_w, 3 % of M_q, and less than 0.2 % of the fins' part."""
    point = point_of(demo_mission, at)
    book, model = point.textbook, point.model
    speed, m_q = float(model.airspeed), book.m_q + book.jet[1]
    frequency = np.sqrt(book.z_w * m_q - book.m_w * speed)
    damping = -(book.z_w + m_q) / (2.0 * frequency)
    assert model.short_period_frequency.values == pytest.approx([frequency] * 2, rel=0.03)
    assert model.short_period_damping.values == pytest.approx([damping] * 2, rel=0.12)
    assert (model.short_period_damping.values > damping).all()
    assert float(model.roll_time_constant) == pytest.approx(-1.0 / (book.l_p + book.jet[0]), rel=2e-3)
    assert model.effectiveness.values == pytest.approx(book.effect, rel=2e-3)


# ---------------------------------------------------------------- without air: gravity and turning axes in closed form


def cross(v):
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])


def attitude(q):
    """Return the rotation body -> world of a quaternion, scalar first."""
    w, v = q[0], q[1:]
    return (w * w - v @ v) * np.eye(3) + 2.0 * np.outer(v, v) + 2.0 * w * cross(v)


def moments_of(rows, model, draw):
    """Return moments made by hand, or moved by hand, all of one body, in the mean wind."""
    said = rates(model, draw, rows)
    u, v, w = said[:, RateColumn.AIR : RateColumn.AIR + 3].T
    log = np.zeros((len(rows), len(ly.LOG)))
    log[:, Log.AIRSPEED] = np.sqrt(u * u + v * v + w * w)
    log[:, Log.INCIDENCE_PITCH], log[:, Log.INCIDENCE_YAW] = np.arctan2(w, u), np.arctan2(v, u)
    return Moments(rows, np.zeros(len(rows), dtype=int), log, np.zeros((len(rows), len(ly.SENSED))), [(model, draw)])


def rates(model, draw, rows):
    out = np.empty((len(rows), RATE_COLUMNS))
    probe.rates_at(lend(model), lend(draw), lend(make_work(model)), np.ascontiguousarray(rows), out)
    return out


EARTH = np.array([0.02, -0.05, 0.11])  # rad/s, a thousand times the real one


@pytest.fixture(scope="module")
def empty():
    """A tumbling body without air, on a quickly turning Earth: (row, model, draw, attitude, velocity and rates in body axes)."""
    world = tables.world(density=1e-30, earth_rate=tuple(EARTH))
    model = tables.model(world=world, mass=tables.mass(inertia=(0.4, 1.2, 0.9, 0.02, -0.03, 0.05)))
    row = np.zeros((1, POINT_COLUMNS))
    q = np.array([0.8, -0.2, 0.5, 0.1])
    q /= np.linalg.norm(q)
    w, v = np.array([1.3, -0.7, 0.4]), np.array([30.0, -40.0, 60.0])
    row[0, PointColumn.IGNITED], row[0, PointColumn.POSITION + 2] = NOT_IGNITED, 100.0
    (
        row[0, PointColumn.VELOCITY : PointColumn.VELOCITY + 3],
        row[0, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4],
        row[0, PointColumn.RATE : PointColumn.RATE + 3],
    ) = v, q, w
    back = attitude(q).T
    return row, model, tables.draw(), back, back @ v, w


def closed_form(model, back, v, w):
    """Return A without air of v' = g - (w + W) x v, I w' = -w x I w, angles d' = dw - w x d, h' = k v; W the Earth's rate, body axes.

    (Etkin and Reid 1996, eqs. 4.5,9 and 4.2,8 ff., on turning world axes; g, W and k turn by -d seen from the body.)
    """
    m = model.mass
    inertia = np.array([[m.ixx, m.ixy, m.ixz], [m.ixy, m.iyy, m.iyz], [m.ixz, m.iyz, m.izz]])
    g, earth, up = back @ [0.0, 0.0, -tables.G0], back @ EARTH, back @ [0.0, 0.0, 1.0]
    a = np.zeros((10, 10))
    a[:3, :3], a[:3, 3:6] = -cross(w) - cross(earth), cross(v)
    a[:3, 6:9] = cross(g) + cross(v) @ cross(earth)
    a[3:6, 3:6] = np.linalg.solve(inertia, cross(inertia @ w) - cross(w) @ inertia)
    a[6:9, 3:6], a[6:9, 6:9] = np.eye(3), -cross(w)
    a[9, :3], a[9, 6:9] = up, -np.cross(up, v)
    return a


def test_kinematics__closed_form(empty):
    row, model, draw, back, v, w = empty
    found = slopes(moments_of(row, model, draw), 1e-5)
    wanted = closed_form(model, back, v, w)
    # rounding of the differences: 1e-16 of speeds of 80 m/s times rates, over steps of 1e-5
    assert found.a[0] == pytest.approx(wanted, abs=2e-8) and not found.b[0, :, :3].round(12).any()
    assert found.rest[0, :3] == pytest.approx(back @ [0.0, 0.0, -tables.G0] - np.cross(w + back @ EARTH, v), abs=1e-12)
    assert found.rest[0, 9] == pytest.approx((back @ [0.0, 0.0, 1.0]) @ v, abs=1e-12)
    assert not found.rest[0, 6:9].any()


def test_step__error_falls_as_its_square(empty):
    """A turn by h swings gravity by sin h: central differences at half the step are sin(h/2)/(h/2), short by h^2/24."""
    row, model, draw, back, v, w = empty
    wanted = closed_form(model, back, v, w)
    errors = []
    for step in (1e-2, 5e-3):
        found = slopes(moments_of(row, model, draw), step).a[0]
        short = np.sin(0.5 * step) / (0.5 * step)
        # 1e-16 of g and of v (w + W) over a step of 2.5e-3
        assert found[:3, 6:9] == pytest.approx(short * wanted[:3, 6:9], abs=1e-11)
        errors.append(np.abs(found - wanted)[:3, 6:9].max())
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=1e-4)


def test_step__error_in_air_falls_as_its_square_too(demo_mission):
    """Columns of w and q, which leave the Mach number of a point between two rows of its table all but alone."""
    track = track_of(demo_mission)
    moments = moments_at(track, pick_rows(track, "test", at=COASTING))
    model, draw = moments.legs[0]
    near = slopes(moments, 1e-4)
    columns = [STATES.index(name) for name in ("w", "q", "pitch_angle")]
    errors = []
    for step in (1e-2, 5e-3):
        rough = slopes(moments, step)
        errors.append(np.abs(rough.a - near.a)[0][:, columns].max(axis=0))
    # h^4: some 1 % of h^2 at half of 1e-2 of the air speed; `near` itself is off by 1e-4 of the first
    assert errors[0] / errors[1] == pytest.approx(np.full(3, 4.0), rel=0.1)


def test_gusts__are_the_velocity_through_the_air(demo_mission):
    """A gust moves the air as a deviation of the velocity moves the vehicle, the other way; without turning axes or the wind's shear."""
    track = track_of(demo_mission)
    moments = moments_at(track, pick_rows(track, "test", at=[BURNING, COASTING]))
    found = slopes(moments, 1e-5)
    gusts = found.b[:, :, -3:]
    for k in range(2):
        row = moments.row[k]
        w = row[PointColumn.RATE : PointColumn.RATE + 3]
        earth = attitude(row[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4]).T @ np.array(moments.legs[0][0].world.earth_rate)
        assert gusts[k, 3:6] == pytest.approx(-found.a[k, 3:6, :3], abs=1e-7)  # rounding over the step, as above
        assert gusts[k, :3] == pytest.approx(-found.a[k, :3, :3] - cross(w) - cross(earth), abs=1e-7)
    assert not gusts[:, 6:].any()


# ---------------------------------------------------------------- flights let go beside one another


H = 0.002  # s: Runge-Kutta at 10 rad/s: (w h)^5 of a step, 1e-9 of the motion
HORIZON = 0.3  # s


def slope_of(model, draw, rows):
    """Return the rates of moments (n, columns); fins and gusts stand still."""
    said, out = rates(model, draw, rows), np.zeros_like(rows)
    q, w = rows[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4], rows[:, PointColumn.RATE : PointColumn.RATE + 3]
    spin = np.array([w[i] - attitude(q[i]).T @ np.array(model.world.earth_rate) for i in range(len(rows))])
    out[:, PointColumn.TIME] = 1.0
    out[:, PointColumn.POSITION : PointColumn.POSITION + 3] = rows[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3]
    out[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3], out[:, PointColumn.RATE : PointColumn.RATE + 3] = said[:, :3], said[:, 3:6]
    out[:, PointColumn.ATTITUDE] = -0.5 * (q[:, 1:] * spin).sum(axis=1)
    out[:, PointColumn.ATTITUDE + 1 : PointColumn.ATTITUDE + 4] = 0.5 * (q[:, :1] * spin + np.cross(q[:, 1:], spin))
    return out


def let_go(model, draw, rows, seconds, h=H):
    """Return moments (steps + 1, n, columns) of rows flown side by side."""
    out = [rows]
    for _ in range(round(seconds / h)):
        y = out[-1]
        first = slope_of(model, draw, y)
        second = slope_of(model, draw, y + 0.5 * h * first)
        third = slope_of(model, draw, y + 0.5 * h * second)
        fourth = slope_of(model, draw, y + h * third)
        y = y + h / 6.0 * (first + 2.0 * (second + third) + fourth)
        y[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] /= np.linalg.norm(y[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4], axis=1)[:, None]
        out.append(y)
    return np.array(out)


def moved(row, x, fins):
    """Return a moment that deviates by x (10,) and whose fins deviate by `fins` (4,)."""
    out, back = row.copy(), attitude(row[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4]).T
    angle = np.linalg.norm(x[6:9])
    axis = x[6:9] / angle if angle > 0.0 else x[6:9]
    c, s = np.cos(0.5 * angle), np.sin(0.5 * angle) * axis
    q = row[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4]
    turned = np.concatenate([[q[0] * c - q[1:] @ s], q[0] * s + c * q[1:] + np.cross(q[1:], s)])
    out[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] = turned
    out[PointColumn.VELOCITY : PointColumn.VELOCITY + 3] = attitude(turned) @ (back @ row[PointColumn.VELOCITY : PointColumn.VELOCITY + 3] + x[:3])
    out[PointColumn.RATE : PointColumn.RATE + 3] += x[3:6]
    out[PointColumn.POSITION + 2] += x[9]
    out[POINT_COLUMNS : POINT_COLUMNS + 4] += fins
    return out


def deviation(row, other):
    """Return by what (10,) a moment deviates from another one."""
    q, p = (r[PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] for r in (row, other))
    mine, theirs = attitude(q).T, attitude(p).T
    turn = mine @ theirs.T  # of the other body against this one: its angle below is exact for any size
    vector = 0.5 * np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    sine = np.linalg.norm(vector)
    vector *= np.arcsin(sine) / sine if sine > 0.0 else 1.0
    velocity = theirs @ other[PointColumn.VELOCITY : PointColumn.VELOCITY + 3] - mine @ row[PointColumn.VELOCITY : PointColumn.VELOCITY + 3]
    spin = other[PointColumn.RATE : PointColumn.RATE + 3] - row[PointColumn.RATE : PointColumn.RATE + 3]
    return np.concatenate([velocity, spin, vector, [other[PointColumn.POSITION + 2] - row[PointColumn.POSITION + 2]]])


class Twins(NamedTuple):
    """A flight let go with its fins still, and what makes others that deviate from it."""

    row: np.ndarray
    model: object
    draw: object


@pytest.fixture(scope="module")
def twins(demo_mission):
    """The demo while it coasts, rolling and pitching by hand so that all axes mix."""
    track = track_of(demo_mission)
    moments = moments_at(track, pick_rows(track, "test", at=COASTING))
    moments.row[0, PointColumn.RATE : PointColumn.RATE + 3] = 2.5, 0.3, -0.2
    return Twins(moments.row[0], *moments.legs[0])


UNITS = np.array([80.0] * 3 + [20.0] * 3 + [1.0] * 3 + [1e3])  # what deviations of 1 compare with: speed, speed/(4 m), 1 rad, way
START = np.array([0.3, -0.4, 0.5, 0.8, -0.3, 0.2, 0.01, 0.02, -0.01, 0.0]) / 4.0
FINS = np.deg2rad([1.0, -0.5, 0.7, 0.2]) / 4.0


def apart(twins, shares, seconds=HORIZON):
    """Return deviations (shares, 10) after a while of flights that began with shares of START and FINS."""
    rows = np.array([twins.row] + [moved(twins.row, share * START, share * FINS) for share in shares])
    end = let_go(twins.model, twins.draw, rows, seconds)[-1]
    return np.array([deviation(end[0], row) for row in end[1:]])


def predicted(twins, seconds=HORIZON, pieces=30):
    """Return the deviation (10,) that linear models along the flight predict of START and FINS; pieces=0: that of the start, frozen."""
    h = seconds / max(pieces, 1)
    path = let_go(twins.model, twins.draw, twins.row[None], seconds, 0.5 * h if pieces else seconds)[:, 0]
    rows = path[1::2] if pieces else path[:1]
    found = slopes(moments_of(rows, twins.model, twins.draw), 1e-6)
    x = np.concatenate([START, FINS])
    for a, b in zip(found.a, found.b):
        whole = np.zeros((14, 14))
        whole[:10, :10], whole[:10, 10:] = a, b[:, :4]
        x = expm(whole * h) @ x
    return x[:10]


def test_deviation__is_what_models_along_the_flight_predict(twins):
    """The part of a deviation that turns round with its sign is linear but for its cube."""
    share = 0.05
    there, back = apart(twins, [share, -share])
    linear = 0.5 * (there - back) / share
    found = predicted(twins)
    assert np.abs(linear / UNITS).max() > 1e-3
    # pieces of 5 ms in place of 10 ms change it by 8e-6 of the largest; the cube of a twentieth of START is less
    assert linear / UNITS == pytest.approx(found / UNITS, abs=3e-5 * np.abs(linear / UNITS).max())


def test_deviation__what_is_left_falls_as_the_square(twins):
    """Halved deviations: the rest of what linear models say falls by four."""
    whole, half = (np.abs((out - share * predicted(twins)) / UNITS).max() for share, out in zip((1.0, 0.5), apart(twins, [1.0, 0.5])))
    assert whole / half == pytest.approx(4.0, rel=0.05)  # the cube is 2 % of the square


def test_deviation__of_a_frozen_model_is_off_by_the_square_of_time(twins):
    """The model of the start alone: some per cent after 0.2 s; at first its error grows as time squared, for A grows away linearly."""
    errors, sizes = [], []
    for seconds in (0.2, 0.02, 0.01):
        there, back = apart(twins, [0.05, -0.05], seconds)
        linear = 10.0 * (there - back)
        errors.append(np.abs((linear - predicted(twins, seconds, 0)) / UNITS).max())
        sizes.append(np.abs(linear / UNITS).max())
    assert errors[0] < 0.05 * sizes[0], errors
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.2), errors  # the cube: some 10 rad/s times 0.02 s

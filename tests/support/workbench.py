"""A workshop of invented builders: what scales, watches and gauges show of a body that is known, written apart from the library's own formulas.

Loads follow from the equations of statics, solved as they stand; periods from the equations of motion, integrated; small swings from their eigenvalue.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.integrate import solve_ivp

from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe, mass_at, mass_table

GRAVITY = 9.81
AXES = {"roll": 0, "pitch": 1, "yaw": 2}
EXACT = 1e-9  # an error that stands for none, where one is needed


def body(mission, number, motors="out"):
    """Mass, station of the centre and inertia (roll, pitch, yaw) of a stage, with its motors as said."""
    if motors == "out":
        lump = airframe(shape_of([mission.stage[number]]), 0, mission.stage[number])
        return lump.mass, lump.place[0], np.diag(lump.inertia)
    mass, centre, inertia = mass_at(mass_table(mission, [number]), {"cases": 0.0, "loaded": 1.0}[motors])
    return mass, centre[0], np.diag(inertia)


def loads(mass, centre, fore, aft):
    """What two supports carry: forces and moments of a body at rest."""
    return np.linalg.solve([[1.0, 1.0], [fore, aft]], [mass, mass * centre])


def small_period(stiffness, inertia):
    return 2.0 * math.pi * math.sqrt(inertia / stiffness)


def strings_stiffness(mass, arms, length):
    """Torque per angle of a body on strings at distances `arms`: each string's share of the weight, from its statics, over its length, times arm squared."""
    shares = loads(mass, 0.0, -arms[0], arms[1]) if len(arms) == 2 else [mass / len(arms)] * len(arms)
    return sum(GRAVITY * share * arm**2 / length for share, arm in zip(shares, arms))


def readings(mission, number, *, motors="out", swings=("bifilar pitch", "compound yaw", "trifilar roll"), error=EXACT):
    """Tables of readings, all without error, of a stage as the mission has it: on scales and on each swing with its motors as said."""
    mass, centre, inertia = body(mission, number, motors)
    length = shape_of([mission.stage[number]]).length
    fore, aft = 0.2 * length, 0.9 * length
    shown = loads(mass, centre, fore, aft)
    scales = {"fore_support": fore, "aft_support": aft, "support_error": 0.0, "fore": [shown[0]], "aft": [shown[1]], "resolution": 0.0, "motors": motors}
    tables = [swing(kind, mass, centre, inertia, length, motors, error) for kind in swings]
    return {"gravity": GRAVITY, "gravity_error": 0.0, "stage": [{"name": mission.stage[number].name, "scales": scales, "swing": tables}]}


def swing(words, mass, centre, inertia, length, motors="out", error=EXACT):
    """The table of one swing of a body, small and without error: "bifilar pitch"."""
    kind, about = words.split()
    moment = inertia[AXES[about]]
    table = {"kind": kind, "about": about, "swings": 10, "time_error": error, "motors": motors}
    if kind == "compound":
        pivot = -0.1 * length
        arm = centre - pivot
        period = small_period(mass * GRAVITY * arm, moment + mass * arm**2)
        return table | {"pivot": pivot, "pivot_error": 0.0, "times": [10.0 * period]}
    table |= {"length": 1.4, "length_error": 0.0}
    if kind == "trifilar":
        platform, radius, own = 0.4, 0.15, 0.5 * 0.4 * 0.16**2
        empty = small_period(strings_stiffness(platform, [radius] * 3, 1.4), own)
        period = small_period(strings_stiffness(platform + mass, [radius] * 3, 1.4), own + moment)
        return table | {"radius": radius, "radius_error": 0.0, "platform_mass": platform, "platform_times": [10.0 * empty], "times": [10.0 * period]}
    if about == "roll":
        return table | {"spacing": 0.12, "times": [10.0 * small_period(strings_stiffness(mass, [0.06, 0.06], 1.4), moment)]}
    fore, aft = centre - 0.3 * length, centre + 0.17 * length  # not as far from the centre of mass
    period = small_period(strings_stiffness(mass, [centre - fore, aft - centre], 1.4), moment)
    return table | {"fore_string": fore, "aft_string": aft, "times": [10.0 * period]}


# ---------------------------------------------------------------- large swings


def pendulum_period(mass, arm, inertia, amplitude):
    """Period of a pendulum (inertia about its pivot) let go at an angle: its equation of motion integrated to the turning point and back."""
    rest = solve_ivp(
        lambda _, y: [y[1], -mass * GRAVITY * arm * math.sin(y[0]) / inertia], (0.0, 20.0), [amplitude, 0.0], rtol=1e-11, atol=1e-12, events=_crossing
    )
    return _period(rest.t_events[0])


def level_strings_period(mass, inertia, arm, length, amplitude):
    """Period of a level body on strings at one distance from the axis, by energy: it turns and is lifted as the strings let it, exactly."""

    def height(angle):
        return length - math.sqrt(length**2 - (2.0 * arm * math.sin(0.5 * angle)) ** 2)

    def slope(angle):
        return arm**2 * math.sin(angle) / (length - height(angle))

    def time(phase):  # angle = amplitude sin(phase): no infinite slope at the end
        angle = amplitude * math.sin(phase)
        fall = height(amplitude) - height(angle)
        speed = math.sqrt(2.0 * mass * GRAVITY * fall / (inertia + mass * slope(angle) ** 2))
        return amplitude * math.cos(phase) / speed

    nodes, weights = np.polynomial.legendre.leggauss(40)  # a smooth integrand, and none of the nodes at its end
    return math.pi * sum(weight * time(0.25 * math.pi * (1.0 + node)) for node, weight in zip(nodes, weights))


def free_strings_period(mass, inertia, arms, length, amplitude):
    """Period of a rigid rod on two stiff elastic strings, free to move every way (six degrees of freedom), let go turned by an angle about the vertical.

    inertia : (along the rod, across it). The strings stretch by 1e-4 of their length.
    """
    forward, back = arms
    stiffness = mass * GRAVITY / (1e-4 * length)
    held = loads(mass, 0.0, -back, forward) * GRAVITY  # tensions at rest, back string first
    anchors = [np.array([x, 0.0, length + force / stiffness]) for x, force in ((-back, held[0]), (forward, held[1]))]
    points = [np.array([-back, 0.0, 0.0]), np.array([forward, 0.0, 0.0])]
    moments = np.diag([inertia[0], inertia[1], inertia[1]])

    def rates(_, y):
        place, axis, speed, spin = y[:3], y[3:6], y[6:9], y[9:12]
        turn = _rotation(axis)
        force, torque = np.array([0.0, 0.0, -mass * GRAVITY]), np.zeros(3)
        for anchor, point in zip(anchors, points):
            arm = turn @ point
            way = anchor - place - arm
            far = np.linalg.norm(way)
            pull = stiffness * (far - length) * way / far
            force, torque = force + pull, torque + np.cross(arm, pull)
        body_torque = turn.T @ torque
        spin_rate = np.linalg.solve(moments, body_torque - np.cross(spin, moments @ spin))
        return np.concatenate([speed, _axis_rate(axis, spin), force / mass, spin_rate])

    lifts = [length - math.sqrt(length**2 - (2.0 * arm * math.sin(0.5 * amplitude)) ** 2) for arm in (back, forward)]
    pitch = math.asin((lifts[0] - lifts[1]) / (back + forward))
    up = lifts[0] + back * (lifts[1] - lifts[0]) / (back + forward)
    axis = _axis_of(_rotation(np.array([0.0, 0.0, amplitude])) @ _rotation(np.array([0.0, pitch, 0.0])))
    guess = small_period(strings_stiffness(mass, [back, forward], length), inertia[1])
    start = np.concatenate([[0.0, 0.0, up], axis, np.zeros(6)])
    found = solve_ivp(rates, (0.0, 2.4 * guess), start, method="LSODA", rtol=1e-8, atol=1e-10, events=lambda t, y: y[5])
    return _period(found.t_events[0])


def _crossing(_, y):
    return y[0]


def _period(times):
    """Twice the mean time between passages of the middle."""
    return 2.0 * float(np.mean(np.diff(times)))


def _rotation(axis):
    angle = np.linalg.norm(axis)
    if angle < 1e-12:
        return np.eye(3)
    x, y, z = axis / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + math.sin(angle) * cross + (1.0 - math.cos(angle)) * cross @ cross


def _axis_of(turn):
    angle = math.acos(min(max(0.5 * (np.trace(turn) - 1.0), -1.0), 1.0))
    if angle < 1e-12:
        return np.zeros(3)
    return angle / (2.0 * math.sin(angle)) * np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])


def _axis_rate(axis, spin):
    """Rate of a rotation vector whose body turns at `spin` (body axes): Bortz's equation."""
    angle = np.linalg.norm(axis)
    last = 1.0 / 12.0 if angle < 1e-4 else (1.0 - angle * math.sin(angle) / (2.0 * (1.0 - math.cos(angle)))) / angle**2
    return spin + 0.5 * np.cross(axis, spin) + last * np.cross(axis, np.cross(axis, spin))

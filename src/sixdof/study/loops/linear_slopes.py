"""Central differences of the kernel's own equations of motion about moments of a flight."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.study.loops.linear_flight import Moments
from sixdof.study.probes.columns import POINT_COLUMNS, Log, PointColumn, RateColumn
from sixdof.study.probes.free_flight import rates_of

STATES = ("u", "v", "w", "p", "q", "r", "roll_angle", "pitch_angle", "yaw_angle", "height")
GUSTS = ("gust_u", "gust_v", "gust_w")
VELOCITY, RATE, ANGLE, HEIGHT = slice(0, 3), slice(3, 6), slice(6, 9), 9
SCALE_HEIGHT = 8000.0  # m, of the atmosphere: what a step in height is measured by


class Slopes(NamedTuple):
    """Derivatives at moments (n). a : (n, 10, 10) by STATES. b : (n, 10, fins + 3) by fin angles and GUSTS.

    base : (n, RATE_COLUMNS) what the kernel says at the moments themselves. error : (n,) largest change of an element as the step is
    halved, of the largest element, both in units of one scale. rest : (n, 10) rates of the states themselves, the trim's residual.
    """

    a: np.ndarray
    b: np.ndarray
    base: np.ndarray
    error: np.ndarray
    rest: np.ndarray


def slopes(moments: Moments, step: float) -> Slopes:
    """Return the derivatives of the free-flight equations at moments.

    States are deviations from the moving flight, body axes: velocity over the ground u, v, w (m/s), rates p, q, r (rad/s), a small
    turn about each body axis (rad), height (m). Their steps are `step` times the air speed, the speed over the vehicle's length,
    1 rad, the scale height; fins `step` times 1 rad, gusts as velocities. Differences are central, taken at `step` and at half of it.
    """
    parts = []
    for k, leg in enumerate(moments.legs):
        rows = np.flatnonzero(moments.leg == k)
        parts.append((rows, _of_leg(*leg, moments.row[rows], moments.log[rows], step)))
    order = np.argsort(np.concatenate([rows for rows, _ in parts]))
    return Slopes(*(np.concatenate([getattr(part, name) for _, part in parts])[order] for name in Slopes._fields))


def _of_leg(model, draw, row: np.ndarray, log: np.ndarray, step: float) -> Slopes:
    controls = model.computer.mixer.shape[0]
    fins = (row.shape[1] - POINT_COLUMNS) // 2

    at_points = rates_of(model, draw)

    def rates(rows):
        return at_points(rows if controls == fins else rows[:, :POINT_COLUMNS])

    row = _with_gusts(rates, row, log)
    base = rates(row)
    frame = _Frame(row, base, np.array(model.world.earth_rate))
    speed = np.linalg.norm(base[:, RateColumn.AIR : RateColumn.AIR + 3], axis=1)
    inputs = [*range(fins)] if controls == fins else []
    scales = _scales(speed, model.rail.base_x, fins)
    columns = len(STATES) + fins + len(GUSTS)
    moved = [k for k in range(columns) if k < len(STATES) or k >= len(STATES) + fins or k - len(STATES) in inputs]
    found = []
    for share in (1.0, 0.5):
        slope = np.zeros((len(row), len(STATES), columns))
        up, down = ([frame.moved(k, sign * share * step * scales[:, k]) for k in moved] for sign in (1.0, -1.0))
        both = rates(np.concatenate(up + down)).reshape(2 * len(moved), len(row), -1)
        for i, k in enumerate(moved):
            change = frame.state_rate(up[i], both[i]) - frame.state_rate(down[i], both[len(moved) + i])
            slope[:, :, k] = change / (2.0 * share * step * scales[:, k, None])
        found.append(slope)
    coarse, fine = found
    for slope in found:
        frame.turn_rates(slope)
    unit = scales[:, None, :] / scales[:, : len(STATES), None]
    largest = np.abs(fine * unit).max(axis=(1, 2))
    error = np.abs((fine - coarse) * unit).max(axis=(1, 2)) / largest
    return Slopes(fine[:, :, : len(STATES)], fine[:, :, len(STATES) :], base, error, frame.state_rate(row, base))


def _scales(speed: np.ndarray, length: float, fins: int) -> np.ndarray:
    """Return what a unit of each state and input is at moments (n, states + inputs)."""
    ones = np.ones_like(speed)
    v, w = speed, speed / length
    return np.stack([v, v, v, w, w, w, ones, ones, ones, SCALE_HEIGHT * ones, *[ones] * fins, v, v, v], axis=1)


def _with_gusts(rates, row: np.ndarray, log: np.ndarray) -> np.ndarray:
    """Return the moments with the gust that blew over the mean wind then, so that they fly in the air that the flight flew in."""
    mean = rates(row)[:, RateColumn.AIR : RateColumn.AIR + 3]
    # velocity through the air, body axes, from what the log has of it: its size and its angles off the axis in two planes
    pitch, yaw = log[:, Log.INCIDENCE_PITCH], log[:, Log.INCIDENCE_YAW]
    along = np.stack([np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch) * np.cos(yaw)], axis=1)
    size = log[:, Log.AIRSPEED] * np.sign(np.cos(pitch)) / np.linalg.norm(along, axis=1)
    gust = _turned(_matrix(row[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4]), mean - along * size[:, None])
    out = row.copy()
    out[:, PointColumn.GUST : PointColumn.GUST + 3] = np.where(np.abs(gust) > 1e-9, gust, 0.0)
    return out


class _Frame:
    """Moments to be moved by small deviations in body axes, and the rates of those deviations."""

    def __init__(self, row: np.ndarray, base: np.ndarray, earth_rate: np.ndarray):
        self.row, self.base, self.earth_rate = row, base, earth_rate
        self.matrix = _matrix(row[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4])
        self.up = base[:, RateColumn.UP : RateColumn.UP + 3]

    def moved(self, k: int, by: np.ndarray) -> np.ndarray:
        """Return the moments with state or input k moved by `by` (n,)."""
        out = self.row.copy()
        fins = (out.shape[1] - POINT_COLUMNS) // 2
        if k < 3:
            out[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3] += self.matrix[:, :, k] * by[:, None]
        elif k < 6:
            out[:, PointColumn.RATE + k - 3] += by
        elif k < 9:
            # the body turns; its velocity in body axes stays, so it turns with it
            turned = _times(out[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4], k - 6, by)
            velocity = _turned(self.matrix.transpose(0, 2, 1), out[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3])
            out[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] = turned
            out[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3] = _turned(_matrix(turned), velocity)
        elif k == HEIGHT:
            out[:, PointColumn.POSITION : PointColumn.POSITION + 3] += self.up * by[:, None]
        elif k < len(STATES) + fins:
            out[:, POINT_COLUMNS + k - len(STATES)] += by
        else:
            axis = k - len(STATES) - fins
            out[:, PointColumn.GUST : PointColumn.GUST + 3] += self.matrix[:, :, axis] * by[:, None]
        return out

    def state_rate(self, row: np.ndarray, out: np.ndarray) -> np.ndarray:
        """Return the rates of velocity in body axes, of the body rates and of height (n, 10); those of the angles are zero here."""
        back = _matrix(row[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4]).transpose(0, 2, 1)
        velocity = row[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3]
        rate = row[:, PointColumn.RATE : PointColumn.RATE + 3] - _turned(back, np.broadcast_to(self.earth_rate, (len(row), 3)))
        found = np.zeros((len(row), len(STATES)))
        found[:, VELOCITY] = _turned(back, out[:, RateColumn.ACCELERATION : RateColumn.ACCELERATION + 3]) - np.cross(rate, _turned(back, velocity))
        found[:, RATE] = out[:, RateColumn.TURNING : RateColumn.TURNING + 3]
        found[:, HEIGHT] = (velocity * self.up).sum(axis=1)
        return found

    def turn_rates(self, slope: np.ndarray) -> None:
        """Fill in the rates of the small angles d, exactly: d' = w - W x d, w the deviation of the body rates, W the rates themselves.

        Both are against inertial space: what the world axes turn by, seen in the turned body, makes up the difference.
        """
        slope[:, ANGLE, RATE] = np.eye(3)
        slope[:, ANGLE, ANGLE] = -_cross_matrix(self.row[:, PointColumn.RATE : PointColumn.RATE + 3])


def _cross_matrix(a: np.ndarray) -> np.ndarray:
    """Return the matrices [a x], (n, 3, 3)."""
    zero = np.zeros(len(a))
    x, y, z = a.T
    return np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)


def _matrix(q: np.ndarray) -> np.ndarray:
    """Return the rotation matrices body -> world of quaternions (n, 4)."""
    w, x, y, z = (q / np.linalg.norm(q, axis=1, keepdims=True)).T
    rows = [
        1.0 - 2.0 * (y * y + z * z),
        2.0 * (x * y - w * z),
        2.0 * (x * z + w * y),
        2.0 * (x * y + w * z),
        1.0 - 2.0 * (x * x + z * z),
        2.0 * (y * z - w * x),
        2.0 * (x * z - w * y),
        2.0 * (y * z + w * x),
        1.0 - 2.0 * (x * x + y * y),
    ]
    return np.stack(rows, axis=1).reshape(-1, 3, 3)


def _turned(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    return np.einsum("nij,nj->ni", matrix, vector)


def _times(q: np.ndarray, axis: int, angle: np.ndarray) -> np.ndarray:
    """Return quaternions (n, 4) followed by a turn about one body axis."""
    c, s = np.cos(0.5 * angle), np.sin(0.5 * angle)
    w, x, y, z = q.T
    partner = {0: (-x, w, z, -y), 1: (-y, -z, w, x), 2: (-z, y, -x, w)}[axis]
    return np.stack([c * a + s * b for a, b in zip((w, x, y, z), partner)], axis=1)

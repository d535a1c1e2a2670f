"""Vectors, quaternions, matrices and tensors, shared by every kernel."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.lanes import cos, select, sin, sqrt
from sixdof.core.types import Quat, State, Station, Vec3


class Matrix(NamedTuple):
    """Rotation matrix body -> world, row by row."""

    xx: float
    xy: float
    xz: float
    yx: float
    yy: float
    yz: float
    zx: float
    zy: float
    zz: float


class Sym(NamedTuple):
    """Symmetric 3 x 3 tensor."""

    xx: float
    yy: float
    zz: float
    xy: float
    xz: float
    yz: float


@helper
def vector_at(row: np.ndarray, first: int) -> Vec3:
    """Return the vector that stands in a row from column `first` on."""
    return Vec3(row[first], row[first + 1], row[first + 2])


@helper
def quaternion_at(row: np.ndarray, first: int) -> Quat:
    """Return the quaternion, scalar first, that stands in a row from column `first` on."""
    return Quat(row[first], row[first + 1], row[first + 2], row[first + 3])


@helper
def put_vector(row: np.ndarray, first: int, v: Vec3) -> None:
    """Write a vector into a row from column `first` on."""
    row[first], row[first + 1], row[first + 2] = v.x, v.y, v.z


@helper
def put_quaternion(row: np.ndarray, first: int, q: Quat) -> None:
    """Write a quaternion, scalar first, into a row from column `first` on."""
    row[first], row[first + 1], row[first + 2], row[first + 3] = q.w, q.x, q.y, q.z


@kernel
def fill(array: np.ndarray, value: float) -> None:
    """Set every element of a 1-D array."""
    for i in range(array.shape[0]):
        array[i] = value


@helper
def dot(a: Vec3, b: Vec3) -> float:
    return a.x * b.x + a.y * b.y + a.z * b.z


@helper
def cross(a: Vec3, b: Vec3) -> Vec3:
    return Vec3(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x)


@helper
def add(a: Vec3, b: Vec3) -> Vec3:
    return Vec3(a.x + b.x, a.y + b.y, a.z + b.z)


@helper
def sub(a: Vec3, b: Vec3) -> Vec3:
    return Vec3(a.x - b.x, a.y - b.y, a.z - b.z)


@helper
def scale(a: Vec3, k: float) -> Vec3:
    return Vec3(a.x * k, a.y * k, a.z * k)


@helper
def arm(cg: Station, x: float) -> Vec3:
    """Return the lever arm, body axes, from the centre of mass (a Station) to the point of the axis at the station x."""
    return Vec3(cg.x - x, -cg.y, -cg.z)


@helper
def offset(cg: Station, place: Station) -> Vec3:
    """Return the way, body axes, from the centre of mass to another place on the vehicle; both are a Station."""
    return Vec3(cg.x - place.x, place.y - cg.y, place.z - cg.z)


@helper
def norm(a: Vec3) -> float:
    return sqrt(a.x * a.x + a.y * a.y + a.z * a.z)


@helper
def matrix_of(q: Quat) -> Matrix:
    """Return the rotation matrix body -> world of a quaternion of about unit length."""
    return Matrix(
        1.0 - 2.0 * (q.y * q.y + q.z * q.z),
        2.0 * (q.x * q.y - q.w * q.z),
        2.0 * (q.x * q.z + q.w * q.y),
        2.0 * (q.x * q.y + q.w * q.z),
        1.0 - 2.0 * (q.x * q.x + q.z * q.z),
        2.0 * (q.y * q.z - q.w * q.x),
        2.0 * (q.x * q.z - q.w * q.y),
        2.0 * (q.y * q.z + q.w * q.x),
        1.0 - 2.0 * (q.x * q.x + q.y * q.y),
    )


@helper
def to_world(m: Matrix, a: Vec3) -> Vec3:
    return Vec3(m.xx * a.x + m.xy * a.y + m.xz * a.z, m.yx * a.x + m.yy * a.y + m.yz * a.z, m.zx * a.x + m.zy * a.y + m.zz * a.z)


@helper
def to_body(m: Matrix, a: Vec3) -> Vec3:
    return Vec3(m.xx * a.x + m.yx * a.y + m.zx * a.z, m.xy * a.x + m.yy * a.y + m.zy * a.z, m.xz * a.x + m.yz * a.y + m.zz * a.z)


@helper
def multiply(a: Quat, b: Quat) -> Quat:
    """Return the quaternion product a b (first b, then a)."""
    return Quat(
        a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z,
        a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
        a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x,
        a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w,
    )


@helper
def conjugate(q: Quat) -> Quat:
    return Quat(q.w, -q.x, -q.y, -q.z)


@helper
def quaternion_rate(q: Quat, w: Vec3) -> Quat:
    """Return dq/dt = q (0, w) / 2 for rates w in body axes against the world axes."""
    return Quat(
        -0.5 * (q.x * w.x + q.y * w.y + q.z * w.z),
        0.5 * (q.w * w.x + q.y * w.z - q.z * w.y),
        0.5 * (q.w * w.y + q.z * w.x - q.x * w.z),
        0.5 * (q.w * w.z + q.x * w.y - q.y * w.x),
    )


@helper
def normalised(q: Quat) -> Quat:
    k = 1.0 / sqrt(q.w * q.w + q.x * q.x + q.y * q.y + q.z * q.z)
    return Quat(q.w * k, q.x * k, q.y * k, q.z * k)


@helper
def sym_times(s: Sym, a: Vec3) -> Vec3:
    return Vec3(s.xx * a.x + s.xy * a.y + s.xz * a.z, s.xy * a.x + s.yy * a.y + s.yz * a.z, s.xz * a.x + s.yz * a.y + s.zz * a.z)


@helper
def sym_inverse(s: Sym) -> Sym:
    """Return the inverse of a symmetric positive definite tensor."""
    cxx = s.yy * s.zz - s.yz * s.yz
    cxy = s.xz * s.yz - s.xy * s.zz
    cxz = s.xy * s.yz - s.xz * s.yy
    k = 1.0 / (s.xx * cxx + s.xy * cxy + s.xz * cxz)
    return Sym(cxx * k, (s.xx * s.zz - s.xz * s.xz) * k, (s.xx * s.yy - s.xy * s.xy) * k, cxy * k, cxz * k, (s.xy * s.xz - s.xx * s.yz) * k)


@helper
def axpy(s: State, k: State, h: float) -> State:
    """Return the state s + h k."""
    return State(
        Vec3(s.r.x + h * k.r.x, s.r.y + h * k.r.y, s.r.z + h * k.r.z),
        Vec3(s.v.x + h * k.v.x, s.v.y + h * k.v.y, s.v.z + h * k.v.z),
        Quat(s.q.w + h * k.q.w, s.q.x + h * k.q.x, s.q.y + h * k.q.y, s.q.z + h * k.q.z),
        Vec3(s.w.x + h * k.w.x, s.w.y + h * k.w.y, s.w.z + h * k.w.z),
    )


@helper
def small_sin(a: float) -> float:
    """Return sin(a) to 1e-8 for |a| <= 0.6 rad (fin deflections), by its series: kernels know no trigonometry."""
    b = a * a
    return a * (1.0 + b * (-1.0 / 6.0 + b * (1.0 / 120.0 + b * (-1.0 / 5040.0 + b * (1.0 / 362880.0)))))


@helper
def select_vector(condition: bool, a: Vec3, b: Vec3) -> Vec3:
    """Return the vector a where the condition holds, b elsewhere."""
    return Vec3(select(condition, a.x, b.x), select(condition, a.y, b.y), select(condition, a.z, b.z))


@helper
def select_quaternion(condition: bool, a: Quat, b: Quat) -> Quat:
    """Return the quaternion a where the condition holds, b elsewhere."""
    return Quat(select(condition, a.w, b.w), select(condition, a.x, b.x), select(condition, a.y, b.y), select(condition, a.z, b.z))


@helper
def launch_frame(azimuth: float) -> Quat:
    """Return the quaternion of the launch frame (X up, Y right of the azimuth, Z downrange) -> world."""
    # at azimuth 0 the frame is a cyclic permutation of east, north, up; then turn clockwise about up
    return multiply(Quat(cos(0.5 * azimuth), 0.0, 0.0, -sin(0.5 * azimuth)), Quat(0.5, -0.5, -0.5, -0.5))


@helper
def tilt_quaternion(tilt_pitch: float, tilt_yaw: float, roll: float) -> Quat:
    """Return the quaternion body -> launch frame: 3-2-1 angles psi = tilt_yaw, theta = -tilt_pitch, phi = roll."""
    yaw = Quat(cos(0.5 * tilt_yaw), 0.0, 0.0, sin(0.5 * tilt_yaw))
    pitch = Quat(cos(0.5 * tilt_pitch), 0.0, -sin(0.5 * tilt_pitch), 0.0)
    return multiply(multiply(yaw, pitch), Quat(cos(0.5 * roll), sin(0.5 * roll), 0.0, 0.0))

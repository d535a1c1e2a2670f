"""What the readings say as vectors and quaternions, as angles in the launch frame, and how far the estimate is from the truth."""

from __future__ import annotations

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import conjugate, matrix_of, multiply, norm, quaternion_at, sub, vector_at
from sixdof.core.lanes import acos, asin, atan2, clip, sqrt
from sixdof.core.layout import Sensed
from sixdof.core.types import Quat, State, Vec3


@helper
def sensed_command(sensed: np.ndarray) -> Quat:
    return quaternion_at(sensed, Sensed.COMMANDED_W)


@helper
def sensed_attitude(sensed: np.ndarray) -> Quat:
    return quaternion_at(sensed, Sensed.Q_W)


@helper
def sensed_frame(sensed: np.ndarray) -> Quat:
    return quaternion_at(sensed, Sensed.FRAME_W)


@helper
def sensed_place(sensed: np.ndarray) -> Vec3:
    return vector_at(sensed, Sensed.EAST)


@helper
def sensed_velocity(sensed: np.ndarray) -> Vec3:
    return vector_at(sensed, Sensed.VELOCITY_EAST)


@kernel
def tilt_angles(frame: Quat, q: Quat) -> tuple[float, float, float, float]:
    """Return (tilt_pitch, tilt_yaw, roll, tilt) of an attitude in the launch frame; tilt is the nose's angle from the vertical."""
    m = matrix_of(multiply(conjugate(frame), q))
    return (
        asin(clip(m.zx, -1.0, 1.0)),  # theta = -asin(m_zx), tilt_pitch = -theta
        atan2(m.yx, m.xx),
        atan2(m.zy, m.zz),
        acos(clip(m.xx, -1.0, 1.0)),
    )


@helper
def estimate_errors(sensed: np.ndarray, s: State, height: float) -> tuple[float, float, float]:
    """Return (attitude, position, velocity) error of the estimate: rad, m, m/s. height : the vehicle's above ground, which the estimate means."""
    e = multiply(conjugate(s.q), sensed_attitude(sensed))
    angle = 2.0 * asin(clip(sqrt(e.x * e.x + e.y * e.y + e.z * e.z), 0.0, 1.0))
    return angle, norm(sub(sensed_place(sensed), Vec3(s.r.x, s.r.y, height))), norm(sub(sensed_velocity(sensed), s.v))

"""Built-in guidance: what attitude the vehicle should have. Attitude profile, airborne waypoints, hold."""

from __future__ import annotations

from math import acos, asin, atan2, cos, inf, sin, sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, conjugate, cross, dot, fill, matrix_of, multiply, norm, put_quaternion, quaternion_at, scale, sub, tilt_quaternion, to_body
from sixdof.core.computer.columns import GuidanceMemory, PassedColumn, ProfileColumn, WaypointColumn
from sixdof.core.constants import G0
from sixdof.core.lanes import clip
from sixdof.core.layout import GuidanceMode
from sixdof.core.types import Quat, Vec3

PROFILE, WAYPOINTS, HOLD_DIRECTION = (np.int64(mode) for mode in GuidanceMode)
BY_TIME, BY_HEIGHT, BY_MODE_TIME = (np.int64(i) for i in range(3))  # what the profile runs over
LAST_HOLD, LAST_UPRIGHT, LAST_PROFILE = (np.int64(i) for i in range(3))  # what happens past the last waypoint
SLOW = 5.0  # m/s: below it a velocity has no direction worth steering by
LONGEST_DROP = 10.0  # s: the fall on the way to a waypoint is not made up for over more than this


class Guidance(NamedTuple):
    """Constants of the built-in guidance."""

    profile: np.ndarray  # (n, ProfileColumn)
    over: int  # BY_*
    smooth: int  # 1: each span of the profile starts and ends level (smoothstep)
    slew: float  # the commanded attitude turns no faster, rad/s; inf where unlimited
    waypoint: np.ndarray  # (n, WaypointColumn)
    lead: float  # how far beyond the line of sight the nose leans, per angle between velocity and line of sight
    most_incidence: float  # between the commanded nose and the velocity, rad
    most_tilt: float  # of the commanded nose from the vertical, rad
    most_load: float  # specific force across the axis, m/s^2
    load_slope: float  # its slope per incidence and dynamic pressure at the design point, m^2/kg
    past_last: int  # LAST_*
    start_mode: int  # PROFILE, WAYPOINTS or HOLD_DIRECTION
    feed_rate: int  # 1: the commanded attitude's own turning rate goes to the control law


@helper
def _angles_of(row: np.ndarray) -> tuple[float, float, float]:
    return row[ProfileColumn.TILT_PITCH], row[ProfileColumn.TILT_YAW], row[ProfileColumn.ROLL]


@helper
def profile_at(profile: np.ndarray, x: float, smooth: int) -> tuple[float, float, float]:
    """Return (tilt_pitch, tilt_yaw, roll) of the profile at x, held beyond both ends."""
    n = profile.shape[0]
    if x <= profile[0, ProfileColumn.AT]:
        return _angles_of(profile[0])
    for i in range(n - 1):
        here, ahead = profile[i], profile[i + 1]
        if x < ahead[ProfileColumn.AT]:
            f = (x - here[ProfileColumn.AT]) / (ahead[ProfileColumn.AT] - here[ProfileColumn.AT])
            if smooth > 0:
                f = f * f * (3.0 - 2.0 * f)
            return (
                here[ProfileColumn.TILT_PITCH] + f * (ahead[ProfileColumn.TILT_PITCH] - here[ProfileColumn.TILT_PITCH]),
                here[ProfileColumn.TILT_YAW] + f * (ahead[ProfileColumn.TILT_YAW] - here[ProfileColumn.TILT_YAW]),
                here[ProfileColumn.ROLL] + f * (ahead[ProfileColumn.ROLL] - here[ProfileColumn.ROLL]),
            )
    return _angles_of(profile[n - 1])


@helper
def _unit(a: Vec3, other: Vec3) -> Vec3:
    k = norm(a)
    return scale(a, 1.0 / k) if k > 1e-9 else other


@helper
def leaned(towards: Vec3, from_: Vec3, most: float) -> Vec3:
    """Return the unit vector `towards`, brought back to within the angle `most` of the unit vector `from_`."""
    c = clip(dot(towards, from_), -1.0, 1.0)
    if acos(c) <= most:
        return towards
    # straight behind, any side will do
    other = Vec3(0.0, 0.0, 1.0) if abs(from_.z) < 0.9 else Vec3(1.0, 0.0, 0.0)
    side = _unit(sub(towards, scale(from_, c)), _unit(cross(from_, other), other))
    return add(scale(from_, cos(most)), scale(side, sin(most)))


@helper
def attitude_of_direction(u: Vec3, frame: Quat, roll: float) -> Quat:
    """Return the attitude body -> world that points the nose along the unit vector u (world) with a roll angle."""
    m = matrix_of(frame)
    a = to_body(m, u)  # u in the launch frame
    return multiply(frame, tilt_quaternion(asin(clip(a.z, -1.0, 1.0)), atan2(a.y, a.x), roll))


@kernel
def aim(r: Vec3, v: Vec3, nose: Vec3, pressure: float, k: int, guidance: Guidance) -> Vec3:
    """Return the unit vector (world) along which the nose should point to fly through waypoint k.

    The nose leans beyond the line of sight by `lead` times the angle between velocity and line of sight, so that lift (or
    thrust) turns the velocity onto it; the fall on the way is made up for. Limits: incidence, load, tilt.
    """
    w = guidance.waypoint[k]
    d = Vec3(w[WaypointColumn.EAST] - r.x, w[WaypointColumn.NORTH] - r.y, w[WaypointColumn.HEIGHT] - r.z)
    speed = norm(v)
    way = _unit(v, nose) if speed > SLOW else nose
    time = min(norm(d) / max(speed, SLOW), LONGEST_DROP)
    d = Vec3(d.x, d.y, d.z + 0.5 * G0 * time * time)
    sight = _unit(d, nose)
    u = _unit(add(sight, scale(sub(sight, way), guidance.lead)), sight)
    most = guidance.most_incidence
    if guidance.load_slope > 0.0 and guidance.most_load < inf:
        most = min(most, guidance.most_load / max(guidance.load_slope * pressure, 1e-6))
    u = leaned(u, way, most)
    return leaned(u, Vec3(0.0, 0.0, 1.0), guidance.most_tilt)


@kernel
def watch_waypoints(t: float, r: Vec3, v: Vec3, memory: np.ndarray, guidance: Guidance, passed: np.ndarray) -> None:
    """Move on to the next waypoint when the current one is captured, passed or out of time; note time and miss distance."""
    k = int(memory[GuidanceMemory.WAYPOINT])
    if k >= guidance.waypoint.shape[0]:
        return
    w = guidance.waypoint[k]
    d = Vec3(w[WaypointColumn.EAST] - r.x, w[WaypointColumn.NORTH] - r.y, w[WaypointColumn.HEIGHT] - r.z)
    distance = norm(d)
    memory[GuidanceMemory.CLOSEST] = min(memory[GuidanceMemory.CLOSEST], distance)
    speed = norm(v)
    captured = distance <= w[WaypointColumn.RADIUS]
    gone = dot(d, v) < 0.0 and speed > SLOW and t > memory[GuidanceMemory.SINCE]
    late = t - memory[GuidanceMemory.SINCE] > w[WaypointColumn.TIMEOUT]
    if captured or gone or late:
        miss = memory[GuidanceMemory.CLOSEST]
        if captured and not gone and speed > SLOW:
            # steering goes on to the next one, but the closest approach is still to come: along a straight line it is this
            along = dot(d, v) / speed
            miss = sqrt(max(distance * distance - along * along, 0.0))
        passed[k, PassedColumn.TIME], passed[k, PassedColumn.MISS] = t, miss
        memory[GuidanceMemory.WAYPOINT] = k + 1.0
        memory[GuidanceMemory.SINCE] = t
        memory[GuidanceMemory.CLOSEST] = inf


@kernel
def start_guidance(memory: np.ndarray, q: Quat) -> None:
    """Fill the guidance memory at the start of a flight: the attitude on the rail is commanded until a mode says otherwise."""
    fill(memory, 0.0)
    memory[GuidanceMemory.CLOSEST] = inf
    put_quaternion(memory, GuidanceMemory.HELD, q)
    put_quaternion(memory, GuidanceMemory.LAST, q)
    memory[GuidanceMemory.MODE] = -1.0


@helper
def slewed(commanded: Quat, last: Quat, most: float) -> Quat:
    """Return the commanded attitude, at most the angle `most` away from the last one."""
    e = multiply(conjugate(last), commanded)
    k = 1.0 if e.w >= 0.0 else -1.0
    angle = 2.0 * acos(clip(k * e.w, -1.0, 1.0))
    if angle <= most or angle < 1e-9:
        return commanded
    axis = _unit(Vec3(k * e.x, k * e.y, k * e.z), Vec3(0.0, 0.0, 0.0))
    s = sin(0.5 * most)
    return multiply(last, Quat(cos(0.5 * most), s * axis.x, s * axis.y, s * axis.z))


@kernel
def built_in_guidance(
    t: float,
    since_liftoff: float,
    r: Vec3,
    v: Vec3,
    q: Quat,
    frame: Quat,
    pressure: float,
    mode: int,
    memory: np.ndarray,
    guidance: Guidance,
    passed: np.ndarray,
    period: float,
) -> Quat:
    """Return the attitude commanded at one tick (body -> world).

    mode : PROFILE, WAYPOINTS or HOLD_DIRECTION; a change of mode keeps the attitude of that moment for HOLD_DIRECTION and
    restarts the clocks.
    """
    if memory[GuidanceMemory.MODE] != mode:
        memory[GuidanceMemory.MODE], memory[GuidanceMemory.MODE_TIME] = float(mode), t
        memory[GuidanceMemory.SINCE], memory[GuidanceMemory.CLOSEST] = t, inf
        if mode == HOLD_DIRECTION and since_liftoff >= 0.0:
            put_quaternion(memory, GuidanceMemory.HELD, q)
    over = since_liftoff
    if guidance.over == BY_HEIGHT:
        over = r.z
    elif guidance.over == BY_MODE_TIME:
        over = t - memory[GuidanceMemory.MODE_TIME]
    pitch, yaw, roll = profile_at(guidance.profile, over, guidance.smooth)
    commanded = multiply(frame, tilt_quaternion(pitch, yaw, roll))
    held = quaternion_at(memory, GuidanceMemory.HELD)
    if mode == HOLD_DIRECTION:
        commanded = held
    elif mode == WAYPOINTS:
        watch_waypoints(t, r, v, memory, guidance, passed)
        k = int(memory[GuidanceMemory.WAYPOINT])
        if k < guidance.waypoint.shape[0]:
            m = matrix_of(q)
            commanded = attitude_of_direction(aim(r, v, Vec3(m.xx, m.yx, m.zx), pressure, k, guidance), frame, roll)
            put_quaternion(memory, GuidanceMemory.HELD, commanded)
        elif guidance.past_last == LAST_HOLD:
            commanded = held
        elif guidance.past_last == LAST_UPRIGHT:
            commanded = multiply(frame, tilt_quaternion(0.0, 0.0, roll))
    if guidance.slew < inf:
        last = quaternion_at(memory, GuidanceMemory.LAST)
        commanded = slewed(commanded, last, guidance.slew * period)
    put_quaternion(memory, GuidanceMemory.LAST, commanded)
    return commanded

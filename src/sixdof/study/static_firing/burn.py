"""When a burn begins and ends, by published definitions."""

from __future__ import annotations

import math

import numpy as np

from sixdof.vehicle.motor import BURN_SHARE, burn_ends, running_impulse

# name: what it is, and who says so: the NFPA's code second-hand; G. P. Sutton & O. Biblarz, Rocket Propulsion Elements, ch. on solid propellants, from memory
DEFINITIONS = {
    "nfpa_1125": "first to last 5 % of the largest thrust (NFPA 1125)",
    "action_time": "first to last 10 % of it (action time, Sutton & Biblarz)",
    "tangent_bisector": "first 10 % to the aft tangent-bisector point (burning time)",
}
ACTION_SHARE = 0.1
PLATEAU = 0.40, 0.05  # before the fall through 3/4 of the plateau, in action times: the line before the tail-off is laid through this stretch
UPPER, LOWER = 0.75, 0.25  # of the plateau: the line of the tail-off goes through the curve there
BLUNT = math.radians(15.0)  # angle between the two lines below which there is no tail-off to speak of
NEAR = 0.5  # action times from the corner in which the bisector meets the curve


def burns(time: np.ndarray, force: np.ndarray) -> np.ndarray:
    """Return beginning and end of the burn, s, by each of DEFINITIONS, (definitions, 2); NaN where one finds none."""
    action = burn_ends(time, force, ACTION_SHARE)
    return np.array([burn_ends(time, force, BURN_SHARE), action, (action[0], tangent_bisector(time, force, action))])


def tangent_bisector(time: np.ndarray, force: np.ndarray, action: tuple[float, float]) -> float:
    """Return the aft tangent-bisector point, s: where the bisector of the angle between plateau and tail-off meets the curve.

    The angle depends on how a curve is drawn: here time is counted in action times, thrust in its mean over the action time (this project's choice). The
    line before the tail-off is that of least squares, the one of the tail-off goes through the curve at 3/4 and 1/4 of the plateau. NaN where they meet at
    less than 15 deg.
    """
    x = (time - action[0]) / (action[1] - action[0])
    y = force / _mean(time, force, action)
    late = np.flatnonzero((x > 0.4) & (x < 0.8))
    if late.size < 3:
        return math.nan
    knee = _last_above(x, y, UPPER * float(np.median(y[late])))
    flat = (x > knee - PLATEAU[0]) & (x < knee - PLATEAU[1])
    if flat.sum() < 3:
        return math.nan
    slope, height = np.polyfit(x[flat], y[flat], 1)
    level = float(height + slope * knee)
    upper, lower = (_last_above(x, y, share * level) for share in (UPPER, LOWER))
    if not (level > 0.0 and lower > upper):
        return math.nan
    fall = (LOWER - UPPER) * level / (lower - upper)
    corner = (UPPER * level - fall * upper - height) / (slope - fall)
    back, down = (np.array([sign, sign * m]) / math.hypot(1.0, m) for sign, m in ((-1.0, slope), (1.0, fall)))
    if math.acos(float(np.clip(-back @ down, -1.0, 1.0))) < BLUNT:
        return math.nan
    return action[0] + (action[1] - action[0]) * _met(x, y, (corner, height + slope * corner), back + down)


def _mean(time: np.ndarray, force: np.ndarray, ends: tuple[float, float]) -> float:
    """Return the mean force between two times."""
    inside = np.concatenate([[ends[0]], time[(time > ends[0]) & (time < ends[1])], [ends[1]]])
    return float(running_impulse(inside, np.interp(inside, time, force))[-1] / (ends[1] - ends[0]))


def _last_above(x: np.ndarray, y: np.ndarray, level: float) -> float:
    """Return the last place at which the curve comes down through a level."""
    k = int(np.flatnonzero(y >= level)[-1])
    return float(x[k] if k + 1 == x.size else np.interp(level, y[[k + 1, k]], x[[k + 1, k]]))


def _met(x: np.ndarray, y: np.ndarray, corner: tuple[float, float], along: np.ndarray) -> float:
    """Return where a line from the corner meets the curve, the place nearest to the corner; the corner's own where it lies on the curve."""
    side = (x - corner[0]) * along[1] - (y - corner[1]) * along[0]
    change = np.flatnonzero((side[:-1] * side[1:] <= 0.0) & (side[:-1] != side[1:]) & (np.abs(x[:-1] - corner[0]) < NEAR))
    if not change.size:
        return math.nan
    k = change[np.argmin(np.hypot(x[change] - corner[0], y[change] - corner[1]))]
    return float(x[k] + (x[k + 1] - x[k]) * side[k] / (side[k] - side[k + 1]))


def average_thrusts(time: np.ndarray, force: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Return the mean thrust, N, over each burn of `ends` (definitions, 2)."""
    return np.array([_mean(time, force, tuple(one)) if np.isfinite(one).all() else math.nan for one in ends])


def burn_time_errors(time: np.ndarray, force: np.ndarray, ends: np.ndarray, noise: float, step: float, clock: float) -> np.ndarray:
    """Return the standard deviations of the burn times, s: noise (N, of the filtered curve) over the slope at each end, the samples' step, and the clock."""
    slope = np.abs(np.gradient(force, time))
    at = np.interp(ends, time, slope)
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.minimum(noise / at, ends[:, 1:] - ends[:, :1]) ** 2 + step**2 / 12.0
    return np.sqrt(each.sum(axis=1) + (clock * (ends[:, 1] - ends[:, 0])) ** 2)

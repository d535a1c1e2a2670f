"""The built-in control law as a linear sampled system: what it does to small errors while no limit is reached."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.gains import gains_table
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, Gain
from sixdof.mission.mission import Mission

LAW_STATES = ("integral", "derivative", "last_error", "last_goal", "notch_1", "notch_2")


class LawGains(NamedTuple):
    """The gains at every point (n) for roll, pitch, yaw: schedule, scaling by pressure and drawn factors worked in.

    p, i, d, f : (n, 3). scale : (n,). notch : (5,) as core.control.notched.
    """

    p: np.ndarray
    i: np.ndarray
    d: np.ndarray
    f: np.ndarray
    scale: np.ndarray
    period: float
    filter: float
    on_error: bool
    cascade: bool
    feed: bool  # the goal's own rate is given to the law
    notch: np.ndarray


def law_gains(models: xr.Dataset, mission: Mission) -> LawGains:
    """Return the gains that the law of `mission` has at the points of the models, by what the computer knows there."""
    table, autopilot = gains_table(mission), mission.autopilot
    rows = int(table[Gain.ROWS])
    blocks = table[GAIN_HEAD:].reshape(2, rows, GAIN_ROW)
    pressure, mach = models["sensed_pressure"].values, models["sensed_mach"].values
    over = pressure if table[Gain.OVER] == 1.0 else mach
    booster = models["booster"].values > 0.5
    found = np.empty((len(pressure), 3, 4))
    for which, block in enumerate(blocks):
        chosen = booster == bool(which)
        for k in range(12):
            found[chosen, k // 4, k % 4] = np.interp(over[chosen], block[:, 0], block[:, 1 + k]) if rows > 1 else block[0, 1 + k]
    found *= models["gain_factor"].values[None, :, None]
    scale = np.ones_like(pressure)
    if table[Gain.PRESSURE] > 0.0:
        scale = np.clip(table[Gain.PRESSURE] / np.maximum(pressure, 1.0), table[Gain.LOW], table[Gain.HIGH])
    return LawGains(
        *np.moveaxis(found, 2, 0),
        scale,
        1.0 / autopilot.rate,
        float(table[Gain.FILTER]),
        table[Gain.ON_ERROR] > 0.0,
        table[Gain.CASCADE] > 0.0,
        mission.guidance.rate_feedforward,
        table[Gain.NOTCH_C0 : Gain.NOTCH_C0 + 5],
    )


def law_response(gains: LawGains, channel: int, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return what a channel's demand is per measured angle and per measured rate (both with the sign turned), and per goal.

    z : (n, ...) complex, points in front. With these the loop is L = (angle part) (plant's angle) + (rate part) (plant's rate).
    """
    p, i, d, f, s = (_column(x, z) for x in (gains.p[:, channel], gains.i[:, channel], gains.d[:, channel], gains.f[:, channel], gains.scale))
    t, back = gains.period, 1.0 / z
    integral = i * t / (1.0 - back)
    goal_rate = (1.0 - back) / t if gains.feed else np.zeros_like(z)
    if gains.cascade:
        rate = d + integral
        angle = p * rate
        goal = angle + (rate + f) * goal_rate
    elif gains.on_error:
        angle = p + integral + d * (1.0 - back) / (gains.filter + t - gains.filter * back)
        rate, goal = np.zeros_like(z), angle + f * goal_rate
    else:
        share = t / (gains.filter + t)
        angle, rate = p + integral, d * share / (1.0 - (1.0 - share) * back)
        goal = angle + f * goal_rate
    shaped = s * _notch_response(gains, channel, back)
    return shaped * angle, shaped * rate, shaped * goal


def _column(values: np.ndarray, z: np.ndarray) -> np.ndarray:
    return values.reshape(-1, *[1] * (z.ndim - 1))


def _notch_response(gains: LawGains, channel: int, back: np.ndarray):
    if channel == 0 or not gains.notch.any():
        return 1.0
    c0, c1, c2, a1, a2 = gains.notch
    return 1.0 + (c0 + (c1 + c2 * back) * back) / (1.0 + (a1 + a2 * back) * back)


def law_matrices(gains: LawGains, channel: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return (A, B, C, D) of a channel's law at every point: states LAW_STATES, inputs goal, angle, rate, output the demand."""
    n, t = len(gains.scale), gains.period
    p, i, d, f = (x[:, channel] for x in (gains.p, gains.i, gains.d, gains.f))

    # rows of what is computed in a tick, by [states.., goal, angle, rate]
    def row(**parts):
        out = np.zeros((n, 9))
        for name, value in parts.items():
            out[:, _PLACE[name]] = value
        return out

    feed = 1.0 if gains.feed else 0.0
    goal_rate = row(goal=feed / t, last_goal=-feed / t)
    error = row(goal=1.0, angle=-1.0)
    if gains.cascade:
        error = p[:, None] * error + goal_rate + row(rate=-1.0)
    # what nothing moves stands still and is trim: kept, it would be a motion that never dies out
    integral = row(integral=(i != 0.0).astype(float)) + (i * t)[:, None] * error
    if gains.cascade:
        derivative, direct = row(), d[:, None] * error
    elif gains.on_error:
        k = gains.filter + t
        derivative = row(derivative=gains.filter / k, last_error=-d / k) + (d / k)[:, None] * error
        direct = p[:, None] * error
    else:
        share = t / (gains.filter + t)
        derivative, direct = row(derivative=1.0 - share, rate=-share * d), p[:, None] * error
    raw = gains.scale[:, None] * (direct + integral + derivative + f[:, None] * goal_rate)
    c0, c1, c2, a1, a2 = gains.notch if channel > 0 else np.zeros(5)
    filtered = c0 * raw + row(notch_1=1.0)
    notch_1 = c1 * raw - a1 * filtered + row(notch_2=1.0)
    notch_2 = c2 * raw - a2 * filtered
    whole = np.stack([integral, derivative, error, row(goal=1.0), notch_1, notch_2], axis=1)
    out = (raw + filtered)[:, None, :]
    states = len(LAW_STATES)
    return whole[:, :, :states], whole[:, :, states:], out[:, :, :states], out[:, :, states:]


_PLACE = {name: k for k, name in enumerate((*LAW_STATES, "goal", "angle", "rate"))}

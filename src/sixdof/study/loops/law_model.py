"""The built-in control law as a linear sampled system: what it does to small errors while no limit is reached."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.gains import gains_table
from sixdof.mission.mission import Mission
from sixdof.study.loops.blocks import Block, pruned
from sixdof.study.loops.linear import CHANNELS
from sixdof.study.probes.columns import GAIN_HEAD, GAIN_ROW, Gain

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


def law_block(gains: LawGains, channel: int) -> Block:
    """Return a channel's law: from goal, and angle and rate as they are read, to the demand. States that no gain moves are omitted."""
    n, t = len(gains.scale), gains.period
    p, i, d, f = (x[:, channel] for x in (gains.p, gains.i, gains.d, gains.f))

    # rows of what is computed in a tick, by [states.., goal, angle, rate]
    def row(**parts):
        out = np.zeros((n, len(_PLACE)))
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
    name, states = CHANNELS[channel], len(LAW_STATES)
    names = tuple(f"{name}_{state}" for state in LAW_STATES)
    inputs = tuple(f"{name}_{what}" for what in ("goal", "angle_read", "rate_read"))
    return pruned(Block(whole[:, :, :states], whole[:, :, states:], out[:, :, :states], out[:, :, states:], names, inputs, (f"{name}_demand",), t))


_PLACE = {name: k for k, name in enumerate((*LAW_STATES, "goal", "angle", "rate"))}
OF_POINTS = ("p", "i", "d", "f", "scale")  # fields of LawGains with points in front


def picked(gains: LawGains, rows) -> LawGains:
    """Return the gains of some points."""
    return gains._replace(**{name: getattr(gains, name)[rows] for name in OF_POINTS})


def joined_gains(gains: Sequence[LawGains]) -> LawGains:
    """Return gains that differ in nothing but their numbers at points, one after the other."""
    return gains[0]._replace(**{name: np.concatenate([getattr(each, name) for each in gains]) for name in OF_POINTS})


def settings(gains: LawGains) -> tuple:
    """Return what is the same for all points of a law."""
    return gains.period, gains.filter, gains.on_error, gains.cascade, gains.feed, tuple(gains.notch)

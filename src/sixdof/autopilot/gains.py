"""The built-in control law's gains and its structural filter."""

from __future__ import annotations

import math

import numpy as np

from sixdof.autopilot.optional import or_else
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW
from sixdof.mission import tables
from sixdof.mission.mission import Mission


def gains_table(mission: Mission) -> np.ndarray:
    """Return the built-in control law's gains: head, rows without a booster, rows with one (core.control, K_*)."""
    autopilot = mission.autopilot
    alone = autopilot.schedule or (tables.GainSet(pitch=autopilot.pitch, yaw=autopilot.yaw, roll=autopilot.roll),)
    pairs = [alone, alone if autopilot.with_booster is None else (autopilot.with_booster,) * len(alone)]
    over = 0.0 if not autopilot.schedule else 1.0 if autopilot.schedule_over == "dynamic_pressure" else 2.0
    low, high = autopilot.gain_scale_limits
    head = [
        over,
        len(alone),
        autopilot.gain_reference_q or 0.0,
        low,
        high,
        autopilot.integral_limit,
        autopilot.filter,
        1.0 if autopilot.derivative == "error" else 0.0,
        1.0 if autopilot.structure == "cascade" else 0.0,
        or_else(autopilot.rate_limit, math.inf),
        or_else(autopilot.demand_limit, math.inf),
        *notch_numbers(autopilot),
    ]
    rows = []
    for chosen in pairs:
        for own, at in zip(chosen, alone):
            rows += [at.at or 0.0]
            for channel in (own.roll, own.pitch, own.yaw):
                rows += [channel.p, channel.i, channel.d, channel.f]
    out = np.array(head + rows, dtype=float)
    assert len(head) == GAIN_HEAD and out.size == GAIN_HEAD + 2 * len(alone) * GAIN_ROW
    return out


def notch_numbers(autopilot: tables.Autopilot) -> tuple[float, ...]:
    """Return c0, c1, c2, a1, a2 of the structural filter at the autopilot's rate (core.control.notched), zeros without one.

    (s^2 + 2 depth width w s + w^2)/(s^2 + 2 width w s + w^2) by Tustin's rule, prewarped so that the centre stays where it is
    (e.g. K. J. Astrom, B. Wittenmark, Computer-Controlled Systems, 1997, section 8.2).
    """
    notch = autopilot.notch
    if notch is None:
        return (0.0,) * 5
    t = math.tan(math.pi * notch.frequency / autopilot.rate)
    scale = 1.0 + 2.0 * notch.width * t + t * t
    a1, a2 = 2.0 * (t * t - 1.0) / scale, (1.0 - 2.0 * notch.width * t + t * t) / scale
    b0, b2 = ((1.0 + sign * 2.0 * notch.depth * notch.width * t + t * t) / scale for sign in (1.0, -1.0))
    return b0 - 1.0, 0.0, b2 - a2, a1, a2

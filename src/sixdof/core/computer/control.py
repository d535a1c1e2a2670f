"""The built-in control law: quaternion attitude error and body rates -> roll, pitch, yaw demands; and the fin mixer."""

from __future__ import annotations

from sixdof._jit import helper, kernel
from sixdof.core.algebra import clip, conjugate, multiply
from sixdof.core.layout import (
    S_BOOSTER,
    S_ENABLED,
    S_GOAL_P,
    S_GOAL_W,
    S_GOAL_X,
    S_GOAL_Y,
    S_GOAL_Z,
    S_MACH,
    S_P,
    S_PERIOD,
    S_PRESSURE,
    S_QW,
    S_QX,
    S_QY,
    S_QZ,
    S_SATURATED,
)
from sixdof.core.types import Quat

# the gains of the built-in law are one flat array: a head, then for each configuration (alone, with a booster) the same number of
# rows over the schedule variable
(
    K_OVER,  # what the rows run over: 0 nothing (one row), 1 dynamic pressure, 2 Mach number
    K_ROWS,  # rows a configuration
    K_PRESSURE,  # dynamic pressure at which gains hold as written, Pa; 0: gains are not scaled by it
    K_LOW,  # limits of that scaling
    K_HIGH,
    K_INTEGRAL,  # limit of the integral's part of a demand, rad
    K_FILTER,  # time constant of the derivative's filter, s; 0: none
    K_ON_ERROR,  # 1: D acts on the error's change; 0: on the measured rate
    K_CASCADE,  # 1: the attitude loop asks for a rate (p, limited), the rate loop answers with d and i; 0: one PID
    K_RATE_LIMIT,  # of the rate asked for in a cascade, rad/s
    K_DEMAND_LIMIT,  # of each demand, rad
    K_NOTCH,  # five numbers of the structural filter of pitch and yaw, all 0: none (see `notched`)
) = range(12)
K_HEAD = 16
K_ROW = 13  # schedule value, then p, i, d, f of roll, pitch, yaw
CHANNELS = 3
# memory, three numbers a channel: integral, filtered derivative, last error; then two a channel: state of the structural filter
M_NOTCH = 9


@helper
def attitude_error(sensed):
    """Return twice the vector part of the quaternion from the actual to the wanted attitude, the short way round.

    It is the small-angle error about each body axis and is singular nowhere; 2 sin(angle/2) in size.
    """
    q = Quat(sensed[S_QW], sensed[S_QX], sensed[S_QY], sensed[S_QZ])
    e = multiply(conjugate(q), Quat(sensed[S_GOAL_W], sensed[S_GOAL_X], sensed[S_GOAL_Y], sensed[S_GOAL_Z]))
    k = 2.0 if e.w >= 0.0 else -2.0
    return k * e.x, k * e.y, k * e.z


@helper
def scheduled(gains, first, rows, x, column):
    """Return one gain at the schedule value x, straight lines between rows, held beyond both ends."""
    at = first
    for k in range(1, rows):
        if x >= gains[first + k * K_ROW]:
            at = first + k * K_ROW
    here = gains[at + column]
    if at + K_ROW >= first + rows * K_ROW or x <= gains[at]:
        return here
    f = (x - gains[at]) / (gains[at + K_ROW] - gains[at])
    return here + f * (gains[at + K_ROW + column] - here)


@helper
def notched(u, gains, memory, channel):
    """Return one channel's demand behind the structural filter H(z) = 1 + (c0 + c1/z + c2/z^2)/(1 + a1/z + a2/z^2).

    gains hold c0, c1, c2, a1, a2 from K_NOTCH on. The direct path stands apart so that zeros mean no filter, to the bit.
    """
    k = M_NOTCH + 2 * channel
    n = gains[K_NOTCH] * u + memory[k]
    memory[k] = gains[K_NOTCH + 1] * u - gains[K_NOTCH + 3] * n + memory[k + 1]
    memory[k + 1] = gains[K_NOTCH + 2] * u - gains[K_NOTCH + 4] * n
    return u + n


@helper
def pid(error, rate, goal_rate, p, i, d, f, scale, held, gains, memory, channel, period):
    """Return one channel's demand (rad).

    I grows by i error period (rectangles) and is limited; it stands still while a fin is at its stop and the error would drive it
    further (anti-windup). D acts on the rate, or on the change of error through a first-order filter:
    D = (T D + d (e - e_last))/(T + period).
    """
    k = 3 * channel
    if gains[K_CASCADE] > 0.0:
        asked = clip(p * error + goal_rate, -gains[K_RATE_LIMIT], gains[K_RATE_LIMIT])
        error = asked - rate
        p, d = d, 0.0
    step = i * error * period
    if not (held > 0.0 and step * memory[k] > 0.0):
        memory[k] = clip(memory[k] + step, -gains[K_INTEGRAL], gains[K_INTEGRAL])
    tf = gains[K_FILTER]
    if gains[K_ON_ERROR] > 0.0:
        change = d * (error - memory[k + 2])
        memory[k + 1] = (tf * memory[k + 1] + change) / (tf + period)
    else:
        share = period / (tf + period)
        memory[k + 1] += share * (-d * rate - memory[k + 1])
    memory[k + 2] = error
    demand = scale * (p * error + memory[k] + memory[k + 1] + f * goal_rate)
    if channel > 0:  # what bends shakes the gyros of pitch and yaw
        demand = notched(demand, gains, memory, channel)
    return clip(demand, -gains[K_DEMAND_LIMIT], gains[K_DEMAND_LIMIT])


@kernel
def built_in_control(t, sensed, memory, gains, command):
    """Write the demands of roll, pitch and yaw (rad of fin) into `command`; see layout.SENSED, DEMAND and the K_* numbers."""
    error = attitude_error(sensed)
    if sensed[S_ENABLED] < 0.5:
        for c in range(CHANNELS):
            command[c] = 0.0
            memory[3 * c] = memory[3 * c + 1] = 0.0
            memory[M_NOTCH + 2 * c] = memory[M_NOTCH + 2 * c + 1] = 0.0
            # the last error goes on being noted: D on its change must not kick as the fins go live
            memory[3 * c + 2] = error[0] if c == 0 else (error[1] if c == 1 else error[2])
        return
    rows = int(gains[K_ROWS])
    first = K_HEAD
    if sensed[S_BOOSTER] > 0.5:
        first += rows * K_ROW
    x = 0.0
    if gains[K_OVER] == 1.0:
        x = sensed[S_PRESSURE]
    elif gains[K_OVER] == 2.0:
        x = sensed[S_MACH]
    scale = 1.0
    if gains[K_PRESSURE] > 0.0:
        scale = clip(gains[K_PRESSURE] / max(sensed[S_PRESSURE], 1.0), gains[K_LOW], gains[K_HIGH])
    for c in range(CHANNELS):
        e = error[0] if c == 0 else (error[1] if c == 1 else error[2])
        column = 1 + 4 * c
        command[c] = pid(
            e,
            sensed[S_P + c],
            sensed[S_GOAL_P + c],
            scheduled(gains, first, rows, x, column),
            scheduled(gains, first, rows, x, column + 1),
            scheduled(gains, first, rows, x, column + 2),
            scheduled(gains, first, rows, x, column + 3),
            scale,
            sensed[S_SATURATED],
            gains,
            memory,
            c,
            sensed[S_PERIOD],
        )


@helper
def _room(base, extra, travel):
    """Return the largest share (0..1) of `extra` that fits beside `base` within the travel."""
    if extra > 0.0:
        return clip((travel - base) / extra, 0.0, 1.0)
    if extra < 0.0:
        return clip((-travel - base) / extra, 0.0, 1.0)
    return 1.0


@kernel
def mix(command, mixer, travel, roll_first, fins):
    """Fill the fin commands from the demands, within the travel; return 1 if a demand had to be cut, else 0.

    What comes first (roll, or pitch and yaw) gets all the travel it asks for; the other is scaled down, all fins alike, to what
    is left: its direction stays.
    """
    n = fins.shape[0]
    first_share = second_share = 1.0
    for i in range(n):
        roll = mixer[i, 0] * command[0]
        lean = mixer[i, 1] * command[1] + mixer[i, 2] * command[2]
        first_share = min(first_share, _room(0.0, roll if roll_first > 0 else lean, travel))
    for i in range(n):
        roll = mixer[i, 0] * command[0]
        lean = mixer[i, 1] * command[1] + mixer[i, 2] * command[2]
        if roll_first > 0:
            second_share = min(second_share, _room(first_share * roll, lean, travel))
        else:
            second_share = min(second_share, _room(first_share * lean, roll, travel))
    for i in range(n):
        roll = mixer[i, 0] * command[0]
        lean = mixer[i, 1] * command[1] + mixer[i, 2] * command[2]
        if roll_first > 0:
            fins[i] = first_share * roll + second_share * lean
        else:
            fins[i] = first_share * lean + second_share * roll
    return 1.0 if first_share < 1.0 or second_share < 1.0 else 0.0

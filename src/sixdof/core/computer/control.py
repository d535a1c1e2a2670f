"""The built-in control law: quaternion attitude error and body rates -> roll, pitch, yaw demands; and the fin mixer."""

from __future__ import annotations

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import conjugate, multiply
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, ControlMemory, Gain, GainRow, MixerColumn
from sixdof.core.lanes import clip
from sixdof.core.layout import Demand, Sensed
from sixdof.core.types import Quat

CHANNELS, GAINS_EACH, MEMORY_EACH = 3, 4, 3  # gains (p, i, d, f) and numbers kept, per channel


@helper
def attitude_error(sensed: np.ndarray) -> tuple[float, float, float]:
    """Return twice the vector part of the quaternion from the actual to the commanded attitude, the short way round.

    It is the small-angle error about each body axis and is singular nowhere; 2 sin(angle/2) in size.
    """
    q = Quat(sensed[Sensed.Q_W], sensed[Sensed.Q_X], sensed[Sensed.Q_Y], sensed[Sensed.Q_Z])
    e = multiply(conjugate(q), Quat(sensed[Sensed.COMMANDED_W], sensed[Sensed.COMMANDED_X], sensed[Sensed.COMMANDED_Y], sensed[Sensed.COMMANDED_Z]))
    k = 2.0 if e.w >= 0.0 else -2.0
    return k * e.x, k * e.y, k * e.z


@helper
def scheduled(gains: np.ndarray, first: int, rows: int, x: float, column: int) -> float:
    """Return one gain at the schedule value x, straight lines between rows, held beyond both ends."""
    at = first
    for k in range(1, rows):
        if x >= gains[first + k * GAIN_ROW]:
            at = first + k * GAIN_ROW
    here = gains[at + column]
    if at + GAIN_ROW >= first + rows * GAIN_ROW or x <= gains[at]:
        return here
    f = (x - gains[at]) / (gains[at + GAIN_ROW] - gains[at])
    return here + f * (gains[at + GAIN_ROW + column] - here)


@helper
def notched(u: float, gains: np.ndarray, memory: np.ndarray, channel: int) -> float:
    """Return one channel's demand behind the structural filter H(z) = 1 + (c0 + c1/z + c2/z^2)/(1 + a1/z + a2/z^2).

    Its numbers are Gain.NOTCH_C0 .. NOTCH_A2. The direct path stands apart so that zeros mean no filter, to the bit.
    """
    k = ControlMemory.NOTCH + 2 * channel
    n = gains[Gain.NOTCH_C0] * u + memory[k]
    memory[k] = gains[Gain.NOTCH_C1] * u - gains[Gain.NOTCH_A1] * n + memory[k + 1]
    memory[k + 1] = gains[Gain.NOTCH_C2] * u - gains[Gain.NOTCH_A2] * n
    return u + n


@helper
def pid(
    error: float,
    rate: float,
    commanded_rate: float,
    p: float,
    i: float,
    d: float,
    f: float,
    scale: float,
    held: float,
    gains: np.ndarray,
    memory: np.ndarray,
    channel: int,
    period: float,
) -> float:
    """Return one channel's demand (rad).

    I grows by i error period (rectangles) and is limited; it stands still while a fin is at its stop and the error would drive it
    further (anti-windup). D acts on the rate, or on the change of error through a first-order filter:
    D = (T D + d (e - e_last))/(T + period).
    """
    integral, derivative = ControlMemory.ROLL_INTEGRAL + MEMORY_EACH * channel, ControlMemory.ROLL_DERIVATIVE + MEMORY_EACH * channel
    last_error = ControlMemory.ROLL_ERROR + MEMORY_EACH * channel
    if gains[Gain.CASCADE] > 0.0:
        commanded = clip(p * error + commanded_rate, -gains[Gain.RATE_LIMIT], gains[Gain.RATE_LIMIT])
        error = commanded - rate
        p, d = d, 0.0
    step = i * error * period
    if not (held > 0.0 and step * memory[integral] > 0.0):
        memory[integral] = clip(memory[integral] + step, -gains[Gain.INTEGRAL], gains[Gain.INTEGRAL])
    tf = gains[Gain.FILTER]
    if gains[Gain.ON_ERROR] > 0.0:
        change = d * (error - memory[last_error])
        memory[derivative] = (tf * memory[derivative] + change) / (tf + period)
    else:
        share = period / (tf + period)
        memory[derivative] += share * (-d * rate - memory[derivative])
    memory[last_error] = error
    demand = scale * (p * error + memory[integral] + memory[derivative] + f * commanded_rate)
    if channel > 0:  # what bends shakes the gyros of pitch and yaw
        demand = notched(demand, gains, memory, channel)
    return clip(demand, -gains[Gain.DEMAND_LIMIT], gains[Gain.DEMAND_LIMIT])


@kernel
def built_in_control(t: float, sensed: np.ndarray, memory: np.ndarray, gains: np.ndarray, command: np.ndarray) -> None:
    """Write the demands of roll, pitch and yaw (rad of fin) into `command`; see layout.SENSED, DEMAND and columns.Gain."""
    error = attitude_error(sensed)
    if sensed[Sensed.ENABLED] < 0.5:
        for c in range(CHANNELS):
            command[Demand.ROLL + c] = 0.0
            memory[ControlMemory.ROLL_INTEGRAL + MEMORY_EACH * c] = memory[ControlMemory.ROLL_DERIVATIVE + MEMORY_EACH * c] = 0.0
            memory[ControlMemory.NOTCH + 2 * c] = memory[ControlMemory.NOTCH + 2 * c + 1] = 0.0
            # the last error goes on being noted: D on its change must not kick as the fins go live
            memory[ControlMemory.ROLL_ERROR + MEMORY_EACH * c] = error[0] if c == 0 else (error[1] if c == 1 else error[2])
        return
    rows = int(gains[Gain.ROWS])
    first = GAIN_HEAD
    if sensed[Sensed.BOOSTER] > 0.5:
        first += rows * GAIN_ROW
    x = 0.0
    if gains[Gain.OVER] == 1.0:
        x = sensed[Sensed.DYNAMIC_PRESSURE]
    elif gains[Gain.OVER] == 2.0:
        x = sensed[Sensed.MACH]
    scale = 1.0
    if gains[Gain.PRESSURE] > 0.0:
        scale = clip(gains[Gain.PRESSURE] / max(sensed[Sensed.DYNAMIC_PRESSURE], 1.0), gains[Gain.LOW], gains[Gain.HIGH])
    for c in range(CHANNELS):
        e = error[0] if c == 0 else (error[1] if c == 1 else error[2])
        column = GainRow.ROLL_P + GAINS_EACH * c
        command[Demand.ROLL + c] = pid(
            e,
            sensed[Sensed.RATE_X + c],
            sensed[Sensed.COMMANDED_RATE_X + c],
            scheduled(gains, first, rows, x, column),
            scheduled(gains, first, rows, x, column + 1),
            scheduled(gains, first, rows, x, column + 2),
            scheduled(gains, first, rows, x, column + 3),
            scale,
            sensed[Sensed.SATURATED],
            gains,
            memory,
            c,
            sensed[Sensed.PERIOD],
        )


@helper
def _room(base: float, extra: float, travel: float) -> float:
    """Return the largest share (0..1) of `extra` that fits beside `base` within the travel."""
    if extra > 0.0:
        return clip((travel - base) / extra, 0.0, 1.0)
    if extra < 0.0:
        return clip((-travel - base) / extra, 0.0, 1.0)
    return 1.0


@kernel
def mix(command: np.ndarray, mixer: np.ndarray, travel: float, roll_first: int, fins: np.ndarray) -> float:
    """Fill the fin commands from the demands, within the travel; return 1 if a demand had to be cut, else 0.

    What comes first (roll, or pitch and yaw) gets all the travel it asks for; the other is scaled down, all fins alike, to what
    is left: its direction stays.
    """
    n = fins.shape[0]
    first_share = second_share = 1.0
    for i in range(n):
        roll = mixer[i, MixerColumn.ROLL] * command[Demand.ROLL]
        lean = mixer[i, MixerColumn.PITCH] * command[Demand.PITCH] + mixer[i, MixerColumn.YAW] * command[Demand.YAW]
        first_share = min(first_share, _room(0.0, roll if roll_first > 0 else lean, travel))
    for i in range(n):
        roll = mixer[i, MixerColumn.ROLL] * command[Demand.ROLL]
        lean = mixer[i, MixerColumn.PITCH] * command[Demand.PITCH] + mixer[i, MixerColumn.YAW] * command[Demand.YAW]
        if roll_first > 0:
            second_share = min(second_share, _room(first_share * roll, lean, travel))
        else:
            second_share = min(second_share, _room(first_share * lean, roll, travel))
    for i in range(n):
        roll = mixer[i, MixerColumn.ROLL] * command[Demand.ROLL]
        lean = mixer[i, MixerColumn.PITCH] * command[Demand.PITCH] + mixer[i, MixerColumn.YAW] * command[Demand.YAW]
        if roll_first > 0:
            fins[i] = first_share * roll + second_share * lean
        else:
            fins[i] = first_share * lean + second_share * roll
    return 1.0 if first_share < 1.0 or second_share < 1.0 else 0.0

"""The built-in control law: quaternion attitude error and body rates -> roll, pitch, yaw demands; and the fin mixer."""

from __future__ import annotations

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import conjugate, multiply
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, ControlMemory, Gain, GainRow, MixerColumn
from sixdof.core.lanes import clip, common, entry, larger, like, select, smaller, some
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
    k = select(e.w >= 0.0, 2.0, -2.0)
    return k * e.x, k * e.y, k * e.z


@helper
def schedule_at(gains: np.ndarray, first: int, rows: int, x: float) -> tuple[int, float]:
    """Return (where the row before x begins, how far x is towards the next, 0..1); first : where the schedule's rows begin."""
    at = first
    if rows < 2:
        return at, like(0.0, x)
    for k in range(1, rows - 1):
        at = select(x >= gains[first + k * GAIN_ROW], first + k * GAIN_ROW, at)
    f = (x - entry(gains, at)) / (entry(gains, at + GAIN_ROW) - entry(gains, at))
    return at, clip(f, 0.0, 1.0)


@helper
def scheduled(gains: np.ndarray, at: int, f: float, rows: int, column: int) -> float:
    """Return one gain of a schedule, straight lines between its rows, held beyond both ends; at, f : from `schedule_at`."""
    here = entry(gains, at + column)
    return here + f * (entry(gains, at + GAIN_ROW + column) - here) if rows > 1 else here


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
    if common(gains[Gain.CASCADE]) > 0.0:
        commanded = clip(p * error + commanded_rate, -gains[Gain.RATE_LIMIT], gains[Gain.RATE_LIMIT])
        error = commanded - rate
        p, d = d, like(0.0, d)
    step = i * error * period
    grown = clip(memory[integral] + step, -gains[Gain.INTEGRAL], gains[Gain.INTEGRAL])
    memory[integral] = select((held > 0.0) & (step * memory[integral] > 0.0), memory[integral], grown)
    tf = gains[Gain.FILTER]
    if common(gains[Gain.ON_ERROR]) > 0.0:
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


@helper
def _scheduled_over(sensed: np.ndarray, gains: np.ndarray) -> float:
    """Return what the schedule's rows run over: dynamic pressure, Mach number, or nothing."""
    if common(gains[Gain.OVER]) == 1.0:
        return sensed[Sensed.DYNAMIC_PRESSURE]
    if common(gains[Gain.OVER]) == 2.0:
        return sensed[Sensed.MACH]
    return like(0.0, sensed[Sensed.MACH])


@helper
def _centre(live: bool, error: float, command: np.ndarray, memory: np.ndarray, channel: int) -> None:
    """Take one channel's demand and memory back to zero where the fins are not live.

    The last error goes on being noted: D on its change must not kick as the fins go live.
    """
    command[Demand.ROLL + channel] = select(live, command[Demand.ROLL + channel], 0.0)
    for k in (ControlMemory.ROLL_INTEGRAL + MEMORY_EACH * channel, ControlMemory.ROLL_DERIVATIVE + MEMORY_EACH * channel):
        memory[k] = select(live, memory[k], 0.0)
    for k in (ControlMemory.NOTCH + 2 * channel, ControlMemory.NOTCH + 2 * channel + 1):
        memory[k] = select(live, memory[k], 0.0)
    last = ControlMemory.ROLL_ERROR + MEMORY_EACH * channel
    memory[last] = select(live, memory[last], error)


@kernel
def built_in_control(t: float, sensed: np.ndarray, memory: np.ndarray, gains: np.ndarray, command: np.ndarray) -> None:
    """Write the demands of roll, pitch and yaw (rad of fin) into `command`; see layout.SENSED, DEMAND and columns.Gain."""
    error = attitude_error(sensed)
    live = sensed[Sensed.ENABLED] >= 0.5
    if some(live):
        rows = int(common(gains[Gain.ROWS]))
        first = GAIN_HEAD + rows * GAIN_ROW if common(sensed[Sensed.BOOSTER]) > 0.5 else GAIN_HEAD
        at, f = schedule_at(gains, first, rows, _scheduled_over(sensed, gains))
        scale = like(1.0, error[0])
        if common(gains[Gain.PRESSURE]) > 0.0:
            scale = clip(gains[Gain.PRESSURE] / larger(sensed[Sensed.DYNAMIC_PRESSURE], 1.0), gains[Gain.LOW], gains[Gain.HIGH])
        for c in range(CHANNELS):
            column = GainRow.ROLL_P + GAINS_EACH * c
            command[Demand.ROLL + c] = pid(
                error[0] if c == 0 else (error[1] if c == 1 else error[2]),
                sensed[Sensed.RATE_X + c],
                sensed[Sensed.COMMANDED_RATE_X + c],
                scheduled(gains, at, f, rows, column),
                scheduled(gains, at, f, rows, column + 1),
                scheduled(gains, at, f, rows, column + 2),
                scheduled(gains, at, f, rows, column + 3),
                scale,
                sensed[Sensed.SATURATED],
                gains,
                memory,
                c,
                sensed[Sensed.PERIOD],
            )
    if some(sensed[Sensed.ENABLED] < 0.5):
        for c in range(CHANNELS):
            _centre(live, error[0] if c == 0 else (error[1] if c == 1 else error[2]), command, memory, c)


@helper
def _room(base: float, extra: float, travel: float) -> float:
    """Return the largest share (0..1) of `extra` that fits beside `base` within the travel."""
    up = extra > 0.0
    none = extra == 0.0
    return select(none, 1.0, clip((select(up, travel, -travel) - base) / select(none, 1.0, extra), 0.0, 1.0))


@helper
def _split(command: np.ndarray, row: np.ndarray, roll_first: int) -> tuple[float, float]:
    """Return the angles of one fin that come first and second: of roll, and of pitch and yaw, or the other way round."""
    roll = row[MixerColumn.ROLL] * command[Demand.ROLL]
    lean = row[MixerColumn.PITCH] * command[Demand.PITCH] + row[MixerColumn.YAW] * command[Demand.YAW]
    return (roll, lean) if roll_first > 0 else (lean, roll)


@kernel
def mix(command: np.ndarray, mixer: np.ndarray, travel: float, roll_first: int, fins: np.ndarray) -> float:
    """Fill the fin commands from the demands, within the travel; return 1 if a demand had to be cut, else 0.

    What comes first (roll, or pitch and yaw) gets all the travel it asks for; the other is scaled down, all fins alike, to what
    is left: its direction stays.
    """
    n = fins.shape[0]
    first_share = second_share = like(1.0, command[Demand.ROLL])
    for i in range(n):
        first, _ = _split(command, mixer[i], roll_first)
        first_share = smaller(first_share, _room(0.0, first, travel))
    for i in range(n):
        first, second = _split(command, mixer[i], roll_first)
        second_share = smaller(second_share, _room(first_share * first, second, travel))
    for i in range(n):
        first, second = _split(command, mixer[i], roll_first)
        fins[i] = first_share * first + second_share * second
    return select((first_share < 1.0) | (second_share < 1.0), 1.0, 0.0)

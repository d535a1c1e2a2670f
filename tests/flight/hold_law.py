"""The law of `hold.c` in Python, operation for operation, and other laws of one's own for the tests."""

from __future__ import annotations

import math

from sixdof.core.layout import Demand, Sensed

GAINS = (0.4, 0.1, 0.005, 0.4)
LIFTOFF, Q, RATE, GOAL = (int(i) for i in (Sensed.TIME_SINCE_LIFTOFF, Sensed.Q_W, Sensed.RATE_X, Sensed.COMMANDED_W))
TIME, UP, HEIGHT = (int(i) for i in (Sensed.TIME, Sensed.VELOCITY_UP, Sensed.HEIGHT))
ENABLED, DEMANDS = int(Sensed.ENABLED), (Demand.ROLL, Demand.PITCH, Demand.YAW, Demand.ENABLE)


def hold(t, sensed, memory, gains, command):
    """Hold the attitude wanted, proportional and derivative; see hold.c."""
    if gains[0] < 0.0:
        raise ValueError("gains[0] is negative")
    memory[0] += 1.0
    command[0] = command[1] = command[2] = command[4] = 0.0
    if sensed[LIFTOFF] < gains[3]:
        return
    q, g, rate = sensed[Q : Q + 4], sensed[GOAL : GOAL + 4], sensed[RATE : RATE + 3]
    w = q[0] * g[0] + q[1] * g[1] + q[2] * g[2] + q[3] * g[3]
    k = -2.0 if w < 0.0 else 2.0
    y = k * (q[0] * g[2] + q[1] * g[3] - q[2] * g[0] - q[3] * g[1])
    z = k * (q[0] * g[3] - q[1] * g[2] + q[2] * g[1] - q[3] * g[0])
    memory[1] += (-y if y < 0.0 else y) + (-z if z < 0.0 else z)
    command[4] = 1.0
    command[0] = -gains[2] * rate[0]
    command[1] = gains[0] * y - gains[1] * rate[1]
    command[2] = gains[0] * z - gains[1] * rate[2]


def count(t, sensed, memory, gains, command):
    """Fly straight and tell by the demands how often this law was called, and whether its memory was empty at first."""
    if memory[1] == 0.0 and sensed[TIME] > 0.0:
        raise RuntimeError("the first call came late")
    memory[0] += 1.0
    memory[1] = 1.0
    command[4] = 1.0
    command[1] = 1e-6 * memory[0]


def direct(t, sensed, memory, gains, command):
    """Turn each fin by an angle of its own, from `gains`, and release canopy 2 where the climb ends."""
    if sensed[LIFTOFF] > 0.5:
        command[3] = command[4] = 1.0
        for i in range(4):
            command[8 + i] = gains[i]
    if sensed[UP] < 0.0 and sensed[HEIGHT] > 100.0:
        command[4] = -1.0
        command[5] = 2.0


def lean(t, sensed, memory, gains, command):
    """Guidance: lean gains[0] rad to the east, and ask for no rate."""
    command[0] = math.cos(0.25 * math.pi - 0.5 * gains[0])
    command[1] = command[3] = 0.0
    command[2] = -math.sin(0.25 * math.pi - 0.5 * gains[0])
    command[4] = command[5] = command[6] = 0.0


def fail_late(t, sensed, memory, gains, command):
    """Fail after a second, in one's own words."""
    if t > gains[0]:
        raise ZeroDivisionError("my own trouble")


def wrong(t, sensed):
    """A law that takes too few arguments."""

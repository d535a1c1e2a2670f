"""Laws that write what no flight can use, each from a second after ignition on."""

from __future__ import annotations

import math

import numba


def nan_demand(t, sensed, memory, gains, command):
    """A square root of a negative number that numpy would only warn of."""
    if t > 1.0:
        command[1] = math.nan


def huge_demand(t, sensed, memory, gains, command):
    """Finite, and its square is not."""
    if t > 1.0:
        command[2] = -1e200


def no_such_canopy(t, sensed, memory, gains, command):
    """The demo has two."""
    if t > 1.0:
        command[5] = 7.0


def zero_quaternion(t, sensed, memory, gains, command):
    """Guidance that forgets to write the attitude."""
    command[0] = 1.0 if t <= 1.0 else 0.0


def long_quaternion(t, sensed, memory, gains, command):
    """Two attitudes' mean, not made a unit quaternion again."""
    command[0] = 1.0 if t <= 1.0 else 0.99


def nearly_unit(t, sensed, memory, gains, command):
    """Within what single precision and a few roundings leave."""
    command[0] = 1.0 + 1e-6


def beyond_memory(t, sensed, memory, gains, command):
    """Index 70 of 64 numbers: five seconds in, not at the first call."""
    if t > 1.0:
        memory[70 if t < 5.0 else 0] = 1.0


@numba.njit
def _write(a, i):
    a[i] = 1.0


def beyond_memory_in_a_helper(t, sensed, memory, gains, command):
    """The same in a function that the law calls, which numba compiles without a check of bounds."""
    if t > 1.0:
        _write(memory, 70)


def returns_three(t, sensed, memory, gains, command):
    """As a C law reports an error."""
    return 3 if t > 1.0 else 0


def returns_command(t, sensed, memory, gains, command):
    """As one writes a function that returns what it found."""
    return command

"""Choosing, limiting and looking up without branches: what a kernel does with a flight's own numbers beside + - * / and comparing.

The kernels of free flight, of the flight computer's tick and of the canopy never ask `if` of a number that differs from one flight to the
next: they go through the functions of this page and through the mathematical functions named here. So one source serves a float, and
as well a value that stands for several flights at once (eight in the lanes of a processor): such a type brings its operators, and its own
way of doing what stands here, and nothing else. Masks, the results of comparisons, are joined by & and |, never by `and`, `or`, `not`.
Questions about the model (is there turbulence, how many panels) are the same for all flights and stay plain `if`.
"""

from __future__ import annotations

from math import acos as acos
from math import asin as asin
from math import atan2 as atan2
from math import cos as cos
from math import exp as exp
from math import expm1 as expm1
from math import floor as floor
from math import log as log
from math import sin as sin
from math import sqrt as sqrt

import numpy as np

from sixdof._jit import helper

NEXT = np.uint64(1)  # to the next row or column of a table


@helper
def select(condition: bool, a: float, b: float) -> float:
    """Return a where the condition holds, b elsewhere; both have been worked out, so neither may be undefined (a division by zero)."""
    return a if condition else b


@helper
def opposite(condition: bool) -> bool:
    """Return where a condition does not hold."""
    return not condition


@helper
def some(condition: bool) -> bool:
    """Return whether a condition holds for at least one of the flights: what none of them wants need not be worked out."""
    return condition


@helper
def common(x: float) -> float:
    """Return a number that is the same for all the flights, such as an option of the mission kept among a flight's own numbers."""
    return x


@helper
def like(value: float, x: float) -> float:
    """Return a constant as a number of the kind of x: where a sum begins that flights will add to."""
    return value


@helper
def smaller(a: float, b: float) -> float:
    """Return the smaller of two numbers; a NaN in b is passed over, one in a stays."""
    return b if b < a else a


@helper
def larger(a: float, b: float) -> float:
    """Return the larger of two numbers; a NaN in b is passed over, one in a stays."""
    return b if b > a else a


@helper
def clip(x: float, low: float, high: float) -> float:
    """Return x limited to [low, high]; a NaN stays a NaN."""
    return low if x < low else (high if x > high else x)


@helper
def cell(x: float, rows: int) -> tuple[int, float]:
    """Return (row, fraction) of the uniform-grid position x in a table of `rows` rows, held beyond both ends.

    A NaN reads the first row: an index made of it could lie anywhere in memory. The state it came from stays NaN and ends the flight.
    """
    x = x if x > 0.0 else 0.0
    x = x if x < rows - 1.0 else rows - 1.0
    i = min(int(x), rows - 2)
    return np.uint64(i), x - i  # without a sign, a place needs no look whether it counts from the end


@helper
def lerp(table: np.ndarray, i: int, f: float, column: int) -> float:
    """Return column `column` of a 2-D table between rows i and i + 1."""
    a = table[i, column]
    return a + f * (table[i + NEXT, column] - a)


@helper
def layer_lerp(table: np.ndarray, i: int, f: float, layer: int, column: int) -> float:
    """Return column `column` of layer `layer` of a 3-D table between rows i and i + 1."""
    a = table[i, layer, column]
    return a + f * (table[i + NEXT, layer, column] - a)


@helper
def surface(table: np.ndarray, x: float, y: float) -> float:
    """Return a 2-D table at the uniform-grid position (x, y), held beyond its rim."""
    i, f = cell(x, table.shape[0])
    return strip(table, i, f, y)


@helper
def strip(table: np.ndarray, i: int, f: float, y: float) -> float:
    """Return a 2-D table between rows i and i + 1 at the uniform-grid position y along them, held beyond their ends."""
    j, g = cell(y, table.shape[1])
    a = table[i, j] + g * (table[i, j + NEXT] - table[i, j])
    b = table[i + NEXT, j] + g * (table[i + NEXT, j + NEXT] - table[i + NEXT, j])
    return a + f * (b - a)


@helper
def word(x: int) -> np.uint64:
    """Return a whole number as a word of 64 bits without a sign."""
    return np.uint64(x)


@helper
def entry(row: np.ndarray, i: int) -> float:
    """Return a number of a 1-D array at a place that may differ from flight to flight."""
    return row[i]

"""Counter-based random numbers: pure functions of (seed, flight, stream, index), no generator state.

Philox4x32-10: J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as easy as 1, 2, 3",
Proc. SC11, 2011, section 3.3. The four numbers map onto its inputs like this, each word 32 bits:

    key      = (seed low, seed high)
    counter  = (index low, index high, stream, flight)

so seed and index are integers from 0 to 2^64 - 1, stream and flight from 0 to 2^32 - 1, and no two different quadruples
share a block. Kernels that pass signed integers get the same bits; callers check the ranges. Streams from 2^31 on
belong to the table of draws (draws/packed.py), those below to whatever a kernel draws along the flight.
"""

from __future__ import annotations

from math import pi

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.lanes import cos, log, sqrt, word

# every word lives in a uint64 and is masked to 32 bits: products of two words fit exactly, nothing wraps (numpy scalars
# would warn in plain Python), and numba never sees uint64 beside int64, which it would turn into float64
_MASK = np.uint64(0xFFFFFFFF)
_SHIFT = np.uint64(32)
_MULTIPLY_0 = np.uint64(0xD2511F53)
_MULTIPLY_1 = np.uint64(0xCD9E8D57)
_WEYL_0 = np.uint64(0x9E3779B9)
_WEYL_1 = np.uint64(0xBB67AE85)
_ROUNDS = 10
_KEEP_HIGH = np.uint64(20)  # bits of the second word that join the first
_DROP_LOW = np.uint64(12)
_LATTICE = 2.0**-52


@kernel
def philox(c0: np.uint64, c1: np.uint64, c2: np.uint64, c3: np.uint64, k0: np.uint64, k1: np.uint64) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Return the four 32-bit words (as uint64) of one Philox4x32-10 block for a counter c0..c3 and a key k0, k1."""
    a, b, c, d = word(c0), word(c1), word(c2), word(c3)
    k, m = word(k0), word(k1)
    for _ in range(_ROUNDS):
        p = _MULTIPLY_0 * a
        q = _MULTIPLY_1 * c
        a, b, c, d = (q >> _SHIFT) ^ b ^ k, q & _MASK, (p >> _SHIFT) ^ d ^ m, p & _MASK
        k = (k + _WEYL_0) & _MASK
        m = (m + _WEYL_1) & _MASK
    return a, b, c, d


@helper
def block(seed: np.uint64, flight: np.uint64, stream: np.uint64, index: np.uint64) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Return the four words that belong to (seed, flight, stream, index)."""
    s, i = word(seed), word(index)
    return philox(i & _MASK, i >> _SHIFT, word(stream), word(flight), s & _MASK, s >> _SHIFT)


@helper
def unit(high: np.uint64, low: np.uint64) -> float:
    """Return a number strictly between 0 and 1 from two words: the odd multiples of 2^-53, all equally likely.

    These are the 53-bit fractions without 0 and 1, symmetric about one half, each of them exact in float64.
    """
    return (((high << _KEEP_HIGH) | (low >> _DROP_LOW)) + 0.5) * _LATTICE


@kernel
def uniform(seed: np.uint64, flight: np.uint64, stream: np.uint64, index: np.uint64) -> float:
    """Return a float64 uniform on the open interval (0, 1)."""
    a, b, _, _ = block(seed, flight, stream, index)
    return unit(a, b)


@kernel
def normal(seed: np.uint64, flight: np.uint64, stream: np.uint64, index: np.uint64) -> float:
    """Return a standard normal float64, |x| < 8.6.

    G. E. P. Box, M. E. Muller, "A note on the generation of random normal deviates", Ann. Math. Stat. 29, 1958.
    """
    a, b, c, d = block(seed, flight, stream, index)
    return sqrt(-2.0 * log(unit(a, b))) * cos(2.0 * pi * unit(c, d))


@kernel
def fill_uniform(seed: np.uint64, first: int, stream: np.ndarray, index: np.ndarray, out: np.ndarray) -> None:
    """Write uniform(seed, first + i, stream[j], index[j]) into out[i, j]. stream, index : (columns,) uint64."""
    for i in range(out.shape[0]):
        flight = np.uint64(first) + np.uint64(i)
        for j in range(out.shape[1]):
            out[i, j] = uniform(seed, flight, stream[j], index[j])

"""Numbers on (0, 1) for the table of draws: plain random, Latin hypercube, scrambled Sobol; and draws that go together.

Every dispersible name has a random stream of its own, made from the name. Columns are (name, index): the index tells apart the
draws of one name, such as one a fin.
"""

from __future__ import annotations

import math
import operator
import zlib
from collections.abc import Sequence

import numpy as np

from sixdof.core.random import fill_uniform
from sixdof.mission.former import first_name
from sixdof.mission.tables import Correlation

FIRST_STREAM = 1 << 31  # streams below are those of the kernels
SEEDS, FLIGHTS = 1 << 64, 1 << 32  # how many of each the generator tells apart
SAMPLINGS = ("random", "latin", "sobol")
LEAST, MOST = 2.0**-53, 1.0 - 2.0**-53  # the ends of the lattice that all samplings draw from
SOBOL_BITS = 32  # of a coordinate: points for every flight there can be (scipy 1.17 cannot skip ahead with more)
ROUNDS, ROUNDS_FOR_A_BIT = 24, 2  # of the shuffle: so many, and more for each doubling of its length
ROWS = 512  # shuffled at a time: what stays in a core's cache
_MIX = (np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB))

Columns = Sequence[tuple[str, int]]


def stream_of(name: str) -> int:
    """Return the random stream of a dispersible name: fixed for good, whatever else exists."""
    return FIRST_STREAM | (zlib.crc32(first_name(name).encode()) & (FIRST_STREAM - 1))


def _checked(seed, first, count) -> tuple[int, int, int]:
    seed, first, count = operator.index(seed), operator.index(first), operator.index(count)
    if not 0 <= seed < SEEDS:
        raise ValueError(f"seed = {seed} must be a whole number from 0 to {SEEDS - 1}")
    if first < 0 or count < 0 or first + count > FLIGHTS:
        raise ValueError(f"flights {first} to {first + count - 1} must lie within 0 to {FLIGHTS - 1}")
    return seed, first, count


def uniforms(seed: int, first: int, count: int, columns: Columns) -> np.ndarray:
    """Return independent uniforms on (0, 1), shape (count, columns), of the flights first, first + 1, ...

    A number depends on nothing but seed, flight and its column. Raises ValueError for a seed outside 0..2^64-1 or flights outside
    0..2^32-1.
    """
    seed, first, count = _checked(seed, first, count)
    out = np.empty((count, len(columns)))
    streams = np.array([stream_of(name) for name, _ in columns], dtype=np.uint64)
    indices = np.array([index for _, index in columns], dtype=np.uint64)
    fill_uniform(np.uint64(seed), np.uint64(first), streams, indices, out)
    return out


# ---------------------------------------------------------------- Latin hypercube


def latin(seed: int, first: int, count: int, columns: Columns, total: int | None) -> np.ndarray:
    """Return rows first .. first + count - 1, (count, columns), of a Latin hypercube sample of `total` flights.

    Each column of the whole sample has one number in every interval (k/total, (k + 1)/total), at a uniform place in it, in an order
    of its own. A number depends on seed, total, flight and its column; rows are made without the others. Raises ValueError as
    `uniforms`, without total, and for flights beyond it.

    References
    ----------
    M. D. McKay, R. J. Beckman, W. J. Conover, "A comparison of three methods for selecting values of input variables in the
    analysis of output from a computer code", Technometrics 21, 1979.
    """
    seed, first, count = _checked(seed, first, count)
    if total is None:
        raise ValueError('sampling "latin" needs total, how many flights the whole sample has; "random" and "sobol" do not')
    total = operator.index(total)
    if first + count > total:
        wanted = f"flights {first} to {first + count - 1}"
        raise ValueError(f"{wanted} are not among the {total} of this Latin hypercube sample, 0 to {total - 1}")
    out = uniforms(seed, first, count, columns)
    keys = shuffle_keys([[seed, stream_of(name), index, total] for name, index in columns], total)
    for start in range(0, count, ROWS):
        rows = out[start : start + ROWS]
        rows += shuffled(np.arange(first + start, first + start + len(rows)), total, keys)
        rows /= total
    return np.minimum(out, MOST, out=out)  # the sum may round up to total


def shuffle_keys(entropies: Sequence[Sequence[int]], total: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the random numbers of shuffles of `total` places, one made from each of `entropies`: partners and bits, (rounds, shuffles)."""
    rounds = ROUNDS + ROUNDS_FOR_A_BIT * total.bit_length()
    words = [np.random.SeedSequence(entropy).generate_state(2 * rounds, np.uint64) for entropy in entropies]
    table = np.array(words, dtype=np.uint64).reshape(len(words), 2, rounds)
    return (table[:, 0].T % np.uint64(total)).astype(np.int64), table[:, 1].T.copy()


def shuffled(places: np.ndarray, total: int, keys: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Return where random permutations of 0 .. total - 1 put the `places` (n,), each found without the others: (n, shuffles).

    The swap-or-not shuffle: in every round a number x has the partner k - x (modulo total), and a random bit that both share says
    whether they change places. V. T. Hoang, B. Morris, P. Rogaway, "An enciphering scheme based on a card shuffle", CRYPTO 2012.
    """
    x = np.repeat(places.astype(np.int64)[:, None], keys[0].shape[1], axis=1)
    for partner, bits in zip(*keys):
        other = partner - x
        other += total * (other < 0)
        x = np.where(_odd(np.maximum(x, other).astype(np.uint64) + bits), other, x)
    return x


def _odd(x: np.ndarray) -> np.ndarray:
    """Return a random bit of every uint64: the last of those that SplitMix64 mixes a counter into.

    G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014 (variant 13 of D. Stafford).
    """
    x = (x ^ (x >> np.uint64(30))) * _MIX[0]
    x = (x ^ (x >> np.uint64(27))) * _MIX[1]
    return ((x ^ (x >> np.uint64(31))) & np.uint64(1)).astype(bool)


# ---------------------------------------------------------------- scrambled Sobol sequence


def sobol(seed: int, first: int, count: int, columns: Columns) -> np.ndarray:
    """Return points first .. first + count - 1, (count, columns), of a scrambled Sobol sequence: `scipy.stats.qmc.Sobol`.

    Point i depends on the seed, i and how many columns there are, so any block can be made alone, but another column changes them
    all. Numbers of flights that are powers of two, from flight 0, are balanced best. Raises ValueError as `uniforms`, and for more
    columns than there are direction numbers.

    References
    ----------
    S. Joe, F. Y. Kuo, "Constructing Sobol sequences with better two-dimensional projections", SIAM J. Sci. Comput. 30, 2008
    (direction numbers); J. Matousek, "On the L2-discrepancy for anchored boxes", J. Complexity 14, 1998 (scrambling).
    """
    from scipy.stats import qmc  # half a second to import, and most ensembles are plain random

    seed, first, count = _checked(seed, first, count)
    if len(columns) > qmc.Sobol.MAXDIM:
        message = f"a Sobol sequence has {qmc.Sobol.MAXDIM} columns at most, and this mission draws {len(columns)}"
        raise ValueError(f'{message}; take sampling "latin" or "random"')
    if not columns or not count:
        return np.empty((count, len(columns)))
    engine = qmc.Sobol(len(columns), scramble=True, bits=SOBOL_BITS, seed=np.random.default_rng(seed))
    if first:
        engine.fast_forward(first)
    # the first point alone: a first block that is not a power of two long would be warned of
    points = np.concatenate([engine.random(1), engine.random(count - 1)])
    return points + 0.5 * 2.0**-SOBOL_BITS  # to the middles of the lattice: neither 0 nor 1


def shares(sampling: str, seed: int, first: int, count: int, columns: Columns, total: int | None) -> np.ndarray:
    """Return the numbers on (0, 1), (count, columns), of one of SAMPLINGS. Raises ValueError as they do, and for another name."""
    if sampling == "random":
        return uniforms(seed, first, count, columns)
    if sampling == "latin":
        return latin(seed, first, count, columns, total)
    if sampling == "sobol":
        return sobol(seed, first, count, columns)
    raise ValueError(f"sampling = {sampling!r} must be one of {', '.join(SAMPLINGS)}")


# ---------------------------------------------------------------- draws that go together


def correlated(u: np.ndarray, group: Correlation) -> np.ndarray:
    """Return independent numbers on (0, 1), (flights, names of the group), as ones that go together by a Gaussian copula.

    The first column stays as it is, bit for bit; each column alone stays uniform.
    """
    from scipy.special import ndtr, ndtri  # a tenth of a second to import, and most flights draw nothing that goes together

    scores, out = ndtri(u), u.copy()
    for row, mixed in zip(_lower(group)[1:], out.T[1:]):
        # column by column: a product of matrices adds in an order that depends on the number of flights
        mixed[:] = ndtr(sum(share * score for share, score in zip(row, scores.T)))
    return np.clip(out, LEAST, MOST, out=out)


def _lower(group: Correlation) -> np.ndarray:
    """Return the lower triangle L (n, n) with L L^T the group's matrix of coefficients."""
    if group.coefficient is not None:
        rho = group.coefficient
        return np.array([[1.0, 0.0], [rho, math.sqrt(1.0 - rho * rho)]])
    return np.linalg.cholesky(np.array(group.matrix))

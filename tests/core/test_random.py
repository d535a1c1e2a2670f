"""Counter-based random numbers: mapping, range, distribution, independence, and the same bits without compilation."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sixdof.core import random

SAMPLE = 20_000
UNLIKELY = 1e-4  # p-value of a fixed-seed test: a right generator gave more when these tests were written
U = np.uint64
LARGEST = 2**64 - 1

words = st.integers(0, 2**32 - 1).map(U)
longs = st.integers(0, LARGEST).map(U)


def draws(function, seed, stream, count=SAMPLE):
    return np.array([function(U(seed), U(flight), U(stream), U(0)) for flight in range(count)])


@given(longs, words, words, longs)
@settings(max_examples=200, deadline=None)
def test_uniform__is_open_and_a_pure_function(seed, flight, stream, index):
    u = random.uniform(seed, flight, stream, index)
    assert 0.0 < u < 1.0
    assert u == random.uniform(seed, flight, stream, index)
    assert abs(random.normal(seed, flight, stream, index)) < 8.6


@given(longs, words, words, longs, st.integers(0, 3), st.integers(0, 31))
@settings(max_examples=200, deadline=None)
def test_block__changes_with_every_bit_of_every_argument(seed, flight, stream, index, which, bit):
    arguments = [seed, flight, stream, index]
    other = list(arguments)
    other[which] = U(int(other[which]) ^ (1 << bit))
    assert random.block(*arguments) != random.block(*other)


def test_block__holds_the_documented_words():
    seed, index = (7 << 32) + 8, (5 << 32) + 6
    got = random.block(U(seed), U(3), U(4), U(index))
    assert got == random.philox(6, 5, 4, 3, 8, 7)


def test_block__signed_integers_give_the_same_bits():
    assert random.uniform(11, 12, 13, 14) == random.uniform(U(11), U(12), U(13), U(14))


def test_unit__stays_inside_at_the_extremes():
    most = U(0xFFFFFFFF)
    assert random.unit(U(0), U(0)) == 2.0**-53
    assert random.unit(most, most) == 1.0 - 2.0**-53


def test_unit__is_symmetric_about_one_half():
    high, low, mask = U(0x12345678), U(0x9ABCDEF0), U(0xFFFFFFFF)
    assert random.unit(high, low) + random.unit(high ^ mask, low ^ mask) == 1.0


def test_unit__uses_all_of_the_first_word_and_20_bits_of_the_second():
    assert random.unit(U(1 << 31), U(0)) == 0.5 + 2.0**-53
    assert random.unit(U(0), U(1 << 12)) == 3.0 * 2.0**-53
    assert random.unit(U(0), U((1 << 12) - 1)) == 2.0**-53


@pytest.mark.parametrize("seed", [0, 1, LARGEST])
def test_uniform__has_its_distribution(seed):
    assert stats.kstest(draws(random.uniform, seed, 3), "uniform").pvalue > UNLIKELY


@pytest.mark.parametrize("seed", [0, 1, LARGEST])
def test_normal__has_its_distribution(seed):
    assert stats.kstest(draws(random.normal, seed, 3), "norm").pvalue > UNLIKELY


def test_streams__are_independent():
    streams = np.stack([draws(random.uniform, 5, stream) for stream in range(4)])
    between = np.corrcoef(streams)[np.triu_indices(4, 1)]
    lagged = [np.corrcoef(row[:-1], row[1:])[0, 1] for row in streams]
    five_sigma = 5.0 / np.sqrt(SAMPLE)  # standard deviation of the correlation of independent samples
    assert np.all(np.abs(between) < five_sigma)
    assert np.all(np.abs(lagged) < five_sigma)


def test_fill_uniform__is_uniform_of_flight_and_column():
    streams, indices = np.array([3, 9], dtype=U), np.array([0, 7], dtype=U)
    out = np.empty((4, 2))
    random.fill_uniform(U(8), U(100), streams, indices, out)
    expected = [[random.uniform(U(8), U(100 + i), s, k) for s, k in zip(streams, indices)] for i in range(4)]
    np.testing.assert_array_equal(out, expected)


_SCRIPT = """
import numpy as np
from sixdof.core import random
U = np.uint64
for a in [(U(0), U(0), U(0), U(0)), (U(2**64 - 1), U(2**32 - 1), U(2**32 - 1), U(2**64 - 1)), (1, 2, 3, 4)]:
    print(*[int(w) for w in random.block(*a)], random.uniform(*a).hex(), random.normal(*a).hex())
out = np.empty((3, 2))
random.fill_uniform(U(2**63), U(7), np.arange(2, dtype=U), np.arange(2, dtype=U), out)
print(out.tobytes().hex())
"""


def test_plain_python__gives_the_same_bits_without_warnings():
    def run(**setting):
        command = [sys.executable, "-W", "error", "-c", _SCRIPT]
        done = subprocess.run(command, env={**os.environ, **setting}, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout

    compiled = run(NUMBA_DISABLE_JIT="0")
    assert len(compiled.split()) == 3 * 6 + 1
    assert run(NUMBA_DISABLE_JIT="1") == compiled

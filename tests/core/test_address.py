"""NamedTuples by their address: what a kernel reads is what was lent, laid out as numba lays out its own."""

from __future__ import annotations

import os
import pickle
from typing import NamedTuple

import numpy as np
import pytest

from sixdof._jit import borrow, kernel, lend, lend_all, record

needs_compiler = pytest.mark.skipif(os.environ.get("NUMBA_DISABLE_JIT") == "1", reason="kernels are plain Python in this run")


class Way(NamedTuple):
    x: float
    y: float
    z: float


class Inner(NamedTuple):
    table: np.ndarray
    count: int
    way: Way
    turn: tuple


class Outer(NamedTuple):
    k: float
    inner: Inner
    way: Way
    grid: np.ndarray


@kernel
def _by_value(outer):
    """Read every kind of field; numba itself lays out a NamedTuple handed over by value."""
    inner = outer.inner
    return (
        outer.k,
        inner.table[1],
        float(inner.count),
        inner.way.y,
        inner.turn[1],
        outer.grid[1, 2],
        float(outer.grid.shape[0] * 1000 + outer.grid.shape[1]),
        outer.way.z,
        float(inner.table.shape[0]),
    )


@kernel
def _on_shelf(shelf, i):
    return _by_value(shelf[i])


@kernel
def _in_frame(shelf, i):
    lent = shelf[i]
    made = borrow(Outer(10.0 * lent.k, lent.inner, Way(1.0, 2.0, 3.0), lent.grid))
    return _by_value(made)


@kernel
def _write(outer):
    outer.grid[0, 1] = 7.0


def outer(k=3.0):
    return Outer(k, Inner(np.arange(3.0) + k, 5, Way(1.0, 2.0, 3.0), (7.0, 8.0, 9.0)), Way(4.0, 5.0, 6.0), np.arange(6.0).reshape(2, 3) * k)


def test_lent__reads_as_by_value():
    assert _by_value(lend(outer())) == _by_value(outer()) == (3.0, 4.0, 5.0, 2.0, 8.0, 15.0, 2003.0, 6.0, 3.0)


def test_shelf__gives_each_row():
    shelf = lend_all([outer(1.0), outer(2.0), outer(3.0)])
    assert len(shelf) == 3
    for i, k in enumerate([1.0, 2.0, 3.0]):
        assert _on_shelf(shelf, i) == _by_value(shelf[i]) == _by_value(outer(k))


def test_borrowed__is_what_the_kernel_made():
    assert _in_frame(lend_all([outer(1.0), outer(2.0)]), 1) == (20.0, 3.0, 5.0, 2.0, 8.0, 10.0, 2003.0, 3.0, 3.0)


def test_lent__arrays_are_the_caller_s_own():
    mine = outer()
    _write(lend(mine))
    assert mine.grid[0, 1] == 7.0


@needs_compiler
def test_lent__whole_numbers_in_place_of_floats_compile_nothing_again():
    before = _by_value(lend(outer(3.0)))
    count = len(_by_value.signatures)
    whole = outer(3)._replace(way=Way(4, np.int64(5), np.float64(6.0)))
    assert _by_value(lend(whole)) == before and len(_by_value.signatures) == count


@needs_compiler
def test_memory__is_as_large_as_numba_says():
    from numba.core.registry import cpu_target

    lent = lend(outer())
    context = cpu_target.target_context
    assert context.get_abi_sizeof(context.get_value_type(lent._numba_type_.inner)) == lent.memory.nbytes


@needs_compiler
def test_lent__survives_pickling_and_tells_its_fields():
    lent = pickle.loads(pickle.dumps(lend(outer())))
    assert lent.inner.count == 5 and _by_value(lent) == _by_value(outer())
    assert lend(lent) is lent


@needs_compiler
@pytest.mark.parametrize(
    ("table", "said"), [(np.arange(3), None), (np.arange(6.0)[::2], "C-contiguous"), (np.arange(3, dtype=np.float32), "float32"), ("three", "str")]
)
def test_lend__refuses_what_kernels_cannot_read(table, said):
    value = outer()._replace(inner=outer().inner._replace(table=table))
    if said is None:
        assert lend(value).inner.table is table
        return
    with pytest.raises(TypeError, match=rf"Outer\.inner\.table.*{said}"):
        lend(value)


@needs_compiler
def test_lend_all__refuses_rows_of_other_types():
    with pytest.raises(TypeError, match="number of dimensions"):
        lend_all([outer(), outer()._replace(grid=np.zeros(3))])


class Moving(NamedTuple):
    t: float
    count: int
    way: Way
    rows: np.ndarray


@kernel
def _step(moving):
    before = moving.way
    moving.way = Way(before.x + 1.0, moving.t, before.z)
    moving.t += 0.5
    moving.count = moving.count + 2
    moving.rows[0] = before.x  # as it was: a value, whatever was assigned since


@kernel
def _go(rows, steps):
    moving = record(Moving(0.0, 0, Way(1.0, 2.0, 3.0), rows))
    for _ in range(steps):
        _step(moving)
    return moving.t, moving.count, moving.way.x, moving.way.y, moving.way.z


def test_record__keeps_what_is_assigned():
    rows = np.zeros(2)
    assert _go(rows, 3) == (1.5, 6, 4.0, 1.0, 3.0) and rows[0] == 3.0


@kernel
def _assign(moving):
    moving.t = 1.0


def test_lent__cannot_be_assigned():
    with pytest.raises(Exception, match=r"Moving\.t cannot be assigned|can't set attribute"):
        _assign(lend(Moving(0.0, 0, Way(1.0, 2.0, 3.0), np.zeros(1))))


class Large(NamedTuple):
    a: Inner
    b: Way


class Holding(NamedTuple):
    large: Large
    other: Large
    t: float


@kernel
def _hold(large):
    holding = record(Holding(Large(large.a, large.b), Large(large.a, Way(0.0, 0.0, 0.0)), 0.0))
    holding.other = holding.large  # what is referred to is copied
    holding.large = Large(large.a, Way(7.0, 8.0, 9.0))
    return holding.large.b.x, holding.other.b.x, holding.other.a.table[2]


def test_record__large_fields_are_copied_when_assigned():
    assert _hold(lend(Large(outer().inner, Way(1.0, 2.0, 3.0)))) == (7.0, 1.0, 5.0)

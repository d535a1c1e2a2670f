"""NamedTuples by their address: a kernel is handed one word in place of some hundred, and reads what it needs.

In Python `lend(value)` lays a NamedTuple out in memory once, and `lend_all(values)` several side by side; a kernel takes the one as it is
and the other by `shelf[i]`. Inside a kernel `borrow(value)` puts a NamedTuple it has made into its own frame. In all of them the kernel has a
reference: attributes read as ever; a field that is a small NamedTuple of numbers comes out as a value, a larger one as a reference again.
`fixed(value)` is `borrow` of what stays as it is, read as fast as what is lent. With NUMBA_DISABLE_JIT=1 all are the objects themselves.

`record(value)` does the same for what changes while a kernel runs: its attributes may be assigned. A field of many numbers or with arrays in it comes out
as a reference to what stands there now: read it again after it was assigned.

What is lent must not be replaced while kernels read it; the arrays in it may be written.
"""

from __future__ import annotations

from functools import cache
from math import prod
from typing import NamedTuple

import numpy as np

from sixdof._jit.reference import BORROWED, LENT, Ref, Shelf
from sixdof._jit.target import AS_PYTHON, ON_GPU, from_dtype, typeof_impl, types

WORD = 8  # bytes: every field of what is lent is made of such words
KINDS = {"float": types.float64, "int": types.int64}


class Lent:
    """A NamedTuple in memory, as kernels read it; made by `lend` or as an item of what `lend_all` made. Its attributes are the NamedTuple's."""

    def __init__(self, value, memory: np.ndarray, kind):
        self.value, self.memory, self.address, self._numba_type_ = value, memory, memory.ctypes.data, _type_of(value, kind)

    def __getattr__(self, name):
        return getattr(self.value, name)

    def __reduce__(self):
        return lend, (self.value,)


class LentRow:
    """NamedTuples of one type side by side in memory."""

    def __init__(self, values, memory: np.ndarray, kind):
        self.values, self.memory, self.address, self._numba_type_ = values, memory, memory.ctypes.data, Shelf(kind)

    def __len__(self):
        return len(self.values)

    def __getitem__(self, i):
        return Lent(self.values[i], self.memory[i], self._numba_type_.inner)

    def __reduce__(self):
        return lend_all, (self.values,)


class _Layout(NamedTuple):
    kind: types.Type
    words: list


def _laid_out(value, hint: str, where: str) -> _Layout:
    """Return type and words of a value. hint : how the field is annotated. where : its name, for the error."""
    if isinstance(value, np.ndarray):
        if not (value.flags.c_contiguous and value.dtype in (np.float64, np.int64)):
            raise TypeError(f"{where} must be a C-contiguous array of float64 or int64, not {value.dtype} with strides {value.strides}")
        return _Layout(
            _array_type(value.dtype, value.ndim),
            [0, 0, value.size, WORD, value.ctypes.data, *value.shape, *(WORD * prod(value.shape[i + 1 :]) for i in range(value.ndim))],
        )
    if hasattr(value, "_fields"):
        hints = _hints(type(value))
        parts = [_laid_out(each, hints[name], f"{where}.{name}") for name, each in zip(value._fields, value)]
        return _Layout(_tuple_type(type(value), tuple(part.kind for part in parts)), [word for part in parts for word in part.words])
    if isinstance(value, tuple):
        return _Layout(types.UniTuple(types.float64, len(value)), [float(each) for each in value])
    if hint not in KINDS:
        raise TypeError(f"{where} is {type(value).__name__}: only float, int, arrays and NamedTuples of these can be lent")
    return _Layout(KINDS[hint], [float(value) if hint == "float" else int(value)])


@cache
def _hints(maker) -> dict[str, str]:
    """Return how the fields of a NamedTuple are annotated, as words (modules here keep annotations as they are written)."""
    return {name: getattr(hint, "__forward_arg__", getattr(hint, "__name__", hint)) for name, hint in maker.__annotations__.items()}


@cache
def _array_type(dtype, dimensions: int):
    return types.Array(from_dtype(dtype), dimensions, "C")


@cache
def _tuple_type(maker, kinds: tuple):
    return types.BaseTuple.from_types(kinds, maker)


def _memory(rows: list[list]) -> np.ndarray:
    memory = np.zeros((len(rows), len(rows[0])), dtype=np.int64)
    for i, words in enumerate(rows):
        whole = np.array([not isinstance(word, float) for word in words])
        memory[i, whole] = [word for word in words if not isinstance(word, float)]
        memory[i].view(np.float64)[~whole] = [word for word in words if isinstance(word, float)]
    return memory


def reference_to(value: NamedTuple) -> Ref:
    """Return the type of what `lend(value)` is to a kernel. Raises TypeError as it does."""
    return _type_of(value, _laid_out(value, "", type(value).__name__).kind)


def _type_of(value: NamedTuple, kind) -> Ref:
    """Return the type of a reference to a value: that of what kernels borrow where they make such values themselves (`passing`)."""
    return Ref(kind, BORROWED if getattr(type(value), "passing", False) else LENT)


def lend(value: NamedTuple):
    """Return a NamedTuple of float, int, C-contiguous float64 or int64 arrays and such NamedTuples as a kernel reads it by address.

    Whole numbers where a field is a float become floats, so that kernels are compiled once. The memory of the arrays is shared.

    Raises
    ------
    TypeError
        If a field is none of these, naming it.
    """
    if AS_PYTHON or isinstance(value, Lent):
        return value
    found = _laid_out(value, "", type(value).__name__)
    return Lent(value, _memory([found.words])[0], found.kind)


def lend_all(values):
    """Return NamedTuples of one type side by side, of which a kernel takes `shelf[i]` (see `lend`). Raises TypeError as it does."""
    values = tuple(values)
    if AS_PYTHON:
        return values
    found = [_laid_out(value, "", f"{type(value).__name__}[{i}]") for i, value in enumerate(values)]
    if len({each.kind for each in found}) > 1:
        raise TypeError(f"{type(values[0]).__name__}: arrays of one field differ in their number of dimensions")
    return LentRow(values, _memory([each.words for each in found]), found[0].kind)


if not ON_GPU:  # there a kernel is handed what lies in the device's memory
    from numba.extending import NativeValue, unbox

    @typeof_impl.register(Lent)
    @typeof_impl.register(LentRow)
    def _typeof_lent(value, c):
        return value._numba_type_

    @unbox(Ref)
    @unbox(Shelf)
    def _unbox(kind, lent, c):
        number = c.pyapi.object_getattr_string(lent, "address")
        address = c.pyapi.long_as_ulonglong(number)
        c.pyapi.decref(number)
        return NativeValue(c.builder.inttoptr(address, c.context.get_value_type(kind)))

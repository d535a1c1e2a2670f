"""NamedTuples by their address: a kernel is handed one word in place of some hundred, and reads what it needs.

In Python `lend(value)` lays a NamedTuple out in memory once, and `lend_all(values)` several side by side; a kernel takes the one as it is
and the other by `shelf[i]`. Inside a kernel `borrow(value)` puts a NamedTuple it has made into its own frame. In all three the kernel has a
reference: attributes read as ever; a field that is a small NamedTuple of numbers comes out as a value, a larger one as a reference again.
With NUMBA_DISABLE_JIT=1 all three are the objects themselves.

`record(value)` does the same for what changes while a kernel runs: its attributes may be assigned, and all of them are read as values.

What is lent must not be replaced while kernels read it; the arrays in it may be written.
"""

from __future__ import annotations

import hashlib
import operator
from functools import cache
from math import prod
from types import SimpleNamespace
from typing import NamedTuple

import numba
import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.core.imputils import lower_builtin, lower_getattr_generic, lower_setattr_generic
from numba.core.typing.templates import AbstractTemplate, AttributeTemplate, infer_getattr, infer_global, signature
from numba.extending import NativeValue, intrinsic, models, register_model, typeof_impl, unbox

WORD = 8  # bytes: every field of what is lent is made of such words
SMALL = 9  # numbers in a NamedTuple that is read as a value: a vector, a quaternion, a matrix
KINDS = {"float": types.float64, "int": types.int64}


# ---------------------------------------------------------------- the numba types


LENT, BORROWED, RECORD = "lent", "borrowed", "record"


class Ref(types.Type):
    """A reference to a NamedTuple. What is lent no kernel changes: what was read once need not be read again. A record may be written."""

    def __init__(self, inner, how):
        self.inner, self.how = inner, how
        super().__init__(name=f"Ref({_short(inner)}, {how})")


class Shelf(types.Type):
    """Several NamedTuples of one type side by side."""

    def __init__(self, inner):
        self.inner = inner
        super().__init__(name=f"Shelf({_short(inner)})")


def _short(inner) -> str:
    """Return a short name of a NamedTuple's type that no other has: its own, of some hundred fields, would be part of every symbol."""
    return f"{inner.instance_class.__name__}-{hashlib.blake2b(str(inner).encode(), digest_size=8).hexdigest()}"


@register_model(Ref)
class _RefModel(models.PrimitiveModel):
    def __init__(self, dmm, fe_type):
        super().__init__(dmm, fe_type, dmm.lookup(fe_type.inner).get_value_type().as_pointer())


@register_model(Shelf)
class _ShelfModel(models.PrimitiveModel):
    def __init__(self, dmm, fe_type):
        super().__init__(dmm, fe_type, dmm.lookup(fe_type.inner).get_value_type().as_pointer())


def _numbers(kind) -> float:
    """Return how many numbers a type holds, inf where it holds anything else."""
    if isinstance(kind, (types.Float, types.Integer)):
        return 1
    if isinstance(kind, (types.BaseNamedTuple, types.UniTuple)):
        return sum(map(_numbers, kind.types))
    return float("inf")


def _field(ref: Ref, name: str):
    """Return (place, type, whether a kernel sees it by its address) of a field."""
    k = ref.inner.fields.index(name)
    kind = ref.inner.types[k]
    return k, kind, ref.how != RECORD and isinstance(kind, types.BaseNamedTuple) and _numbers(kind) > SMALL


@infer_getattr
class _RefAttribute(AttributeTemplate):
    key = Ref

    def generic_resolve(self, ref, name):
        if name not in ref.inner.fields:
            return None
        _, kind, by_address = _field(ref, name)
        return Ref(kind, ref.how) if by_address else kind


@lower_getattr_generic(Ref)
def _read_attribute(context, builder, ref, pointer, name):
    k, kind, by_address = _field(ref, name)
    place = cgutils.gep_inbounds(builder, pointer, 0, k)
    return place if by_address else _read(context, builder, kind, place, ref.how == LENT)


@lower_setattr_generic(Ref)
def _write_attribute(context, builder, sig, args, name):
    ref, kind = sig.args
    if ref.how != RECORD:
        raise TypeError(f"{ref.inner.instance_class.__name__}.{name} cannot be assigned: it is no record")
    k, _, _ = _field(ref, name)
    _write(builder, kind, cgutils.gep_inbounds(builder, args[0], 0, k), args[1])


def _write(builder, kind, place, value):
    """Store a value number by number."""
    if isinstance(kind, types.BaseTuple):
        for i, each in enumerate(kind.types):
            _write(builder, each, cgutils.gep_inbounds(builder, place, 0, i), builder.extract_value(value, i))
    else:
        builder.store(value, place)


def _read(context, builder, kind, place, constant: bool):
    """Return the value at a place, number by number: whole structs are a burden on the optimiser."""
    if isinstance(kind, types.Array):
        return _read_array(context, builder, kind, place, constant)
    if isinstance(kind, types.BaseTuple):
        value = ir.Constant(context.get_value_type(kind), ir.Undefined)
        for i, each in enumerate(kind.types):
            part = _read(context, builder, each, cgutils.gep_inbounds(builder, place, 0, i), constant)
            value = builder.insert_value(value, part, i)
        return value
    value = builder.load(place)
    if constant:
        value.set_metadata("invariant.load", builder.module.add_metadata([]))
    return value


def _read_array(context, builder, kind, place, constant: bool):
    """Return a C-contiguous array: where its numbers lie and how many are read, the rest follows."""
    stored, made = context.make_array(kind)(context, builder, ref=place), context.make_array(kind)(context, builder)
    made.data = _read(context, builder, types.CPointer(kind.dtype), stored._get_ptr_by_name("data"), constant)
    shape = stored._get_ptr_by_name("shape")
    lengths = [_read(context, builder, types.intp, cgutils.gep_inbounds(builder, shape, 0, i), constant) for i in range(kind.ndim)]
    item = context.get_constant(types.intp, context.get_abi_sizeof(context.get_data_type(kind.dtype)))
    strides, count = [], context.get_constant(types.intp, 1)
    for length in reversed(lengths):
        strides.insert(0, builder.mul(item, count))
        count = builder.mul(count, length)
    made.shape, made.strides = cgutils.pack_array(builder, lengths), cgutils.pack_array(builder, strides)
    made.itemsize, made.nitems = item, count
    made.meminfo = cgutils.get_null_value(made.meminfo.type)
    made.parent = cgutils.get_null_value(made.parent.type)
    return made._getvalue()


@infer_global(operator.getitem)
class _ShelfItem(AbstractTemplate):
    def generic(self, args, kws):
        shelf, index = args
        if isinstance(shelf, Shelf) and isinstance(index, types.Integer):
            return signature(Ref(shelf.inner, LENT), shelf, types.intp)
        return None


@lower_builtin(operator.getitem, Shelf, types.Integer)
def _take_from_shelf(context, builder, sig, args):
    return builder.gep(args[0], [args[1]], inbounds=True)


@intrinsic
def _borrow(typingctx, value):
    def codegen(context, builder, sig, args):
        return cgutils.alloca_once_value(builder, args[0])

    return Ref(value, BORROWED)(value), codegen


@intrinsic
def _record(typingctx, value):
    def codegen(context, builder, sig, args):
        return cgutils.alloca_once_value(builder, args[0])

    return Ref(value, RECORD)(value), codegen


# ---------------------------------------------------------------- lending from Python


class Lent:
    """A NamedTuple in memory, as kernels read it; made by `lend` or as an item of what `lend_all` made. Its attributes are the NamedTuple's."""

    def __init__(self, value, memory: np.ndarray, kind):
        self.value, self.memory, self.address, self._numba_type_ = value, memory, memory.ctypes.data, Ref(kind, LENT)

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


class _Layout(NamedTuple):
    kind: types.Type
    words: list


def _laid_out(value, hint: str, where: str) -> _Layout:
    """Return type and words of a value. hint : how the field is annotated. where : its name, for the error."""
    if isinstance(value, np.ndarray):
        if not (value.flags.c_contiguous and value.dtype in (np.float64, np.int64)):
            raise TypeError(f"{where} must be a C-contiguous array of float64 or int64, not {value.dtype} with strides {value.strides}")
        kind = types.Array(numba.from_dtype(value.dtype), value.ndim, "C")
        return _Layout(kind, [0, 0, value.size, WORD, value.ctypes.data, *value.shape, *(WORD * prod(value.shape[i + 1 :]) for i in range(value.ndim))])
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
def _tuple_type(maker, kinds: tuple):
    return types.NamedTuple(kinds, maker)


def _memory(rows: list[list]) -> np.ndarray:
    memory = np.zeros((len(rows), len(rows[0])), dtype=np.int64)
    for i, words in enumerate(rows):
        whole = np.array([not isinstance(word, float) for word in words])
        memory[i, whole] = [word for word in words if not isinstance(word, float)]
        memory[i].view(np.float64)[~whole] = [word for word in words if isinstance(word, float)]
    return memory


def lend(value: NamedTuple):
    """Return a NamedTuple of float, int, C-contiguous float64 or int64 arrays and such NamedTuples as a kernel reads it by address.

    Whole numbers where a field is a float become floats, so that kernels are compiled once. The memory of the arrays is shared.

    Raises
    ------
    TypeError
        If a field is none of these, naming it.
    """
    if numba.config.DISABLE_JIT or isinstance(value, Lent):
        return value
    found = _laid_out(value, "", type(value).__name__)
    return Lent(value, _memory([found.words])[0], found.kind)


def lend_all(values):
    """Return NamedTuples of one type side by side, of which a kernel takes `shelf[i]` (see `lend`). Raises TypeError as it does."""
    values = tuple(values)
    if numba.config.DISABLE_JIT:
        return values
    found = [_laid_out(value, "", f"{type(value).__name__}[{i}]") for i, value in enumerate(values)]
    if len({each.kind for each in found}) > 1:
        raise TypeError(f"{type(values[0]).__name__}: arrays of one field differ in their number of dimensions")
    return LentRow(values, _memory([each.words for each in found]), found[0].kind)


def _itself(value):
    return value


# in a kernel: put a NamedTuple into this function's frame and return a reference to it, good until the function returns
borrow = _itself if numba.config.DISABLE_JIT else _borrow


def _plain_record(value):
    return SimpleNamespace(**value._asdict())


# the same of what the kernel will change: its attributes may be assigned
record = _plain_record if numba.config.DISABLE_JIT else _record

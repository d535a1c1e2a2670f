"""References to NamedTuples in kernels: what `lend`, `borrow` and `record` are to the compiler (see `address.py`)."""

from __future__ import annotations

import hashlib
import operator
from types import SimpleNamespace

from llvmlite import ir
from numba.core.typeconv import Conversion

from sixdof._jit.target import (
    AS_PYTHON,
    ON_GPU,
    AbstractTemplate,
    AttributeTemplate,
    cgutils,
    infer_getattr,
    infer_global,
    intrinsic,
    lower_builtin,
    lower_cast,
    lower_getattr_generic,
    lower_setattr_generic,
    models,
    register_model,
    signature,
    types,
)

SMALL = 9  # numbers in a NamedTuple that is read as a value: a vector, a quaternion, a matrix
STATE = 13  # the same of a record, whose state changes as a whole
LENT, BORROWED, RECORD = "lent", "borrowed", "record"


class Ref(types.Type):
    """A reference to a NamedTuple. What is lent no kernel changes: what was read once need not be read again. A record may be written."""

    def __init__(self, inner, how):
        self.inner, self.how = inner, how
        super().__init__(name=f"Ref({_short(inner)}, {how})")

    def can_convert_from(self, typingctx, other):
        """Tell that a value may be assigned where a reference is read."""
        return Conversion.safe if other == self.inner else None


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
    return k, kind, isinstance(kind, types.BaseNamedTuple) and _numbers(kind) > (STATE if ref.how == RECORD else SMALL)


def _part(ref: Ref, kind) -> Ref:
    """Return the reference to a field: to that of a record nobody writes number by number."""
    return Ref(kind, BORROWED if ref.how == RECORD else ref.how)


@infer_getattr
class _RefAttribute(AttributeTemplate):
    key = Ref

    def generic_resolve(self, ref, name):
        if name not in ref.inner.fields:
            return None
        _, kind, by_address = _field(ref, name)
        return _part(ref, kind) if by_address else kind


@lower_getattr_generic(Ref)
def _read_attribute(context, builder, ref, pointer, name):
    k, kind, by_address = _field(ref, name)
    place = cgutils.gep_inbounds(builder, pointer, 0, k)
    return place if by_address else _read(context, builder, kind, place, ref.how == LENT)


@lower_setattr_generic(Ref)
def _write_attribute(context, builder, sig, args, name):
    ref, _ = sig.args
    if ref.how != RECORD:
        raise TypeError(f"{ref.inner.instance_class.__name__}.{name} cannot be assigned: it is no record")
    k, kind, by_address = _field(ref, name)
    value = _read(context, builder, kind, args[1], False) if by_address else args[1]
    _write(builder, kind, cgutils.gep_inbounds(builder, args[0], 0, k), value)


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


@lower_cast(types.BaseNamedTuple, Ref)
def _place_of(context, builder, kind, ref, value):
    return cgutils.alloca_once_value(builder, value)


@intrinsic
def _borrow(typingctx, value):
    def codegen(context, builder, sig, args):
        return cgutils.alloca_once_value(builder, args[0])

    return Ref(value, BORROWED)(value), codegen


@intrinsic
def _fixed(typingctx, value):
    def codegen(context, builder, sig, args):
        place = cgutils.alloca_once_value(builder, args[0])
        if ON_GPU:
            return place
        # nothing changes it from here on, and no read of it goes before this point, whose result it needs
        return builder.asm(ir.FunctionType(place.type, [place.type]), "", "=r,0,~{memory}", [place], True)

    return Ref(value, BORROWED if ON_GPU else LENT)(value), codegen


@intrinsic
def _record(typingctx, value):
    def codegen(context, builder, sig, args):
        return cgutils.alloca_once_value(builder, args[0])

    return Ref(value, RECORD)(value), codegen


def _itself(value):
    return value


# in a kernel: put a NamedTuple into this function's frame and return a reference to it, good until the function returns
borrow = _itself if AS_PYTHON else _borrow

# the same of what stays as it is until the function returns: what was read of it once need not be read again
fixed = _itself if AS_PYTHON else _fixed


def _plain_record(value):
    return SimpleNamespace(**value._asdict())


# the same of what the kernel will change: its attributes may be assigned
record = _plain_record if AS_PYTHON else _record

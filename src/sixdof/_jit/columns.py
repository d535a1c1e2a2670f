"""Enumerations of columns in kernels: plain int64 constants.

To numba a member of an enumeration has a type of its own, which it casts wherever a number is meant, and which cannot index an array on a GPU.
The enumerations themselves know nothing of this: people read them without loading numba.
"""

from __future__ import annotations

from enum import EnumMeta, IntEnum

from sixdof._jit.target import AttributeTemplate, infer_getattr, lower_getattr_generic, models, register_model, typeof_impl, types

OURS = "sixdof.core"  # enumerations of other modules stay what numba makes of them


class _Table(types.Opaque):
    def __init__(self, table):
        self.table = table
        super().__init__(name=f"Table({table.__module__}.{table.__qualname__})")


register_model(_Table)(models.OpaqueModel)
_typeof_other_table, _typeof_other_member = typeof_impl.dispatch(EnumMeta), typeof_impl.dispatch(IntEnum)


@typeof_impl.register(EnumMeta)
def _typeof_table(table, c):
    return _Table(table) if issubclass(table, IntEnum) and table.__module__.startswith(OURS) else _typeof_other_table(table, c)


@typeof_impl.register(IntEnum)
def _typeof_member(member, c):
    return types.int64 if type(member).__module__.startswith(OURS) else _typeof_other_member(member, c)


@infer_getattr
class _TableAttribute(AttributeTemplate):
    key = _Table

    def generic_resolve(self, kind, name):
        return types.int64 if name in kind.table.__members__ else None


@lower_getattr_generic(_Table)
def _read_member(context, builder, kind, value, name):
    return context.get_constant(types.int64, int(kind.table[name]))

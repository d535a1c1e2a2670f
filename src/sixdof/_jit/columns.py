"""Enumerations of columns in kernels: plain int64 constants.

To numba a member of an enumeration has a type of its own, which it casts wherever a number is meant, and which cannot index an array on a GPU.
"""

from __future__ import annotations

from enum import EnumMeta

from sixdof._jit.target import AttributeTemplate, infer_getattr, lower_getattr_generic, models, register_model, typeof_impl, types


class TableMeta(EnumMeta):
    """The class of every enumeration of columns."""


class _Table(types.Opaque):
    def __init__(self, table):
        self.table = table
        super().__init__(name=f"Table({table.__module__}.{table.__qualname__})")


register_model(_Table)(models.OpaqueModel)


@typeof_impl.register(TableMeta)
def _typeof_table(table, c):
    return _Table(table)


@infer_getattr
class _TableAttribute(AttributeTemplate):
    key = _Table

    def generic_resolve(self, kind, name):
        return types.int64 if name in kind.table.__members__ else None


@lower_getattr_generic(_Table)
def _read_member(context, builder, kind, value, name):
    return context.get_constant(types.int64, int(kind.table[name]))


def numbers(table):
    """Make the members of an enumeration, where a kernel meets them one by one, int64 too (a class decorator)."""

    @typeof_impl.register(table)
    def _typeof_member(member, c):
        return types.int64

    return table

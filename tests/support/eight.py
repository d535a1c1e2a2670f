"""Eight flights in one value: a stand-in for a lane type, to hold that the kernels ask no branch of a flight's own numbers.

An `Eight` has operators and comparisons and nothing else: whoever takes it for a truth value, a float or an index gets an error.
`teach` gives the core's lanes (core/lanes.py) and mathematical functions their way of doing it. Only for NUMBA_DISABLE_JIT=1.
"""

from __future__ import annotations

import math
import operator
import sys

import numpy as np

COUNT = 8


class AskedOfAFlight(TypeError):
    """A kernel asked a plain truth value or number of what differs from flight to flight."""


class Eight:
    """Eight numbers (float64, int64, uint64 or masks) of eight flights."""

    __array_ufunc__ = None  # numpy's own numbers leave it to the operators below
    __hash__ = None

    def __init__(self, values):
        self.values = np.asarray(values)
        assert self.values.shape == (COUNT,)

    def _refuse(self):
        raise AskedOfAFlight("a branch, a conversion or an index made of a flight's own number")

    __bool__ = __float__ = __int__ = __index__ = _refuse

    def __abs__(self):
        return Eight(np.abs(self.values))

    def __neg__(self):
        return Eight(-self.values)

    def __pow__(self, exponent):
        return each(operator.pow, self, exponent)


def values_of(x):
    return x.values if isinstance(x, Eight) else x


def _operator(name):
    function = getattr(operator, name)
    setattr(Eight, f"__{name.strip('_')}__", lambda self, other: Eight(function(self.values, values_of(other))))
    setattr(Eight, f"__r{name.strip('_')}__", lambda self, other: Eight(function(values_of(other), self.values)))


for _name in ("add", "sub", "mul", "truediv", "and_", "or_", "xor", "lshift", "rshift"):
    _operator(_name)
for _name in ("lt", "le", "gt", "ge", "eq", "ne"):
    setattr(Eight, f"__{_name}__", lambda self, other, function=getattr(operator, _name): Eight(function(self.values, values_of(other))))


def each(function, *arguments):
    """Return what a function of plain numbers makes of each flight's."""
    lanes = [np.broadcast_to(values_of(a), COUNT).tolist() for a in arguments]
    return Eight([function(*flight) for flight in zip(*lanes)])


class Each:
    """A table that differs from flight to flight (air that was drawn)."""

    def __init__(self, tables):
        self.tables, self.shape = tables, tables[0].shape


def _gather(table, *index):
    """Return the table's numbers at places that differ from flight to flight."""
    places = list(zip(*(np.broadcast_to(values_of(i), COUNT).tolist() for i in index)))
    tables = table.tables if isinstance(table, Each) else [table] * COUNT
    found = [t[place] for t, place in zip(tables, places)]
    return Eight([x.values[k] if isinstance(x, Eight) else x for k, x in enumerate(found)])


# ---------------------------------------------------------------- what core/lanes.py does with an Eight


def _select(condition, a, b):
    return Eight(np.where(condition.values, values_of(a), values_of(b)))


def _common(x):
    assert (x.values == x.values[0]).all()
    return float(x.values[0])


def _like(value, x):
    return Eight(np.full(COUNT, value))


def _smaller(a, b):
    return _select(Eight(np.broadcast_to(values_of(b) < values_of(a), COUNT)), b, a)


def _larger(a, b):
    return _select(Eight(np.broadcast_to(values_of(b) > values_of(a), COUNT)), b, a)


def _clip(x, low, high):
    low, high, v = values_of(low), values_of(high), values_of(x)
    return Eight(np.where(v < low, low, np.where(v > high, high, v)))


def _cell(x, rows):
    v = np.where(x.values > 0.0, x.values, 0.0)
    v = np.where(v < rows - 1.0, v, rows - 1.0)
    i = np.minimum(v.astype(np.int64), rows - 2)
    return Eight(i), Eight(v - i)


def _lerp(table, i, f, column):
    a = _gather(table, i, column)
    return a + f * (_gather(table, i + 1, column) - a)


def _layer_lerp(table, i, f, layer, column):
    a = _gather(table, i, layer, column)
    return a + f * (_gather(table, i + 1, layer, column) - a)


def _strip(table, i, f, y):
    j, g = _cell(y, table.shape[1])
    a = _gather(table, i, j) + g * (_gather(table, i, j + 1) - _gather(table, i, j))
    b = _gather(table, i + 1, j) + g * (_gather(table, i + 1, j + 1) - _gather(table, i + 1, j))
    return a + f * (b - a)


def _word(x):
    return Eight(x.values.astype(np.uint64))


_OWN = {
    "select": _select,
    "some": lambda condition: bool(condition.values.any()),
    "opposite": lambda condition: Eight(~condition.values),
    "common": _common,
    "like": _like,
    "smaller": _smaller,
    "larger": _larger,
    "clip": _clip,
    "cell": _cell,
    "lerp": _lerp,
    "layer_lerp": _layer_lerp,
    "strip": _strip,
    "entry": _gather,
    "word": _word,
    "sqrt": lambda x: Eight(np.sqrt(x.values)),
}
_MATHEMATICAL = ("acos", "asin", "atan2", "cos", "exp", "expm1", "floor", "log", "sin")


def _either(plain, own):
    def function(*arguments):
        return (own if any(isinstance(a, Eight) for a in arguments) else plain)(*arguments)

    return function


def teach() -> None:
    """Make every kernel of the core that is imported so far take Eights where it goes through core/lanes.py."""
    from sixdof.core import lanes

    own = _OWN | {name: lambda *arguments, f=getattr(math, name): each(f, *arguments) for name in _MATHEMATICAL}
    taught = {id(getattr(lanes, name)): _either(getattr(lanes, name), function) for name, function in own.items()}
    for name, module in list(sys.modules.items()):
        if name.startswith("sixdof.core."):
            for key, value in list(vars(module).items()):
                if id(value) in taught:
                    setattr(module, key, taught[id(value)])


# ---------------------------------------------------------------- eight flights put together, and one taken out


def pack(flights, own: bool = False):
    """Return eight alike structures (NamedTuples, tuples, arrays, numbers) as one; what is the same in all stays plain unless it is `own`."""
    first = flights[0]
    if isinstance(first, tuple):
        parts = [pack(list(each_part), own) for each_part in zip(*flights)]
        return type(first)(*parts) if hasattr(first, "_fields") else tuple(parts)
    if isinstance(first, np.ndarray):
        return first if not own and all(a is first or np.array_equal(a, first) for a in flights) else _packed_array(flights)
    if not own and all(a == first for a in flights):
        return first
    return Eight(np.array(flights))


def _packed_array(arrays):
    out = np.empty(arrays[0].shape, dtype=object)
    for place in np.ndindex(out.shape):
        out[place] = Eight(np.array([a[place] for a in arrays]))
    return out


def lane(value, k: int) -> np.ndarray:
    """Return all numbers of flight k of a structure, one after the other; of a plain structure all there are."""
    if isinstance(value, tuple):
        return np.concatenate([lane(part, k) for part in value]) if value else np.empty(0)
    if isinstance(value, np.ndarray):
        return np.array([lane(x, k)[0] for x in value.ravel()], dtype=float)
    return np.array([value.values[k] if isinstance(value, Eight) else value], dtype=float)

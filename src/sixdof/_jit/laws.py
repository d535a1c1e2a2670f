"""A guidance or control law to the kernels: a C function at an address, whatever language it was written in."""

from __future__ import annotations

import ctypes

import numba
from llvmlite import ir

from sixdof._jit.compile import helper
from sixdof._jit.target import AS_PYTHON, ON_GPU, intrinsic, types


@intrinsic
def _call_address(typingctx, address, t, sensed, memory, gains, command):
    """Call the C function `int law(double, const double *, double *, const double *, double *)` at an integer address."""

    def codegen(context, builder, signature, values):
        number = ir.IntType(32)
        real, pointer = ir.DoubleType(), ir.DoubleType().as_pointer()
        function = ir.FunctionType(number, [real, pointer, pointer, pointer, pointer])
        data = [context.make_array(kind)(context, builder, value).data for kind, value in zip(signature.args[2:], values[2:])]
        call = builder.call(builder.inttoptr(values[0], function.as_pointer()), [values[1], *data])
        return builder.sext(call, ir.IntType(64))

    return types.int64(address, t, sensed, memory, gains, command), codegen


def _call_address_plainly(address, t, sensed, memory, gains, command):
    """Do the same without numba (NUMBA_DISABLE_JIT=1)."""
    pointer = ctypes.POINTER(ctypes.c_double)
    function = LAW_PROTOTYPE(int(address))
    return function(t, *(a.ctypes.data_as(pointer) for a in (sensed, memory, gains, command)))


# what a law is to the kernels: a C function, whatever language it was written in
LAW_PROTOTYPE = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_double, *[ctypes.POINTER(ctypes.c_double)] * 4)

if AS_PYTHON:
    call_law = _call_address_plainly
elif ON_GPU:

    @helper
    def call_law(address, t, sensed, memory, gains, command):
        """A GPU calls no code of the host's: a custom law fails at its first tick."""
        return 1

else:

    @helper
    def call_law(address, t, sensed, memory, gains, command):
        """Call the law at an address; return its status (0 if all went well)."""
        return _call_address(address, t, sensed, memory, gains, command)


class NoStatus(Exception):
    """A law returns what cannot be its status."""


def law_pointer(law, sizes):
    """Return (object to keep alive, address) of a jitted law(t, sensed, memory, gains, command) as a C function.

    The law is compiled again with its indices checked: once per tick that costs nothing, and a write beyond its memory would go
    anywhere. sizes : lengths of sensed, memory, gains, command. An exception inside becomes status 1 (numba would swallow it);
    a whole number that the law returns is its status.

    Raises
    ------
    NoStatus
        If the law returns something else than nothing or a whole number.
    """
    n_sensed, n_memory, n_gains, n_command = sizes
    pointer, array = types.CPointer(types.float64), types.float64[::1]
    checked = _with_checked_indices(law)
    checked.compile((types.float64, array, array, array, array))
    returned = checked.overloads[next(iter(checked.overloads))].signature.return_type
    if not isinstance(returned, (types.NoneType, types.Integer, types.Boolean)):
        raise NoStatus(f"it returns {returned}")
    silent = isinstance(returned, types.NoneType)

    @numba.njit
    def status_of(t, s, m, g, c):
        return 1 if checked(t, s, m, g, c) else 0

    @numba.njit
    def no_status(t, s, m, g, c):
        checked(t, s, m, g, c)
        return 0

    run = no_status if silent else status_of

    @numba.cfunc(types.int32(types.float64, pointer, pointer, pointer, pointer), error_model="numpy")
    def wrapped(t, sensed, memory, gains, command):
        s = numba.carray(sensed, (n_sensed,))
        m = numba.carray(memory, (n_memory,))
        g = numba.carray(gains, (n_gains,))
        c = numba.carray(command, (n_command,))
        try:
            return run(t, s, m, g, c)
        except Exception:
            return 1

    return wrapped, wrapped.address


def _with_checked_indices(law):
    """Return a jitted function as its owner compiled it, but with bounds checks (its own cache on disk knows nothing of them)."""
    options = {name: value for name, value in law.targetoptions.items() if name not in ("nopython", "cache", "boundscheck")}
    return numba.njit(**options, boundscheck=True)(law.py_func)


def is_jitted(function) -> bool:
    """Return whether a function was compiled by numba's njit."""
    return hasattr(function, "py_func")

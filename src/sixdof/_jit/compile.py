"""How kernels are compiled: each for those that call it from a kernel, and for Python only once Python calls it."""

from __future__ import annotations

from functools import cached_property

import numba
from numba import types
from numba.core.registry import CPUDispatcher

from sixdof._jit.cache import cache_folder
from sixdof._jit.progress import told
from sixdof._jit.store import KernelCache

CACHE = cache_folder() is not None
_OPTIONS = {"nopython": True, "boundscheck": None, "_nrt": False, "nogil": True, "error_model": "numpy", "fastmath": {"contract"}}
_INNER = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}


class Kernel(CPUDispatcher):
    """A compiled function. Kernels that call it see `inner`, the same without its entries from Python and from C.

    Two hundred kernels call each other, some ten are called from Python: entries that nobody used were a sixth of the compilation.
    """

    def __init__(self, py_func, locals=None, targetoptions=None):
        super().__init__(py_func, locals or {}, targetoptions)
        if CACHE:
            self._cache = KernelCache(py_func)

    @cached_property
    def inner(self) -> CPUDispatcher:
        """What kernels call."""
        found = CPUDispatcher(self.py_func, targetoptions={**self.targetoptions, **_INNER})
        if CACHE:
            found._cache = KernelCache(self.py_func, "inner")
        return found

    @property
    def _numba_type_(self):
        return types.Dispatcher(self.inner)

    def compile(self, sig):
        """Compile for a signature, or read from disk what was compiled before; a person is told of the first."""
        known, name = sum(self._cache_misses.values()), f"{self.py_func.__module__}.{self.py_func.__name__}"
        with told(f"compiling {name}, once for this version", lambda: sum(self._cache_misses.values()) > known):
            return super().compile(sig)


def kernel(function):
    """Compile `function`, its machine code kept on disk."""
    return function if numba.config.DISABLE_JIT else Kernel(function, targetoptions=dict(_OPTIONS))


def helper(function):
    """Compile a small function and inline it into its callers."""
    return function if numba.config.DISABLE_JIT else Kernel(function, targetoptions={**_OPTIONS, "forceinline": True})

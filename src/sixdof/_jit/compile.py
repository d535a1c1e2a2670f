"""How kernels are compiled."""

from __future__ import annotations

import numba

from sixdof._jit.cache import cache_folder
from sixdof._jit.store import KernelCache

CACHE = cache_folder() is not None
_OPTIONS = {"_nrt": False, "nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def _compile(function, **options):
    compiled = numba.njit(**_OPTIONS, **options)(function)
    if CACHE and not numba.config.DISABLE_JIT:
        compiled._cache = KernelCache(function)
    return compiled


def kernel(function):
    """Compile `function`, its machine code kept on disk."""
    return _compile(function)


def helper(function):
    """Compile a small function and inline it into its callers."""
    return _compile(function, forceinline=True)

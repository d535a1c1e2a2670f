"""How kernels are compiled."""

from __future__ import annotations

from sixdof._jit import columns as _columns  # noqa: F401  makes members of enumerations numbers to numba
from sixdof._jit.cache import cache_folder
from sixdof._jit.target import AS_PYTHON, ON_GPU

CACHE = cache_folder() is not None and not ON_GPU
_OPTIONS = {"boundscheck": None, "_nrt": False, "nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def _compile(function, **options):
    if AS_PYTHON:
        return function
    if ON_GPU:
        from numba import cuda

        return cuda.jit(device=True, fastmath=_OPTIONS["fastmath"], **options)(function)
    from sixdof._jit.linking import Kernel

    return Kernel(function, _OPTIONS | options, kept=CACHE)


def kernel(function):
    """Compile `function`, its machine code kept on disk."""
    return _compile(function)


def helper(function):
    """Compile a small function and inline it into its callers."""
    return _compile(function, forceinline=True)

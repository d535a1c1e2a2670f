"""How kernels are compiled."""

from __future__ import annotations

import numba

from sixdof._jit.cache import cache_folder

CACHE = cache_folder() is not None
_OPTIONS = {"cache": CACHE, "_nrt": False, "nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def _compile(function, **options):
    # numba picks the cache folder while decorating, so the setting is ours for that moment only: a caller's own jitted
    # functions keep theirs, and a child process does not inherit a folder inside our folder
    kept = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(cache_folder())
    try:
        return numba.njit(**_OPTIONS, **options)(function)
    finally:
        numba.config.CACHE_DIR = kept


def kernel(function):
    """Compile `function`, its machine code kept on disk."""
    return _compile(function)


def helper(function):
    """Compile a small function and inline it into its callers."""
    return _compile(function, forceinline=True)

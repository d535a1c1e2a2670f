"""The one place that decides how kernels are compiled. Nothing else imports numba's decorators.

The on-disk cache sits in a folder named by a hash of every source a kernel can depend on: numba itself does not notice
an edit in an imported file, and would go on returning the old trajectory.

Environment: `SIXDOF_NUMBA_CACHE=0` keeps nothing on disk; `NUMBA_CACHE_DIR` moves the cache; `NUMBA_DISABLE_JIT=1` runs
the kernels as plain Python (slow, for coverage and debuggers).
"""

from __future__ import annotations

import hashlib
import os
from functools import cache
from pathlib import Path

import numba

_HERE = Path(__file__).resolve().parent


@cache
def source_hash() -> str:
    """Return 16 hex digits that change with any edit in `core/` or in this file."""
    digest = hashlib.sha256()
    for path in [Path(__file__), *sorted((_HERE / "core").glob("*.py"))]:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path:
    """Return the folder of the compiled kernels of exactly this source."""
    root = os.environ.get("NUMBA_CACHE_DIR")
    if not root:
        home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
        root = os.path.join(home, "sixdof")
    return Path(root) / f"kernels-{source_hash()}"


CACHE = os.environ.get("SIXDOF_NUMBA_CACHE", "1") != "0"
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


def is_compiled_here() -> bool:
    """Tell whether this source's kernels have been compiled before on this machine (a message is due if not)."""
    folder = cache_folder()
    return CACHE and folder.is_dir() and any(folder.rglob("*.nbc"))

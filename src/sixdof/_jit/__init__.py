"""The one place that decides how kernels are compiled. Nothing else imports numba.

`NUMBA_DISABLE_JIT=1` runs the kernels as plain Python (slow, for coverage and debuggers); `SIXDOF_TARGET=cuda` compiles them for a GPU.
"""

from sixdof._jit.address import lend, lend_all
from sixdof._jit.cache import cache_folder, cache_note, source_hash
from sixdof._jit.compile import CACHE, helper, kernel
from sixdof._jit.laws import LAW_PROTOTYPE, NoStatus, call_law, is_jitted, law_pointer
from sixdof._jit.progress import QUIET, told
from sixdof._jit.reference import borrow, fixed, record
from sixdof._jit.store import machine

__all__ = [
    "CACHE",
    "LAW_PROTOTYPE",
    "NoStatus",
    "QUIET",
    "borrow",
    "cache_folder",
    "cache_note",
    "call_law",
    "fixed",
    "helper",
    "is_jitted",
    "kernel",
    "law_pointer",
    "lend",
    "lend_all",
    "machine",
    "record",
    "source_hash",
    "told",
]

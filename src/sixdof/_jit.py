"""The one place that decides how kernels are compiled. Nothing else imports numba's decorators.

The on-disk cache sits in a folder named by a hash of every source a kernel can depend on: numba itself does not notice
an edit in an imported file, and would go on returning the old trajectory. Where that folder cannot be written, a folder of the user's own among
the temporary ones takes its place, and where there is none such, nothing is kept: each process compiles for itself.

Environment: `SIXDOF_NUMBA_CACHE=0` keeps nothing on disk; `NUMBA_CACHE_DIR` moves the cache; `NUMBA_DISABLE_JIT=1` runs
the kernels as plain Python (slow, for coverage and debuggers).
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import stat
import tempfile
from functools import cache
from pathlib import Path

import numba
from llvmlite import ir
from numba import types
from numba.extending import intrinsic

_HERE = Path(__file__).resolve().parent


@cache
def source_hash() -> str:
    """Return 16 hex digits that change with any edit in `core/` or in this file."""
    digest = hashlib.sha256()
    for path in [Path(__file__), *sorted((_HERE / "core").rglob("*.py"))]:
        digest.update(path.relative_to(_HERE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path | None:
    """Return the folder of the compiled kernels of exactly this source, None where nothing is kept."""
    if os.environ.get("SIXDOF_NUMBA_CACHE", "1") == "0":
        return None
    wanted = _wanted_folder()
    return wanted if _is_writable(wanted) else _temporary_folder(wanted.name)


def _wanted_folder() -> Path:
    root = os.environ.get("NUMBA_CACHE_DIR")
    if not root:
        home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
        root = os.path.join(home, "sixdof")
    return Path(root) / f"kernels-{source_hash()}"


@cache
def _is_writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


@cache
def _temporary_folder(name: str) -> Path | None:
    """Return a folder among the temporary ones that nobody but this user can write: compiled code of others is never loaded."""
    own = Path(tempfile.gettempdir()) / f"sixdof-{os.getuid() if hasattr(os, 'getuid') else 'kernels'}"
    try:
        own.mkdir(mode=0o700, exist_ok=True)
        found = os.lstat(own)
    except OSError:
        return None
    shared = hasattr(os, "getuid") and (found.st_uid != os.getuid() or found.st_mode & 0o077)
    return own / name if stat.S_ISDIR(found.st_mode) and not shared and _is_writable(own / name) else None


def cache_note() -> str:
    """Return what is to be said of a folder of compiled kernels that cannot be written, "" where it can."""
    folder, wanted = cache_folder(), _wanted_folder()
    if folder == wanted or os.environ.get("SIXDOF_NUMBA_CACHE", "1") == "0":
        return ""
    kept = f"they are kept in {folder} until it is cleared" if folder else "every process compiles for itself"
    return f"{wanted.parent} cannot be written: {kept}; NUMBA_CACHE_DIR names another folder"


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

if numba.config.DISABLE_JIT:
    call_law = _call_address_plainly
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

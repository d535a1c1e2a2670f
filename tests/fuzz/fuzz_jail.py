"""Fuzzed arguments must not touch the system they run on: whatever a call is given, it writes in a folder of its own or not at all.

Three fences, the outer ones for what gets past the inner: arguments that are paths are led into the folder (`inside`); while cases run, the working
folder is that folder, and Python refuses to open for writing, remove or rename anything elsewhere (an audit hook: it notes what was tried, and the case is
bad); in a process of its own Linux refuses it too (Landlock, kernel 5.13 and later), for C libraries, children and root as well.
"""

from __future__ import annotations

import ctypes
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
# audit events of what changes a file system, and which of their arguments are paths
_CHANGING = {
    "os.remove": (0,),
    "os.rmdir": (0,),
    "os.mkdir": (0,),
    "os.rename": (0, 1),
    "os.link": (1,),
    "os.symlink": (1,),
    "os.truncate": (0,),
    "os.chmod": (0,),
    "os.chown": (0,),
    "os.utime": (0,),
    "shutil.rmtree": (0,),
    "shutil.move": (0, 1),
    "shutil.copyfile": (1,),
}
_fences: list[list[Path]] = []  # folders that may be written, innermost last; none: everything may
tried: list[str] = []  # what was refused


def inside(folder: Path, odd: object) -> object:
    """Return an argument that may be taken for a path as one below `folder`; what is not a path as it is."""
    if isinstance(odd, Path):
        return folder / odd.relative_to(odd.anchor)
    if isinstance(odd, bytes):
        return odd  # no function takes it
    return str(folder / odd.lstrip("/")) if isinstance(odd, str) and "\0" not in odd else odd


@contextmanager
def jailed(folder: Path) -> Iterator[None]:
    """While this lasts, work in `folder` and refuse to write anywhere else but in the kernels' cache."""
    _install()
    before, temporary = Path.cwd(), tempfile.tempdir
    os.chdir(folder)
    tempfile.tempdir = str(folder)
    _fences.append([folder.resolve(), *writable_besides()])
    try:
        yield
    finally:
        _fences.pop()
        tempfile.tempdir = temporary
        os.chdir(before)


def check_jail() -> None:
    """Raise AssertionError if something tried to write elsewhere since the last time."""
    found, tried[:] = list(tried), []
    assert not found, f"wrote outside its folder: {', '.join(found)}"


def writable_besides() -> list[Path]:
    """Return what a sound call may write: the cache of compiled kernels, matplotlib's of fonts, and nothing's file."""
    home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    caches = [Path(os.environ.get("NUMBA_CACHE_DIR") or home / "sixdof"), home / "matplotlib", Path.home() / ".config" / "matplotlib"]
    return [path.resolve() for path in (*caches, Path("/dev/null"), Path("/dev/shm"))]


_installed = False


def _install() -> None:
    global _installed
    if not _installed:
        sys.addaudithook(_watch)  # there is no way to take it off again: it looks at `_fences`
        _installed = True


def _watch(event: str, arguments: tuple) -> None:
    if not _fences:
        return
    if event == "open" and isinstance(arguments[2], int) and arguments[2] & WRITING:
        paths = arguments[:1]
    elif event in _CHANGING:
        paths = tuple(arguments[i] for i in _CHANGING[event])
    else:
        return
    for path in paths:
        if isinstance(path, (str, bytes, os.PathLike)) and not _allowed(os.fsdecode(path)):
            if "__pycache__" not in os.fsdecode(path):  # Python's own, which goes on without
                tried.append(f"{event} {os.fsdecode(path)}")
            raise PermissionError(f"fuzzing writes in its own folder only, not {os.fsdecode(path)!r}")


def _allowed(path: str) -> bool:
    try:
        real = Path(os.path.realpath(path))
    except (OSError, ValueError):  # no path: whoever opens it says so
        return True
    return any(real == fence or fence in real.parents for fence in _fences[-1])


# ---------------------------------------------------------------- Landlock: https://docs.kernel.org/userspace-api/landlock.html

_CREATE, _ADD, _RESTRICT, _NO_NEW_PRIVILEGES = 444, 445, 446, 38
_WRITE = sum(1 << bit for bit in (1, 4, 5, 6, 7, 8, 9, 10, 11, 12))  # write, remove and make files of any kind
_REFER, _TRUNCATE, _FILE_ONLY = 1 << 13, 1 << 14, (1 << 1) | (1 << 14)


class _Beneath(ctypes.Structure):
    _pack_ = 1
    _fields_ = [("access", ctypes.c_uint64), ("fd", ctypes.c_int32)]


def lock(folder: Path) -> bool:
    """Let this thread, and threads and processes it starts, write nowhere but in `folder` and `writable_besides`; return whether the kernel can."""
    libc = ctypes.CDLL(None, use_errno=True)
    version = libc.syscall(_CREATE, None, ctypes.c_size_t(0), 1) if sys.platform == "linux" else -1
    if version < 1:
        return False
    access = _WRITE | (_REFER if version >= 2 else 0) | (_TRUNCATE if version >= 3 else 0)
    rules = libc.syscall(_CREATE, ctypes.byref(ctypes.c_uint64(access)), ctypes.c_size_t(8), 0)
    for path in (folder, *writable_besides()):
        if not path.exists() and path.suffix == "":
            path.mkdir(parents=True, exist_ok=True)
        fd = os.open(path, os.O_PATH)
        mine = access if path.is_dir() else access & _FILE_ONLY
        libc.syscall(_ADD, rules, 1, ctypes.byref(_Beneath(mine, fd)), 0)
        os.close(fd)
    libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0)
    done = libc.syscall(_RESTRICT, rules, 0) == 0
    os.close(rules)
    return done

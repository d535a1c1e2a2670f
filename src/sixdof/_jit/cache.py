"""Where compiled kernels are kept, from one process to the next.

The on-disk cache sits in a folder named by a hash of every source a kernel can depend on: numba itself does not notice
an edit in an imported file, and would go on returning the old trajectory. The same sources elsewhere find the same folder: another environment,
or the library installed again, has nothing to compile. Where that folder cannot be written, a folder of the user's own among
the temporary ones takes its place, and where there is none such, nothing is kept: each process compiles for itself.

Environment: `SIXDOF_NUMBA_CACHE=0` keeps nothing on disk; `NUMBA_CACHE_DIR` moves the cache.
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
from functools import cache
from importlib.metadata import version
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]
_HASHED = _PACKAGE / "_jit", _PACKAGE / "core"


@cache
def source_hash() -> str:
    """Return 16 hex digits that change with any edit in `core/` or in this room."""
    digest = hashlib.sha256()
    for path in sorted(path for room in _HASHED for path in room.rglob("*.py")):
        digest.update(path.relative_to(_PACKAGE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def is_hashed(path: str) -> bool:
    """Return whether a file is one of those that `source_hash` covers."""
    return any(room in Path(path).resolve().parents for room in _HASHED)


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
    return Path(root) / _folder_name()


@cache
def _folder_name() -> str:
    return f"kernels-{source_hash()}-numba-{version('numba')}"


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

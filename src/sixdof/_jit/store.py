"""How numba keeps a kernel in our folder: by what the source says, not by where it lies or when it was written.

numba's own locators take a file's path and time for its identity, so that the same library in another environment, or installed again,
compiles all over. Here a kernel of the library is known by its module's name, in a folder that the hash of all sources names; one written
elsewhere (a test, a script) by its file's path and text as well.
"""

from __future__ import annotations

import hashlib
import sys
from functools import cache
from pathlib import Path

from llvmlite.binding import get_host_cpu_features, get_host_cpu_name, get_process_triple
from numba.core import caching

from sixdof._jit.cache import cache_folder, is_hashed, source_hash


class _Place(caching._CacheLocator):
    """Where one kernel is kept, and what shows that it is still the same."""

    def __init__(self, function, path: str):
        self.line, self.path = function.__code__.co_firstlineno, path

    def get_cache_path(self) -> str:
        return str(cache_folder() if is_hashed(self.path) else cache_folder() / f"elsewhere-{_digest(self.path)}")

    def get_source_stamp(self) -> str:
        return source_hash() if is_hashed(self.path) else _digest(Path(self.path).read_bytes())

    def get_disambiguator(self) -> str:
        return str(self.line)

    @classmethod
    def from_function(cls, py_func, py_file):
        return cls(py_func, py_file)


class _Kept(caching.CompileResultCacheImpl):
    """What is written of one kernel: numba's own form under a name of ours."""

    def __init__(self, function):
        self._locator, self._lineno = _Place(function, function.__code__.co_filename), function.__code__.co_firstlineno
        self._filename_base = self.get_filename_base(f"{function.__module__}.{function.__qualname__}", "")


class KernelCache(caching.FunctionCache):
    """The machine code of one kernel on disk, signature by signature. Its files are looked for when they are first needed."""

    _impl_class = _Kept

    def __init__(self, function):
        self._function, self._found = function, False

    def _find(self) -> None:
        if not self._found:
            super().__init__(self._function)
            self._found = True

    def load_overload(self, sig, target_context):
        """Return what is kept for a signature, None if nothing is.

        numba's own loads all that its compiler knows before: half a second, and no use to machine code.
        """
        self._find()
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)

    def save_overload(self, sig, data):
        """Keep what was compiled for a signature."""
        self._find()
        super().save_overload(sig, data)


@cache
def _digest(of: str | bytes) -> str:
    return hashlib.blake2b(of if isinstance(of, bytes) else of.encode(), digest_size=8).hexdigest()


@cache
def machine() -> str:
    """Return what machine code depends on beside the sources, as 16 hex digits: Python, processor and its features."""
    return _digest(repr((sys.version_info[:2], get_process_triple(), get_host_cpu_name(), get_host_cpu_features().flatten())))

"""Which law flew: a digest of everything that a custom law does, so that two laws of one name are told from each other.

Of a function: its bytecode and constants, defaults, the cells of its closure, and the globals that it or what it calls reads, by value; functions of
the user's own modules likewise, those of installed libraries by name and version. Of a C law: the bytes of its library. What nothing can be
told of (an open file, a lock, a running generator) makes the law differ from every other, itself included.
"""

from __future__ import annotations

import dis
import functools
import hashlib
import importlib
import sys
import sysconfig
import types
import uuid
from importlib.metadata import PackageNotFoundError, packages_distributions, version
from pathlib import Path

import numpy as np

from sixdof.flight.laws import CLaw, Law, LawError, as_law
from sixdof.mission.files.incoming import FileFault, check_ordinary
from sixdof.results.dataset import BUILT_IN

SHOWN_GAINS = 8  # gains written out beside the digest
_PLAIN = (bool, int, float, complex, str, bytes, type(None), type(...), type(NotImplemented))


class Untold(ValueError):
    """Something that a law holds and that has no value which could be compared."""


def law_text(law, slot: int) -> str:
    """Return what tells one law from another: its name, gains and digest. Raises LawError for a C law whose library is not there."""
    law = as_law(law, slot)
    if law is None:
        return BUILT_IN
    gains = np.asarray(law.gains, dtype=float).ravel()
    listed = ", ".join(f"{gain:.6g}" for gain in gains[:SHOWN_GAINS]) + (", ..." if gains.size > SHOWN_GAINS else "")
    told = f"gains {listed}; " if gains.size else ""
    own = hashlib.blake2b(gains.tobytes() + str(law.memory).encode(), digest_size=8)
    try:
        own.update(_library_bytes(law) if isinstance(law, CLaw) else digest_of(law.function))
    except Untold as held:
        return f"{law.name} ({told}it holds {held}, of which nothing can be told; run {uuid.uuid4().hex[:8]})"
    python = f", Python {sys.version_info.major}.{sys.version_info.minor}" if isinstance(law, Law) and law.plain else ""
    return f"{law.name} ({told}digest {own.hexdigest()}{python})"


def _library_bytes(law: CLaw) -> bytes:
    try:
        check_ordinary(law.path)
        return law.name.encode() + Path(law.path).read_bytes()
    except (OSError, FileFault) as error:
        why = error.message if isinstance(error, FileFault) else error.strerror
        raise LawError(f"{law.path} cannot be read as a shared library: {why}") from None


def digest_of(thing: object) -> bytes:
    """Return the digest of a function, or of any value that it may hold. Raises Untold for what has none."""
    try:
        return _Digest().of(thing)
    except RecursionError:
        raise Untold(f"a {type(thing).__name__} that is too deeply nested") from None


class _Digest:
    """One walk over what a law is made of; `seen` holds what has been met, by its place, so that cycles end."""

    def __init__(self):
        self.seen: dict[int, tuple[int, object]] = {}

    def of(self, thing: object) -> bytes:
        """Return the digest of one thing."""
        if isinstance(thing, _PLAIN):
            return _hashed(type(thing).__name__.encode(), repr(thing).encode())
        if isinstance(thing, tuple):  # of equal constants the compiler may make one, or several
            return self._all(type(thing).__name__, *thing)
        if id(thing) in self.seen:
            return _hashed(b"seen", str(self.seen[id(thing)][0]).encode())
        self.seen[id(thing)] = len(self.seen), thing  # kept alive: an address must not be used twice
        return self._parts(thing)

    def _parts(self, thing: object) -> bytes:
        if isinstance(thing, np.ndarray):
            return _array(thing) if thing.dtype.kind != "O" else self._all("objects", thing.shape, thing.ravel().tolist())
        if isinstance(thing, np.generic):
            return _array(np.asarray(thing))
        if isinstance(thing, list):
            return self._all(type(thing).__name__, *thing)
        if isinstance(thing, (set, frozenset)):
            return _hashed(b"set", *sorted(_Digest().of(each) for each in thing))
        if type(thing) is dict:
            return self._all("dict", *(x for pair in thing.items() for x in pair))
        if isinstance(thing, types.ModuleType):
            return self._module(thing, ())
        if hasattr(thing, "py_func"):  # compiled by numba: how it was compiled counts too
            return self._all("jitted", thing.py_func, sorted(map(repr, getattr(thing, "targetoptions", {}).items())))
        library = _library_of(thing)
        if library is not None and isinstance(thing, (type, types.FunctionType, types.BuiltinFunctionType, np.ufunc)):
            return _hashed(b"library", library.encode(), getattr(thing, "__qualname__", thing.__name__).encode())
        if isinstance(thing, types.FunctionType):
            return self._function(thing)
        if isinstance(thing, types.MethodType):
            return self._all("method", thing.__func__, thing.__self__)
        if isinstance(thing, functools.partial):
            return self._all("partial", thing.func, thing.args, thing.keywords)
        return self._class(thing) if isinstance(thing, type) else self._object(thing)

    def _all(self, kind: str, *parts) -> bytes:
        return _hashed(kind.encode(), *(self.of(part) for part in parts))

    def _function(self, function: types.FunctionType) -> bytes:
        cells = [cell.cell_contents for cell in function.__closure__ or () if _is_filled(cell)]
        state = [function.__defaults__, function.__kwdefaults__, cells]
        return _hashed(b"function", self._code(function.__code__), self.of(state), self._names(function))

    def _code(self, code: types.CodeType) -> bytes:
        constants = [self._code(each) if isinstance(each, types.CodeType) else self.of(each) for each in code.co_consts]
        shape = (code.co_argcount, code.co_posonlyargcount, code.co_kwonlyargcount, code.co_flags, code.co_names, code.co_varnames)
        return _hashed(b"code", code.co_code, code.co_exceptiontable, repr(shape).encode(), *constants)

    def _names(self, function: types.FunctionType) -> bytes:
        """Return the digest of the globals and modules that a function reads."""
        found = []
        attributes = {name for code in _codes(function.__code__) for name in code.co_names}
        for kind, name in sorted({pair for code in _codes(function.__code__) for pair in _read(code)}):
            if kind == "import":
                found.append((name, self._module(_imported(name), attributes)))
            elif name in function.__globals__:
                value = function.__globals__[name]
                is_module = isinstance(value, types.ModuleType)
                found.append((name, self._module(value, attributes) if is_module else self.of(value)))
        return _hashed(b"names", *(part for name, value in found for part in (name.encode(), value)))

    def _module(self, module: types.ModuleType, attributes) -> bytes:
        """Return the digest of a module: of the user's own, what is read of it."""
        library = _library_of(module)
        if library is not None:
            return _hashed(b"module", library.encode(), module.__name__.encode())
        used = sorted(name for name in attributes if hasattr(module, name))
        values = [getattr(module, name) for name in used]
        inner = (self._module(v, attributes) if isinstance(v, types.ModuleType) and id(v) not in self.seen else self.of(v) for v in values)
        self.seen.setdefault(id(module), (len(self.seen), module))
        return _hashed(b"module", module.__name__.encode(), *(part for name, value in zip(used, inner) for part in (name.encode(), value)))

    def _class(self, kind: type) -> bytes:
        own = {name: value for name, value in vars(kind).items() if name not in _OF_NO_ACCOUNT}
        unwrapped = {name: getattr(value, "__func__", getattr(value, "fget", None)) or value for name, value in own.items()}
        plain = {name: value for name, value in unwrapped.items() if not isinstance(value, _DESCRIPTORS)}
        return _hashed(b"class", kind.__qualname__.encode(), self.of(plain), *(self.of(base) for base in kind.__bases__))

    def _object(self, thing: object) -> bytes:
        """Return the digest of any other object: its class and its state, as pickle would take it apart."""
        try:
            parts = thing.__reduce_ex__(4)
        except Exception:
            raise Untold(f"a {type(thing).__name__}") from None
        if isinstance(parts, str):
            return self._all("named", type(thing), parts)
        rest = [None if part is None else list(part) for part in parts[3:5]]
        return self._all("object", type(thing), *parts[:3], *rest)


_OF_NO_ACCOUNT = ("__dict__", "__weakref__", "__doc__", "__module__", "__static_attributes__", "__firstlineno__")  # of a class
_DESCRIPTORS = (types.MemberDescriptorType, types.GetSetDescriptorType, types.WrapperDescriptorType)


def _hashed(*parts: bytes) -> bytes:
    sum_ = hashlib.blake2b(digest_size=16)
    for part in parts:
        sum_.update(len(part).to_bytes(8, "little") + part)
    return sum_.digest()


def _array(values: np.ndarray) -> bytes:
    return _hashed(b"array", str(values.dtype).encode(), str(values.shape).encode(), np.ascontiguousarray(values).tobytes())


def _is_filled(cell) -> bool:
    try:
        _ = cell.cell_contents
    except ValueError:  # a name that is not bound yet
        return False
    return True


def _codes(code: types.CodeType):
    """Yield a function's code and that of the functions written in it."""
    yield code
    for constant in code.co_consts:
        if isinstance(constant, types.CodeType):
            yield from _codes(constant)


def _read(code: types.CodeType):
    """Yield ("global", name) and ("import", name) of what a code reads from outside."""
    for step in dis.get_instructions(code):
        if step.opname in ("LOAD_GLOBAL", "LOAD_NAME"):
            yield "global", step.argval
        elif step.opname == "IMPORT_NAME" and step.argval:
            yield "import", step.argval


def _imported(name: str) -> types.ModuleType:
    try:
        return sys.modules.get(name) or importlib.import_module(name)
    except Exception:
        raise Untold(f"the module {name}, which cannot be imported") from None


# ---------------------------------------------------------------- whose code it is

_INSTALLED = tuple(str(Path(path).resolve()) for key, path in sysconfig.get_paths().items() if key in ("purelib", "platlib", "stdlib", "platstdlib"))


def _library_of(thing: object) -> str | None:
    """Return name and version of the installed library that a function, class or module belongs to; None for the user's own."""
    name = thing.__name__ if isinstance(thing, types.ModuleType) else getattr(thing, "__module__", None)
    name = name or ("numpy" if isinstance(thing, np.ufunc) else "builtins" if isinstance(thing, types.BuiltinFunctionType) else "")
    top = str(name).split(".")[0]
    if top == "__main__":
        return None
    if top in sys.stdlib_module_names:
        return f"Python {sys.version_info.major}.{sys.version_info.minor} {name}"
    if top == "sixdof":
        return str(name)  # the digest of the code says which
    file = getattr(sys.modules.get(top), "__file__", None)
    if file is None or not _is_installed(file):
        return None
    return f"{_version(top)} {name}"


def _is_installed(file: str) -> bool:
    found = str(Path(file).resolve())
    return found.startswith(_INSTALLED) or "site-packages" in found or "dist-packages" in found


@functools.cache
def _version(top: str) -> str:
    try:
        return f"{top} {version(top)}"
    except PackageNotFoundError:
        names = packages_distributions().get(top, [])
        return f"{top} {version(names[0])}" if names else top

"""Names that a package shows and other modules define, loaded on first use: one mechanism for `sixdof` and each of its façades.

A façade states its names twice, each time for one reader. Its imports stand under `if TYPE_CHECKING:`, where editors and type checkers
see them, and `show` reads from them at run time which module each name comes from. Its groups put the names in the order of its help.
"""

from __future__ import annotations

import ast
import gc
import importlib.util
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from difflib import get_close_matches
from functools import cache
from importlib import import_module
from textwrap import shorten
from types import ModuleType
from typing import Any

WIDTH = 110  # characters of a line of the overview
# page-makers of lower rooms' objects, filled by the package's `__init__`: what -> (module, function); a lower room calls them by `page_of`
PAGES: dict[str, tuple[str, str]] = {}


class Facade(ModuleType):
    """A package whose names are loaded on first use; printed, it lists them in groups, a line each."""

    def __getattr__(self, name: str) -> Any:
        # asked only for what is not here yet; the answer is kept, so that each name is looked for once
        homes = self.__dict__["_homes"]
        if name not in homes:
            near = get_close_matches(name, homes, n=1)
            raise AttributeError(f"module {self.__name__!r} has no attribute {name!r}" + (f"; did you mean {near[0]!r}?" if near else ""), name=name, obj=self)
        module, original = homes[name]
        with _uncollected():
            value = import_module(f"{module}.{original}") if module == self.__name__ else getattr(import_module(module), original)
        setattr(self, name, value)
        return value

    def __dir__(self) -> list[str]:
        return list(self.__all__)

    def __str__(self) -> str:
        return overview(self)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Let no garbage be collected meanwhile: modules make objects to stay, and to look through them all again and again is a tenth of start-up."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def show(name: str, groups: dict[str, tuple[str, ...]]) -> None:
    """Make the package `name` show the names imported under its `if TYPE_CHECKING:`; called once, from its `__init__`.

    groups : heading -> names, in the order of the overview; together the package's `__all__`.
    """
    module = sys.modules[name]
    names = [each for heading in groups.values() for each in heading]
    vars(module).update(_homes=homes_of(source_of(name)), _groups=groups, __all__=names)
    module.__class__ = Facade


def source_of(name: str) -> str:
    """Return the source text of a module without running it (its parent packages are imported)."""
    spec: Any = sys.modules[name].__spec__ if name in sys.modules else importlib.util.find_spec(name)
    return spec.loader.get_source(name)


def homes_of(source: str) -> dict[str, tuple[str, str]]:
    """Return what the imports under `if TYPE_CHECKING:` of a source text bring: name -> (module, its name there)."""
    homes: dict[str, tuple[str, str]] = {}
    for block in ast.parse(source).body:
        if isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING":
            for node in (each for each in block.body if isinstance(each, ast.ImportFrom)):
                homes |= {alias.asname or alias.name: (str(node.module), alias.name) for alias in node.names}
    return homes


def overview(facade: ModuleType) -> str:
    """Return what a façade is for, and its names in groups, a line each: the first sentence that each says of itself."""
    wide = max(len(each) for each in facade.__all__)
    lines = [f"{facade.__name__}: {(facade.__doc__ or '').splitlines()[0]}"]
    for heading, names in facade._groups.items():
        lines += ["", heading]
        lines += [f"  {each:<{wide}}  {shorten(said_of(*facade._homes[each]), WIDTH - wide, placeholder=' ...')}".rstrip() for each in names]
    return "\n".join([*lines, "", f"help({facade.__name__}.NAME) says how to call one, with an example."])


@cache
def said_of(module: str, name: str) -> str:
    """Return the first sentence of a definition's docstring, or a constant's comment, read from its module's source; nothing of it is loaded."""
    source = source_of(module)
    for node in ast.parse(source).body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and node.name == name:
            return first_sentence(ast.get_docstring(node) or "")
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == name:
            return source.splitlines()[node.lineno - 2].lstrip("#- ")  # the comment above it
    return first_sentence(ast.get_docstring(ast.parse(source_of(f"{module}.{name}"))) or "")  # a module that a package shows


def first_sentence(text: str) -> str:
    """Return the first sentence of a docstring, on one line and without its "Return"."""
    sentence = re.split(r"(?<=[.;])\s", " ".join(text.split("\n\n")[0].split()))[0].rstrip(".:;")
    said = sentence.removeprefix("Return ")
    return said[:1].upper() + said[1:]


def page_of(what: str, thing: object) -> str:
    """Return what the page-maker named `what` in PAGES makes of a thing: the way up for objects of lower rooms that show themselves."""
    module, function = PAGES[what]
    return getattr(import_module(module), function)(thing)

"""Which code flies: one digest of every source file that has a part in a flight, found by following imports."""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import sixdof

FIRST = ("flight.fly", "ensemble.run")  # what a person calls to fly; all else follows from what these import


@cache
def code_hash() -> str:
    """Return 16 hex digits that change with any edit of a module that a flight may go through, from mission file to result."""
    found = hashlib.blake2b(digest_size=8)
    for name in sorted(flown_modules()):
        found.update(name.encode())
        found.update(_file(name).read_bytes())
    return found.hexdigest()


@cache
def flown_modules() -> frozenset[str]:
    """Return the modules of this library that `fly` and `disperse` import, now or in the middle of a function, and those that these import."""
    found: set[str] = set()
    waiting = [f"sixdof.{name}" for name in FIRST]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += _imported(ast.parse(_file(name).read_bytes()))
    return frozenset(found)


def _imported(tree: ast.AST) -> Iterator[str]:
    for node in _running(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if _is_own(alias.name))
        elif isinstance(node, ast.ImportFrom) and node.module and _is_own(node.module):
            for alias in node.names:  # a name may be a module of the package, or something in it
                inner = f"{node.module}.{alias.name}"
                yield inner if _file(inner).is_file() else node.module


def _running(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield the nodes of a module that run some time: not what stands under `if TYPE_CHECKING`, which only editors read."""
    for node in ast.iter_child_nodes(tree):
        if not (isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
            yield node
            yield from _running(node)


def _is_own(name: str) -> bool:
    return name.split(".")[0] == "sixdof"


def _file(name: str) -> Path:
    """Return where the import system finds a module of this library; a path that is not there for anything else."""
    for root in sixdof.__path__:
        path = Path(root).joinpath(*name.split(".")[1:])
        found = path / "__init__.py" if path.is_dir() else path.with_name(f"{path.name}.py")
        if found.is_file():
            break
    return found

"""What every kernel says of itself: the type of each argument and of its result, and columns by their names."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import sixdof

CORE = Path(sixdof.__file__).parent / "core"
FILES = sorted(path for path in CORE.rglob("*.py") if path.read_text())
LONGEST = 60  # lines of a function
TUPLES = {"shape", "m", "error", "profile"}  # sizes of an array; the nine numbers of a rotation; three errors; rows of a profile: no columns


def kernels_of(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef) and {"kernel", "helper"} & {d.id for d in node.decorator_list if isinstance(d, ast.Name)}:
            yield node


def indexed(node):
    """The name of what a subscript indexes."""
    value = node.value
    return value.attr if isinstance(value, ast.Attribute) else value.id if isinstance(value, ast.Name) else ""


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(CORE).as_posix())
def test_kernel__says_the_type_of_every_argument_and_of_its_result(path):
    silent = [f"{node.name}({a.arg})" for node in kernels_of(path) for a in node.args.args if a.annotation is None]
    assert silent + [f"{node.name} -> ?" for node in kernels_of(path) if node.returns is None] == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(CORE).as_posix())
def test_kernel__reads_columns_by_name(path):
    bare = [
        f"{kernel.name}: {ast.unparse(node)}"
        for kernel in kernels_of(path)
        for node in ast.walk(kernel)
        if isinstance(node, ast.Subscript) and indexed(node) not in TUPLES
        for index in (node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice])
        if isinstance(index, ast.Constant) and isinstance(index.value, int)
    ]
    assert bare == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(CORE).as_posix())
def test_kernel__fits_on_a_page(path):
    functions = [node for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.FunctionDef)]
    assert [f"{node.name}: {node.end_lineno - node.lineno + 1} lines" for node in functions if node.end_lineno - node.lineno >= LONGEST] == []

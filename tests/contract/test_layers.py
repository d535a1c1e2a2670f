"""The rooms of the house: data flows one way, and `core` knows nothing of the rest."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import sixdof

SOURCE = Path(sixdof.__file__).parent
# what a room may import of sixdof, besides itself (design: no room reaches back up)
BELOW = {
    "core": {"_jit"},
    "mission": {"vehicle.motor", "files"},
    "world": {"core", "mission"},
    "vehicle": {"core", "mission", "world", "compiling"},
    "autopilot": {"core", "mission", "vehicle", "world"},
    "ensemble": {
        "core", "mission", "vehicle", "world", "autopilot", "model", "legs", "results", "store", "store_disk", "store_reading", "netcdf", "flying", "laws",
        "law_digest", "source", "_jit", "status",
    },
    "study": {
        "core", "mission", "vehicle", "world", "autopilot", "ensemble", "model", "parting", "passive", "bodies", "flying", "legs", "laws", "results",
        "registry", "status",
    },
    "plot": {"mission", "vehicle", "autopilot", "results", "study", "status"},
}
# modules that join rooms: flights are put together below what keeps and what reads their results
JOINING = {
    "parting": {"core", "vehicle"},
    "passive": {"core", "vehicle", "world"},
    "bodies": {"core", "world", "passive", "flying", "status"},
    "compiling": {"_jit", "mission"},
    "model": {"core", "mission", "vehicle", "world", "autopilot", "compiling"},
    "legs": {"core", "mission", "vehicle", "world", "autopilot", "model", "parting", "laws"},
    "registry": {"core", "legs", "status"},
    "files": set(),
    "source": set(),
    "differences": set(),
    "store_disk": {"files"},
    "netcdf": {"files", "store_disk"},
    "store": {"differences", "files", "store_disk"},
    "store_reading": {"files", "netcdf", "store", "store_disk"},
    "results": {"core", "mission", "world", "legs", "registry", "files", "netcdf", "store_disk", "store_reading", "source", "status"},
    "law_digest": {"files", "laws", "results"},
}
OUTSIDE_CORE = {"numpy", "math", "typing", "__future__"}


def imports(path: Path):
    """Yield every module imported anywhere in a file."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            # `from sixdof import legs` names a module too
            yield from (f"sixdof.{alias.name}" for alias in node.names) if node.module == "sixdof" else (node.module,)


def is_below(module: str, allowed: set[str]) -> bool:
    """Tell whether a module of sixdof is one of `allowed`, or in one."""
    inside = module.removeprefix("sixdof.")
    return any(inside == name or inside.startswith(name + ".") for name in allowed)


@pytest.mark.parametrize("room", BELOW)
def test_room__imports_only_what_is_below(room):
    files = sorted((SOURCE / room).glob("*.py"))
    assert len(files) > (0 if room in ("study", "autopilot") else 1)
    for path in files:
        for module in imports(path):
            if module.startswith("sixdof."):
                assert is_below(module, BELOW[room] | {room}), f"{path}: {module}"


@pytest.mark.parametrize("name", JOINING)
def test_joining_module__imports_only_what_is_below(name):
    for module in imports(SOURCE / f"{name}.py"):
        if module.startswith("sixdof."):
            assert is_below(module, JOINING[name]), module


def test_core__imports_only_numpy_and_math():
    for path in sorted((SOURCE / "core").glob("*.py")):
        for module in imports(path):
            assert module.startswith("sixdof.") or module.split(".")[0] in OUTSIDE_CORE, f"{path}: {module}"


def test_numba__is_imported_in_one_place():
    for path in SOURCE.rglob("*.py"):
        if path.name != "_jit.py":
            assert not any(m.split(".")[0] == "numba" for m in imports(path)), path

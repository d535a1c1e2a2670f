"""The rooms of the house: data flows one way, no room reaches back up, nothing goes round in a circle; imports inside functions count."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

import sixdof

SOURCE = Path(sixdof.__file__).parent
# every room, from the lowest to the highest: a module may import its own room and those named before it
ROOMS = (
    "surface",
    "_jit",
    "core",
    "mission.page",
    "mission.unit_names",
    "mission.units",
    "mission.place",
    "mission.errors",
    "mission.files",
    "mission.tables",
    "mission.paths",
    "mission.former",
    "mission.disperse",
    "mission.checks",
    "mission.translate",
    "mission.stations",
    "mission.placing",
    "mission.reading",
    "mission.edit",
    "mission.single",
    "mission.mission",
    "mission.load",
    "mission",
    "world",
    "vehicle.profiles",
    "vehicle.geometry",
    "vehicle.solids",
    "vehicle.mounting",
    "vehicle.motor",
    "vehicle.mass",
    "vehicle.compiling",
    "vehicle.stability",
    "vehicle.derivatives",
    "vehicle.aero",
    "vehicle",
    "autopilot",
    "results",
    "draws",
    "flight.separation",
    "flight.harness",
    "flight.model",
    "flight.staging",
    "flight.plan",
    "flight.laws",
    "flight.runner",
    "flight",
    "postflight.logs",
    "rehearsal",
    "ensemble",
    "study.probes",
    "study.reading",
    "study.verification",
    "study.aero",
    "study.loops",
    "study.uncertainty",
    "study.tuning",
    "study.variants",
    "study.sweep",
    "study.weathercock",
    "study.landing",
    "study.wind_limit",
    "study.motor_choice",
    "study.recovery",
    "study.structure",
    "study.as_built",
    "study.static_firing",
    "study.report",
    "study.launch_card",
    "postflight.recording",
    "postflight.compare",
    "postflight.estimation",
    "postflight.hypotheses",
    "postflight.search",
    "postflight.video",
    "plot.style",
    "plot.labels",
    "plot.vehicle",
    "plot.flight",
    "plot.aero",
    "plot.loops",
    "plot.uncertainty",
    "plot.preflight",
    "plot.workshop",
    "plot.postflight",
    "plot",
    "pages",
    "aero",
    "laws",
    "loops",
    "parts",
    "postflight",
    "preflight",
    "stats",
    "workshop",
    "cli",
    "__main__",
)
OUTSIDE_CORE = {"numpy", "math", "enum", "typing", "__future__"}


def name_of(path: Path) -> str:
    """Return a module's name inside the package: `mission.load`, and `mission` for its `__init__`."""
    return ".".join(path.relative_to(SOURCE).with_suffix("").parts).removesuffix(".__init__")


MODULES = {name_of(path): path for path in sorted(SOURCE.rglob("*.py")) if path.stat().st_size and path != SOURCE / "__init__.py"}


def imports(path: Path):
    """Yield every module imported anywhere in a file, and of `from a import b` the module b where there is one."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            yield from (name if name.removeprefix("sixdof.") in MODULES else node.module for name in inner)


@cache
def arrows() -> dict[str, frozenset[str]]:
    """Return, for each module of the package, those of the package that it imports."""
    own = {}
    for name, path in MODULES.items():
        found = {module.removeprefix("sixdof.") for module in imports(path) if module.startswith("sixdof.")}
        own[name] = frozenset(found & set(MODULES) - {name})
    return own


def layer(module: str) -> int:
    """Return the number of the most particular room that a module is in."""
    inside = [room for room in ROOMS if module == room or module.startswith(room + ".")]
    assert inside, f"{module} belongs to no room"
    return ROOMS.index(max(inside, key=len))


def circles(graph: dict[str, frozenset[str]]) -> list[list[str]]:
    """Return the sets of modules that reach each other, by what each reaches."""
    reached = {name: {name} for name in graph}
    growing = True
    while growing:
        growing = False
        for name, found in reached.items():
            more = set().union(*(reached[other] for other in graph[name])) | found
            growing |= len(more) > len(found)
            reached[name] = more
    together = {frozenset(b for b in reached[a] if a in reached[b]) for a in graph}
    return sorted(sorted(group) for group in together if len(group) > 1)


def test_circles__are_seen():
    graph = {"a": frozenset("b"), "b": frozenset("c"), "c": frozenset("a"), "d": frozenset("a")}
    assert circles(graph) == [["a", "b", "c"]]


def test_modules__go_round_in_no_circle():
    assert circles(arrows()) == []


@pytest.mark.parametrize("room", ROOMS)
def test_room__imports_only_itself_and_what_is_below(room):
    modules = [name for name in arrows() if layer(name) == ROOMS.index(room)]
    assert modules
    assert [f"{name} -> {other}" for name in modules for other in arrows()[name] if layer(other) > ROOMS.index(room)] == []


def test_root__holds_no_loose_module():
    assert {path.name for path in SOURCE.glob("*.py")} == {"__init__.py", "__main__.py"}


@pytest.mark.parametrize("folder", sorted({path.parent for path in MODULES.values()}), ids=lambda folder: folder.relative_to(SOURCE).as_posix())
def test_folder__is_small_enough_to_look_through(folder):
    assert len(list(folder.glob("*.py"))) <= 17  # some fifteen, and an __init__


def test_core__imports_only_numpy_and_math():
    for path in sorted((SOURCE / "core").rglob("*.py")):
        for module in imports(path):
            assert module.startswith("sixdof.") or module.split(".")[0] in OUTSIDE_CORE, f"{path}: {module}"


def test_study__reaches_kernels_through_its_probes_alone():
    """What studies ask of the kernels is a handful of named questions, so that the kernels may change behind them."""
    for path in sorted((SOURCE / "study").rglob("*.py")):
        if path.parent.name != "probes":
            assert not [module for module in imports(path) if module.startswith(("sixdof.core", "sixdof._jit"))], path


def test_numba__is_imported_in_one_room():
    for path in SOURCE.rglob("*.py"):
        if path.parent.name != "_jit":
            assert not any(m.split(".")[0] == "numba" for m in imports(path)), path

"""Who reads or runs what is shipped meets `sixdof` and its façades and nothing beneath: README, notebooks, the command line."""

from __future__ import annotations

import ast
import json
import re
from importlib import import_module
from pathlib import Path

import pytest

import sixdof

ROOT = Path(__file__).parents[2]
FACADES = {"sixdof", *(f"sixdof.{name}" for name in ("aero", "laws", "loops", "parts", "plot", "postflight", "preflight", "stats", "workshop"))}
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def code_of_notebook(path: Path) -> str:
    cells = [cell for cell in json.loads(path.read_text())["cells"] if cell["cell_type"] == "code"]
    return "\n".join("".join(cell["source"]) for cell in cells)


def code_of_page(path: Path) -> str:
    return "\n".join(re.findall(r"^```python\n(.*?)^```", path.read_text(), flags=re.S | re.M))


CODE = {path.name: code_of_notebook(path) for path in NOTEBOOKS}
CODE |= {"README.md": code_of_page(ROOT / "README.md")}
CLI = Path(sixdof.__file__).parent / "cli"
CODE |= {f"cli/{path.relative_to(CLI)}": path.read_text() for path in sorted(CLI.rglob("*.py"))}


def deep(code: str) -> list[str]:
    """Return what a text of Python takes from sixdof that is neither there nor in a façade; modules of the command line take each other."""
    found = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.ImportFrom) and f"{node.module}.".startswith("sixdof.cli."):
            continue
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names if alias.name.split(".")[0] == "sixdof" and alias.name not in FACADES]
        elif isinstance(node, ast.ImportFrom) and node.module.split(".")[0] == "sixdof":
            shown = import_module(node.module).__all__ if node.module in FACADES else ()
            found += [f"{node.module}.{alias.name}" for alias in node.names if alias.name not in shown]
        elif isinstance(node, ast.Attribute):
            found += [text for text in [ast.unparse(node)] if not _shown(text)]
    return found


def _shown(text: str) -> bool:
    """Tell whether a dotted name is none of sixdof's, a façade, or a name in one (what follows it is the thing's own)."""
    names = text.split(".")
    if names[0] != "sixdof" or text in FACADES or not re.fullmatch(r"[\w.]+", text):
        return True
    facade = ".".join(names[:2]) if ".".join(names[:2]) in FACADES else "sixdof"
    return names[facade.count(".") + 1] in import_module(facade).__all__


@pytest.mark.parametrize("name", CODE)
def test_shipped_code__goes_no_deeper_than_the_facades(name):
    assert deep(CODE[name]) == []


def test_code__is_found():
    assert len(NOTEBOOKS) >= 5 and all("import sixdof" in code or "from sixdof" in code for name, code in CODE.items() if not name.startswith("cli"))
    assert sum("from sixdof import" in code for name, code in CODE.items() if name.startswith("cli")) >= 5


def test_deep__sees_every_way_down():
    lines = [
        "import sixdof.study",
        "from sixdof.study.loops import margins",
        "from sixdof.loops import crossings",
        "sixdof.vehicle.mass.mass_at",
        "sixdof.loops.margins(m).x",
    ]
    code = "\n".join(lines)
    assert set(deep(code)) == {
        "sixdof.study",
        "sixdof.study.loops.margins",
        "sixdof.loops.crossings",
        "sixdof.vehicle",
        "sixdof.vehicle.mass",
        "sixdof.vehicle.mass.mass_at",
    }


def test_pages_of_help__hold_code_that_goes_no_deeper():
    for facade in sorted(FACADES):
        doc = import_module(facade).__doc__
        block = "\n".join(line[4:] for line in doc.splitlines() if line.startswith("    "))
        assert block and deep(block) == [], facade

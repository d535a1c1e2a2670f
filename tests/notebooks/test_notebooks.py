"""The notebooks: as they are stored, whether what they store is still true, and run again from top to bottom."""

from __future__ import annotations

import base64
import io
import re
import sys
from pathlib import Path

import nbformat
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image, ImageDraw

from sixdof.plot.style import CYCLE

FOLDER = Path(__file__).parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
LONGEST = 900  # s a cell
VOLATILE = re.compile(r"perf_counter|%time")  # of a cell that prints how long something took
PROVENANCE = re.compile(r", code [0-9a-f]{16}|\d{4}-\d\d-\d\dT\S+")  # in a page: which source, when
NUMBER = re.compile(r"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?")
HOW = "run python notebooks/store.py"

sys.path.insert(0, str(FOLDER))
import store  # noqa: E402  (the command that stores them is no part of the package)


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def notebook(request):
    return nbformat.read(request.param, as_version=4)


@pytest.fixture
def stored(notebook):
    """What a notebook was run with."""
    assert "stored" in notebook.metadata, f"stored without what it was run with: {HOW}"
    return notebook.metadata["stored"]


def test_notebook__is_stored_as_it_ran(notebook):
    """Every code cell has run, in order, without an error and without a warning."""
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    outputs = [output for cell in cells for output in cell.outputs]
    assert not any(output.output_type == "error" or output.get("name") == "stderr" for output in outputs)


def test_notebook__says_what_it_is_worth(notebook):
    text = " ".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    assert "invented" in text


def test_notebook__stores_what_these_cells_put_out(notebook, stored):
    """A cell edited and not run shows what another cell printed."""
    assert stored["cells"] == store.hash_of_cells(notebook), HOW


def test_notebook__was_run_by_flights_as_they_fly_today(stored, demo_flight, stack_flight):
    """Outcomes of the shipped demos as they were then and are now: the library gives the same numbers on one machine to the last bits."""
    flights = stored["flights"]
    for name, flight in (("sampler", demo_flight), ("two-stage", stack_flight)):
        assert flights[name] == pytest.approx(store.outcomes_of(flight), rel=1e-9), HOW


def test_notebooks__were_stored_with_one_source():
    """What one of them prints may be compared with what another does."""
    found = {path.stem: nbformat.read(path, as_version=4).metadata.get("stored") for path in NOTEBOOKS}
    codes = {name: told["code"] for name, told in found.items() if told is not None}
    assert len(set(codes.values())) <= 1, f"{codes}: {HOW}"


def test_pictures__are_not_coarser_than_110_dpi(notebook, stored):
    """Three inches is what the narrowest of the package's figures has."""
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if "image/png" in output.get("data", {}):
                picture = Image.open(io.BytesIO(base64.b64decode(output["data"]["image/png"])))
                assert picture.width >= 3.0 * store.DPI and stored["code"]


def test_fewer_colours__keeps_the_cycle_and_the_size():
    """Six lines of the cycle among a thousand other colours: a palette that would move one is not taken."""
    picture = Image.new("RGB", (400, 300), "white")
    draw = ImageDraw.Draw(picture)
    for k in range(120):
        for i in range(100):
            picture.putpixel((k, i), (2 * k, 2 * i, k + i))
    for k, colour in enumerate(CYCLE):
        draw.line([(200, 20 + 40 * k), (390, 20 + 40 * k)], fill=colour, width=2)
    out = io.BytesIO()
    picture.save(out, "PNG")
    kept = Image.open(io.BytesIO(store.fewer_colours(out.getvalue()))).convert("RGB")
    assert kept.size == picture.size
    for k, colour in enumerate(CYCLE):
        wanted = [round(255.0 * c) for c in to_rgb(colour)]
        assert np.abs(np.array(kept.getpixel((300, 20 + 40 * k))) - wanted).max() <= store.KEPT_WITHIN


def test_readme_pictures__are_as_wide_as_a_browser_shows():
    narrow = set()
    for path in sorted((FOLDER / "figures").glob("*.png")):
        with Image.open(path) as picture:
            if not 0.98 * store.WIDE * store.DPI <= picture.width <= 1.02 * store.WIDE * store.DPI:
                narrow.add(path.stem)
    assert not narrow, f"{HOW} --figures"


@pytest.mark.slow
def test_notebook__runs_and_prints_the_stored_numbers(notebook):
    """What is printed and shown as a table, number by number; pictures and durations apart."""
    from nbclient import NotebookClient

    stored = [_said(cell) for cell in notebook.cells]
    NotebookClient(notebook, timeout=LONGEST, coalesce_streams=True, resources={"metadata": {"path": str(FOLDER)}}).execute()
    for cell, before in zip(notebook.cells, stored, strict=True):
        if cell.cell_type == "code" and not VOLATILE.search(cell.source):
            now = _said(cell)
            assert NUMBER.sub("#", before) == NUMBER.sub("#", now), cell.source
            numbers = [[float(number) for number in NUMBER.findall(text)] for text in (before, now)]
            assert numbers[0] == pytest.approx(numbers[1], rel=1e-6, abs=1e-9), cell.source


def _said(cell) -> str:
    """Return what a cell printed and showed as text."""
    outputs = cell.get("outputs", [])
    text = "\n".join(output.get("text", "") or output.get("data", {}).get("text/plain", "") for output in outputs if "image/png" not in output.get("data", {}))
    return PROVENANCE.sub("", text)

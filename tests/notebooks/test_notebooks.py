"""The notebooks: as they are stored, and run again from top to bottom."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
LONGEST = 900  # s a cell


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def notebook(request):
    return nbformat.read(request.param, as_version=4)


def test_notebook__is_stored_as_it_ran(notebook):
    """Every code cell has run, in order, without an error and without a warning."""
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    outputs = [output for cell in cells for output in cell.outputs]
    assert not any(output.output_type == "error" or output.get("name") == "stderr" for output in outputs)


def test_notebook__says_what_it_is_worth(notebook):
    text = " ".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    assert "invented" in text


@pytest.mark.slow
def test_notebook__runs(notebook):
    from nbclient import NotebookClient

    NotebookClient(notebook, timeout=LONGEST, resources={"metadata": {"path": str(NOTEBOOKS[0].parent)}}).execute()

"""Runs the notebooks and stores them with what they print and draw; draws README's figures.

    python notebooks/store.py                      all notebooks, then the figures
    python notebooks/store.py first-flights        one notebook
    python notebooks/store.py --figures            README's figures alone, notebooks/figures/*.png

Each stored notebook says in its metadata what it was run with: the hash of the library's source, a hash of its own cells, and the outcomes of the
shipped demos. `tests/notebooks` refuse one whose cells have changed since, whose demos fly otherwise today, or that was run by another source than
the rest. Pictures are PNG of at most 256 colours, chosen so that every colour of the figures' cycle stays as it is.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import io
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
CONFIGS = HERE.parent / "configs"
DPI = 110  # of a notebook's and of README's figures
WIDE = 8.0  # inches: README's figures, 880 pixels, as wide as a browser shows them
LONGEST = 900  # s a cell
DEMOS = {"sampler": CONFIGS / "sampler.toml", "two-stage": CONFIGS / "two-stage.toml"}
OUTCOMES = ("apogee_height", "apogee_time", "rail_departure_speed", "landing_east", "landing_north", "flight_time")
QUIET = "import os\nos.environ['SIXDOF_COMPILING'] = '1'\n"  # what `provenance` did not fly yet is compiled without words in a cell's output
SETUP = (
    f"{QUIET}import matplotlib_inline.backend_inline as _inline\n_inline.set_matplotlib_formats('png')\n"
    f"import matplotlib\nmatplotlib.rcParams['figure.dpi'] = {DPI}"
)
MOST_COLOURS, KEPT_WITHIN, SEEN = 256, 6, 30  # of a palette; levels of 255 by which a cycle's colour may move; pixels from which it is there


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("names", nargs="*", help="notebooks, without .ipynb")
    arguments.add_argument("--figures", action="store_true", help="README's figures alone")
    chosen = arguments.parse_args()
    paths = [HERE / f"{name.removesuffix('.ipynb')}.ipynb" for name in chosen.names] or sorted(HERE.glob("*.ipynb"))
    if not chosen.figures:
        told = provenance()
        for path in paths:
            store(path, told)
            print(f"stored: {path}", flush=True)
    if chosen.figures or not chosen.names:
        for path in readme_figures(HERE / "figures"):
            print(f"drawn: {path}", flush=True)


# ---------------------------------------------------------------- notebooks


def store(path: Path, told: dict) -> None:
    """Run a notebook from top to bottom in its folder and write it back with its outputs."""
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.read(path, as_version=4)
    notebook.cells.insert(0, nbformat.v4.new_code_cell(SETUP))
    client = {"timeout": LONGEST, "coalesce_streams": True, "kernel_name": "python3", "resources": {"metadata": {"path": str(HERE)}}}
    NotebookClient(notebook, **client).execute()
    del notebook.cells[0]
    for count, cell in enumerate((cell for cell in notebook.cells if cell.cell_type == "code"), start=1):
        cell.metadata.pop("execution", None)  # the time of day
        cell.execution_count = count
        for output in cell.outputs:
            if "execution_count" in output:
                output["execution_count"] = count
            if "image/png" in output.get("data", {}):
                output["data"]["image/png"] = base64.b64encode(fewer_colours(base64.b64decode(output["data"]["image/png"]))).decode()
    notebook.metadata["stored"] = {**told, "cells": hash_of_cells(notebook)}
    nbformat.write(notebook, path)


def provenance() -> dict:
    """Return what a stored notebook was run with: the hash of the source, and the outcomes of the shipped demos."""
    import sixdof
    from sixdof.results.source import code_hash

    return {"code": code_hash(), "flights": {name: outcomes_of(sixdof.fly(sixdof.load_mission(path))) for name, path in DEMOS.items()}}


def outcomes_of(flight) -> dict[str, float]:
    """Return the outcomes of a flight by which a stored notebook knows it again."""
    return {name: float(flight[name]) for name in OUTCOMES}


def hash_of_cells(notebook) -> str:
    """Return a hash of the code cells of a notebook, as they are written."""
    text = "\0".join(cell.source for cell in notebook.cells if cell.cell_type == "code")
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def fewer_colours(png: bytes) -> bytes:
    """Return a picture with a palette of 256 colours, or in true colour where that would move a colour of the figures' cycle."""
    from matplotlib.colors import to_rgb
    from PIL import Image

    from sixdof.plot.style import CYCLE

    image = Image.open(io.BytesIO(png)).convert("RGB")
    small = image.quantize(MOST_COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    before, after = (np.asarray(one.convert("RGB")).reshape(-1, 3).astype(int) for one in (image, small))
    cycle = np.array([[round(255.0 * c) for c in to_rgb(colour)] for colour in CYCLE])
    for colour in cycle:
        there = (before == colour).all(axis=1)
        if there.sum() >= SEEN and np.abs(after[there] - colour).max() > KEPT_WITHIN:
            small = image
            break
    out = io.BytesIO()
    small.save(out, "PNG", optimize=True)
    return out.getvalue()


# ---------------------------------------------------------------- README's figures


def readme_figures(folder: Path):
    """Draw README's figures at the width of a browser's column; yield their paths."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    folder.mkdir(exist_ok=True)
    for draw in (_flight, _turn, _windows, _search, _ensemble, _bodies, _tuning, _conventions):
        figure = draw()
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=DPI)
        plt.close(figure)
        path = folder / f"{draw.__name__.strip('_')}.png"
        path.write_bytes(fewer_colours(out.getvalue()))
        yield path


def _panels(rows: int, columns: int, high: float, **options):
    import matplotlib.pyplot as plt

    return plt.subplots(rows, columns, figsize=(WIDE, high), layout="constrained", **options)


def _flight():
    import sixdof
    from sixdof import plot

    flight = sixdof.fly(sixdof.load_mission(DEMOS["sampler"]))
    figure, axes = _panels(2, 2, 6.4, width_ratios=(1.0, 1.25))
    for function, ax in zip((plot.plot_mach, plot.plot_fins, plot.plot_tilt), (axes[0, 1], axes[1, 0], axes[1, 1]), strict=True):
        function(flight, ax=ax)
    plot.plot_track(flight, ax=axes[0, 0])
    return figure


def _turn():
    import sixdof
    from sixdof import plot

    found = sixdof.preflight.weathercock(sixdof.load_mission(DEMOS["two-stage"]), maps=False, progress=False)
    return plot.plot_weathercock(found, panels=[["wind", "causes"], ["speeds", "cures"]], width=WIDE)


def _windows():
    import sixdof
    from sixdof import plot

    found = sixdof.workshop.trigger_windows(sixdof.load_mission(DEMOS["two-stage"]), 60, progress=False)
    return plot.plot_trigger_windows(found, "deploy drogue: backup", width=WIDE)


def _search():
    import sixdof
    from sixdof import plot, postflight

    lost = CONFIGS / "lost-flight"
    stories = {
        "as planned": {"prior": 0.4},
        "harness broke": {"failures": ["harness_breaks: drogue"], "prior": 0.3},
        "main stayed in": {"failures": ["no_deployment: main"], "prior": 0.3},
    }
    found = postflight.what_happened(sixdof.load_mission(DEMOS["two-stage"]), lost / "evidence.toml", stories, flights=100, rounds=4, seed=3, progress=False)
    area = postflight.with_walked(postflight.search_map(found, "whinchat"), lost / "walked.geojson")
    plan = postflight.next_strips(area, "whinchat", hours="3 h", cover="scrub", progress=False)
    figure, ax = _panels(1, 1, 5.0)
    plot.plot_search_map(plan, ax=ax)
    return figure


def _ensemble():
    import sixdof
    from sixdof import plot

    flights = sixdof.disperse(sixdof.load_mission(DEMOS["sampler"]), 1000, seed=1, progress=False)
    figure, axes = _panels(1, 2, 4.6)
    plot.plot_landing(flights, ax=axes[0])
    plot.plot_fan(flights, ax=axes[1])
    return figure


def _bodies():
    import sixdof
    from sixdof import plot

    figure, axes = _panels(1, 2, 4.4)
    plot.plot_bodies(sixdof.fly(sixdof.load_mission(DEMOS["two-stage"])), axes=axes)
    return figure


def _tuning():
    import math

    import sixdof
    from sixdof import plot

    eager = {"p": 1.6, "i": 1.0, "d": 0.3}
    hasty = sixdof.load_mission(DEMOS["sampler"]).change({"autopilot.pitch": eager, "autopilot.yaw": eager})
    tuned = sixdof.tune(hasty, progress=False)
    figure, axes = _panels(3, 1, 6.0, sharex=True)
    plot.plot_margins({"before": tuned.margins_before, "now": tuned.margins}, channel="pitch", axes=axes, required=(6.0, math.radians(45.0)))
    return figure


def _conventions():
    from sixdof import plot

    figure = plot.draw_conventions()
    figure.set_size_inches(WIDE, 4.0)
    return figure


if __name__ == "__main__":
    main()

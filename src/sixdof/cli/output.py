"""What the verbs print and write."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def say(text: object = "", end: str = "\n") -> None:
    """Print to standard output. Whoever reads it may have gone (`... | head`): the rest is not printed then, and files are written all the same."""
    try:
        print(text, end=end, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(text: object) -> None:
    """Print to standard error, in the program's name."""
    print(f"sixdof: {text}", file=sys.stderr)


def check_folder(folder: Path) -> None:
    """Raise ValueError, before anything is flown, for a folder of figures that cannot be made or written."""
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    if not there.is_dir():
        raise ValueError(f"--figures {folder}: {there} is a file; name a folder")
    if not os.access(there, os.W_OK | os.X_OK):
        raise ValueError(f"--figures {folder}: the folder {there} cannot be written")


def write_figures(folder: Path, figures: dict) -> None:
    """Write figures as PNG, name -> figure, into a folder, which is made, and say so."""
    import matplotlib.pyplot as plt

    folder.mkdir(parents=True, exist_ok=True)
    for name, figure in figures.items():
        path = folder / f"{name}.png"
        figure.savefig(path, dpi=150)
        plt.close(figure)
        say(f"written: {path}")

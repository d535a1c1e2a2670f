"""Tables of the aerodynamic report as text: numbers against Mach, the source of each row beneath."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

import numpy as np
import xarray as xr

NAME, COLUMN = 26, 8  # characters
PAGE = 120


def table(title: str, across: np.ndarray, rows: Iterable[tuple[str, np.ndarray, str]], form: str, head: str = "Mach") -> list[str]:
    """Return a table against Mach (or what `head` says), rows of (name, values, source); sources follow it, each once.

    form : of a number, such as "{:.4f}"; by the row's largest value if empty. NaN shows as "none".
    """
    notes: list[str] = []
    line = f"{head:<{NAME}}" + "".join(f"{x:>{COLUMN}.2f}" for x in across)
    lines = [title, line, "-" * len(line)]
    for name, values, source in rows:
        if source and source not in notes:
            notes.append(source)
        mark = f"  [{notes.index(source) + 1}]" if source else ""
        shown = "".join(f"{_number(value, form or _form(values)):>{COLUMN}}" for value in values)
        lines.append(f"{name:<{NAME}.{NAME - 1}}{shown}{mark}")
    for number, note in enumerate(notes, start=1):
        lines += textwrap.wrap(f"[{number}] {note}", PAGE, subsequent_indent="    ")
    return lines


def _number(value: float, form: str) -> str:
    return form.format(value) if np.isfinite(value) else "none"


def _form(values: np.ndarray) -> str:
    most = np.nanmax(np.abs(values)) if np.isfinite(values).any() else 0.0
    return "{:.1f}" if most >= 100.0 else "{:.2f}" if most >= 10.0 else "{:.3f}" if most >= 0.1 or most == 0.0 else "{:.5f}"


def source_of(variable: xr.DataArray) -> str:
    """Return source and accuracy of a variable of the tables."""
    return f"{variable.attrs['source']} ({variable.attrs['accuracy']})"


def wrapped(text: str) -> list[str]:
    """Return a sentence as lines of the page."""
    return textwrap.wrap(text, PAGE)

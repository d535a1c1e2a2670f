"""Tables of the aerodynamic report as text: numbers against Mach, the source of each row beneath."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import xarray as xr

from sixdof.mission.page import table as lines_of
from sixdof.mission.page import underlined, wrapped


def table(title: str, across: np.ndarray, rows: Iterable[tuple[str, np.ndarray, str]], form: str, head: str = "Mach") -> list[str]:
    """Return a table against Mach (or what `head` says), rows of (name, values, source); sources follow it, each once.

    form : of a number, such as "{:.4f}"; by the row's largest value if empty. NaN shows as "none".
    """
    notes: list[str] = []
    cells = [[head, *(f"{x:.2f}" for x in across), ""]]
    for name, values, source in rows:
        if source and source not in notes:
            notes.append(source)
        mark = f"[{notes.index(source) + 1}]" if source else ""
        cells.append([name, *(_number(value, form or _form(values)) for value in values), mark])
    lines = [title, *underlined(lines_of(cells, remark=True, set_in=""))]
    for number, note in enumerate(notes, start=1):
        lines += wrapped(f"[{number}] {note}", further="    ")
    return lines


def _number(value: float, form: str) -> str:
    return form.format(value) if np.isfinite(value) else "none"


def _form(values: np.ndarray) -> str:
    most = np.nanmax(np.abs(values)) if np.isfinite(values).any() else 0.0
    return "{:.1f}" if most >= 100.0 else "{:.2f}" if most >= 10.0 else "{:.3f}" if most >= 0.1 or most == 0.0 else "{:.5f}"


def source_of(variable: xr.DataArray) -> str:
    """Return source and accuracy of a variable of the tables."""
    return f"{variable.attrs['source']} ({variable.attrs['accuracy']})"

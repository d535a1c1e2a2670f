"""The lines of the page about the next strips."""

from __future__ import annotations

import xarray as xr


def plan_answer(ds: xr.Dataset) -> list[str]:
    """Return the first answers where there is a plan."""
    return []


def plan_lines(ds: xr.Dataset) -> list[str]:
    """Return the section about the strips, nothing where there are none."""
    return []

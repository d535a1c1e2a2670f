"""Numbers that a mission may omit."""

from __future__ import annotations


def or_else(value, otherwise: float) -> float:
    """Return a number of the mission, or `otherwise` where it is omitted."""
    return otherwise if value is None else float(value)

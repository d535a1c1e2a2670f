"""Numbers as the page of a choice says them."""

from __future__ import annotations

import math

import numpy as np


def number_text(value: float, units: str = "1") -> str:
    """Return a number of SI or rad with its unit: three digits, angles in degrees, lengths below 0.1 m in mm."""
    if not math.isfinite(value):
        return "none"
    value, units = (math.degrees(value), "deg") if units == "rad" else (1e3 * value, "mm") if units == "m" and abs(value) < 0.1 else (value, units)
    return f"{_digits(value)}{'' if units == '1' else f' {units}'}"


def _digits(value: float) -> str:
    if value and abs(value) < 1e-3:
        return f"{value:.3g}"
    decimals = 0 if abs(value) >= 100.0 else 1 if abs(value) >= 10.0 else 2
    return f"{round(value, decimals):z.{decimals}f}" if value != round(value) else f"{value:z.0f}"


def spread_text(values: np.ndarray, units: str = "1", *, factor: float = 1.0) -> str:
    """Return "median (5 % to 95 %)" of values (flights,) of which some may be NaN; what they all are, where they are the same."""
    known = factor * values[np.isfinite(values)]
    if not known.size:
        return "-"
    known = np.degrees(known) if units == "rad" else known
    low, middle, high = np.quantile(known, (0.05, 0.5, 0.95))
    size = max(abs(low), abs(high))
    decimals = 0 if size >= 100.0 or (known == np.round(known)).all() else 1 if size >= 10.0 else 2
    texts = [f"{value:z.{decimals}f}" for value in (low, middle, high)]
    return texts[1] if texts[0] == texts[2] else f"{texts[1]} ({texts[0]} to {texts[2]})"

"""Margins of very many loops of one channel at once: many gains on the same plants, or many flights' plants side by side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sixdof.study.loops.law_model import joined_gains, picked
from sixdof.study.loops.loop import Loops
from sixdof.study.loops.margins import DRIFT, broken_margins
from sixdof.study.loops.sampled_plant import joined_plants

MOST = 4000  # loops worked on at a time: a grid of complex numbers for each (20 MB)
NAMES = ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "distance")


def many_margins(loops: Loops) -> dict[str, np.ndarray]:
    """Return the margins at the actuator, growth and stability of every loop, (loops,) each: as `margins.margins` has them."""
    of = np.arange(loops.count) if loops.of is None else loops.of
    rows = [slice(start, start + MOST) for start in range(0, loops.count, MOST)]
    parts = [_some(Loops(loops.plant, picked(loops.gains, part), of[part])) for part in rows]
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def _some(loops: Loops) -> dict[str, np.ndarray]:
    _, _, (found,) = broken_margins(loops, ("actuator",))
    growth, stable = loops.fate(DRIFT)
    return {name: np.where(stable, getattr(found, name), 0.0) for name in NAMES} | {"growth": growth, "stable": stable}


def together(loops: Sequence[Loops]) -> Loops:
    """Return the loops of one channel of several flights, one after the other; all of one autopilot and servo delay."""
    return Loops(joined_plants([each.plant for each in loops]), joined_gains([each.gains for each in loops]))

"""Numbers that hold everywhere."""

from __future__ import annotations

import numpy as np

from sixdof.core.layout import Phase

G0 = 9.80665  # standard gravity, m/s^2 (3rd CGPM, 1901)
INSTANT = 1e-9  # s: two moments closer than this are one

# how a body moves (layout.Phase): numba would compile every callee once more for each literal Python integer it is called with
HOLD, ON_RAIL, PIVOT, FREE, CANOPY, LANDED = (np.int64(phase) for phase in Phase)
NO, YES = (np.int64(i) for i in range(2))  # likewise: a Python bool or integer would be a literal

"""The numbers of flights and the seeds: which there are."""

from __future__ import annotations

import numpy as np

from sixdof.mission.units import shown

LAST_FLIGHT, LAST_SEED = 2**32 - 1, 2**64 - 1


def check_numbers(who: str, flight, seed, called: str = "flight") -> None:
    """Raise ValueError for a number of a flight (None: none), the argument `called` so, or a seed that is not valid."""
    for name, value, last in ((called, 0 if flight is None and called == "flight" else flight, LAST_FLIGHT), ("seed", seed, LAST_SEED)):
        if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or not 0 <= value <= last:
            raise ValueError(f"{who}: {name} = {shown(value)} must be a whole number from 0 to {last}")

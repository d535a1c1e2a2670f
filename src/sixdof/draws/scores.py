"""Draws in score space: every dispersed quantity as a function of independent standard normal scores.

Whatever the spreads and correlations of a mission, its draws follow from numbers that are normal(0, 1) and independent. So the density of a
flight's inputs before anything is known is that of the scores, and a shift or a mixture there has a density in closed form: importance weights
and priors need nothing else.
"""

from __future__ import annotations

import numpy as np
import xarray as xr
from scipy.special import ndtr, ndtri

from sixdof.draws.quantities import quantities
from sixdof.draws.sampling import LEAST, MOST, uniforms
from sixdof.draws.table import FAILED, dispersed_columns, draws_from_shares, failure_columns, mixed
from sixdof.mission.mission import Mission


def score_columns(mission: Mission) -> list[tuple[str, str]]:
    """Return (quantity, thing) of every score: the dispersed name, and the stage, joint, canopy ... it is drawn for, "" for the whole flight."""
    return [(each.name, str(thing) if each.item.each else "") for each in quantities(mission) for thing in each.things]


def scores_of(mission: Mission, seed: int, first: int, count: int) -> np.ndarray:
    """Return the scores (count, columns) of the flights first, first + 1, ... that `disperse` draws with a seed and sampling "random"."""
    return ndtri(uniforms(seed, first, count, dispersed_columns(mission)))


def draws_from_scores(mission: Mission, scores: np.ndarray, flights: np.ndarray, seed: int = 0, *, failures: np.ndarray | None = None) -> xr.Dataset:
    """Return the table of draws that scores make of the mission's spreads and correlations, to be flown by `disperse(..., draws=table)`.

    Parameters
    ----------
    scores : array (flights, columns)
        In the order of `score_columns`.
    flights : array of int (flights,)
        Their numbers, which with the seed choose the noise of sensors and turbulence.
    failures : array (flights, failures) or None
        1 where a failure of the mission happens; None: none does, but those that are certain.

    Raises
    ------
    ValueError
        For scores of another shape, or that are no finite numbers, and for a draw that the mission cannot hold.
    """
    scores = np.asarray(scores, dtype=float)
    columns = dispersed_columns(mission)
    if scores.shape != (len(flights), len(columns)):
        raise ValueError(f"scores of {len(flights)} flights of this mission have the shape ({len(flights)}, {len(columns)}), not {scores.shape}")
    if not np.isfinite(scores).all():
        raise ValueError(f"the scores of flight {flights[int(np.argmax(~np.isfinite(scores).all(axis=1)))]} are not all finite numbers")
    shares = mixed(mission, quantities(mission), np.clip(ndtr(scores), LEAST, MOST))
    none = np.full((len(flights), len(failure_columns(mission))), MOST)  # the share at which nothing fails that is not certain
    table = draws_from_shares(mission, np.hstack([shares, none]), np.asarray(flights))
    if failures is not None and FAILED in table:
        table[FAILED].values[...] = np.asarray(failures, dtype=np.int8)
    return table.assign_attrs(seed=str(seed))

"""How probably somebody who walks by finds a body that lies there: coverage, the laws of detection, and sweep widths by cover.

Coverage C is the area swept, sweep width times the length walked, over the area that it is spread on (B. O. Koopman, 1946, Search and Screening,
OEG Report 56; the same in Operations Research 4 (1956), 503-531). The sweep width is a measure of the searcher, the thing and the cover at once: as many
are found beyond half of it as are missed within.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from scipy.special import erf, erfinv

from sixdof.mission.errors import suggestion
from sixdof.mission.units import QuantityError, parse, shown


class Law(NamedTuple):
    """A law of detection: probability (C) that it is found at a coverage, effort (y): the coverage at which one more brings the share y of the first.

    says : in words.
    """

    probability: Callable[[np.ndarray], np.ndarray]
    effort: Callable[[np.ndarray], np.ndarray]
    says: str


_HALF = 0.5 * math.sqrt(math.pi)


def _spent_inverse_cube(yields: np.ndarray) -> np.ndarray:
    return np.sqrt(-4.0 / math.pi * np.log(yields))


# all three are concave, so that effort is best where one more of it brings most: allocation.py
LAWS = {
    "random": Law(lambda c: -np.expm1(-c), lambda y: -np.log(y), "1 - exp(-C), Koopman's random search: the cautious one"),
    "inverse cube": Law(lambda c: erf(_HALF * c), _spent_inverse_cube, "erf(sqrt(pi)/2 C), even parallel lines under the inverse cube law"),
    "definite range": Law(lambda c: np.minimum(c, 1.0), lambda y: np.where(y < 1.0, 1.0, 0.0), "C up to 1: nothing within the width is missed"),
}
COVERS = {
    "open": (40.0, "bare or mown ground, a dry lake, snow"),
    "grass": (15.0, "grass or weeds up to the knee"),
    "crop": (6.0, "a standing crop, reeds"),
    "scrub": (8.0, "bushes, broken ground"),
    "forest": (10.0, "trees without much under them"),
}
COVERS_SAY = (
    "this project's own guesses for a tube as long as an arm with its canopy spread out, not measured; halve them for one without a canopy. How sweep widths "
    "are measured on the ground: R. J. Koester, D. C. Cooper, J. R. Frost & R. Q. Robe (2004), Sweep Width Estimation for Ground Search and Rescue"
)


def law_of(name: Any, who: str) -> Law:
    """Return a law of detection by its name; ValueError for another."""
    if not isinstance(name, str) or name not in LAWS:
        raise ValueError(f"{who}: there is no law {shown(name)}; {suggestion(str(name), list(LAWS), 'laws')}")
    return LAWS[name]


def sweep_width_of(cover: Any, width: Any, who: str) -> float:
    """Return the sweep width, m: the one given, or that of the cover. Raises ValueError where neither says one, and for what is no length."""
    if width is not None:
        return length_of(width, "sweep_width", who)
    if cover is None:
        raise ValueError(f'{who}: say what it was like to look there: cover="grass" (one of {", ".join(COVERS)}), or a sweep width of your own ("12 m")')
    if cover not in COVERS:
        raise ValueError(f"{who}: there is no cover {shown(cover)}; {suggestion(str(cover), list(COVERS), 'covers')}")
    return COVERS[cover][0]


def length_of(value: Any, name: str, who: str, unit: str = "m", *, zero: bool = False) -> float:
    """Return a quantity above 0 (or 0, where `zero`) in SI; ValueError in one sentence for anything else."""
    try:
        found = parse(float(value) if isinstance(value, np.generic) else value, unit)
    except QuantityError as error:
        raise ValueError(f"{who}: {name}: {error}") from None
    if found < 0.0 or (found == 0.0 and not zero):
        raise ValueError(f"{who}: {name} = {shown(value)} must be {'0 or more' if zero else 'above 0'}")
    return found


def coverage_for(probability: float, law: Law) -> float:
    """Return the coverage at which a law finds with a probability below 1."""
    if law is LAWS["random"]:
        return -math.log1p(-probability)
    return float(erfinv(probability)) / _HALF if law is LAWS["inverse cube"] else probability

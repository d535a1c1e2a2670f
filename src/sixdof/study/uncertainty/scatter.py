"""Where an ensemble's flights come down, in numbers: `study.scatter_region` on its outcomes, failed flights omitted."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.study.reading.result import need_ensemble, outcomes
from sixdof.study.uncertainty.scatter_region import LEAST, circular_error, containment_ellipse, known_places

__all__ = ["LEAST", "containment", "places", "radius"]


def places(ds: xr.Dataset, who: str, x: str = "landing_east", y: str = "landing_north") -> tuple[np.ndarray, int]:
    """Return the places (n, 2) in m of the flights that have one, and how many flights were dropped."""
    need_ensemble(ds, who, x, y)
    return known_places(outcomes(ds, x), outcomes(ds, y), who)


def containment(ds: xr.Dataset, share: float = 0.95, kind: str = "next", *, x: str = "landing_east", y: str = "landing_north") -> xr.Dataset:
    """Return the `containment_ellipse` of an ensemble's places: it holds one more flight's with probability `share`.

    It is wider than the sample's own: mean and covariance are known only from these flights (see `ellipse_factor`).
    Raises ValueError as that does, and for a result that is not an ensemble.

    kind : as in `containment_ellipse`. x, y : names of the coordinates of the places.

    Examples
    --------
    >>> ellipse = sixdof.stats.containment(flights, 0.9)
    >>> sorted(ellipse.data_vars)[:2]
    ['angle', 'area']
    """
    need_ensemble(ds, "containment", x, y)
    return containment_ellipse(outcomes(ds, x), outcomes(ds, y), share, kind)


def radius(ds: xr.Dataset, share: float = 0.5, *, about: tuple[float, float] | None = None, x: str = "landing_east", y: str = "landing_north") -> float:
    """Return the radius in m of the circle that holds `share` of an ensemble's places: 0.5 is the CEP, 0.95 is R95.

    The estimate of `circular_error`, which has its interval and says what it raises.

    about : (east, north) of the circle's centre, m; the rail by default. x, y : names of the places' coordinates.

    Examples
    --------
    >>> sixdof.stats.radius(flights, 0.9) > 0.0
    True
    """
    need_ensemble(ds, "radius", x, y)
    return circular_error(outcomes(ds, x), outcomes(ds, y), share, about=about).estimate

"""The field as a criterion, for whatever judges criteria."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.study.landing.field import field_of
from sixdof.study.landing.flights import leaving, places_of
from sixdof.study.landing.geojson import read_features
from sixdof.study.landing.limits import exceeded_by, limits_of
from sixdof.study.reading.result import mission_of
from sixdof.study.variants.criteria import SHARE, Criterion, own_criterion


def lands_in_field(field: str | Path | Mapping, share: float | str = SHARE, *, people_distance: float | str | None = None) -> Criterion:
    """Return the criterion that every piece lands in a field, in no no-go area, and far enough from people: for `compare` and other studies.

    field : GeoJSON, as in `sixdof.preflight.landing`. share : of all flights that must keep it. people_distance : m, or text such as "200 m".
    A flight that cannot be told or that never left the rail does not keep it. Raises ValueError as `landing`.

    Examples
    --------
    >>> keeps = sixdof.preflight.lands_in_field("configs/lake-orrin-field.geojson", "95 %")
    >>> bool(keeps.holds(flights)[0].all())
    True
    """
    features = read_features(field, "lands_in_field")
    name = next((one.name for one in features if one.role == "field" and one.name), "the field")

    def holds(ds: xr.Dataset) -> np.ndarray:
        mission = mission_of(ds, "lands_in_field")
        limits = limits_of(field_of(features, mission.site, "lands_in_field"), people_distance, None, None, "lands_in_field")
        kept, left = np.zeros(ds.sizes["flight"], dtype=bool), leaving(ds)
        if left.size:
            kept[left] = ~np.any(list(exceeded_by(limits, ds, places_of(ds, mission, None, "lands_in_field")).values()), axis=0)
        return kept

    return own_criterion(f"every piece lands in {name}", holds, share)

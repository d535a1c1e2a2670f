"""Criteria about wind by common practice, for a vehicle whose builder gives none."""

from __future__ import annotations

import math
from pathlib import Path

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.criterion import lands_in_field
from sixdof.study.reading.practice import IGNITION_TILT, LEAN, RAIL_INCIDENCE
from sixdof.study.variants.criteria import Criterion, criteria_of

LANDS = 0.95  # of flights: share that lands in a field
SHARE = "in 95 % of flights"  # of the others
GEOJSON = (".geojson", ".json")  # ends of the name of a field's file


def wind_criteria(mission: Mission, field: str | Path | float | None = None) -> list[str | Criterion]:
    """Return criteria that common practice has about wind, in the words of `sixdof.stats.criterion`, each "in 95 % of flights".

    The incidence at rail departure; the lean into the wind at burnout; the tilt as an upper stage is lit; and, with a `field`, that everything lands
    there. A descent rate is not among them: what is asked of a canopy is asked of it in still air.

    Parameters
    ----------
    field : a GeoJSON file, as `sixdof.preflight.landing` takes it, or a radius round the rail, m or text such as "600 m", within which every stage has
        to land; None: landings are not judged

    Raises
    ------
    ValueError
        For a field that is neither a file of GeoJSON nor a distance.

    Examples
    --------
    >>> sixdof.preflight.wind_criteria(mission, field="900 m")[0]
    'rail_departure_incidence < 15 deg in 95 % of flights'
    """
    check_mission(mission, "wind_criteria")
    names = [stage.name for stage in mission.stage]
    found = [f"rail_departure_incidence < {_degrees(RAIL_INCIDENCE)}", f"lean at burnout < {_degrees(LEAN)}"]
    found += [f"tilt at ignition {name} < {_degrees(IGNITION_TILT)}" for name in names[:-1]]
    return [*(f"{each} {SHARE}" for each in found), *_landing(mission, field)]


def wanted_of(mission: Mission, criteria, field: str | Path | float | None) -> list[Criterion]:
    """Return what has to hold: the criteria given, or those of common practice where they are None, and beside them the landing in a field."""
    return criteria_of(wind_criteria(mission, field) if criteria is None else [*criteria_of(criteria), *_landing(mission, field)])


def _landing(mission: Mission, field: str | Path | float | None) -> list[str | Criterion]:
    if field is None:
        return []
    if str(field).endswith(GEOJSON):
        return [lands_in_field(field, LANDS)]
    names = [stage.name for stage in mission.stage]
    return [f"landing{f' of {name}' if len(names) > 1 else ''} within {_radius(field):g} m of the rail {SHARE}" for name in names]


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):g} deg"


def _radius(field: str | float) -> float:
    try:
        radius = parse(field, "m")
    except QuantityError as error:
        raise ValueError(f"field: {error}; a file of GeoJSON ends in .geojson or .json") from None
    if not radius > 0.0:
        raise ValueError(f'field = {shown(field)} is not a distance; write, for example, "600 m"')
    return radius

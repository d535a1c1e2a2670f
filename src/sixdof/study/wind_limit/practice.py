"""Criteria about wind by common practice, for a vehicle whose builder gives none."""

from __future__ import annotations

import math

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.reading.practice import IGNITION_TILT, LEAN, RAIL_INCIDENCE

SHARE = "in 95 % of flights"


def wind_criteria(mission: Mission, site: str | float | None = None) -> list[str]:
    """Return criteria that common practice has about wind, in the words of `sixdof.stats.criterion`, each "in 95 % of flights".

    The incidence at rail departure; the lean into the wind at burnout; the tilt as an upper stage is lit; and, with a `site`, that every stage lands
    there. A descent rate is not among them: what is asked of a canopy is asked of it in still air.

    Parameters
    ----------
    site : radius round the rail within which every stage has to land, m or text such as "600 m"; None: landings are not judged

    Raises
    ------
    ValueError
        For a site that is no distance.

    Examples
    --------
    >>> sixdof.preflight.wind_criteria(mission, site="900 m")[0]
    'rail_departure_incidence < 15 deg in 95 % of flights'
    """
    check_mission(mission, "wind_criteria")
    names = [stage.name for stage in mission.stage]
    of = [f" of {name}" if len(names) > 1 else "" for name in names]
    found = [f"rail_departure_incidence < {_degrees(RAIL_INCIDENCE)}", f"lean at burnout < {_degrees(LEAN)}"]
    found += [f"tilt at ignition {name} < {_degrees(IGNITION_TILT)}" for name in names[:-1]]
    if site is not None:
        found += [f"landing{each} within {_radius(site):g} m of the rail" for each in of]
    return [f"{each} {SHARE}" for each in found]


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):g} deg"


def _radius(site: str | float) -> float:
    try:
        radius = parse(site, "m")
    except QuantityError as error:
        raise ValueError(f"site: {error}") from None
    if not radius > 0.0:
        raise ValueError(f'site = {shown(site)} is not a distance; write, for example, "600 m"')
    return radius

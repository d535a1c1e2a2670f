"""What a flight is held against: the field, no-go areas, people, a ceiling, a waiver; and in which flights each is not kept."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.field import Field, Waiver
from sixdof.study.landing.flights import leaves_waiver

ANY = "any of these"


@dataclass(frozen=True)
class Limits:
    """A field, and what else is asked, None for what is not.

    people_distance : that landing places keep from people, m. ceiling : of every apogee, m. waiver : radius of a circle about the rail, m, which is one of
    the field's circles too.
    """

    field: Field
    people_distance: float | None = None
    ceiling: float | None = None
    waiver: float | None = None


def limits_of(field: Field, people_distance, ceiling, waiver, who: str = "landing") -> Limits:
    """Return limits from what a call was given. waiver : radius of a circle about the rail, besides those of the field.

    Raises ValueError for what is no distance, and for a distance from people where the field holds none.
    """
    distance, height, radius = (_length(each, name, who) for each, name in ((people_distance, "people_distance"), (ceiling, "ceiling"), (waiver, "waiver")))
    if distance is not None and field.people is None:
        raise ValueError(f'{who}: people_distance needs people; give the field features with the role "people"')
    if radius is not None:
        field = replace(field, waivers=(*field.waivers, Waiver(0.0, 0.0, radius)))
    return Limits(field, distance, height, radius)


def _length(value, name: str, who: str) -> float | None:
    if value is None:
        return None
    try:
        number = parse(value, "m")
    except QuantityError as error:
        raise ValueError(f"{who}: {name} = {error}") from None
    if not number > 0.0:
        raise ValueError(f'{who}: {name} = {shown(value)} must be above 0; write, for example, "200 m"')
    return number


def exceeded_by(limits: Limits, ds: xr.Dataset, places: xr.Dataset) -> dict[str, np.ndarray]:
    """Return for each limit, by its sentence, in which flights it is not kept, bool (flights,).

    ds : the ensemble. places : of its flights (`places_of`). A flight that cannot be told (it diverged) keeps no limit, nor does one of which a body does
    not come down keep the field or the distance from people.
    """
    field, found = limits.field, {}
    east, north = places["landing_east"].values, places["landing_north"].values
    flies, lost = places["flies"].values > 0, places["known"].values == 0
    if field.inside is not None:
        found["a piece lands outside the field"] = (flies & ~field.in_field(east, north)).any(axis=1)
    if field.no_go is not None:
        found["a piece lands in a no-go area"] = (flies & field.in_no_go(east, north)).any(axis=1)
    if limits.people_distance is not None:
        near = ~(field.from_people(east, north) >= limits.people_distance)
        found[f"a piece lands nearer than {limits.people_distance:g} m to people"] = (flies & near).any(axis=1)
    if limits.ceiling is not None:
        found[f"a piece climbs above {limits.ceiling:g} m"] = (places["apogee_height"].values > limits.ceiling).any(axis=1)
    if field.waivers:
        found["a piece leaves the waiver"] = leaves_waiver(ds, places, field)
    found = {name: which | lost for name, which in found.items()}
    return found | {ANY: np.any(list(found.values()), axis=0)} if len(found) > 1 else found

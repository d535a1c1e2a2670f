"""Places as a user gives them, and distances and bearings between places: from the rail, from the last fix, with or without a compass."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.load import stored_mission
from sixdof.mission.tables import Site
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.field import FAR, in_metres
from sixdof.world.geodesy import place_on_earth

_PAIR = re.compile(r"\s*([+-]?[0-9.]+)\s*[,; ]\s*([+-]?[0-9.]+)\s*")
_HOW = 'write "38.00123, -117.00432" (latitude, longitude in degrees) or (east, north) of the rail in metres'


class Way(NamedTuple):
    """From one place to another: distance, m, and bearing, degrees true, 0 to 360."""

    distance: float
    bearing: float


def site_of(ds: xr.Dataset) -> Site | None:
    """Return the site of the mission that a result carries, None where it carries none."""
    return stored_mission(ds.attrs["mission"]).site if "mission" in ds.attrs else None


def need_site(ds: xr.Dataset, who: str) -> Site:
    """Return the site of a map. Raises ValueError where the flights it was made of carried no mission."""
    site = site_of(ds)
    if site is None:
        raise ValueError(f"{who} needs latitude and longitude, and the flights of this map carry no mission (attribute `mission`) whose site says them")
    return site


def spot_of(given: Any, site: Site | None, name: str, who: str) -> tuple[float, float]:
    """Return a place, east and north of the rail in m: "rail", "latitude, longitude", (east, north), or a Dataset or dict with such names.

    Raises ValueError in one sentence for anything else, for latitude and longitude where there is no site, and for what lies farther than 200 km away.
    """
    if isinstance(given, str):
        if given.strip() == "rail":
            return 0.0, 0.0
        found = _PAIR.fullmatch(given)
        if found is None:
            raise ValueError(f"{who}: {name} = {shown(given)} is no place; {_HOW}")
        return _on_earth(float(found[1]), float(found[2]), site, name, who)
    if isinstance(given, Mapping | xr.Dataset):
        for pair, degrees in ((("latitude", "longitude"), True), (("east", "north"), False)):
            if all(one in given for one in pair):
                a, b = (float(np.asarray(given[one]).ravel()[-1]) for one in pair)
                return _on_earth(a, b, site, name, who) if degrees else _checked(a, b, name, who)
        raise ValueError(f"{who}: {name} has neither latitude and longitude nor east and north; {_HOW}")
    try:
        east, north = given
        return _checked(*(parse(float(one) if isinstance(one, np.generic) else one, "m") for one in (east, north)), name, who)
    except QuantityError as error:
        raise ValueError(f"{who}: {name}: {error}") from None
    except TypeError:
        raise ValueError(f"{who}: {name} = {shown(given)} is no place; {_HOW}") from None


def _on_earth(latitude: float, longitude: float, site: Site | None, name: str, who: str) -> tuple[float, float]:
    if abs(latitude) > 90.0 or abs(longitude) > 180.0:
        raise ValueError(f"{who}: {name}: ({latitude:g}, {longitude:g}) is no latitude within 90 and longitude within 180 degrees; latitude comes first")
    if site is None:
        raise ValueError(f"{who}: {name} is given by latitude and longitude, and these flights carry no mission whose site is known; give (east, north) in m")
    east, north = in_metres(site, latitude, longitude)
    return _checked(float(east), float(north), name, who)


def _checked(east: float, north: float, name: str, who: str) -> tuple[float, float]:
    if not math.hypot(east, north) <= FAR:
        raise ValueError(f"{who}: {name} lies {math.hypot(east, north) / 1e3:.0f} km from the rail; check it: {_HOW}")
    return east, north


def way(site: Site | None, start: tuple[float, float], end: tuple[float, float]) -> Way:
    """Return distance and true bearing of a place as seen from another, both in m east and north of the rail.

    With a site both go by the ellipsoid (its geodesics, `place_on_earth` and its inverse, about the place where one stands), lengths on the ground
    at the site's altitude (2e-4 longer at 1250 m than on the ellipsoid); without one by plane geometry. From the rail both are the same.
    """
    east, north = end[0] - start[0], end[1] - start[1]
    if site is not None and (start[0] or start[1]):
        here, there = (place_on_earth(site, *(np.array(one) for one in place), 0.0) for place in (start, end))
        stand = site.model_copy(update={"latitude": math.radians(float(here[0])), "longitude": math.radians(float(here[1]))})
        east, north = (float(one) for one in in_metres(stand, float(there[0]), float(there[1])))
    return Way(math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360.0)


def bearing_text(bearing: float, declination: float | None) -> str:
    """Return "084 deg", with a declination (rad, east positive) "084 deg true, 071 deg by compass"."""
    true = f"{round(bearing) % 360:03d} deg"
    if declination is None:
        return true
    return f"{true} true, {round(bearing - math.degrees(declination)) % 360:03d} deg by compass"

"""What the choice of the Earth is worth: a mission flown over the flat and over the round one, side by side."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.flight.fly import fly
from sixdof.mission.mission import Mission
from sixdof.study.reading.result import event_values

EARTHS = ("flat", "wgs84")
# what is compared, its unit, its name, and the decimals of its difference
QUANTITIES = {
    "apogee_height": ("m", "apogee above ground", 4),
    "apogee_time": ("s", "time of apogee", 5),
    "airspeed_max": ("m/s", "largest airspeed", 5),
    "landing_time": ("s", "time of landing", 4),
    "landing_east": ("m", "landing place east of the rail", 3),
    "landing_north": ("m", "landing place north of the rail", 3),
    "landing_ground_speed": ("m/s", "speed over the ground at landing", 5),
    "landing_latitude": ("degrees_north", "latitude of the landing place", 8),
    "landing_longitude": ("degrees_east", "longitude of the landing place", 8),
}


def compare_earths(mission: Mission) -> xr.Dataset:
    """Fly the nominal mission over the flat Earth and over WGS-84 with J2, everything else alike.

    Returns
    -------
    Dataset
        The variables of `QUANTITIES` along `earth` ("flat", "wgs84"), NaN where a flight did not get there; `earth_page` prints them.

    Raises
    ------
    FlightError
        If the motion diverged.
    """
    flights = [fly(mission.change({"site.earth": earth})) for earth in EARTHS]
    rows = np.array([_numbers(ds) for ds in flights])
    entries = {name: ("earth", values, {"units": unit, "long_name": text}) for values, (name, (unit, text, _)) in zip(rows.T, QUANTITIES.items(), strict=True)}
    return xr.Dataset(entries, {"earth": list(EARTHS)}, {"title": mission.title, "source": flights[0].attrs["source"]})


def _numbers(ds: xr.Dataset) -> list[float]:
    """Return one flight's values of QUANTITIES."""
    place = ds[["body_landing_latitude", "body_landing_longitude"]].isel(body=0)
    other = {
        "landing_time": event_values(ds, "landing")[0],
        "landing_latitude": place["body_landing_latitude"],
        "landing_longitude": place["body_landing_longitude"],
    }
    return [float(other[name]) if name in other else float(ds[name]) for name in QUANTITIES]


def earth_page(ds: xr.Dataset) -> str:
    """Return what `compare_earths` found as a page: both values of everything, and the round Earth's less the flat one's."""
    lines = [
        ds.attrs.get("title", "untitled"),
        f"the same flight over two Earths; {ds.attrs.get('source', '')}",
        "",
        f"  {'':<34}{'unit':<14}{EARTHS[0]:>16}{EARTHS[1]:>16}{'difference':>16}",
    ]
    for name, (unit, text, decimals) in QUANTITIES.items():
        flat, round_ = (float(value) for value in ds[name].values)
        if not math.isfinite(flat + round_):
            lines.append(f"  {text:<34}{unit:<14}{'none':>16}")
            continue
        lines.append(f"  {text:<34}{unit:<14}{flat:>16.{decimals}f}{round_:>16.{decimals}f}{round_ - flat:>+z16.{decimals}f}")
    return "\n".join(lines)

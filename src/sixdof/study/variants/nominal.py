"""Variants of a mission flown as they are written, once each, side by side: what a change does before anything is drawn."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import xarray as xr

from sixdof.flight.fly import fly
from sixdof.mission.mission import Mission
from sixdof.mission.page import side_by_side
from sixdof.study.reading.result import event_values
from sixdof.study.variants.comparison import check_variants

# what is compared, its unit, its name, and decimals enough for the difference between two models of the Earth
QUANTITIES = {
    "apogee_height": ("m", "apogee above ground", 4),
    "apogee_time": ("s", "time of apogee", 5),
    "airspeed_max": ("m/s", "largest airspeed", 5),
    "landing_time": ("s", "time of landing", 4),
    "landing_east": ("m", "landing place east of the rail", 3),
    "landing_north": ("m", "landing place north of the rail", 3),
    "landing_ground_speed": ("m/s", "speed over the ground at landing", 5),
    "landing_latitude": ("deg N", "latitude of the landing place", 8),
    "landing_longitude": ("deg E", "longitude of the landing place", 8),
}


def compare_nominal(variants: Mapping[str, Mission]) -> xr.Dataset:
    """Fly every variant of a mission once, as it is written, and return what came of it; `compare` flies many drawn flights of each.

    Parameters
    ----------
    variants : dict
        Name -> mission, as `vary` and `motor_variants` return it: `compare_nominal(vary(mission, {"flat": {}, "round": {"site.earth": "wgs84"}}))`.

    Returns
    -------
    Dataset
        Along `variant`: apogee, largest airspeed, landing and when and where they are, NaN where a flight did not get there; `report` prints
        them with the differences from the first variant.

    Raises
    ------
    TypeError, ValueError
        For what is not a dictionary of missions.
    FlightError
        If the motion diverged.

    Examples
    --------
    >>> earths = sixdof.parts.vary(mission, {"flat": {"site.earth": "flat"}, "round": {"site.earth": "wgs84"}})
    >>> abs(float(sixdof.stats.compare_nominal(earths).apogee_height.diff("variant").item())) < 0.1
    True
    """
    check_variants(variants)
    flights = [fly(mission) for mission in variants.values()]
    rows = np.array([_numbers(ds) for ds in flights])
    entries = {
        name: ("variant", values, {"units": unit, "long_name": text}) for values, (name, (unit, text, _)) in zip(rows.T, QUANTITIES.items(), strict=True)
    }
    about = {"title": flights[0].attrs.get("title", ""), "source": flights[0].attrs["source"]}
    return xr.Dataset(entries, {"variant": list(variants)}, about)


def _numbers(ds: xr.Dataset) -> list[float]:
    """Return one flight's values of QUANTITIES."""
    place = ds[["body_landing_latitude", "body_landing_longitude"]].isel(body=0)
    other = {
        "landing_time": event_values(ds, "landing")[0],
        "landing_latitude": place["body_landing_latitude"],
        "landing_longitude": place["body_landing_longitude"],
    }
    return [float(other[name]) if name in other else float(ds[name]) for name in QUANTITIES]


def nominal_page(ds: xr.Dataset) -> str:
    """Return what `compare_nominal` found as a page: variants by row, the differences from the first one beside their values."""
    names = [str(name) for name in ds["variant"].values]
    columns = [[text, f"({unit})", *_column(ds[name].values, decimals)] for name, (unit, text, decimals) in QUANTITIES.items()]
    heading = f"one flight as written of each variant, differences from the first; {ds.attrs.get('source', 'source unknown')}"
    return "\n".join([ds.attrs.get("title") or "untitled", heading, "", *side_by_side(["variant", "", *names], columns)])


def _column(values: np.ndarray, decimals: int) -> list[str]:
    """Return one quantity of every variant as text, all but the first with the difference from it."""
    first = float(values[0])
    texts = ["none" if not math.isfinite(value) else f"{value:.{decimals}f}" for value in values]
    known = [math.isfinite(first) and math.isfinite(value) for value in values]
    return texts[:1] + [f"{text}  {value - first:+z.{decimals}f}" if so else text for text, value, so in zip(texts[1:], values[1:], known[1:])]

"""What another rail allows, as a page of text."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import xarray as xr

from sixdof.mission.page import indented, table
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table
from sixdof.study.wind_limit.first_failure import BEYOND
from sixdof.study.wind_limit.wind_limit_text import criteria_lines, direction_text, heading, model_sentences

_INTO, _ACROSS = math.radians(30.0), math.radians(150.0)


def need_rails(ds: xr.Dataset, who: str) -> None:
    """Raise ValueError for what is not a Dataset of `rail_for_wind`; `who` asks."""
    need_table(ds, who, "preflight.rail_for_wind", "best_elevation", "best_azimuth", "gain")


def rail_text(ds: xr.Dataset) -> str:
    """Return the page about what `rail_for_wind` returned. Raises ValueError for anything else."""
    need_rails(ds, "rail_text")
    lines = heading(ds, "the rail that allows the largest mean wind")
    for k in range(ds.sizes["direction"]):
        lines += ["", *_settings(ds.isel(direction=k))]
    lines += ["", *criteria_lines(ds), "", "What to make of it", *indented([*_sentences(ds), *model_sentences(ds)])]
    return "\n".join([*lines, "", LAST_LINE])


def _settings(ds: xr.Dataset) -> list[str]:
    """Return the limits of one direction: elevations by row, azimuths by column."""
    wind = float(ds["direction"])
    rows = [["rail up", *(_azimuth_text(float(a), wind) for a in ds["rail_azimuth"].values)]]
    for e in range(ds.sizes["rail_elevation"]):
        here = ds.isel(rail_elevation=e)
        limits = [_limit_text(here.isel(rail_azimuth=a)) for a in range(ds.sizes["rail_azimuth"])]
        rows.append([f"{math.degrees(float(here['rail_elevation'])):.1f} deg", *limits])
    return [f"Wind from {direction_text(wind)}: at most m/s (criterion that fails first), by where the rail leans towards", *table(rows)]


def _limit_text(ds: xr.Dataset) -> str:
    binds = int(ds["binds"])
    return f"{'>= ' if int(ds['limit_kind']) == BEYOND else ''}{float(ds['limit']):.1f}" + (f" ({binds + 1})" if binds >= 0 else "")


def _azimuth_text(azimuth: float, wind: float) -> str:
    return f"{math.degrees(azimuth) % 360.0:.0f} deg, {sense(azimuth, wind)}"


def sense(azimuth: float, wind: float) -> str:
    """Return how a rail leans in a wind from a direction."""
    angle = abs(math.remainder(azimuth - wind, 2.0 * math.pi))
    return "into the wind" if angle < _INTO else "away from it" if angle > _ACROSS else "across it"


def _sentences(ds: xr.Dataset) -> Iterator[str]:
    written = f"{math.degrees(ds.attrs['rail_elevation']):.1f} deg up towards {math.degrees(ds.attrs['rail_azimuth']) % 360.0:.0f} deg"
    for k in range(ds.sizes["direction"]):
        here = ds.isel(direction=k)
        wind, gain, now = float(here["direction"]), float(here["gain"]), float(here["limit_as_written"])
        if gain <= 0.0:
            yield f"In a wind from {direction_text(wind)} nothing is gained: the rail as written, {written}, allows {now:.1f} m/s."
            continue
        azimuth = float(here["best_azimuth"])
        yield (
            f"In a wind from {direction_text(wind)} a rail {math.degrees(float(here['best_elevation'])):.1f} deg up towards {_azimuth_text(azimuth, wind)}, "
            f"allows {float(here['best_limit']):.1f} m/s, {gain:.1f} m/s more than the rail as written ({written}, {now:.1f} m/s)." + _most(here, wind)
        )
    if ds.sizes["direction"] > 1:
        elevation, azimuth = math.degrees(float(ds["all_round_elevation"])), math.degrees(float(ds["all_round_azimuth"])) % 360.0
        yield (
            f"Where the direction is not known, {elevation:.1f} deg up towards {azimuth:.0f} deg allows {float(ds['all_round_limit']):.1f} m/s from whichever "
            f"of these directions; the rail as written {float(ds['all_round_as_written']):.1f} m/s."
        )
    if not any(re.search(r"\b(landing|lands)\b", str(text)) for text in ds["criterion"].values):
        yield "None of the criteria is about the landing, and a rail that leans moves it: add one, or a field."
    yield "Safety codes keep a rail within 20 deg of the vertical, and it never leans over people."


def _most(here: xr.Dataset, wind: float) -> str:
    """Return the sentence about a setting that allows a little more and turns the rail further, "" where there is none."""
    more = float(here["most_limit"]) - float(here["best_limit"])
    if not more > 0.05:
        return ""
    up, towards = math.degrees(float(here["most_elevation"])), _azimuth_text(float(here["most_azimuth"]), wind)
    return f" Another {more:.1f} m/s comes from turning it further, to {up:.1f} deg up towards {towards}."

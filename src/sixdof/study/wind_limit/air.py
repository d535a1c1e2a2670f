"""The air a wind limit is about: turbulence that grows with the wind, a mean wind to be scaled, a sounding in place of the file's wind."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.sweep.conditions import WIND_HEIGHT
from sixdof.world.report import speed_and_direction
from sixdof.world.wind import mean_wind, shape

TURBULENCE = ("grows", "as written", "none")
_WIND = ("wind.speed", "wind.blows_from", "wind.member")  # what a wind given level by level has no draws of
_STRENGTH = "turbulence.wind_at_20_ft"
_SPEED, _CALM = "wind.speed", {"kind": "discrete", "values": [0.0]}


def with_sounding(mission: Mission, sounding: str | Path | dict[str, Any]) -> Mission:
    """Return a mission in the air of a sounding, in place of what the file says of air and wind, draws of the wind's speed and direction too.

    A sounding without wind leaves the mission's wind and its draws; one without pressure leaves the mission's pressure.

    Parameters
    ----------
    sounding : path of a CSV or netCDF file, or a table of levels, as `air.sounding` of a mission file takes it

    Raises
    ------
    MissionError
        For a file that is no sounding, or a mission that is not sound with it.

    Examples
    --------
    >>> levels = {"height": ["0 m", "1 km"], "temperature": ["15 degC", "9 degC"], "speed": ["3 m/s", "9 m/s"], "blows_from": ["250 deg", "270 deg"]}
    >>> morning = sixdof.preflight.with_sounding(mission, levels)
    >>> morning.air.sounded_wind
    True
    """
    check_mission(mission, "with_sounding")
    column = str(sounding) if isinstance(sounding, Path) else sounding
    bare = {"air.wind": None, "air.temperature": None, "air.pressure": None, "air.turbulence": None, "disperse": {}, "correlation": []}
    found = mission.change(bare | {"air.sounding": column}).air.sounding
    changes: dict[str, Any] = {"air.sounding": column, "air.temperature": None}
    if found.pressure:
        changes["air.pressure"] = None
    if found.has_wind:
        changes["air.wind"] = None
        changes |= _without_draws(mission, _WIND)
    return mission.change(changes)


def _without_draws(mission: Mission, names: tuple[str, ...]) -> dict[str, Any]:
    """Return the changes that take quantities out of `[disperse]`, and their correlations with them."""
    drawn = [name for name in names if name in mission.disperse]
    changes: dict[str, Any] = {f"disperse.{name}": None for name in drawn}
    kept = [one for one in mission.correlation if not set(drawn) & set(one.of)]
    if len(kept) < len(mission.correlation):
        changes["correlation"] = [one.model_dump(exclude_unset=True) for one in kept]
    return changes


def wind_mission(mission: Mission, turbulence: str, failures: bool) -> Mission:
    """Return the mission that is flown: turbulence as asked, and unless `failures` without those `[[failure]]` entries that are not certain.

    Raises ValueError for another word of turbulence than "grows" (its strength follows each flight's own wind at 20 ft, also where the mission
    has none), "as written" or "none".
    """
    if turbulence not in TURBULENCE:
        raise ValueError(f"turbulence = {shown(turbulence)} must be one of {', '.join(TURBULENCE)}")
    certain = [one.model_dump(exclude_unset=True) for one in mission.failure if one.probability >= 1.0]
    changes: dict[str, Any] = {} if failures or len(certain) == len(mission.failure) else {"failure": certain}
    now = mission.air.turbulence
    if turbulence != "as written":
        changes |= _without_draws(mission, (_STRENGTH,))
        if turbulence == "none":
            changes["air.turbulence"] = None
        elif now is None:
            changes["air.turbulence"] = {"model": "dryden"}
        elif now.wind_at_20_ft is not None:
            changes["air.turbulence.wind_at_20_ft"] = None
        if turbulence == "grows" and mission.air.one_wind and mission.air.wind.speed == 0.0 and _SPEED not in mission.disperse:
            changes[f"disperse.{_SPEED}"] = _CALM  # turbulence has to follow from some wind: from each flight's own
    return mission.change(changes) if changes else mission


def wind_as_written(mission: Mission) -> tuple[float, float]:
    """Return the mission's own mean wind at the reference height: speed (m/s) and where it comes from (rad true, 0 to 2 pi)."""
    if mission.air.one_wind:
        return float(mission.air.wind.speed), float(mission.air.wind.blows_from) % (2.0 * np.pi)
    speed, blows_from = speed_and_direction(mean_wind(mission, WIND_HEIGHT))
    return float(speed), float(blows_from)


def share_at(mission: Mission, height: float) -> float:
    """Return the mean wind's speed at a height above ground (m) over that at the reference height; NaN where it is calm there."""
    if mission.air.one_wind:
        return float(shape(mission.air.wind, height))
    here, there = (float(np.hypot(*mean_wind(mission, z))) for z in (height, WIND_HEIGHT))
    return here / there if there > 0.0 else float("nan")

"""Missions from files, from text, and from tables in Python; every fault found is a sentence in `MissionError`."""

from __future__ import annotations

import tomllib
from os import PathLike
from pathlib import Path
from typing import Any

from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.files.table_csv import read_text
from sixdof.mission.mission import Mission, checked_mission
from sixdof.mission.units import shown


def load_mission(path: str | Path) -> Mission:
    """Return the mission of a TOML file. Paths of CSV and netCDF files in it count from its folder; their numbers end up inside.

    Raises
    ------
    MissionError
        If a file cannot be read or the mission has faults: one sentence each, all of them together.

    Examples
    --------
    >>> mission = sixdof.load_mission("configs/sampler.toml")
    >>> mission.rail.length, [stage.name for stage in mission.stage]
    (3.0, ['thistledown'])
    """
    if not isinstance(path, (str, PathLike)):
        raise TypeError(f"load_mission: path must be the path of a mission file, not {shown(path)}")
    return _from_text(read_text(path), Path(path).parent, str(path))


def loads_mission(text: str, folder: str | Path = ".") -> Mission:
    """Return the mission written in `text` (TOML). Paths of CSV files in it count from `folder`.

    Raises
    ------
    MissionError
        As `load_mission`.

    Examples
    --------
    >>> sixdof.parts.loads_mission(mission.to_toml()) == mission
    True
    """
    if not isinstance(text, str):
        raise TypeError(f"loads_mission: text must be the text of a mission file, not {shown(text)}; a path goes to load_mission")
    return _from_text(text, _folder(folder, "loads_mission"), "")


def stored_mission(text: str) -> Mission:
    """Return the mission that a result holds: all numbers are in it, and no path in it is followed, for anybody may have written it there.

    Raises
    ------
    MissionError
        As `load_mission`, and for a path.
    """
    if not isinstance(text, str):
        raise TypeError(f"the attribute mission of a result must be the text of a mission file, not {shown(text)}")
    return _from_text(text, None, "the mission in the result")


def build_mission(*, folder: str | Path = ".", **tables: Any) -> Mission:
    """Return a mission from tables given in Python: classes of `sixdof.parts`, or dictionaries as in a file.

    `build_mission(site=Site(latitude="38 deg"), rail={"length": "3 m"}, ...)`. Paths of CSV files count from `folder`.

    Raises
    ------
    MissionError
        As `load_mission`.

    Examples
    --------
    >>> tables = {name: getattr(mission, name) for name in mission.model_fields_set}
    >>> sixdof.parts.build_mission(**tables) == mission
    True
    """
    return checked_mission(tables, _folder(folder, "build_mission"), "")


def _folder(folder: object, who: str) -> Path:
    if not isinstance(folder, (str, PathLike)):
        raise TypeError(f"{who}: folder must be the path that files in the mission count from, not {shown(folder)}")
    return Path(folder)


def check_mission(mission: object, who: str) -> None:
    """Raise TypeError, in the name of the function `who`, for anything but a mission."""
    if not isinstance(mission, Mission):
        raise TypeError(f"{who}: mission must be a sixdof.Mission, not {shown(mission)}; load one with sixdof.load_mission(path)")


def _from_text(text: str, folder: Path | None, file: str) -> Mission:
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message = f"is not valid TOML: {_flat(error)}"
        place = "" if file else "the text"
        raise MissionError([Fault(file, "", None, message, "check quotes, brackets and = there", place)]) from None
    return checked_mission(data, folder, file)


def _flat(error: Exception) -> str:
    return "too deeply nested" if isinstance(error, RecursionError) else " ".join(str(error).split())

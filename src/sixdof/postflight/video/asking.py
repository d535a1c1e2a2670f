"""What the calls about a video were asked, in SI: amounts, places, sizes; one sentence for anything else."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, example, parse, shown
from sixdof.study.landing.field import in_metres

FAR = 100e3  # m: a camera or a landmark further from the rail is a slip


def amount(value: Any, unit: str, name: str, *, least: float = -math.inf, most: float = math.inf, above: bool = False) -> float:
    """Return a quantity in SI. Raises ValueError, in one sentence that names it, for anything else and what is beyond the limits (above: exclusive)."""
    try:
        found = parse(float(value) if isinstance(value, np.generic) else value, unit)
    except QuantityError as error:
        raise ValueError(f"{name}: {error}") from None
    if found < least or (above and found == least):
        raise ValueError(f"{name}: {shown(value)} is {'not more than' if above else 'below'} {least:g}; write, for example, {example(unit)}")
    if found > most:
        raise ValueError(f"{name}: {shown(value)} is above {most:g} {unit if unit != '1' else ''}".rstrip() + f"; write, for example, {example(unit)}")
    return found


def several(value: Any, unit: str, name: str, count: int, words: str, **limits: Any) -> np.ndarray:
    """Return `count` quantities in SI, or one for all of them. Raises ValueError, saying what they are in `words`."""
    if isinstance(value, (Sequence, np.ndarray)) and not isinstance(value, str):
        if len(value) != count:
            raise ValueError(f"{name}: {shown(value)} must be {words}")
        return np.array([amount(one, unit, name, **limits) for one in value])
    return np.full(count, amount(value, unit, name, **limits))


def pair(value: Any, name: str, words: str, **limits: Any) -> np.ndarray:
    """Return two pure numbers, such as a pixel. Raises ValueError for anything else."""
    if isinstance(value, str) or not isinstance(value, (Sequence, np.ndarray)) or len(value) != 2:
        raise ValueError(f"{name}: {shown(value)} must be two numbers, {words}")
    return several(value, "1", name, 2, words, **limits)


def place_of(value: Any, name: str, mission: Mission | None) -> np.ndarray:
    """Return a place east, north and above the ground at the launch point, m, (3,).

    value : (east, north, height), or {"latitude", "longitude", and "height" above the ground at the launch point or "altitude" above the sea}.

    Raises ValueError for anything else, for a map's place without a mission, and for one that is too far away to be meant.
    """
    if isinstance(value, Mapping):
        found = _on_map(value, name, mission)
    elif isinstance(value, (Sequence, np.ndarray)) and not isinstance(value, str) and len(value) == 3:
        found = np.array([amount(one, "m", name) for one in value])
    else:
        raise ValueError(f"{name}: {shown(value)} must be (east, north, height) in m, or a table with latitude, longitude and height")
    if not np.linalg.norm(found) < FAR:
        raise ValueError(f"{name}: lies {np.linalg.norm(found) / 1e3:.0f} km from the rail; give metres east, north and up from the launch point")
    return found


def _on_map(table: Mapping, name: str, mission: Mission | None) -> np.ndarray:
    unknown = [key for key in table if key not in ("latitude", "longitude", "height", "altitude")]
    if unknown or not {"latitude", "longitude"} <= set(table):
        raise ValueError(f"{name}: a place on the map has latitude, longitude, and height above the launch point or altitude, not {', '.join(map(str, table))}")
    if mission is None:
        raise ValueError(f"{name}: a place by latitude and longitude needs the mission, for where its rail stands; give mission=, or east, north and height")
    degrees = [math.degrees(amount(table[key], "rad", f"{name}.{key}")) for key in ("latitude", "longitude")]
    east, north = (float(one) for one in in_metres(mission.site, *degrees))
    if "altitude" in table:
        return np.array([east, north, amount(table["altitude"], "m", f"{name}.altitude") - mission.site.altitude])
    return np.array([east, north, amount(table.get("height", 0.0), "m", f"{name}.height")])


def whole(value: Any, name: str, least: int) -> int:
    """Return a whole number of at least `least`. Raises ValueError for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
        raise ValueError(f"{name} = {shown(value)} must be a whole number, {least} or more")
    return int(value)

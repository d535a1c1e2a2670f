"""Conditions a mission is flown under, by name: from "wind.speed = 6 m/s" to what that does to a table of draws, or to the mission."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.drawn import path_names
from sixdof.draws.packed import nominal_value, things
from sixdof.draws.quantities import attributes_of, control_fin_count, coordinate, dims_of, known_item
from sixdof.mission.errors import suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.mission.units import QuantityError, parse, parse_difference, shown
from sixdof.world.wind import mean_wind

WIND_HEIGHT = 10.0  # m above ground: where a wind without one speed and direction is measured by (WMO-No. 8)
SPEED, FROM, FACTOR, TURN = "wind.speed", "wind.blows_from", "wind.factor", "wind.turn"
_KEYS = {"air.wind.speed": SPEED, "air.wind.blows_from": FROM}  # keys of the mission that have draws of their own
_RAIL = ("rail.elevation", "rail.azimuth")  # keys of the mission that are drawn as offsets from it
MOST_KEPT = 64  # missions changed lately, each with its tables


class Setting(NamedTuple):
    """One name of a condition, read: a key of the mission that is to be changed, or something drawn.

    name : as in `[disperse]`, or the key. thing : the stage, joint ... it is of, "" for all. drawn : whether draws do it. value : SI.
    """

    name: str
    thing: str
    drawn: bool
    value: Any


def settings_of(mission: Mission, condition: Mapping[str, Any], who: str) -> list[Setting]:
    """Return a condition, name -> value, read against a mission. Raises ValueError for a name or a value that cannot be; `who` asks."""
    if not isinstance(condition, Mapping):
        raise TypeError(f'{who}: a condition is a dictionary such as {{"wind.speed": "6 m/s"}}, not {shown(condition)}')
    return [_setting(mission, str(name), value, who) for name, value in condition.items()]


def _setting(mission: Mission, written: str, value: Any, who: str) -> Setting:
    name, _, thing = written.partition(" of ")
    name, thing = _KEYS.get(name.strip(), name.strip()), thing.strip()
    if name in _RAIL and control_fin_count(mission):
        return Setting(name, "", False, value)  # who turns the rail tells the flight computer; a draw is what it does not know of
    if name not in DISPERSIBLE and name not in path_names(mission):
        if thing:
            raise ValueError(f'{who}: "{name}" is nothing that is drawn; {suggestion(name, tuple(DISPERSIBLE), "quantities")}, or write the path of a key')
        return Setting(name, "", False, value)
    item = known_item(mission, name)
    known = [str(each) for each in things(mission, item.each)]
    if thing and (not item.each or thing not in known):
        hint = suggestion(thing, known, f"{item.each}s") if item.each else f'omit "of {thing}"'
        raise ValueError(f'{who}: "{written}" names nothing of this mission; {hint}')
    try:
        number = (parse_difference if item.role == "offset" and name not in _RAIL else parse)(value, item.unit)
    except QuantityError as error:
        raise ValueError(f"{who}: {name}: {error}") from None
    if item.least is not None and not number >= item.least:
        raise ValueError(f"{who}: {name} = {shown(value)} is less than {item.least:g}")
    if name in _RAIL:
        mission.change({name: value})  # the limits of the key are those of the mission file
    return Setting(name, thing, True, number)


_kept: OrderedDict[tuple, tuple[Mission, Mission]] = OrderedDict()  # it keeps the mission it was made of too: an id is nobody else's as long
_keeping = threading.Lock()


def changed(mission: Mission, settings: Sequence[Setting]) -> Mission:
    """Return the mission with those settings made that no draw can make, the very one as before if it was asked for lately: its tables are kept.

    Raises MissionError for one that makes no sound mission.
    """
    changes = {one.name: one.value for one in settings if not one.drawn}
    if not changes:
        return mission
    key = (id(mission), *map(id, mission.motor.values()), repr(sorted(changes.items(), key=lambda item: item[0])))
    with _keeping:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key][1]
    made = mission.change(changes)
    with _keeping:
        _kept[key] = mission, made
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return made


def conditioned(mission: Mission, table: xr.Dataset, settings: Sequence[Setting], who: str) -> xr.Dataset:
    """Return a table of draws under a condition: a value replaces what is drawn, a factor multiplies it, an offset is added to it.

    A rail's elevation or azimuth is the mission's number, what is drawn about it stays (of a vehicle with control the mission is changed instead). A
    wind speed or direction is that of every flight; where the mission tells its wind level by level, it is the wind at 10 m, and all levels are scaled
    and turned alike.
    """
    table = table.copy()
    for one in (one for one in settings if one.drawn):
        if one.name in (SPEED, FROM):
            _set_wind(mission, table, one, who)
            continue
        item = known_item(mission, one.name)
        names = things(mission, item.each)
        base = drawn_values(mission, table, one.name)
        value = one.value - getattr(mission.rail, one.name.removeprefix("rail.")) if one.name in _RAIL else one.value
        new = {"factor": base * value, "offset": base + value, "value": np.full_like(base, value)}[item.role]
        if one.thing and base.ndim == 2:
            new = np.where([str(each) == one.thing for each in names], new, base)
        put_values(mission, table, one.name, new)
    return table


def drawn_values(mission: Mission, table: xr.Dataset, name: str) -> np.ndarray:
    """Return what is drawn of a quantity, of every thing that has one; where nothing is, the mission's own."""
    item = known_item(mission, name)
    dims = dims_of(item, things(mission, item.each))
    if name in table:
        return table[name].transpose(*dims).values
    shape = [table.sizes["flight"], *([len(things(mission, item.each))] if len(dims) == 2 else [])]
    return np.full(shape, nominal_value(mission, item))


def put_values(mission: Mission, table: xr.Dataset, name: str, values: np.ndarray) -> None:
    """Lay values (flights,) or (flights, things) of a quantity into a table of draws, in place of what is drawn of it."""
    item = known_item(mission, name)
    names = things(mission, item.each)
    dims = dims_of(item, names)
    if len(dims) == 2:
        table.coords[item.each] = coordinate(item.each, names)
    table[name] = (dims, values, attributes_of(item))


def reference_height(mission: Mission) -> float:
    """Return the height above ground, m, at which winds are told: `air.wind.reference_height`, or 10 m where the wind is told level by level."""
    return float(mission.air.wind.reference_height) if mission.air.one_wind else WIND_HEIGHT


def _set_wind(mission: Mission, table: xr.Dataset, one: Setting, who: str) -> None:
    """Give every flight one wind speed, or one direction; what was drawn of it is gone."""
    other = FACTOR if one.name == SPEED else TURN
    flights = table.sizes["flight"]
    if mission.air.one_wind:
        put_values(mission, table, one.name, np.full(flights, one.value))
        if other in table:
            put_values(mission, table, other, np.full(flights, DISPERSIBLE[other].neutral))
        return
    east, north = _measured(mission, table).T
    if one.name == FROM:
        put_values(mission, table, TURN, one.value - np.arctan2(-east, -north))
        return
    speed = np.hypot(east, north)
    if one.value > 0.0 and (speed == 0.0).any():
        raise ValueError(f"{who}: the wind at {WIND_HEIGHT:g} m is calm and cannot be scaled to {one.value:g} m/s; take a wind with a profile")
    put_values(mission, table, FACTOR, one.value / np.where(speed > 0.0, speed, 1.0))


def _measured(mission: Mission, table: xr.Dataset) -> np.ndarray:
    """Return the mean wind at 10 m of every flight, east and north, (flights, 2), before anything scales or turns it."""
    if "wind.member" not in table:
        return np.broadcast_to(mean_wind(mission, WIND_HEIGHT), (table.sizes["flight"], 2))
    of = [mean_wind(mission, WIND_HEIGHT, member) for member in range(len(mission.air.wind.member))]
    return np.array(of)[table["wind.member"].values.astype(int)]

"""The skin's temperature over one flight: films at what each stage meets, conduction into each wall."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.study.structure.flutter_air import Air, air_of_stages
from sixdof.study.structure.skin_heat import STEFAN_BOLTZMANN, Film, plate, stagnation
from sixdof.study.structure.skin_walls import EDGE, EMISSIVITY, SKIN, TIP, Conduction, Wall

FAST, SLOW = 0.04, 0.5  # s, steps above and below a tenth of the speed of sound
SLOW_MACH = 0.1
NEAREST = 1e-3  # m: a distance from a tip of nothing makes a film of infinity


class Heated(NamedTuple):
    """A flight's skin: time (rows,), then (rows, walls): temperature of the surface, mean through the wall, recovery (K), flux from the air (W/m^2)."""

    time: np.ndarray
    surface: np.ndarray
    mean: np.ndarray
    recovery: np.ndarray
    flux: np.ndarray


class _At(NamedTuple):
    temperature: np.ndarray
    density: np.ndarray
    pressure: np.ndarray
    airspeed: np.ndarray
    mach: np.ndarray


def heated(flight: xr.Dataset, walls: list[Wall], starts: tuple[float, ...], initial: float | None) -> Heated | None:
    """Return the temperatures of walls over a flight; None of one that hardly moves.

    starts : station of each stage's fore end in the stack, m. initial : temperature of all walls at ignition, K; None: that of the air there.
    """
    airs = air_of_stages(flight, len(starts))
    if any(air.time.size < 2 for air in airs):
        return None
    time = _steps(airs)
    met = [_on(time, airs[wall.stage]) for wall in walls]
    columns = _At(*(np.stack([getattr(air, name) for air in met], axis=1) for name in _At._fields))
    fore = np.array(starts)[np.stack([air.lead.astype(int) for air in met], axis=1)]
    distance = np.maximum(np.array([wall.station for wall in walls]) - fore, NEAREST)
    body = Conduction(walls, columns.temperature[0, 0] if initial is None else initial)
    rows = [(body.surface, body.mean, columns.temperature[0], np.zeros(len(walls)))]
    for k in range(1, len(time)):
        at = _At(*(column[k] for column in columns))
        film = _films(walls, at, distance[k], body.surface)
        lost = EMISSIVITY * STEFAN_BOLTZMANN * (body.surface**4 - at.temperature**4)
        body.step(time[k] - time[k - 1], film.coefficient, film.recovery, lost)
        rows.append((body.surface, body.mean, film.recovery, film.coefficient * (film.recovery - body.surface)))
    return Heated(time, *(np.array(column) for column in zip(*rows, strict=True)))


def _films(walls: list[Wall], at: _At, distance: np.ndarray, surface: np.ndarray) -> Film:
    """Return the film of every wall."""
    kind, radius, sweep = (np.array([getattr(wall, key) for wall in walls]) for key in ("kind", "radius", "sweep"))
    cone = np.array([wall.cone for wall in walls])
    film = np.empty((2, len(walls)))
    for one, make in (
        (SKIN, lambda part, rows: plate(part, distance[rows], surface[rows], cone=cone[rows])),
        (TIP, lambda part, rows: stagnation(part, radius[rows], sphere=True)),
        (EDGE, lambda part, rows: stagnation(part, radius[rows], sweep=sweep[rows], sphere=False)),
    ):
        rows = np.flatnonzero(kind == one)
        if rows.size:
            film[:, rows] = make(_At(*(column[rows] for column in at)), rows)
    return Film(*film)


def _steps(airs: list[Air]) -> np.ndarray:
    """Return times from ignition to the last landing, close together while any stage is fast."""
    end = max(float(air.time[-1]) for air in airs)
    grid = np.arange(0.0, end, FAST)
    quick = np.max([np.interp(grid, air.time, air.mach, right=0.0) for air in airs], axis=0) > SLOW_MACH
    every = max(int(round(SLOW / FAST)), 1)
    return grid[quick | (np.arange(grid.size) % every == 0)]


def _on(time: np.ndarray, air: Air) -> Air:
    """Return what a stage meets at given times; before it moves and after it has come down it stands in still air."""
    columns = {name: np.interp(time, air.time, getattr(air, name)) for name in ("height", "airspeed", "mach", "pressure", "sound_speed")}
    still = (time > air.time[-1]) | (columns["mach"] < 1e-3)
    columns["airspeed"], columns["mach"] = (np.where(still, least, columns[name]) for name, least in (("airspeed", 0.3), ("mach", 1e-3)))
    lead = air.lead[np.minimum(np.searchsorted(air.time, time, side="right"), len(air.time)) - 1]
    return Air(time, lead=lead, **columns)

"""What a canopy's size makes of a flight's landing: the closed form of a steady fall, and the numbers of flights that were flown with it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.status import Descent
from sixdof.study.reading.result import came_down, event_values, fact, meaningful
from sixdof.study.recovery.zipper import canopy_parts, stage_of

G0 = 9.80665  # standard gravity, m/s^2 (3rd CGPM, 1901)

LANDED = {  # name: unit, meaning
    "descent_speed": ("m/s", "speed downwards as the body lands"),
    "landing_energy": ("J", "kinetic energy as the body lands, the wind's drift included"),
    "drift": ("m", "distance over the ground from the body's apogee to its landing"),
    "drift_before": ("m", "distance over the ground from the body's apogee to where the canopy is deployed"),
    "deployment_height": ("m", "height above ground at which the canopy is deployed"),
    "hanging_mass": ("kg", "mass of the body as it hangs and lands"),
    "ground_density": ("kg/m^3", "density of the air at the landing"),
}
KEEP = ("body_landing_east", "body_landing_north", "body_landing_energy", "body_landing_mass", "body_landing_time", "descent", "opening_load")
KEEP += (
    "event_time",
    "event_east",
    "event_north",
    "event_height",
    "event_velocity_up",
    "event_airspeed",
    "event_dynamic_pressure",
    "failure_happened",
    "separation_time",
)
KEEP += ("body_status",)


class Limits(NamedTuple):
    """What is asked of a landing: descent speed (m/s), kinetic energy (J) and drift (m) that are not to be passed; inf where nothing is asked."""

    speed: float
    energy: float = math.inf
    drift: float = math.inf

    def hardness(self, numbers) -> np.ndarray:
        """Return by how many times landings are too hard: descent speed, or the root of the energy, over its limit. About as 1/D over the diameter."""
        speed, energy = np.asarray(numbers["descent_speed"]), np.asarray(numbers["landing_energy"])
        return np.fmax(speed / self.speed, np.sqrt(energy / self.energy))

    def soft(self, numbers) -> np.ndarray:
        """Return which landings keep descent speed and energy, bool."""
        return self.hardness(numbers) <= 1.0

    def near(self, numbers) -> np.ndarray:
        """Return which landings keep the drift, bool."""
        return np.asarray(numbers["drift"]) <= self.drift


def terminal_speed(mass, diameter, drag_coefficient, density, gravity: float = G0):
    """Return the speed (m/s) of a steady fall under a canopy alone: sqrt(2 m g/(rho CD0 S0)), S0 = pi D0^2/4 (Knacke 1992, NWC TP 6575).

    mass : kg. diameter : nominal, m. drag_coefficient : on S0. density : kg/m^3. gravity : m/s^2.
    """
    return np.sqrt(2.0 * mass * gravity / (density * drag_coefficient * 0.25 * math.pi * np.square(diameter)))


def diameter_for(mass, speed, drag_coefficient, density, gravity: float = G0):
    """Return the nominal diameter (m) that lets a mass fall at a steady speed (m/s) under a canopy alone: S0 = 2 m g/(rho v^2 CD0) (Knacke 1992)."""
    return np.sqrt(2.0 * mass * gravity / (density * drag_coefficient * 0.25 * math.pi * np.square(speed)))


def landed(ds: xr.Dataset, mission: Mission, canopy: str) -> dict[str, np.ndarray]:
    """Return LANDED and `opened` of one canopy in every flight, each (flights,); NaN where the body does not come down under it.

    ds : an ensemble. A canopy that was lost, or that no failure let out, is no question of its size.
    """
    number, stage = [part.name for part in canopy_parts(mission)].index(canopy), stage_of(mission, canopy)
    opened = np.isfinite(fact(ds, "opening_load", number)) & _down(ds, stage) & meaningful(ds)
    opened &= np.isfinite(event_values(ds, f"line stretch {canopy}", body=stage))  # not on a piece that a broken harness let go
    opened &= np.atleast_1d(ds["descent"].isel(body=stage).values) == Descent.UNDER_CANOPY
    if "failure" in ds.dims:
        lost = [k for k, name in enumerate(ds["failure"].values) if str(name) in (f"canopy_lost: {canopy}", f"harness_breaks: {canopy}")]
        opened &= ~(ds["failure_happened"].values[:, lost] > 0).any(axis=1)
    speed, pressure = (event_values(ds, "landing", name, body=stage) for name in ("airspeed", "dynamic_pressure"))
    way = [fact(ds, f"body_landing_{name}", stage) - event_values(ds, "apogee", name, body=stage) for name in ("east", "north")]
    values = (-event_values(ds, "landing", "velocity_up", body=stage), fact(ds, "body_landing_energy", stage), np.hypot(*way))
    before = [event_values(ds, f"deployment {canopy}", name, body=stage) - event_values(ds, "apogee", name, body=stage) for name in ("east", "north")]
    values += (np.hypot(*before), event_values(ds, f"deployment {canopy}", "height", body=stage))
    values += (fact(ds, "body_landing_mass", stage), 2.0 * pressure / np.where(speed > 0.0, speed, np.nan) ** 2)
    return {name: np.where(opened, one, np.nan) for name, one in zip(LANDED, values, strict=True)} | {"opened": opened}


def _down(ds: xr.Dataset, stage: int) -> np.ndarray:
    """Return which flights see a stage come down, by itself or as part of the body ahead of it."""
    return came_down(ds, stage) | np.isfinite(np.atleast_1d(ds["body_landing_time"].isel(body=stage).values))


def crossings(diameters: np.ndarray, values: np.ndarray, limit: float, *, falling: bool) -> np.ndarray:
    """Return the diameter at which each flight's value meets its limit, (flights,), m.

    diameters : (sizes,), rising. values : (sizes, flights), NaN where unknown. falling : the value falls with the diameter, and the limit is kept from the
    diameter on (inf where it is not even by the largest, the smallest where it is by all); else it is kept up to it (0 where it is not even by the
    smallest, inf where it is by all). Between two sizes logarithms go in a straight line: a steady fall's speed is a power of the diameter.
    """
    kept = values <= limit
    out = np.full(values.shape[1], np.nan)
    for i in np.flatnonzero(np.isfinite(values).all(axis=0)):
        inside = kept[:, i] if falling else ~kept[:, i]
        outside = np.flatnonzero(~inside)
        k = int(outside[-1]) if outside.size else -1
        if k == len(diameters) - 1:
            out[i] = math.inf
        elif k < 0:
            out[i] = diameters[0] if falling else 0.0
        else:
            out[i] = _between(diameters[k : k + 2], values[k : k + 2, i], limit)
    return out


def _between(diameters: np.ndarray, values: np.ndarray, limit: float) -> float:
    a, b = np.log(np.maximum(values, 1e-9))
    share = 0.5 if a == b else (math.log(limit) - a) / (b - a)
    return float(diameters[0] * (diameters[1] / diameters[0]) ** min(max(share, 0.0), 1.0))


def smallest_for(need: np.ndarray, allowed: np.ndarray, share: float) -> tuple[float, float]:
    """Return the smallest diameter (m) that keeps need <= D <= allowed in a share of the flights, NaN if none does, and the best share there is.

    need, allowed : (flights,), m.
    """
    known = np.isfinite(allowed + need) | (np.isinf(need) | np.isinf(allowed))
    need, allowed = need[known], allowed[known]
    if not need.size:
        return math.nan, math.nan
    tried = np.unique(need[np.isfinite(need)])
    shares = np.array([np.mean((need <= one) & (one <= allowed)) for one in tried]) if tried.size else np.zeros(1)
    holds = np.flatnonzero(shares >= share - 1e-12)
    return (float(tried[holds[0]]) if holds.size and tried.size else math.nan), float(shares.max())

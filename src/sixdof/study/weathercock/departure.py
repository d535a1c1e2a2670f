"""What the linear theory of the turn needs of a vehicle as it leaves the rail, read from a flight of it and from its tables."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.flight.model import build_model
from sixdof.mission.mission import Mission
from sixdof.study.probes.columns import G0
from sixdof.study.weathercock.lateral import Lateral, wavenumber
from sixdof.vehicle.mass import mass_at, mass_table
from sixdof.vehicle.stability import least_stable_plane, pitch_damping
from sixdof.world.wind import mean_wind

LEAN_HEIGHT = 10.0  # m, at which the mean wind says where "into the wind" is


def lateral_of(mission: Mission, flight: xr.Dataset) -> Lateral:
    """Return the vehicle as it leaves the rail, in a flight of its mission (one flight with its timeline).

    Raises ValueError for a flight without rail departure or burnout after it.
    """
    at = flight.isel(body=0).sel(event="rail_departure")
    leaves, burnout = float(at["event_time"]), float(flight["event_time"].isel(body=0).sel(event="burnout"))
    if not burnout > leaves:
        raise ValueError("the turn into the wind needs a vehicle that leaves its rail before its motor burns out, and this one does not")
    model, stages = build_model(mission), range(len(mission.stage))
    row = flight.interp(time=[leaves, burnout])
    speed, fast = np.linalg.norm(row["velocity"].values, axis=1)
    mass, cg, mach = float(row["mass"][0]), float(row["cg"][0]), float(at["event_mach"])
    table = mass_table(mission, stages)
    full, empty = mass_at(table, 1.0)[0], mass_at(table, 0.0)[0]
    share = np.clip((row["mass"].values - empty) / max(full - empty, 1e-12), 0.0, 1.0)
    inertia, later = (mass_at(table, x)[2][1, 1] for x in share)
    density = 2.0 * float(at["event_dynamic_pressure"]) / float(at["event_airspeed"]) ** 2
    slope, margin = float(least_stable_plane(model.aero, [mach]).slope[0]), float(at["event_static_margin"])
    area, length, burn = model.aero.area, model.aero.length, burnout - leaves
    flow, arm = (mass - float(row["mass"][1])) / burn, model.thrust.exit_x - cg
    acceleration = (fast - speed) / burn
    return Lateral(
        speed=float(speed),
        acceleration=float(acceleration),
        wavenumber=float(wavenumber(density, area, slope, margin * length, inertia)),
        lift=density * area * slope / (2.0 * mass),
        damping=-density * area * length**2 * float(pitch_damping(model.aero, [mach], cg)[0]) / (4.0 * inertia),
        jet=(flow * arm**2 + (later - inertia) / burn) / inertia,
        burn=burn,
        margin=margin,
        thrust_to_weight=_thrust_to_weight(flight, leaves, burnout, mass),
        lean=float(flight["event_lean"].isel(body=0).sel(event="liftoff")),
    )


def _thrust_to_weight(flight: xr.Dataset, leaves: float, burnout: float, mass: float) -> float:
    """Return the mean thrust from rail departure to burnout over the weight at departure."""
    burning = flight["thrust"].sel(time=slice(leaves, burnout))
    return float(burning.mean()) / (mass * G0)


def wind_profile(mission: Mission, height) -> np.ndarray:
    """Return the mean wind (n,) over heights above ground (m) for each m/s of `wind.speed`, in the plane of that at 10 m, positive from where it blows.

    `wind.speed` is the speed at the profile's reference height; where the mission tells its wind level by level, that at 10 m. Without wind there: 1.
    """
    own = mission.air.one_wind
    windy = mission.change({"air.wind.speed": 1.0}) if own else mission
    east, north = mean_wind(windy, np.asarray(height, dtype=float)).T
    e, n = mean_wind(windy, LEAN_HEIGHT)
    speed = math.hypot(e, n)
    if not speed > 0.0:
        return np.ones(np.shape(height))
    return (east * e + north * n) / (speed if own else speed * speed)

"""Thrust over weight at the start, flight by flight: from the motor's own curve, the drawn factors, and the instants that the kernel flew.

`thrust_to_weight_rail` is the mean thrust from liftoff to rail departure over the weight at liftoff; `thrust_to_weight_start` the mean of the first
half second (of the burn, if that is shorter). Thrust is that of the curve at its reference pressure, of all motors lit on the rail together.
The rule of the high-power safety codes is about a third: the certified average thrust over the weight (`thrust_to_weight_average`), 3 at least.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.probes.columns import G0
from sixdof.study.reading.result import event_values, meaningful
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe
from sixdof.vehicle.motor import motor_facts, thrust_table
from sixdof.vehicle.mounting import placed_motors

RATIOS = {
    "thrust_to_weight_rail": "mean thrust from liftoff to rail departure over the weight at liftoff",
    "thrust_to_weight_start": "mean thrust of the first half second over the weight at liftoff",
    "thrust_to_weight_average": "average thrust over the burn time over the weight at liftoff",
}
START = 0.5  # s
LEAST = 3.0  # certified average thrust over the weight at liftoff, of the high-power safety code (from memory)
USUAL = 5.0  # thrust over weight at liftoff that common practice asks for


def thrust_to_weight(mission: Mission, ds: xr.Dataset) -> dict[str, np.ndarray]:
    """Return three ratios of an ensemble of a mission, each (flights,), NaN where a flight has none."""
    every = range(len(mission.stage))
    thrust = thrust_table(mission, every[-1], every)
    impulse, burn = _drawn(ds, mission, "motor_impulse"), _drawn(ds, mission, "motor_burn_time")
    weight = G0 * liftoff_mass(mission, ds)

    def delivered(time):
        """Impulse by a time since ignition (s), N s: the curve's own, stretched and scaled as drawn."""
        return impulse * _running(thrust, time / burn)

    left, gone = (event_values(ds, name) for name in ("rail_departure", "liftoff"))  # since ignition
    start = np.minimum(START, thrust.time[-1] * burn)
    average = sum(motor_facts(placed.motor).average_thrust for placed in placed_motors(mission, every)[-1])
    found = {
        "thrust_to_weight_rail": (delivered(left) - delivered(gone)) / ((left - gone) * weight),
        "thrust_to_weight_start": delivered(start) / (start * weight),
        "thrust_to_weight_average": average * impulse / burn / weight,
    }
    return {name: np.where(meaningful(ds), values, np.nan) for name, values in found.items()}


def _running(thrust, time: np.ndarray) -> np.ndarray:
    """Return the impulse of a thrust table by a time, N s: exact for straight lines between its points."""
    grid, force = thrust.time, thrust.force
    known = np.append(0.0, np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(grid)))
    time = np.clip(np.nan_to_num(time, nan=0.0), 0.0, grid[-1])
    k = np.clip(np.searchsorted(grid, time, side="right") - 1, 0, grid.size - 2)
    return known[k] + 0.5 * (force[k] + np.interp(time, grid, force)) * (time - grid[k])


def liftoff_mass(mission: Mission, ds: xr.Dataset) -> np.ndarray:
    """Return the mass on the rail of every flight, kg (flights,): what does not burn of each stage times its draw, and all propellant.

    A dispersed path (a length, say) that changes a mass is left out.
    """
    every = range(len(mission.stage))
    shape, motors = shape_of(mission.stage), placed_motors(mission, every)
    mass = np.full(ds.sizes["flight"], float(sum(placed.motor.propellant_mass for row in motors for placed in row)))
    for k, stage in enumerate(mission.stage):
        dry = airframe(shape, k, stage).mass + sum(placed.motor.case_mass for placed in motors[k])
        mass += dry * _drawn(ds, mission, "vehicle_mass", k)
    return mass


def _drawn(ds: xr.Dataset, mission: Mission, name: str, stage: int = -1) -> np.ndarray:
    """Return what was drawn of a factor for a stage, (flights,): 1 where nothing was."""
    if name not in ds:
        return np.ones(ds.sizes["flight"])
    values = ds[name]
    return (values.sel(stage=mission.stage[stage].name) if "stage" in values.dims else values).values.astype(float)

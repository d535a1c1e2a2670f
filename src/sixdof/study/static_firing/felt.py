"""What a flight feels of a motor as it was fired: flown as written and as fired."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.flight.fly import fly
from sixdof.mission.mission import Mission
from sixdof.study.reading.result import QUANTILES, outcomes
from sixdof.study.static_firing.with_firing import with_firing
from sixdof.study.variants.comparison import compare
from sixdof.study.variants.vary import variant_of
from sixdof.vehicle.motor import motor_facts

FELT = ("rail_departure_speed", "airspeed_max", "burnout_airspeed", "apogee_height")  # outcomes of a flight
MOTOR = ("total_impulse", "burn_time", "average_thrust", "peak_thrust", "specific_impulse", "propellant_mass")
AS = "as written", "as fired"


def felt_entries(found: xr.Dataset, mission: Mission, motor: str, flights: int, seed: int) -> xr.Dataset:
    """Return a firing with the motor's data and the nominal flight, as written and as fired (dim `motor_as`); without them where a log is clipped.

    flights : also drawn, of which quantiles are kept (motor_as, share).
    """
    text = {"long_name": "whose thrust curve"}
    if float(found["clipped"].sum()) > 0.0:
        return found.assign_attrs(title=mission.title, motor=motor)
    both = mission, with_firing(mission, motor, found, spread=False)
    facts = [motor_facts(one.motor[motor]) for one in both]
    flown = [fly(one) for one in both]
    entries = {f"flown_{name}": ("motor_as", np.array([float(ds[name]) for ds in flown]), dict(flown[0][name].attrs)) for name in FELT}
    units = {name: dict(found[name].attrs) for name in MOTOR}
    entries |= {f"flown_motor_{name}": ("motor_as", np.array([getattr(one, name) for one in facts]), units[name]) for name in MOTOR}
    found = found.assign(entries).assign_coords(motor_as=("motor_as", list(AS), text))
    old = mission.motor[motor].thrust_curve
    found = found.assign(
        written_time=("written_point", np.array(old.time), {"units": "s", "long_name": "time since ignition"}),
        written_thrust=("written_point", np.array(old.thrust), {"units": "N", "long_name": "thrust, as the mission has it"}),
    )
    if flights:
        found = found.merge(_drawn(found, mission, motor, flights, seed)).assign_attrs(flights=flights, seed=seed)
    return found.assign_attrs(title=mission.title, motor=motor, source=flown[0].attrs["source"])


def _drawn(found: xr.Dataset, mission: Mission, motor: str, flights: int, seed: int) -> xr.Dataset:
    """Return quantiles of drawn flights as written and as fired, which are drawn with the spread of the firings where it means something."""
    try:
        fired = with_firing(mission, motor, found)
    except ValueError:
        fired = with_firing(mission, motor, found, spread=False)
    ds = compare(dict(zip(AS, (mission, fired), strict=True)), flights, seed=seed, progress=False)
    entries = {}
    for name in FELT:
        rows = [np.nanquantile(outcomes(variant_of(ds, one), name), QUANTILES) for one in AS]
        entries[f"drawn_{name}"] = (("motor_as", "share"), np.array(rows), dict(ds[name].attrs))
    shares = ("share", np.array(QUANTILES), {"units": "1", "long_name": "quantile"})
    return xr.Dataset(entries, {"share": shares, "motor_as": ("motor_as", list(AS))})

"""A wind tunnel on the kernel's own aerodynamics: coefficients in any flow, with any fin angles and rates.

What these functions report is what a flight feels: they call the code that flies.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model
from sixdof.mission.mission import Mission
from sixdof.study.probes.columns import Model
from sixdof.study.probes.tunnel import AirLoads, Flow, air_loads
from sixdof.vehicle.mass import mass_at, mass_table
from sixdof.world.atmosphere import standard

FORCES = ("C_X", "C_Y", "C_Z", "C_l", "C_m", "C_n")
_MEANING = {
    "C_X": "force coefficient along body x (forward)",
    "C_Y": "force coefficient along body y (starboard)",
    "C_Z": "force coefficient along body z",
    "C_l": "rolling-moment coefficient, about body x",
    "C_m": "pitching-moment coefficient, about body y through the moment centre",
    "C_n": "yawing-moment coefficient, about body z through the moment centre",
    "hinge_moment": "moment of the air about the hinge line of each control fin",
    "stall": "largest weight of separated flow on any panel, 0 attached .. 1 separated",
}


def wind_tunnel(
    mission: Mission,
    *,
    stages: Sequence[int] | None = None,
    mach=0.3,
    incidence=0.0,
    roll=0.0,
    fin_angle=0.0,
    rate=(0.0, 0.0, 0.0),
    cg: float | None = None,
    altitude=0.0,
    burning: bool = False,
    model: Model | None = None,
) -> xr.Dataset:
    """Return force and moment coefficients in a steady flow.

    Parameters
    ----------
    stages : the stages that fly together, front first (all of them by default).
    mach, incidence, roll, altitude : float or DataArray
        Mach number; angle between the body axis and the velocity, rad, 0..pi; direction of the cross flow, rad (0: the velocity
        leans towards body z, which is a positive angle of attack; pi/2: towards body y); standard altitude, m.
        DataArrays broadcast by their dims.
    fin_angle : float or DataArray
        Deflection of the control fins, rad; with a dim `fin` each its own.
    rate : three floats or DataArrays
        Body rates times length over twice the speed: p d/2V, q d/2V, r d/2V.
    cg : float or None
        Station of the moment centre, m; the loaded centre of mass by default.
    burning : bool
        Motor alight: the jet fills part of the base.
    model : Model or None
        The tables of an earlier `build_model(mission, stages=stages)`, to save making them again.

    Returns
    -------
    Dataset
        C_X, C_Y, C_Z, C_l, C_m, C_n on the reference area and length (attributes), hinge_moment (N m, dim fin), stall,
        dynamic_pressure (Pa); dims are those of the inputs.

    Examples
    --------
    >>> flow = sixdof.aero.wind_tunnel(mission, mach=0.3, incidence=np.radians(2.0))
    >>> float(flow.C_m) < 0.0
    True
    """
    model = build_model(mission, stages=stages) if model is None else model
    used = range(len(mission.stage)) if stages is None else stages
    controls = model.computer.mixer.shape[0]
    if cg is None:
        cg = mass_at(mass_table(mission, used), 1.0)[1][0]
    fins = _per_fin(fin_angle, controls)
    inputs = [_array(x) for x in (mach, incidence, roll, altitude, *rate)]
    grid = xr.broadcast(*inputs, *fins)
    shape = grid[0].shape
    mach_, incidence_, roll_, altitude_, p, q, r = (g.values.ravel() for g in grid[:7])
    air = standard(altitude_)
    speed = np.maximum(mach_, 1e-6) * air.sound
    per_rate = 2.0 * speed / model.aero.length
    flow = Flow(
        speed=speed,
        incidence=incidence_,
        roll=roll_,
        p=p * per_rate,
        q=q * per_rate,
        r=r * per_rate,
        cg=np.full_like(speed, cg),
        density=air.density,
        sound=air.sound,
        viscosity=air.viscosity,
        burning=np.full_like(speed, float(burning)),
    )
    angles = np.array([fin.values.ravel() for fin in grid[7:]]).T.reshape(speed.size, controls)
    found = air_loads(model, kernel_draw(mission), flow, angles)
    out = found.load
    pressure = 0.5 * air.density * speed**2
    out /= (pressure * model.aero.area)[:, None]
    out[:, 3:] /= model.aero.length
    return _dataset(model, grid[0].dims, shape, found, pressure, grid[0].coords, cg)


def _array(x) -> xr.DataArray:
    return x if isinstance(x, xr.DataArray) else xr.DataArray(np.asarray(x, dtype=float))


def _per_fin(fin_angle, controls: int) -> list[xr.DataArray]:
    angles = _array(fin_angle)
    if "fin" not in angles.dims:
        return [angles] * controls
    if angles.sizes["fin"] != controls:
        raise ValueError(f"fin_angle has {angles.sizes['fin']} fins, and the vehicle has {controls} control fins")
    return [angles.isel(fin=i, drop=True) for i in range(controls)]


def _dataset(model: Model, dims, shape, found: AirLoads, pressure, coords, cg) -> xr.Dataset:
    out, hinge = found.load, found.hinge_moment
    entries = {name: (dims, out[:, i].reshape(shape), {"units": "1", "long_name": _MEANING[name]}) for i, name in enumerate(FORCES)}
    hinge = hinge.reshape(*shape, hinge.shape[1])
    entries["hinge_moment"] = ((*dims, "fin"), hinge, {"units": "N m", "long_name": _MEANING["hinge_moment"]})
    entries["stall"] = (dims, found.stall.reshape(shape), {"units": "1", "long_name": _MEANING["stall"]})
    entries["dynamic_pressure"] = (dims, pressure.reshape(shape), {"units": "Pa", "long_name": "dynamic pressure"})
    ds = xr.Dataset(entries, coords)
    ds = ds.assign_coords(fin=("fin", np.arange(1, hinge.shape[-1] + 1)))
    return ds.assign_attrs(reference_area=model.aero.area, reference_length=model.aero.length, moment_centre=float(cg))

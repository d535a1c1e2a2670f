"""What the control fins can do: moment per degree, trim, load factor, coupling, hinge moment, and what survives the stack.

All from the kernel's own aerodynamics (study/aero/tunnel.py). Demands are those of the control law: 1 deg of a demand moves the fin that
works best in it by 1 deg, through the mission's mixer.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.flight.model import build_model
from sixdof.mission.mission import Mission
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.study.probes.columns import G0, Model
from sixdof.vehicle.mass import mass_at, mass_table

MACH = (0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2.0, 2.5, 3.0)
INCIDENCE = tuple(np.radians([0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0]))
CHANNELS = {"roll": (0, "C_l"), "pitch": (1, "C_m"), "yaw": (2, "C_n")}
STEP = np.radians(1.0)  # of a demand, for the slopes: small against stall, large against rounding
_NO_MOMENT = 1e-9  # a moment coefficient below this counts as none
_REVERSED, _LOST, _WEAK = 0.0, 0.2, 0.7  # shares of a commanded moment, for the words


def _axis(name: str, values, units: str, long_name: str) -> xr.DataArray:
    values = np.asarray(values, dtype=float)
    return xr.DataArray(values, dims=name, coords={name: (name, values, {"units": units, "long_name": long_name})})


def mach_axis(values=MACH) -> xr.DataArray:
    """Return Mach numbers as a labelled axis."""
    return _axis("mach", values, "1", "Mach number")


def incidence_axis(values=INCIDENCE) -> xr.DataArray:
    """Return incidences (rad) as a labelled axis."""
    return _axis("incidence", values, "rad", "incidence (angle of attack)")


def demand_angles(model: Model, channel: str, demand) -> xr.DataArray:
    """Return the fin angles (dim fin) of a demand (rad, float or DataArray) in one channel, each within the servo's travel."""
    mixer = xr.DataArray(model.computer.mixer[:, CHANNELS[channel][0]], dims="fin")
    return (mixer * demand).clip(-model.servo.travel, model.servo.travel)


def moment_slopes(mission: Mission, *, stages: Sequence[int] | None = None, mach=MACH, incidence=INCIDENCE) -> xr.Dataset:
    """Return the moment coefficient per degree of demand in roll, pitch and yaw, over Mach and incidence.

    The incidence lies in the pitch plane (the velocity leans towards body z). Raises ValueError without control fins.

    stages : numbers of the stages that fly together, front first; all by default. mach : (n,). incidence : (m,), rad.

    Examples
    --------
    >>> slopes = sixdof.aero.moment_slopes(mission, mach=[0.3], incidence=[0.0])
    >>> bool(slopes.pitch_moment > 0.0)
    True
    """
    model = _model(mission, stages)
    flow = {"mach": mach_axis(mach), "incidence": incidence_axis(incidence), "stages": stages, "model": model}
    out = xr.Dataset()
    for channel, (_, name) in CHANNELS.items():
        up, down = (wind_tunnel(mission, fin_angle=demand_angles(model, channel, sign * STEP), **flow)[name] for sign in (1.0, -1.0))
        slope = (up - down) / (2.0 * np.degrees(STEP))
        out[f"{channel}_moment"] = slope.assign_attrs(units="1/deg", long_name=f"{channel} moment coefficient per degree of {channel} demand")
    return out


def trim(mission: Mission, *, stages: Sequence[int] | None = None, mach=MACH, demand=None, unburnt: float = 1.0) -> xr.Dataset:
    """Return the incidence a steady pitch demand holds, and the load factor there, over Mach and demand.

    Load factor is the normal force over weight at standard sea-level density. NaN where no incidence up to 40 deg balances the
    moment, or where the balance is unstable. demand : rad (five from zero to the servo's travel by default).

    stages : numbers of the stages that fly together, front first; all by default. mach : (n,). unburnt : share of the aft stage's propellant.

    Examples
    --------
    >>> held = sixdof.aero.trim(mission, mach=[0.3], demand=np.radians([2.0]))
    >>> bool(0.0 < np.degrees(held.incidence.item()) < 10.0)
    True
    """
    model = _model(mission, stages)
    used = range(len(mission.stage)) if stages is None else stages
    mass, cg, _ = mass_at(mass_table(mission, used), unburnt)
    demand = np.linspace(0.0, model.servo.travel, 5) if demand is None else demand
    wanted = _axis("demand", demand, "rad", "pitch demand")
    grid = incidence_axis(np.radians(np.arange(-2.0, 41.0, 1.0)))
    flow = wind_tunnel(
        mission,
        stages=stages,
        mach=mach_axis(mach),
        incidence=np.abs(grid),
        roll=xr.where(grid < 0.0, np.pi, 0.0),
        fin_angle=demand_angles(model, "pitch", wanted),
        cg=cg[0],
        model=model,
    )
    angle = xr.apply_ufunc(_first_zero, flow.C_m, grid, input_core_dims=[["incidence"], ["incidence"]], vectorize=True)
    force = -flow.C_Z * flow.dynamic_pressure * model.aero.area / (mass * G0)
    load = xr.apply_ufunc(lambda f, x, a: np.interp(a, x, f), force, grid, angle, input_core_dims=[["incidence"], ["incidence"], []], vectorize=True)
    return xr.Dataset(
        {
            "incidence": angle.assign_attrs(units="rad", long_name="trimmed incidence"),
            "load_factor": load.assign_attrs(units="1", long_name="trimmed load factor at sea level"),
        }
    )


def _first_zero(moment: np.ndarray, x: np.ndarray) -> float:
    """Return the first place where a moment falls through zero (a stable balance), NaN if it never does."""
    falls = np.flatnonzero((moment[:-1] >= 0.0) & (moment[1:] < 0.0))
    if falls.size == 0:
        return np.nan
    i = falls[0]
    return x[i] + (x[i + 1] - x[i]) * moment[i] / (moment[i] - moment[i + 1])


def roll_coupling(mission: Mission, *, stages: Sequence[int] | None = None, mach=0.3, incidence=INCIDENCE, demand=0.0) -> xr.Dataset:
    """Return rolling moment and roll authority at combined incidence: over incidence and the direction of the cross flow.

    demand : pitch demand held meanwhile, rad. Zero rolling moment at every direction means no coupling.

    stages : numbers of the stages that fly together, front first; all by default. mach : one number. incidence : (m,), rad.

    Examples
    --------
    >>> coupled = sixdof.aero.roll_coupling(mission, incidence=np.radians([0.0, 10.0]))
    >>> coupled.rolling_moment.dims
    ('incidence', 'roll')
    """
    model = _model(mission, stages)
    roll = _axis("roll", np.radians(np.arange(0.0, 181.0, 7.5)), "rad", "direction of the cross flow from body z")
    flow = {"mach": mach, "incidence": incidence_axis(incidence), "roll": roll, "stages": stages, "model": model}
    held = demand_angles(model, "pitch", demand)
    still = wind_tunnel(mission, fin_angle=held, **flow)
    moved = wind_tunnel(mission, fin_angle=held + demand_angles(model, "roll", STEP), **flow)
    return xr.Dataset(
        {
            "rolling_moment": still.C_l.assign_attrs(units="1", long_name="rolling-moment coefficient"),
            "roll_authority": ((moved.C_l - still.C_l) / np.degrees(STEP)).assign_attrs(
                units="1/deg", long_name="roll moment coefficient per degree of roll demand"
            ),
        }
    )


def hinge_moments(
    mission: Mission, *, stages: Sequence[int] | None = None, mach=MACH, incidence=INCIDENCE, deflection=None, altitude: float = 0.0
) -> xr.DataArray:
    """Return the largest hinge moment (N m) on any control fin, over Mach, incidence and deflection of all fins together.

    The cross flow's direction is the worst of eight. deflection : rad (five from zero to the travel by default).

    stages : numbers of the stages that fly together, front first; all by default. mach : (n,). incidence : (m,), rad. altitude : of the air, m
    above mean sea level.

    Examples
    --------
    >>> hinge = sixdof.aero.hinge_moments(mission, mach=[0.3, 0.6], incidence=[0.0], deflection=np.radians([10.0]))
    >>> bool(hinge.sel(mach=0.6).item() > hinge.sel(mach=0.3).item() > 0.0)
    True
    """
    model = _model(mission, stages)
    deflection = np.linspace(0.0, model.servo.travel, 5) if deflection is None else deflection
    angles = _axis("deflection", deflection, "rad", "fin angle")
    roll = _axis("roll", np.arange(8) * np.pi / 4.0, "rad", "direction of the cross flow")
    flow = wind_tunnel(
        mission, stages=stages, mach=mach_axis(mach), incidence=incidence_axis(incidence), roll=roll, fin_angle=angles, altitude=altitude, model=model
    )
    largest = np.abs(flow.hinge_moment).max(["fin", "roll"])
    return largest.assign_attrs(units="N m", long_name="largest hinge moment on any fin")


def survival(mission: Mission, *, stages: Sequence[int] | None = None, mach=0.3, incidence=INCIDENCE, demand=None, unburnt: float = 1.0) -> xr.Dataset:
    """Return what share of a commanded moment in roll, pitch and yaw survives fins behind the control fins, which shed vortices on them.

    The share is the change of moment about the centre of mass with the vortices, over the size of that without them; 1 is untouched, 0 is
    lost, below 0 is REVERSED: the vehicle answers the wrong way round. NaN in a channel in which the fins make no moment.

    stages : those that fly together, all by default. demand : rad (1, 5 deg and the travel by default). unburnt : share of the aft stage's
    propellant left. Dims mach (if an axis is given), incidence, demand.

    Examples
    --------
    >>> left = sixdof.aero.survival(stack, mach=0.3, incidence=[0.0])
    >>> sixdof.aero.survival_word(float(left.roll_moment.min()))
    'weakened'
    """
    model = _model(mission, stages)
    if not model.aero.wake_pair.shape[0]:
        raise ValueError("no set of fins stands behind another one in this vehicle: nothing is shed onto anything")
    demand = np.unique(np.minimum(np.radians([1.0, 5.0, 90.0]), model.servo.travel)) if demand is None else demand
    wanted = _axis("demand", demand, "rad", "demand")
    used = range(len(mission.stage)) if stages is None else stages
    cg = mass_at(mass_table(mission, used), unburnt)[1][0]
    alone = model._replace(aero=model.aero._replace(wake_pair=model.aero.wake_pair[:0], wake=model.aero.wake[:0]))
    mach = mach_axis(mach) if np.ndim(mach) else mach
    out = xr.Dataset()
    for channel, (_, name) in CHANNELS.items():
        change = []
        for tables in (model, alone):
            flow = {"mach": mach, "incidence": incidence_axis(incidence), "model": tables, "stages": stages, "cg": cg}
            moved = wind_tunnel(mission, fin_angle=demand_angles(model, channel, wanted), **flow)[name]
            change.append(moved - wind_tunnel(mission, **flow)[name])
        size = np.abs(change[1])
        share = change[0] / size.where(size > _NO_MOMENT)
        out[f"{channel}_moment"] = share.assign_attrs(units="1", long_name=f"share of the commanded {channel} moment that survives")
    return out


def survival_word(share: float) -> str:
    """Return a share of a commanded moment in a word.

    Examples
    --------
    >>> sixdof.aero.survival_word(0.95)
    'kept'
    """
    if share < _REVERSED:
        return "REVERSED: the vehicle answers the wrong way round"
    if share < _LOST:
        return "lost"
    return "weakened" if share < _WEAK else "kept"


def _model(mission: Mission, stages) -> Model:
    model = build_model(mission, stages=stages)
    if not model.computer.mixer.shape[0]:
        raise ValueError("the vehicle has no control fins; set control = true on a fin set to ask what it can do")
    return model

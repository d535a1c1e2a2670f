"""Aerodynamics of a vehicle against Mach, as Datasets: axial force by component, slopes, margins, damping.

All at zero incidence; coefficients on the area pi d^2/4 and the length d of the largest body diameter. Every variable
says in its attributes `source` and `accuracy` where it comes from.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.aero import sources as sources
from sixdof.vehicle.aero.drag import drag_breakdown, measured_axial
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.derivatives import derivatives
from sixdof.vehicle.describe import totals
from sixdof.vehicle.geometry import Shape, shape_of
from sixdof.world.sounding import air_over

TOP_MACH = 3.0
PER_MACH = 50
NOT_COMPONENTS = ("base, burning", "total", "measured")


def drag_against_mach(mission: Mission, stages: Sequence[int] | None = None, mach=None) -> xr.Dataset:
    """Return the axial force by component against Mach, in the air at the site's ground.

    Parameters
    ----------
    stages : numbers of the stages that fly together, front first; all of the mission's by default.
    mach : (n,), 0 to 3 in steps of 0.02 by default.

    Returns
    -------
    Dataset
        `drag` (component, mach), which add up to `build_up` (mach); `axial` (mach) and `axial_burning` (mach), which
        the flight uses: the build-up, or the measured curves. `component` carries `source` and `accuracy`.

    Examples
    --------
    >>> drag = sixdof.aero.drag_against_mach(mission, mach=[0.3, 0.6])
    >>> [str(name) for name in drag.component.values[:3]]
    ['friction, body', 'friction, fins', 'nose and shoulders']
    >>> bool(np.allclose(drag.drag.sum("component"), drag.build_up))
    True
    """
    stages, mach, shape = _chosen(mission, stages, mach)
    air, _ = air_over(mission, np.array([mission.site.altitude]))
    reynolds = mach * float(air.sound[0] * air.density[0] / air.viscosity[0])
    parts = drag_breakdown(mission, stages, mach, reynolds)
    names = [name for name in parts if name not in NOT_COMPONENTS]
    coasting, burning = measured_axial(mission, stages, mach)
    axial = parts["total"] if coasting is None else coasting
    burning = axial + parts["base, burning"] if burning is None else burning
    named = [sources.drag_source(name) for name in names]
    build_up = sources.Source("sum of the components", sources.AXIAL.accuracy)
    return xr.Dataset(
        {
            "drag": (("component", "mach"), np.array([parts[name] for name in names]), _attrs("axial force coefficient")),
            "build_up": ("mach", parts["total"], _attrs("axial force coefficient of the components", build_up)),
            "axial": ("mach", axial, _attrs("axial force coefficient, motor off", sources.AXIAL)),
            "axial_burning": ("mach", burning, _attrs("axial force coefficient, motor on", sources.AXIAL_BURNING)),
        },
        {
            "component": ("component", names),
            "source": ("component", [source.formula for source in named]),
            "accuracy": ("component", [source.accuracy for source in named]),
            "mach": _mach(mach),
        },
        _about(mission, stages, shape),
    )


def stability_against_mach(mission: Mission, stages: Sequence[int] | None = None, mach=None) -> xr.Dataset:
    """Return slopes, centre of pressure, static margins and damping against Mach, as the flight feels them.

    Parameters
    ----------
    stages, mach : as for `drag_against_mach`.

    Returns
    -------
    Dataset
        Over `mach`: `slope` (CN_alpha), `body_slope`, `downwash_slope`, `centre_of_pressure` in the plane of incidence
        where it lies foremost, `centre_of_pressure_aft` in that where it lies furthest aft; over (state, mach), state loaded and burnt:
        `margin` in diameters, `pitch_damping` (C_m_q about the centre of mass, q d/(2V)); over (fin_set, mach):
        `fin_slope`, `roll_damping` (C_l_p, p d/(2V)), `roll_forcing` (C_l per rad of equal deflection of the set).
        `centre_of_mass` (state).

    Examples
    --------
    >>> stable = sixdof.aero.stability_against_mach(mission, mach=[0.3])
    >>> bool((stable.margin > 1.0).all())
    True
    """
    stages, mach, shape = _chosen(mission, stages, mach)
    aero = aero_table(mission, stages)
    cg = [each.centre[0] for each in totals(mission, stages)]
    loaded, burnt = (derivatives(aero, mach, station) for station in cg)
    margin = [(loaded.centre - station) / shape.diameter for station in cg]
    by_state, by_set = ("state", "mach"), ("fin_set", "mach")
    pitch = np.array([loaded.pitch_damping, burnt.pitch_damping])
    return xr.Dataset(
        {
            "slope": ("mach", loaded.slope, _attrs("normal force slope", sources.SLOPE, "1/rad")),
            "body_slope": ("mach", loaded.body_slope, _attrs("normal force slope, body alone", sources.SLOPE, "1/rad")),
            "downwash_slope": ("mach", loaded.downwash_slope, _attrs("normal force slope lost to downwash", sources.DOWNWASH, "1/rad")),
            "fin_slope": (by_set, loaded.fin_slope, _attrs("normal force slope of a fin set", sources.SLOPE, "1/rad")),
            "centre_of_pressure": ("mach", loaded.centre, _attrs("centre of pressure", sources.CENTRE, "m")),
            "centre_of_pressure_aft": ("mach", loaded.plane.aft, _attrs("centre of pressure in the most stable plane", sources.CENTRE, "m")),
            "margin": (by_state, np.array(margin), _attrs("static margin, diameters", sources.MARGIN)),
            "pitch_damping": (by_state, pitch, _attrs("pitch damping C_m_q", sources.PITCH)),
            "roll_damping": (by_set, loaded.fin_roll_damping, _attrs("roll damping C_l_p", sources.ROLL_DAMPING)),
            "roll_forcing": (by_set, loaded.fin_roll_forcing, _attrs("roll moment per deflection", sources.ROLL_FORCING, "1/rad")),
            "centre_of_mass": ("state", cg, {"units": "m", "long_name": "centre of mass"}),
        },
        {"state": ("state", ["loaded", "burnt"]), "fin_set": ("fin_set", fin_names(shape)), "mach": _mach(mach)},
        _about(mission, stages, shape),
    )


def fin_names(shape: Shape) -> list[str]:
    """Return a name for every set of fins: its own, "fins" without one, numbered where names come twice."""
    names = [fin.part.name or "fins" for fin in shape.fins]
    return [f"{name} {i + 1}" if names.count(name) > 1 else name for i, name in enumerate(names)]


def _chosen(mission: Mission, stages, mach) -> tuple[list[int], np.ndarray, Shape]:
    """Return stages, Mach numbers and outside, checked.

    Raises
    ------
    ValueError
        If a stage's number or a Mach number is none.
    """
    count = len(mission.stage)
    stages = list(range(count)) if stages is None else [int(number) for number in stages]
    if not stages or not all(0 <= number < count for number in stages):
        raise ValueError(f"stages = {stages} are not stages of this mission; it has {count}, numbered from 0")
    default = np.arange(int(TOP_MACH * PER_MACH) + 1) / PER_MACH
    mach = default if mach is None else np.atleast_1d(np.asarray(mach, dtype=float))
    if not (mach.ndim == 1 and mach.size and np.all(np.isfinite(mach)) and np.all(mach >= 0.0)):
        raise ValueError("mach must be a list of finite numbers of 0 or more, such as [0.3, 0.8, 1.5]")
    return stages, mach, shape_of([mission.stage[number] for number in stages])


def _attrs(text: str, source: sources.Source | None = None, units: str = "1") -> dict[str, str]:
    attrs = {"long_name": text, "units": units}
    by_component = "coordinate source"
    formula, accuracy = (by_component, "coordinate accuracy") if source is None else source
    return attrs | {"source": formula, "accuracy": accuracy}


def _mach(mach: np.ndarray):
    return "mach", mach, {"long_name": "Mach number", "units": "1"}


def _about(mission: Mission, stages: list[int], shape: Shape) -> dict:
    return {
        "title": mission.title,
        "configuration": " + ".join(mission.stage[number].name for number in stages),
        "reference_area": shape.area,
        "reference_length": shape.diameter,
    }

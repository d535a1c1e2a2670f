"""The aerodynamics of a vehicle in words and numbers: one section per subject, for every configuration that flies.

A section is a function of (mission, stages) that returns its lines, none where it has nothing to say (no control fins);
`SECTIONS` lists them in the order they are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.page import wrapped
from sixdof.study.aero.control_report import authority_section, coupling_section, hinge_section, survival_section, trim_section, validity_section
from sixdof.study.aero.margins import margin_sentences
from sixdof.study.aero.tables import drag_against_mach, stability_against_mach
from sixdof.study.aero.text import source_of, table
from sixdof.vehicle.stability import DIFFERENT

MACH = np.array([0.1, 0.3, 0.5, 0.7, 0.9, 1.0, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0])


def aero_report(mission: Mission) -> str:
    """Return the aerodynamics as text tables against Mach, the source of each line beside it.

    Every configuration that flies is reported: the whole stack, then what is left after each aft stage has gone.
    """
    lines = [f"Aerodynamics of {mission.title or 'the vehicle'}", ""]
    lines += [
        "Coefficients on the area pi d^2/4 and the length d of the largest body diameter; slopes per radian; rates as",
        "q d/(2V) and p d/(2V); negative damps. Between Mach 0.8 and 1.2 tables are interpolated (transonic).",
    ]
    for count in range(len(mission.stage), 0, -1):
        stages = list(range(count))
        for section in SECTIONS:
            found = section(mission, stages)
            lines += ["", *found] if found else []
    return "\n".join(lines) + "\n"


def drag_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return the axial force by component."""
    ds = drag_against_mach(mission, stages, MACH)
    rows = [
        (str(ds["component"].values[i]), ds["drag"].values[i], f"{ds['source'].values[i]} ({ds['accuracy'].values[i]})")
        for i in range(ds.sizes["component"])
        if ds["drag"].values[i].any()
    ]
    rows += [(name, ds[key].values, source_of(ds[key])) for name, key in _SUMS]
    head = f"{ds.attrs['configuration']}: axial force, area {1e4 * ds.attrs['reference_area']:.2f} cm^2"
    return table(head, ds["mach"].values, rows, "{:.4f}")


_SUMS = (("all components", "build_up"), ("flown, motor off", "axial"), ("flown, motor on", "axial_burning"))


def stability_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return slopes, centre of pressure, margins and damping."""
    ds = stability_against_mach(mission, stages, MACH)
    rows = [("CN slope, body", ds["body_slope"].values, "")]
    rows += [(f"CN slope, {name}", ds["fin_slope"].values[i], "") for i, name in enumerate(ds["fin_set"].values)]
    if ds["downwash_slope"].any():
        rows += [("CN slope, downwash", ds["downwash_slope"].values, source_of(ds["downwash_slope"]))]
    rows += [("CN slope, all", ds["slope"].values, source_of(ds["slope"]))]
    rows += [("centre of pressure m", ds["centre_of_pressure"].values, source_of(ds["centre_of_pressure"]))]
    for key, text in (("margin", "margin {}"), ("pitch_damping", "C_m_q {}")):
        rows += [(text.format(name), ds[key].sel(state=name).values, source_of(ds[key])) for name in ds["state"].values]
    for key, text in (("roll_damping", "C_l_p {}"), ("roll_forcing", "C_l per rad, {}")):
        rows += [(text.format(name), ds[key].values[i], source_of(ds[key])) for i, name in enumerate(ds["fin_set"].values)]
    cg = ", ".join(f"{name} {station:.4f} m" for name, station in zip(ds["state"].values, ds["centre_of_mass"].values))
    title = f"{ds.attrs['configuration']}: normal force and damping; centre of mass {cg}"
    return table(title, ds["mach"].values, rows, "") + margin_sentences(mission, stages) + _planes(ds) + LEFT_OUT


def _planes(ds: xr.Dataset) -> list[str]:
    """Return a sentence where the fins do not hold the vehicle alike in all planes of incidence."""
    wider = (ds["centre_of_pressure_aft"] - ds["centre_of_pressure"]).values / ds.attrs["reference_length"]
    if not (wider > DIFFERENT).any():
        return []
    return wrapped(
        f"The fins do not stabilise it alike in all planes of incidence: slopes and margins are those of the least stable plane, in the most "
        f"stable one the margin is up to {np.nanmax(wider):.2f} calibres larger."
    )


LEFT_OUT = wrapped(
    "Omitted: Magnus force and moment of a spinning vehicle (some 1 % of the normal force's at p d/(2V) = 0.05), the lag of the downwash behind forward "
    "fins (C_m_alphadot, up to a fifth of C_m_q), roll damping by friction (sizes: project estimates)."
)


SECTIONS: tuple[Callable[[Mission, Sequence[int]], list[str]], ...] = (
    drag_section,
    stability_section,
    authority_section,
    trim_section,
    coupling_section,
    hinge_section,
    survival_section,
    validity_section,
)

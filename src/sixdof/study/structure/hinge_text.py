"""What the page about flutter says of hinged fins: divergence, flutter, frequencies, free play, the servo that holds them."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.page import table, underlined, wrapped
from sixdof.vehicle.geometry import shape_of

# total free play of an all-moving surface that military practice allows (MIL-A-8870, after wind-tunnel work of the 1950s), from memory
PLAY_ALLOWED = math.radians(0.034)
_WEAK = (
    "An estimate: strips with the kernel's own slopes and centres, Theodorsen's lag (NACA Report 496; V-g method of Bisplinghoff, Ashley and Halfman 1955), "
    "the panel bending as if its shaft were stiff, no weight ahead of the hinge. The hinge's stiffness is partly the servo's hold: it is that of small, slow "
    "pushes under power. A servo that is off, saturated or past its stall torque holds with less, and at the hinge's own frequency a servo does not answer."
)


def hinge_sentences(ds: xr.Dataset, mission: Mission) -> Iterator[str]:
    """Yield what is to be said first of hinged fins, if any has a stiffness."""
    for k in _hinged(ds):
        one, part = ds.isel(fins=k), shape_of(mission.stage).fins[k].part
        flutter, divergence = (float(np.nanmin(one[f"hinge_{name}_margin"].values)) for name in ("flutter", "divergence"))
        diverges = "cannot diverge (the load acts behind the hinge)" if math.isinf(divergence) else f"would diverge at {divergence:.2f} times the speed flown"
        swings = "no flutter about the hinge is found" if math.isinf(flutter) else f"flutter about the hinge at {flutter:.2f} times it"
        yield f'With {part.hinge_stiffness:g} N m/rad at the hinge the fins "{one["fins"].item()}" {diverges}; {swings}, at worst.'
        if part.hinge_play:
            yield _play(one, part.hinge_play)
        yield from _overpowered(ds, mission)


def _play(one: xr.Dataset, play: float) -> str:
    cycles = one["cycle_amplitude"].values
    allowed = f"military practice allows {math.degrees(PLAY_ALLOWED):.3f} deg of an all-moving fin (MIL-A-8870, from memory)"
    if np.nanmax(cycles) > 0.0:
        share = 100.0 * float(np.mean(cycles[np.isfinite(cycles)] > 0.0))
        what = f"lets them buzz in a limit cycle of up to {math.degrees(float(np.nanmax(cycles))):.2f} deg in {share:.0f} % of flights"
    else:
        what = "lets them chatter by about as much, but sustains no limit cycle in this estimate"
    return f"Their free play of {math.degrees(play):.2f} deg {what}; {allowed}: wear and a loose horn make it more."


def _overpowered(ds: xr.Dataset, mission: Mission) -> Iterator[str]:
    torque, moment = mission.servo.stall_torque if mission.servo else None, ds.attrs.get("hinge_moment_max", math.nan)
    if torque and moment > 0.5 * torque:
        yield f"The air's moment reaches {moment:.2f} N m of the servos' {torque:.2g} N m: what they then hold with is less than hinge_stiffness says."


def hinge_section(ds: xr.Dataset) -> list[str]:
    """Return the table of hinged fins, [] where none has a stiffness."""
    rows = [["hinged fins", "flutter V_F/V 5 %", "50 %", "divergence V_D/V 5 %", "50 %", "turns Hz", "bends Hz"]]
    for k in _hinged(ds):
        one = ds.isel(fins=k)
        cells = [
            _number(value)
            for name in ("flutter", "divergence")
            for value in np.quantile(_finite(one[f"hinge_{name}_margin"].values), (0.05, 0.5), method="lower")
        ]
        rows.append([str(one["fins"].item()), *cells, *(f"{value:.0f}" for value in one["hinge_frequency"].values)])
    return [*underlined(table(rows)), *wrapped(_WEAK)] if len(rows) > 1 else []


def _hinged(ds: xr.Dataset) -> list[int]:
    return [k for k in range(ds.sizes["fins"]) if not np.isnan(ds["hinge_divergence_margin"].values[:, k]).all()]


def _finite(values: np.ndarray) -> np.ndarray:
    return values[~np.isnan(values)]


def _number(value: float) -> str:
    return "none" if math.isinf(value) else f"{value:.2f}" if value < 100.0 else f"{value:.0f}"

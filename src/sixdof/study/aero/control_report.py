"""What the control fins can do, in words and tables: the report's sections on authority, trim, hinges, the stack,
validity.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.page import wrapped
from sixdof.study.aero import sources as sources
from sixdof.study.aero.authority import CHANNELS, hinge_moments, moment_slopes, roll_coupling, survival, survival_word, trim
from sixdof.study.aero.tables import fin_names
from sixdof.study.aero.text import table
from sixdof.study.probes.columns import BodyColumn, FinColumn, observe
from sixdof.vehicle.aero.blend import MACH_TOP
from sixdof.vehicle.aero.cross_flow import CRISIS
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.derivatives import at_mach
from sixdof.vehicle.geometry import shape_of
from sixdof.world.sounding import air_over

MACH = np.array([0.1, 0.3, 0.5, 0.7, 0.9, 1.0, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0])
INCIDENCE = np.radians([0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0])
SHOWN = np.radians([0.0, 5.0, 10.0, 20.0])  # incidences with a row of their own
SLOW = 0.3  # Mach number of the tables over incidence


def has_controls(mission: Mission, stages: Sequence[int]) -> bool:
    """Return whether the stages have control fins."""
    return any(part.kind == "fins" and part.control for i in stages for part in mission.stage[i].part)


def sheds(mission: Mission, stages: Sequence[int]) -> bool:
    """Return whether these stages have control fins, and a set of fins with another behind it."""
    return has_controls(mission, stages) and len(aero_table(mission, stages).wake_pair) > 0


def authority_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return the moment per degree of demand against Mach at some incidences."""
    if not has_controls(mission, stages):
        return []
    ds = moment_slopes(mission, stages=stages, mach=MACH, incidence=SHOWN)
    rows = [
        (f"{channel} {symbol}, {angle:.0f} deg", values, _said(sources.AUTHORITY))
        for channel, (_, symbol) in CHANNELS.items()
        for angle, values in zip(np.degrees(SHOWN), ds[f"{channel}_moment"].transpose("incidence", "mach").values)
    ]
    title = f"{_called(mission, stages)}: moment coefficient per degree of demand, at incidences in the pitch plane"
    return table(title, MACH, rows, "{:.4f}")


def trim_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return trimmed incidence and load factor against Mach for some pitch demands."""
    if not has_controls(mission, stages):
        return []
    demand = mission.servo.deflection_limit * np.array([0.25, 0.5, 1.0])
    ds = trim(mission, stages=stages, mach=MACH, demand=demand).transpose("demand", "mach")
    source = _said(sources.TRIM)
    rows = []
    for i, angle in enumerate(np.degrees(demand)):
        rows.append((f"incidence deg, {angle:.1f} deg", np.degrees(ds["incidence"].values[i]), source))
        rows.append((f"trimmed load factor, {angle:.1f} deg", ds["load_factor"].values[i], source))
    title = f"{_called(mission, stages)}: incidence and load factor trimmed by a steady pitch demand, loaded"
    none = "none: no stable balance between -2 and 40 deg of incidence."
    return table(title, MACH, rows, "{:.2f}") + ([none] if ds["incidence"].isnull().any() else [])


def coupling_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return rolling moment and roll authority over incidence, worst direction of the cross flow, half pitch demand
    held.
    """
    if not has_controls(mission, stages):
        return []
    demand = 0.5 * mission.servo.deflection_limit
    ds = roll_coupling(mission, stages=stages, mach=SLOW, incidence=INCIDENCE, demand=demand)
    source = _said(sources.COUPLING)
    rows = [
        ("largest C_l", np.abs(ds["rolling_moment"]).max("roll").values, source),
        ("least C_l per deg", ds["roll_authority"].min("roll").values, source),
        ("most C_l per deg", ds["roll_authority"].max("roll").values, source),
    ]
    held = f"{np.degrees(demand):.1f} deg of pitch demand held, all directions"
    title = f"{_called(mission, stages)}: roll coupling at Mach {SLOW}, {held}"
    return table(title, np.degrees(INCIDENCE), rows, "{:.4f}", "incidence deg")


def hinge_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return the largest hinge moments against Mach, and whether the servo holds them."""
    if not has_controls(mission, stages):
        return []
    deflection = mission.servo.deflection_limit * np.array([0.0, 0.5, 1.0])
    found = hinge_moments(mission, stages=stages, mach=MACH, incidence=SHOWN, deflection=deflection, altitude=mission.site.altitude).transpose(
        "deflection", "incidence", "mach"
    )
    rows = [
        (f"{np.degrees(d):.1f} deg, incidence {np.degrees(a):.0f}", found.values[i, j], _said(sources.HINGE))
        for i, d in enumerate(deflection)
        for j, a in enumerate(SHOWN)
        if (i, j) != (0, 0)
    ]
    where = "by fin angle, in the air at the site's ground"
    title = f"{_called(mission, stages)}: largest hinge moment on any fin, N m, {where}"
    return table(title, MACH, rows, "{:.3f}") + wrapped(servo_sentence(mission, found.values.max(axis=(0, 1))))


def servo_sentence(mission: Mission, moment: np.ndarray) -> str:
    """Return whether the servo can move the fins against hinge moments (N m) over `MACH`."""
    torque, most = mission.servo.stall_torque, moment.max()
    if torque is None:
        return (
            f"The mission gives no servo.stall_torque, so nothing holds the servo back in flight; up to Mach "
            f"{MACH[-1]:g} the "
            f"air asks for {most:.3g} N m, up to Mach 0.9 for {moment[MACH <= 0.9].max():.3g} N m."
        )
    if most < torque:
        used = f"{most / torque:.0%}"
        return f"The servo's stall torque, {torque:.3g} N m, is more than all of these: it holds, with {used} used."
    first = MACH[np.flatnonzero(moment >= torque)[0]]
    return f"THE SERVO DOES NOT HOLD: its stall torque, {torque:.3g} N m, is less than the air's moment from Mach {first:g} on (at worst {most:.3g} N m)."


def survival_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return what survives of a commanded moment past the fins behind; nothing for a vehicle with one set of fins."""
    if not sheds(mission, stages):
        return []
    ds = survival(mission, stages=stages, mach=SLOW, incidence=INCIDENCE)
    channels = [channel for channel in CHANNELS if np.isfinite(ds[f"{channel}_moment"]).all()]
    rows = [
        (f"{channel}, {angle:.1f} deg", values, _said(sources.SURVIVAL))
        for channel in channels
        for angle, values in zip(np.degrees(ds["demand"].values), ds[f"{channel}_moment"].transpose("demand", ...).values)
    ]
    title = f"{_called(mission, stages)}: share of a commanded moment that survives the fins behind, Mach {SLOW}, by demand"
    lines = table(title, np.degrees(INCIDENCE), rows, "{:.2f}", "incidence deg")
    for channel in channels:
        share = ds[f"{channel}_moment"]
        low, high = float(share.min()), float(share.max())
        words = dict.fromkeys((survival_word(low), survival_word(high)))
        lines.append(f"{channel.capitalize()}: {low:.2f} to {high:.2f}: {' .. '.join(words)}.")
    return lines + wrapped(
        "The share compares moments about the loaded centre of mass: fins near it have little moment of their "
        "own, and what they "
        "induce far behind it outweighs that; the authority table above has the moments themselves."
    )


def validity_section(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return where the model stops being trustworthy, for this vehicle."""
    aero, shape = aero_table(mission, stages), shape_of([mission.stage[i] for i in stages])
    air, _ = air_over(mission, np.array([mission.site.altitude]))
    mach_per_reynolds = float(air.viscosity[0] / (air.density[0] * air.sound[0])) / shape.length
    lines = [f"{_called(mission, stages)}: where the model stops being trustworthy"]
    lines += wrapped(
        f"Mach: theory below {observe.MACH_LIMIT:g} and above {observe.SONIC_LIMIT:g}; between them (transonic) the tables "
        "are interpolated and "
        f"nothing is known better than 25 %. The tables end at Mach {MACH_TOP:g}; heating and real gas are omitted."
    )
    lines += wrapped(
        f"Incidence: slender theory to {np.degrees(observe.INCIDENCE_LIMIT):.0f} deg; beyond, cross-flow and "
        "flat-plate forces, good to "
        "30 %; asymmetric vortices of the nose (beyond some 25 deg) are omitted."
    )
    lines += _from_behind(aero, shape, float(air.viscosity[0] / air.density[0]))
    for number, name in enumerate(fin_names(shape)):
        slow, fast = at_mach(aero, aero.fin, [SLOW, 2.0])[:, number]
        turned = mission.servo.deflection_limit if shape.fins[number].part.control else 0.0
        at_rest, moved = (_stall_degrees(slow, angle) for angle in (0.0, turned))
        lines += wrapped(
            f"Stall of {name}: begins at {at_rest:.1f} deg of incidence at Mach {SLOW}, "
            f"{_stall_degrees(fast, 0.0):.1f} deg at Mach 2" + (f"; at {max(moved, 0.0):.1f} deg with the fin at its stop" if turned else "") + "; +-4 deg."
        )
    lines += wrapped(
        f"Reynolds number on the length: {observe.LOW_REYNOLDS:.0e} to {observe.HIGH_REYNOLDS:.0e}, here Mach "
        f"{observe.LOW_REYNOLDS * mach_per_reynolds:.2g} to {observe.HIGH_REYNOLDS * mach_per_reynolds:.2g} at "
        "the site's ground. "
        "Every flight's summary says how long it was beyond these limits."
    )
    return lines


def _from_behind(aero, shape, viscosity: float) -> list[str]:
    """Return what is flown beyond 90 deg of incidence, and how well it is known. viscosity : kinematic, m^2/s."""
    force, moment = aero.body[0, [BodyColumn.S0_BACK, BodyColumn.S1_BACK]]
    return wrapped(
        f"Flow from behind (90 to 180 deg): Jorgensen (1977), the body's potential force at {moment / force:.3f} m; with no load "
        f"at all on the nose it would act at the base, {shape.length:.3f} m. Fins have their load a quarter chord from the "
        "trailing edge. Left out: vortices and wake of fins that then stand ahead, and the shadow of the body on panels in its "
        f"lee. The drag crisis of the cross flow, here from {CRISIS[0] * viscosity / aero.length:.0f} m/s across at the site's ground, may "
        "come at half or twice that speed: broadside, a factor of up to 3."
    )


def _stall_degrees(fin: np.ndarray, deflection: float) -> float:
    """Return the incidence (deg) in the panel's plane at which it begins to stall with a deflection (rad)."""
    sine = (fin[FinColumn.STALL] - fin[FinColumn.DW] * np.sin(deflection)) / fin[FinColumn.KW]
    return float(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def _said(source: sources.Source) -> str:
    return f"{source.formula} ({source.accuracy})"


def _called(mission: Mission, stages: Sequence[int]) -> str:
    return " + ".join(mission.stage[i].name for i in stages)

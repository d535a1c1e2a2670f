"""Fin flutter as a page in plain words: which set of fins is short of which margin, in which flights, and what would be enough."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.load import stored_mission
from sixdof.mission.page import indented, table, underlined, wrapped
from sixdof.mission.tables.materials import PROPERTIES
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table, plural
from sixdof.study.structure.flutter_flights import KINDS
from sixdof.study.structure.hinge_text import hinge_section, hinge_sentences
from sixdof.vehicle.geometry import shape_of

NEEDED = ("flutter_reserve", "margin_spread", "short_share", "required_margin", "critical_pressure")
SWEPT = math.radians(20.0)
STIFFER = ("plywood", "fibreglass", "aluminium", "titanium", "steel")  # of which fins are made, by shear modulus; carbon counts by its lay-up
_UNSAFE = (
    "The formula is NACA TN 4197 (Martin 1958) as printed. Near Mach 1 it is 1.55 times unsafe: a plate-like swept wing (AGARD 445.6, NASA TM 100492) "
    "fluttered in a wind tunnel at 1/1.55 of the speed it gives at Mach 0.96, 1/1.07 to 1/1.49 elsewhere. The margin demanded here lies 5 % above all six "
    "measured points, and nowhere below 1.25 (common practice, 1.2 to 1.5, is too little near Mach 1). One wing was measured, to Mach 1.14; beyond it 1.3 is "
    "a guess."
)
_LIMITS = (
    "What it is for: thin plates of one material, clamped along the root, without sweep, without weights or pods at the tip. A lay-up counts by its shear "
    "modulus alone (fibres at +-45 deg stiffen it several times, layers at 0/90 do not); a glued root, a slot, a crack or a hot, soft plate flutter earlier. "
    "Incidence, buffeting behind other fins, and the body's bending are left out."
)
_READ = (
    "Least V_f/V of each flight; demanded, Mach and time where the worst flight has least to spare. V_f/V is sqrt(q_f/q) at any height: the plate flutters at "
    "the dynamic pressure q_f, and the flights meet q at most."
)


def flutter_page(ds: xr.Dataset) -> str:
    """Return what `flutter` found as a page."""
    need_table(ds, "flutter_page", "workshop.flutter", *NEEDED)
    mission = stored_mission(ds.attrs["mission"])
    head = [ds.attrs["title"], f"Fin flutter along {plural(int(ds.attrs['flights']))} drawn, seed {ds.attrs['seed']}, over their whole timelines"]
    answer = [*_answers(ds, mission), *hinge_sentences(ds, mission), *_branches(ds)]
    weak = [
        _UNSAFE if not ds.attrs["own_margin"] else _UNSAFE.replace("The margin demanded here lies", "Your own margin is demanded; the usual one lies"),
        _LIMITS,
    ]
    weak += [*_outlines(ds, mission), *_typical(ds), *_notes(ds)]
    parts = [head, indented(answer), _table(ds), hinge_section(ds), ["What it means, and where it is weak", *indented(weak)], [LAST_LINE]]
    return "\n\n".join("\n".join(part) for part in parts if part)


def _answers(ds: xr.Dataset, mission) -> Iterator[str]:
    if not np.isfinite(ds["flutter_reserve"].values).any():
        yield f"Nothing is told: none of {plural(int(ds.attrs['flights']))} leaves the rail."
        return
    short = [k for k in range(ds.sizes["fins"]) if float(ds["short_share"][k]) > 0.0]
    for k in sorted(short, key=lambda k: -float(ds["short_share"][k])):
        yield from _short(ds.isel(fins=k), mission, k)
    fine = [k for k in range(ds.sizes["fins"]) if float(ds["short_share"][k]) == 0.0]
    if not fine:
        return
    k = min(fine, key=lambda k: float(ds["reserve_spread"][0, k]))
    one = ds.isel(fins=k)
    low, times = float(one["margin_spread"][0]), float(one["reserve_spread"][0])
    which = "No set of fins comes near flutter" if not short else "The other fins do not come near flutter"
    stays = f"flutter speed over airspeed stays above {low:.2f} in 95 % of flights, {times:.2f} times the margin demanded there"
    yield f'{which}: at the least, "{one["fins"].item()}", {stays}.'


def _short(one: xr.Dataset, mission, k: int) -> Iterator[str]:
    """Yield what to say of fins that are short of their margin in some flights."""
    name, part = one["fins"].item(), shape_of(mission.stage).fins[k].part
    row = _worst(one)
    reserve, kind = one["flutter_reserve"].values, KINDS[int(one["worst_kind"][row])]
    margin, beyond = float(one["worst_speed"][row] / one["worst_airspeed"][row]), float(one["flutter_share"])
    word = f"FLUTTER in {_percent(beyond)} of flights" if beyond > 0.0 else "come too near flutter"
    about = {"plate": "", "hinge": " about their hinge", "divergence": " (they diverge about their hinge)"}[kind]
    typical = "; with the typical shear modulus, at worst" if float(one["modulus_scatter"]) > 0.0 else ", at worst"
    yield (
        f'The fins "{name}" {word}{about}: in {_percent(one["short_share"])} of flights they fly faster than the margin demanded allows{typical} at '
        f"{float(one['worst_airspeed'][row]):.0f} m/s, Mach {float(one['worst_mach'][row]):.2f}, {float(one['worst_time'][row]):.1f} s and "
        f"{float(one['worst_height'][row]):.0f} m up, where the flutter speed is {float(one['worst_speed'][row]):.0f} m/s: "
        f"a margin of {margin:.2f} where {margin / reserve[row]:.2f} is demanded{_branch(one, row)}."
    )
    if kind == "plate" and float(one["reserve_spread"][0]) < 1.0:
        yield _enough(one, part)
    elif kind != "plate":
        yield "A stiffer hinge (shaft, horn, linkage), less play, or a hinge farther forward and weight ahead of it help."


def _enough(one: xr.Dataset, part) -> str:
    """Return what thickness or material would be enough: V_f goes as t^(3/2) and as sqrt(G)."""
    thick, modulus = 1e3 * float(one["thickness_needed"]), float(one["shear_modulus_needed"])
    stiff = [name for name in STIFFER if PROPERTIES[name].shear_modulus * (1.0 - 0.3) >= modulus]
    other = f" (typically {stiff[0]}, {PROPERTIES[stiff[0]].shear_modulus / 1e9:g} GPa)" if stiff else " (more than any usual material has)"
    now = f"{1e3 * part.thickness:.2g} mm now" if part.material is None else f"{1e3 * part.thickness:.2g} mm of {part.material} now"
    return (
        f"Enough in 95 % of flights: {math.ceil(10.0 * thick) / 10.0:.1f} mm thick ({now}; the speed goes as the thickness to 3/2), or a shear modulus of "
        f"{modulus / 1e9:.2g} GPa{other}, or less span: a smaller aspect ratio helps most. Then fly again: a heavier fin changes the flight."
    )


def _worst(one: xr.Dataset) -> int:
    return int(np.nanargmin(one["flutter_reserve"].values))


def _branch(one: xr.Dataset, row: int) -> str:
    branch = str(one["flight_branch"].values[row])
    return "" if branch == "nominal" else f" (a flight with {branch.replace(' + ', ', ')})"


def _branches(ds: xr.Dataset) -> Iterator[str]:
    """Yield which failures bring fins nearer to flutter than the nominal flights, and how near."""
    least = ds["branch_reserve"]
    if "nominal" not in ds["branch"].values or not np.isfinite(least.sel(branch="nominal").values).any():
        return
    usual = np.nanmin(least.sel(branch="nominal").values)
    worse = [(str(name), float(np.nanmin(np.append(least.sel(branch=name).values, np.inf)))) for name in ds["branch"].values if name != "nominal"]
    told = [f"{name} {value:.2f}" for name, value in worse if value < 0.9 * usual]
    if told:
        yield f"Nearer to flutter than in a nominal flight (margin over the one demanded, at the least; nominal {usual:.2f}): {', '.join(told[:5])}."


def _percent(share) -> str:
    value = 100.0 * float(share)
    return f"{value:.0f} %" if value >= 10.0 or value == 0.0 else f"{value:.1f} %"


def _table(ds: xr.Dataset) -> list[str]:
    rows = [["", "margin 5 %", "50 %", "95 %", "demanded", "at Mach", "at s", "q_f kPa", "q kPa", "short of it"]]
    for k, name in enumerate(ds["fins"].values):
        one = ds.isel(fins=k)
        if not np.isfinite(one["flutter_reserve"].values).any():
            rows.append([str(name), "not known"])
            continue
        row = _worst(one)
        margin = float(one["worst_speed"][row] / one["worst_airspeed"][row])
        low, middle, high = (f"{value:.2f}" for value in one["margin_spread"].values)
        met = float(one["critical_pressure"]) / np.nanmin(one["plate_margin"].values) ** 2 / 1e3
        asked = margin / float(one["flutter_reserve"][row])
        cells = [f"{asked:.2f}", f"{float(one['worst_mach'][row]):.2f}", f"{float(one['worst_time'][row]):.1f}"]
        rows.append([str(name), low, middle, high, *cells, f"{float(one['critical_pressure']) / 1e3:.0f}", f"{met:.1f}", _percent(one["short_share"])])
    return [*underlined(table(rows)), *wrapped(_READ)]


def _outlines(ds: xr.Dataset, mission) -> Iterator[str]:
    fins = shape_of(mission.stage).fins
    names = [str(name) for name in ds["fins"].values]
    other = [name for name, fin in zip(names, fins, strict=True) if fin.part.outline != "trapezoid"]
    if other:
        yield f"By the trapezoid of the same root chord, semispan and area, not by their own outline: {', '.join(other)}."
    swept = [name for name, fin in zip(names, fins, strict=True) if abs(fin.midchord_sweep) > SWEPT]
    if swept:
        yield f"Swept by more than 20 deg, which the formula knows nothing of (the measured wing was, by 45): {', '.join(swept)}."
    turned = [name for name, fin in zip(names, fins, strict=True) if fin.part.control]
    if turned:
        best = f"Turned by servos, so that the formula's clamped root is the best case: {', '.join(turned)}"
        yield f"{best}. What the hinge does is told above, or below why not."


def _typical(ds: xr.Dataset) -> Iterator[str]:
    typical = [str(name) for name, scatter in zip(ds["fins"].values, ds["modulus_scatter"].values, strict=True) if scatter > 0.0]
    if typical:
        yield (
            f"By the typical shear modulus of their material, common practice, which batches differ from by 30 % (15 % of speed; it is in the spread): "
            f"{', '.join(typical)}. Measure it (a strip's period in torsion), give shear_modulus, and its error in [disperse]."
        )


def _notes(ds: xr.Dataset) -> list[str]:
    return [f"Not told: {note}." for note in dict.fromkeys(ds.attrs["notes"].splitlines())]

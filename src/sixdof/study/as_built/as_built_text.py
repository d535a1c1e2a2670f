"""The vehicle as built, as a page in plain words: what disagrees, how sure it is, what to measure better, what goes into the file."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import SET_IN, indented, table, underlined
from sixdof.study.as_built.pasting import SHOWN, decimals, pasted
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import mission_of
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import part_masses

APART = 2.0  # standard deviations: what is further apart is named
CLOSE = 0.01  # m: parts as near as this to where mass is lacking are named
ALIKE = 0.05  # of an error: draws and first order that are closer agree
NAMES = {
    "mass": "mass",
    "cg": "centre of mass",
    "cg_y": "centre of mass, y",
    "cg_z": "centre of mass, z",
    "inertia_roll": "inertia, roll",
    "inertia_pitch": "inertia, pitch",
    "inertia_yaw": "inertia, yaw",
    "tilt_y": "thrust line, about y",
    "tilt_z": "thrust line, about z",
}
MORE = {
    "mass": "look for what no part stands for (glue, filler, paint, wiring, hardware) and for a part written too light",
    "inertia_roll": "mass sits further off the axis than written: outer walls, fins",
    "inertia_pitch": "mass sits further from the balance point than written: nose and tail",
    "inertia_yaw": "mass sits further from the balance point than written: nose and tail",
}
LESS = {
    "mass": "look for a part written too heavy, and for one that was not in as it was weighed",
    "inertia_roll": "mass sits nearer to the axis than written",
    "inertia_pitch": "mass sits nearer to the balance point than written",
    "inertia_yaw": "mass sits nearer to the balance point than written",
}


def as_built_page(ds: xr.Dataset) -> str:
    """Return what `as_built` found as a page."""
    lines = [ds.attrs["title"], "The vehicle as built, against what its parts add up to (stages without motors)", "", *indented(_answer(ds)), ""]
    for section in (_table, _budget, _swings, _fins, _into_the_file, _weak):
        found = section(ds)
        lines += [*found, ""] if found else []
    return "\n".join([*lines, LAST_LINE])


def name_of(quantity: str) -> str:
    """Return what a quantity is called on pages and figures."""
    return NAMES.get(quantity) or f"cant of {quantity.removeprefix('fin_cant of ')}"


def shown(value: float, unit: str, error: float, sign: str = "") -> str:
    """Return a number of a row in the unit that people read, to a hundredth of its error at most, without the unit."""
    _, size = SHOWN[unit]
    return f"{size * value:{sign}z.{min(decimals(size * error), 7)}f}"


def read_unit(unit: str) -> str:
    """Return the unit that people read for that of a row."""
    return SHOWN[unit][0].replace("*m^2", " m2")


# ---------------------------------------------------------------- the answer


def _answer(ds: xr.Dataset) -> list[str]:
    lines = [line for k in range(ds.sizes["row"]) for line in _disagreement(ds, k)]
    agreed = [_called(ds, k) for k in range(ds.sizes["row"]) if not _apart(ds, k)]
    if not lines:
        lines.append(f"What was measured agrees with the parts, to {APART:g} sd of what the mission draws and the measurement together.")
    elif agreed:
        lines.append(f"In agreement to {APART:g} sd: {', '.join(agreed)}.")
    left = sorted({str(stage.name) for stage in mission_of(ds, "report").stage} - set(map(str, ds["stage"].values)))
    if left:
        lines.append(f"Not measured: {', '.join(left)}.")
    return lines + [f"{remark}." for remark in ds.attrs["remarks"].split("\n") if remark]


def _apart(ds: xr.Dataset, k: int) -> bool:
    return bool(abs(float(ds["difference_by_guess"][k])) > APART)


def _called(ds: xr.Dataset, k: int) -> str:
    return f"{name_of(str(ds['quantity'].values[k]))} of {ds['stage'].values[k]}" if ds.attrs["stages"] > 1 else name_of(str(ds["quantity"].values[k]))


def _disagreement(ds: xr.Dataset, k: int) -> list[str]:
    """Return what is to be said of a row that is apart from the parts."""
    if not _apart(ds, k):
        return []
    one = ds.isel(row=k)
    quantity, unit, error, off = str(one["quantity"].values), str(one["unit"].values), float(one["error"]), float(one["difference"])
    by = f"{abs(float(one['difference_by_guess'])):.1f} sd of guess and measurement together"
    amount = f"{shown(abs(off), unit, error)} {read_unit(unit)}"
    if quantity == "mass":
        words = (MORE if off > 0 else LESS)[quantity]
        return [f"{_capital(_called(ds, k))}: {amount} {'more' if off > 0 else 'less'} than the parts, {by}{_where(ds, one)}; {words}."]
    if quantity == "cg":
        return [f"{_capital(_called(ds, k))}: {amount} further {'aft' if off > 0 else 'forward'} than by the parts, {by}; the static margin goes with it."]
    if quantity.startswith("inertia"):
        share = 100.0 * abs(off) / float(one["parts"])
        words = "the mass above, where it sits, makes it so" if _made_by_mass(ds, one) else (MORE if off > 0 else LESS)[quantity]
        return [f"{_capital(_called(ds, k))}: {share:.1f} % {'more' if off > 0 else 'less'} than by the parts, {by}; {words}."]
    if quantity.startswith("fin_cant"):
        has = f"the mission has {shown(float(one['parts']), unit, error)}"
        return [f"{_capital(_called(ds, k))}: {shown(float(one['value']), unit, error, '+')} deg on the mean, {has}, {by}."]
    return [f"{_capital(_called(ds, k))}: {shown(float(one['value']), unit, error, '+')} {read_unit(unit)}, {by}."]


def _where(ds: xr.Dataset, mass: xr.Dataset) -> str:
    """Return where the mass that the parts lack, or have too much, would sit, and the parts near by; "" where that is nowhere in the stage."""
    found = _place(ds, str(mass["stage"].values))
    if found is None:
        return ""
    station, sd = found
    mission, stage = mission_of(ds, "report"), str(mass["stage"].values)
    number = [one.name for one in mission.stage].index(stage)
    parts = [row for row in part_masses(mission, [number]) if row.kind not in ("case", "propellant")]
    near = [row.name for row in parts if abs(row.station - station) <= 0.5 * row.length + max(sd, CLOSE)] or [
        min(parts, key=lambda row: abs(row.station - station)).name
    ]
    return f", as if it sat at {1000.0 * station:.0f} mm (give or take {1000.0 * sd:.0f}; there: {', '.join(dict.fromkeys(near))})"


def _place(ds: xr.Dataset, stage: str) -> tuple[float, float] | None:
    """Return the station, and its standard deviation, of the mass by which a stage differs from its parts, from its balance point; None where there is none."""
    rows = [ds.sel(row=name) for name in (f"mass of {stage}", f"cg of {stage}") if name in ds["row"].values]
    if len(rows) < 2 or abs(float(rows[0]["difference"])) < 5.0 * float(rows[0]["error"]):
        return None
    mass, cg = rows
    extra = float(mass["difference"])
    station = (float(mass["value"]) * float(cg["value"]) - float(mass["parts"]) * float(cg["parts"])) / extra
    sd = math.hypot(float(mass["value"]) * float(cg["error"]), float(mass["error"]) * abs(float(cg["value"]) - station)) / abs(extra)
    stages = {one.name: one for one in mission_of(ds, "report").stage}
    return (station, sd) if 0.0 <= station <= shape_of([stages[stage]]).length else None


def _made_by_mass(ds: xr.Dataset, inertia: xr.Dataset) -> bool:
    """Tell whether the mass by which a stage differs, a point where it seems to sit, explains its inertia in pitch or yaw to 2 sd."""
    stage = str(inertia["stage"].values)
    found = _place(ds, stage)
    if found is None or str(inertia["quantity"].values) == "inertia_roll":
        return False
    mass, cg = ds.sel(row=f"mass of {stage}"), ds.sel(row=f"cg of {stage}")
    reduced = float(mass["parts"]) * float(mass["difference"]) / float(mass["value"])
    left = float(inertia["difference"]) - reduced * (found[0] - float(cg["parts"])) ** 2
    return abs(left) < APART * math.hypot(float(inertia["guess"]), float(inertia["error"]))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# ---------------------------------------------------------------- numbers


def _table(ds: xr.Dataset) -> list[str]:
    rows = [["", "", "measured", "sd", "parts", "difference", "sd of guess", "difference in sd"]]
    for k in range(ds.sizes["row"]):
        one = ds.isel(row=k)
        unit, error = str(one["unit"].values), float(one["error"])
        guess = float(one["guess"])
        cells = [shown(float(one["value"]), unit, error), shown(error, unit, error), shown(float(one["parts"]), unit, error)]
        cells += [shown(float(one["difference"]), unit, error, "+"), shown(guess, unit, max(guess, error)) if guess else "none"]
        by = float(one["difference_by_guess"])
        rows.append([_called(ds, k), read_unit(unit), *cells, f"{by:+z.1f}" if math.isfinite(by) else ""])
    note = "The last column is the difference over guess (what [disperse] draws) and measurement together."
    return [*underlined(table(rows, words=2)), *indented([note])]


def _budget(ds: xr.Dataset) -> list[str]:
    rows = [["how sure, and which reading to improve first", "sd", "first", "", "then", ""]]
    for k in range(ds.sizes["row"]):
        one = ds.isel(row=k)
        order = [j for j in np.argsort(-one["budget"].values)[:2] if float(one["budget"][j]) >= 0.005]
        cells = [cell for j in order for cell in (str(one["reading"].values[j]), f"{100.0 * float(one['budget'][j]):.0f} %")]
        rows.append([_called(ds, k), _sure(one), *cells, *[""] * (4 - len(cells))])
    off = np.abs(ds["drawn_error"].values / np.where(ds["error"].values > 0.0, ds["error"].values, np.nan) - 1.0)
    worst = float(np.nanmax(off)) if np.isfinite(off).any() else 0.0
    agree = f"Errors are to first order; {ds.attrs['drawn']} draws of every reading give the same to {100.0 * worst:.0f} %."
    apart = f"Errors to first order and by {ds.attrs['drawn']} draws differ by up to {100.0 * worst:.0f} %: something here is far from linear."
    return [*underlined(_wordy(rows)), *indented([agree if worst < ALIKE else apart])]


def _wordy(rows: list[list[str]]) -> list[str]:
    """Return a table whose columns of words and of shares alternate, words flush left."""
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    left = (0, 2, 4)
    return [(SET_IN + "  ".join(f"{cell:<{w}}" if k in left else f"{cell:>{w}}" for k, (cell, w) in enumerate(zip(row, wide)))).rstrip() for row in rows]


def _sure(one: xr.Dataset) -> str:
    unit, error, value = str(one["unit"].values), float(one["error"]), float(one["value"])
    if unit in ("kg", "kg m2"):
        return f"{100.0 * error / abs(value):.2g} %"
    return f"{shown(error, unit, error)} {read_unit(unit)}"


def _swings(ds: xr.Dataset) -> list[str]:
    if not ds.sizes["swing"]:
        return []
    rows = [["each swing by itself", "kg m2", "sd", "air that swings along"]]
    for k in range(ds.sizes["swing"]):
        one = ds.isel(swing=k)
        error = float(one["swing_error"])
        air = float(one["swing_air"])
        cells = [shown(float(one["swing_value"]), "kg m2", error), shown(error, "kg m2", error), f"{100.0 * air:.1f} %" if air else ""]
        rows.append([str(one["swing"].values), *cells])
    return [*underlined(table(rows)), *indented(_disagreeing(ds))]


def _disagreeing(ds: xr.Dataset) -> list[str]:
    """Return what is to be said of swings about the same axis that disagree. Errors they share are counted twice: they are a little more apart than said."""
    lines = []
    for name in dict.fromkeys(map(str, ds["swing_row"].values)):
        own = np.flatnonzero(ds["swing_row"].values == name)
        value, error = ds["swing_value"].values[own], ds["swing_error"].values[own]
        if len(own) > 1:
            by = float(np.ptp(value)) / math.hypot(*error[[np.argmin(value), np.argmax(value)]])
            what = f"The swings of {name.replace('_', ' ')} are {by:.1f} sd apart"
            lines.append(f"{what}: combined by their errors." if by <= APART + 1.0 else f"{what}: one of them is wrong; time and measure both again.")
    return lines


def _fins(ds: xr.Dataset) -> list[str]:
    if not ds.sizes["panel"]:
        return []
    lines = []
    sets = list(dict.fromkeys(zip(map(str, ds["panel_stage"].values), map(str, ds["panel_set"].values))))
    for stage, own in sets:
        angles = np.degrees(ds["panel_angle"].values[(ds["panel_stage"].values == stage) & (ds["panel_set"].values == own)])
        listed = ", ".join(f"fin {j + 1} {angle:+.2f}" for j, angle in enumerate(angles))
        worst = int(np.argmax(np.abs(angles)))
        scatter = f", scatter {np.std(angles, ddof=1):.2f} deg" if len(angles) > 1 else ""
        lines.append(f"{own} of {stage}: {listed} deg; mean {angles.mean():+.2f} deg{scatter}. Fin {worst + 1} is furthest from the axis.")
    return ["Fins, positive where the panel alone rolls the vehicle positive", *indented(lines)]


# ---------------------------------------------------------------- the file, and what is weak


def _into_the_file(ds: xr.Dataset) -> list[str]:
    mission = mission_of(ds, "report")
    head = "To paste into the mission file, in place of what stands there (python -m sixdof built ... --out FILE writes a whole one)"
    return [head, "", *(f"{SET_IN}{SET_IN}{line}".rstrip() for line in pasted(mission, ds))]


def _weak(ds: xr.Dataset) -> list[str]:
    lines = ["Errors count as given: a support, a pivot or a string read off the wrong mark is in none of them. Measure the nose tip's place twice."]
    if ds.sizes["swing"]:
        lines.append("Strings are taken as vertical, parallel, alike and without mass, the body as rigid and level; large or wandering swings are none of it.")
        if float(ds["swing_air"].max()) > 0.0:
            most = f"{100.0 * float(ds['swing_air'].max()):.1f} %"
            what = f"Air that swings along (slender-body apparent mass, up to {most}; fins move some more)"
            lines.append(f"{what} is not taken off: the measured inertia is too large by it.")
    quantities = {str(name) for name in ds["quantity"].values}
    sets = [name for name in quantities if name.startswith("fin_cant")]
    if sets:
        lines.append("The mission has one cant a set: the mean flies, the scatter among the panels does not. A stage's sets share one drawn error.")
    if quantities & {"cg_y", "cg_z", "tilt_y", "tilt_z"}:
        lines.append("A centre off the axis and a thrust line off it fly in drawn flights alone: as means of their spreads.")
    lines.append("Products of inertia stay those of the parts. What is written as motor, case and propellant is the mission's: weigh these too.")
    return ["Where this is weak", *indented(lines)]

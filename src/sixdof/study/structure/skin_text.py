"""Skin temperatures as a page in plain words: what gets too hot, in which flights, and what would help."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, underlined, wrapped
from sixdof.mission.tables.materials import PROPERTIES
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table, plural

ZERO = 273.15  # K
NEEDED = ("skin_temperature", "wall_temperature", "service_temperature", "soft_share", "skin_band")
_SOURCES = (
    "Recovery temperature T (1 + r 0.2 M^2), r of 0.84 laminar, 0.89 turbulent (from a Reynolds number of 500,000 on), 1 at the tip. Films: Eckert's reference "
    "temperature (1955) on bodies, a quarter of their length aft; Sibulkin (1952) at the tip, Reshotko and Cohen (NACA TN 3513) on leading edges; good to some "
    "20 to 30 % in smooth flow. The wall is a slab, insulated inside: heat goes in through its thickness alone, and 0.85 of a black body's radiation leaves."
)
_LIMITS = (
    "Not in it: the sun before the flight (a dark airframe stands 20 to 30 K above the air: say initial), the motor's heat from inside and its plume, "
    "roughness, steps and fins' roots, where films are up to twice as strong, shocks that meet the skin, glue lines. Service temperatures are typical ones of "
    "a material (common practice); a print softens earlier where it is thin or hollow."
)


def skin_page(ds: xr.Dataset) -> str:
    """Return what `skin_temperature` found as a page."""
    need_table(ds, "skin_page", "workshop.skin_temperature", *NEEDED)
    head = [ds.attrs["title"], f"Skin temperature along {plural(int(ds.attrs['flights']))} drawn, seed {ds.attrs['seed']}"]
    weak = [_SOURCES, *_tip(ds), _LIMITS, *(f"Not told: {note}." for note in dict.fromkeys(ds.attrs["notes"].splitlines()))]
    parts = [head, indented([*_answers(ds), *_branches(ds)]), _table(ds), ["What it means, and where it is weak", *indented(weak)], [LAST_LINE]]
    return "\n\n".join("\n".join(part) for part in parts if part)


def _celsius(values) -> float:
    return float(values) - ZERO


def _answers(ds: xr.Dataset) -> Iterator[str]:
    if not np.isfinite(ds["skin_temperature"].values).any():
        yield f"Nothing is told: none of {plural(int(ds.attrs['flights']))} leaves the rail."
        return
    soft = [k for k in range(ds.sizes["wall"]) if float(ds["soft_share"][k]) > 0.0]
    for k in sorted(soft, key=lambda k: (-float(ds["hot_share"][k]), -float(ds["soft_share"][k]))):
        yield _too_hot(ds.isel(wall=k))
    if not soft:
        k = int(np.nanargmin(np.nanmin(ds["service_temperature"].values - ds["skin_temperature"].values, axis=0)))
        one = ds.isel(wall=k)
        most, bears = _celsius(np.nanmax(one["skin_temperature"].values)), _celsius(one["service_temperature"])
        nearest = f"Nothing gets too hot: the nearest is {one['wall'].item()}, whose surface reaches {most:.0f} degC at most"
        yield f"{nearest}; {one['material'].item()} bears {bears:.0f} degC."


def _branches(ds: xr.Dataset) -> Iterator[str]:
    """Yield which failures make the skin hotter than in nominal flights, and by how much."""
    least = ds["branch_reserve"]
    if "nominal" not in ds["branch"].values or not np.isfinite(least.sel(branch="nominal").values).any():
        return
    usual = np.nanmin(least.sel(branch="nominal").values)
    told = [(str(name), float(np.nanmin(np.append(least.sel(branch=name).values, np.inf)))) for name in ds["branch"].values if name != "nominal"]
    worse = [f"{name} ({usual - value:.0f} K)" for name, value in told if value < usual - 2.0]
    if worse:
        yield f"Nearer to what it bears than in a nominal flight, by as much: {', '.join(worse[:5])}."


def _too_hot(one: xr.Dataset) -> str:
    surface, mean = (one[name].values for name in ("skin_temperature", "wall_temperature"))
    row, bears, material = int(np.nanargmax(surface)), _celsius(one["service_temperature"]), one["material"].item()
    share, through = (100.0 * float(one[name]) for name in ("soft_share", "hot_share"))
    branch = str(one["flight_branch"].values[row])
    where = f" (a flight with {branch.replace(' + ', ', ')})" if branch != "nominal" else ""
    what = f"{one['wall'].item()}, {material}: in {share:.0f} % of flights the surface passes the {bears:.0f} degC that it bears, at worst "
    what += f"{_celsius(surface[row]):.0f} degC {float(one['skin_time'][row]):.1f} s after ignition{where}; "
    if through > 0.0:
        what += f"in {through:.0f} % so does the wall on average through its thickness (at worst {_celsius(np.nanmax(mean)):.0f} degC): it softens. "
    else:
        what += f"through its thickness it stays at {_celsius(np.nanmax(mean)):.0f} degC or less, so that it glazes and does not give way. "
    return what + _better(one, float(np.nanmax(surface)))


def _better(one: xr.Dataset, hottest: float) -> str:
    """Return what would bear it."""
    if one["wall"].item().endswith("edge"):
        return "A blunter edge, or one of metal, bears more."
    better = [name for name in ("polycarbonate", "fibreglass", "aluminium", "titanium") if PROPERTIES[name].service_temperature > hottest + 10.0]
    return f"One of {better[0]} would bear it." if better else "No usual material bears it."


def _table(ds: xr.Dataset) -> list[str]:
    rows = [["", "material", "surface 5 %", "50 %", "95 %", "wall 95 %", "air 95 %", "bears", "kW/m^2", "at s", "too hot in"]]
    for k, name in enumerate(ds["wall"].values):
        one = ds.isel(wall=k)
        if not np.isfinite(one["skin_temperature"].values).any():
            continue
        cells = [f"{value - ZERO:.0f}" for value in np.nanquantile(one["skin_temperature"].values, (0.05, 0.5, 0.95))]
        cells += [f"{np.nanquantile(one[key].values, 0.95) - ZERO:.0f}" for key in ("wall_temperature", "recovery_temperature")]
        flux, at = np.nanquantile(one["heat_flux"].values, 0.95) / 1e3, float(np.nanmedian(one["skin_time"].values))
        share = 100.0 * float(one["soft_share"])
        rows.append([str(name), one["material"].item(), *cells, f"{_celsius(one['service_temperature']):.0f}", f"{flux:.1f}", f"{at:.1f}", f"{share:.0f} %"])
    text = "degC, the largest of each flight: of the outer surface, of the wall on average through its thickness, and of the air that drives it (recovery)."
    return [*underlined(table(rows, words=2)), *wrapped(text)] if rows[1:] else []


def _tip(ds: xr.Dataset) -> Iterator[str]:
    radius = ds.attrs["tip_radius"]
    if math.isnan(radius):
        return
    whose = "a guess, a twentieth of the base's: say tip_radius" if ds.attrs["tip_assumed"] else "as given"
    yield f"The tip's radius is {1e3 * radius:.1f} mm ({whose}); a film goes as one over its root, and a sharper tip gets hotter."

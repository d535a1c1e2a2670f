"""What all drawn flights say of every set of fins together: quantiles, what would be enough, bands over time, the flight nearest to flutter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np
import xarray as xr

from sixdof.draws.drawn import path_names
from sixdof.mission.tables.materials import SCATTER
from sixdof.study.reading.result import QUANTILES, meaningful
from sixdof.study.structure.flutter_flights import KINDS, Fins, Found
from sixdof.study.structure.flutter_speed import modulus_needed, thickness_needed

TIMES, ROWS = 160, 400  # of the bands over time, and of the flight with the least reserve
# a material's typical shear modulus is known to 30 % (two standard deviations of a normal, in equal shares of probability)
MODULI = 1.0 + 0.5 * SCATTER * np.array([NormalDist().inv_cdf((k + 0.5) / 40) for k in range(40)])


def summary(study: Fins, ensemble: xr.Dataset, found: list[list[Found]]) -> xr.Dataset:
    two = ("flight", "fins")

    told = meaningful(ensemble)

    def column(name: str) -> np.ndarray:
        values = np.array([[getattr(one, name) for one in flight] for flight in found])
        return values if name == "kind" else np.where(told[:, None], values, np.nan)

    plate, hinge = column("plate"), column("hinge")
    named = {
        "flutter_margin": (np.fmin(plate, hinge), "1", "least flutter speed over airspeed"),
        "plate_margin": (plate, "1", "least flutter speed over airspeed, plate clamped at its root (NACA TN 4197)"),
        "hinge_flutter_margin": (hinge, "1", "least flutter speed over airspeed, bending and turning about the hinge"),
        "hinge_divergence_margin": (column("divergence"), "1", "least divergence speed over airspeed, turning about the hinge"),
        "flutter_reserve": (column("reserve"), "1", "least margin over the margin demanded"),
        "worst_time": (column("time"), "s", "time of the least reserve"),
        "worst_mach": (column("mach"), "1", "Mach number at the least reserve"),
        "worst_height": (column("height"), "m", "height above ground at the least reserve"),
        "worst_airspeed": (column("airspeed"), "m/s", "airspeed at the least reserve"),
        "worst_speed": (column("speed"), "m/s", "flutter speed at the least reserve"),
        "shear_modulus": (column("modulus"), "Pa", "shear modulus"),
        "cycle_amplitude": (column("cycle"), "rad", "amplitude of the limit cycle that free play allows"),
    }
    entries = {name: (two, values, {"units": units, "long_name": text}) for name, (values, units, text) in named.items()}
    kinds = column("kind").astype(np.int8)
    entries["worst_kind"] = (
        two,
        kinds,
        {"units": "1", "long_name": "what the least reserve is of", "flag_values": [0, 1, 2], "flag_meanings": " ".join(KINDS)},
    )
    entries["flight_branch"] = ("flight", ensemble["branch"].values.astype(str), {"units": "1", "long_name": "failures of the flight, joined by +, or nominal"})
    entries |= _by_fins(study, column("reserve"), entries["flutter_margin"][1]) | _bands(found) | _fastest(study, found, column("reserve"))
    coords = {
        "flight": ("flight", ensemble["flight"].values),
        "fins": ("fins", study.names, {"long_name": "set of fins"}),
        "share": ("share", list(QUANTILES), {"long_name": "quantile"}),
    }
    return xr.Dataset(entries, coords)


def by_branch(branches: Sequence[str], values: np.ndarray, name: str, dim: str, units: str) -> dict:
    """Return the least of values (flights, n) in each branch of failures, as the variable `name` (branch, dim); nominal first, then the worst first."""
    names = list(dict.fromkeys(str(one) for one in branches))
    least = {one: np.min(values[np.array([str(other) == one for other in branches])], axis=0) for one in names}
    names.sort(key=lambda one: (one != "nominal", np.nanmin(np.append(least[one], np.inf))))
    text = "least of the flights in which this failed"
    return {
        name: (("branch", dim), np.array([least[one] for one in names]), {"units": units, "long_name": text}),
        "branch": ("branch", names, {"long_name": "failures of the flight, joined by +, or nominal"}),
    }


def _by_fins(study: Fins, reserve: np.ndarray, margin: np.ndarray) -> dict:
    parts = [fin.part for fin in study.shape.fins]
    drawn = [any(name.endswith("shear_modulus") for name in path_names(study.mission))] * len(parts)
    typical = [part.shear_modulus is None and not own for part, own in zip(parts, drawn, strict=True)]
    rows = {"reserve_spread": [], "margin_spread": [], "short_share": [], "flutter_share": [], "thickness_needed": [], "shear_modulus_needed": []}
    for k, part in enumerate(parts):
        factor = np.sqrt(MODULI) if typical[k] else np.ones(1)
        known = np.isfinite(reserve[:, k])
        spread, margins = ((values[known, k, None] * factor).ravel() for values in (reserve, margin))
        rows["short_share"].append(float((spread < 1.0).mean()) if spread.size else math.nan)
        rows["flutter_share"].append(float((margins < 1.0).mean()) if margins.size else math.nan)
        for name, values in (("reserve_spread", spread), ("margin_spread", margins)):
            rows[name].append(np.quantile(values, QUANTILES) if values.size else np.full(len(QUANTILES), np.nan))
        low, plate = float(rows["reserve_spread"][-1][0]), study.plates[k]
        rows["thickness_needed"].append(thickness_needed(part.thickness, low))
        rows["shear_modulus_needed"].append(modulus_needed(plate.shear_modulus, low) if plate else math.nan)
    about = {
        "reserve_spread": ("1", "least margin over the margin demanded, with the scatter of the shear modulus"),
        "margin_spread": ("1", "least flutter speed over airspeed, with the scatter of the shear modulus"),
        "short_share": ("1", "share of flights short of the margin demanded, with the scatter of the shear modulus"),
        "flutter_share": ("1", "share of flights that fly beyond the flutter speed itself, with the scatter of the shear modulus"),
        "thickness_needed": ("m", "thickness that is enough in 95 % of flights"),
        "shear_modulus_needed": ("Pa", "shear modulus that is enough in 95 % of flights"),
    }
    entries = {}
    for name, (units, text) in about.items():
        spread = name.endswith("spread")
        entries[name] = (("share", "fins") if spread else "fins", np.array(rows[name]).T if spread else rows[name], {"units": units, "long_name": text})
    pressures = [plate.critical_pressure if plate else math.nan for plate in study.plates]
    entries["critical_pressure"] = ("fins", pressures, {"units": "Pa", "long_name": "dynamic pressure at which the plate flutters (NACA TN 4197)"})
    entries["thickness"] = ("fins", [part.thickness for part in parts], {"units": "m", "long_name": "thickness"})
    entries["modulus_scatter"] = ("fins", [SCATTER * own for own in typical], {"units": "1", "long_name": "scatter of the shear modulus, either way"})
    frequencies = [table.frequencies if (table := study.table_of(k)) else np.full(2, np.nan) for k in range(len(parts))]
    entries["hinge_frequency"] = (
        ("fins", "motion"),
        frequencies,
        {"units": "Hz", "long_name": "frequency of turning and bending in still air, the lower first"},
    )
    entries["control"] = ("fins", [int(part.control) for part in parts], {"units": "1", "long_name": "whether servos turn the fins"})
    return entries


def _bands(found: list[list[Found]]) -> dict:
    """Return quantiles of airspeed, flutter speed and margin over time, to where half of the flights are past their apogee or slow."""
    ends = [one.air.time[np.argmax(one.air.height)] for flight in found for one in flight if one.air.time.size]
    grid = np.linspace(0.0, float(np.median(ends)) if ends else 1.0, TIMES)
    count = len(found[0])
    bands = {name: np.full((len(QUANTILES), count, TIMES), np.nan) for name in ("airspeed_band", "flutter_speed_band", "margin_band")}
    for k in range(count):
        tracks = [flight[k] for flight in found if flight[k].air.time.size > 1 and np.isfinite(flight[k].reserve)]
        for name, values in (
            ("airspeed_band", [one.air.airspeed for one in tracks]),
            ("flutter_speed_band", [one.limit for one in tracks]),
            ("margin_band", [one.limit / one.air.airspeed for one in tracks]),
        ):
            rows = [np.interp(grid, one.air.time, value, left=np.nan, right=np.nan) for one, value in zip(tracks, values, strict=True)]
            bands[name][:, k] = _quantiles(np.array(rows).reshape(-1, TIMES))
    text = {"airspeed_band": ("m/s", "airspeed"), "flutter_speed_band": ("m/s", "flutter speed"), "margin_band": ("1", "flutter speed over airspeed")}
    entries = {
        name: (("share", "fins", "time"), values, {"units": text[name][0], "long_name": f"{text[name][1]}, quantiles of the flights"})
        for name, values in bands.items()
    }
    return entries | {"time": ("time", grid, {"units": "s", "long_name": "time since ignition"})}


def _quantiles(rows: np.ndarray) -> np.ndarray:
    """Return quantiles (share, n) of rows (flights, n), NaN where fewer than half of the flights have a value."""
    enough = np.isfinite(rows).mean(axis=0) >= 0.5 if len(rows) else np.zeros(rows.shape[1], dtype=bool)
    found = np.full((len(QUANTILES), rows.shape[1]), np.nan)
    if enough.any():
        found[:, enough] = np.nanquantile(rows[:, enough], QUANTILES, axis=0)
    return found


def _fastest(study: Fins, found: list[list[Found]], reserve: np.ndarray) -> dict:
    """Return the track of the flight with the least reserve of each set of fins, thinned to a fixed number of rows up to its least speed aloft."""
    names = ("time", "mach", "height", "airspeed", "flutter_speed", "required")
    tracks, numbers = np.full((len(names), len(study.names), ROWS), np.nan), []
    for k in range(len(study.names)):
        known = np.isfinite(reserve[:, k])
        best = int(np.nanargmin(np.where(known, reserve[:, k], np.inf)))
        numbers.append(best)
        one = found[best][k]
        if not known.any() or one.air.time.size < 2:
            continue
        end = max(int(np.argmax(one.air.height)), int(np.searchsorted(one.air.time, one.time)) + 1)
        rows = np.unique(np.linspace(0, min(end, one.air.time.size - 1), ROWS).astype(int))
        demanded_there = one.limit / np.interp(one.air.mach, *study.required)
        for i, values in enumerate((one.air.time, one.air.mach, one.air.height, one.air.airspeed, one.limit, demanded_there)):
            tracks[i, k, : rows.size] = values[rows]
    texts = {
        "time": ("s", "time since ignition"),
        "mach": ("1", "Mach number"),
        "height": ("m", "height above ground"),
        "airspeed": ("m/s", "airspeed"),
        "flutter_speed": ("m/s", "flutter speed"),
        "required": ("m/s", "flutter speed over the margin demanded"),
    }
    entries = {
        f"track_{name}": (("fins", "row"), tracks[i], {"units": texts[name][0], "long_name": f"{texts[name][1]}, flight with the least reserve"})
        for i, name in enumerate(names)
    }
    return entries | {"fastest": ("fins", numbers, {"units": "1", "long_name": "row of the flight with the least reserve"})}

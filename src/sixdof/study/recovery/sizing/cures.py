"""Where one diameter cannot keep both speed and drift: a lower main, a reefed canopy, a drogue first; each is flown."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.errors import MissionError
from sixdof.mission.mission import Mission
from sixdof.study.recovery.deployment_flights import part_place
from sixdof.study.recovery.sizing.flights import Limits, diameter_for
from sixdof.study.recovery.zipper import stage_of

LOWER = (0.8, 0.65, 0.5, 0.4)  # of the height at which the canopy comes out as written
LEAST_HEIGHT = 50.0  # m: a canopy that fills lower may not have filled
SMALLER = 0.4  # times the drag area of a drogue
FAST = 18.3  # m/s, 60 ft/s: what a drogue usually lets a vehicle fall with (common practice)
MAIN_HEIGHT = 150.0  # m, of a main behind a drogue (common practice: 100 to 200 m)
DROGUE_CD, DROGUE_MASS = 0.75, 0.15  # of a flat circular canopy; of the main's mass (ours)


def cures_of(mission: Mission, study, ds: xr.Dataset, limits: Limits, share: float) -> dict:
    """Return what was flown to keep both, along `cure`; nothing where no drift is asked for or the diameter taken keeps it.

    study : flies diameters (see `canopy_size.py`). ds : what is known of the sizes.
    """
    if not np.isfinite(limits.drift):
        return {}
    rows: list[tuple] = []
    for k, name in enumerate(study.names):
        if float(ds["taken_both_share"][k]) >= share - 1e-9 or not np.isfinite(float(ds["needed_diameter"][k])):
            continue
        for text, changed, more in _tried(mission, ds, name, k, limits.speed):
            try:
                flown, _ = study.fly([ds["taken_diameter"].values], changed, more)
            except MissionError:  # a setting that this mission cannot have
                continue
            opened = flown["opened"][k, 0]
            slow, near = opened & limits.soft(flown)[k, 0], opened & limits.near(flown)[k, 0]
            count = max(int(opened.sum()), 1)
            reach = float(np.nanquantile(flown["drift"][k, 0], 0.95)) if opened.any() else np.nan
            rows.append((text, name, slow.sum() / count, near.sum() / count, (slow & near).sum() / count, opened.mean(), reach))
    if not rows:
        return {}
    columns = list(zip(*rows, strict=True))
    said = ("keep descent speed and energy", "keep the drift", "keep all that is asked for")
    shares = {
        f"cure_{what}_share": ("cure", list(columns[2 + i]), _one(f"share of the flights that {said[i]}")) for i, what in enumerate(("speed", "drift", "both"))
    }
    shares["cure_opened_share"] = ("cure", list(columns[5]), _one("share of the flights that land under the canopy"))
    shares["cure_drift"] = ("cure", list(columns[6]), {"units": "m", "long_name": "drift from apogee to the ground that 95 % of the flights stay below"})
    return shares | {"cure": ("cure", list(columns[0]), {"long_name": "what was flown to keep both"}), "cure_canopy": ("cure", list(columns[1]))}


def _one(text: str) -> dict[str, str]:
    return {"units": "1", "long_name": text}


def _tried(mission: Mission, ds: xr.Dataset, name: str, k: int, speed: float):
    """Yield (text, mission, conditions) of what may keep both."""
    entries = [(i, one) for i, one in enumerate(mission.recovery) if one.canopy == name]
    low = next(((i, one.height) for i, one in entries if one.when == "falling_through"), None)
    if low is not None:
        for lower in LOWER:
            height = round(lower * low[1] / 5.0) * 5.0
            if height >= LEAST_HEIGHT:
                yield f"{name} comes out at {height:g} m above ground instead of {low[1]:g} m", None, {f"recovery.{low[0]}.height": height}
        yield from _faster(mission, name, low)
        return
    if len(entries) != 1 or entries[0][1].when != "apogee":
        return
    mass, density = (float(np.nanmedian(ds[f"written_{what}"].values[k])) for what in ("hanging_mass", "ground_density"))
    yield _reefed(mission, ds, name, k, speed)
    yield _with_drogue(mission, name, entries[0][0], mass, density)


def _faster(mission: Mission, name: str, low: tuple[int, float]):
    """Yield a smaller canopy ahead of this one, the first of its stage, and this one as high as written and lower."""
    own = [part for part in mission.stage[stage_of(mission, name)].part if part.kind == "parachute" and part.name != name]
    first = {one.canopy for one in mission.recovery if one.when == "apogee"}
    for part in [part for part in own if part.name in first][:1]:
        less, faster = SMALLER**0.5, SMALLER**-0.5
        said = f"{part.name} of {100.0 * part.diameter * less:.0f} cm instead of {100.0 * part.diameter:.0f} cm (the fall is {faster:.1f} times as fast)"
        smaller = {f"canopy.drag of {part.name}": SMALLER}
        yield said, None, smaller
        height = round(LOWER[-2] * low[1] / 5.0) * 5.0
        if height >= LEAST_HEIGHT:
            yield f"{said}, and {name} at {height:g} m above ground", None, smaller | {f"recovery.{low[0]}.height": height}


def _reefed(mission: Mission, ds: xr.Dataset, name: str, k: int, speed: float) -> tuple[str, None, dict[str, Any]]:
    """Return the canopy reefed to the drag area that falls as fast as a drogue, until of nearly all flights a main's usual height is left."""
    ratio = min((speed / FAST) ** 2, 1.0)
    height = float(np.nanquantile(ds["written_deployment_height"].values[k], 0.05))
    time = max((height - MAIN_HEIGHT) / FAST, 1.0)
    place = part_place(mission, name)
    more = {f"{place}.reefing_ratio": round(ratio, 3), f"{place}.reefing_time": round(time, 1)}
    return f"{name} reefed to {100.0 * ratio:.0f} % of its drag area for {time:.0f} s", None, more


def _with_drogue(mission: Mission, name: str, entry: int, mass: float, density: float) -> tuple[str, Mission, dict[str, Any]]:
    """Return a drogue that comes out as the canopy did, and the canopy at a height."""
    stage = stage_of(mission, name)
    diameter = diameter_for(mass, FAST, DROGUE_CD, density)
    own = next(part for part in mission.stage[stage].part if part.kind == "parachute" and part.name == name)
    drogue = {"kind": "parachute", "name": f"drogue ahead of {name}", "mass": DROGUE_MASS * own.mass, "station": own.station}
    drogue |= {"diameter": diameter, "drag_coefficient": DROGUE_CD, "fill_time": 0.5 * own.fill_time, "deployment_delay": own.deployment_delay}
    first = mission.recovery[entry].model_dump(exclude_none=True) | {"canopy": drogue["name"]}
    changed = mission.add(f"stage.{stage}.part", drogue).add("recovery", first)
    changed = changed.change({f"recovery.{entry}": {"canopy": name, "when": "falling_through", "height": MAIN_HEIGHT}})
    return f"a drogue of {100.0 * diameter:.0f} cm comes out at apogee, {name} at {MAIN_HEIGHT:g} m above ground", changed, {}

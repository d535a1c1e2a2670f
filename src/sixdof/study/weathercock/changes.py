"""Changes of a mission that the turn into the wind is asked about: fins locked or live, no tip-off, ballast, fins, rail."""

from __future__ import annotations

import math

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.world.wind import mean_wind

AS_WRITTEN, LOCKED, LIVE = "as written", "locked", "live from the rail"
MISALIGNED = ("motor.tilt_y", "motor.tilt_z", "motor.offset_y", "motor.offset_z", "vehicle.cg_y", "vehicle.cg_z")
NEVER = 70e3  # m: a rule that waits for this height never acts in the climb
CLOSE = 1e-3  # m between guides that leave together
CONDITIONS = ("tilt_below", "speed_above", "speed_below", "height_above", "height_below", "booster", "after", "before", "timeout", "threshold")


def fin_variants(mission: Mission) -> dict[str, Mission]:
    """Return the mission as written and, where event rules make control fins live, with fins locked and with fins live from the rail on."""
    found = {AS_WRITTEN: mission}
    rules = [k for k, rule in enumerate(mission.rule) if rule.action == "enable_fins"]
    steered = any(part.kind == "fins" and part.control for stage in mission.stage for part in stage.part)
    if not rules or not steered:
        return found
    found[LOCKED] = mission.change({f"rule.{k}.height_above": NEVER for k in rules})
    first = {f"rule.{rules[0]}.{name}": None for name in CONDITIONS}
    found[LIVE] = mission.change({**first, f"rule.{rules[0]}.when": "rail_departure", f"rule.{rules[0]}.delay": 0.0, f"rule.{rules[0]}.stage": None})
    return found


def without_tip_off(mission: Mission) -> Mission | None:
    """Return the mission with its fore rail guide moved to the aft one, so that both leave at once and nothing pivots; None where it has no two.

    The exit speed stays; a guide's few grams move from one place to the other.
    """
    guides = [(k, j, part) for k, stage in enumerate(mission.stage) for j, part in enumerate(stage.part) if part.kind == "rail_guide"]
    if len(guides) < 2:
        return None
    aft_stage, _, aft = max(guides, key=lambda one: (one[0], one[2].station))
    fore_stage, fore_place, fore = min(guides, key=lambda one: (one[0], one[2].station))
    place = aft.station - CLOSE
    if fore_stage == aft_stage:
        return mission.change({f"stage.{fore_stage}.part.{fore_place}.station": place})
    moved = fore.model_copy(update={"station": place})
    return mission.add(f"stage.{aft_stage}.part", moved).remove(f"stage.{fore_stage}.part.{fore_place}")  # never less than two


def with_semispan(mission: Mission, factor: float) -> Mission:
    """Return the mission with the semispan of the aft-most fixed fins times a factor; of control fins where there are no others."""
    k, j = aft_fins(mission)
    return mission.change({f"stage.{k}.part.{j}.semispan": mission.stage[k].part[j].semispan * factor})


def aft_fins(mission: Mission) -> tuple[int, int]:
    """Return stage and part of the aft-most fins that have a semispan, fixed ones before control fins. Raises ValueError where there are none."""
    last = len(mission.stage) - 1
    sets = [(not part.control, part.station, j) for j, part in enumerate(mission.stage[last].part) if part.kind == "fins" and part.outline != "polygon"]
    if not sets:
        raise ValueError("there are no fins with a semispan on the aft stage")
    return last, max(sets)[2]


def upwind(mission: Mission) -> np.ndarray:
    """Return the horizontal unit vector (east, north) towards where the mean wind at 10 m comes from, as written; north in calm air."""
    wind = mission.change({"air.wind.speed": 1.0}) if mission.air.one_wind else mission
    toward = mean_wind(wind, 10.0)
    size = float(np.hypot(*toward))
    return -toward / size if size > 0.0 else np.array([0.0, 1.0])


def with_tilt(mission: Mission, away: float) -> Mission:
    """Return the mission with its rail tilted away from the wind as written by an angle (rad), into it where that is negative."""
    lean = 0.5 * math.pi - mission.rail.elevation
    leaning = lean * np.array([math.sin(mission.rail.azimuth), math.cos(mission.rail.azimuth)]) - away * upwind(mission)
    size = float(np.hypot(*leaning))
    azimuth = math.atan2(leaning[0], leaning[1]) % (2.0 * math.pi) if size > 1e-9 else mission.rail.azimuth
    return mission.change({"rail.elevation": 0.5 * math.pi - size, "rail.azimuth": azimuth})

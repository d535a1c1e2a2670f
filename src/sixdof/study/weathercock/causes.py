"""The turn into the wind taken apart: what exit speed, margin, damping, the wind's profile, tip-off and misalignment do to it, and what is left.

What can be taken away is flown without it, on the same draws: wind, tip-off, drawn misalignment, live fins. What cannot (there is no flying without
a margin or without damping) comes from the linear theory of `lateral`, a term after the other, and what the sum leaves unexplained is
said as the rest.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.weathercock.changes import LOCKED, MISALIGNED, fin_variants, without_tip_off
from sixdof.study.weathercock.departure import wind_profile
from sixdof.study.weathercock.drawn import without_draws
from sixdof.study.weathercock.flights import Flights, middle, turns
from sixdof.study.weathercock.lateral import Lateral, final_turn, linear_turn, triangle

FLOWN, LINEAR = "flown without it", "linear theory"
EXIT_SPEED = "exit speed: the wind triangle"
MARGIN = "thrust-to-weight and static margin: not all of it is turned"
LIFT = "lift across the path, and where its swing stands"
DAMPING = "pitch damping"
PROFILE = "wind that grows with height"
GRAVITY = "gravity on the rail's own lean"
TIP_OFF = "tip-off: pivoting on the aft guide"
MISALIGNMENT = "drawn misalignment of thrust and mass"
LIVE_FINS = "live control fins"
REST = "rest"
ROWS = 200  # of the wind over the distance flown


class Cause(NamedTuple):
    """What a cause adds to the turn, rad: on average, and in the share of flights that the criterion asks for (NaN where only theory tells)."""

    name: str
    how: str
    mean: float
    high: float


class Setting(NamedTuple):
    """What the theory is asked about: the vehicle at departure, the wind (n,) that each m/s of `wind.speed` makes across the path over the distance
    flown from there (n,), wind.speed itself (m/s), and after how long (s)."""

    model: Lateral
    distance: np.ndarray
    unit: np.ndarray
    wind: float
    after: float

    def profile(self, distance: float) -> float:
        """Return the wind (m/s) across the path after a distance flown (m)."""
        return self.wind * float(np.interp(distance, self.distance, self.unit))


def setting(model: Lateral, mission: Mission, exit_height: float, wind: float, after: float) -> Setting:
    """Return the setting of a mission whose vehicle leaves the rail at a height above ground (m) and flies straight up from there."""
    distance = np.linspace(0.0, model.speed * after + 0.5 * max(model.acceleration, 0.0) * after**2, ROWS)
    return Setting(model, distance, wind_profile(mission, exit_height + distance), wind, after)


def theory(at: Setting, name: str) -> dict[str, float]:
    """Return the linear theory's turn (rad) step by step: wind triangle, closed form, linear equations in the same steady wind without and with damping,
    with the wind's profile, and with gravity on the rail's lean. name : "lean" or "path_lean"."""
    row, steady = int(name == "path_lean"), at.profile(0.0)

    def linear(wind, lean: float = 0.0, model: Lateral = at.model) -> float:
        return float(linear_turn(model, wind, [at.after], lean=lean)[row, 0]) - lean

    return {
        "triangle": float(triangle(steady, at.model.speed)),
        "closed": float(final_turn(steady, at.model.speed, at.model.acceleration, at.model.wavenumber)) if at.model.acceleration > 0.0 else np.nan,
        "undamped": linear(steady, model=at.model._replace(damping=0.0, jet=0.0)),
        "linear": linear(steady),
        "profile": linear(at.profile),
        "lean": linear(at.profile, at.model.lean),
    }


def causes(flights: Flights, at: Setting, event: str, name: str, flown: xr.Dataset) -> tuple[list[Cause], float]:
    """Return the causes of the turn at an event, which add up to the turn as flown, and what the turn is in calm air (rad, mean).

    flown : flights as written under `flights.base`, dim flight.
    """
    share = flights.criteria[0].share
    own = turns(flown, name, [event])[:, 0]

    def less(mission: Mission) -> tuple[float, float]:
        other = turns(flights.fly(mission, [flights.base]).isel(condition=0), name, [event])[:, 0]
        return float(middle(own) - middle(other)), float(middle(own, quantile=share) - middle(other, quantile=share))

    steps = theory(at, name)
    parts = [
        Cause(EXIT_SPEED, LINEAR, steps["triangle"], np.nan),
        Cause(MARGIN, LINEAR, steps["closed"] - steps["triangle"], np.nan),
        Cause(LIFT, LINEAR, steps["undamped"] - steps["closed"], np.nan),
        Cause(DAMPING, LINEAR, steps["linear"] - steps["undamped"], np.nan),
        Cause(PROFILE, LINEAR, steps["profile"] - steps["linear"], np.nan),
        Cause(GRAVITY, LINEAR, steps["lean"] - steps["profile"], np.nan),
    ]
    still, variants = without_tip_off(flights.short), fin_variants(flights.short)
    if still is not None:
        parts.append(Cause(TIP_OFF, FLOWN, *less(still)))
    if set(MISALIGNED) & set(flights.short.disperse):
        parts.append(Cause(MISALIGNMENT, FLOWN, *less(without_draws(flights.short, MISALIGNED))))
    if LOCKED in variants:
        parts.append(Cause(LIVE_FINS, FLOWN, *less(variants[LOCKED])))
    mean = float(middle(own))
    parts.append(Cause(REST, "as flown less all of these", mean - sum(one.mean for one in parts), np.nan))
    calm = turns(flights.fly(flights.short, [{**flights.base, "wind.speed": 0.0}]).isel(condition=0), name, [event])[:, 0]
    return parts, float(middle(calm))

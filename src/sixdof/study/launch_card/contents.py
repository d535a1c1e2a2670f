"""The card as a Dataset: everything that page and figure show, with units and names."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.status import Descent
from sixdof.study.launch_card.expected import CEILINGS, Ceiling, Expected, Margin, ceilings, expected_numbers, loop_margins, static_margins
from sixdof.study.launch_card.measured_wind import HAND, MeasuredWind, ReferenceWind
from sixdof.study.launch_card.remedy import Change
from sixdof.study.launch_card.safety import Distances, distances
from sixdof.study.launch_card.settings import Setting, settings
from sixdof.study.launch_card.verdict import DECISIONS, Judged, decision
from sixdof.study.launch_card.weighing import Weighing
from sixdof.study.reading.result import QUANTILES, came_down, meaningful, outcomes
from sixdof.study.wind_limit.allowed import wind_allowed

UNMEASURED = -1  # of `decision`: no wind was measured


class Now(NamedTuple):
    """The wind measured now, at its height and at the reference height, and what may be changed in it; none of it where none was measured."""

    measured: MeasuredWind | None
    reference: ReferenceWind
    changes: Sequence[Change]


def card_dataset(
    mission: Mission, flights: xr.Dataset, weighed: Sequence[Weighing], found: Sequence[Judged], now: Now, limits: xr.Dataset | None
) -> xr.Dataset:
    """Return the card of flights of one wind. limits : as `wind_limit` returns them, None: not asked for."""
    margins = [*static_margins(mission, flights), *loop_margins(mission)]
    entries: dict = {}
    entries |= _settings(settings(mission)) | _weighings(weighed) | _margins(margins) | _expected(expected_numbers(mission, flights))
    entries |= _ceilings(ceilings(flights)) | _judged(found) | _wind(now, found) | _changes(now.changes) | _safety(distances(mission)) | _validity(flights)
    if limits is not None:
        entries |= {f"wind_{name}": limits[name].variable for name in ("limit", "limit_low", "limit_high", "limit_kind", "binds")}
        entries["direction"] = limits["direction"].variable
    entries |= _limit_now(now, limits)
    return xr.Dataset(entries, {"share": ("share", list(QUANTILES), {"units": "1", "long_name": "quantile"})})


def _limit_now(now: Now, limits: xr.Dataset | None) -> dict:
    """Return the limit from where the measured wind comes; NaN where no limits stand on both sides of it."""
    allowed = None
    if limits is not None and now.measured is not None:
        with suppress(ValueError):
            allowed = wind_allowed(limits, now.reference.blows_from)
    return {
        "wind_limit_now": ((), allowed.limit if allowed else math.nan, {"units": "m/s", "long_name": "wind limit from where the measured wind comes"}),
        "wind_limit_surely": ((), allowed.low if allowed else math.nan, {"units": "m/s", "long_name": "lower end of its interval"}),
        "wind_limit_at_least": ((), bool(allowed and allowed.at_least), {"units": "1", "long_name": "whether that limit is a lower bound"}),
    }


def _column(dim: str, values, units: str, text: str) -> tuple:
    return dim, np.array(values), {"units": units, "long_name": text}


def _texts(dim: str, values, text: str) -> tuple:
    return dim, np.array([str(value) for value in values], dtype=str), {"long_name": text}


def _settings(rows: Sequence[Setting]) -> dict:
    return {
        "setting_group": _texts("setting", [row.group for row in rows], "where it is set"),
        "setting_name": _texts("setting", [row.name for row in rows], "what is set"),
        "setting_value": _texts("setting", [row.value for row in rows], "what it is set to"),
    }


def _weighings(rows: Sequence[Weighing]) -> dict:
    return {
        "weighing": _texts("weighing", [row.name for row in rows], "what is weighed"),
        "weighed_mass": _column("weighing", [row.mass for row in rows], "kg", "mass that the card holds for"),
        "weighed_mass_tolerance": _column("weighing", [row.mass_tolerance for row in rows], "kg", "tolerance of the mass, either way"),
        "balance_point": _column("weighing", [row.station for row in rows], "m", "balance point that the card holds for, aft of its datum"),
        "balance_point_tolerance": _column("weighing", [row.station_tolerance for row in rows], "m", "tolerance of the balance point, either way"),
        "balance_datum": _texts("weighing", [row.datum for row in rows], "what the balance point is measured from"),
        "mass_tolerance_from": _texts("weighing", [row.mass_basis for row in rows], "what the tolerance of the mass follows from"),
        "balance_tolerance_from": _texts("weighing", [row.station_basis for row in rows], "what the tolerance of the balance point follows from"),
    }


def _margins(rows: Sequence[Margin]) -> dict:
    return {
        "margin": _texts("margin", [row.name for row in rows], "margin"),
        "margin_value": (("margin", "share"), np.array([[row.low, row.middle, row.high] for row in rows]).reshape(-1, 3), _as("margin_unit", "margin")),
        "margin_unit": _texts("margin", [row.unit for row in rows], "unit of the margin"),
        "margin_decimals": _column("margin", [row.decimals for row in rows], "1", "decimals shown"),
    }


def _as(name: str, text: str) -> dict:
    return {"units": f"as {name}", "long_name": text}


def _expected(rows: Sequence[Expected]) -> dict:
    values = np.array([row.quantiles() for row in rows]).reshape(-1, 3)
    return {
        "quantity": _texts("quantity", [row.name for row in rows], "number to compare a flight with"),
        "expected": (("quantity", "share"), values, _as("expected_unit", "expected number")),
        "expected_unit": _texts("quantity", [row.unit for row in rows], "unit of the expected number"),
        "expected_decimals": _column("quantity", [row.decimals for row in rows], "1", "decimals shown"),
        "expected_flights": _column("quantity", [int(np.isfinite(row.values).sum()) for row in rows], "1", "flights that have the number"),
    }


def _ceilings(rows: Sequence[Ceiling]) -> dict:
    attrs = {"units": "m", "long_name": "height above ground that the share of the flights stays below"}
    return {
        "ceiling": ("ceiling", [row.share for row in rows] or list(CEILINGS)[:0], {"units": "1", "long_name": "share of the flights"}),
        "ceiling_height": ("ceiling", [row.height for row in rows], attrs),
        "ceiling_bound": ("ceiling", [row.bound for row in rows], {"units": "m", "long_name": "upper bound of that height (90 %, order statistics)"}),
    }


def _judged(rows: Sequence[Judged]) -> dict:
    bounds = [math.nan if row.criterion.limit is None else row.criterion.limit for row in rows]
    return {
        "criterion": _texts("criterion", [row.criterion for row in rows], "criterion"),
        "observed": _column("criterion", [row.share for row in rows], "1", "share of the flights that hold the criterion"),
        "required": _column("criterion", [row.criterion.share for row in rows], "1", "share of the flights asked for"),
        "reached": ("criterion", [row.value for row in rows], _as("criterion_unit", "what the share asked for of the flights is no worse than")),
        "bound": ("criterion", bounds, _as("criterion_unit", "what the outcome is held against")),
        "spare": ("criterion", [row.spare for row in rows], _as("criterion_unit", "how far from the limit, positive where it is held")),
        "criterion_unit": _texts("criterion", [row.unit for row in rows], "unit of the criterion"),
        "more_flights": _column("criterion", [row.more for row in rows], "1", "further flights that decide it at the rate so far"),
        "verdict": _texts("criterion", [row.verdict for row in rows], "verdict with 90 % confidence"),
    }


def _wind(now: Now, found: Sequence[Judged]) -> dict:
    measured = now.measured
    speed, blows_from, height = measured if measured is not None else (math.nan,) * 3
    known = measured is not None
    flag = DECISIONS.index(decision(found)) if known else UNMEASURED
    attrs = {"units": "1", "flag_values": np.arange(-1, 3, dtype=np.int8), "flag_meanings": "unmeasured go marginal no_go", "long_name": "go or no-go"}
    return {
        "decision": ((), np.int8(flag), attrs),
        "measured_speed": ((), speed, {"units": "m/s", "long_name": "wind speed as measured"}),
        "measured_from": ((), blows_from, {"units": "rad", "long_name": "direction the measured wind comes from, true"}),
        "measured_height": ((), height, {"units": "m", "long_name": "height above ground it was measured at"}),
        "hand_height": ((), HAND, {"units": "m", "long_name": "height above ground of an anemometer in the hand"}),
        "wind_factor": ((), now.reference.factor, {"units": "1", "long_name": "factor from the height of the hand to the reference height"}),
        "reference_height": ((), now.reference.height, {"units": "m", "long_name": "height above ground of the mission's wind"}),
        "reference_speed": ((), now.reference.speed if known else math.nan, {"units": "m/s", "long_name": "measured wind at the reference height"}),
        "reference_from": ((), now.reference.blows_from if known else math.nan, {"units": "rad", "long_name": "direction it comes from there, true"}),
    }


def _changes(rows: Sequence[Change]) -> dict:
    return {
        "change": _texts("change", [row.name for row in rows], "what can be changed"),
        "change_text": _texts("change", [row.text for row in rows], "the change in words"),
        "change_amount": ("change", np.array([row.amount for row in rows], dtype=float), _as("change_unit", "size of the change")),
        "change_unit": _texts("change", [row.unit for row in rows], "unit of the change"),
        "change_effort": ("change", np.array([row.effort for row in rows], dtype=float), {"units": "1", "long_name": "size over the largest practicable"}),
        "change_holds": ("change", np.array([row.holds for row in rows], dtype=bool), {"units": "1", "long_name": "whether it is a go with it"}),
    }


def _safety(found: Distances) -> dict:
    return {
        "impulse": ((), found.impulse, {"units": "N s", "long_name": "total impulse of all motors installed"}),
        "motors": ((), found.motors, {"units": "1", "long_name": "motors installed"}),
        "cleared_diameter": ((), found.cleared, {"units": "m", "long_name": "diameter to clear about the rail (common practice)"}),
        "people_distance": ((), found.people, {"units": "m", "long_name": "distance of people from the rail (common practice)"}),
    }


def _validity(flights: xr.Dataset) -> dict:
    used = meaningful(flights)
    return {
        "above_mach_08": ((), _share(outcomes(flights, "time_above_mach_08") > 0.0, used), _of("flights that go above Mach 0.8")),
        "beyond_incidence": ((), _share(outcomes(flights, "time_beyond_incidence") > 0.0, used), _of("flights beyond 15 deg incidence in the climb")),
        "falling_share": ((), _share(_falling(flights), used), _of("flights with a body that comes down without a canopy")),
        "failed_share": ((), 1.0 - float(np.mean(used)), _of("flights that did not leave the rail or diverged")),
    }


def _falling(flights: xr.Dataset) -> np.ndarray:
    """Return in which flights (flights,) a body comes down without a canopy."""
    bodies = range(flights.sizes["body"])
    return np.any([came_down(flights, k) & (flights["descent"].isel(body=k).values != Descent.UNDER_CANOPY) for k in bodies], axis=0)


def _share(which: np.ndarray, used: np.ndarray) -> float:
    return float(which[used].mean()) if used.any() else math.nan


def _of(text: str) -> dict:
    return {"units": "1", "long_name": f"share of {text}"}

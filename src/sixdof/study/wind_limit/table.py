"""What was flown, as a Dataset: limits by direction, of each criterion alone, and everything they are read from."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.study.variants.criteria import Criterion
from sixdof.study.wind_limit.first_failure import BEYOND, FOUND, Crossing, Flown
from sixdof.study.wind_limit.ranks import ASKED, FAILS, SHOWN

KINDS = ("found", "not_in_calm", "beyond_highest")  # of `limit_kind`, the flag is the place in this row
_LONG = "largest mean wind for which all criteria hold"
_ALONE = "largest mean wind for which the criterion holds"


def limits_of(flown: Sequence[Flown], blows_from: np.ndarray, criteria: Sequence[Criterion]) -> xr.Dataset:
    """Return the Dataset of `wind_limit`, but for the attributes of the run; `flown` : from each direction."""
    entries = {**limit_entries(flown, ("direction",), (len(flown),)), **_alone(flown), **_flown(flown)}
    entries["required"] = ("criterion", [one.share for one in criteria], _attrs("share of all flights asked for", "1"))
    bounds = [math.nan if one.limit is None else one.limit for one in criteria]
    entries["bound"] = ("criterion", bounds, _attrs("what the outcome is held against, in its own unit (value_units)", "1"))
    entries["value_units"] = ("criterion", [_units(one) for one in criteria], {"long_name": "unit of value and bound"})
    coords = {
        "direction": ("direction", blows_from, _attrs("direction the mean wind comes from, true", "rad")),
        "criterion": ("criterion", [str(one) for one in criteria], {"long_name": "criterion"}),
    }
    texts = [str(one) for one in criteria if one.function is None]
    return xr.Dataset(entries, coords, {"criteria": "\n".join(texts)})


def limit_entries(flown: Sequence[Flown], dims: tuple[str, ...], shape: tuple[int, ...]) -> dict:
    """Return limit, its interval, kind, what binds and where it holds again, of cases in the order of `dims`."""
    found = [one.crossing(ASKED) for one in flown]
    numbers = {
        "limit": ([one.at for one in found], _attrs(_LONG, "m/s")),
        "limit_low": ([one.crossing(SHOWN).at for one in flown], _attrs(f"{_LONG}, lower bound", "m/s")),
        "limit_high": ([_high(one.crossing(FAILS)) for one in flown], _attrs(f"{_LONG}, upper bound", "m/s")),
        "limit_kind": (np.array([one.kind for one in found], dtype=np.int8), _flag()),
        "binds": (np.array([one.criterion for one in found], dtype=np.int8), _attrs("number of the criterion that fails first, -1 for none", "1")),
        "resolution": ([_width(one) for one in found], _attrs("how far the two winds flown are apart that the limit lies between", "m/s")),
        "holds_again": ([one.holds_again(ASKED) for one in flown], _attrs("lowest wind flown above the limit at which all criteria hold again", "m/s")),
    }
    entries = {name: (dims, np.reshape(values, shape), attrs) for name, (values, attrs) in numbers.items()}
    low, limit, high = (entries[name][1] for name in ("limit_low", "limit", "limit_high"))
    entries["limit_low"] = (dims, np.minimum(low, limit), entries["limit_low"][2])  # brackets of ends are wider than that of the limit
    entries["limit_high"] = (dims, np.maximum(high, limit), entries["limit_high"][2])
    return entries


def _width(found: Crossing) -> float:
    return found.high - found.low if found.kind == FOUND else 0.0


def _high(found: Crossing) -> float:
    return math.inf if found.kind == BEYOND else found.at


def _alone(flown: Sequence[Flown]) -> dict:
    """Return the limits of each criterion alone, (direction, criterion), infinite where it holds up to the highest wind."""
    entries = {}
    for name, level, text in (("", ASKED, ""), ("_low", SHOWN, ", lower bound"), ("_high", FAILS, ", upper bound")):
        found = [[_high(one.crossing(level, c)) for c in range(len(one.need))] for one in flown]
        entries[f"criterion_limit{name}"] = (("direction", "criterion"), np.array(found), _attrs(_ALONE + text, "m/s"))
    return entries


def _flown(flown: Sequence[Flown]) -> dict:
    """Return all winds that were flown from each direction, and what was found there, padded with NaN."""
    most, count = max(one.winds.size for one in flown), len(flown[0].need)
    wind, share, value = np.full((len(flown), most), np.nan), *(np.full((len(flown), most, count), np.nan) for _ in range(2))
    for row, one in enumerate(flown):
        wind[row, : one.winds.size] = one.winds
        share[row, : one.winds.size] = one.share
        value[row, : one.winds.size] = one.value
    dims = ("direction", "point", "criterion")
    return {
        "wind": (dims[:2], wind, _attrs("mean wind flown", "m/s")),
        "share": (dims, share, _attrs("share of the flights that hold the criterion", "1")),
        "value": (dims, value, _attrs("outcome at the share asked for, in its own unit (value_units)", "1")),
    }


def _units(one: Criterion) -> str:
    return "1" if one.limit is None else one.subject.variable.units


def _attrs(text: str, units: str) -> dict:
    return {"units": units, "long_name": text}


def _flag() -> dict:
    return {"long_name": "kind of limit", "units": "1", "flag_values": np.arange(len(KINDS), dtype=np.int8), "flag_meanings": " ".join(KINDS)}

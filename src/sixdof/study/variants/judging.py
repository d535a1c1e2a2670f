"""Criteria judged for every variant of a comparison: pass, fail, or undecided with the number of flights to add."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import xarray as xr

from sixdof.study.uncertainty.claims import FAIL, PASS, UNDECIDED, Verdict, judge
from sixdof.study.variants.criteria import Criterion, check_names, criteria_of
from sixdof.study.variants.subjects import THINGS
from sixdof.study.variants.vary import need_comparison, variant_of

# what a verdict can be; its flag is the place in this row
VERDICTS = (PASS, FAIL, UNDECIDED)
_ENTRIES = {
    "observed": ("share of the flights that meet the criterion", "1"),
    "low": ("lower bound of the true share", "1"),
    "high": ("upper bound of the true share", "1"),
    "flights": ("flights judged", "1"),
    "failures": ("flights that do not meet the criterion", "1"),
    "missing": ("flights without a value, which count as not meeting it", "1"),
    "more_flights": ("further flights that decide it if none of them fails", "1"),
    "more_flights_at_this_rate": ("further flights that decide it at the failure rate so far", "1"),
}


def judge_criteria(ds: xr.Dataset, criteria: str | Criterion | Iterable[str | Criterion] | None = None, confidence: float = 0.9) -> xr.Dataset:
    """Judge criteria for every variant of a comparison (see `sixdof.stats.judge` for the rule, and what a verdict is worth).

    Each verdict holds with the confidence by itself: of twenty verdicts at 90 % one or two may be wrong. A flight without a value
    (diverged, not lifted off, an event not reached, a body it does not have) counts as not meeting the criterion.

    Parameters
    ----------
    ds : what `compare` returned
    criteria : text, Criterion, or several; None takes those that were given to `compare`
    confidence : 0.5 or more, of each one-sided bound

    Returns
    -------
    Dataset
        Dims variant, criterion. `verdict`, a flag: 0 pass, 1 fail, 2 undecided. `observed`, `low`, `high`: the share that meets it and
        its one-sided bounds. `flights`, `failures`, `missing`: how many. `more_flights`: the fewest further flights that decide (pass)
        if none of them fails; `more_flights_at_this_rate`, infinite where none do. `required` (criterion): the share asked for.

    Raises
    ------
    ValueError
        For what is not a comparison, no criteria, and criteria that do not fit it.

    Examples
    --------
    >>> judged = sixdof.stats.judge_criteria(compared, "apogee_height > 100 m in 50 % of flights")
    >>> sixdof.stats.VERDICTS[int(judged.verdict.sel(variant="long rail").item())]
    'pass'
    """
    need_comparison(ds, "judge_criteria")
    wanted = wanted_criteria(ds, criteria, "judge_criteria")
    found = [[verdict_of(one, variant, confidence) for one in wanted] for variant in ensembles(ds).values()]
    entries = {"verdict": _flag([[VERDICTS.index(v.verdict) for v, _ in row] for row in found])}
    for name, (text, units) in _ENTRIES.items():
        values = [[missing if name == "missing" else getattr(v, _field(name)) for v, missing in row] for row in found]
        kind = float if name == "more_flights_at_this_rate" else None  # infinite where no number decides
        entries[name] = (("variant", "criterion"), np.array(values, dtype=kind), {"units": units, "long_name": text})
    entries["required"] = ("criterion", [one.share for one in wanted], {"units": "1", "long_name": "share of all flights asked for"})
    coords = {
        "variant": ("variant", ds["variant"].values, dict(ds["variant"].attrs)),
        "criterion": ("criterion", [str(one) for one in wanted], {"long_name": "criterion"}),
    }
    return xr.Dataset(entries, coords, {"title": ds.attrs.get("title", ""), "confidence": confidence})


def wanted_criteria(ds: xr.Dataset, criteria, who: str) -> list[Criterion]:
    """Return the criteria given, or those of the comparison where None are. Raises ValueError for none at all, and for strange names."""
    written = ds.attrs.get("criteria", "")
    wanted = criteria_of(written.split("\n") if written else ()) if criteria is None else criteria_of(criteria)
    if not wanted:
        raise ValueError(f'{who} needs criteria; give some, such as ["apogee_height < 1800 m in 99 % of flights"]')
    check_names(wanted, names_in(ds))
    return wanted


def names_in(ds: xr.Dataset) -> dict[str, list[str]]:
    """Return the names of bodies, events ... of a result, by dim."""
    return {dim: [str(name) for name in ds[dim].values] for dim in (*THINGS, "event") if dim in ds.coords}


def ensembles(ds: xr.Dataset) -> dict[str, xr.Dataset]:
    """Return the variants of a comparison, name -> ensemble."""
    return {str(name): variant_of(ds, str(name)) for name in ds["variant"].values}


def verdict_of(one: Criterion, ensemble: xr.Dataset, confidence: float) -> tuple[Verdict, int]:
    """Return the verdict on one ensemble, and how many of its flights have no value."""
    holds, missing = one.holds(ensemble)
    return judge(holds, one.share, confidence), missing


def _field(name: str) -> str:
    return "share" if name == "observed" else name


def _flag(values):
    attrs = {
        "long_name": "verdict",
        "units": "1",
        "flag_values": np.arange(len(VERDICTS), dtype=np.int8),
        "flag_meanings": " ".join(word.replace(" ", "_") for word in VERDICTS),
    }
    return ("variant", "criterion"), np.array(values, dtype=np.int8), attrs

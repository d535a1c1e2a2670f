"""Variants of a mission flown on the same draws, side by side in one Dataset.

Flight i of every variant has the same wind, the same scatter of masses, thrust and gains, the same sensor noise (common random numbers):
a draw depends on the seed, the flight and the name of the dispersed quantity alone. What differs between two variants in one flight is
the variants' own doing, so differences flight by flight are far surer than differences of two ensembles: see `study.pairs`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.ensemble.run import disperse
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.dataset import as_path
from sixdof.results.registry import REGISTRY
from sixdof.results.retired import now_called
from sixdof.study.variants.criteria import Criterion, check_names, criteria_of
from sixdof.study.variants.measures import MEASURES, with_measures
from sixdof.study.variants.vary import NAMES, joined_variants

_NO_FILE = set('/\\:*?"<>|')  # characters that some system has in no file name


def compare(
    variants: Mapping[str, Mission],
    flights: int | None = None,
    *,
    seed: int = 0,
    first: int = 0,
    sampling: str = "random",
    draws: xr.Dataset | None = None,
    out: str | Path | None = None,
    overwrite: bool = False,
    criteria: str | Criterion | Iterable[str | Criterion] = (),
    keep: Sequence[str] | None = None,
    tracks: str | int = "none",
    laws: Mapping[str, Mapping[str, Any]] | None = None,
    threads: int | None = None,
    client=None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Fly variants of a mission on the same draws and return them in one Dataset, with dim `variant` in front.

    Parameters
    ----------
    variants : dict
        Name -> mission, as `sixdof.parts.vary` and `sixdof.parts.motor_variants` return it.
    flights, seed, first, sampling, draws, tracks, threads, client, progress
        As in `sixdof.disperse`, the same for all variants. Tracks are not kept if not asked for. Sobol and Latin hypercube draws are
        the same only for variants that disperse the same quantities.
    out : path or None
        A folder, with a store "<variant>.zarr" for each. A comparison that was killed goes on with the same call, to the same bits; more flights,
        or more variants, are added to what is there.
    overwrite : bool
        Replace the stores of these variants.
    criteria : text, Criterion, or several
        Checked before anything is flown, and what `judge_criteria` judges if it is given no others (see `sixdof.stats.criterion`). Functions
        must be given to it again.
    keep : names of variables or None
        What is held in memory besides what criteria need: for very many flights (all variables are some 10 kB a flight and variant
        of the two-stage demo). With `out` the stores hold everything all the same.
    laws : dict or None
        Name of a variant -> {"guidance": law, "control": law}, in place of `guidance` and `control`, which are for all others.

    Returns
    -------
    Dataset
        The names of `disperse` with `variant` in front; `mission` (variant) holds the missions as text. Bodies, events, rules ... that only
        some variants have are NaN in the others, flags -128 there ("not_in_variant" in their meanings). `sixdof.stats.variant_of`
        takes a variant out again as `disperse` returned it. After Ctrl-C: the flights that all variants begun have, with the attribute `interrupted`.

    Raises
    ------
    ValueError, TypeError
        For no variants, names that are not text, criteria or laws that do not fit, and as `disperse`.
    FileExistsError, StoreError, MissionError, LawError
        As `disperse`.

    Examples
    --------
    >>> two = {"3 m rail": mission, "5 m rail": mission.change({"rail.length": "5 m"})}
    >>> compared = sixdof.compare(two, 8, seed=1, criteria="rail_departure_speed > 20 m/s in 50 % of flights", progress=False)
    >>> (compared.rail_departure_speed.mean("flight").diff("variant") > 0.0).item()
    True
    """
    check_variants(variants, out)
    if flights is None and draws is None:
        raise ValueError("compare: say how many flights of each variant; sixdof.stats.compare_nominal(variants) flies each once, as it is written")
    wanted = criteria_of(criteria)
    check_names(wanted, all_names(variants.values()))
    each = _laws(variants, laws, guidance, control)
    folder = None if out is None else _folder(as_path(out, "compare: out"))
    if keep is not None and (isinstance(keep, str) or not isinstance(keep, Iterable) or not all(isinstance(name, str) for name in keep)):
        raise TypeError(f"compare: keep must be a list of names of variables, not {shown(keep)}")
    needed = None if keep is None else {*keep, "status", *(name for one in wanted if one.subject for name in one.subject.needs)}
    flown: dict[str, xr.Dataset] = {}
    for k, (name, mission) in enumerate(variants.items()):
        if progress:
            print(f"sixdof: variant {name} ({k + 1} of {len(variants)})", file=sys.stderr)
        ds = disperse(
            mission,
            flights,
            seed=seed,
            first=first,
            sampling=sampling,
            draws=draws,
            overwrite=overwrite,
            tracks=tracks,
            threads=threads,
            client=client,
            progress=progress,
            out=None if folder is None else folder / f"{name}.zarr",
            **each[name],
        )
        ds = with_measures(ds, [name for one in wanted if one.subject for name in one.subject.needs])
        if ds.sizes["flight"] or not flown:  # a variant interrupted before its first flight says nothing
            flown[name] = _held(ds, needed)
        if stopped := ds.attrs.get("interrupted", ""):
            break
    ds = joined_variants(flown, [variants[name] for name in flown])
    if stopped:
        ds.attrs["interrupted"] = f"variant {name}: {stopped}; {k + 1} of {len(variants)} variants begun"
    texts = [str(one) for one in wanted if one.function is None]
    return ds.assign_attrs(criteria="\n".join(texts)) if texts else ds


# ---------------------------------------------------------------- checks


def check_variants(variants: object, out: object = None) -> None:
    """Raise TypeError or ValueError for what is not a dictionary of missions, and for names that cannot name a store in `out`."""
    if not isinstance(variants, Mapping):
        raise TypeError(f"compare: variants must be a dictionary, name -> mission, not {shown(variants)}; see vary and motor_variants")
    if not variants:
        raise ValueError("compare: there are no variants to compare")
    for name, mission in variants.items():
        if not isinstance(name, str) or not name.strip():
            raise ValueError(f"compare: {shown(name)} is not a name of a variant; give it as text")
        check_mission(mission, f"compare: variant {shown(name)}")
        bad = sorted(_NO_FILE & set(name)) or ([name[0]] if name.startswith(".") else [])
        if out is not None and bad:
            raise ValueError(f"compare: variant {shown(name)} cannot name a file in {out} because of {bad[0]}; call it otherwise")


def _laws(variants: Mapping, laws: Mapping | None, guidance, control) -> dict[str, dict]:
    """Return the laws of every variant, as arguments of `disperse`."""
    each = {name: {"guidance": guidance, "control": control} for name in variants}
    if laws is not None and not isinstance(laws, Mapping):
        raise TypeError(f'compare: laws must be a dictionary, name of a variant -> {{"guidance": law, "control": law}}, not {shown(laws)}')
    for name, own in (laws or {}).items():
        if name not in each:
            raise ValueError(f"compare: laws: there is no variant {shown(name)}; {suggestion(name, tuple(variants), 'variants')}")
        strange = [slot for slot in own if slot not in each[name]] if isinstance(own, Mapping) else [own]
        if strange:
            raise ValueError(f'compare: laws of {shown(name)}: {shown(strange[0])} is neither "guidance" nor "control"')
        each[name].update(own)
    return each


def _folder(out: Path) -> Path:
    if out.exists() and not out.is_dir():
        raise FileExistsError(f"{out} is a file; give the folder in which a store for each variant is made")
    if not out.parent.is_dir():
        raise FileNotFoundError(f"the folder {out.parent} for {out.name} does not exist; make it first")
    out.mkdir(exist_ok=True)
    return out


def all_names(missions: Iterable[Mission]) -> dict[str, list[str]]:
    """Return every name of bodies, events, rules ... that any of the missions has, by dim."""
    missions = list(missions)
    found = {dim: [name for mission in missions for name in names(mission)] for dim, names in NAMES.items()}
    found["waypoint_number"] = [str(i + 1) for i in range(max(len(mission.guidance.waypoint) for mission in missions))]
    return {dim: list(dict.fromkeys(names)) for dim, names in found.items()}


def _held(ds: xr.Dataset, needed: set[str] | None) -> xr.Dataset:
    """Return what is kept of a variant, in memory."""
    if needed is not None:
        strange = [name for name in needed if name not in ds and name not in REGISTRY and name not in MEASURES]  # a vehicle of one stage has no joints
        if strange:
            hint = now_called(strange[0]) or suggestion(strange[0], list(ds.data_vars), "variables")
            raise ValueError(f"compare: keep: there is no variable {shown(strange[0])}; {hint}")
        ds = ds[[name for name in ds.data_vars if name in needed]]
    ds = ds.load()
    texts = {name: (v.dims, np.array(v.values.tolist(), dtype=str), v.attrs) for name, v in ds.data_vars.items() if v.dtype.kind in "OT"}
    return ds.assign(texts)

"""Which motor: a folder of thrust curves and a mission, and every motor held against the mount, flown, judged, preferred, and explained."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import xarray as xr

from sixdof.ensemble.run import disperse
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.study.motor_choice.asking import choice_criteria
from sixdof.study.motor_choice.confirming import Flyer, confirmed
from sixdof.study.motor_choice.deciding import BEST, FAILS, MEETS, best_of, held_on_rail, lost_by_preference, shortfall, standing_of, values_of
from sixdof.study.motor_choice.entries import by_motor, flip_entries, motor_sheet, ratio_entries, settings_sheet, with_standings
from sixdof.study.motor_choice.facts import ADAPTER_MASS, columns_of
from sixdof.study.motor_choice.fit import Fit, fit_of, fit_of_file, limits_of
from sixdof.study.motor_choice.measurement import Question, flips_of
from sixdof.study.motor_choice.preference import Wish, wishes_of
from sixdof.study.motor_choice.scatter import SCATTER, checked_scatter, with_scatter
from sixdof.study.motor_choice.settings import EARLY, OK, Setting, settings_of, without_timers
from sixdof.study.motor_choice.thrust_to_weight import RATIOS
from sixdof.study.motor_choice.words import number_text
from sixdof.study.uncertainty.claims import FAIL, UNDECIDED
from sixdof.study.uncertainty.statistics import check_share
from sixdof.study.variants.comparison import compare
from sixdof.study.variants.comparison_text import share_text
from sixdof.study.variants.criteria import Criterion, percent
from sixdof.study.variants.judging import VERDICTS, ensembles, judge_criteria
from sixdof.study.variants.motors import files_of, mount_number, stage_number

_JUDGED = ("verdict", "observed", "flights", "failures", "more_flights", "more_flights_at_this_rate", "required")


class _Asked(NamedTuple):
    """What a choice was asked by. numbers : of motors, by name and motor. options : of `disperse`, with flights and seed."""

    criteria: list[Criterion]
    wishes: list[Wish]
    numbers: dict[str, dict[str, float]]
    confidence: float
    options: dict[str, Any]
    stage: str
    progress: bool


def choose_motor(
    mission: Mission,
    folder: str | Path | Iterable[str | Path],
    criteria: str | Criterion | Iterable[str | Criterion] = (),
    prefer: str | None = None,
    flights: int = 100,
    *,
    seed: int = 0,
    stage: str | int | None = None,
    columns: str | Path | Mapping[str, Mapping[str, Any]] | None = None,
    limits: Mapping[str, Any] | None = None,
    scatter: Sequence = SCATTER,
    adjust: bool = False,
    confidence: float = 0.9,
    confirm: bool = True,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Say which motor of a folder to fly: which fit, which meet the criteria, which is preferred, why the others lost, what would change that.

    Parameters
    ----------
    folder : a folder of CSVs or the paths of files, as `sixdof.parts.motor_variants` takes them; the mission's own motor takes part too.
    criteria : text, Criterion, or several, as for `sixdof.compare`; every motor is judged by all. Thrust over weight goes by the names of the Dataset:
        "thrust_to_weight_rail > 5 in 95 % of flights".
    prefer : what decides among those that meet all: "most apogee_height", "least price", "least landing distance of drayhorse", several with "then";
        an outcome counts by its median, all else is a free column or a number of the motor ("total_impulse"). None: only one that stands alone is best.
    flights, seed : of each motor, on the same draws, the same noise.
    stage : name or number of the stage whose motor is chosen; None the last one, the booster.
    columns : the builder's own columns: the path of a CSV whose column `motor` names them ("motor, price"), or {"mesa-j": {"price": 61}}. Comments
        such as `# price = 61` in a motor's CSV are columns too. `adapter_mass` ("58 g") is what a motor's adapter weighs, in place of an estimate.
    limits : most of "propellant_mass", "total_impulse" or "loaded_mass" of all motors of the vehicle together: {"propellant_mass": "500 g"}.
    scatter : standard deviations of impulse and burn time and their correlation, drawn where the mission does not disperse them itself.
    adjust : whether altimeter and delay settings that another motor makes wrong are put right before the flights that count: each motor is flown twice.
    confidence : of each verdict by itself.
    confirm : whether the measurement that is found to change the answer is flown (up to seven more times as many flights).
    threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        A comparison of the motors flown (dims variant, flight; all that `sixdof.compare` returns, for `sixdof.stats.variant_of` and the figures of
        comparisons), with `thrust_to_weight_rail`, `thrust_to_weight_start`, `thrust_to_weight_average` (variant, flight); `verdict`, `observed`
        (variant, criterion); `setting_now`, `setting_right`, `setting_state`, `setting_share` (variant, setting), whose coordinate holds paths of
        `Mission.change`. Of every motor (dim motor): `fits`, `fit_reason`, `adapter`, `adapter_mass`, `room_ahead`, `fin_clearance`, numbers of its data
        sheet, free columns, `standing` and `why`. Of every measurement that would change the answer, or else a verdict (dim measurement):
        `flip_value`, `flip_share`, `flip_to`, `flip_verdict`, `flip_flown`. Attributes: `best` (a name, or "" for none), `prefer`, `scatter`, `stage`.
        Of a folder of which nothing fits only what has the dim motor.

    Raises
    ------
    KeyboardInterrupt
        After Ctrl-C: half of a comparison decides nothing.
    TypeError, ValueError, MissionError, LawError
        For a folder without CSVs, a stage without just one mount, a preference, columns, limits or a scatter that make no sense, and as `sixdof.compare`.

    Examples
    --------
    >>> files = ["configs/motors/mesa-i.csv", "configs/motors/playa-h.csv"]
    >>> choice = sixdof.preflight.choose_motor(stack, files, prefer="most apogee_height", flights=4, confirm=False, progress=False)
    >>> choice.attrs["best"], choice.adapter.sel(motor="playa-h").item()
    ('mesa-i', 'an adapter from 38 mm to 54.4 mm, 205 mm long, 33 g (estimated: weigh it)')
    """
    check_mission(mission, "choose_motor")
    check_share(confidence, "confidence")
    checked_scatter(scatter)
    files = {file.stem: file for file in files_of(folder, "choose_motor") if file != (Path(columns) if isinstance(columns, str | Path) else None)}
    which = stage_number(mission, stage, "choose_motor")
    own = mission.stage[which].part[mount_number(mission.stage[which], "choose_motor")].motor
    wanted = choice_criteria(criteria)
    known = columns_of(columns, files)
    fits = _fits(mission, files, own, which, known, limits_of(limits))
    sheet = motor_sheet(fits, known)
    numbers = {str(name): by_motor(v) for name, v in sheet.data_vars.items() if v.dtype.kind in "fi"}
    texts = {str(name) for name, v in sheet.data_vars.items() if v.dtype.kind == "U" and v.attrs.get("given")}
    about = {"prefer": prefer or "", "stage": mission.stage[which].name, "own_motor": own, "flown_on": mission.title, "confidence": confidence}
    options = {"flights": flights, "seed": seed, "threads": threads, "guidance": guidance, "control": control}
    asked = _Asked(wanted, wishes_of(prefer, list(numbers), texts), numbers, confidence, options, about["stage"], progress)
    drawn = {fit.name: with_scatter(fit.mission, scatter) for fit in fits if fit.mission is not None}
    if not drawn:
        return with_standings(sheet, {}).assign_attrs(best="", title=mission.title, **about)
    missions = {name: changed for name, (changed, _) in drawn.items()}
    flown, each = _flown(missions, asked)
    settings, adjusted = _settings(missions, each, asked), ""
    if adjust and any(one.state != OK for row in settings.values() for one in row):
        missions, adjusted = _put_right(missions, settings)
        flown, each = _flown(missions, asked)
        settings = _settings(missions, each, asked)
    said = next(iter(drawn.values()))[1]
    return _decided(sheet, missions, flown, each, settings, asked, confirm).assign_attrs(scatter="\n".join(said), adjusted=adjusted, **about)


def _fits(mission: Mission, files: Mapping[str, Path], own: str, which: int, columns: Mapping[str, Mapping[str, Any]], most: Mapping[str, float]) -> list[Fit]:
    """Return how every motor fits, the mission's own first if no file has its name."""

    def weighed(name: str) -> float | None:
        return columns.get(name, {}).get(ADAPTER_MASS)

    found = [] if own in files else [fit_of(mission, own, which, weighed(own), most)]
    found += [fit_of_file(mission, file, which, weighed(name), most) for name, file in files.items()]
    if all(fit.motor is None for fit in found):
        raise ValueError("choose_motor: no file holds a motor: " + "; ".join(f"{fit.name}: {'; '.join(fit.reasons)}" for fit in found))
    return found


def _flown(missions: Mapping[str, Mission], asked: _Asked) -> tuple[xr.Dataset, dict[str, xr.Dataset]]:
    """Return the comparison of motors, and the ensemble of each by name; with thrust over weight, which criteria may speak of."""
    found = compare(missions, criteria=asked.criteria, progress=asked.progress, **asked.options)
    if "interrupted" in found.attrs:
        raise KeyboardInterrupt
    each = ensembles(found)
    found = found.assign(ratio_entries(missions, each))
    return found, {name: ds.assign({ratio: found[ratio].sel(variant=name, drop=True) for ratio in RATIOS}) for name, ds in each.items()}


def _settings(missions: Mapping[str, Mission], each: Mapping[str, xr.Dataset], asked: _Asked) -> dict[str, list[Setting]]:
    """Return the settings of every motor. Where one comes too early what is right is read off flights without timers, on the same draws."""
    found = {}
    for name, ds in each.items():
        rows = settings_of(missions[name], ds)
        if any(one.state == EARLY for one in rows):
            calm = disperse(without_timers(missions[name]), tracks="none", progress=False, **asked.options)
            rows = settings_of(missions[name], calm.load())
        found[name] = rows
    return found


def _put_right(missions: Mapping[str, Mission], settings: Mapping[str, list[Setting]]) -> tuple[dict[str, Mission], str]:
    """Return the missions with the settings that are right for their motors, and what was changed, in words."""
    found, said = {}, []
    for name, mission in missions.items():
        wrong = {one.path: one.right for one in settings[name] if one.state != OK and math.isfinite(one.right)}
        found[name] = mission.change(wrong) if wrong else mission
        said += [f"{name}: {', '.join(f'{path} = {value:g}' for path, value in wrong.items())}"] if wrong else []
    return found, "\n".join(said)


def _decided(sheet: xr.Dataset, missions: Mapping[str, Mission], flown: xr.Dataset, each, settings, asked: _Asked, confirm: bool) -> xr.Dataset:
    """Return the comparison with the decision."""
    judged = judge_criteria(flown, asked.criteria, asked.confidence) if asked.criteria else None
    standings = [MEETS if judged is None else standing_of(judged["verdict"].sel(variant=name).values) for name in each]
    standings = [FAILS if held_on_rail(ds) > 0.0 else word for word, ds in zip(standings, each.values(), strict=True)]
    worth = values_of(each, asked.numbers, asked.wishes)
    best = best_of(standings, worth, asked.wishes)
    whys = [_why(k, name, each, standings, worth, best, asked, judged) for k, name in enumerate(each)]
    told = {name: (BEST if k == best else standings[k], whys[k]) for k, name in enumerate(each)}
    flips, probes, needed = [], 0, 0
    if asked.criteria or asked.wishes:
        question = Question(each, asked.criteria, asked.wishes, worth, asked.confidence, asked.stage)
        flips, probes, needed = flips_of(question), len(question.probes()), question.flights_needed()
        if confirm and flips:
            flips = confirmed(Flyer(question, missions, each, asked.numbers, asked.options), flips, "" if best is None else list(each)[best])
    parts = [flown, with_standings(sheet, told), settings_sheet(list(settings.values())), flip_entries(flips)]
    parts += [judged[list(_JUDGED)]] if judged is not None else []
    whole = xr.merge(parts, combine_attrs="override", join="exact")
    return whole.assign_attrs(best="" if best is None else list(each)[best], measurements=probes, measurements_need=needed)


def _why(k: int, name: str, each, standings, worth, best: int | None, asked: _Asked, judged: xr.Dataset | None) -> str:
    """Return why a motor is the best or lost: what it fails and by how much, what is undecided, or the preference."""
    if k == best:
        alike = standings.count(standings[k])
        what = "fit" if not asked.criteria else "meet all" if standings[k] == MEETS else "fail none"
        units = asked.wishes[0].subject.variable.units if asked.wishes and asked.wishes[0].subject else "1"
        if alike > 1:
            return f"{asked.wishes[0]}, {number_text(worth[k, 0], units)}, of the {alike} that {what}"
        return f"the only one that {'fits' if what == 'fit' else what.replace(' ', 's ', 1)}"
    if standings[k] == FAILS:
        held = held_on_rail(each[name])
        found = [f"does not leave the rail in {percent(held)} of the flights"] if held > 0.0 else []
        return "; ".join(found + [_failed(c, one, judged.sel(variant=name), each[name]) for c, one in enumerate(asked.criteria) if _is(judged, name, c, FAIL)])
    if best is not None and standings[k] == standings[best]:
        units = ["1" if wish.subject is None else wish.subject.variable.units for wish in asked.wishes]
        return lost_by_preference(k, best, worth, asked.wishes, list(each.items()), units)
    open_ = [c for c in range(len(asked.criteria)) if _is(judged, name, c, UNDECIDED)] if judged is not None else []
    if open_:
        more = max(int(judged["more_flights"].sel(variant=name).values[c]) for c in open_)
        return f"undecided in {', '.join(str(asked.criteria[c]) for c in open_)}: {more} more flights decide it if none of them fails"
    return "no preference says which of those that meet all is best"


def _is(judged: xr.Dataset, name: str, c: int, word: str) -> bool:
    return VERDICTS[int(judged["verdict"].sel(variant=name).values[c])] == word


def _failed(c: int, one: Criterion, judged: xr.Dataset, ds: xr.Dataset) -> str:
    by = shortfall(one, ds)
    return f"fails {one.what}: met in {share_text(judged.isel(criterion=c))} of the flights, {percent(one.share)} asked for{f' ({by})' if by else ''}"

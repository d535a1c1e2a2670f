"""What is compared with what: the logs, the drawn flights, and of these the ones that went as the logged flight did."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.logs.dataset import need_log
from sixdof.results.names import failure_names
from sixdof.study.reading.result import branches, is_ensemble, meaningful, need_result, plural
from sixdof.study.sweep.sweep import fly_drawn

WHO = "compare_log"
NOMINAL = "nominal"
FEWEST = 20  # flights: of fewer no log can be told from a drawn flight with 95 %


class Flights(NamedTuple):
    """ensemble : the flights that are compared with. others : how many took another branch, by its name. made : whether the branch was made certain."""

    ensemble: xr.Dataset
    others: dict[str, int]
    failed: int
    made: bool


def logs_of(log: Any) -> dict[str, xr.Dataset]:
    """Return the logs by name, "" for a single one. Raises TypeError and ValueError for what are no logs."""
    if isinstance(log, xr.Dataset):
        given = {"": log}
    elif isinstance(log, dict):
        given = {str(name): one for name, one in log.items()}
    elif isinstance(log, (list, tuple)):
        given = {f"log {k}": one for k, one in enumerate(log, start=1)}
    else:
        raise TypeError(f'{WHO}: log = {shown(log)} must be a flight log as read_log gives it, several in a list, or {{"name": log}}')
    if not given:
        raise ValueError(f"{WHO}: there is no log in the list; give one at least")
    for one in given.values():
        need_log(one, WHO)
    return given


def flights_of(what: Mission | xr.Dataset, flights: int, branch: str, **how: Any) -> Flights:
    """Return the drawn flights of one branch: those of an ensemble that took it, or flown of a mission whose failures are made so."""
    if not isinstance(branch, str) or not branch.strip():
        raise ValueError(f"{WHO}: branch = {shown(branch)} must be nominal, or names of failures joined by +, as in the variable branch of an ensemble")
    made = not isinstance(what, xr.Dataset)
    if made:
        check_mission(what, WHO)
        flown = fly_drawn(_going(what, branch), whole(flights, f"{WHO}: flights", FEWEST), **how)
    else:
        need_result(what, WHO, "status", "branch")
        if "weight" in what:
            raise ValueError(
                f"{WHO}: these flights have weights (what_happened gives such), and a log is ranked among flights that count alike: give the mission, with "
                "branch = the one that happened, or an ensemble of sixdof.disperse"
            )
        if not is_ensemble(what):
            raise ValueError(f"{WHO} takes a mission or many flights, and this is one flight; sixdof.disperse(mission, 200) flies some")
        flown = what
    sound = meaningful(flown)
    own = branches(flown)
    if branch not in own:
        raise ValueError(f"{WHO}: none of {plural(flown.sizes['flight'])} took the branch {shown(branch)}; they took {', '.join(own)}")
    use = own[branch] & sound
    if use.sum() < FEWEST:
        raise ValueError(f"{WHO}: {plural(int(use.sum()))} of the branch {shown(branch)} are too few to compare with; {FEWEST} or more are needed, better 200")
    others = {name: int((which & sound).sum()) for name, which in own.items() if name != branch and (which & sound).any()}
    return Flights(flown.isel(flight=np.flatnonzero(use)), others, int((~sound).sum()), made)


def _going(mission: Mission, branch: str) -> Mission:
    """Return a mission in which the failures of a branch happen and no others do: a failure does not change what else is drawn."""
    named = [] if branch == NOMINAL else branch.split(" + ")
    known = [failure.name for failure in mission.failure]
    wrong = [name for name in named if name not in known]
    if wrong and not known:
        raise ValueError(f"{WHO}: branch {shown(branch)}: the mission has no [[failure]] entries, so every flight is {NOMINAL}")
    breaking = failure_names(mission)
    for name in wrong:
        if name not in breaking:
            raise ValueError(f"{WHO}: branch {shown(branch)}: nothing is called {shown(name)}; {suggestion(name, [NOMINAL, *breaking], 'failures')}")
    certain = {f"failure.{k}.probability": float(name in named) for k, name in enumerate(known) if mission.failure[k].probability != float(name in named)}
    return mission.change(certain) if certain else mission

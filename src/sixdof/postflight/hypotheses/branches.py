"""The hypotheses that are weighed: branches of the mission's event tree, or missions and failures that the user wrote, each with a prior."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from os import PathLike
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.files.table_csv import read_text
from sixdof.mission.load import load_mission
from sixdof.mission.mission import Mission
from sixdof.mission.place import failure_name
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.strata import uncertain

NOMINAL = "nominal"
PAIRS = 4  # of failures, the most probable ones
LATE_BY = 4.0  # s, of a late apogee that the mission does not tell of
_KEYS = ("mission", "change", "failures", "prior", "what")
_KINDS = ("no_ignition", "no_separation", "late_apogee", "no_deployment", "harness_breaks", "canopy_lost")
_HOW = '{"main lost": {"failures": ["no_deployment: main"], "prior": 0.2}, "stronger wind": {"change": {"air.wind.speed": "9 m/s"}}}'


class Hypothesis(NamedTuple):
    """One hypothesis. mission : that flies it, every failure of it certain or impossible. prior : as given, not normalised. what : in words."""

    name: str
    mission: Mission
    prior: float
    what: str


def hypotheses_of(mission: Mission, given: Any = None, *, pairs: int = PAIRS) -> list[Hypothesis]:
    """Return the hypotheses.

    given : None: nominal, each failure of the mission alone, and the `pairs` most probable pairs, with the probabilities of the event tree; a list of
        failures, "kind: of", or of lists of them; a dictionary name -> Mission, or a table of `_KEYS`; or the path of a TOML file with such tables, in
        which `mission` is the path of a mission, from the file on.

    Raises ValueError, TypeError, MissionError in one sentence.
    """
    if given is None:
        return [_branch(mission, which, _probability(mission, which)) for which in _tree(mission, pairs)]
    if isinstance(given, str | PathLike):
        given = _in_file(Path(given))
    if isinstance(given, Mapping):
        found = [_given(mission, str(name), one) for name, one in given.items()]
    elif isinstance(given, Sequence) and not isinstance(given, str):
        found = [_listed(mission, one) for one in given]
    else:
        raise TypeError(f"what_happened: hypotheses must be a list of failures, or a dictionary such as {_HOW}, not {shown(given)}")
    if not found:
        raise ValueError(f"what_happened: there are no hypotheses to weigh; give a dictionary such as {_HOW}")
    names = [one.name for one in found]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ValueError(f"what_happened: the hypothesis {shown(twice)} comes twice; give each once")
    if not sum(one.prior for one in found) > 0.0:
        raise ValueError("what_happened: all priors are 0; give one hypothesis at least a prior")
    return [one for one in found if one.prior > 0.0]


def _in_file(path: Path) -> dict[str, Any]:
    """Return the hypotheses of a TOML file, missions loaded. Raises MissionError."""
    try:
        tables = tomllib.loads(read_text(str(path)))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        message = f"is not valid TOML: {' '.join(str(error).split())}"
        raise MissionError([Fault(str(path), "", None, message, "check quotes, brackets and = there")]) from None
    for table in tables.values():
        if isinstance(table, dict) and isinstance(table.get("mission"), str):
            table["mission"] = load_mission(path.parent / table["mission"])
    return tables


def _tree(mission: Mission, pairs: int) -> list[tuple[int, ...]]:
    """Return the branches of a mission's event tree as numbers of failures: none, each alone, the most probable pairs."""
    open_to = [k for k in uncertain(mission) if mission.failure[k].probability > 0.0]
    both = [pair for pair in combinations(open_to, 2) if mission.failure[pair[0]].of != mission.failure[pair[1]].of]
    both.sort(key=lambda pair: (-_probability(mission, pair), pair))
    return [(), *((k,) for k in open_to), *both[: max(pairs, 0)]]


def _probability(mission: Mission, which: Iterable[int]) -> float:
    """Return how probable it is that these failures are drawn and no others of those that may happen or not."""
    return float(np.prod([mission.failure[k].probability if k in tuple(which) else 1.0 - mission.failure[k].probability for k in uncertain(mission)]))


def _branch(mission: Mission, which: Sequence[int], prior: float) -> Hypothesis:
    names = [mission.failure[k].name for k in which]
    return Hypothesis(" + ".join(names) or NOMINAL, forced(mission, names), prior, "no failure but what the loads break" if not names else "")


def forced(mission: Mission, failures: Sequence[str]) -> Mission:
    """Return a mission in which these failures are certain, and no others but those that were.

    Raises ValueError for a failure that is none. One that the mission does not tell of is added.
    """
    known = [one.name for one in mission.failure]
    changes = {f"failure.{k}.probability": 0.0 for k in uncertain(mission)}
    changes |= {f"failure.{known.index(name)}.probability": 1.0 for name in failures if name in known}
    made = mission.change(changes) if changes else mission
    for name in failures:
        if name not in known:
            made = made.add("failure", _entry(name, known))
    return made


def _entry(name: str, known: Sequence[str]) -> dict[str, Any]:
    kind, _, of = name.partition(": ")
    if kind not in _KINDS or not of:
        raise ValueError(
            f'what_happened: there is no failure {shown(name)}; {suggestion(name, tuple(known), "failures of the mission")}, or write "kind: of" '
            f"with one of the kinds {', '.join(_KINDS)}"
        )
    assert failure_name(kind, of) == name
    return {"kind": kind, "of": of, "probability": 1.0} | ({"late_by": LATE_BY} if kind == "late_apogee" else {})


def _listed(mission: Mission, one: Any) -> Hypothesis:
    """Return the hypothesis of a failure's name, or of several; "nominal" of none."""
    names = [one] if isinstance(one, str) else list(one) if isinstance(one, Sequence) else None
    if names is None or not all(isinstance(name, str) for name in names):
        raise TypeError(f'what_happened: a hypothesis is the name of a failure such as "no_deployment: main", or a list of them, not {shown(one)}')
    names = [name for name in names if name != NOMINAL]
    known = {failure.name: k for k, failure in enumerate(mission.failure)}
    lost = [name for name in names if name not in known]
    if lost:
        raise ValueError(
            f"what_happened: the mission gives no probability of {shown(lost[0])}; {suggestion(lost[0], tuple(known), 'failures')}, or give a prior: {_HOW}"
        )
    return _branch(mission, [known[name] for name in names], _probability(mission, [known[name] for name in names]))


def _given(mission: Mission, name: str, one: Any) -> Hypothesis:
    if isinstance(one, Mission):
        return Hypothesis(name, one, 1.0, "a mission as given")
    if not isinstance(one, Mapping):
        raise TypeError(f"what_happened: the hypothesis {shown(name)} must be a mission or a table such as those of {_HOW}, not {shown(one)}")
    unknown = [str(key) for key in one if key not in _KEYS]
    if unknown:
        raise ValueError(f"what_happened: the hypothesis {shown(name)}: unknown key {shown(unknown[0])}; {suggestion(unknown[0], _KEYS, 'keys')}")
    base = one.get("mission", mission)
    if not isinstance(base, Mission):
        raise TypeError(f"what_happened: the hypothesis {shown(name)}: mission must be a Mission, not {shown(base)}")
    failures = one.get("failures", ())
    failures = [failures] if isinstance(failures, str) else list(failures)
    made = forced(base.change(dict(one["change"])) if one.get("change") else base, failures)
    words = [*failures, *(f"{key} = {value}" for key, value in dict(one.get("change", {})).items())]
    return Hypothesis(name, made, _prior(name, one.get("prior", 1.0)), str(one.get("what", ", ".join(words))))


def _prior(name: str, value: Any) -> float:
    try:
        found = parse(value, "1")
    except QuantityError as error:
        raise ValueError(f"what_happened: the prior of {shown(name)}: {error}") from None
    if not 0.0 <= found < float("inf"):
        raise ValueError(f"what_happened: the prior of {shown(name)}: {shown(value)} must be 0 or more; priors need not add up to 1")
    return found

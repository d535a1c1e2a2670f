"""Checks of what is dispersed: the keys of a spread, and which draws go together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sixdof.mission import tables
from sixdof.mission.checks.common import missing, unused
from sixdof.mission.disperse import item_of
from sixdof.mission.errors import Problem, suggestion
from sixdof.mission.paths import NoPath
from sixdof.mission.tables.base import check_of
from sixdof.mission.units import shown

SYMMETRY = 1e-9  # of a matrix: numbers typed twice, or computed, may differ by this
# kind: the keys it needs, and those it may have
_KEYS = {
    "normal": (("sd",), ("mean", "low", "high")),
    "uniform": (("low", "high"), ()),
    "triangular": (("low", "mode", "high"), ()),
    "fixed": (("mean",), ()),
    "lognormal": (("log_sd",), ("median", "low", "high")),
    "discrete": (("values",), ("weights", "unit")),
    "bernoulli": (("value", "probability"), ()),
    "empirical": ((), ("values", "unit", "data", "column")),
}

# ---------------------------------------------------------------- within one table


@check_of(tables.Spread)
def _spread(spread: tables.Spread) -> Iterator[Problem]:
    why, (needed, free) = f'kind "{spread.kind}"', _KEYS[spread.kind]
    yield from missing(spread, needed, why)
    yield from unused(spread, [key for key in tables.Spread.model_fields if key not in ("kind", "of", *needed, *free)], why)
    if spread.kind == "discrete":
        yield from _weights(spread)
    if spread.kind == "empirical":
        yield from _data(spread, why)


def _weights(spread: tables.Spread) -> Iterator[Problem]:
    if spread.weights and len(spread.weights) != len(spread.values):
        message = f"there are {len(spread.weights)} weights for {len(spread.values)} values"
        yield Problem(("weights",), None, message, "write one for each value, or none for values that come equally often")
    elif spread.weights and not sum(spread.weights) > 0.0:
        yield Problem(("weights",), None, "every weight is 0", "at least one must be more than 0")


def _data(spread: tables.Spread, why: str) -> Iterator[Problem]:
    if not spread.data and not spread.values:
        hint = f"{why} needs the path of a CSV file or of a past ensemble (.nc, .zarr), with the name of its column"
        yield Problem(("data",), None, "missing", hint)
    elif spread.data and spread.values:
        yield Problem(("values",), None, "data holds the values", "give one of the two")
    elif spread.data and not spread.column:
        yield Problem(("column",), None, "missing", f"which column of {shown(spread.data)} holds the values?")


@check_of(tables.Correlation)
def _correlation(group: tables.Correlation) -> Iterator[Problem]:
    count = len(group.of)
    if count < 2:
        yield Problem(("of",), None, f"{count} name{'' if count == 1 else 's'} cannot go together", "write two or more")
        return
    for i, name in enumerate(group.of):
        if name in group.of[:i]:
            yield Problem(("of", i), name, f"{shown(name)} comes twice", "write every name once")
            return
    if group.coefficient is not None:
        yield from _pair(group)
    elif not group.matrix:
        hint = "write the coefficient of the pair, -1 to 1" if count == 2 else "write the matrix of their coefficients"
        yield Problem(("coefficient" if count == 2 else "matrix",), None, "missing", hint)
    else:
        yield from _matrix(group.matrix, count)


def _pair(group: tables.Correlation) -> Iterator[Problem]:
    if group.matrix:
        yield Problem(("coefficient",), group.coefficient, "the matrix holds the coefficients", "give one of the two")
    elif len(group.of) > 2:
        message = f"one coefficient says nothing of {len(group.of)} names"
        yield Problem(("coefficient",), group.coefficient, message, "write their matrix = [[1, ...], ...], row by row")
    elif not abs(group.coefficient) < 1.0:
        yield Problem(("coefficient",), group.coefficient, f"{group.coefficient:g} is not between -1 and 1", "both ends excluded")


def _matrix(matrix: tuple[tuple[float, ...], ...], count: int) -> Iterator[Problem]:
    if [len(row) for row in matrix] != [count] * count:
        yield Problem(("matrix",), None, f"it is not {count} rows of {count} numbers", "write a row for each name, in the order of `of`")
        return
    for i, row in enumerate(matrix):
        if row[i] != 1.0:
            yield Problem(("matrix", i, i), row[i], f"{row[i]:g} stands on the diagonal", "a quantity goes together with itself: write 1")
            return
        for k in range(i):
            if abs(row[k] - matrix[k][i]) > SYMMETRY:
                message = f"{row[k]:g} in row {i + 1} is {matrix[k][i]:g} in row {k + 1}"
                yield Problem(("matrix", i, k), row[k], message, "the matrix is symmetric: write the same number in both places")
                return
    if not _is_positive(matrix):
        hint = "no quantities can go together like that: bring some coefficients nearer to 0"
        yield Problem(("matrix",), None, "it is not positive definite", hint)


def _is_positive(matrix: tuple[tuple[float, ...], ...]) -> bool:
    import numpy as np

    try:
        return bool(np.all(np.isfinite(np.linalg.cholesky(np.array(matrix)))))
    except np.linalg.LinAlgError:
        return False


# ---------------------------------------------------------------- across tables


def correlation_problems(mission: tables.MissionTables) -> Iterator[Problem]:
    """Yield what is wrong with the names of the correlated groups of `mission`; paths start from the mission."""
    seen: dict[str, list[int]] = {}
    for g, group in enumerate(mission.correlation):
        each: dict[str, str] = {}
        for i, name in enumerate(group.of):
            loc = ("correlation", g, "of", i)
            if name not in mission.disperse:
                yield Problem(loc, name, *_not_dispersed(mission, name))
                continue
            twice = [other for other in seen.get(name, ()) if _share(mission.correlation[other], group)]
            if twice:
                message = f"{shown(name)} is in correlation[{twice[0]}] too"
                yield Problem(loc, name, message, "write one group with the matrix of all its names")
            seen.setdefault(name, []).append(g)
            try:
                each[name] = item_of(mission, name).each
            except NoPath:
                continue  # a fault of its own
            first = next(iter(each))
            if each[name] != each[first]:
                message = f"{shown(name)} is drawn {_how(each[name])}, {shown(first)} {_how(each[first])}"
                yield Problem(loc, name, message, "only draws of the same things can go together")
        if each:
            yield from _unknown(mission, next(iter(each.values())), ("correlation", g, "only"), group.only)


def own_spread_problems(mission: tables.MissionTables) -> Iterator[Problem]:
    """Yield the names of single things in spreads that the mission does not have; paths start from the mission."""
    for name, spread in mission.disperse.items():
        if spread.of:
            yield from _unknown(mission, item_of(mission, name).each, ("disperse", name, "of"), spread.of)


def _share(one: tables.Correlation, other: tables.Correlation) -> bool:
    """Tell whether two groups speak of the same stages, joints ..."""
    return not one.only or not other.only or bool(set(one.only) & set(other.only))


def _unknown(mission: tables.MissionTables, each: str, loc: tuple, names: Iterable[str]) -> Iterator[Problem]:
    """Yield the names that no stage, joint, rule, harness, canopy or fin has, whichever there is a draw for."""
    known = _things(mission, each)
    for name in names:
        if name not in known:
            yield Problem(loc, name, f"there is no {each or 'single thing'} {shown(name)}", suggestion(name, known, "known are"))


def _things(mission: tables.MissionTables, each: str) -> tuple[str, ...]:
    parts = [part for stage in mission.stage for part in stage.part]
    fins = sum(part.count for part in parts if isinstance(part, tables.Fins) and part.control)
    return {
        "stage": tuple(stage.name for stage in mission.stage),
        "joint": tuple(stage.name for stage in mission.stage[1:]),
        "rule": tuple(rule.name for rule in mission.rule),
        "harness": tuple(harness.canopy for harness in mission.harness),
        "canopy": tuple(part.name for part in parts if isinstance(part, tables.Parachute)),
        "fin": tuple(str(number + 1) for number in range(fins)),
    }.get(each, ())


def _not_dispersed(mission: tables.MissionTables, name: str) -> tuple[str, str]:
    if name in [failure.name for failure in mission.failure]:
        return f"{shown(name)} is a failure", "only what [disperse] holds can go together"
    return f"{shown(name)} is not dispersed", suggestion(name, tuple(mission.disperse), "dispersed are")


def _how(each: str) -> str:
    return f"for every {each}" if each else "once per flight"

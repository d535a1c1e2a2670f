"""The `[disperse]` table: its names and numbers, put into one form."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sixdof.mission.errors import Problem, nearest_word, raise_problems, suggestion
from sixdof.mission.paths import NoPath, PathItem, is_path, path_item, steps_of
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.tables.mission import MissionTables
from sixdof.mission.units import QuantityError, converter, parse, parse_difference, shown

NUMBERS = ("mean", "sd", "low", "mode", "high", "median", "value")
CENTRES = {"normal": "mean", "lognormal": "median", "bernoulli": None}  # of kinds that may lean on the mission's own value: the key instead
_GROUPS = {name.partition(".")[0] for name in DISPERSIBLE}


def with_flat_names(table: Any) -> Any:
    """Return the table with nested names joined: `wind.speed = {...}` without quotes is a table in a table to TOML."""
    if not isinstance(table, Mapping):
        return table
    flat: dict[Any, Any] = {}
    for key, value in table.items():
        if _holds_tables(value) or (isinstance(value, Mapping) and value and key in _GROUPS):
            flat.update({f"{key}.{name}": entry for name, entry in _deep(value)})
        else:
            flat[key] = value
    return flat


def _holds_tables(value: Any) -> bool:
    return isinstance(value, Mapping) and bool(value) and all(isinstance(entry, Mapping) and name != "of" for name, entry in value.items())


def _deep(table: Mapping) -> Iterator[tuple[str, Any]]:
    """Yield the names within a table of tables, joined, as far down as there are only tables."""
    for name, entry in table.items():
        if _holds_tables(entry):
            yield from ((f"{name}.{deeper}", spread) for deeper, spread in _deep(entry))
        else:
            yield name, entry


def item_of(root: Any, name: str) -> Dispersible:
    """Return what a name of `[disperse]` stands for; names of the registry come before paths.

    root : a mission, or the dictionary of its tables. Raises NoPath where the name means nothing that can be dispersed.
    """
    if name in DISPERSIBLE:
        return DISPERSIBLE[name]
    unknown = NoPath(f"{shown(name)} cannot be dispersed", suggestion(name, tuple(DISPERSIBLE), "what can be dispersed"))
    if not is_path(name):
        raise unknown
    try:
        return path_item(root, name)
    except NoPath as error:
        short = len(steps_of(name)) == 2 and steps_of(name)[0] in _GROUPS
        if short and nearest_word(name, DISPERSIBLE) is not None and not error.hint.startswith("did you mean"):
            raise unknown from None  # motor.impuls is not a motor
        raise NoPath(f"{shown(name)} cannot be dispersed: {error}", error.hint) from None


def to_si(spreads: Mapping[str, Any], tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return the spreads with every number a float in SI: names of the registry in its order, then paths by name.

    tables : the mission's other tables, which paths lead into; a path into one that is not there (it has faults of its own) is left.

    Raises
    ------
    PydanticCustomError
        Of type "problems": unknown names, numbers of the wrong unit or beyond what has a meaning.
    """
    problems: list[Problem] = []
    found, places = {}, {}
    for name, spread in spreads.items():
        if name not in DISPERSIBLE and is_path(name) and _not_there(tables, name):
            continue
        try:
            item = item_of(tables, name)
        except NoPath as error:
            problems.append(Problem((name,), None, str(error), error.hint))
            continue
        if isinstance(item, PathItem):
            other = places.setdefault(item.loc, name)
            if other != name:
                problems.append(Problem((name,), None, f"{shown(name)} is the same number as {shown(other)}", "keep one of the two"))
                continue
        found[name], faults = _spread_to_si(item, spread)
        problems += faults
    raise_problems(problems, spreads)
    paths = sorted(name for name in found if name not in DISPERSIBLE)
    return {name: found[name] for name in (*(name for name in DISPERSIBLE if name in found), *paths)}


def _not_there(tables: Mapping[str, Any], name: str) -> bool:
    before = list(MissionTables.model_fields)[: list(MissionTables.model_fields).index("disperse")]
    return steps_of(name)[0] in before and steps_of(name)[0] not in tables


def _spread_to_si(item: Dispersible, spread: Any) -> tuple[Any, list[Problem]]:
    """Return a spread in SI, and what is wrong with its numbers."""
    if spread.data:
        hint = "load_mission, loads_mission and build read files; give the numbers as values"
        return spread, [Problem((item.name, "data"), spread.data, "was not read", hint)]
    numbers, problems = {}, []
    for key in NUMBERS:
        try:
            numbers[key] = _number(item, key, getattr(spread, key))
        except QuantityError as error:
            problems.append(Problem((item.name, key), getattr(spread, key), error.message, error.hint))
    values, faults = _values(item, spread)
    own, own_faults = _own(item, spread)
    problems += [*faults, *own_faults]
    if problems:
        return spread, problems
    made = spread.model_copy(update={**numbers, "values": values, "unit": "", "of": own})
    problems = _order(item, made)
    if not problems and isinstance(item, PathItem):
        problems = [Problem((item.name, *p.loc), p.value, p.message, p.hint) for p in own_problems(item, made, item.own)]
    return made, problems


def _number(item: Dispersible, key: str, value) -> float | None:
    if value is None:
        return None
    if key != "sd" and isinstance(item, PathItem):
        return item.check(value)
    is_step = key == "sd" or item.role == "offset"
    number = (parse_difference if is_step else parse)(value, item.unit)
    if key == "sd" and number < 0.0:
        raise QuantityError(f"{shown(value)} must not be negative", "a standard deviation is 0 or more")
    if item.whole and number != round(number):
        raise QuantityError(f"{shown(value)} is not a whole number", f"{item.name} is counted from 0")
    if key != "sd" and item.least is not None and number < item.least:
        raise QuantityError(f"{shown(value)} must be at least {item.least:g}", f"{item.name} is {_role(item)}")
    return number


def _values(item: Dispersible, spread: Any) -> tuple[tuple[float, ...], list[Problem]]:
    """Return the values of a spread in SI (of data in rising order), and the first thing wrong with them."""
    given = spread.values
    if spread.unit:
        try:
            if item.role == "offset":
                parse_difference(f"1 {spread.unit}", item.unit)
            convert = converter(spread.unit, item.unit)
        except QuantityError as error:
            message = error.message if error.message.startswith('"') else f"{shown(spread.unit)} {error.message}"
            return (), [Problem((item.name, "unit"), spread.unit, message, error.hint)]
        given = tuple(convert(value) if isinstance(value, float) else value for value in given)
    numbers = []
    for i, value in enumerate(given):
        try:
            numbers.append(_number(item, "values", value))
        except QuantityError as error:
            return (), [Problem((item.name, "values", i), value, error.message, error.hint)]
    return tuple(sorted(numbers) if spread.kind == "empirical" else numbers), []


def _own(item: Dispersible, spread: Any) -> tuple[dict[str, Any], list[Problem]]:
    """Return the spreads of single things in SI, and what is wrong with their numbers."""
    if spread.of and not item.each:
        return {}, [
            Problem((item.name, "of"), None, f"{item.name} is one draw per flight", "remove it: only what is drawn one by one has draws of single ones")
        ]
    found, problems = {}, []
    for name, own in spread.of.items():
        numbers = {}
        for key in ("mean", "sd"):
            try:
                numbers[key] = _number(item, key, getattr(own, key))
            except QuantityError as error:
                problems.append(Problem((item.name, "of", name, key), getattr(own, key), error.message, error.hint))
        found[name] = own.model_copy(update=numbers)
    return found, problems


def _role(item: Dispersible) -> str:
    roles = {"value": "the value itself", "factor": "a factor, 1 by default", "offset": "an offset, 0 by default"}
    return roles[item.role]


def _order(item: Dispersible, spread) -> list[Problem]:
    """Return what is wrong with the order of a spread's numbers (SI)."""
    low, high, mode = spread.low, spread.high, spread.mode
    if low is not None and high is not None and low > high:
        return [Problem((item.name, "low"), low, f"{low:g} is more than high, {high:g}", "exchange low and high")]
    if spread.kind == "triangular" and None not in (low, mode, high) and not low <= mode <= high:
        return [Problem((item.name, "mode"), mode, f"{mode:g} is not between low, {low:g}, and high, {high:g}")]
    if spread.kind in ("normal", "lognormal") and low is not None and low == high:
        return [Problem((item.name, "low"), low, f"low and high are both {low:g}", 'write kind = "fixed" instead')]
    if spread.kind == "lognormal":
        return _above_zero(item, spread)
    centre = item.neutral if spread.mean is None else spread.mean
    if spread.kind == "normal" and centre is not None:
        return _centre_cut(item, spread, "mean", centre)
    return []


def _above_zero(item: Dispersible, spread) -> list[Problem]:
    """Return what is wrong with a lognormal spread, whose draws are all above zero."""
    if spread.high is not None and spread.high <= 0.0:
        return [Problem((item.name, "high"), spread.high, f"{spread.high:g} is not above 0", "every draw of a lognormal spread is")]
    centre = item.neutral if spread.median is None else spread.median
    if centre is None:
        return []
    if centre <= 0.0:
        message = "missing" if spread.median is None else f"{spread.median:g} is not above 0"
        hint = f"a lognormal spread needs a median above 0; {item.name} is {_role(item)}"
        return [Problem((item.name, "median"), spread.median, message, hint)]
    return _centre_cut(item, spread, "median", centre)


def _centre_cut(item: Dispersible, spread, key: str, centre: float) -> list[Problem]:
    low, high = spread.low, spread.high
    if (low is not None and centre < low) or (high is not None and centre > high):
        hint = f"low and high cut the values themselves; {item.name} is {_role(item)}"
        return [Problem((item.name, key), centre, f"the {key}, {centre:g}, is not between low and high", hint)]
    return []


def leans_on_own(spread) -> bool:
    """Tell whether a spread of a value needs the mission's own."""
    if spread.kind not in CENTRES:
        return False
    key = CENTRES[spread.kind]
    return key is None or getattr(spread, key) is None


def own_problems(item: Dispersible, spread, own: float | None) -> Iterator[Problem]:
    """Yield what keeps a spread of a value from leaning on the mission's own (SI; None: it has none); paths start from the spread."""
    if not leans_on_own(spread):
        return
    key = CENTRES[spread.kind]
    what = f"write a {key}" if key else "give it in the mission: it is flown where value is not drawn"
    if own is None:
        yield Problem((key or "value",), None, "the mission has no own value of it", what)
    elif spread.kind == "lognormal" and own <= 0.0:
        yield Problem((key,), own, f"the mission's own value, {own:g} {item.unit}, is not above 0", what)
    elif (spread.low is not None and own < spread.low) or (spread.high is not None and own > spread.high):
        message = f"the mission's own value, {own:g} {item.unit}, is not between low and high"
        yield Problem((key,), own, message, f"{what}, or change low or high")

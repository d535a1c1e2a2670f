"""Criteria in the builder's own words: "tilt at burnout < 15 deg in 95 % of flights" becomes True or False for every flight.

What a criterion may speak of, its *subject*, is a number or a flag of the registry (`sixdof.results.REGISTRY`):

    apogee                         an outcome
    tilt at burnout                a column of the event table, of the front body
    height at apogee of drayhorse  the same of another body
    impact_speed of drayhorse      a fact of a body, joint, rule, canopy, failure or waypoint, by its name or number
    landing, landing of drayhorse  a place: within a distance of the rail, or of a point (east, north) from it

and a criterion is one of

    <subject> < <quantity>                               also <=, >, >=; the quantity with its unit, as in a mission file
    landing within 300 m of the rail                     or "of (120 m, -40 m)", or "landing of drayhorse within ..."
    status is landed or out_of_time                      a flag, and words of its meanings; "is not" too

with "in 99 % of flights" behind it (99 % where it is left out).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import QuantityError, example, parse, shown
from sixdof.results import REGISTRY
from sixdof.study.reading import event_values, fact, meaningful, need_ensemble, outcomes

SHARE = 0.99  # of all flights, where a criterion does not say
LANDING = "landing"
THINGS = ("body", "joint", "rule", "canopy", "failure", "waypoint_number")  # what a fact may belong to
NOT_HERE = -128  # a flag of something that a variant does not have; see `comparison.compare`
_COLUMNS = {name.removeprefix("event_"): v for name, v in REGISTRY.items() if v.dims == ("body", "event")}
_FACTS = {name: v for name, v in REGISTRY.items() if len(v.dims) == 1 and v.dims[0] in THINGS and "degrees" not in v.units}
_OUTCOMES = {name: v for name, v in REGISTRY.items() if not v.dims and name != "branch"}

_WITH_SHARE = re.compile(r"(?P<what>.+?)\s+in\s+(?P<share>[^\s<>=]+?\s*%?)(?:\s+(?:of\s+)?(?:all\s+)?(?:the\s+)?flights)?")
_COMPARED = re.compile(r"(?P<subject>[^<>=]+?)\s*(?P<relation><=|>=|<|>)\s*(?P<limit>[^<>=]+)")
_WITHIN = re.compile(r"(?P<subject>.+?)\s+within\s+(?P<limit>.+?)\s+of\s+(?P<place>.+)")
_FLAGGED = re.compile(r"(?P<subject>.+?)\s+(?P<relation>is not|is)\s+(?P<words>.+)")
_SUBJECT = re.compile(r"(?P<name>\S+)(?:\s+at\s+(?P<event>.+?))?(?:\s+of\s+(?P<thing>.+))?")
_PLACE = re.compile(r"\(\s*(?P<east>[^,;]+?)\s*[,;]\s*(?P<north>[^,;]+?)\s*\)")
_HOW = 'write such as "apogee < 1800 m in 99 % of flights", "landing within 300 m of the rail" or "status is landed"'


# ---------------------------------------------------------------- subjects


@dataclass(frozen=True)
class Subject:
    """What a criterion speaks of. event, thing : "" where it has none. place : east, north (m) that a landing is measured from."""

    name: str
    event: str = ""
    thing: str = ""
    place: tuple[float, float] | None = None

    def __str__(self) -> str:
        if self.place is not None:
            return f"distance of landing{f' of {self.thing}' if self.thing else ''} from {_place_text(self.place)}"
        return self.name + (f" at {self.event}" if self.event else "") + (f" of {self.thing}" if self.thing else "")

    @property
    def variable(self):
        """The entry of the registry; of a landing that of its distance east, whose unit it shares."""
        if self.place is not None:
            return REGISTRY["landing_east"]
        return _COLUMNS[self.name] if self.event else _FACTS[self.name] if self.thing else _OUTCOMES[self.name]

    @property
    def needs(self) -> tuple[str, ...]:
        """The variables of a result it is read from, besides `status`."""
        if self.place is None:
            return ("event_time" if self.name == "time" else f"event_{self.name}",) if self.event else (self.name,)
        return ("impact_east", "impact_north") if self.thing else ("landing_east", "landing_north")

    def array(self, ds: xr.Dataset) -> xr.DataArray:
        """Return its value in every flight of an ensemble, (flight), with unit and long name; NaN where a flight has none.

        Raises ValueError for a result that does not hold it.
        """
        need_ensemble(ds, f'"{self}"', "status", *self.needs)
        flags = [int(v) for v in np.atleast_1d(ds[self.needs[0]].attrs.get("flag_values", ()))]
        values = self._values(ds)
        if flags:
            values = np.where(values == NOT_HERE, np.nan, values)
        attrs = {"units": self.variable.units, "long_name": self._long_name()}
        return xr.DataArray(values, {"flight": ds["flight"]}, ("flight",), str(self), attrs)

    def _values(self, ds: xr.Dataset) -> np.ndarray:
        if self.event:
            if self.thing and self.thing not in ds["body"].values:
                return np.full(ds.sizes["flight"], np.nan)
            known = event_values(ds, self.event, self.name, body=self.thing or 0)
            return np.where(meaningful(ds), known, np.nan)
        if self.place is not None:
            east, north = (self._fact(ds, name) if self.thing else outcomes(ds, name) for name in self.needs)
            return np.hypot(east - self.place[0], north - self.place[1])
        if self.name == "status":
            return ds["status"].values.astype(float)
        return self._fact(ds, self.name) if self.thing else outcomes(ds, self.name)

    def _fact(self, ds: xr.Dataset, name: str) -> np.ndarray:
        names = [str(one) for one in ds[REGISTRY[name].dims[0]].values]
        return fact(ds, name, names.index(self.thing)) if self.thing in names else np.full(ds.sizes["flight"], np.nan)

    def _long_name(self) -> str:
        if self.place is not None:
            return str(self)
        text = self.variable.long_name
        text = text.replace("the event", self.event) if self.event else text
        return f"{text}, {self.thing}" if self.thing else text


def subject(text: str) -> Subject:
    """Return the subject that a text such as "tilt at burnout" or "impact_speed of drayhorse" means.

    Raises ValueError, in one sentence, for a name that the registry does not know or that needs an event or a thing.
    """
    found = _SUBJECT.fullmatch(" ".join(str(text).split()))
    if found is None or not isinstance(text, str):
        raise ValueError(f"{shown(text)} names no outcome; {_HOW}")
    name, event, thing = found["name"], found["event"] or "", found["thing"] or ""
    if name == LANDING and not event:
        return Subject(LANDING, thing=thing, place=(0.0, 0.0))
    if event:
        _need_known(name, _COLUMNS, "column of the event table", "columns")
    elif name in _FACTS and not thing:
        of = _FACTS[name].dims[0].replace("_", " ")
        raise ValueError(f'{name} belongs to a {of}; write "{name} of <{of}>"')
    elif name in _COLUMNS and name not in _OUTCOMES:
        raise ValueError(f'{name} is taken at an event; write such as "{name} at apogee"')
    elif thing and name in _OUTCOMES:
        raise ValueError(f'{name} is an outcome of the whole flight; leave out "of {thing}"')
    else:
        _need_known(name, _FACTS if thing else _OUTCOMES | _FACTS, "outcome", "outcomes")
    return Subject(name, event, thing)


def _need_known(name: str, known: Mapping, what: str, plural: str) -> None:
    if name not in known:
        raise ValueError(f'there is no {what} "{name}"; {suggestion(name, tuple(known), plural)}')


def _place_text(place: tuple[float, float]) -> str:
    return "the rail" if place == (0.0, 0.0) else f"({place[0]!r} m, {place[1]!r} m)"


# ---------------------------------------------------------------- criteria


@dataclass(frozen=True)
class Criterion:
    """Something that a share of all flights is to hold. Make one with `criterion` or `own_criterion`.

    relation : "<", "<=", ">", ">=", "within", "is" or "is not"; "" for a function of one's own.
    limit : in SI or rad, None for words. words : of the flag's meanings. written : the limit as it was written.
    """

    what: str
    share: float
    subject: Subject | None = None
    relation: str = ""
    limit: float | None = None
    words: tuple[str, ...] = ()
    function: Callable[[xr.Dataset], object] | None = None

    def __str__(self) -> str:
        return f"{self.what} in {_percent(self.share)} of flights"

    def holds(self, ds: xr.Dataset) -> tuple[np.ndarray, int]:
        """Return for each flight of an ensemble whether it holds, bool (flights,), and how many flights have no value.

        A flight without a value, such as one that diverged or never reached the event, does not hold the criterion.

        Raises ValueError for a result that lacks what is needed, or a function that gives something else than a bool a flight.
        """
        if self.function is not None:
            return _own_result(self.function(ds), self.what, ds.sizes["flight"]), 0
        values = self.subject.array(ds).values
        known = ~np.isnan(values)
        if self.words:
            flags = self.subject.variable
            meant = [flags.first_flag + flags.flags.index(word) for word in self.words]
            return known & (np.isin(values, meant) == (self.relation == "is")), int(np.sum(~known))
        compared = {"<": np.less, ">": np.greater, ">=": np.greater_equal}.get(self.relation, np.less_equal)
        return compared(values, self.limit), int(np.sum(~known))  # comparisons with NaN are False


def _own_result(holds, name: str, flights: int) -> np.ndarray:
    holds = np.asarray(holds)
    if holds.shape != (flights,) or holds.dtype.kind != "b":
        raise ValueError(f'criterion "{name}": its function must return one bool a flight, ({flights},), not {holds.dtype} {holds.shape}')
    return holds


def own_criterion(what: str, function: Callable[[xr.Dataset], object], share: float | str = SHARE) -> Criterion:
    """Return a criterion judged by a function of one's own.

    what : how it is called in tables. function : takes the ensemble of one variant, as `disperse` returns it, and returns one bool a
    flight, such as `lambda ds: (ds.apogee < 1800) & (ds.max_tilt < 0.5)`. share : of all flights that must hold it.
    """
    if not callable(function):
        raise ValueError(f'criterion "{what}": {shown(function)} is no function of an ensemble')
    return Criterion(" ".join(what.split()), _share(share), function=function)


def criterion(text: str | Criterion) -> Criterion:
    """Return the criterion written in `text` (see the head of this module); a Criterion is returned as it is.

    Raises
    ------
    ValueError
        In one sentence that quotes the text: what is wrong and what would be right.
    """
    if isinstance(text, Criterion):
        return text
    if not isinstance(text, str):
        raise ValueError(f"a criterion is text, or what own_criterion returns, not {shown(text)}; {_HOW}")
    flat = " ".join(text.replace("≤", "<=").replace("≥", ">=").split())
    try:
        found = _WITH_SHARE.fullmatch(flat)
        what, share = (found["what"], _share(found["share"])) if found else (flat, SHARE)
        return _condition(what, share)
    except ValueError as error:
        raise ValueError(f'criterion "{flat}": {error}') from None


def criteria_of(criteria: str | Criterion | Iterable[str | Criterion]) -> list[Criterion]:
    """Return criteria, parsed; one alone may stand for a list. Raises ValueError as `criterion`, and for one given twice."""
    found = [criterion(one) for one in ([criteria] if isinstance(criteria, str | Criterion) else criteria)]
    names = [str(one) for one in found]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise ValueError(f'criterion "{twice[0]}" is given twice')
    return found


def _share(written: float | str) -> float:
    if isinstance(written, str) and not re.match(r"[0-9.]", written):
        raise ValueError(f'"in {written}" says no share of the flights; write such as "in 99 % of flights"')
    try:
        share = parse(written, "1")
    except QuantityError:
        raise ValueError(f'{shown(written)} is no share of the flights; write such as "in 99 % of flights"') from None
    if share == 1.0:
        raise ValueError("no number of flights shows that all of them would hold it; write such as 99.9 %")
    if not 0.0 < share < 1.0:
        raise ValueError(f'a share of {shown(written)} is not between 0 and 1; write such as "in 99 % of flights"')
    return share


def _percent(share: float) -> str:
    """Return a share in per cent, in as few digits as give the same float again."""
    text = next(t for n in range(1, 18) if parse(t := f"{100.0 * share:.{n}g} %", "1") == share or n == 17)
    return text if parse(text, "1") == share else repr(share)


def _condition(what: str, share: float) -> Criterion:
    if found := _WITHIN.fullmatch(what):
        return _within(found, share)
    if found := _COMPARED.fullmatch(what):
        of = subject(found["subject"])
        if of.place is not None:
            raise ValueError('a landing is a place; write such as "landing within 300 m of the rail"')
        if of.variable.flags:
            raise ValueError(f"{of.name} is a flag; write {_flag_example(of)}")
        limit = _limit(found["limit"], of.variable.units)
        return Criterion(f"{of} {found['relation']} {found['limit']}", share, of, found["relation"], limit)
    if found := _FLAGGED.fullmatch(what):
        return _flagged(found, share)
    raise ValueError(f"no condition is found in it; {_HOW}")


def _within(found, share: float) -> Criterion:
    of = subject(found["subject"])
    if of.name != LANDING:
        raise ValueError(f'only a landing lies within a distance of a place; write "{of} < ..."')
    limit = _limit(found["limit"], "m")
    if not limit > 0.0:
        raise ValueError(f'{shown(found["limit"])} is no distance; write such as "300 m"')
    place = _place(found["place"])
    name = LANDING + (f" of {of.thing}" if of.thing else "")
    where = "the rail" if place is None else f"({place[1]}, {place[2]})"
    at = (0.0, 0.0) if place is None else place[0]
    return Criterion(f"{name} within {found['limit']} of {where}", share, Subject(LANDING, thing=of.thing, place=at), "within", limit)


def _place(written: str):
    """Return None for the rail, else (east, north) in m and how both were written."""
    if written in ("the rail", "rail"):
        return None
    found = _PLACE.fullmatch(written)
    if found is None:
        raise ValueError(f'{shown(written)} is no place; write "the rail", or east and north of it such as "(120 m, -40 m)"')
    return (_limit(found["east"], "m"), _limit(found["north"], "m")), found["east"], found["north"]


def _flagged(found, share: float) -> Criterion:
    of = subject(found["subject"])
    if of.place is not None or not of.variable.flags:
        raise ValueError(f'{of.name} is a number; write such as "{of.name} < ..."')
    words = tuple(re.split(r"\s+or\s+", found["words"]))
    for word in words:
        _need_known(word, dict.fromkeys(of.variable.flags), f"{of.name}", "it is one of")
    return Criterion(f"{of} {found['relation']} {' or '.join(words)}", share, of, found["relation"], None, words)


def _flag_example(of: Subject) -> str:
    return f'"{of} is {of.variable.flags[-1]}", with a word of {", ".join(of.variable.flags)}'


def _limit(written: str, units: str) -> float:
    units = units.replace(" ", "*")
    try:
        return parse(written, units)
    except QuantityError as error:
        if "no unit" in error.message:
            raise ValueError(f"{error.message}; write {example(units)}") from None
        raise ValueError(str(error)) from None


# ---------------------------------------------------------------- are the names there?


def check_names(criteria: Sequence[Criterion], names: Mapping[str, Sequence[str]]) -> None:
    """Raise ValueError if a criterion speaks of an event, body, joint ... that is none of `names` (dim -> names)."""
    for one in criteria:
        if one.subject is None:
            continue
        try:
            need_names(one.subject, names)
        except ValueError as error:
            raise ValueError(f'criterion "{one}": {error}') from None


def need_names(of: Subject, names: Mapping[str, Sequence[str]]) -> None:
    """Raise ValueError if a subject speaks of an event, body, joint ... that is none of `names` (dim -> names)."""
    dim = "body" if of.event or of.place is not None else of.variable.dims[0] if of.thing else ""
    for kind, word in (("event", of.event), (dim, of.thing)):
        known = [str(name) for name in names.get(kind, ())]
        if word and word not in known:
            raise ValueError(f'there is no {kind.replace("_", " ")} "{word}"; {suggestion(word, known, f"the {kind}s are")}')

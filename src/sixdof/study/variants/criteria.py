"""Criteria in the builder's own words: "tilt at burnout < 15 deg in 95 % of flights" becomes True or False for every flight.

A criterion is one of

    <subject> < <quantity>                   also <=, >, >=; a subject as in `sixdof.stats.criterion`, a quantity as in a mission file
    landing within 300 m of the rail         or "of (120 m, -40 m)", east and north of it; or "landing of drayhorse within ..."
    status is landed or out_of_time          a flag, and words of its meanings; "is not" too

with "in 99 % of flights" behind it (99 % where that is omitted).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import xarray as xr

from sixdof.mission.errors import printable
from sixdof.mission.units import QuantityError, example, parse, shown
from sixdof.study.variants.subjects import LANDING, Subject, need_known, need_names, subject

SHARE = 0.99  # of all flights, where a criterion does not say

_WITH_SHARE = re.compile(r"(?P<what>.+?)\s+in\s+(?P<share>[^\s<>=]+?\s*%?)(?:\s+(?:of\s+)?(?:all\s+)?(?:the\s+)?flights)?")
_COMPARED = re.compile(r"(?P<subject>[^<>=]+?)\s*(?P<relation><=|>=|<|>)\s*(?P<limit>[^<>=]+)")
_WITHIN = re.compile(r"(?P<subject>.+?)\s+within\s+(?P<limit>.+?)\s+of\s+(?P<place>.+)")
_FLAGGED = re.compile(r"(?P<subject>.+?)\s+(?P<relation>is not|is)\s+(?P<words>.+)")
_PLACE = re.compile(r"\(\s*(?P<east>[^,;]+?)\s*[,;]\s*(?P<north>[^,;]+?)\s*\)")
_HOW = 'write, for example, "apogee_height < 1800 m in 99 % of flights", "landing within 300 m of the rail" or "status is landed"'


@dataclass(frozen=True)
class Criterion:
    """Something that a share of all flights is to meet. Make one with `criterion` or `own_criterion`.

    relation : "<", "<=", ">", ">=", "within", "is" or "is not"; "" for a custom function.
    what : the condition as it is written. limit : in SI or rad, None for words. words : of the flag's meanings.
    """

    what: str
    share: float
    subject: Subject | None = None
    relation: str = ""
    limit: float | None = None
    words: tuple[str, ...] = ()
    function: Callable[[xr.Dataset], object] | None = None

    def __str__(self) -> str:
        return f"{self.what} in {percent(self.share)} of flights"

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
        raise ValueError(f'criterion "{name}": its function must return one bool per flight, ({flights},), not {holds.dtype} {holds.shape}')
    return holds


def own_criterion(what: str, function: Callable[[xr.Dataset], object], share: float | str = SHARE) -> Criterion:
    """Return a criterion judged by a custom function.

    what : how it is called in tables. function : takes the ensemble of one variant, as `disperse` returns it, and returns one bool a
    flight, such as `lambda ds: (ds.apogee_height < 1800) & (ds.tilt_max < 0.5)`. share : of all flights that must meet it.

    Examples
    --------
    >>> near = sixdof.stats.own_criterion("near the rail", lambda ds: np.hypot(ds.landing_east, ds.landing_north) < 2000.0, "90 %")
    >>> str(near)
    'near the rail in 90 % of flights'
    """
    if not callable(function):
        raise ValueError(f'criterion "{what}": {shown(function)} is not a function of an ensemble')
    return Criterion(" ".join(what.split()), _share(share), function=function)


def criterion(text: str | Criterion) -> Criterion:
    """Return the criterion written in `text` (see the head of this module); a Criterion is returned as it is.

    Raises
    ------
    ValueError
        In one sentence that quotes the text: what is wrong and what would be right.

    Examples
    --------
    >>> one = sixdof.stats.criterion("apogee_height < 1800 m in 99 % of flights")
    >>> one.share
    0.99
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
        raise ValueError(printable(f'criterion "{flat}": {error}')) from None


def criteria_of(criteria: str | Criterion | Iterable[str | Criterion]) -> list[Criterion]:
    """Return criteria, parsed; one alone may stand for a list. Raises ValueError as `criterion`, and for one given twice, TypeError for anything else."""
    if not isinstance(criteria, str | Criterion | Iterable):
        raise TypeError(f'criteria must be text such as "apogee_height < 1800 m in 99 % of flights", or several, not {shown(criteria)}')
    found = [criterion(one) for one in ([criteria] if isinstance(criteria, str | Criterion) else criteria)]
    names = [str(one) for one in found]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise ValueError(f'criterion "{twice[0]}" is given twice')
    return found


def _share(written: float | str) -> float:
    if isinstance(written, str) and not re.match(r"[0-9.]", written):
        raise ValueError(f'"in {written}" says no share of the flights; write, for example, "in 99 % of flights"')
    try:
        share = parse(written, "1")
    except QuantityError:
        raise ValueError(f'{shown(written)} is not a share of the flights; write, for example, "in 99 % of flights"') from None
    if share == 1.0:
        raise ValueError("no number of flights shows that all of them would meet it; write, for example, 99.9 %")
    if not 0.0 < share < 1.0:
        raise ValueError(f'a share of {shown(written)} is not between 0 and 1; write, for example, "in 99 % of flights"')
    return share


def percent(share: float) -> str:
    """Return a share in per cent, exactly: reading it back gives the same float."""
    return f"{(Decimal(repr(share)) * 100).normalize():f} %"


def _condition(what: str, share: float) -> Criterion:
    if found := _WITHIN.fullmatch(what):
        return _within(found, share)
    if found := _COMPARED.fullmatch(what):
        of = subject(found["subject"])
        if of.place is not None:
            raise ValueError('a landing is a place; write, for example, "landing within 300 m of the rail"')
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
        raise ValueError(f'{shown(found["limit"])} is not a distance; write, for example, "300 m"')
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
        raise ValueError(f'{shown(written)} is not a place; write "the rail", or east and north of it such as "(120 m, -40 m)"')
    return (_limit(found["east"], "m"), _limit(found["north"], "m")), found["east"], found["north"]


def _flagged(found, share: float) -> Criterion:
    of = subject(found["subject"])
    if of.place is not None or not of.variable.flags:
        raise ValueError(f'{of.name} is a number; write, for example, "{of.name} < ..."')
    words = tuple(re.split(r"\s+or\s+", found["words"]))
    for word in words:
        need_known(word, dict.fromkeys(of.variable.flags), f"{of.name}", "it is one of")
    return Criterion(f"{of} {found['relation']} {' or '.join(words)}", share, of, found["relation"], None, words)


def _flag_example(of: Subject) -> str:
    return f'"{of} is {of.variable.flags[0]}", with a word of {", ".join(of.variable.flags)}'


def _limit(written: str, units: str) -> float:
    units = units.replace(" ", "*")
    try:
        return parse(written, units)
    except QuantityError as error:
        if "no unit" in error.message:
            raise ValueError(f"{error.message}; write {example(units)}") from None
        raise ValueError(str(error)) from None


def check_names(criteria: Sequence[Criterion], names: Mapping[str, Sequence[str]]) -> None:
    """Raise ValueError if a criterion speaks of an event, body, joint ... that is not one of `names` (dim -> names)."""
    for one in criteria:
        if one.subject is None:
            continue
        try:
            need_names(one.subject, names)
        except ValueError as error:
            raise ValueError(f'criterion "{one}": {error}') from None

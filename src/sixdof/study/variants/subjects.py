"""Outcomes by the names a builder gives them: "apogee_height", "tilt at burnout", "landing_ground_speed of drayhorse", "landing".

A subject is a number or a flag of the registry (`sixdof.results.dataset.REGISTRY`), or a measure (`measures.py`):

    apogee_height                      an outcome
    tilt at burnout                    a column of the event table, of the front body
    height at apogee of drayhorse      the same of another body
    landing_ground_speed of drayhorse  a fact of a body, joint, rule, canopy, failure or waypoint, by its name or number
    landing, landing of drayhorse      a place, by its distance from the rail or from a point
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.results.dataset import REGISTRY
from sixdof.results.retired import now_called
from sixdof.study.reading.result import event_values, fact, meaningful, need_ensemble, outcomes
from sixdof.study.variants.measures import MEASURES, with_measures

LANDING = "landing"
THINGS = ("body", "joint", "rule", "canopy", "failure", "waypoint_number", "harness", "fins")  # what a fact may belong to
NOT_HERE = -128  # a flag of something that a variant of a comparison does not have
_COLUMNS = {name.removeprefix("event_"): v for name, v in REGISTRY.items() if v.dims == ("body", "event")}
_KNOWN = REGISTRY | MEASURES
_FACTS = {name: v for name, v in _KNOWN.items() if len(v.dims) == 1 and v.dims[0] in THINGS and "degrees" not in v.units}
_OF_BODY = {name.removeprefix("body_"): name for name in _FACTS if name.startswith("body_landing_")}  # "landing_mass of booster"
_OUTCOMES = {name: v for name, v in _KNOWN.items() if not v.dims and name != "branch"}
_SUBJECT = re.compile(r"(?P<name>\S+)(?:\s+at\s+(?P<event>.+?))?(?:\s+of\s+(?P<thing>.+))?")
_HOW = 'write, for example, "apogee_height", "tilt at burnout" or "landing_ground_speed of booster"'


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
        return _said(self.name) + (f" at {self.event}" if self.event else "") + (f" of {self.thing}" if self.thing else "")

    @property
    def variable(self):
        """Return the entry of the registry; of a landing that of its distance east, whose unit it shares."""
        if self.place is not None:
            return REGISTRY["landing_east"]
        return _COLUMNS[self.name] if self.event else _FACTS[self.name] if self.thing else _OUTCOMES[self.name]

    @property
    def needs(self) -> tuple[str, ...]:
        """Return the variables of a result it is read from, besides `status`."""
        if self.place is None:
            return (f"event_{self.name}",) if self.event else (self.name,)
        return ("body_landing_east", "body_landing_north") if self.thing else ("landing_east", "landing_north")

    def array(self, ds: xr.Dataset) -> xr.DataArray:
        """Return its value in every flight of an ensemble, (flight), with unit and long name; NaN where a flight has none.

        Raises ValueError for a result that does not hold it.
        """
        need_ensemble(ds, f'"{self}"', "status")
        ds = with_measures(ds, self.needs)
        need_ensemble(ds, f'"{self}"', *self.needs)
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
        names = [str(one) for one in ds[_KNOWN[name].dims[0]].values] if name in ds else []
        return fact(ds, name, names.index(self.thing)) if self.thing in names else np.full(ds.sizes["flight"], np.nan)

    def _long_name(self) -> str:
        if self.place is not None:
            return str(self)
        text = self.variable.long_name
        text = text.replace("the event", self.event) if self.event else text
        return f"{text}, {self.thing}" if self.thing else text


def subject(text: str) -> Subject:
    """Return the subject that a text such as "tilt at burnout" or "landing_ground_speed of drayhorse" means.

    Raises ValueError, in one sentence, for a name that the registry does not know or that needs an event or a thing.
    """
    found = _SUBJECT.fullmatch(" ".join(str(text).split()))
    if found is None or not isinstance(text, str):
        raise ValueError(f"{shown(text)} names no outcome; {_HOW}")
    name, event, thing = found["name"], found["event"] or "", found["thing"] or ""
    if name == LANDING and not event:
        return Subject(LANDING, thing=thing, place=(0.0, 0.0))
    name = _OF_BODY.get(name, name) if thing and not event else name
    if event:
        need_known(name, _COLUMNS, "column of the event table", "columns")
    elif name in _FACTS and not thing:
        of = _FACTS[name].dims[0].replace("_", " ")
        raise ValueError(f'{name} belongs to a {of}; write "{_said(name)} of <{of}>"')
    elif name in _COLUMNS and name not in _OUTCOMES:
        raise ValueError(f'{name} is taken at an event; write, for example, "{name} at apogee"')
    elif thing and name in _OUTCOMES:
        raise ValueError(f'{name} is an outcome of the whole flight; omit "of {thing}"')
    else:
        need_known(name, _FACTS if thing else _OUTCOMES | _FACTS, "outcome", "outcomes")
    return Subject(name, event, thing)


def _said(name: str) -> str:
    """Return a variable's name as a subject says it: "landing_mass" of a body for body_landing_mass."""
    return name.removeprefix("body_") if name in _OF_BODY.values() else name


def need_known(name: str, known: Mapping, what: str, plural: str) -> None:
    """Raise ValueError, with the nearest name, for what is not a name of `known`."""
    if name not in known:
        raise ValueError(f'there is no {what} "{name}"; {now_called(name) or suggestion(name, tuple(known), plural)}')


def _place_text(place: tuple[float, float]) -> str:
    return "the rail" if place == (0.0, 0.0) else f"({place[0]!r} m, {place[1]!r} m)"


def need_names(of: Subject, names: Mapping[str, Sequence[str]]) -> None:
    """Raise ValueError if a subject speaks of an event, body, joint ... that is not one of `names` (dim -> names)."""
    dim = "body" if of.event or of.place is not None else of.variable.dims[0] if of.thing else ""
    for kind, word in (("event", of.event), (dim, of.thing)):
        known = [str(name) for name in names.get(kind, ())]
        if word and word not in known:
            raise ValueError(f'there is no {kind.replace("_", " ")} "{word}"; {suggestion(word, known, f"the {kind}s are")}')

"""Flights that end where the criteria have been judged: most of a flight's time is its descent, and a lean at burnout needs none of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.mission.errors import MissionError
from sixdof.mission.mission import Mission
from sixdof.study.variants.criteria import Criterion

APOGEE = "apogee"
_LATER, _MORE = 1.3, 2.0  # a flight goes on to so many times the latest moment needed in calm, and so many seconds
_EVENTS = ("liftoff", "fore_guide_leaves", "rail_departure", "burnout", APOGEE)  # of the front body, and those of upper stages:
_OF_STAGES = ("ignition ", "burnout ")
_SETTLED = {  # outcomes by the event of the front body from which on they do not change
    "rail_departure_speed": "rail_departure",
    "rail_departure_incidence": "rail_departure",
    "rail_departure_margin": "rail_departure",
    "burnout_airspeed": "burnout",
    "burnout_height": "burnout",
    "apogee_height": APOGEE,
    "apogee_time": APOGEE,
    "apogee_east": APOGEE,
    "apogee_north": APOGEE,
    "tilt_max": APOGEE,
    "incidence_max": APOGEE,
    "static_margin_min": APOGEE,
}


def events_needed(criteria: Sequence[Criterion]) -> list[str] | None:
    """Return the events after which criteria are judged, None where one of them needs the whole flight (a landing, a flag, a function)."""
    found = []
    for one in criteria:
        of = one.subject
        if of is None or one.words or (of.thing and not of.event):
            return None
        event = (of.event if not of.thing else "") if of.event else _SETTLED.get(of.name, "")
        if not (event in _EVENTS or event.startswith(_OF_STAGES)):
            return None
        found.append(event)
    return found


def time_needed(ensemble: xr.Dataset, events: Sequence[str]) -> float:
    """Return how long flights need to go on for events to be past, s since ignition, from flights that were flown to their end."""
    times = ensemble["event_time"].isel(body=0).sel(event=list(events)).values
    return _LATER * float(np.nanmax(times, initial=0.0)) + _MORE


def ended_at(mission: Mission, limit: float) -> Mission | None:
    """Return the mission with flights given up at a time, s, or at the next double of it that its rules can do with; None where it has none."""
    while limit < mission.solver.time_limit:
        try:
            return mission.change({"solver.time_limit": limit})
        except MissionError:  # a rule acts later than that
            limit *= 2.0
    return None


def cut_short(ensemble: xr.Dataset, events: Sequence[str]) -> np.ndarray:
    """Return which flights an event is missing of, bool (..., flights): it may come after the time at which the flight was given up."""
    return np.isnan(ensemble["event_time"].isel(body=0).sel(event=list(events)).values).any(axis=-1)

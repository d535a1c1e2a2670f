"""Flights of one hypothesis for the sampler: from scores to the numbers that evidence is judged by, every flight kept."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.draws.scores import draws_from_scores, score_columns
from sixdof.ensemble.run import fly_rows
from sixdof.mission.mission import Mission
from sixdof.postflight.hypotheses.branches import Hypothesis
from sixdof.postflight.hypotheses.flown import TRACK_POINTS, TRACK_RATE, Flown, track_in
from sixdof.postflight.hypotheses.question import Question
from sixdof.study.sweep.timelines import each_draw

BLOCK = 1_000_000  # flights of one hypothesis are numbered from so many times its place on
TIMELINE_RATE = 10.0  # rows a second of the timelines that are looked at
TRACK = ("phase", "east", "north", "height", "tilt", "airspeed", "mach", "time")  # variables of a track


class Flyer:
    """Flies scores of one hypothesis. place : which of the hypotheses it is, from 0."""

    def __init__(self, hypothesis: Hypothesis, place: int, question: Question, seed: int, threads: int | None):
        self.mission, self.question = hypothesis.mission, question
        self._first, self._seed, self._threads = place * BLOCK, seed, threads
        self._alone = question.tracked == (0,)
        self._flown_by = self.mission.change({"record.track_rate": TRACK_RATE, "record.track_points": TRACK_POINTS}) if self._alone else self.mission
        self.kept: list[xr.Dataset] = []

    @property
    def columns(self) -> int:
        """Return how many scores a flight has."""
        return len(score_columns(self.mission))

    def __call__(self, scores: np.ndarray, first: int) -> np.ndarray:
        """Fly scores (n, columns), numbered from `first` on; return the numbers (n, m)."""
        numbers, ds = self._flown(scores, self._first + first + np.arange(len(scores)))
        self.kept.append(ds.drop_vars([name for name in TRACK if name in ds and "point" in ds[name].dims]))
        return numbers

    def probe(self, scores: np.ndarray, same: bool) -> np.ndarray:
        """Fly scores that are no draws, all with the same noise or each with its own; return the numbers (n, m). They are not kept."""
        last = self._first + BLOCK - 1
        return self._flown(scores, np.full(len(scores), last) if same else last - 1 - np.arange(len(scores)))[0]

    def _flown(self, scores: np.ndarray, flights: np.ndarray) -> tuple[np.ndarray, xr.Dataset]:
        table = draws_from_scores(self.mission, scores, flights, self._seed)
        ds = fly_rows(self._flown_by, table, tracks=self._alone, threads=self._threads, progress=False)
        tracks = {} if self._alone or not self.question.tracked else self._timelines(table)
        return self.question.numbers(Flown(ds, self.mission, tracks)), ds

    def _timelines(self, table: xr.Dataset) -> dict:
        """Return the tracks of all bodies that are asked for: an ensemble keeps that of the front one alone."""
        wanted = self.question.tracked
        found = each_draw(
            self.mission, table, lambda flight: [track_in(flight, self.mission, body) for body in wanted], rate=TIMELINE_RATE, threads=self._threads
        )
        return {body: [each[k] for each in found] for k, body in enumerate(wanted)}


def together(kept: list[list[xr.Dataset]], mission: Mission) -> xr.Dataset:
    """Return the flights of all hypotheses as one ensemble: the variables that all of them have, along the same things."""
    parts = [xr.concat(each, "flight", data_vars="minimal", coords="minimal", compat="override", combine_attrs="override") for each in kept]
    first = parts[0]
    shared = [
        name
        for name in first.data_vars
        if all(name in one and one[name].dims == first[name].dims and _same_things(one[name], first[name]) for one in parts[1:])
    ]
    ds = xr.concat(
        [one[shared] for one in parts], "flight", data_vars="minimal", coords="minimal", compat="override", join="override", combine_attrs="override"
    )
    attrs = {name: value for name, value in first.attrs.items() if name in ("Conventions", "title", "source", "history", "seed", "guidance", "control")}
    return ds.assign_attrs(attrs | {"mission": mission.to_toml()})


def _same_things(one: xr.DataArray, other: xr.DataArray) -> bool:
    return all(dim == "flight" or np.array_equal(one[dim].values, other[dim].values) for dim in other.dims)

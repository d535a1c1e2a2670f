"""Stations given by another part, `station = { aft_of = "sampler bay", gap = "10 mm" }`: worked into metres as a mission is read."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sixdof.mission.errors import Fault, Problem, suggestion
from sixdof.mission.stations import BODIES, lengths, metres
from sixdof.mission.units import QuantityError, parse, shown

WORDS = ("aft_of", "fore_of", "flush_fore", "flush_aft")
_HOW = 'write, for example, station = { aft_of = "sampler bay", gap = "10 mm" }'
_EXACT = 12  # decimals of a station in m: what is added up here equals what is typed


def placed(tables: dict[str, Any], file: str = "") -> list[Fault]:
    """Put metres in the place of stations given by another part (`tables` is changed), and return what is wrong with them.

    A part may stand `aft_of` another of its stage (its fore end at that part's aft end), `fore_of` it (its aft end at that part's fore end),
    `flush_fore` or `flush_aft` with it (both fore ends, or both aft ends, in one plane). `gap` moves it away from there: aft of what it is
    aft_of or flush_fore with, fore of what it is fore_of or flush_aft with; a negative gap the other way. Relations hold as the file is read.
    """
    faults: list[Fault] = []
    stages = tables.get("stage")
    for i, stage in enumerate(stages if isinstance(stages, list) else ()):
        parts = stage.get("part") if isinstance(stage, dict) else None
        if isinstance(parts, list) and all(isinstance(part, dict) for part in parts):
            found = _Places(tables, i, parts)
            found.place()
            faults += [replace(fault, file=file) for fault in found.faults]
    return faults


class _Wrong(Exception):
    def __init__(self, message: str, hint: str):
        super().__init__(message)
        self.hint = hint


class _Places:
    """Where the parts of one stage stand; those given by others are placed as they are asked for."""

    def __init__(self, tables: dict[str, Any], stage: int, parts: list[dict]):
        self.tables, self.stage, self.parts = tables, stage, parts
        self.lengths = lengths(parts)
        self.faults: list[Fault] = []
        self.under_way: set[int] = set()

    def place(self) -> None:
        for j, part in enumerate(self.parts):
            if part.get("kind") not in BODIES and isinstance(part.get("station"), dict):
                self._station(j)
        own = [part.get("name") for part in self.parts if part.get("kind") == "parachute"]
        harnesses = self.tables.get("harness")
        for k, harness in enumerate(harnesses if isinstance(harnesses, list) else ()):
            if isinstance(harness, dict) and harness.get("canopy") in own and isinstance(harness.get("separation_station"), dict):
                harness["separation_station"] = self._told(("harness", k, "separation_station"), harness["separation_station"], (0.0, 0.0))

    def _station(self, j: int) -> float:
        """Return the station (m) of a part that has one, after placing it."""
        part = self.parts[j]
        if isinstance(part.get("station"), dict):
            if j in self.under_way:
                raise _Wrong(f"{shown(part.get('name') or part.get('kind'))} is placed by this part in turn", "give one of the two a station in m")
            self.under_way.add(j)
            part["station"] = self._told(("stage", self.stage, "part", j, "station"), part["station"], _reach(part))
        return metres(part.get("station"))

    def _told(self, loc: tuple, words: dict, reach: tuple[float, float]) -> float:
        """Return the station that `words` give, 0 with a fault where they give none."""
        try:
            return round(self._from(words, reach), _EXACT)
        except _Wrong as wrong:
            self.faults.append(Problem(loc, words, str(wrong), wrong.hint).at(self.tables))
            return 0.0

    def _from(self, words: dict, reach: tuple[float, float]) -> float:
        given = [word for word in WORDS if word in words]
        if strange := [key for key in words if key not in (*WORDS, "gap")]:
            raise _Wrong(f"unknown key {shown(strange[0])}", suggestion(strange[0], (*WORDS, "gap"), "valid keys"))
        if len(given) != 1:
            raise _Wrong(f"gives {len(given) or 'none'} of {', '.join(WORDS)}", f"{_HOW}, with one of them")
        fore, aft = self._ends(self._named(words[given[0]]))
        try:
            gap = parse(words.get("gap", 0.0), "m")
        except QuantityError as error:
            raise _Wrong(f"gap: {error.message}", error.hint) from None
        return {"aft_of": aft + gap - reach[0], "flush_fore": fore + gap - reach[0], "fore_of": fore - gap - reach[1], "flush_aft": aft - gap - reach[1]}[
            given[0]
        ]

    def _ends(self, j: int) -> tuple[float, float]:
        """Return the fore and the aft end of a part, m aft of the stage's fore end."""
        if self.parts[j].get("kind") in BODIES:
            fore = sum(self.lengths[:j])
            return fore, fore + self.lengths[j]
        station, reach = self._station(j), _reach(self.parts[j])
        return station + reach[0], station + reach[1]

    def _named(self, name: Any) -> int:
        """Return the number of a part, by its name or by a kind that only it has."""
        for key in ("name", "kind"):
            found = [j for j, part in enumerate(self.parts) if part.get(key) == name]
            if len(found) == 1 and name:
                return found[0]
            if found and name:
                raise _Wrong(f"there are {len(found)} parts {shown(name)}", "give the one that is meant a name of its own")
        for stage in self.tables["stage"]:
            parts = stage.get("part") if isinstance(stage, dict) else None
            if isinstance(parts, list) and any(isinstance(part, dict) and part.get("name") == name for part in parts):
                raise _Wrong(
                    f"{shown(name)} is in stage {shown(stage.get('name'))}", "stations count from the fore end of the part's own stage: name a part of it"
                )
        known = tuple(str(part["name"]) for part in self.parts if part.get("name"))
        raise _Wrong(f"there is no part {shown(name)}", suggestion(str(name), known, "parts of this stage"))


def _reach(part: dict) -> tuple[float, float]:
    """Return how far the fore and the aft end of a part with a station lie aft of that station, m."""
    kind = part.get("kind")
    if kind == "fins":
        return 0.0, _root(part)
    if kind == "mount":
        return 0.0, metres(part.get("length"))
    half = 0.5 * metres({"mass": part.get("length"), "parachute": part.get("packed_length")}.get(kind, 0.0))
    return -half, half


def _root(fins: dict) -> float:
    points = fins.get("points")
    if fins.get("outline") != "polygon":
        return metres(fins.get("root_chord"))
    last = points[-1] if isinstance(points, (list, tuple)) and points else None
    return metres(last[0]) if isinstance(last, (list, tuple)) and last else 0.0

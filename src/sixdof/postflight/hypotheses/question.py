"""The evidence of one flight as a question to a mission: places in metres, bodies by number, and how well flights agree with every piece."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from sixdof.flight.fly import fly
from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.hypotheses.flown import Flown
from sixdof.postflight.hypotheses.judges import Broad, FixJudge, HeardJudge, Judge, LoggedJudge, PacketJudge, RecoveredJudge, SightingJudge
from sixdof.postflight.hypotheses.reports import CanopyReport, LandedReport, NotSeenReport, SearchedReport, SilenceReport
from sixdof.postflight.hypotheses.tables import (
    CanopySeen,
    EvidenceFile,
    Fix,
    Heard,
    Landed,
    LastPacket,
    Logged,
    NotSeen,
    Piece,
    Recovered,
    Searched,
    Sighting,
    Silence,
)
from sixdof.results.names import body_names, canopy_names
from sixdof.results.registry import REGISTRY
from sixdof.study.landing.field import in_metres

_JUDGES: dict[type, type[Judge]] = {
    Fix: FixJudge,
    LastPacket: PacketJudge,
    Silence: SilenceReport,
    Landed: LandedReport,
    Sighting: SightingJudge,
    Recovered: RecoveredJudge,
    NotSeen: NotSeenReport,
    Searched: SearchedReport,
    Heard: HeardJudge,
    CanopySeen: CanopyReport,
    Logged: LoggedJudge,
}
_ANY_BODY = (Sighting, Heard)
FAR = 200e3  # m from the rail: a place farther off is a slip


class Question:
    """Judges of every piece, side by side in one table of numbers: what the sampler takes for its target."""

    def __init__(self, judges: Sequence[Judge], names: Sequence[str]):
        self.judges, self.names = tuple(judges), tuple(names)
        self._first = np.concatenate([[0], np.cumsum([judge.columns for judge in self.judges])]).astype(int)

    @property
    def tracked(self) -> tuple[int, ...]:
        """Return the bodies whose tracks are needed, rising."""
        return tuple(sorted({body for judge in self.judges if judge.needs_track for body in judge.bodies}))

    def numbers(self, flown: Flown) -> np.ndarray:
        """Return what flights are judged by, (flights, columns)."""
        return np.concatenate([judge.numbers(flown) for judge in self.judges], axis=1)

    def of(self, numbers: np.ndarray, k: int) -> np.ndarray:
        """Return the columns of one piece."""
        return numbers[:, self._first[k] : self._first[k + 1]]

    def each_log_likelihood(self, numbers: np.ndarray) -> np.ndarray:
        """Return the log likelihood of every piece, (flights, pieces)."""
        return np.stack([judge.log_likelihood(self.of(numbers, k)) for k, judge in enumerate(self.judges)], axis=1)

    def log_likelihood(self, numbers: np.ndarray) -> np.ndarray:
        """Return that of all pieces, (flights,): they are independent of each other, given the flight."""
        return self.each_log_likelihood(numbers).sum(axis=1)

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what flights miss the pieces by, (flights, k), in standard deviations."""
        return np.concatenate([judge.residuals(self.of(numbers, k)) for k, judge in enumerate(self.judges)], axis=1)

    def doubts(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability, given the flight, that the piece behind each residual is wrong, (flights, k)."""
        wrong = self.wrong(numbers)
        widths = [judge.residuals(self.of(numbers, k)).shape[1] for k, judge in enumerate(self.judges)]
        return np.repeat(wrong, widths, axis=1)

    def tails(self, numbers: np.ndarray) -> np.ndarray:
        """Return how far in their tails flights leave the pieces, (flights, pieces)."""
        return np.stack([judge.tail(self.of(numbers, k)) for k, judge in enumerate(self.judges)], axis=1)

    def wrong(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability that each piece is wrong, given the flight, (flights, pieces)."""
        return np.stack([judge.wrong(self.of(numbers, k)) for k, judge in enumerate(self.judges)], axis=1)

    def log_broad(self) -> np.ndarray:
        """Return the log densities of the pieces if they have nothing to do with any flight, (pieces,)."""
        return np.array([judge.log_broad() for judge in self.judges])


def question_of(evidence: EvidenceFile, mission: Mission, broad: Broad | None = None) -> Question:
    """Return the evidence as a question to a mission.

    Raises MissionError for a body, canopy or outcome that the mission has not, and a place that is far from the rail.
    """
    broad = broad or broad_of(mission)
    names = names_of(evidence.evidence)
    judges = [_judge(piece, k, mission, broad) for k, piece in enumerate(evidence.evidence)]
    return Question(judges, names)


def broad_of(mission: Mission) -> Broad:
    """Return how far things may be off at all, from the flight as written: its apogee, where it lands, how long it takes."""
    flight = fly(mission)
    place = np.hypot(flight["body_landing_east"], flight["body_landing_north"]).values
    apogee = max(float(np.nan_to_num(flight["apogee_height"])), 100.0)
    reach = max(500.0, 1.5 * apogee, 2.0 * float(np.max(np.nan_to_num(place))))
    return Broad(reach, 1.3 * apogee, 1.5 * max(float(np.max(np.nan_to_num(flight["body_landing_time"].values))), 10.0))


def names_of(pieces: Sequence[Piece]) -> list[str]:
    """Return what the pieces are called: their own names, or ones of their kind and time; what comes again gets a number."""
    found: list[str] = []
    for piece in pieces:
        name = piece.name or _called(piece)
        count = sum(one == name or one.startswith(f"{name} (") for one in found)
        found.append(f"{name} ({count + 1})" if count else name)
    return found


_WORDS = {
    Fix: "fix at {time:g} s",
    LastPacket: "packet at {time:g} s",
    Sighting: "seen at {time:g} s",
    Heard: "impact heard at {time:g} s",
    Silence: "silence from {start:g} s",
    NotSeen: "not seen, {start:g} to {end:g} s",
    Searched: "searched, not found",
    Recovered: "found on the ground",
    Logged: "{quantity}",
}


def _called(piece: Any) -> str:
    if isinstance(piece, Landed):
        text = f"landed by {piece.time:g} s" if piece.landed else f"not landed at {piece.time:g} s"
    elif isinstance(piece, CanopySeen):
        text = f"{piece.canopy or 'canopy'} {'seen' if piece.seen else 'not out'}" + ("" if piece.time is None else f" at {piece.time:g} s")
    else:
        text = _WORDS[type(piece)].format(**piece.model_dump())
    return f"{text} ({piece.body})" if getattr(piece, "body", "") else text


# ---------------------------------------------------------------- places, bodies


def _fault(k: int, key: str, value: object, message: str, hint: str) -> MissionError:
    return MissionError([Fault("", f"evidence[{k}].{key}", value, message, hint, f"evidence[{k}], key {key}")])


def _judge(piece: Any, k: int, mission: Mission, broad: Broad) -> Judge:
    east, north = _place_of(piece, k, mission)
    made = _JUDGES[type(piece)](piece, _bodies_of(piece, k, mission), east, north, broad)
    if isinstance(made, LoggedJudge):
        made.value, made.error = _measured(piece, k)
    if isinstance(piece, CanopySeen) and piece.canopy and piece.canopy not in canopy_names(mission):
        raise _fault(k, "canopy", piece.canopy, f"there is no parachute {shown(piece.canopy)}", suggestion(piece.canopy, canopy_names(mission), "parachutes"))
    return made


def _bodies_of(piece: Any, k: int, mission: Mission) -> tuple[int, ...]:
    names = body_names(mission)
    if not piece.body:
        return tuple(range(len(mission.stage))) if isinstance(piece, _ANY_BODY) else (0,)
    if piece.body not in names:
        raise _fault(k, "body", piece.body, f"there is no body {shown(piece.body)}", suggestion(piece.body, names, "bodies"))
    return (names.index(piece.body),)


def _place_of(piece: Any, k: int, mission: Mission) -> tuple[float, float]:
    """Return the place of a piece, or where its observer stood, m east and north of the rail; 0 of a piece without one."""
    for front in ("", "from_"):
        latitude = getattr(piece, f"{front}latitude", None)
        if latitude is not None:
            east, north = in_metres(mission.site, math.degrees(latitude), math.degrees(getattr(piece, f"{front}longitude")))
            if not math.hypot(east, north) < FAR:
                message = f"that place is {math.hypot(east, north) / 1000.0:.0f} km from the rail"
                raise _fault(k, f"{front}latitude", None, message, "check both coordinates, their signs, and the site of the mission")
            return float(east), float(north)
        if getattr(piece, f"{front}east", None) is not None:
            return float(getattr(piece, f"{front}east")), float(getattr(piece, f"{front}north"))
    return 0.0, 0.0


def _measured(piece: Logged, k: int) -> tuple[float, float]:
    """Return value and error of an outcome in its own unit."""
    known = {
        name: one for name, one in REGISTRY.items() if one.dims in ((), ("body",)) and not one.flags and one.units not in ("degrees_north", "degrees_east")
    }
    if piece.quantity not in known:
        raise _fault(k, "quantity", piece.quantity, f"there is no outcome {shown(piece.quantity)}", suggestion(piece.quantity, tuple(known), "outcomes"))
    unit, found = known[piece.quantity].units.replace("^", "**").replace("N m", "N*m"), []
    for name in ("value", "error"):
        try:
            found.append(parse(getattr(piece, name), unit))
        except QuantityError as error:
            raise _fault(k, name, getattr(piece, name), error.message, error.hint) from None
    if not found[1] > 0.0:
        raise _fault(k, "error", piece.error, f"{shown(piece.error)} must be more than 0", "give the standard deviation of the number")
    return found[0], found[1]
